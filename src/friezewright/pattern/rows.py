"""Where one shape may stand beside another: the forbidden stretches of a shift along x, for many shifts across at once.

Shift a shape Y by ``(x, t)``. Its interior meets that of X exactly for x in some open intervals, the *forbidden runs*
of the row t. For a piece a of X and a piece b of Y (:mod:`~friezewright.pattern.pieces`) they are one interval: over
the common levels the runs of a and b overlap for x in ``(left_a - right_b, right_a - left_b)``, these intervals hang
together since the pieces do, and both ends are straight between nodes, so the extremes lie at nodes. The row is the
union over all pairs of pieces. Nothing is sampled: a row is exact for its polygons, up to rounding.

Rows are open sets. Two runs that end at one place leave a contact there, and the tightest patterns are made of such
contacts; runs that merely touch are never joined.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import BoolArray, IntArray, frozen
from friezewright.pattern.pieces import GRID_MM, Pieces, on_grid

__all__ = ["TOUCH_MM", "Rows", "forbidden_rows"]

TOUCH_MM = 1e-9
"""Runs that overlap by no more than this touch: the rounding of some hundred sums of coordinates."""

_NOWHERE = 1e9
_AT_ONCE = 150_000
"""Look-ups held together: half a megabyte an array, so that each stays in the cache."""


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """Forbidden runs of many rows.

    Parameters
    ----------
    ends
        Left and right end of each run, rising, shape (rows, most, 2), mm; inf where a row has no more.
    count
        Number of runs of each row, shape (rows,).
    """

    ends: FloatArray
    count: IntArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "ends", frozen(self.ends))
        object.__setattr__(self, "count", frozen(self.count, np.int64))

    def row(self, index: int) -> FloatArray:
        """Return the runs of one row, shape (n, 2)."""
        return np.asarray(self.ends[index, : self.count[index]])


class Facing:
    """Two areas, made ready for asking at many shifts where one may stand beside the other.

    Parameters
    ----------
    x, y
        The areas. To keep a gap, one of them is handed in grown by it, or both by half of it.
    even
        Whether ``y`` is ``x`` flipped: every row is then its own mirror image, and half the work is saved.
    """

    def __init__(self, x: Pieces, y: Pieces, *, even: bool = False) -> None:
        self._shape = (len(x), len(y))
        # Further across than this the two are never level.
        self._furthest = 2.0 * float(np.abs([*x.levels(), *y.levels()]).max()) + 1.0
        self._to_right = _Reach(x, y, self._furthest)
        self._to_left = None if even else _Reach(y, x, self._furthest)

    def rows(self, shifts_mm: FloatArray) -> Rows:
        """Return for which shifts along x the interior of ``y``, shifted across by each of (n,), meets that of ``x``.

        Shifts across are rounded to the grid of levels.
        """
        furthest = self._furthest
        shifts = on_grid(np.clip(np.asarray(shifts_mm, dtype=np.float64), -furthest, furthest))
        high = self._to_right.at(shifts)
        low = -(high if self._to_left is None else self._to_left.at(-shifts))
        low = low.reshape(-1, self._shape[1], self._shape[0]).transpose(0, 2, 1).reshape(high.shape)
        return _joined(low, high)


def forbidden_rows(x: Pieces, y: Pieces, shifts_mm: FloatArray) -> Rows:
    """Return what :class:`Facing` does, for areas that are asked about once."""
    return Facing(x, y).rows(shifts_mm)


def _joined(low: FloatArray, high: FloatArray) -> Rows:
    """Return the union of open intervals a row, shape (n, k) each; empty where high does not exceed low."""
    real = high - low > TOUCH_MM
    if low.shape[1] == 1:
        ends = np.where(real[:, :, None], np.stack([low, high], axis=2), np.inf)
        return Rows(ends, real[:, 0].astype(np.int64))
    # A union is open between two intervals when as many have ended as have begun: starts and ends can be sorted apart.
    starts, ends = np.sort(np.where(real, low, np.inf), axis=1), np.sort(np.where(real, high, np.inf), axis=1)
    filled = starts < np.inf
    opens = filled.copy()
    opens[:, 1:] &= starts[:, 1:] >= ends[:, :-1] - TOUCH_MM
    closes = filled.copy()
    closes[:, :-1] &= opens[:, 1:] | ~filled[:, 1:]
    count = opens.sum(axis=1)
    most = max(1, int(count.max(initial=0)))
    found = np.full((len(low), most, 2), np.inf)
    place = np.arange(most) < count[:, None]
    found[place, 0], found[place, 1] = starts[opens], ends[closes]
    return Rows(found, count)


class _Reach:
    """How far right pieces reach beyond the left sides of others: ``max right_a(level) - left_b(level - shift)``.

    The maximum lies at a node of either profile. Each node looks up the other profile on its own side of the level, so
    that of two steps on one level only what lies below is set against what lies below, and above against above: one
    table of a profile runs upwards and, turned over, downwards.
    """

    def __init__(self, a: Pieces, b: Pieces, furthest: float) -> None:
        self._right, self._left = _Nodes(a.right), _Nodes(b.left)
        # A power of two, so that adding it keeps levels on their grid.
        self._span = float(2.0 ** np.ceil(np.log2(4.0 * furthest)))
        self._table_left = self._left.table(self._span, _NOWHERE)
        self._table_right = self._right.table(self._span, -_NOWHERE)
        self._pairs = (len(a), len(b))

    def at(self, shifts: FloatArray) -> FloatArray:
        """Return the reach for every shift and pair of pieces, shape (n, pairs); far below 0 where none is level."""
        found = np.full((len(shifts), self._pairs[0] * self._pairs[1]), -_NOWHERE)
        if not len(shifts):
            return found
        looks = self._looks(shifts)
        block = max(1, _AT_ONCE // max(1, *(len(each.base) for each in looks)))
        for start in range(0, len(shifts), block):
            some = slice(start, start + block)
            if block < len(shifts):
                looks = self._looks(shifts[some])
            for look, table, sign in zip(looks, (self._table_left, self._table_right), (-1.0, 1.0), strict=True):
                if not len(look.base):
                    continue
                query = shifts[some, None] * look.rate
                query += look.base
                seen = np.interp(query, *table)
                seen -= look.x
                if sign < 0.0:
                    np.negative(seen, out=seen)
                best = np.maximum.reduceat(seen, look.first, axis=1)
                found[some, look.pair] = np.maximum(found[some, look.pair], best)
        return found

    def _looks(self, shifts: FloatArray) -> tuple[_Looks, _Looks]:
        """Return what has to be looked up: nodes of a in each piece of b that a shift brings level, and vice versa."""
        right, left, least, most = self._right, self._left, float(shifts.min()), float(shifts.max())
        bottom, top = left.ends
        # By piece, then by node: the nodes of a piece lie together, so pairs do.
        piece, node = np.nonzero((right.level - most <= top[:, None]) & (right.level - least >= bottom[:, None]))
        on_a = _Looks(right, node, piece, right.piece[node] * self._pairs[1] + piece, self._span, -1.0)
        bottom, top = right.ends
        piece, node = np.nonzero((left.level + least <= top[:, None]) & (left.level + most >= bottom[:, None]))
        on_b = _Looks(left, node, piece, piece * self._pairs[1] + left.piece[node], self._span, 1.0)
        return on_a, on_b


class _Nodes:
    """The nodes of all profiles on one side, end to end."""

    def __init__(self, profiles: tuple[FloatArray, ...]) -> None:
        self._profiles = profiles
        self.ends = (np.array([profile[0, 0] for profile in profiles]),
                     np.array([profile[-1, 0] for profile in profiles]))  # fmt: skip
        nodes = np.concatenate(profiles)
        self.level, self.x = nodes[:, 0], nodes[:, 1]
        sizes = np.array([len(profile) for profile in profiles])
        self.piece = np.repeat(np.arange(len(profiles)), sizes)
        # A node looks down when its edge ends there and none goes on: at the top, and at the lower node of a step.
        following = np.append(self.level[1:], np.inf)
        self.down: BoolArray = following == self.level
        self.down[np.cumsum(sizes) - 1] = True

    def table(self, span: float, nowhere: float) -> tuple[FloatArray, FloatArray]:
        """Return one table for interpolation: profile k upwards at offset ``2 k span``, downwards a span further on.

        The interpolation takes the last of several nodes on one level, so a step shows its upper node to those who come
        upwards and its lower one to those who come downwards, and a profile is nowhere from its last level on.
        """
        levels, values = [], []
        ends = np.array([nowhere])
        for k, profile in enumerate(self._profiles):
            for sign, nodes in ((1.0, profile), (-1.0, profile[::-1])):
                level = sign * nodes[:, 0] + (2 * k + (sign < 0.0)) * span
                levels += [level[:1] - GRID_MM, level, level[-1:]]
                values += [ends, nodes[:, 1], ends]
        return np.concatenate(levels), np.concatenate(values)


class _Looks:
    """Look-ups of nodes in the profiles of other pieces, pair by pair: ``rate * shift + base`` in their table.

    The same pair may come up once only, all its nodes together.
    """

    def __init__(
        self, nodes: _Nodes, node: IntArray, piece: IntArray, pair: IntArray, span: float, with_shift: float
    ) -> None:
        down = nodes.down[node]
        sign = np.where(down, -1.0, 1.0)
        self.x = nodes.x[node]
        self.rate = sign * with_shift
        self.base = sign * nodes.level[node] + (2 * piece + down) * span
        self.first = np.flatnonzero(np.diff(pair, prepend=-1) != 0)
        self.pair = pair[self.first]
