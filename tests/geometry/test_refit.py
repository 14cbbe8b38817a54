"""Curves from polylines: few, within the tolerance, corners kept."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from friezewright.geometry import cubic
from friezewright.geometry.outline import Outline, circle, polygon, rounded_rectangle
from friezewright.geometry.refit import refit_closed, refit_open
from friezewright.testing import assert_outlines_close

SAMPLED = 0.001


def refitted(outline, tolerance=0.0005):
    points = outline.flattened(tolerance_mm=SAMPLED)[0][:-1]
    fit = refit_closed(points, tolerance_mm=tolerance, sampled_mm=SAMPLED)
    return points, fit, Outline(fit.segments, fit.is_line, np.array([0, len(fit.segments)]))


@pytest.mark.parametrize("radius", [0.1, 1.0, 9.0, 50.0, 120.0])
def test_a_disc_becomes_its_own_circle_again(radius):
    points, fit, _ = refitted(circle((30.0, -7.0), radius))
    # Not within the sampling but far nearer: the vertices lie on the circle, and arcs are fitted through them.
    away = np.hypot(*(cubic.evaluate(fit.segments[:, None], np.linspace(0, 1, 65)) - (30.0, -7.0)).T) - radius
    assert np.abs(away).max() < 1.2e-4
    assert 4 <= len(fit.segments) <= max(5, 0.11 * len(points))
    assert not fit.is_line.any()


@pytest.mark.parametrize("radius", [0.5, 3.0, 9.0, 20.0])
def test_a_rounded_rectangle_becomes_lines_and_arcs(radius):
    wanted = rounded_rectangle((0.0, 0.0), (100.0, 40.0), radius)
    _, fit, found = refitted(wanted)
    assert fit.is_line.sum() == (4 if radius < 20.0 else 2)
    assert len(fit.segments) <= 4 + 4 * math.ceil(math.pi / 2 / 0.6)
    assert_outlines_close(found, wanted, tolerance_mm=2e-4)


@pytest.mark.parametrize("corners", [3, 4, 6, 12, 40])
def test_a_polygon_stays_one(corners):
    angle = 2.0 * np.pi * np.arange(corners) / corners
    points = 20.0 * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    fit = refit_closed(points, tolerance_mm=0.0005, sampled_mm=SAMPLED)
    assert fit.is_line.all()
    assert np.array_equal(fit.segments[:, 0], points)
    assert np.array_equal(fit.place, np.arange(corners))


def test_points_along_a_side_are_left_out():
    side = np.linspace(0.0, 1.0, 7)[:-1, None]
    corners = np.array([[0.0, 0.0], [30.0, 0.0], [30.0, 20.0]])
    points = np.concatenate([a + side * (b - a) for a, b in zip(corners, np.roll(corners, -1, 0), strict=True)])
    fit = refit_closed(np.roll(points, -2, axis=0), tolerance_mm=0.0005, sampled_mm=SAMPLED)
    assert len(fit.segments) == 3
    assert fit.is_line.all()


@given(seed=st.integers(0, 500), count=st.integers(4, 12), size=st.sampled_from([0.5, 5.0, 50.0]))
@settings(max_examples=15, deadline=None)
def test_every_vertex_lies_on_the_curves_where_it_is_said_to(make, seed, count, size):
    points, fit, found = refitted(make.blob(count, size, seed))
    segment = np.minimum(np.floor(fit.place).astype(int), len(fit.segments) - 1)
    there = cubic.evaluate(fit.segments[segment], fit.place - segment)
    off_line = np.hypot(*(there - points).T)[fit.is_line[segment]]
    assert off_line.size == 0 or off_line.max() <= 0.0005 + 1e-9
    # A run's end may lie off its arc by the sampling, and a chord inside its arc by half as much again.
    chords = cubic.line(points, np.roll(points, -1, axis=0))
    assert_outlines_close(
        found, Outline(chords, np.ones(len(points), bool), np.array([0, len(points)])), tolerance_mm=0.0026
    )
    assert len(fit.segments) <= 0.6 * len(points) + 4
    assert np.array_equal(fit.segments[:, 3], np.roll(fit.segments[:, 0], -1, axis=0))


def test_an_open_run_keeps_its_ends():
    arc = circle((0.0, 0.0), 10.0).segments[:4]
    points = np.concatenate([cubic.evaluate(arc, t)[None] for t in np.linspace(0, 1, 9)[:-1]]).transpose(1, 0, 2)
    points = np.concatenate([points.reshape(-1, 2), arc[-1:, 3]])
    fit = refit_open(points, tolerance_mm=0.0005, sampled_mm=0.01)
    assert np.array_equal(fit.segments[0, 0], points[0])
    assert np.array_equal(fit.segments[-1, 3], points[-1])
    assert np.all(np.diff(fit.place) > 0.0)
    radius = np.hypot(*cubic.evaluate(fit.segments[:, None], np.linspace(0, 1, 33)).T)
    assert np.abs(radius - 10.0).max() < 1e-4


def test_two_points_are_a_line():
    fit = refit_open(polygon([(0, 0), (5, 0), (5, 5)]).segments[:2, 0], tolerance_mm=0.0005, sampled_mm=SAMPLED)
    assert fit.is_line.tolist() == [True]
    assert fit.place.tolist() == [0.0, 1.0]
