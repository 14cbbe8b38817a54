"""The checker's own geometry against closed forms and dense sampling."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from friezewright.inspection.measure import least_clearance, marks_of, smallest_gap, thinnest
from friezewright.inspection.paths import read_paths
from friezewright.inspection.shapes import flatten, lines_of, loop_areas, nested, rings_of
from friezewright.inspection.sound import area_faults

HANDLE = 4.0 / 3.0 * math.tan(math.pi / 8.0)


def number(value: float) -> str:
    return f"{value:.9f}"


def ellipse(x: float, y: float, a: float, b: float, *, hole: bool = False) -> str:
    """Return four cubics; they stray from a circle by 2.7e-4 of its radius at most (from memory), always outwards."""
    k = HANDLE
    points = [
        (1, 0),
        (1, k),
        (k, 1),
        (0, 1),
        (-k, 1),
        (-1, k),
        (-1, 0),
        (-1, -k),
        (-k, -1),
        (0, -1),
        (k, -1),
        (1, -k),
        (1, 0),
    ]
    if hole:
        points = points[::-1]
    shown = [f"{number(x + a * u)} {number(y + b * v)}" for u, v in points]
    return f"M{shown[0]}" + "".join("C" + " ".join(shown[i : i + 3]) for i in (1, 4, 7, 10)) + "Z"


def marks(*texts: str, filled: bool = True, tolerance_mm: float = 0.002):
    paths, bad = read_paths(texts)
    assert {item.code for item in bad} <= {"too-many-decimals", "minus-zero"}
    return marks_of(paths, filled=filled, tolerance_mm=tolerance_mm)


coordinates = st.floats(-20.0, 20.0).map(lambda value: round(value, 3))
curves = st.lists(st.tuples(*[coordinates] * 6), min_size=1, max_size=4)


@given(curves, st.sampled_from([0.3, 0.01, 0.0003]))
def test_flattened_curves_stay_within_the_tolerance(parts, tolerance):
    text = "M0 0" + "".join("C" + " ".join(f"{value:.3f}" for value in part) for part in parts)
    paths, _ = read_paths([text])
    lines, shown = lines_of(flatten(paths, tolerance_mm=tolerance))
    assert shown.tolist() == [0]
    t = np.linspace(0.0, 1.0, 401)[None, :, None]
    p = paths.segments[:, :, None]
    s = 1.0 - t
    dense = s**3 * p[:, 0] + 3 * s * s * t * p[:, 1] + 3 * s * t * t * p[:, 2] + t**3 * p[:, 3]
    assert shapely.distance(lines[0], shapely.points(dense.reshape(-1, 2))).max() <= tolerance + 1e-9


@given(a=st.floats(0.1, 30.0), b=st.floats(0.1, 30.0), hole=st.booleans())
def test_areas_are_those_of_ellipses(a, b, hole):
    paths, _ = read_paths([ellipse(3.0, -2.0, a, b, hole=hole)])
    (area,) = loop_areas(paths)
    # The four cubics of a unit circle enclose pi within 2.8e-4 (the exact sum is worked out from the handle length).
    unit = 2.0 + 2.0 * (0.6 * HANDLE * 2.0 - 0.3 * HANDLE * HANDLE)
    assert area == pytest.approx((-1.0 if hole else 1.0) * unit * a * b, abs=1e-7 * (1 + a * b))
    assert unit == pytest.approx(math.pi, rel=3e-4)


def test_loops_are_nested_within_their_path_only():
    square = "M{0} {0}L{1} {0}L{1} {1}L{0} {1}Z"
    one = "".join(square.format(i, 20 - i) for i in (0, 2, 4, 6)) + square.format(30, 31)
    paths, _ = read_paths([square.format(-5, 40), one])
    rings, _ = rings_of(flatten(paths, tolerance_mm=0.1))
    nesting = nested(paths.loop_path, rings, loop_areas(paths))
    assert nesting.depth.tolist() == [0, 0, 1, 2, 3, 0]
    assert nesting.shell.tolist() == [0, 1, 1, 3, 3, 5]


def test_islands_are_areas_of_their_own():
    text = ellipse(0, 0, 9, 9) + ellipse(0, 0, 6, 6, hole=True) + ellipse(0, 0, 3, 3)
    found = marks(text)
    assert len(found.geometry) == 1
    assert shapely.area(found.geometry[0]) == pytest.approx(math.pi * (81 - 36 + 9), rel=1e-3)
    paths, _ = read_paths([text])
    assert area_faults(paths, one_area_a_path=True, tolerance_mm=0.01)[1] == []


@given(
    gap=st.floats(0.01, 1.5),
    angle=st.floats(0.0, 6.3),
    a=st.floats(0.5, 8.0),
    b=st.floats(0.5, 8.0),
    rough=st.sampled_from([0.01, 0.002]),
)
def test_the_gap_between_discs_is_found_to_the_fine_tolerance(gap, angle, a, b, rough):
    apart = a + b + gap
    texts = (ellipse(0, 0, a, a), ellipse(apart * math.cos(angle), apart * math.sin(angle), b, b))
    found = marks(*texts, tolerance_mm=rough)
    result = smallest_gap([(found, np.arange(2))], reach_mm=2.0, tolerance_mm=rough)
    assert result is not None
    # Fine chords lie inside by 0.0003 at most on either disc; the four cubics bulge by 2.8e-4 of their radius.
    assert gap - 2.8e-4 * (a + b) - 1e-6 <= result[0] <= gap + 0.0006 + 1e-4
    assert math.hypot(*result[1]) == pytest.approx(a + gap / 2, abs=0.01)


def test_gaps_reach_over_layers_and_stop_at_the_reach():
    areas, lines = marks(ellipse(0, 0, 2, 2), ellipse(10, 0, 2, 2)), marks("M2.5 -1L2.5 1", filled=False)
    everything = [(areas, np.arange(2)), (lines, np.arange(1))]
    found = smallest_gap(everything, reach_mm=1.0, tolerance_mm=0.002)
    assert found is not None
    assert found[0] == pytest.approx(0.5, abs=1e-3)
    assert smallest_gap(everything, reach_mm=0.4, tolerance_mm=0.002) is None
    assert smallest_gap([(areas, np.arange(1))], reach_mm=9.0, tolerance_mm=0.002) is None
    inside = marks(ellipse(0, 0, 4, 4) + ellipse(0, 0, 3, 3, hole=True), ellipse(0, 0, 2, 2))
    ring = smallest_gap([(inside, np.arange(2))], reach_mm=2.0, tolerance_mm=0.002)
    assert ring is not None
    assert ring[0] == pytest.approx(1.0, abs=2e-3)


@given(shift=st.tuples(st.floats(-1.0, 1.0), st.floats(-1.0, 1.0)), count=st.integers(1, 30))
def test_clearance_is_that_of_the_nearest_disc(shift, count):
    rim = shapely.linearrings([(-30, -30), (30, -30), (30, 30), (-30, 30)])
    steps = np.arange(count)
    centres = np.stack([shift[0] + 2.6 * (steps % 6) - 6.0, shift[1] + 2.6 * (steps // 6)], axis=1)
    found = marks(*(ellipse(x, y, 1.0, 1.0) for x, y in centres))
    result = least_clearance([found], rim, tolerance_mm=0.002)
    assert result is not None
    assert result[0] == pytest.approx(30.0 - np.abs(centres).max() - 1.0, abs=6e-4)
    assert least_clearance([], rim, tolerance_mm=0.002) is None


@pytest.mark.parametrize("width", [0.05, 0.1, 0.14])
def test_the_width_of_a_neck_is_measured(width):
    h = width / 2
    neck = f"M0 -2L4 -2L4 {-h:.3f}L8 {-h:.3f}L8 -2L12 -2L12 2L8 2L8 {h:.3f}L4 {h:.3f}L4 2L0 2Z"
    found = thinnest(marks(ellipse(30, 0, 3, 3), neck), under_mm=0.15)
    assert found is not None
    # The opening is a polygon with six chords a quarter; a neck is told to one part in a hundred.
    assert found[0] == pytest.approx(width, rel=0.02)
    assert 4.0 <= found[1][0] <= 8.0
    assert found[2] == 1


def test_tips_and_wide_areas_are_not_thin():
    leaf = "M0 0C3 -2 7 -2 10 0C7 2 3 2 0 0Z"
    assert thinnest(marks(leaf, ellipse(30, 0, 3, 3)), under_mm=0.15) is None
