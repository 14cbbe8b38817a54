"""Panels from drawings: rim and cutouts found or named, loose lines mended, cut lines handed on where they were."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from friezewright.errors import DrawingError, PanelError
from friezewright.findings import Severity
from friezewright.panel.from_drawing import panel_from_drawing
from friezewright.panel.panel import Opening, cut_strokes
from friezewright.panel.shapes import rectangle
from friezewright.reading.svg import read_svg

HEAD = 'width="400mm" height="280mm" viewBox="0 0 400 280"'
RIM = '<rect id="door" x="10" y="10" width="380" height="260" rx="6" fill="none" stroke="red"/>'
WINDOW = '<circle id="window" cx="110" cy="140" r="45" fill="none" stroke="red"/>'
SLOT = '<rect x="330" y="90" width="18" height="100" rx="9" fill="none" stroke="blue"/>'


def drawing(inner: str, head: str = HEAD):
    return read_svg(f'<svg xmlns="http://www.w3.org/2000/svg" {head}>{inner}</svg>'.encode(), name="door.svg")


def read(inner: str, head: str = HEAD, **asked):
    return panel_from_drawing(drawing(inner, head), **asked)


def codes(findings) -> list[str]:
    return [finding.code for finding in findings]


def line(x1, y1, x2, y2) -> str:
    return f'<line x1="{x1}" y1="{y1}" x2="{x2}" y2="{y2}" stroke="red"/>'


def test_the_outermost_loop_is_the_rim_and_loops_in_it_are_cutouts():
    panel, findings = read(SLOT + WINDOW + RIM, thickness_mm=3.1)

    assert findings == ()
    assert panel.size_mm == pytest.approx((380, 260))
    assert [part.name for part in panel.cutouts] == ["cutout 1", "window"]
    assert panel.cutouts[1].outline.area_mm2() == pytest.approx(math.pi * 45**2, rel=1e-6)
    assert panel.thickness_mm == 3.1


def test_cut_lines_are_handed_on_unmoved_in_the_same_frame():
    source = drawing(RIM + SLOT + WINDOW)
    panel, _ = panel_from_drawing(source)
    rim, slot, window = (path.strokes.segments for path in source.paths)
    inner, outer = cut_strokes(panel)

    assert panel.frame == (0, 0, 400, 280)
    np.testing.assert_array_equal(outer.segments, rim)
    np.testing.assert_array_equal(inner.segments, np.concatenate([slot, window]))


def test_the_frame_is_the_page_wherever_its_origin_lies():
    panel, _ = read(
        f'<g transform="translate(-50 -20)">{RIM}</g>', 'width="4in" height="2.8in" viewBox="-50 -20 400 280"'
    )
    scale = 0.254

    assert panel.frame == pytest.approx((-50 * scale, -20 * scale, 400 * scale, 280 * scale))
    assert panel.rim.bounds().tolist() == pytest.approx(np.array([[-40, -10], [340, 250]]) * scale)


def test_a_drawing_without_a_size_takes_the_known_width_of_its_rim():
    panel, findings = read(RIM + WINDOW, head="", rim_width_mm=190)

    assert panel.size_mm == pytest.approx((190, 130))
    assert panel.frame == pytest.approx((5, 5, 190, 130))
    assert findings == ()
    with pytest.raises(DrawingError, match="one known length"):
        read(RIM, head="")


def test_a_known_width_outweighs_what_the_drawing_says_and_is_remarked_on():
    panel, findings = read(RIM, rim_width_mm=385)

    assert panel.size_mm[0] == pytest.approx(385)
    assert codes(findings) == ["other-size"]
    assert "380.00 mm" in findings[0].message
    assert read(RIM, rim_width_mm=380.1)[1] == ()


@pytest.mark.parametrize("width", [0.0, -1.0, math.nan, math.inf])
def test_a_known_width_is_above_zero(width):
    with pytest.raises(PanelError, match="above zero"):
        read(RIM, rim_width_mm=width)


def test_a_rectangle_of_four_loose_lines_is_a_rim():
    inner = line(10, 10, 390, 10) + line(390, 270, 390, 10) + line(10, 270, 390, 270) + line(10, 270, 10, 10)
    panel, findings = read(inner)

    assert panel.rim.area_mm2() == pytest.approx(380 * 260)
    assert len(panel.rim.segments) == 4
    assert codes(findings) == ["joined-lines"]


def test_a_nearly_closed_loop_is_closed_by_a_line_and_nothing_moves():
    panel, findings = read('<path d="M10 10H390V270H10V10.2" stroke="red"/>')

    assert [(f.code, f.severity) for f in findings] == [("closed-gap", Severity.WARNING)]
    assert findings[0].where_mm == pytest.approx((10, 10.1))
    assert "0.200 mm" in findings[0].message
    assert panel.rim.area_mm2() == pytest.approx(380 * 260)
    assert len(panel.rim.segments) == 5


def test_a_wide_gap_is_not_closed():
    with pytest.raises(PanelError, match="no closed loop"):
        read('<path d="M10 10H390V270H10V10.3" stroke="red"/>')


def test_lines_drawn_twice_are_cut_once():
    backwards = '<path d="M10 10V270H390V10Z" stroke="red"/>'
    forwards = '<path d="M10 10H390V270H10Z" stroke="red"/>'
    panel, findings = read(forwards + backwards + WINDOW + WINDOW + WINDOW)

    assert [part.name for part in panel.cutouts] == ["window"]
    assert panel.cut_lines.path_count == 2
    assert codes(findings) == ["doubled-line"]
    assert findings[0].message.startswith("3 lines")


def test_a_loop_drawn_twice_with_other_corners_is_cut_once():
    panel, findings = read('<path d="M10 10H200H390V270H10Z"/><path d="M10 10H390V270H10Z"/>')

    assert panel.cut_lines.path_count == 1
    assert "doubled-line" in codes(findings)


def test_a_line_that_repeats_another_in_part_is_remarked_on():
    findings = read(RIM + '<path d="M50 50h20v20h-20z" stroke="red"/><path d="M50 50h20l9 9" stroke="red"/>')[1]

    assert codes(findings) == ["partly-doubled", "open-line"]


def test_open_lines_left_over_are_cut_as_they_are():
    panel, findings = read(RIM + WINDOW + line(200, 50, 250, 60))
    inner, _ = cut_strokes(panel)

    assert codes(findings) == ["open-line"]
    assert findings[0].where_mm == (200, 50)
    assert inner.closed.tolist() == [False, True]
    assert len(panel.cutouts) == 1


def test_a_loop_inside_a_cutout_is_a_loose_piece_cut_before_it():
    panel, findings = read(RIM + WINDOW + '<circle cx="110" cy="140" r="10" stroke="red"/>')
    inner, _ = cut_strokes(panel)

    assert codes(findings) == ["loose-scrap"]
    assert [part.name for part in panel.cutouts] == ["window"]
    assert inner.path_count == 2
    assert inner.bounds().tolist() == pytest.approx(np.array([[65, 95], [155, 185]]), abs=1e-4)
    assert np.ptp(inner.segments[: inner.path_start[1], :, 0]) == pytest.approx(20)


def test_rim_and_cutouts_may_be_named():
    frame = '<rect width="400" height="280" fill="none" stroke="black"/>'
    by_id, _ = read(frame + RIM + WINDOW, rim="door", cutouts="window")
    by_colour, findings = read(frame + RIM + SLOT, rim="#f00", cutouts="Blue")
    by_group, _ = read(f'{frame}<g id="cut">{RIM}</g>', rim="cut")

    for panel in (by_id, by_colour, by_group):
        assert panel.size_mm == pytest.approx((380, 260))
    assert [part.name for part in by_colour.cutouts] == ["cutout 1"]
    assert codes(findings) == ["not-used"]


def test_what_lies_outside_a_named_rim_is_left_out():
    outside = '<circle cx="395" cy="275" r="3" stroke="blue" fill="none"/>'
    panel, findings = read(RIM + outside, rim="red")

    assert panel.cut_lines.path_count == 1
    assert codes(findings) == ["outside-rim"]
    with pytest.raises(PanelError, match=r"more than one outermost loop near .*name the rim"):
        read(RIM + outside)


@pytest.mark.parametrize("asked", [{"rim": "lid"}, {"cutouts": "lid"}, {"rim": "lid", "rim_width_mm": 3.0}])
def test_a_name_that_is_not_there_is_named(asked):
    with pytest.raises(DrawingError, match="nothing called 'lid'"):
        read(RIM, **asked)


def test_lines_of_another_colour_are_not_joined_to_the_rim():
    engraved = '<path d="M200 10V270" stroke="black" fill="none"/>'
    pieces = '<path d="M200 10H390V270H200" stroke="red"/><path d="M200 270H10V10H200" stroke="red"/>'
    panel, findings = read(engraved + pieces)

    assert panel.size_mm == pytest.approx((380, 260))
    assert codes(findings) == ["joined-lines", "open-line"]


def test_a_cutout_over_the_rim_is_the_panels_error():
    with pytest.raises(PanelError, match='cutout "c" crosses the rim near'):
        read(RIM + '<circle id="c" cx="10" cy="100" r="20" stroke="red"/>')


def test_names_are_made_unique_and_reserves_stand_in_the_drawings_frame():
    plate = Opening("window", rectangle("plate", (200, 230, 90, 24)))
    panel, _ = read(RIM + WINDOW + WINDOW.replace('cx="110"', 'cx="250"'), reserves=(plate,))

    assert [part.name for part in panel.cutouts] == ["cutout 1", "cutout 2"]
    assert panel.reserves == (plate,)


def test_what_could_not_be_read_is_passed_on():
    assert codes(read(RIM + "<text>a</text>")[1]) == ["element-not-read"]


@settings(deadline=None)
@given(
    corners=st.integers(3, 9),
    order=st.randoms(use_true_random=False),
    flips=st.integers(0, 511),
    gap=st.sampled_from([0.0, 1e-9, 0.01, 0.1]),
)
def test_a_rim_in_pieces_is_put_together_whatever_their_order_and_direction(corners, order, flips, gap):
    angles = 2 * math.pi * np.arange(corners) / corners
    points = np.stack([200 + 120 * np.cos(angles), 140 + 120 * np.sin(angles)], axis=1)
    edges = []
    for i in range(corners):
        a, b = points[i], points[(i + 1) % corners]
        # Each edge stops a little short of the next corner.
        b = b + gap * (a - b) / np.hypot(*(a - b))
        edges.append(line(*b, *a) if flips >> i & 1 else line(*a, *b))
    order.shuffle(edges)
    panel, findings = read("".join(edges))

    exact = 0.5 * corners * 120**2 * math.sin(2 * math.pi / corners)
    assert panel.rim.area_mm2() == pytest.approx(exact, abs=1e-6 + gap * 240 * corners)
    assert panel.cut_lines.path_count == 1
    assert ("closed-gap" in codes(findings)) == (gap > 1e-6)
