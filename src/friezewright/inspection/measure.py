"""Distances between what is burned and between it and the cuts, and how thin it gets.

Candidates are found on polygons cut at the drawing's tolerance; the smallest distances are measured again on curves cut
at :data:`FINE_MM`, so that what is reported is right to a micrometre.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from friezewright.inspection.paths import Paths
from friezewright.inspection.shapes import areas_of, flatten, lines_of, nested, rings_of

__all__ = ["FINE_MM", "Marks", "least_clearance", "marks_of", "smallest_gap", "thinnest"]

FINE_MM = 0.0003
"""Curves are cut this finely for the last measurement: two of them stray by less than a written decimal."""

# Candidates whose curves are cut again; where more are as near, they are copies of one situation.
_AGAIN = 300
# Two distances that differ by less are one: a tenth of what is written.
_STEP_MM = 1e-4
_THIN_ROUNDS = 8


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Marks:
    """One geometry a path: polygons where areas are burned, polylines where lines are followed.

    Parameters
    ----------
    geometry
        Shape (n,).
    path
        Number of each one's path in its layer, (n,), rising.
    paths
        The layer's segments, to be cut again more finely.
    filled
        Whether these are areas.
    """

    geometry: NDArray[Any]
    path: NDArray[np.int64]
    paths: Paths
    filled: bool

    def finely(self, which: NDArray[np.int64]) -> NDArray[Any]:
        """Return some of the geometries cut at :data:`FINE_MM`, in the order asked."""
        unique, index = np.unique(which, return_inverse=True)
        loops = np.flatnonzero(np.isin(self.paths.loop_path, self.path[unique]))
        again = marks_of(self.paths, filled=self.filled, tolerance_mm=FINE_MM, loops=loops)
        return np.asarray(again.geometry[index.reshape(-1)])


def marks_of(paths: Paths, *, filled: bool, tolerance_mm: float, loops: NDArray[np.int64] | None = None) -> Marks:
    """Return the geometries of paths, or of the paths that ``loops`` (all of theirs) belong to."""
    flat = flatten(paths, tolerance_mm=tolerance_mm, loops=loops)
    if not filled:
        lines, shown = lines_of(flat)
        path, index = np.unique(paths.loop_path[shown], return_inverse=True)
        geometry = shapely.multilinestrings(lines, indices=index.reshape(-1)) if len(lines) else lines
        return Marks(geometry=geometry, path=path, paths=paths, filled=False)
    rings, shown = rings_of(flat)
    nesting = nested(paths.loop_path[shown], rings, shapely.area(shapely.polygons(rings)))
    polygons, owner = areas_of(rings, nesting, paths.loop_path[shown])
    path, index = np.unique(owner, return_inverse=True)
    geometry = shapely.multipolygons(polygons, indices=index.reshape(-1)) if len(polygons) else polygons
    return Marks(geometry=geometry, path=path, paths=paths, filled=True)


def smallest_gap(
    parts: Sequence[tuple[Marks, NDArray[np.int64]]], *, reach_mm: float, tolerance_mm: float
) -> tuple[float, tuple[float, float]] | None:
    """Return the smallest distance between two marks of some layers and the place between them.

    Parameters
    ----------
    parts
        Layers, and which of their marks belong to the ornament.
    reach_mm
        Marks further apart are of no interest.
    tolerance_mm
        How finely the marks were cut.
    """
    geometry = np.concatenate([marks.geometry[which] for marks, which in parts])
    layer = np.repeat(np.arange(len(parts)), [len(which) for _, which in parts])
    number = np.concatenate([which for _, which in parts])
    if len(geometry) < 2:
        return None
    tree = shapely.STRtree(geometry)
    a, b = tree.query(geometry, predicate="dwithin", distance=reach_mm + 2.0 * tolerance_mm)
    a, b = a[a < b], b[a < b]
    if not len(a):
        return None
    rough = shapely.distance(geometry[a], geometry[b])
    order = np.argsort(rough, kind="stable")
    # A pair may be nearer than it looks by both its curves' chords, so all that could be the nearest are measured.
    order = order[rough[order] <= rough[order[0]] + 4.0 * tolerance_mm][:_AGAIN]
    a, b = a[order], b[order]
    fine = np.zeros(len(geometry), dtype=object)
    needed = np.unique(np.concatenate([a, b]))
    for index, (marks, _) in enumerate(parts):
        mine = needed[layer[needed] == index]
        if len(mine):
            fine[mine] = marks.finely(number[mine])
    shapely.prepare(fine[a])
    best, distance = _least(fine[a], fine[b])
    if distance > reach_mm:
        return None
    between = shapely.get_coordinates(shapely.shortest_line(fine[a[best]], fine[b[best]])).mean(axis=0)
    return distance, (float(between[0]), float(between[1]))


def _least(a: Any, b: NDArray[Any]) -> tuple[int, float]:
    """Return which pair is nearest and how near, to :data:`_STEP_MM`; likely ones first and ``a`` prepared is fast."""
    a = np.broadcast_to(a, b.shape)
    best, distance = 0, float(shapely.distance(a[0], b[0]))
    rest = np.arange(1, len(b))
    while len(rest) and distance > _STEP_MM:
        # Whether a pair is within a distance is told far sooner than its distance.
        rest = rest[shapely.dwithin(a[rest], b[rest], distance - _STEP_MM)]
        if len(rest):
            best, rest = int(rest[0]), rest[1:]
            distance = float(shapely.distance(a[best], b[best]))
    return best, distance


def least_clearance(
    layers: Sequence[Marks], cut: Any, *, tolerance_mm: float
) -> tuple[float, tuple[float, float]] | None:
    """Return the least distance from any mark to a cut line, and the mark's point nearest to it; None without marks.

    Parameters
    ----------
    layers
        Marks of each burned layer.
    cut
        The cut line, cut finely.
    tolerance_mm
        How finely the marks were cut.
    """
    best: tuple[float, tuple[float, float]] | None = None
    shapely.prepare(cut)
    for marks in layers:
        if not len(marks.geometry):
            continue
        boxes = shapely.box(*shapely.bounds(marks.geometry).T)
        # No mark is nearer than its box.
        least = shapely.distance(cut, boxes)
        order = np.argsort(least, kind="stable")
        rough = float(shapely.distance(cut, marks.geometry[order[0]]))
        # The box of an upright mark can come out further off than the mark itself, by a rounding.
        order = order[least[order] <= rough + _STEP_MM]
        rough = _least(cut, marks.geometry[order])[1]
        near = order[shapely.dwithin(cut, marks.geometry[order], rough + 2.0 * tolerance_mm + _STEP_MM)][:_AGAIN]
        fine = marks.finely(near)
        index, distance = _least(cut, fine)
        if best is None or distance < best[0]:
            x, y = shapely.get_coordinates(shapely.shortest_line(fine[index], cut))[0]
            best = distance, (float(x), float(y))
    return best


def thinnest(marks: Marks, *, under_mm: float) -> tuple[float, tuple[float, float], int] | None:
    """Return the width of the thinnest place of areas, where it is and the path it is in; None when all are wider.

    Thin is what vanishes when the area is shrunk and grown again by half a width, tips and corners left out: a piece
    that vanishes is larger than twice the square of that width. Paths with the same commands and nearly the same area
    are taken to be copies of one motif; the first is measured.
    """
    loops = np.bincount(marks.paths.loop_path, minlength=int(marks.path[-1]) + 1 if len(marks.path) else 0)
    curves = np.bincount(
        marks.paths.loop_path[marks.paths.loop], weights=~marks.paths.is_line, minlength=len(loops)
    ).astype(np.int64)
    lines = np.bincount(marks.paths.loop_path[marks.paths.loop], weights=marks.paths.is_line, minlength=len(loops))
    size = np.round(np.log(np.maximum(shapely.area(marks.geometry), 1e-9)) / 0.02).astype(np.int64)
    table = np.column_stack([loops[marks.path], curves[marks.path], lines[marks.path].astype(np.int64), size])
    first = np.sort(np.unique(table, axis=0, return_index=True)[1]) if len(table) else np.zeros(0, dtype=np.int64)
    found: tuple[float, tuple[float, float], int] | None = None
    for index in first.tolist():
        limit = under_mm if found is None else found[0]
        place = _vanishing(marks.geometry[index], limit)
        if place is None:
            continue
        low, high = 0.0, limit
        for _ in range(_THIN_ROUNDS):
            middle = 0.5 * (low + high)
            at = _vanishing(marks.geometry[index], middle)
            if at is None:
                low = middle
            else:
                high, place = middle, at
        found = high, place, int(marks.path[index])
    return found


def _vanishing(area: Any, width_mm: float) -> tuple[float, float] | None:
    """Return a point of the largest piece that an opening of this width takes away, or None when there is none."""
    if not shapely.is_valid(area):
        area = shapely.make_valid(area)
    opened = area.buffer(-0.5 * width_mm, quad_segs=6).buffer(0.5 * width_mm, quad_segs=6)
    parts = shapely.get_parts(shapely.difference(area, opened))
    sizes = shapely.area(parts)
    if not len(parts) or sizes.max() < 2.0 * width_mm * width_mm:
        return None
    x, y = shapely.get_coordinates(shapely.point_on_surface(parts[int(np.argmax(sizes))]))[0]
    return float(x), float(y)
