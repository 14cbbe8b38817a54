"""The machine time of a drawing, layer by layer, as a range.

Nothing here was ever timed on a machine of yours: the figures of the profile decide. A profile that nobody measured
gives a rough range, one fitted to timed test pieces the range of its fit.

Left out: the way from the machine's home to the first path and back, and what the machine's own program does otherwise
than assumed here (:mod:`friezewright.motion.order`, :mod:`friezewright.motion.raster`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from friezewright.findings import Finding, Severity
from friezewright.geometry.artwork import Artwork, concatenate_artwork
from friezewright.geometry.outline import Outline
from friezewright.geometry.spans import span_bands
from friezewright.geometry.strokes import Strokes
from friezewright.geometry.tolerance import FLATTEN_MM
from friezewright.layers.drawing import Drawing, Layer, Operation
from friezewright.machine import Kind, Machine
from friezewright.motion.order import join_stops, nearest_order, stops_of
from friezewright.motion.raster import burn_times, lines_of, speed_finding
from friezewright.motion.vector import Limits, artwork_times, move_times
from friezewright.panel.panel import RIM

__all__ = ["Estimate", "LayerTime", "areas_of", "estimate", "strokes_of", "time_areas", "time_strokes"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerTime:
    """Machine time of one layer, in seconds by what it goes to, and the way run, in mm.

    Parameters
    ----------
    operation
        Of the layer.
    burning_s
        Laser on.
    travel_s
        Laser off, on the way to the next path, across gaps within burned lines, and along to where the next line
        starts.
    turning_s
        Running out at the ends of burned lines and stepping to the next.
    delays_s
        Starting paths.
    burned_mm, travel_mm
        Way with the laser on, and off.
    count
        Paths followed, or lines burned.
    """

    operation: Operation
    burning_s: float
    travel_s: float
    turning_s: float
    delays_s: float
    burned_mm: float
    travel_mm: float
    count: int

    @property
    def total_s(self) -> float:
        """All of it."""
        return self.burning_s + self.travel_s + self.turning_s + self.delays_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """Machine time of a drawing.

    Parameters
    ----------
    layers
        In run order.
    start_s
        Time a job takes before its first layer moves.
    range_below, range_above
        Shares of the total that the true time may lie below or above it.
    calibrated
        Whether the machine's figures were measured; a rough estimate otherwise.
    findings
        Remarks on speed and model.
    """

    layers: tuple[LayerTime, ...]
    start_s: float
    range_below: float
    range_above: float
    calibrated: bool
    findings: tuple[Finding, ...] = ()

    @property
    def total_s(self) -> float:
        """Seconds in all, start of the job included."""
        return self.start_s + sum(layer.total_s for layer in self.layers)

    @property
    def low_s(self) -> float:
        """Seconds at the lower end of the range."""
        return self.total_s * (1.0 - self.range_below)

    @property
    def high_s(self) -> float:
        """Seconds at the upper end of the range."""
        return self.total_s * (1.0 + self.range_above)

    @property
    def burned_mm(self) -> float:
        """Way with the laser on."""
        return sum(layer.burned_mm for layer in self.layers)

    @property
    def travel_mm(self) -> float:
        """Way with the laser off."""
        return sum(layer.travel_mm for layer in self.layers)

    def share(self, layer: LayerTime) -> float:
        """Return which part of the total a layer takes, 0 to 1."""
        total = self.total_s
        return layer.total_s / total if total > 0.0 else 0.0


def time_areas(
    parts: tuple[Artwork[Outline], ...], machine: Machine, *, operation: Operation = Operation.ENGRAVE
) -> tuple[LayerTime, tuple[Finding, ...]]:
    """Return the time to burn areas line by line, all parts in one go, and what there is to say about the speed."""
    areas = concatenate_artwork(parts)
    spacing = machine.line_spacing_mm
    lines = lines_of(span_bands(areas, spacing_mm=spacing, tolerance_mm=FLATTEN_MM), spacing)
    times = burn_times(lines, machine)
    note = speed_finding(lines, machine)
    run_out = (machine.engrave_speed_mm_s * machine.speed_share) ** 2 / machine.engrave_acceleration_mm_s2
    layer = LayerTime(
        operation=operation,
        burning_s=times.burning_s,
        travel_s=times.gaps_s + times.shifting_s,
        turning_s=times.run_out_s + times.turning_s,
        delays_s=0.0,
        burned_mm=float(lines.burned_mm.sum()),
        travel_mm=float(lines.gaps_mm.sum()) + times.shifted_mm + run_out * len(lines.line),
        count=len(lines.line),
    )
    return layer, () if note is None else (note,)


def time_strokes(
    parts: tuple[Artwork[Strokes], ...],
    machine: Machine,
    *,
    operation: Operation,
    stages: tuple[int, ...] | None = None,
) -> LayerTime:
    """Return the time to follow lines, nearest after nearest.

    Parameters
    ----------
    parts
        Artwork to follow.
    machine
        Its figures.
    operation
        Decides the speed.
    stages
        Stage of each part: one is finished before the next starts. All are one when left out.
    """
    limits = Limits.of(machine, machine.speed_mm_s_of(operation.value))
    times = [artwork_times(part, limits) for part in parts]
    stages = (0,) * len(parts) if stages is None else stages
    stops = join_stops(stops_of(part, stage=stage) for part, stage in zip(parts, stages, strict=True))
    route = nearest_order(stops)
    hops = move_times(
        route.hop_mm,
        0.0,
        0.0,
        speed_mm_s=machine.travel_speed_mm_s,
        acceleration_mm_s2=machine.acceleration_mm_s2,
    )
    return LayerTime(
        operation=operation,
        burning_s=float(sum(part.seconds.sum() for part in times)),
        travel_s=float(hops.sum()),
        turning_s=0.0,
        delays_s=len(stops) * machine.start_delay_s,
        burned_mm=float(sum(part.length_mm.sum() for part in times)),
        travel_mm=route.travel_mm,
        count=len(stops),
    )


def _timed(layer: Layer, machine: Machine) -> tuple[LayerTime, tuple[Finding, ...]]:
    if layer.operation is Operation.ENGRAVE:
        return time_areas(tuple(areas_of(part.artwork) for part in layer.parts), machine)
    stages = tuple(int(layer.operation is Operation.CUT and part.ornament == RIM) for part in layer.parts)
    strokes = tuple(strokes_of(part.artwork) for part in layer.parts)
    return time_strokes(strokes, machine, operation=layer.operation, stages=stages), ()


def areas_of(artwork: Artwork[Outline] | Artwork[Strokes]) -> Artwork[Outline]:
    """Return artwork of areas as what it is, for the type checker."""
    shapes = tuple(shape for shape in artwork.shapes if isinstance(shape, Outline))
    return Artwork(shapes, artwork.placements)


def strokes_of(artwork: Artwork[Outline] | Artwork[Strokes]) -> Artwork[Strokes]:
    """Return artwork of strokes as what it is, for the type checker."""
    shapes = tuple(shape for shape in artwork.shapes if isinstance(shape, Strokes))
    return Artwork(shapes, artwork.placements)


def _remarks(drawing: Drawing, machine: Machine) -> list[Finding]:
    remarks = []
    if machine.kind is Kind.STEERED_BEAM:
        remarks.append(
            Finding(
                code="steered-beam",
                severity=Severity.NOTE,
                message="time is computed for a moving head; a steered beam has less to speed up and is quicker",
            )
        )
    width, height = drawing.frame[2:]
    bed = machine.bed_mm
    if bed is not None and (min(width, height) > min(bed) or max(width, height) > max(bed)):
        remarks.append(
            Finding(
                code="larger-than-bed",
                severity=Severity.WARNING,
                message=f"the drawing is {width:.0f} x {height:.0f} mm, the bed {bed[0]:.0f} x {bed[1]:.0f} mm",
            )
        )
    return remarks


def estimate(drawing: Drawing, machine: Machine, *, progress: Callable[[str], None] | None = None) -> Estimate:
    """Return the machine time of a drawing.

    Parameters
    ----------
    drawing
        Layers in run order.
    machine
        Its figures.
    progress
        Called with a few words before each layer; may raise :class:`friezewright.errors.Cancelled`.
    """
    layers, findings = [], _remarks(drawing, machine)
    for layer in drawing.layers:
        if progress is not None:
            progress(f"timing the {layer.operation.value} layer")
        timed, notes = _timed(layer, machine)
        layers.append(timed)
        findings.extend(notes)
    return Estimate(
        layers=tuple(layers),
        start_s=machine.job_start_s if layers else 0.0,
        range_below=machine.range_below,
        range_above=machine.range_above,
        calibrated=machine.calibrated,
        findings=tuple(findings),
    )
