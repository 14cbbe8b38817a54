"""Whether loops are closed, wound, simple and drawn once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from friezewright.inspection.paths import Paths
from friezewright.inspection.shapes import areas_of, crossing_place, flatten, loop_areas, nested, rings_of

__all__ = ["Fault", "area_faults", "open_loops", "repeated_lines", "repeated_paths", "without_paths"]

# The area of the smallest triangle on the grid of written coordinates, with room for the last bits.
_NO_AREA_MM2 = 0.4e-6


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with one path of a layer."""

    code: str
    path: int
    problem: str
    where_mm: tuple[float, float] | None = None


def _at(point: NDArray[np.float64]) -> tuple[float, float]:
    return float(point[0]), float(point[1])


def open_loops(paths: Paths, operation: str) -> list[Fault]:
    """Return loops that should be closed and are not; score lines may be open."""
    if operation == "score":
        return []
    return [
        Fault("open-loop", int(paths.loop_path[loop]), "a loop is not closed by Z", _at(paths.start[loop]))
        for loop in np.flatnonzero(~paths.closed).tolist()
    ]


def area_faults(paths: Paths, *, one_area_a_path: bool, tolerance_mm: float) -> tuple[Paths, list[Fault]]:
    """Return the loops that bound an area, and what is wrong with loops as areas.

    Parameters
    ----------
    paths
        A layer's loops.
    one_area_a_path
        Whether the loops of a path are shells and holes of one area, not lines to be cut.
    tolerance_mm
        Furthest a polygon may lie from its curve.
    """
    areas = loop_areas(paths)
    faults = [
        Fault("empty-loop", int(paths.loop_path[loop]), "a loop encloses nothing", _at(paths.start[loop]))
        for loop in np.flatnonzero(np.abs(areas) < _NO_AREA_MM2).tolist()
    ]
    paths = _chosen(paths, np.abs(areas) >= _NO_AREA_MM2)
    areas = areas[np.abs(areas) >= _NO_AREA_MM2]
    if not len(areas):
        return paths, faults
    rings, _ = rings_of(flatten(paths, tolerance_mm=tolerance_mm))
    if not one_area_a_path:
        polygons, owner = shapely.polygons(rings), paths.loop_path
        return paths, faults + _crossings(polygons, owner, np.abs(areas))
    nesting = nested(paths.loop_path, rings, areas)
    is_hole = nesting.depth % 2 == 1
    polygons, owner = areas_of(rings, nesting, paths.loop_path)
    number, index = np.unique(owner, return_inverse=True)
    whole = np.zeros(int(paths.loop_path[-1]) + 1)
    np.add.at(whole, paths.loop_path, np.where(is_hole, -1.0, 1.0) * np.abs(areas))
    crossings = _crossings(shapely.multipolygons(polygons, indices=index.reshape(-1)), number, whole[number])
    # Where loops cross, none lies in another, and which way each should run cannot be said.
    crossed = [fault.path for fault in crossings]
    wrong = ((areas > 0.0) == is_hole) & ~np.isin(paths.loop_path, crossed)
    for loop in np.flatnonzero(wrong).tolist():
        problem = "a hole is wound like a shell" if is_hole[loop] else "a shell is wound like a hole"
        faults.append(Fault("wrong-winding", int(paths.loop_path[loop]), problem, _at(paths.start[loop])))
    return paths, faults + crossings


def without_paths(paths: Paths, numbers: list[int]) -> Paths:
    """Return the loops of all paths but some."""
    return _chosen(paths, ~np.isin(paths.loop_path, numbers))


def _chosen(paths: Paths, loops: NDArray[np.bool_]) -> Paths:
    """Return some of the loops."""
    if loops.all():
        return paths
    number = np.cumsum(loops) - 1
    kept = loops[paths.loop]
    return Paths(
        segments=paths.segments[kept],
        is_line=paths.is_line[kept],
        loop=number[paths.loop[kept]],
        loop_path=paths.loop_path[loops],
        closed=paths.closed[loops],
        start=paths.start[loops],
    )


def _crossings(polygons: NDArray[Any], owner: NDArray[np.int64], areas: NDArray[np.float64]) -> list[Fault]:
    faults = []
    for index in np.flatnonzero(~shapely.is_valid(polygons)).tolist():
        place = crossing_place(polygons[index], float(areas[index]))
        if place is not None:
            faults.append(Fault("self-crossing", int(owner[index]), "a boundary crosses itself or another", place))
    return faults


def repeated_paths(paths: Paths) -> list[Fault]:
    """Return paths that draw exactly what an earlier one draws, wherever they start and whichever way they run."""
    if not len(paths.segments):
        return []
    rows = _canonical(paths)
    path = paths.loop_path[paths.loop]
    begin = np.flatnonzero(np.diff(path, prepend=-1))
    end = np.append(begin[1:], len(path))
    # Sums do not know in which order segments come; what they find is compared in full.
    _, first, which = np.unique(np.add.reduceat(_mixed(rows), begin), return_index=True, return_inverse=True)
    earlier = first[which.reshape(-1)]
    faults = []
    for index in np.flatnonzero(earlier != np.arange(len(begin))).tolist():
        pair = [rows[begin[i] : end[i]] for i in (index, earlier[index])]
        if len(pair[0]) == len(pair[1]) and np.array_equal(_sorted(pair[0]), _sorted(pair[1])):
            problem = "the same as an earlier path, which would be burned twice"
            faults.append(Fault("drawn-twice", int(path[begin[index]]), problem, _at(rows[begin[index], :2] / 1000.0)))
    return faults


def repeated_lines(paths: Paths) -> list[Fault]:
    """Return paths that draw a segment which they or an earlier path drew already."""
    rows = _canonical(paths)
    _, first, which = np.unique(_mixed(rows), return_index=True, return_inverse=True)
    earlier = first[which.reshape(-1)]
    again = np.flatnonzero((earlier != np.arange(len(rows))) & np.all(rows[earlier] == rows, axis=1))
    path = paths.loop_path[paths.loop]
    faults: dict[int, Fault] = {}
    for segment in again.tolist():
        owner = int(path[segment])
        place = _at(rows[segment, :2] / 1000.0)
        faults.setdefault(owner, Fault("drawn-twice", owner, "a line of it is drawn twice", place))
    return list(faults.values())


def _sorted(rows: NDArray[np.int64]) -> NDArray[np.int64]:
    return rows[np.lexsort(rows.T)]


def _mixed(rows: NDArray[np.int64]) -> NDArray[np.uint64]:
    """Return one well-mixed number a row (the finaliser of splitmix64, Steele et al. 2014, from memory)."""
    mixed = np.zeros(len(rows), dtype=np.uint64)
    for column in rows.T.astype(np.uint64):
        mixed += column + np.uint64(0x9E3779B97F4A7C15)
        mixed = (mixed ^ (mixed >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
        mixed = (mixed ^ (mixed >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
        mixed ^= mixed >> np.uint64(31)
    return mixed


def _canonical(paths: Paths) -> NDArray[np.int64]:
    """Return segments as rows of eight whole micrometres, the same for both directions."""
    whole = np.rint(paths.segments * 1000.0).astype(np.int64)
    whole[paths.is_line, 1], whole[paths.is_line, 2] = whole[paths.is_line, 0], whole[paths.is_line, 3]
    forward, backward = whole.reshape(-1, 8), whole[:, ::-1].reshape(-1, 8)
    differs = forward != backward
    first = np.argmax(differs, axis=1)
    rows = np.arange(len(whole))
    swap = backward[rows, first] < forward[rows, first]
    return np.where(swap[:, None], backward, forward)
