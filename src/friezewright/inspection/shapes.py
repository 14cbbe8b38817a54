"""Segments to polygons and polylines, and what is wrong with them as areas.

Curves are cut into equal steps of their parameter, so many that no chord strays more than asked; the count is bounded
by the second differences of the control points (the classical bound for uniform steps; from memory, and held by a test
against dense sampling).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from friezewright.inspection.paths import Paths

__all__ = ["Flat", "Nested", "areas_of", "crossing_place", "flatten", "lines_of", "loop_areas", "nested"]

# What make_valid changes by less than this is a touch, not a crossing: a hundredth of a laser spot's area.
_CROSSING_MM2 = 2e-4


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Flat:
    """Points of polylines: all loops in a row, each with its first point repeated at the end where it is closed."""

    points: NDArray[np.float64]
    loop: NDArray[np.int64]


def flatten(paths: Paths, *, tolerance_mm: float, loops: NDArray[np.int64] | None = None) -> Flat:
    """Return loops as polylines within the tolerance; only some of them when ``loops`` says which (rising)."""
    segments, is_line, loop = paths.segments, paths.is_line, paths.loop
    if loops is not None:
        wanted = np.zeros(len(paths.loop_path), dtype=bool)
        wanted[loops] = True
        chosen = wanted[loop]
        segments, is_line, loop = segments[chosen], is_line[chosen], loop[chosen]
    second = segments[:, :-2] - 2.0 * segments[:, 1:-1] + segments[:, 2:]
    bend = np.hypot(second[..., 0], second[..., 1]).max(axis=1, initial=0.0)
    steps = np.where(is_line, 1, np.maximum(3, np.ceil(np.sqrt(0.75 * bend / tolerance_mm)))).astype(np.int64)
    owner = np.repeat(np.arange(len(steps)), steps)
    t = (np.arange(len(owner)) - np.repeat(np.cumsum(steps) - steps, steps) + 1) / steps[owner]
    p, s = segments[owner], 1.0 - t
    weights = np.stack([s * s * s, 3.0 * s * s * t, 3.0 * s * t * t, t * t * t], axis=1)
    points = np.einsum("nk,nkd->nd", weights, p)
    ends = t == 1.0
    points[ends] = p[ends, 3]
    straight = is_line[owner]
    points[straight] = p[straight, 3]
    # Every loop begins with the start of its first segment.
    begin = np.flatnonzero(np.diff(loop[owner], prepend=-1))
    points = np.insert(points, begin, segments[owner[begin], 0], axis=0)
    return Flat(points=points, loop=np.insert(loop[owner], begin, loop[owner[begin]]))


def loop_areas(paths: Paths) -> NDArray[np.float64]:
    """Return the signed area of each loop in mm², (k,), by Green's theorem; positive when clockwise on screen."""
    if not len(paths.loop_path):
        return np.zeros(0)
    p = paths.segments - paths.start[paths.loop][:, None]
    line = paths.is_line
    p[line, 1], p[line, 2] = (2.0 * p[line, 0] + p[line, 3]) / 3.0, (p[line, 0] + 2.0 * p[line, 3]) / 3.0
    # Three-point Gauss is exact for x dy, a polynomial of the fifth degree.
    nodes = 0.5 + np.sqrt(0.15) * np.array([-1.0, 0.0, 1.0])
    total = np.zeros(len(p))
    for t, weight in zip(nodes, (5 / 18, 8 / 18, 5 / 18), strict=True):
        s = 1.0 - t
        at = s**3 * p[:, 0] + 3 * s * s * t * p[:, 1] + 3 * s * t * t * p[:, 2] + t**3 * p[:, 3]
        d = 3 * (s * s * (p[:, 1] - p[:, 0]) + 2 * s * t * (p[:, 2] - p[:, 1]) + t * t * (p[:, 3] - p[:, 2]))
        total += 0.5 * weight * (at[:, 0] * d[:, 1] - at[:, 1] * d[:, 0])
    areas = np.zeros(len(paths.loop_path))
    np.add.at(areas, paths.loop, total)
    return areas


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Nested:
    """How the loops of each path lie in one another.

    Parameters
    ----------
    depth
        In how many loops of the same path each loop lies, (k,): even for shells, odd for holes.
    shell
        For a hole the shell around it, for a shell itself, (k,).
    """

    depth: NDArray[np.int64]
    shell: NDArray[np.int64]


def nested(paths: Paths, rings: NDArray[Any], areas: NDArray[np.float64]) -> Nested:
    """Return the nesting of loops within each path; loops of different paths are never compared."""
    count = len(paths.loop_path)
    depth, shell = np.zeros(count, dtype=np.int64), np.arange(count)
    sizes = np.bincount(paths.loop_path) if count else np.zeros(0, dtype=np.int64)
    many = np.flatnonzero(sizes[paths.loop_path] > 1) if count else np.zeros(0, dtype=np.int64)
    if not len(many):
        return Nested(depth=depth, shell=shell)
    # All ordered pairs of loops of one path: paths are runs of loops.
    size = sizes[paths.loop_path[many]]
    first = np.searchsorted(paths.loop_path, paths.loop_path[many])
    inner = np.repeat(many, size)
    outer = np.arange(len(inner)) - np.repeat(np.cumsum(size) - size, size) + np.repeat(first, size)
    # Only a loop of more area can hold another.
    pair = np.abs(areas[outer]) > np.abs(areas[inner])
    inner, outer = inner[pair], outer[pair]
    filled = shapely.polygons(rings)
    shapely.prepare(filled)
    # A point just off the boundary would depend on the winding; a middle of the loop's own area may lie in a hole of
    # it, but never outside it, and loops that do not cross hold all of one another or nothing.
    inside = shapely.contains(filled[outer], shapely.point_on_surface(filled)[inner])
    inner, outer = inner[inside], outer[inside]
    np.add.at(depth, inner, 1)
    around = depth[outer] == depth[inner] - 1
    shell[inner[around]] = outer[around]
    return Nested(depth=depth, shell=np.where(depth % 2 == 1, shell, np.arange(count)))


def areas_of(rings: NDArray[Any], nesting: Nested, loop_path: NDArray[np.int64]) -> tuple[NDArray[Any], NDArray[Any]]:
    """Return polygons with their holes, (m,), and the path of each, (m,)."""
    is_shell = nesting.depth % 2 == 0
    shells = np.flatnonzero(is_shell)
    polygons = shapely.polygons(rings[shells])
    holes = np.flatnonzero(~is_shell)
    position = np.cumsum(is_shell) - 1
    by_shell: dict[int, list[int]] = {}
    for hole in holes.tolist():
        by_shell.setdefault(int(position[nesting.shell[hole]]), []).append(hole)
    for index, held in by_shell.items():
        polygons[index] = shapely.polygons(rings[shells[index]], holes=rings[held])
    return polygons, loop_path[shells]


def lines_of(flat: Flat) -> tuple[NDArray[Any], NDArray[np.int64]]:
    """Return each loop as a polyline, and the loop each shows."""
    if not len(flat.loop):
        return np.zeros(0, dtype=object), np.zeros(0, dtype=np.int64)
    present, index = np.unique(flat.loop, return_inverse=True)
    return shapely.linestrings(flat.points, indices=index.reshape(-1)), present


def crossing_place(polygon: Any, area_mm2: float) -> tuple[float, float] | None:
    """Return where the boundary of an invalid polygon crosses itself, or None where it only touches itself.

    Parameters
    ----------
    polygon
        An invalid polygon.
    area_mm2
        Its area by its loops' winding: what it would have if nothing crossed.
    """
    mended = float(shapely.area(shapely.make_valid(polygon)))
    if abs(mended - area_mm2) <= _CROSSING_MM2:
        return None
    reason = str(shapely.is_valid_reason(polygon))
    x, _, y = reason.partition("[")[2].rstrip("]").partition(" ")
    return float(x), float(y)
