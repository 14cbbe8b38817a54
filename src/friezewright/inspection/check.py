"""A second opinion on a layered drawing, by code that shares nothing with what wrote it.

The file is read again and measured. Every item of the writer's promise has its own finding here, and each of these
stops a job; what is only nearer or thinner than wished for is a warning.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from friezewright.findings import Finding, Severity, worst_first
from friezewright.inspection.measure import FINE_MM, Marks, least_clearance, marks_of, smallest_gap, thinnest
from friezewright.inspection.paths import Paths, read_paths
from friezewright.inspection.read import LayerText, SheetText, read_sheet
from friezewright.inspection.report import Clearance, LayerFigures, OrnamentFigures, Report
from friezewright.inspection.shapes import loop_areas
from friezewright.inspection.sound import Fault, area_faults, open_loops, repeated_lines, repeated_paths, without_paths

__all__ = ["inspect"]

_SLACK_MM = 0.002
"""Rounding to 0.001 mm moves each of two edges by 0.0007 mm; more than this is a fault."""

_OVERLAP_MM2 = 0.01
"""Areas that share less than this share less than half a laser spot: touching, not burned twice."""

_TOLERANCE_MM = 0.002
_MANY_SEGMENTS = 1_000_000
_TOLERANCE_MANY_MM = 0.01
_LISTED = 20
"""Findings of one code that are listed; the rest are counted."""

_RIM = "rim"


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Layer:
    """A layer's text, its segments, and its geometries."""

    text: LayerText
    paths: Paths
    part: NDArray[np.int64]  # of each path
    marks: Marks

    @property
    def burned(self) -> bool:
        return self.text.operation != "cut"

    def owner(self, path: int) -> str:
        return self.text.parts[int(self.part[path])].name


def inspect(data: bytes, *, name: str, thin_mm: float = 0.15) -> Report:
    """Return what a drawing's file holds, measured, and where it breaks its promise.

    Parameters
    ----------
    data
        The file's bytes.
    name
        What to call it.
    thin_mm
        Places of burned areas thinner than this are remarked on; the width of a typical laser spot (common practice,
        no source).

    Raises
    ------
    DrawingError
        If it is not an SVG file, or has no readable size.
    LimitError
        If it is larger than 2 GB.
    """
    sheet = read_sheet(data, name=name)
    findings = list(sheet.findings)
    read: list[tuple[LayerText, Paths, NDArray[np.int64]]] = []
    for text in sheet.layers:
        parts = np.repeat(np.arange(len(text.parts)), [len(part.paths) for part in text.parts])
        paths, bad = read_paths([d for part in text.parts for d in part.paths])
        read.append((text, paths, parts))
        faults = [Fault(item.code, item.path, item.problem) for item in bad]
        findings.extend(_listed(faults, text, parts))
    many = sum(len(paths.segments) for _, paths, _ in read) > _MANY_SEGMENTS
    tolerance = _TOLERANCE_MANY_MM if many else _TOLERANCE_MM
    layers = []
    for text, paths, parts in read:
        filled = text.operation == "engrave"
        faults = [*open_loops(paths, text.operation)]
        if text.operation != "score":
            sound, more = area_faults(paths, one_area_a_path=filled, tolerance_mm=tolerance)
            faults += more
            paths = sound if filled else paths
        repeated = repeated_paths(paths)
        # Areas that share an edge burn it once; lines that share one are followed twice.
        paths = without_paths(paths, [fault.path for fault in repeated])
        faults += repeated + ([] if filled else repeated_lines(paths))
        findings.extend(_listed(faults, text, parts))
        marks = marks_of(paths, filled=filled, tolerance_mm=tolerance)
        layers.append(_Layer(text=text, paths=paths, part=parts, marks=marks))
    findings.extend(_outside(sheet, layers))
    findings.extend(_burned_twice(layers))
    findings.extend(_cut_order(layers))
    ornaments = tuple(_gaps(layers, tolerance))
    twice = {finding.ornament for finding in findings if finding.code in ("burned-twice", "drawn-twice")}
    findings.extend(_narrow(ornaments, twice))
    clearances = tuple(_clearances(sheet, layers, tolerance))
    findings.extend(_too_near(clearances))
    findings.extend(_thin(layers, thin_mm))
    asked = sheet.asked
    return Report(
        name=name,
        title=sheet.title,
        digest=str(asked.get("digest", "")),
        unit="in" if asked.get("unit") == "in" else "mm",
        frame_mm=sheet.frame,
        layers=tuple(_figures(layer) for layer in layers),
        ornaments=ornaments,
        clearances=clearances,
        findings=worst_first(findings),
        tolerance_mm=tolerance,
    )


def _listed(faults: list[Fault], text: LayerText, parts: NDArray[np.int64]) -> Iterator[Finding]:
    """Yield faults as findings, a limited number of each code."""
    counts: dict[str, int] = {}
    for fault in faults:
        counts[fault.code] = counts.get(fault.code, 0) + 1
        if counts[fault.code] > _LISTED:
            continue
        part = text.parts[int(parts[fault.path])]
        number = fault.path - int(np.searchsorted(parts, parts[fault.path])) + 1
        yield Finding(
            code=fault.code,
            severity=Severity.STOP,
            message=f"{text.operation} path {number}: {fault.problem}",
            where_mm=fault.where_mm,
            ornament=part.name or None,
        )
    for code, count in counts.items():
        if count > _LISTED:
            message = f"{count - _LISTED} more such paths in the {text.operation} layer"
            yield Finding(code=code, severity=Severity.STOP, message=message)


def _figures(layer: _Layer) -> LayerFigures:
    paths = layer.paths
    filled = layer.marks.filled
    size = float(np.sum(loop_areas(paths) if filled else shapely.length(layer.marks.geometry)))
    return LayerFigures(
        operation=layer.text.operation,
        colour=layer.text.colour,
        paths=len(layer.part),
        loops=len(paths.loop_path),
        open_loops=int(np.sum(~paths.closed)),
        segments=len(paths.segments),
        area_mm2=round(size, 4) if filled else None,
        length_mm=None if filled else round(size, 4),
    )


def _outside(sheet: SheetText, layers: list[_Layer]) -> Iterator[Finding]:
    left, top, width, height = sheet.frame
    for layer in layers:
        if not len(layer.marks.geometry):
            continue
        bounds = shapely.bounds(layer.marks.geometry)
        over = np.max(
            np.column_stack(
                [left - bounds[:, 0], top - bounds[:, 1], bounds[:, 2] - left - width, bounds[:, 3] - top - height]
            ),
            axis=1,
        )
        worst = int(np.argmax(over))
        if over[worst] > _SLACK_MM:
            x, y = np.clip(bounds[worst, :2], [left, top], [left + width, top + height])
            yield Finding(
                code="outside-frame",
                severity=Severity.STOP,
                message=f"{int(np.sum(over > _SLACK_MM))} paths of the {layer.text.operation} layer leave the frame, "
                f"by up to {over[worst]:.3f} mm",
                where_mm=(float(x), float(y)),
                ornament=layer.owner(int(layer.marks.path[worst])) or None,
            )


def _burned_twice(layers: list[_Layer]) -> Iterator[Finding]:
    for layer in layers:
        if not layer.marks.filled:
            continue
        areas = layer.marks.geometry
        sound = np.flatnonzero(shapely.is_valid(areas))
        a, b = shapely.STRtree(areas[sound]).query(areas[sound], predicate="intersects")
        a, b = sound[a[a < b]], sound[b[a < b]]
        shared = shapely.intersection(areas[a], areas[b])
        size = shapely.area(shared)
        twice = np.flatnonzero(size > _OVERLAP_MM2)
        for index in twice[:_LISTED].tolist():
            x, y = shapely.get_coordinates(shapely.point_on_surface(shared[index]))[0]
            first, second = layer.owner(int(layer.marks.path[a[index]])), layer.owner(int(layer.marks.path[b[index]]))
            whom = "another path" if first == second else f"one of {second}"
            yield Finding(
                code="burned-twice",
                severity=Severity.STOP,
                message=f"a path shares {size[index]:.3f} mm2 with {whom}, which would burn twice",
                where_mm=(float(x), float(y)),
                ornament=first or None,
            )
        if len(twice) > _LISTED:
            message = f"{len(twice) - _LISTED} more pairs of paths overlap"
            yield Finding(code="burned-twice", severity=Severity.STOP, message=message)


def _cut_order(layers: list[_Layer]) -> Iterator[Finding]:
    for layer in layers:
        if layer.burned or not len(layer.marks.geometry):
            continue
        bounds = shapely.bounds(layer.marks.geometry)
        largest = int(np.argmax((bounds[:, 2] - bounds[:, 0]) * (bounds[:, 3] - bounds[:, 1])))
        if largest != len(bounds) - 1:
            yield Finding(
                code="cut-order",
                severity=Severity.STOP,
                message=f"{layer.owner(int(layer.marks.path[largest])) or 'the rim'} is cut before what lies "
                "inside it, which then moves with the part",
            )


def _gaps(layers: list[_Layer], tolerance_mm: float) -> Iterator[OrnamentFigures]:
    """Yield the smallest distance between paths of each ornament, over all burned layers."""
    burned = [layer for layer in layers if layer.burned]
    asked: dict[str, float | None] = {}
    for layer in burned:
        for part in layer.text.parts:
            asked[part.name] = part.gap_mm if part.gap_mm is not None else asked.get(part.name)
    for name, gap in asked.items():
        chosen, paths = [], 0
        for layer in burned:
            mine = [index for index, part in enumerate(layer.text.parts) if part.name == name]
            paths += int(np.isin(layer.part, mine).sum())
            chosen.append((layer.marks, np.flatnonzero(np.isin(layer.part[layer.marks.path], mine))))
        # Beyond twice what was asked a gap is no longer a matter of fit.
        reach = 2.0 * gap + 0.5 if gap is not None else 1.0
        found = smallest_gap(chosen, reach_mm=reach, tolerance_mm=tolerance_mm)
        yield OrnamentFigures(
            name=name,
            paths=paths,
            asked_gap_mm=gap,
            gap_mm=None if found is None else found[0],
            reach_mm=reach,
            where_mm=None if found is None else found[1],
        )


def _narrow(ornaments: tuple[OrnamentFigures, ...], overlapping: set[str | None]) -> Iterator[Finding]:
    for figures in ornaments:
        gap, asked = figures.gap_mm, figures.asked_gap_mm
        if gap == 0.0 and figures.name in overlapping:
            continue  # named already, with the place and the area
        if gap is not None and asked is not None and gap < asked - _SLACK_MM:
            yield Finding(
                code="narrow-gap",
                severity=Severity.WARNING,
                message=f"two paths stand {gap:.3f} mm apart, {asked:.3f} mm was asked",
                where_mm=figures.where_mm,
                ornament=figures.name,
            )


def _clearances(sheet: SheetText, layers: list[_Layer], tolerance_mm: float) -> Iterator[Clearance]:
    """Yield how near the burned layers come to each opening and to the rim."""
    burned = [layer.marks for layer in layers if layer.burned and len(layer.marks.geometry)]
    table = sheet.asked.get("keep_off_mm")
    table = table if isinstance(table, dict) else {}
    openings = table.get("openings")
    for layer in layers:
        if layer.burned or not burned:
            continue
        for index, part in enumerate(layer.text.parts):
            loops = np.flatnonzero(layer.part[layer.paths.loop_path] == index)
            cut = marks_of(layer.paths, filled=False, tolerance_mm=FINE_MM, loops=loops)
            if not len(cut.geometry):
                continue
            line = shapely.union_all(cut.geometry)
            nearest = least_clearance(burned, line, tolerance_mm=tolerance_mm)
            if nearest is None:
                continue
            beyond = _beyond(burned, cut.geometry, outside=part.name == _RIM)
            measured, where = nearest if beyond is None else (-beyond[0], beyond[1])
            asked = table.get("rim") if part.name == _RIM else (openings or {}).get(part.name)
            yield Clearance(
                name=part.name,
                asked_mm=float(asked) if isinstance(asked, int | float) else None,
                measured_mm=measured,
                where_mm=where,
            )


def _beyond(burned: list[Marks], cut: NDArray[Any], *, outside: bool) -> tuple[float, tuple[float, float]] | None:
    """Return how far the farthest mark stands inside an opening, or outside the rim; None when none does."""
    loops = shapely.get_parts(cut)
    closed = loops[shapely.is_closed(loops) & (shapely.get_num_coordinates(loops) >= 4)]
    if not len(closed):
        return None
    points, index = shapely.get_coordinates(closed, return_index=True)
    areas = shapely.polygons(shapely.linearrings(points, indices=index))
    area = shapely.union_all(shapely.make_valid(areas))
    shapely.prepare(area)
    worst: tuple[float, tuple[float, float]] | None = None
    for marks in burned:
        # No mark crosses the line here: one that does has distance 0 already, and a point of each tells the side.
        points = shapely.get_coordinates(marks.geometry)
        owner = np.repeat(np.arange(len(marks.geometry)), shapely.get_num_coordinates(marks.geometry))
        first = points[np.searchsorted(owner, np.arange(len(marks.geometry)))]
        inside = shapely.contains_xy(area, first[:, 0], first[:, 1])
        wrong = np.flatnonzero(~inside if outside else inside)
        if len(wrong):
            depth = shapely.distance(shapely.boundary(area), shapely.points(first[wrong]))
            deepest = int(np.argmax(depth))
            if worst is None or depth[deepest] > worst[0]:
                worst = float(depth[deepest]), (float(first[wrong[deepest], 0]), float(first[wrong[deepest], 1]))
    return worst


def _too_near(clearances: tuple[Clearance, ...]) -> Iterator[Finding]:
    for clear in clearances:
        asked = clear.asked_mm
        if clear.measured_mm < (asked or 0.0) - _SLACK_MM:
            what = "the rim" if clear.name == _RIM else f"opening {clear.name}"
            how = (
                f"burning lies {-clear.measured_mm:.3f} mm beyond {what}"
                if clear.measured_mm < 0.0
                else f"burning comes {clear.measured_mm:.3f} mm near to {what}, {asked:.3f} mm was asked"
            )
            yield Finding(code="keep-off", severity=Severity.STOP, message=how, where_mm=clear.where_mm)


def _thin(layers: list[_Layer], thin_mm: float) -> Iterator[Finding]:
    for layer in layers:
        if not layer.marks.filled:
            continue
        found = thinnest(layer.marks, under_mm=thin_mm)
        if found is not None:
            width, where, path = found
            yield Finding(
                code="thin-line",
                severity=Severity.WARNING,
                message=f"a burned line is only {width:.2f} mm wide, under {thin_mm:.2f} mm",
                where_mm=where,
                ornament=layer.owner(path) or None,
            )
