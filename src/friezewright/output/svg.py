"""The layered drawing as an SVG file, and what its reader may count on.

1. ``width`` and ``height`` in mm and a ``viewBox`` of the same numbers: one user unit is one millimetre.
2. One top-level ``<g>`` a layer, in run order, with ``id``, ``<title>`` and ``data-operation``; in it one ``<g>`` an
   ornament (``data-ornament``, ``data-gap``), or in the cut layer one an opening and the rim last (``data-cut``); in
   that one ``<path>`` a copy or fused group. No guides.
3. No transforms, CSS, references, visible text or vendor attributes; path commands ``M L C Z`` only; at most three
   decimals, no exponents.
4. Every area loop closed, holes wound against shells, so that both fill rules draw the same.
5. Colours and stroke widths are those of the drawing's pens, written once a layer.

``<metadata>`` holds one line of JSON: what was asked, for whoever checks the drawing.
Readers differ in what they make of units, nested transforms and styles; a file of these words alone is read the same by
all that were measured. The format is SVG 1.1 (W3C, 2011).
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping

from friezewright import __version__
from friezewright.layers.drawing import Drawing, Layer, Operation, Part
from friezewright.output.pathdata import number_text, path_lines

__all__ = ["escaped", "svg_open", "write_drawing", "write_layer"]

_TITLES = {Operation.ENGRAVE: "Engrave", Operation.SCORE: "Score", Operation.CUT: "Cut"}
# Characters outside the Char production of XML 1.0 (W3C, 5th edition, 2.2) cannot be written in any way.
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def escaped(text: str) -> str:
    """Return text fit for XML content and for attributes in double quotes."""
    clean = _NOT_XML.sub("", text)
    return clean.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;").replace('"', "&quot;")


def svg_open(frame: tuple[float, float, float, float], title: str) -> str:
    """Return the head of a file whose user unit is the millimetre.

    Parameters
    ----------
    frame
        Left, top, width, height in mm.
    title
        Of the document.
    """
    left, top, width, height = (number_text(value) for value in frame)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
        f'viewBox="{left} {top} {width} {height}">\n'
        f"<title>{escaped(title)}</title>\n"
    )


def write_drawing(drawing: Drawing, *, versions: Mapping[str, str] | None = None) -> bytes:
    """Return the whole drawing as SVG bytes; the same drawing gives the same bytes.

    Parameters
    ----------
    drawing
        Layers in run order.
    versions
        Names and versions of the libraries that took part, for the metadata.

    Raises
    ------
    LimitError
        If a coordinate has more than four digits before the point.
    """
    return b"".join(_file(drawing, drawing.layers, versions or {}))


def write_layer(drawing: Drawing, operation: Operation, *, versions: Mapping[str, str] | None = None) -> bytes:
    """Return a file with one layer alone, in the same frame.

    Raises
    ------
    ValueError
        If the drawing has no such layer.
    LimitError
        If a coordinate has more than four digits before the point.
    """
    layer = drawing.layer(operation)
    if layer is None:
        raise ValueError(f"the drawing has no {operation} layer")
    return b"".join(_file(drawing, (layer,), versions or {}))


def _file(drawing: Drawing, layers: tuple[Layer, ...], versions: Mapping[str, str]) -> Iterator[bytes]:
    yield svg_open(drawing.frame, drawing.title).encode()
    yield f"<metadata>{escaped(_metadata(drawing, layers, versions))}</metadata>\n".encode()
    for layer in layers:
        yield from _layer(layer)
    yield b"</svg>\n"


def _metadata(drawing: Drawing, layers: tuple[Layer, ...], versions: Mapping[str, str]) -> str:
    # Asked figures lose nothing at a nanometre, and 0.1 + 0.2 stays 0.3.
    gaps = {part.ornament: round(part.gap_mm, 6) for layer in layers for part in layer.parts if part.gap_mm is not None}
    table = {
        "friezewright": __version__,
        "versions": dict(sorted(versions.items())),
        "digest": drawing.digest,
        "unit": drawing.unit,
        "gap_mm": gaps,
        "keep_off_mm": {
            "rim": round(drawing.keep_off.rim_mm, 6),
            "openings": {name: round(value, 6) for name, value in drawing.keep_off.openings_mm},
        },
    }
    return json.dumps(table, ensure_ascii=False, separators=(",", ":"))


def _layer(layer: Layer) -> Iterator[bytes]:
    operation = layer.operation
    if operation is Operation.ENGRAVE:
        look = f'fill="{layer.pen.colour}" fill-rule="nonzero" stroke="none"'
    else:
        look = f'fill="none" stroke="{layer.pen.colour}" stroke-width="{number_text(layer.pen.width_mm)}"'
    yield f'<g id="{operation}" data-operation="{operation}" {look}>\n<title>{_TITLES[operation]}</title>\n'.encode()
    for part in layer.parts:
        yield _part_open(operation, part).encode()
        yield from path_lines(part.artwork)
        yield b"</g>\n"
    yield b"</g>\n"


def _part_open(operation: Operation, part: Part) -> str:
    kind = "data-cut" if operation is Operation.CUT else "data-ornament"
    gap = "" if part.gap_mm is None else f' data-gap="{number_text(part.gap_mm)}"'
    return f'<g {kind}="{escaped(part.ornament)}"{gap}>\n'
