"""From a panel and its ornaments to the layered drawing."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from friezewright.findings import Finding
from friezewright.geometry.artwork import Artwork, concatenate_artwork
from friezewright.geometry.outline import Outline
from friezewright.geometry.planar.joined import silhouettes, unite
from friezewright.geometry.strokes import Strokes
from friezewright.geometry.tolerance import FLATTEN_MM, ZONE_FLATTEN_MM
from friezewright.layers.burn import Burn, BurnStyle
from friezewright.layers.crowding import crowding
from friezewright.layers.cut import cut_parts
from friezewright.layers.drawing import AskedKeepOff, Drawing, Layer, Operation, Part, Pen
from friezewright.layers.lined import lined
from friezewright.machine import Machine
from friezewright.ornament.ornament import Ornament
from friezewright.panel.panel import Panel
from friezewright.panel.zone import KeepOff

__all__ = ["build"]


def build(
    panel: Panel,
    ornaments: Sequence[tuple[Ornament, BurnStyle]],
    machine: Machine,
    *,
    title: str,
    digest: str,
    keep_off: KeepOff,
    ornament_only: bool = False,
    unit: str = "mm",
    tolerance_mm: float = FLATTEN_MM,
) -> tuple[Drawing, tuple[Finding, ...]]:
    """Return the drawing in run order, and what the maker should know about how it burns.

    Parameters
    ----------
    panel
        Gives the cut layer and the frame.
    ornaments
        Each with the way it is burned, in the order they were asked for.
    machine
        Line spacing and spot, colours and drawn widths.
    title, digest, unit
        Handed on to the file.
    keep_off
        What was asked; handed on to whoever checks the file.
    ornament_only
        Leaves the cut layer out, to lay the rest over the panel's own drawing.
    tolerance_mm
        Furthest a chord may lie from its curve where areas are lined.
    """
    engrave: list[Part] = []
    score: list[Part] = []
    findings: list[Finding] = []
    for ornament, style in ornaments:
        filled, followed = _burned(ornament.areas, style, machine, tolerance_mm)
        for parts, artwork in ((engrave, filled), (score, followed)):
            if artwork is not None and len(artwork):
                parts.append(Part(ornament=ornament.name, artwork=artwork, gap_mm=ornament.gap_mm))
        findings.extend(crowding(ornament, style, machine))
    cut = () if ornament_only else cut_parts(panel)
    layers = (
        Layer(operation=operation, parts=tuple(parts), pen=_pen(machine, operation))
        for operation, parts in ((Operation.ENGRAVE, engrave), (Operation.SCORE, score), (Operation.CUT, cut))
        if parts
    )
    asked = AskedKeepOff(
        rim_mm=keep_off.rim_mm,
        openings_mm=tuple((part.name, keep_off.of(part.name)) for part in panel.cutouts),
    )
    drawing = Drawing(title=title, frame=panel.frame, layers=tuple(layers), keep_off=asked, digest=digest, unit=unit)
    return drawing, tuple(findings)


def _pen(machine: Machine, operation: Operation) -> Pen:
    return Pen(machine.colour_of(operation), machine.stroke_mm_of(operation))


def _burned(
    areas: Artwork[Outline], style: BurnStyle, machine: Machine, tolerance_mm: float
) -> tuple[Artwork[Outline] | None, Artwork[Strokes] | None]:
    """Return what an ornament gives to the engrave layer and to the score layer."""
    is_partner = areas.placements.member > 0
    by_burn: dict[Burn, np.ndarray] = {}
    for which, member in ((~is_partner, 0), (is_partner, 1)):
        burn = style.burn_of(member)
        by_burn[burn] = by_burn.get(burn, np.zeros(len(areas), dtype=bool)) | which
    filled: Artwork[Outline] | None = None
    followed: list[Artwork[Strokes]] = []
    for burn, which in by_burn.items():
        if not which.any():
            continue
        some = areas if which.all() else areas.chosen(which)
        if burn is Burn.FILLED:
            # Where copies touch they are fused, so that nothing burns twice.
            filled = unite(some)
        elif burn is Burn.CONTOUR:
            followed.append(silhouettes(some, edges=style.contour_edges, tolerance_mm=ZONE_FLATTEN_MM))
        else:
            followed.append(lined(some, style.lining, spot_mm=machine.spot_mm, tolerance_mm=tolerance_mm))
    return filled, concatenate_artwork(followed) if followed else None
