"""Cheap first looks: a disc round every copy, and a grid that tells most copies' side of an edge without geometry."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from friezewright.geometry import affine
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.artwork import Artwork
from friezewright.geometry.outline import IntArray, Outline
from friezewright.geometry.planar.region import Region, edges_of

__all__ = ["INSIDE", "NEAR", "OUTSIDE", "Discs", "discs_of", "sides_of"]

OUTSIDE, INSIDE, NEAR = 0, 1, 2
"""What the grid knows of a copy; of a near one it knows nothing."""

_CELLS = 4_000_000
"""Most cells a grid may have: 4 MB of labels a look."""


@dataclass(frozen=True, slots=True, eq=False)
class Discs:
    """A disc round every copy: centres (n, 2) and radii (n,), mm."""

    centre: FloatArray
    radius: FloatArray


def discs_of(artwork: Artwork[Outline]) -> Discs:
    """Return a disc that holds each copy, not always the smallest."""
    index, maps = artwork.placements.shape, artwork.placements.matrix
    if not len(artwork):
        return Discs(np.zeros((0, 2)), np.zeros(0))
    middle, radius = np.zeros((len(artwork.shapes), 2)), np.zeros(len(artwork.shapes))
    for i, shape in enumerate(artwork.shapes):
        # A cubic lies in the hull of its control points.
        points = shape.segments.reshape(-1, 2)
        if len(points):
            middle[i] = 0.5 * (points.min(axis=0) + points.max(axis=0))
            radius[i] = np.hypot(*(points - middle[i]).T).max()
    x, y = middle[index, 0], middle[index, 1]
    centre = np.stack([maps[:, row, 0] * x + maps[:, row, 1] * y + maps[:, row, 2] for row in (0, 1)], axis=1)
    return Discs(centre, radius[index] * affine.largest_stretch(maps))


def sides_of(discs: Discs, region: Region) -> IntArray:
    """Return for each disc whether it lies inside the region, outside, or perhaps across its edge, shape (n,).

    Discs of like size share a grid whose cells are as wide as the largest of them.
    """
    sides = np.full(len(discs.radius), OUTSIDE, dtype=np.int64)
    if region.is_empty:
        return sides
    edges = edges_of(region)
    size = np.ceil(np.log2(np.maximum(discs.radius, 1e-9)))
    for each in np.unique(size):
        which = np.flatnonzero(size == each)
        sides[which] = _sides(discs.centre[which], float(discs.radius[which].max()) * (1.0 + 1e-6), edges, region)
    # The grid is generous; a third of what it calls near is not, and is told apart by the distance itself.
    near = np.flatnonzero(sides == NEAR)
    x, y = discs.centre[near, 0], discs.centre[near, 1]
    edge = shapely.boundary(region.shape)
    shapely.prepare(edge)
    clear = ~np.asarray(shapely.dwithin(edge, shapely.points(x, y), discs.radius[near] * (1.0 + 1e-6)), dtype=bool)
    held = shapely.contains_xy(region.shape, x[clear], y[clear])
    sides[near[clear]] = np.where(held, INSIDE, OUTSIDE)
    return sides


def _sides(centres: FloatArray, radius: float, edges: FloatArray, region: Region) -> IntArray:
    low, high = centres.min(axis=0), centres.max(axis=0)
    span = high - low
    cell = max(radius, float(np.sqrt(span[0] * span[1] / _CELLS)), float(span.max()) / (_CELLS / 64), 1e-9)
    low = low - 3.0 * cell
    columns, rows = (np.ceil((high + 3.0 * cell - low) / cell).astype(np.int64) + 1).tolist()
    marked = _marked(edges, low, cell, columns, rows)
    # Unmarked cells side by side in a column lie on the same side; one of each row of them is asked.
    begins = ~marked
    begins[:, 1:] &= marked[:, :-1]
    x, y = np.nonzero(begins)
    held = shapely.contains_xy(region.shape, low[0] + (x + 0.5) * cell, low[1] + (y + 0.5) * cell)
    row = np.cumsum(begins, dtype=np.int32).reshape(columns, rows)
    side = np.append(OUTSIDE, np.where(held, INSIDE, OUTSIDE)).astype(np.int8)
    label = np.where(marked, np.int8(NEAR), side[row])
    at = np.floor((centres - low) / cell).astype(np.int64)
    return np.asarray(label[at[:, 0], at[:, 1]], dtype=np.int64)


def _marked(edges: FloatArray, low: FloatArray, cell: float, columns: int, rows: int) -> np.ndarray:
    """Return the cells in which a disc as wide as a cell may reach an edge, shape (columns, rows)."""
    marked = np.zeros((columns, rows), dtype=bool)
    box = np.array([[0, 0], [columns, rows]]) * cell + low
    reach = 3.0 * cell
    inside = np.all((edges.max(axis=1) >= box[0] - reach) & (edges.min(axis=1) <= box[1] + reach), axis=1)
    edges = edges[inside]
    along = edges[:, 1] - edges[:, 0]
    # Samples half a cell apart: an edge within one cell of a centre has a sample within 1.25 cells of it, and that
    # lies at most two columns and two rows off, never two of both.
    steps = np.ceil(np.hypot(*along.T) / (0.5 * cell)).astype(np.int64) + 1
    edge = np.repeat(np.arange(len(edges)), steps)
    share = (np.arange(len(edge)) - np.repeat(np.cumsum(steps) - steps, steps)) / np.maximum(steps[edge] - 1, 1)
    at = np.floor((edges[edge, 0] + share[:, None] * along[edge] - low) / cell).astype(np.int64)
    at = at[np.all((at >= -2) & (at < [columns + 2, rows + 2]), axis=1)]
    # Each cell once, as one number, the two beyond either end of the grid counted in.
    number = np.unique((at[:, 0] + 2) * (rows + 4) + at[:, 1] + 2)
    at = np.stack([number // (rows + 4) - 2, number % (rows + 4) - 2], axis=1)
    for right in range(-2, 3):
        for down in range(-2, 3):
            if abs(right) + abs(down) < 4:
                x, y = at[:, 0] + right, at[:, 1] + down
                kept = (x >= 0) & (x < columns) & (y >= 0) & (y < rows)
                marked[x[kept], y[kept]] = True
    return marked
