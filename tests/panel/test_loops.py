"""Loose lines: what is doubled, what belongs together, and that nothing is moved."""

from __future__ import annotations

import numpy as np
import pytest

from friezewright.geometry import cubic
from friezewright.geometry.strokes import Strokes
from friezewright.panel.loops import NEARLY_MM, chains_of, joined, without_doubles


def stroke(*points, closed=False) -> Strokes:
    corners = np.array(points, dtype=float)
    ends = np.roll(corners, -1, axis=0) if closed else corners[1:]
    segments = cubic.line(corners if closed else corners[:-1], ends)
    return Strokes(segments, np.ones(len(segments), bool), np.array([0, len(segments)]), np.array([closed]))


def chains(*strokes):
    return chains_of(strokes)


def test_segments_without_length_are_left_out():
    (chain,) = chains(stroke((0, 0), (5, 0), (5, 0), (5, 1e-9), (9, 0)))

    assert len(chain.segments) == 2
    assert chain.segments[1, 0].tolist() == chain.segments[0, 3].tolist()


@pytest.mark.parametrize("offset", [0.0, 0.001, -0.0015])
def test_the_same_line_either_way_round_is_one(offset):
    kept, dropped, partly = without_doubles(chains(stroke((0, 0), (50, 30)), stroke((50, 30 + offset), (0, offset))))

    assert (len(kept), len(dropped), len(partly)) == (1, 1, 0)
    assert kept[0].sources == (0,)


def test_lines_side_by_side_are_two():
    kept, dropped, _ = without_doubles(chains(stroke((0, 0), (50, 0)), stroke((0, 0.01), (50, 0.01))))

    assert (len(kept), len(dropped)) == (2, 0)


def test_an_arc_and_its_chord_are_two():
    arc = Strokes(
        np.array([[[0, 0], [1, 1], [2, 1], [3, 0.0]]]), np.array([False]), np.array([0, 1]), np.array([False])
    )

    assert len(without_doubles(chains(arc, stroke((0, 0), (3, 0))))[0]) == 2


def test_upright_lines_are_recognised_either_way_round():
    kept, _, _ = without_doubles(chains(stroke((7, 0), (7, 30)), stroke((7.0005, 30), (7, 0)), stroke((7, 0), (7, 30))))

    assert len(kept) == 1


def test_a_grid_of_equal_parts_is_all_kept():
    parts = [
        stroke((x, y), (x + 4, y), (x + 4, y + 4), closed=True) for x in range(0, 200, 5) for y in range(0, 200, 5)
    ]

    assert len(without_doubles(chains(*parts))[0]) == len(parts)


def test_nearest_ends_are_joined_first():
    # Two lines end near a third; only the nearer one goes on from it.
    result = joined(chains(stroke((0, 0), (10, 0)), stroke((10.2, 0), (20, 5)), stroke((10.1, 0), (20, -5))))

    assert result.joints == 1
    assert sorted(len(chain.segments) for chain in result.chains) == [1, 3]
    (long,) = [chain for chain in result.chains if len(chain.segments) == 3]
    assert long.ends().tolist() == [[0, 0], [20, -5]]
    assert result.gaps == ((10.05, 0.0, pytest.approx(0.1)),)


def test_a_short_line_does_not_close_on_itself():
    result = joined(chains(stroke((0, 0), (0.2, 0), (0.2, 0.1))))

    assert not result.chains[0].closed


def test_a_loop_is_closed_with_a_bridge_only_where_there_is_a_gap():
    touching = joined(chains(stroke((0, 0), (10, 0), (10, 10), (0, 0)))).chains[0]
    apart = joined(chains(stroke((0, 0), (10, 0), (10, 10), (0, NEARLY_MM)))).chains[0]

    assert touching.closed
    assert len(touching.segments) == 3
    assert apart.closed
    assert len(apart.segments) == 4
    assert apart.outline().loop_count == 1


def test_an_open_line_encloses_nothing():
    with pytest.raises(ValueError, match="open"):
        chains(stroke((0, 0), (1, 1)))[0].outline()


def test_many_loose_lines_are_joined_in_one_go():
    lines = [stroke((i, 0), (i + 1, 0)) for i in range(3000)]
    result = joined(chains(*lines))

    assert len(result.chains) == 1
    assert result.joints == 2999
