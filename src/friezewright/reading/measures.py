"""Numbers, lengths, view boxes and transforms as SVG writes them.

Sources: SVG 1.1 second edition and SVG 2, chapter "Coordinate systems, transformations and units"; CSS Values and
Units (W3C) for the absolute units.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np

from friezewright.geometry import affine
from friezewright.geometry.affine import FloatArray
from friezewright.units import MM_PER_INCH

__all__ = [
    "LARGEST",
    "MM_PER_CSS_UNIT",
    "NUMBER",
    "SEPARATOR",
    "Fitted",
    "Malformed",
    "ViewBox",
    "fit",
    "parse_length",
    "parse_number",
    "parse_numbers",
    "parse_real_length_mm",
    "parse_transform",
    "parse_view_box",
]

MM_PER_CSS_UNIT = {
    "px": MM_PER_INCH / 96,
    "pt": MM_PER_INCH / 72,
    "pc": MM_PER_INCH / 6,
    "in": MM_PER_INCH,
    "cm": 10.0,
    "mm": 1.0,
    "q": 0.25,
}
"""Absolute units, exact by definition: 96 px, 72 pt and 6 pc an inch; a q is a quarter millimetre."""

NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
# Possessive throughout: a hostile run of blanks must not be tried in every way it can be parted.
SEPARATOR = re.compile(r"[ \t\r\n\f]*+,?+[ \t\r\n\f]*+")
_LENGTH = re.compile(rf"({NUMBER.pattern})\s*+([a-zA-Z]*+|%)")
_TRANSFORM = re.compile(r"[\s,]*([a-zA-Z]+)\s*\(([^()]*)\)[\s,]*")

LARGEST = 1e9
"""A panel of 5 m drawn in thousandths of a millimetre has 5e6; a number beyond this is a broken file."""

# A page of less than a millionth of a unit has no size.
_SMALLEST_PAGE = 1e-6
# More characters than any drawing program writes for one number.
_LONGEST = 64


class Malformed(ValueError):  # noqa: N818 - never leaves this room
    """An attribute cannot be read; whoever knows the element turns this into a ``DrawingError``."""


def parse_number(text: str) -> float:
    """Return a matched number.

    Raises
    ------
    Malformed
        If it is longer or larger than any drawing needs.
    """
    value = float(text) if len(text) <= _LONGEST else math.inf
    if not abs(value) <= LARGEST:
        raise Malformed(f"the number {text[:24]} is out of reach")
    return value


def parse_numbers(text: str) -> list[float]:
    """Return a list of numbers parted by white space or commas.

    Raises
    ------
    Malformed
        If anything else stands in it.
    """
    values = []
    position = len(text) - len(text.lstrip())
    while position < len(text):
        match = NUMBER.match(text, position)
        if match is None:
            raise Malformed(f"expected a number, found {text[position : position + 16]!r}")
        values.append(parse_number(match[0]))
        separator = SEPARATOR.match(text, match.end())
        position = match.end() if separator is None else separator.end()
    return values


def _split_length(text: str) -> tuple[float, str]:
    match = _LENGTH.fullmatch(text.strip())
    if match is None:
        raise Malformed(f"{text[:24]!r} is not a length")
    return parse_number(match[1]), match[2].lower()


def parse_length(text: str, *, whole: float) -> float:
    """Return a length inside a drawing in user units, where one user unit is one px.

    Parameters
    ----------
    text
        Number with an absolute unit, none, or ``%``.
    whole
        What 100 % means, in user units; not a number where that is unknown.

    Raises
    ------
    Malformed
        If it is no length, has a unit that depends on a font, or is a share of an unknown whole.
    """
    value, unit = _split_length(text)
    if unit == "":
        return value
    if unit == "%":
        if not math.isfinite(whole):
            raise Malformed(f"{text.strip()[:24]!r} is a share of a page whose size is not stated")
        return value / 100.0 * whole
    if unit not in MM_PER_CSS_UNIT:
        raise Malformed(f"the unit of {text.strip()[:24]!r} has no fixed size")
    return value * MM_PER_CSS_UNIT[unit] / MM_PER_CSS_UNIT["px"]


def parse_real_length_mm(text: str | None) -> float | None:
    """Return a positive length with a unit of fixed size in mm; None if there is none or it has no such unit.

    A bare number is no real length: programs disagree whether it counts 72, 90 or 96 to the inch.

    Raises
    ------
    Malformed
        If it is not a length, or not above zero.
    """
    if text is None or text.strip() == "auto":
        return None
    value, unit = _split_length(text)
    if unit not in MM_PER_CSS_UNIT:
        return None
    if value <= 0.0:
        raise Malformed(f"the size {text.strip()[:24]!r} is not above zero")
    return value * MM_PER_CSS_UNIT[unit]


@dataclass(frozen=True, slots=True)
class ViewBox:
    """The part of the user's plane that a page shows, in user units."""

    x: float
    y: float
    width: float
    height: float


def parse_view_box(text: str | None) -> ViewBox | None:
    """Return a ``viewBox``.

    Raises
    ------
    Malformed
        If it is not four numbers, the last two above zero.
    """
    if text is None:
        return None
    values = parse_numbers(text)
    if len(values) != 4 or min(values[2:]) < _SMALLEST_PAGE:
        raise Malformed(f"viewBox {text[:40]!r} is not x, y and a width and height above zero")
    return ViewBox(*values)


@dataclass(frozen=True, slots=True)
class Fitted:
    """How a view box lies on a page: ``page = scale * user + shift``, for x and for y."""

    scale: tuple[float, float]
    shift: tuple[float, float]

    def matrix(self) -> FloatArray:
        """Return the map from user units to the page, shape (2, 3)."""
        return np.array([[self.scale[0], 0.0, self.shift[0]], [0.0, self.scale[1], self.shift[1]]])


def fit(box: ViewBox, width: float, height: float, aspect: str | None) -> Fitted:
    """Return how a view box is laid on a page of the given size.

    Parameters
    ----------
    box
        The view box, user units.
    width, height
        Size of the page, in units of the caller.
    aspect
        A ``preserveAspectRatio`` attribute; centred and wholly visible when None (SVG 2, 8.2).

    Raises
    ------
    Malformed
        If the attribute is not one that SVG knows.
    """
    words = (aspect or "xMidYMid").split()
    if words and words[0] == "defer":
        words = words[1:]
    align, rule = [*words, "meet"][:2] if words else ("xMidYMid", "meet")
    across, down = width / box.width, height / box.height
    if align == "none":
        return Fitted((across, down), (-box.x * across, -box.y * down))
    match = re.fullmatch(r"x(Min|Mid|Max)Y(Min|Mid|Max)", align)
    if match is None or rule not in ("meet", "slice"):
        raise Malformed(f"preserveAspectRatio {(aspect or '')[:40]!r} is not known")
    scale = min(across, down) if rule == "meet" else max(across, down)
    share = {"Min": 0.0, "Mid": 0.5, "Max": 1.0}
    shift_x = -box.x * scale + share[match[1]] * (width - box.width * scale)
    shift_y = -box.y * scale + share[match[2]] * (height - box.height * scale)
    return Fitted((scale, scale), (shift_x, shift_y))


def _one_transform(word: str, values: list[float]) -> FloatArray:
    count = len(values)
    if word == "matrix" and count == 6:
        a, b, c, d, e, f = values
        return np.array([[a, c, e], [b, d, f]])
    if word == "translate" and count in (1, 2):
        return affine.translation([values[0], values[1] if count == 2 else 0.0])
    if word == "scale" and count in (1, 2):
        return affine.scaling(*values)
    if word == "rotate" and count in (1, 3):
        about = (values[1], values[2]) if count == 3 else (0.0, 0.0)
        return affine.rotation(math.radians(values[0]), about)
    if word == "skewX" and count == 1:
        return np.array([[1.0, math.tan(math.radians(values[0])), 0.0], [0.0, 1.0, 0.0]])
    if word == "skewY" and count == 1:
        return np.array([[1.0, 0.0, 0.0], [math.tan(math.radians(values[0])), 1.0, 0.0]])
    raise Malformed(f"transform {word[:24]} with {count} numbers is not known")


def parse_transform(text: str | None) -> FloatArray:
    """Return a ``transform`` attribute as one map, shape (2, 3); its last step acts first.

    Raises
    ------
    Malformed
        If a step is not one of the six that SVG knows, or has the wrong count of numbers.

    Examples
    --------
    >>> affine.apply(parse_transform("translate(10 0) scale(2)"), np.array([3.0, 4.0])).tolist()
    [16.0, 8.0]
    """
    result = affine.identity()
    if text is None or text.strip() in ("", "none"):
        return result
    position = 0
    while position < len(text):
        match = _TRANSFORM.match(text, position)
        if match is None:
            raise Malformed(f"transform {text[position : position + 24]!r} is not known")
        result = affine.compose(result, _one_transform(match[1], parse_numbers(match[2])))
        if not np.abs(result).max() <= LARGEST * LARGEST:
            raise Malformed("transform leads out of reach")
        position = match.end()
    return result
