"""The promise of a zone: nothing in it is nearer to a cut than asked, measured by plain formulas, not by the engine."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from friezewright.errors import PanelError
from friezewright.geometry.outline import rounded_rectangle
from friezewright.geometry.planar.region import Region, contains_points, empty, region_of
from friezewright.geometry.strokes import Strokes, concatenate_strokes, contour
from friezewright.panel.panel import Opening, Panel
from friezewright.panel.shapes import disc, polygonal, rectangle, slot
from friezewright.panel.zone import KeepOff, zone_of

RIM = rectangle("rim", (0, 0, 400, 280), 6)
WINDOW = Opening("window", disc("window", (110, 140), 90))
HANDLE = Opening("handle", slot("handle", (330, 90, 18, 100)))
DOOR = Panel(rim=RIM, cutouts=(WINDOW, HANDLE))

# The most by which a zone may be smaller than asked: its margin of 0.003, and what its curves stray inwards.
SPARE_MM = 0.006
# A disc of 45 mm drawn by twelve cubics strays by 4e-7 of that, and nothing else may be missing.
MISSING_MM = 2e-5


def to_box(points, box, radius):
    """Return the signed distance of points to a rounded rectangle, negative inside: the usual closed form."""
    x, y, w, h = box
    q = np.abs(points - [x + w / 2, y + h / 2]) - [w / 2 - radius, h / 2 - radius]
    return np.hypot(*np.maximum(q, 0).T) + np.minimum(q.max(axis=1), 0) - radius


def to_disc(points, centre, radius):
    return np.hypot(*(points - centre).T) - radius


def edge_points(region: Region):
    """Return the corners of a zone and the middles of its edges."""
    from shapely import get_coordinates, get_parts, get_rings

    found = []
    for ring in get_rings(get_parts(region.shape)):
        corners = get_coordinates(ring)
        found += [corners, 0.5 * (corners[1:] + corners[:-1])]
    return np.concatenate(found)


def slack_of_door(points, rim_mm, window_mm, handle_mm):
    return np.min(
        [
            -to_box(points, (0, 0, 400, 280), 6) - rim_mm,
            to_disc(points, (110, 140), 45) - window_mm,
            to_box(points, (330, 90, 18, 100), 9) - handle_mm,
        ],
        axis=0,
    )


@pytest.mark.parametrize(
    ("keep_off", "asked"),
    [
        (KeepOff(rim_mm=8, cutouts_mm=5), (8, 5, 5)),
        (KeepOff(rim_mm=0, cutouts_mm=0), (0, 0, 0)),
        (KeepOff(rim_mm=8, cutouts_mm=5, named={"handle": 12}), (8, 5, 12)),
        (KeepOff(rim_mm=3, cutouts_mm=5, named={"handle": 0.5, "window": 40}), (3, 40, 0.5)),
        (KeepOff(rim_mm=30, cutouts_mm=50), (30, 50, 50)),
    ],
)
def test_the_edge_of_a_zone_lies_where_asked_and_never_nearer(keep_off, asked):
    points = edge_points(zone_of(DOOR, keep_off).region)
    slack = slack_of_door(points, *asked)

    assert slack.min() >= -MISSING_MM
    assert slack.max() <= SPARE_MM


@settings(max_examples=30, deadline=None)
@given(rim_mm=st.floats(0, 60), window_mm=st.floats(0, 60), handle_mm=st.floats(0, 60), seed=st.integers(0, 2**32 - 1))
def test_points_are_in_the_zone_exactly_when_they_are_clear_of_every_cut(rim_mm, window_mm, handle_mm, seed):
    zone = zone_of(DOOR, KeepOff(rim_mm=rim_mm, cutouts_mm=window_mm, named={"handle": handle_mm}))
    points = np.random.default_rng(seed).uniform([-5, -5], [405, 285], (400, 2))
    slack = slack_of_door(points, rim_mm, window_mm, handle_mm)
    inside = contains_points(zone.region, points)

    assert not inside[slack < -MISSING_MM].any()
    assert inside[slack > SPARE_MM].all()


@pytest.mark.parametrize(("radius", "rim_mm"), [(0.5, 100.0), (2.0, 60.0), (6.0, 43.37), (20.0, 100.0)])
def test_sides_do_not_lean_where_the_corners_are_rounder_than_the_distance(radius, rim_mm):
    panel = Panel(rim=rectangle("rim", (0, 0, 400, 280), radius))
    points = edge_points(zone_of(panel, KeepOff(rim_mm=rim_mm, cutouts_mm=0)).region)
    slack = -to_box(points, (0, 0, 400, 280), radius) - rim_mm

    assert slack.min() >= 0
    assert slack.max() <= SPARE_MM


@settings(max_examples=15, deadline=None)
@given(radius=st.sampled_from([0.0, 5.0, 30.0]), rim_mm=st.floats(0.0, 45.0))
@example(radius=5.0, rim_mm=43.0)
def test_an_l_keeps_off_its_inner_corner_too(radius, rim_mm):
    rim = polygonal("rim", [(0, 0), (300, 0), (300, 100), (100, 100), (100, 200), (0, 200)], radius)
    points = edge_points(zone_of(Panel(rim=rim), KeepOff(rim_mm=rim_mm, cutouts_mm=0)).region)
    # Independent: distance to the rim's curves as 400 chords each, which stray by less than 1e-5 mm.
    t = np.linspace(0, 1, 401)[None, :, None]
    p = rim.segments[:, None]
    s = 1 - t
    curve = s**3 * p[..., 0, :] + 3 * s * s * t * p[..., 1, :] + 3 * s * t * t * p[..., 2, :] + t**3 * p[..., 3, :]
    start, step = curve[:, :-1].reshape(-1, 2), np.diff(curve, axis=1).reshape(-1, 2)
    away = np.array([_nearest(point, start, step) for point in points[:: max(1, len(points) // 60)]])

    assert away.min() >= rim_mm - MISSING_MM
    assert away.max() <= rim_mm + SPARE_MM


def _nearest(point, start, step):
    share = np.clip(np.sum((point - start) * step, axis=1) / np.sum(step * step, axis=1), 0, 1)
    return np.hypot(*(start + share[:, None] * step - point).T).min()


def test_reserves_are_left_free():
    plate = Opening("plate", rectangle("plate", (200, 230, 90, 24)))
    panel = Panel(rim=RIM, cutouts=(WINDOW, HANDLE), reserves=(plate,))
    zone, before = zone_of(panel, KeepOff(rim_mm=8, cutouts_mm=5)), zone_of(DOOR, KeepOff(rim_mm=8, cutouts_mm=5))

    assert before.region.area_mm2() - zone.region.area_mm2() == pytest.approx(90 * 24, abs=0.004 * 2 * (90 + 24))
    assert not contains_points(zone.region, np.array([[245.0, 242.0], [200.0, 230.0], [290.0, 254.0]])).any()


def test_a_keep_off_that_leaves_nothing_says_by_how_much_less_would_do():
    panel = Panel(rim=rectangle("rim", (0, 0, 100, 60)))
    with pytest.raises(PanelError, match=r"leaves nothing .*rim 42 mm.* reduce it by at least 12\.\d mm"):
        zone_of(panel, KeepOff(rim_mm=42, cutouts_mm=3))
    assert zone_of(panel, KeepOff(rim_mm=42 - 12.1, cutouts_mm=3)).region.area_mm2() > 0


def test_keep_off_from_cutouts_may_be_what_leaves_nothing():
    panel = Panel(rim=rectangle("rim", (0, 0, 100, 60)), cutouts=(Opening("hole", disc("hole", (50, 30), 20)),))
    with pytest.raises(PanelError, match="leaves nothing"):
        zone_of(panel, KeepOff(rim_mm=1, cutouts_mm=80))


def test_reserves_may_leave_nothing():
    panel = Panel(rim=RIM, reserves=(Opening("all", rectangle("all", (-10, -10, 500, 500))),))
    with pytest.raises(PanelError, match=r"the reserves leave nothing free \(all\)"):
        zone_of(panel, KeepOff(rim_mm=1, cutouts_mm=1))


@pytest.mark.parametrize("value", [-1.0, math.nan, math.inf])
def test_clear_distances_are_finite_and_not_negative(value):
    with pytest.raises(PanelError, match="keep_off for rim"):
        KeepOff(rim_mm=value, cutouts_mm=1)
    with pytest.raises(PanelError, match="keep_off for handle"):
        KeepOff(rim_mm=1, cutouts_mm=1, named={"handle": value})
    with pytest.raises(ValueError, match="clear_mm"):
        zone_of(DOOR, KeepOff(rim_mm=1, cutouts_mm=1)).claimed(region_of(RIM), clear_mm=value)


def test_a_distance_for_a_cutout_that_is_not_there_is_named():
    with pytest.raises(PanelError, match=r'"wndow" names no cutout; the cutouts are: window, handle'):
        zone_of(DOOR, KeepOff(rim_mm=1, cutouts_mm=1, named={"wndow": 3}))


def test_claims_take_their_part_and_a_distance_round_it():
    zone = zone_of(DOOR, KeepOff(rim_mm=8, cutouts_mm=5))
    claim = region_of(rounded_rectangle((200, 40), (60, 30)))
    left = zone.claimed(claim, clear_mm=3)

    # A rectangle grown by 3 mm with round corners, and by the margin of 0.003.
    grown = 60 * 30 + 2 * (60 + 30) * 3 + math.pi * 9
    assert zone.region.area_mm2() - left.region.area_mm2() == pytest.approx(grown, abs=0.004 * 2 * (60 + 30 + 12))
    points = edge_points(left.region)
    assert (to_box(points, (200, 40, 60, 30), 0) >= 3 - 1e-6).all()
    assert zone.claimed(empty(), clear_mm=3).region is zone.region


def test_claims_in_any_order_leave_the_same():
    zone = zone_of(DOOR, KeepOff(rim_mm=8, cutouts_mm=5))
    a, b = region_of(rounded_rectangle((200, 40), (60, 30))), region_of(rounded_rectangle((220, 60), (60, 30)))

    one = zone.claimed(a, clear_mm=2).claimed(b, clear_mm=4).region.area_mm2()
    other = zone.claimed(b, clear_mm=4).claimed(a, clear_mm=2).region.area_mm2()
    assert one == pytest.approx(other, abs=1e-6)


def test_a_named_area_is_the_zone_inside_it():
    zone = zone_of(DOOR, KeepOff(rim_mm=8, cutouts_mm=5))
    inside = zone.within(region_of(rounded_rectangle((-50, -50), (150, 400))))

    assert inside.region.bounds().tolist() == pytest.approx(np.array([[8.003, 8.003], [100, 271.997]]), abs=1e-3)
    assert zone.within(region_of(rounded_rectangle((900, 900), (5, 5)))).region.is_empty


def test_open_cut_lines_are_kept_off_too():
    line = [[(200.0, 40.0), (220.0, 40.0), (240.0, 40.0), (260.0, 40.0)]]
    slit = Strokes(np.array(line), np.array([True]), np.array([0, 1]), np.array([False]))
    panel = Panel(rim=RIM, cut_lines=concatenate_strokes([slit, contour(RIM)]))
    points = edge_points(zone_of(panel, KeepOff(rim_mm=8, cutouts_mm=5)).region)
    away = np.hypot(np.maximum(np.abs(points[:, 0] - 230) - 30, 0), points[:, 1] - 40)

    assert 5 <= away.min() <= 5 + SPARE_MM


def test_a_zone_in_pieces_is_remarked_on():
    panel = Panel(rim=RIM, cutouts=(Opening("slit", slot("slit", (200, 5, 4, 270))),))

    (finding,) = zone_of(panel, KeepOff(rim_mm=8, cutouts_mm=5)).findings
    assert finding.code == "parted-zone"
    assert "2 pieces" in finding.message
    assert zone_of(DOOR, KeepOff(rim_mm=8, cutouts_mm=5)).findings == ()
