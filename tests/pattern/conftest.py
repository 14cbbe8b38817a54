"""Shapes drawn for these tests, and a second way to measure a gap."""

import itertools
import warnings

import numpy as np
import pytest
import shapely
import spglib

from friezewright.geometry import cubic
from friezewright.geometry.outline import Outline, circle, concatenate, polygon


def _closed(*curves):
    segments = np.array(curves, dtype=float)
    return Outline(segments, np.zeros(len(segments), dtype=bool), np.array([0, len(segments)]))


def _leaf():
    shape = _closed(
        [[0, -10], [7, -6], [8, 2], [2, 8]],
        [[2, 8], [1, 9], [1, 10], [3, 12]],
        [[3, 12], [2.5, 12.5], [1.5, 13], [1, 13]],
        [[1, 13], [-1, 11], [-2, 9], [-1, 8]],
        [[-1, 8], [-5, 4], [-6, -4], [0, -10]],
    )
    return shape if shape.area_mm2() > 0.0 else shape.reversed()


def _spiral():
    angle = np.linspace(0.0, 5.0 * np.pi, 60)
    spoke = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    return polygon(np.concatenate([spoke * (1.0 + 0.6 * angle)[:, None], (spoke * (1.5 + 0.6 * angle)[:, None])[::-1]]))


SHAPES = {
    "leaf": _leaf(),
    "thin line": polygon([(0, 0), (18, 7), (18.02, 7.05), (0.02, 0.05)]),
    "ring": concatenate([circle((0.0, 0.0), 6.0), circle((0.5, 0.2), 4.5).reversed()]),
    "two parts": concatenate([circle((0.0, 0.0), 3.0), polygon([(6, 1), (12, 2), (9, 8)])]),
    "spiral": _spiral(),
}


@pytest.fixture(scope="session")
def leaf():
    return SHAPES["leaf"]


@pytest.fixture(params=SHAPES)
def any_shape(request):
    return SHAPES[request.param]


@pytest.fixture(scope="session")
def gap_by_brute_force():
    """Return the smallest distance from the copies of one cell to all copies round it, measured one by one."""

    def polygon_of(outline):
        t = np.arange(48) / 48.0
        rings = [shapely.Polygon(cubic.evaluate(outline.segments[loop][:, None], t).reshape(-1, 2)) for loop in
                 outline.loops()]  # fmt: skip
        area = shapely.Polygon()
        # Even-odd, loop by loop: these shapes' loops do not cross.
        for ring in rings:
            area = area.symmetric_difference(ring)
        return area

    def measure(repeat, around=2):
        width = range(-around, around + 1)
        steps = np.array(list(itertools.product(width, repeat=len(repeat.vectors))))
        own = [polygon_of(copy) for copy in repeat.copies(np.zeros((1, len(repeat.vectors)), dtype=int)).copies()]
        smallest = np.inf
        for step in steps:
            others = [polygon_of(copy) for copy in repeat.copies(step[None]).copies()]
            for i, a in enumerate(own):
                for j, b in enumerate(others):
                    if np.any(step) or i < j:
                        smallest = min(smallest, shapely.distance(a, b))
        return smallest

    return measure


@pytest.fixture(scope="session")
def symmetry_dataset():
    """Return what spglib finds for three landmarks a copy, shape (k, 3, 2) in repeat vectors.

    Each landmark is a kind of atom at a height of its own, so that the third axis has no mirror across it.
    """

    def dataset(vectors, positions):
        lattice = np.zeros((3, 3))
        lattice[:2, :2], lattice[2, 2] = vectors, 9.7
        count = len(positions)
        height = np.broadcast_to(np.array([0.0, 0.13, 0.29]), (count, 3))[..., None]
        points = np.concatenate([positions % 1.0, height], axis=2).reshape(-1, 3)
        with warnings.catch_warnings():
            # It announces a change in how it will report failures; here a failure is None either way.
            warnings.filterwarnings("ignore", message="Set OLD_ERROR_HANDLING", category=DeprecationWarning)
            return spglib.get_symmetry_dataset((lattice, points, [1, 2, 3] * count), symprec=1e-5)

    return dataset
