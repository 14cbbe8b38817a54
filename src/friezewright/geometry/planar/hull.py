"""An area with its bays: convex hulls, and how much of the bays another area fills."""

from __future__ import annotations

import shapely

from friezewright.geometry.artwork import Artwork
from friezewright.geometry.cubic import signed_area
from friezewright.geometry.outline import Outline
from friezewright.geometry.planar.region import Region, difference, region_of, union

__all__ = ["Bays"]


class Bays:
    """The bays of one copy: what its convex hull holds besides the copy itself.

    Parameters
    ----------
    outline
        The copy, where it stands; its holes count as part of it.
    tolerance_mm
        Furthest its polygon may lie from its curves.
    """

    def __init__(self, outline: Outline, *, tolerance_mm: float) -> None:
        shells = [i for i, loop in enumerate(outline.loops()) if _is_shell(outline, loop)]
        filled = region_of(outline.selected(shells), tolerance_mm=tolerance_mm)
        hull = Region(shapely.convex_hull(filled.shape))
        self._bays = difference(hull, filled)
        self._tolerance_mm = tolerance_mm
        self.hull_mm2 = hull.area_mm2()
        self.area_mm2 = self._bays.area_mm2()

    def filled_share(self, neighbours: Artwork[Outline]) -> float:
        """Return which share of the bays is filled by other copies, 0 to 1; 0 where there are no bays."""
        if self.area_mm2 <= 0.0 or not len(neighbours):
            return 0.0
        ink = union(*(region_of(copy, tolerance_mm=self._tolerance_mm) for copy in neighbours.copies()))
        return (self.area_mm2 - difference(self._bays, ink).area_mm2()) / self.area_mm2


def _is_shell(outline: Outline, loop: slice) -> bool:
    return signed_area(outline.segments[loop]) > 0.0
