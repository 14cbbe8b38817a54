"""Trimming copies at a region's edge so that what was a curve stays one.

Most copies lie wholly inside or outside and are told apart by a grid; they stay matrices. The few that cross the edge
are cut as polygons whose vertices carry, as third coordinate, where on the motif they were sampled; the overlay
interpolates it. So each result knows which parts of which curves bound it, and is drawn with them (:mod:`restore`).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from shapely.errors import ShapelyError  # type: ignore[attr-defined]

from friezewright.geometry import affine, cubic
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.artwork import Artwork, Placements
from friezewright.geometry.outline import BoolArray, IntArray, Outline
from friezewright.geometry.planar.coarse import INSIDE, NEAR, Discs, discs_of, sides_of
from friezewright.geometry.planar.polygons import FlatShape, areas_only, flat_shape, overlaid, placed
from friezewright.geometry.planar.region import Region
from friezewright.geometry.planar.restore import Restored, RingEdges, Tracks, restored
from friezewright.geometry.planar.zone_edge import EDGE_MARK, LocalPieces, ZoneEdge, zone_edge
from friezewright.geometry.tolerance import COINCIDENT_MM, ZONE_FLATTEN_MM

__all__ = ["Sliver", "Trimmed", "trim"]

_VERTICES_AT_ONCE = 200_000
"""Vertices of copies held in memory together, some 30 MB with all that is known of them."""

_ON_MM = 2.0 * COINCIDENT_MM
"""How near a point must lie to a chord to lie on it: an overlay on a grid moves it by half a step each way."""

_NOTHING_MM2 = 1e-6
"""A square micrometre: below it there is nothing to burn, whether or not a least width was asked."""


@dataclass(frozen=True, slots=True)
class Sliver:
    """A trimmed piece that was left out because it is nowhere wide enough: where, and how large it was."""

    where_mm: tuple[float, float]
    area_mm2: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Trimmed:
    """Artwork cut at a region's edge.

    Parameters
    ----------
    artwork
        The copies that stay whole, in their order, and after them what is left of each copy that crosses the edge, one
        shape a copy.
    kept_whole
        Which copies stay whole, rising, shape (w,).
    piece_of
        Which copy each piece was cut from, rising, shape (p,).
    segment_of
        For each piece the segment of its source's shape that every segment was cut from; -1 along the edge.
    crossing
        How many copies lie partly inside, whether or not a piece is left of them.
    slivers
        What was left out for being too thin.
    restored, fallbacks
        How many loops of the pieces were drawn with their curves, and how many failed the check and are polylines.
    """

    artwork: Artwork[Outline]
    kept_whole: IntArray
    piece_of: IntArray
    segment_of: tuple[IntArray, ...]
    crossing: int
    slivers: tuple[Sliver, ...]
    restored: int
    fallbacks: int


def trim(
    artwork: Artwork[Outline],
    region: Region,
    *,
    tolerance_mm: float,
    whole: bool = False,
    least_width_mm: float = 0.0,
) -> Trimmed:
    """Return what lies inside a region.

    Parameters
    ----------
    artwork
        Copies of outlines.
    region
        The area they may use.
    tolerance_mm
        How finely copies near the edge are sampled to find where they cross it; never coarser than a zone's polygon,
        so that no bulge between two crossings reaches over the edge by more than a zone's margin.
    whole
        Whether copies that cross the edge are left out instead of cut.
    least_width_mm
        Cut parts that are nowhere this wide are left out.

    Raises
    ------
    GeometryError
        If the overlay fails; the message names the place.
    """
    discs = discs_of(artwork)
    sides = sides_of(discs, region)
    inside = sides == INSIDE
    near = np.flatnonzero(sides == NEAR)
    work = _Work(region, min(tolerance_mm, ZONE_FLATTEN_MM), least_width_mm)
    for index in np.unique(artwork.placements.shape[near]):
        of_shape = near[artwork.placements.shape[near] == index]
        flat = _sampled(artwork.shapes[int(index)], artwork.placements.matrix[of_shape], work.sampled_mm)
        if flat is None:
            continue
        for some in _chunks(of_shape, len(flat.points)):
            maps = artwork.placements.matrix[some]
            look = _looked_at(flat, maps, region)
            inside[some[look.held.all(axis=1)]] = True
            some_held = (look.held | look.crosses).any(axis=1)
            work.crossing += int(np.count_nonzero(some_held & ~look.held.all(axis=1)))
            if not whole:
                work.cut(flat, maps, some, look, discs)
    return work.result(artwork, np.flatnonzero(inside))


def _sampled(shape: Outline, maps: FloatArray, sampled_mm: float) -> FlatShape | None:
    if not shape.loop_count:
        return None
    return flat_shape(shape, tolerance_mm=sampled_mm / max(float(affine.largest_stretch(maps).max()), 1e-12))


def _chunks(which: IntArray, vertices: int) -> Iterator[IntArray]:
    size = max(1, _VERTICES_AT_ONCE // max(vertices, 1))
    for start in range(0, len(which), size):
        yield which[start : start + size]


@dataclass(frozen=True, slots=True, eq=False)
class _Look:
    """Copies near the edge as polygons (n, parts), and which of these are held by the region or cross its edge."""

    polygons: Any
    held: BoolArray
    crosses: BoolArray
    mended: BoolArray


def _looked_at(flat: FlatShape, maps: FloatArray, region: Region) -> _Look:
    polygons = placed(flat, maps, with_parameter=True)
    sound = np.asarray(shapely.is_valid(polygons[: flat.part_count]), dtype=bool)
    if not sound.all():
        # A shape that crosses itself at this sampling is cut as what it covers; its curves are found by place.
        polygons = shapely.make_valid(polygons)
    held = shapely.contains_properly(region.shape, polygons)
    open_ = np.flatnonzero(~held)
    held[open_] = shapely.covers(region.shape, polygons[open_])
    open_ = np.flatnonzero(~held)
    crosses = np.zeros(len(polygons), dtype=bool)
    crosses[open_] = ~shapely.disjoint(region.shape, polygons[open_])
    shape = (len(maps), flat.part_count)
    mended = np.broadcast_to(~sound, shape)
    return _Look(polygons.reshape(shape), held.reshape(shape), crosses.reshape(shape), mended)


class _Work:
    """Cuts shape after shape and gathers the pieces."""

    def __init__(self, region: Region, sampled_mm: float, least_width_mm: float) -> None:
        self.region = region
        self.sampled_mm = sampled_mm
        self.least_width_mm = least_width_mm
        self.crossing = 0
        self._edge: ZoneEdge | None = None
        self._local: dict[int, LocalPieces] = {}
        self._pieces: list[tuple[int, Outline, IntArray]] = []
        self._slivers: list[tuple[int, Sliver]] = []
        self._restored = 0
        self._fallbacks = 0

    def cut(self, flat: FlatShape, maps: FloatArray, copies: IntArray, look: _Look, discs: Discs) -> None:
        """Cut the copies of one shape that cross the edge, and keep what is left of them."""
        copy, part = np.nonzero(look.crosses)
        if not len(copy):
            return
        tiles = self._tiles(float(discs.radius[copies].max())).around(discs.centre[copies[copy]])
        found, source = areas_only(_intersections(look.polygons[copy, part], tiles))
        owner, mended = copy[source], look.mended[copy, part][source]
        wide = self._wide_enough(found, copies[owner])
        found, owner, mended = found[wide], owner[wide], mended[wide]
        # Parts that lie inside belong to their copy's piece, as they are.
        copy, part = np.nonzero(look.held & ~look.held.all(axis=1)[:, None])
        found = np.concatenate([found, look.polygons[copy, part]])
        owner = np.concatenate([owner, copy])
        mended = np.concatenate([mended, look.mended[copy, part]])
        if not len(found):
            return
        order = np.argsort(owner, kind="stable")
        if self._edge is None:
            self._edge = zone_edge(self.region)
        self._restore(flat, maps, copies, found[order], owner[order], bool(mended.any()), self._edge)

    def _tiles(self, reach_mm: float) -> LocalPieces:
        # Like sizes share their tiles.
        step = math.ceil(2.0 * math.log2(max(reach_mm, 1e-6)))
        if step not in self._local:
            self._local[step] = LocalPieces(self.region, reach_mm=2.0 ** (0.5 * step))
        return self._local[step]

    def _wide_enough(self, polygons: Any, copies: IntArray) -> BoolArray:
        area = shapely.area(polygons)
        wide = np.asarray(area > _NOTHING_MM2, dtype=bool)
        if self.least_width_mm > 0.0:
            shrunk = shapely.buffer(polygons[wide], -0.5 * self.least_width_mm, quad_segs=4)
            thin = np.flatnonzero(wide)[shapely.is_empty(shrunk)]
            wide[thin] = False
            for i in thin:
                x, y = shapely.get_coordinates(shapely.point_on_surface(polygons[i]))[0]
                self._slivers.append((int(copies[i]), Sliver((float(x), float(y)), float(area[i]))))
        return wide

    def _restore(
        self,
        flat: FlatShape,
        maps: FloatArray,
        copies: IntArray,
        polygons: Any,
        owner: IntArray,
        mended: bool,
        edge: ZoneEdge,
    ) -> None:
        rings, polygon = shapely.get_rings(shapely.orient_polygons(polygons), return_index=True)
        edges = _ring_edges(rings, owner[polygon], flat, maps, edge, search_all=mended)
        outline = flat.outline
        tracks = Tracks(
            segments=np.concatenate([edge.segments, outline.segments]),
            is_line=np.concatenate([edge.is_line, outline.is_line]),
            origin=np.concatenate([np.full(len(edge.segments), -1), flat.segment_of]),
            first=np.concatenate([edge.first, len(edge.segments) + outline.loop_start[:-1]]),
            count=np.concatenate([edge.count, np.diff(outline.loop_start)]),
        )
        drawn = restored(tracks, np.concatenate([affine.identity(1), maps]), edges, sampled_mm=self.sampled_mm)
        self._fallbacks += int(np.count_nonzero(drawn.fell_back))
        self._restored += int(np.count_nonzero(~drawn.fell_back))
        for each, piece, origin in _outlines(drawn, owner[polygon]):
            self._pieces.append((int(copies[each]), piece, origin))

    def result(self, artwork: Artwork[Outline], kept: IntArray) -> Trimmed:
        """Return everything gathered, with the copies that stay whole."""
        pieces = sorted(self._pieces, key=lambda piece: piece[0])
        piece_of = np.array([copy for copy, _, _ in pieces], dtype=np.int64)
        stay = artwork.chosen(kept)
        count = len(stay.shapes)
        place = artwork.placements
        together = Artwork(
            (*stay.shapes, *(piece for _, piece, _ in pieces)),
            Placements(
                matrix=np.concatenate([stay.placements.matrix, affine.identity(len(pieces))]),
                shape=np.concatenate([stay.placements.shape, count + np.arange(len(pieces))]),
                member=np.concatenate([stay.placements.member, place.member[piece_of]]),
            ),
        )
        slivers = sorted(self._slivers, key=lambda found: (found[0], found[1].where_mm))
        return Trimmed(
            artwork=together,
            kept_whole=kept,
            piece_of=piece_of,
            segment_of=tuple(origin for _, _, origin in pieces),
            crossing=self.crossing,
            slivers=tuple(sliver for _, sliver in slivers),
            restored=self._restored,
            fallbacks=self._fallbacks,
        )


def _intersections(polygons: Any, areas: Any) -> Any:
    try:
        return shapely.intersection(polygons, areas)
    except ShapelyError:
        # One of them fails; each is tried by itself so that the grid moves no other.
        return np.array([overlaid(shapely.intersection, a, b) for a, b in zip(polygons, areas, strict=True)])


def _outlines(drawn: Restored, copy_of_ring: IntArray) -> Iterator[tuple[int, Outline, IntArray]]:
    """Yield for each copy its piece and where the segments come from."""
    copy = copy_of_ring[drawn.ring]
    starts = np.flatnonzero(np.append(True, copy[1:] != copy[:-1])) if len(copy) else np.zeros(0, dtype=np.int64)
    for begin, end in zip(starts, np.append(starts[1:], len(copy)), strict=True):
        some = slice(int(begin), int(end))
        ring = drawn.ring[some]
        loop_start = np.flatnonzero(np.append(True, ring[1:] != ring[:-1]))
        yield (
            int(copy[begin]),
            Outline(
                drawn.segments[some],
                drawn.is_line[some],
                np.append(loop_start, len(ring)),
                drawn.is_edge[some],
            ),
            drawn.origin[some],
        )


def _ring_edges(
    rings: Any, copy_of_ring: IntArray, flat: FlatShape, maps: FloatArray, edge: ZoneEdge, *, search_all: bool
) -> RingEdges:
    """Return the edges of rings with the places they were cut from: on the zone's tracks, or the shape's after them."""
    points, ring = shapely.get_coordinates(rings, include_z=True, return_index=True)
    ring = np.asarray(ring, dtype=np.int64)
    keep = np.append(ring[1:] == ring[:-1], False)
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
    lost = doubtful[np.hypot(*(there - xy[doubtful]).T) > _ON_MM]
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
    back = affine.inverse(maps)[copy]
    own = np.stack([back[:, r, 0] * xy[:, 0] + back[:, r, 1] * xy[:, 1] + back[:, r, 2] for r in (0, 1)], axis=1)
    first = np.flatnonzero(flat.loop[1:] == flat.loop[:-1])
    p, q = flat.points[first], flat.points[first + 1]
    within = _ON_MM / float(affine.largest_stretch(maps).min())
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
    agrees = np.hypot(*(there - halfway).T) <= _ON_MM
    other = ~agrees & doubtful[asked]
    if other.any():
        back = ask[other]
        there = _on_chords(flat, maps, copy[back], loop[back], place[back] - 0.5 * way[back])
        turned = np.hypot(*(there - halfway[other]).T) <= _ON_MM
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
    chord[rest] = edge.chord_near(0.5 * (xy[start[rest]] + xy[end[rest]]), within_mm=_ON_MM)
    return chord, np.where(ahead, 1, np.where(back, -1, 0))
