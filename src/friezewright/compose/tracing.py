"""Tracing alone: a picture in, its motif as curves in an SVG out, with a report."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from friezewright.compose.motifs import ink_settings
from friezewright.errors import InputError
from friezewright.findings import Finding, Severity
from friezewright.geometry import affine
from friezewright.geometry.artwork import Artwork
from friezewright.geometry.outline import Outline
from friezewright.geometry.planar.region import difference, outset, region_of
from friezewright.geometry.planar.widths import thinnest_part
from friezewright.machine import typical
from friezewright.motif.picture import read_picture
from friezewright.motif.trace import trace
from friezewright.output.pathdata import number_text, path_lines

__all__ = ["TraceOptions", "TracedPicture", "trace_picture"]


@dataclass(frozen=True, slots=True, kw_only=True)
class TraceOptions:
    """How a picture is traced and drawn; what is left None is found from the picture.

    Parameters
    ----------
    height_mm
        Height the motif is drawn and judged at.
    in_frame
        Whether the drawing keeps the picture's own frame, in px.
    ink_level, dust_px, even_light, light_on_dark, smoothness, crop
        As in :class:`~friezewright.motif.picture.InkSettings`.
    """

    height_mm: float
    in_frame: bool = False
    ink_level: float | None = None
    dust_px: float | None = None
    even_light: bool | None = None
    light_on_dark: bool | None = None
    smoothness: float | None = None
    crop: tuple[int, int, int, int] | None = None

    def __post_init__(self) -> None:
        if not 0.1 <= self.height_mm <= 5000.0:
            raise InputError(f"a motif's height must lie between 0.1 mm and 5 m, got {self.height_mm:g} mm")


@dataclass(frozen=True, slots=True, kw_only=True)
class TracedPicture:
    """The drawing, what was remarked, and the report as a table of figures and as one sentence."""

    svg: bytes
    findings: tuple[Finding, ...]
    report: dict[str, Any]
    sentence: str


def trace_picture(data: bytes, *, name: str, options: TraceOptions) -> TracedPicture:
    """Return the motif of a picture as an SVG.

    Raises
    ------
    PictureError, LimitError
        If the picture cannot be read, holds nothing to trace, or is past the limits.
    """
    settings = ink_settings(
        ink_level=options.ink_level,
        dust_px=options.dust_px,
        even_light=options.even_light,
        light_on_dark=options.light_on_dark,
        smoothness=options.smoothness,
        crop=options.crop,
    )
    picture = read_picture(data, settings, name=name)
    traced = trace(picture, settings)
    low, high = traced.outline.bounds()
    scale = options.height_mm / float(high[1] - low[1])
    at_size = traced.outline.transformed(affine.compose(affine.scaling(scale), affine.translation(-low)))
    width_mm = float(high[0] - low[0]) * scale
    if options.in_frame:
        svg = _svg(traced.outline, (0.0, 0.0, float(picture.size_px[0]), float(picture.size_px[1])), unit="")
    else:
        svg = _svg(at_size, (0.0, 0.0, width_mm, options.height_mm), unit="mm")
    spot_mm = typical().spot_mm
    thin, narrow = _least_widths(at_size, widest_mm=max(4.0 * spot_mm, 0.1 * options.height_mm))
    findings = [*traced.findings]
    if thin is not None and thin[0] < spot_mm:
        findings.append(_too_small("thin-line", "thinnest line", thin, spot_mm, options.height_mm))
    if narrow is not None and narrow[0] < spot_mm:
        findings.append(_too_small("narrow-gap", "narrowest gap inside the motif", narrow, spot_mm, options.height_mm))
    figures = traced.figures
    report = {
        "loops": figures.loops,
        "holes": figures.holes,
        "nodes": figures.nodes,
        "numbers": figures.numbers,
        "picture_px": list(picture.size_px),
        "width_mm": round(width_mm, 3),
        "height_mm": round(options.height_mm, 3),
        "area_mm2": round(at_size.area_mm2(), 3),
        "thinnest_line_mm": None if thin is None else round(thin[0], 3),
        "narrowest_gap_mm": None if narrow is None else round(narrow[0], 3),
        "findings": [str(finding) for finding in findings],
    }
    widths = [
        f"{what} {found[0]:.2f} mm" for what, found in (("thinnest line", thin), ("narrowest gap", narrow)) if found
    ]
    sentence = (
        f"{figures.loops} loops ({figures.holes} holes), {figures.nodes} nodes; "
        f"{width_mm:.1f} by {options.height_mm:.1f} mm; " + (", ".join(widths) or "no thin part")
    )
    return TracedPicture(svg=svg, findings=tuple(findings), report=report, sentence=sentence)


def _least_widths(
    outline: Outline, *, widest_mm: float
) -> tuple[tuple[float, tuple[float, float]] | None, tuple[float, tuple[float, float]] | None]:
    """Return the thinnest ink and the thinnest paper enclosed by it or between its parts."""
    ink = region_of(outline)
    # Growing the ink by less than half the width closes every gap of interest and adds no paper outside to judge.
    paper = difference(outset(ink, 0.49 * widest_mm), ink)
    return thinnest_part(ink, widest_mm=widest_mm), thinnest_part(paper, widest_mm=0.49 * widest_mm)


def _too_small(
    code: str, what: str, found: tuple[float, tuple[float, float]], spot_mm: float, height_mm: float
) -> Finding:
    least = height_mm * spot_mm / found[0]
    return Finding(
        code=code,
        severity=Severity.WARNING,
        message=(
            f"the {what} is {found[0]:.2f} mm at a height of {height_mm:.1f} mm, under a typical laser spot of "
            f"{spot_mm:.2f} mm; from {least:.0f} mm on it would show"
        ),
        where_mm=found[1],
    )


def _svg(outline: Outline, frame: tuple[float, float, float, float], *, unit: str) -> bytes:
    x, y, width, height = (number_text(value) for value in frame)
    paths = b"".join(path_lines(Artwork.single([outline])))
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}{unit}" height="{height}{unit}" '
        f'viewBox="{x} {y} {width} {height}">\n<g fill="#000000" fill-rule="evenodd">\n'
    )
    return b'<?xml version="1.0" encoding="UTF-8"?>\n' + head.encode() + paths + b"</g>\n</svg>\n"
