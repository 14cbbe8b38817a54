"""The panel: a rim, the openings in it, what ornament leaves free, and the lines that are cut.

A panel is checked when it is made, so that everything after it can rely on one rim that does not cross itself, and on
openings that lie inside it and apart from each other.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from friezewright.errors import PanelError
from friezewright.geometry import cubic
from friezewright.geometry.outline import Outline, concatenate
from friezewright.geometry.planar.region import (
    Region,
    difference,
    distance_to_edge,
    intersection,
    largest_disc,
    outset,
    region_of,
    self_crossing,
    union,
)
from friezewright.geometry.strokes import Strokes, contour
from friezewright.geometry.tolerance import COINCIDENT_MM, ZONE_FLATTEN_MM
from friezewright.panel.shapes import LARGEST_MM

__all__ = ["RIM", "Frame", "Opening", "Panel", "cut_strokes"]

Frame = tuple[float, float, float, float]

RIM = "rim"
"""What messages and the keep-off call the rim; no cutout may be named so."""

# Two polygons within the flattening tolerance of curves that touch may overlap by a sliver this thin.
_TOUCH_MM = 2.0 * ZONE_FLATTEN_MM
# Less than this square millimetre is such a sliver and no part of anything.
_SLIVER_MM2 = 1e-4


@dataclass(frozen=True, slots=True, eq=False)
class Opening:
    """A named shape in a panel: a cutout, or a reserve that ornament leaves free."""

    name: str
    outline: Outline


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Panel:
    """A flat part.

    Parameters
    ----------
    rim
        Its outer edge: one loop, mm.
    cutouts
        Openings, one loop each, inside the rim and apart from each other.
    reserves
        What ornament leaves free; they may overlap anything.
    thickness_mm
        As measured; None if it was not stated.
    cut_lines
        Lines of a drawing the panel was read from, handed on unmoved: the rim's path is the last. None when rim and
        cutouts are themselves what is cut.
    frame
        ``(x, y, width, height)`` in mm of the drawing that goes out: the page of the drawing the panel was read from.
        Left out it is the rim's box.

    Raises
    ------
    PanelError
        If a part crosses itself or another, lies outside, has no area, or shares its name, or the panel is larger than
        :data:`~friezewright.panel.shapes.LARGEST_MM`.
    """

    rim: Outline
    cutouts: tuple[Opening, ...] = ()
    reserves: tuple[Opening, ...] = ()
    thickness_mm: float | None = None
    cut_lines: Strokes | None = None
    frame: Frame = (0.0, 0.0, 0.0, 0.0)

    def __post_init__(self) -> None:
        _check_names(self.cutouts, self.reserves)
        if self.thickness_mm is not None and not 0.0 < self.thickness_mm < LARGEST_MM:
            raise PanelError("the panel", f"is {self.thickness_mm} mm thick", "give the thickness as measured, in mm")
        rim = _checked_area(RIM, self.rim)
        (x0, y0), (x1, y1) = self.rim.bounds().tolist()
        if max(x1 - x0, y1 - y0) > LARGEST_MM:
            raise PanelError(
                RIM, f"is {x1 - x0:.0f} x {y1 - y0:.0f} mm", f"panels up to {LARGEST_MM:g} mm a side are taken on"
            )
        if self.frame == (0.0, 0.0, 0.0, 0.0):
            # A rounded corner's box is off by the last digit of its curves.
            x, y, width, height = (round(value, 9) + 0.0 for value in (x0, y0, x1 - x0, y1 - y0))
            object.__setattr__(self, "frame", (x, y, width, height))
        elif not (np.isfinite(self.frame).all() and min(self.frame[2:]) > 0.0):
            raise PanelError("the frame", f"is {self.frame}", "give x, y and a width and height above zero in mm")
        areas = [_checked_area(_called("cutout", part), part.outline) for part in self.cutouts]
        if not _all_apart(areas, rim):
            for part, area in zip(self.cutouts, areas, strict=True):
                _check_inside(part, area, self.rim, rim)
            for first, second in _near_pairs(self.cutouts):
                _check_apart(self.cutouts[first], areas[first], self.cutouts[second], areas[second])
        for part in self.reserves:
            _check_on(part, _checked_area(_called("reserve", part), part.outline), rim)

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height of the rim."""
        (x0, y0), (x1, y1) = self.rim.bounds().tolist()
        return x1 - x0, y1 - y0

    def material_mm2(self) -> float:
        """Return the area of what is left of the panel in mm², exact up to rounding."""
        return self.rim.area_mm2() - sum(part.outline.area_mm2() for part in self.cutouts)


def cut_strokes(panel: Panel) -> tuple[Strokes | None, Strokes]:
    """Return the lines that are cut: those inside the rim, to be cut first, and the rim, which lets the part go.

    Returns
    -------
    inner
        One path an opening in the panel's order, or a drawing's own lines; None if there are none.
    rim
        The rim's path.
    """
    lines = panel.cut_lines
    if lines is None:
        inner = contour(concatenate(part.outline for part in panel.cutouts)) if panel.cutouts else None
        return inner, contour(panel.rim)
    last = int(lines.path_start[-2])
    count = len(lines.segments)
    rim = Strokes(lines.segments[last:], lines.is_line[last:], np.array([0, count - last]), lines.closed[-1:])
    if lines.path_count == 1:
        return None, rim
    return Strokes(lines.segments[:last], lines.is_line[:last], lines.path_start[:-1], lines.closed[:-1]), rim


def _called(kind: str, part: Opening) -> str:
    return f'{kind} "{part.name}"'


def _check_names(cutouts: tuple[Opening, ...], reserves: tuple[Opening, ...]) -> None:
    seen: set[str] = set()
    for kind, parts in (("cutout", cutouts), ("reserve", reserves)):
        for part in parts:
            if not part.name.strip() or part.name == RIM:
                raise PanelError(f"a {kind}", f"is named {part.name!r}", "give it a name of its own")
            if part.name in seen:
                raise PanelError(_called(kind, part), "shares its name with another", "give each its own name")
            seen.add(part.name)


def _checked_area(name: str, outline: Outline) -> Region:
    """Return the area of a part, which must be one loop that bounds something and does not cross itself."""
    x, y = outline.segments[0, 0].tolist() if len(outline.segments) else (0.0, 0.0)
    if outline.loop_count != 1:
        raise PanelError(name, f"has {outline.loop_count} loops", "give it one closed line", (x, y))
    crossing = self_crossing(outline, tolerance_mm=ZONE_FLATTEN_MM)
    if crossing is not None:
        raise PanelError(name, "crosses itself", "redraw it there so that it does not", crossing)
    area = outline.area_mm2()
    if abs(area) <= _SLIVER_MM2:
        raise PanelError(name, "has no area", "give it a width and a height", (x, y))
    if area < 0.0:
        raise ValueError(f"{name} is wound as a hole; a part's loop has positive area")
    region = region_of(outline)
    # Lines that run over themselves, or cross in a corner, leave another area than the loop sweeps.
    if abs(region.area_mm2() - area) > 2.0 * ZONE_FLATTEN_MM * outline.length_mm() + _SLIVER_MM2:
        raise PanelError(name, "runs over itself", "redraw it so that it does not", (x, y))
    pinch = _self_touch(outline)
    if pinch is not None:
        raise PanelError(name, "touches itself", "redraw it there so that it does not", pinch)
    return region


def _self_touch(outline: Outline) -> tuple[float, float] | None:
    """Return a corner of a loop that lies on another part of it, or None: a spike without width, or a pinch."""
    points, at, _ = outline.flattened(tolerance_mm=ZONE_FLATTEN_MM)
    count = len(outline.segments)
    chord = np.minimum(at[:-1].astype(np.int64), count - 1)
    start, step = points[:-1], np.diff(points, axis=0)
    low = np.minimum(start, points[1:]) - COINCIDENT_MM
    high = np.maximum(start, points[1:]) + COINCIDENT_MM
    square = np.maximum(np.sum(step * step, axis=1), 1e-300)
    for index in range(count):
        corner = outline.segments[index, 0]
        near = np.all((corner >= low) & (corner <= high), axis=1)
        near &= (chord != index) & (chord != (index - 1) % count)
        hit = np.flatnonzero(near)
        if not len(hit):
            continue
        share = np.clip(np.sum((corner - start[hit]) * step[hit], axis=1) / square[hit], 0.0, 1.0)
        if np.hypot(*(start[hit] + share[:, None] * step[hit] - corner).T).min() <= COINCIDENT_MM:
            return float(corner[0]), float(corner[1])
    return None


def _place_in(region: Region) -> tuple[float, float]:
    """Return a point well inside the largest piece of a region."""
    return largest_disc(max(region.components(), key=Region.area_mm2))[0]


def _all_apart(areas: list[Region], rim: Region) -> bool:
    """Return whether cutouts grown a little stay inside the rim and in as many pieces: then all is well."""
    if not areas:
        return True
    grown = union(*(outset(area, _TOUCH_MM) for area in areas))
    return len(grown.components()) == len(areas) and difference(grown, rim).is_empty


def _touch(a: Outline, area_a: Region, b: Outline, area_b: Region) -> tuple[float, float] | None:
    """Return where the edges of two parts touch, or None: a corner of one then lies on the other."""
    for outline, region in ((a, area_b), (b, area_a)):
        points, _, _ = outline.flattened(tolerance_mm=ZONE_FLATTEN_MM)
        gaps = distance_to_edge(region, points)
        nearest = int(np.argmin(gaps))
        if gaps[nearest] <= _TOUCH_MM:
            x, y = points[nearest].tolist()
            return x, y
    return None


def _check_inside(part: Opening, area: Region, rim_outline: Outline, rim: Region) -> None:
    remedy = "move it inside the rim, or make it a notch of the rim"
    outside = difference(area, rim)
    shared = intersection(area, rim).area_mm2()
    if outside.area_mm2() > _SLIVER_MM2:
        problem = "crosses the rim" if shared > _SLIVER_MM2 else "lies outside the rim"
        raise PanelError(_called("cutout", part), problem, remedy, _place_in(outside))
    touch = _touch(part.outline, area, rim_outline, rim)
    if touch is not None:
        raise PanelError(_called("cutout", part), "touches the rim", remedy, touch)


def _check_on(part: Opening, area: Region, rim: Region) -> None:
    if intersection(area, rim).area_mm2() <= _SLIVER_MM2:
        x, y = part.outline.segments[0, 0].tolist()
        remedy = "move it onto the panel, or leave it out"
        raise PanelError(_called("reserve", part), "lies outside the panel", remedy, (x, y))


def _near_pairs(parts: tuple[Opening, ...]) -> Iterator[tuple[int, int]]:
    """Yield pairs of cutouts whose boxes come near, the first ones first."""
    if len(parts) < 2:
        return
    boxes = np.stack([cubic.bounds(part.outline.segments) for part in parts])
    low, high = boxes[:, 0] - _TOUCH_MM, boxes[:, 1] + _TOUCH_MM
    for first in range(len(parts) - 1):
        near = np.all((low[first + 1 :] <= high[first]) & (high[first + 1 :] >= low[first]), axis=1)
        for second in np.flatnonzero(near):
            yield first, first + 1 + int(second)


def _check_apart(first: Opening, first_area: Region, second: Opening, second_area: Region) -> None:
    shared = intersection(first_area, second_area)
    remedy = "move them apart, or make them one cutout"
    if shared.area_mm2() > _SLIVER_MM2:
        problem = f"overlaps {_called('cutout', second)}"
        raise PanelError(_called("cutout", first), problem, remedy, _place_in(shared))
    touch = _touch(first.outline, first_area, second.outline, second_area)
    if touch is not None:
        raise PanelError(_called("cutout", first), f"touches {_called('cutout', second)}", remedy, touch)
