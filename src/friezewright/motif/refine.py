"""Moving a traced outline onto the edge that the grey levels show between pixels.

The tracer sees ink or paper, a pixel at a time; a grey picture says which share of each pixel is ink. The tracer's own
nodes, kept as they are joined, are drawn by one sparse solve (:mod:`friezewright.motif.chain`) to points of the edge
(:mod:`friezewright.motif.edge`). Corners that the tracer drew round become corners, curves that cannot follow are
halved, and straight ones become lines. A loop that ends up worse than it was, or crosses something, is left as traced.
"""

from __future__ import annotations

from dataclasses import fields

import numpy as np
from scipy.spatial import cKDTree

from friezewright.geometry import cubic
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import BoolArray, IntArray, Outline, concatenate
from friezewright.motif.chain import Chain, Pull, chain_of, relax
from friezewright.motif.edge import (
    SOFT_EDGED,
    TWO_LEVEL,
    Corners,
    EdgePoints,
    Sharpness,
    corners_of,
    edge_beside,
    ink_field,
)
from friezewright.motif.ink import GreyArray

__all__ = ["refine"]

_SPACING_PX = 1.0
# A curve further than this from the edge is halved, once; the steps of a two-level edge wander more.
_HALVE_PX = {False: 0.3, True: 0.6}
# A curve nearer than this to its chord is a line.
_STRAIGHT_PX = 0.12
_STRAIGHT_RAD = 0.05
# A loop of whose points fewer than this share lie beside a clear edge is left as traced.
_LEAST_TOLD = 0.6


def refine(
    outline: Outline,
    grey: GreyArray,
    ink: BoolArray,
    *,
    level: float,
    contrast: float,
    two_level: bool,
    least_bend_rad: float,
) -> Outline:
    """Return the outline moved onto the edge, with the same loops in the same order.

    Parameters
    ----------
    outline
        As traced, in px of the arrays; shells positive.
    grey, ink
        Brightness and which pixels are ink, shape (h, w), with paper all round.
    level
        Brightness that parts ink from paper.
    contrast
        Brightness of paper less that of ink.
    two_level
        Whether the greys say nothing, and the ink's own steps are smoothed instead.
    least_bend_rad
        Bends sharper than this are corners.
    """
    sharpness = TWO_LEVEL if two_level else SOFT_EDGED
    field = ink_field(grey, ink, level=level, contrast=contrast, two_level=two_level)
    spacing = max(_SPACING_PX, max(grey.shape) / 512.0)
    points = edge_beside(outline, field, spacing_px=spacing, blur_px=sharpness.blur_px)
    chain = chain_of(outline)
    trusted = points.found & points.clear
    pull = Pull(points.seen, trusted.astype(np.float64), points.segment, points.t)
    if least_bend_rad < np.pi:
        corners = corners_of(points, sharpness, least_bend_rad=least_bend_rad)
        _sharpen(chain, pull, corners, sharpness)
        _spare(pull, corners.place, sharpness.rounded_px + corners.retreat_px)
    traced = chain.xy[chain.corner]
    _spare(pull, traced, np.full(len(traced), sharpness.rounded_px))
    relax(chain, pull, rounds=5)
    if _halve(chain, pull, _HALVE_PX[two_level]):
        relax(chain, pull, rounds=3)
    if _straighten(chain, pull):
        relax(chain, pull, rounds=3)
    return _guarded(outline, chain, pull, points, sharpness.furthest_px)


def _take(chain: Chain, order: IntArray) -> None:
    """Keep only the named nodes, in the order given; some may be named twice."""
    for field in fields(chain):
        setattr(chain, field.name, getattr(chain, field.name)[order])


def _cut(chain: Chain, pull: Pull, where: FloatArray) -> IntArray:
    """Cut segments at parameters ``where`` (k,), NaN for those left whole; return each new node's index.

    The halves keep the curve exactly; a new node is smooth.
    """
    cut = np.isfinite(where)
    segments = chain.segments()[cut]
    at = where[cut]
    first, second = cubic.restrict(segments, np.zeros_like(at), at), cubic.restrict(segments, at, np.ones_like(at))
    copies = np.where(cut, 2, 1)
    new = np.cumsum(copies) - 1
    old_of = np.repeat(np.arange(len(cut)), copies)
    _take(chain, old_of)
    index = new[cut]
    for half, place in ((first, index - 1), (second, index)):
        out, back = half[:, 1] - half[:, 0], half[:, 3] - half[:, 2]
        chain.leave[place], chain.arrive[place] = np.arctan2(out[:, 1], out[:, 0]), np.arctan2(back[:, 1], back[:, 0])
        chain.leave_px[place], chain.arrive_px[place] = np.hypot(*out.T), np.hypot(*back.T)
    chain.xy[index] = second[:, 0]
    chain.corner[index] = False
    chain.hold[index] = 0.0
    here = where[pull.segment]
    late = pull.t >= here
    share = np.where(late, (pull.t - here) / (1.0 - here), pull.t / here)
    pull.t = np.where(np.isfinite(here), share, pull.t)
    pull.segment = np.where(late | ~np.isfinite(here), new[pull.segment], new[pull.segment] - 1)
    return index


def _sharpen(chain: Chain, pull: Pull, corners: Corners, sharpness: Sharpness) -> None:
    """Make the corners that the edge shows nodes of the chain, with the sides' own directions."""
    where = np.full(len(chain.xy), np.nan)
    cut_by: dict[int, int] = {}
    node_of: dict[int, int] = {}
    after = chain.after
    for number, (place, point) in enumerate(zip(corners.place, corners.point, strict=True)):
        segment, t = int(pull.segment[point]), float(pull.t[point])
        away = np.hypot(*(chain.xy - place).T)
        away[chain.loop != chain.loop[segment]] = np.inf
        # A corner that the tracer drew as one is taken even where a smooth node happens to be nearer.
        nearest = int(np.where(chain.corner, away - 1.0, away).argmin())
        if away[nearest] < (2.5 if chain.corner[nearest] else 1.2):
            node_of[number] = nearest
        elif 0.03 < t < 0.97 and np.isnan(where[segment]):
            where[segment], cut_by[segment] = t, number
        elif away[end := segment if t <= 0.5 else int(after[segment])] < sharpness.gather_px:
            node_of[number] = end
    if cut_by:
        moved = np.arange(len(where)) + np.cumsum(np.isfinite(where)) - np.isfinite(where)
        new = _cut(chain, pull, where)
        node_of = {number: int(moved[node]) for number, node in node_of.items()}
        cut = np.flatnonzero(np.isfinite(where))
        node_of |= {cut_by[int(segment)]: int(node) for segment, node in zip(cut, new, strict=True)}
    if not node_of:
        return
    numbers, nodes = np.array(list(node_of)), np.array(list(node_of.values()))
    chain.xy[nodes], chain.corner[nodes] = corners.place[numbers], True
    chain.hold[nodes] = sharpness.hold
    sharp = np.full(len(chain.xy), -1)
    sharp[nodes] = numbers
    sharp = _gather(chain, pull, sharp, sharpness.gather_px)
    nodes = np.flatnonzero(sharp >= 0)
    after = chain.after
    before = np.empty_like(after)
    before[after] = np.arange(len(after))
    third = np.hypot(*(chain.xy[after] - chain.xy).T) / 3.0
    chain.leave[nodes], chain.leave_px[nodes] = corners.leave[sharp[nodes]], third[nodes]
    into = before[nodes]
    chain.arrive[into], chain.arrive_px[into] = corners.arrive[sharp[nodes]], third[into]
    # The other end of such a curve may have been pinched towards the round corner.
    for touched, length in ((nodes, chain.arrive_px), (into, chain.leave_px)):
        length[touched] = np.clip(length[touched], 0.5 * third[touched], 1.5 * third[touched])


def _gather(chain: Chain, pull: Pull, sharp: IntArray, near_px: float) -> IntArray:
    """Drop smooth nodes that stand so near a sharpened corner that no edge point is left between them.

    Returns ``sharp``, the corner's number at each node and -1 elsewhere, for the nodes that are left.
    """
    after = chain.after
    left = np.bincount(chain.loop)
    gone = np.zeros(len(sharp), dtype=bool)
    segment, t = np.array(pull.segment), np.array(pull.t)
    before = np.empty_like(after)
    before[after] = np.arange(len(after))
    for corner in np.flatnonzero(sharp >= 0):
        place = chain.xy[corner]
        k = int(before[corner])
        if not chain.corner[k] and np.hypot(*(chain.xy[k] - place)) < near_px and left[chain.loop[k]] > 2:
            # The segment before it runs on to the corner.
            onto = int(before[k])
            t[segment == k], segment[segment == k] = 1.0, onto
            after[onto], before[corner] = corner, onto
            gone[k] = True
            left[chain.loop[k]] -= 1
        k = int(after[corner])
        if not chain.corner[k] and np.hypot(*(chain.xy[k] - place)) < near_px and left[chain.loop[k]] > 2:
            # The segment that starts there starts at the corner instead.
            t[segment == corner], segment[segment == corner] = 0.0, k
            chain.xy[k], chain.corner[k], chain.hold[k], sharp[k] = place, True, chain.hold[corner], sharp[corner]
            onto = int(before[corner])
            after[onto], before[k] = k, onto
            gone[corner], sharp[corner] = True, -1
            left[chain.loop[k]] -= 1
    kept = np.flatnonzero(~gone)
    rank = np.cumsum(~gone) - 1
    _take(chain, kept)
    # A loop whose first node is gone begins at a later one: its points follow in the same turn.
    pull.segment, pull.t = rank[segment], t
    return sharp[kept]


def _spare(pull: Pull, places: FloatArray, reach_px: FloatArray) -> None:
    """Take the weight off points near corners, where the picture has rounded the edge."""
    if len(places):
        tree = cKDTree(pull.target)
        for near in tree.query_ball_point(places, reach_px):
            pull.weight[near] = 0.0


def _halve(chain: Chain, pull: Pull, limit_px: float) -> bool:
    """Cut the curves, and bend the lines, that lie too far from their points."""
    off = pull.off(chain) * (pull.weight > 0.0)
    worst = np.zeros(len(chain.xy))
    np.maximum.at(worst, pull.segment, off)
    long = np.hypot(*(chain.xy[chain.after] - chain.xy).T) > 6.0
    bad = (worst > limit_px) & long
    if not bad.any():
        return False
    bend = bad & chain.line
    step = chain.xy[chain.after] - chain.xy
    chain.leave[bend] = chain.arrive[bend] = np.arctan2(step[bend, 1], step[bend, 0])
    chain.leave_px[bend] = chain.arrive_px[bend] = np.hypot(*step[bend].T) / 3.0
    chain.line[bend] = False
    if (bad & ~bend).any():
        _cut(chain, pull, np.where(bad & ~bend, 0.5, np.nan))
    return True


def _straighten(chain: Chain, pull: Pull) -> bool:
    """Make lines of the curves that are straight, and one line of two that continue each other."""
    after = chain.after
    before = np.empty_like(after)
    before[after] = np.arange(len(after))
    step = chain.xy[after] - chain.xy
    length = np.maximum(np.hypot(*step.T), 1e-9)
    chord = np.arctan2(step[:, 1], step[:, 0])

    def apart(angle: FloatArray) -> FloatArray:
        return np.asarray(np.abs(np.angle(np.exp(1j * (angle - chord)))))

    gap = pull.target - chain.xy[pull.segment]
    unit = step / length[:, None]
    side = np.abs(gap[:, 0] * unit[pull.segment, 1] - gap[:, 1] * unit[pull.segment, 0]) * (pull.weight > 0.0)
    worst = np.zeros(len(length))
    np.maximum.at(worst, pull.segment, side)
    flat = ~chain.line & (worst < _STRAIGHT_PX) & (length > 4.0)
    flat &= np.maximum(apart(chain.leave), apart(chain.arrive)) < _STRAIGHT_RAD
    # Two lines cannot meet smoothly unless they are one: only curves between corners and curves become lines.
    busy = np.array(chain.line)
    changed = False
    for k in np.flatnonzero(flat):
        if (chain.corner[k] or not busy[before[k]]) and (chain.corner[after[k]] or not busy[after[k]]):
            busy[k] = True
            changed = True
    chain.line = busy
    return changed


def _guarded(outline: Outline, chain: Chain, pull: Pull, points: EdgePoints, furthest_px: float) -> Outline:
    """Return the chain's loops, but the traced ones where they fit the edge better or the chain's cross something."""
    before = np.hypot(*(points.seen - points.drawn).T)
    after = pull.off(chain)
    loops = outline.loop_count
    counted = (pull.weight > 0.0).astype(np.float64)
    count = np.maximum(np.bincount(points.loop, counted, loops), 1.0)
    mean_before = np.bincount(points.loop, before * counted, loops) / count
    mean_after = np.bincount(points.loop, after * counted, loops) / count
    worst = np.zeros(loops)
    np.maximum.at(worst, points.loop, np.where(pull.weight > 0.0, after - before, after - 2.5))
    keep = (mean_after <= mean_before) & (worst < 0.8)
    told = np.bincount(points.loop, points.found & points.clear, loops) / np.bincount(points.loop, minlength=loops)
    keep &= told > _LEAST_TOLD
    moved = chain.outline()
    walk, loop = _walk(moved, 1.0)
    away, _ = cKDTree(points.drawn).query(walk)
    keep &= np.bincount(loop[away > furthest_px], minlength=loops) == 0
    while True:
        mixed = concatenate([(moved if keep[loop] else outline).selected([loop]) for loop in range(loops)])
        crossing = _crossing_loops(mixed) & keep
        if not crossing.any():
            return mixed
        keep &= ~crossing


def _walk(outline: Outline, spacing_px: float) -> tuple[FloatArray, IntArray]:
    """Return points along an outline, no further apart than asked, and the loop of each."""
    counts = np.maximum(1, np.ceil(cubic.lengths(outline.segments) / spacing_px)).astype(np.int64)
    segment = np.repeat(np.arange(len(counts)), counts)
    t = (np.arange(len(segment)) - np.repeat(np.cumsum(counts) - counts, counts)) / counts[segment]
    return cubic.evaluate(outline.segments[segment], t), outline.loop_of_segment[segment]


def _crossing_loops(outline: Outline) -> BoolArray:
    """Return which loops cross themselves or another, shape (loops,)."""
    crossing = np.zeros(outline.loop_count, dtype=bool)
    start, loop = _walk(outline, 2.0)
    first = np.flatnonzero(np.append(True, loop[1:] != loop[:-1]))
    following = np.arange(1, len(loop) + 1)
    following[np.append(first[1:], len(loop)) - 1] = first
    end = start[following]
    # Two pieces that cross have middles no further apart than half their lengths together.
    longest = float(np.hypot(*(end - start).T).max())
    pairs = cKDTree(0.5 * (start + end)).query_pairs(longest + 1e-9, output_type="ndarray")
    a, b = pairs[:, 0], pairs[:, 1]
    apart = (following[a] != b) & (following[b] != a)
    a, b = a[apart], b[apart]

    def side(p: FloatArray, q: FloatArray, r: FloatArray) -> FloatArray:
        return np.asarray((q[:, 0] - p[:, 0]) * (r[:, 1] - p[:, 1]) - (q[:, 1] - p[:, 1]) * (r[:, 0] - p[:, 0]))

    hit = (side(start[a], end[a], start[b]) * side(start[a], end[a], end[b]) < 0.0) & (
        side(start[b], end[b], start[a]) * side(start[b], end[b], end[a]) < 0.0
    )
    crossing[loop[a[hit]]] = True
    crossing[loop[b[hit]]] = True
    return crossing
