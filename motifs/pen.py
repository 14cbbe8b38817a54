"""Curves, brush strokes and cuts from which the motifs are drawn.

Terms
-----
Points are complex numbers, x + iy, with y pointing down; a direction in degrees
turns from +x towards +y. A *chain* is an array of cubics, shape (n, 4), each
starting where the one before it ends. A *ring* is a closed chain. A *spine* is
an open chain walked by the fraction of its length. A *brush* stroke is the ring
round a spine, at a half width that changes along it.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable, Iterable, Sequence
from itertools import pairwise

import numpy as np
import pathops  # type: ignore[import-untyped]
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

__all__ = [
    "Chain",
    "Ink",
    "Spine",
    "along",
    "blade",
    "both",
    "brush",
    "chain_through",
    "disc",
    "heading",
    "join",
    "join_open",
    "mirrored",
    "moved",
    "ring_through",
    "sweep",
]

Chain = NDArray[np.complex128]
Knot = complex | tuple[complex, float]
Stops = Sequence[tuple[float, float]]


def heading(degrees: float) -> complex:
    """Return the unit step in a direction."""
    return cmath.exp(1j * math.radians(degrees))


def _wrapped(angle: float) -> float:
    return math.remainder(angle, math.tau)


def _speed(theta: float, phi: float) -> float:
    # Hobby's velocity function, "Smooth, easy to compute interpolating splines" (1986).
    st, sp, ct, cp = math.sin(theta), math.sin(phi), math.cos(theta), math.cos(phi)
    above = 2 + math.sqrt(2) * (st - sp / 16) * (sp - st / 16) * (ct - cp)
    below = 1 + (math.sqrt(5) - 1) / 2 * ct + (3 - math.sqrt(5)) / 2 * cp
    return above / (3 * below)


def _piece(a: complex, b: complex, theta: float, phi: float) -> list[complex]:
    chord = b - a
    first = a + cmath.exp(1j * theta) * chord * _speed(theta, phi)
    second = b - cmath.exp(-1j * phi) * chord * _speed(phi, theta)
    return [a, first, second, b]


def _open_run(points: list[complex], start: float | None, end: float | None) -> Chain:
    chords = [b - a for a, b in pairwise(points)]
    n = len(chords)
    length = [abs(c) for c in chords]
    angle = [cmath.phase(c) for c in chords]
    if n == 1 and start is None and end is None:
        start = math.degrees(angle[0])
    turn = [0.0] + [_wrapped(b - a) for a, b in pairwise(angle)] + [0.0]
    rows = np.zeros((n + 1, n + 1))
    right = np.zeros(n + 1)
    rows[0, 0] = 1.0
    if start is None:
        rows[0, 1] += 1.0
        right[0] = -turn[1]
    else:
        right[0] = _wrapped(math.radians(start) - angle[0])
    for k in range(1, n):
        before, after = 1 / length[k - 1], 1 / length[k]
        rows[k, k - 1] = before
        rows[k, k] = 2 * before + 2 * after
        rows[k, k + 1] = after
        right[k] = -2 * before * turn[k] - after * turn[k + 1]
    rows[n, n] = 1.0
    if end is None:
        rows[n, n - 1] += 1.0
    else:
        right[n] = _wrapped(math.radians(end) - angle[-1])
    theta = np.linalg.solve(rows, right)
    return np.array(
        [_piece(points[k], points[k + 1], float(theta[k]), float(-turn[k + 1] - theta[k + 1])) for k in range(n)]
    )


def chain_through(*knots: Knot) -> Chain:
    """Return the smooth open chain through the knots.

    A knot is a point, or a point and the direction in which to pass it. Hobby's
    spline: curvature is continuous, nearly, at knots without a direction.
    """
    points = [k[0] if isinstance(k, tuple) else k for k in knots]
    ways = [k[1] if isinstance(k, tuple) else None for k in knots]
    breaks = [0, *(i for i in range(1, len(knots) - 1) if ways[i] is not None), len(knots) - 1]
    runs = [_open_run(points[a : b + 1], ways[a], ways[b]) for a, b in pairwise(breaks)]
    return np.concatenate(runs)


def ring_through(*knots: Knot) -> Chain:
    """Return the smooth closed ring through the knots.

    Three knots are repeated at both ends and cut off again, so that the seam is as
    smooth as the rest.
    """
    lap = [*knots[-3:], *knots, *knots[:4]]
    chain = chain_through(*lap)
    return chain[3 : 3 + len(knots)]


def join(*chains: Chain) -> Chain:
    """Close several chains into one ring, with straight pieces over the gaps."""
    pieces = []
    for i, chain in enumerate(chains):
        pieces.append(chain)
        a, b = complex(chain[-1, 3]), complex(chains[(i + 1) % len(chains)][0, 0])
        if abs(b - a) > 1e-9:
            pieces.append(np.array([[a, a + (b - a) / 3, b - (b - a) / 3, b]]))
    return np.concatenate(pieces)


def join_open(*chains: Chain) -> Chain:
    """Chain several chains one after another, with straight pieces over the gaps."""
    ring = join(*chains)
    closing = abs(complex(chains[-1][-1, 3]) - complex(chains[0][0, 0])) > 1e-9
    return ring[:-1] if closing else ring


class Spine:
    """An open chain walked by the fraction of its length."""

    _per_piece = 64

    def __init__(self, chain: Chain) -> None:
        t = np.linspace(0, 1, self._per_piece + 1)[:, None]
        p = chain.T[:, None, :]
        u = 1 - t
        points = u**3 * p[0] + 3 * u**2 * t * p[1] + 3 * u * t**2 * p[2] + t**3 * p[3]
        flat = np.concatenate([points[:-1].T.ravel(), chain[-1:, 3]])
        run = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(flat)))])
        self.length = float(run[-1])
        keep = np.concatenate([[True], np.diff(run) > 1e-9])
        self._x = PchipInterpolator(run[keep] / self.length, flat[keep].real)
        self._y = PchipInterpolator(run[keep] / self.length, flat[keep].imag)

    def at(self, s: float) -> complex:
        """Return the point at a fraction of the length."""
        return complex(float(self._x(s)), float(self._y(s)))

    def points(self, s: NDArray[np.float64]) -> Chain:
        """Return the points at fractions of the length."""
        return np.asarray(self._x(s) + 1j * self._y(s), dtype=np.complex128)

    def normals(self, s: NDArray[np.float64]) -> Chain:
        """Return unit normals, on the right hand of the walk as seen on screen."""
        d = self._x(np.clip(s + 1e-3, 0, 1)) - self._x(np.clip(s - 1e-3, 0, 1))
        e = self._y(np.clip(s + 1e-3, 0, 1)) - self._y(np.clip(s - 1e-3, 0, 1))
        step = d + 1j * e
        return np.asarray(1j * step / np.abs(step), dtype=np.complex128)

    def way(self, s: float) -> float:
        """Return the direction of the walk in degrees."""
        return math.degrees(cmath.phase(complex(self.normals(np.array([s]))[0]) / 1j))

    def beside(self, s: float, offset: float) -> complex:
        """Return a point off the spine; positive offsets lie to the right."""
        return self.at(s) + offset * complex(self.normals(np.array([s]))[0])


def _fitted(curve: Callable[[NDArray[np.float64]], Chain], u: NDArray[np.float64]) -> Chain:
    """Return cubics through points of a curve on 0..1, with its tangents at them."""
    near = 1e-4
    low, high = np.clip(u - near, 0, 1), np.clip(u + near, 0, 1)
    slope = (curve(high) - curve(low)) / (high - low)
    at, third = curve(u), np.diff(u) / 3
    return np.stack([at[:-1], at[:-1] + slope[:-1] * third, at[1:] - slope[1:] * third, at[1:]], axis=1)


def _cap(before: Chain, after: Chain) -> Chain:
    """Return a round end that leaves one side and meets the next without a kink."""
    a, b = complex(before[-1, 3]), complex(after[0, 0])
    tip = (a + b) / 2 - 1j * (b - a) / 2
    leaving = math.degrees(cmath.phase(complex(before[-1, 3] - before[-1, 2])))
    across = math.degrees(cmath.phase(b - a))
    meeting = math.degrees(cmath.phase(complex(after[0, 1] - after[0, 0])))
    return chain_through((a, leaving), (tip, across), (b, meeting))


def _profile(stops: Stops) -> Callable[[NDArray[np.float64]], NDArray[np.float64]]:
    s, w = zip(*stops, strict=True)
    shape = PchipInterpolator(s, w)
    return lambda x: np.asarray(shape(x), dtype=np.float64)


def brush(spine: Spine, left: Stops, right: Stops | None = None, *, pieces: int = 16) -> Chain:
    """Return the ring of a stroke.

    ``left`` and ``right`` list (fraction of length, half width). Ends are round; a stroke of
    no width at both ends closes on its own two sides instead.
    """
    near, far = _profile(left), _profile(right or left)
    u = np.arange(pieces + 1) / pieces
    closing = float(near(np.zeros(1))[0] + near(np.ones(1))[0]) < 1e-6
    # Stations crowd towards the ends, where the width changes fastest. All the way for
    # a stroke that closes there: its width may grow like a square root, which a cubic
    # follows only when walked by the angle.
    crowd = 1.0 if closing else 0.6

    def station(x: NDArray[np.float64]) -> NDArray[np.float64]:
        return (1 - crowd) * x + crowd * (1 - np.cos(np.pi * x)) / 2

    def left_side(x: NDArray[np.float64]) -> Chain:
        s = station(x)
        return spine.points(s) - spine.normals(s) * near(s)

    def right_side(x: NDArray[np.float64]) -> Chain:
        s = station(x)
        return spine.points(s) + spine.normals(s) * far(s)

    go, back = _fitted(left_side, u), _fitted(right_side, u)[::-1, ::-1]
    if closing:
        return np.concatenate([go, back])
    return np.concatenate([go, _cap(go, back), back, _cap(back, go)])


def blade(
    spine: Spine,
    left: float,
    right: float | None = None,
    *,
    belly: float = 0.45,
    tip: float = 8.0,
    fullness: float = 1.0,
    pieces: int = 16,
) -> Chain:
    """Return a leaf-shaped ring: widest at ``belly``, ends rounded to radius ``tip``.

    The half width goes as s^p (1 - s)^q, so ``fullness`` under 1 gives blunt ends and
    over 1 drawn-out ones; a tip of 0 with ``fullness`` 0.5 is round.
    """
    s = (1 - np.cos(np.linspace(0, np.pi, 65))) / 2
    if belly < 0.5:
        p, q = fullness, fullness * (1 - belly) / belly
    else:
        p, q = fullness * belly / (1 - belly), fullness
    lens = s**p * (1 - s) ** q / (belly**p * (1 - belly) ** q)
    sides = []
    for width in (left, left if right is None else right):
        w = tip + (width - tip) * lens
        sides.append(list(zip(s.tolist(), w.tolist(), strict=True)))
    return brush(spine, sides[0], sides[1], pieces=pieces)


def sweep(start: complex, way: float, length: float, bend: float = 0.0) -> Spine:
    """Return a spine that leaves in a direction and turns by ``bend`` degrees on its run."""
    end = start + length * heading(way + bend / 2)
    return Spine(chain_through((start, way), (end, way + bend)))


def along(spine: Spine, start: float, end: float, offset: float = 0.0) -> Spine:
    """Return the part of a spine between two fractions, moved sideways."""

    def part(u: NDArray[np.float64]) -> Chain:
        s = start + (end - start) * u
        return spine.points(s) + offset * spine.normals(s)

    return Spine(_fitted(part, np.linspace(0, 1, 25)))


def disc(centre: complex, radius: float, squash: float = 1.0, tilt: float = 0.0) -> Chain:
    """Return an ellipse ring of four cubics; ``tilt`` turns its long axis."""
    k = 0.5522847498
    corners = [1, 1j, -1, -1j]
    pieces = []
    for a, b in zip(corners, [*corners[1:], corners[0]], strict=True):
        pieces.append([a, a + k * b, b + k * a, b])
    unit = np.array(pieces)
    return centre + radius * (unit.real + 1j * squash * unit.imag) * heading(tilt)


def mirrored(ring: Chain, x: float = 0.0) -> Chain:
    """Return the ring reflected in the vertical line at x, walked the same way round."""
    flipped = 2 * x - ring.conj()
    return np.asarray(flipped[::-1, ::-1])


def both(*rings: Chain) -> list[Chain]:
    """Return the rings and their reflections in the vertical line at 0."""
    return [*rings, *(mirrored(ring) for ring in rings)]


def moved(ring: Chain, *, by: complex = 0, turn: float = 0.0, size: float = 1.0, about: complex = 0) -> Chain:
    """Return the ring turned and sized about a point, then moved."""
    return np.asarray((ring - about) * size * heading(turn) + about + by)


def _path(rings: Iterable[Chain]) -> pathops.Path:
    path = pathops.Path(fillType=pathops.FillType.WINDING)
    for ring in rings:
        path.moveTo(float(ring[0, 0].real), float(ring[0, 0].imag))
        for _, b, c, d in ring:
            path.cubicTo(float(b.real), float(b.imag), float(c.real), float(c.imag), float(d.real), float(d.imag))
        path.close()
    return path


class Ink:
    """A shape built the way a block is: ink added, lines cut away, in order."""

    def __init__(self) -> None:
        self.path = pathops.Path()

    def add(self, *rings: Chain) -> Ink:
        """Add rings; where they overlap they are one."""
        for ring in rings:
            self.path = pathops.op(self.path, _path([ring]), pathops.PathOp.UNION)
        return self

    def cut(self, *rings: Chain) -> Ink:
        """Cut rings away."""
        for ring in rings:
            self.path = pathops.op(self.path, _path([ring]), pathops.PathOp.DIFFERENCE)
        return self

    def merge(self, other: Ink) -> Ink:
        """Add another inked shape, its cuts left open only where nothing lies beneath."""
        self.path = pathops.op(self.path, other.path, pathops.PathOp.UNION)
        return self

    def take(self, other: Ink) -> Ink:
        """Cut another inked shape away."""
        self.path = pathops.op(self.path, other.path, pathops.PathOp.DIFFERENCE)
        return self

    def keep(self, other: Ink) -> Ink:
        """Keep only what lies inside another inked shape."""
        self.path = pathops.op(self.path, other.path, pathops.PathOp.INTERSECTION)
        return self

    def placed(self, *, turn: float = 0.0, by: complex = 0) -> Ink:
        """Return a copy turned about the origin, then moved."""
        out = Ink()
        z = heading(turn)
        out.path = self.path.transform(z.real, z.imag, -z.imag, z.real, by.real, by.imag)
        return out

    def halo(self, other: Ink, width: float) -> Ink:
        """Cut a clear line round another shape, and that shape itself, away."""
        grown = pathops.Path(other.path)
        grown.stroke(2 * width, pathops.LineCap.ROUND_CAP, pathops.LineJoin.ROUND_JOIN, 4)
        grown.convertConicsToQuads(1e-3)
        grown = pathops.op(grown, other.path, pathops.PathOp.UNION)
        self.path = pathops.op(self.path, grown, pathops.PathOp.DIFFERENCE)
        return self

    def rings(self) -> list[Chain]:
        """Return the outline as rings of cubics; straight pieces have even handles.

        Shells and holes are wound opposite ways, so that both fill rules draw alike.
        """
        self.path.simplify(fix_winding=True)
        rings: list[Chain] = []
        pieces: list[list[complex]] = []
        here = first = 0j
        for verb, raw in self.path.segments:
            points = [complex(x, y) for x, y in raw]
            if verb == "moveTo":
                here = first = points[0]
                pieces = []
            elif verb == "lineTo":
                end = points[0]
                pieces.append([here, here + (end - here) / 3, end - (end - here) / 3, end])
                here = end
            elif verb == "curveTo":
                pieces.append([here, *points])
                here = points[-1]
            elif verb == "qCurveTo":
                for middle, end in pathops.decompose_quadratic_segment(raw):
                    m, e = complex(*middle), complex(*end)
                    pieces.append([here, here + (m - here) * 2 / 3, e + (m - e) * 2 / 3, e])
                    here = e
            elif verb in ("closePath", "endPath"):
                if abs(here - first) > 1e-6:
                    end = first
                    pieces.append([here, here + (end - here) / 3, end - (end - here) / 3, end])
                if pieces:
                    rings.append(np.array(pieces))
        return rings
