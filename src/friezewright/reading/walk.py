"""The walk through a drawing's elements: transforms and paints handed down, ``use`` followed, paths collected."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from friezewright.errors import DrawingError, LimitError
from friezewright.findings import Finding, Severity
from friezewright.geometry import affine
from friezewright.geometry.affine import FloatArray
from friezewright.reading.document import Limits, plain
from friezewright.reading.drawing import SvgPath
from friezewright.reading.elements import SHAPES, draw_element
from friezewright.reading.measures import LARGEST, Malformed, fit, parse_length, parse_transform, parse_view_box
from friezewright.reading.paint import colour, declarations, properties

if TYPE_CHECKING:
    from lxml.etree import _Element

__all__ = ["SVG", "Walk"]

SVG = "http://www.w3.org/2000/svg"
_XLINK_HREF = "{http://www.w3.org/1999/xlink}href"

# Never drawn where they stand, by the standard; nothing to remark on.
_SILENT = frozenset(
    {"clipPath", "cursor", "defs", "desc", "filter", "font", "linearGradient", "marker", "mask", "metadata"}
    | {"pattern", "radialGradient", "style", "symbol", "title", "view"}
)
_REMEDIES = {
    "text": "turn text into paths in the program that drew it",
    "image": "trace the picture, or draw its outline",
    "foreignObject": "draw it with paths",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Context:
    """What an element hands down to its children."""

    matrix: FloatArray
    page: tuple[float, float]
    fill: str | None = "#000000"
    stroke: str | None = None
    even_odd: bool = False
    visible: bool = True
    ink: str | None = "#000000"
    layers: tuple[str, ...] = ()
    data: tuple[tuple[str, str], ...] = ()
    shown_as: str | None = None


def _paint(text: str, context: _Context) -> str | None:
    return context.ink if text.lower() == "currentcolor" else colour(text)


class Walk:
    """One walk through one drawing.

    Parameters
    ----------
    root
        The ``svg`` element.
    name
        What messages call the drawing.
    page
        Width and height of its page in user units, for sizes given as a share of it.
    limits
        How much may be drawn.
    """

    def __init__(self, root: _Element, *, name: str, page: tuple[float, float], limits: Limits) -> None:
        self.root, self.name, self.page, self.limits = root, name, page, limits
        self.paths: list[SvgPath] = []
        self._by_id: dict[str, _Element] = {}
        self._remarks: dict[str, list[str]] = {}
        self._elements = 0
        self._segments = 0
        self._has_sheet = False
        for element in root.iter():
            if isinstance(element.tag, str):
                self._by_id.setdefault(element.get("id", ""), element)
                self._has_sheet |= _tag(element) == "style" and bool("".join(map(str, element.itertext())).strip())

    def run(self) -> tuple[Finding, ...]:
        """Collect the paths into :attr:`paths` and return what could not be read.

        Raises
        ------
        DrawingError
            If an attribute cannot be read, or the drawing uses itself.
        LimitError
            If there are more elements, levels or segments than the limits.
        """
        context = self._inherited(self.root, _Context(matrix=affine.identity(), page=self.page))
        if context is not None:
            self._children(self.root, context, depth=1, using=())
        return tuple(self._findings())

    def _remark(self, code: str, detail: str) -> None:
        self._remarks.setdefault(code, []).append(detail)

    def _findings(self) -> Iterator[Finding]:
        for code, details in self._remarks.items():
            kinds = list(dict.fromkeys(details))
            times = "" if len(details) == 1 else f" ({len(details)} in all)"
            yield Finding(code=code, severity=Severity.WARNING, message=f"{self.name}: {'; '.join(kinds[:5])}{times}")

    def _error(self, element: _Element, problem: object) -> DrawingError:
        label = element.get("id")
        what = f'{_tag(element)} "{plain(label)}"' if label else f"{_tag(element)} on line {element.sourceline}"
        return DrawingError(f"{self.name}: {what}: {problem}; redraw it, or save the drawing again as plain SVG")

    def _inherited(self, element: _Element, above: _Context) -> _Context | None:
        """Return what an element draws with and hands down; None if it is not displayed."""
        attributes = {str(key): str(value) for key, value in element.attrib.items()}
        own = properties(attributes)
        if own.get("display") == "none":
            return None
        for key in ("clip-path", "mask"):
            if own.get(key, "none") != "none":
                self._remark("clip-not-read", f"a {key} was ignored, shapes are read whole")
        if own.get("filter", "none") != "none":
            self._remark("filter-not-read", "a filter was ignored")
        if "transform" in declarations(attributes.get("style")) or "transform-origin" in attributes:
            self._remark("css-not-read", "a transform set by style was ignored; write it as a transform attribute")
        if self._has_sheet and "class" in attributes:
            self._remark("css-not-read", "a style sheet was ignored; save colours as attributes of each shape")
        try:
            matrix = affine.compose(above.matrix, parse_transform(attributes.get("transform")))
            if not np.abs(matrix).max() <= LARGEST * LARGEST:
                raise Malformed("its transforms lead out of reach")
        except Malformed as problem:
            raise self._error(element, problem) from problem
        context = replace(above, matrix=matrix)
        if "color" in own:
            context = replace(context, ink=colour(own["color"]))
        if "fill" in own:
            context = replace(context, fill=_paint(own["fill"], context))
        if "stroke" in own:
            context = replace(context, stroke=_paint(own["stroke"], context))
        if "fill-rule" in own:
            context = replace(context, even_odd=own["fill-rule"] == "evenodd")
        if "visibility" in own:
            context = replace(context, visible=own["visibility"] == "visible")
        data = {key: value for key, value in attributes.items() if key.startswith("data-")}
        if data:
            context = replace(context, data=tuple(sorted((dict(above.data) | data).items())))
        return context

    def _children(self, element: _Element, context: _Context, *, depth: int, using: tuple[_Element, ...]) -> None:
        for child in element:
            self._draw(child, context, depth=depth + 1, using=using)

    def _draw(self, element: _Element, above: _Context, *, depth: int, using: tuple[_Element, ...]) -> None:
        tag = _tag(element)
        if tag is None or tag in _SILENT:
            return
        self._elements += 1
        if self._elements > self.limits.elements:
            raise LimitError(f"{self.name} draws more than {self.limits.elements} elements; simplify it")
        if depth > self.limits.depth:
            raise LimitError(f"{self.name} is nested deeper than {self.limits.depth} levels; ungroup it")
        context = self._inherited(element, above)
        if context is None:
            return
        if tag in SHAPES:
            self._shape(element, context)
        elif tag in ("g", "a"):
            self._children(element, _grouped(element, context), depth=depth, using=using)
        elif tag == "svg":
            inner = self._viewport(element, element, _grouped(element, context))
            self._children(element, inner, depth=depth, using=using)
        elif tag == "use":
            self._use(element, context, depth=depth, using=using)
        elif tag == "switch":
            chosen = next((c for c in element if _tag(c) not in (None, "foreignObject") and _unconditional(c)), None)
            if chosen is not None:
                self._draw(chosen, context, depth=depth + 1, using=using)
        else:
            remedy = _REMEDIES.get(tag, "draw it with paths if it is needed")
            self._remark("element-not-read", f"{tag} was not read, {remedy}")

    def _viewport(self, element: _Element, sized_by: _Element, context: _Context) -> _Context:
        """Return the context inside a nested ``svg`` or a ``symbol`` shown by a ``use``."""
        width, height = context.page
        try:
            x = parse_length(element.get("x", "0"), whole=width) if element is sized_by else 0.0
            y = parse_length(element.get("y", "0"), whole=height) if element is sized_by else 0.0
            box = parse_view_box(element.get("viewBox"))
            own_width = parse_length(sized_by.get("width", element.get("width", "100%")), whole=width)
            own_height = parse_length(sized_by.get("height", element.get("height", "100%")), whole=height)
            matrix = affine.compose(context.matrix, affine.translation([x, y]))
            if box is None:
                return replace(context, matrix=matrix, page=(own_width, own_height))
            inner = fit(box, own_width, own_height, element.get("preserveAspectRatio")).matrix()
        except Malformed as problem:
            raise self._error(element, problem) from problem
        return replace(context, matrix=affine.compose(matrix, inner), page=(box.width, box.height))

    def _use(self, element: _Element, context: _Context, *, depth: int, using: tuple[_Element, ...]) -> None:
        href = element.get("href", element.get(_XLINK_HREF, ""))
        target = self._by_id.get(href[1:]) if href.startswith("#") and len(href) > 1 else None
        if target is None:
            self._remark("use-not-found", f"a use of {href[:60]!r} was not read; only shapes of the same file are")
            return
        if target in using or target is element or target in element.iterancestors():
            raise self._error(element, f"it uses {href!r}, which contains it")
        try:
            x = parse_length(element.get("x", "0"), whole=context.page[0])
            y = parse_length(element.get("y", "0"), whole=context.page[1])
        except Malformed as problem:
            raise self._error(element, problem) from problem
        context = _grouped(element, context)
        context = replace(
            context,
            matrix=affine.compose(context.matrix, affine.translation([x, y])),
            shown_as=element.get("id", context.shown_as),
        )
        using = (*using, target)
        if _tag(target) != "symbol":
            self._draw(target, context, depth=depth + 1, using=using)
            return
        inside = self._inherited(target, context)
        if inside is not None:
            if target.get("viewBox") is not None:
                inside = self._viewport(target, element, inside)
            self._children(target, inside, depth=depth + 1, using=using)

    def _shape(self, element: _Element, context: _Context) -> None:
        if not context.visible:
            return
        attributes = {str(key): str(value) for key, value in element.attrib.items()}
        try:
            pen = draw_element(str(_tag(element)), attributes, page=context.page)
        except Malformed as problem:
            raise self._error(element, problem) from problem
        self._segments += pen.segment_count
        if self._segments > self.limits.segments:
            raise LimitError(f"{self.name} has more than {self.limits.segments} curve segments; simplify it")
        strokes = pen.strokes()
        if strokes is None:
            return
        if float(affine.determinant(context.matrix)) == 0.0:
            self._remark("flattened-away", "a shape is scaled down to nothing and was left out")
            return
        if not (context.matrix == affine.identity()).all():
            strokes = strokes.transformed(context.matrix)
        if not np.abs(strokes.segments).max() <= LARGEST:
            raise self._error(element, "it lies out of reach")
        path = SvgPath(
            id=context.shown_as or element.get("id"),
            stroke=context.stroke,
            fill=context.fill,
            even_odd=context.even_odd,
            layers=context.layers,
            data=context.data,
            strokes=strokes,
        )
        self.paths.append(path)


def _tag(element: _Element) -> str | None:
    """Return an element's name if it is SVG's (or has no namespace at all), else None."""
    if not isinstance(element.tag, str):
        return None
    space, brace, local = element.tag.rpartition("}")
    return local if not brace or space == "{" + SVG else None


def _grouped(element: _Element, context: _Context) -> _Context:
    own = element.get("id")
    # Inside a group the shapes have names of their own again.
    return replace(context, layers=context.layers if own is None else (*context.layers, own), shown_as=None)


def _unconditional(element: _Element) -> bool:
    return element.get("requiredExtensions") is None
