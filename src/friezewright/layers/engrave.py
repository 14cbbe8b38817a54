"""Areas to be burned line by line, such that nothing burns twice."""

from __future__ import annotations

import numpy as np

from friezewright.geometry.artwork import Artwork, concatenate_artwork
from friezewright.geometry.outline import Outline
from friezewright.geometry.planar.nearness import touching_groups
from friezewright.geometry.planar.joined import unite
from friezewright.geometry.tolerance import COINCIDENT_MM

__all__ = ["engraved", "standing_alone"]


def engraved(areas: Artwork[Outline], *, tolerance_mm: float) -> Artwork[Outline]:
    """Return areas that nowhere overlap, holding the same burn.

    Copies that touch no other stay placements of their shape, in order; those that do are fused, group by group, and
    follow as shapes placed once.

    Parameters
    ----------
    areas
        Copies, overlapping or not.
    tolerance_mm
        Furthest a polygon may lie from its curve when contact is looked for.
    """
    alone = standing_alone(areas, tolerance_mm=tolerance_mm)
    if alone.all():
        return areas
    fused = unite(areas.chosen(~alone))
    return concatenate_artwork([areas.chosen(alone), fused]) if alone.any() else fused


def standing_alone(areas: Artwork[Outline], *, tolerance_mm: float) -> np.ndarray:
    """Return which copies neither touch nor overlap another, shape (n,)."""
    group = touching_groups(areas, tolerance_mm=tolerance_mm, slack_mm=COINCIDENT_MM)
    return np.asarray(np.bincount(group)[group] == 1) if len(group) else np.zeros(0, dtype=bool)
