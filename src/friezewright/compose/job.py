"""The job file: what a maker asks for, as a TOML text read into checked values.

Lengths are numbers in the job's ``unit`` or texts such as ``"1/4 in"``; inside they are millimetres. An unknown key, a
wrong unit or an impossible size is one :class:`~friezewright.errors.JobError` that names the key, the line, what was
read and what would do.
"""

from __future__ import annotations

import math
import tomllib
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, ValidationInfo, model_validator
from pydantic_core import ErrorDetails

from friezewright.compose.lines import line_of
from friezewright.errors import InputError, JobError
from friezewright.units import parse_angle_rad, parse_duration_s, parse_length_mm, parse_price

__all__ = [
    "BorderJob",
    "CostJob",
    "CutoutJob",
    "FieldJob",
    "FieldPatternJob",
    "Job",
    "KeepOffJob",
    "LiningJob",
    "MachineJob",
    "MotifJob",
    "NotchJob",
    "OrnamentJob",
    "PanelJob",
    "PatternJob",
    "PlaceJob",
    "ShapeJob",
    "StripPatternJob",
    "read_job",
]


# Ten of the largest panels: what is longer is a slip of the keyboard.
_FARTHEST_MM = 50_000.0
# An eighth of a fine spot; closer lines only burn the same line again and again.
_LEAST_SPACING_MM = 0.02


def _length(value: object, info: ValidationInfo) -> object:
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise ValueError('give a length such as 12, "12 mm" or "1/4 in"')
    unit = (info.context or {}).get("unit", "mm")
    try:
        length_mm = parse_length_mm(value, default_unit=unit)
    except InputError as error:
        raise ValueError(str(error)) from None
    if abs(length_mm) > _FARTHEST_MM:
        raise ValueError(f"{value!r} is out of reach; lengths up to {_FARTHEST_MM / 1000.0:g} m are taken on")
    return length_mm


def _angle(value: object) -> object:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError("give an angle in degrees, such as 30")
    try:
        return parse_angle_rad(value)
    except InputError as error:
        raise ValueError(str(error)) from None


def _duration(value: object) -> object:
    try:
        return parse_duration_s(value)  # type: ignore[arg-type]
    except (InputError, TypeError) as error:
        raise ValueError(str(error)) from None


def _price(value: object) -> object:
    try:
        return str(parse_price(value))  # type: ignore[arg-type]
    except (InputError, TypeError) as error:
        raise ValueError(str(error)) from None


Length = Annotated[float, BeforeValidator(_length)]
Size = Annotated[float, BeforeValidator(_length), Field(gt=0.0)]
# Three times a laser's spot: a smaller motif is a dot, and a panel would take millions of them.
MotifHeight = Annotated[float, BeforeValidator(_length), Field(ge=0.5)]
Clear = Annotated[float, BeforeValidator(_length), Field(ge=0.0)]
Angle = Annotated[float, BeforeValidator(_angle)]
Duration = Annotated[float, BeforeValidator(_duration), Field(gt=0.0)]
PriceText = Annotated[str, BeforeValidator(_price)]
Point = tuple[Length, Length]
Name = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9 _-]{0,39}$")]
BurnWord = Literal["filled", "contour", "lined"]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=False, allow_inf_nan=False)


class ShapeJob(_Part):
    """One shape, by exactly one of its ways to be written."""

    circle: Point | None = None
    diameter: Size | None = None
    rectangle: tuple[Length, Length, Size, Size] | None = None
    corner_radius: Clear = 0.0
    slot: tuple[Length, Length, Size, Size] | None = None
    ends: Literal["round", "square"] = "round"
    polygon: Annotated[list[Point], Field(min_length=3, max_length=2000)] | None = None

    @model_validator(mode="after")
    def _one_way(self) -> ShapeJob:
        ways = [name for name in ("circle", "rectangle", "slot", "polygon") if getattr(self, name) is not None]
        if len(ways) != 1:
            raise ValueError(f"a shape takes exactly one of circle, rectangle, slot, polygon; got {ways or 'none'}")
        if (self.circle is None) != (self.diameter is None):
            raise ValueError("a circle takes its centre and a diameter")
        return self


class CutoutJob(ShapeJob):
    """A named opening, or with the same words a named reserve."""

    name: Name


class NotchJob(ShapeJob):
    """A shape taken away from the rim, such as a recess for a hinge."""

    name: Name = "notch"


class KeepOffJob(_Part):
    """Clear distance from burned edges to the rim and to the cutouts."""

    rim: Clear = 5.0
    cutouts: Clear = 3.0
    named: dict[str, Clear] = Field(default_factory=dict)


class PanelJob(_Part):
    """The flat part: its rim, its openings, and what ornament must leave free."""

    size: tuple[Size, Size] | None = None
    polygon: Annotated[list[Point], Field(min_length=3, max_length=2000)] | None = None
    circle: Point | None = None
    diameter: Size | None = None
    corner_radius: Clear = 0.0
    drawing: str | None = None
    rim_width: Size | None = None
    rim: str | None = None
    cutouts: str | None = None
    thickness: Size | None = None
    keep_off: KeepOffJob = Field(default_factory=KeepOffJob)
    cutout: Annotated[list[CutoutJob], Field(max_length=1000)] = Field(default_factory=list)
    reserve: Annotated[list[CutoutJob], Field(max_length=1000)] = Field(default_factory=list)
    notch: Annotated[list[NotchJob], Field(max_length=200)] = Field(default_factory=list)

    @model_validator(mode="after")
    def _one_rim(self) -> PanelJob:
        ways = [name for name in ("size", "polygon", "circle", "drawing") if getattr(self, name) is not None]
        if len(ways) != 1:
            raise ValueError(f"a panel takes exactly one of size, polygon, circle, drawing; got {ways or 'none'}")
        if (self.circle is None) != (self.diameter is None):
            raise ValueError("a round panel takes circle = [x, y] and a diameter")
        if self.drawing is not None and (self.cutout or self.notch):
            raise ValueError("the cutouts and notches of a panel drawing come from the drawing; leave them out here")
        stray = [key for key in ("rim", "cutouts", "rim_width") if getattr(self, key) is not None]
        if self.drawing is None and stray:
            raise ValueError(f"{stray[0]} tells what is what in a panel drawing; give the drawing, or leave it out")
        names = [part.name for part in (*self.cutout, *self.reserve)]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"two openings or reserves are named {twice[0]!r}; give each its own name")
        return self


class MotifJob(_Part):
    """Where a motif comes from and how its picture is read."""

    picture: Annotated[str, Field(min_length=1)]
    ink_level: Annotated[float, Field(gt=0.0, lt=1.0)] | None = None
    dust: Annotated[float, Field(ge=0.0, le=1e6)] | None = None
    even_light: bool | None = None
    light_on_dark: bool | None = None
    smoothness: Annotated[float, Field(ge=0.0, le=1.0)] | None = None
    crop: tuple[int, int, int, int] | None = None
    symmetric: bool = False


class _PatternJob(_Part):
    """A pattern picked from the book, by its figures, so that a later search never changes an old job.

    Lengths are in heights of the motif, so one pattern serves at every size.
    """

    motif: str
    turn: Angle = 0.0


class StripPatternJob(_PatternJob):
    """A pair repeated along a strip."""

    partner: Literal["same", "half-turn", "mirrored", "flipped"]
    pitch: Annotated[float, Field(gt=0.0, le=1e3)]
    offset: tuple[float, float]


class FieldPatternJob(_PatternJob):
    """Copies repeated along two vectors: each with its place, its turn in degrees, and whether it is mirrored."""

    vectors: tuple[tuple[float, float], tuple[float, float]]
    copies: Annotated[list[tuple[float, float, Angle, bool]], Field(min_length=1, max_length=48)]


PatternJob = StripPatternJob | FieldPatternJob


def _pattern(value: object, info: ValidationInfo) -> object:
    if not isinstance(value, dict):
        raise ValueError("each [pattern.NAME] is a table of keys")
    kind = FieldPatternJob if "vectors" in value or "copies" in value else StripPatternJob
    return kind.model_validate(value, context=info.context)


class LiningJob(_Part):
    """Score lines that fill an area."""

    spacing: Annotated[float, BeforeValidator(_length), Field(ge=_LEAST_SPACING_MM)] = 0.5
    angle: Angle = math.radians(45.0)
    weave: bool = False


class _OrnamentJob(_Part):
    name: Name | None = None
    motif: str
    height: MotifHeight
    burn: BurnWord = "filled"
    partner_burn: BurnWord | None = None
    lining: LiningJob = Field(default_factory=LiningJob)
    edge_contours: bool = False


class BorderJob(_OrnamentJob):
    """Ornament along the rim or round cutouts."""

    border: str
    sides: Annotated[list[Literal["top", "right", "bottom", "left"]], Field(min_length=1)] | None = None
    gap: Size = 0.8
    pitch: Size | None = None
    strip: str = "p2"
    turn: Angle = 0.0
    mirrors: Literal["clear", "on", "fused"] = "clear"
    mirror_site: Annotated[int, Field(ge=0, le=20)] = 0
    corner: Literal["block", "mitre", "turned", "butt"] = "block"
    corner_motif: str | None = None
    corner_size: Size | None = None
    reversed_at_centre: bool = False
    frame_line: Literal["none", "single", "double", "beaded"] = "none"
    frame_width: Size = 0.8
    frame_gap: Size | None = None
    rigid: bool = False


class FieldJob(_OrnamentJob):
    """Ornament that fills what is left, or a named area of it."""

    field: Literal["rest"] = "rest"
    within: ShapeJob | None = None
    gap: Size = 0.8
    cell: tuple[Size, Size] | None = None
    group: str = "p2"
    turn: Angle = 0.0
    slant: Angle = 0.0
    mirrors: Literal["clear", "on", "fused"] = "clear"
    mirror_site: Annotated[int, Field(ge=0, le=20)] = 0
    centre: Literal["panel", "area"] | Point = "panel"
    edge: Literal["whole", "trimmed"] = "whole"
    least_width: Clear | None = None
    clear: Clear | None = None


class PlaceJob(_OrnamentJob):
    """One motif set by hand."""

    place: Point
    turn: Angle = 0.0
    mirrored: bool = False
    gap: Size = 0.8
    edge: Literal["whole", "trimmed"] = "whole"
    clear: Clear | None = None


OrnamentJob = BorderJob | FieldJob | PlaceJob
_KINDS: dict[str, type[BorderJob] | type[FieldJob] | type[PlaceJob]] = {
    "border": BorderJob,
    "field": FieldJob,
    "place": PlaceJob,
}


def _ornament(value: object, info: ValidationInfo) -> object:
    if not isinstance(value, dict):
        raise ValueError("each [[ornament]] is a table of keys")
    kinds = [kind for kind in _KINDS if kind in value]
    if not kinds and "within" in value:
        kinds = ["field"]
    if len(kinds) != 1:
        raise ValueError(f"an ornament takes exactly one of border, field, place; got {kinds or 'none'}")
    return _KINDS[kinds[0]].model_validate(value, context=info.context)


class CostJob(_Part):
    """What machine time costs, and the time to keep within."""

    price_per_minute: PriceText | None = None
    sheet: PriceText | None = None
    handling: Duration = 180.0
    run_within: Duration | None = None


class MachineJob(_Part):
    """The machine: the typical one, or a profile file."""

    profile: str = "typical"


class Job(_Part):
    """A whole job."""

    title: Annotated[str, Field(max_length=200)] = "Untitled panel"
    unit: Literal["mm", "in"] = "mm"
    material: Annotated[str, Field(max_length=200)] | None = None
    panel: PanelJob
    motif: Annotated[dict[Name, MotifJob], Field(max_length=100)] = Field(default_factory=dict)
    pattern: Annotated[dict[Name, Annotated[PatternJob, BeforeValidator(_pattern)]], Field(max_length=200)] = Field(
        default_factory=dict
    )
    ornament: Annotated[list[Annotated[OrnamentJob, BeforeValidator(_ornament)]], Field(max_length=500)] = Field(
        default_factory=list
    )
    cost: CostJob = Field(default_factory=CostJob)
    machine: MachineJob = Field(default_factory=MachineJob)

    @model_validator(mode="after")
    def _names_resolve(self) -> Job:
        for name, pattern in self.pattern.items():
            if pattern.motif not in self.motif:
                known = ", ".join(sorted(self.motif)) or "none"
                raise ValueError(f"pattern {name!r} asks for motif {pattern.motif!r}; the job has: {known}")
        taken: set[str] = set()
        for index, item in enumerate(self.ornament):
            used = [item.motif, *([item.corner_motif] if isinstance(item, BorderJob) and item.corner_motif else [])]
            for motif in used:
                if motif not in self.motif:
                    known = ", ".join(sorted(self.motif)) or "none"
                    raise ValueError(f"ornament {index + 1} asks for motif {motif!r}; the job has: {known}")
            name = self.name_of(index)
            if name in taken:
                raise ValueError(f"two ornaments are named {name!r}; give each its own name")
            taken.add(name)
        return self

    def name_of(self, index: int) -> str:
        """Return the name of an ornament, made from its kind and number where the job gives none."""
        item = self.ornament[index]
        kind = {BorderJob: "border", FieldJob: "field", PlaceJob: "motif"}[type(item)]
        return item.name or f"{kind}-{index + 1}"


def read_job(data: bytes, *, name: str) -> Job:
    """Return the job written in a TOML file.

    Parameters
    ----------
    data
        The file's bytes.
    name
        What to call the file in an error.

    Raises
    ------
    JobError
        With one line that names the key, its line, what was read and what would do.
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise JobError(f"{name} is not a text file; a job is a TOML text, see `friezewright new`") from None
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise JobError(f"{name} cannot be read as TOML: {error}; mend that line") from None
    unit = table.get("unit", "mm")
    if unit not in ("mm", "in"):
        raise JobError(f'{name}: unit = {unit!r} is not known; use "mm" or "in"')
    try:
        return Job.model_validate(table, context={"unit": unit})
    except ValidationError as error:
        raise JobError(_first_line(error.errors(include_url=False), text, name)) from None


_MODELS = frozenset(kind.__name__ for kind in (*_KINDS.values(), StripPatternJob, FieldPatternJob))


def _first_line(problems: list[ErrorDetails], text: str, name: str) -> str:
    """Return the one line for the earliest problem in the file."""
    located = []
    for problem in problems:
        # Parts of the path that name a choice of models, not a key of the file, hold brackets or a model's name.
        path = [part for part in problem["loc"] if isinstance(part, int) or not ("[" in part or part in _MODELS)]
        located.append((line_of(text, path) or 10**9, path, problem))
    line, path, problem = min(located, key=lambda item: item[0])
    where = f"{name}, line {line}" if line < 10**9 else name
    return f"{where}: {_key(path)}{_reason(problem)}"


def _key(path: list[str | int]) -> str:
    words = ""
    for part in path:
        words += f" {part + 1}" if isinstance(part, int) else (f".{part}" if words else part)
    return f"{words}: " if words else ""


def _reason(problem: ErrorDetails) -> str:
    """Return what is wrong and what would do, in plain words."""
    kind, read, limits = problem["type"], problem["input"], problem.get("ctx", {})
    shown = repr(read) if len(repr(read)) < 60 else f"{repr(read)[:57]}..."
    if kind == "extra_forbidden":
        return "unknown key; remove it, or check its spelling (`friezewright new` writes all of them)"
    if kind == "missing":
        return "is missing; add it"
    if kind == "literal_error":
        return f"got {shown}; use {limits['expected']}"
    if kind == "greater_than":
        return f"got {shown}; it must be more than {limits['gt']:g}"
    if kind == "greater_than_equal":
        return f"got {shown}; it must not be less than {limits['ge']:g}"
    message: Any = limits.get("error")
    if kind == "value_error" and message is not None:
        return str(message)
    return f"got {shown}; {problem['msg'][0].lower()}{problem['msg'][1:]}"
