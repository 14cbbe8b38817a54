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

__all__ = ["MEASURE_MM", "Pairs", "shrink", "sized", "smallest_distance"]

MEASURE_MM = 0.0004
"""Flattening used for gaps: a measured one is then right to 0.0008 mm, less than the last decimal that is written."""

_SLACK_MM = 0.0007
"""A contact is found when it lies at most this far above twice :data:`MEASURE_MM` over the gap; so the measured gap
lies within 0.0015 mm of the one asked for, and the true one never below it."""

_COARSE_MM = 0.02
"""Flattening used on the way, eight times as fast; its contact is approached no nearer than its own error."""

_ROUNDS = 400
_BATCH = 6


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


def sized(pairs: Pairs, size: float, rate: FloatArray) -> Pairs:
    """Return the pairs as they stand at a size, ready to move on at another rate (n, 2)."""
    return Pairs(turn=pairs.turn, offset=pairs.places(size), rate=rate, own=pairs.own)


def shrink(shape: Outline, pairs: Pairs, *, start: float, gap_mm: float, least: float = 0.0) -> float:
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

    Notes
    -----
    Conservative advancement: a pair that is too far by ``d`` can safely move by ``d`` over its speed (Mirtich 1996, as
    commonly stated; from memory). Boxes rule out most pairs. First on a coarse polygon, then on a fine one.
    """
    coarse = _advance(_polygon(shape, _COARSE_MM), pairs, start, gap_mm + 2.0 * _COARSE_MM, _COARSE_MM, least)
    fine = gap_mm + 2.0 * MEASURE_MM
    return _advance(_polygon(shape, MEASURE_MM), pairs, coarse, fine, _SLACK_MM, least)


def smallest_distance(shape: Outline, pairs: Pairs, size: float) -> float:
    """Return the smallest distance in mm over the pairs at one size, 0 where two overlap."""
    boxes = _box_distances(shape, pairs, size)
    order = np.argsort(boxes, kind="stable")
    polygon = _polygon(shape, MEASURE_MM)
    smallest = np.inf
    for start in range(0, len(order), _BATCH):
        some = order[start : start + _BATCH]
        some = some[boxes[some] < smallest]
        if len(some):
            smallest = min(smallest, float(_distances(polygon, pairs, size, some).min()))
    return float(smallest)


def _advance(polygon: Outline, pairs: Pairs, size: float, gap_mm: float, slack_mm: float, least: float) -> float:
    speed = np.hypot(pairs.rate[:, 0], pairs.rate[:, 1])
    moving = np.flatnonzero(speed > 0.0)
    for _ in range(_ROUNDS):
        if size <= least or not len(moving):
            return max(size, least)
        room = (_box_distances(polygon, pairs, size) - gap_mm)[moving] / speed[moving]
        order = moving[np.argsort(room, kind="stable")]
        room = np.sort(room, kind="stable")
        step = np.inf
        for start in range(0, len(order), _BATCH):
            some = order[start : start + _BATCH][room[start : start + _BATCH] < step]
            if not len(some):
                break
            spare = _distances(polygon, pairs, size, some) - gap_mm
            if float(spare.min()) <= slack_mm:
                return size
            step = min(step, float((spare / speed[some]).min()))
        size -= step
    return size


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
