"""Endless patterns: a cell of copies, carried along one vector or two.

Places in the lattice stay whole numbers until copies are asked for, and are then multiplied once: however long a strip
grows, no rounding adds up.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from friezewright.errors import GeometryError, LimitError
from friezewright.geometry import affine
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.artwork import Artwork, Placements
from friezewright.geometry.outline import IntArray, Outline, frozen
from friezewright.geometry.planar.nearness import smallest_gap
from friezewright.pattern.contact import MEASURE_MM
from friezewright.pattern.found import found_group
from friezewright.pattern.groups import Group

__all__ = ["MOST_COPIES", "Repeat", "repeat_of"]

MOST_COPIES = 1_000_000
"""The most copies one call hands out."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Repeat:
    """A pattern without end.

    Parameters
    ----------
    vectors
        Repeat vectors, mm: shape (1, 2) for a strip, along +x; (2, 2) for a field.
    shapes
        The shapes shown, mm.
    cell
        The copies in one cell; ``member`` 0 is the motif as drawn, the others are its partners.
    gap_mm
        Smallest distance between two copies of the endless pattern, as measured; 0 where copies overlap.
    group
        The symmetry found in the copies, not the one intended.
    """

    vectors: FloatArray
    shapes: tuple[Outline, ...]
    cell: Placements
    gap_mm: float
    group: Group

    def __post_init__(self) -> None:
        vectors = frozen(self.vectors)
        if vectors.shape not in ((1, 2), (2, 2)) or not np.isfinite(vectors).all():
            raise ValueError(f"a repeat has one finite vector or two, got shape {vectors.shape}")
        if len(vectors) == 1 and (vectors[0, 0] <= 0.0 or vectors[0, 1] != 0.0):
            raise ValueError(f"a strip runs along +x, got {vectors[0]}")
        if len(vectors) == 2 and _area_mm2(vectors) == 0.0:
            raise ValueError("the two vectors of a field must not be parallel")
        if not len(self.cell):
            raise ValueError("a repeat needs at least one copy")
        object.__setattr__(self, "vectors", vectors)

    @property
    def pitch_mm(self) -> float:
        """Length of the first repeat vector."""
        return float(np.hypot(self.vectors[0, 0], self.vectors[0, 1]))

    @property
    def is_strip(self) -> bool:
        """Whether it repeats along one direction only."""
        return len(self.vectors) == 1

    @property
    def height_mm(self) -> float:
        """Extent across a strip (of one cell's copies, for a field)."""
        box = self.bounds()
        return float(box[1, 1] - box[0, 1])

    @property
    def cell_area_mm2(self) -> float:
        """Area of one cell: for a strip, pitch times height."""
        return self.pitch_mm * self.height_mm if self.is_strip else _area_mm2(self.vectors)

    @property
    def ink_share(self) -> float:
        """Share of the cell that the copies cover."""
        areas = [shape.area_mm2() for shape in self.shapes]
        stretch = np.abs(affine.determinant(self.cell.matrix))
        inked = sum(areas[shape] * factor for shape, factor in zip(self.cell.shape, stretch, strict=True))
        return float(inked / self.cell_area_mm2)

    def bounds(self) -> FloatArray:
        """Return the exact box ``[[x0, y0], [x1, y1]]`` of one cell's copies, mm."""
        boxes = np.stack([copy.bounds() for copy in Artwork(self.shapes, self.cell).copies()])
        return np.stack([boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)])

    def shifts(self, steps: ArrayLike) -> FloatArray:
        """Return where whole steps lead: shape (n, 2), mm; each coordinate one product and sum, never a running one."""
        counts = _steps(steps, len(self.vectors))
        moved = counts[:, :1] * self.vectors[0]
        return np.asarray(moved + counts[:, 1:] * self.vectors[1] if len(self.vectors) == 2 else moved)

    def copies(self, steps: ArrayLike) -> Artwork[Outline]:
        """Return the copies of whole cells.

        Parameters
        ----------
        steps
            Whole numbers of repeat vectors, shape (n, 1) or (n, 2), or (n,) for a strip. Copies come cell by cell.

        Raises
        ------
        LimitError
            If there would be more than a million copies.
        """
        shifts, count = self.shifts(steps), len(self.cell)
        _check_count(len(shifts) * count)
        matrix = np.tile(self.cell.matrix, (len(shifts), 1, 1))
        matrix[:, :, 2] += np.repeat(shifts, count, axis=0)
        return Artwork(
            self.shapes,
            Placements(
                matrix=matrix,
                shape=np.tile(self.cell.shape, len(shifts)),
                member=np.tile(self.cell.member, len(shifts)),
            ),
        )

    def cover(self, bounds: ArrayLike) -> IntArray:
        """Return all steps whose copies can touch a box.

        Parameters
        ----------
        bounds
            ``[[x0, y0], [x1, y1]]`` in mm.

        Returns
        -------
        ndarray
            Shape (n, 1) or (n, 2), whole numbers, in rising order.

        Raises
        ------
        LimitError
            If they would hold more than a million copies.
        """
        box, own = np.asarray(bounds, dtype=np.float64), self.bounds()
        low, high = box[0] - own[1], box[1] - own[0]
        if len(self.vectors) == 1:
            if low[1] > 0.0 or high[1] < 0.0:
                return np.zeros((0, 1), dtype=np.int64)
            first, last = np.ceil(low[0] / self.pitch_mm - 1e-9), np.floor(high[0] / self.pitch_mm + 1e-9)
            _check_count((last - first + 1.0) * len(self.cell))
            return np.arange(int(first), int(last) + 1, dtype=np.int64)[:, None]
        corners = np.array([[x, y] for x in (low[0], high[0]) for y in (low[1], high[1])])
        (ax, ay), (bx, by) = self.vectors
        area = ax * by - ay * bx
        i = (corners[:, 0] * by - corners[:, 1] * bx) / area
        j = (ax * corners[:, 1] - ay * corners[:, 0]) / area
        rows = np.arange(np.ceil(j.min() - 1e-9), np.floor(j.max() + 1e-9) + 1.0)
        columns = np.arange(np.ceil(i.min() - 1e-9), np.floor(i.max() + 1e-9) + 1.0)
        _check_count(float(len(rows)) * len(columns))
        steps = np.stack(np.meshgrid(columns, rows, indexing="ij"), axis=-1).reshape(-1, 2).astype(np.int64)
        shifts = self.shifts(steps)
        kept = steps[np.all((shifts >= low - 1e-9) & (shifts <= high + 1e-9), axis=1)]
        _check_count(len(kept) * len(self.cell))
        return np.asarray(kept)

    def spread(self, pitch_mm: float) -> Repeat:
        """Return the strip with its copies moved apart, or together, to another pitch; the gap is measured again.

        Shapes keep their size. Every column of copies moves by the same amount from the one before it, which keeps the
        strip's mirrors, turns and glides.

        Raises
        ------
        ValueError
            If this is no strip, or the pitch is not above 0.
        """
        if not self.is_strip or not pitch_mm > 0.0:
            raise ValueError(f"only a strip can be spread, to a pitch above 0; got {pitch_mm}")
        matrix = self.cell.matrix.copy()
        column = _columns(matrix[:, 0, 2])
        count = int(column.max()) + 1
        matrix[:, 0, 2] += (column - 0.5 * (count - 1)) * ((pitch_mm - self.pitch_mm) / count)
        cell = Placements(matrix=matrix, shape=self.cell.shape, member=self.cell.member)
        return repeat_of(np.array([[pitch_mm, 0.0]]), self.shapes, cell)

    def scaled(self, factor: float) -> Repeat:
        """Return the pattern at another size, gap and all.

        Raises
        ------
        ValueError
            If the factor is not above 0.
        """
        if not factor > 0.0:
            raise ValueError(f"a pattern is scaled by a factor above 0, got {factor}")
        return replace(
            self,
            vectors=self.vectors * factor,
            cell=self.cell.moved(affine.scaling(factor)),
            gap_mm=self.gap_mm * factor,
        )

    def mirrored(self) -> Repeat:
        """Return the mirror image, left to right."""
        # A lattice is the same with a vector turned round, so the first one goes on pointing right.
        signs = np.array([[1.0, -1.0], [-1.0, 1.0]])
        vectors = self.vectors * signs[: len(self.vectors)] + 0.0
        return replace(self, vectors=vectors, cell=self.cell.moved(affine.mirror_x()))

    def turned(self, turn_rad: float) -> Repeat:
        """Return the pattern turned clockwise on screen about the origin; a strip takes half turns only.

        Raises
        ------
        ValueError
            If a strip would no longer run along x.
        """
        turn = affine.rotation(turn_rad)
        if self.is_strip:
            if abs(turn[1, 0]) > 1e-12:
                raise ValueError(f"a strip runs along +x and takes half turns only, got {turn_rad} radians")
            return replace(self, cell=self.cell.moved(turn))
        return replace(self, vectors=affine.apply(turn, self.vectors), cell=self.cell.moved(turn))


def repeat_of(vectors: FloatArray, shapes: tuple[Outline, ...], cell: Placements) -> Repeat:
    """Return a repeat with its gap measured and its group found.

    Raises
    ------
    GeometryError
        If no two copies are found near one another.
    """
    bare = Repeat(vectors=vectors, shapes=shapes, cell=cell, gap_mm=0.0, group=found_group(vectors, shapes, cell))
    return replace(bare, gap_mm=_measured_gap_mm(bare))


def _measured_gap_mm(repeat: Repeat) -> float:
    # Far enough to see: a copy and the same copy one repeat on are never further apart than that repeat.
    reach = float(np.hypot(repeat.vectors[:, 0], repeat.vectors[:, 1]).min())
    known: float | None = None
    # A coarse look first keeps the fine one to near neighbours.
    for tolerance in (0.05, MEASURE_MM):
        found = smallest_gap(_patch(repeat, reach), tolerance_mm=tolerance, reach_mm=reach)
        if found is None:
            raise GeometryError(f"no two copies of a repeat were found within {reach:.3f} mm of each other")
        known = found[0]
        reach = min(reach, known + 2.0 * (tolerance + MEASURE_MM))
    assert known is not None
    return known


def _patch(repeat: Repeat, reach_mm: float) -> Artwork[Outline]:
    """Return every copy that can come within reach of a copy of the cell at the origin, that cell first."""
    own = repeat.bounds()
    steps = repeat.cover(np.stack([own[0] - reach_mm, own[1] + reach_mm]))
    centre = np.all(steps == 0, axis=1)
    return repeat.copies(np.concatenate([steps[centre], steps[~centre]]))


def _steps(steps: ArrayLike, width: int) -> IntArray:
    counts = np.asarray(steps)
    if counts.ndim == 1 and width == 1:
        counts = counts[:, None]
    if counts.ndim != 2 or counts.shape[1] != width or not np.issubdtype(counts.dtype, np.integer):
        raise ValueError(f"steps must be whole numbers of shape (n, {width}), got {counts.dtype} {counts.shape}")
    return counts.astype(np.int64)


def _columns(x_mm: FloatArray) -> IntArray:
    """Return the rank of each x among the different ones, shape (n,)."""
    order = np.argsort(x_mm, kind="stable")
    new = np.concatenate([[0], np.diff(x_mm[order]) > 1e-6]).astype(np.int64)
    column = np.zeros(len(x_mm), dtype=np.int64)
    column[order] = np.cumsum(new)
    return column


def _area_mm2(vectors: FloatArray) -> float:
    return abs(float(vectors[0, 0] * vectors[1, 1] - vectors[0, 1] * vectors[1, 0]))


def _check_count(count: float) -> None:
    if count > MOST_COPIES:
        raise LimitError(f"{count:.0f} copies are more than the {MOST_COPIES} taken on; make the motif larger")
