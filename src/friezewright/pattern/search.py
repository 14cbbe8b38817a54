"""Fields found by search: for any plane group, the arrangement of a motif with the least ground a copy that was found.

Guesses at the motif's turn, its place and the cell's proportions are spread evenly over all there are, and each is
given the smallest cell in which it looks free on rasters (:mod:`~friezewright.pattern.raster_fit`). The most promising
are drawn together until no small move makes them denser (:mod:`~friezewright.pattern.tighten`), the best of those once
more on the polygon on which gaps are measured. Then the pattern is laid out and its gap and group are found from its
copies, as for any other. The result is the best found; nothing shows that there is no better one.

The same call gives the same field: the guesses are a fixed sequence, and work ends after a number of rounds.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from friezewright.errors import GeometryError, InputError
from friezewright.geometry.affine import FloatArray, rotation
from friezewright.geometry.artwork import Placements
from friezewright.geometry.outline import IntArray, Outline
from friezewright.pattern.cells import cell_of, images
from friezewright.pattern.contact import MEASURE_MM
from friezewright.pattern.groups import CellShape, PlaneGroup, cell_shape, has_mirrors, operations
from friezewright.pattern.raster_fit import Distances, Rasters, Trials, least_areas
from friezewright.pattern.repeat import Repeat, repeat_of
from friezewright.pattern.seat import centred, check_sizes
from friezewright.pattern.tighten import Layout, Outlines, Tightener

__all__ = ["MIRROR_FREE", "Found", "search_field", "search_fields"]

MIRROR_FREE = tuple(group for group in PlaneGroup if not has_mirrors(group))
"""The seven groups in which copies may hook into each other from all sides: p1, p2, pg, p2gg, p4, p3 and p6."""

_ROUNDS = 3
_GUESSES = 2048
"""Guesses a round, doubled for every figure that a group leaves free."""

_STARTS = 14
"""How many of a round's guesses are drawn together."""

_FINALISTS = 3
_COARSE_MM, _COARSE_GAP, _COARSE_RADIUS = 0.04, 0.05, 0.004
"""How coarse the first polygon is: so many mm, or parts of the gap or of the motif's radius, where those are less."""

_SAME = 0.04
"""Guesses nearer than this part of the motif's radius in every figure are one; it alone is drawn together."""

_NEARLY = 0.004
"""A coarse result this share behind the best may still come out ahead on a finer polygon."""

_AS_LARGE = 1e-5
"""Coarse results whose cells differ by less than this share are the same one."""

_BETTER = 1e-6
_TRIES = 3


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Found:
    """A field found.

    Parameters
    ----------
    group
        The group found in its copies.
    repeat
        The field, its gap measured.
    ink_share
        Share of the ground the copies cover.
    saved
        Share of the ground saved against upright bounding boxes side by side, the gap apart; below 0 where more is
        needed.
    """

    group: PlaneGroup
    repeat: Repeat
    ink_share: float
    saved: float


def search_field(
    shape: Outline,
    group: PlaneGroup,
    *,
    gap_mm: float,
    rounds: int = _ROUNDS,
    progress: Callable[[float], None] | None = None,
) -> Repeat:
    """Return the densest field of a group that was found; there may be denser ones.

    Parameters
    ----------
    shape
        The motif, mm. Its turn is chosen freely.
    group
        The group the copies obey. A motif with symmetries of its own can give the field a richer one, which is then the
        one the repeat names.
    gap_mm
        Smallest distance between copies, above 0.
    rounds
        How long to search. Each round tries new guesses; more rounds never give a sparser field.
    progress
        Called with the share done; may raise :class:`~friezewright.errors.Cancelled`.

    Returns
    -------
    Repeat
        Its first vector points along +x; the motif is turned. Copies stay half a gap clear of all mirrors.

    Raises
    ------
    InputError
        If the gap or the number of rounds is impossible.
    GeometryError
        If nothing is found; no motif is known for which that happens.
    """
    return _Search(shape, gap_mm, rounds).field(group, progress or _silent)


def search_fields(
    shape: Outline,
    *,
    gap_mm: float,
    groups: Sequence[PlaneGroup] = MIRROR_FREE,
    rounds: int = _ROUNDS,
    progress: Callable[[float], None] | None = None,
) -> tuple[Found, ...]:
    """Return the densest field found for each of several groups, the densest first.

    Where two searches end in fields of one group, as they do for a motif with symmetries of its own, the denser stays.

    Parameters
    ----------
    shape, gap_mm, rounds, progress
        As for :func:`search_field`.
    groups
        Groups to search.

    Raises
    ------
    InputError
        If the gap or the number of rounds is impossible.
    GeometryError
        If nothing is found for one of the groups.
    """
    report = progress or _silent
    search = _Search(shape, gap_mm, rounds)
    width, height = np.ptp(shape.bounds(), axis=0).tolist()
    boxed = (width + gap_mm) * (height + gap_mm)
    found: dict[PlaneGroup, Found] = {}
    for index, group in enumerate(groups):
        repeat = search.field(group, _part(report, index, len(groups)))
        assert isinstance(repeat.group, PlaneGroup)
        area = repeat.cell_area_mm2 / len(repeat.cell)
        new = Found(group=repeat.group, repeat=repeat, ink_share=repeat.ink_share, saved=1.0 - area / boxed)
        if repeat.group not in found or new.ink_share > found[repeat.group].ink_share:
            found[repeat.group] = new
    return tuple(sorted(found.values(), key=lambda each: -each.ink_share))


def _silent(share: float) -> None:
    """Report nothing."""


def _part(report: Callable[[float], None], index: int, count: int) -> Callable[[float], None]:
    """Return what reports the progress of one of several equal parts of the work."""
    return lambda share: report((index + share) / count)


class _Search:
    """What the searches of one motif share."""

    def __init__(self, shape: Outline, gap_mm: float, rounds: int) -> None:
        check_sizes(gap_mm, None, "gap", 0.0)
        if gap_mm == 0.0 or rounds < 1:
            raise InputError("a field is searched with a gap above 0 mm, and for 1 round or more")
        self._motif, self._gap, self._rounds = centred(shape, 0.0), gap_mm, rounds
        outside = _without_closed_holes(self._motif)
        self._distances = Distances(outside, gap_mm)
        self._rasters = Rasters(self._distances, gap_mm)
        self._coarse_mm = min(_COARSE_MM, _COARSE_GAP * gap_mm, _COARSE_RADIUS * self._distances.radius_mm)
        self._medium_mm = 0.1 * self._coarse_mm
        self._coarse = Outlines.of(outside, tolerance_mm=self._coarse_mm, gap_mm=gap_mm)
        self._medium = Outlines.of(outside, tolerance_mm=self._medium_mm, gap_mm=gap_mm)
        self._fine = Outlines.of(outside, tolerance_mm=MEASURE_MM, gap_mm=gap_mm)

    def field(self, group: PlaneGroup, report: Callable[[float], None]) -> Repeat:
        """Return the densest field of a group that was found."""
        tightener = Tightener(group, self._distances, self._gap)
        best: Repeat | None = None
        least = math.inf
        for number in range(self._rounds):
            starts = self._starts(Trials.spread(group, _spread(_guesses(group), number)))
            drawn = [layout for layout in (self._drawn(tightener, start) for start in starts) if layout is not None]
            layout = self._best(tightener, drawn)
            # What a round finds never depends on how many follow.
            if layout is not None and layout.area_mm2 < (1.0 - _BETTER) * least:
                repeat = self._finished(tightener, group, layout)
                if repeat is not None and (best is None or repeat.cell_area_mm2 < best.cell_area_mm2):
                    best, least = repeat, layout.area_mm2
            report((number + 1) / self._rounds)
        if best is None:
            raise GeometryError(f"no field of {group} was found for this motif at a gap of {self._gap:g} mm")
        return best

    def _starts(self, trials: Trials) -> list[Layout]:
        """Return the most promising of the trials, each unlike the others."""
        width, height = np.ptp(self._motif.bounds(), axis=0) + self._gap
        least, most = 0.97 * self._distances.area_mm2(0.5 * self._gap), 2.0 * float(width * height)
        area = least_areas(self._rasters, trials, least_mm2=least, most_mm2=most, enough=8 * _STARTS)
        while not np.isfinite(area).any():
            area = least_areas(self._rasters, trials, least_mm2=most, most_mm2=4.0 * most, enough=8 * _STARTS)
            most *= 4.0
        kept: list[FloatArray] = []
        order = np.argsort(area, kind="stable")
        for index in order[: np.count_nonzero(np.isfinite(area))]:
            one = Trials(trials.group, trials.figures[[index]])
            side, rise, along = (float(each[0]) for each in one.cells(float(area[index])))
            figures = np.array([*one.figures[0, :3].tolist(), side, rise, along])
            scale = np.array([self._distances.radius_mm, side, rise, 1.0, 1.0, 1.0])
            if all(np.abs((figures - other) * scale).max() > _SAME * scale[0] for other in kept):
                kept.append(figures)
            if len(kept) == _STARTS:
                break
        return [Layout.of(figures) for figures in kept]

    def _drawn(self, tightener: Tightener, start: Layout) -> Layout | None:
        """Return a layout drawn together on the coarse polygon, None if it does not come right."""
        # What was found free on rasters of coarse pixels, far beyond a small gap, is drawn together by stages.
        gaps = [self._gap]
        while gaps[-1] < 2.0 * self._distances.pixel_mm:
            gaps.append(2.0 * gaps[-1])
        layout, apart = start, 0.0
        for gap in reversed(gaps):
            keep = gap + 2.0 * self._coarse_mm
            step = min(0.5 * gap, 0.05 * self._distances.radius_mm)
            still = 1e-4 if gap == self._gap else 1e-2
            layout, apart = tightener.tightened(
                layout, self._coarse, keep_mm=keep, step_mm=step, rounds=40, still=still
            )
        return layout if apart > 0.9 * self._gap else None

    def _best(self, tightener: Tightener, drawn: list[Layout]) -> Layout | None:
        """Return the densest of layouts after they are drawn together on a finer polygon."""
        finer: list[Layout] = []
        seen: list[float] = []
        for layout in sorted(drawn, key=lambda layout: layout.area_mm2):
            area = layout.area_mm2
            if len(finer) == _FINALISTS or area > (1.0 + _NEARLY) * min(seen, default=area):
                break
            if any(abs(area - other) < _AS_LARGE * area for other in seen):
                continue
            seen.append(area)
            keep = self._gap + 2.0 * self._medium_mm
            step = min(0.1 * self._gap, 2.0 * self._coarse_mm)
            closer, apart = tightener.tightened(layout, self._medium, keep_mm=keep, step_mm=step, rounds=30, still=1e-5)
            if apart > 0.99 * self._gap:
                finer.append(closer)
        return min(finer, key=lambda layout: layout.area_mm2, default=None)

    def _finished(self, tightener: Tightener, group: PlaneGroup, layout: Layout) -> Repeat | None:
        """Return the field of a layout brought to the gap itself, None if that fails."""
        keep, step = self._gap + 2.0 * MEASURE_MM, 4.0 * self._medium_mm
        for _ in range(_TRIES):
            layout, _ = tightener.tightened(layout, self._fine, keep_mm=keep, step_mm=step, rounds=15, still=1e-6)
            repeat = _laid_out(self._motif, group, layout)
            if repeat.gap_mm >= self._gap:
                return repeat
            # The gap is measured on another polygon, whose chords lie elsewhere on the same curves.
            keep += self._gap - repeat.gap_mm + 0.1 * MEASURE_MM
        return None


def _without_closed_holes(shape: Outline) -> Outline:
    """Return the outline without the holes that no part of a copy can lie in: no part is so short."""
    loops = [shape.selected([index]) for index in range(shape.loop_count)]
    sizes = [np.ptp(loop.bounds(), axis=0) for loop in loops]
    shell = [loop.area_mm2() > 0.0 for loop in loops]
    shortest = min(float(size.max()) for size, is_shell in zip(sizes, shell, strict=True) if is_shell)
    kept = [i for i, size in enumerate(sizes) if shell[i] or float(np.hypot(*size)) > shortest]
    return shape.selected(kept)


def _guesses(group: PlaneGroup) -> int:
    low, high = Trials.box(group)
    figures = int(np.count_nonzero(high > low))
    # Where an operation keeps a direction, the place along it makes no difference; the same for all places in p1.
    matrices = np.array([operation.matrix for operation in operations(group)], dtype=np.float64)
    idle = sum(1 for axis in (0, 1) if not np.any(matrices[:, :, axis] != np.eye(2)[:, axis]))
    return _GUESSES << (figures - idle)


def _spread(count: int, number: int) -> FloatArray:
    """Return a stretch of a fixed sequence of points that cover the unit cube evenly, shape (count, 5).

    An additive recurrence on powers of the root of ``x**6 = x + 1`` (Roberts 2018, "The unreasonable effectiveness of
    quasirandom sequences"; from memory).
    """
    root = 1.0
    for _ in range(64):
        root = (1.0 + root) ** (1.0 / 6.0)
    index: IntArray = np.arange(1 + number * count, 1 + (number + 1) * count)
    return np.asarray((0.5 + index[:, None] * root ** -np.arange(1.0, 6.0)) % 1.0)


def _laid_out(motif: Outline, group: PlaneGroup, layout: Layout) -> Repeat:
    """Return the field of a layout, the motif turned in its shape."""
    shape, side, rise = cell_shape(group), layout.side_mm, layout.rise_mm
    x, y = layout.place
    if shape is CellShape.OBLIQUE:
        # Of all second sides the one that ends within half of the first is taken; the place is counted along it.
        whole = round(layout.along_mm / side)
        cell, x = cell_of(shape, layout.along_mm / side - whole), x + whole * y
    else:
        cell = cell_of(shape)
    vectors = cell.vectors(side, rise if cell.free else side)
    group_operations = operations(group)
    at = images(group_operations, np.array([[x, y]]))[:, 0]
    at = at - np.floor(at + 0.5 - 1e-9)
    matrix = np.zeros((len(at), 2, 3))
    matrix[:, :, :2] = np.stack([cell.linear(operation) for operation in group_operations])
    matrix[:, :, 2] = at[:, :1] * vectors[0] + at[:, 1:] * vectors[1]
    turned = motif.transformed(rotation(layout.turn_rad % (2.0 * math.pi)))
    placed = Placements(matrix=matrix, shape=np.zeros(len(at), dtype=np.int64), member=np.arange(len(at)))
    return repeat_of(vectors, (turned,), placed)
