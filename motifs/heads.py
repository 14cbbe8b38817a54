"""Flower and seed heads: poppy and thistle, both mirror-symmetric."""

from __future__ import annotations

import numpy as np
from pen import Chain, Ink, Spine, along, blade, both, brush, chain_through, disc, heading, join, mirrored, sweep

__all__ = ["poppy", "thistle"]


def poppy() -> Ink:
    """Draw a poppy head under its crown, between two curled leaves, the same on both sides."""
    pod = Ink()
    half = chain_through((0 - 225j, 0), 120 - 205j, 232 - 60j, 222 + 80j, 120 + 220j, (46 + 290j, 120))
    pod.add(join(half, mirrored(half)))
    ribs = [
        (0 - 150j, 0 + 40j, 0 + 215j),
        (54 - 148j, 77 + 40j, 60 + 185j),
        (112 - 132j, 156 + 20j, 128 + 150j),
    ]
    for knots in ribs:
        cut = brush(Spine(chain_through(*knots)), [(0, 12), (0.45, 16), (1, 12)])
        pod.cut(*both(cut))
    crown = Ink()
    tips = [(0, -395), (98, -378), (184, -332), (240, -262)]
    for x, y in tips:
        ray = Spine(chain_through(x * 0.3 - 235j, x + y * 1j))
        ring = blade(ray, 46, belly=0.7, tip=0, fullness=0.5)
        crown.add(*([ring] if x == 0 else both(ring)))
    dish = chain_through((0 - 205j, 0), 120 - 222j, (215 - 292j, -40))
    lid = chain_through((215 - 292j, 185), 100 - 290j, (0 - 285j, 180))
    crown.add(join(dish, lid, mirrored(lid), mirrored(dish)))
    for x, y in tips[:3]:
        ray = Spine(chain_through(x * 0.62 - 252j - 8j, x * 0.9 + (y + 48) * 1j))
        cut = brush(ray, [(0, 13), (1, 15)])
        crown.cut(*([cut] if x == 0 else both(cut)))
    pod.halo(crown, 28)
    ink = Ink().merge(pod).merge(crown)
    ring = chain_through((0 + 282j, 0), 62 + 292j, (84 + 316j, 90), 62 + 340j, (0 + 348j, 180))
    collar = Ink().add(join(ring, mirrored(ring)))
    ink.halo(collar, 26)
    ink.merge(collar)
    ink.add(brush(Spine(chain_through(0 + 330j, 0 + 660j)), [(0, 30), (0.6, 24), (1, 30)]))
    leaf_spine = Spine(chain_through((10 + 640j, -38), 150 + 490j, 262 + 446j, (332 + 540j, 96)))
    ink.add(*both(blade(leaf_spine, 62, 54, belly=0.46, tip=12, pieces=24)))
    ink.cut(*both(brush(along(leaf_spine, 0.2, 0.74), [(0, 13), (0.4, 16), (1, 13)])))
    return ink


def thistle() -> Ink:
    """Draw a thistle in flower between two spiny leaves, the same on both sides."""
    tuft = Ink()
    for k in range(6):
        angle = k * 12.6
        base = 18 * k + (330 + 2 * k * k) * 1j
        petal = sweep(base, -90 + 0.7 * angle, 356 - 9 * k, 0.6 * angle)
        ring = brush(petal, [(0, 18), (0.55, 26), (0.8, 32), (0.92, 24), (1, 12)])
        tuft.add(*([ring] if k == 0 else both(ring)))
    heart = chain_through((0 + 130j, 0), 90 + 165j, (170 + 350j, 80))
    tuft.add(join(heart, mirrored(heart)))
    for k in range(3):
        angle = (k + 0.5) * 15.75
        start = 14 + 22 * k + (330 + 3 * k * k) * 1j + 78 * heading(-90 + angle)
        tuft.cut(*both(brush(sweep(start, -90 + 0.95 * angle, 120, 0.4 * angle), [(0, 12), (0.6, 14), (1, 12)])))
    bulb = Ink()
    half = chain_through((0 + 330j, 0), 116 + 345j, 186 + 450j, 146 + 575j, (0 + 655j, 180))
    bulb.add(join(half, mirrored(half)))
    inside = Ink().add(disc(0 + 488j, 146, 0.9))
    lines = Ink()
    for off in (-190, -65, 60, 185):
        line = Spine(chain_through(off - 120 + 330j, off * 0.92 + 12 + 490j, off + 120 + 650j))
        lines.add(*both(brush(line, [(0, 14), (1, 14)])))
    inside.keep(lines)
    bulb.take(inside)
    for k, (y, x) in enumerate([(396, 150), (470, 176), (548, 150)]):
        spike = sweep(x - 30 + y * 1j, -20 + 14 * k, 104, -40)
        bulb.add(*both(blade(spike, 26, belly=0.3, tip=12)))
    tuft.halo(bulb, 29)
    ink = Ink().merge(tuft).merge(bulb)
    stem = Spine(chain_through(0 + 620j, 0 + 1000j))
    ink.add(brush(stem, [(0, 34), (0.5, 26), (1, 32)]))
    spine = Spine(chain_through((8 + 960j, -30), 170 + 830j, 270 + 690j, (400 + 600j, -10)))
    ragged = [
        (0.0, 12),
        (0.10, 26),
        (0.20, 78),
        (0.24, 34),
        (0.36, 100),
        (0.41, 42),
        (0.55, 98),
        (0.60, 38),
        (0.73, 72),
        (0.78, 30),
    ]
    right = [spine.beside(s + (0.05 if w > 50 else 0), 1.25 * w) for s, w in ragged]
    left = [spine.beside(s + (0.05 if w > 50 else 0), -1.1 * w) for s, w in ragged]

    def side(points: list[complex]) -> Chain:
        # Each spine is reached by a hollow curve from the notch before it.
        pieces = []
        for i in range(1, len(points) - 2, 2):
            pieces.append(chain_through(points[i], points[i + 1]))
            pieces.append(chain_through(points[i + 1], points[i + 2]))
        return np.concatenate([chain_through(points[0], points[1]), *pieces])

    ring = join(side(right), chain_through(spine.at(1.0) + 5j, spine.at(1.0) - 5j), side(left)[::-1, ::-1])
    ink.add(*both(ring))
    ink.cut(*both(brush(along(spine, 0.14, 0.72), [(0, 15), (0.5, 15), (1, 13)])))
    return ink
