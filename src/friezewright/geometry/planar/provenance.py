"""Telling, for every edge of what an overlay hands back, which curve it was cut from and between which places."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from friezewright.geometry import affine, cubic
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import BoolArray, IntArray
from friezewright.geometry.planar.polygons import FlatShape
from friezewright.geometry.planar.restore import RingEdges, mapped
from friezewright.geometry.planar.zone_edge import EDGE_MARK, ZoneEdge
from friezewright.geometry.tolerance import COINCIDENT_MM

__all__ = ["ON_MM", "ring_edges"]

ON_MM = 2.0 * COINCIDENT_MM
"""How near a point must lie to a chord to lie on it: an overlay on a grid moves it by half a step each way."""


def ring_edges(
    rings: Any, copy_of_ring: IntArray, flat: FlatShape, maps: FloatArray, edge: ZoneEdge, *, search_all: bool
) -> RingEdges:
    """Return the edges of rings with the places they were cut from: on the zone's tracks, or the shape's after them."""
    points, ring = shapely.get_coordinates(rings, include_z=True, return_index=True)
    ring = np.asarray(ring, dtype=np.int64)
    # A sampled ring ends with its first point under another parameter, which makes the library close it once more; of
    # points that coincide one is kept.
    keep = np.append((ring[1:] == ring[:-1]) & np.any(points[1:, :2] != points[:-1, :2], axis=1), False)
    xy, mark, ring = points[keep, :2], points[keep, 2], ring[keep]
    first = np.flatnonzero(np.append(True, ring[1:] != ring[:-1]))
    after = np.arange(len(ring)) + 1
    after[np.append(first[1:], len(ring)) - 1] = first
    copy = copy_of_ring[ring]
    loop, place = _places(xy, mark, after, copy, flat, maps, search_all=search_all)
    way, on_motif = _along_motif(xy, mark, after, copy, loop, place, flat, maps)
    track = np.where(on_motif, len(edge.count) + loop, -1)
    frame = np.where(on_motif, 1 + copy, 0)
    begin, end = np.where(on_motif, place, 0.0), np.where(on_motif, place + way, 0.0)
    rest = np.flatnonzero(~on_motif)
    chord, from_start = _zone_chords(xy, rest, after[rest], edge)
    found = chord >= 0
    which, chord, from_start = rest[found], chord[found], from_start[found]
    track[which] = edge.track[chord]
    begin[which] = np.where(from_start == 1, edge.begin[chord], np.where(from_start == -1, edge.end[chord], 0.0))
    end[which] = np.where(from_start == 1, edge.end[chord], np.where(from_start == -1, edge.begin[chord], 0.0))
    partly = from_start == 0
    begin[which[partly]] = edge.place_on(chord[partly], xy[which[partly]])
    end[which[partly]] = edge.place_on(chord[partly], xy[after[which[partly]]])
    return RingEdges(ring=ring, start=xy, track=track, frame=frame, begin=begin, end=end, is_edge=~on_motif)


def _places(
    xy: FloatArray,
    mark: FloatArray,
    after: IntArray,
    copy: IntArray,
    flat: FlatShape,
    maps: FloatArray,
    *,
    search_all: bool,
) -> tuple[IntArray, FloatArray]:
    """Return the loop of the shape each vertex lies on, or -1, and its place there."""
    of_motif, of_zone = mark > -0.5, mark < -EDGE_MARK + 0.25
    parameter = np.where(of_motif, mark, 2.0 * mark + EDGE_MARK)
    starts = flat.outline.loop_start
    base = starts[:-1] + np.arange(len(starts) - 1)
    loop = np.clip(np.searchsorted(base, parameter + 1e-7, side="right") - 1, 0, len(base) - 1)
    place = np.clip(parameter - base[loop], 0.0, np.diff(starts)[loop])
    loop[of_zone] = -1
    # What the overlay interpolated is believed only where the place and the point agree.
    doubtful = np.flatnonzero(~of_zone if search_all else ~of_zone & ~of_motif)
    there = _on_chords(flat, maps, copy[doubtful], loop[doubtful], place[doubtful])
    lost = doubtful[np.hypot(*(there - xy[doubtful]).T) > ON_MM]
    loop[lost] = -1
    # A zone's vertex may lie on the motif where it begins or ends a run along the zone.
    zone_after = of_zone[after]
    ends = np.zeros(len(xy), dtype=bool)
    ends |= of_zone & ~zone_after
    ends[after[zone_after & ~of_zone]] = True
    search = np.union1d(lost, np.flatnonzero(ends))
    if len(search):
        found, found_loop, found_place = _searched(flat, maps, copy[search], xy[search])
        loop[search[found]], place[search[found]] = found_loop, found_place
    return loop, place


def _on_chords(flat: FlatShape, maps: FloatArray, copy: IntArray, loop: IntArray, place: FloatArray) -> FloatArray:
    """Return the points of the sampled copies at places on their loops, shape (n, 2)."""
    starts = flat.outline.loop_start
    count = np.diff(starts)[loop]
    wrapped = np.mod(place, count)
    index = np.minimum(np.floor(wrapped).astype(np.int64), count - 1)
    segment = starts[loop] + index
    chords = flat.chords[segment]
    step = (wrapped - index) * chords
    low = np.minimum(np.floor(step), chords - 1)
    curve = flat.outline.segments[segment]
    p, q = cubic.evaluate(curve, low / chords), cubic.evaluate(curve, (low + 1.0) / chords)
    point = p + (step - low)[:, None] * (q - p)
    rows = maps[copy]
    return np.stack([rows[:, r, 0] * point[:, 0] + rows[:, r, 1] * point[:, 1] + rows[:, r, 2] for r in (0, 1)], axis=1)


def _searched(
    flat: FlatShape, maps: FloatArray, copy: IntArray, xy: FloatArray
) -> tuple[IntArray, IntArray, FloatArray]:
    """Return which points lie on their copy's chords, and on which loop and where, by looking for the nearest chord."""
    own = mapped(affine.inverse(maps)[copy], xy)
    first = np.flatnonzero(flat.loop[1:] == flat.loop[:-1])
    p, q = flat.points[first], flat.points[first + 1]
    within = ON_MM / float(affine.largest_stretch(maps).min())
    found, chord = shapely.STRtree(shapely.linestrings(np.stack([p, q], axis=1))).query_nearest(
        shapely.points(own), all_matches=False, max_distance=within
    )
    along = q[chord] - p[chord]
    squared = np.sum(along * along, axis=1)
    share = np.sum((own[found] - p[chord]) * along, axis=1) / np.where(squared > 0.0, squared, 1.0)
    start = flat.parameter[first[chord]]
    parameter = start + np.clip(share, 0.0, 1.0) * (flat.parameter[first[chord] + 1] - start)
    loop = flat.loop[first[chord]]
    return found, loop, parameter - flat.outline.loop_start[:-1][loop] - loop


def _along_motif(
    xy: FloatArray,
    mark: FloatArray,
    after: IntArray,
    copy: IntArray,
    loop: IntArray,
    place: FloatArray,
    flat: FlatShape,
    maps: FloatArray,
) -> tuple[FloatArray, BoolArray]:
    """Return how far along its loop each edge runs, and which edges lie on a chord of the motif at all."""
    sizes = np.diff(flat.outline.loop_start)
    count = np.where(loop >= 0, sizes[loop], 1)
    way = np.mod(place[after] - place + 0.5 * count, count) - 0.5 * count
    on_motif = (loop >= 0) & (loop == loop[after]) & (np.abs(way) < 1.0 + 1e-6) & (np.abs(way) > 1e-12)
    which = np.flatnonzero(on_motif)
    # In a loop of two segments half the loop ahead is half the loop back; the points between decide.
    doubtful = np.abs(np.abs(way[which]) - 0.5 * count[which]) < 1e-6
    both_sampled = (mark[which] > -0.5) & (mark[after[which]] > -0.5) & ~doubtful
    middle = place[which] + 0.5 * way[which]
    segment = flat.outline.loop_start[:-1][loop[which]] + np.minimum(
        np.floor(np.mod(middle, count[which])).astype(np.int64), count[which] - 1
    )
    one_chord = np.abs(way[which]) * flat.chords[segment] <= 1.0 + 1e-6
    on_motif[which[~one_chord]] = False
    asked = np.flatnonzero(one_chord & ~both_sampled)
    ask = which[asked]
    halfway = 0.5 * (xy[ask] + xy[after[ask]])
    there = _on_chords(flat, maps, copy[ask], loop[ask], middle[asked])
    agrees = np.hypot(*(there - halfway).T) <= ON_MM
    other = ~agrees & doubtful[asked]
    if other.any():
        back = ask[other]
        there = _on_chords(flat, maps, copy[back], loop[back], place[back] - 0.5 * way[back])
        turned = np.hypot(*(there - halfway[other]).T) <= ON_MM
        way[back[turned]] *= -1.0
        agrees[np.flatnonzero(other)[turned]] = True
    on_motif[ask[~agrees]] = False
    return way, on_motif


def _zone_chords(xy: FloatArray, start: IntArray, end: IntArray, edge: ZoneEdge) -> tuple[IntArray, IntArray]:
    """Return which edge of the zone each ring edge lies on, or -1, and how: 1 along all of it, -1 back, 0 on a part."""
    a, b = edge.vertex_at(xy[start]), edge.vertex_at(xy[end])
    known = (a >= 0) & (b >= 0)
    ahead = known & (edge.following[a] == b)
    back = known & (edge.following[b] == a)
    chord = np.where(ahead, a, np.where(back, b, -1))
    rest = np.flatnonzero(~ahead & ~back)
    chord[rest] = edge.chord_near(0.5 * (xy[start[rest]] + xy[end[rest]]), within_mm=ON_MM)
    return chord, np.where(ahead, 1, np.where(back, -1, 0))
