"""Rims and openings from figures: closed forms for their areas, and one clear error for figures that cannot be."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from friezewright.errors import PanelError
from friezewright.panel.shapes import disc, polygonal, rectangle, slot

SIZE = st.floats(0.5, 5000.0)
PLACE = st.floats(-1000.0, 1000.0)
L_SHAPE = [(0, 0), (300, 0), (300, 100), (100, 100), (100, 200), (0, 200)]


@settings(deadline=None)
@given(x=PLACE, y=PLACE, diameter=SIZE)
def test_a_disc_has_its_area_and_its_box(x, y, diameter):
    outline = disc("window", (x, y), diameter)

    # Twelve cubics a circle stray by less than 4e-7 of the radius.
    assert outline.area_mm2() == pytest.approx(math.pi * diameter**2 / 4, rel=1e-6)
    assert outline.bounds().ravel().tolist() == pytest.approx(
        [x - diameter / 2, y - diameter / 2, x + diameter / 2, y + diameter / 2], abs=1e-6 * diameter
    )


@settings(deadline=None)
@given(x=PLACE, y=PLACE, width=SIZE, height=SIZE, share=st.floats(0.0, 1.0))
def test_a_rectangle_loses_its_corners(x, y, width, height, share):
    radius = share * min(width, height) / 2
    outline = rectangle("rim", (x, y, width, height), radius)

    assert outline.area_mm2() == pytest.approx(width * height - (4 - math.pi) * radius**2, rel=1e-6)
    assert outline.bounds().ravel().tolist() == pytest.approx([x, y, x + width, y + height], abs=1e-6 * radius + 1e-9)
    assert outline.loop_count == 1


def test_a_slot_has_round_or_square_ends():
    assert slot("handle", (330, 90, 18, 100)).area_mm2() == pytest.approx(18 * 82 + math.pi * 81, rel=1e-6)
    assert slot("handle", (330, 90, 100, 18)).area_mm2() == pytest.approx(18 * 82 + math.pi * 81, rel=1e-6)
    assert slot("handle", (330, 90, 18, 100), ends="square").area_mm2() == pytest.approx(1800)


def test_an_l_is_rounded_outside_and_inside():
    radius = 20
    outline = polygonal("rim", L_SHAPE, radius)

    # Five corners lose (1 - pi/4) r², the inner one gains it.
    assert outline.area_mm2() == pytest.approx(40000 - 4 * (1 - math.pi / 4) * radius**2, rel=1e-6)
    assert polygonal("rim", L_SHAPE[::-1], radius).area_mm2() == pytest.approx(outline.area_mm2())


def test_a_corner_written_twice_counts_once():
    twice = [corner for corner in L_SHAPE for _ in range(2)] + [L_SHAPE[0]]

    assert len(polygonal("rim", twice).segments) == 6


NAN = float("nan")


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: disc("window", (10, 20), 0), "window has a diameter of 0 mm near .10.00, 20.00. mm; give one above"),
        (lambda: disc("window", (10, 20), -3), "diameter of -3"),
        (lambda: disc("window", (NAN, 20), 3), "nan in its centre"),
        (lambda: disc("window", (10, 20), math.inf), "inf in its diameter"),
        (lambda: disc("window", (1e6, 20), 3), "up to 5000 mm"),
        (lambda: rectangle("rim", (0, 0, 0, 5)), "width of 0"),
        (lambda: rectangle("rim", (0, 0, 5, -1)), "height of -1"),
        (lambda: rectangle("rim", (0, 0, 5, NAN)), "nan"),
        (lambda: rectangle("rim", (0, 0, 20, 10), 5.1), "corner radius of 5.1 mm.*from 0 to 5 mm"),
        (lambda: rectangle("rim", (0, 0, 20, 10), -1), "corner radius of -1"),
        (lambda: slot("handle", (0, 0, 20, 10), ends="pointed"), '\'pointed\'.*"round" or "square"'),
        (lambda: slot("handle", (0, 0, 20, 0)), "height of 0"),
        (lambda: polygonal("rim", [(0, 0), (1, 0)]), "2 different corners"),
        (lambda: polygonal("rim", []), "0 different corners"),
        (lambda: polygonal("rim", [(0, 0), (0, 0), (5, 5), (5, 5)]), "2 different corners"),
        (lambda: polygonal("rim", [(0, 0), (1, NAN), (2, 2)]), "nan"),
        (lambda: polygonal("rim", L_SHAPE, 51), "up to 50.00 mm"),
        (lambda: polygonal("rim", L_SHAPE, -1), "0 or more"),
    ],
)
def test_figures_that_cannot_be_are_named(make, message):
    with pytest.raises(PanelError, match=message):
        make()


def test_the_largest_radius_that_fits_is_taken():
    assert polygonal("rim", L_SHAPE, 50).area_mm2() == pytest.approx(40000 - 4 * (1 - math.pi / 4) * 2500, rel=1e-6)
