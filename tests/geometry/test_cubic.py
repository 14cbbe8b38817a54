"""Cubics: closed forms over decades of size and accuracy, and exactness under subdivision."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from friezewright.geometry import cubic
from friezewright.geometry.outline import circle

numbers = st.floats(-50.0, 50.0)
curves = st.lists(numbers, min_size=8, max_size=8).map(lambda values: np.array(values).reshape(1, 4, 2))
places = st.floats(0.0, 1.0)


@given(curve=curves, a=places, b=places, t=places)
def test_a_part_of_a_cubic_is_the_cubic(curve, a, b, t):
    part = cubic.restrict(curve, [a], [b])
    assert np.allclose(cubic.evaluate(part, t), cubic.evaluate(curve, a + t * (b - a)), rtol=0, atol=1e-11)


@given(curve=curves, t=st.floats(0.01, 0.99))
def test_derivatives_are_those_of_the_curve(curve, t):
    step = 1e-5
    ahead, here, back = (cubic.evaluate(curve, t + offset) for offset in (step, 0.0, -step))
    # Central differences err by step² times the third derivative (below 2400 here), and by rounding over the step.
    assert np.allclose(cubic.derivative(curve, t), (ahead - back) / (2 * step), rtol=0, atol=1e-6)
    assert np.allclose(cubic.second_derivative(curve, t), (ahead - 2 * here + back) / step**2, rtol=0, atol=1e-2)


@given(curve=curves)
def test_bounds_hold_the_curve_and_touch_it(curve):
    points = cubic.evaluate(curve, np.linspace(0.0, 1.0, 2001))
    low, high = cubic.bounds(curve)
    assert np.all(points >= low - 1e-9)
    assert np.all(points <= high + 1e-9)
    # Near an extreme the curve is a parabola: 2000 steps come within 1e-6 of its second derivative (at most 1200).
    assert np.all(points.min(axis=0) - low < 2e-4)
    assert np.all(high - points.max(axis=0) < 2e-4)


@pytest.mark.parametrize("radius", [1e-3, 1.0, 50.0, 2500.0])
@pytest.mark.parametrize("centre", [(0.0, 0.0), (1000.0, -3000.0)])
def test_a_disc_has_the_area_and_length_of_a_circle(radius, centre):
    disc = circle(centre, radius)
    # Twelve cubics stray by 4e-7 of the radius at most, always outwards.
    assert math.isclose(disc.area_mm2(), math.pi * radius**2, rel_tol=8e-7)
    assert math.isclose(disc.length_mm(), 2.0 * math.pi * radius, rel_tol=8e-7)


def test_the_area_of_a_cubic_loop_by_hand():
    # x = 3 t (1-t)², y = 3 t² (1-t): half the integral of x y' - y x' is 3/20.
    loop = np.array([[[0.0, 0.0], [1.0, 0.0], [0.0, 1.0], [0.0, 0.0]]])
    assert math.isclose(cubic.signed_area(loop), 3.0 / 20.0, rel_tol=1e-15)


@given(curve=curves, shift=st.tuples(numbers, numbers))
def test_area_does_not_depend_on_the_place(curve, shift):
    closed = np.concatenate([curve, cubic.line(curve[:, 3], curve[:, 0])])
    assert math.isclose(cubic.signed_area(closed), cubic.signed_area(closed + np.array(shift)), abs_tol=1e-9)


@given(curve=curves, t=st.floats(0.1, 0.9))
def test_lengths_add_up(curve, t):
    parts = np.concatenate([cubic.restrict(curve, [0.0], [t]), cubic.restrict(curve, [t], [1.0])])
    chords = np.hypot(*np.diff(cubic.evaluate(curve, np.linspace(0.0, 1.0, 4097)), axis=0).T).sum()
    # Cusps are where quadrature is weakest; a per mille holds there too, 1e-7 on smooth curves (next test).
    assert math.isclose(cubic.lengths(parts).sum(), chords, rel_tol=2e-3, abs_tol=1e-9)


def test_the_length_of_a_smooth_cubic_is_right_to_a_ten_millionth():
    random = np.random.default_rng(2)
    # Handles that go forward make curves without cusps.
    curves = np.stack(
        [np.zeros((200, 2)), *(np.array([step, 0.0]) + 0.4 * random.random((200, 2)) for step in (1, 2, 3))], 1
    )
    t = np.linspace(0.0, 1.0, 20001)
    wanted = np.array([np.hypot(*np.diff(cubic.evaluate(curve[None], t), axis=0).T).sum() for curve in curves])
    assert np.allclose(cubic.lengths(curves), wanted, rtol=1e-7, atol=0)


@pytest.mark.parametrize("radius", [0.5, 7.0, 300.0])
def test_the_curvature_of_a_circle(radius):
    disc = circle((4.0, -9.0), radius)
    angle = math.pi / 6.0
    handle = 4.0 / 3.0 * math.tan(angle / 4.0)
    # At the end of a cubic: two thirds of the second handle's height over the first, by its length squared.
    at_ends = 2.0 / 3.0 * (1.0 - math.cos(angle) - handle * math.sin(angle)) / handle**2
    for t in (0.0, 1.0):
        assert np.allclose(cubic.curvature(disc.segments, t) * radius, at_ends, rtol=0, atol=1e-9)
    assert np.allclose(cubic.curvature(disc.segments, 0.5) * radius, 1.0, rtol=0, atol=3e-4)


def test_a_curve_that_stands_still_has_curvature_zero():
    assert cubic.curvature(np.ones((1, 4, 2)), 0.5) == 0.0


@given(curve=curves, decade=st.integers(-5, 0))
def test_chords_stay_within_the_tolerance(curve, decade):
    tolerance = 10.0**decade
    count = int(cubic.chord_counts(curve, np.array([False]), tolerance_mm=tolerance)[0])
    # A few of the chords are enough: the bound is the same for all.
    for k in {0, count // 3, count // 2, count - 1}:
        t = (k + np.linspace(0.0, 1.0, 65)) / count
        points = cubic.evaluate(curve, t)
        chord = points[0] + np.linspace(0.0, 1.0, 65)[:, None] * (points[-1] - points[0])
        assert np.hypot(*(points - chord).T).max() <= tolerance * (1.0 + 1e-9) + 1e-12


def test_no_segments_have_no_bounds():
    with pytest.raises(ValueError, match="no bounds"):
        cubic.bounds(np.zeros((0, 4, 2)))
    assert cubic.signed_area(np.zeros((0, 4, 2))) == 0.0
