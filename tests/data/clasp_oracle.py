"""Second ways to the answers of the row method, slow and plain, for tests and benchmarks."""

import math

import numpy as np
import shapely

__all__ = [
    "distances",
    "pitch_by_trial",
    "pitch_is_clear",
    "polygon_of",
    "rings_of",
    "runs_by_triangles",
    "strip_gap",
    "triangles_of",
]

PARTNERS = {"same": (1, 1), "half-turn": (-1, -1), "mirrored": (-1, 1), "flipped": (1, -1)}


def polygon_of(outline, tolerance_mm):
    """Return an outline's samples as a polygon, loop by loop by the even-odd rule."""
    points, _, loop = outline.flattened(tolerance_mm=tolerance_mm)
    area = shapely.Polygon()
    for i in range(outline.loop_count):
        area = area.symmetric_difference(shapely.make_valid(shapely.Polygon(points[loop == i])))
    return area


def image(area, partner, shift=(0.0, 0.0)):
    """Return a polygon's image under a partner, then shifted."""
    signs = np.array(PARTNERS[partner], dtype=float)
    return shapely.transform(area, lambda points: points * signs + np.array(shift))


def rings_of(area):
    """Return the edges of all rings, starts and ends, shape (n, 2) each."""
    points, ring = shapely.get_coordinates(shapely.get_rings(shapely.get_parts(area)), return_index=True)
    same = ring[1:] == ring[:-1]
    return points[:-1][same], points[1:][same]


def triangles_of(area):
    """Return constrained Delaunay triangles that make up an area, shape (n, 3, 2)."""
    parts = shapely.get_parts(shapely.constrained_delaunay_triangles(area))
    return shapely.get_coordinates(parts).reshape(-1, 4, 2)[:, :3]


def runs_by_triangles(x, y, shift):
    """Return the union of what two lists of triangles forbid each other at one shift across.

    Two convex shapes meet when the shift lies in the hull of all differences of their corners; the level ``shift`` is
    cut out of each hull by joining every corner above it to every one below.
    """
    corners = (x[:, None, :, None] - y[None, :, None, :]).reshape(-1, 9, 2)
    height = corners[..., 1] - shift
    met = (height.max(axis=1) > 1e-12) & (height.min(axis=1) < -1e-12)
    corners, height = corners[met], height[met]
    above, below = height[:, :, None], height[:, None, :]
    crossing = (above >= 0) & (below <= 0) & (above > below)
    share = np.where(crossing, above / np.where(crossing, above - below, 1.0), 0.0)
    at = corners[:, :, None, 0] + share * (corners[:, None, :, 0] - corners[:, :, None, 0])
    left = np.where(crossing, at, np.inf).min(axis=(1, 2))
    right = np.where(crossing, at, -np.inf).max(axis=(1, 2))
    runs = []
    for start, end in sorted(zip(left.tolist(), right.tolist(), strict=True)):
        if end - start < 1e-9:
            continue
        if runs and start < runs[-1][1] - 1e-9:
            runs[-1][1] = max(runs[-1][1], end)
        else:
            runs.append([start, end])
    return np.array(runs).reshape(-1, 2)


def pitch_is_clear(pitch, runs, own, slack=1e-8):
    """Return whether a pitch leaves the own runs alone and a slot between the others, wrap by wrap."""
    for left, right in own:
        k = 1
        while k * pitch < right - slack:
            if k * pitch > left + slack:
                return False
            k += 1
    covered = []
    for left, right in runs:
        if right - left > pitch + slack:
            return False
        start = left % pitch
        covered += [(start + k * pitch, start + k * pitch + right - left) for k in (-1, 0, 1)]
    # Every end of a run is tried as a place: a free slot has one at its left.
    places = [end % pitch for _, end in covered] or [0.0]
    return any(
        all(not start + slack < place + k * pitch < end - slack for start, end in covered for k in (-1, 0, 1))
        for place in places
    )


def pitch_by_trial(runs, own):
    """Return the shortest clear pitch, by trying every pitch at which two ends meet, in rising order."""
    least = max((right for left, right in own if left < 1e-9 < right), default=0.1)
    ends = [right - left for _, right in runs for left, _ in runs] + [right for _, right in own]
    trials = sorted({end / k for end in ends if end > 0 for k in range(1, math.floor(end / least + 1e-9) + 1)})
    trials += [max([least, *(right - left for left, right in runs)])]
    return next(pitch for pitch in sorted(trials) if pitch_is_clear(pitch, runs, own))


def distances(area, partner, shifts):
    """Return the distance from an area to its partner at each shift (n, 2)."""
    other = image(area, partner)
    points, index = shapely.get_coordinates(shapely.get_rings(shapely.get_parts(other)), return_index=True)
    ring_part = np.repeat(np.arange(shapely.get_num_geometries(other)), 1 + shapely.get_num_interior_rings(
        shapely.get_parts(other)))  # fmt: skip
    rings, parts = len(ring_part), int(ring_part[-1]) + 1
    count = len(shifts)
    moved = points[None] + shifts[:, None]
    made = shapely.linearrings(moved.reshape(-1, 2), indices=(np.arange(count)[:, None] * rings + index).ravel())
    polygons = shapely.polygons(made, indices=(np.arange(count)[:, None] * parts + ring_part).ravel())
    if parts > 1:
        polygons = shapely.multipolygons(polygons, indices=np.repeat(np.arange(count), parts))
    shapely.prepare(area)
    return shapely.distance(area, polygons)


def strip_gap(first, second, pitch, offset):
    """Return the smallest distance between any two copies of an endless strip of two areas."""
    width = max(
        shapely.bounds(first)[2] - shapely.bounds(first)[0], shapely.bounds(second)[2] - shapely.bounds(second)[0]
    )
    most = math.ceil((2 * width + abs(offset[0])) / pitch) + 2
    smallest = math.inf
    for k in range(-most, most + 1):
        along = np.array([k * pitch, 0.0])
        if k > 0:
            for area in (first, second):
                smallest = min(smallest, area.distance(shapely.transform(area, lambda p, a=along: p + a)))
        moved = shapely.transform(second, lambda p, a=along: p + a + np.array(offset))
        smallest = min(smallest, first.distance(moved))
    return smallest
