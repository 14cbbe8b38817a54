"""Outlines, strokes and artwork: values that check themselves, and shapes with known areas."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from friezewright.geometry import affine, cubic
from friezewright.geometry.artwork import Artwork, Placements, bounds_of, concatenate_artwork
from friezewright.geometry.outline import Outline, circle, concatenate, polygon, rounded_polygon, rounded_rectangle
from friezewright.geometry.strokes import Strokes, concatenate_strokes, contour
from friezewright.testing import assert_closed, assert_outlines_close, assert_same_area, assert_wound


def test_arrays_are_read_only_and_copied(make):
    segments = np.array(make.blob(5, 1.0, 1).segments)
    shape = Outline(segments, np.zeros(5, dtype=bool), np.array([0, 5]))
    segments[:] = 0.0
    assert shape.area_mm2() > 0.0
    with pytest.raises(ValueError, match="read-only"):
        shape.segments[0, 0, 0] = 1.0


@pytest.mark.parametrize(("starts", "count"), [([0], 2), ([0, 1], 2), ([1, 2], 2), ([0, 2, 2], 2), ([0, 3], 2)])
def test_loops_must_cover_all_segments(starts, count):
    with pytest.raises(ValueError, match="loop_start"):
        Outline(np.zeros((count, 4, 2)), np.zeros(count, dtype=bool), np.array(starts))


def test_numbers_must_be_finite():
    with pytest.raises(ValueError, match="finite"):
        Outline(np.full((1, 4, 2), np.nan), np.zeros(1, dtype=bool), np.array([0, 1]))


@pytest.mark.parametrize("radius", [0.0, 1.0, 4.0, 5.0, 40.0])
def test_a_rounded_rectangle_loses_its_corners(radius):
    shape = rounded_rectangle((3.0, -2.0), (20.0, 10.0), radius)
    fits = min(radius, 5.0)
    assert_same_area(shape, 200.0 - (4.0 - math.pi) * fits**2, tolerance_mm2=1e-4)
    assert np.allclose(shape.bounds(), [[3.0, -2.0], [23.0, 8.0]], rtol=0, atol=1e-5)
    assert_closed(shape)


def test_a_polygon_is_a_shell_whichever_way_its_corners_run():
    corners = [(0.0, 0.0), (4.0, 0.0), (4.0, 3.0)]
    assert polygon(corners).area_mm2() == pytest.approx(6.0)
    assert polygon(corners[::-1]).area_mm2() == pytest.approx(6.0)


def test_reflex_corners_are_rounded_outwards():
    shape = rounded_polygon([(0, 0), (10, 0), (10, 4), (4, 4), (4, 10), (0, 10)], 1.0)
    # Five corners lose (1 - pi/4) r², the reflex one gains it.
    assert_same_area(shape, 64.0 - 4.0 * (1.0 - math.pi / 4.0), tolerance_mm2=1e-5)


@given(turn=st.floats(-4.0, 4.0), mirrored=st.booleans(), seed=st.integers(0, 99))
@settings(max_examples=30, deadline=None)
def test_placing_keeps_area_winding_and_length(make, turn, mirrored, seed):
    shape = make.motif(seed)
    move = affine.rotation(turn, (30.0, -8.0))
    if mirrored:
        move = affine.compose(move, affine.mirror_y())
    placed = shape.transformed(move)
    assert_same_area(placed, shape, tolerance_mm2=1e-10)
    assert math.isclose(placed.length_mm(), shape.length_mm(), rel_tol=1e-12)
    assert_closed(placed)


def test_holes_run_against_shells(make):
    assert_wound(make.motif())
    assert_wound(make.motif().transformed(affine.mirror_x()))
    wrong = concatenate([circle((0.0, 0.0), 2.0), circle((0.0, 0.0), 1.0)])
    with pytest.raises(AssertionError, match="2 times"):
        assert_wound(wrong)


def test_reversing_twice_is_nothing(make):
    shape = make.motif()
    again = shape.reversed().reversed()
    assert np.array_equal(again.segments, shape.segments)
    assert np.array_equal(again.is_line, shape.is_line)


@pytest.mark.parametrize("tolerance", [0.1, 0.01, 1e-4])
def test_samples_know_their_place(make, tolerance):
    shape = make.motif()
    points, parameter, loop = shape.flattened(tolerance_mm=tolerance)
    assert np.all(np.diff(parameter) > 0.0)
    inside = np.append(loop[1:] == loop[:-1], False)
    place = parameter[inside] - loop[inside]
    segment = np.floor(place).astype(int)
    # The parameter is stored beside numbers up to 60: its last bits are lost.
    assert np.allclose(cubic.evaluate(shape.segments[segment], place - segment), points[inside], rtol=0, atol=1e-12)
    for i, piece in enumerate(shape.loops()):
        ring = points[loop == i]
        assert np.array_equal(ring[0], ring[-1])
        assert parameter[loop == i][-1] == piece.stop + i


def test_selecting_loops_keeps_their_order(make):
    shape = make.motif()
    assert_same_area(shape.selected([2]), cubic.signed_area(shape.segments[50:]), tolerance_mm2=0.0)
    assert_outlines_close(shape.selected([2, 0, 1]), shape, tolerance_mm=1e-12)


def test_close_outlines_are_told_from_others():
    assert_outlines_close(circle((0.0, 0.0), 5.0), circle((0.0, 0.0), 5.0009), tolerance_mm=0.001)
    with pytest.raises(AssertionError, match="stray"):
        assert_outlines_close(circle((0.0, 0.0), 5.0), circle((0.0, 0.0), 5.02), tolerance_mm=0.01)
    with pytest.raises(AssertionError, match="off by"):
        assert_same_area(circle((0.0, 0.0), 1.0), 3.0, tolerance_mm2=0.1)


def test_strokes_keep_their_direction_when_mirrored(make):
    lines = contour(make.blob(6, 2.0, 3))
    mirrored = lines.transformed(affine.mirror_x())
    assert np.array_equal(mirrored.segments[..., 0], -lines.segments[..., 0])
    both = concatenate_strokes([lines, mirrored])
    assert both.path_count == 2
    assert both.closed.all()
    assert both.length_mm() == pytest.approx(2.0 * lines.length_mm())
    with pytest.raises(ValueError, match="one a path"):
        Strokes(lines.segments, lines.is_line, lines.path_start, np.zeros(2, dtype=bool))


def test_artwork_names_only_shapes_it_has():
    one = Placements(matrix=affine.identity(1), shape=np.array([1]), member=np.array([0]))
    with pytest.raises(ValueError, match="name shapes"):
        Artwork((circle((0.0, 0.0), 1.0),), one)


def test_choosing_copies_drops_shapes_nobody_shows():
    shapes = [circle((10.0 * i, 0.0), 1.0 + i) for i in range(3)]
    some = Artwork.single(shapes, member=2).chosen(np.array([2, 0]))
    assert [round(copy.area_mm2() / math.pi, 3) for copy in some.copies()] == [9.0, 1.0]
    assert len(some.shapes) == 2
    assert some.placements.member.tolist() == [2, 2]
    again = concatenate_artwork([some, some.moved(affine.translation((0.0, 50.0)))])
    assert np.allclose(bounds_of(again), [[-1.0, -3.0], [23.0, 53.0]], rtol=0, atol=1e-5)


def test_the_box_of_turned_copies_is_never_too_small(make):
    field = make.scattered(make.motif(), 4)
    low, high = bounds_of(field)
    exact = np.stack([copy.bounds() for copy in field.copies()])
    assert np.all(low <= exact[:, 0].min(axis=0) + 1e-12)
    assert np.all(high >= exact[:, 1].max(axis=0) - 1e-12)
