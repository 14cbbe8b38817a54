"""Gaps, clearances and groups, against closed forms and against looking at every pair."""

import itertools
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from friezewright.geometry import affine
from friezewright.geometry.artwork import concatenate_artwork
from friezewright.geometry.outline import circle, concatenate, polygon
from friezewright.geometry.planar import nearness
from friezewright.geometry.planar.region import empty, region_of

RING = concatenate([circle((0.0, 0.0), 5.0), circle((0.0, 0.0), 3.0).reversed()])
DISC = circle((0.0, 0.0), 1.0)
FINE = 1e-5


@given(x=st.floats(-12.0, 12.0), y=st.floats(-12.0, 12.0))
@settings(max_examples=40, deadline=None)
def test_a_disc_and_a_ring(x, y):
    found = nearness.pair_distances(RING, affine.identity(1), DISC, affine.translation([(x, y)]), tolerance_mm=FINE)
    apart = math.hypot(x, y)
    # Areas, not edges: inside the ring's hole there is a gap, on the ring there is none.
    assert found[0] == pytest.approx(max(0.0, apart - 6.0, 2.0 - apart), abs=2 * FINE)


def test_scaled_copies_are_measured_in_millimetres():
    small = affine.compose(affine.translation([(10.0, 0.0)]), affine.scaling(0.5))
    large = affine.compose(affine.translation([(0.0, 0.0)]), affine.scaling(6.0))
    assert nearness.pair_distances(DISC, large, DISC, small, tolerance_mm=FINE)[0] == pytest.approx(3.5, abs=2 * FINE)


def brute_gap(artwork):
    areas = [region_of(copy, tolerance_mm=0.001).shape for copy in artwork.copies()]
    return min(shapely.distance(a, b) for a, b in itertools.combinations(areas, 2))


@pytest.mark.parametrize("seed", range(4))
def test_the_smallest_gap_is_that_of_looking_at_every_pair(make, seed):
    field = make.scattered(make.motif(seed), 4, pitch_mm=6.0, seed=seed)
    gap, where = nearness.smallest_gap(field, tolerance_mm=0.001, reach_mm=6.0)
    assert gap == pytest.approx(brute_gap(field), abs=0.004)
    away = [shapely.distance(region_of(copy).shape, shapely.Point(where)) for copy in field.copies()]
    assert np.allclose(sorted(away)[:2], gap / 2.0, rtol=0, atol=0.003)


def test_parts_of_one_copy_are_no_pair():
    two = concatenate([circle((0.0, 0.0), 1.0), circle((2.1, 0.0), 1.0)])
    assert nearness.pair_distances(two, affine.identity(1), two, affine.translation([(0.0, 2.5)]), tolerance_mm=FINE)[
        0
    ] == pytest.approx(0.5, abs=2 * FINE)


def test_what_is_out_of_reach_is_not_found(make):
    pair = make.at(DISC, [(0.0, 0.0), (3.0, 0.0)])
    assert nearness.smallest_gap(pair, tolerance_mm=0.001, reach_mm=0.99) is None
    gap, where = nearness.smallest_gap(pair, tolerance_mm=0.001, reach_mm=1.01)
    assert gap == pytest.approx(1.0, abs=0.002)
    assert where == pytest.approx((1.5, 0.0), abs=0.05)
    assert nearness.smallest_gap(make.at(DISC, [(0.0, 0.0)]), tolerance_mm=0.001, reach_mm=9.0) is None
    assert nearness.smallest_gap(make.at(DISC, []), tolerance_mm=0.001, reach_mm=9.0) is None


def test_overlapping_copies_have_no_gap(make):
    gap, where = nearness.smallest_gap(make.at(DISC, [(0.0, 0.0), (1.0, 0.0)]), tolerance_mm=0.001, reach_mm=1.0)
    assert gap == 0.0
    assert 0.0 <= where[0] <= 1.0


def test_a_lattice_is_measured_once_not_everywhere(make, monkeypatch):
    measured = []
    real = nearness.pair_distances

    def counted(a, maps_a, b, maps_b, *, tolerance_mm):
        measured.append(len(maps_a))
        return real(a, maps_a, b, maps_b, tolerance_mm=tolerance_mm)

    monkeypatch.setattr(nearness, "pair_distances", counted)
    steps = list(itertools.product(range(30), range(30)))
    gap, _ = nearness.smallest_gap(make.at(DISC, np.array(steps) * 2.5), tolerance_mm=0.001, reach_mm=0.6)
    assert gap == pytest.approx(0.5, abs=0.002)
    assert sum(measured) <= 8


def test_the_gap_between_two_artworks(make):
    left = make.at(DISC, [(0.0, 0.0), (0.0, 4.0)])
    right = make.at(RING, [(9.0, 1.0)])
    gap, where = nearness.gap_between(left, right, tolerance_mm=FINE, reach_mm=20.0)
    assert gap == pytest.approx(math.hypot(9.0, 1.0) - 6.0, abs=2 * FINE)
    assert 0.0 < where[0] < 9.0
    assert nearness.gap_between(left, make.at(RING, []), tolerance_mm=FINE, reach_mm=20.0) is None


@pytest.mark.parametrize(("x", "wanted"), [(0.0, 4.0), (3.0, 1.0), (4.0, 0.0), (5.5, -1.5), (20.0, -16.0)])
def test_clearance_is_signed(make, x, wanted):
    zone = region_of(circle((0.0, 0.0), 5.0), tolerance_mm=FINE)
    found = nearness.clearance(make.at(DISC, [(0.0, 0.0), (x, 0.0)]), zone, tolerance_mm=FINE)
    assert found == pytest.approx(wanted, abs=1e-3)


def test_clearance_sees_a_gap_of_the_zone_inside_a_copy(make):
    zone = region_of(RING, tolerance_mm=FINE)
    assert nearness.clearance(make.at(circle((0.0, 0.0), 4.0), [(0.0, 0.0)]), zone, tolerance_mm=FINE) == 0.0
    assert nearness.clearance(make.at(DISC, []), zone, tolerance_mm=FINE) == math.inf
    with pytest.raises(ValueError, match="empty region"):
        nearness.clearance(make.at(DISC, [(0.0, 0.0)]), empty(), tolerance_mm=FINE)


@pytest.mark.parametrize("seed", range(3))
def test_clearance_is_that_of_looking_at_every_copy(make, seed):
    field = make.scattered(make.motif(seed), 6)
    zone = region_of(circle((16.0, 16.0), 30.0))
    edge = shapely.boundary(zone.shape)
    wanted = min(shapely.distance(region_of(copy).shape, edge) for copy in field.copies())
    assert nearness.clearance(field, zone, tolerance_mm=0.001) == pytest.approx(wanted, abs=0.003)


@given(seed=st.integers(0, 999))
@settings(max_examples=25, deadline=None)
def test_groups_are_connected_components(make, seed):
    random = np.random.default_rng(seed)
    points = random.random((25, 2)) * 12.0
    found = nearness.touching_groups(make.at(DISC, points), tolerance_mm=FINE, slack_mm=0.1)
    linked = np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1)) <= 2.1
    reach = np.linalg.matrix_power(linked.astype(float), 25) > 0.0
    assert np.array_equal(found[:, None] == found[None], reach)
    # Numbered by their first copy.
    first = [int(np.flatnonzero(found == label)[0]) for label in range(found.max() + 1)]
    assert first == sorted(first)


def test_a_long_chain_is_one_group(make):
    order = np.random.default_rng(1).permutation(400)
    chain = make.at(DISC, np.stack([order * 1.9, np.zeros(400)], axis=1))
    assert nearness.touching_groups(chain, tolerance_mm=0.001, slack_mm=0.0).max() == 0


def test_touching_in_a_point_is_touching(make):
    square = polygon([(0, 0), (1, 0), (1, 1), (0, 1)])
    pieces = concatenate_artwork([make.at(square, [(0, 0), (1, 1), (5, 5)]), make.at(DISC, [(7.0, 5.5)])])
    assert nearness.touching_groups(pieces, tolerance_mm=0.001, slack_mm=1e-6).tolist() == [0, 0, 1, 1]
