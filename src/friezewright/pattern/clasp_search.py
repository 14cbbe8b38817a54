"""The search for the shortest strips of a motif and its partner: exact rows at sampled shifts across, then refined.

A coarse polygon finds the shifts worth a closer look, the polygon on which gaps are measured gives the figures.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from friezewright.errors import InputError
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import Outline
from friezewright.pattern.level import Level, Partner, coarse_level, fine_level
from friezewright.pattern.pitch import OwnPitches, best_pitch, glide_pitch
from friezewright.pattern.rows import Rows
from friezewright.pattern.seat import check_sizes

__all__ = ["Fit", "Objective", "StripSearch"]

Objective: TypeAlias = Literal["pitch", "area"]

_STEPS_A_HEIGHT = 200
_SAMPLES = 9
_MINIMA = 3
_COARSE_ROUNDS = 2
_FINE_ROUNDS = 3

_NEAR = 0.004
"""Minima whose cost on the coarse polygon is within this share of the best may be the best on the fine one."""

_FINE_START_MM = 0.04
"""How far a minimum may move from the coarse polygon to the fine one: a few times the coarse flattening."""

_HEIGHT_LIMIT = {"pitch": 1.25, "area": 2.0}
"""How high a strip may be when no limit is given, in heights of the motif."""


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
        low = 0.0 if grid.one_sided else -reach
        centres, values = grid.minima(glides, lambda pitch, shift: self._cost(pitch, shift, objective))
        step = grid.step
        if reach == 0.0:
            pitch, offset = _pitches(self._fine.rows(partner, centres), own, glides)
            return self._figures(partner, strict, float(pitch[0]), float(offset[0]), 0.0)
        for _ in range(_COARSE_ROUNDS):
            around = self._around(self._coarse, partner, glides, centres, step, (low, reach), objective)
            centres, values, step = around.shift, np.minimum(values, around.cost), step / 4.0
        centres = centres[values <= values.min() * (1.0 + _NEAR)]
        step = max(step, min(_FINE_START_MM, grid.step))
        best = None
        for _ in range(_FINE_ROUNDS):
            around = self._around(self._fine, partner, glides, centres, step, (low, reach), objective)
            centres, step = around.shift, step / 4.0
            # Equal but for rounding: the flatter strip.
            i = int(np.lexsort((np.abs(around.shift), np.round(around.cost, 7)))[0])
            trial = tuple(float(each[i]) for each in (around.cost, around.pitch, around.offset, around.shift))
            if best is None or trial[0] < best[0] - 1e-9:
                best = trial
        assert best is not None
        return self._figures(partner, strict, best[1], best[2], best[3])

    def _around(
        self,
        level: Level,
        partner: Partner,
        glides: bool,
        centres: FloatArray,
        step: float,
        limits: tuple[float, float],
        objective: Objective,
    ) -> _Best:
        """Return the best of even samples about each of some shifts across, from a step below to a step above."""
        samples = np.clip(np.linspace(centres - step, centres + step, _SAMPLES), *limits)
        shifts: FloatArray = samples.T.reshape(-1)
        pitch, offset = _pitches(level.rows(partner, shifts), level.own, glides)
        cost = self._cost(pitch, shifts, objective)
        at = _SAMPLES * np.arange(len(centres)) + np.argmin(cost.reshape(len(centres), -1), axis=1)
        return _Best(cost[at], pitch[at], offset[at], shifts[at])

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


@dataclass(frozen=True, slots=True, eq=False)
class _Best:
    """Figures of the best strip about each of some shifts across, shape (n,) each."""

    cost: FloatArray
    pitch: FloatArray
    offset: FloatArray
    shift: FloatArray


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

    def minima(
        self, glides: bool, cost: Callable[[FloatArray, FloatArray], FloatArray]
    ) -> tuple[FloatArray, FloatArray]:
        """Return the shifts of the best local minima, the best first, and what they cost."""
        pitch, _ = _pitches(self._rows, self._own, glides)
        value = cost(pitch, self._shifts)
        falls, rises = np.append(True, value[1:] < value[:-1]), np.append(value[:-1] <= value[1:], True)
        at = np.flatnonzero(falls & rises)
        at = at[np.argsort(value[at], kind="stable")[:_MINIMA]]
        return self._shifts[at], value[at]


def _pitches(rows: Rows, own: OwnPitches, glides: bool) -> tuple[FloatArray, FloatArray]:
    if glides:
        pitch = glide_pitch(rows, own)
        return pitch, 0.5 * pitch
    return best_pitch(rows, own)
