"""The drawings themselves: each returns the ink of one motif, about 1000 units high or wide.

No line of ink and no cut is meant to be thinner than about a fortieth of the
motif's height, so that the motif can be engraved at 8 to 25 mm.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pathops
from pen import (
    Chain,
    Ink,
    Spine,
    along,
    blade,
    brush,
    chain_through,
    disc,
    heading,
    join,
    mirrored,
    moved,
    ring_through,
    sweep,
)

__all__ = ["MOTIFS"]


def leaf() -> Ink:
    """Draw a lemon-balm leaf: swinging midrib, forward teeth, cuts that narrow to the margin."""
    spine = Spine(chain_through((400 + 800j, -78), 452 + 590j, 500 + 330j, (690 + 10j, -42)))
    marks = [0.0, 0.18, 0.30, 0.42, 0.54, 0.65, 0.75, 0.84]

    def edge(s: float, width: float) -> float:
        return width * s**0.62 * (1 - s) ** 1.05 / (0.37**0.62 * 0.63**1.05)

    def margin(side: float, width: float) -> Chain:
        pieces = []
        at = spine.beside(0.0, side * 12)
        for a, b in zip(marks[:-1], marks[1:], strict=True):
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
        return join_open(pieces)

    left, right = margin(-1, 262), margin(1, 240)
    ink = Ink().add(join(left, right[::-1, ::-1]), disc(spine.at(1.0), 7))
    stalk = Spine(chain_through((215 + 950j, 20), 330 + 945j, (402 + 780j, -80)))
    ink.add(brush(stalk, [(0, 33), (0.3, 25), (1, 26)]))
    ink.cut(brush(along(spine, 0.03, 0.9), [(0, 20), (0.5, 17), (1, 10)]))
    for s, reach in [(0.07, 196), (0.19, 232), (0.315, 228), (0.435, 198), (0.55, 156), (0.655, 112)]:
        for side in (-1, 1):
            start = s + (0.018 if side > 0 else 0.0)
            way = spine.way(start) + side * (62 - 14 * s)
            vein = sweep(spine.at(start), way, reach * (0.93 if side > 0 else 1), -side * 26)
            ink.cut(brush(vein, [(0, 12), (0.35, 16), (1, 10)]))
    return ink


def join_open(pieces: list[Chain]) -> Chain:
    """Chain the pieces one after another, with straight pieces over the gaps."""
    return join(*pieces)[: sum(len(p) for p in pieces) + len(pieces) - 1]


def sprig() -> Ink:
    """Draw a bay sprig: a swaying stem, leaves in near pairs, each with one cut."""
    stem = Spine(chain_through((300 + 990j, -60), 450 + 690j, 478 + 380j, (580 + 190j, -50)))
    ink = Ink().add(brush(stem, [(0, 28), (0.3, 19), (1, 14)]))

    def one(base: complex, way: float, length: float, width: float, bend: float) -> None:
        spine = sweep(base, way, length, bend)
        side = 1 if bend < 0 else -1
        ink.add(blade(spine, width * (1 - 0.1 * side), width * (1 + 0.1 * side), belly=0.46, tip=9))
        ink.cut(brush(along(spine, 0.15, 0.76), [(0, 12), (0.4, 15), (1, 9)]))

    for s, side, length, width, angle in [
        (0.22, 1, 330, 74, 62),
        (0.27, -1, 315, 74, 78),
        (0.48, 1, 315, 72, 60),
        (0.545, -1, 290, 68, 76),
        (0.75, 1, 265, 62, 56),
        (0.82, -1, 240, 56, 70),
    ]:
        one(stem.at(s), stem.way(s) + side * angle, length, width, -side * 40)
    one(stem.at(0.97), stem.way(0.97) + 4, 235, 60, 26)
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
            [(0, 46), (0.12, 38), (0.4, 36), (0.7, 27), (0.9, 21), (1, 24)],
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
        ink.add(blade(side, size * 0.13 + 8, size * 0.08 + 8, belly=0.42, tip=11))
    for k in range(4):
        f = k / 3
        s = 0.075 + 0.195 * f
        size = 158 - 66 * f
        side = sweep(spine.beside(s, 14), spine.way(s) + 72, size, -70)
        ink.add(blade(side, size * 0.08 + 8, size * 0.13 + 8, belly=0.42, tip=11))
    ink.cut(brush(along(spine, 0.02, 0.74), [(0, 14), (0.5, 13), (1, 8)], pieces=72))
    return ink


def swallow() -> Ink:
    """Draw a swallow turning on the wing, feathers parted along the trailing edges."""
    ink = Ink()
    # Drawn along +x, head to the right, and turned at the end.
    for side, front, back, slits in [
        (
            -1,
            [(130 - 20j, -50), 205 - 150j, 170 - 290j, 30 - 440j, (-262 - 594j, -165)],
            [(-266 - 578j, 26), -120 - 420j, -82 - 280j, -112 - 165j, (-150 - 20j, 120)],
            [(0.24, 0.62), (0.40, 0.51), (0.55, 0.40), (0.69, 0.29), (0.83, 0.18)],
        ),
        (
            1,
            [(130 + 20j, 50), 226 + 140j, 224 + 270j, 128 + 420j, (-70 + 562j, 146)],
            [(-80 + 550j, -50), 0 + 410j, -50 + 270j, -100 + 165j, (-150 + 20j, -120)],
            [(0.24, 0.62), (0.40, 0.51), (0.55, 0.40), (0.69, 0.29), (0.83, 0.18)],
        ),
    ]:
        lead, trail = Spine(chain_through(*front)), Spine(chain_through(*back))
        wing = Ink().add(join(chain_through(*front), chain_through(*back)))
        for b, f in slits:
            start = trail.at(b)
            end = lead.beside(f, side * 84)
            out = start + (start - end) * 0.12
            bow = (start + end) / 2 + lead.normals(np.array([f]))[0] * side * 14
            wing.cut(
                brush(Spine(chain_through(out, bow, end)), [(0, 21), (0.5, 14), (1, 9)])
            )
        ink.merge(wing)
    torso = Ink()
    body = Spine(chain_through((-230 + 6j, 0), 0 + 4j, 190 + 0j, (345 + 2j, 10)))
    torso.add(
        brush(
            body,
            [(0, 40), (0.25, 62), (0.55, 86), (0.74, 70), (0.83, 58), (0.91, 44), (0.955, 17), (1, 7)],
            pieces=40,
        )
    )
    for side, end in [(-1, -560 - 175j), (1, -575 + 165j)]:
        streamer = Spine(chain_through((-130 + side * 14j, 180), -330 + side * 62j, end))
        torso.add(brush(streamer, [(0, 44), (0.3, 40), (0.62, 22), (1, 9)]))
    ink.merge(torso)
    ink.cut(blade(Spine(chain_through(-250 + 5j, -20 + 5j, 165 + 0j)), 46, belly=0.68, tip=11))
    ink.cut(disc(268 - 14j, 14))
    return ink_turned(ink, -30)


def ink_turned(ink: Ink, turn: float) -> Ink:
    """Return the ink turned about the origin, holes and all."""
    out = Ink()
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    out.path = ink.path.transform(c, s, -s, c, 0, 0)
    return out


def tendril() -> Ink:
    """Draw one scroll of a running border: a hook that coils on a berry, and a leaf."""
    centre, outer = 610 + 330j, 268.0
    turn = np.arange(0, 541, 45.0)
    radius = outer * np.exp(-turn / 360 * 0.88)
    coil = [centre + r * heading(80 - t) for r, t in zip(radius, turn, strict=True)]
    spine = Spine(chain_through((0 + 400j, 62), 120 + 530j, 350 + 622j, *coil))
    ink = Ink().add(
        brush(spine, [(0, 11), (0.2, 26), (0.42, 37), (0.7, 27), (1, 17)], pieces=80)
    )
    ink.add(disc(spine.beside(0.99, -4), 54))
    back = Spine(chain_through((spine.at(0.19), -52), 254 + 360j, 206 + 150j, (20 + 60j, 165)))
    ink.add(blade(back, 108, 94, belly=0.44, tip=8, fullness=0.85, pieces=24))
    ink.cut(brush(along(back, 0.16, 0.8), [(0, 14), (0.4, 17), (1, 9)]))
    for s, reach in [(0.3, 100), (0.47, 92), (0.63, 62)]:
        for side in (-1, 1):
            vein = sweep(back.at(s), back.way(s) + side * 50, reach, -side * 24)
            ink.cut(brush(vein, [(0, 11), (0.4, 13), (1, 9)]))
    hook = Spine(chain_through((spine.at(0.31), 18), 790 + 690j, (1000 + 540j, -78)))
    ink.add(blade(hook, 32, 56, belly=0.6, tip=9, pieces=24))
    bract = sweep(spine.at(0.47), spine.way(0.47) + 22, 215, 66)
    ink.add(blade(bract, 42, 24, belly=0.45, tip=9))
    return ink


def bee() -> Ink:
    """Draw a honey bee from above, the same on both sides."""

    def both(*rings: Chain) -> list[Chain]:
        return [*rings, *(mirrored(r) for r in rings)]

    fore = Spine(chain_through((70 + 350j, -42), 270 + 185j, (510 + 130j, 8)))
    hind = Spine(chain_through((80 + 410j, 8), 240 + 440j, (400 + 560j, 56)))
    wings, shade = Ink(), Ink()
    wings.add(*both(blade(hind, 70, 92, belly=0.62, tip=14, fullness=0.52, pieces=28)))
    shade.add(*both(blade(fore, 74, 136, belly=0.64, tip=14, fullness=0.52, pieces=28)))
    wings.halo(shade, 26)
    wings.merge(shade)
    for spine, a, b, off, half in [
        (fore, 0.28, 0.60, -22, 14),
        (fore, 0.67, 0.92, -22, 16),
        (fore, 0.24, 0.50, 26, 15),
        (fore, 0.57, 0.92, 28, 19),
        (fore, 0.46, 0.84, 86, 16),
        (hind, 0.34, 0.88, -20, 16),
        (hind, 0.36, 0.86, 34, 18),
    ]:
        wings.cut(*both(brush(along(spine, a, b, off), [(0, 9), (0.6, half), (1, 10)])))
    abdomen = ring_through(
        0 + 462j, 92 + 486j, 156 + 590j, 142 + 720j, 80 + 850j, 0 + 945j,
        -80 + 850j, -142 + 720j, -156 + 590j, -92 + 486j,
    )
    face = ring_through(
        0 + 112j, 66 + 134j, 90 + 190j, 54 + 244j, 0 + 258j, -54 + 244j, -90 + 190j, -66 + 134j
    )
    chest = disc(0 + 355j, 130, 0.9)
    feeler = Spine(chain_through((36 + 140j, -72), 84 + 40j, (196 + 0j, 14)))
    body = Ink().add(abdomen, face, chest)
    body.add(*both(brush(feeler, [(0, 14), (0.5, 13), (1, 20)])))
    legs = Ink()
    for knots in (
        [90 + 520j, 236 + 610j, 226 + 740j, 268 + 820j],
        [60 + 600j, 198 + 760j, 164 + 890j, 190 + 985j],
    ):
        limb = Spine(chain_through(*knots))
        legs.add(*both(brush(limb, [(0, 15), (0.5, 24), (0.72, 14), (1, 11)], pieces=24)))
    ink = Ink().merge(legs)
    ink.halo(wings, 24)
    ink.merge(wings)
    ink.halo(body, 24)
    for y, half in [(532, 15), (618, 19), (706, 20), (794, 18), (868, 13)]:
        band = Spine(chain_through(-170 + (y - 34) * 1j, (y + 16) * 1j, 170 + (y - 34) * 1j))
        body.cut(brush(band, [(0, half - 2), (0.5, half), (1, half - 2)]))
    # The thorax is furred: gouges that all lean back from the head.
    for x, y, way, length in [(34, 300, 72, 60), (88, 330, 78, 52), (44, 392, 96, 48), (0, 336, 90, 70)]:
        gouge = brush(sweep(x + y * 1j, way, length, 12), [(0, 8), (0.4, 14), (1, 8)])
        body.cut(gouge) if x == 0 else body.cut(*both(gouge))
    body.cut(*both(brush(sweep(47 + 160j, 66, 50, 30), [(0, 10), (0.5, 15), (1, 10)])))
    ink.merge(body)
    return ink


def bud() -> Ink:
    """Draw a plain seed drop for small fillers."""
    half = chain_through((11 + 0j, 80), 112 + 240j, 206 + 540j, (0 + 800j, 180))
    ink = Ink().add(join(half, mirrored(half)), disc(0 + 0j, 11))
    ink.cut(blade(Spine(chain_through(0 + 190j, 0 + 700j)), 32, belly=0.68, tip=10))
    side = Spine(chain_through(78 + 330j, 128 + 500j, 84 + 680j))
    ink.cut(*(r for s in (brush(side, [(0, 9), (0.6, 22), (1, 10)]),) for r in (s, mirrored(s))))
    return ink


def oak_leaf(spine: Spine, width: float) -> Chain:
    """Return the lobed ring of an oak leaf along a spine."""
    marks = [
        (0.02, 0.16), (0.12, 0.36), (0.22, 0.62), (0.31, 0.66), (0.37, 0.36), (0.46, 0.82),
        (0.56, 0.92), (0.61, 0.46), (0.70, 0.80), (0.80, 0.82), (0.84, 0.42), (0.93, 0.42),
    ]
    right = [spine.beside(s, width * w) for s, w in marks]
    left = [spine.beside(s + 0.015, -width * w) for s, w in reversed(marks)]
    return ring_through(*right, spine.at(1.02), *left)


def acorn() -> Ink:
    """Draw an acorn in its scaled cup, hung from a twig with one oak leaf."""
    nut = Ink().add(
        join(
            chain_through((-205 + 0j, 88), -178 + 210j, -70 + 355j, (-10 + 420j, 84)),
            chain_through((10 + 420j, -84), 70 + 355j, 178 + 210j, (205 + 0j, -88)),
        ),
        disc(0 + 416j, 13),
    )
    for x, top, low, bend in [(-130, 70, 235, 10), (-72, 62, 150, 6), (118, 200, 70, 0)]:
        if bend:
            gouge = Spine(chain_through(x + top * 1j, (x * 0.93 - 4) + (top + low) * 0.5j, x * 0.66 + low * 1j))
            nut.cut(brush(gouge, [(0, 11), (0.4, 16), (1, 9)]))
    cup = Ink().add(
        join(
            chain_through((-258 + 10j, -100), -205 - 130j, (0 - 215j, 0), 205 - 130j, (258 + 10j, 100)),
            chain_through((232 + 44j, 190), 0 + 22j, (-232 + 44j, 170)),
        )
    )
    for row, (y, count, reach, drop) in enumerate([(-12, 5, 186, 30), (-84, 4, 140, 30), (-150, 3, 82, 26)]):
        for k in range(count):
            x = (k - (count - 1) / 2) * 2 * reach / (count - 1)
            if abs(x) > reach:
                continue
            lift = -18 * (1 - (x / 230) ** 2) * 0 + 14 * (x / 200) ** 2
            scale = Spine(
                chain_through(
                    x - 25 + (y - drop + lift) * 1j, x + (y + lift) * 1j, x + 25 + (y - drop + lift) * 1j
                )
            )
            cup.cut(brush(scale, [(0, 8), (0.5, 14), (1, 8)]))
        assert row >= 0
    fruit = Ink()
    fruit.merge(nut)
    fruit.halo(cup, 24)
    fruit.merge(cup)
    fruit = ink_turned(fruit, 22)
    # The fruit now hangs about the origin, and the twig rises from its cup.
    twig = Spine(chain_through((70 - 195j, -68), 150 - 330j, (70 - 470j, -160), (-150 - 480j, -190)))
    leaf_spine = Spine(chain_through((75 - 468j, 175), -130 - 400j, -300 - 210j, (-400 + 70j, 118)))
    foliage = Ink().add(oak_leaf(leaf_spine, 190))
    foliage.cut(brush(along(leaf_spine, 0.06, 0.88), [(0, 17), (0.5, 15), (1, 9)]))
    for s, reach in [(0.17, 112), (0.42, 138), (0.66, 120)]:
        for side in (-1, 1):
            vein = sweep(leaf_spine.at(s), leaf_spine.way(s) + side * 52, reach, -side * 16)
            foliage.cut(brush(vein, [(0, 12), (0.4, 14), (1, 9)]))
    assert twig.length > 0
    ink = Ink().merge(foliage)
    ink.halo(fruit, 26)
    ink.merge(fruit)
    stem = Spine(chain_through((74 - 190j, -70), 124 - 330j, (60 - 470j, 195)))
    ink.add(brush(stem, [(0, 28), (0.5, 22), (1, 20)]))
    knot = Spine(chain_through((86 - 452j, -50), (230 - 560j, -30)))
    ink.add(brush(knot, [(0, 20), (1, 32)]))
    return ink


def wheat() -> Ink:
    """Draw a bowed ear of wheat, bearded, with two blades."""
    spine = Spine(chain_through((330 + 1060j, -86), 370 + 760j, 440 + 440j, (580 + 190j, -48)))
    ink = Ink().add(brush(spine, [(0, 24), (0.4, 18), (1, 14)], pieces=24))

    def grain(base: complex, way: float, length: float, width: float, awn: float, bend: float) -> None:
        kernel = sweep(base, way, length, bend)
        bristle = sweep(kernel.at(0.9), kernel.way(0.95), awn, bend * 0.35)
        ink.add(
            brush(bristle, [(0, 18), (0.3, 12), (1, 9)]),
            blade(kernel, width, width, belly=0.48, tip=10, fullness=0.75),
        )
        ink.cut(brush(along(kernel, 0.24, 0.74), [(0, 9), (0.45, 13), (1, 8)]))

    rows = 5
    for k in range(rows):
        f = k / (rows - 1)
        for side in (1, -1):
            t = 0.36 + 0.5 * f + (0.05 if side > 0 else 0.0)
            way = spine.way(t) + side * (54 - 6 * f)
            grain(spine.beside(t, side * 6), way, 186 - 26 * f, 43 - 5 * f, 120 + 10 * f, -side * 30)
    grain(spine.at(0.97), spine.way(1.0), 170, 40, 120, 8)
    for start, way, knots, width in [
        (0.10, -62, (500 + 790j, 610 + 760j, (700 + 880j, 84)), 36),
        (0.17, -116, (240 + 740j, 140 + 710j, (70 + 820j, 106)), 32),
    ]:
        flag = Spine(chain_through((spine.at(start), way), *knots))
        ink.add(blade(flag, width, belly=0.42, tip=9, pieces=24))
    return ink


def mushroom() -> Ink:
    """Draw a spotted mushroom, gills showing, with a young one at its foot."""

    def one(lean: float, open_: float) -> Ink:
        cap = join(
            chain_through((-400 + 20j, -84), -290 - 200j, (0 - 330j, 4), 300 - 190j, (400 + 20j, 84)),
            chain_through((380 + 54j, 186), 0 + (54 + 110 * open_) * 1j, (-380 + 54j, 174)),
        )
        shape = Ink().add(cap)
        rim = Spine(chain_through(-372 + 20j, -200 + 6j - 30j * open_, 0 - 20j * open_, 200 + 6j - 30j * open_, 372 + 20j))
        shape.cut(brush(rim, [(0, 10), (0.5, 14), (1, 10)], pieces=24))
        for k in range(9):
            x = (k - 4) * 80
            low = 54 + 110 * open_ * (1 - (x / 400) ** 2)
            gill = Spine(chain_through(x * 0.96 + (10 - 26 * open_ * (1 - (abs(x) / 400))) * 1j, x * 0.8 + (low - 26) * 1j))
            if abs(x) < 330:
                shape.cut(brush(gill, [(0, 15), (1, 9)]))
        for x, y, r, squash, tilt in [
            (-238, -92, 46, 0.72, -40), (-70, -200, 56, 0.76, -12), (118, -118, 54, 0.86, 8), (262, -60, 34, 0.75, 42),
            (-98, -72, 32, 0.85, 0), (150, -236, 32, 0.7, 24),
        ]:
            shape.cut(disc(x + y * 1j, r, squash, tilt))
        stem = Spine(chain_through((10 + 90j, 92), -20 + 330j, (lean + 590j, 84)))
        foot = Ink().add(brush(stem, [(0, 64), (0.35, 58), (0.8, 88), (1, 66)], pieces=24))
        for off, a, b in [(-22, 0.4, 0.86), (24, 0.5, 0.95)]:
            foot.cut(brush(along(stem, a, b, off), [(0, 9), (0.5, 14), (1, 9)]))
        skirt = join(
            chain_through((-58 + 190j, 165), -112 + 262j, (-132 + 310j, 80)),
            chain_through((-132 + 310j, -40), -66 + 296j, (-8 + 322j, 40)),
            chain_through((-8 + 322j, -40), 56 + 300j, (118 + 322j, 40)),
            chain_through((118 + 322j, -80), 96 + 262j, (56 + 190j, 195)),
        )
        frill = Ink().add(skirt)
        below = Ink().add(moved(skirt, by=24j))
        foot.path = pathops.op(foot.path, below.path, pathops.PathOp.DIFFERENCE)
        foot.merge(frill)
        foot.add(brush(along(stem, 0.0, 0.3), [(0, 56), (1, 58)]))
        for x in (-46, 44):
            foot.cut(brush(Spine(chain_through(x * 0.8 + 222j, x * 1.5 + 284j)), [(0, 9), (1, 12)]))
        foot.halo(shape, 20)
        foot.merge(shape)
        return foot

    tall = one(-20, 1.0)
    ink = Ink().merge(tall)
    small = Ink()
    small.add(
        join(
            chain_through((-130 + 30j, -88), -88 - 96j, (0 - 158j, 0), 88 - 96j, (130 + 30j, 88)),
            chain_through((112 + 56j, 190), 0 + 70j, (-112 + 56j, 170)),
        )
    )
    small.cut(disc(-46 - 38j, 27, 0.8, -20), disc(44 - 64j, 22, 0.8, 20), disc(50 + 8j, 17))
    stalk = Ink().add(brush(Spine(chain_through((0 + 70j, 88), (-26 + 245j, 100))), [(0, 36), (1, 50)]))
    stalk.halo(small, 16)
    stalk.merge(small)
    stalk.path = stalk.path.transform(1, 0, 0, 1, 262, 392)
    ink.merge(stalk)
    for base, way, length, bend in [
        (-90 + 640j, -112, 200, -46), (-70 + 650j, -150, 210, -26), (80 + 650j, -60, 150, 40),
        (300 + 650j, -34, 170, 24),
    ]:
        ink.add(blade(sweep(base, way, length, bend), 24, 24, belly=0.35, tip=9))
    ground = Spine(chain_through((-250 + 640j, 12), 40 + 662j, (400 + 640j, -8)))
    ink.add(blade(ground, 24, 24, tip=10, pieces=24))
    return ink


def snail() -> Ink:
    """Draw a snail with a wound, ribbed shell."""
    centre = -10 + 0j
    shell = Ink()
    size = 350.0
    turn = np.arange(0, 361, 30.0)
    rim = [centre + size * math.exp(-t / 360 * 0.62) * heading(62 - t) for t in turn]
    shell.add(join(chain_through(*rim), chain_through(rim[-1], rim[0])))
    wind = np.arange(0, 811, 30.0)
    path = [centre + (size * math.exp(-(t + 330) / 360 * 0.62)) * heading(92 - t) for t in wind]
    coil = Spine(chain_through(*path))
    shell.cut(brush(coil, [(0, 20), (0.4, 17), (0.8, 14), (1, 12)], pieces=96))
    for k in range(15):
        angle = 40 - k * 21
        frac = (62 - angle) / 360
        outer = size * math.exp(-frac * 0.62)
        inner = size * math.exp(-(frac + 1) * 0.62)
        a = centre + (outer - 26) * heading(angle)
        b = centre + (inner + 0.42 * (outer - inner)) * heading(angle - 9)
        if frac < 0.9:
            shell.cut(brush(Spine(chain_through((a, angle + 200), b)), [(0, 13), (0.5, 13), (1, 8)]))
    sole = Spine(
        chain_through((-440 + 392j, -2), -180 + 356j, 130 + 346j, 350 + 270j, (440 + 60j, -74))
    )
    body = Ink().add(
        brush(sole, [(0, 9), (0.2, 36), (0.45, 56), (0.7, 62), (0.88, 56), (1, 46)], pieces=32)
    )
    head = 448 + 40j
    for way, length, bend, knob in [(-78, 190, 26, 27), (-26, 160, 20, 24)]:
        horn = sweep(head, way, length, bend)
        body.add(brush(horn, [(0, 22), (0.6, 13), (1, 13)]), disc(horn.at(1.0), knob))
    body.cut(brush(along(sole, 0.2, 0.62, 18), [(0, 9), (0.5, 14), (1, 9)]))
    body.halo(shell, 26)
    ink = Ink().merge(body)
    ink.merge(shell)
    return ink


def anise() -> Ink:
    """Draw star anise: eight boats about a hub, each split on its seed."""
    ink = Ink()
    for k in range(8):
        way = -90 + 45 * k
        boat = Spine(chain_through(30 * heading(way), 490 * heading(way)))
        ink.add(blade(boat, 92, belly=0.55, tip=10, fullness=0.95, pieces=24))
    for k in range(8):
        way = -90 + 45 * k
        ink.cut(blade(Spine(chain_through(175 * heading(way), 425 * heading(way))), 46, belly=0.45, tip=10))
        ink.add(blade(Spine(chain_through(222 * heading(way), 338 * heading(way))), 29, belly=0.5, tip=12))
    ink.add(disc(0j, 90)).cut(disc(0j, 24))
    for k in range(8):
        way = -90 + 45 * k
        gap = Spine(chain_through(76 * heading(way), 128 * heading(way)))
        ink.cut(brush(gap, [(0, 8), (0.7, 13), (1, 11)]))
    return ink


def poppy() -> Ink:
    """Draw a poppy head under its crown, between two curled leaves, the same on both sides."""

    def both(*rings: Chain) -> list[Chain]:
        return [*rings, *(mirrored(r) for r in rings)]

    pod = Ink()
    half = chain_through((0 - 225j, 0), 120 - 205j, 232 - 60j, 222 + 80j, 120 + 220j, (46 + 290j, 120))
    pod.add(join(half, mirrored(half)))
    for x, top, low in [(0, -140, 210), (78, -134, 196), (152, -96, 130)]:
        rib = Spine(chain_through(0.8 * x + top * 1j, x * 1.1 + (top + low) * 0.42j, 0.52 * x + low * 1j))
        cut = brush(rib, [(0, 9), (0.45, 17 - x / 60), (1, 8)])
        pod.cut(*([cut] if x == 0 else both(cut)))
    crown = Ink()
    tips = [(0, -395), (98, -378), (184, -332), (240, -262)]
    for x, y in tips:
        ray = Spine(chain_through(x * 0.3 - 235j, x + y * 1j))
        ring = blade(ray, 44, belly=0.7, tip=13, fullness=0.7)
        crown.add(*([ring] if x == 0 else both(ring)))
    dish = chain_through((0 - 205j, 0), 120 - 222j, (215 - 292j, -40))
    lid = chain_through((215 - 292j, 185), 100 - 290j, (0 - 285j, 180))
    crown.add(join(dish, lid, mirrored(lid), mirrored(dish)))
    for x, y in tips[:3]:
        ray = Spine(chain_through(x * 0.62 - 252j - 8j, x * 0.9 + (y + 48) * 1j))
        cut = brush(ray, [(0, 9), (1, 11)])
        crown.cut(*([cut] if x == 0 else both(cut)))
    pod.halo(crown, 24)
    ink = Ink().merge(pod).merge(crown)
    ring = chain_through((0 + 282j, 0), 62 + 292j, (84 + 316j, 90), 62 + 340j, (0 + 348j, 180))
    collar = Ink().add(join(ring, mirrored(ring)))
    ink.halo(collar, 14)
    ink.merge(collar)
    ink.add(brush(Spine(chain_through(0 + 330j, 0 + 690j)), [(0, 30), (0.6, 24), (1, 30)]))
    leaf_spine = Spine(chain_through((10 + 660j, -35), 150 + 520j, 260 + 470j, (330 + 560j, 92)))
    ink.add(*both(blade(leaf_spine, 56, 44, belly=0.42, tip=10, pieces=24)))
    ink.cut(*both(brush(along(leaf_spine, 0.2, 0.76), [(0, 11), (0.4, 13), (1, 8)])))
    return ink


def thistle() -> Ink:
    """Draw a thistle in flower between two spiny leaves, the same on both sides."""

    def both(*rings: Chain) -> list[Chain]:
        return [*rings, *(mirrored(r) for r in rings)]

    tuft = Ink()
    for k in range(6):
        angle = k * 12.6
        base = 18 * k + (330 + 2 * k * k) * 1j
        petal = sweep(base, -90 + 0.7 * angle, 356 - 9 * k, 0.6 * angle)
        ring = brush(petal, [(0, 18), (0.55, 26), (0.8, 32), (0.92, 24), (1, 9)])
        tuft.add(*([ring] if k == 0 else both(ring)))
    heart = chain_through((0 + 130j, 0), 90 + 165j, (170 + 350j, 80))
    tuft.add(join(heart, mirrored(heart)))
    for k in range(4):
        angle = (k + 0.5) * 15.75
        start = 14 + 22 * k + (330 + 3 * k * k) * 1j + 78 * heading(-90 + angle)
        tuft.cut(*both(brush(sweep(start, -90 + 0.95 * angle, 120, 0.4 * angle), [(0, 9), (0.6, 14), (1, 9)])))
    bulb = Ink()
    half = chain_through((0 + 330j, 0), 116 + 345j, 186 + 450j, 146 + 575j, (0 + 655j, 180))
    bulb.add(join(half, mirrored(half)))
    inside = Ink().add(disc(0 + 490j, 152, 0.92))
    lines = Ink()
    for off in (-190, -65, 60, 185):
        line = Spine(chain_through(off - 120 + 330j, off * 0.92 + 12 + 490j, off + 120 + 650j))
        lines.add(*both(brush(line, [(0, 13), (1, 13)])))
    inside.path = pathops.op(inside.path, lines.path, pathops.PathOp.INTERSECTION)
    bulb.path = pathops.op(bulb.path, inside.path, pathops.PathOp.DIFFERENCE)
    for k, (y, x) in enumerate([(396, 150), (470, 176), (548, 150)]):
        spike = sweep(x - 30 + y * 1j, -20 + 14 * k, 104, -40)
        bulb.add(*both(blade(spike, 26, belly=0.3, tip=9)))
    tuft.halo(bulb, 24)
    ink = Ink().merge(tuft).merge(bulb)
    stem = Spine(chain_through(0 + 620j, 0 + 1000j))
    ink.add(brush(stem, [(0, 34), (0.5, 26), (1, 32)]))
    spine = Spine(chain_through((8 + 960j, -30), 170 + 830j, 270 + 690j, (400 + 600j, -10)))
    ragged = [
        (0.0, 12), (0.10, 26), (0.20, 78), (0.24, 34), (0.36, 100), (0.41, 42), (0.55, 98), (0.60, 38), (0.73, 72),
        (0.78, 24),
    ]
    right = [spine.beside(s + (0.05 if w > 50 else 0), w) for s, w in ragged]
    left = [spine.beside(s + (0.05 if w > 50 else 0), -w * 0.85) for s, w in ragged]

    def side(points: list[complex]) -> Chain:
        # Each spine is reached by a hollow curve from the notch before it.
        pieces = []
        for i in range(1, len(points) - 2, 2):
            pieces.append(chain_through(points[i], points[i + 1]))
            pieces.append(chain_through(points[i + 1], points[i + 2]))
        return np.concatenate([chain_through(points[0], points[1]), *pieces])

    ring = join(side(right), chain_through(spine.at(1.0)+2j, spine.at(1.0)-2j), side(left)[::-1, ::-1])
    ink.add(*both(ring))
    ink.cut(*both(brush(along(spine, 0.14, 0.84), [(0, 14), (0.5, 13), (1, 8)])))
    return ink


MOTIFS: dict[str, Callable[[], Ink]] = {
    "leaf": leaf,
    "sprig": sprig,
    "fern": fern,
    "swallow": swallow,
    "tendril": tendril,
    "bee": bee,
    "bud": bud,
    "acorn": acorn,
    "wheat": wheat,
    "mushroom": mushroom,
    "snail": snail,
    "star_anise": anise,
    "poppy_head": poppy,
    "thistle": thistle,
}
