"""Outlines: areas bounded by closed loops of cubics and lines, as three arrays.

Terms. A *segment* is a cubic Bezier; a *line* is one too, marked as straight. A *loop* is a closed chain of segments:
each starts where the one before it ends, and the last ends where the first starts. A *shell* bounds an area from
outside and has positive signed area; a *hole* has negative. Loops are wound so that even-odd and nonzero filling draw
the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from friezewright.geometry import affine, cubic
from friezewright.geometry.affine import FloatArray

__all__ = [
    "BoolArray",
    "IntArray",
    "Outline",
    "circle",
    "concatenate",
    "frozen",
    "polygon",
    "rounded_polygon",
    "rounded_rectangle",
]

BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]


def frozen(array: ArrayLike, dtype: type = np.float64) -> NDArray:  # type: ignore[type-arg]
    """Return a read-only array of the given type; an array that is already both is returned as it is."""
    result: NDArray = np.asarray(array, dtype=dtype)  # type: ignore[type-arg]
    if result.flags.writeable:
        result = result.copy()
        result.setflags(write=False)
    return result


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """An area bounded by closed loops.

    Parameters
    ----------
    segments
        Control points, shape (n, 4, 2), mm.
    is_line
        Which segments are straight, shape (n,).
    loop_start
        Index of the first segment of each loop, and n at the end, shape (k + 1,).
    is_edge
        Which segments run along the edge an outline was trimmed at, shape (n,); none when left out. Contours that are
        scored leave them out.
    """

    segments: FloatArray
    is_line: BoolArray
    loop_start: IntArray
    is_edge: BoolArray = field(default_factory=lambda: np.zeros(0, dtype=bool))

    def __post_init__(self) -> None:
        segments = frozen(self.segments)
        count = len(segments)
        if segments.shape != (count, 4, 2):
            raise ValueError(f"segments must have shape (n, 4, 2), got {segments.shape}")
        if not np.isfinite(segments).all():
            raise ValueError("segments must be finite")
        starts = frozen(self.loop_start, np.int64)
        if starts[0] != 0 or starts[-1] != count or np.any(starts[1:] <= starts[:-1]):
            raise ValueError(f"loop_start must rise from 0 to {count}, got {starts}")
        edge = np.zeros(count, dtype=bool) if len(self.is_edge) == 0 else self.is_edge
        object.__setattr__(self, "segments", segments)
        object.__setattr__(self, "is_line", frozen(self.is_line, np.bool_))
        object.__setattr__(self, "loop_start", starts)
        object.__setattr__(self, "is_edge", frozen(edge, np.bool_))
        if len(self.is_line) != count or len(self.is_edge) != count:
            raise ValueError("is_line and is_edge need one entry a segment")

    @property
    def loop_count(self) -> int:
        """Number of loops."""
        return len(self.loop_start) - 1

    @property
    def loop_of_segment(self) -> IntArray:
        """Loop each segment belongs to, shape (n,)."""
        return np.repeat(np.arange(self.loop_count), np.diff(self.loop_start))

    def loops(self) -> Iterator[slice]:
        """Yield the slice of each loop's segments."""
        for start, end in zip(self.loop_start[:-1], self.loop_start[1:], strict=True):
            yield slice(int(start), int(end))

    def area_mm2(self) -> float:
        """Return the enclosed area in mm², holes taken off, exact up to rounding."""
        return sum(cubic.signed_area(self.segments[loop]) for loop in self.loops())

    def bounds(self) -> FloatArray:
        """Return the exact bounding box ``[[x0, y0], [x1, y1]]`` in mm, shape (2, 2)."""
        return cubic.bounds(self.segments)

    def length_mm(self) -> float:
        """Return the length of all loops in mm."""
        return float(cubic.lengths(self.segments).sum())

    def transformed(self, matrix: FloatArray) -> Outline:
        """Return the image under one affine map (2, 3); a map that mirrors keeps shells positive."""
        image = affine.apply(matrix, self.segments)
        moved = Outline(image, self.is_line, self.loop_start, self.is_edge)
        return moved.reversed() if affine.determinant(matrix) < 0.0 else moved

    def reversed(self) -> Outline:
        """Return the same loops run the other way: shells become holes."""
        order = np.concatenate([np.arange(loop.stop - 1, loop.start - 1, -1) for loop in self.loops()])
        return Outline(self.segments[order, ::-1], self.is_line[order], self.loop_start, self.is_edge[order])

    def flattened(self, *, tolerance_mm: float) -> tuple[FloatArray, FloatArray, IntArray]:
        """Return the loops as polylines within the tolerance.

        Returns
        -------
        points
            Shape (m, 2), each loop closed by a repeat of its first point.
        parameter
            Where each point lies, shape (m,): segment index, plus loop index, plus t. The gap of one between loops
            keeps interpolation from running from one into the next; a loop's closing point carries the value past its
            last segment.
        loop
            Loop of each point, shape (m,).
        """
        counts = cubic.chord_counts(self.segments, self.is_line, tolerance_mm=tolerance_mm)
        segment = np.repeat(np.arange(len(counts)), counts)
        first = np.cumsum(counts) - counts
        t = (np.arange(len(segment)) - first[segment]) / counts[segment]
        loop = self.loop_of_segment[segment]
        points = cubic.evaluate(self.segments[segment], t)
        # A repeat of each loop's first point is spliced in behind its last.
        ends = np.append(first, len(segment))[self.loop_start[1:]]
        starts = first[self.loop_start[:-1]]
        loops = np.arange(self.loop_count)
        points = np.insert(points, ends, points[starts], axis=0)
        parameter = np.insert(segment + loop + t, ends, self.loop_start[1:] + loops)
        return points, parameter, np.insert(loop, ends, loops)

    def selected(self, loops: Sequence[int]) -> Outline:
        """Return only the named loops, in the order given."""
        slices = [slice(int(self.loop_start[i]), int(self.loop_start[i + 1])) for i in loops]
        order = np.concatenate([np.arange(s.start, s.stop) for s in slices])
        starts = np.concatenate([[0], np.cumsum([s.stop - s.start for s in slices])])
        return Outline(self.segments[order], self.is_line[order], starts, self.is_edge[order])


def concatenate(outlines: Iterable[Outline]) -> Outline:
    """Return all loops of several outlines as one outline; nothing is united.

    Raises
    ------
    ValueError
        If there are none.
    """
    parts = list(outlines)
    if not parts:
        raise ValueError("no outlines to put together")
    offsets = np.cumsum([0] + [len(part.segments) for part in parts])
    starts = [part.loop_start[:-1] + offset for part, offset in zip(parts, offsets[:-1], strict=True)]
    return Outline(
        np.concatenate([part.segments for part in parts]),
        np.concatenate([part.is_line for part in parts]),
        np.concatenate([*starts, offsets[-1:]]),
        np.concatenate([part.is_edge for part in parts]),
    )


def _one_loop(items: Sequence[object] | FloatArray) -> IntArray:
    return np.array([0, len(items)], dtype=np.int64)


def polygon(corners: ArrayLike) -> Outline:
    """Return the area inside straight edges between ``corners`` (n, 2), wound as a shell."""
    points = np.asarray(corners, dtype=np.float64)
    shape = Outline(cubic.line(points, np.roll(points, -1, axis=0)), np.ones(len(points), bool), _one_loop(points))
    return shape if shape.area_mm2() >= 0.0 else shape.reversed()


def circle(centre_mm: tuple[float, float], radius_mm: float) -> Outline:
    """Return a disc as twelve cubics.

    With handles of ``4/3 tan(angle/4)`` (the classical construction that meets the arc at both ends and its middle)
    each of twelve arcs strays from the circle by less than 4e-7 of its radius; four would by 2.7e-4.
    """
    segments = _arc(np.asarray(centre_mm, dtype=np.float64), radius_mm, 0.0, 2.0 * np.pi)
    segments[-1, 3] = segments[0, 0]
    return Outline(segments, np.zeros(len(segments), dtype=bool), _one_loop(segments))


def _arc(centre: FloatArray, radius: float, start_rad: float, sweep_rad: float) -> FloatArray:
    """Return an arc as cubics (m, 4, 2), at most a twelfth of a circle each."""
    pieces = max(1, int(np.ceil(abs(sweep_rad) / (np.pi / 6.0) - 1e-9)))
    angles = start_rad + sweep_rad * np.arange(pieces + 1) / pieces
    spoke = np.stack([np.cos(angles), np.sin(angles)], axis=1)
    along = np.stack([-spoke[:, 1], spoke[:, 0]], axis=1)
    handle = 4.0 / 3.0 * np.tan(sweep_rad / pieces / 4.0)
    a, b = slice(None, -1), slice(1, None)
    unit = np.stack([spoke[a], spoke[a] + handle * along[a], spoke[b] - handle * along[b], spoke[b]], axis=1)
    return np.asarray(centre + radius * unit)


def rounded_rectangle(corner_mm: tuple[float, float], size_mm: tuple[float, float], radius_mm: float = 0.0) -> Outline:
    """Return a rectangle with rounded corners; ``corner_mm`` is its top left, a radius of half a side makes a slot."""
    (x, y), (w, h) = corner_mm, size_mm
    return rounded_polygon([(x, y), (x + w, y), (x + w, y + h), (x, y + h)], radius_mm)


def rounded_polygon(corners: ArrayLike, radius_mm: float = 0.0) -> Outline:
    """Return a polygon whose corners, reflex ones too, are rounded by arcs of one radius.

    Parameters
    ----------
    corners
        Shape (n, 2), either way round.
    radius_mm
        Where two neighbouring arcs would overlap, both shrink just enough to meet.
    """
    points = np.asarray(corners, dtype=np.float64)
    if cubic.signed_area(cubic.line(points, np.roll(points, -1, axis=0))) < 0.0:
        points = points[::-1]
    if radius_mm <= 0.0:
        return polygon(points)
    before, after = points - np.roll(points, 1, axis=0), np.roll(points, -1, axis=0) - points
    length_before, length_after = np.hypot(*before.T), np.hypot(*after.T)
    u, v = before / length_before[:, None], after / length_after[:, None]
    bend = np.arctan2(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0], np.sum(u * v, axis=1))
    cut = radius_mm * np.abs(np.tan(bend / 2.0))
    shrink = np.minimum(1.0, length_after / np.maximum(cut + np.roll(cut, -1), 1e-300))
    cut = cut * np.minimum(shrink, np.roll(shrink, 1))
    chain: list[FloatArray] = []
    is_line: list[bool] = []
    end = points - cut[:, None] * u
    start = points + cut[:, None] * v
    for i in range(len(points)):
        if cut[i] > 0.0:
            radius = cut[i] / abs(np.tan(bend[i] / 2.0))
            side = np.sign(bend[i]) * np.array([-u[i, 1], u[i, 0]])
            centre = end[i] + radius * side
            spoke = end[i] - centre
            arc = _arc(centre, radius, float(np.arctan2(spoke[1], spoke[0])), float(bend[i]))
            arc[0, 0], arc[-1, 3] = end[i], start[i]
            chain.extend(arc)
            is_line.extend([False] * len(arc))
        following = end[(i + 1) % len(points)]
        if np.hypot(*(following - start[i])) > 1e-9:
            chain.append(cubic.line(start[i], following))
            is_line.append(True)
        else:
            chain[-1] = np.concatenate([chain[-1][:3], following[None]])
    return Outline(np.array(chain), np.array(is_line), _one_loop(chain))
