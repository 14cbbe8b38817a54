import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from friezewright.errors import InputError
from friezewright.geometry import affine
from friezewright.geometry.outline import circle, concatenate, polygon, rounded_polygon
from friezewright.pattern.groups import FriezeGroup, mirror_sites, operations
from friezewright.pattern.repeat import repeat_of
from friezewright.pattern.seat import Mirrors
from friezewright.pattern.strips import strip
from friezewright.testing import assert_closed, assert_wound

GAP = 0.8
# The measured gap may lie above the one asked by twice the flattening and the slack of the search: 0.0015 mm.
MOST = GAP + 0.002
NUMBER = {"p1": 1, "p11g": 7, "p1m1": 6, "p2": 3, "p2mg": 28, "p11m": 6, "p2mm": 25}
every_group = pytest.mark.parametrize("group", FriezeGroup)
SITES = [
    (group, mirrors, index)
    for group in FriezeGroup
    for mirrors in (Mirrors.ON, Mirrors.FUSED)
    for index in range(sum(1 for site in mirror_sites(group) if mirrors is Mirrors.FUSED or site.lines == 1))
]


@every_group
def test_a_strip_has_its_group_and_just_its_gap(group, leaf, gap_by_brute_force, symmetry_dataset):
    made = strip(leaf, group, gap_mm=GAP, turn_rad=0.35)

    assert made.group is group
    assert len(made.cell) == len(operations(group))
    assert made.cell.member.tolist() == list(range(len(made.cell)))
    assert GAP <= made.gap_mm <= MOST
    # Chords of 48 steps a curve lie within 0.003 mm of these curves.
    assert gap_by_brute_force(made) == pytest.approx(made.gap_mm, abs=0.006)
    found = symmetry_dataset(np.array([made.vectors[0], [0.0, 97.0]]), landmarks(made, 97.0))
    assert found.number == NUMBER[str(group)]
    linear = {tuple(np.diag(part)[:2]) for part in found.rotations}
    assert linear == {(o.matrix[0][0], o.matrix[1][1]) for o in operations(group)}


def landmarks(made, across_mm):
    marks = np.array([[0.7, 1.1], [1.3, -1.9], [-2.1, 0.8]])
    placed = affine.apply(made.cell.matrix, marks)
    return placed / np.array([made.pitch_mm, across_mm])


@every_group
def test_a_strip_cannot_be_any_shorter(group, leaf):
    made = strip(leaf, group, gap_mm=GAP, turn_rad=0.35)

    assert made.spread(made.pitch_mm - 0.02 * len(made.cell)).gap_mm < GAP


@every_group
def test_every_shape_can_stand_in_a_row(group, any_shape):
    made = strip(any_shape, group, gap_mm=GAP)

    assert GAP <= made.gap_mm <= MOST
    low, high = made.bounds()
    assert low[1] == pytest.approx(-high[1], abs=1e-9)


@every_group
def test_the_same_call_gives_the_same_bytes(group, leaf):
    one, two = (strip(leaf, group, gap_mm=GAP, turn_rad=0.2) for _ in range(2))

    assert one.vectors.tobytes() == two.vectors.tobytes()
    assert one.cell.matrix.tobytes() == two.cell.matrix.tobytes()
    assert one.gap_mm == two.gap_mm


def test_discs_in_a_row_touch_where_they_must():
    # Discs of radius 3 and a gap of 1: centres 7 apart, whatever the group.
    for group, pitch in [("p1", 7.0), ("p2", 14.0), ("p1m1", 14.0), ("p11g", 14.0), ("p2mg", 28.0)]:
        made = strip(circle((9.0, -4.0), 3.0), FriezeGroup(group), gap_mm=1.0)

        assert made.pitch_mm == pytest.approx(pitch, abs=0.0015 * 4)


def test_the_group_reported_is_the_one_the_copies_have():
    # A disc has every symmetry, so a half-turn row of discs is a plain row with mirrors both ways.
    assert strip(circle((0.0, 0.0), 3.0), FriezeGroup.P2, pitch_mm=20.0).group is FriezeGroup.P2MM


@pytest.mark.parametrize(("group", "mirrors", "site"), SITES)
def test_a_motif_on_its_mirrors_keeps_group_and_gap(group, mirrors, site, leaf, gap_by_brute_force):
    made = strip(leaf, group, gap_mm=GAP, mirrors=mirrors, site=site)

    assert made.group is group
    assert GAP <= made.gap_mm <= MOST
    assert gap_by_brute_force(made) == pytest.approx(made.gap_mm, abs=0.006)
    assert len(made.cell) < len(operations(group))
    assert_closed(made.shapes[0])
    assert_wound(made.shapes[0])


def test_a_symmetric_motif_on_its_mirror_is_left_as_it_is():
    heart = rounded_polygon([(0, 6), (-5, 0), (-3, -4), (0, -2), (3, -4), (5, 0)], 0.8)

    made = strip(heart, FriezeGroup.P1M1, gap_mm=GAP, mirrors=Mirrors.ON)

    assert made.shapes[0].area_mm2() == pytest.approx(heart.area_mm2(), abs=1e-3)
    assert len(made.cell) == 1


def test_a_pitch_sets_the_columns_evenly(leaf):
    tight = strip(leaf, FriezeGroup.P1M1, gap_mm=0.0)

    made = strip(leaf, FriezeGroup.P1M1, pitch_mm=tight.pitch_mm + 4.0)

    # Two columns share 4 mm more; facing edges are mirror images, so all of it is gap.
    assert made.gap_mm == pytest.approx(2.0, abs=0.002)
    assert made.pitch_mm == tight.pitch_mm + 4.0


@pytest.mark.parametrize(
    ("given_sizes", "words"),
    [
        ({}, "give a gap or a pitch"),
        ({"gap_mm": -1.0}, "0 mm or more"),
        ({"gap_mm": float("nan")}, "0 mm or more"),
        ({"pitch_mm": 0.0}, "more than 0 mm"),
        ({"pitch_mm": 3.0}, "copies overlap; use a pitch above"),
        ({"gap_mm": 1.0, "turn_rad": float("inf")}, "finite angle"),
        ({"gap_mm": 1.0, "mirrors": Mirrors.ON}, "no mirror lines"),
    ],
)
def test_impossible_wishes_are_one_clear_line(given_sizes, words, leaf):
    with pytest.raises(InputError, match=words) as caught:
        strip(leaf, FriezeGroup.P2, **given_sizes)

    assert "\n" not in str(caught.value)


def test_a_fused_shape_without_end_is_refused(leaf):
    with pytest.raises(InputError, match="would reach the next mirror and never end"):
        strip(leaf, FriezeGroup.P1M1, pitch_mm=8.0, mirrors=Mirrors.FUSED)


@pytest.mark.parametrize(("site", "overlap", "words"), [(3, None, "3 such mirror sites"), (0, 1.0, "share from 0")])
def test_mirror_sites_and_overlaps_have_limits(site, overlap, words, leaf):
    with pytest.raises(InputError, match=words):
        strip(leaf, FriezeGroup.P2MM, gap_mm=1.0, mirrors=Mirrors.FUSED, site=site, overlap=overlap)


@every_group
def test_spreading_keeps_group_and_shapes(group, leaf):
    made = strip(leaf, group, gap_mm=GAP, turn_rad=0.35)

    wide = made.spread(made.pitch_mm + 3.0)

    assert wide.group is group
    assert wide.shapes is made.shapes
    assert wide.pitch_mm == made.pitch_mm + 3.0
    # Reflected rows keep their distance across; elsewhere every neighbour moves away.
    assert wide.gap_mm >= made.gap_mm - 1e-9
    back = wide.spread(made.pitch_mm)
    np.testing.assert_allclose(back.cell.matrix, made.cell.matrix, atol=1e-12)
    assert back.gap_mm == pytest.approx(made.gap_mm, abs=1e-9)


def test_a_pitch_that_breaks_the_glide_is_noticed(leaf):
    made = strip(leaf, FriezeGroup.P11G, gap_mm=GAP)
    matrix = made.cell.matrix.copy()
    matrix[1, 0, 2] += 0.01

    broken = repeat_of(made.vectors, made.shapes, dataclasses.replace(made.cell, matrix=matrix))

    assert broken.group is FriezeGroup.P1


@settings(max_examples=25, deadline=None)
@given(
    group=st.sampled_from(list(FriezeGroup)),
    turn=st.floats(-3.2, 3.2),
    gap=st.floats(0.0, 3.0),
    length=st.floats(0.5, 30.0),
    width=st.floats(0.02, 5.0),
)
def test_bars_and_hooks_keep_their_gap_at_every_turn(group, turn, gap, length, width):
    hook = polygon(
        [(0, 0), (length, 0), (length, -length / 2 - width), (length + width, -length / 2 - width),
         (length + width, width), (0, width)]
    )  # fmt: skip
    made = strip(hook, group, gap_mm=gap, turn_rad=turn)

    assert gap <= made.gap_mm <= gap + 0.002


def test_two_parts_stay_on_one_side_of_a_mirror():
    pair = concatenate([circle((0.0, 0.0), 2.0), circle((12.0, 0.0), 2.0)])

    made = strip(pair, FriezeGroup.P1M1, gap_mm=1.0)

    for copy in made.copies(np.array([[0]])).copies():
        low, high = copy.bounds()[:, 0]
        assert low > 0.499 or high < -0.499
