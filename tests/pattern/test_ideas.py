"""Ideas: each has the group and the gap it says, the order is the promised one, and what cannot fit is said not to."""

import numpy as np
import pytest

from friezewright.geometry import affine
from friezewright.geometry.outline import circle, polygon
from friezewright.pattern.clasp import Partner
from friezewright.pattern.ideas import (
    best_field,
    best_strip,
    does_not_fit,
    field_ideas,
    first_ideas,
    in_order,
    liveliness_of,
    strip_ideas,
    two_of_each,
)
from friezewright.pattern.rank import CALM, LIVELY, weights_for

GAP = 0.5
# A hook without any symmetry of its own, with a bay that its half-turned copy enters.
HOOK = polygon([(-5, -6), (-2, -6), (-2, 2), (5, 1), (5.5, 4), (-5, 6)])
# Two arms of equal width: a half-turned copy fits into its bay with a whole arm.
ELBOW = polygon([(-5, -5), (-1, -5), (-1, 1), (5, 1), (5, 5), (-5, 5)])
# Numbers of the space groups that friezes and plane groups become with three landmarks at heights of their own:
# International Tables A, as interpreted by spglib.
FRIEZE = {"p1": 1, "p11g": 7, "p1m1": 6, "p2": 3, "p2mg": 28, "p11m": 6, "p2mm": 25}
PLANE = {"p1": 1, "p2": 3, "pm": 6, "pg": 7, "cm": 8, "p2mm": 25, "p2mg": 28, "p2gg": 32, "c2mm": 35, "p4": 75}
PLANE |= {"p4mm": 99, "p4gm": 100, "p3": 143, "p3m1": 156, "p31m": 157, "p6": 168, "p6mm": 183}


@pytest.fixture(scope="module")
def strips():
    return strip_ideas(HOOK, gap_mm=GAP, turns=6)


@pytest.fixture(scope="module")
def fields():
    return field_ideas(HOOK, gap_mm=GAP, turns=3)


def landmarks(repeat, vectors):
    marks = np.array([[0.7, 1.1], [1.3, -1.9], [-2.1, 0.8]])
    placed = affine.apply(repeat.cell.matrix, marks)
    return np.linalg.solve(vectors.T, placed[..., None])[..., 0]


def test_every_strip_has_its_group_and_just_its_gap(strips, symmetry_dataset, gap_by_brute_force):
    assert len(strips) >= 6
    for idea in strips:
        repeat = idea.clasp.repeat
        vectors = np.array([repeat.vectors[0], [0.0, 97.0]])

        found = symmetry_dataset(vectors, landmarks(repeat, vectors))

        assert found.number == FRIEZE[repeat.group.value]
        assert GAP - 1e-9 <= repeat.gap_mm <= GAP + 4e-3
        assert gap_by_brute_force(repeat) == pytest.approx(repeat.gap_mm, abs=1e-6)


def test_every_field_has_its_group_and_just_its_gap(fields, symmetry_dataset, gap_by_brute_force):
    assert {"p2", "pg", "p2gg", "p3", "p4", "p6"} <= {idea.repeat.group.value for idea in fields}
    for idea in fields:
        vectors = np.asarray(idea.repeat.vectors)

        found = symmetry_dataset(vectors, landmarks(idea.repeat, vectors))

        assert found.number == PLANE[idea.repeat.group.value]
        assert GAP - 1e-9 <= idea.repeat.gap_mm <= GAP + 4e-3
        assert gap_by_brute_force(idea.repeat) == pytest.approx(idea.repeat.gap_mm, abs=1e-6)
        ground = abs(np.linalg.det(vectors)) / len(idea.repeat.cell)
        assert idea.ink_share == pytest.approx(HOOK.area_mm2() / ground)
        assert idea.saved == pytest.approx(1.0 - ground / ((10.5 + GAP) * (12.0 + GAP)))


def test_fields_come_with_the_most_ink_first(fields):
    shares = [idea.ink_share for idea in fields]

    assert shares == sorted(shares, reverse=True)


def test_rows_do_not_lead_where_there_is_a_real_clasp():
    ideas = strip_ideas(ELBOW, gap_mm=GAP, turns=2)
    assert any(idea.is_real for idea in ideas)

    first_row = next((place for place, idea in enumerate(ideas) if idea.is_plain), len(ideas))

    assert all(idea.is_plain for idea in ideas[first_row:])
    totals = [idea.marks.total() for idea in ideas[:first_row]]
    assert totals == sorted(totals, reverse=True)


def test_without_a_real_clasp_marks_alone_decide(strips):
    assert not any(idea.is_real for idea in strips)

    totals = [idea.marks.total() for idea in strips]

    assert totals == sorted(totals, reverse=True)


def test_the_first_six_show_two_of_each_partner_at_most_before_others_fill_up(strips):
    two = two_of_each(strips)
    first = first_ideas(strips)

    assert max(sum(idea.clasp.partner is partner for idea in two) for partner in Partner) == 2
    assert len(first) == 6
    assert first[0] is strips[0]
    assert set(map(id, two[:6])) <= set(map(id, first))
    assert [strips.index(idea) for idea in first] == sorted(strips.index(idea) for idea in first)


def test_calm_and_lively_are_orders_of_the_same_ideas(strips):
    calm, lively = (in_order(strips, liveliness=value) for value in (CALM, LIVELY))

    assert set(map(id, calm)) == set(map(id, lively)) == set(map(id, strips))
    for order, value in ((calm, CALM), (lively, LIVELY)):
        totals = [idea.marks.total(weights_for(value)) for idea in order]
        assert totals == sorted(totals, reverse=True)
    assert calm != lively
    assert {liveliness_of(idea) for idea in strips} <= {"calm", "even", "lively"}


def test_a_disc_does_not_fit_into_itself():
    ideas = strip_ideas(circle((0, 0), 5), gap_mm=GAP, turns=1)

    assert does_not_fit(ideas)


def test_the_best_now_is_no_longer_than_the_best_of_the_sweep_at_that_turn(strips):
    best = best_strip(HOOK, gap_mm=GAP, turn_rad=0.0)
    upright = [idea.clasp.repeat.pitch_mm for idea in strips if idea.clasp.turn_rad == 0.0]

    assert best.gap_mm >= GAP - 1e-9
    assert any(best.pitch_mm == pytest.approx(pitch, rel=0.03) for pitch in upright)


def test_the_best_field_now_is_the_densest_of_its_rows(fields):
    best = best_field(HOOK, gap_mm=GAP, turn_rad=0.0)
    rows = [idea.ink_share for idea in fields if idea.repeat.group.value in ("p1", "p2", "pg")]

    assert best.gap_mm >= GAP - 1e-9
    # The sweep looks at more turns, each on a coarser grid of heights; both are only best found.
    assert best.ink_share == pytest.approx(max(rows), rel=0.02)
