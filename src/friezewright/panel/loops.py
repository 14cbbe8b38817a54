"""Loose lines put together: doubled ones dropped, pieces joined end to end, nearly closed loops closed.

Nothing is moved. A gap is bridged by a short line of its own, so that what was drawn is cut where it was drawn.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from friezewright.geometry import cubic
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import BoolArray, IntArray, Outline
from friezewright.geometry.strokes import Strokes
from friezewright.geometry.tolerance import COINCIDENT_MM

__all__ = ["NEARLY_MM", "Chain", "Joined", "chains_of", "joined", "without_doubles"]

NEARLY_MM = 0.25
"""Ends nearer than this are meant to meet: about a kerf wide, so that no part could be held by the gap."""

_DOUBLED_MM = 0.002
"""Lines nearer than this along their length are one line drawn twice: twice the last decimal that is written."""

# Points are sorted by a leaning coordinate: rows and columns of equal parts share their x or y, but not this.
_LEAN = 0.6180339887498949
# How many neighbours in a sorted row are looked at: more lines than this never meet in one spot on purpose.
_NEIGHBOURS = 1024


@dataclass(frozen=True, slots=True, eq=False)
class Chain:
    """One line, open or closed, and which paths of the drawing it is made of.

    Parameters
    ----------
    segments, is_line
        Cubics that follow each other, (n, 4, 2) and (n,), mm.
    closed
        Whether it ends where it starts.
    sources
        Indices of the drawing's paths, in the order joined.
    """

    segments: FloatArray
    is_line: BoolArray
    closed: bool
    sources: tuple[int, ...]

    def reversed(self) -> Chain:
        """Return the same line run the other way."""
        return Chain(self.segments[::-1, ::-1], self.is_line[::-1], self.closed, self.sources[::-1])

    def ends(self) -> FloatArray:
        """Return its first and its last point, shape (2, 2)."""
        return np.stack([self.segments[0, 0], self.segments[-1, 3]])

    def gap_mm(self) -> float:
        """Return how far its ends are apart."""
        first, last = self.ends()
        return float(np.hypot(*(last - first)))

    def outline(self) -> Outline:
        """Return the area it encloses, wound as a shell.

        Raises
        ------
        ValueError
            If it is open.
        """
        if not self.closed:
            raise ValueError("an open line encloses nothing")
        loop = Outline(self.segments, self.is_line, np.array([0, len(self.segments)]))
        return loop if loop.area_mm2() >= 0.0 else loop.reversed()


def chains_of(strokes: Sequence[Strokes]) -> list[Chain]:
    """Return every subpath of a drawing's paths as a chain, segments without length left out."""
    chains = []
    for index, path in enumerate(strokes):
        for part, closed in zip(path.paths(), path.closed, strict=True):
            segments, is_line = path.segments[part], path.is_line[part]
            extent = np.abs(segments - segments[:, :1]).max(axis=(1, 2))
            kept = extent > COINCIDENT_MM
            if kept.any():
                segments = segments[kept].copy()
                # What was left out is shorter than any point is known to: its ends are one.
                segments[1:, 0] = segments[:-1, 3]
                if closed:
                    segments[-1, 3] = segments[0, 0]
                chains.append(Chain(segments, is_line[kept], bool(closed), (index,)))
    return chains


def _signatures(segments: FloatArray) -> FloatArray:
    """Return five points of each segment, the same whichever way it runs, shape (n, 10)."""
    points = cubic.evaluate(segments[:, None], np.linspace(0.0, 1.0, 5)[None])
    first, last = points[:, 0], points[:, -1]
    # The end that lies further left (then further up) comes first; within rounding either does.
    step = last - first
    turn = np.where(np.abs(step[:, 0]) > _DOUBLED_MM, step[:, 0] < 0.0, step[:, 1] < 0.0)
    points[turn] = points[turn, ::-1]
    return points.reshape(len(points), -1)


def _doubled_segments(segments: FloatArray) -> IntArray:
    """Return for each segment the first other one that it repeats, or -1, shape (n,)."""
    count = len(segments)
    first = np.full(count, -1, dtype=np.int64)
    marks = _signatures(segments)
    key = marks[:, 4] + _LEAN * marks[:, 5]
    order = np.argsort(key, kind="stable")
    for offset in range(1, min(count, _NEIGHBOURS)):
        a, b = order[:-offset], order[offset:]
        near = key[b] - key[a] <= (1.0 + _LEAN) * _DOUBLED_MM
        if not near.any():
            break
        a, b = a[near], b[near]
        same = np.abs(marks[a] - marks[b]).max(axis=1) <= _DOUBLED_MM
        for earlier, later in zip(np.minimum(a, b)[same], np.maximum(a, b)[same], strict=True):
            first[later] = earlier if first[later] < 0 else min(first[later], earlier)
    return first


def without_doubles(chains: Sequence[Chain]) -> tuple[list[Chain], list[Chain], list[Chain]]:
    """Return the chains to keep, those that only repeat others, and those kept that repeat others in part."""
    if not chains:
        return [], [], []
    repeats = _doubled_segments(np.concatenate([chain.segments for chain in chains])) >= 0
    kept, dropped, partly = [], [], []
    start = 0
    for chain in chains:
        mine = repeats[start : start + len(chain.segments)]
        start += len(chain.segments)
        if mine.all():
            dropped.append(chain)
            continue
        kept.append(chain)
        if mine.any():
            partly.append(chain)
    return kept, dropped, partly


@dataclass(frozen=True, slots=True, eq=False)
class Joined:
    """Lines put end to end.

    Parameters
    ----------
    chains
        Joined ones stand where their first piece stood.
    joints
        How many ends of different lines were put together.
    gaps
        ``(x, y, width)`` in mm of every gap that was bridged, the widest first.
    """

    chains: tuple[Chain, ...]
    joints: int
    gaps: tuple[tuple[float, float, float], ...]


def joined(chains: Sequence[Chain]) -> Joined:
    """Return chains with ends that meet or nearly meet joined, nearest ends first, and loops closed."""
    places = [index for index, chain in enumerate(chains) if not chain.closed]
    pieces = [chains[index] for index in places]
    link, joints, gaps = _links(pieces)
    result = [(index, chain) for index, chain in enumerate(chains) if chain.closed]
    seen: set[int] = set()
    # Lines with a loose end first, then the rounds that have none. An end is twice its piece's number, plus which.
    for loose in (True, False):
        for index in range(len(pieces)):
            starts = [end for end in (2 * index, 2 * index + 1) if (end not in link) is loose]
            if index in seen or not starts:
                continue
            run, end = [], starts[0]
            while end // 2 not in seen:
                seen.add(end // 2)
                run.append(end)
                end = link.get(end ^ 1, end)
            parts = [pieces[end // 2].reversed() if end % 2 else pieces[end // 2] for end in run]
            result.append((min(places[end // 2] for end in run), _bridged(parts, close=not loose)))
    result.sort(key=lambda item: item[0])
    return Joined(tuple(chain for _, chain in result), joints, gaps)


def _links(pieces: Sequence[Chain]) -> tuple[dict[int, int], int, tuple[tuple[float, float, float], ...]]:
    """Return which end goes on at which other (``2 * piece + 0 or 1``, both ways), and what was bridged."""
    link: dict[int, int] = {}
    gaps: list[tuple[float, float, float]] = []
    joints = 0
    if not pieces:
        return link, joints, ()
    ends = np.concatenate([piece.ends() for piece in pieces])
    # A line shorter than a gap would close on itself; it is a piece of something longer.
    short = [float(cubic.lengths(piece.segments).sum()) <= 2.0 * NEARLY_MM for piece in pieces]
    for away, i, j in sorted(_near_ends(ends)):
        if i in link or j in link or (i // 2 == j // 2 and short[i // 2]):
            continue
        link[i], link[j] = j, i
        joints += i // 2 != j // 2
        if away > COINCIDENT_MM:
            x, y = (0.5 * (ends[i] + ends[j])).tolist()
            gaps.append((x, y, away))
    return link, joints, tuple(sorted(gaps, key=lambda gap: -gap[2]))


def _near_ends(ends: FloatArray) -> list[tuple[float, int, int]]:
    """Return the pairs of points (n, 2) that nearly meet, as distance and both indices, the smaller first."""
    key = ends[:, 0] + _LEAN * ends[:, 1]
    order = np.argsort(key, kind="stable")
    pairs: list[tuple[float, int, int]] = []
    for offset in range(1, min(len(ends), _NEIGHBOURS)):
        a, b = order[:-offset], order[offset:]
        near = key[b] - key[a] <= (1.0 + _LEAN) * NEARLY_MM
        if not near.any():
            break
        a, b = a[near], b[near]
        away = np.hypot(*(ends[a] - ends[b]).T)
        low, high = np.minimum(a, b), np.maximum(a, b)
        met = away <= NEARLY_MM
        pairs.extend(zip(away[met].tolist(), low[met].tolist(), high[met].tolist(), strict=True))
    return pairs


def _bridged(parts: Sequence[Chain], *, close: bool) -> Chain:
    """Return chains put end to end, each gap a line of its own, or no line where the ends are one."""
    segments = [part.segments.copy() for part in parts]
    is_line = [part.is_line for part in parts]
    merged: list[FloatArray] = []
    lines: list[BoolArray] = []
    for index, piece in enumerate(segments):
        merged.append(piece)
        lines.append(is_line[index])
        last = index == len(segments) - 1
        if last and not close:
            continue
        target = segments[0][0, 0] if last else segments[index + 1][0, 0]
        if float(np.hypot(*(target - piece[-1, 3]))) > COINCIDENT_MM:
            merged.append(cubic.line(piece[-1, 3], target)[None])
            lines.append(np.ones(1, dtype=bool))
        else:
            piece[-1, 3] = target
    sources = tuple(dict.fromkeys(source for part in parts for source in part.sources))
    return Chain(np.concatenate(merged), np.concatenate(lines), close, sources)
