"""Frame lines: thin areas or rows of beads that bound a border, following its loop exactly."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from enum import StrEnum

import numpy as np

from friezewright.geometry import affine
from friezewright.geometry.artwork import Artwork, Placements
from friezewright.geometry.outline import Outline, circle, concatenate
from friezewright.ornament.guide import Guide, Side, guide_along, starting_at_top
from friezewright.ornament.loop import moved, outline_from
from friezewright.ornament.path import Line, Path, Piece

__all__ = ["FrameLine", "bar_along", "beads_along", "line_along"]

# Beads stand at least half their width apart, or the row reads as a rough line (looked at).
_BEAD_SPACE = 0.5


class FrameLine(StrEnum):
    """What bounds the band: nothing, a line next to the loop, a line on both sides, or beads on both sides."""

    NONE = "none"
    SINGLE = "single"
    DOUBLE = "double"
    BEADED = "beaded"


def line_along(pieces: Sequence[Piece], near_mm: float, far_mm: float) -> Outline | None:
    """Return the closed strip of area between two distances from a loop, or None where it does not fit.

    Parameters
    ----------
    pieces
        The loop, a closed chain wound as a shell.
    near_mm, far_mm
        Distances of the two edges, of one sign: positive inwards.
    """
    outer, inner = (moved(pieces, distance) for distance in sorted((near_mm, far_mm)))
    if outer is None or inner is None:
        return None
    shell, hole = (outline_from([piece for _, piece in loop]) for loop in (outer, inner))
    return concatenate([shell, hole.reversed()])


def bar_along(
    pieces: Sequence[Piece], near_mm: float, far_mm: float, *, edge_mm: float, sides: Collection[str]
) -> tuple[Outline, ...]:
    """Return the strips of area between two distances along some sides only, joined where two of them meet.

    Where a side goes on without ornament, the bar is cut square where the band's edge, at ``edge_mm``, has its corner.
    """
    guides = [_guide(pieces, distance, sides) for distance in (near_mm, far_mm, edge_mm)]
    near, far, edge = guides
    if near is None or far is None or edge is None:
        return ()
    if len({(len(guide.sides), len(guide.corners)) for guide in (near, far, edge)}) > 1:
        return ()
    if len(near.sides) == 1 and near.sides[0].path.closed:
        whole = line_along(pieces, near_mm, far_mm)
        return () if whole is None else (whole,)
    bars = []
    for chain in _chains(near):
        rails = [_rail(guide, edge, chain) for guide in (near, far)]
        there = rails[0]
        back = [piece.backwards() for piece in reversed(rails[1])]
        loop = [*there, Line(there[-1].end, back[0].start), *back, Line(back[-1].end, there[0].start)]
        bars.append(outline_from(loop))
    return tuple(bars)


def beads_along(
    pieces: Sequence[Piece],
    distance_mm: float,
    *,
    width_mm: float,
    gap_mm: float,
    sides: Collection[str] | None = None,
) -> Artwork[Outline] | None:
    """Return a row of beads at a distance from a loop: one on each corner, the rest evenly between them."""
    guide = _guide(pieces, distance_mm, sides)
    if guide is None or not guide.sides:
        return None
    least = width_mm + max(gap_mm, _BEAD_SPACE * width_mm)
    points = []
    for side in guide.sides:
        row = _evenly(side.path, least)
        # The bead on a corner that goes on belongs to the side behind it.
        shared = not side.path.closed and side.after is not None and guide.corners[side.after].joined
        points.append(row[:-1] if shared and len(row) > 1 else row)
    places = np.concatenate(points)
    if not len(places):
        return None
    return Artwork(
        (circle((0.0, 0.0), 0.5 * width_mm),),
        Placements(
            matrix=affine.translation(places),
            shape=np.zeros(len(places), dtype=np.int64),
            member=np.zeros(len(places), dtype=np.int64),
        ),
    )


def _evenly(path: Path, least_mm: float) -> np.ndarray:
    """Return points (n, 2) evenly along a path, none nearer to the next than asked; on an open one both ends too."""
    count = max(1, math.floor(path.length_mm / least_mm + 1e-7))
    step = 4 if path.closed and count >= 16 else 1
    count -= count % step
    start = starting_at_top(path) if path.closed else 0.0
    while True:
        at = start + path.length_mm * np.arange(count if path.closed else count + 1) / count
        points = path.frames(at).point
        after = np.roll(points, -1, axis=0) if path.closed else points[1:]
        # On a bend beads stand nearer to each other than along it.
        apart = np.hypot(*(after - points[: len(after)]).T)
        if count <= step or float(apart.min()) >= least_mm - 1e-6:
            return points
        count -= step


def _guide(pieces: Sequence[Piece], distance_mm: float, sides: Collection[str] | None) -> Guide | None:
    # Frame lines round every corner that the loop rounds, however tightly.
    return guide_along(pieces, distance_mm=distance_mm, edge_mm=distance_mm, tightest_mm=0.0, sides=sides)


def _chains(guide: Guide) -> list[list[int]]:
    """Return the sides, by number, in runs that hang together over joined corners."""
    count = len(guide.sides)

    def goes_on(i: int) -> bool:
        after = guide.sides[i].after
        return after is not None and guide.corners[after].joined

    starts = [i for i in range(count) if not goes_on(i - 1)]
    chains = []
    for start in starts:
        chain = [start]
        while goes_on(chain[-1]):
            chain.append((chain[-1] + 1) % count)
        chains.append(chain)
    return chains


def _rail(guide: Guide, edge: Guide, chain: Sequence[int]) -> list[Piece]:
    """Return the pieces of a chain of sides, its ends cut square at the edge's corners."""
    pieces = [piece for i in chain for piece in guide.sides[i].path.pieces]
    first, last = pieces[0], pieces[-1]
    if isinstance(first, Line) and guide.sides[chain[0]].before is not None:
        pieces[0] = Line(_foot(first, _start_of(edge.sides[chain[0]])), first.end)
    last = pieces[-1]
    if isinstance(last, Line) and guide.sides[chain[-1]].after is not None:
        pieces[-1] = Line(last.start, _foot(last, _end_of(edge.sides[chain[-1]])))
    return pieces


def _start_of(side: Side) -> np.ndarray:
    return np.asarray(side.path.pieces[0].start)


def _end_of(side: Side) -> np.ndarray:
    return np.asarray(side.path.pieces[-1].end)


def _foot(line: Line, point: np.ndarray) -> np.ndarray:
    """Return the point of a line nearest to another point."""
    u, away = line.direction, point - line.start
    return np.asarray(line.start + (away[0] * u[0] + away[1] * u[1]) * u)
