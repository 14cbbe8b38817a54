"""Clasps: how a motif fits into its own turned or mirrored copy, and the shortest strips made of such pairs.

For every shift across the strip the exact row method (:mod:`~friezewright.pattern.rows`) tells the shortest pitch.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from friezewright.errors import InputError
from friezewright.geometry.artwork import Placements
from friezewright.geometry.outline import Outline
from friezewright.pattern.clasp_search import Fit, Objective, StripSearch
from friezewright.pattern.level import Partner
from friezewright.pattern.repeat import Repeat, repeat_of
from friezewright.pattern.seat import centred, check_sizes

__all__ = [
    "FITS_FROM",
    "Clasp",
    "GapCurve",
    "Objective",
    "Partner",
    "clasp_repeat",
    "find_clasps",
    "pitch_against_gap",
    "turned_clasps",
]

FITS_FROM = 0.05
"""A pair that saves less than this share of the pitch is said not to fit into itself: it would not be seen."""

_GAP_STEP_MM = 0.01
"""How closely the gap up to which a fit holds is found."""

_HOLDS_SHARE = 0.75


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Clasp:
    """A pair fitted into each other, and the strip made of it.

    Parameters
    ----------
    partner
        How the second copy relates to the first.
    strict
        Whether the pair is tied together by a symmetry of the strip: any half turn is; a mirror only straight across, a
        flip only half a pitch on, a second copy of the same kind only as part of a plain row.
    turn_rad
        Turn of the motif before all else, clockwise on screen.
    pitch_mm
        Length of one repeat, a pair.
    offset_mm
        From the middle of the first copy's bounding box to that of the second.
    height_mm
        Height of the strip.
    pitch_saved
        Share of the pitch saved against two copies in a plain row, neither of them hooked into the other, at the same
        gap and turn; below 0 where the pair takes more room.
    repeat
        The strip, its gap measured and its group found.
    """

    partner: Partner
    strict: bool
    turn_rad: float
    pitch_mm: float
    offset_mm: tuple[float, float]
    height_mm: float
    pitch_saved: float
    repeat: Repeat

    @property
    def fits(self) -> bool:
        """Whether the copies fit into each other at this gap so that one sees it."""
        return self.pitch_saved >= FITS_FROM


@dataclass(frozen=True, slots=True, kw_only=True)
class GapCurve:
    """How the tightest strip of one partner lengthens as the gap grows.

    Parameters
    ----------
    partner, strict
        As for a clasp.
    gaps_mm, pitch_mm, pitch_saved
        One entry a gap, the gaps rising.
    holds_up_to_mm
        The largest gap, to 0.01 mm and no further than those asked, up to which at least three quarters of what is
        saved at the smallest gap stay saved: beyond, a copy no longer enters the other's bay. None where nothing fits
        even there.
    """

    partner: Partner
    strict: bool
    gaps_mm: tuple[float, ...]
    pitch_mm: tuple[float, ...]
    pitch_saved: tuple[float, ...]
    holds_up_to_mm: float | None


def find_clasps(
    shape: Outline,
    *,
    gap_mm: float,
    partners: Sequence[Partner] = tuple(Partner),
    strict: Sequence[bool] = (False, True),
    height_limit_mm: float | None = None,
    turn_rad: float = 0.0,
    objective: Objective = "pitch",
) -> tuple[Clasp, ...]:
    """Return the tightest strip for each partner, free and strict.

    Parameters
    ----------
    shape
        The motif, mm.
    gap_mm
        Smallest distance between any two copies of the endless strip, above 0.
    partners
        Which partners to try.
    strict
        Whether to look for pairs at any place, for pairs held by a symmetry, or for both. A half turn is always a
        symmetry and comes once.
    height_limit_mm
        How high the strip may be. Left out: 1.25 heights of the turned motif for the shortest pitch, 2 for the
        smallest area.
    turn_rad
        Turn of the motif, clockwise on screen.
    objective
        ``"pitch"``, or ``"area"`` for pitch times height and gap.

    Returns
    -------
    tuple of Clasp
        In the order of the partners, free before strict.

    Raises
    ------
    InputError
        If a size is impossible, or the motif alone is higher than the limit.

    Notes
    -----
    Rows are exact, and the polygons they are taken on are those the gap is measured on, grown by the gap and by twice
    their flattening: the true gap is never under the one asked. Shifts across are sampled, a two-hundredth of the
    height apart, and the three best local minima refined; a slot that opens only between two samples is missed.
    """
    check_sizes(gap_mm, None, "pitch", turn_rad)
    motif = centred(shape, turn_rad)
    search = StripSearch(motif, gap_mm)
    fits = search.fits(partners, strict, height_limit_mm, objective)
    return tuple(_laid_out(motif, fit, turn_rad) for fit in fits)


def turned_clasps(
    shape: Outline,
    *,
    gap_mm: float,
    turns: int = 12,
    partners: Sequence[Partner] = tuple(Partner),
    strict: Sequence[bool] = (False, True),
    height_limit_mm: float | None = None,
    objective: Objective = "pitch",
    most: int | None = None,
    progress: Callable[[float], None] | None = None,
) -> tuple[Clasp, ...]:
    """Return the best clasps over several turns of the motif, those that look alike left out.

    Parameters
    ----------
    shape, gap_mm, partners, strict, objective
        As for :func:`find_clasps`.
    turns
        How many turns to try, evenly over half a circle (the other half gives the same strips, seen upside down).
    height_limit_mm
        As for :func:`find_clasps`; left out, each turn has its own.
    most
        How many to return at most; all that differ when left out.
    progress
        Called with the share done; may raise :class:`~friezewright.errors.Cancelled`.

    Returns
    -------
    tuple of Clasp
        Those that save the most of what is asked for first. Any two differ in partner, by more than 3 % in pitch, or by
        more than 5 % in height.
    """
    if turns < 1:
        raise InputError(f"a motif is tried at 1 turn or more, got {turns}")
    found: list[tuple[Fit, Outline, float]] = []
    for i in range(turns):
        turn_rad = math.pi * i / turns
        motif = centred(shape, turn_rad)
        height = float(np.ptp(motif.bounds()[:, 1]))
        if height_limit_mm is None or height <= height_limit_mm:
            search = StripSearch(motif, gap_mm)
            found += [(fit, motif, turn_rad) for fit in search.fits(partners, strict, height_limit_mm, objective)]
        if progress is not None:
            progress((i + 1) / turns)
    # Of pairs that save the same, the one held by a symmetry stands for both.
    found.sort(key=lambda each: (-round(each[0].saved(objective), 5), not each[0].strict, each[0].partner, each[2]))
    kept: list[tuple[Fit, Outline, float]] = []
    for each in found:
        if most is not None and len(kept) >= most:
            break
        if not any(_alike(each[0], other[0]) for other in kept):
            kept.append(each)
    return tuple(_laid_out(motif, fit, turn_rad) for fit, motif, turn_rad in kept)


def pitch_against_gap(
    shape: Outline,
    gaps_mm: Sequence[float],
    *,
    partners: Sequence[Partner] = tuple(Partner),
    strict: Sequence[bool] = (False,),
    height_limit_mm: float | None = None,
    turn_rad: float = 0.0,
) -> tuple[GapCurve, ...]:
    """Return for each partner the shortest pitch at several gaps, and the gap up to which the fit holds.

    Parameters
    ----------
    shape, partners, strict, height_limit_mm, turn_rad
        As for :func:`find_clasps`.
    gaps_mm
        The gaps to look at, at least one, in any order.

    Raises
    ------
    InputError
        If there is no gap, or a size is impossible.
    """
    gaps = sorted({float(gap) for gap in gaps_mm})
    if not gaps:
        raise InputError("give at least one gap to look at")
    check_sizes(gaps[0], None, "pitch", turn_rad)
    motif = centred(shape, turn_rad)

    def fits(gap_mm: float, which: Sequence[Partner], modes: Sequence[bool]) -> list[Fit]:
        return StripSearch(motif, gap_mm).fits(which, modes, height_limit_mm, "pitch")

    curves = []
    for of_one in zip(*(fits(gap, partners, strict) for gap in gaps), strict=True):
        partner, mode = of_one[0].partner, of_one[0].strict
        saved = [fit.pitch_saved for fit in of_one]
        holds: float | None = None
        if saved[0] >= FITS_FROM:
            enough = _HOLDS_SHARE * saved[0]
            last = next((i for i, share in enumerate(saved) if share < enough), len(gaps)) - 1
            holds = gaps[last]
            beyond = gaps[last + 1] if last + 1 < len(gaps) else holds
            while beyond - holds > _GAP_STEP_MM:
                middle = 0.5 * (holds + beyond)
                if fits(middle, (partner,), (mode,))[0].pitch_saved >= enough:
                    holds = middle
                else:
                    beyond = middle
            holds = max(gaps[last], math.floor(holds / _GAP_STEP_MM + 1e-9) * _GAP_STEP_MM)
        curves.append(
            GapCurve(
                partner=partner,
                strict=mode,
                gaps_mm=tuple(gaps),
                pitch_mm=tuple(fit.pitch_mm for fit in of_one),
                pitch_saved=tuple(saved),
                holds_up_to_mm=holds,
            )
        )
    return tuple(curves)


def clasp_repeat(
    shape: Outline, partner: Partner, *, turn_rad: float, pitch_mm: float, offset_mm: tuple[float, float]
) -> Repeat:
    """Return the strip of a known clasp: nothing is searched, the gap is measured and the group found.

    Parameters
    ----------
    shape
        The motif, mm; it is turned and centred on its bounding box.
    partner
        How the second copy relates to the first.
    turn_rad
        Turn of the motif, clockwise on screen.
    pitch_mm
        Length of one repeat.
    offset_mm
        From the middle of the first copy to that of the second.

    Raises
    ------
    InputError
        If a figure is impossible.
    """
    check_sizes(None, pitch_mm, "pitch", turn_rad)
    if not all(map(math.isfinite, offset_mm)):
        raise InputError(f"an offset has two finite numbers, got {offset_mm}")
    return _strip_of(centred(shape, turn_rad), partner, pitch_mm, offset_mm)


def _strip_of(motif: Outline, partner: Partner, pitch_mm: float, offset_mm: tuple[float, float]) -> Repeat:
    matrix = np.zeros((2, 2, 3))
    matrix[0, :, :2], matrix[1, :, :2] = np.eye(2), np.diag(partner.signs)
    matrix[1, :, 2] = 0.5 * np.array(offset_mm)
    matrix[0, :, 2] = -matrix[1, :, 2]
    cell = Placements(matrix=matrix, shape=np.zeros(2, dtype=np.int64), member=np.arange(2))
    return repeat_of(np.array([[pitch_mm, 0.0]]), (motif,), cell)


def _laid_out(motif: Outline, fit: Fit, turn_rad: float) -> Clasp:
    return Clasp(
        partner=fit.partner,
        strict=fit.strict,
        turn_rad=turn_rad,
        pitch_mm=fit.pitch_mm,
        offset_mm=fit.offset_mm,
        height_mm=fit.height_mm,
        pitch_saved=fit.pitch_saved,
        repeat=_strip_of(motif, fit.partner, fit.pitch_mm, fit.offset_mm),
    )


def _alike(a: Fit, b: Fit) -> bool:
    near = abs(a.pitch_mm - b.pitch_mm) <= 0.03 * min(a.pitch_mm, b.pitch_mm)
    return a.partner is b.partner and near and abs(a.height_mm - b.height_mm) <= 0.05 * min(a.height_mm, b.height_mm)
