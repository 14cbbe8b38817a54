"""The order of paths: everything once, stages kept, never longer than given, as good as nearest neighbour can be."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from friezewright.geometry import affine, cubic
from friezewright.geometry.artwork import Artwork, Placements
from friezewright.geometry.outline import circle, polygon
from friezewright.geometry.strokes import Strokes, concatenate_strokes, contour
from friezewright.motion import order
from friezewright.motion.order import Stops, as_given, join_stops, nearest_order, stops_of


def points(places, stage=None):
    places = np.asarray(places, dtype=float)
    count = len(places)
    return Stops(
        begin=places, end=places, first=np.arange(count + 1), stage=np.zeros(count, int) if stage is None else stage
    )


def lines(start, end):
    begin = np.stack([start, end], axis=1).reshape(-1, 2)
    finish = np.stack([end, start], axis=1).reshape(-1, 2)
    return Stops(begin=begin, end=finish, first=2 * np.arange(len(start) + 1), stage=np.zeros(len(start), int))


def check(stops, route):
    assert sorted(route.stop.tolist()) == list(range(len(stops)))
    owner = np.repeat(np.arange(len(stops)), np.diff(stops.first))
    assert owner[route.choice].tolist() == route.stop.tolist()
    leap = stops.begin[route.choice[1:]] - stops.end[route.choice[:-1]]
    np.testing.assert_allclose(route.hop_mm, np.hypot(*leap.T), atol=1e-12)


grid = st.integers(0, 30).map(float)
place = st.tuples(grid, grid)


@given(st.lists(st.tuples(place, place, st.booleans(), st.integers(0, 2)), max_size=30), st.booleans())
def test_every_path_is_followed_once_and_never_in_a_worse_order(items, sort_stages):
    if sort_stages:
        items = sorted(items, key=lambda item: item[3])
    parts = []
    for start, end, closed, stage in items:
        begin, finish = np.array([start, end]), np.array([start, end] if closed else [end, start])
        parts.append(Stops(begin=begin, end=finish, first=np.array([0, 2]), stage=np.array([stage])))
    stops = join_stops(parts)
    route = nearest_order(stops)
    check(stops, route)
    assert np.all(np.diff(stops.stage[route.stop]) >= 0) or len(stops) < 2
    if sort_stages:
        assert route.travel_mm <= as_given(stops).travel_mm + 1e-9
    again = nearest_order(stops)
    assert again.choice.tolist() == route.choice.tolist()


def test_scattered_points_are_as_far_as_nearest_neighbour_goes():
    # The shortest tour of n points on an area A nears 0.7124 sqrt(n A): constant from experiments of Johnson, McGeoch &
    # Rothberg 1996, existence by Beardwood, Halton & Hammersley 1959. Nearest neighbour is about a quarter longer.
    places = np.random.default_rng(8).uniform(0, 1000, (10_000, 2))
    stops = points(places)
    route = nearest_order(stops)
    check(stops, route)
    assert 1.20 < route.travel_mm / (0.7124 * math.sqrt(len(places)) * 1000) < 1.30


def test_rows_stand_in_for_very_many(monkeypatch):
    places = np.random.default_rng(8).uniform(0, 1000, (3000, 2))
    walked = nearest_order(points(places)).travel_mm
    monkeypatch.setattr(order, "_WALKED", 100)
    route = nearest_order(points(places))
    check(points(places), route)
    assert walked < route.travel_mm < 1.15 * walked


def test_open_paths_may_run_either_way():
    # Rungs of a ladder, all written upwards: run to and fro, the head only steps from rung to rung.
    x = np.arange(50.0)
    stops = lines(np.stack([x, 0 * x], axis=1), np.stack([x, 0 * x + 20], axis=1))
    assert as_given(stops).travel_mm == pytest.approx(49 * math.hypot(1, 20))
    assert nearest_order(stops).travel_mm == pytest.approx(49.0)


def test_closed_paths_start_where_it_is_near():
    # Squares in a row, all written from the far corner of the last gap.
    squares = [polygon([[12 * i + 10, 0], [12 * i + 10, 10], [12 * i, 10], [12 * i, 0]]) for i in range(10)]
    stops = stops_of(Artwork.single([contour(square) for square in squares]))
    assert as_given(stops).travel_mm == pytest.approx(9 * 12)
    # In and out by the same corner: from the first one's near corner to the last one's, straight on.
    assert nearest_order(stops).travel_mm == pytest.approx(98.0)


def test_starts_chosen_well_save_a_fifth_on_scattered_rings():
    random = np.random.default_rng(2)
    rings = Artwork(
        (contour(circle((0, 0), 8)),),
        Placements(
            matrix=affine.translation(random.uniform(0, 600, (400, 2))),
            shape=np.zeros(400, int),
            member=np.zeros(400, int),
        ),
    )
    stops = stops_of(rings)
    firsts = points(stops.begin[stops.first[:-1]])
    assert nearest_order(stops).travel_mm < 0.87 * nearest_order(firsts).travel_mm


def test_openings_are_done_before_the_rim():
    inner = stops_of(Artwork.single([contour(circle((x, 50), 4)) for x in (10, 30, 50, 70, 90)]))
    rim = stops_of(Artwork.single([contour(polygon([[0, 0], [100, 0], [100, 100], [0, 100]]))]), stage=1)
    assert nearest_order(join_stops([inner, rim])).stop[-1] == 5
    assert nearest_order(join_stops([rim, inner])).stop[-1] == 0


def test_every_path_of_every_copy_is_a_stop():
    shape = concatenate_strokes(
        [contour(circle((0, 0), 5)), Strokes(cubic.line([[0, 0]], [[9, 0]]), [True], [0, 1], [0])]
    )
    maps = np.stack([affine.translation((100, 0)), affine.compose(affine.translation((0, 50)), affine.rotation(1.0))])
    both = Artwork((contour(circle((3, 3), 1)), shape), Placements(matrix=maps, shape=[1, 1], member=[0, 0]))
    stops = stops_of(both)
    assert len(stops) == 4
    assert np.diff(stops.first).tolist() == [8, 2, 8, 2]
    np.testing.assert_allclose(stops.begin[8:10], [[100, 0], [109, 0]])
    np.testing.assert_allclose(stops.end[8:10], [[109, 0], [100, 0]])
    np.testing.assert_allclose(stops.begin[18:20], [[0, 50], [9 * math.cos(1), 50 + 9 * math.sin(1)]])
    np.testing.assert_allclose(np.hypot(*(stops.begin[10:18] - [0, 50]).T), 5.0)


def test_nothing_and_one_path_have_no_hops():
    empty = stops_of(Artwork((), Placements(matrix=np.zeros((0, 2, 3)), shape=[], member=[])))
    assert nearest_order(join_stops([empty])).travel_mm == 0.0
    assert nearest_order(join_stops([empty, points([[3, 3]])])).stop.tolist() == [0]


def test_many_paths_at_one_place_are_no_trouble():
    places = np.concatenate([np.zeros((300, 2)), np.full((300, 2), 5.0)])[np.random.default_rng(0).permutation(600)]
    stops = points(places)
    route = nearest_order(stops)
    check(stops, route)
    assert route.travel_mm == pytest.approx(math.hypot(5, 5))
