"""Path data and arcs, against hand-worked values, the ellipse's own equation and one path written in several ways."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from svgpathtools import Arc, parse_path

from friezewright.geometry import cubic
from friezewright.geometry.artwork import Artwork
from friezewright.geometry.outline import Outline
from friezewright.geometry.strokes import Strokes
from friezewright.output.pathdata import path_lines
from friezewright.reading import pathdata
from friezewright.reading.measures import Malformed
from friezewright.reading.pathdata import draw_path
from friezewright.reading.pen import Pen


def drawn(data: str) -> Strokes | None:
    pen = Pen()
    draw_path(data, pen)
    return pen.strokes()


def assert_same(strokes: Strokes, other: Strokes, *, atol: float = 0.0) -> None:
    np.testing.assert_allclose(strokes.segments, other.segments, rtol=0, atol=atol)
    assert strokes.is_line.tolist() == other.is_line.tolist()
    assert strokes.path_start.tolist() == other.path_start.tolist()
    assert strokes.closed.tolist() == other.closed.tolist()


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
        ("M1.e1 5.L+1.e-1.1e+1", [(10, 5), (0.1, 1)]),
        ("M0 0L1e-7 123456789.5", [(0, 0), (1e-7, 123456789.5)]),
        ("M1 2m3 4m5 6l1 1", [(9, 12), (10, 13)]),
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


@pytest.mark.parametrize(
    "data", ["M0 0a5 3 10 0110 2", "M0 0a5 3 10 01 10 2", "M0 0a5,3,10,0,110,2", "M0 0a5 3 10 0 1 1e1 2."]
)
def test_flags_may_run_into_the_numbers(data):
    assert_same(drawn(data), drawn("M0 0 A 5 3 10 0 1 10 2"))


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


@pytest.mark.parametrize("radii", ["0 5", "5 -0", "1e-170 1e-170"])
def test_a_radius_of_zero_is_a_line(radii):
    assert drawn(f"M0 0A{radii} 0 0 1 10 0").is_line.tolist() == [True]
    assert_same(drawn(f"M2 3h1a{radii} 0 0 1 10 0l1 1"), drawn("M2 3h1l10 0l1 1"))


def test_an_arc_that_ends_where_it_starts_is_left_out():
    # SVG 2, 9.5.1. A smooth curve after it has no handle to mirror.
    assert_same(
        drawn("M1 1L2 2A3 3 0 1 1 2 2a3 3 0 1 1 0 0C3 3 4 4 5 2a1 1 0 0 0 0 0S9 9 8 8"),
        drawn("M1 1L2 2C3 3 4 4 5 2C5 2 9 9 8 8"),
    )


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
def test_every_command_is_what_the_library_reads_from_the_text_as_it_stands(start, commands):
    data = f"M{start[0]} {start[1]}" + "".join(c + " ".join(map(str, values)) for c, values in commands)
    strokes = drawn(data)
    other = [part for part in parse_path(data) if len({*part.bpoints()}) > 1]

    assume(strokes is not None)
    assert len(strokes.segments) == len(other)
    for segment, part in zip(strokes.segments, other, strict=True):
        for t in (0.0, 0.3, 1.0):
            x, y = cubic.evaluate(segment, t)
            assert abs(complex(x, y) - part.point(t)) < 1e-8


# Quarters: sums of them are exact, so the two ways of writing meet in the same doubles.
QUARTER = st.integers(-400, 400).map(lambda value: value / 4)
POINT = st.tuples(QUARTER, QUARTER)
ABSOLUTE = st.one_of(
    st.tuples(st.sampled_from("MLT"), st.tuples(POINT)),
    st.tuples(st.sampled_from("SQ"), st.tuples(POINT, POINT)),
    st.tuples(st.just("C"), st.tuples(POINT, POINT, POINT)),
    st.tuples(st.sampled_from(["A20 30 40 0 1 ", "A2 3 -15 1 0 ", "A0 1 0 0 0 "]), st.tuples(POINT)),
    st.tuples(st.just("Z"), st.just(())),
)


@settings(deadline=None)
@given(start=POINT, commands=st.lists(ABSOLUTE, max_size=8))
@example(start=(1.0, 2.0), commands=[("L", ((3.0, 4.0),)), ("Z", ()), ("A20 30 40 0 1 ", ((3.0, 4.0),)), ("Z", ())])
def test_relative_commands_draw_what_absolute_ones_do(start, commands):
    absolute, relative = "M{} {}".format(*start), "m{} {}".format(*start)
    at = begin = start
    for command, points in commands:
        absolute += command + " ".join(f"{x} {y}" for x, y in points)
        relative += command.lower() + " ".join(f"{x - at[0]} {y - at[1]}" for x, y in points)
        at = points[-1] if points else begin
        begin = at if command == "M" else begin

    strokes, other = drawn(absolute), drawn(relative)
    assert (strokes is None) == (other is None)
    if strokes is not None:
        assert_same(strokes, other)


def own_spelling(loops: list[list[tuple[tuple[float, float], ...]]]) -> str:
    """Return loops as this program writes them; a step is one point or three."""
    text = ""
    for loop in loops:
        for index, step in enumerate(loop):
            letter = "M" if index == 0 else "L" if len(step) == 1 else "C"
            text += letter + " ".join(f"{value:.3f}".rstrip("0").rstrip(".") for point in step for value in point)
        text += "Z" if len(loop) % 2 else ""
    return text


MILLI = st.integers(-9_999_999, 9_999_999).map(lambda value: value / 1000)
PLACE = st.tuples(MILLI, MILLI)
LOOP = st.builds(
    lambda first, steps: [(first,), *steps],
    PLACE,
    st.lists(st.one_of(st.tuples(PLACE), st.tuples(PLACE, PLACE, PLACE)), min_size=1, max_size=5),
)


@settings(deadline=None)
@given(st.lists(LOOP, min_size=1, max_size=3))
@example([[((0.0, 0.0),), ((0.0, 0.0),)]])
@example([[((0.1, 0.0),), ((10.0, 0.0),), ((10.0, 10.0),), ((0.1, 0.0),)]])
def test_a_path_in_our_own_spelling_is_read_as_any_other(loops):
    data = own_spelling(loops)
    assert pathdata._OWN_PATH.fullmatch(data)

    strokes, other = drawn(data), drawn(data.replace(" ", ","))
    assert (strokes is None) == (other is None)
    if strokes is not None:
        assert_same(strokes, other)


def test_what_is_written_here_is_known_by_its_spelling():
    segments = cubic.line([[-1500, 0], [1500, 0.125], [0, 1000.5]], [[1500, 0.125], [0, 1000.5], [-1500, 0]])
    segments[1, 1] += 10.0
    outline = Outline(segments, np.array([True, False, True]), np.array([0, 3]))
    (line,) = b"".join(path_lines(Artwork.single([outline]))).decode().splitlines()
    data = line.removeprefix('<path d="').removesuffix('"/>')

    assert pathdata._OWN_PATH.fullmatch(data)
    assert "C" in data
    assert_same(drawn(data), drawn(data.replace(" ", ",")))
    np.testing.assert_allclose(drawn(data).segments, segments, rtol=0, atol=5e-4)


@pytest.mark.parametrize(
    "data", ["M1 1", "M1 1 2 2", "M1 1L2 2ZL3 3", "M1 1l2 2", "M1 1L12345 2", "M1 1L2 2x", "M1 1L2"]
)
def test_no_other_spelling_is_taken_for_our_own(data):
    assert pathdata._OWN_PATH.fullmatch(data) is None
