from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from friezewright.errors import InputError
from friezewright.pattern.cells import cell_of
from friezewright.pattern.groups import (
    CellShape,
    FriezeGroup,
    PlaneGroup,
    cell_shape,
    describe,
    frieze_named,
    has_mirrors,
    mirror_sites,
    operations,
    plain_name,
    plane_named,
)

ALL = [*FriezeGroup, *PlaneGroup]
NAMES = [f"{type(group).__name__}-{group}" for group in ALL]
every_group = pytest.mark.parametrize("group", ALL, ids=NAMES)

# Copies a cell and the space group of the pattern times a polar third axis: International Tables A, 5th edition,
# tables 6.2 and 7 (from memory; that they hold is what spglib confirms).
FRIEZE = {"p1": (1, 1), "p11g": (2, 7), "p1m1": (2, 6), "p2": (2, 3), "p2mg": (4, 28), "p11m": (2, 6), "p2mm": (4, 25)}
PLANE = {
    "p1": (1, 1), "p2": (2, 3), "pm": (2, 6), "pg": (2, 7), "cm": (4, 8), "p2mm": (4, 25), "p2mg": (4, 28),
    "p2gg": (4, 32), "c2mm": (8, 35), "p4": (4, 75), "p4mm": (8, 99), "p4gm": (8, 100), "p3": (3, 143),
    "p3m1": (6, 156), "p31m": (6, 157), "p6": (6, 168), "p6mm": (12, 183),
}  # fmt: skip


def expected(group):
    return (FRIEZE if isinstance(group, FriezeGroup) else PLANE)[str(group)]


@every_group
def test_operations_are_a_group_of_the_known_size_exactly(group):
    listed = operations(group)
    as_set = set(listed)

    assert len(as_set) == len(listed) == expected(group)[0]
    assert listed[0].matrix == ((1, 0), (0, 1))
    assert listed[0].shift == (0, 0)
    for a in listed:
        assert abs(a.determinant) == 1
        assert a.inverse() in as_set
        assert a.after(a.inverse()) == listed[0]
        for b in listed:
            assert a.after(b) in as_set


@every_group
def test_operations_keep_lengths_in_their_cell(group):
    cell = cell_of(cell_shape(group)) if isinstance(group, PlaneGroup) else cell_of(CellShape.RECTANGLE)
    basis = cell.vectors(1.0, 1.0 if not cell.free else 1.7).T
    for operation in operations(group):
        linear = basis @ np.array(operation.matrix, dtype=float) @ np.linalg.inv(basis)

        np.testing.assert_allclose(linear.T @ linear, np.eye(2), atol=1e-12)
        np.testing.assert_allclose(cell.linear(operation), linear, atol=1e-12)


@every_group
def test_spglib_knows_the_group(group, symmetry_dataset):
    if isinstance(group, FriezeGroup):
        vectors = np.array([[10.0, 0.0], [0.0, 37.3]])
    else:
        shape = cell_shape(group)
        vectors = cell_of(shape, row_step=0.23).vectors(10.0, 13.0 if cell_of(shape).free else 10.0)
    marks = np.array([[0.07, 0.011], [0.13, 0.019], [0.19, 0.008]])
    matrix = np.array([o.matrix for o in operations(group)], dtype=float)
    shift = np.array([[float(x) for x in o.shift] for o in operations(group)])
    found = symmetry_dataset(vectors, np.einsum("kij,mj->kmi", matrix, marks) + shift[:, None])

    assert found.number == expected(group)[1]
    assert linear_parts(found.rotations) == linear_parts(matrix)


def linear_parts(matrices):
    return {tuple(np.round(np.asarray(m)[:2, :2]).astype(int).reshape(-1)) for m in matrices}


# Asymmetric units of International Tables A (from memory): each triple (p, q, r) asks for p x + q y <= r.
_SMALL_HEXAGON = [(3, 0, 2), (0, 2, 1), (2, -1, 1), (1, 1, 1), (-1, 1, 0)]
UNITS = {
    "p1": [],
    "p2": [(2, 0, 1)],
    "pm": [(2, 0, 1)],
    "pg": [(2, 0, 1)],
    "cm": [(2, 0, 1), (0, 2, 1)],
    "p2mm": [(2, 0, 1), (0, 2, 1)],
    "p2mg": [(4, 0, 1)],
    "p2gg": [(2, 0, 1), (0, 2, 1)],
    "c2mm": [(4, 0, 1), (0, 2, 1)],
    "p4": [(2, 0, 1), (0, 2, 1)],
    "p4mm": [(-1, 1, 0), (2, 0, 1)],
    "p4gm": [(2, 2, 1)],
    "p3": [(3, 0, 2), (0, 3, 2), (2, -1, 1), (1, 1, 1), (-1, 2, 1)],
    "p3m1": [(3, 0, 2), (0, 3, 2), (1, -2, 0), (1, 1, 1), (-2, 1, 0)],
    "p31m": _SMALL_HEXAGON,
    "p6": _SMALL_HEXAGON,
    "p6mm": [(3, 0, 2), (0, 3, 1), (2, -1, 1), (-1, 2, 0)],
}


@pytest.mark.parametrize("group", PlaneGroup)
@given(i=st.integers(1, 10006), j=st.integers(1, 10008))
def test_every_point_has_one_image_in_the_asymmetric_unit(group, i, j):
    # Two primes keep the point off every line of symmetry, so the count is exact.
    point = (Fraction(i, 10007), Fraction(j, 10009))
    images = [tuple(c % 1 for c in operation.apply(point)) for operation in operations(group)]

    inside = [all(p * x + q * y <= r for p, q, r in UNITS[str(group)]) for x, y in images]
    assert inside.count(True) == 1


def test_the_groups_with_mirrors_are_the_ones_with_an_m_of_a_line():
    assert {str(g) for g in FriezeGroup if has_mirrors(g)} == {"p1m1", "p2mg", "p11m", "p2mm"}
    without = {"p1", "p2", "pg", "p2gg", "p4", "p3", "p6"}
    assert {str(g) for g in PlaneGroup if not has_mirrors(g)} == without


def moved(point, back):
    return point[0] - back[0], point[1] - back[1]


def is_whole(group, step):
    # A strip does not repeat across.
    return step[0] % 1 == 0 and (step[1] % 1 == 0 if isinstance(group, PlaneGroup) else step[1] == 0)


@every_group
def test_mirror_sites_lie_on_as_many_mirrors_as_they_say(group):
    assert bool(mirror_sites(group)) == has_mirrors(group)
    for site in mirror_sites(group):
        point = site.point
        if site.lines == 1:
            point = (point[0] + Fraction(3, 101) * site.along[0], point[1] + Fraction(3, 101) * site.along[1])
        fixing = [o for o in operations(group) if is_whole(group, moved(o.apply(point), point))]
        along = (Fraction(site.along[0]), Fraction(site.along[1]))
        flips = [o for o in fixing if o.determinant == -1 and moved(o.apply(along), o.shift) == along]

        assert len(fixing) == 2 * site.lines
        assert len(flips) == 1


@every_group
def test_each_name_leads_back_to_its_group(group):
    named = frieze_named if isinstance(group, FriezeGroup) else plane_named

    assert named(str(group)) is group
    assert named(f" {plain_name(group).title().replace(' ', '_')} ") is group
    assert len({plain_name(other) for other in type(group)}) == len(type(group))
    assert describe(group)[0].isupper()
    assert not describe(group).endswith(".")


@pytest.mark.parametrize(("named", "groups"), [(frieze_named, FriezeGroup), (plane_named, PlaneGroup)])
def test_an_unknown_name_is_answered_with_all_that_are_known(named, groups):
    with pytest.raises(InputError, match="p5m") as caught:
        named("p5m")

    assert all(f"{group} ({plain_name(group)})" in str(caught.value) for group in groups)
