"""Motifs from drawings: fills as areas with the right shells and holes, by the rule each path states."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from friezewright.errors import DrawingError, LimitError
from friezewright.geometry import cubic
from friezewright.reading import shape
from friezewright.reading.svg import read_shape, read_svg, shape_of


def drawing(inner: str, head: str = ""):
    return read_svg(f'<svg xmlns="http://www.w3.org/2000/svg" {head}>{inner}</svg>'.encode(), name="leaf.svg")


def shaped(inner: str):
    return shape_of(drawing(inner))


def areas(outline) -> list[float]:
    return sorted(round(cubic.signed_area(outline.segments[loop]), 6) for loop in outline.loops())


OUTER, INNER, INNER_BACK = "M0 0h10v10h-10z", "M2 2h6v6h-6z", "M2 2v6h6v-6z"
MIDDLE = "M4 4h2v2h-2z"


@pytest.mark.parametrize(
    ("inner", "loops"),
    [
        # One path, two loops: the rules differ exactly when both run the same way (SVG 2, 13.4.2).
        (f'<path d="{OUTER}{INNER_BACK}"/>', [-36, 100]),
        (f'<path d="{OUTER}{INNER}"/>', [100]),
        (f'<path d="{OUTER}{INNER}" fill-rule="evenodd"/>', [-36, 100]),
        (f'<path d="{OUTER}{INNER_BACK}" fill-rule="evenodd"/>', [-36, 100]),
        (f'<path d="{OUTER}{INNER}{MIDDLE}" fill-rule="evenodd"/>', [-36, 4, 100]),
        (f'<path d="{OUTER}{INNER_BACK}{MIDDLE}"/>', [-36, 4, 100]),
        # The way round does not matter on its own.
        (f'<path d="{INNER_BACK}"/>', [36]),
        # Light paint laid over dark makes a hole, dark over that an island.
        (f'<path d="{OUTER}"/><path d="{INNER}" fill="#fff"/>', [-36, 100]),
        (f'<path d="{OUTER}"/><path d="{INNER}" fill="white"/><path d="{MIDDLE}"/>', [-36, 4, 100]),
        (f'<path d="{OUTER}"/><path d="{INNER}"/>', [100]),
        (f'<path d="{OUTER}" fill="white"/><path d="{INNER}"/>', [36]),
        # Lines do not count, and an open line is closed by filling it.
        (f'<path d="{OUTER}"/><path d="{INNER}" fill="none" stroke="red"/>', [100]),
        ('<polyline points="0 0 10 0 10 10"/>', [50]),
        # Side by side, touching in a corner.
        (f'<path d="{OUTER}"/><path d="M10 10h5v5h-5z"/>', [25, 100]),
    ],
)
def test_loops_count_where_ink_lies_on_one_side(inner, loops):
    outline, _ = shaped(inner)

    assert areas(outline) == pytest.approx(loops)


def test_curves_are_kept_to_the_last_digit():
    d = "M1 1C9 -3 12 4 10 10S-2 12 1 1Z"
    expected = drawing(f'<path d="{d}"/>').paths[0].strokes.segments
    outline, findings = shaped(f'<path d="{d}"/>')

    assert findings == ()
    np.testing.assert_allclose(outline.segments, expected, rtol=0, atol=1e-12)
    assert outline.is_line.tolist() == [False, False]


def test_a_shape_has_its_real_size_where_the_drawing_says_it():
    inner = '<rect width="2" height="3"/>'
    outline = read_shape(f'<svg width="20mm" height="20mm" viewBox="0 0 10 10">{inner}</svg>'.encode(), name="leaf.svg")

    np.testing.assert_allclose(outline.bounds(), [[0, 0], [4, 6]], atol=1e-12)


@pytest.mark.parametrize("rule", ["nonzero", "evenodd"])
def test_overlapping_paths_are_united(rule):
    outline, findings = shaped(
        f'<g fill-rule="{rule}"><circle cx="0" cy="0" r="10"/><circle cx="10" cy="0" r="10"/></g>'
    )

    # Two discs less their lens, in closed form.
    lens = 2 * 100 * math.acos(0.5) - 0.5 * 10 * math.sqrt(4 * 100 - 100)
    # Sampled at 0.002 on a drawing of 100: the edge strays by that share of its 30 units, over 4/3 of two circles.
    slack = 2e-5 * 30 * (4 / 3) * 20 * math.pi
    assert outline.loop_count == 1
    assert outline.area_mm2() == pytest.approx(200 * math.pi - lens, abs=slack)
    assert [finding.code for finding in findings] == ["united-shapes"]


def test_a_shape_drawn_twice_is_one():
    outline, _ = shaped(f'<path d="{OUTER}"/><path d="{OUTER}"/>')

    assert outline.area_mm2() == pytest.approx(100)
    assert outline.loop_count == 1


def test_paper_over_the_edge_of_ink_bites_into_it():
    outline, _ = shaped(f'<path d="{OUTER}"/><path d="M5 -5h10v20h-10z" fill="white"/>')

    assert outline.area_mm2() == pytest.approx(50, abs=1e-3)


def test_loops_of_one_path_that_overlap_follow_its_rule():
    twice = "M0 0h10v10h-10zM5 5h10v10h-10z"

    assert shaped(f'<path d="{twice}"/>')[0].area_mm2() == pytest.approx(175, abs=1e-3)
    assert shaped(f'<path d="{twice}" fill-rule="evenodd"/>')[0].area_mm2() == pytest.approx(150, abs=1e-3)


def test_a_figure_of_eight_is_read_by_even_odd_and_refused_otherwise():
    eight = "M0 0l10 10v-10l-10 10z"

    assert shaped(f'<path d="{eight}" fill-rule="evenodd"/>')[0].area_mm2() == pytest.approx(50, abs=1e-3)
    with pytest.raises(DrawingError, match='"bow" crosses itself'):
        shaped(f'<path id="bow" d="{eight}"/>')


@pytest.mark.parametrize(
    "inner",
    [
        "",
        "<text>a</text>",
        f'<path fill="none" d="{OUTER}"/>',
        '<path d="M0 0L5 5"/>',
        '<rect fill="white" width="1" height="1"/>',
    ],
)
def test_a_drawing_that_fills_nothing_is_no_motif(inner):
    with pytest.raises(DrawingError, match="fills nothing"):
        shaped(inner)


def test_motifs_have_a_limit(monkeypatch):
    monkeypatch.setattr(shape, "MOST_SEGMENTS", 3)
    with pytest.raises(LimitError, match="up to 3"):
        shaped(f'<path d="{OUTER}"/>')


BOX = st.tuples(*[st.integers(0, 12)] * 2, *[st.integers(1, 12)] * 2)


@settings(deadline=None)
@given(
    boxes=st.lists(st.tuples(BOX, st.booleans(), st.booleans()), min_size=1, max_size=5),
    even_odd=st.booleans(),
)
def test_the_area_is_that_of_the_squares_painted_one_by_one(boxes, even_odd):
    # Rectangles with whole corners: each unit square is inked or not by plain counting.
    grid = np.zeros((24, 24), dtype=bool)
    inner = ""
    for (x, y, w, h), dark, twice in boxes:
        paint = "black" if dark else "white"
        rule = "evenodd" if even_odd else "nonzero"
        hole = f"M{x} {y}h{w}v{h}h{-w}z" if twice else ""
        inner += f'<path fill="{paint}" fill-rule="{rule}" d="M{x} {y}h{w}v{h}h{-w}z{hole}"/>'
        if not (twice and even_odd):
            grid[y : y + h, x : x + w] = dark
    if not grid.any():
        with pytest.raises(DrawingError):
            shaped(inner)
        return

    outline, _ = shaped(inner)

    assert outline.area_mm2() == pytest.approx(grid.sum(), abs=2e-3 * 24)
