"""Ranking strips: what a designer looks for, as numbers, so that the best ideas are shown first.

Each mark lies between 0 and 1. They are multiplied with weights as powers, so that one bad mark cannot be bought off by
the others. The weights and formulas are judgement, tried on pictures of strips of many motifs; nothing here is proved.

=============  ======  ==========================================================================================
mark           weight  what it looks at
=============  ======  ==========================================================================================
tightness       0.28   length and ground saved against copies that stand side by side in their boxes
bays            0.17   how much of a motif's bays its neighbours fill
even_gap        0.20   whether the channel between neighbours is of one width, and narrow, along its whole way
balance         0.10   ink above and below the middle alike, and evenly along the strip
straight_edge   0.10   whether the strip's two edges read as lines
rhythm          0.08   even steps, a true symmetry, and a partner that is not a plain copy
void            0.07   no large hole in the ground
=============  ======  ==========================================================================================
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from friezewright.geometry.affine import FloatArray
from friezewright.geometry.artwork import Artwork, Placements
from friezewright.geometry.cubic import signed_area
from friezewright.geometry.outline import BoolArray, IntArray, Outline
from friezewright.geometry.planar.hull import Bays
from friezewright.geometry.spans import spans
from friezewright.pattern.groups import FriezeGroup
from friezewright.pattern.repeat import Repeat

__all__ = ["CALM", "LIVELY", "WEIGHTS", "Marks", "marks_of", "weights_for"]

WEIGHTS: Mapping[str, float] = {
    "tightness": 0.28,
    "bays": 0.17,
    "even_gap": 0.20,
    "balance": 0.10,
    "straight_edge": 0.10,
    "rhythm": 0.08,
    "void": 0.07,
}
# What a calm strip is judged by more, and a lively one less.
_CALM_MARKS = ("straight_edge", "balance", "rhythm")
CALM, LIVELY = 0.0, 1.0

# Pixels across a strip's height, and the tolerance of outlines as a share of it: finer changes no mark by 0.01.
_PIXELS = 96
_OUTLINE_SHARE = 2e-3
# How much length saved counts against ground saved. The eye sees that two copies step into each other, not that the
# strip is a little lower: with even weights, leaning poppy heads came before upright ones that save four times as much.
_LENGTH = 0.85
# Bays smaller than this share of the hull are a shape's own roundness, neither good nor bad.
_FEW_BAYS = 0.06


@dataclass(frozen=True, slots=True, kw_only=True)
class Marks:
    """The marks of one strip, 0 to 1 each, and what they were computed from.

    Parameters
    ----------
    tightness, bays, even_gap, balance, straight_edge, rhythm, void
        As the module's table says.
    length_saved
        Share of the length saved against boxes side by side.
    bay_filled
        Share of a motif's bays that its neighbours fill.
    """

    tightness: float
    bays: float
    even_gap: float
    balance: float
    straight_edge: float
    rhythm: float
    void: float
    length_saved: float
    bay_filled: float

    def total(self, weights: Mapping[str, float] = WEIGHTS) -> float:
        """Return the weighted geometric mean of the marks, 0 to 1."""
        log = sum(weight * math.log(max(getattr(self, name), 1e-3)) for name, weight in weights.items())
        return math.exp(log / sum(weights.values()))


def weights_for(liveliness: float) -> dict[str, float]:
    """Return the weights between :data:`CALM` (edges and balance count most) and :data:`LIVELY` (tightness does).

    At a half they are :data:`WEIGHTS`.
    """
    if not CALM <= liveliness <= LIVELY:
        raise ValueError(f"liveliness lies between {CALM:g} and {LIVELY:g}, got {liveliness}")
    calm = 3.0 ** (1.0 - 2.0 * liveliness)
    scaled = {name: weight * (calm if name in _CALM_MARKS else 1.0 / calm) for name, weight in WEIGHTS.items()}
    total = sum(scaled.values())
    return {name: weight / total for name, weight in scaled.items()}


def marks_of(strip: Repeat, *, box_mm: tuple[float, float], gap_mm: float) -> Marks:
    """Return the marks of a strip.

    Parameters
    ----------
    strip
        As it was laid out.
    box_mm
        Width and height of one motif's box, as it stands in the strip.
    gap_mm
        The gap asked.
    """
    count = len(strip.cell)
    box_w, box_h = (float(side) for side in box_mm)
    area = strip.pitch_mm * (strip.height_mm + gap_mm)
    saved = 1.0 - area / (count * (box_w + gap_mm) * (box_h + gap_mm))
    length_saved = 1.0 - strip.pitch_mm / (count * (box_w + gap_mm))
    tolerance = _OUTLINE_SHARE * box_h
    filled, has_bays = _bay_filling(strip, tolerance)
    ground = _Ground(strip, gap_mm)
    return Marks(
        tightness=_unit(0.3 + 2.0 * (_LENGTH * length_saved + (1.0 - _LENGTH) * saved)),
        bays=_unit(0.2 + 1.6 * filled) if has_bays else 0.5,
        even_gap=ground.even_gap(),
        balance=ground.balance(),
        straight_edge=ground.straight_edge(),
        rhythm=_rhythm(strip),
        void=ground.void(),
        length_saved=length_saved,
        bay_filled=filled,
    )


def _unit(value: float) -> float:
    return min(1.0, max(0.0, value))


def _bay_filling(strip: Repeat, tolerance_mm: float) -> tuple[float, bool]:
    """Return the share of the first copy's bays that its neighbours fill, and whether it has bays worth the name."""
    around = strip.copies(strip.cover(_widened(strip.bounds(), strip.pitch_mm)))
    own = int(np.flatnonzero(np.all(np.isclose(around.placements.matrix, strip.cell.matrix[0]), axis=(1, 2)))[0])
    outline = around.shapes[around.placements.shape[own]].transformed(around.placements.matrix[own])
    bays = Bays(outline, tolerance_mm=tolerance_mm)
    if bays.area_mm2 < _FEW_BAYS * bays.hull_mm2:
        return 0.0, False
    others = np.arange(len(around)) != own
    return bays.filled_share(around.chosen(others)), True


def _widened(bounds: FloatArray, by_mm: float) -> FloatArray:
    return np.asarray(bounds + np.array([[-by_mm, 0.0], [by_mm, 0.0]]))


def _rhythm(strip: Repeat) -> float:
    """Return the mark for steps, symmetry and a partner."""
    if len(strip.cell) == 1:
        return 0.6
    centres = np.sort(np.array([_middle(strip, i) for i in range(len(strip.cell))]) % strip.pitch_mm)
    steps = np.diff(np.append(centres, centres[0] + strip.pitch_mm))
    even = 0.4 + 0.6 * float(steps.min() / steps.max())
    plain = bool(np.all(strip.cell.matrix[:, :, :2] == strip.cell.matrix[0, :, :2]))
    symmetric = 0.75 if strip.group is FriezeGroup.P1 else 1.0
    return even * symmetric * (0.6 if plain else 1.0)


def _middle(strip: Repeat, index: int) -> float:
    (low, _), (high, _) = strip.shapes[strip.cell.shape[index]].transformed(strip.cell.matrix[index]).bounds()
    return 0.5 * float(low + high)


class _Ground:
    """The strip on a grid of pixels: two periods wide, of which one is judged."""

    def __init__(self, strip: Repeat, gap_mm: float) -> None:
        (_, top), (_, bottom) = strip.bounds()
        self.pixel_mm = strip.height_mm / _PIXELS
        self.gap_mm, self.height_mm = gap_mm, strip.height_mm
        width = max(4, round(strip.pitch_mm / self.pixel_mm))
        self.across_mm = strip.pitch_mm / width
        copies = strip.copies(strip.cover(np.array([[-strip.pitch_mm, top], [2.0 * strip.pitch_mm, bottom]])))
        self.middle = slice(width, 2 * width)
        self.rows = (math.floor(top / self.pixel_mm), _PIXELS)
        self.columns = (-width, 3 * width)
        solid = Artwork(tuple(_without_holes(shape) for shape in copies.shapes), copies.placements)
        self.owner: IntArray = np.zeros((_PIXELS, 3 * width), dtype=np.int64)
        for index in range(len(solid)):
            self.owner[self._pixels(solid.chosen(np.array([index])))] = index + 1
        self.ink = self._pixels(copies)
        sampling = (self.pixel_mm, self.across_mm)
        empty = self.owner == 0
        distance, nearest = ndimage.distance_transform_edt(empty, sampling=sampling, return_indices=True)
        self.distance: FloatArray = distance
        self.nearest: IntArray = self.owner[tuple(nearest)]

    def _pixels(self, copies: Artwork[Outline]) -> BoolArray:
        """Return which pixels' middles lie inside, by the lines through the rows of pixels."""
        first_row, rows = self.rows
        first_column, columns = self.columns
        placements = copies.placements
        # Lines are spaced alike in both directions only if columns are as wide as rows are high; x is scaled to that.
        scale = np.array([[self.pixel_mm / self.across_mm], [1.0]])
        stretched = Placements(matrix=placements.matrix * scale, shape=placements.shape, member=placements.member)
        found = spans(Artwork(copies.shapes, stretched), spacing_mm=self.pixel_mm, tolerance_mm=0.25 * self.pixel_mm)
        change = np.zeros((rows, columns + 1), dtype=np.int64)
        ends = np.clip(np.round(found.along / self.pixel_mm).astype(np.int64) - first_column, 0, columns)
        row = found.line - first_row
        inside = (row >= 0) & (row < rows)
        np.add.at(change, (row[inside], ends[inside, 0]), 1)
        np.add.at(change, (row[inside], ends[inside, 1]), -1)
        return np.asarray(np.cumsum(change, axis=1)[:, :-1] > 0)

    def even_gap(self) -> float:
        """Return the mark for the channel: pixels where the nearest copy changes are its middle line."""
        nearest, distance = self.nearest, self.distance
        ridge = np.zeros_like(nearest, dtype=bool)
        ridge[:, :-1] |= nearest[:, :-1] != nearest[:, 1:]
        ridge[:-1] |= nearest[:-1] != nearest[1:]
        width = 2.0 * distance[:, self.middle][ridge[:, self.middle] & (self.owner[:, self.middle] == 0)]
        if not len(width):
            return 0.05
        spread = float(width.std() / max(width.mean(), 1e-9))
        narrow = float(np.mean(width < 1.8 * self.gap_mm + 2.0 * self.pixel_mm))
        return _unit(math.sqrt(0.1 + 1.8 * narrow) / (1.0 + spread * spread))

    def balance(self) -> float:
        """Return the mark for ink alike above and below, and even along the strip."""
        ink = self.ink[:, self.middle]
        total = max(int(ink.sum()), 1)
        half = _PIXELS // 2
        tilt = abs(int(ink[:half].sum()) - int(ink[_PIXELS - half :].sum())) / total
        columns = ink.sum(axis=0).astype(np.float64)
        smooth = ndimage.uniform_filter1d(columns, max(1, len(columns) // 4), mode="wrap")
        spread = float(smooth.std() / max(smooth.mean(), 1e-9))
        return _unit((1.0 - tilt) / (1.0 + 4.0 * spread * spread))

    def straight_edge(self) -> float:
        """Return the mark for how little the ink recedes from the strip's two edges."""
        ink = self.owner[:, self.middle] > 0
        recess = 0.0
        for rows in (ink, ink[::-1]):
            first = np.where(rows.any(axis=0), rows.argmax(axis=0), _PIXELS)
            recess += float(first.mean()) / _PIXELS
        return _unit(1.0 - recess / 0.8)

    def void(self) -> float:
        """Return the mark for the largest empty disc inside the strip."""
        largest = float(self.distance[:, self.middle].max())
        return _unit(1.0 - 2.0 * (largest - self.gap_mm) / self.height_mm)


def _without_holes(outline: Outline) -> Outline:
    shells = [i for i, loop in enumerate(outline.loops()) if signed_area(outline.segments[loop]) > 0.0]
    return outline.selected(shells)
