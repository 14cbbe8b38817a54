"""Rims, cutouts, reserves and named areas from the figures of a job: circles, rectangles, slots and polygons.

Figures are taken as they are or refused: a radius that does not fit is an error, never made to fit in silence.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from friezewright.errors import PanelError
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import Outline, circle, polygon, rounded_polygon, rounded_rectangle
from friezewright.geometry.tolerance import COINCIDENT_MM

__all__ = ["LARGEST_MM", "Point", "disc", "polygonal", "rectangle", "slot"]

Point = tuple[float, float]

LARGEST_MM = 5000.0
"""Largest panel taken on, along either side."""

# Ten panels away from the origin a figure is a slip of the keyboard, and doubles begin to lose what is promised.
_FARTHEST_MM = 10.0 * LARGEST_MM


def _checked(part: str, what: str, values: Sequence[float]) -> None:
    for value in values:
        if not math.isfinite(value):
            raise PanelError(part, f"has {value} in its {what}", "give finite lengths in mm")
        if abs(value) > _FARTHEST_MM:
            raise PanelError(
                part, f"has {value:g} mm in its {what}", f"panels up to {LARGEST_MM:g} mm a side are taken on"
            )


def _size(part: str, what: str, value: float, at: Point) -> None:
    if value <= 0.0:
        raise PanelError(part, f"has a {what} of {value:g} mm", "give one above zero", at)


def disc(part: str, centre_mm: Point, diameter_mm: float) -> Outline:
    """Return a round rim, cutout or reserve.

    Parameters
    ----------
    part
        What messages call it.
    centre_mm, diameter_mm
        Its figures.

    Raises
    ------
    PanelError
        If a figure is not finite, out of reach, or the diameter is not above zero.
    """
    _checked(part, "centre", centre_mm)
    _checked(part, "diameter", [diameter_mm])
    _size(part, "diameter", diameter_mm, centre_mm)
    return circle(centre_mm, diameter_mm / 2.0)


def rectangle(part: str, box_mm: tuple[float, float, float, float], corner_radius_mm: float = 0.0) -> Outline:
    """Return a rectangle ``(x, y, width, height)``, its corners rounded or sharp.

    Raises
    ------
    PanelError
        If a figure is not finite or out of reach, a side not above zero, or the radius negative or more than half the
        shorter side.
    """
    _checked(part, "figures", [*box_mm, corner_radius_mm])
    x, y, width, height = box_mm
    _size(part, "width", width, (x, y))
    _size(part, "height", height, (x, y))
    most = min(width, height) / 2.0
    if not 0.0 <= corner_radius_mm <= most:
        raise PanelError(
            part, f"has a corner radius of {corner_radius_mm:g} mm", f"give one from 0 to {most:g} mm", (x, y)
        )
    return rounded_rectangle((x, y), (width, height), corner_radius_mm)


def slot(part: str, box_mm: tuple[float, float, float, float], *, ends: str = "round") -> Outline:
    """Return a slot that fills the box ``(x, y, width, height)``.

    Parameters
    ----------
    part, box_mm
        As for :func:`rectangle`.
    ends
        ``round`` or ``square``.

    Raises
    ------
    PanelError
        As for :func:`rectangle`, or if the ends are of another kind.
    """
    if ends not in ("round", "square"):
        raise PanelError(part, f"has ends = {ends!r}", 'give "round" or "square"', box_mm[:2])
    _checked(part, "figures", box_mm)
    return rectangle(part, box_mm, max(0.0, min(box_mm[2:]) / 2.0) if ends == "round" else 0.0)


def polygonal(part: str, corners_mm: Sequence[Point], corner_radius_mm: float = 0.0) -> Outline:
    """Return a polygon, such as an L, its corners rounded by one radius or sharp; either way round.

    A corner written twice counts once.

    Raises
    ------
    PanelError
        If a figure is not finite or out of reach, there are fewer than three corners, or the arcs of two corners would
        overlap.
    """
    _checked(part, "corners", [value for corner in corners_mm for value in corner])
    _checked(part, "corner radius", [corner_radius_mm])
    points = np.array(corners_mm, dtype=np.float64).reshape(-1, 2)
    if len(points):
        step = points - np.roll(points, 1, axis=0)
        points = points[np.hypot(step[:, 0], step[:, 1]) > COINCIDENT_MM]
    if len(points) < 3:
        raise PanelError(part, f"has {len(points)} different corners", "give three or more")
    if corner_radius_mm < 0.0:
        raise PanelError(part, f"has a corner radius of {corner_radius_mm:g} mm", "give one of 0 or more")
    if corner_radius_mm == 0.0:
        return polygon(points)
    _fits(part, points, corner_radius_mm)
    return rounded_polygon(points, corner_radius_mm)


def _fits(part: str, points: FloatArray, radius_mm: float) -> None:
    """Refuse a radius whose arcs need more of an edge than there is."""
    before, after = points - np.roll(points, 1, axis=0), np.roll(points, -1, axis=0) - points
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    along = before[:, 0] * after[:, 0] + before[:, 1] * after[:, 1]
    # Share of the radius that an arc takes off each of its two edges.
    share = np.abs(np.tan(np.arctan2(cross, along) / 2.0))
    edge = np.hypot(after[:, 0], after[:, 1])
    most = edge / np.maximum(share + np.roll(share, -1), 1e-300)
    tightest = int(np.argmin(most))
    if radius_mm > most[tightest] * (1.0 + 1e-9):
        x, y = points[tightest]
        raise PanelError(
            part,
            f"has a corner radius of {radius_mm:g} mm, too large for its edge",
            f"give one up to {most[tightest]:.2f} mm",
            (float(x), float(y)),
        )
