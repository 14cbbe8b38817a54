"""Planning a border: which scale, how many repeats on each side, and what stands at the corners.

Everything here is arithmetic on lengths and a few measured gaps; nothing is placed yet. Scales are tried from the one
asked outwards, so the plan nearest to what was asked wins.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

import numpy as np

from friezewright.geometry.artwork import Artwork
from friezewright.geometry.outline import Outline
from friezewright.ornament.corner import Block, Corner, block_from_motif, block_from_shape, blocks_at, ends_of
from friezewright.ornament.fit import Allowance, Span, SpanFit, fit_span
from friezewright.ornament.frame import FrameLine
from friezewright.ornament.guide import Guide, guide_along
from friezewright.ornament.laying import MEASURE_MM, StripSizes, least_pitch
from friezewright.ornament.path import Path, Piece
from friezewright.pattern.repeat import Repeat

__all__ = ["GAP_SHARE", "TIGHTEST", "Band", "BorderRequest", "Plan", "Strand", "best_plan", "plan_at"]

GAP_SHARE = 0.6
"""The gap may open by this share of itself to take up what is left over."""

TIGHTEST = 1.5
"""Radius of the centreline, in strip heights, under which nothing is bent: the inside would shrink to a half."""

# One uniform scale for the whole border, from a hundredth either way to the bounds.
_SCALES = sorted((round(0.01 * k, 2) for k in range(80, 126)), key=lambda scale: (abs(math.log(scale)), scale))
# A band's copies stand this much further from the loop than asked. The zone is drawn in by 0.002 mm, and its polygon
# may stray by half as much again.
_MARGIN_MM = 0.004
_CENTRE_BEAD = 0.28


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BorderRequest:
    """What is asked of a border.

    Parameters
    ----------
    name
        Name of the ornament.
    loop
        The rim, or a cutout; its first loop is followed.
    outward
        False for a border inside the rim, True for one round a cutout.
    offset_mm
        Clear distance from the loop to the nearest burned edge.
    strip
        The strip to lay along it, its -y side outermost.
    gap_mm
        Smallest distance asked between two copies.
    corner
        What happens where two sides meet.
    corner_shape
        Piece for the corners, drawn for the top left one; made from the motif when None.
    corner_size_mm
        Size of the square a corner piece fills; the strip's height when None, and never more.
    sides
        Sides to follow, of ``top``, ``right``, ``bottom``, ``left``; all when None.
    reversed_at_centre
        Whether each side runs from both corners towards a bead at its centre.
    rigid
        Whether copies keep their shape on bends.
    frame_line, frame_width_mm, frame_gap_mm
        What bounds the band, how wide it is, and its clear distance from the copies (the gap when None).
    tolerance_mm
        Furthest a bent curve may lie from the true one.
    """

    name: str
    loop: Outline
    outward: bool
    offset_mm: float
    strip: Repeat
    gap_mm: float
    corner: Corner = Corner.BLOCK
    corner_shape: Outline | None = None
    corner_size_mm: float | None = None
    sides: Collection[str] | None = None
    reversed_at_centre: bool = False
    rigid: bool = False
    frame_line: FrameLine = FrameLine.NONE
    frame_width_mm: float = 0.8
    frame_gap_mm: float | None = None
    tolerance_mm: float = 0.01

    def __post_init__(self) -> None:
        if not self.strip.is_strip:
            raise ValueError("a border is laid with a strip, not with a field")
        if not (math.isfinite(self.offset_mm) and self.offset_mm >= 0.0):
            raise ValueError(f"offset_mm must be 0 or more, got {self.offset_mm}")
        for name, value in (("gap_mm", self.gap_mm), ("frame_width_mm", self.frame_width_mm)):
            if not (math.isfinite(value) and value > 0.0):
                raise ValueError(f"{name} must be above 0, got {value}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """Distances across a border, in mm from its loop, all positive."""

    edge_mm: float
    near_line_mm: tuple[float, float] | None
    far_line_mm: tuple[float, float] | None
    strip_mm: float
    centre_mm: float
    far_mm: float

    @classmethod
    def of(cls, request: BorderRequest, height_mm: float) -> Band:
        """Return the band of a strip of a given height."""
        width, kind = request.frame_width_mm, request.frame_line
        space = width + max(request.gap_mm, request.frame_gap_mm or 0.0)
        edge = request.offset_mm + _MARGIN_MM
        strip = edge + (0.0 if kind is FrameLine.NONE else space)
        beyond = strip + height_mm
        both = kind in (FrameLine.DOUBLE, FrameLine.BEADED)
        far = beyond + (space if both else 0.0)
        return cls(
            edge_mm=edge,
            near_line_mm=None if kind is FrameLine.NONE else (edge, edge + width),
            far_line_mm=(far - width, far) if both else None,
            strip_mm=strip,
            centre_mm=strip + 0.5 * height_mm,
            far_mm=far,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Strand:
    """Repeats on one side of the guide; ``backwards`` when they are laid from its end, as a mirror image."""

    side: int
    span: Span
    fit: SpanFit
    backwards: bool = False


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Plan:
    """How a border is going to be laid."""

    scale: float
    sizes: StripSizes
    band: Band
    guide: Guide
    block: Block | None
    blocks: dict[int, Artwork[Outline]]
    strands: tuple[Strand, ...]
    gap_mm: float
    rigid: bool
    bead_mm: float = 0.0

    @property
    def height_mm(self) -> float:
        """Height of the strip as laid."""
        return self.sizes.height_mm

    @property
    def fits(self) -> bool:
        """Whether every side has repeats and nothing was left over."""
        return bool(self.strands) and all(strand.fit.fits for strand in self.strands)

    def tightest_mm(self) -> float:
        """Return the smallest radius the centreline bends with, infinite when it does not."""
        return min((abs(r) for side in self.guide.sides for r in side.path.bends_mm()), default=math.inf)

    def badness(self) -> tuple[int, float, float]:
        """Return what makes a plan worse: empty sides, then what was left over, then the scale's distance from 1."""
        empty = sum(strand.fit.count == 0 for strand in self.strands)
        spare = sum(strand.fit.spare_mm for strand in self.strands if strand.fit.count)
        return empty, round(spare, 2), abs(math.log(self.scale))


def best_plan(request: BorderRequest, pieces: Sequence[Piece]) -> Plan | None:
    """Return the plan nearest to what was asked, or None if no scale lets the band fit.

    A plan in which everything fits without stretching wins over one with stretching, and that over one in which the
    ends had to take more than is comfortable.
    """
    make_block = _block_maker(request)
    at_one = make_block(1.0)

    def scaled_block(scale: float) -> Block | None:
        return None if at_one is None else at_one.scaled(scale)

    fallback: list[Plan] = []
    for stretch in (False, True):
        for scale in _SCALES:
            plan = plan_at(request, pieces, scale=scale, stretch=stretch, block=scaled_block(scale))
            if plan is None:
                continue
            if plan.fits:
                return _settled(request, pieces, plan, stretch, make_block)
            if stretch:
                fallback.append(plan)
    if not fallback:
        return None
    return _settled(request, pieces, min(fallback, key=Plan.badness), True, make_block)


def _settled(
    request: BorderRequest,
    pieces: Sequence[Piece],
    plan: Plan,
    stretch: bool,
    make_block: Callable[[float], Block | None],
) -> Plan:
    """Return the plan with its corner piece made at its scale, so that the gap is kept within the piece too."""
    if plan.scale == 1.0 or plan.block is None:
        return plan
    again = plan_at(request, pieces, scale=plan.scale, stretch=stretch, block=make_block(plan.scale))
    return plan if again is None else again


def _block_maker(request: BorderRequest) -> Callable[[float], Block | None]:
    def make(scale: float) -> Block | None:
        if request.corner is not Corner.BLOCK:
            return None
        height = request.strip.height_mm
        size = scale * min(height, request.corner_size_mm or height)
        if request.corner_shape is not None:
            return block_from_shape(request.corner_shape, size_mm=size)
        return block_from_motif(request.strip.shapes[0], size_mm=size, gap_mm=request.gap_mm)

    return make


def plan_at(
    request: BorderRequest, pieces: Sequence[Piece], *, scale: float, stretch: bool, block: Block | None
) -> Plan | None:
    """Return the plan at one scale; None where the band does not fit or the gap cannot be kept."""
    strip = request.strip if scale == 1.0 else request.strip.scaled(scale)
    sizes = StripSizes(strip)
    band = Band.of(request, sizes.height_mm)
    sense = -1.0 if request.outward else 1.0
    guide = guide_along(
        pieces,
        distance_mm=sense * band.centre_mm,
        edge_mm=sense * band.strip_mm,
        tightest_mm=TIGHTEST * sizes.height_mm,
        sides=request.sides,
    )
    if guide is None or not guide.sides:
        return None
    bends = [side.path.bends_mm() for side in guide.sides]
    tightest = min((abs(r) for radii in bends for r in radii), default=math.inf)
    if tightest <= 0.5 * sizes.height_mm + 1e-6:
        return None
    rigid = request.rigid or tightest < TIGHTEST * sizes.height_mm - 1e-6
    gap = _gap_to_keep(request, strip, scale)
    if gap is None:
        return None
    blocks = blocks_at(block, guide, height_mm=sizes.height_mm) if block is not None else {}
    bead = _CENTRE_BEAD * sizes.height_mm if request.reversed_at_centre else 0.0
    strands: list[Strand] = []
    for index, side in enumerate(guide.sides):
        pitch = _pitch_on(sizes, gap, bends[index], rigid)
        if side.path.closed:
            span = _closed_span(side.path, sizes, pitch, gap)
            strands.append(Strand(side=index, span=span, fit=fit_span(span, stretch=stretch)))
            continue
        ends = ends_of(request.corner, guide, index, height_mm=sizes.height_mm, gap_mm=request.gap_mm, blocks=blocks)
        strands.extend(_strands(index, side.path, sizes, pitch, gap, ends, bead, stretch))
    return Plan(
        scale=scale,
        sizes=sizes,
        band=band,
        guide=guide,
        block=block,
        blocks=blocks,
        strands=tuple(strands),
        gap_mm=gap,
        rigid=rigid,
        bead_mm=bead,
    )


def _gap_to_keep(request: BorderRequest, strip: Repeat, scale: float) -> float | None:
    """Return the gap copies keep: the one asked, or the strip's own where it cannot be opened; None if scaling narrows it."""
    if strip.gap_mm >= request.gap_mm - MEASURE_MM:
        return request.gap_mm
    if least_pitch(StripSizes(strip), gap_mm=request.gap_mm, radii_mm=(), rigid=True, most_mm=_most(strip)) is not None:
        return request.gap_mm
    return strip.gap_mm if scale == 1.0 else None


def _most(strip: Repeat) -> float:
    return 2.0 * strip.pitch_mm


def _pitch_on(sizes: StripSizes, gap_mm: float, radii_mm: tuple[float, ...], rigid: bool) -> float:
    found = least_pitch(sizes, gap_mm=gap_mm, radii_mm=radii_mm, rigid=rigid, most_mm=_most(sizes.strip))
    return _most(sizes.strip) if found is None else found


def _closed_span(path: Path, sizes: StripSizes, pitch_mm: float, gap_mm: float) -> Span:
    return Span(
        length_mm=path.length_mm,
        pitch_mm=pitch_mm,
        width_of=sizes.width,
        slack_mm=GAP_SHARE * gap_mm,
        turns=path.turns(),
    )


def _strands(
    index: int,
    path: Path,
    sizes: StripSizes,
    pitch_mm: float,
    gap_mm: float,
    ends: tuple[Allowance, Allowance],
    bead_mm: float,
    stretch: bool,
) -> list[Strand]:
    """Return the strand of a side, or the two that run towards its centre."""
    spans: list[tuple[float, Allowance, Allowance, bool]]
    if bead_mm > 0.0:
        centre = 0.5 * bead_mm + gap_mm
        height = sizes.height_mm
        middle = Allowance(centre, centre + 0.1 * height, centre + 0.33 * height)
        half = 0.5 * path.length_mm
        spans = [(half, ends[0], middle, False), (half, ends[1], middle, True)]
    else:
        spans = [(path.length_mm, ends[0], ends[1], False)]
    strands = []
    for length, start, end, backwards in spans:
        # Lengths of equal sides differ in their last bits; counts must not.
        span = Span(
            length_mm=float(np.round(length, 9)),
            pitch_mm=pitch_mm,
            width_of=sizes.width,
            slack_mm=GAP_SHARE * gap_mm,
            start=start,
            end=end,
        )
        strands.append(Strand(side=index, span=span, fit=fit_span(span, stretch=stretch), backwards=backwards))
    return strands
