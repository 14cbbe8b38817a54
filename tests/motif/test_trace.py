"""The tracer's door: where an outline lies, which way its loops run, and that all ways in give one answer."""

from __future__ import annotations

import io

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as npst
from PIL import Image

from friezewright.errors import LimitError
from friezewright.geometry import cubic
from friezewright.motif import packed
from friezewright.motif import trace as trace_module
from friezewright.motif.picture import InkSettings, read_picture
from friezewright.motif.trace import plain_outline, trace

PLAIN = InkSettings(follow_grey=False, dust_px=0.0)


def blank(height: int = 120, width: int = 150) -> np.ndarray:
    return np.zeros((height, width), dtype=bool)


def picture_of(ink: np.ndarray, settings: InkSettings):
    file = io.BytesIO()
    Image.fromarray(np.where(ink, 0, 255).astype(np.uint8)).save(file, "PNG")
    return read_picture(file.getvalue(), settings, name="ink")


def areas(outline) -> list[float]:
    return [cubic.signed_area(outline.segments[loop]) for loop in outline.loops()]


@pytest.mark.parametrize("chosen", [PLAIN, InkSettings(dust_px=0.0)])
def test_an_off_centre_square_keeps_its_place_and_points_down(chosen):
    ink = blank()
    ink[70:110, 15:45] = True
    traced = trace(picture_of(ink, chosen), chosen)
    assert np.allclose(traced.outline.bounds(), [[15, 70], [45, 110]], atol=0.35)
    assert traced.outline.area_mm2() == pytest.approx(1200.0, rel=0.01)


def test_a_crop_does_not_move_the_outline():
    ink = blank()
    ink[70:110, 15:45] = True
    whole = trace(picture_of(ink, PLAIN), PLAIN).outline
    cropped = InkSettings(follow_grey=False, dust_px=0.0, crop=(5, 60, 90, 118))
    assert np.allclose(trace(picture_of(ink, cropped), cropped).outline.segments, whole.segments, atol=1e-9)


# The tracer alone draws small discs a few hundredths too small.
@pytest.mark.parametrize(("chosen", "slack"), [(PLAIN, 0.05), (InkSettings(dust_px=0.0), 0.02)])
def test_islands_in_holes_and_several_parts(chosen, slack):
    y, x = np.mgrid[0:120, 0:150] + 0.5
    outer, hole, island, part = (
        np.hypot(x - cx, y - cy) < radius
        for cx, cy, radius in ((60, 60, 50), (60, 60, 30), (60, 60, 15), (132, 20, 12))
    )
    ink = outer & ~hole | island | part
    traced = trace(picture_of(ink, chosen), chosen)
    assert (traced.figures.loops, traced.figures.holes) == (4, 1)
    found = sorted(areas(traced.outline))
    expected = sorted([-hole.sum(), outer.sum(), island.sum(), part.sum()])
    assert np.allclose(found, expected, rtol=slack)
    assert traced.outline.area_mm2() == pytest.approx(np.count_nonzero(ink), rel=slack)


def test_ink_at_the_edges_ends_at_the_edges():
    ink = ~blank(60, 80)
    ink[20:40, 30:50] = False
    chosen = InkSettings(dust_px=0.0, light_on_dark=False)
    traced = trace(picture_of(ink, chosen), chosen)
    assert np.allclose(traced.outline.bounds(), [[0, 0], [80, 60]], atol=0.3)
    assert (traced.figures.loops, traced.figures.holes) == (2, 1)


def test_numbers_count_what_a_path_would_take():
    ink = blank()
    ink[20:100, 20:120] = True
    figures = trace(picture_of(ink, PLAIN), PLAIN).figures
    assert (figures.nodes, figures.numbers) == (4, 10)


def test_smoothness_and_joining_do_what_they_say():
    y, x = np.mgrid[0:120, 0:150] + 0.5
    ink = np.hypot(x - 70, y - 60) < 45
    corners_only = plain_outline(ink, InkSettings(smoothness=0.0))
    assert corners_only.is_line.all()
    round_only = plain_outline(ink, InkSettings(smoothness=1.0))
    assert not round_only.is_line.any()
    loose, tight = (plain_outline(ink, InkSettings(joining_px=px)) for px in (2.0, 0.0))
    assert len(loose.segments) < len(tight.segments)


def test_more_curves_than_the_limit_are_refused(monkeypatch):
    monkeypatch.setattr(trace_module, "MOST_SEGMENTS", 3)
    ink = blank()
    ink[20:100, 20:120] = True
    with pytest.raises(LimitError, match="limit is 3"):
        trace(picture_of(ink, PLAIN), PLAIN)


needs_both = pytest.mark.skipif(not packed.is_available(), reason="the tracing library itself is not on this machine")


def loops_of(curves):
    return [(corner.tolist(), points.tolist()) for corner, points in curves]


@needs_both
@settings(max_examples=40, deadline=None)
@given(ink=npst.arrays(bool, st.tuples(st.integers(1, 40), st.integers(1, 140))))
def test_the_library_called_directly_gives_the_bindings_curves(ink):
    pytest.importorskip("potrace")
    options = {"alphamax": 1.0, "opttolerance": 0.2}
    direct, bound = packed.curves(ink, **options), trace_module._bound_curves(ink, **options)
    ours, theirs = loops_of(direct), loops_of(bound)
    assert [corner for corner, _ in ours] == [corner for corner, _ in theirs]
    for (corner, mine), (_, other) in zip(ours, theirs, strict=True):
        mine, other = np.array(mine), np.array(other)
        # The library leaves the first point of a corner unset.
        mine[corner, 0] = other[corner, 0] = 0.0
        assert np.array_equal(mine, other)


@needs_both
def test_the_library_called_directly_gives_the_bindings_curves_of_every_known_shape(known_shapes):
    pytest.importorskip("potrace")
    for shape in known_shapes[::8]:
        ink = np.asarray(Image.open(io.BytesIO(shape.two_level)).convert("L")) < 128
        options = {"alphamax": 1.0, "opttolerance": 0.2}
        for (corner, mine), (_, other) in zip(
            packed.curves(ink, **options), trace_module._bound_curves(ink, **options), strict=True
        ):
            kept = np.ones(mine.shape[:2], dtype=bool)
            kept[corner, 0] = False
            assert np.array_equal(mine[kept], other[kept])


def test_without_the_library_the_binding_is_used(monkeypatch):
    pytest.importorskip("potrace")
    ink = blank()
    ink[20:100, 20:70] = True
    direct = plain_outline(ink, PLAIN)
    monkeypatch.setattr(packed, "is_available", lambda: False)
    assert np.allclose(plain_outline(ink, PLAIN).segments, direct.segments, atol=1e-12)


class _Piece:
    """A piece of a curve as the pure Python binding hands it out."""

    def __init__(self, is_corner, points):
        self.is_corner = is_corner
        for name, (x, y) in points.items():
            setattr(self, name, type("Point", (), {"x": x, "y": y})())


def test_the_binding_that_takes_true_for_paper_gets_paper(monkeypatch):
    ink = blank(8, 8)
    ink[2:5, 3:6] = True
    seen = []

    class Bitmap:
        def __init__(self, data):
            seen.append(data)

        def trace(self, **_):
            corners = [(3.0, 2.0), (6.0, 2.0), (6.0, 5.0), (3.0, 5.0)]
            ends = [(4.5, 2.0), (6.0, 3.5), (4.5, 5.0), (3.0, 3.5)]
            pieces = [_Piece(True, {"c": c, "end_point": e}) for c, e in zip(corners, ends, strict=True)]
            return [type("Curve", (), {"segments": pieces})()]

    fake = type("binding", (), {"POTRACE_CORNER": 2, "Bitmap": Bitmap})
    monkeypatch.setitem(__import__("sys").modules, "potrace", fake)
    monkeypatch.setattr(packed, "is_available", lambda: False)
    outline = plain_outline(ink, PLAIN)
    assert np.array_equal(seen[0], ~ink)
    assert outline.area_mm2() == pytest.approx(9.0)
    assert outline.is_line.all()
    assert len(outline.segments) == 4


def checkerboard() -> np.ndarray:
    return np.indices((9, 12)).sum(axis=0) % 2 == 1


@pytest.mark.parametrize("ink", [np.arange(36).reshape(6, 6) == 14, checkerboard()])
def test_ink_that_shows_no_edge_at_all_is_left_as_traced(ink):
    chosen = InkSettings(dust_px=0.0, light_on_dark=False)
    plain = trace(picture_of(ink, PLAIN), InkSettings(dust_px=0.0, follow_grey=False))
    refined = trace(picture_of(ink, chosen), chosen)
    assert np.allclose(refined.outline.segments, plain.outline.segments, atol=1e-6)


@settings(max_examples=25, deadline=None)
@given(ink=npst.arrays(bool, st.tuples(st.integers(6, 30), st.integers(6, 70))), follow=st.booleans())
def test_any_ink_at_all_becomes_an_outline_of_about_its_area(ink, follow):
    if not ink.any() or ink.all():
        return
    chosen = InkSettings(dust_px=0.0, follow_grey=follow, light_on_dark=False)
    traced = trace(picture_of(ink, chosen), chosen)
    # Half a pixel's width along the boundary is as much as smoothing may give or take.
    steps = np.pad(ink, 1)
    boundary = np.count_nonzero(steps[1:] != steps[:-1]) + np.count_nonzero(steps[:, 1:] != steps[:, :-1])
    assert abs(traced.outline.area_mm2() - np.count_nonzero(ink)) <= 0.5 * boundary
    low, high = traced.outline.bounds()
    assert np.all(low > -3.0)
    assert np.all(high < np.array(ink.shape[::-1]) + 3.0)
