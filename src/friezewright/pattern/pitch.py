"""The shortest repeat at which a strip of pairs keeps clear of itself, from its forbidden runs.

A strip is ``{A + kP, B + (tx, ty) + kP}`` for all whole k. With F the forbidden runs of A against B at ty, and G those
of A and B against their own copies at no shift across, it is clear exactly when ``kP`` lies in no run of G for k >= 1,
and ``tx - kP`` in none of F for any k. There is nothing else to check: all k are covered, however often a long run
wraps round a short pitch.

As the pitch shrinks, clearance can only be lost where a right end of a run meets a left end after some wraps, so the
shortest pitch is one of ``(right_i - left_j) / k``, or the right end of a run of G over k. It is the first of these
that is clear.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import BoolArray, frozen
from friezewright.pattern.rows import TOUCH_MM, Rows

__all__ = ["SLACK_MM", "OwnPitches", "best_pitch", "glide_pitch", "is_clear", "own_pitches", "widest_slot"]

SLACK_MM = 10.0 * TOUCH_MM
"""A slot is one if it is not narrower than nothing by more than this."""

_FIRST_TRIED = 4


@dataclass(frozen=True, slots=True, eq=False)
class OwnPitches:
    """Which pitches keep a shape clear of its own copies along the strip.

    Parameters
    ----------
    barred
        Open intervals of pitches that do not, disjoint and rising, shape (n, 2), mm; the first starts at 0.
    side_by_side_mm
        The shortest pitch from which on all do: copies stand beside one another and none hooks into the next.
    """

    barred: FloatArray
    side_by_side_mm: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "barred", frozen(self.barred))

    @property
    def least_mm(self) -> float:
        """The shortest pitch of all."""
        return float(self.barred[0, 1])

    def at_least(self, pitch_mm: FloatArray) -> FloatArray:
        """Return for each pitch the shortest allowed one that is not below it."""
        index = np.searchsorted(self.barred[:, 1], pitch_mm + TOUCH_MM)
        inside = index < len(self.barred)
        barred = self.barred[np.where(inside, index, 0)]
        return np.asarray(np.where(inside & (pitch_mm > barred[:, 0] + TOUCH_MM), barred[:, 1], pitch_mm))


def own_pitches(*runs: FloatArray) -> OwnPitches:
    """Return the pitches allowed by the runs (n, 2) of shapes against their own copies in the row without shift."""
    ends = np.concatenate(runs)
    ends = ends[ends[:, 1] > TOUCH_MM]
    across = ends[:, 0] < TOUCH_MM
    least = float(ends[across, 1].max())
    barred = [np.array([[0.0, least]])]
    beyond = ends[~across]
    k = 1
    # Wrapped k times a run bars the k-th part of itself; below the least pitch nothing is left to bar.
    while len(beyond):
        barred.append(beyond / k)
        k += 1
        beyond = beyond[beyond[:, 1] / k > least + TOUCH_MM]
    spans = np.concatenate(barred)
    starts, stops = np.sort(spans[:, 0]), np.sort(spans[:, 1])
    opens = np.append(True, starts[1:] >= stops[:-1] - TOUCH_MM)
    closes = np.append(opens[1:], True)
    return OwnPitches(np.stack([starts[opens], stops[closes]], axis=1), float(ends[:, 1].max()))


def best_pitch(rows: Rows, own: OwnPitches) -> tuple[FloatArray, FloatArray]:
    """Return the shortest pitch of every row, and the shift along the strip in the middle of the widest free slot.

    Parameters
    ----------
    rows
        Forbidden runs of the second shape against the first.
    own
        What the shapes' own copies allow.

    Returns
    -------
    pitch, offset
        Shape (rows,) each, mm.
    """
    pitch, offset = np.zeros(len(rows.count)), np.zeros(len(rows.count))
    for count in np.unique(rows.count):
        which = np.flatnonzero(rows.count == count)
        left, right = rows.ends[which, :count, 0], rows.ends[which, :count, 1]
        if count == 0:
            pitch[which], offset[which] = own.least_mm, 0.5 * own.least_mm
        elif count == 1:
            pitch[which] = own.at_least(right[:, 0] - left[:, 0])
            offset[which] = 0.5 * (right[:, 0] + left[:, 0] + pitch[which])
        else:
            pitch[which], offset[which] = _among_several(left, right, own)
    return pitch, offset


def _among_several(left: FloatArray, right: FloatArray, own: OwnPitches) -> tuple[FloatArray, FloatArray]:
    """Return the best pitch and offset of rows with the same number of runs, more than one."""
    least = own.at_least((right - left).max(axis=1))
    # From here on a single slot outside all runs is enough.
    enough = own.at_least(np.maximum(right.max(axis=1) - left.min(axis=1), least))
    apart = (right[:, :, None] - left[:, None, :]).reshape(len(left), -1)
    wraps = max(1, int(np.max(apart.max(axis=1) / least)))
    events = (apart[:, :, None] / np.arange(1, wraps + 1)).reshape(len(left), -1)
    events = np.concatenate([events, np.broadcast_to(own.barred[:, 1], (len(left), len(own.barred)))], axis=1)
    events = own.at_least(np.maximum(events, least[:, None]).reshape(-1)).reshape(events.shape)
    events = np.sort(np.minimum(events, enough[:, None]), axis=1)
    pitch, offset = enough.copy(), np.zeros(len(left))
    start, some, waiting = 0, _FIRST_TRIED, np.arange(len(left))
    while len(waiting):
        # A few a row at a time: most rows end among the first.
        tried = events[waiting, start : start + some]
        row = np.repeat(waiting, tried.shape[1])
        width, middle = _widest_slot(tried.reshape(-1), left[row], right[row])
        free = (width >= -SLACK_MM).reshape(tried.shape)
        found = np.flatnonzero(free.any(axis=1))
        first = np.argmax(free[found], axis=1)
        pitch[waiting[found]] = tried[found, first]
        offset[waiting[found]] = middle.reshape(tried.shape)[found, first]
        waiting = np.delete(waiting, found)
        start, some = start + some, 2 * some
        if start >= events.shape[1]:
            # The last candidate of every row is clear but for rounding.
            offset[waiting] = 0.5 * (right[waiting].max(axis=1) + left[waiting].min(axis=1) + pitch[waiting])
            break
    return pitch, offset


def _widest_slot(pitch: FloatArray, left: FloatArray, right: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the width of the widest slot between runs (n, k) wrapped round each pitch (n,), and its middle.

    Negative widths say by how much runs overlap at best.
    """
    runs = left.shape[1]
    starts = left - np.floor(left / pitch[:, None]) * pitch[:, None]
    ends = starts + (right - left)
    starts = np.sort(starts, axis=1)
    # Of two turns the ends: a slot opens before a start when as many runs have ended as have started by then.
    ends = np.sort(np.concatenate([ends - pitch[:, None], ends], axis=1), axis=1)
    width = starts - ends[:, runs - 1 : -1]
    widest = np.argmax(width, axis=1)
    row = np.arange(len(pitch))
    return width[row, widest], np.asarray((starts[row, widest] - 0.5 * width[row, widest]) % pitch)


def widest_slot(pitch: FloatArray, ends: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the widest free slot for a shape that repeats at a given pitch, and its middle, mm, shape (n,) each.

    Parameters
    ----------
    pitch
        Length of one repeat of each row, shape (n,).
    ends
        Forbidden runs of each row, shape (n, k, 2), inf where it has no more. A run as long as the pitch leaves no
        slot: the width is then negative, as it is, by rounding, at a contact.
    """
    left, right = ends[..., 0], ends[..., 1]
    real: BoolArray = left < np.inf
    none: BoolArray = ~np.any(real, axis=1)
    length = np.where(real, right, 0.0) - np.where(real, left, 0.0)
    # Rows with fewer runs repeat their longest, which changes nothing.
    longest = np.argmax(length, axis=1)[:, None]
    left = np.where(real, left, np.where(none[:, None], 0.0, np.take_along_axis(left, longest, axis=1)))
    right = np.where(real, right, np.where(none[:, None], 0.0, np.take_along_axis(right, longest, axis=1)))
    too_long = length.max(axis=1) - pitch
    width, middle = _widest_slot(pitch, left, right)
    width = np.where(too_long > SLACK_MM, -too_long, np.where(none, pitch, width))
    return np.asarray(width), np.asarray(np.where(none, 0.0, middle))


def is_clear(pitch: FloatArray, ends: FloatArray, offset: FloatArray) -> BoolArray:
    """Return whether an offset (n,), repeated at each pitch (n,), lies in no forbidden run (n, k, 2)."""
    left, right = ends[..., 0], ends[..., 1]
    real = left < np.inf
    left, length = np.where(real, left, 0.0), np.where(real, right, 0.0) - np.where(real, left, 0.0)
    beyond = offset[:, None] - left
    beyond -= np.floor(beyond / pitch[:, None]) * pitch[:, None]
    return np.asarray(~np.any((beyond > SLACK_MM) & (beyond < length - SLACK_MM), axis=1))


def glide_pitch(rows: Rows, own: OwnPitches, *, from_mm: FloatArray | float = 0.0) -> FloatArray:
    """Return the shortest pitch of every row when the second shape stands half a pitch on from the first, (rows,) mm.

    Then no odd multiple of half the pitch may lie in a run. Each pitch that does is raised to where it leaves the run,
    beginning at ``from_mm``.
    """
    left, right = rows.ends[..., 0], rows.ends[..., 1]
    real = left < np.inf
    left, right = np.where(real, left, np.inf), np.where(real, right, -np.inf)
    # A run round 0 bars every pitch up to twice its further end.
    about = (left < 0.0) & (right > 0.0)
    least = np.where(about, 2.0 * np.maximum(right, -left), 0.0).max(axis=1, initial=0.0)
    pitch = own.at_least(np.maximum(np.maximum(least, own.least_mm), from_mm))
    climbing: BoolArray = np.ones(len(pitch), dtype=bool)
    while climbing.any():
        at = np.flatnonzero(climbing)
        half = 0.5 * pitch[at, None]
        with np.errstate(invalid="ignore"):
            multiple = 2.0 * np.floor(0.5 * (left[at] + TOUCH_MM) / half + 0.5) + 1.0
            inside = multiple * half < right[at] - TOUCH_MM
            leaves = 2.0 * np.where(multiple > 0.0, right[at], left[at]) / multiple
        raised = np.where(inside, leaves, 0.0).max(axis=1)
        higher = own.at_least(np.maximum(pitch[at], raised))
        climbing[at] = higher > pitch[at]
        pitch[at] = higher
    return np.asarray(pitch)
