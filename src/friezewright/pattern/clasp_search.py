"""The search for the shortest strips of a motif and its partner: exact rows at sampled shifts across, then refined.

A coarse polygon finds the shifts worth a closer look, the polygon on which gaps are measured gives the figures.
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
from friezewright.geometry.outline import Outline
from friezewright.pattern.contact import MEASURE_MM
from friezewright.pattern.pieces import Pieces, grown, pieces_of
from friezewright.pattern.pitch import OwnPitches, best_pitch, glide_pitch, own_pitches
from friezewright.pattern.rows import Rows, forbidden_rows
from friezewright.pattern.seat import check_sizes

__all__ = ["Fit", "Level", "Objective", "Partner", "StripSearch", "coarse_level", "fine_level"]

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

    @property
    def signs(self) -> tuple[float, float]:
        """What the partner does to x and to y."""
        return _SIGNS[self]


_SIGNS = {
    Partner.SAME: (1.0, 1.0),
    Partner.HALF_TURN: (-1.0, -1.0),
    Partner.MIRRORED: (-1.0, 1.0),
    Partner.FLIPPED: (1.0, -1.0),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
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
        """Share of the pitch saved against two copies side by side."""
        return 1.0 - self.pitch_mm / (2.0 * self.side_by_side_mm)

    def saved(self, objective: Objective) -> float:
        """Return the share saved of what is asked for, against two copies side by side."""
        if objective == "pitch":
            return self.pitch_saved
        return 1.0 - (1.0 - self.pitch_saved) * (self.height_mm + self.gap_mm) / (self.motif_mm + self.gap_mm)


class Level:
    """A motif as a polygon of some fineness, with what its own copies allow."""

    def __init__(self, motif: Outline, gap_mm: float, tolerance_mm: float) -> None:
        self.gap_mm = gap_mm + 2.0 * MEASURE_MM
        self._pieces = pieces_of(motif, tolerance_mm=tolerance_mm)
        # Both outlines may stray by their flattening; with twice that on top the true gap is never smaller than asked.
        self._grown = grown(self._pieces, self.gap_mm, excess_mm=max(_EXCESS_MM, 0.1 * tolerance_mm))
        self.own: OwnPitches = own_pitches(self.rows(Partner.SAME, np.zeros(1)).row(0))

    def rows(self, partner: Partner, shifts: FloatArray) -> Rows:
        """Return the forbidden runs of the partner against the motif."""
        return forbidden_rows(self._grown, self._image(partner), shifts)

    def _image(self, partner: Partner) -> Pieces:
        sign_x, sign_y = partner.signs
        image = self._pieces.mirrored() if sign_x < 0.0 else self._pieces
        return image.flipped() if sign_y < 0.0 else image


def coarse_level(motif: Outline, gap_mm: float) -> Level:
    """Return the motif as the polygon that shows which shifts are worth a closer look."""
    return Level(motif, gap_mm, _COARSE_MM)


def fine_level(motif: Outline, gap_mm: float) -> Level:
    """Return the motif as the polygon on which gaps are measured."""
    return Level(motif, gap_mm, MEASURE_MM)


class StripSearch:
    """The search for one motif at one turn and gap."""

    def __init__(self, motif: Outline, gap_mm: float) -> None:
        check_sizes(gap_mm, None, "pitch", 0.0)
        if gap_mm == 0.0:
            raise InputError("copies of a clasp need a gap above 0 mm between them")
        self._gap_mm = gap_mm
        self._height = float(np.ptp(motif.bounds()[:, 1]))
        self._coarse, self._fine = coarse_level(motif, gap_mm), fine_level(motif, gap_mm)

    def fits(
        self, partners: Iterable[Partner], strict: Sequence[bool], limit_mm: float | None, objective: Objective
    ) -> list[Fit]:
        """Return the best figures for each partner, free before strict; arguments as for ``find_clasps``.

        Raises
        ------
        InputError
            If the motif alone is higher than the limit.
        """
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

    def _fit(self, partner: Partner, strict: bool, grid: _Grid, reach: float, objective: Objective) -> Fit:
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

    def _figures(self, partner: Partner, strict: bool, pitch: float, along: float, across: float) -> Fit:
        return Fit(
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

    def __init__(self, level: Level, partner: Partner, reach: float, height: float) -> None:
        # A pair of like-handed or mirrored copies is the same strip with the shift turned round.
        self.one_sided = partner in (Partner.SAME, Partner.MIRRORED)
        steps = max(1, math.ceil(reach / max(height, 1e-9) * _STEPS_A_HEIGHT)) if reach > 0.0 else 0
        self.step = reach / steps if steps else 0.0
        self._shifts = self.step * np.arange(0 if self.one_sided else -steps, steps + 1, dtype=np.float64)
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
