"""Copies that touch or overlap: fused into one outline, or drawn as the contour of what they cover together.

Both work on the groups of copies that touch; copies that stand alone stay matrices. Every straight edge that an overlay
hands back lies on a chord of some copy; the chord tells between which places of which curve.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from friezewright.geometry import affine
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.artwork import Artwork, Placements
from friezewright.geometry.outline import IntArray, Outline
from friezewright.geometry.planar.nearness import touching_groups
from friezewright.geometry.planar.polygons import FlatShape, areas_only, flat_shape, overlaid, whole_copies
from friezewright.geometry.planar.provenance import ON_MM
from friezewright.geometry.planar.restore import RingEdges, Tracks, cut_runs, restored
from friezewright.geometry.strokes import Strokes, contour
from friezewright.geometry.tolerance import COINCIDENT_MM, SNAP_MM, ZONE_FLATTEN_MM

__all__ = ["silhouettes", "unite"]


def unite(artwork: Artwork[Outline], *, tolerance_mm: float = ZONE_FLATTEN_MM) -> Artwork[Outline]:
    """Return artwork in which copies that touch or overlap are fused into one outline a group.

    Copies that touch nothing come first, in their order and unchanged; after them each group, as one shape placed once
    that has the member of its first copy. Curves are kept and meet exactly where copies cross.

    Parameters
    ----------
    artwork
        The copies.
    tolerance_mm
        How finely they are sampled to find where they cross.

    Raises
    ------
    GeometryError
        If a group cannot be put together; the message names the place.
    """
    label = touching_groups(artwork, tolerance_mm=tolerance_mm, slack_mm=COINCIDENT_MM)
    alone = np.bincount(label, minlength=1)[label] == 1
    if alone.all():
        return artwork
    grouped = np.flatnonzero(~alone)
    groups, group = np.unique(label[grouped], return_inverse=True)
    chords = _chords(artwork, grouped, tolerance_mm)
    fused = [areas_only(overlaid(shapely.union_all, chords.polygons[group == i]))[0] for i in range(len(groups))]
    parts = np.concatenate([shapely.orient_polygons(areas) for areas in fused])
    of_part = np.repeat(np.arange(len(groups)), [len(areas) for areas in fused])
    rings, part = shapely.get_rings(parts, return_index=True)
    points, ring = shapely.get_coordinates(rings, return_index=True)
    keep = np.append((ring[1:] == ring[:-1]) & np.any(points[1:] != points[:-1], axis=1), False)
    xy, ring = points[keep], np.asarray(ring[keep], dtype=np.int64)
    end = points[1:][keep[:-1]]
    found = chords.found(xy, end)
    edges = RingEdges(
        ring=ring,
        start=xy,
        track=np.where(found >= 0, chords.track[found], -1),
        frame=np.where(found >= 0, chords.frame[found], 0),
        begin=np.where(found >= 0, chords.place_on(found, xy), 0.0),
        end=np.where(found >= 0, chords.place_on(found, end), 0.0),
        is_edge=np.where(found >= 0, chords.is_edge[chords.segment_at(found)], False),
    )
    drawn = restored(chords.tracks, chords.maps, edges, sampled_mm=tolerance_mm)
    of_segment = of_part[part][drawn.ring]
    shapes = []
    for i in range(len(groups)):
        mine = np.flatnonzero(of_segment == i)
        where = drawn.ring[mine]
        starts = np.flatnonzero(np.append(True, where[1:] != where[:-1]))
        shapes.append(
            Outline(drawn.segments[mine], drawn.is_line[mine], np.append(starts, len(mine)), drawn.is_edge[mine])
        )
    firsts = grouped[np.searchsorted(group, np.arange(len(groups)), sorter=np.argsort(group, kind="stable"))]
    return _with_singles(artwork.chosen(np.flatnonzero(alone)), shapes, artwork.placements.member[firsts])


def _with_singles(stay: Artwork[Any], shapes: list[Any], member: IntArray) -> Artwork[Any]:
    """Return artwork with shapes added that are placed once each, where they are."""
    count = len(stay.shapes)
    return Artwork(
        (*stay.shapes, *shapes),
        Placements(
            matrix=np.concatenate([stay.placements.matrix, affine.identity(len(shapes))]),
            shape=np.concatenate([stay.placements.shape, count + np.arange(len(shapes))]),
            member=np.concatenate([stay.placements.member, member]),
        ),
    )


def silhouettes(artwork: Artwork[Outline], *, tolerance_mm: float, edges: bool = True) -> Artwork[Strokes]:
    """Return the contours of copies without what lies inside another copy.

    A contour that is cut so becomes open paths that end on the other copy's edge, to within the tolerance. Where the
    edges of two copies coincide, the first of them draws.

    Parameters
    ----------
    artwork
        The copies.
    tolerance_mm
        How finely copies that touch are sampled.
    edges
        Whether the edges along which copies were trimmed are drawn too.

    Raises
    ------
    GeometryError
        If the overlay fails; the message names the place.
    """
    label = touching_groups(artwork, tolerance_mm=tolerance_mm, slack_mm=COINCIDENT_MM)
    alone = np.bincount(label, minlength=1)[label] == 1
    single = artwork.chosen(np.flatnonzero(alone))
    drawn = [_contour(shape, edges=edges) for shape in single.shapes]
    visible = np.array([strokes.path_count > 0 for strokes in drawn], dtype=bool)
    stay = Artwork(tuple(drawn), single.placements)
    if not visible.all():
        stay = stay.chosen(visible[single.placements.shape])
    if alone.all():
        return stay
    grouped = np.flatnonzero(~alone)
    chords = _chords(artwork, grouped, tolerance_mm)
    shapes: list[Strokes] = []
    member = []
    for which, lines in enumerate(_seen_lines(chords)):
        strokes = _strokes_along(chords, which, lines, edges=edges)
        if strokes is not None:
            shapes.append(strokes)
            member.append(int(artwork.placements.member[grouped[which]]))
    return _with_singles(stay, shapes, np.array(member, dtype=np.int64))


def _contour(outline: Outline, *, edges: bool) -> Strokes:
    """Return an outline's loops as closed paths; as open ones where trimmed edges are left out."""
    if edges or not outline.is_edge.any():
        return contour(outline)
    paths: list[tuple[IntArray, bool]] = []
    for loop in outline.loops():
        index = np.arange(loop.start, loop.stop)
        hidden = outline.is_edge[loop]
        if not hidden.any():
            paths.append((index, True))
            continue
        # Turned so that the loop starts behind an edge, no path runs over its end.
        turn = int(np.flatnonzero(hidden)[-1]) + 1
        index, hidden = np.roll(index, -turn), np.roll(hidden, -turn)
        bounds = np.flatnonzero(np.diff(np.concatenate([[True], hidden, [True]]).astype(np.int8)))
        paths += [(index[a:b], False) for a, b in zip(bounds[::2], bounds[1::2], strict=True)]
    return _strokes(outline.segments, outline.is_line, paths)


def _strokes(segments: FloatArray, is_line: Any, paths: Iterable[tuple[IntArray, bool]]) -> Strokes:
    kept = [(index, closed) for index, closed in paths if len(index)]
    order = np.concatenate([index for index, _ in kept]) if kept else np.zeros(0, dtype=np.int64)
    return Strokes(
        segments[order],
        is_line[order],
        np.concatenate([[0], np.cumsum([len(index) for index, _ in kept])]).astype(np.int64),
        np.array([closed for _, closed in kept], dtype=bool),
    )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Chords:
    """The chords of some copies, and the tracks they were sampled from; frames are numbered as the copies are."""

    tracks: Tracks
    maps: FloatArray
    is_edge: Any
    polygons: Any
    tree: shapely.STRtree
    start: FloatArray
    end: FloatArray
    track: IntArray
    frame: IntArray
    begin: FloatArray
    stop: FloatArray

    def found(self, start: FloatArray, end: FloatArray, copy: int | None = None) -> IntArray:
        """Return the chord each edge from ``start`` to ``end`` (n, 2) lies on, the first of several, or -1."""
        result = np.full(len(start), len(self.start), dtype=np.int64)
        middle = shapely.points(0.5 * (start + end))
        which, chord = self.tree.query(middle, predicate="dwithin", distance=ON_MM)
        if copy is not None:
            mine = self.frame[chord] == copy
            which, chord = which[mine], chord[mine]
        # Chords that cross in the middle of the edge pass it by; both its ends must lie on the right one.
        fits = np.maximum(self._off(chord, start[which]), self._off(chord, end[which])) <= ON_MM
        np.minimum.at(result, which[fits], chord[fits])
        return np.where(result < len(self.start), result, -1)

    def _off(self, chord: IntArray, points: FloatArray) -> FloatArray:
        along = self.end[chord] - self.start[chord]
        away = points - self.start[chord]
        return np.asarray(np.abs(along[:, 0] * away[:, 1] - along[:, 1] * away[:, 0]) / np.hypot(*along.T))

    def place_on(self, chord: IntArray, points: FloatArray) -> FloatArray:
        """Return the places of points (n, 2) on their chords."""
        along = self.end[chord] - self.start[chord]
        share = np.sum((points - self.start[chord]) * along, axis=1) / np.sum(along * along, axis=1)
        return np.asarray(self.begin[chord] + np.clip(share, 0.0, 1.0) * (self.stop[chord] - self.begin[chord]))

    def segment_at(self, chord: IntArray) -> IntArray:
        """Return the segment each chord was sampled from."""
        return self.tracks.at(self.track[chord], 0.5 * (self.begin[chord] + self.stop[chord]))[0]


def _chords(artwork: Artwork[Outline], which: IntArray, tolerance_mm: float) -> _Chords:
    shape, maps = artwork.placements.shape[which], artwork.placements.matrix[which]
    polygons = np.empty(len(which), dtype=object)
    flats: list[FlatShape] = []
    starts, ends, tracks, frames, begins, stops = [], [], [], [], [], []
    tracks_before = 0
    for index in np.unique(shape):
        copies = np.flatnonzero(shape == index)
        stretch = float(affine.largest_stretch(maps[copies]).max())
        flat = flat_shape(artwork.shapes[int(index)], tolerance_mm=tolerance_mm / max(stretch, 1e-12))
        # Settled on one grid, so that edges which coincide but for rounding coincide exactly.
        polygons[copies] = shapely.transform(whole_copies(flat, maps[copies]), _settled)
        first = np.flatnonzero(flat.loop[1:] == flat.loop[:-1])
        placed = _settled(affine.apply(maps[copies], flat.points))
        starts.append(placed[:, first].reshape(-1, 2))
        ends.append(placed[:, first + 1].reshape(-1, 2))
        loop = flat.loop[first]
        base = flat.outline.loop_start[:-1] + np.arange(flat.outline.loop_count)
        tracks.append(np.tile(tracks_before + loop, len(copies)))
        begins.append(np.tile(flat.parameter[first] - base[loop], len(copies)))
        stops.append(np.tile(flat.parameter[first + 1] - base[loop], len(copies)))
        frames.append(np.repeat(copies, len(first)))
        tracks_before += flat.outline.loop_count
        flats.append(flat)
    frame = np.concatenate(frames)
    # By copy, so that of coinciding chords the first copy's comes first.
    order = np.argsort(frame, kind="stable")
    start, end = np.concatenate(starts)[order], np.concatenate(ends)[order]
    sizes = np.cumsum([0] + [len(flat.outline.segments) for flat in flats])
    return _Chords(
        tracks=Tracks(
            segments=np.concatenate([flat.outline.segments for flat in flats]),
            is_line=np.concatenate([flat.outline.is_line for flat in flats]),
            origin=np.concatenate([flat.segment_of for flat in flats]),
            first=np.concatenate([f.outline.loop_start[:-1] + at for f, at in zip(flats, sizes[:-1], strict=True)]),
            count=np.concatenate([np.diff(flat.outline.loop_start) for flat in flats]),
        ),
        maps=maps,
        is_edge=np.concatenate([flat.outline.is_edge for flat in flats]),
        polygons=polygons,
        tree=shapely.STRtree(shapely.linestrings(np.stack([start, end], axis=1))),
        start=start,
        end=end,
        track=np.concatenate(tracks)[order],
        frame=frame[order],
        begin=np.concatenate(begins)[order],
        stop=np.concatenate(stops)[order],
    )


def _settled(points: FloatArray) -> FloatArray:
    return np.asarray(np.round(points / SNAP_MM) * SNAP_MM)


def _seen_lines(chords: _Chords) -> list[Any]:
    """Return for each copy the lines of its contour that no other copy hides."""
    polygons = chords.polygons
    outlines = shapely.boundary(polygons)
    a, b = shapely.STRtree(polygons).query(polygons, predicate="intersects")
    other = a != b
    a, b = a[other], b[other]
    order = np.lexsort((b, a))
    a, b = a[order], b[order]
    seen = []
    bounds = np.searchsorted(a, np.arange(len(polygons) + 1))
    for i in range(len(polygons)):
        beside = b[bounds[i] : bounds[i + 1]]
        hidden = overlaid(shapely.union_all, polygons[beside])
        lines = [overlaid(shapely.difference, outlines[i], hidden)]
        for j in beside[beside > i]:
            shared = overlaid(shapely.intersection, outlines[i], outlines[j])
            rest = [k for k in beside if k != j]
            if rest and not shapely.is_empty(shared):
                shared = overlaid(shapely.difference, shared, overlaid(shapely.union_all, polygons[rest]))
            lines.append(shared)
        parts = shapely.get_parts(shapely.get_parts(np.array(lines, dtype=object)))
        parts = parts[(shapely.get_type_id(parts) == 1) & ~shapely.is_empty(parts)]
        merged = shapely.line_merge(shapely.multilinestrings(parts)) if len(parts) else None
        seen.append(merged)
    return seen


def _strokes_along(chords: _Chords, copy: int, lines: Any, *, edges: bool) -> Strokes | None:
    """Return one copy's curves along straight lines that were cut from its chords, or None if nothing is left."""
    if lines is None:
        return None
    points, path = shapely.get_coordinates(shapely.get_parts(lines), return_index=True)
    inner = np.flatnonzero(path[1:] == path[:-1])
    start, end, path = points[inner], points[inner + 1], path[inner]
    chord = chords.found(start, end, copy)
    known = chord >= 0
    if edges is False:
        known &= ~chords.is_edge[chords.segment_at(np.maximum(chord, 0))]
    start, end, path, chord = start[known], end[known], path[known], chord[known]
    if not len(chord):
        return None
    begin, stop, track = chords.place_on(chord, start), chords.place_on(chord, end), chords.track[chord]
    count = chords.tracks.count[track]
    jump = np.abs(np.mod(begin[1:] - stop[:-1] + 0.5 * count[1:], count[1:]) - 0.5 * count[1:])
    goes_on = (path[1:] == path[:-1]) & (track[1:] == track[:-1]) & (jump < 1e-6)
    goes_on &= np.sign(stop - begin)[1:] == np.sign(stop - begin)[:-1]
    first = np.flatnonzero(np.append(True, ~goes_on))
    way = np.add.reduceat(stop - begin, first)
    whole = np.abs(np.abs(way) - count[first]) < 1e-6
    begin = np.where(whole, np.round(begin[first]), begin[first])
    way = np.where(whole, np.sign(way) * count[first], way)
    cut = cut_runs(chords.tracks, chords.maps[np.full(len(first), copy)], track[first], begin, begin + way)
    runs = [(np.flatnonzero(cut.run == run), bool(whole[run])) for run in range(len(first))]
    return _strokes(cut.segments, cut.is_line, runs) if len(cut.segments) else None
