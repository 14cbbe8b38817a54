"""The machine time of a whole drawing: sums, ranges, shares, and what the drawing must not change."""

import math
from dataclasses import replace

import numpy as np
import pytest

from friezewright.errors import Cancelled
from friezewright.geometry import affine
from friezewright.geometry.artwork import Artwork, Placements
from friezewright.geometry.outline import circle, concatenate, polygon, rounded_rectangle
from friezewright.geometry.strokes import contour
from friezewright.layers.drawing import Drawing, Layer, Operation, Part, Pen
from friezewright.machine import Kind, typical
from friezewright.motion.estimate import Estimate, estimate, time_areas, time_strokes
from friezewright.panel.panel import RIM

RING = concatenate([circle((0, 0), 4.0), circle((0, 0), 2.0).reversed()])


def placed(shape, count=24):
    shifts = [[12.0 * (i % 6) + 50, 12.0 * (i // 6) + 40] for i in range(count)]
    maps = affine.compose(affine.translation(shifts), affine.rotation(0.3 * np.arange(count)))
    return Artwork((shape,), Placements(matrix=maps, shape=np.zeros(count, int), member=np.zeros(count, int)))


def layer(operation, *parts):
    return Layer(
        operation=operation,
        parts=tuple(Part(ornament=name, artwork=art) for name, art in parts),
        pen=Pen(typical().colour_of(operation.value), 0.1),
    )


@pytest.fixture(scope="module")
def drawing():
    openings = Artwork.single([contour(circle((110, 140), 45)), contour(rounded_rectangle((330, 90), (18, 100), 9))])
    rim = Artwork.single([contour(rounded_rectangle((0, 0), (400, 280), 6))])
    return Drawing(
        title="Herb pantry door",
        frame=(0.0, 0.0, 400.0, 280.0),
        layers=(
            layer(Operation.ENGRAVE, ("edge", placed(RING))),
            layer(Operation.SCORE, ("field", placed(contour(RING)))),
            layer(Operation.CUT, ("openings", openings), (RIM, rim)),
        ),
    )


def test_the_total_is_the_start_and_all_layers_in_run_order(drawing):
    found = estimate(drawing, typical())
    assert [part.operation for part in found.layers] == list(Operation)
    assert found.total_s == pytest.approx(3.0 + sum(part.total_s for part in found.layers))
    for part in found.layers:
        assert part.total_s == pytest.approx(part.burning_s + part.travel_s + part.turning_s + part.delays_s)
        assert part.burning_s > 0.0
        assert part.travel_s > 0.0
    assert sum(found.share(part) for part in found.layers) + 3.0 / found.total_s == pytest.approx(1.0)
    assert found.burned_mm == pytest.approx(sum(part.burned_mm for part in found.layers))
    assert found.travel_mm == pytest.approx(sum(part.travel_mm for part in found.layers))


def test_what_nobody_measured_is_rough(drawing):
    rough = estimate(drawing, typical())
    assert not rough.calibrated
    assert rough.low_s == pytest.approx(0.75 * rough.total_s)
    assert rough.high_s == pytest.approx(1.4 * rough.total_s)
    measured = replace(typical(), calibrated=True, range_below=0.03, range_above=0.04)
    fitted = estimate(drawing, measured)
    assert fitted.calibrated
    assert fitted.total_s == rough.total_s
    assert (fitted.low_s, fitted.high_s) == pytest.approx((0.97 * fitted.total_s, 1.04 * fitted.total_s))


def test_lengths_are_those_of_the_drawing(drawing):
    engrave, score, cut = estimate(drawing, typical()).layers
    assert engrave.burned_mm == pytest.approx(24 * math.pi * 12 / 0.1, rel=2e-3)
    assert score.burned_mm == pytest.approx(24 * 2 * math.pi * 6, rel=1e-6)
    rim = 2 * (388 + 268) + 2 * math.pi * 6
    slot = 2 * 82 + 2 * math.pi * 9
    assert cut.burned_mm == pytest.approx(2 * math.pi * 45 + slot + rim, rel=1e-6)
    assert (score.count, cut.count) == (48, 3)
    # Four rows of rings, less than 8 mm high at a slant of nothing: 80 lines each, less those that only just touch.
    assert engrave.count == pytest.approx(4 * 80, abs=4)


def test_delays_and_slow_cuts_by_hand(drawing):
    _, score, cut = estimate(drawing, typical()).layers
    assert score.delays_s == pytest.approx(48 * 0.03)
    # Common practice, no source: a slow cut takes its length over its speed, within a tenth.
    assert cut.burned_mm / 20 < cut.burning_s < 1.1 * cut.burned_mm / 20


def test_copies_take_as_long_as_the_same_shapes_drawn_one_by_one(drawing):
    art = placed(contour(RING))
    drawn = Artwork.single(art.copies())
    together = time_strokes((art,), typical(), operation=Operation.SCORE)
    apart = time_strokes((drawn,), typical(), operation=Operation.SCORE)
    assert together.total_s == pytest.approx(apart.total_s, rel=1e-9)
    assert time_areas((placed(RING),), typical())[0].total_s == pytest.approx(
        time_areas((Artwork.single(placed(RING).copies()),), typical())[0].total_s, rel=1e-6
    )


def test_areas_in_two_parts_are_burned_in_one_go():
    half = placed(RING).chosen(np.arange(24) < 12), placed(RING).chosen(np.arange(24) >= 12)
    assert time_areas(half, typical())[0].total_s == pytest.approx(
        time_areas((placed(RING),), typical())[0].total_s, rel=1e-6
    )


def test_the_rim_is_cut_last_wherever_it_is_listed():
    # A loop in the middle of a row stands for the rim: left for last, it costs a way back.
    inner = Artwork.single([contour(circle((x, 10.0), 2.0)) for x in (90.0, 70.0, 30.0, 10.0)])
    rim = Artwork.single([contour(polygon([[48, 8], [52, 8], [52, 12], [48, 12]]))])
    ways = [
        Drawing(title="", frame=(0.0, 0.0, 100.0, 20.0), layers=(layer(Operation.CUT, *parts),))
        for parts in ((("holes", inner), (RIM, rim)), ((RIM, rim), ("holes", inner)))
    ]
    times = [estimate(way, typical()).layers[0] for way in ways]
    assert times[0].travel_mm == pytest.approx(times[1].travel_mm)
    anyhow = time_strokes((rim, inner), typical(), operation=Operation.CUT)
    assert times[0].burning_s == pytest.approx(anyhow.burning_s)
    assert times[0].travel_mm > anyhow.travel_mm + 30.0


def test_a_faster_machine_is_quicker_and_slower_settings_are_slower(drawing):
    base = estimate(drawing, typical()).total_s
    assert estimate(drawing, replace(typical(), acceleration_mm_s2=3000.0)).total_s < base
    assert estimate(drawing, replace(typical(), travel_speed_mm_s=600.0)).total_s < base
    assert estimate(drawing, replace(typical(), cut_speed_mm_s=8.0)).total_s > base
    assert estimate(drawing, replace(typical(), line_spacing_mm=0.05)).total_s > base
    assert estimate(drawing, replace(typical(), burns_both_ways=False)).total_s > base


def test_the_panel_may_lie_anywhere(drawing):
    shift = affine.translation((17.0, 23.0))
    moved = replace(
        drawing,
        frame=(17.0, 23.0, 400.0, 280.0),
        layers=tuple(
            replace(part, parts=tuple(replace(p, artwork=p.artwork.moved(shift)) for p in part.parts))
            for part in drawing.layers
        ),
    )
    assert estimate(moved, typical()).total_s == pytest.approx(estimate(drawing, typical()).total_s, rel=5e-3)


def test_the_same_drawing_takes_the_same_time(drawing):
    assert estimate(drawing, typical()) == estimate(drawing, typical())


def test_progress_names_each_layer_and_may_stop(drawing):
    heard = []
    estimate(drawing, typical(), progress=heard.append)
    assert heard == ["timing the engrave layer", "timing the score layer", "timing the cut layer"]

    def stop(_):
        raise Cancelled

    with pytest.raises(Cancelled):
        estimate(drawing, typical(), progress=stop)


def test_a_drawing_without_layers_takes_no_time():
    empty = estimate(Drawing(title="", frame=(0.0, 0.0, 10.0, 10.0), layers=()), typical())
    assert isinstance(empty, Estimate)
    assert (empty.total_s, empty.low_s, empty.high_s) == (0.0, 0.0, 0.0)


def test_what_the_model_leaves_out_is_said(drawing):
    assert [f.code for f in estimate(drawing, replace(typical(), kind=Kind.STEERED_BEAM)).findings] == ["steered-beam"]
    assert estimate(drawing, replace(typical(), bed_mm=(280.0, 400.0))).findings == ()
    small = estimate(drawing, replace(typical(), bed_mm=(300.0, 390.0))).findings
    assert [f.code for f in small] == ["larger-than-bed"]
    assert "400 x 280" in small[0].message
    fast = estimate(drawing, replace(typical(), engrave_speed_mm_s=1500.0)).findings
    assert [f.code for f in fast] == ["engrave-speed"]
