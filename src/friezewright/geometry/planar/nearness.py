"""How near copies come to one another and to the edge of a region.

Distances are between areas: 0 where two overlap or touch. They are measured on polygons, so each is right to within
twice the tolerance asked. Equal situations are measured once: in a pattern most neighbours stand to each other as
others do.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from friezewright.geometry import affine
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.artwork import Artwork
from friezewright.geometry.outline import BoolArray, IntArray, Outline
from friezewright.geometry.planar.coarse import Discs, discs_of
from friezewright.geometry.planar.polygons import FlatShape, flat_shape, whole_copies
from friezewright.geometry.planar.region import Region, distance_to_edge, edges_of

__all__ = ["clearance", "gap_between", "pair_distances", "smallest_gap", "touching_groups"]

_PAIRS_AT_ONCE = 2048
"""Pairs whose polygons are held in memory together: some 20 MB for a motif of a thousand vertices."""


def pair_distances(
    a: Outline, maps_a: FloatArray, b: Outline, maps_b: FloatArray, *, tolerance_mm: float
) -> FloatArray:
    """Return the smallest distance in mm between copies of two outlines, pair by pair; 0 where they overlap.

    Parameters
    ----------
    a, b
        Outlines.
    maps_a, maps_b
        Where the copies of each stand, both of shape (n, 2, 3), or one of them (1, 2, 3).
    tolerance_mm
        Furthest a polygon may lie from its curve.
    """
    maps_a, maps_b = np.broadcast_arrays(maps_a, maps_b)
    flat_a, flat_b = _sampled(a, maps_a, tolerance_mm), _sampled(b, maps_b, tolerance_mm)
    found = np.zeros(len(maps_a))
    for start in range(0, len(maps_a), _PAIRS_AT_ONCE):
        some = slice(start, start + _PAIRS_AT_ONCE)
        found[some] = shapely.distance(whole_copies(flat_a, maps_a[some]), whole_copies(flat_b, maps_b[some]))
    return found


def smallest_gap(
    artwork: Artwork[Outline], *, tolerance_mm: float, reach_mm: float
) -> tuple[float, tuple[float, float]] | None:
    """Return the smallest distance between two different copies and the place between them, both in mm.

    Parameters
    ----------
    artwork
        The copies.
    tolerance_mm
        Furthest a polygon may lie from its curve.
    reach_mm
        Pairs further apart than this are not looked at.

    Returns
    -------
    tuple or None
        None if no two copies come as near as ``reach_mm``.
    """
    disc = discs_of(artwork)
    return _nearest(artwork, artwork, _near_pairs(disc, disc, reach_mm, same=True), tolerance_mm, reach_mm)


def gap_between(
    a: Artwork[Outline], b: Artwork[Outline], *, tolerance_mm: float, reach_mm: float
) -> tuple[float, tuple[float, float]] | None:
    """Return the smallest distance between a copy of ``a`` and one of ``b``, and the place, as :func:`smallest_gap`."""
    pairs = _near_pairs(discs_of(a), discs_of(b), reach_mm, same=False)
    return _nearest(a, b, pairs, tolerance_mm, reach_mm)


def touching_groups(artwork: Artwork[Outline], *, tolerance_mm: float, slack_mm: float) -> IntArray:
    """Return for each copy which group it hangs together with, shape (n,).

    Groups are numbered by their first copy. Two copies hang together when they come within ``slack_mm``.
    """
    disc = discs_of(artwork)
    situations = _situations(artwork, artwork, _near_pairs(disc, disc, slack_mm, same=True))
    joined = np.zeros(len(situations.first), dtype=bool)
    for which, distance in _measured(situations, tolerance_mm):
        joined[which] = distance <= slack_mm
    linked = joined[situations.of_pair]
    return _components(len(artwork), situations.a[linked], situations.b[linked])


def clearance(artwork: Artwork[Outline], region: Region, *, tolerance_mm: float) -> float:
    """Return the smallest distance in mm from artwork to the outside of a region.

    Negative when a copy leaves the region: by how far it does at most. Infinite without copies.

    Raises
    ------
    ValueError
        If there are copies but the region is empty.
    """
    if not len(artwork):
        return float("inf")
    if region.is_empty:
        raise ValueError("an empty region has no inside to keep clear of its edge")
    discs = discs_of(artwork)
    to_edge = distance_to_edge(region, discs.centre)
    inside = shapely.contains_xy(region.shape, discs.centre[:, 0], discs.centre[:, 1])
    bound = np.where(inside, to_edge, -to_edge) - discs.radius
    tree = shapely.STRtree(shapely.linestrings(edges_of(region)))
    sampled = _sampled_shapes(artwork, tolerance_mm)
    smallest = float("inf")
    order = np.argsort(bound, kind="stable")
    # The copies that may come nearest first; once a bound lies above what was found, the rest need no look.
    for start in range(0, len(order), 256):
        some = order[start : start + 256]
        some = some[bound[some] < smallest]
        if not len(some):
            break
        for index in np.unique(artwork.placements.shape[some]):
            of_shape = some[artwork.placements.shape[some] == index]
            copies = whole_copies(sampled[int(index)], artwork.placements.matrix[of_shape])
            smallest = min(smallest, float(_clearances(copies, region, tree).min()))
    return smallest


def _clearances(copies: Any, region: Region, tree: shapely.STRtree) -> FloatArray:
    held = shapely.covers(region.shape, copies)
    result = np.zeros(len(copies))
    if held.any():
        _, distance = tree.query_nearest(copies[held], all_matches=False, return_distance=True)
        result[held] = distance
    for i in np.flatnonzero(~held):
        corners = shapely.get_coordinates(copies[i])
        outside = corners[~shapely.intersects_xy(region.shape, corners[:, 0], corners[:, 1])]
        if len(outside):
            result[i] = -float(shapely.distance(region.shape, shapely.points(outside)).max())
        # Corners all inside, yet not covered: a gap of the region reaches into the copy; it stays 0.
    return result


def _near_pairs(a: Discs, b: Discs, reach_mm: float, *, same: bool) -> tuple[IntArray, IntArray]:
    """Return the pairs whose discs come within reach; each pair once, and no copy with itself, when ``same``."""
    if not len(a.radius) or not len(b.radius):
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    low, high = a.centre - a.radius[:, None] - reach_mm, a.centre + a.radius[:, None] + reach_mm
    tree = shapely.STRtree(shapely.box(b.centre[:, 0] - b.radius, b.centre[:, 1] - b.radius,
                                       b.centre[:, 0] + b.radius, b.centre[:, 1] + b.radius))  # fmt: skip
    i, j = tree.query(shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1]))
    kept = np.hypot(*(a.centre[i] - b.centre[j]).T) <= a.radius[i] + b.radius[j] + reach_mm
    if same:
        kept &= i < j
    i, j = i[kept], j[kept]
    order = np.lexsort((j, i))
    return np.asarray(i[order], dtype=np.int64), np.asarray(j[order], dtype=np.int64)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Situations:
    """Pairs of copies, and the different ways in which they stand to each other."""

    shapes_a: tuple[Outline, ...]
    shapes_b: tuple[Outline, ...]
    a: IntArray
    b: IntArray
    of_pair: IntArray
    first: IntArray
    shape_a: IntArray
    shape_b: IntArray
    maps_a: FloatArray
    maps_b: FloatArray


def _situations(a: Artwork[Outline], b: Artwork[Outline], pairs: tuple[IntArray, IntArray]) -> _Situations:
    i, j = pairs
    place_a, place_b = a.placements, b.placements
    maps_a, maps_b = place_a.matrix[i], place_b.matrix[j]
    shape_a, shape_b = place_a.shape[i], place_b.shape[j]
    relative = affine.compose(affine.inverse(maps_a), maps_b).reshape(len(i), 6)
    # Distances depend on the relative map and on how the first copy is scaled and sheared, not on how it is turned.
    p, q, r, s = (maps_a[:, row, column] for row in (0, 1) for column in (0, 1))
    metric = np.stack([p * p + r * r, p * q + r * s, q * q + s * s], axis=1)
    key = np.concatenate(
        [np.round(np.concatenate([relative, metric], axis=1), 8), shape_a[:, None], shape_b[:, None]], 1
    )
    # Adding 0 turns -0 into 0, which np.unique would keep apart on some versions.
    _, first, of_pair = np.unique(key + 0.0, axis=0, return_index=True, return_inverse=True)
    order = np.argsort(first, kind="stable")
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    first = first[order]
    return _Situations(
        shapes_a=a.shapes,
        shapes_b=b.shapes,
        a=i,
        b=j,
        of_pair=rank[of_pair.reshape(-1)],
        first=first,
        shape_a=shape_a[first],
        shape_b=shape_b[first],
        maps_a=maps_a[first],
        maps_b=maps_b[first],
    )


def _measured(situations: _Situations, tolerance_mm: float) -> list[tuple[IntArray, FloatArray]]:
    """Return the distance of every situation, in groups of equal shapes."""
    groups, of = np.unique(np.stack([situations.shape_a, situations.shape_b]), axis=1, return_inverse=True)
    found = []
    for group, (shape_a, shape_b) in enumerate(groups.T):
        which = np.flatnonzero(of.reshape(-1) == group)
        found.append(
            (
                which,
                pair_distances(
                    situations.shapes_a[int(shape_a)],
                    situations.maps_a[which],
                    situations.shapes_b[int(shape_b)],
                    situations.maps_b[which],
                    tolerance_mm=tolerance_mm,
                ),
            )
        )
    return found


def _nearest(
    a: Artwork[Outline],
    b: Artwork[Outline],
    pairs: tuple[IntArray, IntArray],
    tolerance_mm: float,
    reach_mm: float,
) -> tuple[float, tuple[float, float]] | None:
    situations = _situations(a, b, pairs)
    distance = np.full(len(situations.first), np.inf)
    for which, found in _measured(situations, tolerance_mm):
        distance[which] = found
    if not len(distance) or float(distance.min()) > reach_mm:
        return None
    # Equal within rounding: the first pair speaks for all, so that the place does not depend on the last digit.
    best = int(np.flatnonzero(distance <= distance.min() + 1e-9)[0])
    one_a = whole_copies(_sampled(a.shapes[situations.shape_a[best]], situations.maps_a[[best]], tolerance_mm),
                         situations.maps_a[[best]])[0]  # fmt: skip
    one_b = whole_copies(_sampled(b.shapes[situations.shape_b[best]], situations.maps_b[[best]], tolerance_mm),
                         situations.maps_b[[best]])[0]  # fmt: skip
    x, y = shapely.get_coordinates(shapely.shortest_line(one_a, one_b)).mean(axis=0)
    return float(distance[best]), (float(x), float(y))


def _sampled(shape: Outline, maps: FloatArray, tolerance_mm: float) -> FlatShape:
    """Return a shape sampled finely enough for its largest copy."""
    stretch = float(affine.largest_stretch(maps).max()) if len(maps) else 1.0
    return flat_shape(shape, tolerance_mm=tolerance_mm / max(stretch, 1e-12))


def _sampled_shapes(artwork: Artwork[Outline], tolerance_mm: float) -> list[FlatShape]:
    index, maps = artwork.placements.shape, artwork.placements.matrix
    return [_sampled(shape, maps[index == i], tolerance_mm) for i, shape in enumerate(artwork.shapes)]


def _components(count: int, a: IntArray, b: IntArray) -> IntArray:
    """Return the connected component of each of ``count`` nodes linked by edges a-b, numbered by first appearance."""
    label = np.arange(count)
    changed: BoolArray = np.ones(1, dtype=bool)
    # Each round hands the smaller label over every link and then follows labels to their own: rounds grow with the
    # logarithm of the longest chain.
    while changed.any():
        lower = label.copy()
        np.minimum.at(lower, a, label[b])
        np.minimum.at(lower, b, label[a])
        # The label's own owner is pulled down too; without this a long chain would move one link a round.
        np.minimum.at(lower, label, lower.copy())
        lower = lower[lower]
        changed = lower != label
        label = lower
    return np.asarray(np.unique(label, return_inverse=True)[1].reshape(-1), dtype=np.int64)
