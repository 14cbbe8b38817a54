"""A drawing's file as the checker sees it: what is in it, and what should not be.

The structure is walked element by element against the promise the writer makes; everything beyond it is a finding that
names the line of the file. Paths are handed on as text with the layer and the part they stand in.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field
from typing import Any

from lxml import etree

from friezewright.errors import DrawingError, LimitError
from friezewright.findings import Finding, Severity

__all__ = ["OPERATIONS", "LayerText", "PartText", "SheetText", "read_sheet"]

OPERATIONS = ("engrave", "score", "cut")
"""Layers in run order."""

_SVG = "{http://www.w3.org/2000/svg}"
_XML = "{http://www.w3.org/XML/1998/namespace}"
_LARGEST_BYTES = 2_000_000_000
_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_LENGTH = re.compile(rf"\s*({_NUMBER})\s*([a-z%]*)\s*")
_COLOUR = re.compile(r"#[0-9a-fA-F]{6}")
_TEXT = frozenset({"text", "tspan", "textPath"})
_REFERENCES = frozenset({"use", "image", "a", "symbol", "defs", "marker", "clipPath", "mask", "pattern", "filter"})


@dataclass(slots=True, eq=False, kw_only=True)
class PartText:
    """A group of paths: an ornament in a layer, or an opening or the rim in the cut layer."""

    name: str
    line: int
    gap_mm: float | None
    paths: list[str] = field(default_factory=list)


@dataclass(slots=True, eq=False, kw_only=True)
class LayerText:
    """A layer and its parts."""

    operation: str
    line: int
    colour: str
    parts: list[PartText] = field(default_factory=list)


@dataclass(slots=True, eq=False, kw_only=True)
class SheetText:
    """A file: frame in mm, layers in the order written, what was asked, and what its structure breaks."""

    frame: tuple[float, float, float, float]
    title: str = ""
    layers: list[LayerText] = field(default_factory=list)
    asked: dict[str, Any] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)

    def broken(self, code: str, message: str) -> None:
        """Note a broken promise."""
        self.findings.append(Finding(code=code, severity=Severity.STOP, message=message))


def read_sheet(data: bytes, *, name: str) -> SheetText:
    """Return what stands in a drawing's file.

    Parameters
    ----------
    data
        The file's bytes.
    name
        What to call it in an error.

    Raises
    ------
    DrawingError
        If it is not an SVG file, or has no readable size.
    LimitError
        If it is larger than 2 GB.
    """
    if len(data) > _LARGEST_BYTES:
        raise LimitError(f"{name} has {len(data) / 1e9:.1f} GB; drawings of up to 2 GB are read")
    parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False, huge_tree=True)
    try:
        root = etree.fromstring(data, parser)
    except (etree.XMLSyntaxError, ValueError) as error:
        raise DrawingError(f"{name} is not an SVG drawing: {error}; hand in a file this program wrote") from None
    if root.tag != f"{_SVG}svg":
        raise DrawingError(f"{name} holds <{_local(root)}>, not an SVG drawing; hand in a file this program wrote")
    sheet = SheetText(frame=(0.0, 0.0, 0.0, 0.0))
    _read_size(sheet, root, name)
    tree: Any = root.getroottree()
    if tree.docinfo.doctype:
        sheet.broken("reference-used", "the file has a document type, which may pull in other files")
    for node in tree.xpath("//processing-instruction()"):
        sheet.broken("style-used", f"the file has an instruction <?{node.target}?> for its reader")
    _read_attributes(sheet, root)
    for child in _elements(root):
        tag = _local(child)
        if tag == "title":
            sheet.title = child.text or ""
        elif tag == "metadata":
            _read_metadata(sheet, child)
        elif tag == "g":
            _read_layer(sheet, child)
        else:
            _unexpected(sheet, child)
    if not any(_local(child) == "metadata" for child in _elements(root)):
        sheet.broken("metadata-unread", "the file has no metadata: what was asked is not known, and not checked")
    _check_layers(sheet)
    return sheet


def _elements(node: Any) -> list[Any]:
    return [child for child in node if isinstance(child.tag, str)]


def _local(node: Any) -> str:
    return str(etree.QName(node).localname)


def _read_size(sheet: SheetText, root: Any, name: str) -> None:
    sides = [_LENGTH.fullmatch(root.get(key, "")) for key in ("width", "height")]
    numbers = re.findall(_NUMBER, root.get("viewBox", ""))
    view = tuple(float(number) for number in numbers) if len(numbers) == 4 else None
    size = None if sides[0] is None or sides[1] is None else (float(sides[0][1]), float(sides[1][1]))
    if view is None and size is None:
        raise DrawingError(f"{name} has neither a size nor a viewBox; write width and height in mm and a viewBox")
    said = f'width="{root.get("width", "")}" height="{root.get("height", "")}" viewBox="{root.get("viewBox", "")}"'
    in_mm = all(side is not None and side[2] == "mm" for side in sides)
    if not in_mm or view is None or size is None or size != view[2:]:
        sheet.broken("units-mismatch", f"one unit is not one millimetre: {said}")
    frame = view if view is not None else (0.0, 0.0, *(size or (0.0, 0.0)))
    if not (frame[2] > 0.0 and frame[3] > 0.0):
        raise DrawingError(f"{name} shows nothing: {said}; give it a width and a height")
    sheet.frame = (frame[0], frame[1], frame[2], frame[3])


def _read_metadata(sheet: SheetText, node: Any) -> None:
    for child in _elements(node):
        _unexpected(sheet, child)
    try:
        table = json.loads(node.text or "")
    except ValueError:
        table = None
    if not isinstance(table, dict):
        sheet.broken("metadata-unread", f"line {node.sourceline}: the metadata is not one JSON object")
        return
    sheet.asked = table


def _read_attributes(sheet: SheetText, node: Any) -> None:
    """Note attributes that move, style, point elsewhere or belong to somebody's program."""
    where = f"line {node.sourceline}: <{_local(node)}>"
    for key, value in node.attrib.items():
        local = key.rpartition("}")[2]
        if local == "transform":
            sheet.broken("transform-used", f"{where} is moved by transform={value!r}")
        elif local in ("style", "class"):
            sheet.broken("style-used", f"{where} is styled by {local}={value!r}")
        elif local == "href" or "url(" in value:
            sheet.broken("reference-used", f"{where} points elsewhere by {local}={value!r}")
        elif "}" in key and not key.startswith(_XML):
            sheet.broken("foreign-content", f"{where} has the attribute {local!r} of another vocabulary")
    parent = node.getparent()
    known = {} if parent is None else parent.nsmap
    for prefix, address in node.nsmap.items():
        if known.get(prefix) != address and address != _SVG[1:-1]:
            sheet.broken("foreign-content", f"{where} declares another vocabulary, {address!r}")


def _unexpected(sheet: SheetText, node: Any) -> None:
    """Note an element that has no place where it stands; nothing in it is drawn or measured."""
    tag, where = _local(node), f"line {node.sourceline}"
    if not node.tag.startswith(_SVG):
        sheet.broken("foreign-content", f"{where}: <{tag}> belongs to another vocabulary")
    elif tag in _TEXT:
        sheet.broken("visible-text", f"{where}: <{tag}> shows text, which a machine may burn")
    elif tag == "style":
        sheet.broken("style-used", f"{where}: <style> changes how the file looks")
    elif tag in _REFERENCES:
        sheet.broken("reference-used", f"{where}: <{tag}> draws by reference")
    else:
        sheet.broken("unexpected-element", f"{where}: <{tag}> stands where it should not")


def _read_layer(sheet: SheetText, group: Any) -> None:
    _read_attributes(sheet, group)
    operation, line = group.get("data-operation", ""), group.sourceline
    titles = [child for child in _elements(group) if child.tag == f"{_SVG}title"]
    if operation not in OPERATIONS:
        sheet.broken("unknown-layer", f"line {line}: a layer's data-operation is {operation!r}, none of {OPERATIONS}")
        return
    if not group.get("id") or len(titles) != 1 or not (titles[0].text or "").strip():
        sheet.broken("unnamed-layer", f"line {line}: the {operation} layer needs an id and a title")
    layer = LayerText(operation=operation, line=line, colour=_pen(sheet, group, operation))
    sheet.layers.append(layer)
    for child in _elements(group):
        if child.tag == f"{_SVG}g":
            layer.parts.append(_read_part(sheet, child, operation))
        elif child.tag != f"{_SVG}title":
            _unexpected(sheet, child)


def _pen(sheet: SheetText, group: Any, operation: str) -> str:
    """Return the colour a layer is marked with, and note a mark that does not fit the operation."""
    fill, stroke = group.get("fill", ""), group.get("stroke", "")
    if operation == "engrave":
        colour, fits = fill, stroke == "none" and group.get("fill-rule") in ("nonzero", "evenodd")
    else:
        width = _LENGTH.fullmatch(group.get("stroke-width", ""))
        colour, fits = stroke, fill == "none" and width is not None and float(width[1]) > 0.0
    if not fits or not _COLOUR.fullmatch(colour):
        sheet.broken("pen-wrong", f"line {group.sourceline}: the {operation} layer is not marked by one fill or stroke")
    return str(colour).lower()


def _read_part(sheet: SheetText, group: Any, operation: str) -> PartText:
    _read_attributes(sheet, group)
    key = "data-cut" if operation == "cut" else "data-ornament"
    name, line = group.get(key), group.sourceline
    if not name:
        sheet.broken("unnamed-part", f"line {line}: a group of the {operation} layer needs {key}")
    gap = _LENGTH.fullmatch(group.get("data-gap", ""))
    part = PartText(name=name or "", line=line, gap_mm=float(gap[1]) if gap else None)
    for child in group:
        if child.tag == f"{_SVG}path":
            part.paths.append(child.get("d", ""))
            if len(child.attrib) > 1 or len(child.nsmap) > 1:
                _read_attributes(sheet, child)
        elif isinstance(child.tag, str):
            _unexpected(sheet, child)
    return part


def _check_layers(sheet: SheetText) -> None:
    order = [OPERATIONS.index(layer.operation) for layer in sheet.layers]
    if order != sorted(set(order)):
        said = ", ".join(layer.operation for layer in sheet.layers)
        sheet.broken("layer-order", f"layers run {said}; they should run {', '.join(OPERATIONS)}, each once")
    colours = [layer.colour for layer in sheet.layers]
    if order == sorted(set(order)) and len(set(colours)) < len(colours):
        sheet.broken("same-pen", f"layers share a colour ({', '.join(colours)}), so a machine cannot tell them apart")
    if not sheet.layers:
        sheet.broken("no-layers", "the drawing has no layer")
