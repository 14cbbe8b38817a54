"""What the checker found and measured, for people and for programs."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from friezewright.findings import Finding
from friezewright.units import format_length

__all__ = ["Clearance", "LayerFigures", "OrnamentFigures", "Report"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerFigures:
    """Counts and sizes of one layer; area of an engraved one, length of the others."""

    operation: str
    colour: str
    paths: int
    loops: int
    open_loops: int
    segments: int
    area_mm2: float | None
    length_mm: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class OrnamentFigures:
    """Paths of one ornament and the smallest distance between two of them.

    ``gap_mm`` is None when no two come within ``reach_mm`` of each other.
    """

    name: str
    paths: int
    asked_gap_mm: float | None
    gap_mm: float | None
    reach_mm: float
    where_mm: tuple[float, float] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Clearance:
    """Least distance from anything burned to a cut line; negative when it lies beyond it."""

    name: str
    asked_mm: float | None
    measured_mm: float
    where_mm: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """What a drawing's file holds, measured on the file alone.

    Parameters
    ----------
    name, title, digest, unit
        The file, the job's title and fingerprint, and the unit its makers read.
    frame_mm
        Left, top, width, height.
    layers, ornaments, clearances
        Figures, in the order of the file.
    findings
        Broken promises stop a job; narrow gaps and thin places are warnings.
    tolerance_mm
        How finely curves were cut to be measured.
    """

    name: str
    title: str
    digest: str
    unit: str
    frame_mm: tuple[float, float, float, float]
    layers: tuple[LayerFigures, ...]
    ornaments: tuple[OrnamentFigures, ...]
    clearances: tuple[Clearance, ...]
    findings: tuple[Finding, ...]
    tolerance_mm: float

    def as_table(self) -> dict[str, Any]:
        """Return everything as values that JSON knows."""
        table = asdict(self)
        for item, finding in zip(table["findings"], self.findings, strict=True):
            item["severity"] = finding.severity.name.lower()
        return table

    def as_text(self) -> str:
        """Return a few plain lines; lengths in the drawing's own unit."""

        def shown(length_mm: float) -> str:
            return format_length(length_mm, self.unit)

        left, top, width, height = self.frame_mm
        at = "" if left == top == 0.0 else f", from ({left:g}, {top:g}) mm"
        lines = [f"{self.name}: {self.title or 'without a title'}, {shown(width)} x {shown(height)}{at}"]
        for layer in self.layers:
            size = (
                f"{layer.area_mm2:.1f} mm2 burned"
                if layer.area_mm2 is not None
                else f"{(layer.length_mm or 0.0) / 1000.0:.3f} m followed"
            )
            lines.append(f"{layer.operation}: {_count(layer.paths, 'path')}, {_count(layer.loops, 'loop')}, {size}")
        for ornament in self.ornaments:
            found = (
                f"no two nearer than {shown(ornament.reach_mm)}"
                if ornament.gap_mm is None
                else f"smallest gap {shown(ornament.gap_mm)}"
            )
            asked = "" if ornament.asked_gap_mm is None else f" (asked {shown(ornament.asked_gap_mm)})"
            lines.append(f"ornament {ornament.name}: {_count(ornament.paths, 'path')}, {found}{asked}")
        for clear in self.clearances:
            asked = "" if clear.asked_mm is None else f" (asked {shown(clear.asked_mm)})"
            lines.append(f"clear of {clear.name}: {shown(clear.measured_mm)}{asked}")
        if self.ornaments and not self.clearances:
            lines.append("clear of cuts: not measured, the file has no cut layer")
        lines.extend(str(finding) for finding in self.findings)
        if not self.findings:
            lines.append("nothing to remark")
        return "\n".join(lines)


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"
