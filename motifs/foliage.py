"""Foliage for borders and fillers: leaf, sprig, fern, tendril and bud."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
from pen import Chain, Ink, Spine, along, blade, brush, chain_through, disc, heading, join, join_open, mirrored, sweep

__all__ = ["bud", "fern", "leaf", "sprig", "tendril"]


def leaf() -> Ink:
    """Draw a lemon-balm leaf: swinging midrib, forward teeth, cuts that narrow to the margin."""
    spine = Spine(chain_through((400 + 800j, -78), 452 + 590j, 500 + 330j, (690 + 10j, -42)))
    marks = [0.0, 0.18, 0.30, 0.42, 0.54, 0.65, 0.75, 0.84]

    def edge(s: float, width: float) -> float:
        top = math.pow(0.37, 0.62) * math.pow(0.63, 1.05)
        return width * math.pow(s, 0.62) * math.pow(1 - s, 1.05) / top

    def margin(side: float, width: float) -> Chain:
        pieces = []
        at = spine.beside(0.0, side * 12)
        for a, b in pairwise(marks):
            swell = 0.05 * edge(b, width)
            middle = spine.beside(a + 0.5 * (b - a), side * (edge((a + b) / 2, width) + swell))
            tip = spine.beside(b + 0.012, side * (edge(b, width) + 0.6 * swell + 3))
            pieces.append(chain_through(at, middle, tip))
            at = spine.beside(b + 0.004, side * (edge(b, width) * 0.9 - 4))
        b = marks[-1]
        pieces.append(
            chain_through(
                at,
                spine.beside(0.9, side * (edge(0.9, width) + 4)),
                (spine.beside(1.0, side * 7), spine.way(1.0)),
            )
        )
        return join_open(*pieces)

    left, right = margin(-1, 262), margin(1, 240)
    ink = Ink().add(join(left, right[::-1, ::-1]), disc(spine.at(1.0), 7))
    stalk = Spine(chain_through((215 + 950j, 20), 330 + 945j, (402 + 780j, -80)))
    ink.add(brush(stalk, [(0, 33), (0.3, 25), (1, 26)]))
    ink.cut(brush(along(spine, 0.03, 0.9), [(0, 20), (0.5, 17), (1, 12)]))
    for s, reach in [(0.07, 196), (0.19, 232), (0.315, 228), (0.435, 198), (0.55, 156), (0.655, 112)]:
        for side in (-1, 1):
            start = s + (0.018 if side > 0 else 0.0)
            way = spine.way(start) + side * (62 - 14 * s)
            vein = sweep(spine.at(start), way, reach * (0.93 if side > 0 else 1), -side * 26)
            ink.cut(brush(vein, [(0, 12), (0.35, 16), (1, 12)]))
    return ink


def sprig() -> Ink:
    """Draw a bay sprig: a swaying stem, leaves in near pairs, each with one cut."""
    stem = Spine(chain_through((300 + 990j, -60), 450 + 690j, 478 + 380j, (580 + 190j, -50)))
    ink = Ink().add(brush(stem, [(0, 28), (0.3, 19), (1, 14)]))

    def one(base: complex, way: float, length: float, width: float, bend: float) -> None:
        spine = sweep(base, way, length, bend)
        side = 1 if bend < 0 else -1
        ink.add(blade(spine, width * (1 - 0.1 * side), width * (1 + 0.1 * side), belly=0.46, tip=12))
        ink.cut(brush(along(spine, 0.15, 0.76), [(0, 12), (0.4, 15), (1, 12)]))

    for s, side, length, width, angle in [
        (0.22, 1, 330, 74, 62),
        (0.26, -1, 280, 70, 88),
        (0.465, 1, 285, 68, 66),
        (0.545, -1, 290, 68, 76),
        (0.73, 1, 250, 62, 60),
        (0.82, -1, 240, 56, 70),
    ]:
        one(stem.at(s), stem.way(s) + side * angle, length, width, -side * 40)
    one(stem.at(0.97), stem.way(0.97) - 10, 240, 60, 18)
    return ink


def fern() -> Ink:
    """Draw a fern crozier: a frond still coiled, its leaflets shrinking into the coil."""
    centre, outer = 590 + 365j, 285.0
    turn = np.arange(0, 676, 45.0)
    radius = outer * np.exp(-turn / 360 * 0.93)
    coil = [centre + r * heading(185 + t) for r, t in zip(radius, turn, strict=True)]
    spine = Spine(chain_through((455 + 1000j, -95), 410 + 810j, 325 + 590j, *coil))
    ink = Ink().add(
        brush(
            spine,
            [(0, 54), (0.12, 46), (0.4, 43), (0.6, 39), (0.8, 27), (1, 25)],
            pieces=72,
        )
    )
    ink.add(disc(spine.beside(0.995, 10), 38))
    outside = 12
    for k in range(outside):
        f = k / (outside - 1)
        s = 0.085 + 0.52 * (1 - (1 - f) ** 1.3)
        size = 168 * (1 - f) ** 0.75 + 60
        side = sweep(spine.beside(s, -14), spine.way(s) - 74, size, 70)
        ink.add(blade(side, size * 0.13 + 8, size * 0.08 + 8, belly=0.42, tip=12))
    for k in range(4):
        f = k / 3
        s = 0.075 + 0.195 * f
        size = 158 - 66 * f
        side = sweep(spine.beside(s, 14), spine.way(s) + 72, size, -70)
        ink.add(blade(side, size * 0.08 + 8, size * 0.13 + 8, belly=0.42, tip=12))
    ink.cut(brush(along(spine, 0.025, 0.62), [(0, 16), (0.5, 14), (1, 13)], pieces=60))
    return ink


def tendril() -> Ink:
    """Draw one scroll of a running border: a hook that coils on a berry, and a leaf."""
    centre, outer = 610 + 330j, 268.0
    turn = np.arange(0, 541, 45.0)
    radius = outer * np.exp(-turn / 360 * 0.88)
    coil = [centre + r * heading(80 - t) for r, t in zip(radius, turn, strict=True)]
    spine = Spine(chain_through((0 + 400j, 62), 120 + 530j, 350 + 622j, *coil))
    ink = Ink().add(brush(spine, [(0, 12), (0.2, 26), (0.42, 37), (0.7, 27), (1, 17)], pieces=80))
    ink.add(disc(spine.beside(0.99, -4), 54))
    back = Spine(chain_through((spine.at(0.175), -62), 214 + 350j, 160 + 150j, (-40 + 60j, 160)))
    ink.add(blade(back, 118, 116, belly=0.42, tip=12, fullness=0.85, pieces=24))
    ink.cut(brush(along(back, 0.16, 0.8), [(0, 14), (0.4, 17), (1, 12)]))
    for s, reach in [(0.24, 112), (0.40, 118), (0.56, 90)]:
        for side in (-1, 1):
            vein = sweep(back.at(s), back.way(s) + side * 50, reach, -side * 24)
            ink.cut(brush(vein, [(0, 12), (0.4, 13), (1, 12)]))
    hook = Spine(chain_through((spine.at(0.31), 18), 790 + 690j, (1000 + 540j, -78)))
    ink.add(blade(hook, 32, 56, belly=0.6, tip=12, pieces=24))
    bract = sweep(spine.at(0.47), spine.way(0.47) + 22, 215, 66)
    ink.add(blade(bract, 42, 24, belly=0.45, tip=12))
    return ink


def bud() -> Ink:
    """Draw a plain seed drop for small fillers."""
    half = chain_through((11 + 0j, 80), 112 + 240j, 206 + 540j, (0 + 800j, 180))
    ink = Ink().add(join(half, mirrored(half)), disc(0 + 0j, 11))
    ink.cut(blade(Spine(chain_through(0 + 190j, 0 + 700j)), 32, belly=0.68, tip=12))
    side = Spine(chain_through(78 + 330j, 128 + 500j, 84 + 680j))
    cut = brush(side, [(0, 12), (0.6, 22), (1, 12)])
    ink.cut(cut, mirrored(cut))
    return ink
