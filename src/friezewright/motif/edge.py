"""Where the grey levels put the edge of the ink: points of it beside a drawn outline, and its corners."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from friezewright.geometry import cubic
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import BoolArray, IntArray, Outline
from friezewright.motif.ink import GreyArray

__all__ = ["Corners", "EdgePoints", "Sharpness", "corners_of", "edge_beside", "ink_field", "turned_left"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sharpness:
    """How a kind of picture shows a corner.

    Parameters
    ----------
    blur_px
        Standard deviation of the blur that is laid over the ink before its edge is looked for.
    rounded_px
        How far from a corner, along the edge, the picture itself has rounded it.
    window_px
        Length of edge beyond that from which the corner's sides are drawn on.
    retreat_px
        How far a right-angled corner may seem to draw back from its true place; sharper ones more.
    straight_rad
        How far two fits of one side of a corner may differ in direction.
    gather_px
        Nodes nearer than this to a corner that the edge shows are part of how the tracer rounded it.
    hold
        How many edge points the meeting of two sides is worth as the place of a corner.
    furthest_px
        How far the sharpest tip may come to lie from where the tracer rounded it.
    """

    blur_px: float
    rounded_px: float
    window_px: float
    retreat_px: float
    straight_rad: float
    gather_px: float
    hold: float
    furthest_px: float


# Of the half that the field of a two-level picture reaches, what counts as ink, or less it as paper, all through.
_CLEAR = 0.4

SOFT_EDGED = Sharpness(
    blur_px=0.0,
    rounded_px=1.3,
    window_px=7.0,
    retreat_px=0.9,
    straight_rad=0.4,
    gather_px=4.2,
    hold=0.3,
    furthest_px=2.8,
)
TWO_LEVEL = Sharpness(
    blur_px=1.2,
    rounded_px=2.6,
    window_px=7.0,
    retreat_px=1.4,
    straight_rad=0.55,
    gather_px=5.0,
    hold=0.1,
    furthest_px=3.8,
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EdgePoints:
    """Points of an outline, and of the edge beside them, in order along it.

    Parameters
    ----------
    drawn
        Points on the outline, shape (n, 2).
    seen
        The nearest point of the edge along the outline's normal, shape (n, 2); the drawn point where none is near.
    found
        Whether an edge is near, shape (n,).
    clear
        Whether there is ink on its one side and paper on its other as far as the blur reaches, shape (n,).
    segment, t
        Segment each point lies on and its parameter there, shape (n,).
    loop
        Loop of each point, shape (n,).
    """

    drawn: FloatArray
    seen: FloatArray
    found: BoolArray
    clear: BoolArray
    segment: IntArray
    t: FloatArray
    loop: IntArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Corners:
    """Corners that the edge shows.

    Parameters
    ----------
    place
        Where the sides meet, shape (n, 2).
    arrive, leave
        Directions in radians of the side before and the side after, shape (n,).
    retreat_px
        How far the edge that is seen stays away from that place, shape (n,).
    point
        Index of the nearest edge point, shape (n,).
    """

    place: FloatArray
    arrive: FloatArray
    leave: FloatArray
    retreat_px: FloatArray
    point: IntArray


def turned_left(vectors: FloatArray) -> FloatArray:
    """Return vectors (..., 2) turned by a quarter from +x towards +y: from an outline's direction into its ink."""
    return np.stack([-vectors[..., 1], vectors[..., 0]], axis=-1)


def ink_field(grey: GreyArray, ink: BoolArray, *, level: float, contrast: float, two_level: bool) -> GreyArray:
    """Return a field at the pixels' centres that is 0 on the edge and positive inside the ink, shape (h, w).

    Greys vary by the share of a pixel that is ink. Two-level pictures do not say it; blurred by one pixel they do,
    since the steps of an edge average out along it.
    """
    if two_level:
        blurred = ndimage.gaussian_filter(ink.astype(np.float32), TWO_LEVEL.blur_px, mode="nearest")
        return np.asarray(blurred - np.float32(0.5))
    return np.asarray((np.float32(level) - grey) / np.float32(contrast))


def edge_beside(
    outline: Outline, field: GreyArray, *, spacing_px: float, blur_px: float = 0.0, reach_px: float = 1.3
) -> EdgePoints:
    """Return points every ``spacing_px`` along an outline with the edge's points beside them.

    The edge is where the field rises through 0 along the outline's normal, no further than ``reach_px`` away; since
    points are only moved, an outline cannot change its loops by it.
    """
    lengths = np.hypot(*np.moveaxis(np.diff(outline.segments, axis=1), 2, 0)).sum(axis=1)
    counts = np.maximum(3, np.ceil(lengths / spacing_px).astype(np.int64))
    segment = np.repeat(np.arange(len(counts)), counts)
    t = (np.arange(len(segment)) - np.repeat(np.cumsum(counts) - counts, counts)) / counts[segment]
    pieces = outline.segments[segment]
    drawn, direction = cubic.evaluate(pieces, t), cubic.derivative(pieces, t)
    still = np.hypot(direction[:, 0], direction[:, 1]) < 1e-6
    direction[still] = (pieces[:, 3] - pieces[:, 0])[still]
    inward = turned_left(direction / np.maximum(np.hypot(direction[:, 0], direction[:, 1]), 1e-12)[:, None])
    step = 0.2
    offset = np.arange(-reach_px, reach_px + 0.5 * step, step)
    value = _sampled(field, drawn[:, None] + offset[None, :, None] * inward[:, None])
    if blur_px > 0.0:
        # Of something thinner than this, the blur has moved both edges.
        deep = 2.5 * blur_px * inward
        clear = (_sampled(field, drawn + deep) > _CLEAR) & (_sampled(field, drawn - deep) < -_CLEAR)
    else:
        clear = np.ones(len(drawn), dtype=bool)
    low, high = value[:, :-1], value[:, 1:]
    rises = (low <= 0.0) & (high > 0.0)
    crossing = offset[:-1] - step * low / np.where(rises, high - low, 1.0)
    away = np.where(rises, np.abs(crossing), np.inf)
    nearest = away.argmin(axis=1)
    rows = np.arange(len(drawn))
    found = np.isfinite(away[rows, nearest])
    moved = np.where(found, crossing[rows, nearest], 0.0)
    return EdgePoints(
        drawn=drawn,
        seen=drawn + moved[:, None] * inward,
        found=found,
        clear=clear,
        segment=segment,
        t=t,
        loop=outline.loop_of_segment[segment],
    )


def _sampled(field: GreyArray, at: FloatArray) -> GreyArray:
    """Return a field's values between pixel centres, linearly, at points (..., 2)."""
    return np.asarray(ndimage.map_coordinates(field, [at[..., 1] - 0.5, at[..., 0] - 0.5], order=1, mode="nearest"))


def _one_sided(order: int, first: int, last: int) -> tuple[FloatArray, FloatArray]:
    """Return the weights that give value and slope at 0 of the best polynomial through samples ``first`` to ``last``.

    A one-sided filter of Savitzky and Golay (1964).
    """
    at = np.arange(first, last + 1, dtype=np.float64)
    inverse = np.linalg.pinv(np.vander(at, order + 1, increasing=True))
    return inverse[0], inverse[1]


def corners_of(points: EdgePoints, sharpness: Sharpness, *, least_bend_rad: float) -> Corners:
    """Return the corners of the edge that bend by more than ``least_bend_rad``.

    On either side the edge's direction is taken beyond the part that the picture has rounded. Where the two differ, and
    the sides drawn on meet about as near the edge as the picture would draw back from a corner, there is one. A small
    arc lies further inside the meeting point, and is left round.
    """
    spacing = 0.6
    first = round(sharpness.rounded_px / spacing)
    last = first + round(sharpness.window_px / spacing)
    even = _evenly(points, spacing, least=2 * last + 2)
    if even is None:
        none = np.zeros(0)
        return Corners(place=np.zeros((0, 2)), arrive=none, leave=none, retreat_px=none, point=none.astype(np.int64))
    place, base, count = even.place, even.base, even.count
    here = np.arange(len(place))

    def at(offset: IntArray) -> IntArray:
        return base[:, None] + (here[:, None] - base[:, None] + offset) % count[:, None]

    def sides(order: int, stop: int) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        value, slope = _one_sided(order, first, stop)
        ahead, behind = place[at(np.arange(first, stop + 1))], place[at(-np.arange(first, stop + 1))]
        return (
            np.einsum("k,nkd->nd", value, behind),
            -np.einsum("k,nkd->nd", slope, behind),
            np.einsum("k,nkd->nd", value, ahead),
            np.einsum("k,nkd->nd", slope, ahead),
        )

    def cross(a: FloatArray, b: FloatArray) -> FloatArray:
        return np.asarray(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])

    def between(a: FloatArray, b: FloatArray) -> FloatArray:
        return np.asarray(np.abs(np.arctan2(cross(a, b), np.sum(a * b, axis=1))))

    end, arriving, start, leaving = sides(2, last)
    _, coarse_in, _, coarse_out = sides(1, first + max(3, (last - first) // 2))
    # A curve bends the straight fits, noise the curved ones; a corner shows in both.
    bend = np.minimum(between(arriving, leaving), between(coarse_in, coarse_out))
    # Where the two fits differ on one side, that side is no side but the end of something thin.
    bent = np.maximum(between(arriving, coarse_in), between(leaving, coarse_out))
    turn = cross(arriving, leaving)
    meet = np.abs(turn) > 0.08 * np.hypot(*arriving.T) * np.hypot(*leaving.T)
    along = cross(start - end, leaving) / np.where(meet, turn, 1.0)
    vertex = end + along[:, None] * arriving
    # Seen from the nearest point of the edge about, which need not be the one where the sides were taken.
    about = place[at(np.arange(-last, last + 1))]
    gap2 = (vertex[:, 0, None] - about[..., 0]) ** 2 + (vertex[:, 1, None] - about[..., 1]) ** 2
    away = np.where(meet, np.sqrt(gap2.min(axis=1)), np.inf)
    # A tip half as wide draws back twice as far, and the tracer has rounded it as much again.
    sharp = np.tan(0.5 * np.minimum(bend, 2.8)) ** 2
    allowed = np.minimum(sharpness.retreat_px * (0.5 + 0.5 * sharp), 3.0)
    score = np.where((away < allowed) & (bent < sharpness.straight_rad), bend - 0.15 * away, 0.0)
    near = max(2, round(1.4 * sharpness.rounded_px / spacing))
    window = at(np.arange(-near, near + 1))
    best = score[window].max(axis=1)
    # Of equal ones the first along the loop counts.
    first_best = window[here, (score[window] >= best[:, None] - 1e-12).argmax(axis=1)] == here
    chosen = np.flatnonzero((score > 0.0) & (bend > least_bend_rad) & first_best)
    if len(chosen):
        # Where each lies in what the other has rounded, at the end of a thin bar, neither can be told.
        apart = np.hypot(*np.moveaxis(vertex[chosen][:, None] - vertex[chosen][None], 2, 0))
        np.fill_diagonal(apart, np.inf)
        chosen = chosen[apart.min(axis=1) > 2.0 * sharpness.rounded_px]
    return Corners(
        place=vertex[chosen],
        arrive=np.arctan2(arriving[chosen, 1], arriving[chosen, 0]),
        leave=np.arctan2(leaving[chosen, 1], leaving[chosen, 0]),
        retreat_px=away[chosen],
        point=even.point[chosen],
    )


def _forward(points: EdgePoints, least_px: float) -> IntArray:
    """Return the indices of edge points that follow each other at ``least_px`` or more, in order.

    Where the tracer squeezed a corner into a curl, points beside it crowd and run back; taken so far apart they do not.
    """
    kept: list[int] = []
    loop, x, y = -1, 0.0, 0.0
    usable = np.flatnonzero(points.found)
    columns = (usable, points.loop[usable], points.seen[usable, 0], points.seen[usable, 1])
    for index, here, px, py in zip(*(column.tolist() for column in columns), strict=True):
        if here != loop or (px - x) ** 2 + (py - y) ** 2 >= least_px * least_px:
            kept.append(index)
            loop, x, y = here, px, py
    return np.array(kept, dtype=np.int64)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Even:
    """An edge resampled evenly: places (m, 2), first index and count of each one's loop, and the nearest edge point."""

    place: FloatArray
    base: IntArray
    count: IntArray
    point: IntArray


def _evenly(points: EdgePoints, spacing: float, *, least: int) -> _Even | None:
    """Return the edge resampled, loops of fewer than ``least`` samples left out; None when nothing is left."""
    kept = _forward(points, spacing)
    if len(kept) == 0:
        return None
    loops = points.loop[kept]
    starts = np.flatnonzero(np.append(True, loops[1:] != loops[:-1]))
    ends = np.append(starts[1:], len(kept))
    place, base, counts, nearest = [], [], [], []
    done = 0
    for start, end in zip(starts, ends, strict=True):
        of_loop = kept[start:end]
        ring = points.seen[np.append(of_loop, of_loop[0])]
        known = np.append(0.0, np.cumsum(np.hypot(*np.diff(ring, axis=0).T)))
        count = round(known[-1] / spacing)
        if count < least:
            continue
        asked = known[-1] * np.arange(count) / count
        place.append(np.stack([np.interp(asked, known, ring[:, axis]) for axis in (0, 1)], axis=1))
        base.append(np.full(count, done))
        counts.append(np.full(count, count))
        nearest.append(of_loop[np.minimum(np.searchsorted(known, asked), len(of_loop) - 1)])
        done += count
    if not place:
        return None
    return _Even(
        place=np.concatenate(place),
        base=np.concatenate(base),
        count=np.concatenate(counts),
        point=np.concatenate(nearest),
    )
