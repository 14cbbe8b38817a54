"""A field drawn together until no small move of anything makes it denser.

All that a group leaves free moves at once: the motif's turn and place, the sides of the cell and its angle. For every
point of the motif near an edge of another copy, the distance changes to first order linearly with these moves; among
moves that keep all distances, the one with the smallest cell is a linear programme. It is solved, a small step is
taken, and distances are measured anew (sequential linear programming, as Torquato and Jiao 2010 do for particles; from
memory). Steps are so short that copies never pass through one another. What comes out cannot be bettered nearby, which
says nothing of what lies further off.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import BoolArray, IntArray, Outline
from friezewright.pattern.cells import cell_of
from friezewright.pattern.groups import CellShape, PlaneGroup, cell_shape, operations
from friezewright.pattern.raster_fit import Distances

__all__ = ["Layout", "Outlines", "Tightener"]

_MOST_POINTS = 600
_SPACING = 0.5
"""Points on straight edges stand at most this part of the gap apart: edges that cross then show as points too near."""

_SAFE = 0.35
"""A step is taken back when it leaves copies nearer than this part of the gap."""

_NEED_PER_MM = 30.0
"""What a mm short of the gap costs against a mm of the cell's side, over that side: more than any side can pay."""

_FLATTENED = 0.3
_LONGEST = 2.0
_REACH = 2.5
"""Distances that are longer than what is kept by so many steps are left out: hardly any shrinks by that much."""

_FEW = 150_000
"""Pairs of points and edges looked at all together; above that, square by square."""

_SQUARES = 6
_PIVOTS = 120
_ROUNDING = 1e-10


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """The figures of a field.

    Parameters
    ----------
    turn_rad
        Turn of the motif.
    place
        Of the motif's middle, in repeat vectors.
    side_mm
        First side, along x.
    rise_mm, along_mm
        Where the second side ends, across and along.
    """

    turn_rad: float
    place: tuple[float, float]
    side_mm: float
    rise_mm: float
    along_mm: float

    @property
    def area_mm2(self) -> float:
        """Area of the cell."""
        return self.side_mm * self.rise_mm

    def figures(self) -> FloatArray:
        """Return turn, place, first side, rise and along as one array, shape (6,)."""
        return np.array([self.turn_rad, *self.place, self.side_mm, self.rise_mm, self.along_mm])

    @classmethod
    def of(cls, figures: FloatArray) -> Layout:
        """Return the layout with such figures."""
        turn, x, y, side, rise, along = figures.tolist()
        return cls(turn_rad=turn, place=(x, y), side_mm=side, rise_mm=rise, along_mm=along)


@dataclass(frozen=True, slots=True, eq=False)
class Outlines:
    """A motif as points on its edge, shape (n, 2), and as straight edges, starts and ends of shape (m, 2)."""

    points: FloatArray
    start: FloatArray
    end: FloatArray

    @classmethod
    def of(cls, shape: Outline, *, tolerance_mm: float, gap_mm: float) -> Outlines:
        """Return a motif as a polygon within a tolerance of it, with further points on long edges."""
        # Traced motifs have more nodes than a coarse polygon needs: a part of the tolerance goes to leaving some out.
        corners, _, loop = shape.flattened(tolerance_mm=_FLATTENED * tolerance_mm)
        kept = _thinned(corners, loop, (1.0 - _FLATTENED) * tolerance_mm)
        corners, loop = corners[kept], loop[kept]
        inner = np.flatnonzero((loop[1:] == loop[:-1]) & np.any(corners[1:] != corners[:-1], axis=1))
        start, end = corners[inner], corners[inner + 1]
        length = np.hypot(*(end - start).T)
        spacing = max(_SPACING * gap_mm, float(length.sum()) / _MOST_POINTS)
        counts = np.maximum(1, np.ceil(length / spacing)).astype(np.int64)
        edge = np.repeat(np.arange(len(counts)), counts)
        t = (np.arange(len(edge)) - (np.cumsum(counts) - counts)[edge]) / counts[edge]
        return cls(start[edge] + t[:, None] * (end - start)[edge], start, end)


def _thinned(corners: FloatArray, loop: IntArray, tolerance_mm: float) -> BoolArray:
    """Return which corners of closed polylines to keep so that all others lie within the tolerance of what is left.

    Douglas and Peucker's way (1973; from memory): a stretch whose furthest corner lies too far off is split there.
    """
    kept = np.zeros(len(corners), dtype=bool)
    bounds = np.concatenate([np.flatnonzero(np.diff(loop, prepend=-1)), [len(loop)]])
    stretches: list[tuple[int, int]] = []
    for first, last in zip(bounds[:-1].tolist(), (bounds[1:] - 1).tolist(), strict=True):
        middle = first + int(np.argmax(np.hypot(*(corners[first : last + 1] - corners[first]).T)))
        kept[[first, middle, last]] = True
        stretches += [(first, middle), (middle, last)]
    while stretches:
        first, last = stretches.pop()
        if last - first < 2:
            continue
        off = corners[first + 1 : last] - corners[first]
        chord = corners[last] - corners[first]
        length2 = max(float(chord[0] ** 2 + chord[1] ** 2), 1e-18)
        t = np.clip((off[:, 0] * chord[0] + off[:, 1] * chord[1]) / length2, 0.0, 1.0)
        away = np.hypot(off[:, 0] - t * chord[0], off[:, 1] - t * chord[1])
        furthest = int(np.argmax(away))
        if away[furthest] > tolerance_mm:
            middle = first + 1 + furthest
            kept[middle] = True
            stretches += [(first, middle), (middle, last)]
    return kept


class Tightener:
    """Draws layouts of one group together.

    Parameters
    ----------
    group
        The group.
    distances
        Distances to the motif's edge, to know early what is far.
    gap_mm
        Smallest distance between copies.
    """

    def __init__(self, group: PlaneGroup, distances: Distances, gap_mm: float) -> None:
        cell = cell_of(cell_shape(group))
        ops = operations(group)
        self._distances, self._gap = distances, gap_mm
        self._matrix = np.array([operation.matrix for operation in ops], dtype=np.float64)
        self._shift = np.array([[float(x) for x in operation.shift] for operation in ops])
        self._linear = np.stack([cell.linear(operation) for operation in ops])
        self._box = distances.box
        self._hand = np.array([float(operation.determinant) for operation in ops])
        self._moves = _moves(cell_shape(group), self._matrix)

    def tightened(
        self, layout: Layout, outlines: Outlines, *, keep_mm: float, step_mm: float, rounds: int, still: float
    ) -> tuple[Layout, float]:
        """Return the layout drawn together and the smallest distance between two copies in it, in mm.

        Parameters
        ----------
        layout
            Where to start; no two copies overlap in it, though they may be nearer than the gap.
        outlines
            The motif, flattened.
        keep_mm
            Distance to keep.
        step_mm
            Longest first step; later ones grow while they save much.
        rounds
            Number of steps.
        still
            Stop when a step saves less than this share of the area.
        """
        at, step = layout.figures(), step_mm
        rows, apart = self._rows(at, outlines, keep_mm, _REACH * step)
        best, best_apart = at, apart
        slack = 1e-4 * keep_mm + 1e-6
        quiet = 0
        for _ in range(rounds):
            moved = at + self._step(at, rows, step)
            new_rows, new_apart = self._rows(moved, outlines, keep_mm, _REACH * step)
            if new_apart < min(_SAFE * keep_mm, 0.9 * apart):
                step *= 0.5
                rows, apart = self._rows(at, outlines, keep_mm, _REACH * step)
                continue
            saved = 1.0 - moved[3] * moved[4] / (at[3] * at[4])
            at, rows, apart = moved, new_rows, new_apart
            good, had = apart >= keep_mm - slack, best_apart >= keep_mm - slack
            if (good and (not had or at[3] * at[4] < best[3] * best[4])) or (
                not good and not had and apart > best_apart
            ):
                best, best_apart = at, apart
            # Where copies came much too near the straight-line forecast was bad; where none touch there is far to go.
            alone = apart > keep_mm + 0.3 * step
            step *= 0.6 if apart < keep_mm - 0.1 * step else 1.2 if alone or saved > 1e-3 else 0.8
            step = min(step, _LONGEST * step_mm)
            quiet = quiet + 1 if good and not alone and abs(saved) < still else 0
            if quiet == 2:
                break
        return Layout.of(best), best_apart

    def _step(self, at: FloatArray, rows: tuple[FloatArray, FloatArray], step: float) -> FloatArray:
        """Return the change of figures that saves most ground, no part of it longer than the step."""
        gradient, short = rows
        cost = np.array([0.0, 0.0, 0.0, 1.0 / at[3], 1.0 / at[4], 0.0])
        moves = self._moves
        low = np.full(moves.shape[1], -step)
        moved = _least(
            np.einsum("i,ij->j", cost, moves),
            np.einsum("ni,ij->nj", gradient, moves),
            short,
            low,
            -low,
            need=_NEED_PER_MM / min(at[3], at[4]),
        )
        change = np.einsum("ij,j->i", moves, moved)
        change[0] /= self._distances.radius_mm
        change[1] /= at[3]
        change[2] /= at[4]
        return np.asarray(change)

    def _pairs(self, at: FloatArray, within: float) -> tuple[IntArray, FloatArray, FloatArray]:
        """Return the copies near the motif: operation (n,), steps in repeat vectors (n, 2) and in mm (n, 2)."""
        _, x, y, side, rise, along = at
        reach = 2.0 * self._distances.radius_mm + within
        u = self._matrix[:, :, 0] * x + self._matrix[:, :, 1] * y + self._shift - np.array([x, y])
        j_most = int(np.ceil(reach / rise)) + 1
        i_most = int(np.ceil(reach / side)) + 1
        j = np.arange(-j_most, j_most + 1)
        rows = u[:, None, 1] + j
        rows -= np.round(u[:, None, 1])
        # Steps along are counted from where a row passes the motif.
        base = u[:, None, 0] - np.round(u[:, None, 0] + rows * along / side)
        columns = base[:, :, None] + np.arange(-i_most, i_most + 1)
        steps = np.stack([columns, np.broadcast_to(rows[:, :, None], columns.shape)], axis=-1).reshape(-1, 2)
        copy = np.repeat(np.arange(len(u)), len(j) * (2 * i_most + 1))
        mm = np.stack([steps[:, 0] * side + steps[:, 1] * along, steps[:, 1] * rise], axis=1)
        far = np.hypot(mm[:, 0], mm[:, 1])
        kept = np.flatnonzero((far < reach) & ((copy > 0) | (far > 1e-9)))
        kept = kept[self._boxes_near(at[0], self._linear[copy[kept]], mm[kept], within)]
        return copy[kept], steps[kept], mm[kept]

    def _boxes_near(self, turn: float, linear: FloatArray, away: FloatArray, within: float) -> BoolArray:
        """Return which copies have their box within reach of the motif's, both upright as the motif was drawn."""
        c, s = float(np.cos(turn)), float(np.sin(turn))
        (px, py), (qx, qy) = self._box
        middle, half = (0.5 * (px + qx), 0.5 * (py + qy)), (0.5 * (qx - px), 0.5 * (qy - py))
        a, b, d, e = linear[:, 0, 0], linear[:, 0, 1], linear[:, 1, 0], linear[:, 1, 1]
        # The copy's linear part between turning the motif and turning it back.
        first = (c * a + s * d, c * d - s * a)
        second = (c * b + s * e, c * e - s * b)
        near = np.ones(len(away), dtype=bool)
        for axis, shift in ((0, c * away[:, 0] + s * away[:, 1]), (1, c * away[:, 1] - s * away[:, 0])):
            mx, my = c * first[axis] + s * second[axis], c * second[axis] - s * first[axis]
            apart = np.abs(shift + mx * middle[0] + my * middle[1] - middle[axis])
            near &= apart <= half[axis] + np.abs(mx) * half[0] + np.abs(my) * half[1] + within
        return near

    def _rows(
        self, at: FloatArray, outlines: Outlines, keep_mm: float, reach_mm: float
    ) -> tuple[tuple[FloatArray, FloatArray], float]:
        """Return how near distances change with the figures (n, 6), how short they are (n,), and the least of them.

        The figures are counted in mm here: the turn at the motif's furthest point, the place along the sides.
        """
        within = keep_mm + reach_mm
        copy, steps, away = self._pairs(at, within)
        c, s = np.cos(at[0]), np.sin(at[0])
        points = outlines.points
        px, py = c * points[:, 0] - s * points[:, 1], s * points[:, 0] + c * points[:, 1]
        # Every point as the other copy sees it: an isometry is undone by its transpose.
        lin = self._linear[copy]
        dx, dy = px[None] - away[:, :1], py[None] - away[:, 1:]
        qx, qy = lin[:, 0, :1] * dx + lin[:, 1, :1] * dy, lin[:, 0, 1:] * dx + lin[:, 1, 1:] * dy
        seen_x, seen_y = c * qx + s * qy, c * qy - s * qx
        rough = self._distances.at(seen_x, seen_y)
        if rough.min(initial=0.0) < -self._distances.pixel_mm:
            return (np.zeros((0, 6)), np.zeros(0)), 0.0
        pair, point = np.nonzero(rough < within + self._distances.pixel_mm)
        hit, foot, distance = _near_edges(
            np.stack([seen_x[pair, point], seen_y[pair, point]], axis=1), outlines, within
        )
        pair, point = pair[hit], point[hit]
        least = float(distance.min(initial=within))
        # From the foot on the other copy to the point, back in the cell's own frame.
        fx, fy = c * foot[:, 0] - s * foot[:, 1], s * foot[:, 0] + c * foot[:, 1]
        lin = self._linear[copy[pair]]
        rx, ry = lin[:, 0, 0] * fx + lin[:, 0, 1] * fy, lin[:, 1, 0] * fx + lin[:, 1, 1] * fy
        ox, oy = px[point], py[point]
        nx = (ox - rx - away[pair, 0]) / distance
        ny = (oy - ry - away[pair, 1]) / distance
        hand = self._hand[copy[pair]]
        gradient = np.zeros((len(pair), 6))
        gradient[:, 0] = (nx * (hand * ry - oy) + ny * (ox - hand * rx)) / self._distances.radius_mm
        part = self._matrix[copy[pair]] - np.eye(2)
        for axis, size in ((0, at[3]), (1, at[4])):
            gx = part[:, 0, axis] * at[3] + part[:, 1, axis] * at[5]
            gradient[:, 1 + axis] = -(nx * gx + ny * part[:, 1, axis] * at[4]) / size
        gradient[:, 3] = -nx * steps[pair, 0]
        gradient[:, 4] = -ny * steps[pair, 1]
        gradient[:, 5] = -nx * steps[pair, 1]
        return (gradient, keep_mm - distance), least


def _moves(shape: CellShape, matrices: FloatArray) -> FloatArray:
    """Return the moves a group leaves free, one a column, (6, n): of turn, place x and y, side, rise and along."""
    unit = np.eye(6)
    free = [unit[0]]
    # A place moved along a direction that every operation keeps moves all copies alike.
    free += [unit[1 + axis] for axis in (0, 1) if np.any(matrices[:, :, axis] != np.eye(2)[:, axis])]
    if shape is CellShape.SQUARE:
        free.append(unit[3] + unit[4])
    elif shape is CellShape.HEXAGON:
        free.append(unit[3] + 0.5 * np.sqrt(3.0) * unit[4] - 0.5 * unit[5])
    else:
        free += [unit[3], unit[4]] + ([unit[5]] if shape is CellShape.OBLIQUE else [])
    return np.stack(free, axis=1)


def _near_edges(points: FloatArray, outlines: Outlines, within: float) -> tuple[IntArray, FloatArray, FloatArray]:
    """Return all pairs of a point and an edge that are near: point, nearest place on the edge, distance."""
    start, end = outlines.start, outlines.end
    groups = [(np.arange(len(points)), np.arange(len(start)))]
    if len(points) * len(start) > _FEW:
        # Square by square: the points in it, and the edges that come near it.
        size = max(within, float((start.max(axis=0) - start.min(axis=0)).max()) / _SQUARES)
        square = np.floor(points / size).astype(np.int64)
        code = square[:, 0] * 4096 + square[:, 1]
        order = np.argsort(code, kind="stable")
        low, high = np.minimum(start, end) - within, np.maximum(start, end) + within
        groups = []
        for some in np.split(order, np.flatnonzero(np.diff(code[order])) + 1):
            first, last = points[some].min(axis=0), points[some].max(axis=0)
            groups.append((some, np.flatnonzero(np.all((low <= last) & (high >= first), axis=1))))
    parts = [_within(points[some], some, start[edges], end[edges], within) for some, edges in groups]
    point, place, distance = (np.concatenate(part) for part in zip(*parts, strict=True))
    return point, place, distance


def _within(
    points: FloatArray, names: IntArray, start: FloatArray, end: FloatArray, within: float
) -> tuple[IntArray, FloatArray, FloatArray]:
    along = end - start
    x, y = points[:, :1] - start[:, 0], points[:, 1:] - start[:, 1]
    t = (x * along[:, 0] + y * along[:, 1]) / (along[:, 0] ** 2 + along[:, 1] ** 2)
    np.clip(t, 0.0, 1.0, out=t)
    x -= t * along[:, 0]
    y -= t * along[:, 1]
    squared = x * x + y * y
    # The end of an edge is the start of another.
    i, j = np.nonzero((squared < within * within) & (t < 1.0) & (squared > 0.0))
    away = np.stack([x[i, j], y[i, j]], axis=1)
    return names[i], points[i] - away, np.sqrt(squared[i, j])


def _least(
    cost: FloatArray, rows: FloatArray, bound: FloatArray, low: FloatArray, high: FloatArray, *, need: float
) -> FloatArray:
    """Return the x of least cost with ``rows x >= bound`` and ``low <= x <= high``; rows that cannot be met are missed.

    A miss by t of the row missed most costs ``need t`` more.

    Notes
    -----
    Dual simplex method with a dense inverse (Lemke 1954, as commonly stated; from memory): a handful of unknowns, so
    each exchange is one small update. Nothing is left to a library's choice among equals.
    """
    count = len(cost)
    # A little cost on every unknown: without it many corners are equally good, and moves that save nothing wander.
    cost = cost + np.where(cost >= 0.0, 1.0, -1.0) * 1e-7 * need * (1.0 + np.arange(count))
    cost = np.append(cost, need)
    table = np.zeros((2 * count + 1 + len(rows), count + 1))
    least = np.zeros(len(table))
    table[:count, :count], least[:count] = np.eye(count), low
    table[count : 2 * count, :count], least[count : 2 * count] = -np.eye(count), -high
    table[2 * count, count] = 1.0
    table[2 * count + 1 :, :count], least[2 * count + 1 :] = rows, bound
    table[2 * count + 1 :, count] = 1.0
    # Each unknown starts at the end where it is cheapest.
    basis = np.append(np.where(cost[:-1] >= 0.0, np.arange(count), count + np.arange(count)), 2 * count)
    inverse = np.diag(np.append(np.where(cost[:-1] >= 0.0, 1.0, -1.0), 1.0))
    price = np.abs(cost)
    x = np.zeros(count + 1)
    for _ in range(_PIVOTS):
        x = np.einsum("ij,j->i", inverse, least[basis])
        short = least - np.einsum("ij,j->i", table, x)
        enters = int(np.argmax(short))
        if short[enters] <= _ROUNDING:
            break
        weight = np.einsum("ij,i->j", inverse, table[enters])
        able = weight > 1e-12
        if not able.any():
            break
        ratio = np.divide(price, weight, out=np.full(count + 1, np.inf), where=able)
        leaves = int(np.argmin(ratio))
        price = price - ratio[leaves] * weight
        price[leaves] = ratio[leaves]
        price = np.maximum(price, 0.0)
        column = inverse[:, leaves] / weight[leaves]
        inverse = inverse - column[:, None] * weight[None]
        inverse[:, leaves] = column
        basis[leaves] = enters
    return x[:-1]
