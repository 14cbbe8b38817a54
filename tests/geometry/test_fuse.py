import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from friezewright.geometry import affine, cubic
from friezewright.geometry.fuse import crossings, fused
from friezewright.geometry.outline import Outline, circle, concatenate, polygon
from friezewright.geometry.planar.region import intersection, region_of
from friezewright.testing import assert_closed, assert_same_area, assert_wound

UP = -np.pi / 2.0
SQUARE = polygon([(-1, -2), (3, -2), (3, 2), (-1, 2)])


@given(roots=st.lists(st.floats(0.02, 0.98), min_size=1, max_size=3), scale=st.floats(1e-3, 1e3))
def test_planted_roots_are_found(roots, scale):
    roots = np.sort(np.array(roots))
    assume(len(roots) == 1 or np.diff(roots).min() > 1e-3)
    power = scale * np.polynomial.polynomial.polyfromroots(roots)
    power = np.concatenate([power, np.zeros(4 - len(power))])
    # From powers of t to Bernstein coefficients of degree 3.
    change = np.array([[1, 0, 0, 0], [1, 1 / 3, 0, 0], [1, 2 / 3, 1 / 3, 0], [1, 1, 1, 1]])

    found = crossings((change @ power)[None])[0]

    # Roots 1e-3 apart are moved by rounding at most about eps / (1e-3)².
    np.testing.assert_allclose(found, roots, atol=1e-8)


def test_touching_is_no_crossing():
    # (2t - 1)² touches zero at its middle; a little lower it crosses twice.
    assert len(crossings(np.array([[1.0, -1.0 / 3.0, -1.0 / 3.0, 1.0]]))[0]) == 0
    assert len(crossings(np.array([[1.0, -0.4, -0.4, 1.0]]))[0]) == 2
    assert len(crossings(np.array([[0.0, 1.0, 2.0, 3.0]]))[0]) == 0
    assert len(crossings(np.zeros((1, 4)))[0]) == 0


def test_a_square_across_a_line_becomes_a_rectangle():
    # Kept is what lies left of the line x = 0: a strip 1 by 4, and its image beside it.
    whole = fused(SQUARE, along_rad=np.pi / 2.0)

    assert whole is not None
    assert whole.loop_count == 1
    assert_same_area(whole, 8.0, tolerance_mm2=1e-12)
    np.testing.assert_allclose(whole.bounds(), [[-1, -2], [1, 2]], atol=1e-12)
    assert whole.is_line.all()


def test_a_ring_keeps_its_hole_and_its_winding():
    ring = concatenate([circle((-1.0, 0.0), 5.0), circle((-1.0, 0.0), 3.0).reversed()])

    whole = fused(ring, along_rad=np.pi / 2.0)

    assert whole is not None
    assert whole.loop_count == 2
    assert_closed(whole)
    assert_wound(whole)
    areas = [cubic.signed_area(whole.segments[loop]) for loop in whole.loops()]
    assert sorted(np.sign(areas)) == [-1, 1]


def test_curves_stay_the_curves_they_were():
    disc = circle((-2.0, 0.0), 5.0)

    whole = fused(disc, along_rad=np.pi / 2.0)

    assert whole is not None
    assert not whole.is_line.any()
    left = whole.segments[whole.segments[..., 0].mean(axis=1) < 0.0]
    points = cubic.evaluate(left[:, None], np.linspace(0.0, 1.0, 33))
    # Twelve cubics stray from a circle by less than 4e-7 of the radius, and cutting adds rounding alone.
    assert np.abs(np.hypot(points[..., 0] + 2.0, points[..., 1]) - 5.0).max() < 5.0 * 4.1e-7


def test_an_edge_along_the_line_dissolves():
    beside = polygon([(-3, -1), (0, -1), (0, 1), (-3, 1)])

    whole = fused(beside, along_rad=np.pi / 2.0)

    assert whole is not None
    assert whole.loop_count == 1
    assert_same_area(whole, 12.0, tolerance_mm2=1e-12)


def test_what_does_not_reach_the_line_is_shown_twice():
    away = polygon([(-3, -1), (-1, -1), (-1, 1)])

    whole = fused(away, along_rad=np.pi / 2.0)

    assert whole is not None
    assert whole.loop_count == 2
    assert_same_area(whole, 2.0 * away.area_mm2(), tolerance_mm2=1e-12)
    assert_wound(whole)


def test_nothing_beside_the_line_is_nothing():
    assert fused(polygon([(1, 0), (2, 0), (2, 1)]), along_rad=np.pi / 2.0) is None
    # An area that lies against the line from the far side is none either.
    assert fused(polygon([(0, 0), (2, 0), (2, 1), (0, 1)]), along_rad=np.pi / 2.0) is None


def test_a_tip_that_touches_the_line_stays_a_tip():
    whole = fused(polygon([(0, 0), (-2, 1), (-2, -1)]), along_rad=np.pi / 2.0)

    assert whole is not None
    assert_same_area(whole, 4.0, tolerance_mm2=1e-12)
    assert_closed(whole)


@pytest.mark.parametrize("lines", [1, 2, 3, 4, 6])
@pytest.mark.parametrize("centre", [(0.0, 0.0), (1.3, -2.2)])
def test_a_disc_round_the_point_comes_back_whole(lines, centre):
    whole = fused(circle(centre, 4.0), point_mm=centre, along_rad=0.4, lines=lines)

    assert whole is not None
    assert whole.loop_count == 1
    # A twelfth of the disc at most is copied; the cubics' own error is 4e-7 of the radius.
    assert_same_area(whole, np.pi * 16.0, tolerance_mm2=2.0 * np.pi * 4.0 * 4.0 * 4.1e-7)
    assert_closed(whole)


@st.composite
def blobs(draw):
    count = draw(st.integers(3, 7))
    reach = np.array(draw(st.lists(st.floats(1.0, 6.0), min_size=count, max_size=count)))
    bulge = draw(st.floats(0.0, 0.8))
    angle = 2.0 * np.pi * np.arange(count) / count
    knots = np.stack([reach * np.cos(angle), reach * np.sin(angle)], axis=1)
    after = np.roll(knots, -1, axis=0)
    handle = bulge / count * np.stack([-knots[:, 1], knots[:, 0]], axis=1)
    segments = np.stack([knots, knots + handle, after - np.roll(handle, -1, axis=0), after], axis=1)
    return Outline(segments, np.zeros(count, dtype=bool), np.array([0, count]))


@given(
    shape=blobs(),
    lines=st.sampled_from([1, 2, 3, 4, 6]),
    along=st.floats(-3.0, 3.0),
    x=st.floats(-4.0, 4.0),
    y=st.floats(-4.0, 4.0),
)
def test_fusing_agrees_with_cutting_mirroring_and_uniting_polygons(shape, lines, along, x, y):
    whole = fused(shape, point_mm=(x, y), along_rad=along, lines=lines)

    tolerance = 1e-3
    far = 40.0
    angles = along + np.linspace(0.0, np.pi / lines, 9)
    wedge = region_of(
        polygon(np.concatenate([[[x, y]], np.stack([x + far * np.cos(angles), y + far * np.sin(angles)], axis=1)]))
    )
    kept = intersection(region_of(shape, tolerance_mm=tolerance), wedge)
    # Along each border of the kept part the two ways may differ by the flattening tolerance.
    slack = 4.0 * lines * 120.0 * tolerance
    if whole is None:
        assert 2 * lines * kept.area_mm2() <= slack
        return
    assert_closed(whole)
    assert whole.area_mm2() == pytest.approx(2 * lines * kept.area_mm2(), abs=slack)
    found = intersection(region_of(whole, tolerance_mm=tolerance), wedge)
    shared = intersection(found, kept)
    assert found.area_mm2() + kept.area_mm2() - 2.0 * shared.area_mm2() <= slack


@given(shape=blobs(), lines=st.sampled_from([1, 2, 3, 4, 6]), along=st.floats(-3.0, 3.0))
def test_the_result_is_symmetric_in_every_line(shape, lines, along):
    whole = fused(shape, point_mm=(0.7, -0.4), along_rad=along, lines=lines)

    assume(whole is not None)
    for k in range(lines):
        turn = affine.rotation(along + np.pi * k / lines, (0.7, -0.4))
        centred = affine.compose(affine.translation(np.array([0.7, -0.4])), affine.compose(
            affine.mirror_y(), affine.translation(np.array([-0.7, 0.4]))))  # fmt: skip
        image = affine.apply(affine.compose(turn, affine.compose(centred, affine.inverse(turn))), whole.segments)
        ours, theirs = (np.sort(np.round(s[:, [0, 3]].reshape(-1, 2), 6).view(complex).ravel()) for s in
                        (whole.segments, image))  # fmt: skip
        # Sorted as complex numbers; x that agree to rounding may swap neighbours, so sums are compared as well.
        assert abs(ours.sum() - theirs.sum()) < 1e-5 * len(ours)
        assert np.abs(np.sort(np.abs(ours)) - np.sort(np.abs(theirs))).max() < 1e-5


def test_no_lines_are_refused():
    with pytest.raises(ValueError, match="one mirror line or more"):
        fused(SQUARE, along_rad=UP, lines=0)
