"""Fused copies and silhouettes: closed forms for discs and squares, polygons for motifs."""

import math

import numpy as np
import pytest
import shapely

from friezewright.geometry import affine
from friezewright.geometry.artwork import concatenate_artwork
from friezewright.geometry.outline import circle, polygon
from friezewright.geometry.planar.joined import silhouettes, unite
from friezewright.geometry.planar.overlay import trim
from friezewright.geometry.planar.region import region_of
from friezewright.testing import assert_closed, assert_wound

DISC = circle((0.0, 0.0), 1.0)
SQUARE = polygon([(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)])
LENS = 2.0 * math.pi / 3.0 - math.sqrt(3.0) / 2.0  # shared by unit discs a radius apart


def total(artwork):
    return sum(copy.area_mm2() for copy in artwork.copies())


def length(artwork):
    return sum(copy.length_mm() for copy in artwork.copies())


def test_copies_that_touch_nothing_stay_as_they_are(make):
    apart = make.at(DISC, [(0.0, 0.0), (3.0, 0.0)])
    assert unite(apart) is apart
    seen = silhouettes(apart, tolerance_mm=0.001)
    assert len(seen.shapes) == 1
    assert np.array_equal(seen.placements.matrix, apart.placements.matrix)
    assert seen.shapes[0].closed.all()


def test_two_discs_are_fused_and_a_third_stays(make):
    fused = unite(make.at(DISC, [(0.0, 0.0), (1.0, 0.0), (9.0, 0.0)], [1, 0, 1]))
    assert len(fused) == 2
    assert fused.placements.member.tolist() == [1, 1]
    both = fused.shapes[1]
    # Arcs meet where circles cross, exactly: far nearer than the sampling of 0.001 mm.
    assert both.area_mm2() == pytest.approx(2.0 * math.pi - LENS, abs=5e-6)
    assert not both.is_line.any()
    assert_closed(both)


def test_neighbours_that_share_an_edge_become_one(make):
    fused = unite(make.at(SQUARE, [(0, 0), (1, 0), (0, 1)]))
    (piece,) = fused.shapes
    assert piece.area_mm2() == pytest.approx(3.0, abs=1e-12)
    assert piece.loop_count == 1
    assert piece.is_line.all()


def test_a_ring_of_squares_has_a_hole(make):
    ring = [(x, y) for x in range(3) for y in range(3) if (x, y) != (1, 1)]
    (piece,) = unite(make.at(SQUARE, ring)).shapes
    assert piece.area_mm2() == pytest.approx(8.0, abs=1e-12)
    assert piece.loop_count == 2
    assert_wound(piece)


@pytest.mark.parametrize("pitch", [3.4, 4.2])
def test_fused_motifs_cover_what_their_polygons_do(make, pitch):
    field = make.scattered(make.motif(), 5, pitch_mm=pitch)
    fused = unite(field)
    wanted = shapely.union_all([region_of(copy, tolerance_mm=1e-5).shape for copy in field.copies()])
    assert total(fused) == pytest.approx(wanted.area, abs=2e-3)
    vertices = shapely.get_num_coordinates(wanted)
    for copy in fused.copies():
        assert_closed(copy)
    assert sum(len(copy.segments) for copy in fused.copies()) < 0.05 * vertices


def test_the_silhouette_of_two_discs_is_two_open_arcs(make):
    seen = silhouettes(make.at(DISC, [(0.0, 0.0), (1.0, 0.0)], [0, 1]), tolerance_mm=1e-5)
    assert [strokes.closed.tolist() for strokes in seen.shapes] == [[False], [False]]
    assert seen.placements.member.tolist() == [0, 1]
    assert length(seen) == pytest.approx(2.0 * 4.0 * math.pi / 3.0, abs=1e-4)


def test_what_is_wholly_hidden_is_not_drawn(make):
    inside = concatenate_artwork([make.at(DISC, [(0.0, 0.0)]), make.at(circle((0.2, 0.0), 0.3), [(0.0, 0.0)])])
    assert length(silhouettes(inside, tolerance_mm=0.001)) == pytest.approx(2.0 * math.pi, abs=1e-5)


def test_edges_that_coincide_are_drawn_once(make):
    pair = silhouettes(make.at(SQUARE, [(0, 0), (1, 0)]), tolerance_mm=0.001)
    assert length(pair) == pytest.approx(7.0)
    twice = silhouettes(make.at(SQUARE, [(0, 0), (0, 0)]), tolerance_mm=0.001)
    assert length(twice) == pytest.approx(4.0)
    # Equal but for rounding: the same.
    third = silhouettes(make.at(SQUARE, [(0, 0), (1.0 + 3e-16, 1e-16)]), tolerance_mm=0.001)
    assert length(third) == pytest.approx(7.0)


def test_silhouettes_of_overlapping_motifs_are_the_edge_of_their_union(make):
    field = make.scattered(make.motif(), 5, pitch_mm=3.4)
    wanted = shapely.union_all([region_of(copy, tolerance_mm=1e-5).shape for copy in field.copies()])
    assert length(silhouettes(field, tolerance_mm=0.001)) == pytest.approx(wanted.length, rel=2e-4)


@pytest.mark.parametrize("overlap", [False, True])
def test_trimmed_edges_are_left_out_on_request(make, overlap):
    art = make.at(DISC, [(0.0, 0.0), (1.2 if overlap else 4.0, 0.0)])
    zone = region_of(polygon([(-9, -9), (9, -9), (9, 0), (-9, 0)]))
    trimmed = trim(art, zone, tolerance_mm=0.01).artwork
    everything = silhouettes(trimmed, tolerance_mm=1e-5)
    curves = silhouettes(trimmed, tolerance_mm=1e-5, edges=False)
    straight = 3.2 if overlap else 4.0
    assert length(everything) - length(curves) == pytest.approx(straight, abs=1e-4)
    hidden = 2.0 * math.acos(0.6) if overlap else 0.0
    assert length(curves) == pytest.approx(2.0 * math.pi - hidden, abs=1e-3)
    assert not np.concatenate([strokes.closed for strokes in curves.shapes]).any()


def test_a_copy_that_is_all_edge_draws_nothing(make):
    zone = region_of(circle((0.0, 0.0), 0.5))
    trimmed = trim(make.at(DISC, [(0.0, 0.0)]), zone, tolerance_mm=0.01).artwork
    assert len(silhouettes(trimmed, tolerance_mm=0.001)) == 1
    assert len(silhouettes(trimmed, tolerance_mm=0.001, edges=False)) == 0


def test_mirrored_copies_keep_their_winding(make):
    shape = make.motif()
    pair = concatenate_artwork([make.at(shape, [(0, 0)]), make.at(shape, [(0, 0)]).moved(affine.mirror_x())])
    fused = unite(pair)
    wanted = shapely.union_all([region_of(copy, tolerance_mm=1e-5).shape for copy in pair.copies()])
    assert total(fused) == pytest.approx(wanted.area, abs=1e-3)
    for copy in fused.copies():
        assert_wound(copy)
