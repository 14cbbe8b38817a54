"""Smooth paths for ornament to follow: straight pieces, exact arcs and offset curves, all by their arc length.

Terms. A *frame* is a point of the path, its unit direction ``t`` and its curvature. The *normal* ``n = (-t_y, t_x)``
points to the right of the direction on screen: into the area of a loop wound as a shell. Curvature is positive where
the path turns towards its normal, so that what lies at distance ``y`` along the normal is drawn together by
``1 - y k``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from friezewright.geometry import cubic
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import frozen

__all__ = ["Arc", "Curve", "Frames", "Line", "Path", "Piece", "normal_of", "placed_at"]

# Samples a cubic for the table of arc length; between them a cubic in s is drawn, so the error falls with the fourth
# power: a 60 mm segment of an ellipse is met within 1e-7 mm (measured; see the test).
_SAMPLES = 64


def normal_of(direction: FloatArray) -> FloatArray:
    """Return directions (..., 2) turned a quarter from +x towards +y."""
    return np.stack([-direction[..., 1], direction[..., 0]], axis=-1)


@dataclass(frozen=True, slots=True, eq=False)
class Frames:
    """Points (n, 2), unit directions (n, 2) and curvatures (n,) of a path."""

    point: FloatArray
    direction: FloatArray
    curvature: FloatArray

    @property
    def normal(self) -> FloatArray:
        """Unit normals, shape (n, 2)."""
        return normal_of(self.direction)


def placed_at(frames: Frames) -> FloatArray:
    """Return the maps (n, 2, 3) that carry the x axis onto each frame's direction and y onto its normal."""
    t, p = frames.direction, frames.point
    maps = np.empty((len(p), 2, 3))
    maps[:, 0, 0], maps[:, 0, 1], maps[:, 0, 2] = t[:, 0], -t[:, 1], p[:, 0]
    maps[:, 1, 0], maps[:, 1, 1], maps[:, 1, 2] = t[:, 1], t[:, 0], p[:, 1]
    return maps


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """A straight piece from one point to another."""

    start: FloatArray
    end: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "start", frozen(self.start))
        object.__setattr__(self, "end", frozen(self.end))

    @property
    def length_mm(self) -> float:
        """Length."""
        return math.hypot(*(self.end - self.start))

    @property
    def direction(self) -> FloatArray:
        """Unit direction, shape (2,)."""
        return np.asarray((self.end - self.start) / self.length_mm)

    def frames(self, s: FloatArray) -> Frames:
        """Return the frames at arc lengths ``s`` (n,), also beyond the ends."""
        direction = self.direction
        return Frames(
            self.start + s[:, None] * direction, np.broadcast_to(direction, (len(s), 2)).copy(), np.zeros(len(s))
        )

    def shifted(self, distance_mm: float) -> Line:
        """Return the parallel at a distance along the normal."""
        move = distance_mm * normal_of(self.direction)
        return Line(self.start + move, self.end + move)

    def backwards(self) -> Line:
        """Return the piece run the other way."""
        return Line(self.end, self.start)

    def cubics(self) -> FloatArray:
        """Return the piece as cubics (1, 4, 2)."""
        return cubic.line(self.start, self.end)[None]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Arc:
    """An exact arc of a circle; a positive sweep runs from +x towards +y, clockwise on screen."""

    centre: FloatArray
    radius_mm: float
    start_rad: float
    sweep_rad: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "centre", frozen(self.centre))

    @property
    def length_mm(self) -> float:
        """Length."""
        return self.radius_mm * abs(self.sweep_rad)

    @property
    def start(self) -> FloatArray:
        """First point, shape (2,)."""
        return np.asarray(self.frames(np.array([0.0])).point[0])

    @property
    def end(self) -> FloatArray:
        """Last point, shape (2,)."""
        return np.asarray(self.frames(np.array([self.length_mm])).point[0])

    def frames(self, s: FloatArray) -> Frames:
        """Return the frames at arc lengths ``s`` (n,), also beyond the ends."""
        sense = math.copysign(1.0, self.sweep_rad)
        angle = self.start_rad + sense * s / self.radius_mm
        spoke = np.stack([np.cos(angle), np.sin(angle)], axis=1)
        return Frames(
            self.centre + self.radius_mm * spoke, sense * normal_of(spoke), np.full(len(s), sense / self.radius_mm)
        )

    def shifted(self, distance_mm: float) -> Arc | None:
        """Return the arc at a distance along the normal; None where no arc is left."""
        radius = self.radius_mm - math.copysign(1.0, self.sweep_rad) * distance_mm
        if radius <= 1e-9:
            return None
        return Arc(centre=self.centre, radius_mm=radius, start_rad=self.start_rad, sweep_rad=self.sweep_rad)

    def backwards(self) -> Arc:
        """Return the piece run the other way."""
        return Arc(
            centre=self.centre,
            radius_mm=self.radius_mm,
            start_rad=self.start_rad + self.sweep_rad,
            sweep_rad=-self.sweep_rad,
        )

    def cubics(self) -> FloatArray:
        """Return the piece as cubics, at most a twelfth of a circle each: within 4e-7 of the radius."""
        count = max(1, math.ceil(abs(self.sweep_rad) / (math.pi / 6.0) - 1e-9))
        frames = self.frames(np.linspace(0.0, self.length_mm, count + 1))
        handle = 4.0 / 3.0 * math.tan(abs(self.sweep_rad) / count / 4.0) * self.radius_mm
        p, t = frames.point, handle * frames.direction
        return np.stack([p[:-1], p[:-1] + t[:-1], p[1:] - t[1:], p[1:]], axis=1)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Curve:
    """A chain of smooth cubics (k, 4, 2), followed at a distance along its normal."""

    segments: FloatArray
    distance_mm: float = 0.0
    _table: tuple[FloatArray, FloatArray, FloatArray] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "segments", frozen(self.segments))
        count = len(self.segments)
        u = np.linspace(0.0, count, count * _SAMPLES + 1)
        speed = self._speed(u)
        middle = self._speed(0.5 * (u[1:] + u[:-1]))
        # Simpson's rule over each step; the same nodes carry ds/du for the inverse.
        step = (speed[:-1] + 4.0 * middle + speed[1:]) / (6.0 * _SAMPLES)
        object.__setattr__(self, "_table", (np.concatenate([[0.0], np.cumsum(step)]), u, speed))

    def _parts(self, u: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Return base points, unit directions, base speeds and base curvatures at chain parameters."""
        index = np.minimum(u.astype(np.int64), len(self.segments) - 1)
        index = np.maximum(index, 0)
        chosen, t = self.segments[index], u - index
        first, second = cubic.derivative(chosen, t), cubic.second_derivative(chosen, t)
        speed = np.maximum(np.hypot(first[..., 0], first[..., 1]), 1e-12)
        cross = first[..., 0] * second[..., 1] - first[..., 1] * second[..., 0]
        return cubic.evaluate(chosen, t), first / speed[..., None], speed, cross / speed**3

    def _speed(self, u: FloatArray) -> FloatArray:
        _, _, speed, curvature = self._parts(u)
        return np.asarray(speed * (1.0 - self.distance_mm * curvature))

    @property
    def length_mm(self) -> float:
        """Length of the curve at its distance."""
        return float(self._table[0][-1])

    @property
    def start(self) -> FloatArray:
        """First point, shape (2,)."""
        return np.asarray(self.frames(np.array([0.0])).point[0])

    @property
    def end(self) -> FloatArray:
        """Last point, shape (2,)."""
        return np.asarray(self.frames(np.array([self.length_mm])).point[0])

    @property
    def folds(self) -> bool:
        """Whether the distance exceeds a radius of curvature somewhere, so that the offset turns back on itself."""
        return bool(np.any(self._table[2] <= 0.0))

    def frames(self, s: FloatArray) -> Frames:
        """Return the frames at arc lengths ``s`` (n,) from 0 to the length."""
        along, u, speed = self._table
        i = np.clip(np.searchsorted(along, s, side="right") - 1, 0, len(along) - 2)
        width = along[i + 1] - along[i]
        x = (s - along[i]) / width
        # Cubic Hermite in s with the known slopes du/ds = 1/speed.
        a, b = width / speed[i], width / speed[i + 1]
        rise = u[i + 1] - u[i]
        at = u[i] + x * (a + x * (3.0 * rise - 2.0 * a - b + x * (a + b - 2.0 * rise)))
        point, direction, _, curvature = self._parts(at)
        return Frames(
            point + self.distance_mm * normal_of(direction),
            direction,
            np.asarray(curvature / (1.0 - self.distance_mm * curvature)),
        )

    def shifted(self, distance_mm: float) -> Curve | None:
        """Return the curve at a further distance along the normal; None where it would fold."""
        moved = Curve(segments=self.segments, distance_mm=self.distance_mm + distance_mm)
        return None if moved.folds else moved

    def backwards(self) -> Curve:
        """Return the piece run the other way."""
        return Curve(segments=self.segments[::-1, ::-1], distance_mm=-self.distance_mm)

    def cubics(self) -> FloatArray:
        """Return the piece as cubics: the chain itself, or four Hermite cubics to each of its segments."""
        if self.distance_mm == 0.0:
            return self.segments
        along, _, speed = self._table
        keep = np.arange(0, len(along), _SAMPLES // 4)
        frames = self.frames(along[keep])
        tangent = frames.direction * (speed[keep] / 12.0)[:, None]
        p = frames.point
        # Where two segments meet with different speeds, each side needs its own.
        before = frames.direction * (self._speed(np.nextafter(keep / _SAMPLES, -1.0).clip(0.0)) / 12.0)[:, None]
        return np.stack([p[:-1], p[:-1] + tangent[:-1], p[1:] - before[1:], p[1:]], axis=1)


Piece: TypeAlias = Line | Arc | Curve


@dataclass(frozen=True, slots=True, eq=False)
class Path:
    """Pieces one behind the other, each going on in the direction of the one before it."""

    pieces: tuple[Piece, ...]
    closed: bool = False
    starts: FloatArray = field(init=False, repr=False)

    def __post_init__(self) -> None:
        if not self.pieces:
            raise ValueError("a path needs at least one piece")
        lengths = [piece.length_mm for piece in self.pieces]
        object.__setattr__(self, "starts", frozen(np.concatenate([[0.0], np.cumsum(lengths)])))

    @property
    def length_mm(self) -> float:
        """Length of all pieces."""
        return float(self.starts[-1])

    def piece_at(self, s: ArrayLike) -> np.ndarray:
        """Return the index of the piece at each arc length; a joint belongs to the piece after it."""
        return np.clip(np.searchsorted(self.starts, s, side="right") - 1, 0, len(self.pieces) - 1)

    def wrapped(self, s: FloatArray) -> FloatArray:
        """Return arc lengths taken into 0..length on a closed path, unchanged on an open one."""
        return np.mod(s, self.length_mm) if self.closed else s

    def frames(self, s: ArrayLike) -> Frames:
        """Return the frames at arc lengths (n,); an open path goes on straight (or round) beyond its ends."""
        at = self.wrapped(np.asarray(s, dtype=np.float64))
        return self.frames_on(self.piece_at(at), at)

    def frames_on(self, piece: np.ndarray, s: FloatArray) -> Frames:
        """Return the frames at arc lengths, each by the named piece even where another begins there."""
        point, direction, curvature = np.zeros((len(s), 2)), np.zeros((len(s), 2)), np.zeros(len(s))
        for index in np.unique(piece):
            here = piece == index
            part = self.pieces[index].frames(s[here] - self.starts[index])
            point[here], direction[here], curvature[here] = part.point, part.direction, part.curvature
        return Frames(point, direction, curvature)

    def straight_over(self, low: FloatArray, high: FloatArray) -> np.ndarray:
        """Return whether each stretch from ``low`` to ``high`` (n,) lies on one straight piece."""
        first, width = self.wrapped(np.asarray(low, dtype=np.float64)), np.asarray(high) - np.asarray(low)
        index = self.piece_at(first + 1e-9)
        straight = np.array([isinstance(piece, Line) for piece in self.pieces])[index]
        ends = self.starts[index + 1].copy()
        if not self.closed:
            ends[index == len(self.pieces) - 1] = np.inf
        return np.asarray(straight & (first + width <= ends + 1e-9))

    def bends_mm(self) -> tuple[float, ...]:
        """Return the tightest radius of the bends each way: positive towards the normal, negative away from it."""
        curvatures = np.concatenate([np.zeros(1), *(_curvatures(piece) for piece in self.pieces)])
        return tuple(1.0 / float(k) for k in (curvatures.max(), curvatures.min()) if abs(k) > 1e-9)

    def turns(self) -> int:
        """Return by how many equal turns a closed path is carried onto itself; a circle counts 1, as any would do."""
        kinds = [_kind(piece) for piece in self.pieces]
        count = len(kinds)
        if not self.closed or count < 2:
            return _curve_turns(self)
        for turns in range(count, 1, -1):
            if count % turns == 0 and kinds == kinds[count // turns :] + kinds[: count // turns]:
                return turns
        return 1


def _curvatures(piece: Piece) -> FloatArray:
    if isinstance(piece, Line):
        return np.zeros(1)
    count = 2 if isinstance(piece, Arc) else 64 * len(piece.segments)
    return piece.frames(np.linspace(0.0, piece.length_mm, count)).curvature


def _kind(piece: Piece) -> tuple[object, ...]:
    if isinstance(piece, Line):
        return ("line", round(piece.length_mm, 5))
    if isinstance(piece, Arc):
        return ("arc", round(piece.radius_mm, 5), round(piece.sweep_rad, 6))
    return ("curve", id(piece))


def _curve_turns(path: Path) -> int:
    if not path.closed or isinstance(path.pieces[0], Arc):
        return 1
    # A half turn sends each point to the one half way round, so their sum stays the same.
    s = path.length_mm * np.arange(48) / 48.0
    here, there = path.frames(s).point, path.frames(s + 0.5 * path.length_mm).point
    return 2 if float(np.ptp(here + there, axis=0).max()) < 1e-2 else 1
