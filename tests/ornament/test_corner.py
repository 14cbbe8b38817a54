from __future__ import annotations

import math

import numpy as np
import pytest

from friezewright.geometry import affine
from friezewright.geometry.artwork import Artwork
from friezewright.geometry.outline import Outline, circle, concatenate, polygon, rounded_polygon, rounded_rectangle
from friezewright.geometry.planar.nearness import smallest_gap
from friezewright.geometry.planar.region import intersection, region_of
from friezewright.ornament.corner import block_from_motif, block_from_shape
from friezewright.ornament.frame import bar_along, beads_along, line_along
from friezewright.ornament.guide import Guide, GuideCorner
from friezewright.ornament.laying import StripSizes, least_pitch
from friezewright.ornament.loop import pieces_of
from friezewright.ornament.mitre import best_phases, cut_at, mitre_cut, seams_of
from friezewright.pattern.groups import FriezeGroup
from friezewright.pattern.strips import strip

GAP = 0.8
LEAF = rounded_polygon([(0, -6), (2.5, -1), (2, 4), (-1, 6), (-2.5, 2)], 0.5)


@pytest.mark.parametrize("motif", [LEAF, rounded_polygon([(-6, -2), (6, -2), (6, 2), (2, 2), (2, 5), (-6, 5)], 0.5)])
@pytest.mark.parametrize("size", [8.0, 15.0, 40.0])
def test_a_rosette_fills_its_square_and_keeps_the_gap(motif: Outline, size: float) -> None:
    block = block_from_motif(motif, size_mm=size, gap_mm=GAP)

    points = np.concatenate([copy.flattened(tolerance_mm=0.001)[0] for copy in block.artwork.copies()])
    assert np.abs(points).max(axis=0) == pytest.approx([size / 2, size / 2], abs=0.01)
    found = smallest_gap(block.artwork, tolerance_mm=0.0005, reach_mm=3 * GAP)
    assert found is None or found[0] >= GAP - 0.001
    # Four quarter turns, exactly.
    if len(block.artwork) == 4:
        first, second = block.artwork.placements.matrix[:2]
        assert np.allclose(affine.compose(affine.rotation(math.pi / 2), first), second, atol=1e-12)


def test_a_motif_that_is_a_rosette_stands_alone() -> None:
    angle = 2 * np.pi * np.arange(16) / 16
    radius = np.where(np.arange(16) % 2, 4.0, 7.0)
    star = polygon(np.stack([radius * np.sin(angle), -radius * np.cos(angle)], axis=1))

    assert len(block_from_motif(star, size_mm=15.0, gap_mm=GAP).artwork) == 1


def test_a_given_piece_fits_its_square() -> None:
    block = block_from_shape(polygon([(10, 10), (30, 10), (10, 20)]), size_mm=6.0)

    (copy,) = block.artwork.copies()
    assert np.allclose(copy.bounds(), [[-3.0, -1.5], [3.0, 1.5]])


def right_corner(turn_rad: float) -> GuideCorner:
    return GuideCorner(
        point=np.array([50.0, 20.0]),
        centre=np.array([50.0, 20.0]),
        arriving=affine.rotation(-turn_rad)[:, 0],
        leaving=np.array([1.0, 0.0]),
    )


@pytest.mark.parametrize("turn", [math.pi / 2, -math.pi / 2, math.pi / 3, 2 * math.pi / 3])
@pytest.mark.parametrize("group", [FriezeGroup.P1, FriezeGroup.P2MG])
def test_a_mitred_corner_is_its_own_mirror_image(turn: float, group: FriezeGroup) -> None:
    sizes = StripSizes.of(strip(LEAF, group, gap_mm=GAP, turn_rad=0.6))
    corner = right_corner(turn)
    guide = Guide((), (corner,))
    share = best_phases(sizes, turn, gap_mm=GAP)[0]

    made = cut_at(sizes, mitre_cut(sizes, guide, share), corner)

    # The bisector runs across the corner from inside to outside: the mirror swaps the two sides.
    across = corner.leaving - corner.arriving
    angle = math.atan2(across[1], across[0])
    turn_map = affine.rotation(angle)
    mirror = affine.compose(turn_map, affine.compose(affine.mirror_y(), affine.inverse(turn_map)))
    mirror = affine.compose(affine.translation(corner.point), affine.compose(mirror, affine.translation(-corner.point)))
    whole = region_of(_all(made))
    image = region_of(_all(made.moved(mirror)))
    assert math.isclose(whole.area_mm2(), image.area_mm2(), rel_tol=1e-6)
    assert math.isclose(intersection(whole, image).area_mm2(), whole.area_mm2(), rel_tol=1e-3)
    found = smallest_gap(made, tolerance_mm=0.001, reach_mm=3 * GAP)
    assert found is None or found[0] >= GAP - 0.004


def _all(artwork: Artwork[Outline]) -> Outline:
    return concatenate(artwork.copies())


def test_only_mirrors_across_a_strip_make_a_seam() -> None:
    assert {group.value: seams_of(group) for group in FriezeGroup if seams_of(group)} == {
        "p1m1": (0.0, 0.5),
        "p2mg": (0.25, 0.75),
        "p2mm": (0.0, 0.5),
    }


@pytest.mark.parametrize("radius", [20.0, -20.0, 60.0])
@pytest.mark.parametrize("rigid", [False, True])
def test_the_least_pitch_on_a_bend_opens_the_inside(radius: float, rigid: bool) -> None:
    # Bars 4 mm wide and 8 mm high, 0.8 mm apart: bent, the inside edges come nearer by (R - h) / R.
    sizes = StripSizes.of(strip(polygon([(-2, -4), (2, -4), (2, 4), (-2, 4)]), FriezeGroup.P1, gap_mm=GAP))

    pitch = least_pitch(sizes, gap_mm=GAP, radii_mm=(radius,), rigid=rigid, most_mm=20.0)

    inner = abs(radius) - 4.0
    if rigid:
        # Half a bar and half a gap subtend half a pitch's angle, seen from the centre at the inner corners.
        # Between two inner corners the distance is a chord: 2 (r sin a - 2 cos a) for half the angle a.
        expected = next(
            p
            for p in np.arange(4.8, 20.0, 0.0005)
            if 2 * (inner * math.sin(p / abs(radius) / 2) - 2 * math.cos(p / abs(radius) / 2)) >= GAP
        )
    else:
        # The gap between two bars is widest outside, and its chord inside is almost its arc.
        half = math.asin(GAP / 2 / inner)
        expected = 4.0 + 2 * half * abs(radius)
    assert pitch == pytest.approx(expected, abs=0.003)


def test_a_frame_line_is_exact_round_corners_and_arcs() -> None:
    pieces = pieces_of(rounded_rectangle((0, 0), (200, 120), 20))

    line = line_along(pieces, 5.0, 6.0)

    assert line is not None
    expected = (190 * 110 - (4 - math.pi) * 15**2) - (188 * 108 - (4 - math.pi) * 14**2)
    assert math.isclose(line.area_mm2(), expected, rel_tol=1e-6)
    assert line.loop_count == 2
    # Lines stay lines: four a loop.
    assert int(line.is_line.sum()) == 8


def test_bars_along_two_sides_are_joined_and_cut_square() -> None:
    pieces = pieces_of(rounded_rectangle((0, 0), (200, 120)))

    (bar,) = bar_along(pieces, 10.0, 11.0, edge_mm=5.0, sides=("top", "right"))

    # From the band's edge on the left along the top, round the corner, and down to its edge below.
    assert math.isclose(bar.area_mm2(), (190 - 5) * 1.0 + (115 - 10) * 1.0 - 1.0, rel_tol=1e-9)
    assert np.allclose(bar.bounds(), [[5.0, 10.0], [190.0, 115.0]])


def test_beads_stand_on_every_corner_and_evenly_between() -> None:
    beads = beads_along(pieces_of(polygon([(0, 0), (100, 0), (100, 60), (0, 60)])), 5.0, width_mm=2.0, gap_mm=0.5)

    assert beads is not None
    centres = beads.placements.matrix[:, :, 2]
    for corner in ((5.0, 5.0), (95.0, 5.0), (95.0, 55.0), (5.0, 55.0)):
        assert np.hypot(*(centres - corner).T).min() < 1e-9
    top = np.sort(centres[np.abs(centres[:, 1] - 5.0) < 1e-9, 0])
    assert np.ptp(np.diff(top)) < 1e-9
    # The beads stand at least half their width apart.
    assert np.diff(top).min() >= 3.0


def test_beads_round_a_circle_are_even() -> None:
    beads = beads_along(pieces_of(circle((0.0, 0.0), 40.0)), 5.0, width_mm=2.0, gap_mm=2.0)

    assert beads is not None
    centres = beads.placements.matrix[:, :, 2]
    steps = np.hypot(*(centres - np.roll(centres, 1, axis=0)).T)
    assert np.ptp(steps) < 1e-9
    assert steps.min() - 2.0 >= 2.0
    assert np.allclose(np.hypot(*centres.T), 35.0, atol=1e-4)
