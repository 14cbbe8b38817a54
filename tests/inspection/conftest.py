"""A sound drawing, written by the project, for the checker to find nothing in."""

from __future__ import annotations

import numpy as np
import pytest

from friezewright.geometry import affine, cubic
from friezewright.geometry.artwork import Artwork, Placements
from friezewright.geometry.outline import circle, concatenate, polygon, rounded_rectangle
from friezewright.geometry.strokes import Strokes, contour
from friezewright.layers.drawing import AskedKeepOff, Drawing, Layer, Operation, Part, Pen
from friezewright.output.svg import write_drawing

RING = concatenate([circle((0.0, 0.0), 2.0), circle((0.0, 0.0), 1.0).reversed()])
KITE = polygon([(-2.0, 0.0), (0.0, -1.5), (3.0, 0.0), (0.0, 1.5)])


def row(shape, count: int, start: tuple[float, float], step: float) -> Artwork:
    x = start[0] + step * np.arange(count)
    maps = affine.translation(np.stack([x, np.full(count, start[1])], axis=1))
    maps[1::2] = affine.compose(maps[1::2], affine.mirror_x())
    return Artwork((shape,), Placements(matrix=maps, shape=np.zeros(count, int), member=np.arange(count) % 2))


def sample() -> Drawing:
    """Rings along the top, kites scored along the bottom, lines at the left, a round window, a rim."""
    window, rim = circle((40.0, 30.0), 6.0), rounded_rectangle((0.0, 0.0), (80.0, 60.0), 4.0)
    starts = np.array([(8.0, 20.0), (14.0, 22.0), (8.0, 24.0)])
    ends = np.array([(14.0, 20.0), (8.0, 22.0), (14.0, 24.0)])
    hatch = Strokes(cubic.line(starts, ends), [True] * 3, [0, 1, 2, 3], [False] * 3)
    parts = {
        Operation.ENGRAVE: (Part(ornament="edge", artwork=row(RING, 12, (10.0, 8.0), 4.8), gap_mm=0.8),),
        Operation.SCORE: (
            Part(ornament="kites", artwork=row(contour(KITE), 9, (12.0, 52.0), 7.0), gap_mm=1.0),
            Part(ornament="hatch", artwork=Artwork.single([hatch]), gap_mm=0.5),
        ),
        Operation.CUT: (
            Part(ornament="window", artwork=Artwork.single([contour(window)])),
            Part(ornament="rim", artwork=Artwork.single([contour(rim)])),
        ),
    }
    pens = dict(zip(Operation, (Pen("#000000", 0.1), Pen("#cc79a7", 0.1), Pen("#e69f00", 0.1)), strict=True))
    return Drawing(
        title="Tea shelf & <door>",
        frame=(0.0, 0.0, 80.0, 60.0),
        layers=tuple(Layer(operation=key, parts=value, pen=pens[key]) for key, value in parts.items()),
        keep_off=AskedKeepOff(rim_mm=5.0, openings_mm=(("window", 3.0),)),
        digest="0123abcd",
    )


@pytest.fixture(scope="session")
def drawing() -> Drawing:
    return sample()


@pytest.fixture(scope="session")
def good(drawing) -> str:
    return write_drawing(drawing).decode()
