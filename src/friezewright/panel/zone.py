"""Zones: where ornament may be burned, which is the panel less what must stay clear.

The promise: nothing burned inside a zone comes nearer to the rim or a cutout than was asked. A zone is a polygon, so it
is drawn in by a little more than asked, which outweighs what the polygons of the zone and of its offsets stray from
their curves, and the rounding of what is written.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise
from types import MappingProxyType

import numpy as np

from friezewright.errors import PanelError
from friezewright.findings import Finding, Severity
from friezewright.geometry import cubic
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import BoolArray, Outline, polygon
from friezewright.geometry.planar.region import Region, difference, inset, intersection, outset, region_of, union
from friezewright.geometry.strokes import Strokes
from friezewright.geometry.tolerance import ZONE_FLATTEN_MM, ZONE_MARGIN_MM
from friezewright.panel.panel import Panel

__all__ = ["KeepOff", "Zone", "zone_of"]

# The curves are sampled four times finer than the zone's own edge. What curves and offsets stray together was measured
# at 0.0021 mm; a point rounded to 0.001 mm moves by 0.0007.
_CURVE_MM = ZONE_FLATTEN_MM / 4.0
_MARGIN_MM = ZONE_MARGIN_MM + ZONE_FLATTEN_MM
# Half the width given to a line so that it is an area.
_SLIT_MM = 1e-4
# Where an arc of the rim turns tighter than the distance, an offset of the whole rim leans by up to 0.25 mm (measured
# on corners of 0.5 mm at 100 mm). It is then made of the offsets of single chords, up to this many.
_MOST_CHORDS = 1500
# Steps of the search for how much less keep-off would do: to a thousandth of the largest asked.
_HALVINGS = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class KeepOff:
    """How far the burned edge stays from the cuts, clear distances in mm.

    Parameters
    ----------
    rim_mm
        From the rim.
    cutouts_mm
        From each cutout that ``named`` does not name, and from open cut lines.
    named
        From single cutouts, by name.

    Raises
    ------
    PanelError
        If a distance is negative or not finite.
    """

    rim_mm: float
    cutouts_mm: float
    named: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name, value in (("rim", self.rim_mm), ("cutouts", self.cutouts_mm), *self.named.items()):
            if not (math.isfinite(value) and value >= 0.0):
                raise PanelError(f"keep_off for {name}", f"is {value} mm", "give a clear distance of 0 or more")
        object.__setattr__(self, "named", MappingProxyType(dict(self.named)))

    def of(self, cutout: str) -> float:
        """Return the clear distance from one cutout."""
        return self.named.get(cutout, self.cutouts_mm)

    def less(self, by_mm: float) -> KeepOff:
        """Return every distance reduced, none below zero."""
        return KeepOff(
            rim_mm=max(0.0, self.rim_mm - by_mm),
            cutouts_mm=max(0.0, self.cutouts_mm - by_mm),
            named={name: max(0.0, value - by_mm) for name, value in self.named.items()},
        )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Zone:
    """The area that ornament may use now.

    Parameters
    ----------
    region
        Where burned edges may lie.
    findings
        What the maker should know about it.
    """

    region: Region
    findings: tuple[Finding, ...] = ()

    def claimed(self, region: Region, *, clear_mm: float) -> Zone:
        """Return what is left when an ornament has taken a region and others stay ``clear_mm`` away from it.

        Parameters
        ----------
        region
            What is taken; it may be empty.
        clear_mm
            Clear distance from it.

        Raises
        ------
        ValueError
            If the distance is negative or not finite.
        """
        if not (math.isfinite(clear_mm) and clear_mm >= 0.0):
            raise ValueError(f"clear_mm must be 0 or more, got {clear_mm}")
        if region.is_empty:
            return self
        return replace(self, region=difference(self.region, outset(region, clear_mm + _MARGIN_MM)))

    def within(self, area: Region) -> Zone:
        """Return the part of the zone that lies in a named area."""
        return replace(self, region=intersection(self.region, area))


def zone_of(panel: Panel, keep_off: KeepOff) -> Zone:
    """Return where ornament may be burned on a panel that has none yet.

    Parameters
    ----------
    panel
        Gives rim, cutouts and reserves.
    keep_off
        Clear distances; reserves are left free without any distance more.

    Raises
    ------
    PanelError
        If a named distance belongs to no cutout, or nothing is left; the message says by how much less would do.
    """
    names = [part.name for part in panel.cutouts]
    for name in keep_off.named:
        if name not in names:
            known = ", ".join(names) or "none"
            raise PanelError(f'keep_off for "{name}"', "names no cutout", f"the cutouts are: {known}")
    free = _clear_of_cuts(panel, keep_off)
    if free.is_empty:
        _refuse_empty(panel, keep_off)
    if panel.reserves:
        taken = union(
            *(outset(region_of(part.outline, tolerance_mm=_CURVE_MM), ZONE_MARGIN_MM) for part in panel.reserves)
        )
        free = difference(free, taken)
        if free.is_empty:
            reserved = ", ".join(part.name for part in panel.reserves)
            raise PanelError("the reserves", f"leave nothing free ({reserved})", "make one of them smaller")
    return Zone(region=free, findings=_findings(free))


def _clear_of_cuts(panel: Panel, keep_off: KeepOff) -> Region:
    free = _inside(panel.rim, keep_off.rim_mm + _MARGIN_MM)
    if free.is_empty:
        return free
    taken = [
        outset(region_of(part.outline, tolerance_mm=_CURVE_MM), keep_off.of(part.name) + _MARGIN_MM)
        for part in panel.cutouts
    ]
    taken.extend(outset(slit, keep_off.cutouts_mm + _MARGIN_MM) for slit in _open_cuts(panel.cut_lines))
    return difference(free, union(*taken)) if taken else free


def _inside(rim: Outline, distance_mm: float) -> Region:
    """Return the points inside a rim at least a distance away from it."""
    area = region_of(rim, tolerance_mm=_CURVE_MM)
    curves = rim.segments[~rim.is_line]
    bend = cubic.curvature(curves[:, None], np.linspace(0.0, 1.0, 5)[None])
    chords = int(cubic.chord_counts(rim.segments, rim.is_line, tolerance_mm=ZONE_FLATTEN_MM).sum())
    if not np.any(bend * distance_mm > 1.0) or chords > _MOST_CHORDS:
        return inset(area, distance_mm)
    return difference(area, union(*(outset(slit, distance_mm) for slit in _slits(rim.segments, rim.is_line))))


def _open_cuts(lines: Strokes | None) -> list[Region]:
    """Return the open lines of a drawing as slits; they are cut, so ornament keeps off them."""
    if lines is None:
        return []
    return [
        slit
        for path, closed in zip(lines.paths(), lines.closed, strict=True)
        if not closed
        for slit in _slits(lines.segments[path], lines.is_line[path])
    ]


def _slits(segments: FloatArray, is_line: BoolArray) -> list[Region]:
    """Return the chords of segments as areas hardly wider than the lines they are."""
    slits = []
    counts = cubic.chord_counts(segments, is_line, tolerance_mm=ZONE_FLATTEN_MM)
    for segment, count in zip(segments, counts, strict=True):
        points = cubic.evaluate(segment[None], np.linspace(0.0, 1.0, int(count) + 1))
        for a, b in pairwise(points):
            along = _SLIT_MM * (b - a) / max(float(np.hypot(*(b - a))), 1e-300)
            across = np.array([-along[1], along[0]])
            corners = [a - along - across, b + along - across, b + along + across, a - along + across]
            slits.append(region_of(polygon(corners)))
    return slits


def _refuse_empty(panel: Panel, keep_off: KeepOff) -> None:
    """Raise the error that says by how much less something would be left."""
    enough = max(keep_off.rim_mm, keep_off.cutouts_mm, *keep_off.named.values())
    too_little = 0.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (too_little + enough)
        if _clear_of_cuts(panel, keep_off.less(middle)).is_empty:
            too_little = middle
        else:
            enough = middle
    by_mm = math.ceil(enough * 10.0) / 10.0
    raise PanelError(
        "keep_off",
        f"leaves nothing of the panel (rim {keep_off.rim_mm:g} mm, cutouts {keep_off.cutouts_mm:g} mm)",
        f"reduce it by at least {by_mm:.1f} mm",
    )


def _findings(free: Region) -> tuple[Finding, ...]:
    pieces = len(free.components())
    if pieces < 2:
        return ()
    message = f"keep_off and reserves part the free area into {pieces} pieces; a field fills each of them"
    return (Finding(code="parted-zone", severity=Severity.NOTE, message=message),)
