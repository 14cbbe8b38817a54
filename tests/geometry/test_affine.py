"""Affine maps: closed forms, and the laws of a group."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from friezewright.geometry import affine

numbers = st.floats(-100.0, 100.0, allow_nan=False)
turns = st.floats(-7.0, 7.0)


@st.composite
def maps(draw):
    """Draw a map that turns, stretches up to four times either way, perhaps mirrors, and shifts."""
    stretch = affine.scaling(draw(st.floats(0.25, 4.0)), draw(st.floats(0.25, 4.0)))
    turned = affine.compose(affine.rotation(draw(turns)), affine.compose(stretch, affine.rotation(draw(turns))))
    if draw(st.booleans()):
        turned = affine.compose(turned, affine.mirror_x())
    return affine.compose(affine.translation((draw(numbers), draw(numbers))), turned)


@pytest.mark.parametrize("quarters", range(-4, 9))
def test_quarter_turns_are_exact(quarters):
    turned = affine.apply(affine.rotation(quarters * math.pi / 2.0), np.array([3.0, 5.0]))

    assert tuple(turned) == [(3.0, 5.0), (-5.0, 3.0), (-3.0, -5.0), (5.0, -3.0)][quarters % 4]


def test_a_positive_turn_leads_from_x_towards_y():
    assert np.allclose(affine.apply(affine.rotation(0.1), np.array([1.0, 0.0])), [math.cos(0.1), math.sin(0.1)])


@given(turn=turns, x=numbers, y=numbers)
def test_a_turn_leaves_its_centre(turn, x, y):
    assert np.allclose(affine.apply(affine.rotation(turn, (x, y)), np.array([x, y])), [x, y], atol=1e-12)


@given(a=maps(), b=maps(), c=maps())
def test_maps_compose_like_a_group(a, b, c):
    # Entries reach 4, three products of them 64, shifts 1600: rounding stays below 1e-10.
    left, right = affine.compose(affine.compose(a, b), c), affine.compose(a, affine.compose(b, c))
    assert np.allclose(left, right, rtol=0, atol=1e-9)
    assert np.allclose(affine.compose(a, affine.inverse(a)), affine.identity(), rtol=0, atol=1e-9)
    assert np.allclose(affine.compose(affine.inverse(a), a), affine.identity(), rtol=0, atol=1e-9)


@given(a=maps(), b=maps(), x=numbers, y=numbers)
def test_composing_is_applying_one_after_the_other(a, b, x, y):
    point = np.array([x, y])
    assert np.allclose(
        affine.apply(affine.compose(a, b), point), affine.apply(a, affine.apply(b, point)), rtol=0, atol=1e-9
    )


@given(a=maps(), b=maps())
def test_area_factors_multiply(a, b):
    together = affine.determinant(affine.compose(a, b))
    assert math.isclose(together, affine.determinant(a) * affine.determinant(b), rel_tol=1e-12)


@given(a=maps())
def test_the_largest_stretch_is_the_spectral_norm(a):
    assert math.isclose(affine.largest_stretch(a), np.linalg.norm(a[:, :2], 2), rel_tol=1e-12)


def test_bulk_and_single_agree_to_the_bit():
    many = affine.compose(affine.translation(np.arange(10.0).reshape(5, 2)), affine.rotation(np.arange(5.0)))
    points = np.arange(12.0).reshape(3, 2, 2)
    assert np.array_equal(affine.apply(many, points), np.stack([affine.apply(each, points) for each in many]))


def test_a_flat_map_has_no_inverse():
    with pytest.raises(ValueError, match="determinant 0"):
        affine.inverse(affine.scaling(1.0, 0.0))


def test_the_turn_of_a_mirrored_similarity():
    turned = affine.compose(affine.rotation(0.7), affine.mirror_y())
    assert math.isclose(affine.turn_of(turned), 0.7)
