"""Planning a border: which scale, how many repeats on each side, and what stands at the corners.

Everything here is arithmetic on lengths and a few measured gaps; nothing is placed yet. Scales are tried from the one
asked outwards, so the plan nearest to what was asked wins.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from friezewright.geometry.artwork import Artwork
from friezewright.geometry.outline import Outline
from friezewright.geometry.planar.nearness import smallest_gap
from friezewright.ornament.corner import (
    Block,
    Corner,
    block_from_motif,
    block_from_shape,
    blocks_at,
    ends_of,
    needs_disc,
)
from friezewright.ornament.fit import Allowance, Span, SpanFit, fit_span
from friezewright.ornament.guide import Guide, Side, guide_along
from friezewright.ornament.laying import MEASURE_MM, StripSizes
from friezewright.ornament.mitre import MitreCut, best_phases, is_mitred, mitre_cut, seam_fit, seams_of
from friezewright.ornament.path import Path, Piece
from friezewright.ornament.request import Band, BorderRequest
from friezewright.ornament.scales import SMALLEST_SCALE, ScaledStrips

__all__ = ["GAP_SHARE", "TIGHTEST", "Plan", "Strand", "best_plan", "room_for"]

GAP_SHARE = 0.6
"""The gap may open by this share of itself to take up what is left over."""

TIGHTEST = 1.5
"""Radius of the centreline, in strip heights, under which nothing is bent: the inside would shrink to a half."""

# One uniform scale for the whole border, from a hundredth either way to the bounds.
_SCALES = sorted(
    (round(0.01 * k, 2) for k in range(round(100 * SMALLEST_SCALE), 126)),
    key=lambda scale: (abs(math.log(scale)), scale),
)
# Diameter of the bead at the centre of a reversed side, in strip heights.
_CENTRE_BEAD = 0.28
# Plans that are measured before the best of them is taken as it is.
_MOST_SETTLED = 5
# Sides meet on a mirror of the strip only if that takes no larger change of scale (as a logarithm).
_SEAM_SCALE = 0.15


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
    mitre: MitreCut | None = None
    seamless: bool = False

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

    def badness(self) -> tuple[int, float]:
        """Return what makes a plan worse: empty sides, then what was left over and the scale's distance from 1.

        A tenth of scale counts as much as a space of four tenths of the strip's height.
        """
        empty = sum(strand.fit.count == 0 for strand in self.strands)
        spare = max((strand.fit.spare_mm for strand in self.strands if strand.fit.count), default=0.0)
        return empty, round(spare / self.height_mm + 4.0 * abs(math.log(self.scale)), 3)


def best_plan(request: BorderRequest, pieces: Sequence[Piece]) -> Plan | None:
    """Return the plan nearest to what was asked, or None if no scale lets the band fit.

    A plan in which everything fits without stretching wins over one with stretching, and that over one in which the
    ends had to take more than is comfortable.
    """
    make_block = _block_maker(request, pieces)
    at_one = make_block(1.0)

    def scaled_block(scale: float) -> Block | None:
        return None if at_one is None else at_one.scaled(scale)

    strips = ScaledStrips(request)
    tries = _tries(request, pieces, strips)
    loose: list[tuple[tuple[int, float], int, Trial]] = []
    settled: list[Plan] = []
    # Sides that meet on the strip's own mirror are worth a little stretch before a bead is set between them.
    for seam, stretch in itertools.product((True, False), (False, True)):
        for trial in (trial for trial in tries if trial.seam is seam):
            block = scaled_block(trial.scale)
            plan = plan_at(request, pieces, strips, trial, stretch=stretch, block=block, exact=False)
            if plan is None:
                continue
            if plan.fits and len(settled) < _MOST_SETTLED:
                plan = _settled(request, pieces, strips, trial, stretch, make_block)
                if plan is not None and plan.fits and _keeps_gap(plan):
                    return plan
                settled.extend([] if plan is None else [plan])
            elif stretch and not seam:
                loose.append((plan.badness(), len(loose), trial))
    if loose:
        best = _settled(request, pieces, strips, min(loose)[2], True, make_block)
        settled.extend([] if best is None else [best])
    return min(settled, key=Plan.badness, default=None)


def _keeps_gap(plan: Plan) -> bool:
    """Whether straight copies keep the gap at the pitches chosen.

    Opening a strip opens the gaps of a plain one. A pair fitted into itself may come nearer on the far side of its bay.
    """
    chosen = {(round(strand.fit.pitch_mm, 9), strand.fit.stretch) for strand in plan.strands if strand.fit.count}
    for pitch, stretch in sorted(chosen):
        copies = plan.sizes.laid(3, pitch, stretch=stretch)
        found = smallest_gap(copies, tolerance_mm=MEASURE_MM, reach_mm=plan.gap_mm)
        if found is not None and found[0] < plan.gap_mm - 4.0 * MEASURE_MM:
            return False
    return True


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """What is tried: a scale, the phase of the mitres, and whether sides meet on a mirror of the strip."""

    scale: float = 1.0
    phase_share: float = 0.0
    seam: bool = False


def _tries(request: BorderRequest, pieces: Sequence[Piece], strips: ScaledStrips) -> list[Trial]:
    """Return what to try, nearest to what was asked first."""
    plain = [Trial(scale=scale) for scale in _SCALES]
    sizes = strips.at(1.0, exact=True)
    if request.corner is not Corner.MITRE or sizes is None:
        return plain
    guide = _guide_of(request, pieces, sizes, Band.of(request, sizes.height_mm))
    turns = [corner.turn_rad for corner in guide.corners if is_mitred(corner)] if guide is not None else []
    if not turns:
        return plain
    ranked = best_phases(sizes, turns[0], gap_mm=request.gap_mm)
    # Where the strip has mirrors of its own the phase is a freedom of the fit; else the centre takes what is left.
    seamed = [
        Trial(scale=scale, phase_share=phase, seam=True)
        for scale in _SCALES
        if abs(math.log(scale)) <= _SEAM_SCALE
        for phase in ranked[:12]
    ]
    beaded = [Trial(scale=scale, phase_share=ranked[0]) for scale in _SCALES]
    return [*(seamed if seams_of(request.strip.group) else []), *beaded]


def _guide_of(request: BorderRequest, pieces: Sequence[Piece], sizes: StripSizes, band: Band) -> Guide | None:
    sense = -1.0 if request.outward else 1.0
    return guide_along(
        pieces,
        distance_mm=sense * band.centre_mm,
        edge_mm=sense * band.strip_mm,
        tightest_mm=TIGHTEST * sizes.height_mm,
        sides=request.sides,
    )


def _settled(
    request: BorderRequest,
    pieces: Sequence[Piece],
    strips: ScaledStrips,
    trial: Trial,
    stretch: bool,
    make_block: Callable[[float], Block | None],
) -> Plan | None:
    """Return the plan of a trial with its gaps measured and its corner piece made at its own scale."""
    block = make_block(trial.scale)
    return plan_at(request, pieces, strips, trial, stretch=stretch, block=block, exact=True)


def _block_maker(request: BorderRequest, pieces: Sequence[Piece]) -> Callable[[float], Block | None]:
    """Return what makes the corner piece at a scale: small enough for the narrowest corner, its gap kept."""

    @cache
    def make(scale: float) -> Block | None:
        if request.corner is not Corner.BLOCK:
            return None
        height = scale * request.strip.height_mm
        size = min(height, scale * (request.corner_size_mm or request.strip.height_mm))
        block = at_size(size)
        sizes = StripSizes.of(request.strip).scaled(scale)
        guide = _guide_of(request, pieces, sizes, Band.of(request, height))
        if guide is None or not any(needs_disc(corner) for corner in guide.corners if corner.joined):
            return block
        # With the gap kept, a smaller rosette reaches out a little less or more; a few rounds settle it.
        for _ in range(4):
            if block.radius_mm <= 0.5 * height:
                break
            size *= 0.499 * height / block.radius_mm
            block = at_size(size)
        return block

    def at_size(size_mm: float) -> Block:
        if request.corner_shape is not None:
            return block_from_shape(request.corner_shape, size_mm=size_mm)
        return block_from_motif(request.strip.shapes[0], size_mm=size_mm, gap_mm=request.gap_mm)

    return make


def room_for(request: BorderRequest, pieces: Sequence[Piece]) -> bool:
    """Whether any repeat at all finds room at the strip's own size."""
    plan = plan_at(request, pieces, ScaledStrips(request), Trial(), stretch=True, block=None, exact=False)
    return plan is not None and any(strand.fit.count for strand in plan.strands)


def plan_at(
    request: BorderRequest,
    pieces: Sequence[Piece],
    strips: ScaledStrips,
    trial: Trial,
    *,
    stretch: bool,
    block: Block | None,
    exact: bool,
) -> Plan | None:
    """Return the plan of one trial; None where the band does not fit or the gap cannot be kept.

    ``exact`` says whether gaps are measured or estimated.
    """
    sizes = strips.at(trial.scale, exact=exact)
    if sizes is None:
        return None
    band = Band.of(request, sizes.height_mm)
    guide = _guide_of(request, pieces, sizes, band)
    if guide is None or not guide.sides:
        return None
    bends = [side.path.bends_mm() for side in guide.sides]
    tightest = min((abs(r) for radii in bends for r in radii), default=math.inf)
    if tightest <= 0.5 * sizes.height_mm + 1e-6:
        return None
    rigid = request.rigid or tightest < TIGHTEST * sizes.height_mm - 1e-6
    if rigid and any(radii for radii in bends):
        band = Band.of(request, sizes.height_mm, lift_mm=_lift(sizes, tightest))
        guide = _guide_of(request, pieces, sizes, band)
        if guide is None or not guide.sides:
            return None
        bends = [side.path.bends_mm() for side in guide.sides]
    gap = min(request.gap_mm, sizes.strip.gap_mm)
    blocks = blocks_at(block, guide, height_mm=sizes.height_mm) if block is not None else {}
    mitre = None
    if request.corner is Corner.MITRE and any(is_mitred(corner) for corner in guide.corners):
        mitre = mitre_cut(sizes, guide, trial.phase_share)
    seams = seams_of(request.strip.group) if mitre is not None and trial.seam else ()
    reverses = (mitre is not None and not seams) or request.reversed_at_centre
    bead = _CENTRE_BEAD * sizes.height_mm if reverses else 0.0
    strands: list[Strand] = []
    for index, side in enumerate(guide.sides):
        pitch = strips.pitch_on(sizes, bends[index], rigid, exact=exact)
        if side.path.closed:
            span = _closed_span(side.path, sizes, pitch, gap)
            strands.append(Strand(side=index, span=span, fit=fit_span(span, stretch=stretch)))
            continue
        ends = ends_of(request.corner, guide, index, height_mm=sizes.height_mm, gap_mm=request.gap_mm, blocks=blocks)
        if mitre is not None:
            if 0.5 * side.path.length_mm < mitre.end_mm(sizes) + 0.5 * gap:
                return None
            ends = _mitred_ends(guide, side, ends, mitre.begin_mm(sizes))
            if seams and not bead:
                strands.extend(_seamed(index, side.path, sizes, seams, pitch, gap, ends, stretch))
                continue
        strands.extend(_strands(index, side.path, sizes, pitch, gap, ends, bead, stretch))
    return Plan(
        scale=trial.scale,
        sizes=sizes,
        band=band,
        guide=guide,
        block=block,
        blocks=blocks,
        strands=tuple(strands),
        gap_mm=gap,
        rigid=rigid,
        bead_mm=bead,
        mitre=mitre,
        seamless=bool(seams) and not bead,
    )


def _lift(sizes: StripSizes, radius_mm: float) -> float:
    """Return by how much the corners of unbent copies stand out of a bent strip, at most."""
    edge = radius_mm + 0.5 * sizes.height_mm
    half = 0.5 * float((sizes.box[:, 1, 0] - sizes.box[:, 0, 0]).max())
    # The lift itself makes the bend tighter by as much; its own share of the radius covers that.
    lift = math.hypot(edge, half) - edge
    return lift * (1.0 + lift / edge)


def _mitred_ends(
    guide: Guide, side: Side, ends: tuple[Allowance, Allowance], begin_mm: float
) -> tuple[Allowance, Allowance]:
    """Return the ends of a side with those at mitred corners fixed where the corner cells end."""
    first, last = (
        Allowance.fixed(begin_mm) if number is not None and is_mitred(guide.corners[number]) else end
        for number, end in zip((side.before, side.after), ends, strict=True)
    )
    return first, last


def _seamed(
    index: int,
    path: Path,
    sizes: StripSizes,
    seams: tuple[float, ...],
    pitch_mm: float,
    gap_mm: float,
    ends: tuple[Allowance, Allowance],
    stretch: bool,
) -> list[Strand]:
    """Return the two strands of a side that meet on a mirror of the strip."""
    half = float(np.round(0.5 * path.length_mm, 9))
    strands = []
    for end, backwards in zip(ends, (False, True), strict=True):
        fit = seam_fit(
            sizes,
            seams,
            begin_mm=end.least_mm,
            centre_mm=half,
            slack_mm=GAP_SHARE * gap_mm,
            stretch=stretch,
        )
        span = Span(
            length_mm=half,
            pitch_mm=pitch_mm,
            width_of=sizes.width,
            slack_mm=GAP_SHARE * gap_mm,
            start=end,
            end=Allowance.fixed(0.0),
        )
        strands.append(Strand(side=index, span=span, fit=fit, backwards=backwards))
    return strands


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
        middle = Allowance(centre, centre + 0.15 * height, centre + 0.5 * height)
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
