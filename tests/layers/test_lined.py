"""Score lines inside areas: their length, their places, their order."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from friezewright.geometry import affine
from friezewright.geometry.artwork import Artwork, Placements
from friezewright.geometry.outline import circle, concatenate, polygon
from friezewright.layers.burn import Burn, BurnStyle, Lining
from friezewright.layers.lined import lined

SPOT = 0.15
TOLERANCE = 0.002
RING = concatenate([circle((0.0, 0.0), 4.0), circle((0.0, 0.0), 2.0).reversed()])


def copies(shape, shifts, members=None) -> Artwork:
    maps = affine.translation(np.asarray(shifts, dtype=float))
    member = np.zeros(len(maps), int) if members is None else np.asarray(members)
    return Artwork((shape,), Placements(matrix=maps, shape=np.zeros(len(maps), int), member=member))


def ends_of(strokes) -> np.ndarray:
    return strokes.segments[:, [0, 3]]


def test_a_square_takes_lines_of_known_length():
    square = Artwork.single([polygon([(0.0, 0.0), (4.0, 0.0), (4.0, 2.0), (0.0, 2.0)])])
    (lines,) = lined(square, Lining(spacing_mm=0.5, angle_rad=0.0), spot_mm=SPOT, tolerance_mm=TOLERANCE).shapes
    # Lines lie at 0.25, 0.75, 1.25 and 1.75 mm, half a spot short of either side, run to and fro.
    expected = [[[0.075, y], [3.925, y]] for y in (0.25, 0.75, 1.25, 1.75)]
    expected[1].reverse()
    expected[3].reverse()
    assert ends_of(lines) == pytest.approx(np.array(expected), abs=1e-7)
    assert lines.is_line.all()
    assert not lines.closed.any()


@given(
    angle=st.floats(0.0, math.pi),
    spacing=st.floats(0.1, 0.8),
    shift=st.tuples(st.floats(-50.0, 50.0), st.floats(-50.0, 50.0)),
)
def test_every_line_lies_inside_and_ends_half_a_spot_short(angle, spacing, shift):
    lining = Lining(spacing_mm=spacing, angle_rad=angle)
    art = lined(copies(RING, [shift]), lining, spot_mm=SPOT, tolerance_mm=TOLERANCE)
    (strokes,) = art.shapes
    ends = ends_of(strokes) - np.array(shift)
    along = np.array([math.cos(angle), math.sin(angle)])
    step = ends[:, 1] - ends[:, 0]
    sign = np.sign(step[:, 0] * along[0] + step[:, 1] * along[1])
    # Half a spot further each end meets one of the two circles.
    for index, way in ((0, -sign), (1, sign)):
        tip = ends[:, index] + 0.5 * SPOT * way[:, None] * along
        radius = np.hypot(tip[:, 0], tip[:, 1])
        # Chords stray by the tolerance across, and by more along a line that grazes the circle.
        graze = np.abs(tip[:, 0] * along[0] + tip[:, 1] * along[1]) / np.maximum(radius, 1e-9)
        off = np.minimum(np.abs(radius - 4.0), np.abs(radius - 2.0))
        assert np.all(off <= 2.0 * TOLERANCE + 1e-9), (off.max(), graze.min())
    # Panel lines: all stand at half-odd multiples of the spacing from the panel's origin.
    across = (strokes.segments[:, 0, 1] * along[0] - strokes.segments[:, 0, 0] * along[1]) / spacing - 0.5
    assert np.abs(across - np.rint(across)).max() < 1e-6


def test_length_times_spacing_is_the_area():
    lining = Lining(spacing_mm=0.02, angle_rad=0.3)
    (strokes,) = lined(copies(RING, [(0.0, 0.0)]), lining, spot_mm=1e-6, tolerance_mm=1e-4).shapes
    assert strokes.length_mm() * 0.02 == pytest.approx(RING.area_mm2(), rel=1e-4)


def test_neighbouring_lines_run_opposite_ways():
    lining = Lining(spacing_mm=0.4, angle_rad=0.7)
    (strokes,) = lined(copies(RING, [(3.0, 1.0)]), lining, spot_mm=SPOT, tolerance_mm=TOLERANCE).shapes
    ends = ends_of(strokes)
    along, across = np.array([math.cos(0.7), math.sin(0.7)]), np.array([-math.sin(0.7), math.cos(0.7)])
    line = np.rint((ends[:, 0] * across).sum(axis=1) / 0.4 - 0.5).astype(int)
    way = np.sign(((ends[:, 1] - ends[:, 0]) * along).sum(axis=1))
    assert np.all(np.diff(line) >= 0)
    for number in np.unique(line):
        assert len(set(way[line == number])) == 1
        first = (ends[line == number, 0] * along).sum(axis=1) * way[line == number]
        assert np.all(np.diff(first) > 0)
    per_line = np.array([way[line == number][0] for number in np.unique(line)])
    assert np.all(per_line[1:] == -per_line[:-1])


def test_copies_are_told_apart_and_keep_their_member():
    shifts = [(0.0, 0.0), (9.0, 0.3), (0.2, 9.0), (40.0, -7.0)]
    lining = Lining(spacing_mm=0.5, angle_rad=1.1, weave=True)
    art = lined(copies(RING, shifts, [0, 1, 0, 1]), lining, spot_mm=SPOT, tolerance_mm=TOLERANCE)
    assert art.placements.member.tolist() == [0, 1, 0, 1]
    for strokes, shift in zip(art.copies(), shifts, strict=True):
        alone = lined(copies(RING, [shift]), lining, spot_mm=SPOT, tolerance_mm=TOLERANCE).shapes[0]
        assert ends_of(strokes) == pytest.approx(ends_of(alone), abs=1e-6)


def test_copies_that_overlap_are_lined_as_one():
    square = polygon([(0.0, 0.0), (2.0, 0.0), (2.0, 1.0), (0.0, 1.0)])
    art = lined(
        copies(square, [(0, 0), (1, 0), (5, 0)]), Lining(spacing_mm=1.0, angle_rad=0.0), spot_mm=0.1, tolerance_mm=0.01
    )
    assert [ends_of(shape).tolist() for shape in art.shapes] == [
        [[[pytest.approx(0.05), 0.5], [pytest.approx(2.95), 0.5]]],
        [[[pytest.approx(5.05), 0.5], [pytest.approx(6.95), 0.5]]],
    ]


def test_what_is_too_small_for_a_line_takes_none():
    dot = circle((0.25, 0.25), 0.05)
    art = lined(copies(dot, [(0, 0), (3, 0)]), Lining(spacing_mm=0.5, angle_rad=0.0), spot_mm=SPOT, tolerance_mm=0.01)
    assert len(art) == 0
    none = Artwork((RING,), Placements(matrix=np.zeros((0, 2, 3)), shape=np.zeros(0, int), member=np.zeros(0, int)))
    assert len(lined(none, Lining(), spot_mm=SPOT, tolerance_mm=0.01)) == 0


def test_styles_are_checked():
    with pytest.raises(ValueError, match="more than 0 mm"):
        Lining(spacing_mm=0.0)
    with pytest.raises(ValueError, match="finite"):
        Lining(angle_rad=math.nan)
    style = BurnStyle(burn=Burn.FILLED, partner_burn=Burn.LINED)
    assert [style.burn_of(member) for member in (0, 1, 5)] == [Burn.FILLED, Burn.LINED, Burn.LINED]
    assert BurnStyle(burn=Burn.CONTOUR).burn_of(3) is Burn.CONTOUR
