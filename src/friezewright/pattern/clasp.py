"""Clasps: how a motif fits into its own turned or mirrored copy, and the shortest strips made of such pairs.

For every shift across the strip the exact row method (:mod:`~friezewright.pattern.rows`) tells the shortest pitch. A
coarse polygon finds the shifts worth a closer look, the polygon on which gaps are measured gives the figures.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal, TypeAlias

import numpy as np

from friezewright.errors import InputError
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.artwork import Placements
from friezewright.geometry.outline import Outline
from friezewright.pattern.contact import MEASURE_MM
from friezewright.pattern.pieces import Pieces, grown, pieces_of
from friezewright.pattern.pitch import OwnPitches, best_pitch, glide_pitch, own_pitches
from friezewright.pattern.repeat import Repeat, repeat_of
from friezewright.pattern.rows import Rows, forbidden_rows
from friezewright.pattern.seat import centred, check_sizes

__all__ = ["Clasp", "Objective", "Partner", "clasp_repeat", "find_clasps", "turned_clasps"]

Objective: TypeAlias = Literal["pitch", "area"]

_COARSE_MM = 0.01
_EXCESS_MM = 0.0005
_STEPS_A_HEIGHT = 200
_MINIMA = 3
_SAMPLES = 9
_ROUNDS = 3

_HEIGHT_LIMIT = {"pitch": 1.25, "area": 2.0}
"""How high a strip may be when no limit is given, in heights of the motif."""


class Partner(StrEnum):
    """How the second copy of a pair relates to the first."""

    SAME = "same"
    HALF_TURN = "half-turn"
    MIRRORED = "mirrored"
    """Across the strip: left becomes right."""

    FLIPPED = "flipped"
    """Along the strip: top becomes bottom; with a shift of half the pitch, strict, the strip has a glide."""


_SIGNS = {
    Partner.SAME: (1.0, 1.0),
    Partner.HALF_TURN: (-1.0, -1.0),
    Partner.MIRRORED: (-1.0, 1.0),
    Partner.FLIPPED: (1.0, -1.0),
}


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
    Rows are exact, and the polygons they are taken on are those the gap is measured on, one of them grown by the gap
    and by twice their flattening: the true gap is never under the one asked. Shifts across are sampled (a two-hundredth
    of the height) and the three best local minima refined; a slot that opens only between two samples is missed.
    """
    motif = centred(shape, turn_rad)
    search = _Search(motif, gap_mm, turn_rad)
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
        The most pitch saved first. Any two differ in partner, by more than 3 % in pitch, or by more than 5 % in height.
    """
    if turns < 1:
        raise InputError(f"a motif is tried at 1 turn or more, got {turns}")
    found: list[tuple[_Fit, Outline, float]] = []
    for i in range(turns):
        turn_rad = math.pi * i / turns
        motif = centred(shape, turn_rad)
        height = float(np.ptp(motif.bounds()[:, 1]))
        if height_limit_mm is None or height <= height_limit_mm:
            search = _Search(motif, gap_mm, turn_rad)
            found += [(fit, motif, turn_rad) for fit in search.fits(partners, strict, height_limit_mm, objective)]
        if progress is not None:
            progress((i + 1) / turns)
    found.sort(key=lambda each: (-round(each[0].saved(objective), 9), each[0].partner, each[2]))
    kept: list[tuple[_Fit, Outline, float]] = []
    for each in found:
        if most is not None and len(kept) >= most:
            break
        if not any(_alike(each[0], other[0]) for other in kept):
            kept.append(each)
    return tuple(_laid_out(motif, fit, turn_rad) for fit, motif, turn_rad in kept)


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
    matrix[0, :, :2], matrix[1, :, :2] = np.eye(2), np.diag(_SIGNS[partner])
    matrix[1, :, 2] = 0.5 * np.array(offset_mm)
    matrix[0, :, 2] = -matrix[1, :, 2]
    cell = Placements(matrix=matrix, shape=np.zeros(2, dtype=np.int64), member=np.arange(2))
    return repeat_of(np.array([[pitch_mm, 0.0]]), (motif,), cell)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fit:
    """The figures of a clasp, before it is laid out."""

    partner: Partner
    strict: bool
    pitch_mm: float
    offset_mm: tuple[float, float]
    height_mm: float
    gap_mm: float
    side_by_side_mm: float
    motif_mm: float

    @property
    def pitch_saved(self) -> float:
        return 1.0 - self.pitch_mm / (2.0 * self.side_by_side_mm)

    def saved(self, objective: Objective) -> float:
        """Return the share saved of what is asked for, against two copies side by side."""
        if objective == "pitch":
            return self.pitch_saved
        return 1.0 - (1.0 - self.pitch_saved) * (self.height_mm + self.gap_mm) / (self.motif_mm + self.gap_mm)


def _laid_out(motif: Outline, fit: _Fit, turn_rad: float) -> Clasp:
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


def _alike(a: _Fit, b: _Fit) -> bool:
    near = abs(a.pitch_mm - b.pitch_mm) <= 0.03 * min(a.pitch_mm, b.pitch_mm)
    return a.partner is b.partner and near and abs(a.height_mm - b.height_mm) <= 0.05 * min(a.height_mm, b.height_mm)


class _Level:
    """A motif as a polygon of some fineness, with what its own copies allow."""

    def __init__(self, motif: Outline, gap_mm: float, tolerance_mm: float) -> None:
        self._pieces = pieces_of(motif, tolerance_mm=tolerance_mm)
        # Both outlines may stray by their flattening; with twice that on top the true gap is never smaller than asked.
        self._grown = grown(self._pieces, gap_mm + 2.0 * MEASURE_MM, excess_mm=max(_EXCESS_MM, 0.1 * tolerance_mm))
        self.own: OwnPitches = own_pitches(self.rows(Partner.SAME, np.zeros(1)).row(0))

    def rows(self, partner: Partner, shifts: FloatArray) -> Rows:
        """Return the forbidden runs of the partner against the motif."""
        return forbidden_rows(self._grown, self._image(partner), shifts)

    def _image(self, partner: Partner) -> Pieces:
        sign_x, sign_y = _SIGNS[partner]
        image = self._pieces.mirrored() if sign_x < 0.0 else self._pieces
        return image.flipped() if sign_y < 0.0 else image


class _Search:
    """The search for one motif at one turn and gap."""

    def __init__(self, motif: Outline, gap_mm: float, turn_rad: float) -> None:
        check_sizes(gap_mm, None, "pitch", turn_rad)
        if gap_mm == 0.0:
            raise InputError("copies of a clasp need a gap above 0 mm between them")
        self._gap_mm = gap_mm
        self._height = float(np.ptp(motif.bounds()[:, 1]))
        self._coarse = _Level(motif, gap_mm, _COARSE_MM)
        self._fine = _Level(motif, gap_mm, MEASURE_MM)

    def fits(
        self, partners: Iterable[Partner], strict: Sequence[bool], limit_mm: float | None, objective: Objective
    ) -> list[_Fit]:
        limit = _HEIGHT_LIMIT[objective] * self._height if limit_mm is None else limit_mm
        if not limit >= self._height - 1e-9:
            raise InputError(
                f"the motif is {self._height:.2f} mm high, more than the {limit:g} mm a strip of it may be"
            )
        reach = max(0.0, limit - self._height)
        found = []
        for partner in partners:
            modes = (True,) if partner is Partner.HALF_TURN and len(strict) else sorted(set(strict))
            grid = _Grid(self._coarse, partner, reach, self._height)
            found += [self._fit(partner, mode, grid, reach, objective) for mode in modes]
        return found

    def _fit(self, partner: Partner, strict: bool, grid: _Grid, reach: float, objective: Objective) -> _Fit:
        own = self._fine.own
        if strict and partner is Partner.SAME:
            return self._figures(partner, strict, 2.0 * own.least_mm, own.least_mm, 0.0)
        glides = strict and partner is Partner.FLIPPED
        if strict and partner is Partner.MIRRORED:
            pitch, offset = best_pitch(self._fine.rows(partner, np.zeros(1)), own)
            return self._figures(partner, strict, float(pitch[0]), float(offset[0]), 0.0)
        centres: FloatArray = grid.minima(glides, lambda pitch, shift: self._cost(pitch, shift, objective))
        step, low = grid.step, 0.0 if grid.one_sided else -reach
        best = None
        for _ in range(_ROUNDS if reach > 0.0 else 1):
            samples = np.clip(np.linspace(centres - step, centres + step, _SAMPLES), low, reach)
            shifts: FloatArray = samples.T.reshape(-1)
            pitch, offset = _pitches(self._fine.rows(partner, shifts), own, glides)
            cost = self._cost(pitch, shifts, objective)
            nearest = np.argmin(cost.reshape(len(centres), -1), axis=1)
            centres, step = shifts[_SAMPLES * np.arange(len(centres)) + nearest], step / 4.0
            # Equal but for rounding: the flatter strip.
            i = int(np.lexsort((np.abs(shifts), np.round(cost, 7)))[0])
            trial = (float(cost[i]), float(pitch[i]), float(offset[i]), float(shifts[i]))
            if best is None or trial[0] < best[0] - 1e-9:
                best = trial
        assert best is not None
        return self._figures(partner, strict, best[1], best[2], best[3])

    def _cost(self, pitch: FloatArray, shift: FloatArray, objective: Objective) -> FloatArray:
        return pitch if objective == "pitch" else pitch * (self._height + np.abs(shift) + self._gap_mm)

    def _figures(self, partner: Partner, strict: bool, pitch: float, along: float, across: float) -> _Fit:
        return _Fit(
            partner=partner,
            strict=strict,
            pitch_mm=pitch,
            offset_mm=(along % pitch, across),
            height_mm=self._height + abs(across),
            gap_mm=self._gap_mm,
            side_by_side_mm=self._fine.own.side_by_side_mm,
            motif_mm=self._height,
        )


class _Grid:
    """The rows of one partner at even shifts across, on the coarse polygon."""

    def __init__(self, level: _Level, partner: Partner, reach: float, height: float) -> None:
        # A pair of like-handed or mirrored copies is the same strip with the shift turned round.
        self.one_sided = partner in (Partner.SAME, Partner.MIRRORED)
        steps = max(1, math.ceil(reach / max(height, 1e-9) * _STEPS_A_HEIGHT)) if reach > 0.0 else 0
        self.step = reach / steps if steps else 0.0
        self._shifts: FloatArray = self.step * np.arange(0 if self.one_sided else -steps, steps + 1)
        self._rows = level.rows(partner, self._shifts)
        self._own = level.own

    def minima(self, glides: bool, cost: Callable[[FloatArray, FloatArray], FloatArray]) -> FloatArray:
        """Return the shifts of the best local minima, the best first."""
        pitch, _ = _pitches(self._rows, self._own, glides)
        value = cost(pitch, self._shifts)
        falls, rises = np.append(True, value[1:] < value[:-1]), np.append(value[:-1] <= value[1:], True)
        at = np.flatnonzero(falls & rises)
        return np.asarray(self._shifts[at[np.argsort(value[at], kind="stable")[:_MINIMA]]])


def _pitches(rows: Rows, own: OwnPitches, glides: bool) -> tuple[FloatArray, FloatArray]:
    if glides:
        pitch = glide_pitch(rows, own)
        return pitch, 0.5 * pitch
    return best_pitch(rows, own)
