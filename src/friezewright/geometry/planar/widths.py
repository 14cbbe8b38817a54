"""How thin the thinnest part of an area is, told from its tips and corners, which are always thin somewhere."""

from __future__ import annotations

import numpy as np
import shapely

from friezewright.geometry.planar.region import Region, difference, inset, outset

__all__ = ["thinnest_part"]

# An opening by a disc of width w takes 0.05 w² off a right corner and 1.1 w² off a tip of 20 degrees. A bar that is
# thinner than w and at least twice as long as wide loses more than 2 w²; so that is where a thin part begins.
_LOST = 2.0
_ROUNDS = 10


def thinnest_part(region: Region, *, widest_mm: float) -> tuple[float, tuple[float, float]] | None:
    """Return the width of the thinnest part of a region, and a place in it; None when nothing is under ``widest_mm``.

    A part is thin at width w when opening the region by a disc of that width (shrinking it, then growing it again)
    takes away a piece larger than twice the disc's square: bars, necks and hairlines, not tips and corners.

    Parameters
    ----------
    region
        The area.
    widest_mm
        Widths from this on are of no interest.
    """
    place = _lost_at(region, widest_mm)
    if place is None:
        return None
    low, high = 0.0, widest_mm
    for _ in range(_ROUNDS):
        middle = 0.5 * (low + high)
        found = _lost_at(region, middle)
        if found is None:
            low = middle
        else:
            high, place = middle, found
    return high, place


def _lost_at(region: Region, width_mm: float) -> tuple[float, float] | None:
    """Return a point in the largest piece that opening takes away, or None when all pieces are small."""
    opened = outset(inset(region, 0.5 * width_mm), 0.5 * width_mm)
    parts = shapely.get_parts(difference(region, opened).shape)
    if not len(parts):
        return None
    areas = shapely.area(parts)
    largest = int(np.argmax(areas))
    if areas[largest] < _LOST * width_mm * width_mm:
        return None
    x, y = shapely.get_coordinates(shapely.point_on_surface(parts[largest]))[0]
    return float(x), float(y)
