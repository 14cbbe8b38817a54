"""Which greys are ink: the level that parts ink from paper, uneven light, and dust, as arrays of grey levels."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

__all__ = ["Dust", "GreyArray", "Levels", "even_out", "is_two_level", "levels_of", "otsu_level", "without_dust"]

GreyArray: TypeAlias = NDArray[np.float32]

# The light is judged on a small copy: it changes slowly, and a copy of this side keeps the work under a millisecond.
_LIGHT_SIDE_PX = 96
# Light that varies by less than this over the paper is even enough for one ink level.
_LEAST_SPREAD = 0.06


@dataclass(frozen=True, slots=True)
class Levels:
    """Typical brightness of ink and paper, and the middle of the two, 0 to 255."""

    ink: float
    paper: float

    @property
    def middle(self) -> float:
        """Brightness of a pixel that an edge cuts in half."""
        return 0.5 * (self.ink + self.paper)


@dataclass(frozen=True, slots=True)
class Dust:
    """How many specks were dropped, and the area of the largest in px."""

    count: int
    largest_px: int


def _histogram(grey: GreyArray) -> NDArray[np.int64]:
    return np.bincount(np.clip(grey + 0.5, 0.0, 255.0).astype(np.uint8).ravel(), minlength=256)


def _between_variance(counts: NDArray[np.int64]) -> NDArray[np.float64]:
    """Return the between-class variance for each level that could part the histogram, shape (255,)."""
    share = counts / counts.sum()
    below = np.cumsum(share)[:-1]
    moment = np.cumsum(share * np.arange(256))
    spread = below * (1.0 - below)
    apart = (moment[-1] * below - moment[:-1]) ** 2
    return np.asarray(np.divide(apart, spread, out=np.zeros_like(spread), where=spread > 0.0))


def otsu_level(grey: GreyArray) -> float:
    """Return the brightness that best parts the greys into two classes (Otsu 1979).

    The middle of the levels that part them equally well: two flat tones are parted half way.
    """
    variance = _between_variance(_histogram(grey))
    best = np.flatnonzero(variance >= variance.max() * (1.0 - 1e-12))
    return float(0.5 * (best[0] + best[-1]) + 0.5)


def levels_of(grey: GreyArray) -> Levels:
    """Return the medians of the two classes.

    Half way between them lies the brightness of a pixel that an edge cuts in half, whatever share of the picture is
    ink; Otsu's own level is drawn towards the smaller class.
    """
    counts = _histogram(grey)
    cut = int(np.ceil(otsu_level(grey)))
    medians = []
    for part, first in ((counts[:cut], 0), (counts[cut:], cut)):
        total = np.cumsum(part)
        medians.append(first + float(np.searchsorted(total, 0.5 * total[-1])) if total[-1] else float(first))
    return Levels(*medians)


def is_two_level(grey: GreyArray) -> bool:
    """Return whether fewer pixels lie between ink and paper than a tenth of those an edge runs through.

    Such a picture was never anti-aliased: its greys do not say where inside a pixel the edge lies.
    """
    levels = levels_of(grey)
    reach = 0.16 * (levels.paper - levels.ink)
    between = np.count_nonzero((grey > levels.ink + reach) & (grey < levels.paper - reach))
    ink = grey < levels.middle
    steps = np.count_nonzero(ink[1:] != ink[:-1]) + np.count_nonzero(ink[:, 1:] != ink[:, :-1])
    return bool(between < 0.1 * steps)


def _separation(grey: GreyArray) -> float:
    """Return the share of the greys' variance that two flat tones would explain, 0 to 1."""
    counts = _histogram(grey)
    share = counts / counts.sum()
    mean = float(np.sum(share * np.arange(256)))
    total = float(np.sum(share * (np.arange(256) - mean) ** 2))
    return float(_between_variance(counts).max()) / total if total > 0.0 else 0.0


def even_out(grey: GreyArray, *, always: bool) -> tuple[GreyArray, float | None]:
    """Return the greys as they would be under even light, and by what share the light varied.

    The paper's brightness is first modelled as a cubic surface pushed up against the greys from above, which no ink
    can pull down; the pixels near it are paper, and a wide Gaussian window over them alone then follows the light.

    Parameters
    ----------
    grey
        Brightness, ink dark, shape (h, w).
    always
        Whether to do it even where the light hardly varies, or where two tones are no better parted by it.

    Returns
    -------
    grey
        Shape (h, w); the same array when nothing was done.
    spread
        How much the light varied, as a share of the brightest; None when nothing was done.
    """
    step = max(1, -(-max(grey.shape) // _LIGHT_SIDE_PX))
    rows, columns = (grey.shape[0] // step) or 1, (grey.shape[1] // step) or 1
    high, wide = min(rows * step, grey.shape[0]), min(columns * step, grey.shape[1])
    small = (
        grey[:high, :wide].reshape(rows, high // rows, columns, wide // columns).mean(axis=(1, 3)).astype(np.float64)
    )
    light = _light(small)
    spread = float(1.0 - np.percentile(light, 2.0) / np.percentile(light, 98.0))
    if spread < _LEAST_SPREAD and not always:
        return grey, None
    # Sample positions of full-size pixel centres in the small copy.
    y = (np.arange(grey.shape[0]) + 0.5) / (high // rows) - 0.5
    x = (np.arange(grey.shape[1]) + 0.5) / (wide // columns) - 0.5
    full = _stretched(_stretched(light, y, 0), x, 1)
    even = np.clip(grey / np.maximum(full, 1.0) * np.float32(245.0), 0.0, 255.0).astype(np.float32)
    if not always and _separation(even) <= _separation(grey):
        return grey, None
    return even, spread


def _light(small: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the brightness that the paper has, or would have under the ink, shape (h, w)."""
    height, width = small.shape
    y, x = np.meshgrid(np.linspace(-1.0, 1.0, height), np.linspace(-1.0, 1.0, width), indexing="ij")
    terms = np.stack([x**i * y**j for i in range(4) for j in range(4 - i)], axis=-1).reshape(-1, 10)
    value = small.ravel()
    surface: NDArray[np.float64] = np.full_like(value, np.percentile(value, 90.0))
    for _ in range(12):
        # An expectile: what lies below weighs little, and what lies far below (ink) nothing.
        gap = value - surface
        weight = np.where(gap > 0.0, 1.0, np.where(gap > -0.25 * surface, 0.15, 0.002))
        normal = np.einsum("n,ni,nj->ij", weight, terms, terms) + 1e-6 * np.eye(10)
        moment = np.einsum("n,ni,n->i", weight, terms, value)
        surface = np.einsum("ni,i->n", terms, np.linalg.solve(normal, moment))
    surface = np.clip(surface, 1.0, 255.0).reshape(small.shape)
    paper = (small > 0.85 * surface).astype(np.float64)
    window = 0.08 * max(small.shape)
    # The surface fills in where no paper is near.
    total = ndimage.gaussian_filter(paper * small, window, mode="nearest") + 0.02 * surface
    return np.asarray(total / (ndimage.gaussian_filter(paper, window, mode="nearest") + 0.02))


def _stretched(values: NDArray[np.float64], position: NDArray[np.float64], axis: int) -> NDArray[np.float64]:
    """Return values interpolated linearly along one axis at fractional positions."""
    last = values.shape[axis] - 1
    position = np.clip(position, 0.0, last)
    low = np.minimum(position.astype(np.int64), max(last - 1, 0))
    share = position - low
    shape = (-1, 1) if axis == 0 else (1, -1)
    first, second = np.take(values, low, axis=axis), np.take(values, np.minimum(low + 1, last), axis=axis)
    return np.asarray(first + share.reshape(shape) * (second - first))


def without_dust(ink: NDArray[np.bool_], dust_px: float) -> tuple[NDArray[np.bool_], Dust]:
    """Return the ink without specks, and without pinholes, of fewer than ``dust_px`` pixels.

    Ink holds together through corners and paper does not, so that a hairline is one piece.
    """
    cleaned, dropped = _filled(ink, dust_px, np.ones((3, 3)), False)
    cleaned, closed = _filled(cleaned, dust_px, None, True)
    sizes = dropped + closed
    return cleaned, Dust(len(sizes), max(sizes, default=0))


def _filled(
    ink: NDArray[np.bool_], dust_px: float, joined: NDArray[np.float64] | None, paper: bool
) -> tuple[NDArray[np.bool_], list[int]]:
    """Turn over the small pieces of ink, or of paper; return their sizes too."""
    labels, count = ndimage.label(~ink if paper else ink, structure=joined)
    if count < 2 and not (count and not paper):
        return ink, []
    sizes = np.bincount(labels.ravel(), minlength=count + 1)
    small = sizes < dust_px
    small[0] = False
    if not small.any():
        return ink, []
    return np.where(small[labels], paper, ink), [int(size) for size in sizes[small]]
