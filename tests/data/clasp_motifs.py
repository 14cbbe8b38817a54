"""Twenty motifs for trying how shapes fit into themselves: drawn here, in mm, each 20 mm along its longer side.

They were fixed before the search was written. Some clasp deeply, some not at all, and each has something to trip over:
bays, holes, an island in a hole, parts, hair lines, teeth, flat and exactly aligned edges, curls.
"""

import numpy as np

from friezewright.geometry import affine, cubic
from friezewright.geometry.outline import Outline, circle, concatenate, polygon

__all__ = ["CONVEX", "NAMES", "motifs"]

CONVEX = ("almond", "pebble", "shard", "drop")
"""Those without a dent."""


def _loop(*curves):
    """Return one loop through curves (c1, c2, end) and lines (end,), each starting where the last one ended."""
    at, segments, lines = np.array(curves[0][0], dtype=float), [], []
    for curve in curves[1:]:
        points = [np.array(point, dtype=float) for point in curve]
        segments.append(cubic.line(at, points[0]) if len(points) == 1 else np.stack([at, *points]))
        lines.append(len(points) == 1)
        at = points[-1]
    shape = Outline(np.array(segments), np.array(lines), np.array([0, len(segments)]))
    return shape if shape.area_mm2() > 0.0 else shape.reversed()


def _band(points, half_width):
    """Return a band of even width along a smooth line through points (n, 2), with square ends, as cubics."""
    points = np.asarray(points, dtype=float)
    along = np.gradient(points, axis=0)
    along /= np.hypot(*along.T)[:, None]
    aside = np.stack([-along[:, 1], along[:, 0]], axis=1)
    width = np.broadcast_to(half_width, len(points))[:, None]
    curves = []
    for side in (points + width * aside, (points - width * aside)[::-1]):
        slope = np.gradient(side, axis=0) / 3.0
        curves.append(np.stack([side[:-1], side[:-1] + slope[:-1], side[1:] - slope[1:], side[1:]], axis=1))
    ends = [cubic.line(curves[0][-1, 3], curves[1][0, 0])[None], cubic.line(curves[1][-1, 3], curves[0][0, 0])[None]]
    segments = np.concatenate([curves[0], ends[0], curves[1], ends[1]])
    lines = np.zeros(len(segments), dtype=bool)
    lines[[len(curves[0]), -1]] = True
    shape = Outline(segments, lines, np.array([0, len(segments)]))
    return shape if shape.area_mm2() > 0.0 else shape.reversed()


def _arc(centre, radius, start_deg, end_deg, count=24):
    angle = np.radians(np.linspace(start_deg, end_deg, count))
    return np.stack([centre[0] + radius * np.cos(angle), centre[1] + radius * np.sin(angle)], axis=1)


def _star(points, outer, inner):
    angle = np.arange(2 * points) * np.pi / points - 0.5 * np.pi + 0.13
    radius = np.where(np.arange(2 * points) % 2 == 0, outer, inner)
    return polygon(np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1))


def _hook():
    return _band(np.concatenate([[(0, 16), (0, 12), (0, 8)], _arc((4.5, 4), 4.5, -180, 40)]), 1.3)


def _spiral():
    angle = np.linspace(0.9, 4.3 * np.pi, 60)
    spoke = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    return _band(angle[:, None] * spoke, 0.8)


def _wave():
    x = np.linspace(0.0, 18.0, 37)
    return _band(np.stack([x, 4.5 * np.sin(x * 0.55)], axis=1), 1.1 + 0.4 * np.sin(x * 0.3))


def _comb():
    corners = [(0, 0), (18, 0)]
    for tooth in range(6):
        right = 18 - 3.3 * tooth
        corners += [(right, 9), (right - 1.5, 9)] + ([(right - 1.5, 2.4), (right - 3.3, 2.4)] if tooth < 5 else [])
    return polygon([*corners, (0, 9)])


def _branch():
    right = [(1, 22), (1, 17), (7, 12), (6, 11), (1.2, 14.5), (1.3, 10), (5, 6.5), (4.2, 5.5), (1.2, 8), (0.6, 0)]
    left = [(-0.6, 0), (-0.9, 5), (-5, 1.5), (-5.8, 2.6), (-1, 7.6), (-1.1, 12), (-7, 7), (-7.8, 8), (-1.2, 14.5)]
    return polygon([*right, *left, (-1, 22)])


def _key():
    outer = [(0, 14), (0, 0), (13, 0), (13, 10), (5, 10), (5, 6), (6.6, 6), (6.6, 8.4), (11.4, 8.4), (11.4, 1.6)]
    return polygon([*outer, (1.6, 1.6), (1.6, 14)])


def _hair():
    return polygon([(0, 0), (9.9, 8), (10.1, 8), (20, 1), (20.1, 1.2), (10.15, 8.3), (10.15, 15), (9.85, 15),
                    (9.85, 8.3), (-0.1, 0.2)])  # fmt: skip


def _moth():
    right = [((3, -2), (8, -8), (11, -7)), ((11, -3), (9, 0), (4, 1)), ((7, 2), (8, 5), (6, 8)),
             ((4, 8), (2, 6), (1, 3)), ((1, 5), (0.6, 8), (0, 9))]  # fmt: skip
    left = [((-0.6, 8), (-1, 5), (-1, 3)), ((-2, 6), (-4, 8), (-6, 8)), ((-8, 5), (-7, 2), (-4, 1)),
            ((-9, 0), (-11, -3), (-11, -7)), ((-8, -8), (-3, -2), (0, -1))]  # fmt: skip
    return _loop(((0, -1),), *right, *left)


def _drawn():
    return {
        "almond": _loop(((0, 0),), ((3, 5), (12, 6), (18, 0)), ((13, -4), (4, -5), (0, 0))),
        "pebble": _loop(((0, 0),), ((0, 4), (3, 7), (8, 7)), ((13, 7), (16, 4), (15, 0)), ((14, -4), (0, -5), (0, 0))),
        "shard": polygon([(0, 0), (17, 4), (5, 11)]),
        "drop": _loop(((0, 12),), ((-6, 12), (-7, 5), (0, -6)), ((7, 5), (6, 12), (0, 12))),
        "hook": _hook(),
        "crescent": _loop(((0, 0),), ((9, 1), (11, 14), (2, 18)), ((7, 13), (5, 4), (0, 0))),
        "star": _star(5, 10, 3.8),
        "spiral": _spiral(),
        "comb": _comb(),
        "ring": concatenate([circle((0, 0), 10), circle((0.4, -0.3), 6.8).reversed()]),
        "two drops": concatenate([
            circle((0, 0), 4.2), _loop(((9, 3),), ((14, 4), (13, 10), (8, 11)), ((9, 8), (6, 5), (9, 3))),
        ]),
        "wave": _wave(),
        "arrow": polygon([(0, 3), (9, 3), (9, 0), (16, 5), (9, 10), (9, 7), (0, 7), (2.5, 5)]),
        "comma": _loop(((0, 4),), ((0, 10), (10, 10), (10, 3)), ((10, -4), (5, -7), (0, -8)),
                       ((4, -5), (5.5, -2), (5, 0.2)), ((2, -1), (0, 1), (0, 4))),
        "branch": _branch(),
        "horseshoe": _band(_arc((0, 0), 8, -240, 60, 40), 1.7),
        "key": _key(),
        "hair": _hair(),
        "moth": _moth(),
        "eyelet": concatenate([
            _loop(((0, 0),), ((3, 8), (14, 9), (20, 2)), ((19, -2), (13, -3), (11, -1)), ((8, -6), (3, -6), (0, 0))),
            circle((7, 1.4), 3.4).reversed(), circle((7.5, 1.5), 1.1),
        ]),
    }  # fmt: skip


def motifs():
    """Return the twenty outlines by name, centred on their bounding boxes."""
    made = {}
    for name, shape in _drawn().items():
        low, high = shape.bounds()
        scale = 20.0 / float((high - low).max())
        move = affine.compose(affine.scaling(scale), affine.translation(-0.5 * (low + high)))
        made[name] = shape.transformed(move)
    return made


NAMES = tuple(_drawn())
