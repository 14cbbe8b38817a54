"""The lines that are cut through: openings first, then the rim, which lets the part go.

Cut lines are the panel's own, unmoved: they are not offset for the kerf.
"""

from __future__ import annotations

import numpy as np

from friezewright.geometry.artwork import Artwork
from friezewright.geometry.outline import Outline
from friezewright.geometry.strokes import Strokes
from friezewright.layers.drawing import Part
from friezewright.panel.panel import RIM, Panel, cut_strokes

__all__ = ["cut_parts"]


def cut_parts(panel: Panel) -> tuple[Part, ...]:
    """Return one part an opening, in the panel's order, and the rim last."""
    inner, rim = cut_strokes(panel)
    loops = _single_paths(inner)
    names = [opening.name for opening in panel.cutouts]
    if len(loops) == len(names):
        parts = [_part(name, [loop]) for name, loop in zip(names, loops, strict=True)]
    else:
        # Lines handed on from a drawing may be more or fewer than the openings read from it.
        parts = [_part("openings", loops)] if loops else []
    return (*parts, _part(RIM, _single_paths(rim)))


def _part(name: str, paths: list[Strokes]) -> Part:
    artwork: Artwork[Outline] | Artwork[Strokes] = Artwork.single(paths)
    return Part(ornament=name, artwork=artwork)


def _single_paths(strokes: Strokes | None) -> list[Strokes]:
    """Return each path as strokes of its own: one path of the file each."""
    if strokes is None:
        return []
    return [
        Strokes(
            strokes.segments[path], strokes.is_line[path], np.array([0, path.stop - path.start]), np.array([closed])
        )
        for path, closed in zip(strokes.paths(), strokes.closed, strict=True)
    ]
