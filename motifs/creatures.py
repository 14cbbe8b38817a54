"""Creatures: swallow, bee and snail."""

from __future__ import annotations

import math

import numpy as np
from pen import Chain, Ink, Spine, along, blade, both, brush, chain_through, disc, heading, join, ring_through, sweep

__all__ = ["bee", "snail", "swallow"]


def _wing(front: Chain, back: Chain, side: int, slits: list[tuple[float, float]]) -> Ink:
    """Return a wing between its leading and trailing edge, feathers parted by slits.

    Each slit runs from a fraction of the trailing edge towards one of the leading edge.
    """
    lead, trail = Spine(front), Spine(back)
    tip = chain_through((complex(front[-1, 3]), lead.way(1.0)), (complex(back[0, 0]), trail.way(0.0)))
    wing = Ink().add(join(front, tip, back))
    for b, f in slits:
        start, end = trail.at(b), lead.beside(f, side * 84)
        bow = (lead.beside(f, side * 14) - lead.at(f)) + (start + end) / 2
        slit = Spine(chain_through(start + (start - end) * 0.3, bow, end))
        wing.cut(brush(slit, [(0, 27), (0.6, 15), (1, 12)]))
    return wing


def swallow() -> Ink:
    """Draw a swallow turning on the wing, feathers parted along the trailing edges."""
    # Drawn along +x, head to the right, and turned at the end.
    ink = _wing(
        chain_through((130 - 20j, -50), 205 - 150j, 170 - 290j, 30 - 440j, (-262 - 594j, -165)),
        chain_through((-266 - 578j, 26), -120 - 420j, -82 - 280j, -112 - 165j, (-150 - 20j, 120)),
        -1,
        [(0.38, 0.54), (0.53, 0.43), (0.68, 0.31), (0.83, 0.19)],
    )
    ink.merge(
        _wing(
            chain_through((130 + 20j, 50), 226 + 140j, 224 + 270j, 128 + 420j, (-70 + 562j, 146)),
            chain_through((-80 + 550j, -50), 0 + 410j, -50 + 270j, -100 + 165j, (-150 + 20j, -120)),
            1,
            [(0.30, 0.60), (0.46, 0.48), (0.62, 0.34), (0.80, 0.20)],
        )
    )
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
        torso.add(brush(streamer, [(0, 44), (0.3, 40), (0.62, 22), (1, 12)]))
    ink.merge(torso)
    ink.cut(blade(Spine(chain_through(-250 + 5j, -20 + 5j, 165 + 0j)), 46, belly=0.68, tip=12))
    ink.cut(disc(268 - 14j, 14))
    return ink.placed(turn=-30)


def bee() -> Ink:
    """Draw a honey bee from above, the same on both sides."""
    fore = Spine(chain_through((70 + 350j, -42), 270 + 185j, (510 + 130j, 8)))
    hind = Spine(chain_through((80 + 410j, 8), 240 + 440j, (400 + 560j, 56)))
    wings, shade = Ink(), Ink()
    wings.add(*both(blade(hind, 74, 98, belly=0.62, tip=0, fullness=0.5, pieces=28)))
    shade.add(*both(blade(fore, 80, 148, belly=0.64, tip=0, fullness=0.5, pieces=28)))
    wings.halo(shade, 26)
    wings.merge(shade)
    for spine, a, b, off, half in [
        (fore, 0.30, 0.60, -32, 13),
        (fore, 0.68, 0.86, -26, 14),
        (fore, 0.26, 0.50, 20, 14),
        (fore, 0.58, 0.9, 22, 15),
        (fore, 0.48, 0.82, 80, 16),
        (hind, 0.34, 0.86, -26, 14),
        (hind, 0.38, 0.84, 32, 17),
    ]:
        wings.cut(*both(brush(along(spine, a, b, off), [(0, 12), (0.6, half), (1, 12)])))
    abdomen = ring_through(
        0 + 462j,
        92 + 486j,
        156 + 590j,
        142 + 720j,
        80 + 850j,
        0 + 945j,
        -80 + 850j,
        -142 + 720j,
        -156 + 590j,
        -92 + 486j,
    )
    face = ring_through(0 + 104j, 72 + 126j, 100 + 188j, 58 + 246j, 0 + 260j, -58 + 246j, -100 + 188j, -72 + 126j)
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
        legs.add(*both(brush(limb, [(0, 15), (0.5, 25), (0.72, 16), (1, 14)], pieces=24)))
    ink = Ink().merge(legs)
    ink.halo(wings, 28)
    ink.merge(wings)
    ink.halo(body, 28)
    for y, half in [(532, 15), (618, 19), (706, 20), (794, 18), (868, 13)]:
        band = Spine(chain_through(-170 + (y - 34) * 1j, (y + 16) * 1j, 170 + (y - 34) * 1j))
        body.cut(brush(band, [(0, half - 2), (0.5, half), (1, half - 2)]))
    # The thorax is furred: gouges that all lean back from the head.
    for x, y, way, length in [(58, 316, 80, 78), (0, 302, 90, 100)]:
        gouge = brush(sweep(x + y * 1j, way, length, 0.2 * x), [(0, 12), (0.4, 14), (1, 12)])
        body.cut(*both(gouge))
    body.cut(*both(brush(sweep(50 + 158j, 72, 46, 30), [(0, 12), (0.5, 15), (1, 12)])))
    ink.merge(body)
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
    # The groove comes in from outside the rim, where the last whorl leaves it.
    path[0] *= 1.14
    coil = Spine(chain_through(*path))
    shell.cut(brush(coil, [(0, 20), (0.4, 17), (0.8, 14), (1, 12)], pieces=96))
    for k in range(15):
        angle = 40 - k * 21
        frac = (62 - angle) / 360
        outer = size * math.exp(-frac * 0.62)
        inner = size * math.exp(-(frac + 1) * 0.62)
        a = centre + (outer - 26) * heading(angle)
        b = centre + (inner + 0.42 * (outer - inner)) * heading(angle - 9)
        if frac < 0.82:
            shell.cut(brush(Spine(chain_through((a, angle + 200), b)), [(0, 13), (0.5, 13), (1, 12)]))
    sole = Spine(chain_through((-440 + 392j, -2), -180 + 356j, 130 + 346j, 350 + 270j, (440 + 60j, -74)))
    body = Ink().add(brush(sole, [(0, 12), (0.2, 36), (0.45, 56), (0.7, 62), (0.88, 56), (1, 46)], pieces=32))
    head = 448 + 40j
    for way, length, bend, knob in [(-78, 190, 26, 27), (-26, 160, 20, 24)]:
        horn = sweep(head, way, length, bend)
        body.add(brush(horn, [(0, 22), (0.6, 13), (1, 13)]), disc(horn.at(1.0), knob))
    body.cut(brush(along(sole, 0.24, 0.62, 6), [(0, 12), (0.5, 14), (1, 12)]))
    body.halo(shell, 26)
    ink = Ink().merge(body)
    ink.merge(shell)
    return ink
