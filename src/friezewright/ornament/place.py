"""A single motif, set by hand."""

from __future__ import annotations

from dataclasses import dataclass

from friezewright.findings import Finding, Severity
from friezewright.geometry import affine
from friezewright.geometry.artwork import Artwork
from friezewright.geometry.outline import Outline
from friezewright.geometry.planar import nearness
from friezewright.geometry.planar.overlay import trim
from friezewright.geometry.planar.region import region_of
from friezewright.ornament.field import Edge
from friezewright.ornament.ornament import Ornament
from friezewright.panel.zone import Zone

__all__ = ["PlaceRequest", "place"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlaceRequest:
    """What is asked of a single motif.

    Parameters
    ----------
    name
        Name of the ornament.
    shape
        The motif at its size, centred on its bounding box, mm.
    at_mm
        Where its centre goes.
    turn_rad, mirrored
        How it is turned, after it was mirrored left to right.
    gap_mm
        Distance that later ornaments keep from it.
    edge
        Whole, or trimmed where it leaves the zone.
    least_width_mm
        Trimmed pieces that are nowhere this wide are dropped.
    tolerance_mm
        Furthest a trimmed curve may lie from the true one.
    """

    name: str
    shape: Outline
    at_mm: tuple[float, float]
    turn_rad: float = 0.0
    mirrored: bool = False
    gap_mm: float
    edge: Edge = Edge.WHOLE
    least_width_mm: float = 0.0
    tolerance_mm: float


def place(request: PlaceRequest, zone: Zone) -> Ornament:
    """Return the motif where it was set; one that leaves the zone whole stops the job, for it was meant to be there."""
    home = affine.compose(affine.translation(request.at_mm), affine.rotation(request.turn_rad))
    if request.mirrored:
        home = affine.compose(home, affine.mirror_x())
    set_down = Artwork.single([request.shape]).moved(home)
    trimmed = trim(
        set_down,
        zone.region,
        tolerance_mm=request.tolerance_mm,
        whole=request.edge is Edge.WHOLE,
        least_width_mm=request.least_width_mm,
    )
    findings: tuple[Finding, ...] = ()
    if request.edge is Edge.WHOLE and not len(trimmed.artwork):
        over = -nearness.clearance(set_down, zone.region, tolerance_mm=request.tolerance_mm)
        findings = (
            Finding(
                code="out-of-zone",
                severity=Severity.STOP,
                message=(
                    f"reaches {max(over, 0.01):.2f} mm past where ornament may be; move it, make it smaller, "
                    'or write edge = "trimmed"'
                ),
                where_mm=request.at_mm,
                ornament=request.name,
            ),
        )
    x, y = request.at_mm
    return Ornament(
        name=request.name,
        areas=trimmed.artwork,
        gap_mm=request.gap_mm,
        measured_gap_mm=None,
        claim=region_of(request.shape.transformed(home)),
        words=(f"one motif at {x:.1f}, {y:.1f} mm" if len(trimmed.artwork) else "left out",),
        counts={"copies": len(trimmed.artwork)},
        findings=findings,
    )
