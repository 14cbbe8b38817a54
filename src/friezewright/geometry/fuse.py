"""Outlines cut at mirror lines and joined with their mirror images, curves kept.

A union would have to find where two unlike curves cross. Here there is nothing to find: where a loop meets the line,
so
does its image, in the same point. Each run of the outline on the kept side is a *chain*; chain and image share their
end points, and one followed by the other closes.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from friezewright.errors import GeometryError
from friezewright.geometry import affine, cubic
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import BoolArray, Outline
from friezewright.geometry.tolerance import COINCIDENT_MM

__all__ = ["crossings", "fused"]


def fused(
    outline: Outline, *, point_mm: tuple[float, float] = (0.0, 0.0), along_rad: float, lines: int = 1
) -> Outline | None:
    """Return the part of an outline between two mirror lines, joined with all its mirror images.

    Parameters
    ----------
    outline
        The area; it may reach over the lines, and what does is cut away.
    point_mm
        Where the lines meet, or any point of a single line.
    along_rad
        Direction of the first line. The part from there clockwise on screen is kept, as far as the next line: by
        ``pi / lines``, so half the plane for one line.
    lines
        Number of mirror lines through the point.

    Returns
    -------
    Outline or None
        Symmetric under all the lines; None if nothing lies between them.

    Raises
    ------
    ValueError
        If there is not at least one line.
    """
    if lines < 1:
        raise ValueError(f"fusing takes one mirror line or more, got {lines}")
    wedge = _Wedge(point_mm, along_rad, lines)
    loops: list[_Chain] = []
    for loop in outline.loops():
        for chain in _kept(outline, loop, wedge):
            loops.extend(_joined(chain, wedge))
    if not loops:
        return None
    return Outline(
        np.concatenate([loop.segments for loop in loops]),
        np.concatenate([loop.is_line for loop in loops]),
        np.cumsum([0] + [len(loop.segments) for loop in loops]),
        np.concatenate([loop.is_edge for loop in loops]),
    )


def crossings(values: FloatArray) -> list[FloatArray]:
    """Return where cubics cross zero: for Bernstein coefficients (n, 4), n rising arrays of parameters inside (0, 1).

    Between its extremes, the roots of a quadratic, a cubic is monotone; there one sign change is one root, halved down
    to the last bit. Touching without crossing is no root.
    """
    d = np.diff(values, axis=1)
    a, b, c = d[:, 0] - 2.0 * d[:, 1] + d[:, 2], 2.0 * (d[:, 1] - d[:, 0]), d[:, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        q = -0.5 * (b + np.where(b < 0.0, -1.0, 1.0) * np.sqrt(b * b - 4.0 * a * c))
        turning = np.stack([q / a, c / q], axis=1)
    turning = np.sort(np.where(np.isfinite(turning) & (turning > 0.0) & (turning < 1.0), turning, 1.0), axis=1)
    count = len(values)
    edges = np.concatenate([np.zeros((count, 1)), turning, np.ones((count, 1))], axis=1)
    low, high = edges[:, :-1].copy(), edges[:, 1:].copy()
    at_low, at_high = _value(values, low), _value(values, high)
    changes = (np.sign(at_low) * np.sign(at_high)) < 0.0
    rising = at_high > at_low
    for _ in range(60):
        middle = 0.5 * (low + high)
        above = (_value(values, middle) > 0.0) == rising
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    root = 0.5 * (low + high)
    return [root[i, changes[i]] for i in range(count)]


def _value(coefficients: FloatArray, t: FloatArray) -> FloatArray:
    s = 1.0 - t
    w = coefficients[:, :, None]
    return np.asarray(s**3 * w[:, 0] + 3.0 * s * s * t * w[:, 1] + 3.0 * s * t * t * w[:, 2] + t**3 * w[:, 3])


@dataclass(frozen=True, slots=True, eq=False)
class _Chain:
    """Segments in a row; open from one mirror line to another, or closed."""

    segments: FloatArray
    is_line: BoolArray
    is_edge: BoolArray
    # Which line it starts and ends on; None for a closed loop.
    ends: tuple[int, int] | None

    def image(self, map_: FloatArray, *, backwards: bool) -> _Chain:
        segments = affine.apply(map_, self.segments)
        if not backwards:
            return _Chain(segments, self.is_line, self.is_edge, self.ends)
        return _Chain(segments[::-1, ::-1], self.is_line[::-1], self.is_edge[::-1], self.ends)


class _Wedge:
    """The room between two neighbouring mirror lines, and the moves that the lines generate.

    A move is a pair (k, flip): mirrored in the first line or not, then turned by k times twice the wedge's angle.
    """

    def __init__(self, point_mm: tuple[float, float], along_rad: float, lines: int) -> None:
        self.point = np.asarray(point_mm, dtype=np.float64)
        self.lines = lines
        self._along = affine.rotation(along_rad)
        angles = [along_rad] if lines == 1 else [along_rad, along_rad + np.pi / lines]
        self.directions = [affine.rotation(angle)[:, 0] for angle in angles]

    def heights(self, points: FloatArray) -> FloatArray:
        """Return how far points (..., 2) lie inside of each line, shape (lines kept, ...); negative beyond it."""
        p = points - self.point
        first = self.directions[0]
        heights = [first[0] * p[..., 1] - first[1] * p[..., 0]]
        if self.lines > 1:
            second = self.directions[1]
            heights.append(second[1] * p[..., 0] - second[0] * p[..., 1])
        return np.stack(heights)

    def onto(self, line: int, point: FloatArray) -> FloatArray:
        """Return the nearest point on a line."""
        p, u = point - self.point, self.directions[line]
        return np.asarray(self.point + (p[0] * u[0] + p[1] * u[1]) * u)

    def moves(self) -> Iterator[tuple[int, bool]]:
        for k in range(self.lines):
            yield k, False
            yield k, True

    def across(self, move: tuple[int, bool], line: int) -> tuple[int, bool]:
        """Return the move that shows the neighbour beyond one line of the image shown by ``move``."""
        k, flip = move
        return (k + (-line if flip else line)) % self.lines, not flip

    def map_of(self, move: tuple[int, bool]) -> FloatArray:
        k, flip = move
        turn = affine.rotation(2.0 * np.pi * k / self.lines)
        if flip:
            back = affine.inverse(self._along)
            turn = affine.compose(turn, affine.compose(self._along, affine.compose(affine.mirror_y(), back)))
        to, fro = affine.translation(self.point), affine.translation(-self.point)
        return affine.compose(to, affine.compose(turn, fro))


def _kept(outline: Outline, loop: slice, wedge: _Wedge) -> Iterator[_Chain]:
    """Yield the runs of one loop that lie between the lines."""
    segments, is_line, is_edge = _split(outline, loop, wedge)
    # A cubic is as good as on the line when its control points are; its inside shows at the furthest of three points.
    heights = wedge.heights(cubic.evaluate(segments[:, None], np.array([0.25, 0.5, 0.75])))
    furthest = np.take_along_axis(heights, np.abs(heights).argmax(axis=-1)[..., None], axis=-1)[..., 0]
    kept = np.all(furthest > 0.0, axis=0)
    kept &= ~np.any(np.abs(wedge.heights(segments)).max(axis=-1) < COINCIDENT_MM, axis=0)
    if kept.all():
        yield _Chain(segments, is_line, is_edge, None)
        return
    if not kept.any():
        return
    first = int(np.flatnonzero(~kept)[0])
    order = np.roll(np.arange(len(kept)), -first)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], kept[order], [False]]).astype(np.int8)))
    for start, end in edges.reshape(-1, 2):
        which = order[start:end]
        chain = segments[which].copy()
        ends = (_settle(chain, 0, 0, wedge), _settle(chain, -1, 3, wedge))
        yield _Chain(chain, is_line[which], is_edge[which], ends)


def _settle(chain: FloatArray, segment: int, knot: int, wedge: _Wedge) -> int:
    """Put an end of a chain exactly on the line it lies next to, and return which line that is."""
    point = chain[segment, knot].copy()
    heights = np.abs(wedge.heights(point))
    line = int(heights.argmin())
    if heights[line] > 10.0 * COINCIDENT_MM:
        raise GeometryError(
            f"a cut outline ends {heights[line]:.2e} mm off its mirror line near ({point[0]:.3f}, {point[1]:.3f}) mm"
        )
    chain[segment, knot] = wedge.onto(line, point)
    return line


def _split(outline: Outline, loop: slice, wedge: _Wedge) -> tuple[FloatArray, BoolArray, BoolArray]:
    segments = outline.segments[loop]
    found = [crossings(heights) for heights in wedge.heights(segments)]
    pieces, source = [], []
    for i in range(len(segments)):
        cuts = np.unique(np.concatenate([[0.0], *(roots[i] for roots in found), [1.0]]))
        part = cubic.restrict(np.repeat(segments[i][None], len(cuts) - 1, axis=0), cuts[:-1], cuts[1:])
        part[0, 0], part[-1, 3] = segments[i, 0], segments[i, 3]
        pieces.append(part)
        source.append(np.full(len(part), i))
    index = np.concatenate(source)
    return np.concatenate(pieces), outline.is_line[loop][index], outline.is_edge[loop][index]


def _joined(chain: _Chain, wedge: _Wedge) -> Iterator[_Chain]:
    """Yield the closed loops that a chain and its images make."""
    seen: set[tuple[int, bool]] = set()
    for start in wedge.moves():
        if start in seen:
            continue
        if chain.ends is None:
            yield chain.image(wedge.map_of(start), backwards=start[1])
            continue
        parts, move = [], start
        while move not in seen:
            seen.add(move)
            # An image in a mirror is run backwards, which keeps the inside on the same hand.
            parts.append(chain.image(wedge.map_of(move), backwards=move[1]))
            move = wedge.across(move, chain.ends[0] if move[1] else chain.ends[1])
        segments = np.concatenate([part.segments for part in parts])
        # Neighbouring images meet in one point; rounding may have set them a last digit apart.
        segments[:, 0] = np.roll(segments[:, 3], 1, axis=0)
        yield _Chain(
            segments,
            np.concatenate([part.is_line for part in parts]),
            np.concatenate([part.is_edge for part in parts]),
            None,
        )
