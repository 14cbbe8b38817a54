from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from friezewright.ornament.fit import MOST_STRETCH, Allowance, Span, fit_span, rising_root

ENDS = Allowance(2.0, 3.0, 5.0)


def row(length: float, *, pitch: float = 10.0, width: float = 9.0, slack: float = 0.5, ends: Allowance = ENDS) -> Span:
    return Span(
        length_mm=length,
        pitch_mm=pitch,
        width_of=lambda at: width + 0.5 * (at - pitch),
        slack_mm=slack,
        start=ends,
        end=ends,
    )


def test_an_exact_length_needs_no_freedom() -> None:
    fit = fit_span(row(4.0 + 9 * 10.0 + 9.0), stretch=True)

    assert (fit.count, fit.pitch_mm, fit.start_mm, fit.end_mm, fit.stretch, fit.spare_mm) == (
        10,
        10.0,
        2.0,
        2.0,
        1.0,
        0,
    )


@pytest.mark.parametrize(
    ("rest", "allowance", "pitch"),
    [
        (1.0, 2.5, 10.0),  # the corners take it
        (2.0, 3.0, 10.0),  # just comfortable
        (2.0 + 9.5 * 0.2, 3.0, 10.2),  # then nine spaces, and the last copy's own half
        (2.0 + 9.5 * 0.5 + 1.0, 3.5, 10.5),  # then the corners again
    ],
)
def test_freedoms_are_used_in_their_order(rest: float, allowance: float, pitch: float) -> None:
    fit = fit_span(row(4.0 + 99.0 + rest), stretch=False)

    assert fit.count == 10
    assert fit.fits
    assert math.isclose(fit.start_mm, allowance, abs_tol=1e-9)
    assert math.isclose(fit.end_mm, allowance, abs_tol=1e-9)
    assert math.isclose(fit.pitch_mm, pitch, abs_tol=1e-9)


def test_stretch_comes_last_and_what_is_left_is_said() -> None:
    # Two repeats: 19 mm, corners take 6, the one space 0.75; 3 in a hundred of 19.75 is 0.5925.
    span = row(4.0 + 19.0 + 6.0 + 0.75 + 1.0)

    fit = fit_span(span, stretch=True)

    assert math.isclose(fit.stretch, 1.0 + MOST_STRETCH)
    assert math.isclose(fit.spare_mm, 1.0 - 0.5925, abs_tol=1e-9)
    assert not fit.fits


def test_a_side_too_short_stays_empty() -> None:
    assert fit_span(row(12.9), stretch=True).count == 0
    assert fit_span(row(13.0), stretch=True).count == 1


@given(
    length=st.floats(15.0, 900.0),
    pitch=st.floats(4.0, 40.0),
    overhang=st.floats(0.6, 1.6),
    slack=st.floats(0.0, 2.0),
    stretch=st.booleans(),
)
def test_a_side_is_filled_exactly(length: float, pitch: float, overhang: float, slack: float, stretch: bool) -> None:
    span = row(length, pitch=pitch, width=overhang * pitch, slack=slack)
    fit = fit_span(span, stretch=stretch)
    assume(fit.count > 0)

    drawn = fit.pitch_mm / fit.stretch
    used = fit.stretch * ((fit.count - 1) * drawn + span.width_of(drawn))
    assert math.isclose(fit.start_mm + used + fit.end_mm, length, rel_tol=0, abs_tol=1e-9 * length + 2e-7 * pitch)
    assert pitch - 1e-12 <= drawn <= pitch + slack + 1e-12
    assert 1.0 <= fit.stretch <= 1.0 + MOST_STRETCH
    assert fit.start_mm >= ENDS.least_mm
    assert math.isclose(fit.start_mm, fit.end_mm, abs_tol=1e-9)
    # One more would not have found room.
    assert (fit.count * pitch + span.width_of(pitch)) + 2 * ENDS.least_mm > length - 1e-6 * pitch


@given(length=st.floats(30.0, 3000.0), pitch=st.floats(4.0, 25.0), slack=st.floats(0.0, 2.0), turns=st.integers(1, 4))
def test_a_ring_closes(length: float, pitch: float, slack: float, turns: int) -> None:
    fit = fit_span(
        Span(length_mm=length, pitch_mm=pitch, width_of=lambda at: at, slack_mm=slack, turns=turns), stretch=False
    )

    assert math.isclose(fit.count * fit.pitch_mm, length, rel_tol=1e-12)
    assert fit.pitch_mm >= pitch * (1 - 1e-6)
    even = math.floor(length / pitch + 1e-9) // turns * turns
    if even and length / even <= pitch + slack - 1e-6:
        assert fit.count % turns == 0


def test_last_bits_of_a_length_do_not_change_a_count() -> None:
    counts = {fit_span(row(103.0 + wobble), stretch=False).count for wobble in (-1e-9, 0.0, 1e-9)}

    assert counts == {10}


@given(breaks=st.lists(st.floats(0.01, 5.0), min_size=1, max_size=5), target=st.floats(0.1, 30.0))
def test_a_root_of_straight_pieces_is_met(breaks: list[float], target: float) -> None:
    def rising(x: float) -> float:
        return x + sum(max(0.0, x - at) for at in breaks) - target

    found = rising_root(rising, 0.0, 31.0)

    assert abs(rising(found)) < 1e-9
