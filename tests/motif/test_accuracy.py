"""Traces against outlines that are known exactly: how much nearer than the tracer's own they come, in one run."""

from __future__ import annotations

import functools
import io

import numpy as np
import pytest
from PIL import Image

from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import Outline
from friezewright.motif.picture import InkSettings, read_picture
from friezewright.motif.trace import Traced, trace

PLAIN = InkSettings(follow_grey=False)


def traced_both_ways(data: bytes, name: str) -> tuple[Traced, Traced]:
    picture = read_picture(data, InkSettings(), name=name)
    return trace(picture, PLAIN), trace(picture, InkSettings())


def joints_deg(outline: Outline) -> FloatArray:
    """Return by how many degrees the outline turns at each node."""
    turns = []
    for loop in outline.loops():
        segments = outline.segments[loop]
        before = np.roll(segments[:, 3] - segments[:, 2], 1, axis=0)
        after = segments[:, 1] - segments[:, 0]
        cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
        turns.append(np.degrees(np.abs(np.arctan2(cross, np.sum(before * after, axis=1)))))
    return np.concatenate(turns)


@pytest.fixture(scope="module")
def rows_of(known_shapes, yardstick):
    """Rows of name, mean and largest distance plain, the same refined, numbers in both, measured once a kind."""

    @functools.cache
    def measure(kind: str):
        rows = []
        for shape in known_shapes:
            plain, refined = traced_both_ways(getattr(shape, kind), shape.name)
            before, after = (yardstick.strayed(traced.outline, shape.outline) for traced in (plain, refined))
            rows.append((shape.name, *before, *after, plain.figures.numbers, refined.figures.numbers))
        return rows

    return measure


@pytest.fixture(params=["grey", "two_level"])
def measured(request, rows_of):
    return request.param, rows_of(request.param)


def ratios(rows, set_aside):
    """Return the medians of mean, largest and numbers against the tracer's own, over the shapes set aside or all."""
    chosen = [row for row in rows if set_aside is None or row[0] in set_aside]
    values = np.array([row[1:] for row in chosen])
    return np.median(values[:, [2, 3, 5]] / values[:, [0, 1, 4]], axis=0)


def test_enough_shapes_are_measured_and_ten_are_set_aside(known_shapes, yardstick):
    names = [shape.name for shape in known_shapes]
    assert len(names) == len(set(names)) >= 30
    assert len(yardstick.SET_ASIDE) == 10
    assert set(yardstick.SET_ASIDE) <= set(names)


@pytest.mark.parametrize("which", ["all", "set aside"])
def test_a_trace_comes_nearer_than_the_tracer_alone(measured, which, yardstick):
    kind, rows = measured
    mean, largest, numbers = ratios(rows, yardstick.SET_ASIDE if which == "set aside" else None)
    assert mean <= {"grey": 0.25, "two_level": 0.45}[kind]
    assert largest <= 0.75
    assert numbers <= 1.15


def test_no_trace_is_much_worse_than_the_tracer_alone(measured):
    kind, rows = measured
    worse = {row[0]: row[4] - row[2] for row in rows if row[4] - row[2] > 0.3}
    # In black and white an end about as round as a pixel is wide looks like a corner: these two are taken for one.
    assert set(worse) <= {"grey": set(), "two_level": {"wave", "icon-carrot"}}[kind], worse
    assert max(worse.values(), default=0.0) < 1.2


def test_smooth_joints_stay_smooth(known_shapes):
    for shape in known_shapes[::4]:
        _, refined = traced_both_ways(shape.grey, shape.name)
        turns = joints_deg(refined.outline)
        # Nothing lies between a smooth joint, which is smooth but for rounding to a millionth of a px, and a bend
        # that anybody would call a corner.
        assert not np.any((turns > 0.1) & (turns < 5.0)), shape.name


@pytest.mark.parametrize("degrees", range(0, 90, 6))
def test_corners_of_a_square_at_any_angle(degrees, yardstick):
    square = yardstick.square(degrees)
    _, refined = traced_both_ways(square.grey, "square")
    corners = square.outline.segments[:, 0]
    nodes = refined.outline.segments[:, 0]
    nearest = np.hypot(*np.moveaxis(corners[:, None] - nodes[None], 2, 0)).min(axis=1)
    assert nearest.max() < 0.5
    assert yardstick.strayed(refined.outline, square.outline)[1] < 0.5


def test_the_yardstick_agrees_with_an_independent_one(known_shapes, yardstick):
    from shapely import LineString, MultiLineString, distance, points

    shape = next(shape for shape in known_shapes if shape.name == "two-part")
    line, _, loop = shape.outline.flattened(tolerance_mm=1e-3)
    rings = MultiLineString([LineString(line[loop == k]) for k in range(shape.outline.loop_count)])
    probe = yardstick.sampled(shape.outline, spacing=9.0) + np.array([0.7, -0.4])
    expected = distance(rings, points(probe))
    assert np.allclose(yardstick.away_from(probe, shape.outline), expected, atol=2e-3)


def test_a_phone_picture_keeps_the_shape(known_shapes, yardstick):
    """Shadow across the paper, noise and a lossy file: the trace stays within two px of the truth."""
    shape = next(shape for shape in known_shapes if shape.name == "icon-leaf")
    grey = np.asarray(Image.open(io.BytesIO(shape.grey)).convert("L"), dtype=float)
    y, x = np.mgrid[0:512, 0:512] / 512.0
    light = 0.95 - 0.55 * x - 0.1 * (y - 0.4) ** 2
    noise = np.random.default_rng(5).normal(0.0, 3.0, grey.shape)
    photo = np.clip((40.0 + grey * 0.8) * light + noise, 0, 255).astype(np.uint8)
    file = io.BytesIO()
    Image.fromarray(photo).save(file, "JPEG", quality=88)
    picture = read_picture(file.getvalue(), InkSettings(dust_px=30.0), name="photo")
    assert "uneven-light" in {finding.code for finding in picture.findings}
    traced = trace(picture, InkSettings())
    assert traced.figures.loops == shape.outline.loop_count
    mean, largest = yardstick.strayed(traced.outline, shape.outline)
    assert mean < 0.5
    assert largest < 2.0


def test_the_same_picture_gives_the_same_bytes(known_shapes):
    shape = known_shapes[-1]
    _, first = traced_both_ways(shape.grey, shape.name)
    _, second = traced_both_ways(shape.grey, shape.name)
    assert first.outline.segments.tobytes() == second.outline.segments.tobytes()
