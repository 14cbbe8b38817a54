"""Ideas: clasps and fields found for a motif, ranked, and the few that are shown first.

A *real clasp* saves at least :data:`REAL_SAVED` of the pitch and fills at least :data:`REAL_FILLED` of its bays. Where
a motif has one, a plain row does not come before it, however tight the row is.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from friezewright.geometry.outline import Outline
from friezewright.pattern.clasp import Clasp, Partner, find_clasps, turned_clasps
from friezewright.pattern.groups import PlaneGroup
from friezewright.pattern.rank import WEIGHTS, Marks, marks_of, weights_for
from friezewright.pattern.repeat import Repeat
from friezewright.pattern.row_fields import row_fields
from friezewright.pattern.search import search_fields
from friezewright.pattern.seat import centred

__all__ = [
    "FieldIdea",
    "StripIdea",
    "best_field",
    "best_strip",
    "does_not_fit",
    "field_ideas",
    "first_ideas",
    "in_order",
    "liveliness_of",
    "strip_ideas",
    "two_of_each",
]

REAL_SAVED, REAL_FILLED = 0.08, 0.3
# What is shown at all: only the tightest few of a search are marked, since marking takes longer than finding.
_MARKED = 30
_OTHER_GROUPS = (PlaneGroup.P2GG, PlaneGroup.P3, PlaneGroup.P4, PlaneGroup.P6)
_ROWS_SHARE = 0.4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StripIdea:
    """A clasp and its marks."""

    clasp: Clasp
    marks: Marks

    @property
    def is_plain(self) -> bool:
        """Whether both copies stand alike, so that the strip is a row."""
        return self.clasp.partner is Partner.SAME

    @property
    def is_real(self) -> bool:
        """Whether the copies truly fit into each other."""
        return not self.is_plain and self.clasp.pitch_saved >= REAL_SAVED and self.marks.bay_filled >= REAL_FILLED


def strip_ideas(
    shape: Outline,
    *,
    gap_mm: float,
    turns: int,
    most: int = _MARKED,
    progress: Callable[[float], None] | None = None,
) -> tuple[StripIdea, ...]:
    """Return strips over several turns of a motif, the best first.

    Parameters
    ----------
    shape
        The motif, mm.
    gap_mm
        Smallest distance between two copies.
    turns
        How many turns to try, evenly over half a circle.
    most
        How many of the tightest are marked.
    progress
        Called with the share of the search done.
    """
    found = turned_clasps(shape, gap_mm=gap_mm, turns=turns, most=most, progress=progress)
    return in_order(_marked(shape, found, gap_mm))


def _marked(shape: Outline, found: Iterable[Clasp], gap_mm: float) -> list[StripIdea]:
    boxes: dict[float, tuple[float, float]] = {}
    ideas = []
    for clasp in found:
        if clasp.turn_rad not in boxes:
            width, height = np.ptp(centred(shape, clasp.turn_rad).bounds(), axis=0).tolist()
            boxes[clasp.turn_rad] = (width, height)
        ideas.append(StripIdea(clasp=clasp, marks=marks_of(clasp.repeat, box_mm=boxes[clasp.turn_rad], gap_mm=gap_mm)))
    return ideas


def in_order(ideas: Iterable[StripIdea], *, liveliness: float = 0.5) -> tuple[StripIdea, ...]:
    """Return ideas the best first, rows after the last real clasp where there is one."""
    weights: Mapping[str, float] = WEIGHTS if liveliness == 0.5 else weights_for(liveliness)
    ranked = sorted(ideas, key=lambda idea: -round(idea.marks.total(weights), 9))
    if any(idea.is_real for idea in ranked):
        ranked.sort(key=lambda idea: idea.is_plain)
    return tuple(ranked)


def two_of_each(ideas: Sequence[StripIdea], *, most: int = 2) -> tuple[StripIdea, ...]:
    """Return the best ideas of each partner, in the order given."""
    shown = dict.fromkeys(Partner, 0)
    kept = []
    for idea in ideas:
        if shown[idea.clasp.partner] < most:
            shown[idea.clasp.partner] += 1
            kept.append(idea)
    return tuple(kept)


def first_ideas(ideas: Sequence[StripIdea], *, count: int = 6) -> tuple[StripIdea, ...]:
    """Return the ideas to show first: the best two of each partner, filled up with the best of the rest."""
    chosen = list(two_of_each(ideas)[:count])
    chosen += [idea for idea in ideas if idea not in chosen][: count - len(chosen)]
    order = {id(idea): place for place, idea in enumerate(ideas)}
    return tuple(sorted(chosen, key=lambda idea: order[id(idea)]))


def does_not_fit(ideas: Sequence[StripIdea]) -> bool:
    """Return whether no pair of the motif fits into itself so that one sees it."""
    return not any(idea.clasp.fits and not idea.is_plain for idea in ideas)


def best_strip(shape: Outline, *, gap_mm: float, turn_rad: float) -> Repeat:
    """Return the best clasp of a motif at one turn."""
    found = find_clasps(shape, gap_mm=gap_mm, turn_rad=turn_rad)
    return in_order(_marked(shape, found, gap_mm))[0].clasp.repeat


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FieldIdea:
    """A field found, the share of its ground that is burned, and the ground saved against boxes side by side."""

    repeat: Repeat
    ink_share: float
    saved: float


def field_ideas(
    shape: Outline, *, gap_mm: float, turns: int = 6, progress: Callable[[float], None] | None = None
) -> tuple[FieldIdea, ...]:
    """Return the best field found for each group without mirrors, the most ink first.

    Rows over several turns for p1, p2 and pg, which are exact; a search over turns, places and cells for the others.

    Parameters
    ----------
    shape, gap_mm
        The motif, and the smallest distance between two copies, mm.
    turns
        How many turns rows are tried at, evenly over half a circle.
    progress
        Called with the share done.
    """
    rows = row_fields(
        shape,
        gap_mm=gap_mm,
        turns=turns,
        progress=None if progress is None else lambda share: progress(_ROWS_SHARE * share),
    )
    searched = search_fields(
        shape,
        gap_mm=gap_mm,
        groups=_OTHER_GROUPS,
        progress=None if progress is None else lambda share: progress(_ROWS_SHARE + (1.0 - _ROWS_SHARE) * share),
    )
    # A motif with symmetries of its own can give two searches one group; the denser field of each is kept.
    densest: dict[str, Repeat] = {}
    for repeat in (*(each.repeat for each in rows), *(each.repeat for each in searched)):
        known = densest.get(repeat.group.value)
        if known is None or repeat.ink_share > known.ink_share:
            densest[repeat.group.value] = repeat
    found = list(densest.values())
    width, height = np.ptp(shape.bounds(), axis=0).tolist()
    box_mm2 = (width + gap_mm) * (height + gap_mm)
    ideas = [
        FieldIdea(
            repeat=repeat,
            ink_share=repeat.ink_share,
            saved=1.0 - repeat.cell_area_mm2 / len(repeat.cell) / box_mm2,
        )
        for repeat in found
    ]
    return tuple(sorted(ideas, key=lambda idea: -round(idea.ink_share, 9)))


def best_field(shape: Outline, *, gap_mm: float, turn_rad: float) -> Repeat:
    """Return the field of rows with the most ink for a motif at one turn; never proved the densest."""
    turned = centred(shape, turn_rad)
    found = [each.repeat for each in row_fields(turned, gap_mm=gap_mm)]
    return max(found, key=lambda repeat: round(repeat.ink_share, 9))


def liveliness_of(idea: StripIdea) -> str:
    """Return the word for a strip: calm, even or lively."""
    marks = idea.marks
    calm = (marks.straight_edge * marks.balance * marks.rhythm) ** (1.0 / 3.0)
    turned = abs(math.remainder(idea.clasp.turn_rad, math.pi / 2.0)) > math.radians(5.0)
    if calm > 0.75 and not turned:
        return "calm"
    return "lively" if calm < 0.6 or turned else "even"
