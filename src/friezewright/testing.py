"""Comparisons for tests of this program and of programs that use it; each states its tolerance.

Values that hold arrays have no ``==`` (it would answer with an array); these functions compare what they mean instead.
"""

from __future__ import annotations

import numpy as np

from friezewright.geometry import cubic
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import Outline

__all__ = [
    "assert_closed",
    "assert_outlines_close",
    "assert_same_area",
    "assert_wound",
    "distance_between_curves",
]


def assert_same_area(found: Outline, wanted: Outline | float, *, tolerance_mm2: float) -> None:
    """Fail unless an outline's exact area is that of another, or a number of mm², to within ``tolerance_mm2``."""
    area = found.area_mm2()
    target = wanted.area_mm2() if isinstance(wanted, Outline) else wanted
    if not abs(area - target) <= tolerance_mm2:
        raise AssertionError(
            f"area {area:.9f} mm², wanted {target:.9f}: off by {area - target:.3g} > {tolerance_mm2:g}"
        )


def assert_closed(outline: Outline, *, tolerance_mm: float = 0.0) -> None:
    """Fail unless every segment starts where the one before it in its loop ends, to within ``tolerance_mm``."""
    for loop in outline.loops():
        segments = outline.segments[loop]
        gap = np.hypot(*(np.roll(segments[:, 0], -1, axis=0) - segments[:, 3]).T)
        if float(gap.max()) > tolerance_mm:
            x, y = segments[int(gap.argmax()), 3]
            raise AssertionError(f"a loop is open by {gap.max():.3g} mm near ({x:.3f}, {y:.3f}) mm")


def assert_wound(outline: Outline) -> None:
    """Fail unless holes run against shells, so that even-odd and nonzero filling draw the same; no tolerance.

    Every loop is tested by a point just inside it: counted over all loops its winding must be 0 or 1.
    """
    points, _, loop = outline.flattened(tolerance_mm=0.001)
    for i in range(outline.loop_count):
        ring = points[loop == i]
        step = np.hypot(*np.diff(ring, axis=0).T)
        longest = int(step.argmax())
        a, b = ring[longest], ring[longest + 1]
        aside = np.array([a[1] - b[1], b[0] - a[0]]) / step[longest]
        for offset in (1e-6, -1e-6):
            number = _winding(points, loop, 0.5 * (a + b) + offset * aside)
            if number not in (0, 1):
                raise AssertionError(f"loop {i}: a point beside it is wound round {number} times")


def _winding(points: FloatArray, loop: np.ndarray, point: FloatArray) -> int:
    """Return how often closed polylines run round a point, positive from +x towards +y."""
    same = loop[1:] == loop[:-1]
    p, q = (points[:-1] - point)[same], (points[1:] - point)[same]
    side = p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]
    up = (p[:, 1] <= 0.0) & (q[:, 1] > 0.0) & (side > 0.0)
    down = (p[:, 1] > 0.0) & (q[:, 1] <= 0.0) & (side < 0.0)
    return int(np.count_nonzero(up)) - int(np.count_nonzero(down))


def distance_between_curves(found: FloatArray, wanted: FloatArray, *, samples: int = 8) -> float:
    """Return the furthest that points of some cubics lie from others, in mm: the larger of both ways.

    Parameters
    ----------
    found, wanted
        Control points, shapes (n, 4, 2) and (m, 4, 2).
    samples
        Steps a segment is walked in. The foot of each point is found on chords first, then on the curve itself.
    """
    return max(_furthest(found, wanted, samples), _furthest(wanted, found, samples))


def _furthest(walked: FloatArray, curves: FloatArray, samples: int) -> float:
    share = np.arange(samples + 1) / samples
    points = cubic.evaluate(walked[:, None], share).reshape(-1, 2)
    chains = cubic.evaluate(curves[:, None], share)
    start = chains[:, :-1].reshape(-1, 2)
    along = chains[:, 1:].reshape(-1, 2) - start
    squared = np.maximum(np.sum(along * along, axis=1), 1e-300)
    worst = 0.0
    for some in np.array_split(points, max(1, len(points) * len(start) // 500_000)):
        away = some[:, None] - start
        foot = np.clip((away[..., 0] * along[:, 0] + away[..., 1] * along[:, 1]) / squared, 0.0, 1.0)
        distance = np.hypot(away[..., 0] - foot * along[:, 0], away[..., 1] - foot * along[:, 1])
        chord = distance.argmin(axis=1)
        t = (chord % samples + foot[np.arange(len(some)), chord]) / samples
        curve = curves[chord // samples]
        for _ in range(4):
            miss = cubic.evaluate(curve, t) - some
            slope = cubic.derivative(curve, t)
            length = np.sum(slope * slope, axis=1)
            step = np.divide(np.sum(miss * slope, axis=1), length, out=np.zeros_like(t), where=length > 0.0)
            t = np.clip(t - step, 0.0, 1.0)
        worst = max(worst, float(np.hypot(*(cubic.evaluate(curve, t) - some).T).max()))
    return worst


def assert_outlines_close(found: Outline, wanted: Outline, *, tolerance_mm: float) -> None:
    """Fail if the edge of either outline strays further than ``tolerance_mm`` from the other's.

    The order of loops and where they start do not matter. Measured at 9 points a segment.
    """
    if (found.loop_count == 0) != (wanted.loop_count == 0):
        raise AssertionError(f"{found.loop_count} loops, wanted {wanted.loop_count}")
    if not found.loop_count:
        return
    worst = distance_between_curves(found.segments, wanted.segments)
    if worst > tolerance_mm:
        raise AssertionError(f"edges stray by {worst:.3g} mm, more than {tolerance_mm:g}")
