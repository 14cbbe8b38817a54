"""Timing alone: a layered drawing made here in, its machine time out."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import Any

from friezewright.errors import DrawingError
from friezewright.findings import Finding
from friezewright.geometry.artwork import Artwork
from friezewright.geometry.outline import Outline
from friezewright.geometry.strokes import Strokes
from friezewright.layers.drawing import Drawing, Layer, Operation, Part, Pen
from friezewright.machine import from_toml, typical
from friezewright.motion.estimate import estimate
from friezewright.reading.drawing import SvgPath
from friezewright.reading.svg import MADE_HERE, read_svg
from friezewright.units import format_duration

__all__ = ["TimedDrawing", "drawing_of_svg", "time_drawing"]


@dataclass(frozen=True, slots=True, kw_only=True)
class TimedDrawing:
    """The time as a table of figures and as plain lines, and what was remarked."""

    report: dict[str, Any]
    sentences: tuple[str, ...]
    findings: tuple[Finding, ...]


def time_drawing(
    data: bytes, *, name: str, machine: tuple[bytes, str] | None, thickness_mm: float | None = None
) -> TimedDrawing:
    """Return how long a drawing takes.

    Parameters
    ----------
    data, name
        The drawing's bytes, and what to call it in errors.
    machine
        A profile's bytes and its name; None for the typical machine.
    thickness_mm
        Of the sheet, for the cut speed of the typical machine.

    Raises
    ------
    DrawingError
        If it is not a layered drawing as this program writes them.
    MachineError
        If the profile cannot be used.
    """
    profile = typical(thickness_mm=thickness_mm) if machine is None else from_toml(machine[0], name=machine[1])
    timed = estimate(drawing_of_svg(data, name=name), profile)
    report = {
        "drawing": name,
        "machine": profile.name,
        "calibrated": timed.calibrated,
        "seconds": round(timed.total_s, 2),
        "low_s": round(timed.low_s, 2),
        "high_s": round(timed.high_s, 2),
        "start_s": round(timed.start_s, 2),
        "layers": [
            {
                "operation": layer.operation.value,
                "count": layer.count,
                "seconds": round(layer.total_s, 2),
                "burning_s": round(layer.burning_s, 2),
                "travel_s": round(layer.travel_s, 2),
                "turning_s": round(layer.turning_s, 2),
                "delays_s": round(layer.delays_s, 2),
                "metres": round(layer.burned_mm / 1000.0, 4),
            }
            for layer in timed.layers
        ],
        "findings": [str(finding) for finding in timed.findings],
    }
    lines = [
        f"{layer.operation.value}: {format_duration(layer.total_s)}, {layer.burned_mm / 1000.0:.2f} m"
        for layer in timed.layers
    ]
    rough = "fitted to this machine" if timed.calibrated else "rough until the machine is measured"
    lines.append(f"in all {format_duration(timed.low_s)} to {format_duration(timed.high_s)}, simulated, {rough}")
    return TimedDrawing(report=report, sentences=tuple(lines), findings=timed.findings)


def drawing_of_svg(data: bytes, *, name: str) -> Drawing:
    """Return the layers written in a drawing's file, each path a shape placed once.

    Raises
    ------
    DrawingError
        If it has no layers as this program writes them.
    """
    svg = read_svg(data, name=name, limits=MADE_HERE).in_mm()
    operations = [dict(path.data).get("data-operation", "") for path in svg.paths]
    strangers = sorted({word for word in operations if word not in list(Operation)})
    if not svg.paths or strangers or svg.page is None:
        raise DrawingError(
            f"{name} is not a layered drawing made here (its groups name no operation); "
            "give the drawing.svg that `friezewright compose` wrote"
        )
    layers = []
    for operation in Operation:
        paths = [path for path, word in zip(svg.paths, operations, strict=True) if word == operation]
        parts = tuple(
            Part(ornament=owner, artwork=_artwork(list(group), operation))
            for owner, group in groupby(paths, key=_owner)
        )
        if parts:
            paint = paths[0].fill if operation is Operation.ENGRAVE else paths[0].stroke
            layers.append(Layer(operation=operation, parts=parts, pen=Pen((paint or "#000000").lower(), 0.1)))
    page = svg.page
    return Drawing(title=name, frame=(page.x, page.y, page.width, page.height), layers=tuple(layers))


def _owner(path: SvgPath) -> str:
    data = dict(path.data)
    return data.get("data-ornament", data.get("data-cut", ""))


def _artwork(paths: list[SvgPath], operation: Operation) -> Artwork[Outline] | Artwork[Strokes]:
    if operation is not Operation.ENGRAVE:
        return Artwork.single([path.strokes for path in paths])
    return Artwork.single(
        [Outline(path.strokes.segments, path.strokes.is_line, path.strokes.path_start) for path in paths]
    )
