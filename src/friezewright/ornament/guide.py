"""Guides: a panel's loop as exact pieces, moved in or out, and split into sides and corners.

Terms. A *loop* is wound as a shell, so the normals of its pieces point into it; a positive distance moves inwards, a
negative one outwards. A *corner* is where two pieces meet at an angle, or a rounded corner too tight to bend a strip
round: the two lines are then carried on to the *point* where they would meet, and the corner piece stands at the
*centre*, the middle of the arc. A *side* is what lies between two corners: one line, or lines and bends.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from friezewright.geometry import cubic
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import Outline
from friezewright.ornament.path import Arc, Curve, Line, Path, Piece, normal_of

__all__ = [
    "SIDE_NAMES",
    "Guide",
    "GuideCorner",
    "Side",
    "guide_along",
    "moved",
    "outline_from",
    "pieces_of",
    "side_name",
    "starting_at_top",
]

SIDE_NAMES = ("top", "right", "bottom", "left")

# A cubic within this of a circle is that circle: a rounding of 6 mm drawn as a single cubic strays by 0.0017 mm.
_ARC_FIT_MM = 0.002
# Directions nearer than this go on smoothly: drawing programs write three decimals, half a degree on a 0.1 mm piece.
_SMOOTH_RAD = math.radians(0.5)
# A chain of arcs is taken as exact only if they join this smoothly; else an offset would tear at the joints.
_JOINT_RAD = 2e-4
# Arcs shorter than this in a chain are more likely pieces of some other curve.
_LEAST_ARC_RAD = math.radians(15.0)
# More than three eighths of a round is no corner: a strip ends there, or goes round it.
_MOST_CORNER_RAD = math.radians(135.0)
_COINCIDENT_RAD = 1e-6


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class GuideCorner:
    """Where two sides meet.

    Parameters
    ----------
    point
        Where the centrelines of both sides meet, carried on if the corner is rounded, shape (2,).
    centre
        Where a corner piece stands, shape (2,).
    arriving, leaving
        Unit directions of the side before and the side after, shape (2,).
    setback_mm
        How far from the point both sides stop being straight; 0 at a sharp corner.
    edge_round_mm
        Radius of the band's edge next to the loop, where that is rounded although the centreline is not.
    joined
        Whether both sides carry ornament.
    """

    point: FloatArray
    centre: FloatArray
    arriving: FloatArray
    leaving: FloatArray
    setback_mm: float = 0.0
    edge_round_mm: float = 0.0
    joined: bool = True

    @property
    def turn_rad(self) -> float:
        """How far the direction turns: positive at a corner of a rectangle, negative at a reflex one."""
        a, b = self.arriving, self.leaving
        return math.atan2(float(a[0] * b[1] - a[1] * b[0]), float(a[0] * b[0] + a[1] * b[1]))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Side:
    """A smooth stretch of the guide; ``before`` and ``after`` number its corners, None where it ends without one."""

    path: Path
    name: str
    before: int | None = None
    after: int | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Guide:
    """Sides in their order along the loop, and the corners between them."""

    sides: tuple[Side, ...]
    corners: tuple[GuideCorner, ...]


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
    items = [
        _Item(Line(segment[0], segment[3]) if flat else _arc_of(segment) or Curve(segments=segment[None]), segment[None])
        for segment, flat in zip(segments, straight, strict=True)
    ]
    return tuple(_chains(_from_a_break(_merged(items))))


@dataclass(frozen=True, slots=True, eq=False)
class _Item:
    """A piece and the segments it was read from."""

    piece: Piece
    segments: FloatArray


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


def _direction(piece: Piece, *, at_end: bool) -> FloatArray:
    if isinstance(piece, Line):
        return piece.direction
    s = np.array([piece.length_mm if at_end else 0.0])
    return np.asarray(piece.frames(s).direction[0])


def _angle_between(before: Piece, after: Piece) -> float:
    a, b = _direction(before, at_end=True), _direction(after, at_end=False)
    return math.atan2(float(a[0] * b[1] - a[1] * b[0]), float(a[0] * b[0] + a[1] * b[1]))


def _joined(before: Piece, after: Piece) -> Piece | None:
    """Return both as one piece if they lie on one line or one circle, else None."""
    if isinstance(before, Line) and isinstance(after, Line):
        return Line(before.start, after.end) if abs(_angle_between(before, after)) < _COINCIDENT_RAD else None
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
        if isinstance(item.piece, Line) or abs(_angle_between(items[i - 1].piece, item.piece)) > _SMOOTH_RAD:
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
        broken = chain and abs(_angle_between(chain[-1].piece, item.piece)) > _SMOOTH_RAD
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
        and all(abs(_angle_between(a, b)) < _JOINT_RAD for a, b in zip(pieces[:-1], pieces[1:], strict=True))
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
    smooth = [abs(_angle_between(pieces[i], pieces[(i + 1) % count])) < _SMOOTH_RAD for i in range(count)]
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
                meets.append(_meeting(piece, after))
        if any(meet is None for meet in meets):
            return None
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


def _meeting(before: Piece, after: Piece) -> FloatArray | None:
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
            Arc(
                centre=piece.centre, radius_mm=piece.radius_mm, start_rad=piece.start_rad + shift[0], sweep_rad=sweep
            ),
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


def side_name(direction: FloatArray) -> str:
    """Return which side of a panel a line along this direction (2,) belongs to, its loop being wound as a shell."""
    outward = -normal_of(direction)
    if abs(outward[0]) > abs(outward[1]) + 1e-9:
        return "right" if outward[0] > 0.0 else "left"
    return "bottom" if outward[1] > 0.0 else "top"


def guide_along(
    pieces: Sequence[Piece],
    *,
    distance_mm: float,
    edge_mm: float,
    tightest_mm: float,
    sides: Collection[str] | None = None,
) -> Guide | None:
    """Return the centreline of a border.

    Parameters
    ----------
    pieces
        The loop to follow, a closed chain.
    distance_mm
        From the loop to the centreline, negative outwards.
    edge_mm
        From the loop to the edge of the band next to it, with the same sign.
    tightest_mm
        A rounded corner whose centreline has a smaller radius is taken as a corner.
    sides
        Names of the straight sides to follow, all when None. Bends between two of them are followed too.

    Returns
    -------
    Guide or None
        None if the band does not fit.
    """
    found = moved(pieces, distance_mm)
    if found is None:
        return None
    kept = [index for index, _ in found]
    run = [piece for _, piece in found]
    tight = [_is_corner(run, i, tightest_mm) for i in range(len(run))]
    stays = [i for i in range(len(run)) if not tight[i]]
    joints = [_joint(run, tight, stays, k, kept, pieces, edge_mm) for k in range(len(stays))]
    chosen = [_is_chosen(run, stays, k, sides) for k in range(len(stays))]
    if not any(chosen):
        return Guide((), ())
    if all(chosen) and all(joint is None for joint in joints):
        return Guide((Side(path=Path(tuple(run[i] for i in stays), closed=True), name="all round"),), ())
    return _split(run, stays, joints, chosen)


def _is_corner(run: Sequence[Piece], i: int, tightest_mm: float) -> bool:
    piece = run[i]
    if not isinstance(piece, Arc) or piece.radius_mm >= tightest_mm - 1e-6 or abs(piece.sweep_rad) > _MOST_CORNER_RAD:
        return False
    before, after = run[i - 1], run[(i + 1) % len(run)]
    lines = isinstance(before, Line) and isinstance(after, Line) and len(run) > 2
    return lines and abs(_angle_between(before, piece)) < _SMOOTH_RAD and abs(_angle_between(piece, after)) < _SMOOTH_RAD


def _joint(
    run: Sequence[Piece],
    tight: Sequence[bool],
    stays: Sequence[int],
    k: int,
    kept: Sequence[int],
    pieces: Sequence[Piece],
    edge_mm: float,
) -> GuideCorner | None:
    """Return the corner behind the k-th piece that stays, or None where the path goes on smoothly."""
    i, j = stays[k], stays[(k + 1) % len(stays)]
    before, after = run[i], run[j]
    between = (i + 1) % len(run)
    if tight[between]:
        arc = run[between]
        assert isinstance(arc, Arc)
        point = _meeting(before, after)
        assert point is not None
        middle = arc.frames(np.array([0.5 * arc.length_mm])).point[0]
        return GuideCorner(
            point=point,
            centre=np.asarray(middle),
            arriving=before.direction if isinstance(before, Line) else _direction(before, at_end=True),
            leaving=after.direction if isinstance(after, Line) else _direction(after, at_end=False),
            setback_mm=math.hypot(*(before.end - point)),
            edge_round_mm=_edge_radius(pieces[kept[between]], edge_mm),
        )
    if len(run) == 1 or abs(_angle_between(before, after)) < _SMOOTH_RAD:
        return None
    lost = _lost_between(kept[i], kept[j], len(pieces))
    return GuideCorner(
        point=np.asarray(before.end),
        centre=np.asarray(before.end),
        arriving=_direction(before, at_end=True),
        leaving=_direction(after, at_end=False),
        edge_round_mm=max((_edge_radius(pieces[index], edge_mm) for index in lost), default=0.0),
    )


def _lost_between(first: int, last: int, count: int) -> list[int]:
    return [(first + step) % count for step in range(1, (last - first) % count)]


def _edge_radius(piece: Piece, edge_mm: float) -> float:
    """Return the radius a rounded corner of the loop has at the band's edge, 0 if it is sharp there or widens."""
    if not isinstance(piece, Arc) or piece.sweep_rad * edge_mm < 0.0:
        return 0.0
    return max(0.0, piece.radius_mm - abs(edge_mm))


def _is_chosen(run: Sequence[Piece], stays: Sequence[int], k: int, sides: Collection[str] | None) -> bool:
    if sides is None:
        return True
    piece = run[stays[k]]
    if isinstance(piece, Line):
        return side_name(piece.direction) in sides
    neighbours = (run[stays[k - 1]], run[stays[(k + 1) % len(stays)]])
    return all(isinstance(near, Line) and side_name(near.direction) in sides for near in neighbours)


def _split(
    run: Sequence[Piece], stays: Sequence[int], joints: Sequence[GuideCorner | None], chosen: Sequence[bool]
) -> Guide:
    """Return the sides between the corners and the gaps of what was chosen."""
    count = len(stays)
    corners: list[GuideCorner] = []
    number: dict[int, int] = {}
    for k, joint in enumerate(joints):
        if joint is not None and (chosen[k] or chosen[(k + 1) % count]):
            number[k] = len(corners)
            both = chosen[k] and chosen[(k + 1) % count]
            corners.append(joint if both else _alone(joint))
    starts = [k for k in range(count) if chosen[k] and (joints[k - 1] is not None or not chosen[k - 1])]
    sides: list[Side] = []
    for start in starts:
        members = [start]
        while joints[members[-1]] is None and chosen[(members[-1] + 1) % count] and len(members) < count:
            members.append((members[-1] + 1) % count)
        before, after = number.get((start - 1) % count), number.get(members[-1])
        chain = [run[stays[k]] for k in members]
        chain[0] = _carried(chain[0], corners[before].point if before is not None else None, at_end=False)
        chain[-1] = _carried(chain[-1], corners[after].point if after is not None else None, at_end=True)
        names = dict.fromkeys(side_name(piece.direction) for piece in chain if isinstance(piece, Line))
        sides.append(Side(path=Path(tuple(chain)), name=" and ".join(names) or "edge", before=before, after=after))
    return Guide(tuple(sides), tuple(corners))


def _alone(corner: GuideCorner) -> GuideCorner:
    return GuideCorner(
        point=corner.point,
        centre=corner.centre,
        arriving=corner.arriving,
        leaving=corner.leaving,
        setback_mm=corner.setback_mm,
        edge_round_mm=corner.edge_round_mm,
        joined=False,
    )


def _carried(piece: Piece, point: FloatArray | None, *, at_end: bool) -> Piece:
    """Return a line carried on to the point of its corner."""
    if point is None or not isinstance(piece, Line):
        return piece
    return Line(piece.start, point) if at_end else Line(point, piece.end)


def starting_at_top(path: Path) -> float:
    """Return the arc length at which a closed path is best begun: the middle of its top line, or its topmost point."""
    lines = [
        (piece.length_mm, -i)
        for i, piece in enumerate(path.pieces)
        if isinstance(piece, Line) and side_name(piece.direction) == "top"
    ]
    if lines:
        length, index = max(lines)
        return float(path.starts[-index]) + 0.5 * length
    s = np.linspace(0.0, path.length_mm, 721)[:-1]
    y = path.frames(s).point[:, 1]
    return float(s[int(np.argmin(np.round(y, 9)))])
