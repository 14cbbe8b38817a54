"""Lengths, times, angles and prices as people write them, turned into the program's own units.

Inside, a length is in millimetres, a time in seconds, an angle in radians. The factors are exact by definition: the
inch
is 25.4 mm (NIST Handbook 44, appendix C), the point 1/72 inch and the px 1/96 inch (CSS Values and Units, W3C).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction

from friezewright.errors import InputError

__all__ = [
    "MM_PER_INCH",
    "MM_PER_UNIT",
    "Price",
    "format_duration",
    "format_length",
    "parse_angle_rad",
    "parse_duration_s",
    "parse_length_mm",
    "parse_price",
]

MM_PER_INCH = 25.4
MM_PER_UNIT = {
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "in": MM_PER_INCH,
    "inch": MM_PER_INCH,
    "inches": MM_PER_INCH,
    '"': MM_PER_INCH,
    "pt": MM_PER_INCH / 72,
    "px": MM_PER_INCH / 96,
}
_SECONDS_PER_UNIT = {"s": 1.0, "sec": 1.0, "min": 60.0, "h": 3600.0}
# "2", "-2.5", ".5", "1/4" and "2 1/8"; a sign only in front. Twelve digits are more than any length needs.
_NUMBER = (
    r"(?P<sign>[-+]?)(?:(?P<whole>\d{1,12})\s+)?"
    r"(?:(?P<top>\d{1,12})/(?P<bottom>\d{1,12})|(?P<decimal>\d{1,12}(?:\.\d{0,12})?|\.\d{1,12}))"
)
_QUANTITY = re.compile(rf"\s*{_NUMBER}\s*(?P<unit>[a-zA-Z\"]*)\s*\Z")


def _split(text: str, what: str, example: str) -> tuple[float, str]:
    """Return the number and the unit word of a written quantity."""
    match = _QUANTITY.match(text)
    if match is None or (match["whole"] is not None and match["top"] is None):
        raise InputError(f"{text!r} is not {what}; write it like {example}")
    if match["top"] is not None:
        if int(match["bottom"]) == 0:
            raise InputError(f"{text!r} divides by zero; write {what} like {example}")
        value = float(Fraction(int(match["whole"] or 0)) + Fraction(int(match["top"]), int(match["bottom"])))
    else:
        value = float(match["decimal"])
    return (-value if match["sign"] == "-" else value), match["unit"].lower()


def parse_length_mm(value: str | float, *, default_unit: str = "mm") -> float:
    """Return a length in mm.

    Parameters
    ----------
    value
        A bare number, read in ``default_unit``, or text such as ``"12 mm"``, ``"1/4 in"`` or ``"2 1/8 in"``.
    default_unit
        Unit of bare numbers: a key of :data:`MM_PER_UNIT`.

    Raises
    ------
    InputError
        If the text is not a number with a known unit, or the number is not finite.

    Examples
    --------
    >>> parse_length_mm("1 1/4 in")
    31.75
    """
    if isinstance(value, str):
        number, unit = _split(value, "a length", '"12 mm" or "1/4 in"')
    else:
        number, unit = float(value), ""
    unit = unit or default_unit
    if unit not in MM_PER_UNIT:
        raise InputError(f"{unit!r} in {value!r} is not a unit of length known here; use mm, cm, m, in, pt or px")
    if not math.isfinite(number):
        raise InputError(f"{value!r} is not a finite length; give a number such as 12.5")
    return number * MM_PER_UNIT[unit]


def parse_duration_s(value: str | float) -> float:
    """Return a time in seconds; a bare number counts minutes, the unit machine time is paid in.

    Raises
    ------
    InputError
        If the text is not a number with ``s``, ``min`` or ``h``, or the number is not finite.
    """
    if isinstance(value, str):
        number, unit = _split(value, "a time", '"25 min"')
    else:
        number, unit = float(value), ""
    unit = unit or "min"
    if unit not in _SECONDS_PER_UNIT:
        raise InputError(f"{unit!r} in {value!r} is not a unit of time known here; use s, min or h")
    if not math.isfinite(number):
        raise InputError(f"{value!r} is not a finite time; give a number such as 25")
    return number * _SECONDS_PER_UNIT[unit]


def parse_angle_rad(value: float) -> float:
    """Return an angle, given in degrees clockwise on screen, in radians.

    Raises
    ------
    InputError
        If the number is not finite.
    """
    if not math.isfinite(value):
        raise InputError(f"{value!r} is not a finite angle; give degrees such as 30")
    return math.radians(value)


@dataclass(frozen=True, slots=True)
class Price:
    """An amount of money in a named currency."""

    amount: float
    currency: str

    def times(self, count: float) -> Price:
        """Return this price ``count`` times over."""
        return Price(self.amount * count, self.currency)

    def __str__(self) -> str:
        return f"{self.amount:.2f} {self.currency}".rstrip()


def parse_price(value: str | float) -> Price:
    """Return a price such as ``"1.20 EUR"``; a bare number has no currency.

    Raises
    ------
    InputError
        If there is no amount, or it is negative or not finite.
    """
    if isinstance(value, str):
        match = re.fullmatch(r"\s*(\d{1,9}(?:\.\d{1,6})?)\s*([A-Za-z]{0,8})\s*", value)
        if match is None:
            raise InputError(f'{value!r} is not a price; write it like "1.20 EUR"')
        return Price(float(match[1]), match[2].upper())
    if not math.isfinite(value) or value < 0:
        raise InputError(f'{value!r} is not a price; write it like "1.20 EUR"')
    return Price(float(value), "")


def format_length(length_mm: float, unit: str = "mm") -> str:
    """Return a length for people: two decimals in mm, three in inches."""
    if unit in ("in", "inch", "inches", '"'):
        return f"{length_mm / MM_PER_INCH:.3f} in"
    return f"{length_mm:.2f} mm"


def format_duration(seconds: float) -> str:
    """Return a time for people, such as ``7 min 05 s``.

    Examples
    --------
    >>> format_duration(425.4)
    '7 min 05 s'
    """
    whole = round(seconds)
    hours, minutes, rest = whole // 3600, whole % 3600 // 60, whole % 60
    if hours:
        return f"{hours} h {minutes:02d} min"
    if minutes:
        return f"{minutes} min {rest:02d} s"
    return f"{rest} s"
