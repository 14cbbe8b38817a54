"""Loops as exact pieces: reading lines, arcs and curves from an outline, and moving a whole loop in or out.

A loop is wound as a shell, so the normals of its pieces point into it: a positive distance moves inwards, a negative
one outwards. Straight sides stay straight and meet in sharp corners, arcs stay arcs of another radius.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from friezewright.geometry import cubic
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import Outline
from friezewright.ornament.path import Arc, Curve, Line, Piece, normal_of

__all__ = ["SMOOTH_RAD", "angle_between", "direction_of", "meeting", "moved", "outline_from", "pieces_of"]

# A cubic within this of a circle is that circle: a rounding of 6 mm drawn as a single cubic strays by 0.0017 mm.
_ARC_FIT_MM = 0.002
# Directions nearer than this go on smoothly: drawing programs write three decimals, half a degree on a 0.1 mm piece.
SMOOTH_RAD = math.radians(0.5)
# A chain of arcs is taken as exact only if they join this smoothly; else an offset would tear at the joints.
_JOINT_RAD = 2e-4
# Arcs shorter than this in a chain are more likely pieces of some other curve.
_LEAST_ARC_RAD = math.radians(15.0)
_COINCIDENT_RAD = 1e-6


def pieces_of(loop: Outline) -> tuple[Piece, ...]:
    """Return the first loop of an outline as lines, arcs and curves, wound as a shell.

    Neighbouring segments of one line or one circle become one piece. The pieces start behind the first corner.
    """
    one = loop.selected([0])
    if one.area_mm2() < 0.0:
        one = one.reversed()
    extent = np.hypot(*np.ptp(one.segments, axis=1).T)
    keep = extent > 1e-7
    segments, is_line = one.segments[keep], one.is_line[keep]
    straight = is_line | _is_straight(segments)
    items = [_item(segment, flat=bool(flat)) for segment, flat in zip(segments, straight, strict=True)]
    return tuple(_chains(_from_a_break(_merged(items))))


@dataclass(frozen=True, slots=True, eq=False)
class _Item:
    """A piece and the segments it was read from."""

    piece: Piece
    segments: FloatArray


def _item(segment: FloatArray, *, flat: bool) -> _Item:
    if flat:
        return _Item(Line(segment[0], segment[3]), segment[None])
    return _Item(_arc_of(segment) or Curve(segments=segment[None]), segment[None])


def _is_straight(segments: FloatArray) -> np.ndarray:
    chord = segments[:, 3] - segments[:, 0]
    length = np.maximum(np.hypot(chord[:, 0], chord[:, 1]), 1e-12)
    inner = segments[:, 1:3] - segments[:, :1]
    off = np.abs(inner[..., 0] * chord[:, None, 1] - inner[..., 1] * chord[:, None, 0]) / length[:, None]
    return np.asarray(off.max(axis=1) < 1e-5)


def _arc_of(segment: FloatArray) -> Arc | None:
    """Return the circle arc a cubic (4, 2) draws, or None."""
    t = np.linspace(0.0, 1.0, 9)
    points = cubic.evaluate(segment[None], t)
    a, b, c = points[0], points[4], points[8]
    u, v = b - a, c - a
    det = 2.0 * (u[0] * v[1] - u[1] * v[0])
    if abs(det) < 1e-9:
        return None
    uu, vv = u[0] * u[0] + u[1] * u[1], v[0] * v[0] + v[1] * v[1]
    centre = a + np.array([(v[1] * uu - u[1] * vv) / det, (u[0] * vv - v[0] * uu) / det])
    spokes = points - centre
    radii = np.hypot(spokes[:, 0], spokes[:, 1])
    radius = float(radii[4])
    if np.max(np.abs(radii - radius)) > _ARC_FIT_MM:
        return None
    angles = np.unwrap(np.arctan2(spokes[:, 1], spokes[:, 0]))
    sweep = float(angles[-1] - angles[0])
    # The curve itself must run along the circle, not only pass through its points at an angle.
    ends = cubic.derivative(segment[None], np.array([0.0, 1.0]))
    along = math.copysign(1.0, sweep) * normal_of(spokes[[0, 8]])
    lean = np.abs(ends[:, 0] * along[:, 1] - ends[:, 1] * along[:, 0])
    size = np.hypot(ends[:, 0], ends[:, 1]) * radius
    if np.any(size < 1e-12) or np.any(lean / size > 0.01):
        return None
    return Arc(centre=centre, radius_mm=radius, start_rad=float(angles[0]), sweep_rad=sweep)


def direction_of(piece: Piece, *, at_end: bool) -> FloatArray:
    """Return the unit direction at one end of a piece, shape (2,)."""
    if isinstance(piece, Line):
        return piece.direction
    s = np.array([piece.length_mm if at_end else 0.0])
    return np.asarray(piece.frames(s).direction[0])


def angle_between(before: Piece, after: Piece) -> float:
    """Return by what angle the direction turns from one piece to the next, in radians."""
    a, b = direction_of(before, at_end=True), direction_of(after, at_end=False)
    return math.atan2(float(a[0] * b[1] - a[1] * b[0]), float(a[0] * b[0] + a[1] * b[1]))


def _joined(before: Piece, after: Piece) -> Piece | None:
    """Return both as one piece if they lie on one line or one circle, else None."""
    if isinstance(before, Line) and isinstance(after, Line):
        return Line(before.start, after.end) if abs(angle_between(before, after)) < _COINCIDENT_RAD else None
    if isinstance(before, Arc) and isinstance(after, Arc) and before.sweep_rad * after.sweep_rad > 0.0:
        apart = math.hypot(*(before.centre - after.centre))
        if apart > _ARC_FIT_MM or abs(before.radius_mm - after.radius_mm) > _ARC_FIT_MM:
            return None
        sweep = before.sweep_rad + after.sweep_rad
        if abs(sweep) > 2.0 * math.pi + 1e-3:
            return None
        share = before.sweep_rad / sweep
        return Arc(
            centre=share * before.centre + (1.0 - share) * after.centre,
            radius_mm=share * before.radius_mm + (1.0 - share) * after.radius_mm,
            start_rad=before.start_rad,
            sweep_rad=sweep,
        )
    return None


def _merged(items: Sequence[_Item]) -> list[_Item]:
    """Return the closed chain of pieces with neighbours on one line or circle made one."""
    result: list[_Item] = []
    for item in items:
        if not (result and _absorbed(result, item)):
            result.append(item)
    if len(result) > 1:
        last = result.pop()
        trial = [last]
        if _absorbed(trial, result[0]):
            result = [*result[1:], trial[0]]
        else:
            result.append(last)
    if len(result) == 1 and isinstance(result[0].piece, Arc):
        arc = result[0].piece
        whole = math.copysign(2.0 * math.pi, arc.sweep_rad)
        round_ = Arc(centre=arc.centre, radius_mm=arc.radius_mm, start_rad=-0.5 * math.pi, sweep_rad=whole)
        result = [_Item(round_, result[0].segments)]
    return result


def _absorbed(items: list[_Item], following: _Item) -> bool:
    """Join a piece to the last of the list, if both lie on one line or circle."""
    both = _joined(items[-1].piece, following.piece)
    if both is None:
        return False
    items[-1] = _Item(both, np.concatenate([items[-1].segments, following.segments]))
    return True


def _from_a_break(items: list[_Item]) -> list[_Item]:
    """Return the closed chain turned so that it starts with a line, or behind a corner."""
    for i, item in enumerate(items):
        if isinstance(item.piece, Line) or abs(angle_between(items[i - 1].piece, item.piece)) > SMOOTH_RAD:
            return items[i:] + items[:i]
    return items


def _chains(items: list[_Item]) -> list[Piece]:
    """Return the pieces, with chains of arcs and curves that are no true arcs made into one curve each."""
    result: list[Piece] = []
    chain: list[_Item] = []

    def close_chain() -> None:
        pieces = [item.piece for item in chain]
        if _is_exact(pieces):
            result.extend(pieces)
        else:
            result.append(Curve(segments=np.concatenate([item.segments for item in chain])))
        chain.clear()

    for item in items:
        broken = chain and abs(angle_between(chain[-1].piece, item.piece)) > SMOOTH_RAD
        if chain and (broken or isinstance(item.piece, Line)):
            close_chain()
        if isinstance(item.piece, Line):
            result.append(item.piece)
        else:
            chain.append(item)
    if chain:
        close_chain()
    return result


def _is_exact(pieces: Sequence[Piece]) -> bool:
    """Whether a smooth chain is made of true arcs."""
    if not all(isinstance(piece, Arc) for piece in pieces):
        return False
    return len(pieces) == 1 or (
        all(isinstance(piece, Arc) and abs(piece.sweep_rad) >= _LEAST_ARC_RAD for piece in pieces)
        and all(abs(angle_between(a, b)) < _JOINT_RAD for a, b in pairwise(pieces))
    )


def moved(pieces: Sequence[Piece], distance_mm: float) -> tuple[tuple[int, Piece], ...] | None:
    """Return a closed chain of pieces moved along its normals, straight sides mitred.

    Parameters
    ----------
    pieces
        A closed chain, each piece starting where the one before it ended.
    distance_mm
        Positive towards the normals: into a loop wound as a shell.

    Returns
    -------
    tuple of (index, piece), or None
        The pieces that are left, each with its index in ``pieces``: roundings smaller than the distance vanish, and
        so do sides shorter than what their neighbours take. None if nothing is left that closes.
    """
    if len(pieces) == 1:
        only = pieces[0].shifted(distance_mm)
        return None if only is None else ((0, only),)
    count = len(pieces)
    smooth = [abs(angle_between(pieces[i], pieces[(i + 1) % count])) < SMOOTH_RAD for i in range(count)]
    kept = [(i, shifted) for i, piece in enumerate(pieces) if (shifted := piece.shifted(distance_mm)) is not None]
    # Every round drops at least one piece, so there are at most as many rounds as pieces.
    for _ in range(count):
        if len(kept) < 2 or (len(kept) == 2 and all(isinstance(piece, Line) for _, piece in kept)):
            return None
        meets: list[FloatArray | None] = []
        for k, (i, piece) in enumerate(kept):
            j, after = kept[(k + 1) % len(kept)]
            if smooth[i] and j == (i + 1) % count:
                meets.append(piece.end)
            else:
                meets.append(meeting(piece, after))
        apart = {k for k, meet in enumerate(meets) if meet is None}
        if apart:
            # Neighbours that run opposite ways no longer meet: what lay between them has closed up, and so have they.
            gone = apart | {(k + 1) % len(kept) for k in apart}
            kept = [item for k, item in enumerate(kept) if k not in gone]
            continue
        trimmed: list[tuple[int, Piece]] = []
        reach: list[float] = []
        for k, (i, piece) in enumerate(kept):
            first, last = meets[k - 1], meets[k]
            assert first is not None
            assert last is not None
            part, forward = _between(piece, first, last)
            trimmed.append((i, part))
            reach.append(forward)
        worst = min(range(len(reach)), key=lambda k: reach[k])
        if reach[worst] > 1e-7:
            return tuple(trimmed)
        kept = [item for k, item in enumerate(kept) if k != worst]
    return None


def meeting(before: Piece, after: Piece) -> FloatArray | None:
    """Return where the carriers of two pieces meet, nearest to where the pieces themselves would."""
    if isinstance(before, Line) and isinstance(after, Line):
        u, v, apart = before.direction, after.direction, after.start - before.start
        cross = u[0] * v[1] - u[1] * v[0]
        if abs(cross) < 1e-9:
            aside = abs(apart[0] * u[1] - apart[1] * u[0])
            return 0.5 * (before.end + after.start) if aside < 1e-6 and u[0] * v[0] + u[1] * v[1] > 0.0 else None
        along = (apart[0] * v[1] - apart[1] * v[0]) / cross
        return np.asarray(before.start + along * u)
    near = 0.5 * (before.end + after.start)
    if isinstance(before, Arc) and isinstance(after, Line):
        found = _line_meets_circle(after, before)
    elif isinstance(before, Line) and isinstance(after, Arc):
        found = _line_meets_circle(before, after)
    elif isinstance(before, Arc) and isinstance(after, Arc):
        found = _circles_meet(before, after)
    else:
        found = [near] if math.hypot(*(before.end - after.start)) < 1e-6 else []
    return min(found, key=lambda p: math.hypot(*(p - near)), default=None)


def _line_meets_circle(line: Line, arc: Arc) -> list[FloatArray]:
    u, from_centre = line.direction, line.start - arc.centre
    along = -(u[0] * from_centre[0] + u[1] * from_centre[1])
    foot = from_centre + along * u
    rest = arc.radius_mm**2 - float(foot[0] ** 2 + foot[1] ** 2)
    if rest < -1e-6:
        return []
    half = math.sqrt(max(rest, 0.0))
    return [line.start + (along + sign * half) * u for sign in (-1.0, 1.0)]


def _circles_meet(a: Arc, b: Arc) -> list[FloatArray]:
    apart = b.centre - a.centre
    d = math.hypot(*apart)
    if d < 1e-9:
        return []
    along = (d * d + a.radius_mm**2 - b.radius_mm**2) / (2.0 * d)
    rest = a.radius_mm**2 - along * along
    if rest < -1e-6:
        return []
    u = apart / d
    half = math.sqrt(max(rest, 0.0)) * normal_of(u)
    return [a.centre + along * u + sign * half for sign in (-1.0, 1.0)]


def _between(piece: Piece, first: FloatArray, last: FloatArray) -> tuple[Piece, float]:
    """Return the piece from one point of its carrier to another, and how far forward that runs in mm."""
    if isinstance(piece, Line):
        u, step = piece.direction, last - first
        forward = float(step[0] * u[0] + step[1] * u[1])
        return (Line(first, last) if forward > 1e-7 else piece), forward
    if isinstance(piece, Arc):
        sense = math.copysign(1.0, piece.sweep_rad)
        shift = [
            _wrapped_angle(math.atan2(p[1] - piece.centre[1], p[0] - piece.centre[0]) - angle)
            for p, angle in ((first, piece.start_rad), (last, piece.start_rad + piece.sweep_rad))
        ]
        # Untouched ends keep their angles to the last bit.
        shift = [0.0 if abs(s) * piece.radius_mm < 1e-9 else s for s in shift]
        sweep = piece.sweep_rad + shift[1] - shift[0]
        forward = sense * sweep * piece.radius_mm
        if forward <= 1e-7:
            return piece, forward
        return (
            Arc(centre=piece.centre, radius_mm=piece.radius_mm, start_rad=piece.start_rad + shift[0], sweep_rad=sweep),
            forward,
        )
    return piece, piece.length_mm


def _wrapped_angle(angle: float) -> float:
    return math.remainder(angle, 2.0 * math.pi)


def outline_from(pieces: Sequence[Piece]) -> Outline:
    """Return the area inside a closed chain of pieces, wound as a shell."""
    chains = [piece.cubics() for piece in pieces]
    segments = np.concatenate(chains)
    is_line = np.concatenate(
        [np.full(len(chain), isinstance(piece, Line)) for chain, piece in zip(chains, pieces, strict=True)]
    )
    segments[:, 3] = np.roll(segments[:, 0], -1, axis=0)
    outline = Outline(segments, is_line, np.array([0, len(segments)]))
    return outline if outline.area_mm2() >= 0.0 else outline.reversed()
