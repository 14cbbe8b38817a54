"""Strokes: lines for the machine to follow, open or closed, as arrays like those of an outline."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from friezewright.geometry import affine, cubic
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import BoolArray, IntArray, Outline, frozen

__all__ = ["Strokes", "concatenate_strokes", "contour"]


@dataclass(frozen=True, slots=True, eq=False)
class Strokes:
    """Paths to follow.

    Parameters
    ----------
    segments
        Control points, shape (n, 4, 2), mm; each starts where the one before it in the same path ends.
    is_line
        Which segments are straight, shape (n,).
    path_start
        Index of the first segment of each path, and n at the end, shape (k + 1,).
    closed
        Which paths end where they start, shape (k,). A stored fact, never inferred.
    """

    segments: FloatArray
    is_line: BoolArray
    path_start: IntArray
    closed: BoolArray

    def __post_init__(self) -> None:
        segments = frozen(self.segments)
        if segments.shape != (len(segments), 4, 2):
            raise ValueError(f"segments must have shape (n, 4, 2), got {segments.shape}")
        if not np.isfinite(segments).all():
            raise ValueError("segments must be finite")
        object.__setattr__(self, "segments", segments)
        object.__setattr__(self, "is_line", frozen(self.is_line, np.bool_))
        object.__setattr__(self, "path_start", frozen(self.path_start, np.int64))
        object.__setattr__(self, "closed", frozen(self.closed, np.bool_))
        starts = self.path_start
        if starts[0] != 0 or starts[-1] != len(segments) or np.any(np.diff(starts) <= 0):
            raise ValueError(f"path_start must rise from 0 to {len(segments)}, got {starts}")
        if len(self.is_line) != len(segments) or len(self.closed) != len(starts) - 1:
            raise ValueError("is_line needs one entry a segment, closed one a path")

    @property
    def path_count(self) -> int:
        """Number of paths."""
        return len(self.closed)

    def paths(self) -> Iterator[slice]:
        """Yield the slice of each path's segments."""
        for start, end in zip(self.path_start[:-1], self.path_start[1:], strict=True):
            yield slice(int(start), int(end))

    def length_mm(self) -> float:
        """Return the length of all paths in mm."""
        return float(cubic.lengths(self.segments).sum())

    def bounds(self) -> FloatArray:
        """Return the exact bounding box ``[[x0, y0], [x1, y1]]`` in mm, shape (2, 2)."""
        return cubic.bounds(self.segments)

    def transformed(self, matrix: FloatArray) -> Strokes:
        """Return the image under one affine map (2, 3); paths keep their direction."""
        return Strokes(affine.apply(matrix, self.segments), self.is_line, self.path_start, self.closed)


def contour(outline: Outline) -> Strokes:
    """Return the loops of an outline as closed paths, trimmed edges included."""
    return Strokes(outline.segments, outline.is_line, outline.loop_start, np.ones(outline.loop_count, dtype=bool))


def concatenate_strokes(strokes: Iterable[Strokes]) -> Strokes:
    """Return all paths of several strokes as one value.

    Raises
    ------
    ValueError
        If there are none.
    """
    parts = list(strokes)
    if not parts:
        raise ValueError("no strokes to put together")
    offsets = np.cumsum([0] + [len(part.segments) for part in parts])
    starts = [part.path_start[:-1] + offset for part, offset in zip(parts, offsets[:-1], strict=True)]
    return Strokes(
        np.concatenate([part.segments for part in parts]),
        np.concatenate([part.is_line for part in parts]),
        np.concatenate([*starts, offsets[-1:]]),
        np.concatenate([part.closed for part in parts]),
    )
