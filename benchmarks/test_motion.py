"""Speed of the planner and of spans, each against the plainest pass over the same arrays, and with an ugly twin."""

import time

import numpy as np
import pytest

from friezewright.geometry import affine, cubic
from friezewright.geometry.artwork import Artwork, Placements
from friezewright.geometry.outline import circle, concatenate
from friezewright.geometry.spans import Spans, spans
from friezewright.geometry.strokes import Strokes
from friezewright.machine import typical
from friezewright.motion.order import Stops, nearest_order
from friezewright.motion.raster import burn_times, lines_of
from friezewright.motion.vector import Limits, node_speeds, path_times

LIMITS = Limits(speed_mm_s=100.0, acceleration_mm_s2=1000.0, corner_slack_mm=0.05)


def _best(work, rounds=5):
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def _walks(count, step=0.3):
    points = np.cumsum(np.random.default_rng(1).normal(0, step, (count + 1, 2)), axis=0)
    starts = np.append(np.arange(0, count, 50), count)
    return Strokes(cubic.line(points[:-1], points[1:]), np.ones(count, bool), starts, np.zeros(len(starts) - 1, bool))


@pytest.mark.parametrize("ugly", [False, True], ids=["walks", "standing still"])
def test_planner_against_a_running_sum(ugly):
    count = 1_000_000
    length = np.zeros(count) if ugly else np.abs(np.random.default_rng(1).normal(0, 0.4, count))
    cap = np.random.default_rng(2).uniform(0, 1e4, count + 1)
    sum_ns = _best(lambda: np.cumsum(length)) / count * 1e9
    plan_ns = _best(lambda: node_speeds(length, cap, 1000.0)) / count * 1e9
    print(f"\nnode_speeds {plan_ns:.1f} ns a piece, cumsum {sum_ns:.1f} ns: ratio {plan_ns / sum_ns:.1f}")
    assert plan_ns < 40 * sum_ns


@pytest.mark.parametrize("ugly", [False, True], ids=["walks", "coincident points"])
def test_paths_against_a_running_sum(ugly):
    count = 200_000
    strokes = _walks(count, 0.0 if ugly else 0.3)
    length = np.ones(count)
    sum_ns = _best(lambda: np.cumsum(length)) / count * 1e9
    path_ns = _best(lambda: path_times(strokes, LIMITS), 3) / count * 1e9
    print(f"\npath_times {path_ns:.0f} ns a segment, cumsum {sum_ns:.1f} ns: ratio {path_ns / sum_ns:.0f}")
    assert path_ns < 2000 * sum_ns


def test_curves_a_piece():
    curves = np.random.default_rng(3).uniform(0, 5, (20_000, 4, 2))
    count = len(curves)
    strokes = Strokes(curves, np.zeros(count, bool), np.arange(count + 1), np.zeros(count, bool))
    cuts = int(np.maximum(cubic.chord_counts(curves, strokes.is_line, tolerance_mm=0.002), 6).sum())
    seconds = _best(lambda: path_times(strokes, LIMITS), 2)
    print(f"\ncurves {seconds / count * 1e6:.1f} us each, {seconds / cuts * 1e9:.0f} ns a piece of {cuts}")
    sum_s = _best(lambda: np.cumsum(np.ones(cuts)))
    assert seconds < 2000 * sum_s


@pytest.mark.parametrize("angle", [0.0, 0.5])
def test_spans_against_a_sort(angle):
    ring = concatenate([circle((0, 0), 4.0), circle((0, 0), 2.0).reversed()])
    count = 40 * 28
    maps = affine.compose(
        affine.translation([[10.0 * (i % 40), 10.0 * (i // 40)] for i in range(count)]),
        affine.rotation(np.arange(count)),
    )
    art = Artwork((ring,), Placements(matrix=maps, shape=np.zeros(count, int), member=np.zeros(count, int)))
    found = spans(art, spacing_mm=0.05, angle_rad=angle, tolerance_mm=0.001)
    keys = np.random.default_rng(0).integers(0, 1 << 62, 2 * len(found))
    sort_s, span_s = (
        _best(lambda: np.sort(keys)),
        _best(lambda: spans(art, spacing_mm=0.05, angle_rad=angle, tolerance_mm=0.001)),
    )
    print(f"\n{len(found)} spans at {angle} rad: {span_s * 1e3:.0f} ms, a sort of as many ends {sort_s * 1e3:.1f} ms")
    assert span_s < 60 * sort_s


def test_burn_times_of_ten_thousand_lines():
    random = np.random.default_rng(0)
    start = random.uniform(0, 50, 10_000)
    band = Spans(
        line=np.arange(10_000),
        along=np.stack([start, start + random.uniform(20, 100, 10_000)], axis=1),
        spacing_mm=0.1,
        angle_rad=0.0,
    )
    seconds = _best(lambda: burn_times(lines_of([band], 0.1), typical()))
    print(f"\n10,000 lines {seconds * 1e3:.1f} ms")
    assert seconds < 200 * _best(lambda: np.cumsum(start))


@pytest.mark.parametrize("ugly", [False, True], ids=["scattered", "all in two places"])
def test_order_of_ten_thousand(ugly):
    places = np.random.default_rng(8).uniform(0, 1000, (10_000, 2))
    places = np.round(places / 1000) * 1000 if ugly else places
    stops = Stops(begin=places, end=places, first=np.arange(10_001), stage=np.zeros(10_000, int))
    seconds = _best(lambda: nearest_order(stops), 2)
    print(f"\n10,000 stops in {seconds:.2f} s, {nearest_order(stops).travel_mm:.0f} mm")
