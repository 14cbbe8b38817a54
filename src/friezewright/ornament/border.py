"""Borders along a rim or round a cutout: planned, laid, checked against the zone and measured."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from friezewright.findings import Finding, Severity
from friezewright.geometry import affine
from friezewright.geometry.artwork import Artwork, Placements, concatenate_artwork
from friezewright.geometry.outline import Outline, circle
from friezewright.geometry.planar.nearness import clearance, smallest_gap
from friezewright.geometry.planar.overlay import trim
from friezewright.geometry.planar.region import Region, difference, empty, region_of, self_crossing, union
from friezewright.geometry.tolerance import ZONE_MARGIN_MM
from friezewright.ornament.corner import Corner
from friezewright.ornament.frame import FrameLine, bar_along, beads_along, line_along
from friezewright.ornament.guide import starting_at_top
from friezewright.ornament.laying import MEASURE_MM, carried, ring
from friezewright.ornament.loop import moved, outline_from, pieces_of
from friezewright.ornament.mitre import cut_at, is_mitred, up_to_centre
from friezewright.ornament.ornament import Ornament
from friezewright.ornament.path import Line, Piece
from friezewright.ornament.plan import Plan, Strand, best_plan, room_for
from friezewright.ornament.report import findings_on, words_on
from friezewright.ornament.request import Band, BorderRequest
from friezewright.panel.zone import Zone

__all__ = ["BorderRequest", "Corner", "FrameLine", "border"]

_NOTHING: Artwork[Outline] = Artwork(
    (),
    Placements(matrix=np.zeros((0, 2, 3)), shape=np.zeros(0, dtype=np.int64), member=np.zeros(0, dtype=np.int64)),
)


def border(request: BorderRequest, zone: Zone) -> Ornament:
    """Return the border, fitted with whole repeats.

    What does not fit is said in the findings, together with the nearest that would; nothing is raised for it.

    Parameters
    ----------
    request
        What to lay along which loop.
    zone
        Where it may be burned. Copies that would leave it are left out whole.
    """
    pieces = pieces_of(request.loop)
    findings: list[Finding] = []
    if request.sides is not None and not any(isinstance(piece, Line) for piece in pieces):
        request = replace(request, sides=None)
        findings.append(
            Finding(
                code="no-sides",
                severity=Severity.NOTE,
                message="a loop without straight sides is followed all round",
                ornament=request.name,
            )
        )
    plan = best_plan(request, pieces)
    if plan is None or _crosses(request, pieces, plan) or not any(strand.fit.count for strand in plan.strands):
        return _refused(request, pieces, plan)
    copies = _laid(request, plan)
    kept = _inside(request, copies, zone, "copies", findings)
    pieces_there = _inside(request, _corner_pieces(plan), zone, "corner pieces", findings)
    beads = _inside(request, _centre_beads(plan), zone, "beads", findings)
    lines = _frame(request, pieces, plan.band, zone, findings)
    copies_there = concatenate_artwork([kept, pieces_there, beads])
    areas = concatenate_artwork([copies_there, lines])
    measured = _measured(request, pieces, plan.band, copies_there, lines, findings)
    return Ornament(
        name=request.name,
        areas=areas,
        gap_mm=request.gap_mm,
        measured_gap_mm=measured,
        claim=_claim(request, pieces, plan.band),
        words=words_on(request, plan, measured),
        counts={
            "copies": len(kept),
            "repeats": sum(strand.fit.count for strand in plan.strands),
            "corners": len(plan.blocks),
            "left_out": len(copies) - len(kept),
        },
        findings=(*findings_on(request, plan), *findings),
    )


def _sense(request: BorderRequest) -> float:
    return -1.0 if request.outward else 1.0


def _crosses(request: BorderRequest, pieces: Sequence[Piece], plan: Plan) -> bool:
    """Whether the centreline runs into itself, as where a panel has a waist narrower than two bands."""
    centreline = moved(pieces, _sense(request) * plan.band.centre_mm)
    if centreline is None:
        return True
    return self_crossing(outline_from([piece for _, piece in centreline]), tolerance_mm=0.01) is not None


def _refused(request: BorderRequest, pieces: Sequence[Piece], plan: Plan | None) -> Ornament:
    """Return the border that cannot be, with the height that could."""
    height = request.strip.height_mm
    fitting = next((share for share in (0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1) if _has_room(request, pieces, share)), None)
    remedy = (
        f"a height of {fitting * height:.1f} mm would fit" if fitting is not None else "it needs another place or motif"
    )
    problem = (
        f"no whole repeat of {request.strip.pitch_mm:.1f} mm fits on any side"
        if plan is not None and not any(strand.fit.count for strand in plan.strands)
        else f"a band {plan.band.far_mm if plan else Band.of(request, height).far_mm:.1f} mm deep does not fit here"
    )
    finding = Finding(
        code="border-does-not-fit", severity=Severity.STOP, message=f"{problem}; {remedy}", ornament=request.name
    )
    return Ornament(
        name=request.name,
        areas=_NOTHING,
        gap_mm=request.gap_mm,
        measured_gap_mm=None,
        claim=empty(),
        words=("nothing fits",),
        counts={"copies": 0, "repeats": 0, "corners": 0, "left_out": 0},
        findings=(finding,),
    )


def _has_room(request: BorderRequest, pieces: Sequence[Piece], share: float) -> bool:
    smaller = replace(request, strip=request.strip.scaled(share), corner=Corner.BUTT)
    return room_for(smaller, pieces)


def _laid(request: BorderRequest, plan: Plan) -> Artwork[Outline]:
    parts = [_strand(request, plan, strand) for strand in plan.strands if strand.fit.count]
    return concatenate_artwork(parts)


def _strand(request: BorderRequest, plan: Plan, strand: Strand) -> Artwork[Outline]:
    """Return the copies of one strand, on the panel."""
    fit, path = strand.fit, plan.guide.sides[strand.side].path
    if path.closed:
        return ring(
            plan.sizes,
            path,
            count=fit.count,
            start_mm=starting_at_top(path),
            rigid=plan.rigid,
            stretch=fit.stretch,
            tolerance_mm=request.tolerance_mm,
        )
    count = fit.count + 1 if plan.seamless else fit.count
    laid = plan.sizes.laid(count, fit.pitch_mm, stretch=fit.stretch).moved(affine.translation((fit.start_mm, 0.0)))
    if plan.seamless:
        laid = up_to_centre(laid, 0.5 * path.length_mm, with_middle=not strand.backwards)
    if strand.backwards:
        from_end = affine.compose(affine.translation((path.length_mm, 0.0)), affine.mirror_x())
        laid = laid.moved(from_end)
    return carried(laid, path, rigid=plan.rigid, tolerance_mm=request.tolerance_mm)


def _corner_pieces(plan: Plan) -> Artwork[Outline]:
    if plan.mitre is not None:
        cuts = [cut_at(plan.sizes, plan.mitre, corner) for corner in plan.guide.corners if is_mitred(corner)]
        return concatenate_artwork(cuts)
    return concatenate_artwork(plan.blocks[number] for number in sorted(plan.blocks)) if plan.blocks else _NOTHING


def _centre_beads(plan: Plan) -> Artwork[Outline]:
    """Return the beads at the centres of sides that reverse there."""
    if plan.bead_mm <= 0.0:
        return _NOTHING
    sides = dict.fromkeys(strand.side for strand in plan.strands if not plan.guide.sides[strand.side].path.closed)
    paths = [plan.guide.sides[index].path for index in sides]
    if not paths:
        return _NOTHING
    places = np.concatenate([path.frames(np.array([0.5 * path.length_mm])).point for path in paths])
    return Artwork(
        (circle((0.0, 0.0), 0.5 * plan.bead_mm),),
        Placements(
            matrix=affine.translation(places),
            shape=np.zeros(len(places), dtype=np.int64),
            member=np.zeros(len(places), dtype=np.int64),
        ),
    )


def _inside(
    request: BorderRequest, artwork: Artwork[Outline], zone: Zone, what: str, findings: list[Finding]
) -> Artwork[Outline]:
    """Return the copies that lie wholly in the zone; the others are left out with a finding."""
    if not len(artwork):
        return artwork
    whole = trim(artwork, zone.region, tolerance_mm=request.tolerance_mm, whole=True).kept_whole
    kept = np.zeros(len(artwork), dtype=bool)
    kept[np.asarray(whole, dtype=np.int64)] = True
    if kept.all():
        return artwork
    out = artwork.chosen(~kept)
    x, y = np.mean(next(iter(out.copies())).bounds(), axis=0)
    findings.append(
        Finding(
            code="left-out",
            severity=Severity.WARNING,
            message=f"{len(out)} of {len(artwork)} {what} would leave the free area and are left out",
            where_mm=(float(x), float(y)),
            ornament=request.name,
        )
    )
    return artwork.chosen(kept)


def _frame(
    request: BorderRequest, pieces: Sequence[Piece], band: Band, zone: Zone, findings: list[Finding]
) -> Artwork[Outline]:
    """Return the frame lines, cut where they would leave the zone."""
    parts: list[Artwork[Outline]] = []
    for line in (band.near_line_mm, band.far_line_mm):
        if line is None:
            continue
        near, far = (_sense(request) * distance for distance in line)
        if request.frame_line is FrameLine.BEADED:
            beads = beads_along(
                pieces, 0.5 * (near + far), width_mm=request.frame_width_mm, gap_mm=request.gap_mm, sides=request.sides
            )
            if beads is not None:
                parts.append(_inside(request, beads, zone, "beads", findings))
            continue
        lines = _lines(request, pieces, band, near, far)
        if not lines:
            findings.append(
                Finding(
                    code="no-frame-line",
                    severity=Severity.WARNING,
                    message=f"a frame line {line[1]:.1f} mm from the edge does not close and is left out",
                    ornament=request.name,
                )
            )
            continue
        parts.append(_cut_to(request, Artwork.single(lines), zone, findings))
    return concatenate_artwork(parts) if parts else _NOTHING


def _lines(request: BorderRequest, pieces: Sequence[Piece], band: Band, near: float, far: float) -> tuple[Outline, ...]:
    if request.sides is not None:
        return bar_along(pieces, near, far, edge_mm=_sense(request) * band.edge_mm, sides=request.sides)
    whole = line_along(pieces, near, far)
    return () if whole is None else (whole,)


def _cut_to(request: BorderRequest, lines: Artwork[Outline], zone: Zone, findings: list[Finding]) -> Artwork[Outline]:
    trimmed = trim(lines, zone.region, tolerance_mm=request.tolerance_mm, least_width_mm=0.5 * request.frame_width_mm)
    if trimmed.crossing:
        findings.append(
            Finding(
                code="frame-line-cut",
                severity=Severity.NOTE,
                message="the frame line would leave the free area and is cut there",
                ornament=request.name,
            )
        )
    return trimmed.artwork


def _measured(
    request: BorderRequest,
    pieces: Sequence[Piece],
    band: Band,
    copies: Artwork[Outline],
    lines: Artwork[Outline],
    findings: list[Finding],
) -> float | None:
    """Return the smallest distance between two copies, or a copy and a frame line, up to three gaps."""
    reach = 3.0 * request.gap_mm
    if request.frame_line is FrameLine.BEADED:
        copies = concatenate_artwork([copies, lines])
    # A coarse look first keeps the fine one to the pairs that matter.
    coarse = smallest_gap(copies, tolerance_mm=20.0 * MEASURE_MM, reach_mm=reach)
    found = None
    if coarse is not None:
        near = min(reach, coarse[0] + 0.1)
        found = smallest_gap(copies, tolerance_mm=MEASURE_MM, reach_mm=near)
    gap, where = (reach, None) if found is None else found
    if len(lines) and request.frame_line is not FrameLine.BEADED:
        # A frame line is as long as the border: its distance is that of the copies from the edge of the room it leaves.
        room = _room(request, pieces, band)
        if not room.is_empty:
            gap = min(gap, clearance(copies, room, tolerance_mm=MEASURE_MM))
    if gap >= reach:
        return None
    # Twice the flattening of each of the two curves, and the tolerance of what was bent.
    if gap < request.gap_mm - 4.0 * MEASURE_MM - request.tolerance_mm:
        findings.append(
            Finding(
                code="narrow-gap",
                # What overlaps is burned twice.
                severity=Severity.WARNING if gap > 0.0 else Severity.STOP,
                message=f"two pieces come within {gap:.2f} mm of each other, {request.gap_mm:.2f} mm was asked",
                where_mm=where,
                ornament=request.name,
            )
        )
    return gap


def _room(request: BorderRequest, pieces: Sequence[Piece], band: Band) -> Region:
    """Return the room inside the frame line next to the loop and, where there is one, the one beyond the strip."""
    assert band.near_line_mm is not None
    sense = _sense(request)
    near = moved(pieces, sense * band.near_line_mm[1])
    if near is None:
        return empty()
    far = band.far_mm + 3.0 * request.gap_mm if band.far_line_mm is None else band.far_line_mm[0]
    beyond = moved(pieces, sense * far)
    areas = [empty() if loop is None else region_of(outline_from([p for _, p in loop])) for loop in (near, beyond)]
    return difference(areas[1], areas[0]) if request.outward else difference(areas[0], areas[1])


def _claim(request: BorderRequest, pieces: Sequence[Piece], band: Band) -> Region:
    """Return the band from the loop to its far edge, and the slack that polygons need."""
    far = _sense(request) * (band.far_mm + ZONE_MARGIN_MM)
    if request.sides is not None:
        bars = bar_along(pieces, 0.0, far, edge_mm=_sense(request) * band.edge_mm, sides=request.sides)
        if bars:
            return union(*(region_of(bar) for bar in bars))
    loop = region_of(outline_from(pieces))
    beyond = moved(pieces, far)
    if beyond is None:
        return loop
    other = region_of(outline_from([piece for _, piece in beyond]))
    return difference(other, loop) if request.outward else difference(loop, other)
