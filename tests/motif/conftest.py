"""Shapes whose outline is known exactly, as pictures, and the distance between two outlines."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import resvg_py
from PIL import Image
from scipy.spatial import cKDTree
from svgpathtools import Arc, CubicBezier, Line, QuadraticBezier, parse_path

from friezewright.geometry import affine, cubic
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import Outline, circle, concatenate, polygon, rounded_rectangle

DATA = Path(__file__).parents[1] / "data"

SIZE_PX = 512
# Never looked at while a setting was chosen: they only say whether the settings suit shapes not yet seen.
SET_ASIDE = (
    "crescent", "wave", "square-37", "icon-bird", "icon-carrot",
    "icon-flower-tulip", "icon-horse", "icon-key", "icon-scissors", "icon-snowflake",
)  # fmt: skip


@dataclass(frozen=True)
class KnownShape:
    """An outline in px of a picture 512 px wide and high, and that picture as a file."""

    name: str
    outline: Outline

    @cached_property
    def grey(self) -> bytes:
        """The picture with soft edges, as a PNG file."""
        d = svg_path(self.outline)
        svg = (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{SIZE_PX}" height="{SIZE_PX}">'
            f'<rect width="{SIZE_PX}" height="{SIZE_PX}" fill="#fff"/><path d="{d}" fill-rule="evenodd"/></svg>'
        )
        return bytes(resvg_py.svg_to_bytes(svg_string=svg, dpi=96))

    @cached_property
    def two_level(self) -> bytes:
        """The picture in black and white alone, as a PNG file."""
        image = Image.open(io.BytesIO(self.grey)).convert("L").point(lambda value: 255 * (value >= 128)).convert("1")
        file = io.BytesIO()
        image.save(file, "PNG")
        return file.getvalue()


def svg_path(outline: Outline) -> str:
    """Return SVG path data with nine decimals."""
    parts = []
    for loop in outline.loops():
        segments = outline.segments[loop]
        parts.append("M{:.9f} {:.9f}".format(*segments[0, 0]))
        parts += ["C" + " ".join(f"{v:.9f}" for v in s[1:].ravel()) for s in segments]
        parts.append("Z")
    return "".join(parts)


def away_from(points: FloatArray, outline: Outline) -> FloatArray:
    """Return the distance of each point (n, 2) from an outline, right to 2e-3 px."""
    line, _, loop = outline.flattened(tolerance_mm=1e-3)
    inside = loop[1:] == loop[:-1]
    start, step = line[:-1][inside], np.diff(line, axis=0)[inside]
    pieces = np.maximum(1, np.ceil(np.hypot(*step.T) / 0.5).astype(int))
    which = np.repeat(np.arange(len(start)), pieces)
    share = (np.arange(len(which)) - np.repeat(np.cumsum(pieces) - pieces, pieces)) / pieces[which]
    start, step = start[which] + share[:, None] * step[which], step[which] / pieces[which, None]
    _, near = cKDTree(start + 0.5 * step).query(points, k=6)
    gap = points[:, None] - start[near]
    along = np.clip(np.sum(gap * step[near], axis=2) / np.maximum(np.sum(step * step, axis=1), 1e-30)[near], 0.0, 1.0)
    off = gap - along[..., None] * step[near]
    return np.asarray(np.hypot(off[..., 0], off[..., 1]).min(axis=1))


def sampled(outline: Outline, *, spacing: float = 0.4) -> FloatArray:
    """Return points along an outline, evenly enough that their mean stands for its length; ends are among them."""
    lengths = cubic.lengths(outline.segments)
    counts = np.maximum(4, np.ceil(lengths / spacing).astype(int))
    segment = np.repeat(np.arange(len(counts)), counts)
    t = (np.arange(len(segment)) - np.repeat(np.cumsum(counts) - counts, counts)) / counts[segment]
    return cubic.evaluate(outline.segments[segment], t)


def strayed(traced: Outline, true: Outline) -> tuple[float, float]:
    """Return the mean and the largest distance between two outlines, both ways round."""
    there, back = away_from(sampled(traced), true), away_from(sampled(true), traced)
    return 0.5 * float(there.mean() + back.mean()), float(max(there.max(), back.max()))


# --- shapes drawn here -------------------------------------------------------------------------------------------


def smooth_loop(points: FloatArray) -> Outline:
    """Return a closed curve through points, its handles a sixth of the neighbours' distance (Catmull and Rom 1974)."""
    reach = (np.roll(points, -1, axis=0) - np.roll(points, 1, axis=0)) / 6.0
    end, end_reach = np.roll(points, -1, axis=0), np.roll(reach, -1, axis=0)
    segments = np.stack([points, points + reach, end - end_reach, end], axis=1)
    shape = Outline(segments, np.zeros(len(points), bool), np.array([0, len(points)]))
    return shape if shape.area_mm2() > 0 else shape.reversed()


def curved(chain: list[list[tuple[float, float]]]) -> Outline:
    """Return a shell from cubics given by hand."""
    shape = Outline(np.array(chain, dtype=float), np.zeros(len(chain), bool), np.array([0, len(chain)]))
    return shape if shape.area_mm2() > 0 else shape.reversed()


def round_about(angle: FloatArray, radius: FloatArray) -> FloatArray:
    """Return points about the picture's middle."""
    return 256.3 + np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1)


def turned(outline: Outline, degrees: float) -> Outline:
    return outline.transformed(affine.rotation(np.radians(degrees), (256.0, 256.0)))


def gear() -> Outline:
    a = np.arange(12)[:, None] * np.pi / 6 + np.array([-0.16, -0.10, 0.10, 0.16])
    r = np.tile([168.0, 215.0, 215.0, 168.0], 12)
    teeth = polygon(round_about(a.ravel() + 0.13, r))
    return concatenate([teeth, circle((256.3, 256.3), 71.7).reversed()])


def star() -> Outline:
    a = np.arange(10) * np.pi / 5 + 0.21
    return polygon(round_about(a, np.where(np.arange(10) % 2, 92.0, 231.0)))


def spiral() -> Outline:
    a = np.linspace(0.6, 5 * np.pi, 60)
    r = 14.0 + 12.5 * a
    return smooth_loop(np.concatenate([round_about(a, r + 9.0), round_about(a, r - 9.0)[::-1]]))


def bars() -> Outline:
    return concatenate(
        [
            turned(rounded_rectangle((60.0, 120.0), (390.0, 3.0)), -32.0),
            turned(rounded_rectangle((90.0, 330.0), (260.0, 5.0)), -28.0),
            turned(rounded_rectangle((390.0, 220.0), (4.2, 210.0), 2.0), 11.0),
        ]
    )


def blob() -> Outline:
    a = np.arange(9) * 2 * np.pi / 9
    return smooth_loop(round_about(a, np.array([190.0, 140, 210, 120, 170, 225, 150, 185, 130])))


def flower() -> Outline:
    a = np.arange(48) * 2 * np.pi / 48
    return concatenate(
        [smooth_loop(round_about(a, 165.0 + 52.0 * np.cos(6 * a + 0.4))), circle((250.0, 262.0), 40.0).reversed()]
    )


def wave() -> Outline:
    x = np.linspace(40.0, 470.0, 24)
    upper = np.stack([x, 240.0 + 70.0 * np.sin(x / 45.0)], axis=1)
    return smooth_loop(np.concatenate([upper, upper[::-1] + np.array([0.0, 31.0])]))


DRAWN: dict[str, Callable[[], Outline]] = {
    "leaf": lambda: turned(
        curved([[(256, 30), (400, 130), (420, 330), (256, 484)], [(256, 484), (120, 360), (90, 160), (256, 30)]]), 23.0
    ),
    "gear": gear,
    "square-7": lambda: turned(rounded_rectangle((110.0, 110.0), (290.0, 290.0)), 7.0),
    "square-30": lambda: turned(rounded_rectangle((120.4, 110.0), (280.0, 290.0)), 30.0),
    "square-37": lambda: turned(rounded_rectangle((110.0, 120.7), (270.0, 260.0)), 37.0),
    "square-45": lambda: turned(rounded_rectangle((120.0, 121.3), (270.0, 270.0)), 45.0),
    "ring": lambda: concatenate([circle((251.2, 260.1), 211.3), circle((251.2, 260.1), 149.4).reversed()]),
    "star": star,
    "spiral": spiral,
    "crescent": lambda: curved(
        [
            [(330, 60), (80, 40), (20, 380), (290, 460)],
            [(290, 460), (230, 440), (150, 390), (160, 250)],
            [(160, 250), (165, 150), (230, 90), (330, 60)],
        ]
    ),
    "two-part": lambda: concatenate(
        [
            circle((150.0, 170.0), 120.0), circle((150.0, 170.0), 82.0).reversed(), circle((160.0, 165.0), 41.0),
            turned(rounded_rectangle((290.0, 300.0), (170.0, 120.0), 30.0), 12.0),
        ]
    ),
    "bars": bars,
    "blob": blob,
    "flower": flower,
    "wave": wave,
    "heart": lambda: curved(
        [
            [(256, 150), (300, 40), (480, 60), (450, 220)],
            [(450, 220), (430, 320), (320, 380), (256, 470)],
            [(256, 470), (190, 380), (80, 320), (60, 220)],
            [(60, 220), (30, 60), (210, 40), (256, 150)],
        ]
    ),
    "rounded": lambda: turned(rounded_rectangle((90.0, 150.0), (330.0, 210.0), 46.0), 17.0),
}  # fmt: skip


def outline_of_icon(d: str) -> Outline:
    """Return the outline of SVG path data; arcs become cubics of a twelfth of a turn at most."""
    segments, starts = [], [0]
    for path in parse_path(d).continuous_subpaths():
        for piece in path:
            if isinstance(piece, Arc):
                segments += list(_arc(piece))
                continue
            if isinstance(piece, Line):
                if abs(piece.end - piece.start) < 1e-9:
                    continue
                segments.append(cubic.line(_xy(piece.start), _xy(piece.end)))
            elif isinstance(piece, QuadraticBezier):
                a, b, c = _xy(piece.start), _xy(piece.control), _xy(piece.end)
                segments.append(np.stack([a, a + 2 / 3 * (b - a), c + 2 / 3 * (b - c), c]))
            else:
                assert isinstance(piece, CubicBezier)
                segments.append(np.stack([_xy(point) for point in piece.bpoints()]))
        gap = np.hypot(*(segments[-1][3] - segments[starts[-1]][0]))
        if gap > 1e-6:
            segments.append(cubic.line(segments[-1][3], segments[starts[-1]][0]))
        starts.append(len(segments))
    is_line = np.zeros(len(segments), dtype=bool)
    return Outline(np.array(segments), is_line, np.array(starts))


def _xy(point: complex) -> FloatArray:
    return np.array([point.real, point.imag])


def _arc(arc: Arc) -> FloatArray:
    sweep, start = np.radians(arc.delta), np.radians(arc.theta)
    pieces = max(1, int(np.ceil(abs(sweep) / (np.pi / 6) - 1e-9)))
    angle = start + sweep * np.arange(pieces + 1) / pieces
    point = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    along = np.stack([-point[:, 1], point[:, 0]], axis=1) * (4 / 3 * np.tan(sweep / pieces / 4))
    unit = np.stack([point[:-1], point[:-1] + along[:-1], point[1:] - along[1:], point[1:]], axis=1)
    unit = unit * (arc.radius.real, arc.radius.imag)
    tilt = affine.rotation(np.radians(arc.rotation))
    return affine.apply(tilt, unit) + _xy(arc.center)


@pytest.fixture(scope="session")
def known_shapes() -> tuple[KnownShape, ...]:
    """Every shape of known outline, those drawn here first."""
    return all_shapes()


def all_shapes() -> tuple[KnownShape, ...]:
    shapes = [KnownShape(name, draw()) for name, draw in DRAWN.items()]
    icons = json.loads((DATA / "icons.json").read_text(encoding="utf-8"))
    for number, (name, d) in enumerate(sorted(icons.items())):
        # 256 units leave a rim, so that turned ones stay inside; every other one is turned off the pixels.
        place = affine.compose(affine.translation((50.3, 48.6)), affine.scaling(1.6))
        outline = outline_of_icon(d).transformed(place)
        shapes.append(KnownShape(f"icon-{name}", turned(outline, 9.0 * number) if number % 2 else outline))
    return tuple(shapes)


def square(degrees: float) -> KnownShape:
    """Return a rectangle turned by an angle, off the grid."""
    shape = rounded_rectangle((130.3 + 0.01 * degrees, 120.7), (250.0, 260.0))
    return KnownShape("square", turned(shape, degrees))


@pytest.fixture(scope="session")
def yardstick() -> SimpleNamespace:
    """Hand out the means of measuring to test modules, which cannot import from here."""
    return SimpleNamespace(
        SET_ASIDE=SET_ASIDE, away_from=away_from, sampled=sampled, square=square, strayed=strayed, svg_path=svg_path
    )
