"""Marks of strips that can be told by hand, and the order a designer would put plain cases in."""

import numpy as np
import pytest

from friezewright.geometry import affine
from friezewright.geometry.artwork import Placements
from friezewright.geometry.outline import Outline, polygon
from friezewright.pattern.rank import CALM, LIVELY, WEIGHTS, marks_of, weights_for
from friezewright.pattern.repeat import Repeat, repeat_of

SQUARE = polygon([(-5, -5), (5, -5), (5, 5), (-5, 5)])
# An elbow: two arms of equal width; a half-turned copy fits into its bay.
ELBOW = polygon([(-5, -5), (-1, -5), (-1, 1), (5, 1), (5, 5), (-5, 5)])


def laid(shape: Outline, pitch: float, *maps) -> Repeat:
    matrix = np.stack(maps)
    cell = Placements(matrix=matrix, shape=np.zeros(len(maps), int), member=np.arange(len(maps)))
    return repeat_of(np.array([[pitch, 0.0]]), (shape,), cell)


def moved(x: float, y: float = 0.0, turn: float = 0.0):
    return affine.compose(affine.translation((x, y)), affine.rotation(turn))


def test_squares_in_a_row_save_nothing_and_have_straight_edges_and_an_even_channel():
    strip = laid(SQUARE, 11.0, moved(0))
    marks = marks_of(strip, box_mm=(10.0, 10.0), gap_mm=1.0)

    assert marks.length_saved == pytest.approx(0.0, abs=1e-12)
    assert marks.tightness == pytest.approx(0.3)
    assert marks.bays == 0.5
    assert marks.bay_filled == 0.0
    # The ground recedes only in the channel, one eleventh of the length, on both edges.
    assert marks.straight_edge == pytest.approx(1.0 - 2.0 / 11.0 / 0.8, abs=0.03)
    # Ink smoothed over a quarter of the pitch dips by 1 / 2.75 in a trapezoid 1.75 mm wide with ramps of 1 mm: the
    # squared deviation is 0.0252 of the squared mean.
    assert marks.balance == pytest.approx(1.0 / (1.0 + 4.0 * 0.0252), abs=0.015)
    assert marks.even_gap == pytest.approx(1.0, abs=0.05)
    assert marks.rhythm == pytest.approx(0.6)


def test_a_wider_gap_lowers_the_marks_for_channel_and_void():
    near, far = (marks_of(laid(SQUARE, pitch, moved(0)), box_mm=(10.0, 10.0), gap_mm=1.0) for pitch in (11.0, 18.0))

    assert far.even_gap < 0.6 * near.even_gap
    assert far.void < near.void
    assert far.total() < near.total()


def test_a_bay_filled_by_the_partner_is_measured_as_its_area():
    strip = laid(ELBOW, 11.0, moved(0), moved(-1.5, -4.5, np.pi))
    marks = marks_of(strip, box_mm=(10.0, 10.0), gap_mm=0.5)

    # The bay is the triangle (-1, -5), (5, 1), (-1, 1) of 18 mm²; the partner's arm covers x from -0.5 to 3.5 in it
    # down to y = 0.5, which is the integral of 4.5 - x: 12 mm².
    assert marks.bay_filled == pytest.approx(12.0 / 18.0, abs=1e-6)
    assert marks.bays == pytest.approx(1.0)


def test_a_real_pair_is_ranked_before_the_plain_row_of_the_same_motif():
    plain = marks_of(laid(ELBOW, 10.5, moved(0)), box_mm=(10.0, 10.0), gap_mm=0.5)
    pair = marks_of(laid(ELBOW, 11.0, moved(0), moved(-1.5, -4.5, np.pi)), box_mm=(10.0, 10.0), gap_mm=0.5)

    assert pair.total() > plain.total()


@pytest.mark.parametrize("liveliness", [CALM, 0.25, 0.5, 0.9, LIVELY])
def test_weights_always_sum_to_one(liveliness):
    assert sum(weights_for(liveliness).values()) == pytest.approx(1.0)


def test_calm_weighs_edges_more_and_lively_weighs_tightness_more():
    calm, between, lively = (weights_for(value) for value in (CALM, 0.5, LIVELY))

    assert calm["straight_edge"] > between["straight_edge"] > lively["straight_edge"]
    assert calm["tightness"] < between["tightness"] < lively["tightness"]
    assert between == pytest.approx(WEIGHTS)


def test_marks_are_those_of_the_strip_wherever_its_cell_starts():
    first = laid(ELBOW, 11.0, moved(0), moved(-1.5, -4.5, np.pi))
    second = laid(ELBOW, 11.0, moved(11.0), moved(-1.5, -4.5, np.pi))

    a, b = (marks_of(strip, box_mm=(10.0, 10.0), gap_mm=0.5) for strip in (first, second))

    assert a.total() == pytest.approx(b.total(), abs=0.02)
