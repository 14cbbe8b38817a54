from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from friezewright.geometry.outline import Outline, circle, polygon, rounded_polygon, rounded_rectangle
from friezewright.ornament.guide import guide_along, side_name, starting_at_top
from friezewright.ornament.loop import moved, outline_from, pieces_of
from friezewright.ornament.path import Arc, Line

ELL = polygon([(0, 0), (100, 0), (100, 60), (200, 60), (200, 150), (0, 150)])


def area_of(loop: Outline, distance: float) -> float:
    pieces = moved(pieces_of(loop), distance)
    assert pieces is not None
    return outline_from([piece for _, piece in pieces]).area_mm2()


@given(
    w=st.floats(50, 900),
    h=st.floats(50, 900),
    r=st.floats(0.5, 24.9),
    d=st.floats(-40.0, 24.0),
    x=st.floats(-500, 500),
)
def test_a_rounded_rectangle_moves_to_one(w: float, h: float, r: float, d: float, x: float) -> None:
    # Inwards the radius shrinks to nothing and the corners turn sharp; outwards it grows.
    radius = max(0.0, r - d)
    expected = (w - 2 * d) * (h - 2 * d) - (4 - math.pi) * radius**2

    assert math.isclose(area_of(rounded_rectangle((x, 3.0), (w, h), r), d), expected, rel_tol=1e-6)


def test_a_circle_stays_one_exact_arc() -> None:
    (piece,) = pieces_of(circle((12.0, 34.0), 50.0))

    assert isinstance(piece, Arc)
    assert np.allclose(piece.centre, [12.0, 34.0], atol=1e-9)
    assert math.isclose(piece.radius_mm, 50.0, abs_tol=1e-4)
    # It begins at its top.
    assert np.allclose(piece.start, [12.0, -16.0], atol=1e-3)


def test_loops_are_read_either_way_round_and_cut_anywhere() -> None:
    corners = np.array([(0, 0), (40, 0), (80, 0), (80, 50), (0, 50), (0, 20)], dtype=float)
    for points in (corners, corners[::-1], np.roll(corners, 1, axis=0)):
        segments = np.stack([points + (np.roll(points, -1, axis=0) - points) * t for t in (0, 1 / 3, 2 / 3, 1)], axis=1)
        loop = Outline(segments, np.ones(6, bool), np.array([0, 6]))
        pieces = pieces_of(loop)
        assert len(pieces) == 4
        assert sorted(piece.length_mm for piece in pieces) == pytest.approx([50.0, 50.0, 80.0, 80.0])


def test_reflex_corners_move_the_other_way() -> None:
    assert math.isclose(area_of(ELL, 10.0), 180 * 130 - 100 * 60 - 0.0, rel_tol=1e-12)
    assert math.isclose(area_of(ELL, -10.0), 220 * 170 - 100 * 60, rel_tol=1e-12)


def test_a_notch_too_narrow_for_the_distance_closes_up() -> None:
    notched = polygon([(0, 0), (100, 0), (100, 40), (70, 40), (70, 44), (100, 44), (100, 100), (0, 100)])

    pieces = moved(pieces_of(notched), -10.0)

    # Outwards the two sides of the notch pass each other; what is left is the rectangle.
    assert pieces is not None
    assert math.isclose(outline_from([piece for _, piece in pieces]).area_mm2(), 120.0 * 120.0, rel_tol=1e-12)


@pytest.mark.parametrize("distance", [9.1, 30.0])
def test_a_slot_narrower_than_the_band_leaves_nothing(distance: float) -> None:
    assert moved(pieces_of(rounded_rectangle((0, 0), (18, 100), 9)), distance) is None


def test_corners_and_sides_of_an_ell() -> None:
    guide = guide_along(pieces_of(ELL), distance_mm=15.0, edge_mm=8.0, tightest_mm=20.0)

    assert guide is not None
    assert [side.name for side in guide.sides] == ["top", "right", "top", "right", "bottom", "left"]
    assert [round(side.path.length_mm, 9) for side in guide.sides] == [70, 60, 100, 60, 170, 120]
    assert [round(math.degrees(corner.turn_rad)) for corner in guide.corners] == [90, -90, 90, 90, 90, 90]
    for number, side in enumerate(guide.sides):
        assert side.after == number
        assert side.before is not None
        assert np.allclose(side.path.pieces[-1].end, guide.corners[number].point)


def test_a_tight_rounding_is_a_corner_and_a_wide_one_a_bend() -> None:
    pieces = pieces_of(rounded_rectangle((0, 0), (200, 100), 25))

    corners = guide_along(pieces, distance_mm=10.0, edge_mm=5.0, tightest_mm=15.1)
    bends = guide_along(pieces, distance_mm=10.0, edge_mm=5.0, tightest_mm=14.9)

    assert corners is not None
    assert bends is not None
    assert [side.path.closed for side in bends.sides] == [True]
    assert math.isclose(bends.sides[0].path.length_mm, 2 * (150 + 50) + 2 * math.pi * 15, rel_tol=1e-9)
    assert len(corners.corners) == 4
    first = corners.corners[0]
    # The lines are carried on to where they meet; the piece stands on the middle of the arc.
    assert np.allclose(first.point, [190.0, 10.0])
    assert np.allclose(first.centre, np.array([175.0, 25.0]) + 15.0 * np.array([1.0, -1.0]) / math.sqrt(2), atol=1e-6)
    assert math.isclose(first.setback_mm, 15.0, rel_tol=1e-9)
    assert math.isclose(first.edge_round_mm, 20.0, rel_tol=1e-9)


def test_some_sides_only() -> None:
    pieces = pieces_of(rounded_rectangle((0, 0), (200, 100), 30))

    two = guide_along(pieces, distance_mm=10.0, edge_mm=5.0, tightest_mm=5.0, sides=("top", "right"))
    apart = guide_along(pieces, distance_mm=10.0, edge_mm=5.0, tightest_mm=5.0, sides=("top", "bottom"))

    assert two is not None
    assert apart is not None
    # The bend between two chosen sides goes with them.
    assert [side.name for side in two.sides] == ["top and right"]
    assert [type(piece) for piece in two.sides[0].path.pieces] == [Line, Arc, Line]
    assert sorted(side.name for side in apart.sides) == ["bottom", "top"]
    assert all(side.before is None and side.after is None for side in apart.sides)


@pytest.mark.parametrize(
    ("direction", "name"), [((1, 0), "top"), ((0, 1), "right"), ((-1, 0), "bottom"), ((0, -1), "left"), ((3, 1), "top")]
)
def test_sides_are_named_by_where_they_face(direction: tuple[float, float], name: str) -> None:
    assert side_name(np.array(direction, dtype=float) / math.hypot(*direction)) == name


def test_rounded_reflex_corners_grow_inwards() -> None:
    pieces = pieces_of(rounded_polygon([(0, 0), (100, 0), (100, 60), (200, 60), (200, 150), (0, 150)], 12))

    found = moved(pieces, 15.0)

    assert found is not None
    arcs = [piece for _, piece in found if isinstance(piece, Arc)]
    # Five roundings of 12 mm vanish, the reflex one widens.
    assert [round(arc.radius_mm, 6) for arc in arcs] == [27.0]


def test_a_ring_begins_at_its_top() -> None:
    guide = guide_along(
        pieces_of(rounded_rectangle((0, 0), (200, 100), 40)), distance_mm=10.0, edge_mm=5.0, tightest_mm=5.0
    )
    assert guide is not None
    path = guide.sides[0].path

    assert np.allclose(path.frames([starting_at_top(path)]).point, [[100.0, 10.0]])
