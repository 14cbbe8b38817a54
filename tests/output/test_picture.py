"""The picture shows what the drawing's bytes say: sizes, openings, and as much burn as there is area."""

from __future__ import annotations

import io
import math

import numpy as np
import pytest
from PIL import Image

from friezewright.output.picture import Caption, draw_picture

PAPER, BOARD, BURN, SCORE = (0xFB, 0xF7, 0xEF), (0xEA, 0xD6, 0xB2), (0x4B, 0x2E, 0x1A), (0x7A, 0x4B, 0x2A)
ACCENT = (0x8A, 0x3B, 0x12)
LONG_SIDE_PX = 1800
MARGIN = 0.03


def caption(**words: str) -> Caption:
    table = {"title": "Seed tray", "under": "110 by 80 mm", "caution": "Test first.", "warning": ""} | words
    return Caption(**table, bar_mm=50.0, bar_words="50 mm")


def drawing(
    width: float,
    height: float,
    *,
    engrave: str = "",
    score: str = "",
    cuts: str = "",
    left: float = 0.0,
    top: float = 0.0,
) -> bytes:
    rim = f"M{left} {top}L{left + width} {top}L{left + width} {top + height}L{left} {top + height}Z"
    layers = {"engrave": f'<path d="{engrave}"/>' if engrave else "", "score": f'<path d="{score}"/>' if score else ""}
    layers["cut"] = (f'<path d="{cuts}"/>' if cuts else "") + f'<path d="{rim}"/>'
    groups = "".join(
        f'<g id="{name}" data-operation="{name}"><g data-ornament="x">{paths}</g></g>'
        for name, paths in layers.items()
        if paths
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
        f'viewBox="{left} {top} {width} {height}">{groups}</svg>'
    ).encode()


def box(x: float, y: float, width: float, height: float) -> str:
    return f"M{x} {y}L{x + width} {y}L{x + width} {y + height}L{x} {y + height}Z"


def drawn(svg: bytes, *, words: Caption | None = None, marks=(), spot_mm: float = 0.15) -> np.ndarray:
    png = draw_picture(svg, spot_mm=spot_mm, caption=words or caption(), marks=marks)
    picture = Image.open(io.BytesIO(png))
    assert picture.format == "PNG"
    return np.asarray(picture.convert("RGB")).astype(int)


def scale_of(width: float, height: float) -> float:
    return LONG_SIDE_PX / (max(width, height) * (1.0 + 2.0 * MARGIN))


def at(pixels: np.ndarray, width: float, height: float, x: float, y: float) -> tuple[int, int, int]:
    """Return the tone at a place of the panel, mm from its top left."""
    scale, margin = scale_of(width, height), MARGIN * max(width, height)
    # A narrow panel stands in the middle of its sheet.
    inset = (pixels.shape[1] - round((width + 2.0 * margin) * scale)) // 2
    return tuple(pixels[round((y + margin) * scale), inset + round((x + margin) * scale)].tolist())


def near(tone: tuple[int, int, int], wanted: tuple[int, int, int]) -> bool:
    return max(abs(a - b) for a, b in zip(tone, wanted, strict=True)) <= 6


def count_of(pixels: np.ndarray, tone: tuple[int, int, int]) -> int:
    return int((np.abs(pixels - np.array(tone)).max(axis=2) <= 6).sum())


@pytest.mark.parametrize(("width", "height"), [(200.0, 100.0), (100.0, 100.0), (60.0, 240.0), (5000.0, 900.0)])
def test_the_longer_side_with_its_margins_is_eighteen_hundred_pixels(width, height):
    pixels = drawn(drawing(width, height))

    scale = scale_of(width, height)
    across, down = (round((side + 2.0 * MARGIN * max(width, height)) * scale) for side in (width, height))
    assert max(across, down) == LONG_SIDE_PX
    # The words need a sheet at least a thousand pixels wide, and a foot below the panel.
    assert pixels.shape[1] == max(across, 1000)
    assert down < pixels.shape[0] <= down + 300


def test_what_is_cut_out_shows_the_paper_and_the_rest_the_board():
    pixels = drawn(drawing(200.0, 100.0, cuts=box(40, 20, 60, 50)))

    for x, y in [(45, 25), (70, 45), (95, 65)]:
        assert near(at(pixels, 200, 100, x, y), PAPER)
    for x, y in [(5, 5), (35, 45), (105, 45), (70, 15), (195, 95)]:
        assert near(at(pixels, 200, 100, x, y), BOARD)
    assert near(at(pixels, 200, 100, -3, 50), PAPER)


def test_engraved_areas_are_burned_and_their_holes_are_not():
    ring = box(20, 20, 40, 40) + "M30 30L30 50L50 50L50 30Z"
    pixels = drawn(drawing(200.0, 100.0, engrave=ring))

    assert near(at(pixels, 200, 100, 25, 40), BURN)
    assert near(at(pixels, 200, 100, 40, 40), BOARD)
    assert near(at(pixels, 200, 100, 70, 40), BOARD)


def test_the_burned_share_is_the_engraved_area_to_two_percent():
    # A square ring and a disc of four cubics: known areas, 1200 and 20^2 pi mm² (the cubics are off by 0.03 percent).
    k = 20.0 * 4.0 / 3.0 * (math.sqrt(2.0) - 1.0)
    disc = (
        f"M160 50C160 {50 + k} {140 + k} 70 140 70C{140 - k} 70 120 {50 + k} 120 50"
        f"C120 {50 - k} {140 - k} 30 140 30C{140 + k} 30 160 {50 - k} 160 50Z"
    )
    ring = box(20, 20, 40, 40) + "M30 30L30 50L50 50L50 30Z"
    pixels = drawn(drawing(200.0, 100.0, engrave=ring + disc))

    found_mm2 = count_of(pixels, BURN) / scale_of(200, 100) ** 2

    assert found_mm2 == pytest.approx(1200.0 + 400.0 * math.pi, rel=0.02)


def test_scored_lines_are_drawn_as_wide_as_the_spot():
    # Two lines of 100 mm, 2 mm wide: 400 mm² less what antialiasing takes from their edges, plus four round ends.
    score = "M20 20L120 20M20 60L120 60"
    pixels = drawn(drawing(200.0, 100.0, score=score), spot_mm=2.0)

    found_mm2 = count_of(pixels, SCORE) / scale_of(200, 100) ** 2

    assert found_mm2 == pytest.approx(400.0 + 2.0 * math.pi, rel=0.03)
    assert near(at(pixels, 200, 100, 70, 20), SCORE)


def test_thin_lines_can_still_be_seen():
    wide = drawn(drawing(5000.0, 2500.0, score="M100 100L4900 100"))

    row = wide[round((100 + MARGIN * 5000) * scale_of(5000, 2500))]
    assert (np.abs(row - np.array(BOARD)).max(axis=1) > 40).sum() > 1500


def test_a_drawing_with_its_origin_elsewhere_looks_the_same():
    here = draw_picture(drawing(200.0, 100.0, engrave=box(20, 20, 40, 40)), spot_mm=0.2, caption=caption())
    there = draw_picture(
        drawing(200.0, 100.0, engrave=box(-30, 60, 40, 40), left=-50.0, top=40.0), spot_mm=0.2, caption=caption()
    )

    assert here == there


def test_marks_stand_where_the_findings_are():
    svg = drawing(200.0, 100.0, left=-50.0, top=40.0)
    plain, marked = drawn(svg), drawn(svg, marks=[(1, (0.0, 80.0))])

    # One more tone in the palette may shift the others a little; a mark is no small shift.
    changed = np.argwhere(np.abs(plain - marked).max(axis=2) > 30)
    middle = changed.mean(axis=0)
    scale = scale_of(200, 100)
    expected = ((80.0 - 40.0 + MARGIN * 200) * scale, (0.0 + 50.0 + MARGIN * 200) * scale)
    assert np.abs(middle - expected).max() < 6
    assert np.ptp(changed, axis=0).max() < 60


def test_a_warning_is_in_the_accent_tone_and_only_there_when_given():
    svg = drawing(200.0, 100.0)

    plain, warned = drawn(svg), drawn(svg, words=caption(warning="Material not stated: do not run"))

    assert count_of(plain, ACCENT) == 0
    assert count_of(warned, ACCENT) > 500
    assert warned.shape[0] > plain.shape[0]


def test_the_scale_bar_is_as_long_as_it_says():
    pixels = drawn(drawing(200.0, 100.0))
    below = pixels[round((100.0 + 2.0 * MARGIN * 200.0) * scale_of(200, 100)) :]
    ink = np.abs(below - np.array((0x2B, 0x21, 0x18))).max(axis=2) <= 12

    runs = [int(np.flatnonzero(row[900:]).size) for row in ink]
    # Half a pixel at each end, and the end ticks are three wide.
    assert max(runs) == pytest.approx(50.0 * scale_of(200, 100), abs=4)


def test_the_same_drawing_gives_the_same_bytes():
    svg = drawing(200.0, 100.0, engrave=box(20, 20, 40, 40), cuts=box(100, 20, 20, 20))

    assert draw_picture(svg, spot_mm=0.2, caption=caption()) == draw_picture(svg, spot_mm=0.2, caption=caption())


def test_a_picture_of_a_panel_alone_and_hostile_words_are_drawn():
    words = '<b>&"' + "x" * 300 + " 香草"

    pixels = drawn(drawing(30.0, 30.0), words=caption(title=words, under=words, caution=words, warning=words))

    assert near(at(pixels, 30, 30, 15, 15), BOARD)
