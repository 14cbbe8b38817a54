"""The layered drawing as a value: what is engraved, scored and cut, in run order, before it is written or timed.

A *part* is what one ornament contributes to a layer, or one opening or the rim in the cut layer. Areas to engrave are
outlines, everything to be followed is strokes. A whole copy stays a shape and a matrix until it is written.
"""

from __future__ import annotations

import itertools
import re
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np

from friezewright.geometry.artwork import Artwork
from friezewright.geometry.outline import Outline
from friezewright.geometry.strokes import Strokes

__all__ = ["AskedKeepOff", "Drawing", "Layer", "Operation", "Part", "Pen"]

_COLOUR = re.compile(r"#[0-9a-f]{6}\Z")


class Operation(StrEnum):
    """What the machine does along a layer; members stand in run order.

    Engraving runs first, while the sheet is still held on all sides; cutting last, because it lets the part go.
    """

    ENGRAVE = "engrave"
    SCORE = "score"
    CUT = "cut"


@dataclass(frozen=True, slots=True)
class Pen:
    """How a layer is marked in the file, so that the machine's own program tells it from the others.

    Parameters
    ----------
    colour
        Six lower-case hexadecimal digits after ``#``: the fill of areas, the stroke of lines.
    width_mm
        Drawn width of lines; means nothing to the machine.
    """

    colour: str
    width_mm: float

    def __post_init__(self) -> None:
        if not _COLOUR.match(self.colour):
            raise ValueError(f"a colour is written like #d55e00, got {self.colour!r}")
        if not self.width_mm > 0.0:
            raise ValueError(f"a line is drawn with a width of more than 0 mm, got {self.width_mm}")


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Part:
    """What one ornament (or one opening, or the rim) gives to a layer.

    Parameters
    ----------
    ornament
        Name of the ornament; in the cut layer the name of the opening, or ``rim``.
    artwork
        Outlines to burn, or strokes to follow; one copy is one path of the file.
    gap_mm
        Smallest distance between two copies that was asked for, when one was.
    """

    ornament: str
    artwork: Artwork[Outline] | Artwork[Strokes]
    gap_mm: float | None = None


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Layer:
    """One run of the machine: an operation, its parts in order, and its mark in the file."""

    operation: Operation
    parts: tuple[Part, ...]
    pen: Pen

    def __post_init__(self) -> None:
        wanted = Outline if self.operation is Operation.ENGRAVE else Strokes
        for part in self.parts:
            if not all(isinstance(shape, wanted) for shape in part.artwork.shapes):
                raise ValueError(
                    f"the {self.operation} layer takes {wanted.__name__}, part {part.ornament!r} has other"
                )

    @property
    def copy_count(self) -> int:
        """Number of copies over all parts: the number of paths in the file."""
        return sum(len(part.artwork) for part in self.parts)


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedKeepOff:
    """Clear distances that were asked for, as they are written beside the drawing for whoever checks it.

    Parameters
    ----------
    rim_mm
        From anything burned to the rim.
    openings_mm
        From anything burned to each opening, as ``(name, mm)`` in the order of the cut layer.
    """

    rim_mm: float = 0.0
    openings_mm: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Drawing:
    """A whole layered drawing.

    Parameters
    ----------
    title
        Name of the job, in the maker's words.
    frame
        Left, top, width and height in mm of what the file shows: the panel's box, or the source drawing's page.
    layers
        In run order, each operation at most once; layers without parts are left out.
    keep_off
        What was asked.
    digest
        Short fingerprint of the job, empty when there is none.
    unit
        ``mm`` or ``in``: how people who made the job read lengths. The drawing itself is in mm always.
    """

    title: str
    frame: tuple[float, float, float, float]
    layers: tuple[Layer, ...]
    keep_off: AskedKeepOff = field(default_factory=AskedKeepOff)
    digest: str = ""
    unit: str = "mm"

    def __post_init__(self) -> None:
        if not np.isfinite(self.frame).all() or not (self.frame[2] > 0.0 and self.frame[3] > 0.0):
            raise ValueError(f"frame must have a width and a height, got {self.frame}")
        order = list(Operation)
        ranks = [order.index(layer.operation) for layer in self.layers]
        if any(a >= b for a, b in itertools.pairwise(ranks)):
            raise ValueError(
                f"layers must run {', '.join(order)}, each once; got {[str(x.operation) for x in self.layers]}"
            )

    def layer(self, operation: Operation) -> Layer | None:
        """Return the layer of an operation, or None where the drawing has none."""
        return next((layer for layer in self.layers if layer.operation is operation), None)
