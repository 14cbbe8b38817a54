"""Curves back from dense polylines: straight runs become lines, arcs and smooth runs few cubics, corners stay.

A polyline that was sampled from curves keeps its vertices on them, so curves are fitted through the vertices, not the
chords. Where it turns more than such sampling can turn, it has a corner. Arcs are found first, since nearly every edge
of a panel is made of lines and arcs; what is left is fitted by least squares between end tangents with the parameters
corrected by Newton's method (Schneider 1990, from memory).
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from friezewright.geometry import cubic
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import BoolArray, IntArray

__all__ = ["Refit", "refit_closed", "refit_open"]

_SHARPEST_RAD = math.pi / 3.0
"""A turn beyond this is a corner at any size; a circle sampled that coarsely would be a hexagon."""

_SLACK = 1.5
"""By how much a sampled arc may seem coarser than it was asked to be, since steps are rounded to whole numbers."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Refit:
    """Curves through a polyline.

    Parameters
    ----------
    segments
        Control points, shape (n, 4, 2), mm.
    is_line
        Which of them are straight, shape (n,).
    place
        Where each vertex lies on the curves, shape (m,): segment index plus parameter, rising. On arcs it is right to
        a thousandth of a segment, elsewhere to the fit's own accuracy.
    """

    segments: FloatArray
    is_line: BoolArray
    place: FloatArray


def refit_closed(points: FloatArray, *, tolerance_mm: float, sampled_mm: float) -> Refit:
    """Return curves through a closed polyline.

    Parameters
    ----------
    points
        Vertices, shape (m, 2), the first not repeated, no two neighbours alike, at least 3.
    tolerance_mm
        Furthest a vertex may lie from the curves.
    sampled_mm
        Furthest the polyline lies from the curves it was sampled from: what turns more than that allows is a corner.
    """
    count = len(points)
    corners = np.flatnonzero(_is_corner(points, sampled_mm))
    if not len(corners):
        start, breaks = 0, np.array([0, count])
    else:
        start = int(corners[0])
        breaks = np.append(corners - start, count)
    turned = np.concatenate([points[start:], points[: start + 1]])
    chain = _fitted(turned, breaks, tolerance_mm, sampled_mm, smooth_loop=not len(corners))
    place = np.empty(count)
    place[(np.arange(count) + start) % count] = chain.place[:-1]
    return Refit(segments=chain.segments, is_line=chain.is_line, place=place)


def refit_open(points: FloatArray, *, tolerance_mm: float, sampled_mm: float) -> Refit:
    """Return curves through an open polyline (m, 2) of at least two vertices, as :func:`refit_closed`."""
    inner = np.flatnonzero(_is_corner(points, sampled_mm)[1:-1]) + 1
    breaks = np.concatenate([[0], inner, [len(points) - 1]])
    return _fitted(points, breaks, tolerance_mm, sampled_mm, smooth_loop=False)


def _is_corner(points: FloatArray, sampled_mm: float) -> BoolArray:
    """Return at which vertices of a closed polyline a curve sampled that finely cannot have gone on smoothly."""
    back, ahead = points - np.roll(points, 1, axis=0), np.roll(points, -1, axis=0) - points
    turn = np.abs(np.arctan2(_cross(back, ahead), np.sum(back * ahead, axis=1)))
    # An arc with chords of length c turning by a at each vertex bulges c a / 8 beyond its chords.
    bulge = np.maximum(np.hypot(*back.T), np.hypot(*ahead.T)) * turn / 8.0
    return np.asarray((bulge > _SLACK * sampled_mm) | (turn > _SHARPEST_RAD))


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])


def _fitted(
    points: FloatArray, breaks: IntArray, tolerance_mm: float, sampled_mm: float, *, smooth_loop: bool
) -> Refit:
    """Return curves through the runs of an open chain of vertices between the given breaks."""
    segments: list[FloatArray] = []
    lines: list[bool] = []
    place = np.zeros(len(points))
    for first, last in itertools.pairwise(breaks.tolist()):
        run = points[first : last + 1]
        pieces, straight, where = _fit_run(run, tolerance_mm, sampled_mm, closes=smooth_loop)
        place[first : last + 1] = len(segments) + where
        segments.extend(pieces)
        lines.extend([straight] * len(pieces))
    return Refit(segments=np.array(segments), is_line=np.array(lines, dtype=bool), place=place)


def _fit_run(
    run: FloatArray, tolerance_mm: float, sampled_mm: float, *, closes: bool
) -> tuple[FloatArray, bool, FloatArray]:
    """Return the cubics of one run without corners, whether it is one line, and where its vertices lie on them."""
    chord = run[-1] - run[0]
    length = float(np.hypot(*chord))
    if not closes and length > 0.0:
        offset = run - run[0]
        along = (offset[:, 0] * chord[0] + offset[:, 1] * chord[1]) / length
        if len(run) == 2 or (
            float(np.abs(_cross(offset, chord)).max()) <= tolerance_mm * length and bool(np.all(np.diff(along) > 0.0))
        ):
            return cubic.line(run[:1], run[-1:]), True, along / length
    arc = _fit_arc(run, tolerance_mm, sampled_mm, closes=closes)
    if arc is not None:
        return arc[0], False, arc[1]
    if closes:
        ahead = _tangent(run[-2], run[-1], run[1], at=1)
        pieces, where = _fit_smooth(run, ahead, -ahead, tolerance_mm, sampled_mm)
    else:
        pieces, where = _fit_smooth(
            run,
            _tangent(run[0], run[1], run[2], at=0),
            -_tangent(run[-3], run[-2], run[-1], at=2),
            tolerance_mm,
            sampled_mm,
        )
    return pieces, False, where


def _fit_arc(
    run: FloatArray, tolerance_mm: float, sampled_mm: float, *, closes: bool
) -> tuple[FloatArray, FloatArray] | None:
    """Return a run as arcs of one circle, or None if it is none."""
    # A vertex that an overlay made at either end lies on a chord, not on the arc; the others decide.
    inner = run[1:-1] if len(run) >= 6 else run
    if len(inner) < 4:
        return None
    found = _circle(inner[0], inner[len(inner) // 3], inner[(2 * len(inner)) // 3])
    if found is None:
        return None
    centre, radius = found
    spoke = run - centre
    off = np.abs(np.hypot(*spoke.T) - radius)
    fine = 0.2 * tolerance_mm
    if float(off[1:-1].max()) > fine or float(off.max()) > sampled_mm:
        return None
    steps = np.arctan2(_cross(spoke[:-1], spoke[1:]), np.sum(spoke[:-1] * spoke[1:], axis=1))
    if not (np.all(steps > 0.0) or np.all(steps < 0.0)):
        return None
    angle = np.concatenate([[0.0], np.cumsum(steps)])
    sweep = float(angle[-1])
    if closes:
        sweep = math.copysign(2.0 * math.pi, sweep)
    # A cubic with handles 4/3 tan(a/4) strays from an arc by a share of the radius that falls with the sixth power of
    # its angle; at a twelfth of a circle it is 4e-7.
    widest = min(math.pi / 2.0, math.pi / 6.0 * (fine / (4e-7 * radius)) ** (1.0 / 6.0))
    pieces = max(1, math.ceil(abs(sweep) / widest - 1e-9))
    if closes:
        # Halves of a loop must not meet at a diameter's ends alone; four pieces are exact enough to need no cap.
        pieces = max(pieces, 4)
    at = math.atan2(float(spoke[0, 1]), float(spoke[0, 0])) + sweep * np.arange(pieces + 1) / pieces
    out = np.stack([np.cos(at), np.sin(at)], axis=1)
    along = np.stack([-out[:, 1], out[:, 0]], axis=1)
    handle = 4.0 / 3.0 * math.tan(sweep / pieces / 4.0)
    a, b = slice(None, -1), slice(1, None)
    arcs = centre + radius * np.stack([out[a], out[a] + handle * along[a], out[b] - handle * along[b], out[b]], axis=1)
    arcs[0, :2] += run[0] - arcs[0, 0]
    arcs[-1, 2:] += run[-1] - arcs[-1, 3]
    return arcs, np.clip(angle / sweep, 0.0, 1.0) * pieces


def _circle(p: FloatArray, q: FloatArray, r: FloatArray) -> tuple[FloatArray, float] | None:
    """Return the circle through three points, or None if they lie on a line."""
    a, b = q - p, r - p
    twice = 2.0 * float(_cross(a, b))
    if abs(twice) <= 1e-12 * float(np.hypot(*a) * np.hypot(*b)):
        return None
    aa, bb = float(np.sum(a * a)), float(np.sum(b * b))
    middle = np.array([b[1] * aa - a[1] * bb, a[0] * bb - b[0] * aa]) / twice
    return p + middle, float(np.hypot(*middle))


def _tangent(p: FloatArray, q: FloatArray, r: FloatArray, *, at: int) -> FloatArray:
    """Return the unit direction, at one of three points, of the parabola through them over their chord lengths."""
    s = float(np.hypot(*(q - p)))
    u = s + float(np.hypot(*(r - q)))
    x = (0.0, s, u)[at]
    slope = (
        p * ((2.0 * x - s - u) / (s * u)) + q * ((2.0 * x - u) / (s * (s - u))) + r * ((2.0 * x - s) / (u * (u - s)))
    )
    return np.asarray(slope / np.hypot(*slope))


def _fit_smooth(
    run: FloatArray, out: FloatArray, back: FloatArray, tolerance_mm: float, sampled_mm: float
) -> tuple[FloatArray, FloatArray]:
    """Return cubics through a smooth run between unit tangents, and where its vertices lie on them."""
    if len(run) == 2:
        reach = float(np.hypot(*(run[1] - run[0]))) / 3.0
        return np.array([[run[0], run[0] + reach * out, run[1] + reach * back, run[1]]]), np.array([0.0, 1.0])
    steps = np.hypot(*np.diff(run, axis=0).T)
    t = np.concatenate([[0.0], np.cumsum(steps)])
    t /= t[-1]
    curve = _least_squares(run, t, out, back)
    for _ in range(8):
        t = _corrected(curve, run, t)
        curve = _least_squares(run, t, out, back)
    off = np.hypot(*(cubic.evaluate(curve[None], t) - run).T)
    between = cubic.evaluate(curve[None], 0.5 * (t[1:] + t[:-1])) - 0.5 * (run[1:] + run[:-1])
    fits = float(off.max()) <= tolerance_mm and bool(np.all(np.diff(t) > 0.0))
    if fits and float(np.hypot(*between.T).max()) <= tolerance_mm + _SLACK * sampled_mm:
        return curve[None], t
    # Splitting near the worst vertex, but never so near an end that nothing is won.
    split = int(np.clip(np.argmax(off), max(1, len(run) // 8), len(run) - 1 - max(1, len(run) // 8)))
    ahead = _tangent(run[split - 1], run[split], run[split + 1], at=1)
    first, where_first = _fit_smooth(run[: split + 1], out, -ahead, tolerance_mm, sampled_mm)
    second, where_second = _fit_smooth(run[split:], ahead, back, tolerance_mm, sampled_mm)
    return np.concatenate([first, second]), np.concatenate([where_first, len(first) + where_second[1:]])


def _least_squares(run: FloatArray, t: FloatArray, out: FloatArray, back: FloatArray) -> FloatArray:
    """Return the cubic (4, 2) between the run's ends, along the tangents, that passes its vertices most closely."""
    s = 1.0 - t
    b0, b1, b2, b3 = s * s * s, 3.0 * s * s * t, 3.0 * s * t * t, t * t * t
    rest = run - (b0 + b1)[:, None] * run[0] - (b2 + b3)[:, None] * run[-1]
    cross = float(np.sum(out * back))
    c00, c11, c01 = float(np.sum(b1 * b1)), float(np.sum(b2 * b2)), float(np.sum(b1 * b2)) * cross
    x0 = float(np.sum(b1 * (rest[:, 0] * out[0] + rest[:, 1] * out[1])))
    x1 = float(np.sum(b2 * (rest[:, 0] * back[0] + rest[:, 1] * back[1])))
    det = c00 * c11 - c01 * c01
    chord = float(np.hypot(*(run[-1] - run[0])))
    reach_out = reach_back = chord / 3.0
    if abs(det) > 1e-12 * c00 * c11:
        reach_out, reach_back = (x0 * c11 - x1 * c01) / det, (c00 * x1 - c01 * x0) / det
    longest = 4.0 * max(chord, float(np.hypot(*np.ptp(run, axis=0))))
    if not (0.0 < reach_out < longest and 0.0 < reach_back < longest):
        reach_out = reach_back = chord / 3.0
    return np.array([run[0], run[0] + reach_out * out, run[-1] + reach_back * back, run[-1]])


def _corrected(curve: FloatArray, run: FloatArray, t: FloatArray) -> FloatArray:
    """Return parameters moved by one Newton step towards the feet of the vertices on the curve."""
    away = cubic.evaluate(curve[None], t) - run
    first, second = cubic.derivative(curve[None], t), cubic.second_derivative(curve[None], t)
    slope = np.sum(first * first + away * second, axis=1)
    step = np.divide(np.sum(away * first, axis=1), slope, out=np.zeros_like(t), where=slope > 1e-12)
    moved: FloatArray = np.clip(t - step, 0.0, 1.0)
    moved[0], moved[-1] = 0.0, 1.0
    return moved
