"""Curves back from the polygons of an overlay.

Terms. A *track* is a closed loop of segments that polygons were sampled from: a loop of a motif, or one of a zone's
edge. A *place* on a track is one number: the segment's index within the track plus the parameter on it. An overlay
hands back rings; each straight *edge* of a ring was cut from one chord of one track and knows between which places it
lies. Edges that follow each other on a track make a *run*, which is drawn as the track's own segments, cut exactly.
Where two runs meet, their curves are made to meet: the places move from the chords' crossing to the curves' by Newton's
method.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from friezewright.geometry import cubic
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import BoolArray, IntArray

__all__ = ["CutRuns", "Restored", "RingEdges", "Tracks", "cut_runs", "mapped", "restored"]

_MEET_MM = 1e-7
"""Curves are taken to meet when their points come this near: a hundredth of what can be written."""

_FURTHEST_MM = 0.25
"""Furthest a meeting point may move from the chords' crossing; further means that it found another crossing."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Tracks:
    """Loops of segments, put end to end.

    Parameters
    ----------
    segments
        Control points, shape (s, 4, 2), each track in its own frame.
    is_line
        Which are straight, shape (s,).
    origin
        A number to hand back for each segment, shape (s,); -1 for zone edges.
    first, count
        First segment and number of segments of each track, shape (t,).
    """

    segments: FloatArray
    is_line: BoolArray
    origin: IntArray
    first: IntArray
    count: IntArray

    def at(self, track: IntArray, place: FloatArray) -> tuple[IntArray, FloatArray]:
        """Return the segment and the parameter of places on tracks, wrapping round."""
        count = self.count[track]
        wrapped = np.mod(place, count)
        index = np.minimum(np.floor(wrapped).astype(np.int64), count - 1)
        return self.first[track] + index, wrapped - index


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class RingEdges:
    """The straight edges of rings, one ring after another.

    Parameters
    ----------
    ring
        Ring of each edge, rising from 0 without gaps, shape (e,).
    start
        Where each edge starts, shape (e, 2), mm; it ends where the next one of its ring starts.
    track
        Track each edge lies on, or -1 if none is known, shape (e,).
    frame
        Which affine map carries that track into place, shape (e,).
    begin, end
        Places between which it lies, shape (e,); ``end`` may exceed the track's count or be negative, so that their
        difference is the way along the edge.
    is_edge
        Which run along a zone's edge, shape (e,).
    """

    ring: IntArray
    start: FloatArray
    track: IntArray
    frame: IntArray
    begin: FloatArray
    end: FloatArray
    is_edge: BoolArray

    def taken(self, order: IntArray) -> RingEdges:
        """Return the edges in another order."""
        return RingEdges(
            ring=self.ring[order],
            start=self.start[order],
            track=self.track[order],
            frame=self.frame[order],
            begin=self.begin[order],
            end=self.end[order],
            is_edge=self.is_edge[order],
        )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Restored:
    """Segments of rings, one ring after another, shape (n, ...), and which rings fell back to polylines, (r,)."""

    segments: FloatArray
    is_line: BoolArray
    ring: IntArray
    origin: IntArray
    is_edge: BoolArray
    fell_back: BoolArray


@dataclass(slots=True, eq=False, kw_only=True)
class _Runs:
    """Runs in ring order; ``begin`` and ``end`` move while their curves are made to meet."""

    ring: IntArray
    track: IntArray
    frame: IntArray
    begin: FloatArray
    end: FloatArray
    is_edge: BoolArray
    start: FloatArray
    following: IntArray
    whole: BoolArray


def restored(tracks: Tracks, frames: FloatArray, edges: RingEdges, *, sampled_mm: float) -> Restored:
    """Return the rings with curves in the place of chords.

    Every ring is checked: it must be closed, and its exact area (Green's theorem) must agree with that of its polygon
    to within what sampling can explain. A ring that fails is handed back as its polygon.

    Parameters
    ----------
    tracks
        What the rings were cut from.
    frames
        Affine maps (m, 2, 3).
    edges
        The rings.
    sampled_mm
        Furthest the polygons may lie from the curves.
    """
    if not len(edges.ring):
        return _polylines(tracks, edges, np.zeros(0, dtype=bool))
    edges, starts_run = _from_a_break(tracks, edges)
    runs = _runs(tracks, edges, starts_run)
    meeting = _meetings(tracks, frames, runs)
    curves = _drawn(tracks, frames, runs, meeting)
    failed = _failed(curves, edges, sampled_mm)
    if not failed.any():
        return curves
    kept = ~failed[curves.ring]
    lines = _polylines(tracks, edges, failed)
    order = np.argsort(np.concatenate([curves.ring[kept], lines.ring]), kind="stable")
    return Restored(
        segments=np.concatenate([curves.segments[kept], lines.segments])[order],
        is_line=np.concatenate([curves.is_line[kept], lines.is_line])[order],
        ring=np.concatenate([curves.ring[kept], lines.ring])[order],
        origin=np.concatenate([curves.origin[kept], lines.origin])[order],
        is_edge=np.concatenate([curves.is_edge[kept], lines.is_edge])[order],
        fell_back=failed,
    )


def _neighbours(ring: IntArray) -> tuple[IntArray, IntArray, IntArray]:
    """Return the first index of each ring, and for every item the one before and the one after it in its ring."""
    first = np.flatnonzero(np.append(True, ring[1:] != ring[:-1]))
    last = np.append(first[1:], len(ring)) - 1
    before, after = np.arange(len(ring)) - 1, np.arange(len(ring)) + 1
    before[first], after[last] = last, first
    return first, before, after


def _from_a_break(tracks: Tracks, edges: RingEdges) -> tuple[RingEdges, BoolArray]:
    """Return the edges with each ring turned so that it starts where a run does, and which edges start one."""
    first, before, _ = _neighbours(edges.ring)
    way = np.sign(edges.end - edges.begin)
    count = np.where(edges.track >= 0, tracks.count[edges.track], 1)
    jump = np.abs(np.mod(edges.begin - edges.end[before] + 0.5 * count, count) - 0.5 * count)
    begins = (
        (edges.track < 0)
        | (edges.track != edges.track[before])
        | (edges.frame != edges.frame[before])
        | (way != way[before])
        | (jump > 1e-6)
    )
    length = np.diff(np.append(first, len(begins)))
    position = np.arange(len(begins)) - np.repeat(first, length)
    at_break = np.where(begins, position, np.iinfo(np.int64).max)
    offset = np.minimum.reduceat(at_break, first)
    offset = np.where(offset == np.iinfo(np.int64).max, 0, offset)
    order = np.repeat(first, length) + np.mod(position + np.repeat(offset, length), np.repeat(length, length))
    begins = begins[order]
    begins[first] = True
    return edges.taken(order), begins


def _runs(tracks: Tracks, edges: RingEdges, begins: BoolArray) -> _Runs:
    first = np.flatnonzero(begins)
    way = np.add.reduceat(edges.end - edges.begin, first)
    ring, track, begin = edges.ring[first], edges.track[first], edges.begin[first]
    alone = np.bincount(ring, minlength=int(ring[-1]) + 1)[ring] == 1
    count = np.where(track >= 0, tracks.count[track], 1)
    whole = alone & (track >= 0) & (np.abs(np.abs(way) - count) < 1e-6)
    # A whole loop is drawn from the start of one of its segments, so that none is cut in two.
    begin = np.where(whole, np.round(begin), begin)
    way = np.where(whole, np.sign(way) * count, way)
    _, _, after = _neighbours(ring)
    return _Runs(
        ring=ring,
        track=track,
        frame=edges.frame[first],
        begin=begin,
        end=begin + way,
        is_edge=edges.is_edge[first],
        start=edges.start[first],
        following=after,
        whole=whole,
    )


def _point(tracks: Tracks, frames: FloatArray, runs: _Runs, which: IntArray, place: FloatArray) -> FloatArray:
    segment, t = tracks.at(runs.track[which], place)
    return mapped(frames[runs.frame[which]], cubic.evaluate(tracks.segments[segment], t))


def mapped(maps: FloatArray, points: FloatArray) -> FloatArray:
    """Return point i (or control points i) under map i."""
    shaped = maps.reshape(len(maps), *(1,) * (points.ndim - 2), 2, 3)
    x, y = points[..., 0], points[..., 1]
    return np.stack([shaped[..., r, 0] * x + shaped[..., r, 1] * y + shaped[..., r, 2] for r in (0, 1)], axis=-1)


def _slope(tracks: Tracks, frames: FloatArray, runs: _Runs, which: IntArray, place: FloatArray) -> FloatArray:
    segment, t = tracks.at(runs.track[which], place)
    d = cubic.derivative(tracks.segments[segment], t)
    maps = frames[runs.frame[which]]
    return np.stack([maps[:, r, 0] * d[:, 0] + maps[:, r, 1] * d[:, 1] for r in (0, 1)], axis=-1)


def _meetings(tracks: Tracks, frames: FloatArray, runs: _Runs) -> FloatArray:
    """Move the ends of runs to where their curves meet; return the point at which each run starts, shape (r, 2)."""
    meeting = runs.start.copy()
    ahead = np.arange(len(runs.ring))
    behind = np.empty_like(ahead)
    behind[runs.following] = ahead
    known = runs.track >= 0
    both = np.flatnonzero(known & known[behind] & (behind != ahead))
    a, b = behind[both], both
    v, w = runs.end[a].copy(), runs.begin[b].copy()
    moved_v, moved_w = v.copy(), w.copy()
    active = np.arange(len(both))
    for _ in range(10):
        if not len(active):
            break
        p = _point(tracks, frames, runs, a[active], moved_v[active])
        q = _point(tracks, frames, runs, b[active], moved_w[active])
        miss = q - p
        # A thousandth of what counts as met, and a hundred times the rounding at 5 m.
        open_ = np.hypot(*miss.T) > 1e-3 * _MEET_MM
        active, miss = active[open_], miss[open_]
        da = _slope(tracks, frames, runs, a[active], moved_v[active])
        db = _slope(tracks, frames, runs, b[active], moved_w[active])
        det = da[:, 0] * db[:, 1] - da[:, 1] * db[:, 0]
        # Nearly parallel curves have no crossing to be found this way.
        steep = np.abs(det) > 1e-9 * np.hypot(*da.T) * np.hypot(*db.T)
        active, miss, da, db, det = active[steep], miss[steep], da[steep], db[steep], det[steep]
        step_v = (miss[:, 0] * db[:, 1] - miss[:, 1] * db[:, 0]) / det
        step_w = (miss[:, 0] * da[:, 1] - miss[:, 1] * da[:, 0]) / det
        moved_v[active] += np.clip(step_v, -0.25, 0.25)
        moved_w[active] += np.clip(step_w, -0.25, 0.25)
    p = _point(tracks, frames, runs, a, moved_v)
    q = _point(tracks, frames, runs, b, moved_w)
    origin = runs.start[b]
    met = (np.hypot(*(p - q).T) < _MEET_MM) & (np.hypot(*(p - origin).T) < _FURTHEST_MM)
    v, w = np.where(met, moved_v, v), np.where(met, moved_w, w)
    runs.end[a], runs.begin[b] = v, w
    # Where the curves would not meet, the motif's stays and the zone's edge comes to it.
    meeting[b] = np.where(
        runs.is_edge[a][:, None],
        _point(tracks, frames, runs, b, w),
        _point(tracks, frames, runs, a, v),
    )
    lone = np.flatnonzero(known & ~known[behind])
    meeting[lone] = _point(tracks, frames, runs, lone, runs.begin[lone])
    lone = np.flatnonzero(~known & known[behind])
    meeting[lone] = _point(tracks, frames, runs, behind[lone], runs.end[behind[lone]])
    return meeting


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class CutRuns:
    """Segments of runs, run after run: ``run`` and ``source`` name the run and the track's segment of each, (n,)."""

    segments: FloatArray
    is_line: BoolArray
    run: IntArray
    source: IntArray
    first: BoolArray
    last: BoolArray


def cut_runs(tracks: Tracks, maps: FloatArray, track: IntArray, begin: FloatArray, end: FloatArray) -> CutRuns:
    """Return the parts of tracks between two places each, exactly; runs shorter than 1e-9 of a segment leave nothing.

    Parameters
    ----------
    tracks
        The tracks.
    maps
        Affine map of each run, shape (r, 2, 3).
    track, begin, end
        Track of each run and its places, shape (r,); ``end`` below ``begin`` runs backwards.
    """
    way = end - begin
    kept = np.flatnonzero(np.abs(way) > 1e-9)
    low, high = np.minimum(begin, end)[kept], np.maximum(begin, end)[kept]
    first, last = np.floor(low + 1e-9), np.ceil(high - 1e-9)
    number = np.maximum(last - first, 1.0).astype(np.int64)
    run = np.repeat(np.arange(len(kept)), number)
    step = np.arange(len(run)) - np.repeat(np.cumsum(number) - number, number)
    forward = way[kept][run] > 0.0
    piece = np.where(forward, first[run] + step, first[run] + number[run] - 1 - step)
    near, far = np.clip(low[run] - piece, 0.0, 1.0), np.clip(high[run] - piece, 0.0, 1.0)
    on = track[kept][run]
    source = tracks.first[on] + np.mod(piece.astype(np.int64), tracks.count[on])
    cut = cubic.restrict(tracks.segments[source], np.where(forward, near, far), np.where(forward, far, near))
    # An uncut segment is taken as it is: blossoming would change its last bits.
    entire = (near == 0.0) & (far == 1.0)
    cut[entire & forward] = tracks.segments[source[entire & forward]]
    cut[entire & ~forward] = tracks.segments[source[entire & ~forward]][:, ::-1]
    return CutRuns(
        segments=mapped(maps[kept][run], cut),
        is_line=tracks.is_line[source],
        run=kept[run],
        source=source,
        first=step == 0,
        last=step == number[run] - 1,
    )


def _drawn(tracks: Tracks, frames: FloatArray, runs: _Runs, meeting: FloatArray) -> Restored:
    """Return the segments of all runs; strays become lines."""
    known = np.flatnonzero(runs.track >= 0)
    cut = cut_runs(tracks, frames[runs.frame[known]], runs.track[known], runs.begin[known], runs.end[known])
    of_run = known[cut.run]
    free = ~runs.whole[of_run]
    curves = cut.segments
    for chosen, end, handle, target in (
        (cut.first & free, 0, 1, meeting[of_run]),
        (cut.last & free, 3, 2, meeting[runs.following[of_run]]),
    ):
        shift = target[chosen] - curves[chosen, end]
        curves[chosen, end] = target[chosen]
        curves[chosen, handle] += shift
    stray = np.flatnonzero(runs.track < 0)
    segments = np.concatenate([curves, cubic.line(meeting[stray], meeting[runs.following[stray]])])
    is_line = np.concatenate([cut.is_line, np.ones(len(stray), dtype=bool)])
    segments[is_line] = cubic.line(segments[is_line, 0], segments[is_line, 3])
    owner = np.concatenate([of_run, stray])
    order = np.argsort(owner, kind="stable")
    return Restored(
        segments=segments[order],
        is_line=is_line[order],
        ring=runs.ring[owner][order],
        origin=np.concatenate([tracks.origin[cut.source], np.full(len(stray), -1)])[order],
        is_edge=runs.is_edge[owner][order],
        fell_back=np.zeros(int(runs.ring[-1]) + 1, dtype=bool),
    )


def _failed(curves: Restored, edges: RingEdges, sampled_mm: float) -> BoolArray:
    """Return which rings are open, or enclose another area than their polygons do; close the rest exactly."""
    count = int(edges.ring[-1]) + 1
    failed = np.bincount(curves.ring, minlength=count) == 0
    if len(curves.ring):
        _, _, after = _neighbours(curves.ring)
        gap = np.hypot(*(curves.segments[after, 0] - curves.segments[:, 3]).T)
        failed[curves.ring[gap > 1e-6]] = True
        curves.segments[:, 3] = curves.segments[after, 0]
    _, _, after = _neighbours(edges.ring)
    home = edges.start[np.searchsorted(edges.ring, np.arange(count))]
    p, q = edges.start - home[edges.ring], edges.start[after] - home[edges.ring]
    polygon = np.bincount(edges.ring, 0.5 * (p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]), count)
    perimeter = np.bincount(edges.ring, np.hypot(*(q - p).T), count)
    exact = np.bincount(curves.ring, _swept(curves.segments - home[curves.ring][:, None]), count)
    # Both the motif's chords and the zone's lie within the sampling of their curves.
    return np.asarray(failed | (np.abs(exact - polygon) > 2.0 * sampled_mm * perimeter + 1e-9))


def _swept(segments: FloatArray) -> FloatArray:
    """Return the area each cubic sweeps about the origin, shape (n,)."""
    total = np.zeros(len(segments))
    pairs = ((0, 1, 6.0), (0, 2, 3.0), (0, 3, 1.0), (1, 2, 3.0), (1, 3, 3.0), (2, 3, 6.0))
    x, y = np.ascontiguousarray(segments.transpose(2, 1, 0))
    for i, j, weight in pairs:
        total += weight * (x[i] * y[j] - y[i] * x[j])
    return total / 20.0


def _polylines(tracks: Tracks, edges: RingEdges, chosen: BoolArray) -> Restored:
    """Return some rings as the polygons they are."""
    if not len(edges.ring):
        none = np.zeros(0, dtype=np.int64)
        return Restored(
            segments=np.zeros((0, 4, 2)),
            is_line=np.zeros(0, dtype=bool),
            ring=none,
            origin=none,
            is_edge=np.zeros(0, dtype=bool),
            fell_back=chosen,
        )
    _, _, after = _neighbours(edges.ring)
    which = np.flatnonzero(chosen[edges.ring])
    segment, _ = tracks.at(np.maximum(edges.track[which], 0), 0.5 * (edges.begin[which] + edges.end[which]))
    return Restored(
        segments=cubic.line(edges.start[which], edges.start[after[which]]),
        is_line=np.ones(len(which), dtype=bool),
        ring=edges.ring[which],
        origin=np.where(edges.track[which] >= 0, tracks.origin[segment], -1),
        is_edge=edges.is_edge[which],
        fell_back=chosen,
    )
