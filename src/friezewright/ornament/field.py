"""Fields: an endless pattern cut to a zone, by keeping whole motifs only or by trimming those that cross its edge.

Terms. The *anchor* is the point of the panel that one of the pattern's own centres is laid on. Which of its centres,
decides how many whole motifs find room and whether the field is symmetric about the anchor; all of them are tried.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

import numpy as np

from friezewright.findings import Finding, Severity
from friezewright.geometry import affine
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.artwork import Artwork
from friezewright.geometry.outline import Outline
from friezewright.geometry.planar import nearness
from friezewright.geometry.planar.overlay import Trimmed, trim
from friezewright.geometry.planar.region import Region, intersection, largest_disc
from friezewright.ornament.ornament import Ornament
from friezewright.panel.zone import Zone
from friezewright.pattern.groups import Operation, PlaneGroup, operations
from friezewright.pattern.repeat import Repeat

__all__ = ["Edge", "FieldRequest", "field"]


_ENOUGH = 0.9


class Edge(StrEnum):
    """What becomes of a motif that crosses the edge of its field."""

    WHOLE = "whole"
    TRIMMED = "trimmed"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FieldRequest:
    """What is asked of a field.

    Parameters
    ----------
    name
        Name of the ornament.
    repeat
        The endless pattern, in its own frame.
    gap_mm
        Smallest distance asked between two copies.
    anchor_mm
        Point of the panel the field is centred on.
    slant_rad
        Turn of the whole field.
    edge
        Whole motifs only, or trimmed ones at the edge.
    least_width_mm
        Trimmed pieces that are nowhere this wide are dropped.
    within
        The named area, or None for the whole zone.
    tolerance_mm
        Furthest a trimmed curve may lie from the true one.
    """

    name: str
    repeat: Repeat
    gap_mm: float
    anchor_mm: tuple[float, float]
    slant_rad: float = 0.0
    edge: Edge = Edge.WHOLE
    least_width_mm: float = 0.0
    within: Region | None = None
    tolerance_mm: float


def field(request: FieldRequest, zone: Zone) -> Ornament:
    """Return the field that fills the zone, or the named area of it, as far as it goes.

    Of all ways to lay one of the pattern's centres on the anchor those with nearly the most whole motifs are looked
    at; of these the most symmetric is kept, then the fullest, then the first, so the choice is the same on every run.
    """
    region = zone.region if request.within is None else intersection(zone.region, request.within)
    centres = _centres(request.repeat)
    laid = [_laid(request, region, centre.at_mm, whole=True) for centre in centres]
    counts = [len(trimmed.artwork) for trimmed in laid]
    # A few motifs less are a fair price for a field that turns into itself more often.
    enough = [index for index, count in enumerate(counts) if count >= _ENOUGH * max(counts)]
    best = max(enough, key=lambda index: (centres[index].turns, counts[index], -index))
    # A trimmed field covers the zone whichever centre is chosen; it too looks best with the most motifs whole.
    trimmed = laid[best] if request.edge is Edge.WHOLE else _laid(request, region, centres[best].at_mm, whole=False)
    copies = len(trimmed.artwork)
    pieces = copies - len(trimmed.kept_whole)
    return Ornament(
        name=request.name,
        areas=trimmed.artwork,
        gap_mm=request.gap_mm,
        measured_gap_mm=_measured(request, trimmed.artwork),
        claim=region,
        words=_words(request, copies, pieces),
        counts={"copies": copies, "trimmed": pieces, "dropped": len(trimmed.slivers)},
        findings=_findings(request, trimmed, region),
    )


def _laid(request: FieldRequest, region: Region, centre: FloatArray, *, whole: bool) -> Trimmed:
    """Return the pattern with one of its centres on the anchor, cut to the region."""
    turn = affine.rotation(request.slant_rad)
    home = affine.compose(affine.translation(request.anchor_mm), affine.compose(turn, affine.translation(-centre)))
    if region.is_empty:
        return trim(request.repeat.copies(np.zeros((0, 2), dtype=np.int64)), region, tolerance_mm=request.tolerance_mm)
    (x0, y0), (x1, y1) = region.bounds()
    corners = affine.apply(affine.inverse(home), np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]))
    steps = request.repeat.cover(np.stack([corners.min(axis=0), corners.max(axis=0)]))
    return trim(
        request.repeat.copies(steps).moved(home),
        region,
        tolerance_mm=request.tolerance_mm,
        whole=whole,
        least_width_mm=request.least_width_mm,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Centre:
    """A point of one cell, in mm in the pattern's frame, and how many turns about it leave the pattern as it is."""

    at_mm: FloatArray
    turns: int


def _centres(repeat: Repeat) -> list[_Centre]:
    """Return the points of one cell that may lie on the anchor.

    They are the centres of the group's turns; where it has none, the cell's corner, its middle and its sides' middles.
    """
    halves, thirds, quarters = ([Fraction(part, parts) for part in range(parts)] for parts in (2, 3, 4))
    on_halves = [(a, b) for a in halves for b in halves]
    points = dict.fromkeys([*on_halves, *((a, b) for grid in (thirds, quarters) for a in grid for b in grid)])
    turns: dict[tuple[Fraction, Fraction], int] = {}
    if isinstance(repeat.group, PlaneGroup):
        turnings = [one for one in operations(repeat.group) if one.determinant == 1]
        for point in points:
            turns[point] = sum(_fixes(turning, point) for turning in turnings)
    kept = [point for point, count in turns.items() if count > 1] or on_halves
    return [_Centre(float(x) * repeat.vectors[0] + float(y) * repeat.vectors[1], turns.get((x, y), 1)) for x, y in kept]


def _fixes(operation: Operation, point: tuple[Fraction, Fraction]) -> bool:
    image = operation.apply(point)
    return all((a - b).denominator == 1 for a, b in zip(image, point, strict=True))


def _measured(request: FieldRequest, artwork: Artwork[Outline]) -> float | None:
    # Three gaps' reach finds the nearest neighbours of every even pattern; what is further apart is not a gap.
    found = nearness.smallest_gap(artwork, tolerance_mm=request.tolerance_mm, reach_mm=3.0 * request.gap_mm)
    return None if found is None else found[0]


def _words(request: FieldRequest, copies: int, pieces: int) -> tuple[str, ...]:
    group = request.repeat.group.value
    if request.edge is Edge.WHOLE:
        return (f"{copies} whole motifs, pattern {group}, gap {request.repeat.gap_mm:.2f} mm in the pattern",)
    return (
        f"{copies - pieces} whole motifs and {pieces} trimmed at the edge, pattern {group}, "
        f"gap {request.repeat.gap_mm:.2f} mm in the pattern",
    )


def _findings(request: FieldRequest, trimmed: Trimmed, region: Region) -> tuple[Finding, ...]:
    found: list[Finding] = []
    if not len(trimmed.artwork):
        (x0, y0), (x1, y1) = request.repeat.bounds()
        room = 0.0 if region.is_empty else 2.0 * largest_disc(region)[1]
        found.append(
            Finding(
                code="empty-field",
                severity=Severity.WARNING,
                message=(
                    f"no motif of {x1 - x0:.1f} by {y1 - y0:.1f} mm a cell finds room; the widest free disc is "
                    f'{room:.1f} mm across, so a smaller height or edge = "trimmed" would do'
                ),
                ornament=request.name,
            )
        )
    if trimmed.slivers:
        count = len(trimmed.slivers)
        found.append(
            Finding(
                code="sliver-dropped",
                severity=Severity.NOTE,
                message=(
                    f"{count} trimmed {'piece' if count == 1 else 'pieces'}, nowhere {request.least_width_mm:.2f} mm "
                    "wide, left out"
                ),
                where_mm=trimmed.slivers[0].where_mm,
                ornament=request.name,
            )
        )
    return tuple(found)
