"""Laying a strip: its copies at any pitch, carried onto a path as whole placements, bent shapes or rigid copies."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from friezewright.geometry import affine
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.artwork import Artwork, Placements, concatenate_artwork
from friezewright.geometry.outline import BoolArray, Outline
from friezewright.geometry.planar.nearness import smallest_gap
from friezewright.ornament.bend import bend_all
from friezewright.ornament.path import Arc, Path, placed_at
from friezewright.pattern.repeat import Repeat

__all__ = ["MEASURE_MM", "StripSizes", "carried", "extents_along", "least_pitch", "ring"]

MEASURE_MM = 0.001
"""Curves are measured within this: the last decimal that is written."""


@dataclass(frozen=True, slots=True, eq=False)
class StripSizes:
    """A strip and how it behaves when its pitch grows, without measuring it anew each time.

    Parameters
    ----------
    strip
        The strip.
    rate
        How far each copy of the cell moves for each millimetre of pitch, shape (m,).
    box
        Bounding box of each copy of the cell, shape (m, 2, 2), mm.
    """

    strip: Repeat
    rate: FloatArray
    box: FloatArray

    @classmethod
    def of(cls, strip: Repeat) -> StripSizes:
        """Return the sizes of a strip."""
        if len(strip.cell) == 1:
            rate = np.zeros(1)
        else:
            wider = strip.spread(strip.pitch_mm + 1.0)
            rate = wider.cell.matrix[:, 0, 2] - strip.cell.matrix[:, 0, 2]
        copies = Artwork(strip.shapes, strip.cell).copies()
        return cls(strip, rate, np.stack([copy.bounds() for copy in copies]))

    def scaled(self, factor: float) -> StripSizes:
        """Return the strip at another size."""
        return self if factor == 1.0 else StripSizes(self.strip.scaled(factor), self.rate, self.box * factor)

    def opened(self, pitch_mm: float, gap_mm: float) -> StripSizes:
        """Return the strip at a larger pitch, at which its gap is known to be ``gap_mm``."""
        by = pitch_mm - self.strip.pitch_mm
        if by == 0.0:
            return self
        matrix = self.strip.cell.matrix.copy()
        matrix[:, 0, 2] += self.rate * by
        cell = Placements(matrix=matrix, shape=self.strip.cell.shape, member=self.strip.cell.member)
        strip = replace(self.strip, vectors=np.array([[pitch_mm, 0.0]]), cell=cell, gap_mm=gap_mm)
        box = self.box.copy()
        box[:, :, 0] += (self.rate * by)[:, None]
        return StripSizes(strip, self.rate, box)

    @property
    def height_mm(self) -> float:
        """Extent across the strip."""
        return float(self.box[:, 1, 1].max() - self.box[:, 0, 1].min())

    def ends(self, pitch_mm: float) -> tuple[float, float]:
        """Return where one repeat's copies begin and end along the strip, in mm from its origin."""
        shift = self.rate * (pitch_mm - self.strip.pitch_mm)
        return float((self.box[:, 0, 0] + shift).min()), float((self.box[:, 1, 0] + shift).max())

    def width(self, pitch_mm: float) -> float:
        """Return the width of one repeat's copies in mm."""
        low, high = self.ends(pitch_mm)
        return high - low

    def laid(self, count: int, pitch_mm: float, *, stretch: float = 1.0) -> Artwork[Outline]:
        """Return ``count`` repeats, the first one's copies beginning at x = 0.

        Parameters
        ----------
        count
            How many repeats.
        pitch_mm
            Their pitch as drawn, stretch included.
        stretch
            Factor by which shapes are drawn out along the strip.
        """
        cell = self.strip.cell
        matrix = cell.matrix.copy()
        matrix[:, 0, 2] += self.rate * (pitch_mm / stretch - self.strip.pitch_mm)
        if stretch != 1.0:
            matrix = affine.compose(affine.scaling(stretch, 1.0), matrix)
        matrix = np.tile(matrix, (count, 1, 1))
        begin = stretch * self.ends(pitch_mm / stretch)[0]
        matrix[:, 0, 2] += np.repeat(pitch_mm * np.arange(count), len(cell)) - begin
        return Artwork(
            self.strip.shapes,
            Placements(matrix=matrix, shape=np.tile(cell.shape, count), member=np.tile(cell.member, count)),
        )


def extents_along(artwork: Artwork[Outline]) -> FloatArray:
    """Return where each copy begins and ends along x, exactly, shape (n, 2)."""
    placements = artwork.placements
    # Copies differ mostly by their shifts, so each linear part of each shape is measured once.
    key = np.concatenate([placements.matrix[:, :, :2].reshape(-1, 4), placements.shape[:, None]], axis=1)
    kinds, of = np.unique(key, axis=0, return_inverse=True)
    spans = np.zeros((len(kinds), 2))
    for k, kind in enumerate(kinds):
        matrix = np.concatenate([kind[:4].reshape(2, 2), np.zeros((2, 1))], axis=1)
        spans[k] = artwork.shapes[int(kind[4])].transformed(matrix).bounds()[:, 0]
    return np.asarray(spans[of.reshape(-1)] + placements.matrix[:, 0, 2:])


def carried(artwork: Artwork[Outline], path: Path, *, rigid: bool, tolerance_mm: float) -> Artwork[Outline]:
    """Return artwork laid along x carried onto a path.

    Copies that lie wholly over a straight piece stay placements of their shape. The others are bent, each becoming a
    shape of its own, or, when ``rigid``, turned to the direction at their middle.
    """
    if not len(artwork):
        return artwork
    span = extents_along(artwork)
    straight = path.straight_over(span[:, 0], span[:, 1])
    middle = 0.5 * (span[:, 0] + span[:, 1])
    if rigid:
        straight = np.ones(len(artwork), dtype=bool)
    parts = []
    if straight.any():
        parts.append(_turned(artwork.chosen(straight), path, middle[straight]))
    if not straight.all():
        parts.append(_bent(artwork, ~straight, path, tolerance_mm))
    return concatenate_artwork(parts)


def _turned(artwork: Artwork[Outline], path: Path, middle: FloatArray) -> Artwork[Outline]:
    frames = path.frames(middle)
    back = affine.translation(np.stack([-middle, np.zeros(len(middle))], axis=1))
    matrix = affine.compose(placed_at(frames), affine.compose(back, artwork.placements.matrix))
    return Artwork(
        artwork.shapes,
        Placements(matrix=matrix, shape=artwork.placements.shape, member=artwork.placements.member),
    )


def _bent(artwork: Artwork[Outline], which: BoolArray, path: Path, tolerance_mm: float) -> Artwork[Outline]:
    chosen = artwork.chosen(which)
    shapes = bend_all(list(chosen.copies()), path, tolerance_mm=tolerance_mm)
    count = len(shapes)
    return Artwork(
        shapes,
        Placements(matrix=affine.identity(count), shape=np.arange(count), member=chosen.placements.member),
    )


def ring(
    sizes: StripSizes,
    path: Path,
    *,
    count: int,
    start_mm: float,
    rigid: bool,
    stretch: float = 1.0,
    tolerance_mm: float,
) -> Artwork[Outline]:
    """Return a strip laid once round a closed path, the middle of its first repeat at ``start_mm``.

    Round a circle each copy of the cell is bent once and turned ``count`` times, exactly.
    """
    pitch = path.length_mm / count
    low, high = (stretch * end for end in sizes.ends(pitch / stretch))
    shift = affine.translation((start_mm + low if len(sizes.box) > 1 else start_mm - 0.5 * (high - low), 0.0))
    only = path.pieces[0]
    if len(path.pieces) > 1 or not isinstance(only, Arc):
        laid = sizes.laid(count, pitch, stretch=stretch).moved(shift)
        return carried(laid, path, rigid=rigid, tolerance_mm=tolerance_mm)
    first = carried(sizes.laid(1, pitch, stretch=stretch).moved(shift), path, rigid=rigid, tolerance_mm=tolerance_mm)
    turns = affine.rotation(
        math.copysign(2.0 * math.pi, only.sweep_rad) * np.arange(count) / count,
        (float(only.centre[0]), float(only.centre[1])),
    )
    cell = first.placements
    matrix = affine.compose(turns[:, None], cell.matrix[None]).reshape(-1, 2, 3)
    return Artwork(
        first.shapes,
        Placements(matrix=matrix, shape=np.tile(cell.shape, count), member=np.tile(cell.member, count)),
    )


def least_pitch(
    sizes: StripSizes, *, gap_mm: float, radii_mm: tuple[float, ...], rigid: bool, most_mm: float
) -> float | None:
    """Return the smallest pitch, from the strip's own up to ``most_mm``, at which copies keep the gap on every bend.

    Parameters
    ----------
    sizes
        The strip.
    gap_mm
        Gap asked.
    radii_mm
        Radii of the bends of the centreline, positive where it turns towards the strip's +y; empty for a straight
        path.
    rigid
        Whether copies are turned whole on the bends.
    most_mm
        Largest pitch to try.

    Returns
    -------
    float or None
        None if even the largest pitch keeps copies nearer than asked.
    """
    pitch = sizes.strip.pitch_mm
    arcs = [
        Path((Arc(centre=np.array([0.0, 0.0]), radius_mm=abs(r), start_rad=0.0, sweep_rad=math.copysign(1.0, r)),))
        for r in radii_mm
    ]
    for arc in [None, *arcs]:
        found = _least_pitch_on(sizes, arc, gap_mm, rigid, pitch, most_mm)
        if found is None:
            return None
        pitch = found
    return pitch


def _least_pitch_on(
    sizes: StripSizes, arc: Path | None, gap_mm: float, rigid: bool, low: float, most: float
) -> float | None:
    if arc is None and low == sizes.strip.pitch_mm:
        found = sizes.strip.gap_mm
    else:
        found = _gap_at(sizes, arc, low, gap_mm, rigid)
    # Bending strays by the tolerance it is done with, on either side of the gap.
    if found >= gap_mm - (MEASURE_MM if arc is None else 3.0 * MEASURE_MM):
        return low
    # From here on every pitch is judged by the exact gap; ``high`` always keeps it, ``low`` never does.
    short, high, over, step = gap_mm - found, low, -1.0, 1.5 * (gap_mm - found)
    while over < 0.0:
        if high >= most:
            return None
        # Where the nearest copies stand one above the other no pitch helps; doubling finds that out soon.
        high, step = min(most, high + step), 2.0 * step
        over = _gap_at(sizes, arc, high, gap_mm, rigid) - gap_mm
    for _ in range(30):
        if over <= 0.5 * MEASURE_MM or high - low <= 0.1 * MEASURE_MM:
            break
        # The gap grows almost evenly with the pitch, so the chord nearly meets it; aiming a little high keeps it.
        middle = low + (high - low) * min(0.9, max(0.1, (short + 0.2 * MEASURE_MM) / (short + over)))
        found = _gap_at(sizes, arc, middle, gap_mm, rigid) - gap_mm
        if found >= 0.0:
            high, over = middle, found
        else:
            low, short = middle, -found
    return high


def _gap_at(sizes: StripSizes, arc: Path | None, pitch_mm: float, gap_mm: float, rigid: bool) -> float:
    """Return the smallest gap between copies at a pitch, straight or on an arc; three gaps if none is smaller."""
    # A copy can reach as far as one repeat is wide, so that many neighbours are laid beside the first.
    count = 1 + max(1, math.ceil(sizes.width(pitch_mm) / pitch_mm))
    row = sizes.laid(count, pitch_mm)
    if arc is not None:
        row = carried(row, arc, rigid=rigid, tolerance_mm=MEASURE_MM)
    # A coarse look first keeps the fine one to the pairs that matter.
    coarse = smallest_gap(row, tolerance_mm=20.0 * MEASURE_MM, reach_mm=3.0 * gap_mm)
    if coarse is None:
        return 3.0 * gap_mm
    found = smallest_gap(row, tolerance_mm=MEASURE_MM, reach_mm=coarse[0] + 50.0 * MEASURE_MM)
    return coarse[0] if found is None else found[0]
