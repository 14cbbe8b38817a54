"""Regions: areas with closed forms, the laws of sets, and distances."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from friezewright.geometry.outline import Outline, circle, concatenate, polygon, rounded_rectangle
from friezewright.geometry.planar import region as r
from friezewright.testing import assert_closed, assert_outlines_close, assert_wound

SQUARE = polygon([(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)])


@pytest.mark.parametrize("decade", [-1, -2, -3, -4, -5])
def test_a_polygon_comes_as_near_to_its_curve_as_asked(decade):
    tolerance = 10.0**decade
    disc = r.region_of(circle((3.0, 4.0), 20.0), tolerance_mm=tolerance)
    lost = math.pi * 400.0 - disc.area_mm2()
    # Chords lie inside, by two thirds of their sagitta on average.
    assert -1e-3 < lost < 2.0 * math.pi * 20.0 * tolerance


def test_holes_are_taken_off_whatever_their_order(make):
    shape = make.motif()
    inside_out = concatenate([shape.selected([2]), shape.selected([1]), shape.selected([0])])
    assert r.region_of(inside_out).area_mm2() == pytest.approx(r.region_of(shape).area_mm2(), abs=1e-12)
    assert r.region_of(shape, tolerance_mm=1e-6).area_mm2() == pytest.approx(shape.area_mm2(), abs=1e-4)


def test_an_island_in_a_hole_is_an_area_of_its_own():
    target = concatenate(
        [circle((0, 0), 4.0), circle((0, 0), 3.0).reversed(), circle((0, 0), 2.0), circle((0, 0), 1.0).reversed()]
    )
    region = r.region_of(target, tolerance_mm=1e-6)
    assert region.area_mm2() == pytest.approx(math.pi * (16 - 9 + 4 - 1), rel=1e-6)
    assert [round(part.area_mm2() / math.pi) for part in region.components()] == [7, 3]


def test_components_come_from_the_top_down():
    spots = [(5.0, 9.0), (20.0, 1.0), (1.0, 1.0)]
    together = r.union(*(r.region_of(circle(spot, 0.5)) for spot in spots))
    assert [tuple(np.round(part.bounds().mean(axis=0), 6)) for part in together.components()] == [
        (1.0, 1.0),
        (20.0, 1.0),
        (5.0, 9.0),
    ]


@given(x=st.floats(-12.0, 12.0), y=st.floats(-12.0, 12.0), radius=st.floats(0.1, 9.0))
@settings(max_examples=40, deadline=None)
def test_what_is_shared_and_what_is_left_make_up_the_whole(x, y, radius):
    a, b = r.region_of(SQUARE), r.region_of(circle((x, y), radius))
    shared, left = r.intersection(a, b), r.difference(a, b)
    assert shared.area_mm2() + left.area_mm2() == pytest.approx(100.0, abs=1e-9)
    assert r.union(a, b).area_mm2() == pytest.approx(100.0 + b.area_mm2() - shared.area_mm2(), abs=1e-9)


@pytest.mark.parametrize("distance", [0.05, 1.0, 4.0])
def test_insets_and_outsets_of_a_square(distance):
    square = r.region_of(SQUARE)
    assert r.inset(square, distance).area_mm2() == pytest.approx((10.0 - 2 * distance) ** 2, abs=1e-9)
    assert r.outset(square, distance, mitred=True).area_mm2() == pytest.approx((10.0 + 2 * distance) ** 2, abs=1e-9)
    rounded = 100.0 + 40.0 * distance + math.pi * distance**2
    assert rounded - 0.01 < r.outset(square, distance).area_mm2() < rounded
    assert r.inset(square, 5.1).is_empty


@given(seed=st.integers(0, 200), distance=st.floats(0.2, 12.0))
@settings(max_examples=20, deadline=None)
def test_no_inset_comes_nearer_than_half_a_micrometre_less_than_asked(make, seed, distance):
    region = r.region_of(make.blob(30, 50.0, seed, rough=0.5))
    shrunk = r.inset(region, distance)
    if shrunk.is_empty:
        return
    edges = r.edges_of(shrunk)
    away = r.distance_to_edge(region, np.concatenate([edges[:, 0], edges.mean(axis=1)]))
    assert away.min() >= distance - 0.0005
    assert away.min() <= distance + 1e-6


def test_a_distance_must_be_a_distance():
    for wrong in (-1.0, math.nan, math.inf):
        with pytest.raises(ValueError, match="0 or more"):
            r.inset(r.region_of(SQUARE), wrong)
    assert r.inset(r.region_of(SQUARE), 0.0).area_mm2() == 100.0


def test_an_empty_region_answers():
    nothing = r.empty()
    assert nothing.is_empty
    assert nothing.area_mm2() == 0.0
    assert nothing.components() == ()
    assert r.outline_of(nothing).loop_count == 0
    assert r.union().is_empty
    assert r.inset(nothing, 1.0).is_empty
    assert not r.contains_points(nothing, np.zeros((2, 2))).any()
    assert np.isinf(r.distance_to_edge(nothing, np.zeros((2, 2)))).all()
    with pytest.raises(ValueError, match="no bounds"):
        nothing.bounds()
    with pytest.raises(ValueError, match="no disc"):
        r.largest_disc(nothing)


def test_distances_to_the_edge_are_measured_on_both_sides():
    region = r.difference(r.region_of(SQUARE), r.region_of(circle((5.0, 5.0), 2.0), tolerance_mm=1e-6))
    points = np.array([[5.0, 5.0], [1.0, 5.0], [-3.0, -4.0], [5.0, 2.5]])
    assert np.allclose(r.distance_to_edge(region, points), [2.0, 1.0, 5.0, 0.5], rtol=0, atol=1e-5)
    assert r.contains_points(region, points).tolist() == [False, True, False, True]


def test_the_largest_disc_in_an_l():
    centre, radius = r.largest_disc(r.region_of(polygon([(0, 0), (10, 0), (10, 4), (4, 4), (4, 10), (0, 10)])))
    # On the diagonal the reflex corner decides: r = sqrt(2) (4 - r).
    assert radius == pytest.approx(4.0 * math.sqrt(2.0) / (1.0 + math.sqrt(2.0)), abs=0.01)
    assert centre == pytest.approx((radius, radius), abs=0.02)


def test_outlines_come_back_with_their_curves():
    panel = rounded_rectangle((0.0, 0.0), (60.0, 40.0), 6.0)
    hole = circle((20.0, 20.0), 9.0)
    found = r.outline_of(r.difference(r.region_of(panel), r.region_of(hole)))
    assert found.loop_count == 2
    assert len(found.segments) <= 4 + 12 + 10
    assert found.is_line.sum() == 4
    assert_closed(found)
    assert_wound(found)
    assert_outlines_close(found, concatenate([panel, hole.reversed()]), tolerance_mm=2e-4)
    assert found.area_mm2() == pytest.approx(panel.area_mm2() - hole.area_mm2(), abs=0.01)


@given(seed=st.integers(0, 200), distance=st.floats(0.3, 4.0))
@settings(max_examples=15, deadline=None)
def test_the_outline_of_an_inset_stays_near_its_polygon(make, seed, distance):
    region = r.inset(r.region_of(make.blob(16, 20.0, seed)), distance)
    found = r.outline_of(region)
    again = r.region_of(found)
    stray = r.union(r.difference(again, region), r.difference(region, again)).area_mm2()
    assert stray <= 0.0025 * sum(np.hypot(*(edge[1] - edge[0])) for edge in r.edges_of(region)) + 1e-9
    assert_wound(found)


BOWTIE = polygon([(0.0, 0.0), (2.0, 2.0), (2.0, 0.0), (0.0, 2.0)])


def test_crossings_are_found_and_touching_is_none():
    assert r.self_crossing(BOWTIE, tolerance_mm=0.01) == pytest.approx((1.0, 1.0))
    overlapping = concatenate([circle((0.0, 0.0), 2.0), circle((3.0, 0.0), 2.0)])
    x, y = r.self_crossing(overlapping, tolerance_mm=0.001)
    assert (x, abs(y)) == pytest.approx((1.5, math.sqrt(4.0 - 2.25)), abs=2e-3)
    touching = concatenate([SQUARE, polygon([(10.0, 10.0), (12.0, 10.0), (12.0, 12.0)])])
    assert r.self_crossing(touching, tolerance_mm=0.01) is None


def test_no_shape_drawn_for_a_test_crosses_itself(make):
    for seed in range(20):
        assert r.self_crossing(make.motif(seed), tolerance_mm=0.001) is None


def test_what_crosses_itself_is_read_by_the_even_odd_rule():
    assert r.region_of(BOWTIE).area_mm2() == pytest.approx(2.0, abs=1e-9)


def test_an_outline_without_loops_is_empty():
    assert r.region_of(Outline(np.zeros((0, 4, 2)), np.zeros(0, bool), np.zeros(1, int))).is_empty
