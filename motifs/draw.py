"""Draw the demo motifs: pictures as a scanner or a phone would give them, and outlines.

Run it in this folder, or from anywhere: ``python motifs/draw.py``. The same
bytes come out on every run with the same library versions.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
import resvg_py
from numpy.typing import NDArray
from pen import Chain
from PIL import Image
from scipy.ndimage import gaussian_filter, map_coordinates
from shapes import MOTIFS

__all__ = ["Sheet", "main", "outline_svg", "picture"]

Look = Literal["scan", "light-on-dark", "uneven", "bilevel", "clear", "jpeg"]
Grey = NDArray[np.float64]

OVERSAMPLE = 4
HERE = Path(__file__).resolve().parent


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """How one motif becomes a picture: longer side in pixels, look, and noise seed."""

    motif: str
    longer_px: int
    look: Look
    seed: int
    outline: bool = False


SHEETS = (
    Sheet(motif="leaf", longer_px=900, look="scan", seed=11, outline=True),
    Sheet(motif="sprig", longer_px=860, look="clear", seed=12),
    Sheet(motif="fern", longer_px=900, look="scan", seed=13, outline=True),
    Sheet(motif="swallow", longer_px=900, look="scan", seed=14, outline=True),
    Sheet(motif="tendril", longer_px=960, look="scan", seed=15, outline=True),
    Sheet(motif="bee", longer_px=920, look="scan", seed=16, outline=True),
    Sheet(motif="bud", longer_px=700, look="bilevel", seed=17, outline=True),
    Sheet(motif="acorn", longer_px=820, look="light-on-dark", seed=18),
    Sheet(motif="wheat", longer_px=960, look="scan", seed=19),
    Sheet(motif="mushroom", longer_px=840, look="jpeg", seed=20),
    Sheet(motif="snail", longer_px=900, look="uneven", seed=21),
    Sheet(motif="star_anise", longer_px=800, look="scan", seed=22, outline=True),
    Sheet(motif="poppy_head", longer_px=880, look="scan", seed=23, outline=True),
    Sheet(motif="thistle", longer_px=900, look="scan", seed=24),
)


def framed(rings: list[Chain], longer_px: int) -> tuple[list[Chain], int, int]:
    """Fit rings into a picture whose longer side is ``longer_px``; return them, width, height."""
    margin = round(longer_px * 0.06)
    ends = np.concatenate([_flat(ring) for ring in rings])
    low = complex(ends.real.min(), ends.imag.min())
    span = complex(ends.real.max(), ends.imag.max()) - low
    scale = (longer_px - 2 * margin) / max(span.real, span.imag)
    width = int(np.ceil(span.real * scale)) + 2 * margin
    height = int(np.ceil(span.imag * scale)) + 2 * margin
    shift = (width - span.real * scale) / 2 + 1j * (height - span.imag * scale) / 2
    return [(ring - low) * scale + shift for ring in rings], width, height


def _flat(ring: Chain) -> Chain:
    t = np.linspace(0, 1, 17)[:, None]
    u, p = 1 - t, ring.T
    curve = u**3 * p[0] + 3 * u**2 * t * p[1] + 3 * u * t**2 * p[2] + t**3 * p[3]
    return np.asarray(curve.ravel(), dtype=np.complex128)


def path_data(rings: list[Chain]) -> str:
    """Return SVG path data: absolute lines and cubics, 3 decimals."""

    def at(z: complex) -> str:
        return f"{z.real:.3f} {z.imag:.3f}"

    parts = []
    for ring in rings:
        parts.append("M" + at(ring[0, 0]))
        for a, b, c, d in ring:
            straight = abs(b - a - (d - a) / 3) + abs(c - d + (d - a) / 3) < 1e-6
            parts.append("L" + at(d) if straight else "C" + ",".join(map(at, (b, c, d))))
        parts.append("Z")
    return "".join(parts)


def outline_svg(rings: list[Chain], width: int, height: int) -> str:
    """Return the exact outline in the picture's own pixel frame."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" '
        f'viewBox="0 0 {width} {height}">\n'
        f'<path fill="black" d="{path_data(rings)}"/>\n</svg>\n'
    )


def coverage(svg: str, width: int) -> Grey:
    """Return how much ink covers each oversampled pixel, 0 to 1."""
    png = resvg_py.svg_to_bytes(svg_string=svg, dpi=96, width=width * OVERSAMPLE)
    with Image.open(io.BytesIO(bytes(png))) as image:
        alpha = np.asarray(image.convert("RGBA"))[..., 3]
    return alpha.astype(np.float64) / 255


def _field(rng: np.random.Generator, shape: tuple[int, int], smooth: float) -> Grey:
    """Return a smooth random field of unit spread."""
    noise = gaussian_filter(rng.standard_normal(shape), smooth, mode="wrap")
    return np.asarray(noise / noise.std(), dtype=np.float64)


def wobbled(ink: Grey, rng: np.random.Generator, reach_px: float) -> Grey:
    """Return the ink with its edges pushed about smoothly, spread ``reach_px`` picture pixels."""
    rows, cols = ink.shape
    small = (rows // OVERSAMPLE + 1, cols // OVERSAMPLE + 1)
    y, x = np.mgrid[0:rows, 0:cols].astype(np.float64)
    fine = [y / OVERSAMPLE, x / OVERSAMPLE]
    for axis in (y, x):
        push = 0.8 * _field(rng, small, 5.0) + 0.6 * _field(rng, small, 14.0)
        axis += reach_px * OVERSAMPLE * map_coordinates(push, fine, order=1, mode="nearest")
    return np.asarray(map_coordinates(ink, [y, x], order=1, mode="nearest"))


def reduced(ink: Grey) -> Grey:
    """Average oversampled pixels down to picture pixels."""
    rows, cols = ink.shape[0] // OVERSAMPLE, ink.shape[1] // OVERSAMPLE
    blocks = ink.reshape(rows, OVERSAMPLE, cols, OVERSAMPLE)
    return np.asarray(blocks.mean(axis=(1, 3)))


def _grey(tone: Grey, step: int) -> Image.Image:
    # Coarse grey steps keep the files small; the edges keep enough of them to be measured.
    levels = np.clip(np.round(tone / step) * step, 0, 255)
    return Image.fromarray(levels.astype(np.uint8))


def picture(svg: str, width: int, sheet: Sheet) -> Image.Image:
    """Return the picture of an outline, in the look its sheet asks for."""
    rng = np.random.default_rng(sheet.seed)
    ink = coverage(svg, width)
    if sheet.look == "bilevel":
        return Image.fromarray(reduced(ink) < 0.5).convert("1")
    if sheet.look == "clear":
        alpha = np.round(reduced(ink) * 255).astype(np.uint8)
        dark = np.full((*alpha.shape, 3), 24, dtype=np.uint8)
        return Image.fromarray(np.dstack([dark, alpha]))
    cover = gaussian_filter(reduced(wobbled(ink, rng, 0.5)), 0.6)
    shape = (cover.shape[0], cover.shape[1])
    paper = 243 + 2.0 * _field(rng, shape, 40.0) + 1.2 * _field(rng, shape, 1.2)
    black = 30 + 2.5 * _field(rng, shape, 2.5)
    if sheet.look == "light-on-dark":
        paper, black = 28 + 0.5 * (paper - 243), 232 + 0.6 * (black - 30)
    tone = paper + (black - paper) * cover
    if sheet.look == "uneven":
        y, x = np.mgrid[0 : shape[0], 0 : shape[1]] / max(shape)
        tone *= 0.98 - 0.42 * x - 0.16 * y * y
    return _grey(tone, 4 if sheet.look != "jpeg" else 1)


def main() -> None:
    """Write every picture beside this script, and the asked outlines below it."""
    (HERE / "outlines").mkdir(exist_ok=True)
    for sheet in SHEETS:
        rings, width, height = framed(MOTIFS[sheet.motif]().rings(), sheet.longer_px)
        svg = outline_svg(rings, width, height)
        image = picture(svg, width, sheet)
        if sheet.look == "jpeg":
            image.save(HERE / f"{sheet.motif}.jpg", quality=62)
        else:
            image.save(HERE / f"{sheet.motif}.png", optimize=True)
        if sheet.outline:
            (HERE / "outlines" / f"{sheet.motif}.svg").write_text(svg, encoding="utf-8")
        print(f"{sheet.motif}: {width} x {height} px, {sheet.look}")


if __name__ == "__main__":
    main()
