"""Shapes that the geometry tests share."""

from types import SimpleNamespace

import numpy as np
import pytest

from friezewright.geometry import affine, cubic
from friezewright.geometry.artwork import Artwork, Placements
from friezewright.geometry.outline import Outline, concatenate


def blob(count, radius, seed, centre=(0.0, 0.0), rough=0.35):
    """Return a wavy closed loop: a fifth of its segments straight, corners where those meet curves."""
    random = np.random.default_rng(seed)
    angle = 2.0 * np.pi * np.arange(count) / count
    reach = radius * (1.0 - rough + rough * random.random(count))
    knots = np.stack([reach * np.cos(angle), reach * np.sin(angle)], axis=1) + centre
    handle = (np.roll(knots, -1, axis=0) - np.roll(knots, 1, axis=0)) / 6.0
    following = np.roll(knots, -1, axis=0)
    straight = random.random(count) < 0.2
    segments = np.stack([knots, knots + handle, np.roll(knots - handle, -1, axis=0), following], axis=1)
    segments[straight] = cubic.line(knots[straight], following[straight])
    return Outline(segments, straight, np.array([0, count]))


def motif(seed=1):
    """Return sixty segments: a shell with a hole in it, and an island beside it, 4.9 mm across."""
    shell, hole = blob(40, 2.2, seed), blob(10, 0.5, seed + 1, (0.4, 0.2)).reversed()
    return concatenate([shell, hole, blob(10, 0.4, seed + 2, (2.6, 0.3))])


def scattered(shape, side, pitch_mm=6.4, seed=5):
    """Return ``side`` times ``side`` copies, each turned its own way, every other one mirrored."""
    random = np.random.default_rng(seed)
    steps = np.stack(np.meshgrid(np.arange(side), np.arange(side), indexing="ij"), axis=-1).reshape(-1, 2)
    maps = affine.compose(affine.translation(steps * pitch_mm), affine.rotation(2.0 * np.pi * random.random(side**2)))
    odd = steps.sum(axis=1) % 2 == 1
    maps[odd] = affine.compose(maps[odd], affine.mirror_x())
    return Artwork((shape,), Placements(matrix=maps, shape=np.zeros(side**2, dtype=int), member=odd.astype(int)))


def at(shape, points, member=None):
    """Return shifted copies of a shape."""
    maps = affine.translation(np.asarray(points, dtype=float).reshape(-1, 2))
    count = len(maps)
    return Artwork(
        (shape,),
        Placements(
            matrix=maps,
            shape=np.zeros(count, dtype=int),
            member=np.zeros(count, dtype=int) if member is None else np.asarray(member),
        ),
    )


@pytest.fixture(scope="session")
def make():
    """Return the builders above, by name."""
    return SimpleNamespace(blob=blob, motif=motif, scattered=scattered, at=at)
