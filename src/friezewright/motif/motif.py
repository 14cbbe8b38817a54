"""The motif: a traced shape of height 1, centred on its bounding box, ready to be set at any size."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from friezewright.errors import InputError
from friezewright.findings import Finding
from friezewright.geometry import affine
from friezewright.geometry.outline import Outline
from friezewright.motif.picture import InkSettings, read_picture
from friezewright.motif.trace import trace

__all__ = ["Motif", "mirror_residual", "motif_from_outline", "motif_from_picture"]

# A shape further than this from its mirror image is not meant to be symmetrical.
_FAR_OFF = 0.05
_FLATTEN = 2e-4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Motif:
    """A shape to make ornament from.

    Parameters
    ----------
    name
        What the job calls it.
    outline
        Height 1, centred on its bounding box, y down.
    pixels
        Width and height in px of the picture it was traced from; None when it was drawn as a path.
    mirror_residual
        How far, in heights, the outline strays from its own left-to-right mirror image about the centre of its
        bounding box; None when it is far from symmetrical.
    findings
        What was remarked when it was read.
    """

    name: str
    outline: Outline
    pixels: tuple[int, int] | None = None
    mirror_residual: float | None = None
    findings: tuple[Finding, ...] = ()

    def at_height(self, height_mm: float) -> Outline:
        """Return the outline scaled to a height in mm, centred on the origin."""
        return self.outline.transformed(affine.scaling(height_mm))

    def width_for(self, height_mm: float) -> float:
        """Return the width in mm that goes with a height in mm."""
        low, high = self.outline.bounds()
        return float(high[0] - low[0]) * height_mm


def motif_from_picture(data: bytes, *, name: str, settings: InkSettings | None = None) -> Motif:
    """Return the motif drawn in a bitmap file.

    Raises
    ------
    PictureError
        If the bytes are no bitmap, or nothing is drawn in it.
    LimitError
        If the picture is larger than 64 megapixels, or its outline takes more than 20,000 curves.
    """
    settings = settings or InkSettings()
    picture = read_picture(data, settings, name=name)
    traced = trace(picture, settings)
    return _motif(traced.outline, name=name, pixels=picture.size_px, findings=traced.findings)


def motif_from_outline(outline: Outline, *, name: str) -> Motif:
    """Return a drawn outline as a motif: its size is forgotten, its shape kept exactly.

    Raises
    ------
    InputError
        If the outline has no height.
    """
    return _motif(outline, name=name, pixels=None, findings=())


def _motif(outline: Outline, *, name: str, pixels: tuple[int, int] | None, findings: tuple[Finding, ...]) -> Motif:
    low, high = outline.bounds()
    width, height = (float(side) for side in high - low)
    if not height > 1e-9 * max(width, 1e-300):
        raise InputError(f"{name} has no height; a motif needs an area")
    centred = outline.transformed(affine.translation(-0.5 * (low + high)))
    shape = centred.transformed(affine.scaling(1.0 / height))
    return Motif(name=name, outline=shape, pixels=pixels, mirror_residual=mirror_residual(shape), findings=findings)


def mirror_residual(outline: Outline) -> float | None:
    """Return how far an outline of height 1 strays from its own mirror image, or None above 0.05.

    The largest distance from a point of the mirror image to the outline; by symmetry it is the largest distance the
    other way round too. The mirror is upright, through the centre of the bounding box. Right to about 2e-4, since
    curves are measured as polylines.
    """
    low, high = outline.bounds()
    axis = 0.5 * float(low[0] + high[0])
    points, _, loop = outline.flattened(tolerance_mm=_FLATTEN)
    inside = loop[1:] == loop[:-1]
    start, end = points[:-1][inside], points[1:][inside]
    # Long straight runs are cut up, so that the nearest of the pieces' middles lead to the nearest piece.
    pieces = np.maximum(1, np.ceil(np.hypot(*(end - start).T) / 0.02).astype(np.int64))
    which = np.repeat(np.arange(len(start)), pieces)
    share = (np.arange(len(which)) - np.repeat(np.cumsum(pieces) - pieces, pieces)) / pieces[which]
    step = (end - start)[which] / pieces[which, None]
    first = start[which] + share[:, None] * (end - start)[which]
    image = first * (-1.0, 1.0) + (2.0 * axis, 0.0)
    _, near = cKDTree(first + 0.5 * step).query(image, k=min(8, len(first)))
    near = near.reshape(len(image), -1)
    gap = image[:, None] - first[near]
    length2 = np.maximum(np.sum(step * step, axis=1), 1e-300)[near]
    along = np.clip(np.sum(gap * step[near], axis=2) / length2, 0.0, 1.0)
    away = gap - along[..., None] * step[near]
    worst = float(np.hypot(away[..., 0], away[..., 1]).min(axis=1).max())
    return worst if worst <= _FAR_OFF else None
