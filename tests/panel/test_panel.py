"""Panels are checked when made: what is wrong is named, with its place."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from friezewright.errors import PanelError
from friezewright.geometry.outline import concatenate, polygon
from friezewright.geometry.strokes import concatenate_strokes, contour
from friezewright.panel.panel import Opening, Panel, cut_strokes
from friezewright.panel.shapes import disc, polygonal, rectangle, slot

RIM = rectangle("rim", (0, 0, 400, 280), 6)
WINDOW = Opening("window", disc("window", (110, 140), 90))
HANDLE = Opening("handle", slot("handle", (330, 90, 18, 100)))


def hole(name: str, box) -> Opening:
    return Opening(name, rectangle(name, box))


def test_a_door_is_a_panel():
    panel = Panel(rim=RIM, cutouts=(WINDOW, HANDLE), thickness_mm=3.1)

    assert panel.size_mm == pytest.approx((400, 280))
    assert panel.frame == (0, 0, 400, 280)
    corners, disc_mm2, slot_mm2 = (4 - math.pi) * 36, math.pi * 45**2, 18 * 82 + math.pi * 81
    assert panel.material_mm2() == pytest.approx(400 * 280 - corners - disc_mm2 - slot_mm2, rel=1e-6)


def test_openings_are_cut_before_the_rim_lets_the_part_go():
    inner, rim = cut_strokes(Panel(rim=RIM, cutouts=(WINDOW, HANDLE)))

    assert inner.closed.tolist() == [True, True]
    assert inner.segments[0, 0].tolist() == WINDOW.outline.segments[0, 0].tolist()
    assert rim.segments.tolist() == RIM.segments.tolist()
    assert cut_strokes(Panel(rim=RIM))[0] is None


def test_lines_handed_on_are_cut_as_they_are():
    lines = concatenate_strokes([contour(HANDLE.outline), contour(WINDOW.outline), contour(RIM)])
    inner, rim = cut_strokes(Panel(rim=RIM, cutouts=(WINDOW, HANDLE), cut_lines=lines))

    assert inner.segments.tolist() == lines.segments[: -len(RIM.segments)].tolist()
    assert inner.path_count == 2
    assert rim.segments.tolist() == RIM.segments.tolist()
    assert cut_strokes(Panel(rim=RIM, cut_lines=contour(RIM)))[0] is None


@pytest.mark.parametrize(
    ("parts", "message"),
    [
        # Rims.
        ({"rim": polygon([(0, 0), (100, 100), (100, 0), (0, 90)])}, "rim crosses itself near .47.37, 47.37. mm"),
        (
            {"rim": polygon([(0, 0), (50, 0), (50, 50), (50, 0), (100, 0), (100, 80), (0, 80)])},
            "rim touches itself near .50.00, 0.00. mm",
        ),
        ({"rim": polygon([(0, 0), (50, 0), (100, 0)])}, "rim has no area"),
        ({"rim": concatenate([RIM, WINDOW.outline])}, "rim has 2 loops"),
        ({"rim": rectangle("rim", (0, 0, 5001, 280))}, "5001 x 280 mm; panels up to 5000 mm"),
        # Cutouts.
        ({"cutouts": (hole("a", (-5, 20, 10, 10)),)}, 'cutout "a" crosses the rim near .-2.5., 25.'),
        ({"cutouts": (hole("a", (500, 20, 10, 10)),)}, 'cutout "a" lies outside the rim near .505.'),
        ({"cutouts": (hole("a", (0, 20, 10, 10)),)}, 'cutout "a" touches the rim near .0.00, 20.00. mm.*notch'),
        ({"cutouts": (hole("a", (-9, -9, 500, 500)),)}, 'cutout "a" crosses the rim'),
        (
            {"cutouts": (hole("a", (20, 20, 40, 40)), hole("b", (40, 40, 40, 40)))},
            'cutout "a" overlaps cutout "b" near .50',
        ),
        ({"cutouts": (hole("a", (20, 20, 40, 40)), hole("b", (30, 30, 5, 5)))}, 'cutout "a" overlaps cutout "b"'),
        ({"cutouts": (hole("a", (20, 20, 40, 40)), hole("b", (60, 30, 5, 5)))}, 'cutout "a" touches cutout "b"'),
        ({"cutouts": (WINDOW, WINDOW)}, 'cutout "window" shares its name'),
        ({"cutouts": (WINDOW,), "reserves": (Opening("window", HANDLE.outline),)}, 'reserve "window" shares its name'),
        ({"cutouts": (Opening(" ", WINDOW.outline),)}, "is named ' '"),
        ({"cutouts": (Opening("rim", WINDOW.outline),)}, "is named 'rim'"),
        ({"cutouts": (Opening("x", polygon([(20, 20), (60, 60), (60, 20), (20, 58)])),)}, 'cutout "x" crosses itself'),
        # Reserves.
        ({"reserves": (hole("r", (500, 20, 10, 10)),)}, 'reserve "r" lies outside the panel'),
        ({"thickness_mm": 0.0}, "0.0 mm thick"),
        ({"thickness_mm": math.nan}, "nan mm thick"),
        ({"frame": (0.0, 0.0, 0.0, 5.0)}, "frame"),
    ],
)
def test_what_is_wrong_is_named_with_its_place(parts, message):
    with pytest.raises(PanelError, match=message):
        Panel(**({"rim": RIM} | parts))


def test_reserves_may_overlap_anything():
    Panel(rim=RIM, cutouts=(WINDOW,), reserves=(hole("a", (-20, 100, 60, 60)), hole("b", (20, 100, 90, 60))))


def test_a_part_wound_as_a_hole_is_our_own_mistake():
    with pytest.raises(ValueError, match="wound"):
        Panel(rim=RIM.reversed())


def test_a_panel_of_five_metres_with_many_cutouts_is_taken_on():
    cutouts = tuple(
        Opening(f"c{i}-{j}", disc("c", (60 + 120 * i, 60 + 120 * j), 80)) for i in range(20) for j in range(10)
    )
    panel = Panel(rim=rectangle("rim", (0, 0, 5000, 3100)), cutouts=cutouts)

    assert panel.material_mm2() == pytest.approx(5000 * 3100 - 200 * math.pi * 1600, rel=1e-6)


CENTRE = st.tuples(st.integers(0, 200), st.integers(0, 200))


@settings(deadline=None)
@given(first=CENTRE, second=CENTRE, radius=st.integers(1, 40), other=st.integers(1, 40))
def test_two_round_cutouts_are_taken_exactly_when_they_keep_apart(first, second, radius, other):
    rim = rectangle("rim", (-100, -100, 400, 400))
    distance = math.dist(first, second)
    parts = tuple(
        Opening(name, disc(name, centre, 2 * r)) for name, centre, r in (("a", first, radius), ("b", second, other))
    )
    gap = distance - radius - other
    if gap <= 0.0:
        with pytest.raises(PanelError, match=r"overlaps|touches"):
            Panel(rim=rim, cutouts=parts)
    elif gap > 0.005:
        assert Panel(rim=rim, cutouts=parts).material_mm2() < 160000


@settings(deadline=None)
@given(centre=CENTRE, radius=st.integers(1, 60))
def test_a_round_cutout_is_taken_exactly_when_it_lies_inside_the_rim(centre, radius):
    rim = disc("rim", (100, 100), 200)
    room = 100 - math.dist(centre, (100, 100)) - radius
    cutouts = (Opening("a", disc("a", centre, 2 * radius)),)
    if room <= 0.0:
        with pytest.raises(PanelError, match="rim"):
            Panel(rim=rim, cutouts=cutouts)
    elif room > 0.005:
        Panel(rim=rim, cutouts=cutouts)


@settings(deadline=None)
@given(corners=st.lists(st.tuples(st.integers(0, 12), st.integers(0, 12)), min_size=3, max_size=7))
def test_a_polygon_is_a_rim_exactly_when_no_two_of_its_edges_meet(corners):
    points = np.array([c for i, c in enumerate(corners) if c != corners[i - 1]], dtype=float)
    meets = len(points) < 3 or _edges_meet(points)
    if meets:
        with pytest.raises(PanelError):
            Panel(rim=polygonal("rim", [tuple(p) for p in points.tolist()]))
    else:
        assert Panel(rim=polygonal("rim", [tuple(p) for p in points.tolist()])).size_mm[0] > 0


def _edges_meet(points) -> bool:
    """Return whether two edges share a point that is not the corner between neighbours, in whole numbers."""
    count = len(points)

    def turn(a, b, c):
        return np.sign((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))

    def on(a, b, p):
        return (
            turn(a, b, p) == 0
            and min(a[0], b[0]) <= p[0] <= max(a[0], b[0])
            and min(a[1], b[1]) <= p[1] <= max(a[1], b[1])
        )

    for i in range(count):
        a, b = points[i], points[(i + 1) % count]
        for j in range(i + 1, count):
            c, d = points[j], points[(j + 1) % count]
            if (j - i) % count in (1, count - 1):
                shared, far, other = (b, a, d) if (j - i) == 1 else (a, b, c)
                if count == 3:
                    continue
                if on(shared, far, other) or on(shared, other, far):
                    return True
                continue
            if turn(a, b, c) != turn(a, b, d) and turn(c, d, a) != turn(c, d, b):
                return True
            if on(a, b, c) or on(a, b, d) or on(c, d, a) or on(c, d, b):
                return True
    x, y = points.T
    return abs(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))) == 0
