"""In which order, and from which end, paths are followed: always to the nearest that is left.

Terms. A *stop* is one path to follow. Its *choices* are the ways to do so: an open path either way, a closed one from
any of some of its knots, ending where it began. A *stage* is finished before the next one
starts: openings before the rim.

Most machines' programs sort paths themselves; this order stands for theirs in the estimate. It is a plain one, about a
quarter longer than the shortest for open paths, and is never worse than the order the paths came in.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from friezewright.geometry.affine import FloatArray
from friezewright.geometry.artwork import Artwork
from friezewright.geometry.outline import IntArray, frozen
from friezewright.geometry.strokes import Strokes

__all__ = ["Route", "Stops", "as_given", "join_stops", "nearest_order", "stops_of"]

# Knots of a closed path that may be started from: an even choice of eight is within a sixteenth of its length of any.
_KNOTS = 8
# Beyond this many stops the walk takes seconds. Rows there and back stand in: a twentieth longer on scattered points,
# three quarters on scattered short lines.
_WALKED = 40_000
_NEIGHBOURS = 10
_START_ROUNDS = 4


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Stops:
    """Paths to follow, and the ways to follow them.

    Parameters
    ----------
    begin, end
        Where each choice begins and ends, shape (m, 2), mm.
    first
        Index of the first choice of each stop, and m at the end, shape (n + 1,).
    stage
        Stage of each stop, shape (n,).
    """

    begin: FloatArray
    end: FloatArray
    first: IntArray
    stage: IntArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "begin", frozen(self.begin))
        object.__setattr__(self, "end", frozen(self.end))
        object.__setattr__(self, "first", frozen(self.first, np.int64))
        object.__setattr__(self, "stage", frozen(self.stage, np.int64))

    def __len__(self) -> int:
        return len(self.stage)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Route:
    """An order of stops and the choice made at each.

    Parameters
    ----------
    stop
        Stops in the order they are followed, shape (n,).
    choice
        Index into the choices, in the same order, shape (n,).
    hop_mm
        Distances from the end of each to the beginning of the next, shape (n - 1,).
    """

    stop: IntArray
    choice: IntArray
    hop_mm: FloatArray

    @property
    def travel_mm(self) -> float:
        """Distance in all from path to path."""
        return float(self.hop_mm.sum())


def _choices(segments: FloatArray, closed: bool) -> tuple[FloatArray, FloatArray]:
    """Return where each way to follow one path begins and ends, (c, 2) each."""
    if closed:
        every = len(segments) <= _KNOTS
        knots = segments[:, 0] if every else segments[np.arange(_KNOTS) * len(segments) // _KNOTS, 0]
        return knots, knots
    ends = np.stack([segments[0, 0], segments[-1, 3]])
    return ends, ends[::-1]


def _ranges(first: IntArray, chosen: IntArray) -> tuple[IntArray, IntArray]:
    """Return which of ``chosen`` each index of their ranges belongs to, and the indices, ranges in the order chosen."""
    size = np.diff(first)[chosen]
    owner = np.repeat(np.arange(len(chosen)), size)
    return owner, np.arange(len(owner)) + (first[chosen] - (np.cumsum(size) - size))[owner]


def _starts(sizes: list[int]) -> IntArray:
    return np.cumsum([0, *sizes], dtype=np.int64)


def stops_of(artwork: Artwork[Strokes], *, stage: int = 0) -> Stops:
    """Return every path of every copy as a stop, copies in order and the paths of each in order."""
    ways = [
        [_choices(shape.segments[path], bool(closed)) for path, closed in zip(shape.paths(), shape.closed, strict=True)]
        for shape in artwork.shapes
    ]
    flat = [way for paths in ways for way in paths]
    if not len(artwork) or not flat:
        none = np.zeros((0, 2))
        return Stops(begin=none, end=none, first=_starts([]), stage=np.zeros(0, np.int64))
    choice_first = _starts([sum(len(begin) for begin, _ in paths) for paths in ways])
    path_first = _starts([len(paths) for paths in ways])
    owner, index = _ranges(choice_first, artwork.placements.shape)
    placed = []
    for points in (np.concatenate([begin for begin, _ in flat]), np.concatenate([end for _, end in flat])):
        x, y = points[index, 0], points[index, 1]
        maps = artwork.placements.matrix
        image = [x * maps[owner, r, 0] + y * maps[owner, r, 1] + maps[owner, r, 2] for r in (0, 1)]
        placed.append(np.stack(image, axis=1))
    _, paths = _ranges(path_first, artwork.placements.shape)
    sizes = np.array([len(begin) for begin, _ in flat])[paths]
    first = np.concatenate([[0], np.cumsum(sizes)])
    return Stops(begin=placed[0], end=placed[1], first=first, stage=np.full(len(sizes), stage))


def join_stops(parts: Iterable[Stops]) -> Stops:
    """Return the stops of several parts as one, in the order given."""
    kept = list(parts)
    offsets = _starts([len(part.begin) for part in kept])
    return Stops(
        begin=np.concatenate([np.zeros((0, 2)), *(part.begin for part in kept)]),
        end=np.concatenate([np.zeros((0, 2)), *(part.end for part in kept)]),
        first=np.concatenate([[0], *(p.first[1:] + o for p, o in zip(kept, offsets[:-1], strict=True))]),
        stage=np.concatenate([np.zeros(0, np.int64), *(part.stage for part in kept)]),
    )


def _route(stops: Stops, stop: IntArray, choice: IntArray) -> Route:
    leap = stops.begin[choice[1:]] - stops.end[choice[:-1]]
    return Route(stop=stop, choice=choice, hop_mm=np.hypot(leap[:, 0], leap[:, 1]))


def as_given(stops: Stops) -> Route:
    """Return the stops in the order they came, each followed the way it is written."""
    return _route(stops, np.arange(len(stops)), np.array(stops.first[:-1]))


def _walk(stops: Stops, members: IntArray, at_mm: FloatArray) -> list[int]:
    """Return a choice for each of some stops, nearest after nearest from a point; closed ones start at their first."""
    from scipy.spatial import cKDTree

    begin, end, first = stops.begin, stops.end, stops.first
    closed = np.all(begin[first[:-1]] == end[first[:-1]], axis=1)
    # One node a closed stop, two an open one; a node is a choice.
    nodes = np.concatenate([first[members], first[members[~closed[members]]] + 1])
    nodes.sort()
    stop_of = np.repeat(np.arange(len(stops)), np.diff(first))[nodes].tolist()
    points = begin[nodes]
    # A path leaves at its other end, which is where its other choice begins: the node beside it.
    beside = np.where(nodes == first[stop_of], 1, -1)
    partner = (np.arange(len(nodes)) + np.where(closed[stop_of], 0, beside)).tolist()
    tree = cKDTree(points)
    reach = min(_NEIGHBOURS, len(nodes))
    distance, table = tree.query(points, k=np.arange(1, reach + 1))
    # Equal distances, as lattices have them, are settled by number.
    ranked = np.lexsort((table, np.round(distance, 9)), axis=1)
    near: list[list[int]] = np.take_along_axis(np.asarray(table), ranked, axis=1).tolist()

    done = [False] * len(stops)
    left = np.arange(len(nodes))
    walk: list[int] = []
    around: list[int] = []
    point = at_mm
    for _ in range(len(members)):
        found = next((i for i in around if not done[stop_of[i]]), -1)
        k = 4
        while found < 0:
            k = min(4 * k, len(left))
            _, hits = tree.query(point, k=np.arange(1, k + 1))
            found = next((int(left[i]) for i in np.asarray(hits).tolist() if not done[stop_of[left[i]]]), -1)
            if found < 0 and k >= 64:
                left = left[[not done[stop_of[i]] for i in left]]
                tree, k = cKDTree(points[left]), 4
        done[stop_of[found]] = True
        walk.append(int(nodes[found]))
        around = near[partner[found]]
        point = end[nodes[found]]
    return walk


def _rows(stops: Stops, members: IntArray) -> list[int]:
    """Return the first choice of some stops in rows there and back: for counts too large to walk."""
    points = stops.begin[stops.first[members]]
    low, size = points.min(axis=0), np.maximum(np.ptp(points, axis=0), 1e-9)
    # Rows this high make the way there as long as the zigzag within a row.
    height = np.sqrt(3.0 * size[0] * size[1] / len(members))
    row = np.floor((points[:, 1] - low[1]) / height).astype(np.int64)
    x = np.where(row % 2 == 0, points[:, 0], -points[:, 0])
    order: list[int] = stops.first[members[np.lexsort((x, row))]].tolist()
    return order


def _better_starts(stops: Stops, stop: IntArray, choice: IntArray) -> IntArray:
    """Return choices that shorten the way to and from each stop, the order kept; never a longer way."""
    choice, settled = choice.copy(), 0
    for turn in range(2 * _START_ROUNDS):
        # Every other stop, so that the neighbours of each stand still meanwhile.
        places = np.arange(turn % 2, len(stop), 2)
        owner, index = _ranges(stops.first, stop[places])
        cost = np.zeros(len(index))
        inner = places > 0
        if inner.any():
            come = stops.begin[index] - stops.end[choice[places - 1]][owner]
            cost += np.where(inner[owner], np.hypot(come[:, 0], come[:, 1]), 0.0)
        onward = places < len(stop) - 1
        if onward.any():
            go = stops.begin[choice[np.minimum(places + 1, len(stop) - 1)]][owner] - stops.end[index]
            cost += np.where(onward[owner], np.hypot(go[:, 0], go[:, 1]), 0.0)
        # The first of the cheapest, so that equals are settled by number.
        least = np.minimum.reduceat(cost, np.searchsorted(owner, np.arange(len(places))))
        cheapest = np.flatnonzero(cost <= least[owner])
        better = index[cheapest[np.searchsorted(owner[cheapest], np.arange(len(places)))]]
        settled = settled + 1 if np.array_equal(better, choice[places]) else 0
        choice[places] = better
        if settled == 2:
            break
    return choice


def nearest_order(stops: Stops, *, start_mm: tuple[float, float] = (0.0, 0.0)) -> Route:
    """Return the stops, stage by stage, each followed by the nearest that is left.

    Parameters
    ----------
    stops
        Paths to follow.
    start_mm
        Where the head is before the first.

    Notes
    -----
    Knots and directions are chosen again for the order found. The same order and the one given are both tried with
    that, and the shorter is returned, so the result is never longer than :func:`as_given` (when that keeps the stages).
    """
    given = as_given(stops)
    if len(stops) < 2:
        return given
    walk: list[int] = []
    for stage in np.unique(stops.stage):
        members = np.flatnonzero(stops.stage == stage)
        point = stops.end[walk[-1]] if walk else np.asarray(start_mm, dtype=np.float64)
        walk += _rows(stops, members) if len(members) > _WALKED else _walk(stops, members, point)
    stop_of = np.repeat(np.arange(len(stops)), np.diff(stops.first))
    chosen = np.array(walk, dtype=np.int64)
    routes = [_route(stops, stop_of[chosen], _better_starts(stops, stop_of[chosen], chosen))]
    if np.all(np.diff(stops.stage) >= 0):
        routes.append(_route(stops, given.stop, _better_starts(stops, given.stop, given.choice)))
    return min(routes, key=lambda route: route.travel_mm)
