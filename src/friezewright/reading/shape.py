"""A motif from an SVG drawing: what its fills make black, as one outline with shells and holes.

Fills are laid over each other as they are painted, dark ones as ink and light ones as paper, each by the fill rule its
path states. Where no loop crosses another the drawing's own curves are kept to the last digit: a loop counts when there
is ink on one side of it and none on the other. Overlapping paths are united, which rebuilds curves within a tolerance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from friezewright.errors import DrawingError, LimitError
from friezewright.findings import Finding, Severity
from friezewright.geometry import affine, cubic
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import BoolArray, IntArray, Outline, concatenate
from friezewright.geometry.planar.region import Region, difference, empty, outline_of, region_of, self_crossing, union
from friezewright.reading.document import plain
from friezewright.reading.drawing import SvgDrawing, SvgPath
from friezewright.reading.page import read_svg
from friezewright.reading.paint import is_dark

__all__ = ["MOST_SEGMENTS", "read_shape", "shape_of"]

MOST_SEGMENTS = 20_000
"""Most segments of a motif."""

# The drawing is measured at this size, whatever its units are, so that one tolerance suits all.
_WORKING_MM = 100.0
_SAMPLED_MM = 0.002
# Loops smaller than this part of the drawing's area are dust from a drawing program, not shape.
_DUST = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class _Loop:
    """One closed line as it was drawn, and the path it belongs to."""

    segments: FloatArray
    is_line: BoolArray
    path: int
    area: float

    def outline(self) -> Outline:
        loop = Outline(self.segments, self.is_line, np.array([0, len(self.segments)]))
        return loop if self.area >= 0.0 else loop.reversed()

    def polyline(self) -> FloatArray:
        points, _, _ = self.outline().flattened(tolerance_mm=_SAMPLED_MM)
        return points if self.area >= 0.0 else points[::-1]


def read_shape(data: bytes, *, name: str) -> Outline:
    """Return the shape that an SVG file fills, ready to be a motif.

    Parameters
    ----------
    data
        The file's bytes.
    name
        What to call it in messages.

    Returns
    -------
    Outline
        In mm where the drawing says how large it is, in its own units otherwise; shells positive, holes negative.

    Raises
    ------
    DrawingError
        If the file cannot be read, fills nothing, or a shape in it crosses itself.
    LimitError
        If it is larger than the limits.
    """
    return shape_of(read_svg(data, name=name))[0]


def shape_of(drawing: SvgDrawing) -> tuple[Outline, tuple[Finding, ...]]:
    """Return the shape that a drawing fills, and what was left out or rebuilt.

    Raises
    ------
    DrawingError
        If it fills nothing, or a shape in it crosses itself.
    LimitError
        If it has more than :data:`MOST_SEGMENTS` segments.
    """
    if drawing.unit_mm is not None:
        drawing = drawing.in_mm()
    name = drawing.name
    painted = [path for path in drawing.paths if path.fill is not None]
    findings = [finding for finding in drawing.findings if finding.code not in ("no-size", "no-view-box")]
    lines = sum(path.fill is None and path.stroke is not None for path in drawing.paths)
    if lines:
        message = f"{name}: {lines} lines without a fill are left out; turn strokes into areas to keep them"
        findings.append(Finding(code="line-left-out", severity=Severity.WARNING, message=message))
    count = sum(len(path.strokes.segments) for path in painted)
    if count > MOST_SEGMENTS:
        raise LimitError(f"{name} has {count} segments; motifs up to {MOST_SEGMENTS} are taken on; simplify it")
    if not painted:
        raise DrawingError(f"{name} fills nothing; fill the motif with black in the program that drew it")
    boxes = np.stack([path.strokes.bounds() for path in painted])
    low, high = boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)
    grow = _WORKING_MM / max(float((high - low).max()), 1e-300)
    to_work = affine.compose(affine.scaling(grow), affine.translation(-low))
    loops = _loops(painted, to_work)
    outline = _by_sides(loops, painted)
    if outline is None:
        outline = _by_overlay(name, loops, painted)
        message = f"{name}: shapes that overlap were united, and the curves where they meet rebuilt"
        findings.append(Finding(code="united-shapes", severity=Severity.NOTE, message=message))
    if outline.loop_count == 0:
        raise DrawingError(f"{name} fills nothing; fill the motif with black in the program that drew it")
    return outline.transformed(affine.inverse(to_work)), tuple(findings)


def _loops(paths: Sequence[SvgPath], to_work: FloatArray) -> list[_Loop]:
    """Return every subpath as a closed loop, as filling closes it, at working size; dust is left out."""
    loops = []
    for index, path in enumerate(paths):
        strokes = path.strokes.transformed(to_work)
        for part in strokes.paths():
            segments, is_line = strokes.segments[part], strokes.is_line[part]
            if np.any(segments[0, 0] != segments[-1, 3]):
                segments = np.concatenate([segments, cubic.line(segments[-1, 3], segments[0, 0])[None]])
                is_line = np.append(is_line, True)
            area = cubic.signed_area(segments)
            loop = _Loop(segments, is_line, index, area)
            # A figure of eight may sweep no area and yet be one.
            if abs(area) > _DUST * _WORKING_MM * _WORKING_MM or _crosses(loop):
                loops.append(loop)
    return loops


def _crosses(loop: _Loop) -> bool:
    return self_crossing(loop.outline(), tolerance_mm=_SAMPLED_MM) is not None


def _windings(points: FloatArray, polyline: FloatArray) -> IntArray:
    """Return how often a closed polyline (k, 2) runs round each point (n, 2): crossings of a ray, signed."""
    (x, y), a, b = points.T, polyline[:-1], polyline[1:]
    up = (a[:, 1] <= y[:, None]) & (b[:, 1] > y[:, None])
    down = (a[:, 1] > y[:, None]) & (b[:, 1] <= y[:, None])
    side = (b[:, 0] - a[:, 0]) * (y[:, None] - a[:, 1]) - (x[:, None] - a[:, 0]) * (b[:, 1] - a[:, 1])
    turns: IntArray = np.sum(down & (side > 0.0), axis=1) - np.sum(up & (side < 0.0), axis=1)
    return turns


def _is_ink(windings: IntArray, paths: Sequence[SvgPath]) -> bool:
    """Return whether the topmost path that covers a place is dark; ``windings`` has one entry a path."""
    for winding, path in zip(windings[::-1], reversed(paths), strict=True):
        if winding % 2 if path.even_odd else winding:
            return is_dark(path.fill or "")
    return False


def _by_sides(loops: Sequence[_Loop], paths: Sequence[SvgPath]) -> Outline | None:
    """Return the loops with ink on one side only, or None if any two cross or run along each other."""
    if not loops:
        return Outline(np.zeros((0, 4, 2)), np.zeros(0, dtype=bool), np.zeros(1, dtype=np.int64))
    if self_crossing(concatenate(loop.outline() for loop in loops), tolerance_mm=_SAMPLED_MM) is not None:
        return None
    polylines = [loop.polyline() for loop in loops]
    kept = []
    for index, loop in enumerate(loops):
        places = _clear_places(index, polylines)
        if not len(places):
            return None
        around = np.zeros((len(places), len(paths)), dtype=np.int64)
        for other, polyline in enumerate(polylines):
            if other != index:
                around[:, loops[other].path] += _windings(places, polyline)
        if np.any(around != around[0]):
            # It lies partly in another and partly not: they cross in a corner that both have.
            return None
        within = around[0].copy()
        within[loop.path] += 1 if loop.area > 0.0 else -1
        inner, outer = _is_ink(within, paths), _is_ink(around[0], paths)
        if inner != outer:
            kept.append(loop.outline() if inner else loop.outline().reversed())
    if not kept:
        return Outline(np.zeros((0, 4, 2)), np.zeros(0, dtype=bool), np.zeros(1, dtype=np.int64))
    return concatenate(kept)


def _clear_places(index: int, polylines: Sequence[FloatArray]) -> FloatArray:
    """Return some points of a loop that lie on no other, shape (m, 2); none if it runs along others all the way."""
    own = polylines[index]
    middles = 0.5 * (own[:-1] + own[1:])
    middles = middles[:: max(1, len(middles) // 16)]
    away = np.full(len(middles), np.inf)
    for other, polyline in enumerate(polylines):
        if other == index or len(polyline) < 2:
            continue
        low, high = polyline.min(axis=0) - _SAMPLED_MM, polyline.max(axis=0) + _SAMPLED_MM
        close = np.flatnonzero(np.all((middles >= low) & (middles <= high), axis=1))
        if not len(close):
            continue
        start, step = polyline[:-1], np.diff(polyline, axis=0)
        offset = middles[close, None] - start
        share = np.sum(offset * step, axis=2) / np.maximum(np.sum(step * step, axis=1), 1e-300)
        gap = offset - np.clip(share, 0.0, 1.0)[..., None] * step
        away[close] = np.minimum(away[close], np.hypot(gap[..., 0], gap[..., 1]).min(axis=1))
    return middles[away > 2.0 * _SAMPLED_MM]


def _by_overlay(name: str, loops: Sequence[_Loop], paths: Sequence[SvgPath]) -> Outline:
    """Return the united ink of paths that overlap."""
    ink = empty()
    for index, path in enumerate(paths):
        mine = [loop for loop in loops if loop.path == index]
        if mine:
            area = _area_of(name, mine, path)
            ink = union(ink, area) if is_dark(path.fill or "") else difference(ink, area)
    return outline_of(ink, tolerance_mm=_SAMPLED_MM)


def _area_of(name: str, loops: Sequence[_Loop], path: SvgPath) -> Region:
    """Return the area one path fills."""
    if path.even_odd:
        area = empty()
        for loop in loops:
            one = region_of(loop.outline(), tolerance_mm=_SAMPLED_MM)
            area = union(difference(area, one), difference(one, area))
        return area
    alone = _by_sides([replace(loop, path=0) for loop in loops], [replace(path, fill="#000000")])
    if alone is not None:
        return region_of(alone, tolerance_mm=_SAMPLED_MM) if alone.loop_count else empty()
    called = f'"{plain(path.id)}"' if path.id else "a shape"
    if any(_crosses(loop) for loop in loops):
        raise DrawingError(f"{name}: {called} crosses itself; unite it in the program that drew it")
    if len({loop.area > 0.0 for loop in loops}) > 1:
        raise DrawingError(f"{name}: the loops of {called} cross each other; unite it in the program that drew it")
    return union(*(region_of(loop.outline(), tolerance_mm=_SAMPLED_MM) for loop in loops))
