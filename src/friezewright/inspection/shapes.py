"""Segments to polygons and polylines, and what is wrong with them as areas.

Curves are cut into equal steps of their parameter, so many that no chord strays more than asked; the count is bounded
by the second differences of the control points (the classical bound for uniform steps; from memory, and held by a test
against dense sampling).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from friezewright.inspection.paths import Paths

__all__ = ["Flat", "Nested", "areas_of", "crossing_place", "flatten", "lines_of", "loop_areas", "nested", "rings_of"]

# Segments worked on at once: their temporaries stay small beside the result.
_BLOCK = 1 << 16
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
    # One more point where a loop begins: the start of its first segment.
    begins = np.diff(loop, prepend=-1) != 0
    count = steps + begins
    points = np.zeros((int(count.sum()), 2))
    done = np.cumsum(count)
    points[(done - count)[begins]] = segments[begins, 0]
    for start in range(0, len(segments), _BLOCK):
        part = slice(start, start + _BLOCK)
        owner = np.repeat(np.arange(len(steps[part])), steps[part])
        index = np.arange(len(owner)) - np.repeat(np.cumsum(steps[part]) - steps[part], steps[part])
        points[np.repeat((done - steps)[part], steps[part]) + index] = _along(
            segments[part], is_line[part], owner, (index + 1) / steps[part][owner]
        )
    return Flat(points=points, loop=np.repeat(loop, count))


def _along(
    segments: NDArray[np.float64], is_line: NDArray[np.bool_], owner: NDArray[np.int64], t: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return points of segments at parameters over 0, (m, 2); at 1 the end point itself."""
    s = 1.0 - t
    points = np.empty((len(t), 2))
    for axis in (0, 1):
        p = segments[:, :, axis].T
        points[:, axis] = s * s * s * p[0][owner] + 3.0 * s * s * t * p[1][owner] + 3.0 * s * t * t * p[2][owner]
        points[:, axis] += t * t * t * p[3][owner]
    exact = (t == 1.0) | is_line[owner]
    points[exact] = segments[owner[exact], 3]
    return points


def loop_areas(paths: Paths) -> NDArray[np.float64]:
    """Return the signed area of each loop in mm², (k,), by Green's theorem; positive when clockwise on screen."""
    if not len(paths.loop_path):
        return np.zeros(0)
    swept = np.zeros(len(paths.segments))
    for start in range(0, len(swept), _BLOCK):
        part = slice(start, start + _BLOCK)
        swept[part] = _swept(paths.segments[part] - paths.start[paths.loop[part]][:, None], paths.is_line[part])
    areas = np.zeros(len(paths.loop_path))
    np.add.at(areas, paths.loop, swept)
    return areas


def _swept(p: NDArray[np.float64], is_line: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Return half the integral of x dy - y dx along each segment, (n,)."""
    p[is_line, 1] = (2.0 * p[is_line, 0] + p[is_line, 3]) / 3.0
    p[is_line, 2] = (p[is_line, 0] + 2.0 * p[is_line, 3]) / 3.0
    # Three-point Gauss is exact for x dy, a polynomial of the fifth degree.
    nodes = 0.5 + np.sqrt(0.15) * np.array([-1.0, 0.0, 1.0])
    total = np.zeros(len(p))
    for t, weight in zip(nodes, (5 / 18, 8 / 18, 5 / 18), strict=True):
        s = 1.0 - t
        at = s**3 * p[:, 0] + 3 * s * s * t * p[:, 1] + 3 * s * t * t * p[:, 2] + t**3 * p[:, 3]
        d = 3 * (s * s * (p[:, 1] - p[:, 0]) + 2 * s * t * (p[:, 2] - p[:, 1]) + t * t * (p[:, 3] - p[:, 2]))
        total += 0.5 * weight * (at[:, 0] * d[:, 1] - at[:, 1] * d[:, 0])
    return total


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


def nested(loop_path: NDArray[np.int64], rings: NDArray[Any], areas: NDArray[np.float64]) -> Nested:
    """Return the nesting of loops within each path; loops of different paths are never compared.

    Parameters
    ----------
    loop_path
        Path of each loop, (k,), rising.
    rings
        The loops, (k,).
    areas
        Their areas, of either sign, (k,).
    """
    count = len(loop_path)
    depth, shell = np.zeros(count, dtype=np.int64), np.arange(count)
    sizes = np.bincount(loop_path) if count else np.zeros(0, dtype=np.int64)
    many = np.flatnonzero(sizes[loop_path] > 1) if count else np.zeros(0, dtype=np.int64)
    if not len(many):
        return Nested(depth=depth, shell=shell)
    # All ordered pairs of loops of one path: paths are runs of loops.
    size = sizes[loop_path[many]]
    first = np.searchsorted(loop_path, loop_path[many])
    inner = np.repeat(many, size)
    outer = np.arange(len(inner)) - np.repeat(np.cumsum(size) - size, size) + np.repeat(first, size)
    # Only a loop of more area can hold another.
    pair = np.abs(areas[outer]) > np.abs(areas[inner])
    inner, outer = inner[pair], outer[pair]
    filled = shapely.polygons(rings)
    shapely.prepare(filled[many])
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
    return _drawn(flat, shapely.linestrings)


def rings_of(flat: Flat) -> tuple[NDArray[Any], NDArray[np.int64]]:
    """Return each loop as a ring, open ones closed by a line, and the loop each shows."""
    return _drawn(flat, shapely.linearrings)


def _drawn(flat: Flat, kind: Callable[..., NDArray[Any]]) -> tuple[NDArray[Any], NDArray[np.int64]]:
    if not len(flat.loop):
        return np.zeros(0, dtype=object), np.zeros(0, dtype=np.int64)
    begins = np.diff(flat.loop, prepend=-1) != 0
    return kind(flat.points, indices=np.cumsum(begins) - 1), flat.loop[begins]


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
