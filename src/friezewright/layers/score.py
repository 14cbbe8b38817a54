"""Contours to be followed: every visible line once."""

from __future__ import annotations

import numpy as np

from friezewright.geometry.artwork import Artwork, concatenate_artwork
from friezewright.geometry.outline import Outline
from friezewright.geometry.planar.joined import silhouettes
from friezewright.geometry.strokes import Strokes, contour
from friezewright.layers.engrave import standing_alone

__all__ = ["contours", "open_contour"]


def contours(areas: Artwork[Outline], *, edges: bool, tolerance_mm: float) -> Artwork[Strokes]:
    """Return the contours of areas as strokes, one copy of strokes a copy of an area.

    Where copies touch or overlap, what lies inside another copy is left out and lines they share are kept once.

    Parameters
    ----------
    areas
        Copies, overlapping or not.
    edges
        Whether to follow the line at which a copy was trimmed, too.
    tolerance_mm
        Furthest a polygon may lie from its curve when contact is looked for.
    """
    alone = standing_alone(areas, tolerance_mm=tolerance_mm)
    parts = [_outlined(areas.chosen(alone), edges=edges)] if alone.any() else []
    if not alone.all():
        parts.append(silhouettes(areas.chosen(~alone), tolerance_mm=tolerance_mm, edges=edges))
    return concatenate_artwork(parts) if parts else Artwork((), areas.placements)


def _outlined(areas: Artwork[Outline], *, edges: bool) -> Artwork[Strokes]:
    """Return the contours of copies that touch no other; a copy that is all trimmed edge has none."""
    lines = [contour(shape) if edges else open_contour(shape) for shape in areas.shapes]
    left = np.array([line is not None for line in lines])
    number = np.cumsum(left) - 1
    kept = areas.placements.chosen(left[areas.placements.shape])
    renamed = type(kept)(matrix=kept.matrix, shape=number[kept.shape], member=kept.member)
    return Artwork(tuple(line for line in lines if line is not None), renamed)


def open_contour(shape: Outline) -> Strokes | None:
    """Return the loops of a shape less its trimmed edges: whole loops closed, what is left of others open.

    None when nothing is left.
    """
    if not shape.is_edge.any():
        return contour(shape)
    order: list[np.ndarray] = []
    closed: list[bool] = []
    for loop in shape.loops():
        index = np.arange(loop.start, loop.stop)
        edge = shape.is_edge[loop]
        if not edge.any():
            order.append(index)
            closed.append(True)
            continue
        # Begin just behind an edge, so that no run is cut in two where the loop happens to start.
        turn = int(np.flatnonzero(edge)[-1]) + 1
        index, edge = np.roll(index, -turn), np.roll(edge, -turn)
        runs = np.split(index, np.flatnonzero(np.diff(edge)) + 1)
        visible = [run for run in runs if not shape.is_edge[run[0]]]
        order.extend(visible)
        closed.extend([False] * len(visible))
    if not order:
        return None
    starts = np.cumsum([0, *(len(run) for run in order)])
    chosen = np.concatenate(order)
    return Strokes(shape.segments[chosen], shape.is_line[chosen], starts, np.array(closed))
