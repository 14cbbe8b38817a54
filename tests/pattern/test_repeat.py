import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from friezewright.errors import LimitError
from friezewright.geometry import affine
from friezewright.geometry.artwork import Placements
from friezewright.geometry.outline import circle, polygon
from friezewright.pattern.found import found_group, own_symmetries
from friezewright.pattern.groups import FriezeGroup, PlaneGroup
from friezewright.pattern.repeat import Repeat, repeat_of

FLAG = polygon([(0, 0), (4, 0), (4, 1), (1, 2), (1, 5), (0, 5)])
VECTORS = np.array([[11.3, 0.0], [3.7, 9.1]])


def placed(*maps):
    count = len(maps)
    return Placements(matrix=np.stack(maps), shape=np.zeros(count, dtype=int), member=np.arange(count))


@pytest.fixture(scope="module")
def pair():
    turned = affine.rotation(np.pi, (4.0, 3.5))
    return repeat_of(VECTORS, (FLAG,), placed(affine.identity(), turned))


@pytest.fixture(scope="module")
def row():
    return repeat_of(np.array([[7.1, 0.0]]), (FLAG,), placed(affine.identity()))


def test_copies_come_cell_by_cell_at_whole_steps(pair):
    steps = np.array([[0, 0], [2, -1]])

    art = pair.copies(steps)

    assert art.placements.member.tolist() == [0, 1, 0, 1]
    np.testing.assert_array_equal(art.placements.matrix[:2], pair.cell.matrix)
    np.testing.assert_array_equal(
        art.placements.matrix[2:, :, 2] - pair.cell.matrix[:, :, 2], np.tile(2 * VECTORS[0] - VECTORS[1], (2, 1))
    )


def test_no_rounding_adds_up_along_a_strip(row):
    far = row.copies(np.array([999_999])).placements.matrix[0, 0, 2]

    assert far == 999_999 * 7.1


@given(x=st.floats(-60, 60), y=st.floats(-60, 60), w=st.floats(0.0, 40.0), h=st.floats(0.0, 40.0))
def test_cover_names_every_cell_that_can_touch_and_no_other(pair, x, y, w, h):
    steps = pair.cover([[x, y], [x + w, y + h]])

    low, high = pair.bounds()
    touching = []
    for i in range(-25, 26):
        for j in range(-20, 21):
            shift = i * VECTORS[0] + j * VECTORS[1]
            if np.all(low + shift <= [x + w, y + h]) and np.all(high + shift >= [x, y]):
                touching.append((i, j))
    found = [tuple(step) for step in steps.tolist()]
    # Boxes that merely touch may be counted either way within a billionth of a millimetre.
    assert set(touching) <= set(found)
    for i, j in set(found) - set(touching):
        shift = i * VECTORS[0] + j * VECTORS[1]
        assert np.all(low + shift <= np.array([x + w, y + h]) + 2e-9)
        assert np.all(high + shift >= np.array([x, y]) - 2e-9)
    assert found == sorted(found)


def test_cover_of_a_strip_looks_across_it_too(row):
    assert row.cover([[0.0, 1.0], [20.0, 2.0]])[:, 0].tolist() == [0, 1, 2]
    assert len(row.cover([[0.0, 6.0], [20.0, 9.0]])) == 0


def test_more_than_a_million_copies_are_refused(row, pair):
    with pytest.raises(LimitError, match="1000000"):
        row.cover([[0.0, 0.0], [8e6, 1.0]])
    with pytest.raises(LimitError, match="1000000"):
        pair.cover([[0.0, 0.0], [1e5, 1e5]])
    with pytest.raises(LimitError, match="1000000"):
        pair.copies(np.zeros((500_001, 2), dtype=int))


def test_scaling_scales_everything(pair):
    large = pair.scaled(2.5)

    again = repeat_of(large.vectors, large.shapes, large.cell)
    assert large.gap_mm == pytest.approx(2.5 * pair.gap_mm)
    assert again.gap_mm == pytest.approx(large.gap_mm, abs=0.004)
    assert large.ink_share == pytest.approx(pair.ink_share)
    np.testing.assert_allclose(large.bounds(), 2.5 * pair.bounds())


def test_a_mirror_image_is_the_same_pattern_seen_from_behind(pair, row):
    for repeat in (pair, row):
        image = repeat.mirrored()

        assert image.vectors[0, 0] > 0.0
        again = repeat_of(image.vectors, image.shapes, image.cell)
        assert again.gap_mm == pytest.approx(repeat.gap_mm, abs=0.001)
        assert again.group is repeat.group
        # Every copy of the mirrored pattern lies where the mirror puts a copy of the pattern.
        shifts = image.shifts(np.array([[1] * len(image.vectors)]))
        steps = np.linalg.lstsq(repeat.vectors.T, shifts[0] * [-1.0, 1.0], rcond=None)[0]
        np.testing.assert_allclose(steps, np.round(steps), atol=1e-9)
        np.testing.assert_allclose(image.mirrored().cell.matrix, repeat.cell.matrix)


def test_turning_a_field_turns_vectors_and_copies(pair):
    turned = pair.turned(0.7)

    assert repeat_of(turned.vectors, turned.shapes, turned.cell).gap_mm == pytest.approx(pair.gap_mm, abs=1e-6)
    assert turned.group is pair.group
    assert turned.cell_area_mm2 == pytest.approx(pair.cell_area_mm2)


def test_a_strip_takes_half_turns_only(row):
    np.testing.assert_allclose(row.turned(np.pi).bounds(), -row.bounds()[::-1])
    with pytest.raises(ValueError, match="half turns only"):
        row.turned(1.0)


def test_only_strips_spread(pair, row):
    with pytest.raises(ValueError, match="only a strip"):
        pair.spread(20.0)
    with pytest.raises(ValueError, match="above 0"):
        row.spread(0.0)


def test_overlapping_copies_have_no_gap():
    assert repeat_of(np.array([[2.0, 0.0]]), (FLAG,), placed(affine.identity())).gap_mm == 0.0


def test_the_gap_is_that_of_the_nearest_pair_even_across_many_cells():
    # A long flat bar in a narrow lattice: the nearest copy is eight steps along and one down.
    bar = polygon([(0, 0), (30, 0), (30, 0.5), (0, 0.5)])
    lattice = np.array([[4.0, 1.0], [0.0, 9.0]])

    made = repeat_of(lattice, (bar,), placed(affine.identity()))

    assert made.gap_mm == pytest.approx(0.5, abs=1e-9)


@pytest.mark.parametrize(
    ("vectors", "words"),
    [
        ([[0.0, 4.0]], "runs along"),
        ([[-4.0, 0.0]], "runs along"),
        ([[4.0, 0.0], [8.0, 0.0]], "parallel"),
        ([[np.nan, 0.0]], "finite"),
        ([[1.0, 0.0], [0.0, 1.0], [1.0, 1.0]], "one finite vector or two"),
    ],
)
def test_impossible_lattices_are_refused(vectors, words):
    with pytest.raises(ValueError, match=words):
        Repeat(vectors=np.array(vectors), shapes=(FLAG,), cell=placed(affine.identity()), gap_mm=1.0, group="p1")


def test_steps_must_be_whole(row):
    with pytest.raises(ValueError, match="whole numbers"):
        row.copies(np.array([0.5]))


def test_own_symmetries_of_plain_shapes():
    assert len(own_symmetries(FLAG)) == 1
    assert len(own_symmetries(polygon([(0, 0), (4, 0), (4, 2), (0, 2)]))) == 4
    assert len(own_symmetries(polygon([(0, 0), (4, 0), (4, 4), (0, 4)]))) == 8
    assert len(own_symmetries(circle((3.0, -1.0), 2.0))) == 24


SQUARE = polygon([(-1, -1), (1, -1), (1, 1), (-1, 1)])
BAR = polygon([(-2, -1), (2, -1), (2, 1), (-2, 1)])


@pytest.mark.parametrize(
    ("shape", "vectors", "group"),
    [
        (SQUARE, [[5.0, 0.0], [0.0, 5.0]], PlaneGroup.P4MM),
        (SQUARE, [[5.0, 0.0], [0.0, 6.0]], PlaneGroup.P2MM),
        (SQUARE, [[5.0, 0.0], [2.5, 6.0]], PlaneGroup.C2MM),
        (SQUARE, [[5.0, 0.0], [1.0, 6.0]], PlaneGroup.P2),
        (BAR, [[6.0, 0.0], [0.0, 6.0]], PlaneGroup.P2MM),
        (FLAG, [[6.0, 0.0], [0.0, 6.0]], PlaneGroup.P1),
        (circle((0.0, 0.0), 1.0), [[4.0, 0.0], [-2.0, 2.0 * np.sqrt(3.0)]], PlaneGroup.P6MM),
        (BAR, [[6.0, 0.0]], FriezeGroup.P2MM),
        (polygon([(0, 0), (2, 0), (1, 2)]), [[6.0, 0.0]], FriezeGroup.P1M1),
    ],
)
def test_one_shape_on_a_lattice_has_the_symmetry_of_both(shape, vectors, group):
    assert found_group(np.array(vectors), (shape,), placed(affine.identity())) is group


def test_a_copy_halfway_makes_a_shorter_lattice():
    # Two flags half a repeat apart are one plain row; a flipped one with a symmetric motif is a row with mirrors.
    half = affine.translation(np.array([5.0, 0.0]))
    assert found_group(np.array([[10.0, 0.0]]), (FLAG,), placed(affine.identity(), half)) is FriezeGroup.P1
    arrow = polygon([(0, -1), (3, 0), (0, 1)])
    flipped = affine.compose(half, affine.mirror_y())
    assert found_group(np.array([[10.0, 0.0]]), (arrow,), placed(affine.identity(), flipped)) is FriezeGroup.P11M
