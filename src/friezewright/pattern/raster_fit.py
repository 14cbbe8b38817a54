"""Which places beside a motif are taken: rasters of forbidden shifts, made once and looked up millions of times.

A *trial* is a guess at a field: the motif's turn, its place in the cell, and the cell's proportions. What is asked of a
trial is the smallest cell in which no copy comes near another. One copy against all others is enough, for a group
carries any copy to any other.

For one way a copy can be turned against the motif, the shifts at which it comes too near form an area: the Minkowski
sum of the motif, grown by the gap, and the copy turned by half a circle. On a raster that sum is one convolution. Seen
from the motif, a group of turns needs one raster a turn of the group, however the motif is turned in the cell; mirror
images need one for every turn of the motif, which therefore runs in steps.

Rasters are a little too generous or too strict, by about a pixel; what they find is a start, to be brought to the gap
exactly by :mod:`~friezewright.pattern.tighten`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import IntArray, Outline
from friezewright.geometry.planar.region import contains_points, distance_to_edge, region_of
from friezewright.pattern.cells import cell_of
from friezewright.pattern.groups import CellShape, PlaneGroup, cell_shape, operations

__all__ = ["Distances", "Rasters", "Trials", "least_areas"]

_MIRROR_STEPS = 72
"""Turns tried of a motif that is mirrored, over half a circle. A multiple of 12, so that mirrors at 30 and 45 degrees
fall on steps too."""

_PIXELS_A_GAP = 3.5
_FEWEST_PIXELS, _MOST_PIXELS = 72, 150
"""Pixels across the motif's disc: enough to see its shape, few enough for a convolution of a millisecond or two."""

_LARGEST_GAP = 0.08
"""Pixels are at least this part of the gap: a small motif far from others needs no finer ones."""

_STEP = 1.03
"""From one size of cell that is tried to the next."""

_AT_ONCE = 16_384
_WINDOWS = (2, 4, 12)
"""Powers of two: how many steps away from the motif copies are looked for, first, second and last."""


class Distances:
    """Signed distance to the edge of a motif on a square raster round the origin: below 0 inside.

    Parameters
    ----------
    shape
        The motif, its middle at the origin.
    gap_mm
        Smallest distance between copies.
    """

    def __init__(self, shape: Outline, gap_mm: float) -> None:
        points = shape.flattened(tolerance_mm=_coarse_mm(shape))[0]
        self.box = shape.bounds()
        self.radius_mm = float(np.hypot(points[:, 0], points[:, 1]).max())
        wanted = 2.0 * self.radius_mm * _PIXELS_A_GAP / gap_mm
        across = min(max(wanted, _FEWEST_PIXELS), _MOST_PIXELS)
        self.pixel_mm = max(2.0 * self.radius_mm / across, _LARGEST_GAP * gap_mm)
        self.margin_mm = max(gap_mm, 3.0 * self.pixel_mm)
        self.half = math.ceil((self.radius_mm + 2.0 * self.margin_mm) / self.pixel_mm) + 1
        at = self.pixel_mm * np.arange(-self.half, self.half + 1)
        centres = np.stack(np.meshgrid(at, at, indexing="xy"), axis=-1).reshape(-1, 2)
        region = region_of(shape, tolerance_mm=_coarse_mm(shape))
        away = distance_to_edge(region, centres)
        away[contains_points(region, centres)] *= -1.0
        self.grid = away.reshape(len(at), len(at))

    def at(self, x: FloatArray, y: FloatArray) -> FloatArray:
        """Return the distance at points, between pixels along straight lines; far out, that of the raster's rim."""
        size = self.grid.shape[0]
        column = np.clip(x / self.pixel_mm + self.half, 0.0, size - 1.001)
        row = np.clip(y / self.pixel_mm + self.half, 0.0, size - 1.001)
        i, j = row.astype(np.int64), column.astype(np.int64)
        u, v = column - j, row - i
        flat, base = self.grid.reshape(-1), i * size + j
        upper = flat[base] * (1.0 - u) + flat[base + 1] * u
        lower = flat[base + size] * (1.0 - u) + flat[base + size + 1] * u
        return np.asarray(upper * (1.0 - v) + lower * v)

    def area_mm2(self, grown_mm: float) -> float:
        """Return the area of the motif grown by a distance, as the raster sees it."""
        return float(np.count_nonzero(self.grid <= grown_mm)) * self.pixel_mm**2


def _coarse_mm(shape: Outline) -> float:
    return float(np.ptp(shape.bounds(), axis=0).max()) / 2000.0


class Rasters:
    """Forbidden shifts of copies against the motif, in the motif's own frame; made when first asked for."""

    def __init__(self, distances: Distances, gap_mm: float) -> None:
        self._distances = distances
        pixel = distances.pixel_mm
        # A shift found free may be short of the sum by two pixels' worth of diagonals and one of rounding; it must not
        # hide an overlap, and should on average neither win nor lose room.
        both = max(gap_mm + 0.7 * pixel, 0.4 * gap_mm + 2.1 * pixel)
        # The copy is grown by what makes the thinnest part cover a pixel's middle.
        self._own_mm, self._other_mm = both - 0.75 * pixel, 0.75 * pixel
        self._width = fft.next_fast_len(2 * distances.grid.shape[0] + 1, real=True)
        own = (distances.grid <= self._own_mm).astype(np.float32)
        self._spectrum = fft.rfft2(own, (self._width, self._width))
        at = pixel * np.arange(-distances.half, distances.half + 1)
        self._x, self._y = np.meshgrid(at, at, indexing="xy")
        self._turned: dict[tuple[float, ...], NDArray[np.bool_]] = {}
        self._mirrored: NDArray[np.bool_] | None = None
        self.half = 2 * distances.half + 1
        self.side = 2 * self.half + 1
        self.pixel_mm = pixel
        self.reach_mm = 2.0 * distances.radius_mm + both

    def turned(self, linear: FloatArray) -> NDArray[np.bool_]:
        """Return the raster of a turned copy, flat, shape (side * side,)."""
        key = tuple(np.round(linear.reshape(-1), 9).tolist())
        if key not in self._turned:
            self._turned[key] = self._forbidden(linear).reshape(-1)
        return self._turned[key]

    def mirrored(self) -> NDArray[np.bool_]:
        """Return the rasters of mirror images, one for each step of the mirror over half a circle, flat."""
        if self._mirrored is None:
            made = []
            for step in range(_MIRROR_STEPS):
                double = 2.0 * math.pi * step / _MIRROR_STEPS
                c, s = math.cos(double), math.sin(double)
                made.append(self._forbidden(np.array([[c, s], [s, -c]])))
            self._mirrored = np.stack(made).reshape(-1)
        return self._mirrored

    def _forbidden(self, linear: FloatArray) -> NDArray[np.bool_]:
        """Return where copies turned by ``linear`` come too near, shape (side, side), zero shift in the middle."""
        (a, b), (c, d) = linear
        # An isometry is undone by its transpose.
        away = self._distances.at(a * self._x + c * self._y, b * self._x + d * self._y)
        copy = (away <= self._other_mm).astype(np.float32)
        spectrum = self._spectrum * np.conj(fft.rfft2(copy, (self._width, self._width)))
        shared = fft.irfft2(spectrum, (self._width, self._width))
        reach = 2 * self._distances.half
        index = np.arange(-reach, reach + 1) % self._width
        # One free pixel all round, where everything further out is looked up.
        found = np.zeros((self.side, self.side), dtype=bool)
        found[1:-1, 1:-1] = shared[np.ix_(index, index)] > 0.5
        return found


@dataclass(frozen=True, slots=True, eq=False)
class Trials:
    """Guesses at a field of one group.

    Parameters
    ----------
    group
        The group.
    figures
        One row a guess, shape (n, 5): turn of the motif in radians, place x and y in repeat vectors, first side over
        rise of the cell, and how far along the second side ends, as a part of the first.
    """

    group: PlaneGroup
    figures: FloatArray

    def __len__(self) -> int:
        return len(self.figures)

    def cells(self, area_mm2: float | FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return first side, rise and end along of the second side, mm, of cells with so much ground a copy."""
        ground = area_mm2 * len(operations(self.group))
        side = np.sqrt(ground * self.figures[:, 3])
        return side, ground / side, self.figures[:, 4] * side

    @staticmethod
    def box(group: PlaneGroup) -> FloatArray:
        """Return least and greatest of each figure, shape (2, 5); the ratio as a logarithm, equal where it is fixed."""
        shape = cell_shape(group)
        if shape is CellShape.HEXAGON:
            ratio = math.log(2.0 / math.sqrt(3.0))
            return np.array([[0.0, 0.0, 0.0, ratio, -0.5], [math.pi / 3.0, 1.0, 1.0, ratio, -0.5]])
        if shape is CellShape.SQUARE:
            # Half a cell on along both sides stands the same group again, as does a quarter turn.
            return np.array([[0.0, 0.0, 0.0, 0.0, 0.0], [math.pi / 2.0, 0.5, 1.0, 0.0, 0.0]])
        if shape is CellShape.RECTANGLE:
            return np.array([[0.0, 0.0, 0.0, -2.0, 0.0], [math.pi, 0.5, 0.5, 2.0, 0.0]])
        # Every lattice has a shortest side, and then one that ends within half of it (Lagrange's reduction).
        return np.array([[0.0, 0.0, 0.0, -2.4, -0.5], [math.pi, 0.5, 0.5, math.log(2.0 / math.sqrt(3.0)), 0.5]])

    @classmethod
    def spread(cls, group: PlaneGroup, shares: FloatArray) -> Trials:
        """Return guesses over the whole box, from shares of its sides, shape (n, 5)."""
        low, high = cls.box(group)
        return cls.of(group, low + shares * (high - low))

    @classmethod
    def of(cls, group: PlaneGroup, logged: FloatArray) -> Trials:
        """Return guesses from figures with the ratio as a logarithm; a mirrored motif is turned by whole steps."""
        figures = logged.copy()
        figures[:, 3] = np.exp(logged[:, 3])
        if any(operation.determinant < 0 for operation in operations(group)):
            step = math.pi / _MIRROR_STEPS
            figures[:, 0] = np.round(figures[:, 0] / step) * step
        return cls(group, figures)


def least_areas(
    rasters: Rasters, trials: Trials, *, least_mm2: float, most_mm2: float | FloatArray, enough: int | None = None
) -> FloatArray:
    """Return the smallest ground a copy, in mm², at which each trial is free, shape (n,); inf where none is.

    Sizes are tried from small to large, each 3 % more than the last. Between two of them a trial can be free as well:
    hooked copies are free in narrow ranges of size.

    Parameters
    ----------
    rasters
        What to look up.
    trials
        The guesses.
    least_mm2, most_mm2
        The range of sizes; the greatest may be one for each trial.
    enough
        Stop at the size by which so many are free.
    """
    found = np.full(len(trials), np.inf)
    most = np.broadcast_to(np.asarray(most_mm2, dtype=np.float64), len(trials))
    look = _Look(rasters, trials.group)
    size = least_mm2
    top = float(most.max(initial=0.0))
    while size <= top:
        open_ = np.flatnonzero(np.isinf(found) & (most >= size))
        for start in range(0, len(open_), _AT_ONCE):
            some = open_[start : start + _AT_ONCE]
            found[some[look.free(trials.figures[some], size)]] = size
        if enough is not None and np.count_nonzero(np.isfinite(found)) >= enough:
            break
        size *= _STEP
    return found


class _Look:
    """Whether trials of one group are free at a size."""

    def __init__(self, rasters: Rasters, group: PlaneGroup) -> None:
        self._rasters = rasters
        cell = cell_of(cell_shape(group))
        group_operations = operations(group)
        self._count = len(group_operations)
        self._matrix = [np.array(operation.matrix, dtype=np.float32) for operation in group_operations]
        self._shift = [
            np.array([float(x) for x in operation.shift], dtype=np.float32) for operation in group_operations
        ]
        self._raster: list[NDArray[np.bool_]] = []
        self._mirror: list[int | None] = []
        for operation in group_operations:
            linear = cell.linear(operation)
            if operation.determinant > 0:
                self._raster.append(rasters.turned(linear))
                self._mirror.append(None)
            else:
                along = 0.5 * math.atan2(linear[1, 0], linear[0, 0])
                self._raster.append(rasters.mirrored())
                self._mirror.append(round(along / (math.pi / _MIRROR_STEPS)))

    def free(self, figures: FloatArray, area_mm2: float) -> IntArray:
        """Return which rows of figures (n, 5) are free, at a ground a copy, rising."""
        turn, x, y, ratio, step = figures.T
        side = np.sqrt(area_mm2 * self._count * ratio)
        pixel = self._rasters.pixel_mm
        self._x, self._y = x.astype(np.float32), y.astype(np.float32)
        # Sides in pixels, seen from the motif: everything is turned back by its turn.
        c, s = np.cos(turn), np.sin(turn)
        along, rise = step * side, area_mm2 * self._count / side
        self._a = np.stack([c * side, -s * side]).astype(np.float32) / np.float32(pixel)
        self._b = np.stack([c * along + s * rise, c * rise - s * along]).astype(np.float32) / np.float32(pixel)
        self._step = step.astype(np.float32)
        self._turn = np.round(turn / (math.pi / _MIRROR_STEPS)).astype(np.int64)
        rows = np.arange(len(figures))
        for k, i, j in self._near():
            if not len(rows):
                return rows
            rows = rows[~self._taken(rows, k, np.float32(i), np.float32(j))]
        return rows[self._clear_all_round(rows, side[rows], rise[rows])]

    def _near(self) -> Iterator[tuple[int, int, int]]:
        """Yield the copies that most often are in the way, as operation and steps."""
        yield from ((0, 1, 0), (0, 0, 1))
        yield from ((k, 0, 0) for k in range(1, self._count))
        yield from ((0, 1, 1), (0, 1, -1))
        for i, j in ((1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, -1), (1, -1), (-1, 1)):
            yield from ((k, i, j) for k in range(1, self._count))

    def _clear_all_round(self, rows: IntArray, side: FloatArray, rise: FloatArray) -> NDArray[np.bool_]:
        """Return which of the rows are free of every copy within reach."""
        free = np.ones(len(rows), dtype=bool)
        # Cells that need equally many steps, up to the next power of two, are looked at together.
        i_power, j_power = (
            np.ceil(np.log2(self._rasters.reach_mm / size + 1.0)).astype(np.int64) for size in (side, rise)
        )
        looked = -1
        # Long cells need many steps; few of those trials are left once the nearer copies were looked at.
        for limit in _WINDOWS:
            open_ = np.flatnonzero(free & (np.maximum(i_power, j_power) > looked))
            powers = np.minimum(i_power[open_], limit) * 64 + np.minimum(j_power[open_], limit)
            for power in np.unique(powers).tolist():
                which = open_[powers == power]
                free[which] = self._clear_within(rows[which], 2 ** (power // 64), 2 ** (power % 64))
            looked = limit
        return free

    def _clear_within(self, rows: IntArray, i_most: int, j_most: int) -> NDArray[np.bool_]:
        i = np.arange(-i_most, i_most + 1, dtype=np.float32)
        j = np.arange(-j_most, j_most + 1, dtype=np.float32)[:, None]
        free = np.ones(len(rows), dtype=bool)
        block = max(1, _AT_ONCE // (i.size * j.size))
        for k in range(self._count):
            left = np.flatnonzero(free)
            for start in range(0, len(left), block):
                some = left[start : start + block]
                taken = self._taken(rows[some, None, None], k, i, j)
                if k == 0:
                    taken[:, j_most, i_most] = False
                free[some] = ~taken.any(axis=(1, 2))
        return free

    def _taken(
        self, rows: IntArray, k: int, i: np.float32 | NDArray[np.floating], j: np.float32 | NDArray[np.floating]
    ) -> NDArray[np.bool_]:
        """Return whether copy k, whole steps on from its nearest place, is in the way; rows and steps broadcast."""
        (p, q), (s, t) = self._matrix[k]
        x, y = self._x[rows], self._y[rows]
        ux = (p - 1.0) * x + q * y + self._shift[k][0]
        uy = s * x + (t - 1.0) * y + self._shift[k][1]
        ux = ux - np.round(ux)
        uy = uy - np.round(uy) + j
        # Rows of an oblique cell are counted from where they pass the motif.
        ux = ux - np.round(ux + self._step[rows] * uy) + i
        half, side = self._rasters.half, self._rasters.side
        column = np.rint(ux * self._a[0][rows] + uy * self._b[0][rows]).astype(np.int64)
        row = np.rint(ux * self._a[1][rows] + uy * self._b[1][rows]).astype(np.int64)
        column += half
        row += half
        # What a raster does not show is free, and so is its rim.
        np.clip(column, 0, side - 1, out=column)
        np.clip(row, 0, side - 1, out=row)
        row *= side
        row += column
        mirror = self._mirror[k]
        if mirror is not None:
            row += ((mirror - self._turn[rows]) % _MIRROR_STEPS) * (side * side)
        return np.asarray(self._raster[k][row])
