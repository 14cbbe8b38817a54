"""Fruits of field and wood: acorn, wheat, mushroom and star anise."""

from __future__ import annotations

from pen import Chain, Ink, Spine, along, blade, brush, chain_through, disc, heading, join, moved, ring_through, sweep

__all__ = ["acorn", "anise", "mushroom", "wheat"]


def _oak_leaf(spine: Spine, width: float) -> Chain:
    """Return the lobed ring of an oak leaf along a spine."""
    marks = [
        (0.02, 0.16),
        (0.12, 0.36),
        (0.22, 0.62),
        (0.31, 0.66),
        (0.37, 0.36),
        (0.46, 0.82),
        (0.56, 0.92),
        (0.61, 0.46),
        (0.70, 0.80),
        (0.80, 0.82),
        (0.84, 0.42),
        (0.93, 0.42),
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
    for x, top, low in [(-132.0, 96.0, 250.0), (-74.0, 92.0, 176.0)]:
        gouge = Spine(chain_through(x + top * 1j, (x * 0.93 - 4) + (top + low) * 0.5j, x * 0.66 + low * 1j))
        nut.cut(brush(gouge, [(0, 12), (0.4, 16), (1, 12)]))
    cup = Ink().add(
        join(
            chain_through((-258 + 10j, -100), -205 - 130j, (0 - 215j, 0), 205 - 130j, (258 + 10j, 100)),
            chain_through((232 + 44j, 190), 0 + 22j, (-232 + 44j, 170)),
        )
    )
    for y, count, reach, drop in [(-12, 5, 186, 30), (-84, 4, 140, 30), (-150, 3, 82, 26)]:
        for k in range(count):
            x = (k - (count - 1) / 2) * 2 * reach / (count - 1)
            lift = 14 * (x / 200) ** 2
            scale = Spine(
                chain_through(x - 25 + (y - drop + lift) * 1j, x + (y + lift) * 1j, x + 25 + (y - drop + lift) * 1j)
            )
            cup.cut(brush(scale, [(0, 12), (0.5, 14), (1, 12)]))
    fruit = Ink()
    fruit.merge(nut)
    fruit.halo(cup, 26)
    fruit.merge(cup)
    fruit = fruit.placed(turn=22)
    leaf_spine = Spine(chain_through((75 - 468j, 175), -130 - 400j, -300 - 210j, (-400 + 70j, 118)))
    foliage = Ink().add(_oak_leaf(leaf_spine, 190))
    foliage.cut(brush(along(leaf_spine, 0.06, 0.88), [(0, 17), (0.5, 15), (1, 12)]))
    for s, outside, inside in [(0.17, 112, 96), (0.42, 138, 58), (0.66, 120, 56)]:
        for side, reach in ((-1, inside), (1, outside)):
            vein = sweep(leaf_spine.at(s), leaf_spine.way(s) + side * 52, reach, -side * 16)
            foliage.cut(brush(vein, [(0, 12), (0.4, 14), (1, 12)]))
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
            brush(bristle, [(0, 22), (0.4, 16), (1, 13)]),
            blade(kernel, width, width, belly=0.48, tip=12, fullness=0.75),
        )
        ink.cut(brush(along(kernel, 0.26, 0.76), [(0, 13), (0.45, 16), (1, 13)]))

    rows = 4
    for k in range(rows):
        f = k / (rows - 1)
        for side in (1, -1):
            s = 0.345 + 0.465 * f + (0.045 if side > 0 else 0.0)
            way = spine.way(s) + (56 - 3 * f if side > 0 else -58 + 5 * f)
            grain(spine.beside(s, side * 4), way, 222 - 30 * f, 54 - 6 * f, 120 + 10 * f, -16 if side > 0 else 30)
    grain(spine.at(0.97), spine.way(1.0) - 4, 190, 47, 120, 8)
    for start, way, knots, width in [
        (0.10, -62, (500 + 790j, 610 + 760j, (700 + 880j, 84)), 36),
        (0.17, -116, (240 + 740j, 140 + 710j, (70 + 820j, 106)), 32),
    ]:
        flag = Spine(chain_through((spine.at(start), way), *knots))
        ink.add(blade(flag, width, belly=0.42, tip=12, pieces=24))
    return ink


def mushroom() -> Ink:
    """Draw a spotted mushroom, gills showing, with a young one at its foot."""

    def one(lean: float, open_: float) -> Ink:
        cap = join(
            chain_through((-400 + 20j, -84), -290 - 200j, (0 - 330j, 4), 300 - 190j, (400 + 20j, 84)),
            chain_through((380 + 54j, 186), 0 + (54 + 110 * open_) * 1j, (-380 + 54j, 174)),
        )
        shape = Ink().add(cap)
        rim = Spine(
            chain_through(-342 + 14j, -190 + 2j - 20j * open_, 0 - 20j * open_, 190 + 2j - 20j * open_, 342 + 14j)
        )
        shape.cut(brush(rim, [(0, 12), (0.5, 14), (1, 12)], pieces=24))
        for k in range(9):
            x = (k - 4) * 86
            low = 54 + 110 * open_ * (1 - (x / 400) ** 2)
            gill = Spine(
                chain_through(x * 0.96 + (10 - 26 * open_ * (1 - (abs(x) / 400))) * 1j, x * 0.8 + (low - 26) * 1j)
            )
            if abs(x) < 330:
                shape.cut(brush(gill, [(0, 15), (1, 12)]))
        for x, y, r, squash, tilt in [
            (-238, -92, 46, 0.72, -40),
            (-70, -200, 56, 0.76, -12),
            (118, -118, 54, 0.86, 8),
            (262, -60, 34, 0.75, 42),
            (-98, -72, 32, 0.85, 0),
            (150, -236, 32, 0.7, 24),
        ]:
            shape.cut(disc(x + y * 1j, r, squash, tilt))
        stem = Spine(chain_through((10 + 90j, 92), -20 + 330j, (lean + 590j, 84)))
        foot = Ink().add(brush(stem, [(0, 64), (0.35, 58), (0.8, 88), (1, 66)], pieces=24))
        for off, a, b in [(-30, 0.58, 0.9), (26, 0.62, 0.95)]:
            foot.cut(brush(along(stem, a, b, off), [(0, 12), (0.5, 14), (1, 12)]))
        skirt = join(
            chain_through((-58 + 190j, 165), -112 + 262j, (-132 + 310j, 80)),
            chain_through((-132 + 310j, -40), -66 + 296j, (-8 + 322j, 40)),
            chain_through((-8 + 322j, -40), 56 + 300j, (118 + 322j, 40)),
            chain_through((118 + 322j, -80), 96 + 262j, (56 + 190j, 195)),
        )
        frill = Ink().add(skirt)
        below = Ink().add(moved(skirt, by=32j))
        foot.take(below)
        foot.merge(frill)
        foot.add(brush(along(stem, 0.0, 0.3), [(0, 56), (1, 58)]))
        foot.halo(shape, 26)
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
    stalk.halo(small, 26)
    stalk.merge(small)
    stalk = stalk.placed(by=262 + 392j)
    ink.merge(stalk)
    for base, way, length, bend in [
        (-90 + 640j, -112, 200, -46),
        (-70 + 650j, -150, 210, -26),
        (80 + 650j, -60, 150, 40),
        (300 + 650j, -34, 170, 24),
    ]:
        ink.add(blade(sweep(base, way, length, bend), 24, 24, belly=0.35, tip=12))
    ground = Spine(chain_through((-250 + 640j, 12), 40 + 662j, (400 + 640j, -8)))
    ink.add(blade(ground, 24, 24, tip=12, pieces=24))
    return ink


def anise() -> Ink:
    """Draw star anise: eight boats about a hub, each split on its seed."""
    ink = Ink()
    for k in range(8):
        way = -90 + 45 * k
        boat = Spine(chain_through(30 * heading(way), 490 * heading(way)))
        ink.add(blade(boat, 98, belly=0.55, tip=12, fullness=0.95, pieces=24))
    for k in range(8):
        way = -90 + 45 * k
        ink.cut(blade(Spine(chain_through(175 * heading(way), 425 * heading(way))), 55, belly=0.45, tip=14))
        ink.add(blade(Spine(chain_through(222 * heading(way), 338 * heading(way))), 25, belly=0.5, tip=14))
    ink.add(disc(0j, 90)).cut(disc(0j, 24))
    for k in range(8):
        way = -90 + 45 * k
        gap = Spine(chain_through(76 * heading(way), 128 * heading(way)))
        ink.cut(brush(gap, [(0, 12), (0.7, 13), (1, 12)]))
    return ink
