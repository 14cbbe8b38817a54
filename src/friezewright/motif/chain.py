"""Loops as nodes, tangent angles and handle lengths, and the one solve that draws all of them onto given points.

Written so, a smooth node has a single angle for both its curves: the two cannot part, whatever moves. Where a line
meets a curve smoothly, the angle is the line's own direction. Corners have two angles.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.linalg import splu

from friezewright.geometry import cubic
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import BoolArray, IntArray, Outline
from friezewright.motif.edge import turned_left

__all__ = ["Chain", "Pull", "chain_of", "relax"]

ComplexArray: TypeAlias = NDArray[np.complex128]

# Residuals above this, in px, count less and less: an edge point that far off is more likely noise than edge.
_ROBUST_PX = 0.15
# Keeps what no point holds where it was; in squared px, small against a curve's dozens of points.
_DAMPING = 0.02
_ROWS, _COLUMNS = np.triu_indices(8)


@dataclass(slots=True, eq=False)
class Chain:
    """Segments of several loops by their nodes; segment k runs from node k to node ``after[k]``.

    Parameters
    ----------
    xy
        Nodes, shape (k, 2).
    corner
        Whether the direction may break at a node, shape (k,).
    line
        Whether a segment is straight, shape (k,).
    leave, arrive
        Direction in radians at a segment's start and end, shape (k,).
    leave_px, arrive_px
        Lengths of its handles, shape (k,).
    loop
        Loop of each, shape (k,), in order.
    hold
        How strongly a node is held where it stands, shape (k,): as by so many points.
    """

    xy: FloatArray
    corner: BoolArray
    line: BoolArray
    leave: FloatArray
    arrive: FloatArray
    leave_px: FloatArray
    arrive_px: FloatArray
    loop: IntArray
    hold: FloatArray

    @property
    def starts(self) -> IntArray:
        """First node of each loop, and the number of nodes at the end."""
        return np.append(np.flatnonzero(np.append(True, self.loop[1:] != self.loop[:-1])), len(self.loop))

    @property
    def after(self) -> IntArray:
        """Index of the node that follows each, shape (k,)."""
        following = np.arange(1, len(self.loop) + 1)
        following[self.starts[1:] - 1] = self.starts[:-1]
        return following

    def segments(self) -> FloatArray:
        """Return the control points, shape (k, 4, 2)."""
        after = self.after
        end = self.xy[after]
        result = cubic.line(self.xy, end)
        curve = ~self.line
        result[curve, 1] = self.xy[curve] + _spoke(self.leave[curve], self.leave_px[curve])
        result[curve, 2] = end[curve] - _spoke(self.arrive[curve], self.arrive_px[curve])
        return result

    def settle(self) -> None:
        """Give curves that meet lines smoothly the lines' directions, and both sides of a smooth node one angle."""
        after = self.after
        before = np.empty_like(after)
        before[after] = np.arange(len(after))
        step = self.xy[after] - self.xy
        straight = np.arctan2(step[:, 1], step[:, 0])
        smooth = ~self.corner
        from_line = smooth & ~self.line & self.line[before]
        self.leave[from_line] = straight[before[from_line]]
        into_line = smooth[after] & ~self.line & self.line[after]
        self.arrive[into_line] = straight[after[into_line]]
        both = np.flatnonzero(smooth & ~self.line & ~self.line[before])
        a, b = self.leave[both], self.arrive[before[both]]
        mean = np.arctan2(np.sin(a) + np.sin(b), np.cos(a) + np.cos(b))
        self.leave[both] = self.arrive[before[both]] = mean

    def outline(self) -> Outline:
        """Return the loops as an outline, settled on a grid of a millionth of a px."""
        return Outline(np.round(self.segments(), 6), self.line, self.starts)


@dataclass(slots=True, eq=False)
class Pull:
    """Points that a chain is drawn to: their places (n, 2), weights, segments and parameters, (n,)."""

    target: FloatArray
    weight: FloatArray
    segment: IntArray
    t: FloatArray

    def off(self, chain: Chain) -> FloatArray:
        """Return how far each point lies from its segment or the next, shape (n,); parameters are brought up too."""
        powers, target = _powers(chain.segments()), _complex(self.target)
        on = powers[self.segment]
        for _ in range(2):
            self.t = _nearer(on, target, self.t)
        away = np.abs(_at(on, self.t) - target)
        # A node may have slid past a point that was beside it: then the point lies beside the neighbour.
        after = chain.after
        before = np.empty_like(after)
        before[after] = np.arange(len(after))
        for end, neighbour in ((0.0, before), (1.0, after)):
            past = np.flatnonzero(self.t == end)
            other = powers[neighbour[self.segment[past]]]
            t = np.full(len(past), 1.0 - end)
            for _ in range(3):
                t = _nearer(other, target[past], t)
            away[past] = np.minimum(away[past], np.abs(_at(other, t) - target[past]))
        return np.asarray(away)


# Thousands of points are brought beside their curves dozens of times: as complex numbers and in powers of t, which is
# three times as fast as in control points and two columns.
def _complex(points: FloatArray) -> ComplexArray:
    return np.asarray(points[..., 0] + 1j * points[..., 1])


def _powers(segments: FloatArray) -> ComplexArray:
    """Return the coefficients of 1, t, t², t³, shape (n, 4)."""
    p = _complex(segments)
    c = 3.0 * (p[:, 1] - p[:, 0])
    b = 3.0 * (p[:, 2] - p[:, 1]) - c
    return np.stack([p[:, 0], c, b, p[:, 3] - p[:, 0] - c - b], axis=1)


def _at(on: ComplexArray, t: FloatArray) -> ComplexArray:
    return np.asarray(((on[:, 3] * t + on[:, 2]) * t + on[:, 1]) * t + on[:, 0])


def _along(on: ComplexArray, t: FloatArray) -> ComplexArray:
    return np.asarray((3.0 * on[:, 3] * t + 2.0 * on[:, 2]) * t + on[:, 1])


def _spoke(angle: FloatArray, length: FloatArray) -> FloatArray:
    return np.stack([length * np.cos(angle), length * np.sin(angle)], axis=-1)


def _angle(vectors: FloatArray) -> FloatArray:
    return np.asarray(np.arctan2(vectors[..., 1], vectors[..., 0]))


def chain_of(outline: Outline) -> Chain:
    """Return an outline as a chain; where two lines meet there is a corner, everywhere else the joint is smooth."""
    segments, line, loop = outline.segments, np.array(outline.is_line), outline.loop_of_segment
    first, last = segments[:, 1] - segments[:, 0], segments[:, 3] - segments[:, 2]
    chain = Chain(
        xy=np.array(segments[:, 0]),
        corner=np.zeros(len(line), dtype=bool),
        line=line,
        leave=_angle(first),
        arrive=_angle(last),
        leave_px=np.hypot(first[:, 0], first[:, 1]),
        arrive_px=np.hypot(last[:, 0], last[:, 1]),
        loop=np.array(loop),
        hold=np.zeros(len(line)),
    )
    before = np.empty(len(line), dtype=np.int64)
    before[chain.after] = np.arange(len(line))
    bend = np.abs(np.angle(np.exp(1j * (chain.leave - chain.arrive[before]))))
    # The tracer's own joints turn by less than a millionth of a radian, unless they are corners.
    chain.corner = (line & line[before]) | (bend > 0.02)
    return chain


def _nearer(on: ComplexArray, target: ComplexArray, t: FloatArray) -> FloatArray:
    """Return parameters nearer to the points, by one guarded Newton step each."""
    gap, first = _at(on, t) - target, _along(on, t)
    second = 6.0 * on[:, 3] * t + 2.0 * on[:, 2]
    speed = first.real**2 + first.imag**2
    curve = np.maximum(gap.real * second.real + gap.imag * second.imag, -0.5 * speed)
    step = (gap.real * first.real + gap.imag * first.imag) / np.maximum(speed + curve, 1e-9)
    return np.asarray(np.clip(t - step, 0.0, 1.0))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Unknowns:
    """Where each quantity stands among the unknowns; -1 where it is tied to something else."""

    node: IntArray
    leave_px: IntArray
    arrive_px: IntArray
    leave: IntArray
    arrive: IntArray
    count: int


def _number(chain: Chain, after: IntArray, before: IntArray) -> _Unknowns:
    size = len(after)
    curve = ~chain.line
    count = 2 * size

    def numbered(which: BoolArray) -> IntArray:
        nonlocal count
        index = np.full(size, -1)
        index[which] = count + np.arange(int(which.sum()))
        count += int(which.sum())
        return index

    leave_px, arrive_px = numbered(curve), numbered(curve)
    # A smooth node between two curves has one angle, kept as the leaving one of its later curve.
    leave = numbered(curve & (chain.corner | ~chain.line[before]))
    arrive = numbered(curve & chain.corner[after])
    shared = np.flatnonzero(curve & ~chain.corner & ~chain.line[before])
    arrive[before[shared]] = leave[shared]
    return _Unknowns(
        node=np.arange(2 * size).reshape(size, 2),
        leave_px=leave_px,
        arrive_px=arrive_px,
        leave=leave,
        arrive=arrive,
        count=count,
    )


def _dependence(chain: Chain, after: IntArray, before: IntArray, unknowns: _Unknowns) -> sparse.csr_array:
    """Return how control points move with the unknowns, shape (8 k, m), rows ordered segment, point, axis."""
    rows: list[IntArray] = []
    columns: list[IntArray] = []
    values: list[FloatArray] = []

    def put(segment: IntArray, point: int, unknown: IntArray, move: FloatArray) -> None:
        for axis in (0, 1):
            rows.append(8 * segment + 2 * point + axis)
            columns.append(unknown)
            values.append(move[:, axis])

    def follow(segment: IntArray, point: int, node: IntArray, share: float) -> None:
        for axis in (0, 1):
            rows.append(8 * segment + 2 * point + axis)
            columns.append(unknowns.node[node, axis])
            values.append(np.full(len(segment), share))

    def tie(segment: IntArray, point: int, swing: FloatArray, start: IntArray, end: IntArray) -> None:
        # The angle of a line from start to end changes by the sideways move of its end over its length.
        step = chain.xy[end] - chain.xy[start]
        lever = turned_left(step) / np.maximum(np.sum(step * step, axis=1), 1e-6)[:, None]
        for axis in (0, 1):
            for node, sign in ((end, 1.0), (start, -1.0)):
                put(segment, point, unknowns.node[node, axis], sign * swing * lever[:, axis, None])

    every = np.arange(len(after))
    curve, line = np.flatnonzero(~chain.line), np.flatnonzero(chain.line)
    follow(every, 0, every, 1.0)
    follow(every, 3, after, 1.0)
    follow(curve, 1, curve, 1.0)
    follow(curve, 2, after[curve], 1.0)
    for point, share in ((1, 1.0 / 3.0), (2, 2.0 / 3.0)):
        follow(line, point, line, 1.0 - share)
        follow(line, point, after[line], share)
    out, back = _spoke(chain.leave, np.ones(len(every))), _spoke(chain.arrive, np.ones(len(every)))
    put(curve, 1, unknowns.leave_px[curve], out[curve])
    put(curve, 2, unknowns.arrive_px[curve], -back[curve])
    swing_out = turned_left(out) * chain.leave_px[:, None]
    swing_back = -turned_left(back) * chain.arrive_px[:, None]
    free = np.flatnonzero(unknowns.leave >= 0)
    put(free, 1, unknowns.leave[free], swing_out[free])
    free = np.flatnonzero(unknowns.arrive >= 0)
    put(free, 2, unknowns.arrive[free], swing_back[free])
    tied = np.flatnonzero(~chain.line & (unknowns.leave < 0))
    tie(tied, 1, swing_out[tied], before[tied], tied)
    tied = np.flatnonzero(~chain.line & (unknowns.arrive < 0))
    tie(tied, 2, swing_back[tied], after[tied], after[after[tied]])
    shape = (8 * len(every), unknowns.count)
    return sparse.csr_array((np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))), shape=shape)


def relax(chain: Chain, pull: Pull, *, rounds: int) -> None:
    """Move nodes, angles and handles, all loops at once, so that the segments run through the points.

    Gauss and Newton's method on the distances along the curves' normals, with weights that fall for points far off
    (Cauchy), damped (Levenberg and Marquardt). Points slide along their segments between rounds.
    """
    after = chain.after
    before = np.empty_like(after)
    before[after] = np.arange(len(after))
    size = len(after)
    unknowns = _number(chain, after, before)
    curve = ~chain.line
    chain.settle()
    place = np.array(chain.xy)
    order = np.argsort(pull.segment, kind="stable")
    target, among, t = _complex(pull.target[order]), pull.segment[order], pull.t[order]
    trust = pull.weight[order]
    starts = np.searchsorted(among, np.arange(size))
    held = np.flatnonzero(np.diff(np.append(starts, len(among))) > 0)
    for _ in range(rounds):
        on = _powers(chain.segments())[among]
        for _ in range(2):
            t = _nearer(on, target, t)
        direction = _along(on, t)
        across = 1j * direction / np.maximum(np.abs(direction), 1e-9)
        off = (_at(on, t) - target) * np.conj(across)
        gap, normal = off.real, np.stack([across.real, across.imag], axis=1)
        weight = trust / (1.0 + (gap / _ROBUST_PX) ** 2)
        s = 1.0 - t
        share = np.stack([s * s * s, 3.0 * s * s * t, 3.0 * s * t * t, t * t * t], axis=1)
        row = (share[:, :, None] * normal[:, None, :]).reshape(-1, 8)
        weighted = row * weight[:, None]
        blocks = np.zeros((size, 8, 8))
        # Blocks are symmetrical: half of them is summed.
        half = np.add.reduceat(weighted[:, _ROWS] * row[:, _COLUMNS], starts[held], axis=0)
        blocks[held[:, None], _ROWS, _COLUMNS] = half
        blocks[held[:, None], _COLUMNS, _ROWS] = half
        slopes = np.zeros((size, 8))
        slopes[held] = np.add.reduceat(weighted * gap[:, None], starts[held], axis=0)
        depend = _dependence(chain, after, before, unknowns)
        block = sparse.bsr_array((blocks, np.arange(size), np.arange(size + 1)), shape=(8 * size, 8 * size))
        turn = depend.T.tocsr()
        normal_matrix = turn @ (block.tocsr() @ depend)
        slope = turn @ slopes.ravel()
        damping = np.full(unknowns.count, _DAMPING)
        for index in (unknowns.leave_px, unknowns.arrive_px):
            damping[index[curve]] = 0.2 * _DAMPING
        for index, length in ((unknowns.arrive, chain.arrive_px), (unknowns.leave, chain.leave_px)):
            free = index >= 0
            # An angle moves a handle's end by its length.
            damping[index[free]] = _DAMPING * np.maximum(length[free], 0.5) ** 2
        damping[unknowns.node] += chain.hold[:, None]
        slope[unknowns.node] += chain.hold[:, None] * (chain.xy - place)
        damped = normal_matrix + sparse.diags_array(damping + 1e-3 * normal_matrix.diagonal())
        _step(chain, unknowns, splu(sparse.csc_array(damped)).solve(-slope), after)
        chain.settle()
    pull.t[order] = _nearer(_powers(chain.segments())[among], target, t)


def _step(chain: Chain, unknowns: _Unknowns, step: FloatArray, after: IntArray) -> None:
    """Apply a solution, each part of it no further than it can be trusted."""
    chain.xy = chain.xy + np.clip(step[unknowns.node], -1.5, 1.5)
    chord = np.maximum(np.hypot(*(chain.xy[after] - chain.xy).T), 0.3)
    for index, name in ((unknowns.leave_px, "leave_px"), (unknowns.arrive_px, "arrive_px")):
        free = index >= 0
        length, reach = getattr(chain, name), chord[free]
        moved = length[free] + np.clip(step[index[free]], -0.3 * reach, 0.3 * reach)
        length[free] = np.clip(moved, 0.03 * reach, 1.5 * reach)
    for index, angle in ((unknowns.leave, chain.leave), (unknowns.arrive, chain.arrive)):
        free = index >= 0
        angle[free] += np.clip(step[index[free]], -0.25, 0.25)
