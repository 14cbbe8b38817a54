"""Path elements in bulk: copies of shapes to the bytes of one ``<path>`` each.

Method. Every segment gets one row of 4-byte words: room for the path's opening, ``M x y``, six numbers, ``Z`` and the
path's end. A number is two words looked up in small tables (separator and whole part, then fraction), three where a
coordinate is negative or has four digits before the point. What a row does not use stays NUL, and one
``bytes.translate`` drops all NULs of a block: no loop over segments, no lengths to add up, no formatting.

Rounding. A coordinate is first settled on :data:`~friezewright.geometry.tolerance.SNAP_MM`, then rounded to a whole
number of micrometres, halves to even: noise of the last bits cannot flip a digit at a half. What has no extent once
rounded is not written: segments of one point, loops without area, copies without loops. The line that would close a
loop is left to ``Z``.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from friezewright.errors import LimitError
from friezewright.geometry import affine
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.artwork import Artwork
from friezewright.geometry.outline import BoolArray, IntArray, Outline
from friezewright.geometry.strokes import Strokes
from friezewright.geometry.tolerance import SNAP_MM

__all__ = ["UNITS_PER_MM", "number_text", "path_lines", "rounded"]

UNITS_PER_MM = 1000
"""Written coordinates are whole numbers of 0.001 mm."""

_BLOCK_SEGMENTS = 6_000
# Four digits before the point; panels end at 5 m, so this is never met by a drawing that fits one.
_LARGEST = 9_999_999

_SEPARATORS = b" MLC"
_SPACE, _MOVE, _LINE, _CURVE = range(4)
_CURVE_SEPARATORS = (_CURVE, *(_SPACE,) * 5)
_WordArray = NDArray[np.uint32]


def rounded(points_mm: FloatArray) -> IntArray:
    """Return coordinates as whole numbers of 0.001 mm, same shape.

    Raises
    ------
    LimitError
        If one has more than four digits before the point.
    """
    units = points_mm * (1.0 / SNAP_MM)
    np.rint(units, out=units)
    units *= SNAP_MM * UNITS_PER_MM
    np.rint(units, out=units)
    if units.size and max(units.max(), -units.min()) > _LARGEST:
        raise LimitError(f"a coordinate lies {np.abs(units).max() / UNITS_PER_MM:.0f} mm out; drawings end at 9999 mm")
    return units.astype(np.int32)


def number_text(value_mm: float) -> str:
    """Return one number as it stands in a file: at most three decimals, no exponent, no minus before zero.

    Examples
    --------
    >>> number_text(12.5), number_text(-0.0004), number_text(2.0)
    ('12.5', '0', '2')
    """
    units = int(rounded(np.array([value_mm]))[0])
    whole, fraction = divmod(abs(units), UNITS_PER_MM)
    text = f"{whole}.{fraction:03d}".rstrip("0").rstrip(".")
    return f"-{text}" if units < 0 else text


def path_lines(artwork: Artwork[Outline] | Artwork[Strokes]) -> Iterator[bytes]:
    """Yield blocks of ``<path d="..."/>`` lines, one line a copy, in the order of the copies.

    Outlines are written with shells and holes as they are wound, mirrored copies turned round so that shells stay
    shells. Strokes keep their direction and their open ends.

    Raises
    ------
    LimitError
        If a coordinate has more than four digits before the point.
    """
    atlas = _Atlas(artwork)
    ends = np.cumsum(atlas.count[atlas.variant_of_copy])
    start = 0
    while start < len(ends):
        done = ends[start - 1] if start else 0
        stop = max(start + 1, int(np.searchsorted(ends, done + _BLOCK_SEGMENTS, side="right")))
        yield atlas.write(start, stop)
        start = stop


class _Atlas:
    """All shapes of an artwork in one array, mirrored ones a second time the other way round."""

    def __init__(self, artwork: Artwork[Outline] | Artwork[Strokes]) -> None:
        placements = artwork.placements
        self.matrix = placements.matrix
        self.areas = any(isinstance(shape, Outline) for shape in artwork.shapes)
        mirrored = (affine.determinant(self.matrix) < 0.0) & self.areas
        variants, index = np.unique(placements.shape * 2 + mirrored, return_inverse=True)
        self.variant_of_copy = index.reshape(-1)
        segments, is_line = [np.zeros((0, 4, 2))], [np.zeros(0, bool)]
        starts, closed = [np.zeros(0, np.int64)], [np.zeros(0, bool)]
        count, total = [], 0
        for variant in variants:
            shape = artwork.shapes[variant // 2]
            if isinstance(shape, Outline):
                # Run the other way here, a loop turns the right way again once its copy is mirrored.
                shape = shape.reversed() if variant % 2 else shape
                start, ends_meet = shape.loop_start, np.ones(shape.loop_count, dtype=bool)
            else:
                start, ends_meet = shape.path_start, shape.closed
            segments.append(shape.segments)
            is_line.append(shape.is_line)
            starts.append(start[:-1] + total)
            closed.append(ends_meet)
            count.append(len(shape.segments))
            total += count[-1]
        self.count = np.array(count, dtype=np.int64)
        self.start = np.cumsum(self.count) - self.count
        self.segments, self.is_line = np.concatenate(segments), np.concatenate(is_line)
        begin = np.concatenate(starts)
        self.first = np.zeros(total, dtype=bool)
        self.first[begin] = True
        # Of the loop a segment belongs to: whether it is closed, its signed area, the length of its control polygon.
        size = np.diff(np.append(begin, total))
        self.closed = np.repeat(np.concatenate(closed), size)
        self.swept, self.hull = np.zeros(total), np.zeros(total)
        if total:
            around = self.segments - np.repeat(self.segments[begin, 0], size, axis=0)[:, None]
            area = np.add.reduceat(_twenty_areas(around, self.is_line), begin) / 20.0
            mirrored_again = np.repeat(np.where(variants % 2, -1.0, 1.0), self.count)
            self.swept = np.repeat(area, size) * mirrored_again
            legs = np.diff(self.segments, axis=1)
            self.hull = np.repeat(np.add.reduceat(np.hypot(legs[..., 0], legs[..., 1]).sum(axis=1), begin), size)

    def write(self, start: int, stop: int) -> bytes:
        """Return the lines of copies ``start`` to ``stop``."""
        variant = self.variant_of_copy[start:stop]
        count = self.count[variant]
        copy = np.repeat(np.arange(len(variant)), count)
        source = np.arange(len(copy)) + np.repeat(self.start[variant] - (np.cumsum(count) - count), count)
        points = _placed(self.matrix[start:stop], copy, self.segments[source])
        is_line, first, closed = self.is_line[source], self.first[source], self.closed[source]
        if not len(copy):
            return b""
        loop = np.cumsum(first) - 1
        begin = np.flatnonzero(first)
        last = np.append(begin[1:], len(copy)) - 1
        # A segment starts where the one before it ended, as written; a closed loop where its last one ended.
        at = np.empty((len(copy), 2), dtype=points.dtype)
        at[1:] = points[:-1, 3]
        at[begin] = np.where(closed[begin, None], points[last, 3], points[begin, 0])
        alive = (points[:, 3, 0] != at[:, 0]) | (points[:, 3, 1] != at[:, 1])
        # A curve that comes back to where it started is drawn if its handles leave it.
        still = np.flatnonzero(~alive & ~is_line)
        alive[still] = np.any(points[still, 1:3] != at[still, None], axis=(1, 2))
        swept = self.swept[source[begin]]
        slight = self._slight(self.matrix[start:stop][copy[begin]], swept, self.hull[source[begin]])
        for index in np.flatnonzero(slight & closed[begin]).tolist():
            some = slice(begin[index], last[index] + 1)
            area = _rounded_area(points[some], at[some], is_line[some])
            if self.areas:
                # Turned over by rounding is as bad as gone.
                gone = area * swept[index] <= 0.0
            else:
                # A line to follow may well enclose nothing, as an eight does; one that runs straight there and back
                # is no loop.
                gone = area == 0 and int((np.where(is_line[some], 1, 3) * alive[some]).sum()) <= 2
            if gone:
                alive[some] = False
        # The last segment left of a closed loop, where it is straight, is what Z draws.
        number = np.where(alive, np.arange(len(copy)), -1)
        closing = np.maximum.reduceat(number, begin)
        closing = closing[(closing >= 0) & closed[begin]]
        alive[closing[is_line[closing]]] = False
        if alive.all():
            return _text(points, at, is_line, closed, loop, copy)
        keep = np.flatnonzero(alive)
        return _text(points[keep], at[keep], is_line[keep], closed[keep], loop[keep], copy[keep])

    def _slight(self, matrix: FloatArray, swept: FloatArray, hull: FloatArray) -> BoolArray:
        """Return which loops are so slight that rounding may leave them without area, (k,).

        Rounding moves every control point by less than 0.0008 mm, and with it an area by no more than that times the
        length of the control polygon, before and after.
        """
        area = np.abs(swept * affine.determinant(matrix))
        return np.asarray(area <= 0.002 * (hull * affine.largest_stretch(matrix) + 0.01))


def _rounded_area(points: IntArray, at: IntArray, is_line: BoolArray) -> int:
    """Return twenty times the signed area of a loop of whole numbers, exactly."""
    p = points.astype(np.int64)
    # The first control point may differ from where the segment before ended; the latter is what is drawn.
    p[:, 0] = at
    return int(_twenty_areas(p - at[0], is_line).sum())


def _twenty_areas(p: NDArray[Any], is_line: BoolArray) -> NDArray[Any]:
    """Return twenty times what each segment adds to the area of its loop: whole numbers stay whole.

    The Bernstein form of half the integral of ``x dy - y dx`` (Green's theorem).
    """

    def cross(i: int, j: int) -> NDArray[Any]:
        return np.asarray(p[:, i, 0] * p[:, j, 1] - p[:, i, 1] * p[:, j, 0])

    around = cross(0, 3)
    curved = 6 * (cross(0, 1) + cross(2, 3)) + 3 * (cross(0, 2) + cross(1, 2) + cross(1, 3)) + around
    return np.where(is_line, 10 * around, curved)


def _placed(matrix: FloatArray, copy: IntArray, segments: FloatArray) -> IntArray:
    """Return the rounded control points (n, 4, 2) of segments under the matrix of their copy."""
    a = matrix[copy]
    x, y = segments[..., 0], segments[..., 1]
    placed = np.empty(segments.shape)
    for axis in (0, 1):
        placed[..., axis] = x * a[:, axis, 0, None] + y * a[:, axis, 1, None] + a[:, axis, 2, None]
    return rounded(placed)


def _text(
    points: IntArray, at: IntArray, is_line: BoolArray, closed: BoolArray, loop: IntArray, copy: IntArray
) -> bytes:
    """Return the lines of segments that are all to be written."""
    if not len(points):
        return b""
    wide = int(points.min()) < 0 or int(points.max()) >= 1000 * UNITS_PER_MM or int(at.min()) < 0
    wide = wide or int(at.max()) >= 1000 * UNITS_PER_MM
    width = 3 if wide else 2
    opens, ends = _word_row(b'<path d="'), _word_row(b'"/>\n')
    move, curve = len(opens), len(opens) + 2 * width
    tail = curve + 6 * width
    table = np.zeros((len(points), tail + 1 + len(ends)), dtype=np.uint32)
    starts_loop, ends_loop = _changes(loop)
    starts_copy, ends_copy = _changes(copy)
    table[starts_copy, :move] = opens
    table[starts_loop, move:curve] = _numbers(at[starts_loop], (_MOVE, _SPACE), wide)
    if not is_line.any():
        table[:, curve:tail] = _numbers(points[:, 1:].reshape(-1, 6), _CURVE_SEPARATORS, wide)
    else:
        curved, straight = np.flatnonzero(~is_line), np.flatnonzero(is_line)
        table[curved, curve:tail] = _numbers(points[curved, 1:].reshape(-1, 6), _CURVE_SEPARATORS, wide)
        table[straight, tail - 2 * width : tail] = _numbers(points[straight, 3], (_LINE, _SPACE), wide)
    table[ends_loop[closed[ends_loop]], tail] = _word_row(b"Z")
    table[ends_copy, tail + 1 :] = ends
    return table.tobytes().translate(None, b"\0")


def _changes(label: IntArray) -> tuple[IntArray, IntArray]:
    """Return the first and the last index of every run of equal labels."""
    starts = np.flatnonzero(np.diff(label, prepend=label[0] - 1))
    return starts, np.append(starts[1:], len(label)) - 1


def _word_row(text: bytes) -> _WordArray:
    return np.frombuffer(text + b"\0" * (-len(text) % 4), dtype=np.uint32)


def _numbers(units: IntArray, separators: tuple[int, ...], wide: bool) -> _WordArray:
    """Return numbers (n, k) as words (n, k * width), each after its separator."""
    if wide:
        return _wide_numbers(units, separators)
    whole = units // UNITS_PER_MM
    words = np.empty((len(units), len(separators), 2), dtype=np.uint32)
    fraction = units - whole * UNITS_PER_MM
    words[..., 0] = _whole_words().take(np.array(separators, dtype=np.int32) * 1000 + whole)
    words[..., 1] = _fraction_words().take(fraction)
    return words.reshape(len(units), words.shape[1] * words.shape[2])


def _wide_numbers(units: IntArray, separators: tuple[int, ...]) -> _WordArray:
    size = np.abs(units)
    whole = size // UNITS_PER_MM
    words = np.empty((len(units), len(separators), 3), dtype=np.uint32)
    words[..., :2] = _wide_words()[(np.asarray(separators) * 2 + (units < 0)) * 10_000 + whole]
    words[..., 2] = _fraction_words()[size - whole * UNITS_PER_MM]
    return words.reshape(len(units), words.shape[1] * words.shape[2])


def _digits(whole: IntArray, places: int) -> NDArray[np.uint8]:
    """Return decimal digits without leading zeros, NUL where there is none, (n, places)."""
    powers = 10 ** np.arange(places - 1, -1, -1)
    digits = 48 + whole[:, None] // powers % 10
    shown = (whole[:, None] >= powers) | (powers == 1)
    return np.where(shown, digits, 0).astype(np.uint8)


@cache
def _whole_words() -> _WordArray:
    """Return separator and whole part of 0 to 999, for each separator, (4000,)."""
    rows = np.zeros((4, 1000, 4), dtype=np.uint8)
    rows[:, :, 0] = np.frombuffer(_SEPARATORS, dtype=np.uint8)[:, None]
    rows[:, :, 1:] = _digits(np.arange(1000), 3)
    return rows.view(np.uint32).reshape(-1)


@cache
def _wide_words() -> _WordArray:
    """Return separator, sign and whole part of 0 to 9999, (80000, 2)."""
    rows = np.zeros((4, 2, 10_000, 8), dtype=np.uint8)
    rows[..., 0] = np.frombuffer(_SEPARATORS, dtype=np.uint8)[:, None, None]
    rows[:, 1, :, 1] = ord("-")
    rows[..., 2:6] = _digits(np.arange(10_000), 4)
    return rows.view(np.uint32).reshape(-1, 2)


@cache
def _fraction_words() -> _WordArray:
    """Return the point and up to three digits, trailing zeros left out, (1000,)."""
    value = np.arange(1000)
    rows = np.zeros((1000, 4), dtype=np.uint8)
    rows[:, 0] = np.where(value > 0, ord("."), 0)
    rows[:, 1] = np.where(value > 0, 48 + value // 100, 0)
    rows[:, 2] = np.where(value % 100 > 0, 48 + value // 10 % 10, 0)
    rows[:, 3] = np.where(value % 10 > 0, 48 + value % 10, 0)
    return rows.view(np.uint32).reshape(-1)
