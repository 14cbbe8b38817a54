from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import ellipe

from friezewright.geometry.outline import Outline, circle
from friezewright.ornament.loop import pieces_of
from friezewright.ornament.path import Arc, Curve, Line, Path, placed_at


def oval(a: float, b: float) -> Outline:
    return circle((0.0, 0.0), 1.0).transformed(np.array([[a, 0.0, 7.0], [0.0, b, -3.0]]))


@given(
    radius=st.floats(1.0, 200.0),
    start=st.floats(-7.0, 7.0),
    sweep=st.floats(0.1, 6.2),
    sense=st.sampled_from([-1.0, 1.0]),
)
def test_an_arc_keeps_its_circle(radius: float, start: float, sweep: float, sense: float) -> None:
    arc = Arc(centre=np.array([3.0, -4.0]), radius_mm=radius, start_rad=start, sweep_rad=sense * sweep)
    frames = arc.frames(np.linspace(0.0, arc.length_mm, 9))

    # The normal points to the centre where the curvature is positive.
    assert np.allclose(frames.point + frames.normal / frames.curvature[:, None], arc.centre, atol=1e-9 * radius)
    assert np.allclose(np.hypot(*frames.direction.T), 1.0)
    shifted = arc.shifted(0.25 * radius)
    assert shifted is not None
    moved = shifted.frames(np.linspace(0.0, shifted.length_mm, 9))
    assert np.allclose(moved.point, frames.point + 0.25 * radius * frames.normal, atol=1e-9 * radius)


def test_an_ellipse_is_followed_by_its_length() -> None:
    (piece,) = pieces_of(oval(60.0, 30.0))
    assert isinstance(piece, Curve)

    # The perimeter by the complete elliptic integral (DLMF 19.9.9), up to what twelve cubics stray from the ellipse.
    assert math.isclose(piece.length_mm, 4 * 60.0 * ellipe(1 - 0.25), rel_tol=1e-6)


@pytest.mark.parametrize("distance", [-15.0, -4.0, 0.0, 6.0])
def test_an_offset_curve_runs_at_unit_speed(distance: float) -> None:
    (piece,) = pieces_of(oval(60.0, 30.0))
    moved = piece.shifted(distance)
    assert isinstance(moved, Curve)
    s = np.linspace(0.0, moved.length_mm, 40001)
    points = moved.frames(s).point

    steps = np.hypot(*np.diff(points, axis=0).T)
    assert np.allclose(steps, s[1] - s[0], rtol=1e-5)
    # Parallel curves of a closed convex curve: the length changes by a full turn's worth of the distance.
    assert math.isclose(moved.length_mm, piece.length_mm - 2 * math.pi * distance, rel_tol=1e-9)


def test_an_offset_that_would_fold_is_none() -> None:
    (piece,) = pieces_of(oval(60.0, 30.0))

    # The tightest radius of the ellipse is 30 * 30 / 60.
    assert piece.shifted(14.9) is not None
    assert piece.shifted(15.1) is None


def test_an_offset_curve_becomes_cubics_that_lie_on_it() -> None:
    (piece,) = pieces_of(oval(60.0, 30.0))
    moved = piece.shifted(6.0)
    assert isinstance(moved, Curve)
    exact = moved.frames(np.linspace(0.0, moved.length_mm, 20001)).point
    cubics = moved.cubics()
    middles = (cubics[:, 0] + 3 * cubics[:, 1] + 3 * cubics[:, 2] + cubics[:, 3]) / 8

    worst = max(float(np.hypot(*(exact - middle).T).min()) for middle in middles)
    assert worst < 0.005
    assert np.allclose(cubics[1:, 0], cubics[:-1, 3], atol=1e-9)


def test_a_stretch_is_straight_only_within_one_line() -> None:
    path = Path(
        (
            Line(np.array([0.0, 0.0]), np.array([10.0, 0.0])),
            Arc(centre=np.array([10.0, 5.0]), radius_mm=5.0, start_rad=-math.pi / 2, sweep_rad=math.pi),
            Line(np.array([10.0, 10.0]), np.array([0.0, 10.0])),
            Arc(centre=np.array([0.0, 5.0]), radius_mm=5.0, start_rad=math.pi / 2, sweep_rad=math.pi),
        ),
        closed=True,
    )
    once = path.length_mm

    low = np.array([0.0, 2.0, 2.0, -1.0, once, once + 2.0])
    high = np.array([10.0, 8.0, 10.1, 4.0, once + 10.0, once + 8.0])
    assert path.straight_over(low, high).tolist() == [True, True, False, False, True, True]
    assert path.turns() == 2
    assert path.bends_mm() == pytest.approx((5.0,))


def test_frames_carry_the_axes() -> None:
    line = Path((Line(np.array([1.0, 2.0]), np.array([1.0, 12.0])),))

    maps = placed_at(line.frames([3.0]))
    # Down the page: x runs down, y to the left.
    assert np.allclose(maps[0], [[0.0, -1.0, 1.0], [1.0, 0.0, 5.0]])
