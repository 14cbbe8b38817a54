from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from friezewright.errors import GeometryError
from friezewright.geometry import affine, cubic
from friezewright.geometry.outline import Outline, circle, polygon, rounded_polygon, rounded_rectangle
from friezewright.ornament.bend import bend, bend_all
from friezewright.ornament.guide import guide_along
from friezewright.ornament.loop import pieces_of
from friezewright.ornament.path import Arc, Path


def ring(radius: float, sense: float = 1.0) -> Path:
    whole = math.copysign(2 * math.pi, sense)
    return Path((Arc(centre=np.zeros(2), radius_mm=radius, start_rad=-math.pi / 2, sweep_rad=whole),), closed=True)


def hook(x: float) -> Outline:
    corners = [(0, -5), (8, -5), (9, 4), (5, 5), (5, -1), (1, -1)]
    return rounded_polygon(corners, 0.8).transformed(affine.translation((x, 0.0)))


def exact(points: np.ndarray, radius: float, sense: float) -> np.ndarray:
    """Return the closed form round the origin, from the top: the angle is the arc length over the radius."""
    angle = -math.pi / 2 + sense * points[:, 0] / radius
    distance = radius - sense * points[:, 1]
    return np.stack([distance * np.cos(angle), distance * np.sin(angle)], axis=1)


@settings(deadline=None)
@given(
    x=st.floats(-300.0, 300.0),
    radius=st.floats(12.0, 300.0),
    sense=st.sampled_from([-1.0, 1.0]),
    decade=st.integers(1, 5),
)
def test_a_bent_shape_follows_the_closed_form(x: float, radius: float, sense: float, decade: int) -> None:
    tolerance = 10.0**-decade
    shape = hook(x)
    bent = bend(shape, ring(radius, sense), tolerance_mm=tolerance)

    # Every point of the flattened image lies near the exact image, which is sampled fifty times finer.
    points, _, _ = shape.flattened(tolerance_mm=1e-4)
    dense = exact(
        np.concatenate([points[:-1] + t * np.diff(points, axis=0) for t in np.linspace(0, 1, 50)]), radius, sense
    )
    image = cubic.evaluate(bent.segments[:, None], np.linspace(0, 1, 5)[None]).reshape(-1, 2)
    spacing = float(np.hypot(*np.diff(points, axis=0).T).max()) / 50 * 1.6
    worst = max(float(np.hypot(*(dense - p).T).min()) for p in image)
    assert worst <= tolerance + spacing
    assert np.allclose(bent.segments[:, 0][1:], bent.segments[:, 3][:-1], atol=0)


def test_area_scales_by_the_distance_of_the_centroid() -> None:
    # A rectangle bent round a circle becomes a sector of a ring: its area is exact.
    box = polygon([(0, -2), (10, -2), (10, 4), (0, 4)])
    bent = bend(box, ring(20.0), tolerance_mm=1e-7)

    assert math.isclose(bent.area_mm2(), 0.5 * (22.0**2 - 16.0**2) * (10.0 / 20.0), rel_tol=1e-8)
    # The short ends run across the path and stay straight.
    assert int(bent.is_line.sum()) == 2


def test_shapes_across_a_joint_are_cut_there() -> None:
    pieces = pieces_of(rounded_rectangle((0, 0), (100, 60), 20))
    guide = guide_along(pieces, distance_mm=0.0, edge_mm=0.0, tightest_mm=1.0)
    assert guide is not None
    path = guide.sides[0].path
    joint = float(path.starts[1])
    bar = polygon([(joint - 5, -1), (joint + 5, -1), (joint + 5, 1), (joint - 5, 1)])

    bent = bend(bar, path, tolerance_mm=1e-6)

    at = path.frames([joint]).point[0]
    knots = bent.segments[:, 0]
    normal = path.frames([joint]).normal[0]
    for y in (-1.0, 1.0):
        assert np.hypot(*(knots - (at + y * normal)).T).min() < 1e-9
    # On the straight piece the long edges are still lines.
    assert int(bent.is_line.sum()) == 4


def test_a_straight_path_only_moves() -> None:
    pieces = pieces_of(rounded_rectangle((0, 0), (100, 60)))
    guide = guide_along(pieces, distance_mm=0.0, edge_mm=0.0, tightest_mm=1.0)
    assert guide is not None
    (down,) = [side for side in guide.sides if side.name == "right"]

    bent = bend(hook(20.0), down.path, tolerance_mm=1e-9)

    turned = hook(20.0).transformed(affine.compose(affine.translation((100.0, 0.0)), affine.rotation(math.pi / 2)))
    assert np.allclose(bent.segments, turned.segments, atol=1e-12)
    assert np.array_equal(bent.is_line, turned.is_line)


def test_past_the_centre_it_would_fold() -> None:
    with pytest.raises(GeometryError, match="past the centre of a bend"):
        bend(circle((0.0, 0.0), 6.0), ring(5.0), tolerance_mm=0.01)


def test_many_at_once_are_each_as_alone() -> None:
    shapes = [hook(0.0), circle((30.0, 1.0), 3.0), hook(-40.0)]

    together = bend_all(shapes, ring(25.0), tolerance_mm=0.001)

    for shape, bent in zip(shapes, together, strict=True):
        alone = bend(shape, ring(25.0), tolerance_mm=0.001)
        assert np.array_equal(bent.segments, alone.segments)
    assert bend_all([], ring(25.0), tolerance_mm=0.001) == ()
