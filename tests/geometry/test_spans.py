"""Spans: areas kept, overlaps once, holes open, any angle, and the same whatever the bands."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from friezewright.geometry import affine
from friezewright.geometry.artwork import Artwork, Placements, concatenate_artwork
from friezewright.geometry.outline import Outline, circle, concatenate, polygon, rounded_rectangle
from friezewright.geometry.spans import span_bands, spans


def area(found):
    return float(np.sum(found.along[:, 1] - found.along[:, 0]) * found.spacing_mm)


def copies(shape, maps):
    count = len(maps)
    return Artwork((shape,), Placements(matrix=maps, shape=np.zeros(count, int), member=np.zeros(count, int)))


def ring(outer, inner):
    return concatenate([circle((0, 0), outer), circle((0, 0), inner).reversed()])


def well_formed(found):
    assert np.all(np.diff(found.line) >= 0)
    assert np.all(found.along[:, 1] > found.along[:, 0])
    same = np.diff(found.line) == 0
    assert np.all((found.along[1:, 0] - found.along[:-1, 1])[same] > 0.0)


turns = st.floats(-4.0, 4.0)
leaf = concatenate(
    [
        Outline(
            np.array([[[0, 0], [4, -6], [9, -3], [12, 0]], [[12, 0], [8, 5], [3, 4], [0, 0]]], dtype=float),
            [False, False],
            [0, 2],
        ),
        circle((6, 0), 1.0).reversed(),
    ]
)


@given(turn=turns, angle=turns, mirrors=st.booleans())
def test_length_times_spacing_is_the_area_by_green(turn, angle, mirrors):
    # Two ways: the crossings here, and Green's theorem on the cubics. Lines sample the width, whose ends are smooth,
    # so the error goes with spacing to the power 3/2 at least.
    move = affine.compose(affine.rotation(turn), affine.mirror_x() if mirrors else affine.translation((3.3, 1.7)))
    found = spans(copies(leaf, move[None]), spacing_mm=0.01, angle_rad=angle, tolerance_mm=1e-5)
    well_formed(found)
    assert area(found) == pytest.approx(leaf.area_mm2(), rel=2e-4)


def test_a_box_between_two_lines_is_exact():
    box = Artwork.single([polygon([[2, 1], [6, 1], [6, 3], [2, 3]])])
    found = spans(box, spacing_mm=0.5, tolerance_mm=0.01)
    assert found.line.tolist() == [2, 3, 4, 5]
    np.testing.assert_allclose(found.along, [[2, 6]] * 4, atol=1e-9)
    np.testing.assert_allclose(found.across_mm, [1.25, 1.75, 2.25, 2.75])
    np.testing.assert_allclose(found.ends()[0], [[2, 1.25], [6, 1.25]], atol=1e-9)


def test_a_quarter_turn_runs_the_lines_down():
    box = Artwork.single([polygon([[2, 1], [6, 1], [6, 3], [2, 3]])])
    ends = spans(box, spacing_mm=0.5, angle_rad=math.pi / 2, tolerance_mm=0.01).ends()
    assert len(ends) == 8
    np.testing.assert_allclose(np.sort(ends[:, 0, 0]), np.arange(2.25, 6, 0.5), atol=1e-9)
    np.testing.assert_allclose(ends[:, :, 1], [[1, 3]] * 8, atol=1e-9)


@given(turn=turns)
def test_turning_artwork_and_lines_together_changes_nothing(turn):
    plain = spans(copies(leaf, affine.identity(1)), spacing_mm=0.3, tolerance_mm=0.001)
    turned = spans(copies(leaf, affine.rotation(turn)[None]), spacing_mm=0.3, angle_rad=turn, tolerance_mm=0.001)
    # A line that just touches an end may be found in one and not in the other.
    assert abs(len(turned) - len(plain)) <= 2
    assert area(turned) == pytest.approx(area(plain), rel=1e-6)


def test_overlapping_copies_are_burned_once():
    discs = copies(circle((0, 0), 5), affine.translation([[0, 0], [6, 0], [3, 4]]))
    found = spans(discs, spacing_mm=0.02, tolerance_mm=1e-4)
    well_formed(found)
    union = shapely.union_all([shapely.Point(x, y).buffer(5, quad_segs=400) for x, y in ((0, 0), (6, 0), (3, 4))])
    assert area(found) == pytest.approx(union.area, rel=1e-4)


def test_a_mirrored_copy_over_its_original_adds_and_does_not_cancel():
    pair = copies(leaf, np.stack([affine.identity(), affine.mirror_y()]))
    shape = shapely.Polygon(leaf.selected([0]).flattened(tolerance_mm=1e-4)[0]).difference(
        shapely.Point(6, 0).buffer(1, quad_segs=200)
    )
    other = shapely.affinity.scale(shape, 1, -1, origin=(0, 0))
    assert area(spans(pair, spacing_mm=0.01, tolerance_mm=1e-4)) == pytest.approx(shape.union(other).area, rel=1e-3)


def test_holes_stay_open_until_another_copy_covers_them():
    shape = ring(5, 3)
    alone = spans(copies(shape, affine.identity(1)), spacing_mm=0.01, tolerance_mm=1e-4)
    assert area(alone) == pytest.approx(math.pi * 16, rel=2e-4)
    plugged = concatenate_artwork([copies(shape, affine.identity(1)), Artwork.single([circle((0, 0), 1)])])
    assert area(spans(plugged, spacing_mm=0.01, tolerance_mm=1e-4)) == pytest.approx(math.pi * 17, rel=2e-4)


def test_areas_that_share_an_edge_join():
    tiles = copies(polygon([[0, 0], [1, 0], [1, 1], [0, 1]]), affine.translation([[i, 0] for i in range(7)]))
    found = spans(tiles, spacing_mm=0.1, tolerance_mm=0.01)
    assert len(found) == 10
    np.testing.assert_allclose(found.along, [[0, 7]] * 10, atol=1e-9)


@settings(max_examples=25)
@given(crossings=st.integers(1, 300), angle=turns)
def test_bands_are_the_whole_cut_between_lines(crossings, angle):
    maps = affine.compose(
        affine.translation([[9.0 * i, 7.0 * j] for i in range(5) for j in range(4)]), affine.rotation(np.arange(20.0))
    )
    art = copies(leaf, maps)
    whole = spans(art, spacing_mm=0.4, angle_rad=angle, tolerance_mm=0.01)
    bands = list(span_bands(art, spacing_mm=0.4, angle_rad=angle, tolerance_mm=0.01, band_crossings=crossings))
    assert sum(len(band) for band in bands) == len(whole)
    np.testing.assert_allclose(np.concatenate([band.table() for band in bands]), whole.table(), atol=1e-9)
    tops = [band.line[-1] for band in bands if len(band)]
    bottoms = [band.line[0] for band in bands if len(band)]
    assert all(top < bottom for top, bottom in zip(tops, bottoms[1:], strict=False))


corner = st.tuples(st.integers(-8, 8), st.integers(-8, 8))


@given(st.lists(st.lists(corner, min_size=3, max_size=6, unique=True), min_size=1, max_size=5))
def test_lattice_polygons_agree_with_crossings_counted_one_by_one(shapes):
    # Corners on whole millimetres and lines on halves and wholes: edges that run along a line, corners on it.
    outlines = [polygon(points) for points in shapes]
    found = spans(Artwork.single(outlines), spacing_mm=1.0, tolerance_mm=0.01)
    shifted = spans(Artwork.single(outlines).moved(affine.translation((0.0, 0.5))), spacing_mm=1.0, tolerance_mm=0.01)
    for result, offset in ((found, 0.0), (shifted, -0.5)):
        for line in range(-12, 12):
            across = line + 0.5 + offset
            crossings = []
            for points in outlines:
                ends = points.segments[:, [0, 3]]
                for (xa, ya), (xb, yb) in ends.tolist():
                    if (ya <= across) != (yb <= across):
                        crossings.append((xa + (across - ya) * (xb - xa) / (yb - ya), 1 if yb < ya else -1))
            crossings.sort(key=lambda pair: (round(pair[0], 9), -pair[1]))
            winding, total = np.cumsum([sign for _, sign in crossings]), 0.0
            for inside, (x, _), (after, _) in zip(winding, crossings, crossings[1:], strict=False):
                total += after - x if inside else 0.0
            here = result.along[result.line == line]
            assert np.sum(here[:, 1] - here[:, 0]) == pytest.approx(total, abs=1e-6)


def test_copies_are_cut_for_the_size_they_are_shown_at():
    big = copies(circle((0, 0), 0.5), affine.scaling(100.0)[None])
    found = spans(big, spacing_mm=0.5, tolerance_mm=0.001)
    half = np.sqrt(2500.0 - found.across_mm**2)
    # Chords lie inside by the tolerance; near the poles that weighs more along a line.
    clear = half > 10
    np.testing.assert_allclose(found.along[clear, 1], half[clear], atol=0.001 * 5)


def test_thousands_of_copies_are_as_many_times_one():
    box = rounded_rectangle((0.0, 0.0), (2.0, 1.0), 0.3)
    maps = affine.translation([[3.0 * i, 2.0 * j] for i in range(60) for j in range(50)])
    assert len(spans(copies(box, maps), spacing_mm=0.1, tolerance_mm=0.01)) == 3000 * 10


def test_nothing_has_no_spans():
    nothing = Artwork((), Placements(matrix=np.zeros((0, 2, 3)), shape=[], member=[]))
    assert len(spans(nothing, spacing_mm=0.1, tolerance_mm=0.01)) == 0
    hollow = Outline(np.zeros((0, 4, 2)), np.zeros(0, bool), [0])
    mixed = Artwork.single([hollow, polygon([[0, 0], [1, 0], [1, 1], [0, 1]]), hollow])
    assert len(spans(mixed, spacing_mm=0.1, tolerance_mm=0.01)) == 10


@pytest.mark.parametrize(("spacing", "tolerance"), [(0.0, 0.1), (-1.0, 0.1), (0.1, 0.0), (math.nan, 0.1)])
def test_spacing_and_tolerance_are_positive(spacing, tolerance):
    with pytest.raises(ValueError, match="positive"):
        spans(Artwork.single([circle((0, 0), 1)]), spacing_mm=spacing, tolerance_mm=tolerance)
