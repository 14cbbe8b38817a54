"""Affine maps of the plane as arrays of shape (..., 2, 3): ``p -> A p + t`` with rows ``[a b tx], [c d ty]``.

Products are written out, not handed to BLAS: the same input must give the same bits on every run.
"""

from __future__ import annotations

import math
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "FloatArray",
    "apply",
    "compose",
    "determinant",
    "identity",
    "inverse",
    "largest_stretch",
    "mirror_x",
    "mirror_y",
    "rotation",
    "scaling",
    "translation",
    "turn_of",
]

FloatArray: TypeAlias = NDArray[np.float64]


def identity(count: int | None = None) -> FloatArray:
    """Return the identity, shape (2, 3), or ``count`` of them, shape (count, 2, 3)."""
    one = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
    return one if count is None else np.repeat(one[None], count, axis=0)


def translation(shift_mm: ArrayLike) -> FloatArray:
    """Return shifts by ``shift_mm`` of shape (..., 2) as maps of shape (..., 2, 3)."""
    shift = np.asarray(shift_mm, dtype=np.float64)
    maps = np.zeros((*shift.shape[:-1], 2, 3))
    maps[..., 0, 0] = maps[..., 1, 1] = 1.0
    maps[..., :, 2] = shift
    return maps


def rotation(turn_rad: ArrayLike, about_mm: tuple[float, float] = (0.0, 0.0)) -> FloatArray:
    """Return turns from +x towards +y (clockwise on screen) about a point, shape (..., 2, 3).

    Quarter turns are exact: a sine or cosine within 1e-15 of 0 or 1 is taken as that.
    """
    angle = np.asarray(turn_rad, dtype=np.float64)
    cos, sin = np.cos(angle), np.sin(angle)
    # cos(pi/2) is 6e-17 in floating point; left in, it would lean every turned border by a last digit.
    cos = np.where(np.abs(cos) < 1e-15, 0.0, np.where(np.abs(sin) < 1e-15, np.sign(cos), cos))
    sin = np.where(np.abs(sin) < 1e-15, 0.0, np.where(cos == 0.0, np.sign(sin), sin))
    x, y = about_mm
    maps = np.empty((*angle.shape, 2, 3))
    maps[..., 0, 0], maps[..., 0, 1], maps[..., 0, 2] = cos, -sin, x - cos * x + sin * y
    maps[..., 1, 0], maps[..., 1, 1], maps[..., 1, 2] = sin, cos, y - sin * x - cos * y
    return maps


def scaling(along_x: float, along_y: float | None = None) -> FloatArray:
    """Return a scaling about the origin, shape (2, 3); one factor scales both ways."""
    return np.array([[along_x, 0.0, 0.0], [0.0, along_x if along_y is None else along_y, 0.0]])


def mirror_x() -> FloatArray:
    """Return the mirror image left to right, ``x -> -x``, shape (2, 3)."""
    return scaling(-1.0, 1.0)


def mirror_y() -> FloatArray:
    """Return the mirror image top to bottom, ``y -> -y``, shape (2, 3)."""
    return scaling(1.0, -1.0)


def compose(outer: FloatArray, inner: FloatArray) -> FloatArray:
    """Return the maps that apply ``inner`` first and ``outer`` after it; shapes (..., 2, 3) broadcast."""
    outer, inner = np.asarray(outer), np.asarray(inner)
    product = np.empty(np.broadcast_shapes(outer.shape, inner.shape))
    for row in (0, 1):
        a, b, shift = outer[..., row, 0], outer[..., row, 1], outer[..., row, 2]
        for column in (0, 1):
            product[..., row, column] = a * inner[..., 0, column] + b * inner[..., 1, column]
        product[..., row, 2] = a * inner[..., 0, 2] + b * inner[..., 1, 2] + shift
    return product


def determinant(maps: FloatArray) -> FloatArray:
    """Return the area factors of maps (..., 2, 3); negative where a map mirrors."""
    return np.asarray(maps[..., 0, 0] * maps[..., 1, 1] - maps[..., 0, 1] * maps[..., 1, 0])


def inverse(maps: FloatArray) -> FloatArray:
    """Return the inverse maps, shape (..., 2, 3).

    Raises
    ------
    ValueError
        If a map flattens the plane to a line.
    """
    det = determinant(maps)
    if not np.all(np.abs(det) > 0.0):
        raise ValueError("a map with determinant 0 has no inverse")
    result = np.empty_like(maps)
    result[..., 0, 0], result[..., 0, 1] = maps[..., 1, 1] / det, -maps[..., 0, 1] / det
    result[..., 1, 0], result[..., 1, 1] = -maps[..., 1, 0] / det, maps[..., 0, 0] / det
    for row in (0, 1):
        result[..., row, 2] = -(result[..., row, 0] * maps[..., 0, 2] + result[..., row, 1] * maps[..., 1, 2])
    return result


def largest_stretch(maps: FloatArray) -> FloatArray:
    """Return by how much each map lengthens the direction it lengthens most (its spectral norm), shape (...)."""
    a, b, c, d = maps[..., 0, 0], maps[..., 0, 1], maps[..., 1, 0], maps[..., 1, 1]
    return np.asarray(0.5 * (np.hypot(a + d, b - c) + np.hypot(a - d, b + c)))


def apply(maps: FloatArray, points: FloatArray) -> FloatArray:
    """Return the images of ``points``.

    Parameters
    ----------
    maps
        Shape (2, 3), or (n, 2, 3) for n images of every point.
    points
        Shape (..., 2), mm.

    Returns
    -------
    ndarray
        Shape (..., 2) for one map, (n, ..., 2) for n maps.
    """
    x, y = points[..., 0], points[..., 1]
    if maps.ndim == 3:
        maps = maps.reshape(len(maps), *(1,) * (points.ndim - 1), 2, 3)
    image = np.empty((*np.broadcast_shapes(maps.shape[:-2], x.shape), 2))
    image[..., 0] = x * maps[..., 0, 0] + y * maps[..., 0, 1] + maps[..., 0, 2]
    image[..., 1] = x * maps[..., 1, 0] + y * maps[..., 1, 1] + maps[..., 1, 2]
    return image


def turn_of(map_: FloatArray) -> float:
    """Return the turn in radians of a similarity, its mirror (if any) taken to act first on y."""
    return math.atan2(float(map_[1, 0]), float(map_[0, 0]))
