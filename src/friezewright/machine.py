"""What is known about a laser machine: speeds, accelerations, delays, and the colours its own program sorts lines by.

Layers need the line spacing, the spot and the colours; motion needs the rest. Always millimetres and seconds.

Terms. A *start delay* is what a machine spends on every path it starts: laser on, settle, laser off. *Corner slack* is
how far the head may be thought to cut a corner; it sets the speed that a corner is taken at. *Line spacing* is the
distance between two burned lines; the head *turns* between them. *Spot* is the width of a burned line, *kerf* the width
of a cut.

The default figures are typical of small moving-head machines: common practice, no published source. They are a place to
start from until test pieces have been timed, and every result that rests on them says so.
"""

from __future__ import annotations

import difflib
import math
import re
import tomllib
from dataclasses import dataclass, fields, replace
from enum import StrEnum
from typing import Any

from friezewright.errors import MachineError

__all__ = ["CornerRule", "Kind", "Machine", "from_toml", "to_toml", "typical"]


class Kind(StrEnum):
    """How a machine moves its beam over the sheet."""

    MOVING_HEAD = "moving-head"
    MOVING_SHEET = "moving-sheet"
    STEERED_BEAM = "steered-beam"


class CornerRule(StrEnum):
    """What slows a machine down where its path bends."""

    ANGLE = "angle"
    ANGLE_AND_RADIUS = "angle-and-radius"
    STOP = "stop"


# Smallest and largest figure taken on, and its unit. Wide on purpose: they catch a wrong unit, not a rare machine.
_LIMITS: dict[str, tuple[float, float, str]] = {
    "score_speed_mm_s": (0.1, 20000.0, "mm/s"),
    "cut_speed_mm_s": (0.01, 5000.0, "mm/s"),
    "engrave_speed_mm_s": (0.1, 20000.0, "mm/s"),
    "travel_speed_mm_s": (0.1, 20000.0, "mm/s"),
    "speed_share": (0.2, 2.0, "of the speed set"),
    "acceleration_mm_s2": (1.0, 1e6, "mm/s2"),
    "engrave_acceleration_mm_s2": (1.0, 1e6, "mm/s2"),
    "start_delay_s": (0.0, 60.0, "s"),
    "line_turn_s": (0.0, 60.0, "s"),
    "job_start_s": (0.0, 3600.0, "s"),
    "corner_slack_mm": (0.0, 10.0, "mm"),
    "line_spacing_mm": (0.005, 10.0, "mm"),
    "spot_mm": (0.005, 10.0, "mm"),
    "kerf_mm": (0.0, 10.0, "mm"),
    "engrave_stroke_mm": (0.001, 10.0, "mm"),
    "score_stroke_mm": (0.001, 10.0, "mm"),
    "cut_stroke_mm": (0.001, 10.0, "mm"),
    "range_below": (0.02, 0.9, "as a share of the time"),
    "range_above": (0.02, 9.0, "as a share of the time"),
}
_COLOUR = re.compile(r"#[0-9a-f]{6}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """Figures of one machine; what is left out is typical.

    Parameters
    ----------
    name
        What the maker calls it.
    kind
        How it moves; the motion model is that of a moving head.
    calibrated
        Whether the figures come from timed test pieces of this very machine.
    score_speed_mm_s, cut_speed_mm_s, engrave_speed_mm_s, travel_speed_mm_s
        Speeds set for following lines, cutting through (3 mm plywood), burning line by line, and moving with the laser
        off.
    speed_share
        What the machine really runs at, as a share of the first three.
    acceleration_mm_s2, engrave_acceleration_mm_s2
        How fast it changes speed along a path, and along burned lines.
    start_delay_s, line_turn_s, job_start_s
        Time on top of motion for every path started, every turn between burned lines, every job.
    corner_slack_mm, corner_rule
        How corners are slowed for: by their angle, by the radius that fits their legs as well, or to a stop.
    line_spacing_mm, burns_both_ways, crosses_gaps_fast
        Distance of burned lines; whether the way back burns too; whether gaps within a line are crossed at travel
        speed.
    spot_mm, kerf_mm, bed_mm
        Width of a burned line and of a cut; largest sheet ``(width, height)``, none where it is not known.
    engrave_colour, score_colour, cut_colour
        ``#rrggbb`` a layer is written in, to meet the machine program's own table. By default three of the palette of
        Okabe & Ito (2008, "Color universal design"), which the colour-blind can tell apart: black, reddish purple,
        orange.
    engrave_stroke_mm, score_stroke_mm, cut_stroke_mm
        Stroke width a layer is drawn in; the engraved one counts only where areas get a stroke beside their fill.
    range_below, range_above
        How far the true time may lie off an estimate, as shares of it. A quarter below and two fifths above are
        judgement, from wrong but plausible profiles that missed by 5 to 35 percent; fitted ones are at least 0.02.

    Raises
    ------
    MachineError
        If a figure is impossible; the message names its key.
    """

    name: str = "typical"
    kind: Kind = Kind.MOVING_HEAD
    calibrated: bool = False
    score_speed_mm_s: float = 100.0
    cut_speed_mm_s: float = 20.0
    engrave_speed_mm_s: float = 300.0
    travel_speed_mm_s: float = 300.0
    speed_share: float = 1.0
    acceleration_mm_s2: float = 1500.0
    engrave_acceleration_mm_s2: float = 3000.0
    start_delay_s: float = 0.03
    line_turn_s: float = 0.03
    job_start_s: float = 3.0
    corner_slack_mm: float = 0.03
    corner_rule: CornerRule = CornerRule.ANGLE_AND_RADIUS
    line_spacing_mm: float = 0.1
    burns_both_ways: bool = True
    crosses_gaps_fast: bool = False
    spot_mm: float = 0.15
    kerf_mm: float = 0.20
    bed_mm: tuple[float, float] | None = None
    engrave_colour: str = "#000000"
    score_colour: str = "#cc79a7"
    cut_colour: str = "#e69f00"
    engrave_stroke_mm: float = 0.1
    score_stroke_mm: float = 0.1
    cut_stroke_mm: float = 0.1
    range_below: float = 0.25
    range_above: float = 0.40

    def __post_init__(self) -> None:
        for key, (low, high, unit) in _LIMITS.items():
            value = getattr(self, key)
            if not math.isfinite(value) or not low <= value <= high:
                raise MachineError(f"{key} = {value:g} is impossible; give {low:g} to {high:g} {unit}")
        for key in ("engrave_colour", "score_colour", "cut_colour"):
            if not _COLOUR.fullmatch(getattr(self, key)):
                raise MachineError(f'{key} = "{getattr(self, key)}" is not a colour; write it like "#cc79a7"')
        if len({self.engrave_colour, self.score_colour, self.cut_colour}) < 3:
            raise MachineError("cut_colour, score_colour and engrave_colour must differ; give three colours")
        if self.bed_mm is not None and not all(math.isfinite(side) and 1.0 <= side <= 20000.0 for side in self.bed_mm):
            raise MachineError(f"bed_mm = {list(self.bed_mm)} is impossible; give two sides of 1 to 20000 mm")
        if not self.name.strip() or not self.name.isprintable():
            raise MachineError(f"name = {self.name!r} cannot be shown; give it a printable name")

    def colour_of(self, operation: str) -> str:
        """Return the ``#rrggbb`` that ``engrave``, ``score`` or ``cut`` is written in."""
        return {"engrave": self.engrave_colour, "score": self.score_colour, "cut": self.cut_colour}[operation]

    def stroke_mm_of(self, operation: str) -> float:
        """Return the stroke width that ``engrave``, ``score`` or ``cut`` is drawn in."""
        return {"engrave": self.engrave_stroke_mm, "score": self.score_stroke_mm, "cut": self.cut_stroke_mm}[operation]

    def speed_mm_s_of(self, operation: str) -> float:
        """Return the speed set for ``engrave``, ``score`` or ``cut``."""
        return {"engrave": self.engrave_speed_mm_s, "score": self.score_speed_mm_s, "cut": self.cut_speed_mm_s}[
            operation
        ]


def typical(*, thickness_mm: float | None = None) -> Machine:
    """Return typical figures, to be verified on the machine at hand.

    Parameters
    ----------
    thickness_mm
        Of the sheet, when known: cutting speed then follows the straight line in logarithms through 20 mm/s at 3 mm and
        8 mm/s at 6 mm of plywood, held between 1 and 60 mm/s (common practice, no source).

    Raises
    ------
    MachineError
        If the thickness is not a length.

    Examples
    --------
    >>> round(typical(thickness_mm=6.0).cut_speed_mm_s, 9)
    8.0
    """
    if thickness_mm is None:
        return Machine()
    if not thickness_mm > 0.0:
        raise MachineError(f"a sheet {thickness_mm:g} mm thick is impossible; measure it with a caliper")
    slope = math.log(8.0 / 20.0) / math.log(6.0 / 3.0)
    speed = 20.0 * (thickness_mm / 3.0) ** slope
    return replace(Machine(), cut_speed_mm_s=min(60.0, max(1.0, speed)))


def _line_of(text: str, key: str) -> str:
    """Return ``", line 7"`` for the line a top-level key is set on, or nothing."""
    for number, line in enumerate(text.splitlines(), start=1):
        if re.match(rf"\s*\"?{re.escape(key)}\"?\s*=", line) or line.strip() == f"[{key}]":
            return f", line {number}"
    return ""


def _read_value(key: str, kind: str, value: Any) -> Any:
    """Return a TOML value as the field's own type; ``kind`` is the field's annotation."""
    if kind == "float":
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise MachineError(f"{key} = {value!r} is not a number; write it in mm and seconds, without a unit")
        return float(value)
    if kind == "bool":
        if not isinstance(value, bool):
            raise MachineError(f"{key} = {value!r} is neither true nor false; write one of them, without quotes")
        return value
    if kind in ("Kind", "CornerRule"):
        words = tuple(member.value for member in (Kind if kind == "Kind" else CornerRule))
        if value not in words:
            raise MachineError(f"{key} = {value!r} is not known; write one of {', '.join(words)}")
        return Kind(value) if kind == "Kind" else CornerRule(value)
    if kind == "str":
        if not isinstance(value, str):
            raise MachineError(f"{key} = {value!r} is not text; put it in quotes")
        return value.lower() if key.endswith("_colour") else value
    numbers = isinstance(value, list) and all(isinstance(v, int | float) and not isinstance(v, bool) for v in value)
    if not numbers or len(value) != 2:
        raise MachineError(f"{key} = {value!r} is not two numbers; write width and height like [600, 400]")
    return (float(value[0]), float(value[1]))


def from_toml(data: bytes, *, name: str) -> Machine:
    """Return the machine a profile describes; keys it leaves out take typical figures.

    Parameters
    ----------
    data
        TOML, one key a figure, named as the fields of :class:`Machine`.
    name
        Of the file, for messages.

    Raises
    ------
    MachineError
        If it is not TOML, holds an unknown key, a value of the wrong kind or an impossible figure: one line that names
        the file, the line where it can, and the key.
    """
    try:
        text = data.decode("utf-8-sig")
        table = tomllib.loads(text)
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise MachineError(f"{name} is not a TOML file: {error}") from error
    kinds = {field.name: str(field.type) for field in fields(Machine)}
    for key in table:
        if key not in kinds:
            near = difflib.get_close_matches(key, kinds, n=3, cutoff=0.4) or list(kinds)[3:6]
            raise MachineError(
                f"{name}{_line_of(text, key)}: {key} is not a figure of a machine; known are {', '.join(near)} ..."
            )
    try:
        return Machine(**{key: _read_value(key, kinds[key], value) for key, value in table.items()})
    except MachineError as error:
        at = _line_of(text, str(error).split(" ", 1)[0].rstrip(","))
        raise MachineError(f"{name}{at}: {error}") from error


def _written(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        escaped = str(value).replace("\\", "\\\\").replace('"', '\\"')
        return f'"{escaped}"'
    if isinstance(value, tuple):
        return "[" + ", ".join(repr(side) for side in value) + "]"
    return repr(value)


def to_toml(machine: Machine) -> bytes:
    """Return the profile as TOML that :func:`from_toml` reads back to an equal value."""
    lines = ["# A machine's figures, in millimetres and seconds."]
    if not machine.calibrated:
        lines.append("# Typical, not measured: verify on your machine.")
    for field in fields(machine):
        value = getattr(machine, field.name)
        if value is not None:
            lines.append(f"{field.name} = {_written(value)}")
    return ("\n".join(lines) + "\n").encode()
