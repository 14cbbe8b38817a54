"""The edge of a region as curves that remember its polygons, and pieces of it small enough to cut with quickly."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import BoolArray, IntArray
from friezewright.geometry.planar.polygons import areas_only, overlaid
from friezewright.geometry.planar.region import Region
from friezewright.geometry.refit import refit_closed
from friezewright.geometry.tolerance import ZONE_FLATTEN_MM

__all__ = ["EDGE_MARK", "LocalPieces", "ZoneEdge", "zone_edge"]

EDGE_MARK = float(2**20)
"""Zone vertices carry minus this as third coordinate. More than any motif's parameter (at most 20,000 segments), and so
small that the mean of both, which an overlay gives a crossing, still tells the parameter to 1e-10."""

_FIT_MM = 0.5 * ZONE_FLATTEN_MM


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class ZoneEdge:
    """The rings of a region and the curves through them.

    Parameters
    ----------
    segments, is_line, first, count
        The curves, one track a ring.
    chords
        Edges of the polygons, shape (e, 2, 2); edge i starts at vertex i.
    track, begin, end
        Track of each edge and the places between which it lies, shape (e,).
    following
        Vertex after each vertex, shape (e,).
    """

    segments: FloatArray
    is_line: BoolArray
    first: IntArray
    count: IntArray
    chords: FloatArray
    track: IntArray
    begin: FloatArray
    end: FloatArray
    following: IntArray
    tree: shapely.STRtree
    order: IntArray
    sorted_vertices: np.ndarray

    def vertex_at(self, points: FloatArray) -> IntArray:
        """Return which vertex stands exactly at each point (n, 2), or -1."""
        key = points[:, 0] + 1j * points[:, 1]
        at = np.minimum(np.searchsorted(self.sorted_vertices, key), len(self.sorted_vertices) - 1)
        return np.where(self.sorted_vertices[at] == key, self.order[at], -1)

    def chord_near(self, points: FloatArray, *, within_mm: float) -> IntArray:
        """Return which edge each point (n, 2) lies on, or -1 if none is that near."""
        found = np.full(len(points), -1, dtype=np.int64)
        if len(points):
            which, chord = self.tree.query_nearest(shapely.points(points), all_matches=False, max_distance=within_mm)
            found[which] = chord
        return found

    def place_on(self, chord: IntArray, points: FloatArray) -> FloatArray:
        """Return the places of points (n, 2) that lie on the edges ``chord`` (n,)."""
        start, along = self.chords[chord, 0], self.chords[chord, 1] - self.chords[chord, 0]
        share = np.sum((points - start) * along, axis=1) / np.sum(along * along, axis=1)
        return np.asarray(self.begin[chord] + np.clip(share, 0.0, 1.0) * (self.end[chord] - self.begin[chord]))


def zone_edge(region: Region) -> ZoneEdge:
    """Return the edge of a region that is not empty."""
    rings = [shapely.get_coordinates(ring)[:-1] for ring in shapely.get_rings(shapely.get_parts(region.shape))]
    fits = [refit_closed(points, tolerance_mm=_FIT_MM, sampled_mm=ZONE_FLATTEN_MM) for points in rings]
    count = np.array([len(fit.segments) for fit in fits])
    vertices = np.concatenate(rings)
    size = np.array([len(points) for points in rings])
    track = np.repeat(np.arange(len(rings)), size)
    start = np.cumsum(size) - size
    following = np.arange(len(vertices)) + 1
    following[start + size - 1] = start
    begin = np.concatenate([fit.place for fit in fits])
    end = begin[following]
    end = np.where(end < begin, end + count[track], end)
    chords = np.stack([vertices, vertices[following]], axis=1)
    key = vertices[:, 0] + 1j * vertices[:, 1]
    order = np.argsort(key, kind="stable")
    return ZoneEdge(
        segments=np.concatenate([fit.segments for fit in fits]),
        is_line=np.concatenate([fit.is_line for fit in fits]),
        first=np.cumsum(count) - count,
        count=count,
        chords=chords,
        track=track,
        begin=begin,
        end=end,
        following=following,
        tree=shapely.STRtree(shapely.linestrings(chords)),
        order=order,
        sorted_vertices=key[order],
    )


class LocalPieces:
    """A region cut into overlapping tiles, made when first asked for.

    An overlay takes time for every vertex of both areas; a tile has few. What lies wholly inside a tile is cut by it
    just as by the whole region.
    """

    def __init__(self, region: Region, *, reach_mm: float) -> None:
        marked = shapely.force_3d(shapely.force_2d(region.shape), z=-EDGE_MARK)
        self._whole = marked
        self._low = np.asarray(region.bounds()[0])
        self._high = np.asarray(region.bounds()[1])
        self._margin = 1.01 * reach_mm
        self._pitch = 30.0 * reach_mm
        self._strips: dict[int, Any] = {}
        self._tiles: dict[tuple[int, int], Any] = {}
        # Tiling pays when there are many vertices to leave out.
        self._worthwhile = shapely.get_num_coordinates(marked) > 200

    def around(self, centres: FloatArray) -> Any:
        """Return for each centre (n, 2) an area that is the region's within reach of it, shape (n,)."""
        found = np.empty(len(centres), dtype=object)
        if not self._worthwhile or len(centres) < 16:
            found[:] = self._whole
            return found
        cells = np.floor((centres - self._low) / self._pitch).astype(np.int64)
        unique, which = np.unique(cells, axis=0, return_inverse=True)
        tiles = np.array([self._tile(int(x), int(y)) for x, y in unique], dtype=object)
        return tiles[which.reshape(-1)]

    def _tile(self, column: int, row: int) -> Any:
        if (column, row) not in self._tiles:
            if column not in self._strips:
                x = self._low[0] + column * self._pitch
                box = shapely.box(
                    x - self._margin, self._low[1] - 1.0, x + self._pitch + self._margin, self._high[1] + 1.0
                )
                self._strips[column] = _cut_out(self._whole, box)
            y, (x0, _, x1, _) = self._low[1] + row * self._pitch, self._span(column)
            box = shapely.box(x0, y - self._margin, x1, y + self._pitch + self._margin)
            self._tiles[column, row] = _cut_out(self._strips[column], box)
        return self._tiles[column, row]

    def _span(self, column: int) -> tuple[float, float, float, float]:
        x = float(self._low[0]) + column * self._pitch
        return x - 2.0 * self._margin, 0.0, x + self._pitch + 2.0 * self._margin, 0.0


def _cut_out(area: Any, box: Any) -> Any:
    parts, _ = areas_only(overlaid(shapely.intersection, area, box))
    return shapely.multipolygons(parts) if len(parts) else shapely.from_wkt("MULTIPOLYGON EMPTY")
