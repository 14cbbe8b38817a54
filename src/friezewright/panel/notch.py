"""Notches: openings at the edge of a panel, taken off its rim with every line and curve kept.

Both loops are cut where they cross, the pieces of the rim outside the notch and the pieces of the notch inside the rim
are kept, and the ends are joined again. A notch may run along the rim, as a hinge recess written from the edge does.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from friezewright.errors import PanelError
from friezewright.geometry import cubic
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import BoolArray, Outline
from friezewright.geometry.planar.region import (
    contains_points,
    distance_to_edge,
    intersection,
    outline_of,
    region_of,
)
from friezewright.geometry.tolerance import ZONE_FLATTEN_MM
from friezewright.panel.panel import Opening

__all__ = ["notch_depth_mm", "notched"]

# Points nearer than this are one corner: far above what the crossings are found to, far below what is written.
_SAME_MM = 1e-5
# A piece whose middle is this near to the other loop runs along it; the polygons asked are a tolerance off the curves.
_ALONG_MM = 2.0 * ZONE_FLATTEN_MM
_NEWTON_STEPS = 12


def notched(rim: Outline, openings: Sequence[Opening]) -> Outline:
    """Return a rim with notches taken off it, one after the other.

    Parameters
    ----------
    rim
        One loop, wound as a shell.
    openings
        Shapes of one loop each that cross the rim or run along it.

    Raises
    ------
    PanelError
        If a notch does not reach the rim, or cuts the panel in two or away.
    """
    for opening in openings:
        rim = _without(rim, opening)
    return rim


def notch_depth_mm(rim: Outline, opening: Opening) -> float:
    """Return how far a notch reaches into a rim that has none yet, in mm; 0 where it does not reach it."""
    inside = intersection(region_of(opening.outline), region_of(rim))
    if inside.is_empty:
        return 0.0
    points, _, _ = outline_of(inside).flattened(tolerance_mm=ZONE_FLATTEN_MM)
    return float(distance_to_edge(region_of(rim), points).max())


def _without(rim: Outline, opening: Opening) -> Outline:
    name, notch = f'notch "{opening.name}"', opening.outline
    if rim.loop_count != 1 or notch.loop_count != 1:
        raise ValueError("rim and notch must be one loop each")
    rim_cuts, notch_cuts = _cuts(rim, notch)
    rim_pieces, rim_lines = _cut_up(rim, rim_cuts)
    notch_pieces, notch_lines = _cut_up(notch, notch_cuts)
    kept_rim = _outside(rim_pieces, notch)
    kept_notch = _inside(notch_pieces, rim)
    x, y = notch.segments[0, 0].tolist()
    if kept_notch.all() and kept_rim.all():
        raise PanelError(name, "lies inside the rim", "make it a cutout, or let it reach over the rim", (x, y))
    if not kept_notch.any() and kept_rim.all():
        raise PanelError(name, "does not reach the panel", "move it over the rim, or leave it out", (x, y))
    if not kept_rim.any():
        raise PanelError(name, "takes the whole panel away", "make it smaller", (x, y))
    # Within the rim's own way round, the notch's edge is run backwards.
    segments = np.concatenate([rim_pieces[kept_rim], notch_pieces[kept_notch][::-1, ::-1]])
    is_line = np.concatenate([rim_lines[kept_rim], notch_lines[kept_notch][::-1]])
    order = _chain(segments)
    if order is None or len(order) < len(segments):
        raise PanelError(name, "cuts the panel in two", "make it smaller, or draw one panel for each part", (x, y))
    return _joined(segments[order], is_line[order])


def _cuts(a: Outline, b: Outline) -> tuple[FloatArray, FloatArray]:
    """Return where two loops meet, as parameters on each (segment index plus t), sorted."""
    points_a, at_a, _ = a.flattened(tolerance_mm=ZONE_FLATTEN_MM)
    points_b, at_b, _ = b.flattened(tolerance_mm=ZONE_FLATTEN_MM)
    first, second, share_a, share_b = _chord_crossings(points_a, points_b)
    guess_a = at_a[first] + share_a * (at_a[first + 1] - at_a[first])
    guess_b = at_b[second] + share_b * (at_b[second + 1] - at_b[second])
    found_a, found_b = [], []
    for s, t in zip(guess_a, guess_b, strict=True):
        met = _met(a, b, float(s), float(t))
        if met is not None:
            found_a.append(met[0])
            found_b.append(met[1])
    # Corners of one that lie on the other: where loops run along each other there is no crossing to find.
    found_a.extend(_feet(a, b.segments[:, 0]))
    found_b.extend(_feet(b, a.segments[:, 0]))
    return np.sort(np.array(found_a)), np.sort(np.array(found_b))


def _chord_crossings(
    a: FloatArray, b: FloatArray
) -> tuple[np.ndarray, np.ndarray, FloatArray, FloatArray]:  # indices are whatever numpy counts in
    """Return which chords of two polylines cross or touch, and where along each."""
    da, db = np.diff(a, axis=0)[:, None], np.diff(b, axis=0)[None]
    gap = b[None, :-1] - a[:-1, None]
    cross = da[..., 0] * db[..., 1] - da[..., 1] * db[..., 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        s = (gap[..., 0] * db[..., 1] - gap[..., 1] * db[..., 0]) / cross
        t = (gap[..., 0] * da[..., 1] - gap[..., 1] * da[..., 0]) / cross
    # A little over the ends: the curves may cross beside the chords' own ends. Doubles are merged later.
    slack = 1e-2
    hit = (s >= -slack) & (s <= 1 + slack) & (t >= -slack) & (t <= 1 + slack)
    first, second = np.nonzero(hit)
    return first, second, np.clip(s[hit], 0.0, 1.0), np.clip(t[hit], 0.0, 1.0)


def _met(a: Outline, b: Outline, s: float, t: float) -> tuple[float, float] | None:
    """Return the crossing near two parameters, by Newton's method on both segments; None if there is none."""
    i, j = min(int(s), len(a.segments) - 1), min(int(t), len(b.segments) - 1)
    p, q = a.segments[i], b.segments[j]
    u, v = s - i, t - j
    for _ in range(_NEWTON_STEPS):
        gap = cubic.evaluate(q, v) - cubic.evaluate(p, u)
        dp, dq = cubic.derivative(p, u), cubic.derivative(q, v)
        cross = float(dp[0] * dq[1] - dp[1] * dq[0])
        if abs(cross) < 1e-12 * float(np.hypot(*dp) * np.hypot(*dq)):
            return None
        u = min(1.0, max(0.0, u + float(gap[0] * dq[1] - gap[1] * dq[0]) / cross))
        v = min(1.0, max(0.0, v + float(gap[0] * dp[1] - gap[1] * dp[0]) / cross))
    if float(np.hypot(*(cubic.evaluate(q, v) - cubic.evaluate(p, u)))) > 0.1 * _SAME_MM:
        return None
    return i + u, j + v


def _feet(outline: Outline, corners: FloatArray) -> list[float]:
    """Return the parameters of points (n, 2) that lie on an outline."""
    found = []
    points, at, _ = outline.flattened(tolerance_mm=ZONE_FLATTEN_MM)
    start, step = points[:-1], np.diff(points, axis=0)
    length = np.maximum(np.sum(step * step, axis=1), 1e-300)
    for corner in corners:
        share = np.clip(np.sum((corner - start) * step, axis=1) / length, 0.0, 1.0)
        away = np.hypot(*(start + share[:, None] * step - corner).T)
        chord = int(np.argmin(away))
        if away[chord] > _ALONG_MM:
            continue
        place = float(at[chord] + share[chord] * (at[chord + 1] - at[chord]))
        segment = min(int(place), len(outline.segments) - 1)
        curve, t = outline.segments[segment], place - segment
        for _ in range(_NEWTON_STEPS):
            off, along = cubic.evaluate(curve, t) - corner, cubic.derivative(curve, t)
            t = min(1.0, max(0.0, t - float(np.sum(off * along)) / max(float(np.sum(along * along)), 1e-300)))
        if float(np.hypot(*(cubic.evaluate(curve, t) - corner))) <= _SAME_MM:
            found.append(segment + t)
    return found


def _cut_up(outline: Outline, cuts: FloatArray) -> tuple[FloatArray, BoolArray]:
    """Return the segments of a loop cut at parameters, shorter scraps left out, and which are lines."""
    pieces: list[FloatArray] = []
    is_line: list[bool] = []
    for index, segment in enumerate(outline.segments):
        inner = cuts[(cuts >= index) & (cuts <= index + 1)] - index
        ends = [0.0]
        for t in (*inner.tolist(), 1.0):
            if float(np.hypot(*(cubic.evaluate(segment, t) - cubic.evaluate(segment, ends[-1])))) > _SAME_MM:
                ends.append(t)
        # The last cut, if it fell on the segment's end, is that end.
        if len(ends) == 1:
            continue
        ends[-1] = 1.0
        parts = cubic.restrict(np.broadcast_to(segment, (len(ends) - 1, 4, 2)), ends[:-1], ends[1:])
        pieces.extend(parts)
        is_line.extend([bool(outline.is_line[index])] * len(parts))
    return np.array(pieces), np.array(is_line, dtype=bool)


def _middles(pieces: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the middle of each piece and the unit normal to its left as seen with y up, that is, to the inside."""
    along = cubic.derivative(pieces, 0.5)
    along = along / np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-300)[:, None]
    return cubic.evaluate(pieces, 0.5), np.stack([-along[:, 1], along[:, 0]], axis=1)


def _outside(pieces: FloatArray, notch: Outline) -> BoolArray:
    """Return which pieces of the rim stay: those outside the notch, and those along it with the notch beyond them."""
    region = region_of(notch)
    middles, inward = _middles(pieces)
    along = distance_to_edge(region, middles) <= _ALONG_MM
    beyond = contains_points(region, middles - 4.0 * _ALONG_MM * inward)
    return np.where(along, beyond, ~contains_points(region, middles))


def _inside(pieces: FloatArray, rim: Outline) -> BoolArray:
    """Return which pieces of the notch become edge: those inside the rim and not along it."""
    region = region_of(rim)
    middles, _ = _middles(pieces)
    return contains_points(region, middles) & (distance_to_edge(region, middles) > _ALONG_MM)


def _chain(segments: FloatArray) -> list[int] | None:
    """Return the order in which the pieces follow each other from the first round to it again; None if they do not."""
    order = [0]
    starts = segments[:, 0]
    while True:
        away = np.hypot(*(starts - segments[order[-1], 3]).T)
        following = int(np.argmin(away))
        if away[following] > 4.0 * _SAME_MM:
            return None
        if following == 0:
            return order
        if following in order:
            return None
        order.append(following)


def _joined(segments: FloatArray, is_line: BoolArray) -> Outline:
    """Return a chain as one loop, its ends made exactly equal and lines cut by corners made whole again."""
    segments = segments.copy()
    segments[:, 3] = np.roll(segments[:, 0], -1, axis=0)
    segments[is_line] = cubic.line(segments[is_line, 0], segments[is_line, 3])
    return Outline(segments, is_line, np.array([0, len(segments)]))
