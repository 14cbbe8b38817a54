"""Tracing: how long it takes at 512 px and beyond, beside the tracer alone and the filling of its bitmap."""

import functools
import io

import numpy as np
import pytest
import resvg_py
from PIL import Image

from friezewright.motif import packed
from friezewright.motif import trace as trace_module
from friezewright.motif.motif import motif_from_picture
from friezewright.motif.picture import InkSettings, read_picture
from friezewright.motif.trace import plain_outline, trace


@functools.cache
def flower(side_px, petals=9):
    """Return a picture of a flower of many curves with a ring of seeds, soft-edged."""
    middle, radius = side_px / 2.0, side_px * 0.45
    angle = np.arange(8 * petals) * 2 * np.pi / (8 * petals)
    reach = radius * (0.7 + 0.3 * np.cos(petals * angle + 0.3))
    knots = middle + np.stack([reach * np.cos(angle), reach * np.sin(angle)], axis=1)
    handle = (np.roll(knots, -1, axis=0) - np.roll(knots, 1, axis=0)) / 6.0
    pieces = [f"M{knots[0, 0]:.3f} {knots[0, 1]:.3f}"]
    for k in range(len(knots)):
        n = (k + 1) % len(knots)
        points = np.concatenate([knots[k] + handle[k], knots[n] - handle[n], knots[n]])
        pieces.append("C" + " ".join(f"{value:.3f}" for value in points))
    seeds = "".join(
        f'<circle cx="{middle + 0.28 * radius * np.cos(a):.3f}" cy="{middle + 0.28 * radius * np.sin(a):.3f}" '
        f'r="{0.04 * radius:.3f}" fill="#fff"/>'
        for a in 0.1 + np.arange(16) * np.pi / 8
    )
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{side_px}" height="{side_px}">'
        f'<rect width="100%" height="100%" fill="#fff"/><path d="{"".join(pieces)}Z"/>{seeds}</svg>'
    )
    return bytes(resvg_py.svg_to_bytes(svg_string=svg, dpi=96))


@pytest.mark.parametrize("side_px", [512, 1024, 2048])
@pytest.mark.parametrize("follow_grey", [False, True])
def test_trace(benchmark, side_px, follow_grey):
    settings = InkSettings(follow_grey=follow_grey)
    picture = read_picture(flower(side_px), settings, name="flower")
    traced = benchmark(trace, picture, settings)
    assert traced.figures.holes == 16


@pytest.mark.parametrize("side_px", [512, 1024])
@pytest.mark.parametrize("way", ["packed rows", "binding"])
def test_fill_the_bitmap_and_trace(benchmark, monkeypatch, side_px, way):
    if way == "binding":
        pytest.importorskip("potrace")
        monkeypatch.setattr(packed, "is_available", lambda: False)
    elif not packed.is_available():
        pytest.skip("the tracing library itself is not on this machine")
    ink = read_picture(flower(side_px), InkSettings(), name="flower").ink
    assert trace_module.packed is packed
    benchmark(plain_outline, ink, InkSettings())


def test_from_file_to_motif(benchmark):
    motif = benchmark(motif_from_picture, flower(512), name="flower")
    assert motif.outline.loop_count == 17


def test_ugly_twin_a_field_of_specks(benchmark):
    """Thousands of tiny loops: nothing to gain from them, and nothing may explode."""
    noise = np.random.default_rng(2).random((512, 512)) < 0.06
    grey = np.where(np.kron(noise[::4, ::4], np.ones((4, 4), dtype=bool)), 0, 255).astype(np.uint8)
    file = io.BytesIO()
    Image.fromarray(grey).save(file, "PNG")
    picture = read_picture(file.getvalue(), InkSettings(dust_px=0.0), name="specks")
    traced = benchmark(trace, picture, InkSettings(dust_px=0.0))
    assert traced.figures.loops > 500
