"""Path data and arcs, against hand-worked values, the ellipse's own equation and an independent reader."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from svgpathtools import Arc, parse_path

from friezewright.geometry import cubic
from friezewright.geometry.strokes import Strokes
from friezewright.reading.measures import Malformed
from friezewright.reading.pathdata import draw_path
from friezewright.reading.pen import Pen


def drawn(data: str) -> Strokes | None:
    pen = Pen()
    draw_path(data, pen)
    return pen.strokes()


def ends(strokes: Strokes) -> list[list[float]]:
    return [strokes.segments[0, 0].tolist(), *strokes.segments[:, 3].tolist()]


@pytest.mark.parametrize(
    ("data", "points"),
    [
        ("M1 2L3 4", [(1, 2), (3, 4)]),
        ("m1,2 2,2", [(1, 2), (3, 4)]),
        ("M1 2 3 4 5 6", [(1, 2), (3, 4), (5, 6)]),
        ("M1 2h3v4", [(1, 2), (4, 2), (4, 6)]),
        ("M1 2H3V4", [(1, 2), (3, 2), (3, 4)]),
        ("M1 2h1 1 1", [(1, 2), (2, 2), (3, 2), (4, 2)]),
        ("M1-2.5.5.25L.5-.5", [(1, -2.5), (0.5, 0.25), (0.5, -0.5)]),
        ("M0 0l1e1 1E-1", [(0, 0), (10, 0.1)]),
    ],
)
def test_lines(data, points):
    np.testing.assert_allclose(ends(drawn(data)), points)


def test_a_closed_subpath_ends_where_it_began_and_the_next_starts_there():
    strokes = drawn("M1 1h2v2zl1 0 0 1z m5 5 1 0")

    assert strokes.closed.tolist() == [True, True, False]
    assert strokes.path_start.tolist() == [0, 3, 6, 7]
    np.testing.assert_allclose(strokes.segments[[0, 3, 6], 0], [[1, 1], [1, 1], [6, 6]])


def test_a_rounding_error_adds_no_closing_line():
    strokes = drawn("M0.1 0 L10 0 L10 10 L0.10000000000000002 0 Z")

    assert len(strokes.segments) == 3
    assert strokes.segments[-1, 3].tolist() == strokes.segments[0, 0].tolist()


def test_smooth_curves_mirror_the_handle_before_them():
    strokes = drawn("M0 0C1 2 3 4 5 4S9 6 10 0")
    np.testing.assert_allclose(strokes.segments[1], [[5, 4], [7, 4], [9, 6], [10, 0]])

    strokes = drawn("M0 0Q2 4 4 0T8 0")
    np.testing.assert_allclose(cubic.evaluate(strokes.segments, 0.5), [[2, 2], [6, -2]])


def test_a_smooth_curve_after_another_kind_starts_without_a_handle():
    np.testing.assert_allclose(drawn("M0 0L5 4S9 6 10 0").segments[1, 1], [5, 4])
    np.testing.assert_allclose(drawn("M0 0C1 1 2 2 5 4T9 6").segments[1, [1, 2]], [[5, 4], [5 + 4 / 3, 4 + 2 / 3]])


def test_points_alone_draw_nothing():
    for data in ("", "   ", "M1 1", "M1 1Z", "M1 1L1 1", "M1 1C1 1 1 1 1 1z", "M2 2A3 3 0 0 0 2 2"):
        assert drawn(data) is None


@pytest.mark.parametrize(
    ("data", "place"),
    [
        ("L1 1", "character 1 "),
        ("1 1", "character 1 "),
        ("M1", "the data ends"),
        ("M1 1L2", "the data ends"),
        ("M1 1 L 2 2 x", "character 12 "),
        ("M1 1Z3 3", "character 6 "),
        ("M0 0A1 1 0 2 0 5 5", "flag.*character 12 "),
        ("M0 0L1 1e", "character 9 "),
        ("M0 0 L 1 1e999", "out of reach"),
        ("M0 0Lnan 1", "character 6 "),
        ("M0 0L\u0661 2", "character 6 "),
    ],
)
def test_a_mistake_is_named_with_its_place(data, place):
    with pytest.raises(Malformed, match=place):
        drawn(data)


def test_flags_may_run_into_the_numbers():
    np.testing.assert_allclose(
        drawn("M0 0a5 3 10 0110 2").segments, drawn("M0 0 A 5 3 10 0 1 10 2").segments, rtol=0, atol=0
    )


@pytest.mark.parametrize("radius", [1e-3, 1.0, 45.0, 5000.0])
def test_a_circle_keeps_its_radius(radius):
    # Twelve cubics a circle: a classical bound says 4e-7 of the radius; the closed form below is the measure.
    data = f"M{radius} 0A{radius} {radius} 0 0 1 {-radius} 0A{radius} {radius} 0 0 1 {radius} 0Z"
    strokes = drawn(data)
    points = cubic.evaluate(strokes.segments[:, None], np.linspace(0, 1, 101)[None])

    assert len(strokes.segments) == 12
    assert np.abs(np.hypot(points[..., 0], points[..., 1]) - radius).max() < 4e-7 * radius
    assert cubic.signed_area(strokes.segments) == pytest.approx(math.pi * radius * radius, rel=1e-6)


NUMBER = st.floats(-100, 100, allow_nan=False).map(lambda value: round(value, 4))


@settings(deadline=None)
@given(
    rx=st.floats(0.01, 200),
    ry=st.floats(0.01, 200),
    lean=st.floats(-360, 360),
    large=st.booleans(),
    clockwise=st.booleans(),
    end=st.tuples(NUMBER, NUMBER),
)
@example(rx=10.0, ry=10.0, lean=0.0, large=True, clockwise=True, end=(20.0, 0.0))
@example(rx=10.0, ry=5.0, lean=30.0, large=False, clockwise=False, end=(1e-3, 0.0))
def test_an_arc_lies_on_the_ellipse_of_the_standard(rx, ry, lean, large, clockwise, end):
    assume(math.hypot(*end) > 1e-4)
    pen = Pen()
    pen.move(0.0, 0.0)
    pen.arc(rx, ry, math.radians(lean), large, clockwise, *end)
    segments = pen.strokes().segments

    # Independent: the same arc by an outside reader's centre form, as points at its own parameter.
    oracle = Arc(0j, complex(rx, ry), lean, large, clockwise, complex(*end))
    assume(abs(oracle.delta) > 1e-3)
    radii, centre = oracle.radius, oracle.center
    spin = complex(math.cos(math.radians(lean)), -math.sin(math.radians(lean)))
    points = cubic.evaluate(segments[:, None], np.linspace(0, 1, 21)[None])
    local = (points[..., 0] + 1j * points[..., 1] - centre) * spin
    unit = local.real / radii.real + 1j * local.imag / radii.imag
    # Near a half turn the centre is the root of a rounding error in that reader: 1e-7 more.
    assert np.abs(np.abs(unit) - 1.0).max() < 1e-6
    assert segments[0, 0].tolist() == [0.0, 0.0]
    assert segments[-1, 3].tolist() == list(end)
    swept = np.unwrap(np.angle(unit[:, ::4].ravel()))
    assert swept[-1] - swept[0] == pytest.approx(math.radians(oracle.delta), abs=1e-5)
    assert (swept[-1] > swept[0]) == clockwise


def test_radii_too_small_grow_until_they_reach():
    # SVG 2, B.2.5: a half circle of radius 5 joins points 10 apart, whatever smaller radius is written.
    strokes = drawn("M0 0A1 1 0 0 1 10 0")

    assert cubic.lengths(strokes.segments).sum() == pytest.approx(5 * math.pi, rel=1e-6)
    assert strokes.bounds()[0, 1] == pytest.approx(-5.0, rel=1e-6)


def test_a_radius_of_zero_is_a_line():
    assert drawn("M0 0A0 5 0 0 1 10 0").is_line.tolist() == [True]


COMMAND = st.one_of(
    st.tuples(st.sampled_from("Ll"), st.tuples(NUMBER, NUMBER)),
    st.tuples(st.sampled_from("HhVv"), st.tuples(NUMBER)),
    st.tuples(st.sampled_from("Cc"), st.tuples(*[NUMBER] * 6)),
    st.tuples(st.sampled_from("SsQq"), st.tuples(*[NUMBER] * 4)),
    st.tuples(st.sampled_from("Tt"), st.tuples(NUMBER, NUMBER)),
)


@settings(deadline=None)
@given(start=st.tuples(NUMBER, NUMBER), commands=st.lists(COMMAND, min_size=1, max_size=6))
@example(start=(0.0, 0.0), commands=[("L", (1.0, 1.0)), ("T", (1.0, 1.0)), ("t", (2.0, 2.0))])
def test_every_command_agrees_with_an_independent_reader(start, commands):
    data = f"M{start[0]} {start[1]}" + "".join(c + " ".join(map(str, values)) for c, values in commands)
    strokes = drawn(data)
    other = [part for part in parse_path(data) if len({*part.bpoints()}) > 1]

    assume(strokes is not None)
    assert len(strokes.segments) == len(other)
    for segment, part in zip(strokes.segments, other, strict=True):
        for t in (0.0, 0.3, 1.0):
            x, y = cubic.evaluate(segment, t)
            assert abs(complex(x, y) - part.point(t)) < 1e-8
