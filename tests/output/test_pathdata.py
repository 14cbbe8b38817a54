"""Path elements in bulk against the same written one number at a time with decimals."""

from __future__ import annotations

import math
import re
from decimal import ROUND_HALF_EVEN, Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from friezewright.errors import LimitError
from friezewright.geometry import affine, cubic
from friezewright.geometry.artwork import Artwork, Placements
from friezewright.geometry.outline import Outline, circle, concatenate, polygon, rounded_rectangle
from friezewright.geometry.strokes import Strokes, contour
from friezewright.output.pathdata import number_text, path_lines, rounded

Point = tuple[int, int]


def units(value: float) -> int:
    settled = Decimal(round(value * 1e6))
    return int((settled / 1000).quantize(Decimal(1), rounding=ROUND_HALF_EVEN))


def number(value: int) -> str:
    text = format(Decimal(value) / 1000, "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def doubled_area(points: list[tuple[bool, Point, Point, Point, Point]]) -> int:
    """Twenty times the signed area, by the Bernstein form, in whole numbers."""
    total = 0
    for is_line, *p in points:
        cross = {(i, j): p[i][0] * p[j][1] - p[i][1] * p[j][0] for i in range(4) for j in range(i + 1, 4)}
        if is_line:
            total += 10 * cross[0, 3]
        else:
            total += 6 * (cross[0, 1] + cross[2, 3]) + 3 * (cross[0, 2] + cross[1, 2] + cross[1, 3]) + cross[0, 3]
    return total


def copy_line(shape: Outline | Strokes, matrix: np.ndarray) -> str:
    area = isinstance(shape, Outline)
    if area and float(affine.determinant(matrix)) < 0.0:
        shape = shape.reversed()
    groups = list(shape.loops() if isinstance(shape, Outline) else shape.paths())
    closed = [True] * len(groups) if isinstance(shape, Outline) else list(shape.closed)
    text = ""
    for group, is_closed in zip(groups, closed, strict=True):
        text += loop_text(shape, matrix, group, bool(is_closed), area)
    return f'<path d="{text}"/>\n' if text else ""


def loop_text(shape: Outline | Strokes, matrix: np.ndarray, group: slice, closed: bool, area: bool) -> str:
    (a, b, c), (d, e, f) = matrix.tolist()
    rows = []
    for segment in shape.segments[group].tolist():
        rows.append([(units(x * a + y * b + c), units(x * d + y * e + f)) for x, y in segment])
    start = rows[-1][3] if closed else rows[0][0]
    kept, at = [], start
    for row, is_line in zip(rows, shape.is_line[group], strict=True):
        if row[3] != at or (not is_line and any(point != at for point in row[1:3])):
            kept.append((bool(is_line), at, *row[1:]))
        at = row[3]
    if closed:
        twice = doubled_area(kept)
        if area:
            sign = cubic.signed_area(affine.apply(matrix, shape.segments[group]))
            if twice * np.sign(sign) <= 0:
                return ""
        elif twice == 0 and len(kept) <= 2 and all(item[0] for item in kept):
            return ""
        if kept and kept[-1][0]:
            kept.pop()
    if not kept:
        return ""
    text = f"M{number(start[0])} {number(start[1])}"
    for is_line, _, *points in kept:
        shown = points[-1:] if is_line else points
        text += ("L" if is_line else "C") + " ".join(f"{number(x)} {number(y)}" for x, y in shown)
    return text + ("Z" if closed else "")


def path_text(artwork: Artwork[Outline] | Artwork[Strokes]) -> bytes:
    pairs = zip(artwork.placements.matrix, artwork.placements.shape, strict=True)
    return "".join(copy_line(artwork.shapes[shape], matrix) for matrix, shape in pairs).encode()


def placed(shapes, matrices, index=None) -> Artwork:
    count = len(matrices)
    index = np.zeros(count, dtype=int) if index is None else np.asarray(index)
    return Artwork(tuple(shapes), Placements(matrix=np.asarray(matrices), shape=index, member=np.zeros(count, int)))


def bulk(artwork: Artwork) -> bytes:
    return b"".join(path_lines(artwork))


def ring(outer_mm: float, inner_mm: float) -> Outline:
    return concatenate([circle((0.0, 0.0), outer_mm), circle((0.0, 0.0), inner_mm).reversed()])


def similarity(turn: float, size: float, x: float, y: float, mirrored: bool) -> np.ndarray:
    inner = affine.compose(affine.rotation(turn), affine.scaling(size, -size if mirrored else size))
    return affine.compose(affine.translation((x, y)), inner)


matrices = st.builds(
    similarity,
    st.floats(0.0, 7.0),
    st.sampled_from([1.0, 0.3, 1e-3, 2e-4, 4.0]),
    st.floats(-1200.0, 1200.0),
    st.sampled_from([0.0, 999.9996, -0.0004, 12.3455, 250.0]),
    st.booleans(),
)
SHAPES = (
    ring(2.0, 1.0),
    polygon([(0.0, 0.0), (1.5, 0.0), (1.5, 0.5), (0.5, 1.0)]),
    rounded_rectangle((-2.0, -1.0), (4.0, 2.0), 0.5),
    concatenate([circle((0.0, 0.0), 0.8), polygon([(2.0, 0.0), (2.0004, 0.0), (2.0002, 0.0003)])]),
)
OPEN = Strokes(
    np.concatenate([SHAPES[2].segments[:3], cubic.line([(0, 0), (1, 1), (1, 1)], [(1, 1), (1, 1), (3, 1)])]),
    np.concatenate([SHAPES[2].is_line[:3], np.ones(3, bool)]),
    np.array([0, 3, 6]),
    np.array([False, False]),
)


@given(st.lists(st.tuples(matrices, st.integers(0, len(SHAPES) - 1)), min_size=1, max_size=6))
def test_areas_equal_the_plain_writer(copies):
    art = placed(SHAPES, [matrix for matrix, _ in copies], [shape for _, shape in copies])
    assert bulk(art) == path_text(art)


@given(st.lists(st.tuples(matrices, st.integers(0, len(SHAPES))), min_size=1, max_size=6))
def test_lines_equal_the_plain_writer(copies):
    shapes = (*(contour(shape) for shape in SHAPES), OPEN)
    art = placed(shapes, [matrix for matrix, _ in copies], [shape for _, shape in copies])
    assert bulk(art) == path_text(art)


def test_many_blocks_equal_the_plain_writer():
    count = 1500
    steps = np.arange(count)
    maps = affine.translation(np.stack([steps % 40 * 5.3 - 20.0, steps // 40 * 5.1], axis=1))
    maps = affine.compose(maps, affine.rotation(steps * 0.1))
    maps[::3] = affine.compose(maps[::3], affine.mirror_x())
    art = placed(SHAPES[:3], maps, steps % 3)
    blocks = list(path_lines(art))
    assert len(blocks) > 1
    assert b"".join(blocks) == path_text(art)
    assert b"".join(blocks).count(b"<path") == count


@pytest.mark.parametrize(
    ("value", "text"),
    [
        *((0.0, "0"), (-0.0, "0"), (-0.0004, "0"), (1e-7, "0"), (0.0005, "0"), (0.0015, "0.002"), (12.5, "12.5")),
        *((-3.25, "-3.25"), (999.9996, "1000"), (9999.999, "9999.999"), (0.1 + 0.2, "0.3"), (100.0, "100")),
    ],
)
def test_numbers_as_written(value, text):
    assert number_text(value) == text


@given(st.floats(-9999.0, 9999.0))
def test_a_written_number_is_within_half_a_unit(value):
    text = number_text(value)
    # Half of 0.001, and half of the 1e-6 it was settled on.
    assert abs(float(text) - value) <= 0.5005e-3 + 1e-12
    assert re.fullmatch(r"-?\d{1,4}(\.\d{0,2}[1-9])?", text)
    assert text != "-0"


@given(st.integers(-5_000_000, 5_000_000), st.integers(-400, 400))
def test_noise_of_the_last_bits_flips_no_digit(half_units, ulps):
    value = half_units / 2000.0
    noisy = value + ulps * math.ulp(value)
    assert rounded(np.array([value])) == rounded(np.array([noisy]))


def test_what_lies_too_far_out_is_refused():
    with pytest.raises(LimitError, match="9999 mm"):
        number_text(10_000.0)
    assert number_text(-9999.999) == "-9999.999"


def test_a_rectangle_is_four_corners_and_z():
    art = Artwork.single([polygon([(0, 0), (10, 0), (10, 5), (0, 5)])])
    assert bulk(art) == b'<path d="M0 0L10 0L10 5L0 5Z"/>\n'


def test_open_lines_stay_open_and_lose_what_has_no_extent():
    path = Strokes(
        cubic.line([(0, 0), (1, 1), (1, 1.0002)], [(1, 1), (1, 1.0002), (3, 1)]), [True] * 3, [0, 3], [False]
    )
    assert bulk(Artwork.single([path])) == b'<path d="M0 0L1 1L3 1"/>\n'


def test_what_has_no_area_once_rounded_is_not_written():
    dust = polygon([(1.0, 1.0), (1.0004, 1.0), (1.0002, 1.0003)])
    thread = polygon([(0.0, 0.0), (5.0, 0.0), (5.0, 0.0003)])
    assert bulk(Artwork.single([dust, thread])) == b""
    kept = concatenate([polygon([(0, 0), (2, 0), (0, 2)]), thread])
    assert bulk(Artwork.single([dust, kept])) == b'<path d="M0 0L2 0L0 2Z"/>\n'


def test_a_closed_line_that_encloses_nothing_is_followed():
    corners = np.array([(0.0, 0.0), (2.0, 2.0), (2.0, 0.0), (0.0, 2.0)])
    eight = Strokes(cubic.line(corners, np.roll(corners, -1, axis=0)), [True] * 4, [0, 4], [True])
    assert bulk(Artwork.single([eight])) == b'<path d="M0 0L2 2L2 0L0 2Z"/>\n'


def test_mirrored_copies_keep_shells_and_holes():
    mirrored = affine.compose(affine.translation((10.0, 10.0)), affine.mirror_x())
    art = placed([ring(2.0, 1.0)], [affine.translation((3.0, 3.0)), mirrored])
    lines = bulk(art).splitlines()
    assert len(lines) == 2
    for line in lines:
        loops = [
            np.array(re.findall(r"-?[\d.]+", part), dtype=float).reshape(-1, 2) for part in line.decode().split("Z")
        ]
        signs = []
        for points in loops[:2]:
            x, y = points[::3].T
            signs.append(np.sign(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))))
        assert signs == [1.0, -1.0]


def test_no_copies_give_no_lines():
    none = placed([], np.zeros((0, 2, 3)))
    assert bulk(none) == b""
