"""Regions: areas of the panel as fine polygons, for asking where ornament may go.

A region's polygon lies within :data:`~friezewright.geometry.tolerance.ZONE_FLATTEN_MM` of its true curve. What is
drawn is made of curves again: :func:`outline_of` gives them back.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import BoolArray, Outline
from friezewright.geometry.planar.polygons import areas_only, flat_shape, overlaid, placed
from friezewright.geometry.refit import refit_closed
from friezewright.geometry.tolerance import COINCIDENT_MM, ZONE_FLATTEN_MM

__all__ = [
    "Region",
    "contains_points",
    "difference",
    "distance_to_edge",
    "empty",
    "inset",
    "intersection",
    "largest_disc",
    "outline_of",
    "outset",
    "region_of",
    "self_crossing",
    "union",
]


_NOTHING = shapely.from_wkt("MULTIPOLYGON EMPTY")


@dataclass(frozen=True, slots=True, eq=False)
class Region:
    """An area as polygons; make one with :func:`region_of`, never by hand.

    Parameters
    ----------
    shape
        The polygons, for the modules of this package alone.
    """

    shape: Any

    def __post_init__(self) -> None:
        parts, _ = areas_only(self.shape)
        object.__setattr__(self, "shape", shapely.multipolygons(_sorted(parts)) if len(parts) else _NOTHING)
        shapely.prepare(self.shape)

    @property
    def is_empty(self) -> bool:
        """Whether there is no area at all."""
        return bool(shapely.is_empty(self.shape))

    def area_mm2(self) -> float:
        """Return the area in mm²."""
        return float(shapely.area(self.shape))

    def bounds(self) -> FloatArray:
        """Return the bounding box ``[[x0, y0], [x1, y1]]`` in mm, shape (2, 2).

        Raises
        ------
        ValueError
            If the region is empty.
        """
        if self.is_empty:
            raise ValueError("an empty region has no bounds")
        return np.asarray(shapely.bounds(self.shape), dtype=np.float64).reshape(2, 2)

    def components(self) -> tuple[Region, ...]:
        """Return the pieces that do not hang together, from the top down, then from the left."""
        return tuple(Region(part) for part in shapely.get_parts(self.shape))


def _sorted(parts: Any) -> Any:
    """Return polygons in an order that depends on their shape alone; the library's own varies with its version."""
    if len(parts) < 2:
        return parts
    box = shapely.bounds(parts)
    return parts[np.lexsort((shapely.area(parts), box[:, 2], box[:, 3], box[:, 0], box[:, 1]))]


def empty() -> Region:
    """Return the region without area."""
    return Region(_NOTHING)


def region_of(outline: Outline, *, tolerance_mm: float = ZONE_FLATTEN_MM) -> Region:
    """Return the area inside an outline: its shells less its holes.

    Loops that cross themselves or each other are read by the even-odd rule; :func:`self_crossing` finds them.

    Parameters
    ----------
    outline
        Properly wound: shells positive, holes negative.
    tolerance_mm
        Furthest the polygon may lie from the curve.
    """
    if outline.loop_count == 0:
        return empty()
    parts = placed(flat_shape(outline, tolerance_mm=tolerance_mm), _IDENTITY)
    whole = shapely.multipolygons(list(parts))
    if not shapely.is_valid(whole):
        whole = empty().shape
        for part in parts:
            whole = overlaid(shapely.symmetric_difference, whole, shapely.make_valid(part))
    return Region(whole)


_IDENTITY = np.array([[[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]])


def union(*regions: Region) -> Region:
    """Return the area that lies in any of the regions."""
    return Region(overlaid(shapely.union_all, [region.shape for region in regions])) if regions else empty()


def difference(a: Region, b: Region) -> Region:
    """Return the area of ``a`` that does not lie in ``b``."""
    return Region(overlaid(shapely.difference, a.shape, b.shape))


def intersection(a: Region, b: Region) -> Region:
    """Return the area that lies in both regions."""
    return Region(overlaid(shapely.intersection, a.shape, b.shape))


def _quarter_segments(radius_mm: float) -> int:
    """Return the chords a quarter of a circle needs so that none strays by more than half :data:`ZONE_FLATTEN_MM`."""
    stray = 0.5 * ZONE_FLATTEN_MM
    if radius_mm <= stray:
        return 3
    # A chord over the angle 2 a lies r (1 - cos a) inside its arc, and a quarter is cut into pi / (4 a) of them. A
    # shorter arc gets its share rounded to the nearest whole number, so its chords may be half as long again.
    return max(3, math.ceil(1.5 * math.pi / 4.0 / math.acos(1.0 - stray / radius_mm)))


def inset(region: Region, distance_mm: float) -> Region:
    """Return the points of a region that lie at least ``distance_mm`` from its outside.

    Raises
    ------
    ValueError
        If the distance is negative or not finite.
    """
    return _moved_edge(region, -_distance(distance_mm), mitred=False)


def outset(region: Region, distance_mm: float, *, mitred: bool = False) -> Region:
    """Return the points within ``distance_mm`` of a region.

    Parameters
    ----------
    region
        The region that grows.
    distance_mm
        By how much, in mm.
    mitred
        Whether corners stay sharp, up to five times the distance; round otherwise.

    Raises
    ------
    ValueError
        If the distance is negative or not finite.
    """
    return _moved_edge(region, _distance(distance_mm), mitred=mitred)


def _distance(distance_mm: float) -> float:
    if not (math.isfinite(distance_mm) and distance_mm >= 0.0):
        raise ValueError(f"a distance must be 0 or more, got {distance_mm} mm")
    return distance_mm


def _moved_edge(region: Region, by_mm: float, *, mitred: bool) -> Region:
    if by_mm == 0.0 or region.is_empty:
        return region
    return Region(
        shapely.buffer(
            region.shape,
            by_mm,
            quad_segs=_quarter_segments(abs(by_mm)),
            join_style="mitre" if mitred else "round",
            mitre_limit=5.0,
        )
    )


def outline_of(region: Region, *, tolerance_mm: float = ZONE_FLATTEN_MM) -> Outline:
    """Return the edge of a region as an outline.

    Parameters
    ----------
    region
        The region.
    tolerance_mm
        Furthest a vertex of the region's polygon may lie from the outline. Straight runs become lines, runs that turn
        no more than a finely sampled curve does become cubics, corners stay.
    """
    segments, lines, starts = [], [], [0]
    for part in shapely.get_parts(region.shape):
        for i, ring in enumerate(shapely.get_rings(part)):
            points = shapely.get_coordinates(ring)[:-1]
            # Overlays leave rings wound either way; positive area is what the library calls counter-clockwise.
            if bool(shapely.is_ccw(ring)) != (i == 0):
                points = points[::-1]
            fit = refit_closed(points, tolerance_mm=tolerance_mm, sampled_mm=ZONE_FLATTEN_MM)
            segments.append(fit.segments)
            lines.append(fit.is_line)
            starts.append(starts[-1] + len(fit.segments))
    if not segments:
        return Outline(np.zeros((0, 4, 2)), np.zeros(0, bool), np.zeros(1, np.int64))
    return Outline(np.concatenate(segments), np.concatenate(lines), np.array(starts))


def contains_points(region: Region, points: FloatArray) -> BoolArray:
    """Return which of the points (n, 2) lie inside; points on the edge do not."""
    return np.asarray(shapely.contains_xy(region.shape, points[:, 0], points[:, 1]), dtype=bool)


def distance_to_edge(region: Region, points: FloatArray) -> FloatArray:
    """Return how far points (n, 2) lie from a region's edge, on either side of it, shape (n,); inf without an edge."""
    edges = shapely.linestrings(edges_of(region))
    if not len(edges) or not len(points):
        return np.full(len(points), np.inf)
    _, distance = shapely.STRtree(edges).query_nearest(shapely.points(points), all_matches=False, return_distance=True)
    return np.asarray(distance, dtype=np.float64)


def edges_of(region: Region) -> FloatArray:
    """Return the straight edges of a region's polygons, shape (e, 2, 2)."""
    points, ring = shapely.get_coordinates(shapely.get_rings(shapely.get_parts(region.shape)), return_index=True)
    same = ring[1:] == ring[:-1]
    return np.stack([points[:-1][same], points[1:][same]], axis=1)


def largest_disc(region: Region) -> tuple[tuple[float, float], float]:
    """Return the centre and the radius in mm of the largest disc in a region, to within 0.01 mm.

    Raises
    ------
    ValueError
        If the region is empty.
    """
    if region.is_empty:
        raise ValueError("an empty region holds no disc")
    spoke = shapely.get_coordinates(shapely.maximum_inscribed_circle(region.shape, tolerance=0.01))
    return (float(spoke[0, 0]), float(spoke[0, 1])), float(np.hypot(*(spoke[1] - spoke[0])))


def self_crossing(outline: Outline, *, tolerance_mm: float) -> tuple[float, float] | None:
    """Return a place in mm where a loop crosses itself or another loop, or None.

    Two loops that touch in a point do not cross.

    Parameters
    ----------
    outline
        The outline to look at.
    tolerance_mm
        How finely it is sampled; loops that come nearer to each other than this may be reported as crossing.
    """
    points, _, loop = outline.flattened(tolerance_mm=tolerance_mm)
    first = np.flatnonzero((loop[1:] == loop[:-1]) & (np.hypot(*(points[1:] - points[:-1]).T) > COINCIDENT_MM))
    edges = shapely.linestrings(np.stack([points[first], points[first + 1]], axis=1))
    a, b = shapely.STRtree(edges).query(edges, predicate="crosses")
    apart = a < b
    a, b = a[apart], b[apart]
    if not len(a):
        return None
    meeting = shapely.get_coordinates(shapely.centroid(shapely.intersection(edges[a], edges[b])))
    # Edges that merely meet end to end come out as crossing by a rounding; a place at a shared end is not one.
    ends = points[np.stack([first[a], first[a] + 1, first[b], first[b] + 1])]
    clear = np.hypot(*np.moveaxis(ends - meeting, -1, 0)).min(axis=0) > COINCIDENT_MM
    if not clear.any():
        return None
    x, y = meeting[np.flatnonzero(clear)[0]]
    return float(x), float(y)
