"""Where in its cell a motif sits best, and how long the cell's sides should be.

The motif's convex hull stands in for it: two hulls are the gap apart as soon as some direction separates them by it, so
the size a cell needs follows in closed form for many seats at once. The seat and the ratio of the sides with the
smallest cell give the evenest ground that plain, unhooked copies allow; the true outline is brought nearer after that.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from friezewright.geometry import cubic
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import Outline
from friezewright.pattern.groups import CellShape, Operation

__all__ = ["Cell", "Seat", "best_seat", "cell_of", "images"]

_DIRECTIONS = 72
"""Every 5 degrees, so that the lines of all lattices are among them."""

_REACH = 2
_ROUNDS = 12


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell's proportions: vectors ``(a, 0)`` and ``(step a, rise b)``, with b equal to a unless ``free``."""

    step: float
    rise: float
    free: bool

    def vectors(self, a_mm: float, b_mm: float) -> FloatArray:
        """Return the two repeat vectors, shape (2, 2), mm."""
        return np.array([[a_mm, 0.0], [self.step * a_mm, self.rise * b_mm]])

    def linear(self, operation: Operation) -> FloatArray:
        """Return what an operation does to directions in mm, shape (2, 2)."""
        # Columns of the basis are the vectors; a free cell's operations flip axes only, whatever its sides.
        k, r = self.step, self.rise
        (p, q), (s, t) = operation.matrix
        return np.array([[p + k * s, ((q + k * t) - k * (p + k * s)) / r], [r * s, t - k * s]]) + 0.0


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Seat:
    """The place of a motif in its cell, in repeat vectors, and the sides of that cell in mm."""

    place: FloatArray
    a_mm: float
    b_mm: float


def cell_of(shape: CellShape, row_step: float = 0.0) -> Cell:
    """Return a lattice's proportions; ``row_step`` sets each row of an oblique one that part of a side along."""
    if shape is CellShape.HEXAGON:
        return Cell(-0.5, 0.5 * float(np.sqrt(3.0)), free=False)
    if shape is CellShape.SQUARE:
        return Cell(0.0, 1.0, free=False)
    return Cell(row_step if shape is CellShape.OBLIQUE else 0.0, 1.0, free=True)


def images(operations: Sequence[Operation], places: FloatArray) -> FloatArray:
    """Return where the operations take places (s, 2), in repeat vectors, shape (m, s, 2)."""
    matrix = np.array([operation.matrix for operation in operations], dtype=np.float64)
    shift = np.array([[float(x) for x in operation.shift] for operation in operations])
    x, y = places[None, :, 0], places[None, :, 1]
    return np.stack(
        [matrix[:, None, i, 0] * x + matrix[:, None, i, 1] * y + shift[:, None, i] for i in (0, 1)], axis=-1
    )


def best_seat(
    shape: Outline,
    cell: Cell,
    operations: Sequence[Operation],
    places: FloatArray,
    *,
    gap_mm: float,
    slides: FloatArray,
    sides: tuple[float, float] | None = None,
) -> Seat:
    """Return the seat with the smallest cell, or with the most room in a given one.

    Parameters
    ----------
    shape
        The motif, its seat at the origin.
    cell
        The lattice's proportions.
    operations
        One operation a copy, the identity first.
    places
        Seats to try, shape (s, 2), in repeat vectors. Of equally good ones the first is taken.
    gap_mm
        Clear distance to keep.
    slides
        Directions, in repeat vectors, along which a seat may be moved for the better, shape (k, 2).
    sides
        Both sides in mm, where they are given; the best seat is then the one with most room round it.
    """
    room = _Room(shape, cell, operations, gap_mm)
    ratios = room.ratios() if cell.free else np.ones(1)
    if sides is not None:
        ratios = np.array([sides[1] / sides[0]])

    def cost(at: FloatArray, ratio: FloatArray) -> FloatArray:
        if sides is not None:
            return room.crowding(at, *sides)
        side = room.side(at, ratio)
        return np.asarray(side * side * ratio)

    trial = np.stack([cost(places, np.full(len(places), r)) for r in ratios])
    row, column = divmod(_first_least(trial.reshape(-1)), len(places))
    place, best, log_ratio = places[column], float(trial[row, column]), float(np.log(ratios[row]))
    step = 1.0
    moves = _moves(len(slides), fixed=len(ratios) == 1)
    for _ in range(_ROUNDS):
        shifted = place + step / 48.0 * np.sum(moves[:, :-1, None] * slides[None], axis=1)
        logs = log_ratio + 0.12 * step * moves[:, -1]
        costs = cost(shifted, np.exp(logs))
        nearest = _first_least(costs)
        if costs[nearest] < best * (1.0 - 1e-9):
            place, log_ratio, best = shifted[nearest], float(logs[nearest]), float(costs[nearest])
        else:
            step *= 0.5
    r = float(np.exp(log_ratio))
    a = float(room.side(place[None], np.array([r]))[0])
    return Seat(place=place, a_mm=a, b_mm=a * r)


def _moves(count: int, *, fixed: bool) -> FloatArray:
    """Return every combination of steps back, none or on in each freedom, shape (n, count + 1)."""
    axes = [np.array([0.0, -1.0, 1.0])] * count + [np.zeros(1) if fixed else np.array([0.0, -1.0, 1.0])]
    return np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, count + 1)


def _first_least(values: FloatArray) -> int:
    """Return the index of the first value that is least but for rounding."""
    return int(np.flatnonzero(values <= values.min() * (1.0 + 1e-7))[0])


class _Room:
    """How large a cell must be for the hulls of all its copies to keep apart."""

    def __init__(self, shape: Outline, cell: Cell, operations: Sequence[Operation], gap_mm: float) -> None:
        self._cell, self._operations = cell, operations
        angle = 2.0 * np.pi * np.arange(_DIRECTIONS) / _DIRECTIONS
        self._normal = np.stack([np.cos(angle), np.sin(angle)], axis=1)
        hull = _hull(shape)
        self._extent = np.ptp(hull, axis=0)
        support = []
        for operation in operations:
            (p, q), (s, t) = cell.linear(operation)
            image = np.stack([p * hull[:, 0] + q * hull[:, 1], s * hull[:, 0] + t * hull[:, 1]], axis=1)
            along = image[:, :1] * self._normal[:, 0] + image[:, 1:] * self._normal[:, 1]
            support.append(along.max(axis=0))
        steps = range(-_REACH, _REACH + 1)
        pairs = [(k, i, j) for k in range(len(operations)) for i in steps for j in steps if (k, i, j) != (0, 0, 0)]
        self._copy = np.array([k for k, _, _ in pairs])
        self._step = np.array([[i, j] for _, i, j in pairs], dtype=np.float64)
        # The opposite direction stands half the list further on.
        facing = np.roll(np.stack(support), _DIRECTIONS // 2, axis=1)
        self._width = gap_mm + support[0][None] + facing[self._copy]

    def ratios(self) -> FloatArray:
        """Return ratios of the sides worth trying, the motif's own shape in the middle."""
        own = float(self._extent[1] + 1e-3 * self._extent.max()) / float(self._extent[0] + 1e-3 * self._extent.max())
        return np.asarray(own * np.exp(np.linspace(-2.2, 2.2, 23)))

    def side(self, places: FloatArray, ratio: FloatArray) -> FloatArray:
        """Return the first side in mm that each seat needs at its ratio, shape (s,)."""
        x, y = self._away(places, 1.0, ratio)
        needed = np.full(x.shape, np.inf)
        for direction, (nx, ny) in enumerate(self._normal):
            reach = nx * x + ny * y
            size = np.divide(self._width[:, direction, None], reach, out=np.full(x.shape, np.inf), where=reach > 1e-9)
            needed = np.minimum(needed, size)
        return np.asarray(needed.max(axis=0))

    def crowding(self, places: FloatArray, a_mm: float, b_mm: float) -> FloatArray:
        """Return how crowded each seat is in a cell of given sides: the less the evener the room, shape (s,)."""
        x, y = self._away(places, a_mm, np.full(len(places), b_mm))
        apart = np.full(x.shape, -np.inf)
        for direction, (nx, ny) in enumerate(self._normal):
            apart = np.maximum(apart, nx * x + ny * y - self._width[:, direction, None])
        nearest = apart.min(axis=0)
        # Fourth powers let the nearest neighbours count most, and the others still a little.
        crowd = np.sum((a_mm / np.maximum(apart, 1e-3 * a_mm)) ** 4, axis=0)
        return np.asarray(np.where(nearest > 1e-3 * a_mm, crowd, 1e15 * (2.0 - nearest / a_mm)))

    def _away(self, places: FloatArray, a_mm: float, b_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return where the other copies stand as seen from the motif, x and y of shape (n, s), mm."""
        at = images(self._operations, places)
        away = at - at[:1]
        # Counted from the nearest repeat of each copy, so that the steps reach equally far on all sides.
        away = (away - np.round(away))[self._copy] + self._step[:, None]
        return a_mm * (away[..., 0] + self._cell.step * away[..., 1]), self._cell.rise * b_mm * away[..., 1]


def _hull(shape: Outline) -> FloatArray:
    """Return points whose convex hull holds the outline, nearly tight, shape (n, 2)."""
    t = np.arange(8) / 8.0
    points = cubic.evaluate(shape.segments[:, None], t).reshape(-1, 2)
    try:
        return np.asarray(points[ConvexHull(points).vertices])
    except QhullError:
        # All on one line: its points are as good as its ends.
        return np.asarray(points)
