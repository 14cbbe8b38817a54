"""Burning line by line: closed form against a simulation of every move, and rules of the trade that can be proved."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
import ruckig
from hypothesis import given, settings
from hypothesis import strategies as st

from friezewright.geometry.artwork import Artwork
from friezewright.geometry.outline import circle, polygon
from friezewright.geometry.spans import Spans, span_bands, spans
from friezewright.machine import Machine, typical
from friezewright.motion.raster import Lines, burn_times, lines_of, quickest_speed, speed_finding


def lines_from(rows, spacing=0.1):
    table = [(line, *span) for line, row in enumerate(rows) for span in row]
    array = np.array(table, dtype=float).reshape(-1, 3)
    band = Spans(line=array[:, 0].astype(int), along=array[:, 1:], spacing_mm=spacing, angle_rad=0.0)
    return lines_of([band], spacing)


def rectangle(width, height, spacing=0.1):
    return lines_from([[(0.0, width)]] * round(height / spacing), spacing)


def _move(length, entry, leave, speed, accel):
    """Time of one straight move by ruckig (Berscheid & Kroeger 2021) without a limit on jerk."""
    if length < 1e-12:
        return 0.0
    question, answer = ruckig.InputParameter(1), ruckig.Trajectory(1)
    question.current_position, question.target_position = [0.0], [length]
    question.current_velocity, question.target_velocity = [entry], [leave]
    question.current_acceleration = question.target_acceleration = [0.0]
    question.max_velocity, question.max_acceleration, question.max_jerk = [speed], [accel], [math.inf]
    assert ruckig.Ruckig(1).calculate(question, answer) == ruckig.Result.Working
    return answer.duration


def _simulated(rows, machine: Machine, spacing=0.1):
    """Run the head along x move by move, from rest before the first line to rest after the last."""
    speed, accel = machine.engrave_speed_mm_s, machine.engrave_acceleration_mm_s2
    travel, out = machine.travel_speed_mm_s, speed * speed / (2 * accel)
    clock, at, was, way = 0.0, None, None, 1
    for number, row in enumerate(rows):
        if not row:
            continue
        points = sorted(itertools.chain(*row), reverse=way < 0)
        rest = points[0] - way * out
        if at is not None:
            away = abs(rest - at)
            shift = _move(away, 0, 0, travel, accel)
            if machine.burns_both_ways:
                shift = min(shift, away / speed)
            step = _move((number - was) * spacing, 0, 0, travel, machine.acceleration_mm_s2)
            clock += max(shift, step) + machine.line_turn_s
        clock += _move(out, 0, speed, speed, accel)
        for i, (here, there) in enumerate(itertools.pairwise(points)):
            gap = abs(there - here)
            fast = i % 2 == 1 and machine.crosses_gaps_fast
            clock += _move(gap, speed, speed, travel, accel) if fast else gap / speed
        clock += _move(out, speed, 0, speed, accel)
        at, was = points[-1] + way * out, number
        way = -way if machine.burns_both_ways else 1
    return clock


def _disc(radius, spacing=0.1):
    across = np.arange(-radius + spacing / 2, radius, spacing)
    half = np.sqrt(radius * radius - across * across)
    return [[(float(50 - w), float(50 + w))] for w in half]


def _scattered(count):
    random = np.random.default_rng(3)
    rows = []
    for _ in range(count):
        ends = np.sort(random.uniform(0, 200, 2 * random.integers(1, 5)))
        rows.append([] if random.random() < 0.2 else [tuple(pair) for pair in ends.reshape(-1, 2).tolist()])
    return rows


@pytest.mark.parametrize("both_ways", [True, False])
@pytest.mark.parametrize("fast_gaps", [True, False])
@pytest.mark.parametrize("rows", [[[(0.0, 100.0)]] * 50, _disc(10), _scattered(120)], ids=["box", "disc", "scattered"])
def test_the_closed_form_is_the_simulation(rows, both_ways, fast_gaps):
    machine = replace(
        typical(), travel_speed_mm_s=400.0, line_turn_s=0.02, burns_both_ways=both_ways, crosses_gaps_fast=fast_gaps
    )
    assert burn_times(lines_from(rows), machine).total_s == pytest.approx(_simulated(rows, machine), rel=1e-8)


def test_a_box_by_hand():
    # 200 lines of 100 mm at 300 mm/s and 3000 mm/s2; every step takes 2 sqrt(0.1/1500) s and 0.03 s on top.
    by_hand = 200 * (100 / 300 + 2 * 300 / 3000) + 199 * (0.03 + 2 * math.sqrt(0.1 / 1500))
    assert burn_times(rectangle(100, 20), typical()).total_s == pytest.approx(by_hand, rel=1e-12)


spans_of_row = st.lists(st.integers(0, 400), min_size=0, max_size=6, unique=True).map(
    lambda ends: [tuple(pair) for pair in np.sort(ends[: len(ends) // 2 * 2]).reshape(-1, 2) / 2.0]
)
machines = st.builds(
    lambda speed, travel, fast: replace(
        typical(), engrave_speed_mm_s=speed, travel_speed_mm_s=travel, crosses_gaps_fast=fast
    ),
    st.floats(20, 800),
    st.floats(20, 800),
    st.booleans(),
)


@given(rows=st.lists(spans_of_row, min_size=1, max_size=12), machine=machines)
def test_burning_one_way_only_is_never_quicker(rows, machine):
    # Proved for equal lines; with unequal ones the way back may be shorter one way, so lines are made equal.
    ends = [row for row in rows if row][:1] * len(rows)
    one_way = replace(machine, burns_both_ways=False)
    assert burn_times(lines_from(ends), machine).total_s <= burn_times(lines_from(ends), one_way).total_s + 1e-9


@given(rows=st.lists(spans_of_row, min_size=1, max_size=12), machine=machines)
def test_crossing_gaps_fast_never_takes_longer(rows, machine):
    slow = replace(machine, crosses_gaps_fast=False)
    assert burn_times(lines_from(rows), machine).total_s <= burn_times(lines_from(rows), slow).total_s + 1e-9


@given(rows=st.lists(spans_of_row, min_size=1, max_size=12), machine=machines)
def test_a_mirrored_drawing_takes_as_long_one_way(rows, machine):
    one_way = replace(machine, burns_both_ways=False)
    mirrored = [sorted((200.0 - b, 200.0 - a) for a, b in row) for row in rows]
    there, back = burn_times(lines_from(rows), one_way), burn_times(lines_from(mirrored), one_way)
    assert back.burning_s == pytest.approx(there.burning_s, rel=1e-9)
    assert back.gaps_s == pytest.approx(there.gaps_s, rel=1e-9)
    assert back.total_s == pytest.approx(there.total_s, rel=0.0, abs=there.shifting_s + back.shifting_s + 1e-9)


def test_the_quickest_speed_is_the_root_of_half_extent_times_acceleration():
    lines = rectangle(100, 20)
    assert quickest_speed(lines, typical()) == pytest.approx(math.sqrt(100 * 3000 / 2))
    tried = np.arange(50.0, 1500.0, 1.0)
    best = tried[np.argmin([burn_times(lines, typical(), speed_mm_s=speed).total_s for speed in tried])]
    assert best == pytest.approx(quickest_speed(lines, typical()), abs=1.0)


def test_a_speed_too_high_for_short_lines_is_named():
    fast = replace(typical(), engrave_speed_mm_s=500.0)
    finding = speed_finding(rectangle(20, 20), fast)
    assert finding is not None
    assert finding.code == "engrave-speed"
    assert "173 mm/s" in finding.message
    slower = replace(fast, engrave_speed_mm_s=173.2)
    saved = 1 - burn_times(rectangle(20, 20), slower).total_s / burn_times(rectangle(20, 20), fast).total_s
    assert f"{100 * saved:.0f} percent" in finding.message


def test_a_speed_that_suits_its_lines_is_not():
    assert speed_finding(rectangle(100, 20), typical()) is None
    assert speed_finding(rectangle(20, 20), replace(typical(), engrave_speed_mm_s=190.0)) is None
    assert speed_finding(lines_from([[]]), typical()) is None


def test_long_lines_are_much_quicker_than_many():
    # The same 5 x 100 mm, burned along and across; each line costs its run-outs.
    along, across = burn_times(rectangle(100, 5), typical()), burn_times(rectangle(5, 100), typical())
    assert across.total_s > 7 * along.total_s


def test_half_the_spacing_takes_twice_the_time():
    coarse, fine = rectangle(50, 50, 0.1), rectangle(50, 50, 0.05)
    machine = replace(typical(), acceleration_mm_s2=1e6)  # stepping is the one part that depends on the spacing
    assert burn_times(fine, machine).total_s == pytest.approx(2 * burn_times(coarse, machine).total_s, rel=0.005)


def test_empty_lines_are_stepped_over():
    bar = [[(0.0, 40.0)]] * 20
    near, far = bar + [[]] * 10 + bar, bar + [[]] * 1000 + bar
    more = burn_times(lines_from(far), typical()).total_s - burn_times(lines_from(near), typical()).total_s
    # One move of 100.1 mm (300 mm/s, 1500 mm/s2) instead of one of 1.1 mm, which never reaches that speed.
    assert more == pytest.approx(100.1 / 300 + 300 / 1500 - 2 * math.sqrt(1.1 / 1500), rel=1e-9)


def test_no_lines_take_no_time():
    assert burn_times(lines_from([]), typical()).total_s == 0.0


def test_spans_become_lines():
    ring = Artwork.single([circle((20, 20), 8), polygon([[40, 12], [50, 12], [50, 28], [40, 28]])])
    whole = spans(ring, spacing_mm=0.1, tolerance_mm=0.001)
    lines = lines_of([whole], 0.1)
    assert len(lines.line) == 160
    assert lines.burned_mm.sum() * 0.1 == pytest.approx(math.pi * 64 + 160, rel=1e-3)
    assert lines.extent[80] == pytest.approx([12.0, 50.0], abs=1e-2)
    assert len(lines.gaps_mm) == 160


@settings(max_examples=10)
@given(crossings=st.integers(10, 500))
def test_bands_give_the_same_lines(crossings):
    dots = Artwork.single([circle((10 * i, 7 * j), 3) for i in range(4) for j in range(5)])
    whole = lines_of([spans(dots, spacing_mm=0.5, tolerance_mm=0.01)], 0.5)
    banded = lines_of(span_bands(dots, spacing_mm=0.5, tolerance_mm=0.01, band_crossings=crossings), 0.5)
    for name in Lines.__dataclass_fields__:
        np.testing.assert_allclose(getattr(banded, name), getattr(whole, name), atol=1e-9)
