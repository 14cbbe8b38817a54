"""Time to follow paths: fastest motion under a speed, an acceleration and a corner rule.

Terms. A *piece* is what the planner steps by: a straight run, or a short stretch of a curve. A *node* lies between two
pieces; the planner looks for the largest squared speed at every node. Every path starts and ends at rest.

Method. Along a piece the squared speed can change by twice acceleration times length. The largest profile under the
caps at the nodes is therefore a forward and a backward running minimum (minimum-time speed planning by two passes;
Bobrow, Dubowsky & Gibson 1985, from memory), and it is the greatest feasible one. On curves the acceleration is shared
between bending and speeding up: their root of squares stays within the limit. How much bending takes depends on the
speed looked for, so the two passes are repeated, each time half way towards the new answer.

Corners. A corner is taken as fast as the arc that touches both legs and passes the corner at the slack. That rule sees
the angle alone and sets no limit on a curve cut into ever smaller chords, so the arc that fits the shorter leg counts
as well.

Not in the model: jerk, different axes, and the time a real fillet takes to change direction (17 ms at a right angle).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from friezewright.geometry import cubic
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.artwork import Artwork
from friezewright.geometry.outline import BoolArray, IntArray
from friezewright.geometry.strokes import Strokes, concatenate_strokes
from friezewright.machine import CornerRule, Machine

__all__ = [
    "Limits",
    "PathTimes",
    "artwork_times",
    "corner_speeds",
    "move_times",
    "node_speeds",
    "path_times",
]

# Fixed-point rounds for curves. Against a pass that goes node by node, eight miss by 0.03 percent at worst.
_ROUNDS = 8
# Pieces planned together: enough to hide the interpreter, few enough that running sums keep ten digits.
_BLOCK = 1 << 16
# Straight neighbours that turn less than this (radians) are one run.
_STRAIGHT_RAD = 1e-9
# The stop rule stops at what a person would call a corner, not where two curves join smoothly to three decimals.
_STOP_RAD = 0.02
# A curve is cut so that its chords lie within this: finer than needed to draw it, so that its bends are met. Against
# cuts too fine to matter, circles are 0.04 percent off, wild curves of 2 mm half a percent and of 20 mm a twentieth.
_CURVE_MM = 0.002
_LEAST_CUTS = 4
# 3-point Gauss-Legendre on [0, 1].
_NODES = np.array([0.5 - np.sqrt(0.15), 0.5, 0.5 + np.sqrt(0.15)])
_WEIGHTS = np.array([5.0, 8.0, 5.0]) / 18.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What bounds the motion along a path."""

    speed_mm_s: float
    acceleration_mm_s2: float
    corner_slack_mm: float
    corner_rule: CornerRule = CornerRule.ANGLE_AND_RADIUS

    @classmethod
    def of(cls, machine: Machine, speed_mm_s: float) -> Limits:
        """Return the limits of a machine that is set to follow lines at a speed."""
        return cls(
            speed_mm_s=speed_mm_s * machine.speed_share,
            acceleration_mm_s2=machine.acceleration_mm_s2,
            corner_slack_mm=machine.corner_slack_mm,
            corner_rule=machine.corner_rule,
        )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PathTimes:
    """Motion time and length of each path, two arrays (k,), in seconds and mm."""

    seconds: FloatArray
    length_mm: FloatArray


def move_times(
    length_mm: ArrayLike,
    entry_mm_s: ArrayLike,
    exit_mm_s: ArrayLike,
    *,
    speed_mm_s: ArrayLike,
    acceleration_mm_s2: ArrayLike,
) -> FloatArray:
    """Return the least times of straight moves, in seconds; all arguments broadcast.

    Parameters
    ----------
    length_mm
        Lengths; a move of no length takes no time.
    entry_mm_s, exit_mm_s
        Speeds at both ends; a pair the length is too short for is not noticed.
    speed_mm_s, acceleration_mm_s2
        Limits, the same for speeding up and slowing down.

    Notes
    -----
    Closed form: the peak squared speed is ``(entry² + exit²)/2 + a length``, or the limit.

    Examples
    --------
    >>> float(move_times(300.0, 0.0, 0.0, speed_mm_s=100.0, acceleration_mm_s2=1000.0))
    3.1
    """
    length, entry, leave = (np.asarray(value, dtype=np.float64) for value in (length_mm, entry_mm_s, exit_mm_s))
    speed, accel = np.asarray(speed_mm_s, dtype=np.float64), np.asarray(acceleration_mm_s2, dtype=np.float64)
    squares = entry * entry + leave * leave
    peak = np.minimum(speed, np.sqrt(0.5 * squares + accel * length))
    peak = np.maximum(peak, np.maximum(entry, leave))
    cruise = np.maximum(length - (peak * peak - 0.5 * squares) / accel, 0.0)
    ramps = (2.0 * peak - entry - leave) / accel
    return np.asarray(ramps + np.divide(cruise, peak, out=np.zeros_like(cruise), where=peak > 0.0))


def corner_speeds(before: FloatArray, after: FloatArray, shorter_leg_mm: FloatArray, limits: Limits) -> FloatArray:
    """Return the squared speeds that corners may be taken at, in mm²/s²; infinite where a path runs straight on.

    Parameters
    ----------
    before, after
        Unit directions into and out of each corner, shape (n, 2).
    shorter_leg_mm
        Length of the shorter leg at each corner, shape (n,); used by the radius rule alone.
    limits
        Slack, acceleration and rule.

    Notes
    -----
    With ``s`` the sine of half the corner's inner angle, the arc that touches both legs and passes the corner at slack
    ``d`` has radius ``d s / (1 - s)`` (plane geometry). The arc that leaves both legs at their middle has radius
    ``leg / (2 tan(turn / 2))``, which is exact for a regular polygon.
    """
    total, change = before + after, after - before
    # Half the turn from sums and differences: an angle's cosine would lose half the digits at both ends.
    inner = np.minimum(0.5 * np.hypot(total[:, 0], total[:, 1]), 1.0)
    sine = 0.5 * np.hypot(change[:, 0], change[:, 1])
    free = np.full(len(inner), np.inf)
    if limits.corner_rule is CornerRule.STOP:
        return np.where(sine > np.sin(0.5 * _STOP_RAD), 0.0, free)
    accel, bends = limits.acceleration_mm_s2, sine > 1e-12
    # 1 - s written so that it keeps its digits near straight on.
    radius = np.divide(limits.corner_slack_mm * inner * (1.0 + inner), sine * sine, out=free.copy(), where=bends)
    if limits.corner_rule is CornerRule.ANGLE_AND_RADIUS:
        radius = np.minimum(radius, np.divide(0.5 * shorter_leg_mm * inner, sine, out=free, where=bends))
    return np.asarray(accel * radius)


def node_speeds(length_mm: FloatArray, cap: FloatArray, acceleration_mm_s2: ArrayLike) -> FloatArray:
    """Return the greatest squared speeds at the nodes of a chain of pieces, shape (n + 1,).

    Parameters
    ----------
    length_mm
        Of the pieces, shape (n,).
    cap
        Squared speed that each node allows, shape (n + 1,); finite.
    acceleration_mm_s2
        Along each piece, shape (n,), or one for all.
    """
    reach = np.zeros(len(length_mm) + 1)
    np.cumsum(2.0 * np.asarray(acceleration_mm_s2) * length_mm, out=reach[1:])
    forward = np.minimum.accumulate(cap - reach) + reach
    backward = np.minimum.accumulate((forward + reach)[::-1])[::-1] - reach
    # The two running minima undo a large sum: what they miss zero by is rounding. Nor may rounding lift a cap.
    return np.asarray(np.clip(backward, 0.0, cap))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Pieces:
    """Pieces of many paths in a row, and what they allow at their ends."""

    length: FloatArray  # (n,)
    straight: BoolArray  # (n,)
    bend: FloatArray  # (n, 2) curvature at both ends, 1/mm
    cap: FloatArray  # (n + 1,) squared speed allowed at nodes
    first: IntArray  # (paths + 1,)


def _tangents(segments: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return unit directions at the start and the end of each segment, (n, 2) each; handles may lie on their knots."""
    result = []
    for points in (segments, segments[:, ::-1]):
        direction = np.zeros((len(points), 2))
        for i in (3, 2, 1):
            step = points[:, i] - points[:, 0]
            size = np.hypot(step[:, 0], step[:, 1])
            clear = size > 1e-9
            direction[clear] = step[clear] / size[clear, None]
        result.append(direction)
    return result[0], -result[1]


def _runs(strokes: Strokes) -> tuple[FloatArray, BoolArray, IntArray]:
    """Return segments, which are straight, and the path of each; straight runs are one segment, empty ones left out."""
    path = np.repeat(np.arange(strokes.path_count), np.diff(strokes.path_start))
    spread = np.ptp(strokes.segments, axis=1).max(axis=1)
    kept = spread > 1e-9
    segments, straight, path = strokes.segments[kept], np.array(strokes.is_line[kept]), path[kept]
    begin, finish = _tangents(segments)
    cross = np.abs(finish[:-1, 0] * begin[1:, 1] - finish[:-1, 1] * begin[1:, 0])
    ahead = np.sum(finish[:-1] * begin[1:], axis=1) > 0.0
    joins = straight[:-1] & straight[1:] & ahead & (cross <= _STRAIGHT_RAD) & (path[:-1] == path[1:])
    if not joins.any():
        return segments, straight, path
    heads = np.flatnonzero(np.concatenate([[True], ~joins]))
    tails = np.append(heads[1:], len(segments)) - 1
    merged = np.array(segments[heads])
    longer = tails > heads
    merged[longer] = cubic.line(segments[heads[longer], 0], segments[tails[longer], 3])
    return merged, straight[heads], path[heads]


def _pieces(strokes: Strokes, limits: Limits) -> _Pieces:
    """Return all paths of some strokes cut into pieces."""
    segments, straight, path = _runs(strokes)
    counts = cubic.chord_counts(segments, straight, tolerance_mm=_CURVE_MM)
    counts = np.where(straight, 1, np.maximum(counts, _LEAST_CUTS))
    owner = np.repeat(np.arange(len(segments)), counts)
    first = np.cumsum(counts) - counts
    step = 1.0 / counts[owner]
    start = (np.arange(len(owner)) - first[owner]) * step

    length = np.zeros(len(owner))
    bend = np.zeros((len(owner), 2))
    line = straight[owner]
    chord = segments[owner[line], 3] - segments[owner[line], 0]
    length[line] = np.hypot(chord[:, 0], chord[:, 1])
    curve = np.flatnonzero(~line)
    if len(curve):
        bent, t = segments[owner[curve]], start[curve]
        velocity = cubic.derivative(bent[:, None], t[:, None] + step[curve, None] * _NODES)
        pace = np.hypot(velocity[..., 0], velocity[..., 1])
        length[curve] = step[curve] * np.einsum("nk,k->n", pace, _WEIGHTS)
        bend[curve, 0] = cubic.curvature(bent, t)
        bend[curve, 1] = cubic.curvature(bent, t + step[curve])

    accel = limits.acceleration_mm_s2
    cap = np.full(len(owner) + 1, float(limits.speed_mm_s) ** 2)
    for nodes, kappa in ((slice(None, -1), bend[:, 0]), (slice(1, None), bend[:, 1])):
        np.minimum(cap[nodes], accel / np.maximum(kappa, 1e-12), out=cap[nodes])
    begin, finish = _tangents(segments)
    whole = np.add.reduceat(length, first) if len(first) else np.zeros(0)
    corner = corner_speeds(finish[:-1], begin[1:], np.minimum(whole[:-1], whole[1:]), limits)
    joints = first[1:]
    cap[joints] = np.minimum(cap[joints], corner)
    # A path of nothing but empty segments has no pieces and takes no time.
    ends = np.searchsorted(path[owner], np.arange(strokes.path_count + 1))
    cap[ends] = 0.0
    return _Pieces(length=length, straight=line, bend=bend, cap=cap, first=ends)


def _piece_times(pieces: _Pieces, limits: Limits) -> FloatArray:
    accel, length = limits.acceleration_mm_s2, pieces.length
    top = np.full(len(length), float(limits.speed_mm_s))
    along = np.full(len(length), float(accel))
    square = node_speeds(length, pieces.cap, accel)
    curved = not pieces.straight.all()
    if curved:
        for _ in range(_ROUNDS):
            sideways = 0.5 * (pieces.bend[:, 0] * square[:-1] + pieces.bend[:, 1] * square[1:])
            along = np.sqrt(np.maximum(accel * accel - sideways * sideways, 0.0))
            square = 0.5 * (square + node_speeds(length, pieces.cap, along))
        top = np.minimum(top, np.sqrt(accel / np.maximum(pieces.bend.max(axis=1), 1e-12)))
        # Where bending takes nearly all, there is nothing left to peak with, and dividing by it means nothing.
        along = np.maximum(along, 0.01 * accel)
    speed = np.sqrt(square)
    before, after = speed[:-1], speed[1:]
    seconds = move_times(length, before, after, speed_mm_s=top, acceleration_mm_s2=along)
    if curved:
        # Speed that changes steadily from node to node is always possible on a curve; a peak between may be quicker.
        steady = np.divide(2.0 * length, before + after, out=seconds.copy(), where=before + after > 0.0)
        seconds = np.where(pieces.straight, seconds, np.minimum(seconds, steady))
    return seconds


def path_times(strokes: Strokes, limits: Limits) -> PathTimes:
    """Return how long it takes to follow each path, from rest to rest, start delays left out.

    Parameters
    ----------
    strokes
        Paths, where and as large as they are followed.
    limits
        Of the motion.

    Notes
    -----
    Closed paths stop where they start. Curves are timed as curves, lines in closed form.
    """
    seconds, length = np.zeros(strokes.path_count), np.zeros(strokes.path_count)
    starts, begin = strokes.path_start, 0
    while begin < strokes.path_count:
        stop = max(begin + 1, int(np.searchsorted(starts, starts[begin] + _BLOCK // 16, side="right")) - 1)
        some = slice(int(starts[begin]), int(starts[stop]))
        block = Strokes(
            strokes.segments[some],
            strokes.is_line[some],
            starts[begin : stop + 1] - starts[begin],
            strokes.closed[begin:stop],
        )
        pieces = _pieces(block, limits)
        for target, values in ((seconds, _piece_times(pieces, limits)), (length, pieces.length)):
            # Differences of running sums would blur short paths beside long ones.
            owner = np.repeat(np.arange(stop - begin), np.diff(pieces.first))
            target[begin:stop] = np.bincount(owner, values, stop - begin)
        begin = stop
    return PathTimes(seconds=seconds, length_mm=length)


def artwork_times(artwork: Artwork[Strokes], limits: Limits) -> PathTimes:
    """Return time and length of every copy, all paths of its shape together, two arrays (n,).

    Copies that differ only by where they stand, by a turn or by a mirror are timed once: what decides is how a copy's
    map measures lengths.
    """
    maps = artwork.placements.matrix
    a, b, c, d = maps[:, 0, 0], maps[:, 0, 1], maps[:, 1, 0], maps[:, 1, 1]
    # Rounded, so that the last digits of a turn's sine do not make a copy its own kind.
    metric = np.stack([a * a + c * c, a * b + c * d, b * b + d * d], axis=1).round(9)
    kinds = np.column_stack([artwork.placements.shape, metric])
    _, chosen, kind = np.unique(kinds, axis=0, return_index=True, return_inverse=True)
    if not len(chosen):
        return PathTimes(seconds=np.zeros(0), length_mm=np.zeros(0))
    # One call for all kinds: artwork of thousands of trimmed pieces has as many.
    kept = [artwork.shapes[artwork.placements.shape[copy]].transformed(maps[copy]) for copy in chosen]
    times = path_times(concatenate_strokes(kept), limits)
    owner = np.repeat(np.arange(len(kept)), [shape.path_count for shape in kept])
    kind = kind.reshape(-1)
    return PathTimes(
        seconds=np.bincount(owner, times.seconds, len(kept))[kind].astype(np.float64),
        length_mm=np.bincount(owner, times.length_mm, len(kept))[kind].astype(np.float64),
    )
