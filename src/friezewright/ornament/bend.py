"""Bending: shapes laid out along a straight strip are carried onto a path, curves kept as curves.

The map is ``(s, y) -> C(s) + y N(s)``: along the path by arc length, across it by distance. It keeps distances across,
and stretches along by ``1 - y k`` with the path's curvature ``k``. A cubic does not stay a cubic under it; each is
replaced by the Hermite cubic with the exact end points and end velocities of its image, cut in two until the image at
the quarter points is met within the tolerance. The error falls with the fourth power of the piece's length.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from friezewright.errors import GeometryError
from friezewright.geometry import cubic
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import BoolArray, IntArray, Outline, concatenate
from friezewright.ornament.path import Line, Path

__all__ = ["bend", "bend_all"]

# Halving a cubic twelve times divides its error by 16**12; what is left then is a cusp of the drawing itself.
_MOST_HALVINGS = 12
_CHECKED_AT = np.array([0.25, 0.5, 0.75])


def bend_all(outlines: Sequence[Outline], path: Path, *, tolerance_mm: float) -> tuple[Outline, ...]:
    """Return each outline bent along the path; many at once cost little more than one."""
    if not outlines:
        return ()
    bent = bend(concatenate(outlines), path, tolerance_mm=tolerance_mm)
    ends = np.cumsum([0] + [outline.loop_count for outline in outlines])
    return tuple(bent.selected(range(a, b)) for a, b in pairwise(ends))


def bend(outline: Outline, path: Path, *, tolerance_mm: float) -> Outline:
    """Return the image of an outline under ``(s, y) -> C(s) + y N(s)``.

    Parameters
    ----------
    outline
        Drawn in the strip's frame: x is the arc length along the path (on a closed path any whole number of rounds may
        be added), y the distance along its normal, both in mm.
    path
        The line to follow.
    tolerance_mm
        Furthest the result may lie from the exact image.

    Raises
    ------
    GeometryError
        If the outline reaches past a centre of curvature, where the image would fold.

    Notes
    -----
    Straight segments stay straight on straight pieces, and where they run across the path.
    """
    owner, start, end = _cut_at_joints(outline, path)
    piece, rounds = _piece_of(outline, path, owner, start, end)
    done: list[tuple[IntArray, FloatArray, FloatArray]] = []
    for halving in range(_MOST_HALVINGS + 1):
        parts = cubic.restrict(outline.segments[owner], start, end)
        image = _hermite(parts, path, piece, rounds)
        fine = _stray(image, parts, path, piece, rounds) <= tolerance_mm
        if halving == _MOST_HALVINGS:
            fine[:] = True
        done.append((owner[fine], start[fine], image[fine]))
        rest = ~fine
        if not rest.any():
            break
        middle = 0.5 * (start[rest] + end[rest])
        owner, piece, rounds = np.repeat(owner[rest], 2), np.repeat(piece[rest], 2), np.repeat(rounds[rest], 2)
        start, end = np.stack([start[rest], middle], axis=1).ravel(), np.stack([middle, end[rest]], axis=1).ravel()
    owner = np.concatenate([part[0] for part in done])
    start = np.concatenate([part[1] for part in done])
    order = np.lexsort((start, owner))
    segments = np.concatenate([part[2] for part in done])[order]
    owner = owner[order]
    loop_start = np.searchsorted(owner, outline.loop_start)
    return Outline(
        _closed_up(segments, loop_start),
        _still_straight(outline, path, segments, owner),
        loop_start,
        outline.is_edge[owner],
    )


def _cut_at_joints(outline: Outline, path: Path) -> tuple[IntArray, FloatArray, FloatArray]:
    """Return pieces (owning segment, from, to) of the segments, cut where they cross a joint of the path."""
    count = len(outline.segments)
    x = outline.segments[:, :, 0]
    low, high = x.min(axis=1), x.max(axis=1)
    joints = path.starts[:-1] if path.closed else path.starts[1:-1]
    if path.closed and len(path.pieces) > 1:
        length = path.length_mm
        rounds = np.arange(np.floor(low.min() / length), np.floor(high.max() / length) + 1.0)
        joints = (joints[None, :] + length * rounds[:, None]).ravel()
    elif path.closed:
        joints = joints[:0]
    cuts: list[tuple[int, float]] = []
    for joint in joints:
        for i in np.flatnonzero((low < joint - 1e-9) & (high > joint + 1e-9)):
            cuts.extend((int(i), t) for t in _crossings(x[i], float(joint)))
    owner = np.concatenate([np.arange(count), np.array([i for i, _ in cuts], dtype=np.int64)])
    start = np.concatenate([np.zeros(count), np.array([t for _, t in cuts])])
    order = np.lexsort((start, owner))
    owner, start = owner[order], start[order]
    last = np.append(owner[1:] != owner[:-1], True)
    return owner, start, np.where(last, 1.0, np.append(start[1:], 1.0))


def _crossings(x: FloatArray, at: float) -> list[float]:
    """Return the parameters inside (0, 1) at which a cubic's coordinate (4,) takes a value."""
    coefficients = [-x[0] + 3 * x[1] - 3 * x[2] + x[3], 3 * x[0] - 6 * x[1] + 3 * x[2], 3 * (x[1] - x[0]), x[0] - at]
    roots = np.roots(coefficients)
    real = np.sort(roots.real[np.abs(roots.imag) < 1e-9])
    return [float(t) for t in real if 1e-9 < t < 1.0 - 1e-9]


def _piece_of(
    outline: Outline, path: Path, owner: IntArray, start: FloatArray, end: FloatArray
) -> tuple[IntArray, FloatArray]:
    """Return the piece of the path each part lies on, and the whole rounds to take off its arc lengths."""
    middle = cubic.evaluate(outline.segments[owner], 0.5 * (start + end))[:, 0]
    wrapped = path.wrapped(middle)
    return np.asarray(path.piece_at(wrapped), dtype=np.int64), middle - wrapped


def _image(
    path: Path, piece: IntArray, rounds: FloatArray, points: FloatArray, velocity: FloatArray | None
) -> tuple[FloatArray, FloatArray | None]:
    """Return where points (n, 2) go, and what becomes of velocities there."""
    frames = path.frames_on(piece, points[:, 0] - rounds)
    y = points[:, 1:]
    shrink = 1.0 - y[:, 0] * frames.curvature
    if np.any(shrink <= 0.0):
        where = frames.point[int(np.argmin(shrink))]
        raise GeometryError(f"a shape reaches past the centre of a bend near ({where[0]:.2f}, {where[1]:.2f}) mm")
    place = frames.point + y * frames.normal
    if velocity is None:
        return place, None
    moved = (velocity[:, 0] * shrink)[:, None] * frames.direction + velocity[:, 1:] * frames.normal
    return place, moved


def _hermite(parts: FloatArray, path: Path, piece: IntArray, rounds: FloatArray) -> FloatArray:
    """Return the cubics with the exact ends and end velocities of the images."""
    first, leave = _image(path, piece, rounds, parts[:, 0], 3.0 * (parts[:, 1] - parts[:, 0]))
    last, arrive = _image(path, piece, rounds, parts[:, 3], 3.0 * (parts[:, 3] - parts[:, 2]))
    assert leave is not None
    assert arrive is not None
    return np.stack([first, first + leave / 3.0, last - arrive / 3.0, last], axis=1)


def _stray(image: FloatArray, parts: FloatArray, path: Path, piece: IntArray, rounds: FloatArray) -> FloatArray:
    """Return how far each cubic lies from the exact image at the quarter points, shape (n,)."""
    worst = np.zeros(len(parts))
    for t in _CHECKED_AT:
        exact, _ = _image(path, piece, rounds, cubic.evaluate(parts, t), None)
        off = exact - cubic.evaluate(image, t)
        worst = np.maximum(worst, np.hypot(off[:, 0], off[:, 1]))
    return worst


def _closed_up(segments: FloatArray, loop_start: IntArray) -> FloatArray:
    """Return the segments with each end put exactly onto the start that follows it."""
    following = np.arange(1, len(segments) + 1)
    following[loop_start[1:] - 1] = loop_start[:-1]
    joined = segments.copy()
    joined[:, 3] = segments[following, 0]
    return joined


def _still_straight(outline: Outline, path: Path, segments: FloatArray, owner: IntArray) -> BoolArray:
    """Return which results are lines: those that were, and whose image lies on its chord."""
    if all(isinstance(piece, Line) for piece in path.pieces):
        return outline.is_line[owner]
    chord = segments[:, 3] - segments[:, 0]
    length = np.maximum(np.hypot(chord[:, 0], chord[:, 1]), 1e-12)
    inner = segments[:, 1:3] - segments[:, :1]
    off = np.abs(inner[..., 0] * chord[:, None, 1] - inner[..., 1] * chord[:, None, 0]) / length[:, None]
    return np.asarray(outline.is_line[owner] & (off.max(axis=1) < 1e-9))
