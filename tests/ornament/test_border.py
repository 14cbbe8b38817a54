"""Borders over random panels: whole repeats, gaps kept, nothing outside, corners alike, the symmetry the corner allows.

The motifs are drawn here with a dozen curves, so that a border takes milliseconds.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from friezewright.findings import Severity
from friezewright.geometry import affine
from friezewright.geometry.artwork import Artwork, Placements
from friezewright.geometry.outline import Outline, circle, polygon, rounded_polygon, rounded_rectangle
from friezewright.geometry.planar.nearness import clearance, smallest_gap
from friezewright.geometry.planar.region import contains_points, difference, inset, outset, region_of
from friezewright.ornament.border import BorderRequest, Corner, FrameLine, border
from friezewright.ornament.ornament import Ornament
from friezewright.panel.zone import Zone
from friezewright.pattern.groups import FriezeGroup
from friezewright.pattern.repeat import Repeat
from friezewright.pattern.strips import strip

GAP = 0.8
KEEP = 6.0
COMMON = settings(
    deadline=None,
    max_examples=8,
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
    suppress_health_check=[HealthCheck.too_slow],
)
# Curves are measured within a thousandth, on either side; bent ones stray by the tolerance of 0.01.
MEASURED = 0.004


@cache
def hooks(group: FriezeGroup = FriezeGroup.P1, height: float = 9.0) -> Repeat:
    hook = rounded_polygon([(0, -5), (7, -5), (8, 4), (4, 5), (5, -2), (1, -2)], 0.6)
    low, high = hook.bounds()
    factor = height / float(high[1] - low[1])
    return strip(hook.transformed(affine.scaling(factor)), group, gap_mm=GAP)


def zone_inside(rim: Outline, cutouts: tuple[Outline, ...] = ()) -> Zone:
    free = inset(region_of(rim), KEEP + 0.002)
    for cutout in cutouts:
        free = difference(free, outset(region_of(cutout), KEEP + 0.002))
    return Zone(region=free)


def laid(loop: Outline, zone: Zone | None = None, **asked: object) -> Ornament:
    request: dict[str, object] = {
        "name": "edge",
        "loop": loop,
        "outward": False,
        "offset_mm": KEEP,
        "strip": hooks(),
        "gap_mm": GAP,
    }
    request.update(asked)
    return border(BorderRequest(**request), zone or zone_inside(loop))  # type: ignore[arg-type]


def assert_sound(made: Ornament, zone: Zone) -> None:
    """Check what every border promises, measured on what it hands out."""
    assert len(made.areas)
    # A frame line's long way round is measured by the border itself; here copies are, so no line is taken along.
    assert clearance(made.areas, zone.region, tolerance_mm=0.001) >= -0.001
    found = smallest_gap(made.areas, tolerance_mm=0.001, reach_mm=2.0)
    assert found is None or found[0] >= GAP - MEASURED
    assert made.measured_gap_mm is None or made.measured_gap_mm >= GAP - MEASURED
    codes = {finding.code for finding in made.findings}
    assert not codes & {"narrow-gap", "left-out", "border-does-not-fit"}


def is_carried_onto_itself(areas: Artwork[Outline], move: np.ndarray, *, slack_mm: float = 1e-6) -> bool:
    """Whether every copy's knots land on the knots of some copy, which is stricter than comparing areas."""
    knots = np.concatenate([copy.segments[:, 0] for copy in areas.copies()])
    image = affine.apply(move, knots)
    order, other = (np.lexsort(np.round(p, 4).T + 0.0) for p in (knots, image))
    if np.abs(knots[order] - image[other]).max() <= slack_mm:
        return True
    worst = max(float(np.hypot(*(knots - p).T).min()) for p in image)
    return worst <= slack_mm


def about(centre: tuple[float, float], move: np.ndarray) -> np.ndarray:
    to, back = affine.translation(centre), affine.translation((-centre[0], -centre[1]))
    return affine.compose(to, affine.compose(move, back))


SIZES = st.tuples(st.floats(110.0, 320.0), st.floats(90.0, 260.0))


@COMMON
@given(
    size=SIZES, corner=st.sampled_from([Corner.BLOCK, Corner.TURNED, Corner.BUTT]), group=st.sampled_from(FriezeGroup)
)
def test_rectangles_are_half_turns_of_themselves(size: tuple[float, float], corner: Corner, group: FriezeGroup) -> None:
    rim = rounded_rectangle((3.0, -7.0), size)
    zone = zone_inside(rim)
    made = laid(rim, zone, corner=corner, strip=hooks(group))

    assert_sound(made, zone)
    centre = (3.0 + size[0] / 2, -7.0 + size[1] / 2)
    assert is_carried_onto_itself(made.areas, about(centre, affine.rotation(math.pi)))


@COMMON
@given(side=st.floats(100.0, 300.0), corner=st.sampled_from([Corner.BLOCK, Corner.TURNED]))
def test_squares_are_quarter_turns_of_themselves(side: float, corner: Corner) -> None:
    rim = rounded_rectangle((0.0, 0.0), (side, side))
    made = laid(rim, corner=corner)

    assert is_carried_onto_itself(made.areas, about((side / 2, side / 2), affine.rotation(math.pi / 2)))


@COMMON
@given(size=SIZES, group=st.sampled_from(FriezeGroup))
def test_mitred_rectangles_are_their_own_mirror_images(size: tuple[float, float], group: FriezeGroup) -> None:
    rim = rounded_rectangle((0.0, 0.0), size)
    zone = zone_inside(rim)
    made = laid(rim, zone, corner=Corner.MITRE, strip=hooks(group))

    assert_sound(made, zone)
    for mirror in (affine.mirror_x(), affine.mirror_y()):
        assert is_carried_onto_itself(made.areas, about((size[0] / 2, size[1] / 2), mirror), slack_mm=1e-5)


@COMMON
@given(radius=st.floats(35.0, 150.0), outward=st.booleans(), rigid=st.booleans())
def test_rings_are_one_repeat_turned(radius: float, outward: bool, rigid: bool) -> None:
    loop = circle((200.0, 200.0), radius)
    rim = circle((200.0, 200.0), 250.0) if outward else loop
    zone = zone_inside(rim, (loop,) if outward else ())
    made = laid(loop, zone, outward=outward, rigid=rigid, frame_line=FrameLine.NONE)

    assert_sound(made, zone)
    assert len(made.areas.shapes) == 1
    count = made.counts["repeats"]
    assert len(made.areas) == count
    step = about((200.0, 200.0), affine.rotation(2 * math.pi / count))
    assert is_carried_onto_itself(made.areas, step, slack_mm=1e-6)


@COMMON
@given(size=SIZES, radius=st.floats(30.0, 44.0))
def test_bent_rectangles_keep_whole_copies_on_their_sides(size: tuple[float, float], radius: float) -> None:
    rim = rounded_rectangle((0.0, 0.0), size, radius)
    zone = zone_inside(rim)
    made = laid(rim, zone)

    assert_sound(made, zone)
    # Whole copies share one shape; every bent one is a shape of its own.
    shown = np.sort(np.bincount(made.areas.placements.shape))
    assert shown[-1] > 4
    assert len(shown) > 4
    assert np.all(shown[:-1] == 1)


@COMMON
@given(radius=st.floats(0.5, 20.0), frame=st.sampled_from(FrameLine))
def test_tightly_rounded_corners_take_blocks_inside_the_band(radius: float, frame: FrameLine) -> None:
    rim = rounded_rectangle((0.0, 0.0), (200.0, 150.0), radius)
    zone = zone_inside(rim)
    made = laid(rim, zone, frame_line=frame, frame_width_mm=1.0)

    assert made.counts["corners"] == 4
    assert made.counts["left_out"] == 0
    assert clearance(made.areas, zone.region, tolerance_mm=0.001) >= -0.001
    assert made.measured_gap_mm is not None
    assert made.measured_gap_mm >= GAP - MEASURED


ELL = polygon([(0, 0), (120, 0), (120, 80), (240, 80), (240, 180), (0, 180)])


@pytest.mark.parametrize("corner", list(Corner))
@pytest.mark.parametrize("frame", [FrameLine.NONE, FrameLine.DOUBLE])
def test_an_ell_with_its_reflex_corner(corner: Corner, frame: FrameLine) -> None:
    zone = zone_inside(ELL)
    made = laid(ELL, zone, corner=corner, frame_line=frame)

    assert made.measured_gap_mm is not None
    assert made.measured_gap_mm >= GAP - MEASURED
    assert clearance(made.areas, zone.region, tolerance_mm=0.001) >= -0.001
    assert made.counts["left_out"] == 0
    assert made.counts["corners"] == (6 if corner is Corner.BLOCK else 0)


@pytest.mark.parametrize("sides", [3, 5, 6, 8])
@pytest.mark.parametrize("corner", [Corner.BLOCK, Corner.BUTT, Corner.TURNED])
def test_polygons_of_any_angle(sides: int, corner: Corner) -> None:
    angle = 2 * np.pi * np.arange(sides) / sides
    rim = polygon(150.0 + 140.0 * np.stack([np.sin(angle), -np.cos(angle)], axis=1))
    zone = zone_inside(rim)
    made = laid(rim, zone, corner=corner)

    assert_sound(made, zone)
    step = about((150.0, 150.0), affine.rotation(2 * math.pi / sides))
    # At a butt every second side runs through, so the whole goes over into itself by two sides.
    if corner is Corner.BUTT and sides % 2 == 0:
        step = affine.compose(step, about((0.0, 0.0), affine.identity()))
        step = about((150.0, 150.0), affine.rotation(4 * math.pi / sides))
    assert is_carried_onto_itself(made.areas, step)


def test_a_slot_and_an_oval_are_ringed() -> None:
    rim = rounded_rectangle((0, 0), (260, 200))
    oval = circle((0.0, 0.0), 1.0).transformed(np.array([[60.0, 0.0, 130.0], [0.0, 40.0, 100.0]]))
    for cutout in (rounded_rectangle((80, 80), (100, 40), 20), oval):
        zone = zone_inside(rim, (cutout,))
        made = laid(cutout, zone, outward=True)

        assert_sound(made, zone)
        assert is_carried_onto_itself(made.areas, about((130.0, 100.0), affine.rotation(math.pi)), slack_mm=1e-4)


def test_a_side_alone_reaches_both_ends_of_its_band() -> None:
    rim = rounded_rectangle((0, 0), (200, 120))
    made = laid(rim, sides=("top", "bottom"), frame_line=FrameLine.SINGLE)

    boxes = np.stack([copy.bounds() for copy in made.areas.copies()])
    assert math.isclose(boxes[:, 0, 0].min(), KEEP, abs_tol=0.02)
    assert math.isclose(boxes[:, 1, 0].max(), 200 - KEEP, abs_tol=0.02)
    # Nothing stands at the sides that were not asked for.
    assert not np.any((boxes[:, 0, 1] > 30) & (boxes[:, 1, 1] < 90))
    assert contains_points(made.claim, np.array([[100.0, 10.0], [100.0, 60.0], [3.0, 60.0]])).tolist() == [
        True,
        False,
        False,
    ]


def test_what_is_claimed_holds_every_copy() -> None:
    rim = rounded_rectangle((0, 0), (200, 120), 40)
    for outward, loop, panel in (
        (False, rim, zone_inside(rim)),
        (True, rim, zone_inside(rounded_rectangle((-60, -60), (320, 240)), (rim,))),
    ):
        made = laid(loop, panel, outward=outward, frame_line=FrameLine.DOUBLE)
        assert clearance(made.areas, made.claim, tolerance_mm=0.001) >= 0.0


def test_a_cutout_in_the_way_takes_copies_out_whole() -> None:
    rim = rounded_rectangle((0, 0), (200, 120))
    hole = circle((100.0, 12.0), 3.0)
    zone = zone_inside(rim, (hole,))

    made = laid(rim, zone)

    (finding,) = [finding for finding in made.findings if finding.code == "left-out"]
    assert finding.severity is Severity.WARNING
    assert finding.where_mm is not None
    assert abs(finding.where_mm[0] - 100.0) < 25.0
    assert made.counts["left_out"] >= 1
    assert clearance(made.areas, zone.region, tolerance_mm=0.001) >= -0.001
    # The others stand where they would without the hole.
    assert len(made.areas) + made.counts["left_out"] == len(laid(rim).areas)


@pytest.mark.parametrize(
    ("loop", "says"),
    [
        (rounded_rectangle((0, 0), (30, 25)), "no whole repeat of 7.1 mm fits"),
        (rounded_rectangle((0, 0), (18, 200), 9), "does not fit here"),
        (circle((0.0, 0.0), 11.0), "does not fit here"),
    ],
)
def test_impossible_asks_are_findings(loop: Outline, says: str) -> None:
    made = laid(loop, Zone(region=region_of(loop)))

    (finding,) = made.findings
    assert (finding.code, finding.severity) == ("border-does-not-fit", Severity.STOP)
    assert says in finding.message
    assert "would fit" in finding.message or "another place" in finding.message
    assert made.claim.is_empty
    assert len(made.areas) == 0


def test_tight_bends_are_said_and_copies_then_set_whole() -> None:
    loop = circle((100.0, 100.0), 25.0)
    made = laid(loop)

    assert [finding.code for finding in made.findings if finding.code == "tight-bend"] == ["tight-bend"]
    # 25 - 6 - 4.5 mm is 1.6 heights; under 1.5 copies keep their shape.
    tighter = laid(circle((100.0, 100.0), 22.0))
    matrix = tighter.areas.placements.matrix
    assert np.allclose(affine.determinant(matrix), affine.determinant(matrix)[0])
    assert np.array_equal(tighter.areas.shapes[0].segments, hooks().shapes[0].segments)
    assert not np.array_equal(made.areas.shapes[0].segments, hooks().shapes[0].segments)


def test_it_says_what_fits_where() -> None:
    made = laid(rounded_rectangle((0, 0), (200, 120)))

    sentence = made.words[0]
    assert "repeats along the top and bottom" in sentence
    assert "along the right and left" in sentence
    assert f"gap {made.measured_gap_mm:.2f} mm" in sentence
    assert "scale" in sentence


def test_a_given_corner_piece_stands_as_drawn_at_the_top_left() -> None:
    rim = rounded_rectangle((0, 0), (200, 120))
    # An arrow head pointing to the top left.
    piece = polygon([(0, 0), (8, 0), (0, 8)])
    made = laid(rim, corner_shape=piece)

    corners = [copy for copy in made.areas.copies() if len(copy.segments) == 3]
    assert len(corners) == 4
    tips = sorted(tuple(np.round(copy.bounds().ravel(), 3)) for copy in corners)
    assert tips[0][:2] == (pytest.approx(KEEP, abs=0.02), pytest.approx(KEEP, abs=0.02))
    assert is_carried_onto_itself(made.areas, about((100.0, 60.0), affine.rotation(math.pi)))
    # The right angle of every piece lies in its corner.
    for copy in corners:
        outer = copy.segments[:, 0] - np.array([100.0, 60.0])
        assert np.abs(outer).max(axis=0) == pytest.approx([94.0, 54.0], abs=0.02)
        assert np.any(np.all(np.abs(np.abs(outer) - [94.0, 54.0]) < 0.02, axis=1))


def test_the_same_request_gives_the_same_copies() -> None:
    rim = rounded_rectangle((0, 0), (200, 120), 40)
    first, second = laid(rim), laid(rim)

    assert np.array_equal(first.areas.placements.matrix, second.areas.placements.matrix)
    assert all(
        np.array_equal(a.segments, b.segments) for a, b in zip(first.areas.shapes, second.areas.shapes, strict=True)
    )


def test_members_are_kept_for_a_second_burn() -> None:
    made = laid(rounded_rectangle((0, 0), (200, 120), 40), strip=hooks(FriezeGroup.P2))

    members = made.areas.placements.member
    assert isinstance(made.areas.placements, Placements)
    assert np.bincount(members).tolist() == [made.counts["repeats"]] * 2
