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

from friezewright.geometry.affine import FloatArray
from friezewright.ornament.loop import SMOOTH_RAD, angle_between, direction_of, meeting, moved
from friezewright.ornament.path import Arc, Line, Path, Piece, normal_of

__all__ = [
    "SIDE_NAMES",
    "Guide",
    "GuideCorner",
    "Side",
    "guide_along",
    "side_name",
    "starting_at_top",
]

SIDE_NAMES = ("top", "right", "bottom", "left")

# More than three eighths of a round is no corner: a strip ends there, or goes round it.
_MOST_CORNER_RAD = math.radians(135.0)


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
    if not (isinstance(before, Line) and isinstance(after, Line) and len(run) > 2):
        return False
    return max(abs(angle_between(before, piece)), abs(angle_between(piece, after))) < SMOOTH_RAD


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
        point = meeting(before, after)
        assert point is not None
        middle = arc.frames(np.array([0.5 * arc.length_mm])).point[0]
        return GuideCorner(
            point=point,
            centre=np.asarray(middle),
            arriving=before.direction if isinstance(before, Line) else direction_of(before, at_end=True),
            leaving=after.direction if isinstance(after, Line) else direction_of(after, at_end=False),
            setback_mm=math.hypot(*(before.end - point)),
            edge_round_mm=_edge_radius(pieces[kept[between]], edge_mm),
        )
    if len(run) == 1 or abs(angle_between(before, after)) < SMOOTH_RAD:
        return None
    lost = _lost_between(kept[i], kept[j], len(pieces))
    return GuideCorner(
        point=np.asarray(before.end),
        centre=np.asarray(before.end),
        arriving=direction_of(before, at_end=True),
        leaving=direction_of(after, at_end=False),
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
