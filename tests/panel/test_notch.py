"""Notches: the rim less a shape, by closed forms and by plain counting of areas, with every curve kept."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from friezewright.errors import PanelError
from friezewright.geometry.planar.region import difference, region_of
from friezewright.panel.notch import notched
from friezewright.panel.panel import Opening, Panel
from friezewright.panel.shapes import disc, polygonal, rectangle, slot

RIM = rectangle("rim", (0, 0, 400, 280), 6)
SHARP = rectangle("rim", (0, 0, 400, 280))


def notch(box, radius=0.0) -> Opening:
    return Opening("hinge", rectangle("hinge", box, radius))


@pytest.mark.parametrize(
    ("box", "taken"),
    [
        ((0, 40, 4, 30), 120),  # along the edge, as a hinge recess is written
        ((-2, 40, 6, 30), 120),  # reaching over it
        ((396, 40, 4, 30), 120),
        ((396, 40, 40, 30), 120),
        ((100, 0, 30, 4), 120),
        ((100, 276, 30, 4), 120),
        ((0, 6, 4, 30), 120),  # beginning where the corner's arc ends
        ((0, 0, 20, 20), 400 - (1 - math.pi / 4) * 36),  # over a rounded corner
        ((-5, -5, 25, 25), 400 - (1 - math.pi / 4) * 36),
        ((0, 0, 6, 6), math.pi * 9),  # exactly the corner's own square
        ((0, 0, 400, 20), 8000 - 2 * (1 - math.pi / 4) * 36),  # a whole side
    ],
)
def test_a_notch_takes_what_it_shares_with_the_panel(box, taken):
    rim = notched(RIM, [notch(box)])

    assert RIM.area_mm2() - rim.area_mm2() == pytest.approx(taken, abs=1e-4)
    assert rim.loop_count == 1
    Panel(rim=rim)


def test_edges_stay_lines_and_arcs_stay_curves():
    rim = notched(SHARP, [notch((0, 40, 4, 30))])

    assert rim.is_line.all()
    assert len(rim.segments) == 8
    corners = {tuple(p) for p in rim.segments[:, 0].round(9).tolist()}
    assert corners == {(0, 0), (400, 0), (400, 280), (0, 280), (0, 70), (4, 70), (4, 40), (0, 40)}
    # The rim's own curves are there unchanged.
    rounded = notched(RIM, [notch((0, 40, 4, 30))])
    own = {segment.tobytes() for segment in RIM.segments[~RIM.is_line]}
    assert own == {segment.tobytes() for segment in rounded.segments[~rounded.is_line]}


def test_a_finger_hole_at_the_edge_of_a_round_lid():
    lid = disc("rim", (0, 0), 200)
    rim = notched(lid, [Opening("thumb", disc("thumb", (100, 0), 40))])
    # Area that two circles share, in closed form.
    big, small, apart = 100.0, 20.0, 100.0
    lens = (
        small**2 * math.acos((apart**2 + small**2 - big**2) / (2 * apart * small))
        + big**2 * math.acos((apart**2 + big**2 - small**2) / (2 * apart * big))
        - 0.5 * math.sqrt((small + big - apart) * (apart + small - big) * (apart - small + big) * (apart + small + big))
    )

    # Each circle is drawn 4e-7 of its radius out, along its part of the lens.
    assert lid.area_mm2() - rim.area_mm2() == pytest.approx(lens, abs=4e-7 * (100 * 40 + 20 * 63))
    assert not rim.is_line.any()


def test_several_notches_are_taken_one_after_the_other():
    openings = [notch((0, 40, 4, 30)), notch((0, 200, 4, 30)), notch((396, 100, 4, 30), 1.0)]
    rim = notched(SHARP, openings)

    assert SHARP.area_mm2() - rim.area_mm2() == pytest.approx(360 - (4 - math.pi), abs=1e-4)


def test_no_notches_change_nothing():
    assert notched(RIM, []) is RIM


@pytest.mark.parametrize(
    ("opening", "message"),
    [
        (notch((10, 10, 5, 5)), 'notch "hinge" lies inside the rim near .10.00, 10.00. mm; make it a cutout'),
        (notch((500, 0, 5, 5)), "does not reach the panel"),
        (notch((-5, 40, 5, 30)), "does not reach the panel"),
        (notch((100, -5, 5, 400)), "cuts the panel in two"),
        (notch((100, 0, 5, 280)), "cuts the panel in two"),
        (notch((-10, -10, 500, 500)), "takes the whole panel away"),
    ],
)
def test_a_notch_that_is_none_is_named(opening, message):
    with pytest.raises(PanelError, match=message):
        notched(RIM, [opening])


@settings(deadline=None)
@given(
    x=st.integers(-20, 400),
    y=st.integers(-20, 280),
    width=st.integers(1, 60),
    height=st.integers(1, 60),
    radius=st.sampled_from([0.0, 0.5]),
    round_rim=st.booleans(),
)
def test_a_notch_agrees_with_the_planar_engine(x, y, width, height, radius, round_rim):
    rim = RIM if round_rim else SHARP
    opening = notch((x, y, width, height), radius)
    expected = difference(region_of(rim), region_of(opening.outline))
    try:
        outline = notched(rim, [opening])
    except PanelError:
        shared = region_of(rim).area_mm2() - expected.area_mm2()
        inside = x >= 0 and y >= 0 and x + width <= 400 and y + height <= 280
        # Refused only where there is nothing to take, all of it is inside, or it leaves no whole panel.
        assert shared < 1e-3 or inside or len(expected.components()) != 1
        return

    assert outline.area_mm2() == pytest.approx(expected.area_mm2(), abs=0.002 * 60)
    ends = outline.segments[:, 3]
    np.testing.assert_array_equal(ends, np.roll(outline.segments[:, 0], -1, axis=0))


@settings(deadline=None)
@given(angle=st.floats(0, 2 * math.pi), depth=st.floats(0.5, 30), width=st.floats(1, 40))
def test_a_slanted_notch_in_a_round_lid(angle, depth, width):
    lid = disc("rim", (0, 0), 200)
    c, s = math.cos(angle), math.sin(angle)
    corners = [(100 - depth, -width / 2), (130, -width / 2), (130, width / 2), (100 - depth, width / 2)]
    opening = Opening("slant", polygonal("slant", [(c * u - s * v, s * u + c * v) for u, v in corners]))
    rim = notched(lid, [opening])
    # The circle's part over the chord at distance r - depth, cut to the notch's width: an integral in closed form.
    half, base = width / 2, 100 - depth
    if half < math.sqrt(1e4 - base**2):
        over = half * math.sqrt(1e4 - half**2) + 1e4 * math.asin(half / 100) - 2 * half * base
    else:
        over = 1e4 * math.acos(base / 100) - base * math.sqrt(1e4 - base**2)

    assert lid.area_mm2() - rim.area_mm2() == pytest.approx(over, abs=1e-4 + 1e-6 * over + 5e-5 * width)


def test_a_slot_notch_keeps_its_round_end():
    rim = notched(SHARP, [Opening("pull", slot("pull", (180, -30, 40, 60)))])

    assert SHARP.area_mm2() - rim.area_mm2() == pytest.approx(10 * 40 + math.pi * 200, rel=1e-6)
    assert (~rim.is_line).sum() == 6
