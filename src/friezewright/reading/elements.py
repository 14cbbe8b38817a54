"""The basic shapes of SVG, drawn with a pen: rect, circle, ellipse, line, polyline, polygon, path.

Sizes below zero are mistakes, sizes of zero draw nothing (SVG 2, chapter "Basic shapes").
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

from friezewright.reading.measures import Malformed, parse_length, parse_numbers
from friezewright.reading.pathdata import draw_path
from friezewright.reading.pen import Pen

__all__ = ["SHAPES", "Attributes", "draw_element"]

Attributes = Mapping[str, str]
Size = tuple[float, float]


def _length(attributes: Attributes, key: str, whole: float) -> float:
    return parse_length(attributes.get(key, "0"), whole=whole)


def _extent(attributes: Attributes, key: str, whole: float) -> float:
    value = _length(attributes, key, whole)
    if value < 0.0:
        raise Malformed(f"{key} is {value:g}, below zero")
    return value


def _ellipse(pen: Pen, cx: float, cy: float, rx: float, ry: float) -> None:
    if rx == 0.0 or ry == 0.0:
        return
    pen.move(cx + rx, cy)
    for x, y in ((cx, cy + ry), (cx - rx, cy), (cx, cy - ry), (cx + rx, cy)):
        pen.arc(rx, ry, 0.0, False, True, x, y)
    pen.close()


def _circle(attributes: Attributes, pen: Pen, page: Size) -> None:
    width, height = page
    # A share of a round size is taken of the root mean square of both sides (SVG 2, 8.9).
    radius = _extent(attributes, "r", math.sqrt((width * width + height * height) / 2.0))
    _ellipse(pen, _length(attributes, "cx", width), _length(attributes, "cy", height), radius, radius)


def _radii(attributes: Attributes, page: Size) -> tuple[float, float]:
    """Return ``rx`` and ``ry``; one that is left out or ``auto`` takes the other's value."""
    given = {key: attributes.get(key, "auto").strip() for key in ("rx", "ry")}
    values = {
        key: None if given[key] == "auto" else _extent(attributes, key, whole)
        for key, whole in zip(("rx", "ry"), page, strict=True)
    }
    rx, ry = values["rx"], values["ry"]
    return (rx if rx is not None else ry or 0.0), (ry if ry is not None else rx or 0.0)


def _ellipse_element(attributes: Attributes, pen: Pen, page: Size) -> None:
    _ellipse(pen, _length(attributes, "cx", page[0]), _length(attributes, "cy", page[1]), *_radii(attributes, page))


def _rect(attributes: Attributes, pen: Pen, page: Size) -> None:
    x, y = _length(attributes, "x", page[0]), _length(attributes, "y", page[1])
    width, height = _extent(attributes, "width", page[0]), _extent(attributes, "height", page[1])
    if width == 0.0 or height == 0.0:
        return
    rx, ry = _radii(attributes, page)
    rx, ry = min(rx, width / 2.0), min(ry, height / 2.0)
    if rx == 0.0 or ry == 0.0:
        rx = ry = 0.0
    right, bottom = x + width, y + height
    pen.move(x + rx, y)
    pen.line(right - rx, y)
    pen.arc(rx, ry, 0.0, False, True, right, y + ry)
    pen.line(right, bottom - ry)
    pen.arc(rx, ry, 0.0, False, True, right - rx, bottom)
    pen.line(x + rx, bottom)
    pen.arc(rx, ry, 0.0, False, True, x, bottom - ry)
    pen.line(x, y + ry)
    pen.arc(rx, ry, 0.0, False, True, x + rx, y)
    pen.close()


def _line(attributes: Attributes, pen: Pen, page: Size) -> None:
    pen.move(_length(attributes, "x1", page[0]), _length(attributes, "y1", page[1]))
    pen.line(_length(attributes, "x2", page[0]), _length(attributes, "y2", page[1]))


def _polyline(attributes: Attributes, pen: Pen, _page: Size) -> None:
    values = parse_numbers(attributes.get("points", ""))
    if len(values) % 2:
        raise Malformed(f"points has {len(values)} numbers, an odd count")
    for index in range(0, len(values), 2):
        draw = pen.line if index else pen.move
        draw(values[index], values[index + 1])


def _polygon(attributes: Attributes, pen: Pen, page: Size) -> None:
    _polyline(attributes, pen, page)
    pen.close()


def _path(attributes: Attributes, pen: Pen, _page: Size) -> None:
    draw_path(attributes.get("d", ""), pen)


SHAPES: dict[str, Callable[[Attributes, Pen, Size], None]] = {
    "circle": _circle,
    "ellipse": _ellipse_element,
    "line": _line,
    "path": _path,
    "polygon": _polygon,
    "polyline": _polyline,
    "rect": _rect,
}
"""What draws each element; a page is given as its width and height in user units."""


def draw_element(tag: str, attributes: Attributes, *, page: Size) -> Pen:
    """Return a pen that has drawn one element.

    Raises
    ------
    Malformed
        If an attribute cannot be read.
    KeyError
        If the element is not one of :data:`SHAPES`.
    """
    pen = Pen()
    SHAPES[tag](attributes, pen, page)
    return pen
