"""Areas filled with parallel score lines.

All copies share one set of lines, counted from the panel's own origin, so that the lines of neighbours continue each
other. A copy's lines are run to and fro (a serpentine), and end half a spot inside it, so that the burn ends at the
contour.
"""

from __future__ import annotations

import numpy as np

from friezewright.geometry import affine, cubic
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.artwork import Artwork, Placements
from friezewright.geometry.outline import IntArray, Outline
from friezewright.geometry.planar.nearness import touching_groups
from friezewright.geometry.spans import spans
from friezewright.geometry.strokes import Strokes
from friezewright.geometry.tolerance import COINCIDENT_MM
from friezewright.layers.burn import Lining

__all__ = ["lined"]


def lined(areas: Artwork[Outline], lining: Lining, *, spot_mm: float, tolerance_mm: float) -> Artwork[Strokes]:
    """Return score lines inside areas, one shape a copy, or a group of copies that touch.

    Parameters
    ----------
    areas
        Copies; where some overlap, their lines run through once.
    lining
        Spacing, direction, and whether a second set crosses the first.
    spot_mm
        Width of a burned line; stretches no longer than it are left out.
    tolerance_mm
        Furthest a chord may lie from its curve.
    """
    if not len(areas):
        return Artwork((), areas.placements)
    group = touching_groups(areas, tolerance_mm=tolerance_mm, slack_mm=COINCIDENT_MM)
    angles = [lining.angle_rad, lining.angle_rad + 0.5 * np.pi] if lining.weave else [lining.angle_rad]
    sets = [_lines(areas, group, lining.spacing_mm, angle, spot_mm, tolerance_mm) for angle in angles]
    owner = np.concatenate([part[0] for part in sets])
    # Stable: a group's first set stays before its second, each in its own running order.
    order = np.argsort(owner, kind="stable")
    owner, ends = owner[order], np.concatenate([part[1] for part in sets])[order]
    segments = cubic.line(ends[:, 0], ends[:, 1])
    named, begin = np.unique(owner, return_index=True)
    shapes = []
    for start, count in zip(begin, np.diff(np.append(begin, len(owner))), strict=True):
        ones = np.ones(count, dtype=bool)
        shapes.append(Strokes(segments[start : start + count], ones, np.arange(count + 1), ~ones))
    first_copy = np.unique(group, return_index=True)[1]
    return Artwork(
        tuple(shapes),
        Placements(
            matrix=affine.identity(len(shapes)),
            shape=np.arange(len(shapes)),
            member=areas.placements.member[first_copy[named]],
        ),
    )


def _lines(
    areas: Artwork[Outline], group: IntArray, spacing_mm: float, angle_rad: float, spot_mm: float, tolerance_mm: float
) -> tuple[IntArray, FloatArray]:
    """Return the group and the ends (k, 2, 2) of each stretch of line, in running order within a group."""
    turned = areas.moved(affine.rotation(-angle_rad))
    # Every group is moved across by whole lines to lines of its own: then one pass over all tells them apart.
    low, high = _line_ranges(turned, group, spacing_mm)
    base = np.cumsum(high - low) - (high - low)
    shift = base - low
    matrix = turned.placements.matrix.copy()
    matrix[:, 1, 2] += shift[group] * spacing_mm
    places = Placements(matrix=matrix, shape=turned.placements.shape, member=turned.placements.member)
    found = spans(Artwork(turned.shapes, places), spacing_mm=spacing_mm, tolerance_mm=tolerance_mm)
    long = found.along[:, 1] - found.along[:, 0] > spot_mm
    line, along = found.line[long], found.along[long] + np.array([0.5, -0.5]) * spot_mm
    owner = np.searchsorted(base, line, side="right") - 1
    backward = _every_other_line(owner, line)
    order = np.lexsort((np.where(backward, -along[:, 1], along[:, 0]), line))
    along = np.where(backward[:, None], along[:, ::-1], along)[order]
    line, owner = line[order], owner[order]
    across = np.broadcast_to(((line - shift[owner] + 0.5) * spacing_mm)[:, None], along.shape)
    return owner, affine.apply(affine.rotation(angle_rad), np.stack([along, across], axis=-1))


def _line_ranges(turned: Artwork[Outline], group: IntArray, spacing_mm: float) -> tuple[IntArray, IntArray]:
    """Return for each group the first line that may meet it and the one past the last, (groups,)."""
    boxes = np.stack([shape.bounds() for shape in turned.shapes])[turned.placements.shape]
    row = turned.placements.matrix[:, 1]
    centre = row[:, 0] * boxes[:, :, 0].mean(axis=1) + row[:, 1] * boxes[:, :, 1].mean(axis=1) + row[:, 2]
    reach = 0.5 * (
        np.abs(row[:, 0]) * np.ptp(boxes[:, :, 0], axis=1) + np.abs(row[:, 1]) * np.ptp(boxes[:, :, 1], axis=1)
    )
    count = int(group.max()) + 1
    low, high = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(low, group, centre - reach)
    np.maximum.at(high, group, centre + reach)
    # One line more on either side than the box needs covers rounding.
    return (np.floor(low / spacing_mm) - 1.0).astype(np.int64), (np.ceil(high / spacing_mm) + 1.0).astype(np.int64)


def _every_other_line(owner: IntArray, line: IntArray) -> np.ndarray:
    """Return which stretches lie on a second, fourth, ... line of their group that has any, (k,); lines rise."""
    new_line = np.diff(line, prepend=line[:1] - 1) != 0
    rank = np.cumsum(new_line)
    first = np.searchsorted(owner, owner, side="left")
    return np.asarray((rank - rank[first]) % 2 == 1) if len(line) else np.zeros(0, dtype=bool)
