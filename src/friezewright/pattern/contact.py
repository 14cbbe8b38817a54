"""How close copies may come: a layout is shrunk from far apart until the first two copies stand the gap apart.

Coming from outside, one copy never passes through another, so plain patterns do not hook into each other. A layout is
a list of *pairs*: the motif and one other copy, whose place is ``offset + size * rate``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from friezewright.geometry import affine, cubic
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import IntArray, Outline
from friezewright.geometry.planar.nearness import pair_distances

__all__ = ["MEASURE_MM", "Pairs", "clear_of", "creep", "shrink"]

MEASURE_MM = 0.0004
"""Flattening used for gaps: a measured one is then right to 0.0008 mm, less than the last decimal that is written."""

_SLACK_MM = 0.0007
"""A contact is found when it lies at most this far above twice :data:`MEASURE_MM` over the gap; so the measured gap
lies within 0.0015 mm of the one asked for, and the true one never below it."""

_COARSE_MM = 0.02
_ON_THE_WAY_MM = (_COARSE_MM, 0.003)
"""Flattenings used on the way, several times as fast; each comes no nearer to the contact than its own error."""

_CREEP_MM = 0.01
_LONGEST_STEP_MM = 1.0
_SHORTEST_STEP_MM = 0.02
_ROUNDS = 400
_BATCH = 2


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Pairs:
    """The motif, and other copies of it that move as a layout is sized.

    Parameters
    ----------
    turn
        Linear part of each other copy, shape (n, 2, 2).
    offset
        Where each stands at size 0, shape (n, 2), mm.
    rate
        How it moves as the size grows by 1, shape (n, 2).
    own
        Linear part of the motif itself, shape (2, 2).
    """

    turn: FloatArray
    offset: FloatArray
    rate: FloatArray
    own: FloatArray

    def places(self, size: float) -> FloatArray:
        """Return where the other copies stand, shape (n, 2), mm."""
        return self.offset + size * self.rate


def shrink(
    shape: Outline, pairs: Pairs, *, start: float, gap_mm: float, least: float = 0.0, rough: bool = False
) -> float:
    """Return the size at which, coming down from ``start``, some pair first stands the gap apart.

    Parameters
    ----------
    shape
        The motif.
    pairs
        Every pair that may come near; those that do not move are left alone.
    start
        A size at which all pairs are at least the gap apart.
    gap_mm
        Clear distance to keep.
    least
        Where to stop if nothing comes near.
    rough
        Stop while the pairs are still up to 0.01 mm further apart: several times as fast.

    Notes
    -----
    Conservative advancement: a pair that is too far by ``d`` can safely move by ``d`` over its speed (Mirtich 1996, as
    commonly stated; from memory). Boxes rule out most pairs. First on a coarse polygon, then on a fine one.
    """
    course = _Course(pairs, start)
    for tolerance in _ON_THE_WAY_MM:
        course.run(_polygon(shape, tolerance), gap_mm + 2.0 * tolerance, slack_mm=tolerance, least=least)
        # A polygon's distance is right to twice its tolerance, and so is the next one's.
        course.bound -= 4.0 * tolerance
    if rough:
        return course.size
    course.run(_polygon(shape, MEASURE_MM), gap_mm + 2.0 * MEASURE_MM, slack_mm=_SLACK_MM, least=least)
    return course.size


def clear_of(shape: Outline, pairs: Pairs, size: float, *, gap_mm: float) -> bool:
    """Return whether all pairs surely stand the gap apart at a size; the moves from there on may be shrunk."""
    boxes = _box_distances(shape, pairs, size)
    close = np.flatnonzero(boxes < gap_mm)
    polygon = _polygon(shape, _COARSE_MM)
    return not len(close) or float(_distances(polygon, pairs, size, close).min()) >= gap_mm + 2.0 * _COARSE_MM


def creep(shape: Outline, pairs: Pairs, *, start: float, gap_mm: float) -> float:
    """Return a smaller size, where two copies that already touch slide past one another without coming nearer.

    Steps are at most half the gap, so that nothing is jumped over; without a gap nothing creeps.
    """
    polygon, keep = _polygon(shape, _CREEP_MM), gap_mm + 2.0 * _CREEP_MM
    fastest = float(np.hypot(pairs.rate[:, 0], pairs.rate[:, 1]).max())
    size, step = start, 0.5 * min(gap_mm, _LONGEST_STEP_MM) / fastest
    least = 0.5 * start
    while step * fastest > _SHORTEST_STEP_MM and size - step > least:
        near = np.flatnonzero(_box_distances(polygon, pairs, size - step) < keep)
        if len(near) and float(_distances(polygon, pairs, size - step, near).min()) < keep:
            step *= 0.5
        else:
            size -= step
    return size


class _Course:
    """A layout on its way down, with a distance for every pair that it is known not to be nearer than."""

    def __init__(self, pairs: Pairs, size: float) -> None:
        self.size = size
        self.bound = np.full(len(pairs.turn), -np.inf)
        self._pairs = pairs
        self._speed = np.hypot(pairs.rate[:, 0], pairs.rate[:, 1])

    def run(self, polygon: Outline, gap_mm: float, *, slack_mm: float, least: float) -> None:
        """Shrink until a pair is within the slack of the gap, or the least size is reached."""
        moving = np.flatnonzero(self._speed > 0.0)
        for _ in range(_ROUNDS):
            if self.size <= least or not len(moving):
                self.size = max(self.size, least)
                return
            self.bound = np.maximum(self.bound, _box_distances(polygon, self._pairs, self.size))
            step = self._safe_step(polygon, moving, gap_mm, slack_mm)
            if step == 0.0:
                return
            self.size -= step
            self.bound = self.bound - step * self._speed

    def _safe_step(self, polygon: Outline, moving: IntArray, gap_mm: float, slack_mm: float) -> float:
        """Return how far every pair can move without coming nearer than the gap, 0 when one has arrived."""
        room = (self.bound[moving] - gap_mm) / self._speed[moving]
        order = np.argsort(room, kind="stable")
        step = float(room[order[-1]])
        for start in range(0, len(order), _BATCH):
            some = order[start : start + _BATCH]
            # Known bounds rule out the rest: they have room for more than the tightest pair measured.
            if start and float(room[some[0]]) >= step:
                break
            which = moving[some]
            self.bound[which] = _distances(polygon, self._pairs, self.size, which)
            spare = self.bound[which] - gap_mm
            if float(spare.min()) <= slack_mm:
                return 0.0
            tight = float((spare / self._speed[which]).min())
            step = tight if start == 0 else min(step, tight)
        return step


def _polygon(shape: Outline, tolerance_mm: float) -> Outline:
    """Return the outline as straight segments, so that it need not be flattened again for every distance."""
    points, _, loop = shape.flattened(tolerance_mm=tolerance_mm)
    inner = np.flatnonzero(loop[1:] == loop[:-1])
    starts = np.concatenate([[0], np.cumsum(np.bincount(loop) - 1)])
    return Outline(cubic.line(points[inner], points[inner + 1]), np.ones(len(inner), dtype=bool), starts)


def _distances(polygon: Outline, pairs: Pairs, size: float, which: IntArray) -> FloatArray:
    own = np.zeros((1, 2, 3))
    own[0, :, :2] = pairs.own
    maps = np.zeros((len(which), 2, 3))
    maps[:, :, :2] = pairs.turn[which]
    maps[:, :, 2] = pairs.places(size)[which]
    return pair_distances(polygon, own, polygon, maps, tolerance_mm=MEASURE_MM)


def _box_distances(shape: Outline, pairs: Pairs, size: float) -> FloatArray:
    """Return a distance that no pair comes below: that of the boxes of its two copies."""
    box = shape.bounds()
    corners = np.array([[box[i, 0], box[j, 1]] for i in (0, 1) for j in (0, 1)])
    own = affine.apply(np.concatenate([pairs.own, np.zeros((2, 1))], axis=1), corners)
    turned = affine.apply(np.concatenate([pairs.turn, np.zeros((len(pairs.turn), 2, 1))], axis=2), corners)
    places = pairs.places(size)
    low, high = turned.min(axis=1) + places, turned.max(axis=1) + places
    apart = np.maximum(0.0, np.maximum(low - own.max(axis=0), own.min(axis=0) - high))
    return np.asarray(np.hypot(apart[:, 0], apart[:, 1]))
