"""Numbers, lengths, view boxes and transforms, against the definitions of CSS and SVG."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from friezewright.geometry import affine
from friezewright.reading.measures import (
    Malformed,
    ViewBox,
    fit,
    parse_length,
    parse_numbers,
    parse_real_length_mm,
    parse_transform,
    parse_view_box,
)


# CSS Values and Units (W3C): one inch is 2.54 cm, 96 px, 72 pt, 6 pc and 101.6 q.
@pytest.mark.parametrize(
    "text",
    ["1in", "2.54cm", "25.4mm", "96px", "72pt", "6pc", "101.6q", " +1IN ", "1e0in", "101.6Q", ".1e1in"],
)
def test_an_inch_is_an_inch_in_every_absolute_unit(text):
    assert parse_real_length_mm(text) == pytest.approx(25.4, rel=1e-15)
    assert parse_length(text, whole=math.nan) == pytest.approx(96.0, rel=1e-15)


@pytest.mark.parametrize("text", [None, "auto", "400", "100%", "3em", "2rem", "50vw", "4ex"])
def test_a_size_without_a_fixed_unit_is_not_real(text):
    assert parse_real_length_mm(text) is None


@pytest.mark.parametrize("text", ["0mm", "-4mm"])
def test_a_page_of_no_size_is_refused(text):
    with pytest.raises(Malformed, match="not above zero"):
        parse_real_length_mm(text)


def test_shares_of_a_page_need_a_page():
    assert parse_length("25%", whole=80.0) == 20.0
    with pytest.raises(Malformed, match="share of a page"):
        parse_length("25%", whole=math.nan)
    with pytest.raises(Malformed, match="no fixed size"):
        parse_length("2em", whole=80.0)


@pytest.mark.parametrize("text", ["", "mm", "1,5mm", "1 mm mm", "nan", "inf", "1e999", "0x10", "--1", "1" * 100])
def test_what_is_no_length_is_refused(text):
    with pytest.raises(Malformed):
        parse_length(text, whole=1.0)


def test_lists_of_numbers_may_run_together():
    assert parse_numbers(" 1,2 -3-4+5.5.25 1e2 ") == [1, 2, -3, -4, 5.5, 0.25, 100]
    with pytest.raises(Malformed, match="'x"):
        parse_numbers("1 2 x")


def test_view_boxes():
    assert parse_view_box("-1, 2  30 40") == ViewBox(-1, 2, 30, 40)
    assert parse_view_box(None) is None
    for text in ("0 0 10", "0 0 0 10", "0 0 10 -1", "0 0 10 10 10", "a"):
        with pytest.raises(Malformed):
            parse_view_box(text)


# A view box of 10 x 10 on a page of 40 x 20: worked by hand from SVG 2, 8.2.
@pytest.mark.parametrize(
    ("aspect", "scale", "shift"),
    [
        (None, (2, 2), (10, 0)),
        ("xMidYMid", (2, 2), (10, 0)),
        ("xMinYMin meet", (2, 2), (0, 0)),
        ("xMaxYMid meet", (2, 2), (20, 0)),
        ("xMidYMid slice", (4, 4), (0, -10)),
        ("xMidYMin slice", (4, 4), (0, 0)),
        ("xMidYMax slice", (4, 4), (0, -20)),
        ("none", (4, 2), (0, 0)),
        ("defer xMaxYMax meet", (2, 2), (20, 0)),
    ],
)
def test_a_view_box_is_laid_on_its_page(aspect, scale, shift):
    fitted = fit(ViewBox(0, 0, 10, 10), 40, 20, aspect)

    assert fitted.scale == scale
    assert fitted.shift == shift


def test_a_view_box_may_begin_anywhere():
    matrix = fit(ViewBox(5, -3, 10, 10), 20, 20, None).matrix()

    np.testing.assert_allclose(affine.apply(matrix, np.array([[5.0, -3.0], [15.0, 7.0]])), [[0, 0], [20, 20]])


@pytest.mark.parametrize("aspect", ["xMidYMid meat", "middle", "xmidymid"])
def test_unknown_alignment_is_refused(aspect):
    with pytest.raises(Malformed, match="preserveAspectRatio"):
        fit(ViewBox(0, 0, 1, 1), 1, 1, aspect)


@pytest.mark.parametrize(
    ("text", "image"),
    [
        ("", (3, 4)),
        ("none", (3, 4)),
        ("translate(10)", (13, 4)),
        ("translate(10,20)", (13, 24)),
        ("scale(2)", (6, 8)),
        ("scale(2 -1)", (6, -4)),
        ("rotate(90)", (-4, 3)),
        ("rotate(180 1 1)", (-1, -2)),
        ("skewX(45)", (7, 4)),
        ("skewY(45)", (3, 7)),
        ("matrix(1 2 3 4 5 6)", (20, 28)),
        ("translate(1,1)scale(2) , rotate( 90 )", (-7, 7)),
    ],
)
def test_transforms_move_a_point_as_worked_by_hand(text, image):
    np.testing.assert_allclose(affine.apply(parse_transform(text), np.array([3.0, 4.0])), image, atol=1e-12)


@pytest.mark.parametrize(
    "text",
    [
        "rotate(1 2)",
        "translate()",
        "scale(1,2,3)",
        "matrix(1 2 3)",
        "spin(4)",
        "translate(1",
        "translate 1",
        "scale(a)",
    ],
)
def test_unknown_transforms_are_refused(text):
    with pytest.raises(Malformed):
        parse_transform(text)


STEP = st.one_of(
    st.tuples(st.just("translate"), st.lists(st.integers(-50, 50), min_size=1, max_size=2)),
    st.tuples(st.just("scale"), st.lists(st.integers(-4, 4), min_size=1, max_size=2)),
    st.tuples(st.just("rotate"), st.lists(st.integers(-720, 720), min_size=1, max_size=1)),
    st.tuples(st.just("rotate"), st.lists(st.integers(-90, 90), min_size=3, max_size=3)),
    st.tuples(st.just("skewX"), st.lists(st.integers(-80, 80), min_size=1, max_size=1)),
    st.tuples(st.just("skewY"), st.lists(st.integers(-80, 80), min_size=1, max_size=1)),
)


def homogeneous(word: str, values: list[int]) -> np.ndarray:
    """Return one step as a 3 x 3 matrix, straight from SVG 2, 8.5."""
    result = np.eye(3)
    if word == "translate":
        result[:2, 2] = (values * 2)[:2] if len(values) == 2 else [values[0], 0]
    elif word == "scale":
        result[0, 0], result[1, 1] = values[0], values[-1]
    elif word == "rotate":
        angle = math.radians(values[0])
        turn = np.eye(3)
        turn[:2, :2] = [[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]]
        if len(values) == 1:
            return turn
        there, back = np.eye(3), np.eye(3)
        there[:2, 2], back[:2, 2] = values[1:], [-values[1], -values[2]]
        return there @ turn @ back
    elif word == "skewX":
        result[0, 1] = math.tan(math.radians(values[0]))
    else:
        result[1, 0] = math.tan(math.radians(values[0]))
    return result


@settings(deadline=None)
@given(steps=st.lists(STEP, max_size=5))
def test_a_list_of_steps_is_the_product_of_their_matrices(steps):
    text = " ".join(f"{word}({' '.join(map(str, values))})" for word, values in steps)
    product = np.eye(3)
    for word, values in steps:
        product = product @ homogeneous(word, values)

    # Five steps, each of at most 6 in its linear part and 50 in its shift, round to about this much.
    np.testing.assert_allclose(parse_transform(text), product[:2], rtol=1e-11, atol=1e-8)
