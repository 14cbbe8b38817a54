import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from friezewright.errors import InputError
from friezewright.geometry import affine
from friezewright.geometry.outline import circle, polygon
from friezewright.pattern.fields import field
from friezewright.pattern.found import found_group
from friezewright.pattern.groups import CellShape, PlaneGroup, cell_shape, has_mirrors, mirror_sites, operations
from friezewright.pattern.repeat import repeat_of
from friezewright.pattern.seat import Mirrors
from friezewright.testing import assert_closed, assert_wound

GAP = 0.8
MOST = GAP + 0.002
NUMBER = dict(
    zip(PlaneGroup, (1, 3, 6, 7, 8, 25, 28, 32, 35, 75, 99, 100, 143, 156, 157, 168, 183), strict=True)
)  # International Tables A: the group times a polar third axis
every_group = pytest.mark.parametrize("group", PlaneGroup)
SITES = [
    (group, mirrors, index)
    for group in PlaneGroup
    for mirrors in (Mirrors.ON, Mirrors.FUSED)
    for index in range(sum(1 for site in mirror_sites(group) if mirrors is Mirrors.FUSED or site.lines == 1))
]


@pytest.fixture(scope="module")
def fields(leaf):
    return {group: field(leaf, group, gap_mm=GAP, turn_rad=0.35) for group in PlaneGroup}


@every_group
def test_a_field_has_its_group_and_just_its_gap(group, fields, gap_by_brute_force, symmetry_dataset):
    made = fields[group]

    assert made.group is group
    assert len(made.cell) == len(operations(group))
    assert GAP <= made.gap_mm <= MOST
    # Chords of 48 steps a curve lie within 0.003 mm of these curves.
    assert gap_by_brute_force(made, around=1) == pytest.approx(made.gap_mm, abs=0.006)
    marks = np.array([[0.7, 1.1], [1.3, -1.9], [-2.1, 0.8]])
    placed = affine.apply(made.cell.matrix, marks)
    assert (
        symmetry_dataset(made.vectors, np.einsum("kmj,ji->kmi", placed, np.linalg.inv(made.vectors))).number
        == NUMBER[group]
    )


@every_group
def test_the_field_is_unchanged_by_its_own_operations(group, fields):
    made = fields[group]
    basis = made.vectors.T
    for operation in operations(group):
        linear = basis @ np.array(operation.matrix, dtype=float) @ np.linalg.inv(basis)
        shift = basis @ np.array([float(x) for x in operation.shift])
        image = affine.compose(np.concatenate([linear, shift[:, None]], axis=1), made.cell.matrix)
        for matrix in image:
            away = (made.cell.matrix[:, :, 2] - matrix[:, 2]) @ np.linalg.inv(made.vectors)
            same = np.abs(away - np.round(away)).max(axis=1) < 1e-9
            same &= np.abs(made.cell.matrix[:, :, :2] - matrix[:, :2]).max(axis=(1, 2)) < 1e-9
            assert same.sum() == 1


@every_group
def test_neither_side_of_the_cell_could_be_shorter(group, fields):
    made = fields[group]
    moves = [np.array([0.995, 0.995])]
    if cell_shape(group) in (CellShape.OBLIQUE, CellShape.RECTANGLE):
        moves = [np.array([0.995, 1.0]), np.array([1.0, 0.995])]
    for factors in moves:
        # Copies keep their turns and their places in the cell, while the cell gets shorter along x or y.
        matrix = made.cell.matrix.copy()
        matrix[:, :, 2] *= factors
        cell = type(made.cell)(matrix=matrix, shape=made.cell.shape, member=made.cell.member)

        assert repeat_of(made.vectors * factors, made.shapes, cell).gap_mm < GAP


@every_group
def test_mirror_images_keep_the_sign_of_their_area(group, fields, leaf):
    for copy in fields[group].copies(np.array([[3, -2]])).copies():
        assert copy.area_mm2() == pytest.approx(leaf.area_mm2(), rel=1e-12)


@every_group
def test_a_motif_keeps_clear_of_every_mirror(group, fields):
    made = fields[group]
    if not has_mirrors(group):
        pytest.skip("no mirrors")
    box = made.copies(np.array([[0, 0]])).chosen(np.array([0]))
    (copy,) = box.copies()
    points = copy.segments[:, 0]
    basis = made.vectors.T
    sides = 0
    for operation in operations(group):
        if operation.determinant == 1:
            continue
        linear = basis @ np.array(operation.matrix, dtype=float) @ np.linalg.inv(basis)
        # The direction a mirror turns round; a plain mirror moves points along it only.
        normal = np.linalg.eigh(0.5 * (linear + linear.T))[1][:, 0]
        for i in range(-3, 4):
            for j in range(-3, 4):
                shift = basis @ (np.array([float(x) for x in operation.shift]) + np.array([i, j]))
                if abs(shift[0] * normal[1] - shift[1] * normal[0]) < 1e-9:
                    height = points @ normal - 0.5 * shift @ normal
                    sides += 1
                    assert np.abs(height).min() >= 0.5 * GAP - 1e-9
                    assert np.all(height > 0.0) or np.all(height < 0.0)
    assert sides > 0


@pytest.mark.parametrize(("group", "mirrors", "site"), SITES)
def test_a_motif_on_its_mirrors_keeps_group_and_gap(group, mirrors, site, leaf):
    made = field(leaf, group, gap_mm=GAP, mirrors=mirrors, site=site)

    assert made.group is group
    assert GAP <= made.gap_mm <= MOST
    lines = mirror_sites(group)[site].lines if mirrors is Mirrors.FUSED else 1
    assert len(made.cell) * 2 * lines == len(operations(group))
    assert_closed(made.shapes[0])
    assert_wound(made.shapes[0])


@pytest.mark.parametrize("group", ["p1", "p2", "p2gg", "c2mm", "p4gm", "p6"])
def test_every_shape_can_fill_a_field(group, any_shape):
    made = field(any_shape, PlaneGroup(group), gap_mm=GAP)

    assert GAP <= made.gap_mm <= MOST


@pytest.mark.parametrize("group", ["p2", "cm", "p4", "p31m"])
def test_the_same_call_gives_the_same_bytes(group, leaf, fields):
    made, before = field(leaf, PlaneGroup(group), gap_mm=GAP, turn_rad=0.35), fields[PlaneGroup(group)]

    assert made.vectors.tobytes() == before.vectors.tobytes()
    assert made.cell.matrix.tobytes() == before.cell.matrix.tobytes()
    assert made.gap_mm == before.gap_mm


def test_discs_stand_as_close_as_discs_can():
    disc = circle((0.0, 0.0), 3.0)

    straight = field(disc, PlaneGroup.P1, gap_mm=1.0, row_step=0.0)
    staggered = field(disc, PlaneGroup.P1, gap_mm=1.0)

    np.testing.assert_allclose(straight.vectors, [[7, 0], [0, 7]], atol=0.004)
    # The closest lattice of discs has cells of sqrt(3)/2 times the spacing squared (Lagrange 1773, as commonly stated).
    assert staggered.cell_area_mm2 == pytest.approx(49.0 * np.sqrt(3.0) / 2.0, rel=2e-3)
    assert straight.group is PlaneGroup.P4MM
    assert field(disc, PlaneGroup.P1, gap_mm=1.0, row_step=0.25).group is PlaneGroup.P2


def test_a_cell_of_given_size_has_the_gap_that_follows(leaf):
    made = field(leaf, PlaneGroup.P2MM, cell_mm=(40.0, 60.0))

    np.testing.assert_array_equal(made.vectors, [[40.0, 0.0], [0.0, 60.0]])
    width, height = np.ptp(leaf.bounds(), axis=0)
    # Upright, four to a cell: the motif sits in the middle of its quarter, the nearer mirror decides.
    assert made.gap_mm == pytest.approx(min(20.0 - width, 30.0 - height), abs=0.25)
    assert made.group is PlaneGroup.P2MM


@pytest.mark.parametrize(
    ("group", "wishes", "words"),
    [
        ("p2", {}, "give a gap or a cell"),
        ("p2", {"cell_mm": (10.0, -1.0)}, "more than 0 mm"),
        ("p2", {"cell_mm": 8.0}, "cannot hold 2 copies"),
        ("p2", {"cell_mm": 18.0}, "copies overlap; use a cell above"),
        ("p4", {"cell_mm": (40.0, 41.0)}, "equal sides"),
        ("pg", {"gap_mm": 1.0, "row_step": 0.5}, "row_step is for p1 and p2"),
        ("p2", {"gap_mm": 1.0, "row_step": float("nan")}, "finite part"),
        ("p2gg", {"gap_mm": 1.0, "mirrors": Mirrors.FUSED}, "no mirror lines"),
        ("p4mm", {"gap_mm": 1.0, "mirrors": Mirrors.ON, "site": 2}, "2 such mirror sites"),
        ("p4mm", {"cell_mm": 20.0, "mirrors": Mirrors.FUSED}, "would reach the next mirror and never end"),
    ],
)
def test_impossible_wishes_are_one_clear_line(group, wishes, words, leaf):
    with pytest.raises(InputError, match=words) as caught:
        field(leaf, PlaneGroup(group), **wishes)

    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("group", PlaneGroup)
@settings(max_examples=5, deadline=None)
@given(turn=st.floats(-3.2, 3.2), gap=st.floats(0.1, 3.0), length=st.floats(0.5, 30.0), width=st.floats(0.1, 5.0))
def test_hooks_keep_their_gap_at_every_turn(group, turn, gap, length, width):
    hook = polygon(
        [(0, 0), (length, 0), (length, -length / 2 - width), (length + width, -length / 2 - width),
         (length + width, width), (0, width)]
    )  # fmt: skip
    made = field(hook, group, gap_mm=gap, turn_rad=turn)

    assert gap <= made.gap_mm <= gap + 0.002


@every_group
def test_one_copy_turned_breaks_the_group(group, fields):
    made = fields[group]
    if group is PlaneGroup.P1:
        pytest.skip("nothing to break")
    matrix = made.cell.matrix.copy()
    matrix[-1, :, :2] = affine.compose(affine.rotation(0.01), made.cell.matrix[-1])[:, :2]
    cell = type(made.cell)(matrix=matrix, shape=made.cell.shape, member=made.cell.member)

    assert found_group(made.vectors, made.shapes, cell) is not group
