"""Motifs: of height 1, centred, the same shape at any size, and what they are when mirrored."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from friezewright.errors import InputError
from friezewright.geometry import affine
from friezewright.geometry.outline import Outline, circle, concatenate, polygon, rounded_rectangle
from friezewright.motif import library
from friezewright.motif.motif import mirror_residual, motif_from_outline, motif_from_picture
from friezewright.motif.picture import InkSettings


def test_a_motif_has_height_one_about_its_middle(known_shapes):
    for shape in known_shapes[::10]:
        motif = motif_from_picture(shape.grey, name=shape.name)
        low, high = motif.outline.bounds()
        assert np.allclose(low + high, 0.0, atol=1e-9)
        assert high[1] - low[1] == pytest.approx(1.0, abs=1e-12)
        assert motif.pixels == (512, 512)
        true_low, true_high = shape.outline.bounds()
        true_width = (true_high - true_low)[0] / (true_high - true_low)[1]
        assert motif.width_for(20.0) == pytest.approx(20.0 * true_width, rel=0.01)
        assert motif.at_height(20.0).area_mm2() == pytest.approx(400.0 * motif.outline.area_mm2())


def test_a_silhouette_drawn_by_nobody_here():
    """The horse that comes with scikit-image: CC0 by its drawer, as its documentation says."""
    data = pytest.importorskip("skimage.data")
    file = io.BytesIO()
    silhouette = data.horse()
    Image.fromarray(silhouette).save(file, "PNG")
    motif = motif_from_picture(file.getvalue(), name="horse")
    assert motif.outline.loop_count == 2
    rows = np.flatnonzero((~silhouette).any(axis=1))
    height = rows[-1] - rows[0] + 1
    assert motif.outline.area_mm2() * height**2 == pytest.approx(np.count_nonzero(~silhouette), rel=0.01)
    assert motif.mirror_residual is None


def test_findings_come_along(known_shapes):
    image = Image.open(io.BytesIO(known_shapes[0].grey)).convert("L").point(lambda value: 255 - value)
    file = io.BytesIO()
    image.save(file, "PNG")
    motif = motif_from_picture(file.getvalue(), name="dark", settings=InkSettings())
    assert [finding.code for finding in motif.findings] == ["light-on-dark"]


def test_a_drawn_outline_keeps_its_shape_exactly():
    shape = rounded_rectangle((10.0, 20.0), (60.0, 30.0), 5.0)
    motif = motif_from_outline(shape, name="plate")
    assert motif.pixels is None
    back = motif.at_height(30.0).transformed(affine.translation((40.0, 35.0)))
    assert np.allclose(back.segments, shape.segments, atol=1e-12)
    assert motif.mirror_residual == pytest.approx(0.0, abs=3e-4)


def test_an_outline_without_height_is_refused():
    flat = Outline(np.zeros((1, 4, 2)) + np.linspace(0, 1, 4)[None, :, None] * [1.0, 0.0], np.ones(1), np.array([0, 1]))
    with pytest.raises(InputError, match="no height"):
        motif_from_outline(flat, name="flat")


def leaning(by: float) -> Outline:
    """Return a triangle of height 1 and width 1 whose tip lies off the middle."""
    return polygon([(-0.5, 0.5), (by, -0.5), (0.5, 0.5)])


@pytest.mark.parametrize("by", [0.0, 0.004, 0.01, 0.02])
def test_the_mirror_residual_of_a_leaning_triangle(by):
    # The tip at (by, -1/2) is mirrored to (-by, -1/2): its distance from the nearest side, of slope about 2.
    side = np.array([by + 0.5, -1.0])
    expected = abs(2.0 * by * side[1]) / np.hypot(*side)
    assert mirror_residual(leaning(by)) == pytest.approx(expected, abs=3e-4)


def test_what_is_far_from_symmetrical_has_no_residual():
    assert mirror_residual(leaning(0.3)) is None


def test_a_hole_counts_too():
    ring = [circle((0.0, 0.0), 0.5), circle((0.01, 0.0), 0.2).reversed()]
    assert mirror_residual(concatenate(ring)) == pytest.approx(0.02, abs=5e-4)


def test_every_shipped_motif_can_be_traced():
    names = library.names()
    assert names == tuple(sorted(names))
    assert names, "the checkout has a folder of motifs"
    for name in names:
        motif = motif_from_picture(library.picture(name), name=name)
        assert 2 <= len(motif.outline.segments) < 2000
        assert 0.05 < motif.outline.area_mm2() < 2.0


def test_the_shipped_mirror_images_are_seen_to_be_ones():
    symmetrical = {"bud", "bee", "star_anise", "poppy_head", "thistle"} & set(library.names())
    for name in sorted(symmetrical):
        residual = motif_from_picture(library.picture(name), name=name).mirror_residual
        # Their edges wander by about half a pixel on purpose, of some 700.
        assert residual is not None
        assert residual < 0.006


def test_an_unknown_name_lists_those_there_are():
    with pytest.raises(InputError, match="leaf"):
        library.picture("chrysanthemum")
