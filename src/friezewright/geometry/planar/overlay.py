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

from friezewright.geometry import affine
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.artwork import Artwork, Placements
from friezewright.geometry.outline import BoolArray, IntArray, Outline
from friezewright.geometry.planar.coarse import INSIDE, NEAR, Discs, discs_of, sides_of
from friezewright.geometry.planar.joined import silhouettes, unite
from friezewright.geometry.planar.polygons import FlatShape, areas_only, flat_shape, overlaid, placed
from friezewright.geometry.planar.provenance import ring_edges
from friezewright.geometry.planar.region import Region
from friezewright.geometry.planar.restore import Restored, Tracks, restored
from friezewright.geometry.planar.zone_edge import LocalPieces, ZoneEdge, zone_edge
from friezewright.geometry.tolerance import ZONE_FLATTEN_MM

__all__ = ["Sliver", "Trimmed", "silhouettes", "trim", "unite"]

_VERTICES_AT_ONCE = 100_000
"""Vertices of copies held in memory together, some 15 MB with all that is known of them."""

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
    held = np.array(shapely.contains_properly(region.shape, polygons), dtype=bool)
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
        tiles = self._tiles(float(discs.radius[copies].max())).around(discs.centre[copies[copy]])
        found, source = areas_only(_intersections(look.polygons[copy, part], tiles))
        owner = copy[source]
        mended = np.asarray(look.mended[owner, part[source]], dtype=bool)
        wide = self._wide_enough(found, copies[owner])
        found, owner, mended = found[wide], owner[wide], mended[wide]
        # Parts that lie inside belong to their copy's piece, as they are.
        copy, part = np.nonzero(look.held & ~np.all(look.held, axis=1, keepdims=True))
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
        edges = ring_edges(rings, owner[polygon], flat, maps, edge, search_all=mended)
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
        place = artwork.placements
        used, shown = np.unique(place.shape[kept], return_inverse=True)
        # Filled in place and read-only from the start: for a million copies each copy of this array is 48 MB.
        matrix = np.zeros((len(kept) + len(pieces), 2, 3))
        np.take(place.matrix, kept, axis=0, out=matrix[: len(kept)], mode="clip")
        matrix[len(kept) :] = affine.identity()
        matrix.setflags(write=False)
        together = Artwork(
            (*(artwork.shapes[i] for i in used), *(piece for _, piece, _ in pieces)),
            Placements(
                matrix=matrix,
                shape=np.concatenate([shown.reshape(-1), len(used) + np.arange(len(pieces))]),
                member=np.concatenate([place.member[kept], place.member[piece_of]]),
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
        with np.errstate(all="ignore"):
            return shapely.intersection(polygons, areas)
    except ShapelyError:
        # One of them fails; each is tried by itself so that the grid moves no other.
        return np.array([overlaid(shapely.intersection, a, b) for a, b in zip(polygons, areas, strict=True)])


def _outlines(drawn: Restored, copy_of_ring: IntArray) -> Iterator[tuple[int, Outline, IntArray]]:
    """Yield for each copy its piece and where the segments come from."""
    if not len(drawn.ring):
        return
    copy = copy_of_ring[drawn.ring]
    loop_first = np.flatnonzero(np.append(True, drawn.ring[1:] != drawn.ring[:-1]))
    piece_first = np.flatnonzero(np.append(True, copy[1:] != copy[:-1]))
    # Pieces are read-only windows on the arrays they were drawn in: nothing is copied for any of them.
    for array in (drawn.segments, drawn.is_line, drawn.is_edge, drawn.origin):
        array.setflags(write=False)
    ends = [*piece_first[1:].tolist(), len(copy)]
    bounds = [*np.searchsorted(loop_first, piece_first).tolist(), len(loop_first)]
    for i, (begin, end) in enumerate(zip(piece_first.tolist(), ends, strict=True)):
        some = slice(begin, end)
        loop_start = np.append(loop_first[bounds[i] : bounds[i + 1]], end) - begin
        loop_start.setflags(write=False)
        piece = Outline(drawn.segments[some], drawn.is_line[some], loop_start, drawn.is_edge[some])
        yield int(copy[begin]), piece, drawn.origin[some]
