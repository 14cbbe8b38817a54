"""Burns that stand too close, and lines too thin to burn as drawn.

The limits are common practice, no published source: burned lines overlap by no more than half, lines to follow stand at
least two burned widths apart, and nothing is drawn thinner than one.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from friezewright.findings import Finding, Severity
from friezewright.geometry import affine
from friezewright.geometry.outline import Outline
from friezewright.geometry.planar.region import region_of
from friezewright.geometry.planar.widths import thinnest_part
from friezewright.layers.burn import Burn, BurnStyle
from friezewright.machine import Machine
from friezewright.ornament.ornament import Ornament

__all__ = ["crowding"]

_LINES_APART = 2.0
_LEAST_SPACING = 0.5


def crowding(ornament: Ornament, style: BurnStyle, machine: Machine) -> Iterator[Finding]:
    """Yield ``crowded-burn`` and ``thin-line`` findings for one ornament."""
    members = ornament.areas.placements.member
    burns = {style.burn_of(int(member)) for member in np.unique(np.minimum(members, 1))}
    spot, name = machine.spot_mm, ornament.name
    if Burn.FILLED in burns and machine.line_spacing_mm < _LEAST_SPACING * spot:
        yield _crowded(
            name,
            f"burned lines stand {machine.line_spacing_mm:.3f} mm apart, less than half the spot of {spot:.2f} mm: "
            "every place burns more than twice; test on a scrap, or set wider lines",
        )
    apart = _LINES_APART * spot
    if Burn.LINED in burns and style.lining.spacing_mm < apart:
        yield _crowded(
            name,
            f"score lines stand {style.lining.spacing_mm:.2f} mm apart, less than two spots of {spot:.2f} mm; "
            f"they char each other: set the lining {apart:.2f} mm apart or more",
        )
    gap = ornament.measured_gap_mm
    if Burn.CONTOUR in burns and gap is not None and gap < apart:
        yield _crowded(
            name,
            f"contours of neighbours run {gap:.2f} mm apart, less than two spots of {spot:.2f} mm; "
            f"they char each other: ask for a gap of {apart:.2f} mm or more",
        )
    if Burn.FILLED in burns:
        yield from _thin(ornament, style, spot)


def _crowded(name: str, message: str) -> Finding:
    return Finding(code="crowded-burn", severity=Severity.WARNING, message=message, ornament=name)


def _thin(ornament: Ornament, style: BurnStyle, spot_mm: float) -> Iterator[Finding]:
    """Yield the thinnest line of filled areas that is under the spot.

    Shapes with the same segments in the same order are one motif, bent or not, and measured once, at its smallest copy.
    Trimmed pieces are left out: the narrow ones were dropped when they were cut.
    """
    places = ornament.areas.placements
    whole = np.array([not shape.is_edge.any() for shape in ornament.areas.shapes], dtype=bool)
    filled = np.array([style.burn_of(int(member)) is Burn.FILLED for member in places.member]) & whole[places.shape]
    scale = np.sqrt(np.abs(affine.determinant(places.matrix)))
    smallest: dict[tuple[bytes, bytes], int] = {}
    for copy in np.flatnonzero(filled)[np.argsort(scale[filled], kind="stable")].tolist():
        smallest.setdefault(_kind(ornament.areas.shapes[places.shape[copy]]), copy)
    thinnest: tuple[float, tuple[float, float]] | None = None
    for copy in smallest.values():
        region = region_of(ornament.areas.shapes[places.shape[copy]].transformed(places.matrix[copy]))
        found = thinnest_part(region, widest_mm=spot_mm)
        if found is not None and (thinnest is None or found[0] < thinnest[0]):
            thinnest = found
    if thinnest is not None:
        width, place = thinnest
        yield Finding(
            code="thin-line",
            severity=Severity.WARNING,
            message=f"a line {width:.2f} mm wide burns as wide as the spot, {spot_mm:.2f} mm: make the motif larger",
            where_mm=place,
            ornament=ornament.name,
        )


def _kind(shape: Outline) -> tuple[bytes, bytes]:
    return shape.is_line.tobytes(), shape.loop_start.tobytes()
