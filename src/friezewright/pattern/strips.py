"""Plain strips: the seven frieze groups laid out from one motif, in a row or in a row and its reflection.

Copies stand in *columns* along x. Each column is pulled in from the right until it stands the gap from the one before
it, so facing sides fit one another and no copy hooks behind the next.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from friezewright.errors import InputError
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.artwork import Placements
from friezewright.geometry.outline import Outline
from friezewright.pattern.contact import MEASURE_MM, Pairs, shrink
from friezewright.pattern.groups import FriezeGroup
from friezewright.pattern.repeat import Repeat, repeat_of
from friezewright.pattern.seat import Mirrors, centred, check_sizes, on_site, site_for

__all__ = ["strip"]

_PLAIN = (1, 1)
_LEFT_RIGHT = (-1, 1)
_TOP_BOTTOM = (1, -1)
_HALF_TURN = (-1, -1)


@dataclass(frozen=True, slots=True)
class _Plan:
    """Columns of a strip, from left to right, centred on x = 0.

    Parameters
    ----------
    columns
        How the copy of each column is flipped along x and y.
    steps
        Which steps between columns (the last leads to the next cell) are equal by symmetry.
    reflected
        Whether the row stands above its reflection.
    """

    columns: tuple[tuple[int, int], ...]
    steps: tuple[int, ...]
    reflected: bool = False


_PLANS = {
    FriezeGroup.P1: _Plan((_PLAIN,), (0,)),
    FriezeGroup.P11G: _Plan((_PLAIN, _TOP_BOTTOM), (0, 0)),
    FriezeGroup.P1M1: _Plan((_PLAIN, _LEFT_RIGHT), (0, 1)),
    FriezeGroup.P2: _Plan((_PLAIN, _HALF_TURN), (0, 1)),
    FriezeGroup.P2MG: _Plan((_PLAIN, _LEFT_RIGHT, _TOP_BOTTOM, _HALF_TURN), (0, 1, 0, 1)),
    FriezeGroup.P11M: _Plan((_PLAIN,), (0,), reflected=True),
    FriezeGroup.P2MM: _Plan((_PLAIN, _LEFT_RIGHT), (0, 1), reflected=True),
}
# On a mirror half the copies are left, at a point a quarter; keyed by group, direction and number of the lines.
_PLANS_ON_SITE = {
    (FriezeGroup.P1M1, (0, 1), 1): _Plan((_PLAIN,), (0,)),
    (FriezeGroup.P2MG, (0, 1), 1): _Plan((_PLAIN, _TOP_BOTTOM), (0, 0)),
    (FriezeGroup.P11M, (-1, 0), 1): _Plan((_PLAIN,), (0,)),
    (FriezeGroup.P2MM, (0, 1), 1): _Plan((_PLAIN,), (0,), reflected=True),
    (FriezeGroup.P2MM, (-1, 0), 1): _Plan((_PLAIN, _LEFT_RIGHT), (0, 1)),
    (FriezeGroup.P2MM, (-1, 0), 2): _Plan((_PLAIN,), (0,)),
}


def strip(
    shape: Outline,
    group: FriezeGroup,
    *,
    gap_mm: float | None = None,
    pitch_mm: float | None = None,
    turn_rad: float = 0.0,
    mirrors: Mirrors = Mirrors.CLEAR,
    site: int = 0,
    overlap: float | None = None,
) -> Repeat:
    """Return a plain strip of a motif, centred on y = 0.

    Parameters
    ----------
    shape
        The motif, mm; it is centred on its bounding box first.
    group
        Which of the seven.
    gap_mm
        Smallest distance between copies; the strip is made as short as that allows.
    pitch_mm
        Length of one repeat; with it the gap follows, and columns stand evenly.
    turn_rad
        Turn of the motif, clockwise on screen.
    mirrors
        How the motif stands to the mirror lines, where the group has any.
    site
        Which mirror site, of those of :func:`~friezewright.pattern.groups.mirror_sites` (lines alone for ``ON``).
    overlap
        For ``FUSED``: which part of the motif lies beyond the mirror and is cut away.

    Raises
    ------
    InputError
        If neither gap nor pitch is given, a size is impossible, copies would overlap at the pitch asked, or a fused
        shape would reach the next mirror and so have no end.
    """
    check_sizes(gap_mm, pitch_mm, "pitch", turn_rad)
    place = site_for(group, mirrors, site)
    if place is None:
        plan, motif = _PLANS[group], centred(shape, turn_rad)
    else:
        along = float(np.arctan2(place.along[1], place.along[0]))
        plan = _PLANS_ON_SITE[group, place.along, place.lines]
        motif = on_site(shape, along_rad=along, lines=place.lines, mirrors=mirrors, turn_rad=turn_rad, overlap=overlap)
    if pitch_mm is None:
        assert gap_mm is not None
        steps = _steps(motif, plan, gap_mm)
    else:
        touching = _steps(motif, plan, 0.0)
        more = (pitch_mm - float(touching.sum())) / len(touching)
        steps = touching + more
        gap_mm = max(0.0, more) if gap_mm is None else gap_mm
    repeat = _laid_out(motif, plan, steps, gap_mm)
    if repeat.gap_mm == 0.0 and pitch_mm is not None:
        least = float(_steps(motif, plan, 0.0).sum())
        if place is not None and mirrors is Mirrors.FUSED:
            raise InputError(
                f"at a pitch of {pitch_mm:g} mm the fused shape would reach the next mirror and never end; "
                f"use a pitch above {least:.2f} mm or a smaller motif"
            )
        raise InputError(
            f"at a pitch of {pitch_mm:g} mm the copies overlap; use a pitch above {least:.2f} mm or a smaller motif"
        )
    return repeat


def _steps(motif: Outline, plan: _Plan, gap_mm: float) -> FloatArray:
    """Return the distances from column to column at which the gap is just kept, shape (m,)."""
    count = len(plan.columns)
    apart = {
        (i, j): _first_contact(motif, plan.columns[i], plan.columns[j % count], gap_mm)
        for i in range(count)
        for j in (i + 1, i + count)
    }
    steps = np.array([apart[i, i + 1] for i in range(count)])
    # Symmetry makes some steps equal; found one by one they may differ in the last digits of the search.
    kinds = np.array(plan.steps)
    steps = np.array([steps[kinds == kind].max() for kind in kinds])
    # Columns further on, which a thin neighbour may leave too near, ask for a little more everywhere.
    missing = 0.0
    for i in range(count):
        for j in range(i + 2, i + count + 1):
            key = (plan.columns[i], plan.columns[j % count])
            needed = apart.get((i, j)) or _first_contact(motif, *key, gap_mm)
            have = sum(steps[k % count] for k in range(i, j))
            missing = max(missing, (needed - have) / (j - i))
    return np.asarray(steps + missing)


def _first_contact(motif: Outline, left: tuple[int, int], right: tuple[int, int], gap_mm: float) -> float:
    """Return how far apart two copies in one row stand when the right one comes in from far right."""
    width = float(np.ptp(motif.bounds()[:, 0]))
    pairs = Pairs(
        own=np.diag(np.array(left, dtype=np.float64)),
        turn=np.diag(np.array(right, dtype=np.float64))[None],
        offset=np.zeros((1, 2)),
        rate=np.array([[1.0, 0.0]]),
    )
    return shrink(motif, pairs, start=width + 2.0 * gap_mm + 1.0, gap_mm=gap_mm)


def _laid_out(motif: Outline, plan: _Plan, steps: FloatArray, gap_mm: float) -> Repeat:
    x = np.concatenate([[0.0], np.cumsum(steps[:-1])])
    x = x - 0.5 * x[-1]
    away = 0.0
    if plan.reflected:
        away = float(motif.bounds()[1, 1]) + 0.5 * gap_mm + MEASURE_MM
    copies = [(flip, float(at), -away) for flip, at in zip(plan.columns, x, strict=True)]
    if plan.reflected:
        copies += [((flip[0], -flip[1]), at, -y) for flip, at, y in copies]
    matrix = np.array([[[fx, 0.0, at], [0.0, fy, y]] for (fx, fy), at, y in copies]) + 0.0
    count = len(copies)
    cell = Placements(matrix=matrix, shape=np.zeros(count, dtype=np.int64), member=np.arange(count))
    return repeat_of(np.array([[float(steps.sum()), 0.0]]), (motif,), cell)
