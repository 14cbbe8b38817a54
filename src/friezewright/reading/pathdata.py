"""Path data, the ``d`` attribute: every command of SVG 1.1 and 2, read strictly.

A reader that goes on after a mistake would cut something nobody drew, so a mistake stops the reading and is named with
its place: one pass checks the grammar (SVG 2, section 9.3) and writes each command out in full, with its letter, its
numbers and spaces. What the commands mean is left to svgpathtools.

Drawings that this program wrote, of up to ten million segments, hold nothing but absolute M, L, C and Z in one fixed
spelling. What is spelled so needs no checking twice and is read in a fifth of the time (measured, lines and cubics).
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator

import numpy as np

from friezewright.reading.measures import NUMBER, SEPARATOR, Malformed, parse_number
from friezewright.reading.pen import Pen

__all__ = ["draw_path"]

_BLANKS = " \t\r\n\f"
_COMMAND = re.compile(rf"([MLHVCSQTAZmlhvcsqtaz])[{_BLANKS}]*+")
_NUMBER = re.compile(f"({NUMBER.pattern}){SEPARATOR.pattern}")
# A single digit, so that another number may follow with nothing between.
_FLAG = re.compile(f"([01]){SEPARATOR.pattern}")
_ARGUMENTS = {kind: (_NUMBER,) * count for kind, count in zip("MLHVCSQTZ", (2, 2, 1, 1, 6, 4, 4, 2, 0), strict=True)}
_ARGUMENTS["A"] = (_NUMBER, _NUMBER, _NUMBER, _FLAG, _FLAG, _NUMBER, _NUMBER)

# What `output.pathdata` writes: at most four digits before the point and three after it.
_OWN_POINT = " ".join([r"-?+[0-9]{1,4}+(?:\.[0-9]{1,3}+)?+"] * 2)
_OWN_PATH = re.compile(rf"(?:M{_OWN_POINT}(?:L{_OWN_POINT}|C{' '.join([_OWN_POINT] * 3)})++Z?+)++")
_OWN_STEP = re.compile(r"([MLCZ])([^MLCZ]*)")


def draw_path(data: str, pen: Pen) -> None:
    """Draw path data with a pen.

    Raises
    ------
    Malformed
        At the first character that the grammar does not allow.
    """
    if _OWN_PATH.fullmatch(data):
        _draw_own(data, pen)
    else:
        _draw_any(data, pen)


def _draw_own(data: str, pen: Pen) -> None:
    draw: dict[str, Callable[..., None]] = {"M": pen.move, "L": pen.line, "C": pen.cubic}
    for command, numbers in _OWN_STEP.findall(data):
        if command == "Z":
            pen.close()
        else:
            draw[command](*map(float, numbers.split(" ")))


def _draw_any(data: str, pen: Pen) -> None:
    stretch: list[str] = []
    for command, values in _steps(data):
        kind = command.upper()
        if kind in "MZA":
            _draw_stretch(stretch, pen)
            stretch = []
        x0, y0 = pen.at if command.islower() else (0.0, 0.0)
        if kind == "M":
            pen.move(values[0] + x0, values[1] + y0)
        elif kind == "Z":
            # Not left to the library, which would have to be asked whether two sums are the same point.
            pen.close()
        elif kind == "A" and (values[5] + x0, values[6] + y0) == pen.at:
            # An arc that ends where it starts is left out (SVG 2, 9.5.1); the library stops at one.
            continue
        elif kind == "A" and 0.0 in values[:2]:
            # Without a radius it is a line (the same place); the library warns.
            stretch += _written("l" if command == "a" else "L", values[5:])
        else:
            stretch += _written(command, values)
    _draw_stretch(stretch, pen)


def _steps(data: str) -> Iterator[tuple[str, list[float]]]:
    """Yield every command with its numbers, those left to be understood too; lines that follow a move are L or l."""
    position = len(data) - len(data.lstrip(_BLANKS))

    def wrong(expected: str) -> Malformed:
        found = data[position : position + 12]
        found = f"found {found!r}" if found else "but the data ends"
        return Malformed(f"expected {expected} at character {position + 1} of the path data, {found}")

    command = ""
    while position < len(data):
        letter = _COMMAND.match(data, position)
        if letter is not None:
            if not command and letter[1] not in "Mm":
                raise wrong("M or m")
            command, position = letter[1], letter.end()
        elif command in ("", "Z", "z") or not _NUMBER.match(data, position):
            raise wrong("a path command")
        elif command in "Mm":
            command = "L" if command == "M" else "l"
        values: list[float] = []
        arguments = _ARGUMENTS[command.upper()]
        for index, argument in enumerate(arguments):
            match = argument.match(data, position)
            if match is None:
                number = f"number {index + 1} of {len(arguments)} for {command.upper()}"
                raise wrong("a flag, 0 or 1," if argument is _FLAG else number)
            values.append(parse_number(match[1]))
            position = match.end()
        yield command, values


def _written(command: str, values: list[float]) -> list[str]:
    """Return a command in words that every reader parts alike: a flag is 0 or 1, a point has digits on both sides."""
    return [command, *(repr(value).removesuffix(".0") for value in values)]


def _draw_stretch(words: list[str], pen: Pen) -> None:
    """Draw commands other than M and Z, from where the pen is."""
    if not words:
        return
    # Here, since it brings scipy along.
    from svgpathtools.parser import parse_path
    from svgpathtools.path import Arc, CubicBezier, Line

    # Radii whose squares are zero give it a centre that is not a number; the pen then draws the chord.
    with np.errstate(all="ignore"):
        parts = parse_path(" ".join(["m 0 0", *words]), current_pos=complex(*pen.at))
    for part in parts:
        x, y = part.end.real, part.end.imag
        if isinstance(part, Line):
            pen.line(x, y)
        elif isinstance(part, Arc):
            rx, ry = float(part.radius.real), float(part.radius.imag)
            pen.arc(rx, ry, math.radians(part.rotation), part.large_arc, part.sweep, x, y)
        elif isinstance(part, CubicBezier):
            one, two = part.control1, part.control2
            pen.cubic(one.real, one.imag, two.real, two.imag, x, y)
        else:
            pen.quadratic(part.control.real, part.control.imag, x, y)
