"""The motifs by name; each drawing is about 1000 units high or wide.

No line of ink and no cut is meant to be thinner than about a fortieth of the
motif's height, so that a motif can be engraved at 8 to 25 mm.
"""

from __future__ import annotations

from collections.abc import Callable

from creatures import bee, snail, swallow
from foliage import bud, fern, leaf, sprig, tendril
from harvest import acorn, anise, mushroom, wheat
from heads import poppy, thistle
from pen import Ink

__all__ = ["MOTIFS"]

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
