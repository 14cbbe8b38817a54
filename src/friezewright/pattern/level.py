"""A motif as the row method takes it: a polygon, filled where no other copy can reach, and grown by half the gap.

Two copies keep the gap exactly when both, grown by half of it, keep clear of each other. Growing by the gap covers
every slit narrower than twice the gap, so whatever lies in such slits and small holes decides nothing: they are filled
first (a morphological closing; a motif with veins and dots becomes little more than its silhouette). The pitches stay
exactly those of the motif itself.
"""

from __future__ import annotations

from enum import StrEnum

import numpy as np

from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import Outline
from friezewright.geometry.planar.region import Region, edges_of, inset, outset, region_of, union
from friezewright.pattern.contact import MEASURE_MM
from friezewright.pattern.pieces import Pieces, grown, pieces_of_edges
from friezewright.pattern.pitch import OwnPitches, own_pitches
from friezewright.pattern.rows import Facing, Rows

__all__ = ["Level", "Partner", "coarse_level", "fine_level"]

_COARSE_MM = 0.01
_EXCESS_MM = 0.0005
"""How far the polygon of each growing disc may reach beyond it; both copies grow."""

_FILL = 0.97
_FILL_BACK = 1.02
"""Slits are filled by growing a little less than the gap, and shrinking back a little more than that: the planar engine
may grow a hollow too far by a hundredth, and what is filled must never stand out of the true closing."""

_LEAST_FILLED_MM = 0.1
"""Below this gap the flattening of the filling discs would count, and there is little to fill."""


class Partner(StrEnum):
    """How the second copy of a pair relates to the first."""

    SAME = "same"
    HALF_TURN = "half-turn"
    MIRRORED = "mirrored"
    """Across the strip: left becomes right."""

    FLIPPED = "flipped"
    """Along the strip: top becomes bottom; with a shift of half the pitch, strict, the strip has a glide."""

    @property
    def signs(self) -> tuple[float, float]:
        """What the partner does to x and to y."""
        return _SIGNS[self]


_SIGNS = {
    Partner.SAME: (1.0, 1.0),
    Partner.HALF_TURN: (-1.0, -1.0),
    Partner.MIRRORED: (-1.0, 1.0),
    Partner.FLIPPED: (1.0, -1.0),
}


class Level:
    """A motif as a polygon of some fineness, with what its own copies allow."""

    def __init__(self, motif: Outline, gap_mm: float, tolerance_mm: float) -> None:
        # Both outlines may stray by their flattening; with twice that on top the true gap is never smaller than asked.
        self.gap_mm = gap_mm + 2.0 * MEASURE_MM
        edges = _edges(region_of(motif, tolerance_mm=tolerance_mm), gap_mm)
        solid = pieces_of_edges(edges[:, 0], edges[:, 1])
        self._grown: Pieces = grown(solid, 0.5 * self.gap_mm, excess_mm=max(_EXCESS_MM, 0.5 * tolerance_mm))
        self._facing: dict[Partner, Facing] = {}
        self.own: OwnPitches = own_pitches(self.rows(Partner.SAME, np.zeros(1)).row(0))

    def rows(self, partner: Partner, shifts: FloatArray) -> Rows:
        """Return the forbidden runs of the partner against the motif."""
        if partner not in self._facing:
            sign_x, sign_y = partner.signs
            image = self._grown.mirrored() if sign_x < 0.0 else self._grown
            image = image.flipped() if sign_y < 0.0 else image
            self._facing[partner] = Facing(self._grown, image, even=partner is Partner.FLIPPED)
        return self._facing[partner].rows(shifts)


def _edges(region: Region, gap_mm: float) -> FloatArray:
    """Return the edges of a region, filled where that makes them fewer, shape (n, 2, 2)."""
    edges = edges_of(region)
    if gap_mm < _LEAST_FILLED_MM:
        return edges
    reach = _FILL * gap_mm
    filled = edges_of(union(region, inset(outset(region, reach), _FILL_BACK * reach)))
    return filled if len(filled) < len(edges) else edges


def coarse_level(motif: Outline, gap_mm: float) -> Level:
    """Return the motif as the polygon that shows which shifts are worth a closer look."""
    return Level(motif, gap_mm, _COARSE_MM)


def fine_level(motif: Outline, gap_mm: float) -> Level:
    """Return the motif as the polygon on which gaps are measured."""
    return Level(motif, gap_mm, MEASURE_MM)
