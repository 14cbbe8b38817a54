"""Outlines cut into pieces that every level crosses in one run, and such pieces made larger by a gap.

Terms. A *level* is a line along x. A *run* is where a level lies inside an outline. A *piece* is a stack of runs, one a
level, each overlapping the one below it; bays, holes and several parts merely make more pieces. Each side of a piece is
a *profile*: x as a function of the level, straight between its nodes, with a *step* where a level edge makes it leap.

Levels are whole multiples of :data:`GRID_MM`, so that sums and differences of them are exact: whether two edges lie on
one level is never a matter of rounding.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from friezewright.errors import GeometryError
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import BoolArray, IntArray, Outline, frozen

__all__ = ["GRID_MM", "Pieces", "grown", "on_grid", "pieces_of", "pieces_of_edges"]

GRID_MM = 2.0**-30
"""Levels are rounded to this, about a millionth of a micrometre; sums stay exact up to some metres."""

_OVERLAP_MM = 1e-9
"""Runs that share less than this do not hang together."""

_NOWHERE = -1e9


def on_grid(levels: FloatArray) -> FloatArray:
    """Return levels rounded to the grid."""
    return np.asarray(np.round(np.asarray(levels) / GRID_MM) * GRID_MM)


@dataclass(frozen=True, slots=True, eq=False)
class Pieces:
    """An area as pieces.

    Parameters
    ----------
    left, right
        The two profiles of each piece, as nodes ``(level, x)`` of shape (k, 2), levels rising; a step is two nodes on
        one level. Both profiles of a piece span the same levels.
    """

    left: tuple[FloatArray, ...]
    right: tuple[FloatArray, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "left", tuple(frozen(side) for side in self.left))
        object.__setattr__(self, "right", tuple(frozen(side) for side in self.right))

    def __len__(self) -> int:
        return len(self.left)

    def levels(self) -> tuple[float, float]:
        """Return the lowest and the highest level."""
        return min(float(side[0, 0]) for side in self.left), max(float(side[-1, 0]) for side in self.left)

    def mirrored(self) -> Pieces:
        """Return the image under ``x -> -x``."""
        back = np.array([1.0, -1.0])
        return Pieces(tuple(side * back for side in self.right), tuple(side * back for side in self.left))

    def flipped(self) -> Pieces:
        """Return the image under ``y -> -y``."""
        back = np.array([-1.0, 1.0])
        return Pieces(tuple(side[::-1] * back for side in self.left), tuple(side[::-1] * back for side in self.right))


def pieces_of(outline: Outline, *, tolerance_mm: float) -> Pieces:
    """Return the pieces of an outline sampled within a tolerance.

    Raises
    ------
    GeometryError
        If its loops do not close.
    """
    points, _, loop = outline.flattened(tolerance_mm=tolerance_mm)
    inside = loop[1:] == loop[:-1]
    return pieces_of_edges(points[:-1][inside], points[1:][inside])


def pieces_of_edges(start: FloatArray, end: FloatArray) -> Pieces:
    """Return the pieces of the area that closed rings of straight edges bound by the even-odd rule.

    Parameters
    ----------
    start, end
        Ends of the edges, shape (n, 2), in any order. Rings may touch, but edges that cross are read as if they met at
        the next level.

    Raises
    ------
    GeometryError
        If the rings are not closed, or bound no area.
    """
    runs = _runs_of(start, end)
    label = _linked(runs)
    order = np.lexsort((runs.slab, label))
    goes_on = np.zeros(len(order), dtype=bool)
    goes_on[1:] = label[order][1:] == label[order][:-1]
    cuts = np.flatnonzero(~goes_on)[1:]
    sides = []
    for side in (0, 1):
        edge, low, high = runs.edge[order, side], runs.low[order, side], runs.high[order, side]
        level = runs.levels[runs.slab[order]], runs.levels[runs.slab[order] + 1]
        meets = np.zeros(len(order), dtype=bool)
        meets[1:] = goes_on[1:] & (low[1:] == high[:-1])
        same = meets.copy()
        same[1:] &= edge[1:] == edge[:-1]
        kept = np.stack([~meets, ~np.append(same[1:], False)], axis=1)
        nodes = np.stack([np.stack(level, axis=1), np.stack([low, high], axis=1)], axis=2)
        count = np.add.accumulate(kept.sum(axis=1))
        sides.append(tuple(np.split(nodes[kept], count[cuts - 1])))
    return Pieces(sides[0], sides[1])


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Runs:
    """Runs between neighbouring levels, slab by slab and from left to right.

    ``edge``, ``low`` and ``high`` have shape (n, 2): for the left and the right side the edge it lies on, and x at the
    slab's lower and upper level.
    """

    levels: FloatArray
    slab: IntArray
    edge: IntArray
    low: FloatArray
    high: FloatArray


def _runs_of(start: FloatArray, end: FloatArray) -> _Runs:
    y0, y1 = on_grid(start[:, 1]), on_grid(end[:, 1])
    leaning = y0 != y1
    rises = (y1 > y0)[leaning]
    lower, upper = np.where(rises, y0[leaning], y1[leaning]), np.where(rises, y1[leaning], y0[leaning])
    x0, x1 = (np.where(rises, p, q) for p, q in ((start[leaning, 0], end[leaning, 0]),
                                                 (end[leaning, 0], start[leaning, 0])))  # fmt: skip
    levels = np.unique(np.concatenate([lower, upper]))
    first, last = np.searchsorted(levels, lower), np.searchsorted(levels, upper)
    count = last - first
    edge = np.repeat(np.arange(len(count)), count)
    slab = np.arange(len(edge)) - np.repeat(np.cumsum(count) - count - first, count)
    slope = (x1 - x0) / (upper - lower)

    def x_at(at: IntArray) -> FloatArray:
        inner = x0[edge] + slope[edge] * (levels[at] - lower[edge])
        # Ends are taken as they are, so that neighbouring edges meet to the last bit.
        return np.asarray(np.where(at == first[edge], x0[edge], np.where(at == last[edge], x1[edge], inner)))

    low, high = x_at(slab), x_at(slab + 1)
    order = np.lexsort((low + high, slab))
    slab, edge, low, high = slab[order], edge[order], low[order], high[order]
    if not len(slab):
        raise GeometryError("an outline without height has no pieces")
    if np.any(np.bincount(slab) % 2):
        raise GeometryError("the rings of an outline are not closed")
    pair_low, pair_high = np.sort(low.reshape(-1, 2), axis=1), np.sort(high.reshape(-1, 2), axis=1)
    # Two edges on top of each other bound nothing.
    real = (pair_low[:, 1] > pair_low[:, 0]) | (pair_high[:, 1] > pair_high[:, 0])
    return _Runs(levels=levels, slab=slab[::2][real], edge=edge.reshape(-1, 2)[real], low=pair_low[real],
                 high=pair_high[real])  # fmt: skip


def _linked(runs: _Runs) -> IntArray:
    """Return the piece of each run, numbered upwards and from the left by their lowest runs."""
    slabs = len(runs.levels) - 1
    count = np.bincount(runs.slab, minlength=slabs + 1)
    first = np.cumsum(count) - count
    above = count[runs.slab + 1]
    j = np.repeat(np.arange(len(runs.slab)), above)
    k = np.arange(len(j)) - np.repeat(np.cumsum(above) - above - first[runs.slab + 1], above)
    shared = np.minimum(runs.high[j, 1], runs.low[k, 1]) - np.maximum(runs.high[j, 0], runs.low[k, 0])
    kept = shared > _OVERLAP_MM
    j, k, shared = j[kept], k[kept], shared[kept]
    # Where runs part or join, the piece goes on with the widest; the others start or end here.
    parent = np.arange(len(runs.slab))
    mutual = _widest(j, shared) & _widest(k, shared)
    parent[k[mutual]] = j[mutual]
    while True:
        further = parent[parent]
        if np.array_equal(further, parent):
            break
        parent = further
    return np.asarray(np.unique(parent, return_inverse=True)[1].reshape(-1), dtype=np.int64)


def _widest(key: IntArray, width: FloatArray) -> BoolArray:
    """Return for each entry whether it is the widest of its key, the first of equals."""
    order = np.lexsort((-width, key))
    chosen = np.zeros(len(key), dtype=bool)
    chosen[order[np.flatnonzero(np.diff(key[order], prepend=-1))]] = True
    return chosen


def grown(pieces: Pieces, by_mm: float, *, excess_mm: float) -> Pieces:
    """Return pieces that cover every point within ``by_mm`` of the area, and none further than ``excess_mm`` beyond.

    Each piece grows on its own and stays a piece, since a disc swept along overlapping runs leaves no level in two
    runs; the grown ones overlap.

    Parameters
    ----------
    pieces
        The area.
    by_mm
        By how much it grows, 0 or more.
    excess_mm
        How far the polygon that stands for the disc may reach beyond it; it is drawn round the circle, never in it.
    """
    if by_mm == 0.0:
        return pieces
    step_rad = 2.0 * float(np.arccos(by_mm / (by_mm + excess_mm)))
    back = np.array([1.0, -1.0])
    right = tuple(_grown_profile(side, by_mm, step_rad) for side in pieces.right)
    left = tuple(_grown_profile(side * back, by_mm, step_rad) * back for side in pieces.left)
    return Pieces(left, right)


def _grown_profile(profile: FloatArray, by_mm: float, step_rad: float) -> FloatArray:
    """Return the right profile of what lies within ``by_mm`` of the area to the left of a right profile."""
    rise, run = np.diff(profile, axis=0).T
    length = np.hypot(rise, run)
    kept = length > 0.0
    rise, run, length = rise[kept], run[kept], length[kept]
    nodes = profile[np.append(kept, True)]
    # Direction of the outward normal: -90 degrees points down, 0 to the right, 90 up. It only turns from edge to edge.
    normal = np.concatenate([[-0.5 * np.pi], np.arctan2(-run, rise), [0.5 * np.pi]])
    turn = np.diff(normal)
    bay = turn < 0.0
    with np.errstate(over="ignore"):
        cut = np.where(bay, by_mm * np.tan(-0.5 * np.maximum(turn, -3.1)), 0.0)
    # In a bay the moved edges meet where they cross, if both reach that far; else the profile is broken there.
    short = cut[:-1] + cut[1:] > length
    broken = bay & (np.append(short, False) | np.append(False, short))
    corners = np.where(bay, np.where(broken, 2, 1), np.maximum(1, np.ceil(turn / step_rad))).astype(np.int64)
    at = np.repeat(np.arange(len(nodes)), corners)
    which = np.arange(len(at)) - np.repeat(np.cumsum(corners) - corners, corners)
    angle = normal[at] + turn[at] * (which + 0.5) / corners[at]
    reach = by_mm / np.cos(0.5 * turn[at] / np.where(bay[at], 1, corners[at]))
    split = broken[at]
    angle[split], reach[split] = normal[at[split] + which[split]], by_mm
    level = on_grid(nodes[at, 0] + reach * np.sin(angle))
    moved = np.stack([level, nodes[at, 1] + reach * np.cos(angle)], axis=1)
    ends = on_grid(profile[[0, -1], 0] + np.array([-by_mm, by_mm]))
    moved[:, 0] = np.clip(moved[:, 0], ends[0], ends[1])
    moved = np.concatenate([[[ends[0], moved[0, 1]]], moved, [[ends[1], moved[-1, 1]]]])
    breaks = np.flatnonzero(split & (which == 1)) + 1
    return _furthest([_tidy(part) for part in np.split(moved, breaks)])


def _tidy(profile: FloatArray) -> FloatArray:
    """Return a profile with at most two nodes a level, and one at either end."""
    level = profile[:, 0]
    last = np.append(level[1:] != level[:-1], True)
    first = np.append(True, level[1:] != level[:-1])
    first &= level != level[0]
    last &= level != level[-1]
    kept = first | last
    if not kept.any() or level[0] == level[-1]:
        return profile[:0]
    return np.asarray(profile[kept])


def _furthest(profiles: list[FloatArray]) -> FloatArray:
    """Return the profile that at every level is the furthest right of several, which together leave no level out."""
    kept = [profile for profile in profiles if len(profile)]
    while len(kept) > 1:
        pairs: Iterable[tuple[FloatArray, FloatArray]] = zip(kept[::2], kept[1::2], strict=False)
        kept = [_further(a, b) for a, b in pairs] + (kept[-1:] if len(kept) % 2 else [])
    return kept[0]


def _further(a: FloatArray, b: FloatArray) -> FloatArray:
    """Return the further right of two profiles, each of which is nowhere outside its levels."""
    level = np.unique(np.concatenate([a[:, 0], b[:, 0]]))
    low, high = level[:-1], level[1:]
    low_a, high_a, edge_a = _ends(a, low, high)
    low_b, high_b, edge_b = _ends(b, low, high)
    start, end = low_a - low_b, high_a - high_b
    apart = np.where(start * end < 0.0, start - end, 1.0)
    share = np.where(start * end < 0.0, start / apart, 0.0)
    crossing = on_grid(low + share * (high - low))
    crosses = (start * end < 0.0) & (edge_a >= 0) & (edge_b >= 0) & (crossing > low) & (crossing < high)
    share = np.where(crosses, (crossing - low) / (high - low), 0.0)
    x_at = np.maximum(low_a + share * (high_a - low_a), low_b + share * (high_b - low_b))
    a_first = np.where(start == 0.0, end >= 0.0, start > 0.0)
    a_last = np.where(end == 0.0, start >= 0.0, end > 0.0)
    # Each stretch between levels gives its two ends and, where they change places, the crossing.
    x = np.stack([np.maximum(low_a, low_b), x_at, np.maximum(high_a, high_b)], axis=1)
    nodes = np.stack([np.stack([low, crossing, high], axis=1), x], axis=2)
    kept = np.stack([np.ones(len(low), dtype=bool), crosses, np.ones(len(low), dtype=bool)], axis=1)
    source_first = np.where(a_first, edge_a, len(a) + edge_b)
    source_last = np.where(a_last, edge_a, len(a) + edge_b)
    meets = nodes[:-1, 2, 1] == nodes[1:, 0, 1]
    same = (source_last[:-1] == source_first[1:]) & (np.abs(nodes[:-1, 2, 1] - nodes[1:, 0, 1]) < _OVERLAP_MM)
    kept[1:, 0] &= ~(meets | same)
    kept[:-1, 2] &= ~same
    return np.asarray(nodes[kept])


def _ends(profile: FloatArray, low: FloatArray, high: FloatArray) -> tuple[FloatArray, FloatArray, IntArray]:
    """Return x at both ends of stretches between which the profile has no node, and the edge each lies on, or -1."""
    level, x = profile.T
    edge = np.searchsorted(level, low, side="right") - 1
    within = (edge >= 0) & (edge < len(level) - 1)
    at = np.where(within, edge, 0)
    slope = np.where(within, x[at + 1] - x[at], 0.0) / np.where(within, level[at + 1] - level[at], 1.0)
    first = np.where(within, x[at] + slope * (low - level[at]), _NOWHERE)
    last = np.where(high == level[at + 1], x[at + 1], x[at] + slope * (high - level[at]))
    return first, np.where(within, last, _NOWHERE), np.where(within, edge, -1)
