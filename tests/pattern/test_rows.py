import runpy
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from friezewright.geometry.outline import concatenate, polygon
from friezewright.pattern.pieces import Pieces, grown, on_grid, pieces_of, pieces_of_edges
from friezewright.pattern.rows import Rows, forbidden_rows

DATA = Path(__file__).parents[1] / "data"
MOTIFS = runpy.run_path(str(DATA / "clasp_motifs.py"))["motifs"]()
ORACLE = runpy.run_path(str(DATA / "clasp_oracle.py"))
PARTNERS = tuple(ORACLE["PARTNERS"])


def of(*corners):
    return pieces_of(polygon(corners), tolerance_mm=0.01)


def image(pieces, partner):
    sign_x, sign_y = ORACLE["PARTNERS"][partner]
    pieces = pieces.mirrored() if sign_x < 0 else pieces
    return pieces.flipped() if sign_y < 0 else pieces


SQUARE = of((0, 0), (1, 0), (1, 1), (0, 1))
CUP = of((0, 0), (5, 0), (5, 4), (3, 4), (3, 2), (2, 2), (2, 4), (0, 4))


def test_two_squares():
    rows = forbidden_rows(SQUARE, SQUARE, np.array([-1.0, -0.5, 0.0, 0.999, 1.0, 3.0]))
    assert rows.count.tolist() == [0, 1, 1, 1, 0, 0]
    for i in (1, 2, 3):
        np.testing.assert_array_equal(rows.row(i), [[-1, 1]])


def test_a_square_that_exactly_fits_a_bay_keeps_its_one_place():
    # The bay of the cup is 1 wide and as deep as 2 to 4.
    rows = forbidden_rows(CUP, SQUARE, np.array([1.9, 2.0, 2.5, 3.0, 3.9, 4.0]))
    assert rows.count.tolist() == [1, 2, 2, 2, 2, 0]
    np.testing.assert_array_equal(rows.row(1), [[-1, 2], [2, 5]])
    np.testing.assert_array_equal(rows.row(0), [[-1, 5]])


def test_a_square_that_exactly_fits_a_hole():
    frame = concatenate(
        [polygon([(-3, -3), (3, -3), (3, 3), (-3, 3)]), polygon([(0, 0), (1, 0), (1, 1), (0, 1)]).reversed()]
    )
    pieces = pieces_of(frame, tolerance_mm=0.01)
    rows = forbidden_rows(pieces, SQUARE, np.array([-1e-6, 0.0, 1e-6]))
    assert rows.count.tolist() == [1, 2, 1]
    np.testing.assert_array_equal(rows.row(1), [[-4, 0], [0, 3]])


def test_steps_on_one_level_meet_side_by_side_only():
    # Two stairs that lie tread on tread; a rounding of either level would let them run into each other.
    stairs = of((0, 0), (9, 0), (9, 3), (6, 3), (6, 2), (3, 2), (3, 1), (0, 1))
    other = stairs.mirrored().flipped()
    rows = forbidden_rows(stairs, other, np.array([4.0, 4.0 - 1e-6]))
    # At 4 the lowest tread of the other (9 to 6 turned: -9..-6, reaching down by 3) rests on the treads.
    x = shapely.Polygon([(0, 0), (9, 0), (9, 3), (6, 3), (6, 2), (3, 2), (3, 1), (0, 1)])
    for i, shift in enumerate((4.0, 4.0 - 1e-6)):
        wanted = ORACLE["runs_by_triangles"](
            ORACLE["triangles_of"](x), ORACLE["triangles_of"](ORACLE["image"](x, "half-turn")), shift
        )
        np.testing.assert_allclose(rows.row(i), wanted, atol=1e-5)


@pytest.mark.parametrize("name", MOTIFS)
def test_rows_equal_those_of_triangles(name):
    area = ORACLE["polygon_of"](MOTIFS[name], 0.05)
    larger = area.buffer(0.8, quad_segs=4)
    x, y = pieces_of_edges(*ORACLE["rings_of"](larger)), pieces_of_edges(*ORACLE["rings_of"](area))
    tall = float(np.ptp(shapely.bounds(area)[1::2]))
    shifts = on_grid(np.linspace(-0.9 * tall, 0.9 * tall, 7) + 0.0123)
    thirds = ORACLE["triangles_of"](larger)
    for partner in PARTNERS:
        rows = forbidden_rows(x, image(y, partner), shifts)
        other = ORACLE["triangles_of"](ORACLE["image"](area, partner))
        for i, shift in enumerate(shifts):
            wanted = ORACLE["runs_by_triangles"](thirds, other, shift)
            assert rows.count[i] == len(wanted)
            # Levels are rounded to a billionth of a mm; a nearly level edge stretches that.
            np.testing.assert_allclose(rows.row(i), wanted, atol=1e-6)


@pytest.mark.parametrize("name", MOTIFS)
def test_free_and_forbidden_places_measured_one_by_one(name):
    gap, excess = 0.8, 0.0005
    area = ORACLE["polygon_of"](MOTIFS[name], 0.01)
    pieces = pieces_of_edges(*ORACLE["rings_of"](area))
    rng = np.random.default_rng(11)
    places = np.stack([rng.uniform(-22, 22, 240), np.repeat(rng.uniform(-12, 12, 24), 10)], axis=1)
    for partner in PARTNERS:
        rows = forbidden_rows(grown(pieces, gap, excess_mm=excess), image(pieces, partner), places[:, 1])
        free = ~np.any((places[:, :1] > rows.ends[..., 0]) & (places[:, :1] < rows.ends[..., 1]), axis=1)
        away = ORACLE["distances"](area, partner, places)
        assert np.all(away[free] >= gap - 1e-7)
        assert np.all(away[~free] <= gap + excess + 1e-7)


@settings(max_examples=40, deadline=None)
@given(
    name=st.sampled_from(sorted(MOTIFS)),
    shift=st.floats(-8, 8),
    move=st.tuples(st.floats(-30, 30), st.integers(-500, 500).map(lambda k: k / 64)),
)
def test_rows_move_and_turn_with_the_shapes(name, shift, move):
    pieces = pieces_of(MOTIFS[name], tolerance_mm=0.1)
    other = pieces.flipped()
    along, across = move
    by = np.array([across, along])
    moved = Pieces(tuple(nodes + by for nodes in other.left), tuple(nodes + by for nodes in other.right))

    plain = forbidden_rows(pieces, other, np.array([shift])).row(0)
    shifted = forbidden_rows(pieces, moved, np.array([shift - across])).row(0)
    opposite = forbidden_rows(other, pieces, np.array([-shift])).row(0)

    np.testing.assert_allclose(shifted, plain - along, atol=1e-9)
    np.testing.assert_allclose(opposite[::-1, ::-1], -plain, atol=1e-9)


def test_many_rows_at_once_are_the_same_rows():
    pieces = pieces_of(MOTIFS["spiral"], tolerance_mm=0.02)
    shifts = np.linspace(-20, 20, 301)
    together = forbidden_rows(pieces, pieces.flipped(), shifts)
    for i in range(0, 301, 30):
        one = forbidden_rows(pieces, pieces.flipped(), shifts[i : i + 1])
        np.testing.assert_array_equal(one.row(0), together.row(i))


def test_no_rows():
    rows = forbidden_rows(SQUARE, SQUARE, np.zeros(0))
    assert isinstance(rows, Rows)
    assert len(rows.count) == 0
