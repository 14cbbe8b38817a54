"""From ink to curves: the one door to the tracer, whichever of its bindings is installed.

The tracer (Selinger, "Potrace: a polygon-based tracing algorithm", 2003) settles how many loops there are, which are
holes, where corners lie and how pieces join. :mod:`friezewright.motif.refine` then moves what it drew onto the edge
that the grey levels show. Coordinates are px of the whole picture: pixel (column, row) covers [column, column + 1] x
[row, row + 1], y points down.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from friezewright.errors import LimitError
from friezewright.findings import Finding
from friezewright.geometry import cubic
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import BoolArray, Outline
from friezewright.motif import packed
from friezewright.motif.ink import GreyArray
from friezewright.motif.picture import InkSettings, Picture
from friezewright.motif.refine import refine

__all__ = ["MOST_SEGMENTS", "TraceFigures", "Traced", "trace"]

MOST_SEGMENTS = 20_000
# The tracer's alpha of a corner that is infinitely sharp; bends at or above the parameter are corners.
_SHARPEST_ALPHA = 4.0 / 3.0
# Paper left round the ink, so that every edge has its two sides: wider than any window that looks across an edge.
_MARGIN_PX = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class TraceFigures:
    """What was traced: loops, holes among them, nodes, and the numbers a path of them takes."""

    loops: int
    holes: int
    nodes: int
    numbers: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Traced:
    """The outline of the ink in px of the whole picture, y down, with what was remarked on the way."""

    outline: Outline
    findings: tuple[Finding, ...]
    figures: TraceFigures


def trace(picture: Picture, settings: InkSettings) -> Traced:
    """Return the outline of the ink: shells positive, holes negative, in px of the whole picture.

    Raises
    ------
    LimitError
        If the outline takes more than 20,000 segments, as the grain of a photograph would.
    """
    ink, grey, corner_px = _round_the_ink(picture)
    outline = plain_outline(ink, settings)
    if len(outline.segments) > MOST_SEGMENTS:
        raise LimitError(
            f"the outline of {picture.name} takes {len(outline.segments)} curves; the limit is {MOST_SEGMENTS}: "
            "drop more dust, or give a plainer motif"
        )
    if settings.follow_grey:
        outline = refine(
            outline,
            grey,
            ink,
            level=picture.level,
            contrast=picture.paper_grey - picture.ink_grey,
            two_level=picture.two_level,
            # At 1 nothing is a corner; below, the bend grows with the smoothness.
            least_bend_rad=settings.smoothness if settings.smoothness < 1.0 else np.pi,
        )
    shifted = Outline(outline.segments + corner_px, outline.is_line, outline.loop_start)
    return Traced(outline=shifted, findings=picture.findings, figures=_figures(shifted))


def plain_outline(ink: BoolArray, settings: InkSettings) -> Outline:
    """Return the tracer's own outline of the ink, in px of the array, y down.

    Straight pieces that continue each other are joined, which moves nothing.
    """
    alphamax = settings.smoothness * _SHARPEST_ALPHA * (1.0 + 1e-9)
    if packed.is_available():
        found: Iterable[tuple[BoolArray, FloatArray]] = packed.curves(
            ink, alphamax=alphamax, opttolerance=settings.joining_px
        )
    else:
        found = _bound_curves(ink, alphamax=alphamax, opttolerance=settings.joining_px)
    loops = [_loop(corner, points) for corner, points in found]
    segments = np.concatenate([segments for segments, _ in loops])
    is_line = np.concatenate([lines for _, lines in loops])
    starts = np.concatenate([[0], np.cumsum([len(lines) for _, lines in loops])])
    return Outline(segments, is_line, starts)


def _bound_curves(ink: BoolArray, *, alphamax: float, opttolerance: float) -> Iterable[tuple[BoolArray, FloatArray]]:
    """Yield the curves as :func:`friezewright.motif.packed.curves` does, through an installed binding."""
    import potrace as binding

    potrace: Any = binding

    if hasattr(potrace, "POTRACE_CORNER"):
        # The pure Python binding takes True for paper, and hands out points as objects.
        for curve in potrace.Bitmap(~ink).trace(turdsize=0, alphamax=alphamax, opttolerance=opttolerance):
            yield _unpacked(curve, lambda point: (point.x, point.y))
    else:
        # The smallest type the compiled binding takes: it reads the array one pixel at a time.
        bitmap = potrace.Bitmap(ink.astype(np.uint32))
        for curve in bitmap.trace(turdsize=0, alphamax=alphamax, opttolerance=opttolerance):
            yield _unpacked(curve, tuple)


def _unpacked(curve: Any, xy: Callable[[Any], tuple[float, float]]) -> tuple[BoolArray, FloatArray]:
    """Return one curve of a binding as :func:`friezewright.motif.packed.curves` yields them."""
    corner, points = [], []
    for piece in curve.segments:
        corner.append(bool(piece.is_corner))
        first, second = (piece.c, piece.c) if piece.is_corner else (piece.c1, piece.c2)
        points.append([xy(first), xy(second), xy(piece.end_point)])
    return np.array(corner), np.array(points, dtype=np.float64)


def _loop(corner: BoolArray, points: FloatArray) -> tuple[FloatArray, BoolArray]:
    """Return one curve of the tracer as segments (m, 4, 2) and which of them are lines (m,)."""
    start = np.roll(points[:, 2], 1, axis=0)
    # A corner after a corner: the end between them lies on the straight line from one to the other.
    before, after = corner & np.roll(corner, 1), corner & np.roll(corner, -1)
    segments: list[FloatArray] = []
    is_line: list[bool] = []
    for i, pieces in enumerate(points):
        if not corner[i]:
            segments.append(np.stack([start[i], *pieces]))
            is_line.append(False)
            continue
        if not before[i]:
            segments.append(cubic.line(start[i], pieces[1]))
            is_line.append(True)
        target = points[(i + 1) % len(points), 1] if after[i] else pieces[2]
        segments.append(cubic.line(pieces[1], target))
        is_line.append(True)
    return np.array(segments), np.array(is_line)


def _figures(outline: Outline) -> TraceFigures:
    holes = sum(cubic.signed_area(outline.segments[loop]) < 0.0 for loop in outline.loops())
    lines = int(outline.is_line.sum())
    nodes = len(outline.segments)
    # A start takes two numbers, a line two and a curve six.
    numbers = 2 * outline.loop_count + 2 * lines + 6 * (nodes - lines)
    return TraceFigures(loops=outline.loop_count, holes=holes, nodes=nodes, numbers=numbers)


def _round_the_ink(picture: Picture) -> tuple[BoolArray, GreyArray, FloatArray]:
    """Return the ink and the greys of the ink's surroundings with paper all round, and their corner in the picture."""
    rows, columns = np.flatnonzero(picture.ink.any(axis=1)), np.flatnonzero(picture.ink.any(axis=0))
    top, left = int(rows[0]) - _MARGIN_PX, int(columns[0]) - _MARGIN_PX
    bottom, right = int(rows[-1]) + 1 + _MARGIN_PX, int(columns[-1]) + 1 + _MARGIN_PX
    height, width = picture.ink.shape
    inside = (slice(max(top, 0), min(bottom, height)), slice(max(left, 0), min(right, width)))
    around = ((max(-top, 0), max(bottom - height, 0)), (max(-left, 0), max(right - width, 0)))
    ink = np.pad(picture.ink[inside], around)
    grey = np.pad(picture.grey[inside], around, constant_values=picture.paper_grey)
    return ink, grey, np.array([left + picture.offset_px[0], top + picture.offset_px[1]], dtype=np.float64)
