"""Path data, the ``d`` attribute: every command of SVG 1.1 and 2, read strictly.

A reader that goes on after a mistake would cut something nobody drew, so a mistake stops the reading and is named with
its place. Grammar: SVG 2, section 9.3.
"""

from __future__ import annotations

import math
import re

from friezewright.reading.measures import LARGEST, NUMBER, SEPARATOR, Malformed, parse_number
from friezewright.reading.pen import Pen

__all__ = ["draw_path"]

_GAP = re.compile(r"[ \t\r\n\f]*")
_COUNTS = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "A": 7, "Z": 0}
# Of an arc's seven numbers these two are flags, single digits that may be written without anything between.
_FLAGS = (3, 4)
# All numbers of a command at once, which is most of the time saved; what it does not match is read one by one, to say
# what is wrong. Numbers are atomic: "12" is never taken for 1 and 2.
_GROUPS = {
    kind: re.compile(
        "".join(
            (r"([01])" if kind == "A" and index in _FLAGS else rf"((?>{NUMBER.pattern}))") + SEPARATOR.pattern
            for index in range(count)
        )
    )
    for kind, count in _COUNTS.items()
    if count
}
# More characters than six numbers of any drawing program take; longer ones are read one by one and checked.
_LONGEST_GROUP = 150


class _Reader:
    """Takes numbers off path data from left to right."""

    def __init__(self, data: str) -> None:
        self.data = data
        self.position = 0
        self.skip(_GAP)

    def skip(self, pattern: re.Pattern[str]) -> None:
        match = pattern.match(self.data, self.position)
        self.position = self.position if match is None else match.end()

    def wrong(self, expected: str) -> Malformed:
        found = self.data[self.position : self.position + 12]
        found = f"found {found!r}" if found else "but the data ends"
        return Malformed(f"expected {expected} at character {self.position + 1} of the path data, {found}")

    @property
    def has_number(self) -> bool:
        return NUMBER.match(self.data, self.position) is not None

    def arguments(self, command: str, count: int) -> list[float]:
        group = _GROUPS[command].match(self.data, self.position) if count else None
        if group is not None and group.end() - self.position <= _LONGEST_GROUP:
            together = [float(number) for number in group.groups()]
            if max(together) <= LARGEST and min(together) >= -LARGEST:
                self.position = group.end()
                return together
        values: list[float] = []
        for index in range(count):
            if command == "A" and index in _FLAGS:
                flag = self.data[self.position : self.position + 1]
                if flag not in ("0", "1"):
                    raise self.wrong("a flag, 0 or 1,")
                values.append(float(flag))
                self.position += 1
            else:
                match = NUMBER.match(self.data, self.position)
                if match is None:
                    raise self.wrong(f"number {index + 1} of {count} for {command}")
                values.append(parse_number(match[0]))
                self.position = match.end()
            self.skip(SEPARATOR)
        return values


def draw_path(data: str, pen: Pen) -> None:
    """Draw path data with a pen.

    Raises
    ------
    Malformed
        At the first character that the grammar does not allow.
    """
    reader = _Reader(data)
    command = ""
    # The last control point, for S and T to mirror; None unless the command before was of the same kind.
    cubic_handle: tuple[float, float] | None = None
    quadratic_handle: tuple[float, float] | None = None
    while reader.position < len(data):
        letter = data[reader.position]
        if letter.upper() in _COUNTS and letter.isascii():
            if not command and letter not in "Mm":
                raise reader.wrong("M or m")
            command = letter
            reader.position += 1
            reader.skip(_GAP)
        elif not command or command in "Zz" or not reader.has_number:
            raise reader.wrong("a path command")
        elif command in "Mm":
            # More pairs after a move are lines.
            command = "L" if command == "M" else "l"
        kind = command.upper()
        values = reader.arguments(kind, _COUNTS[kind])
        (x0, y0), relative = pen.at, command.islower()
        if relative and kind in "MLCSQT":
            values = [value + (y0 if index % 2 else x0) for index, value in enumerate(values)]
        mirrored_cubic, mirrored_quadratic = cubic_handle or (x0, y0), quadratic_handle or (x0, y0)
        cubic_handle = quadratic_handle = None
        if kind == "M":
            pen.move(*values)
        elif kind == "L":
            pen.line(*values)
        elif kind == "H":
            pen.line(values[0] + (x0 if relative else 0.0), y0)
        elif kind == "V":
            pen.line(x0, values[0] + (y0 if relative else 0.0))
        elif kind in "CS":
            if kind == "S":
                values = [*mirrored_cubic, *values]
            pen.cubic(*values)
            cubic_handle = (2.0 * values[4] - values[2], 2.0 * values[5] - values[3])
        elif kind in "QT":
            if kind == "T":
                values = [*mirrored_quadratic, *values]
            pen.quadratic(*values)
            quadratic_handle = (2.0 * values[2] - values[0], 2.0 * values[3] - values[1])
        elif kind == "A":
            rx, ry, lean, large, clockwise, x, y = values
            if relative:
                x, y = x + x0, y + y0
            pen.arc(rx, ry, math.radians(lean), bool(large), bool(clockwise), x, y)
        else:
            pen.close()
