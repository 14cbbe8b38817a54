"""From a panel and ornaments to layers in run order, in which nothing burns twice."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from friezewright.geometry import affine
from friezewright.geometry.artwork import Artwork, Placements
from friezewright.geometry.outline import Outline, circle, concatenate, polygon, rounded_rectangle
from friezewright.geometry.planar.region import empty
from friezewright.geometry.strokes import contour
from friezewright.inspection.check import inspect
from friezewright.layers.build import build
from friezewright.layers.burn import Burn, BurnStyle, Lining
from friezewright.layers.drawing import Operation
from friezewright.machine import Machine
from friezewright.ornament.ornament import Ornament
from friezewright.output.svg import write_drawing
from friezewright.panel.panel import Opening, Panel
from friezewright.panel.zone import KeepOff

MACHINE = Machine(spot_mm=0.15, line_spacing_mm=0.1)
PANEL = Panel(
    rim=rounded_rectangle((0.0, 0.0), (80.0, 60.0), 4.0),
    cutouts=(Opening("window", circle((60.0, 30.0), 8.0)), Opening("slot", rounded_rectangle((5, 45), (30, 6), 3.0))),
)
KEEP_OFF = KeepOff(rim_mm=5.0, cutouts_mm=3.0, named={"slot": 2.0})
DISC = circle((0.0, 0.0), 2.0)


def ornament(shape: Outline, shifts, *, members=None, gap: float | None = 1.0, name: str = "edge") -> Ornament:
    maps = affine.translation(np.asarray(shifts, dtype=float))
    member = np.zeros(len(maps), int) if members is None else np.asarray(members)
    areas = Artwork((shape,), Placements(matrix=maps, shape=np.zeros(len(maps), int), member=member))
    return Ornament(name=name, areas=areas, gap_mm=1.0, measured_gap_mm=gap, claim=empty())


def built(*pairs, machine: Machine = MACHINE, panel: Panel = PANEL, **options):
    return build(panel, pairs, machine, title="Test", digest="d", keep_off=KEEP_OFF, **options)


def clean(drawing) -> None:
    assert inspect(write_drawing(drawing), name="built.svg").findings == ()


ROW = [(10.0 + 5.0 * i, 12.0) for i in range(6)]


def test_layers_run_engrave_score_cut_whatever_the_ornaments_order():
    second = ornament(DISC, [(x, 20.0) for x, _ in ROW], name="band")
    drawing, findings = built(
        (ornament(DISC, ROW), BurnStyle(burn=Burn.CONTOUR)), (second, BurnStyle(burn=Burn.FILLED))
    )
    assert [layer.operation for layer in drawing.layers] == [Operation.ENGRAVE, Operation.SCORE, Operation.CUT]
    assert [[part.ornament for part in layer.parts] for layer in drawing.layers] == [
        ["band"],
        ["edge"],
        ["window", "slot", "rim"],
    ]
    assert [layer.copy_count for layer in drawing.layers] == [6, 6, 3]
    assert drawing.frame == (0.0, 0.0, 80.0, 60.0)
    assert drawing.keep_off.openings_mm == (("window", 3.0), ("slot", 2.0))
    assert [layer.pen.colour for layer in drawing.layers] == ["#000000", "#cc79a7", "#e69f00"]
    assert findings == ()
    clean(drawing)


def test_ornament_only_leaves_the_cut_layer_out():
    drawing, _ = built((ornament(DISC, ROW), BurnStyle()), ornament_only=True)
    assert [layer.operation for layer in drawing.layers] == [Operation.ENGRAVE]
    assert drawing.frame == PANEL.frame


def test_whole_copies_stay_placements_of_their_shape():
    drawing, _ = built((ornament(DISC, ROW), BurnStyle()))
    (part,) = drawing.layer(Operation.ENGRAVE).parts
    assert part.artwork.shapes == (DISC,)
    (contours,) = built((ornament(DISC, ROW), BurnStyle(burn=Burn.CONTOUR)))[0].layer(Operation.SCORE).parts
    assert len(contours.artwork.shapes) == 1
    assert contours.artwork.shapes[0].closed.tolist() == [True]


def lens_mm2(radius: float, apart: float) -> float:
    """Return the area two equal discs share (a textbook segment formula)."""
    half = math.acos(apart / (2.0 * radius))
    return 2.0 * radius * radius * half - 0.5 * apart * math.sqrt(4.0 * radius * radius - apart * apart)


def test_copies_that_overlap_burn_once():
    shifts = [(10.0, 12.0), (13.0, 12.0), (20.0, 12.0)]
    drawing, _ = built((ornament(DISC, shifts), BurnStyle()))
    (part,) = drawing.layer(Operation.ENGRAVE).parts
    assert len(part.artwork) == 2
    burned = sum(copy.area_mm2() for copy in part.artwork.copies())
    assert burned == pytest.approx(3 * math.pi * 4.0 - lens_mm2(2.0, 3.0), abs=2e-3)
    clean(drawing)


def test_contours_that_overlap_leave_the_inside_out():
    shifts = [(10.0, 12.0), (13.0, 12.0)]
    drawing, _ = built((ornament(DISC, shifts), BurnStyle(burn=Burn.CONTOUR)))
    (part,) = drawing.layer(Operation.SCORE).parts
    length = sum(copy.length_mm() for copy in part.artwork.copies())
    # Each circle loses the arc inside the other: twice the angle whose cosine is half the distance over the radius.
    assert length == pytest.approx(2 * 2.0 * (2 * math.pi - 2 * math.acos(3.0 / 4.0)), abs=5e-3)
    assert not any(copy.closed.any() for copy in part.artwork.copies())


def test_partners_take_their_own_burn():
    style = BurnStyle(burn=Burn.FILLED, partner_burn=Burn.LINED, lining=Lining(spacing_mm=0.5))
    drawing, _ = built((ornament(DISC, ROW, members=[0, 1, 2, 0, 1, 0]), style))
    assert [layer.copy_count for layer in drawing.layers] == [3, 3, 3]
    engraved = drawing.layer(Operation.ENGRAVE).parts[0].artwork.placements.matrix[:, 0, 2]
    assert engraved.tolist() == [10.0, 25.0, 35.0]
    clean(drawing)


def test_trimmed_edges_are_scored_only_on_request():
    half = polygon([(-2.0, 0.0), (2.0, 0.0), (2.0, 2.0), (-2.0, 2.0)])
    half = Outline(half.segments, half.is_line, half.loop_start, np.array([True, False, False, False]))
    whole, open_ = (
        built((ornament(half, ROW), BurnStyle(burn=Burn.CONTOUR, contour_edges=edges)))[0].layer(Operation.SCORE)
        for edges in (True, False)
    )
    assert whole.parts[0].artwork.shapes[0].length_mm() == pytest.approx(12.0)
    assert open_.parts[0].artwork.shapes[0].length_mm() == pytest.approx(8.0)
    assert open_.parts[0].artwork.shapes[0].closed.tolist() == [False]


def test_cut_lines_of_a_drawing_are_handed_on_unmoved():
    lines = contour(concatenate([part.outline for part in PANEL.cutouts] + [PANEL.rim]))
    panel = replace(PANEL, cut_lines=lines, frame=(-5.0, -5.0, 90.0, 70.0))
    drawing, _ = built((ornament(DISC, ROW), BurnStyle()), panel=panel)
    cut = drawing.layer(Operation.CUT)
    assert [part.ornament for part in cut.parts] == ["window", "slot", "rim"]
    segments = np.concatenate([shape.segments for part in cut.parts for shape in part.artwork.copies()])
    assert np.array_equal(segments, lines.segments)
    assert drawing.frame == (-5.0, -5.0, 90.0, 70.0)
    clean(drawing)


def test_more_cut_lines_than_openings_make_one_part():
    extra = [circle((20.0, 30.0), 2.0), *(part.outline for part in PANEL.cutouts), PANEL.rim]
    panel = replace(PANEL, cut_lines=contour(concatenate(extra)))
    cut = built(panel=panel)[0].layer(Operation.CUT)
    assert [(part.ornament, len(part.artwork)) for part in cut.parts] == [("openings", 3), ("rim", 1)]


def codes(*pairs, **options) -> list[str]:
    return [finding.code for finding in built(*pairs, **options)[1]]


def test_crowded_burns_are_named():
    edge = ornament(DISC, ROW)
    assert codes((edge, BurnStyle())) == []
    fine = replace(MACHINE, line_spacing_mm=0.07)
    assert codes((edge, BurnStyle()), machine=fine) == ["crowded-burn"]
    assert codes((edge, BurnStyle(burn=Burn.LINED, lining=Lining(spacing_mm=0.3)))) == []
    assert codes((edge, BurnStyle(burn=Burn.LINED, lining=Lining(spacing_mm=0.29)))) == ["crowded-burn"]
    close = ornament(DISC, ROW, gap=0.25)
    assert codes((close, BurnStyle(burn=Burn.CONTOUR))) == ["crowded-burn"]
    assert codes((close, BurnStyle())) == []
    assert codes((ornament(DISC, ROW, gap=None), BurnStyle(burn=Burn.CONTOUR))) == []


def test_lines_thinner_than_the_spot_are_named_with_their_width():
    bar = polygon([(-2.0, -0.05), (2.0, -0.05), (2.0, 0.05), (-2.0, 0.05)])
    _, (finding,) = built((ornament(bar, ROW), BurnStyle()))
    assert finding.code == "thin-line"
    assert "0.10 mm wide" in finding.message
    assert finding.ornament == "edge"
    assert finding.where_mm is not None
    assert finding.where_mm[1] == pytest.approx(12.0, abs=0.05)
    wide = polygon([(-2.0, -0.1), (2.0, -0.1), (2.0, 0.1), (-2.0, 0.1)])
    assert codes((ornament(wide, ROW), BurnStyle())) == []
    assert codes((ornament(bar, ROW), BurnStyle(burn=Burn.LINED))) == []
    piece = Outline(bar.segments, bar.is_line, bar.loop_start, np.array([True, False, False, False]))
    assert codes((ornament(piece, ROW), BurnStyle())) == []


def test_no_ornament_gives_the_cut_alone():
    drawing, findings = built()
    assert [layer.operation for layer in drawing.layers] == [Operation.CUT]
    assert findings == ()
