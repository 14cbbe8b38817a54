import math
import runpy
from pathlib import Path

import numpy as np
import pytest
import shapely

from friezewright.errors import GeometryError
from friezewright.geometry.outline import circle, concatenate, polygon
from friezewright.pattern.pieces import GRID_MM, Pieces, grown, on_grid, pieces_of, pieces_of_edges

DATA = Path(__file__).parents[1] / "data"
MOTIFS = runpy.run_path(str(DATA / "clasp_motifs.py"))["motifs"]()
ORACLE = runpy.run_path(str(DATA / "clasp_oracle.py"))


def area_of(pieces):
    total = 0.0
    for side, sign in ((pieces.right, 1.0), (pieces.left, -1.0)):
        for nodes in side:
            level, x = nodes.T
            total += sign * float(np.sum(0.5 * (x[1:] + x[:-1]) * np.diff(level)))
    return total


def inside(pieces, points):
    found = np.zeros(len(points), dtype=bool)
    for left, right in zip(pieces.left, pieces.right, strict=True):
        level = points[:, 1]
        held = (level > left[0, 0]) & (level < left[-1, 0])
        held &= (points[:, 0] > np.interp(level, *left.T)) & (points[:, 0] < np.interp(level, *right.T))
        found |= held
    return found


@pytest.mark.parametrize("name", MOTIFS)
def test_pieces_make_up_the_outline(name):
    shape = MOTIFS[name]
    pieces = pieces_of(shape, tolerance_mm=0.01)

    # Levels move by half a grid step at most, along all edges. The inner bends of the wave cross themselves by a hair.
    crossed_mm2 = 1e-3 if name == "wave" else 0.0
    wanted = ORACLE["polygon_of"](shape, 0.01)
    slack_mm2 = GRID_MM * wanted.length
    assert math.isclose(area_of(pieces), wanted.area, abs_tol=slack_mm2 + crossed_mm2)
    for image in (pieces.mirrored(), pieces.flipped(), pieces.mirrored().flipped()):
        assert math.isclose(area_of(image), area_of(pieces), abs_tol=1e-9)
    again = pieces.flipped().mirrored().flipped().mirrored()
    for before, after in zip((*pieces.left, *pieces.right), (*again.left, *again.right), strict=True):
        np.testing.assert_array_equal(before, after)


@pytest.mark.parametrize("name", MOTIFS)
def test_profiles_rise_and_meet(name):
    plain = pieces_of(MOTIFS[name], tolerance_mm=0.02)
    for pieces in (plain, grown(plain, 0.7, excess_mm=0.001)):
        for left, right in zip(pieces.left, pieces.right, strict=True):
            assert left[0, 0] == right[0, 0]
            assert left[-1, 0] == right[-1, 0]
            for nodes in (left, right):
                rise = np.diff(nodes[:, 0])
                assert np.all(rise >= 0.0)
                # A step has two nodes, never three, and none stands at an end.
                assert not np.any((rise[1:] == 0.0) & (rise[:-1] == 0.0))
                assert rise[0] > 0.0
                assert rise[-1] > 0.0
                np.testing.assert_array_equal(nodes[:, 0], on_grid(nodes[:, 0]))


def test_a_square_is_one_piece_and_a_ring_several():
    square = pieces_of(polygon([(0, 0), (2, 0), (2, 3), (0, 3)]), tolerance_mm=0.01)
    assert len(square) == 1
    assert square.levels() == (0.0, 3.0)
    np.testing.assert_array_equal(square.right[0], [[0, 2], [3, 2]])
    ring = pieces_of(concatenate([circle((0, 0), 5), circle((0, 0), 3).reversed()]), tolerance_mm=0.01)
    assert len(ring) == 2


def test_a_step_is_kept():
    tee = polygon([(0, 0), (1, 0), (1, 2), (3, 2), (3, 3), (-2, 3), (-2, 2), (0, 2)])
    pieces = pieces_of(tee, tolerance_mm=0.01)
    assert len(pieces) == 1
    np.testing.assert_array_equal(pieces.right[0], [[0, 1], [2, 1], [2, 3], [3, 3]])
    np.testing.assert_array_equal(pieces.left[0], [[0, 0], [2, 0], [2, -2], [3, -2]])


@pytest.mark.parametrize("gap", [0.2, 0.8, 2.0])
@pytest.mark.parametrize("name", MOTIFS)
def test_growing_covers_all_within_the_gap_and_nothing_beyond(name, gap):
    pieces = pieces_of(MOTIFS[name], tolerance_mm=0.02)
    area = shapely.union_all(
        [shapely.make_valid(shapely.Polygon(np.concatenate([left, right[::-1]])[:, ::-1])) for left, right in
         zip(pieces.left, pieces.right, strict=True)]
    )  # fmt: skip
    excess = 0.0005
    points = np.random.default_rng(4).uniform(-14, 14, (3000, 2))
    away = shapely.distance(area, shapely.points(points))
    found = inside(grown(pieces, gap, excess_mm=excess), points)

    assert np.all(found[away < gap - 1e-8])
    assert not np.any(found[away > gap + excess + 1e-8])


def test_growing_a_square_by_closed_form():
    square = pieces_of(polygon([(0, 0), (10, 0), (10, 10), (0, 10)]), tolerance_mm=0.01)
    for gap in (0.1, 1.0, 7.0):
        for excess in (1e-2, 1e-4, 1e-6):
            area = area_of(grown(square, gap, excess_mm=excess))
            exact = 100 + 40 * gap + math.pi * gap * gap
            assert 0.0 <= area - exact + 1e-7 <= 2 * math.pi * (gap + excess) * excess + 1e-6
    assert grown(square, 0.0, excess_mm=0.1) is square


def test_bays_narrower_than_twice_the_gap_close():
    comb = polygon([(0, 0), (9, 0), (9, 5), (6, 5), (6, 2), (5, 2), (5, 5), (0, 5)])
    point = np.array([[5.5, 3.0]])
    pieces = pieces_of(comb, tolerance_mm=0.01)
    assert not inside(pieces, point)[0]
    assert inside(grown(pieces, 0.51, excess_mm=1e-4), point)[0]
    assert not inside(grown(pieces, 0.49, excess_mm=1e-4), point)[0]


def test_what_is_no_area_is_refused():
    with pytest.raises(GeometryError, match="closed"):
        pieces_of_edges(np.array([[0.0, 0.0], [1.0, 0.0]]), np.array([[1.0, 1.0], [1.0, 2.0]]))
    with pytest.raises(GeometryError, match="height"):
        pieces_of_edges(np.array([[0.0, 0.0], [1.0, 0.0]]), np.array([[1.0, 0.0], [0.0, 0.0]]))


def test_arrays_are_read_only():
    pieces = Pieces((np.array([[0.0, 0.0], [1.0, 0.0]]),), (np.array([[0.0, 1.0], [1.0, 1.0]]),))
    with pytest.raises(ValueError, match="read-only"):
        pieces.left[0][0, 0] = 1.0
