"""From outlines to polygons and back to arrays: the only place that builds shapely geometry from curves.

Terms. A *part* of an outline is one shell with the holes in it. A *flat shape* is an outline sampled once, its loops
sorted by part with the shell first; its copies are built in bulk. Each vertex knows its *parameter*, a single number
that names the place on the curve it was taken from; it travels through an overlay as the third coordinate.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from shapely.errors import ShapelyError  # type: ignore[attr-defined]

from friezewright.errors import GeometryError
from friezewright.geometry import affine, cubic
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import IntArray, Outline
from friezewright.geometry.tolerance import SNAP_MM

__all__ = ["FlatShape", "areas_only", "flat_shape", "overlaid", "place_of", "placed", "whole_copies"]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class FlatShape:
    """An outline sampled for the planar engine.

    Parameters
    ----------
    outline
        The same area with its loops sorted by part, shell first.
    segment_of
        Index each of its segments has in the outline it was made of, shape (n,).
    points, parameter, loop
        As :meth:`Outline.flattened` returns them for ``outline``.
    part_of_loop
        Part of each loop, rising, shape (k,).
    chords
        Into how many chords each segment was cut, shape (n,).
    """

    outline: Outline
    segment_of: IntArray
    points: FloatArray
    parameter: FloatArray
    loop: IntArray
    part_of_loop: IntArray
    chords: IntArray

    @property
    def part_count(self) -> int:
        """Number of parts."""
        return int(self.part_of_loop[-1]) + 1 if len(self.part_of_loop) else 0


def flat_shape(outline: Outline, *, tolerance_mm: float) -> FlatShape:
    """Return an outline sampled within the tolerance, its holes sorted to the shells they lie in.

    Raises
    ------
    GeometryError
        If a hole lies in no shell.
    """
    points, _, loop = outline.flattened(tolerance_mm=tolerance_mm)
    order, part = _nesting(points, loop, outline)
    if list(order) == list(range(outline.loop_count)):
        sorted_outline, segment_of = outline, np.arange(len(outline.segments))
    else:
        sorted_outline = outline.selected([int(i) for i in order])
        starts, ends = outline.loop_start[:-1], outline.loop_start[1:]
        segment_of = np.concatenate([np.arange(starts[i], ends[i]) for i in order])
    points, parameter, loop = sorted_outline.flattened(tolerance_mm=tolerance_mm)
    return FlatShape(
        outline=sorted_outline,
        segment_of=segment_of,
        points=points,
        parameter=parameter,
        loop=loop,
        part_of_loop=part,
        chords=cubic.chord_counts(sorted_outline.segments, sorted_outline.is_line, tolerance_mm=tolerance_mm),
    )


def _nesting(points: FloatArray, loop: IntArray, outline: Outline) -> tuple[IntArray, IntArray]:
    """Return the order that puts every shell before its holes, and the part of each loop in that order."""
    count = outline.loop_count
    if count == 1:
        return np.zeros(1, dtype=np.int64), np.zeros(1, dtype=np.int64)
    x, y = points[:, 0], points[:, 1]
    same = loop[1:] == loop[:-1]
    # Samples decide the winding: a loop is a hole when it runs the other way, whatever its neighbours do.
    base = points[np.searchsorted(loop, np.arange(count))]
    dx, dy = x - base[loop, 0], y - base[loop, 1]
    swept = 0.5 * np.bincount(loop[1:][same], (dx[:-1] * dy[1:] - dx[1:] * dy[:-1])[same], count)
    shells, holes = np.flatnonzero(swept >= 0.0), np.flatnonzero(swept < 0.0)
    owner = np.zeros(count, dtype=np.int64)
    owner[shells] = np.arange(len(shells))
    if len(holes):
        if not len(shells):
            raise GeometryError("an outline of holes alone bounds no area")
        areas = shapely.polygons(shapely.linearrings(points, indices=loop))
        hole, shell = shapely.STRtree(areas[shells]).query(areas[holes], predicate="intersects")
        # A hole may lie in several shells, one inside the other: the smallest that holds it is its own. Overlap
        # instead of a test for containment, because samples of touching loops may cross by the tolerance.
        shared = shapely.area(shapely.intersection(areas[holes[hole]], areas[shells[shell]]))
        held = shared >= 0.5 * np.abs(swept[holes[hole]])
        hole, shell = hole[held], shell[held]
        by_size = np.lexsort((swept[shells[shell]], hole))
        first, at = np.unique(hole[by_size], return_index=True)
        if len(first) < len(holes):
            lost = holes[np.setdiff1d(np.arange(len(holes)), first)[0]]
            raise GeometryError(f"a hole lies outside every shell near {place_of(areas[lost])}")
        owner[holes[first]] = shell[by_size[at]]
    is_hole = swept < 0.0
    order = np.lexsort((np.arange(count), is_hole, owner))
    return order, owner[order]


def placed(shape: FlatShape, maps: FloatArray, *, with_parameter: bool = False) -> Any:
    """Return the parts of every copy as polygons, part after part, copy after copy, shape (n * parts,).

    Parameters
    ----------
    shape
        The shape that is copied.
    maps
        Affine maps, shape (n, 2, 3).
    with_parameter
        Whether each vertex carries its parameter as third coordinate.
    """
    count, loops = len(maps), len(shape.part_of_loop)
    if count == 0 or loops == 0:
        return np.zeros(0, dtype=object)
    xy = affine.apply(maps, shape.points)
    coordinates = xy
    if with_parameter:
        third = np.broadcast_to(shape.parameter[None, :, None], (*xy.shape[:2], 1))
        coordinates = np.concatenate([xy, third], axis=2)
    ring = (np.arange(count)[:, None] * loops + shape.loop).ravel()
    rings = shapely.linearrings(coordinates.reshape(len(ring), -1), indices=ring)
    part = (np.arange(count)[:, None] * shape.part_count + shape.part_of_loop).ravel()
    return shapely.polygons(rings, indices=part)


def whole_copies(shape: FlatShape, maps: FloatArray) -> Any:
    """Return every copy as one geometry, shape (n,): a polygon, or a multipolygon where the shape has parts."""
    polygons = placed(shape, maps)
    if shape.part_count == 1 or len(polygons) == 0:
        return polygons
    return shapely.multipolygons(polygons, indices=np.repeat(np.arange(len(maps)), shape.part_count))


def areas_only(geometries: Any) -> tuple[Any, IntArray]:
    """Return the polygons among the results of an overlay, and which result each came from.

    An intersection along a touching edge hands back stray lines and points as well; they bound no area.
    """
    parts, source = shapely.get_parts(np.asarray(geometries, dtype=object).reshape(-1), return_index=True)
    # A collection may hold multipolygons, one level further down.
    parts, inner = shapely.get_parts(parts, return_index=True)
    kept = (shapely.get_type_id(parts) == 3) & ~shapely.is_empty(parts)
    return parts[kept], np.asarray(source[inner][kept], dtype=np.int64)


def overlaid(operation: Callable[..., Any], *geometries: Any) -> Any:
    """Return ``operation(*geometries)``: exact first, on a grid of :data:`SNAP_MM` when that fails.

    Raises
    ------
    GeometryError
        If both fail; the message names the place.
    """
    # The library's own arithmetic may divide by nothing on its way to a right answer; that is no warning of ours.
    with np.errstate(all="ignore"):
        try:
            return operation(*geometries)
        except ShapelyError:
            try:
                return operation(*geometries, grid_size=SNAP_MM)
            except ShapelyError as error:
                where = place_of(geometries[0])
                raise GeometryError(f"two areas cannot be put together near {where}: {error}") from error


def place_of(geometry: Any) -> str:
    """Return the middle of a geometry's box, in words for a message."""
    x0, y0, x1, y1 = shapely.total_bounds(geometry)
    return f"({0.5 * (x0 + x1):.2f}, {0.5 * (y0 + y1):.2f}) mm"
