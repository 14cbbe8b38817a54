"""Fields made of rows: a plain row, a row of half-turned pairs or one with a glide, repeated as closely as it goes.

How near the next row may come, and how far along it is set, follows from the same exact rows as a clasp
(:mod:`~friezewright.pattern.rows`): the next row at height h may be shifted along by s when s lies in no forbidden run
of any copy against any other at that height, and the rows after it are clear when ``k s`` is free at ``k h`` for every
k that still reaches. Strips are taken from many shifts across and some looser pitches, since the shortest strip seldom
makes the densest field; the best is refined on the polygon on which gaps are measured. Best found, not proven densest.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from friezewright.errors import GeometryError, InputError
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.artwork import Placements
from friezewright.geometry.outline import BoolArray, IntArray, Outline
from friezewright.pattern.groups import PlaneGroup
from friezewright.pattern.level import Level, Partner, coarse_level, fine_level
from friezewright.pattern.pitch import SLACK_MM, best_pitch, glide_pitch, is_clear, widest_slot
from friezewright.pattern.repeat import Repeat, repeat_of
from friezewright.pattern.seat import centred, check_sizes

__all__ = ["RowField", "RowStep", "row_fields"]

_PARTNER = {PlaneGroup.P1: None, PlaneGroup.P2: Partner.HALF_TURN, PlaneGroup.PG: Partner.FLIPPED}
_STEPS_A_HEIGHT = 64
_LOOSER = (1.0, 1.04, 1.1, 1.2, 1.35)
_PLAIN_PITCHES = 64
_AT_ONCE = 20_000
_FINE_STEPS = 16
_ROUNDS = 5


class RowStep(StrEnum):
    """How far along each row is set from the one before it."""

    BEST = "best"
    """As far as makes the rows lie closest."""

    STRAIGHT = "straight"
    BRICK = "brick"
    """By half a pitch."""

    HALF_DROP = "half-drop"
    """Columns instead of rows, each lowered by half a pitch: brick work turned by a quarter."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class RowField:
    """A field of rows.

    Parameters
    ----------
    intended
        The group it was built for; the one found in the copies is the repeat's.
    step
        How the rows are set.
    turn_rad
        Turn of the motif, clockwise on screen.
    area_mm2
        Area of the cell for each copy.
    repeat
        The field, its gap measured.
    """

    intended: PlaneGroup
    step: RowStep
    turn_rad: float
    area_mm2: float
    repeat: Repeat


def row_fields(
    shape: Outline,
    *,
    gap_mm: float,
    groups: Sequence[PlaneGroup] = (PlaneGroup.P1, PlaneGroup.P2, PlaneGroup.PG),
    step: RowStep = RowStep.BEST,
    turns: int = 1,
    progress: Callable[[float], None] | None = None,
) -> tuple[RowField, ...]:
    """Return the densest field of rows found for each group.

    Parameters
    ----------
    shape
        The motif, mm.
    gap_mm
        Smallest distance between copies, above 0.
    groups
        Which of p1, p2 and pg.
    step
        How the rows are set. The rows of pg stand straight, for its glides ask for that, unless set otherwise.
    turns
        How many turns of the motif to try, evenly over half a circle.
    progress
        Called with the share done; may raise :class:`~friezewright.errors.Cancelled`.

    Raises
    ------
    InputError
        If a size is impossible, or a group is not one of the three.
    """
    check_sizes(gap_mm, None, "pitch", 0.0)
    if gap_mm == 0.0 or turns < 1:
        raise InputError("a field of rows needs a gap above 0 mm, and a motif is tried at 1 turn or more")
    for group in groups:
        if group not in _PARTNER:
            raise InputError(f"{group} is not made of rows; choose p1, p2 or pg")
    quarter = -0.5 * math.pi if step is RowStep.HALF_DROP else 0.0
    best: dict[PlaneGroup, tuple[_Cell, float]] = {}
    for i in range(turns):
        turn_rad = math.pi * i / turns
        motif = centred(shape, turn_rad + quarter)
        coarse = coarse_level(motif, gap_mm)
        for group in groups:
            cell = _Packing(coarse, motif, gap_mm, group, step).best()
            if cell is not None and (group not in best or cell.area_mm2 < best[group][0].area_mm2 - 1e-9):
                best[group] = (cell, turn_rad)
        if progress is not None:
            progress((i + 1) / (turns + 1))
    found = []
    for group, (cell, turn_rad) in best.items():
        motif = centred(shape, turn_rad + quarter)
        exact = _refined(fine_level(motif, gap_mm), cell, motif, group, step)
        repeat = _laid_out(motif, exact)
        found.append(
            RowField(
                intended=group,
                step=step,
                turn_rad=turn_rad,
                area_mm2=exact.area_mm2,
                repeat=repeat.turned(-quarter) if quarter else repeat,
            )
        )
    if progress is not None:
        progress(1.0)
    return tuple(found)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Cell:
    """The figures of a field: pitch, place of the partner (None without), and how the next row is set."""

    partner: Partner | None
    pitch_mm: float
    offset_mm: tuple[float, float]
    looser: float
    side: float
    height_mm: float
    along_mm: float

    @property
    def area_mm2(self) -> float:
        return self.pitch_mm * self.height_mm / (1 if self.partner is None else 2)


def _laid_out(motif: Outline, cell: _Cell) -> Repeat:
    count = 1 if cell.partner is None else 2
    matrix = np.zeros((count, 2, 3))
    matrix[0, :, :2] = np.eye(2)
    if cell.partner is not None:
        matrix[1, :, :2] = np.diag(cell.partner.signs)
        matrix[1, :, 2] = 0.5 * np.array(cell.offset_mm)
        matrix[0, :, 2] = -matrix[1, :, 2]
    vectors = np.array([[cell.pitch_mm, 0.0], [cell.along_mm, cell.height_mm]])
    placed = Placements(matrix=matrix, shape=np.zeros(count, dtype=np.int64), member=np.arange(count))
    return repeat_of(vectors, (motif,), placed)


class _Neighbours:
    """Forbidden runs of the next row, at any height, for strips of one kind."""

    def __init__(self, level: Level, partner: Partner | None) -> None:
        self._level, self._partner = level, partner

    def _runs(self, partner: Partner, heights: FloatArray) -> FloatArray:
        return self._level.rows(partner, heights).ends

    def at(self, heights: FloatArray, offset: FloatArray) -> FloatArray:
        """Return the runs (n, k, 2) of a strip against the same strip at heights (n,), partner at offset (n, 2)."""
        own = self._runs(Partner.SAME, heights)
        if self._partner is None:
            return own
        runs = [own]
        if self._partner is Partner.FLIPPED:
            # Flipped copies stand to each other as copies do to the ones above.
            runs.append(_back(own))
        runs.append(self._runs(self._partner, offset[:, 1] + heights) - offset[:, :1, None])
        runs.append(offset[:, :1, None] + _back(self._runs(self._partner, offset[:, 1] - heights)))
        return np.concatenate(runs, axis=1)


class _Sampled(_Neighbours):
    """The same, for heights and offsets on a grid, each row worked out once."""

    def __init__(self, level: Level, partner: Partner | None, step: float, most: int) -> None:
        super().__init__(level, partner)
        self._step, self._most = step, most
        self._kept: dict[Partner, FloatArray] = {}

    def _runs(self, partner: Partner, heights: FloatArray) -> FloatArray:
        if partner not in self._kept:
            ends = super()._runs(partner, self._step * np.arange(-self._most, self._most + 1, dtype=np.float64))
            # Beyond, nothing meets: an empty row at either end stands for all that lie further out.
            empty = np.full((1, *ends.shape[1:]), np.inf)
            self._kept[partner] = np.concatenate([empty, ends, empty])
        table = self._kept[partner]
        index = np.clip(np.round(heights / self._step).astype(np.int64) + self._most + 1, 0, len(table) - 1)
        return np.asarray(table[index])


def _back(ends: FloatArray) -> FloatArray:
    """Return the runs of the opposite shift; empty ones stay empty."""
    return np.asarray(np.where(ends[..., ::-1] < np.inf, -ends[..., ::-1], np.inf))


def _settled(
    neighbours: _Neighbours, pitch: FloatArray, offset: FloatArray, height: FloatArray, span: FloatArray, step: RowStep
) -> FloatArray:
    """Return a shift along at which strips are clear of all their rows at each height, nan where there is none."""
    runs = neighbours.at(height, offset)
    if step is RowStep.BEST:
        width, middle = widest_slot(pitch, runs)
        half = 0.5 * np.maximum(width, 0.0)
        trials = [middle, middle - half, middle + half]
        free = [width >= -SLACK_MM] * 3
    else:
        trials = [np.zeros_like(pitch) if step is RowStep.STRAIGHT else 0.5 * pitch]
        free = [is_clear(pitch, runs, trials[0])]
    along = np.full(len(pitch), np.nan)
    for trial, clear in zip(trials, free, strict=True):
        left = np.flatnonzero(clear & np.isnan(along))
        k = 2
        kept: IntArray = left
        while len(left := left[k * height[left] <= span[left]]):
            further = neighbours.at(k * height[left], offset[left])
            blocked = left[~is_clear(pitch[left], further, k * trial[left])]
            kept, left = np.setdiff1d(kept, blocked), np.setdiff1d(left, blocked)
            k += 1
        along[kept] = trial[kept]
    return along


class _Packing:
    """The search for one group at one turn, on the coarse polygon."""

    def __init__(self, level: Level, motif: Outline, gap_mm: float, group: PlaneGroup, step: RowStep) -> None:
        low, high = motif.bounds()
        self._height, self._width = float(high[1] - low[1]), float(high[0] - low[0])
        self._gap, self._partner = gap_mm, _PARTNER[group]
        self._step = _row_step(group, step)
        self._level = level
        self._rise = (self._height + gap_mm) / _STEPS_A_HEIGHT
        self._most = _STEPS_A_HEIGHT + 2
        self._neighbours = _Sampled(level, self._partner, self._rise, self._most)
        self._ink = motif.area_mm2() * (1 if self._partner is None else 2)

    def best(self) -> _Cell | None:
        """Return the densest field found, None if there is none."""
        pitch, offset, looser, side = self._strips()
        order = np.argsort(pitch * (self._height + self._gap + np.abs(offset[:, 1])), kind="stable")
        copies = 1 if self._partner is None else 2
        # No better than boxes side by side is no find.
        best_area = copies * (self._width + self._gap) * (self._height + self._gap) * 1.001 + self._rise * pitch.max()
        best: _Cell | None = None
        heights = self._rise * np.arange(1, 2 * self._most, dtype=np.float64)
        block = max(1, _AT_ONCE // len(heights))
        for start in range(0, len(order), block):
            some = order[start : start + block]
            area = pitch[some, None] * heights
            strip, rise = np.nonzero((area < best_area) & (area > self._ink))
            if not len(strip):
                continue
            which, height = some[strip], heights[rise]
            span = self._height + self._gap + np.abs(offset[which, 1]) + self._rise
            along = _settled(self._neighbours, pitch[which], offset[which], height, span, self._step)
            good = np.flatnonzero(~np.isnan(along))
            if not len(good):
                continue
            i = good[np.argmin((pitch[which] * height)[good])]
            k = which[i]
            best_area = float(pitch[k] * height[i])
            best = _Cell(
                partner=self._partner,
                pitch_mm=float(pitch[k]),
                offset_mm=(float(offset[k, 0]), float(offset[k, 1])),
                looser=float(looser[k]),
                side=float(side[k]),
                height_mm=float(height[i]),
                along_mm=float(along[i]),
            )
        return best

    def _strips(self) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Return pitch (n,), offset (n, 2), and how each strip is looser than the shortest, and to which side it is."""
        own = self._level.own
        if self._partner is None:
            pitch = np.geomspace(own.least_mm, 1.5 * own.side_by_side_mm, _PLAIN_PITCHES)
            pitch = np.unique(own.at_least(np.concatenate([pitch, own.barred[:, 1]])))
            return pitch, np.zeros((len(pitch), 2)), np.ones(len(pitch)), np.zeros(len(pitch))
        across = self._rise * np.arange(1 - _STEPS_A_HEIGHT, _STEPS_A_HEIGHT, dtype=np.float64)
        pitches, offset, loose, sides = [], [], [], []
        for looser in _LOOSER:
            for side in (0.0,) if looser == 1.0 or self._partner is Partner.FLIPPED else (0.0, -1.0, 1.0):
                each, along, clear = _strip_of(self._level, self._partner, across, looser, side)
                pitches.append(each[clear])
                offset.append(np.stack([along[clear], across[clear]], axis=1))
                loose.append(np.full(len(pitches[-1]), looser))
                sides.append(np.full(len(pitches[-1]), side))
        return np.concatenate(pitches), np.concatenate(offset), np.concatenate(loose), np.concatenate(sides)


def _row_step(group: PlaneGroup, step: RowStep) -> RowStep:
    if step is RowStep.HALF_DROP:
        return RowStep.BRICK
    return RowStep.STRAIGHT if group is PlaneGroup.PG and step is RowStep.BEST else step


def _strip_of(
    level: Level, partner: Partner, across: FloatArray, looser: float, side: float
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Return pitch and place along of strips at shifts across, and which of them are clear."""
    rows = level.rows(partner, across)
    if partner is Partner.FLIPPED:
        pitch = glide_pitch(rows, level.own)
        if looser > 1.0:
            pitch = glide_pitch(rows, level.own, from_mm=looser * pitch)
        return pitch, 0.5 * pitch, np.ones(len(pitch), dtype=bool)
    pitch, along = best_pitch(rows, level.own)
    if looser == 1.0:
        return pitch, along, np.ones(len(pitch), dtype=bool)
    pitch = level.own.at_least(looser * pitch)
    width, middle = widest_slot(pitch, rows.ends)
    return pitch, middle + 0.5 * side * width, width >= -SLACK_MM


def _refined(level: Level, cell: _Cell, motif: Outline, group: PlaneGroup, step: RowStep) -> _Cell:
    """Return a cell brought onto the fine polygon, its free figures adjusted by ever smaller steps."""
    height = float(np.ptp(motif.bounds()[:, 1]))
    rise = (height + 1.0) / _STEPS_A_HEIGHT
    fine = _Fine(level, cell, height, _row_step(group, step))
    at = np.array([cell.pitch_mm if cell.partner is None else cell.looser, cell.offset_mm[1]])
    scale = np.array([0.02 * at[0], rise if cell.partner is not None else 0.0])
    best = fine.cell(at, cell.height_mm, 2.0 * rise)
    if best is None:
        best = fine.cell(at, cell.height_mm, 16.0 * rise)
    if best is None:
        raise GeometryError("a field found on a coarse polygon was not found again on a fine one")
    for _ in range(_ROUNDS):
        for axis in (0, 1):
            for sign in (-1.0, 1.0):
                trial = at.copy()
                trial[axis] += sign * scale[axis]
                if scale[axis] == 0.0 or (cell.partner is not None and trial[0] < 1.0):
                    continue
                other = fine.cell(trial, best.height_mm, 2.0 * rise)
                if other is not None and other.area_mm2 < best.area_mm2 * (1.0 - 1e-7):
                    at, best = trial, other
                    break
        scale = scale / 2.0
    return best


class _Fine:
    """Cells on the fine polygon: the strip for given figures, and how low its next row can lie."""

    def __init__(self, level: Level, cell: _Cell, height: float, step: RowStep) -> None:
        self._level, self._cell, self._height, self._step = level, cell, height, step
        self._neighbours = _Neighbours(level, cell.partner)

    def cell(self, figures: FloatArray, about: float, within: float) -> _Cell | None:
        """Return the cell for a pitch or looseness and a shift across; rows are sought ``within`` mm of a height."""
        partner = self._cell.partner
        if partner is None:
            pitch, offset = float(self._level.own.at_least(figures[:1])[0]), np.zeros(2)
        else:
            found = _strip_of(self._level, partner, figures[1:], float(figures[0]), self._cell.side)
            if not found[2][0]:
                return None
            pitch, offset = float(found[0][0]), np.array([float(found[1][0]), float(figures[1])])
        low, high = max(0.05 * self._height, about - within), about + within
        settled = None
        while settled is None or high - low > 1e-6 * self._height + 1e-6:
            heights = np.linspace(low, high, _FINE_STEPS + 1)
            along = self._along(pitch, offset, heights)
            clear = np.flatnonzero(~np.isnan(along))
            if not len(clear):
                break
            first = int(clear[0])
            settled = (float(heights[first]), float(along[first]))
            if first == 0:
                break
            low, high = float(heights[first - 1]), float(heights[first])
        if settled is None:
            return None
        return _Cell(
            partner=partner,
            pitch_mm=pitch,
            offset_mm=(float(offset[0]), float(offset[1])),
            looser=float(figures[0]),
            side=self._cell.side,
            height_mm=settled[0],
            along_mm=settled[1],
        )

    def _along(self, pitch: float, offset: FloatArray, heights: FloatArray) -> FloatArray:
        count = len(heights)
        span = np.full(count, self._height + abs(float(offset[1])) + self._level.gap_mm)
        offsets = np.broadcast_to(offset, (count, 2))
        return _settled(self._neighbours, np.full(count, pitch), offsets, heights, span, self._step)
