"""Fitting whole repeats into lengths: pure numbers.

A closed length takes ``n`` repeats of ``L = n P'``. An open one takes ``L = k0 + (n - 1) P' + w(P') + k1``: between the
two ends there are only ``n - 1`` whole pitches, and the last repeat needs the width ``w`` of its copies, which in a
nested strip is more than its pitch. What is left over by rounding ``n`` down is absorbed in a fixed order:

1. by the allowances ``k`` at the corners, as far as is comfortable,
2. by the gaps between repeats, up to a share of the asked gap, never below it,
3. by the allowances, as far as is bearable,
4. by stretching the strip along itself by up to three in a hundred.

Before the stretch the caller may try another uniform scale for the whole border.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

__all__ = ["MOST_STRETCH", "Allowance", "Span", "SpanFit", "fit_span", "rising_root"]

MOST_STRETCH = 0.03
"""A motif may be drawn out along its strip by this share: beside its neighbours nobody sees it (looked at)."""

# Rounding of a count must not depend on the last bits of a length: 22.9999999 repeats are 23.
_SLACK = 1e-7


@dataclass(frozen=True, slots=True)
class Allowance:
    """What an end of a span keeps free of copies, in mm: at least, comfortably, and at most."""

    least_mm: float
    easy_mm: float
    most_mm: float

    def __post_init__(self) -> None:
        if not self.least_mm <= self.easy_mm <= self.most_mm:
            raise ValueError(f"an allowance must not fall: {self.least_mm}, {self.easy_mm}, {self.most_mm}")

    @classmethod
    def fixed(cls, length_mm: float) -> Allowance:
        """Return an end that gives nothing."""
        return cls(length_mm, length_mm, length_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A length to be filled with whole repeats.

    Parameters
    ----------
    length_mm
        Length from corner point to corner point, or once round.
    pitch_mm
        Least pitch at which the gap is kept.
    width_of
        Width in mm of one repeat's copies at a pitch, rising with it; unused when closed.
    slack_mm
        By how much a pitch may exceed the least one.
    start, end
        What the ends keep free; None when closed.
    turns
        On a closed length, the number the count should be a multiple of, for symmetry.
    """

    length_mm: float
    pitch_mm: float
    width_of: Callable[[float], float]
    slack_mm: float
    start: Allowance | None = None
    end: Allowance | None = None
    turns: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class SpanFit:
    """How a span is filled.

    ``start_mm`` and ``end_mm`` are what its ends keep free; ``stretch`` is 1 when shapes keep their length;
    ``spare_mm`` is what the freedoms could not absorb; the ends, or on a closed length the gaps, took it all the same.
    """

    count: int
    pitch_mm: float
    start_mm: float = 0.0
    end_mm: float = 0.0
    stretch: float = 1.0
    spare_mm: float = 0.0

    @property
    def fits(self) -> bool:
        """Whether at least one repeat is there and nothing was left over."""
        return self.count > 0 and self.spare_mm <= _SLACK


def fit_span(span: Span, *, stretch: bool) -> SpanFit:
    """Return how many repeats a span takes and how the rest is absorbed.

    Parameters
    ----------
    span
        What to fill.
    stretch
        Whether the shapes may be drawn out along the strip too.

    Examples
    --------
    Ten repeats of 9 mm with copies 8 mm wide take 89 mm; the missing 1.8 mm open the nine spaces by 0.2 mm each.

    >>> ends = Allowance.fixed(0.0)
    >>> row = Span(length_mm=90.8, pitch_mm=9.0, width_of=lambda pitch: 8.0, slack_mm=0.5, start=ends, end=ends)
    >>> fit = fit_span(row, stretch=False)
    >>> fit.count, round(fit.pitch_mm, 6), fit.fits
    (10, 9.2, True)
    """
    if span.start is None or span.end is None:
        return _closed(span, stretch=stretch)
    return _open(span, span.start, span.end, stretch=stretch)


def _closed(span: Span, *, stretch: bool) -> SpanFit:
    count = math.floor(span.length_mm / span.pitch_mm + _SLACK)
    if count < 1:
        return SpanFit(count=0, pitch_mm=span.pitch_mm, spare_mm=span.length_mm)
    even = count - count % span.turns
    if even > 0 and span.length_mm / even <= span.pitch_mm + span.slack_mm + _SLACK:
        count = even
    pitch = span.length_mm / count
    factor, spare = 1.0, max(0.0, pitch - span.pitch_mm - span.slack_mm)
    if stretch and spare > _SLACK:
        factor = min(1.0 + MOST_STRETCH, pitch / (span.pitch_mm + span.slack_mm))
        spare = max(0.0, pitch - factor * (span.pitch_mm + span.slack_mm))
    return SpanFit(count=count, pitch_mm=pitch, stretch=factor, spare_mm=spare * count)


def _open(span: Span, start: Allowance, end: Allowance, *, stretch: bool) -> SpanFit:
    free = span.length_mm - start.least_mm - end.least_mm
    least = span.pitch_mm
    count = math.floor((free - span.width_of(least)) / least + _SLACK) + 1
    if count < 1:
        return SpanFit(count=0, pitch_mm=least, start_mm=start.least_mm, end_mm=end.least_mm, spare_mm=max(free, 0.0))
    rest = max(0.0, free - _length(span, count, least))

    taken, rest = _shared(rest, start.easy_mm - start.least_mm, end.easy_mm - end.least_mm)
    kept = (start.least_mm + taken[0], end.least_mm + taken[1])
    pitch = least
    if rest > 0.0:
        pitch = _pitch_for(span, count, _length(span, count, least) + rest)
        rest = max(0.0, rest - (_length(span, count, pitch) - _length(span, count, least)))
    taken, rest = _shared(rest, start.most_mm - start.easy_mm, end.most_mm - end.easy_mm)
    kept = (kept[0] + taken[0], kept[1] + taken[1])
    factor = 1.0
    if stretch and rest > _SLACK:
        drawn = _length(span, count, pitch)
        factor = min(1.0 + MOST_STRETCH, (drawn + rest) / drawn)
        rest = max(0.0, rest - (factor - 1.0) * drawn)
    return SpanFit(
        count=count,
        pitch_mm=pitch * factor,
        start_mm=kept[0] + 0.5 * rest,
        end_mm=kept[1] + 0.5 * rest,
        stretch=factor,
        spare_mm=rest if rest > _SLACK else 0.0,
    )


def _length(span: Span, count: int, pitch_mm: float) -> float:
    return (count - 1) * pitch_mm + span.width_of(pitch_mm)


def _shared(rest: float, first: float, second: float) -> tuple[tuple[float, float], float]:
    """Return what two ends take of a rest, half each as far as they can, and what is left."""
    half = 0.5 * rest
    a, b = min(half, first), min(half, second)
    a, b = min(first, a + (half - b)), min(second, b + (half - a))
    return (a, b), max(0.0, rest - a - b)


def _pitch_for(span: Span, count: int, length_mm: float) -> float:
    """Return the pitch at which ``count`` repeats take a length, or the largest allowed one."""
    high = span.pitch_mm + span.slack_mm
    if _length(span, count, high) <= length_mm:
        return high
    return rising_root(lambda pitch: _length(span, count, pitch) - length_mm, span.pitch_mm, high)


def rising_root(function: Callable[[float], float], low: float, high: float) -> float:
    """Return where a rising function of straight pieces is 0 between two places, to the last bits.

    On one straight piece the first chord meets it; halving every third step makes sure of the others.
    """
    below, above = function(low), function(high)
    for step in range(120):
        if below >= 0.0 or high - low <= 1e-13 * max(1.0, abs(high)):
            return low
        if above <= 0.0:
            return high
        middle = 0.5 * (low + high) if step % 3 == 2 else low - below * (high - low) / (above - below)
        found = function(middle)
        if abs(found) <= 1e-12:
            return middle
        if found < 0.0:
            low, below = middle, found
        else:
            high, above = middle, found
    return low
