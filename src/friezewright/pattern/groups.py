"""The seven frieze groups and the seventeen plane groups, as exact operations in lattice coordinates.

Terms. An *operation* takes the point ``(x, y)``, counted in repeat vectors, to ``W (x, y) + w`` with a whole-number
matrix
``W`` and a fractional shift ``w``; modulo whole steps a group has finitely many of them, one a copy in the cell. In a
strip x counts pitches and y is left in mm, so every y shift is 0. A *mirror site* is a mirror line, or a point where
several lines meet.

Source: general positions of International Tables for Crystallography, volume A (plane groups 1 to 17, hexagonal cells
with an angle of 120 degrees), checked through spglib in the tests; friezes by their short international symbols. The
tables are drawn with y upwards, here y points down. Each group is its own image in a mirror, so the same operations
make the same group; what the tables turn anticlockwise merely turns clockwise on the screen.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from functools import cache
from typing import TypeAlias

from friezewright.errors import InputError

__all__ = [
    "CellShape",
    "FriezeGroup",
    "Group",
    "MirrorSite",
    "Operation",
    "PlaneGroup",
    "cell_shape",
    "describe",
    "frieze_named",
    "has_mirrors",
    "mirror_sites",
    "operations",
    "plain_name",
    "plane_named",
]


class FriezeGroup(StrEnum):
    """The seven symmetries of an endless row: p1m1 has mirrors across the row, p11m along it."""

    P1 = "p1"
    P11G = "p11g"
    P1M1 = "p1m1"
    P2 = "p2"
    P2MG = "p2mg"
    P11M = "p11m"
    P2MM = "p2mm"


class PlaneGroup(StrEnum):
    """The seventeen symmetries of an endless ground, in the order of the tables."""

    P1 = "p1"
    P2 = "p2"
    PM = "pm"
    PG = "pg"
    CM = "cm"
    P2MM = "p2mm"
    P2MG = "p2mg"
    P2GG = "p2gg"
    C2MM = "c2mm"
    P4 = "p4"
    P4MM = "p4mm"
    P4GM = "p4gm"
    P3 = "p3"
    P3M1 = "p3m1"
    P31M = "p31m"
    P6 = "p6"
    P6MM = "p6mm"


Group: TypeAlias = FriezeGroup | PlaneGroup


class CellShape(StrEnum):
    """What a group asks of its repeat vectors."""

    ROW = "row"
    OBLIQUE = "oblique"
    RECTANGLE = "rectangle"
    SQUARE = "square"
    HEXAGON = "hexagon"


@dataclass(frozen=True, slots=True)
class Operation:
    """A symmetry operation ``p -> matrix p + shift`` in lattice coordinates; exact."""

    matrix: tuple[tuple[int, int], tuple[int, int]]
    shift: tuple[Fraction, Fraction]

    @property
    def determinant(self) -> int:
        """1 for a turn or a shift, -1 for a mirror or a glide."""
        (a, b), (c, d) = self.matrix
        return a * d - b * c

    def apply(self, point: tuple[Fraction, Fraction]) -> tuple[Fraction, Fraction]:
        """Return the image of an exact point; whole steps are not taken off."""
        (a, b), (c, d) = self.matrix
        x, y = point
        return a * x + b * y + self.shift[0], c * x + d * y + self.shift[1]

    def after(self, first: Operation) -> Operation:
        """Return the operation that does ``first``, then this one, modulo whole steps."""
        (a, b), (c, d) = self.matrix
        (e, f), (g, h) = first.matrix
        product = ((a * e + b * g, a * f + b * h), (c * e + d * g, c * f + d * h))
        return Operation(product, self.apply(first.shift)).reduced()

    def inverse(self) -> Operation:
        """Return the operation that undoes this one, modulo whole steps."""
        (a, b), (c, d) = self.matrix
        det = self.determinant
        back = Operation(((d * det, -b * det), (-c * det, a * det)), (Fraction(0), Fraction(0)))
        x, y = back.apply(self.shift)
        return Operation(back.matrix, (-x, -y)).reduced()

    def reduced(self) -> Operation:
        """Return the same operation with its shift brought into [0, 1)."""
        return Operation(self.matrix, (self.shift[0] % 1, self.shift[1] % 1))


@dataclass(frozen=True, slots=True, kw_only=True)
class MirrorSite:
    """A mirror line, or a point where mirror lines meet.

    Parameters
    ----------
    point
        A point of the site, in repeat vectors.
    along
        Direction of one mirror line, in whole repeat vectors. The motif sits on the side reached by turning from it
        clockwise on screen, as far as the next line.
    lines
        Number of mirror lines through the point; 1 for a line alone, along which a motif may slide.
    """

    point: tuple[Fraction, Fraction]
    along: tuple[int, int]
    lines: int


def _parsed(text: str) -> Operation:
    """Return the operation written like ``-x+1/2,y``."""
    matrix, shift = [], []
    for part in text.split(","):
        row, constant = [0, 0], Fraction(0)
        for term in part.replace("-", "+-").split("+"):
            sign = -1 if term.startswith("-") else 1
            symbol = term.lstrip("-")
            if symbol in ("x", "y"):
                row["xy".index(symbol)] += sign
            elif symbol:
                constant += sign * Fraction(symbol)
        matrix.append((row[0], row[1]))
        shift.append(constant)
    return Operation((matrix[0], matrix[1]), (shift[0] % 1, shift[1] % 1))


_TURNS_4 = "x,y; -x,-y; -y,x; y,-x"
_TURNS_3 = "x,y; -y,x-y; -x+y,-x"
_TURNS_6 = f"{_TURNS_3}; -x,-y; y,-x+y; x-y,x"
_MIRRORS_3M1 = "-y,-x; -x+y,y; x,x-y"
_MIRRORS_31M = "y,x; x-y,-y; -x,-x+y"
_ROW = CellShape.ROW
_CELLS = {
    FriezeGroup.P1: (_ROW, "x,y"),
    FriezeGroup.P11G: (_ROW, "x,y; x+1/2,-y"),
    FriezeGroup.P1M1: (_ROW, "x,y; -x,y"),
    FriezeGroup.P2: (_ROW, "x,y; -x,-y"),
    FriezeGroup.P2MG: (_ROW, "x,y; -x,-y; -x+1/2,y; x+1/2,-y"),
    FriezeGroup.P11M: (_ROW, "x,y; x,-y"),
    FriezeGroup.P2MM: (_ROW, "x,y; -x,-y; -x,y; x,-y"),
}
_PLANE_CELLS = {
    PlaneGroup.P1: (CellShape.OBLIQUE, "x,y"),
    PlaneGroup.P2: (CellShape.OBLIQUE, "x,y; -x,-y"),
    PlaneGroup.PM: (CellShape.RECTANGLE, "x,y; -x,y"),
    PlaneGroup.PG: (CellShape.RECTANGLE, "x,y; -x,y+1/2"),
    PlaneGroup.CM: (CellShape.RECTANGLE, "x,y; -x,y; x+1/2,y+1/2; -x+1/2,y+1/2"),
    PlaneGroup.P2MM: (CellShape.RECTANGLE, "x,y; -x,-y; -x,y; x,-y"),
    PlaneGroup.P2MG: (CellShape.RECTANGLE, "x,y; -x,-y; -x+1/2,y; x+1/2,-y"),
    PlaneGroup.P2GG: (CellShape.RECTANGLE, "x,y; -x,-y; -x+1/2,y+1/2; x+1/2,-y+1/2"),
    PlaneGroup.C2MM: (
        CellShape.RECTANGLE,
        "x,y; -x,-y; -x,y; x,-y; x+1/2,y+1/2; -x+1/2,-y+1/2; -x+1/2,y+1/2; x+1/2,-y+1/2",
    ),
    PlaneGroup.P4: (CellShape.SQUARE, _TURNS_4),
    PlaneGroup.P4MM: (CellShape.SQUARE, f"{_TURNS_4}; -x,y; x,-y; y,x; -y,-x"),
    PlaneGroup.P4GM: (
        CellShape.SQUARE,
        f"{_TURNS_4}; -x+1/2,y+1/2; x+1/2,-y+1/2; y+1/2,x+1/2; -y+1/2,-x+1/2",
    ),
    PlaneGroup.P3: (CellShape.HEXAGON, _TURNS_3),
    PlaneGroup.P3M1: (CellShape.HEXAGON, f"{_TURNS_3}; {_MIRRORS_3M1}"),
    PlaneGroup.P31M: (CellShape.HEXAGON, f"{_TURNS_3}; {_MIRRORS_31M}"),
    PlaneGroup.P6: (CellShape.HEXAGON, _TURNS_6),
    PlaneGroup.P6MM: (CellShape.HEXAGON, f"{_TURNS_6}; {_MIRRORS_3M1}; {_MIRRORS_31M}"),
}

# Points first, the ones where most lines meet before others, then lines. Sites that another origin would turn into
# one another stand here once. Directions are chosen so that an upright motif sits above or left of the site.
_SITES = {
    FriezeGroup.P1M1: "0,0 along 0,1",
    FriezeGroup.P2MG: "1/4,0 along 0,1",
    FriezeGroup.P11M: "0,0 along -1,0",
    FriezeGroup.P2MM: "0,0 along -1,0 lines 2; 0,0 along 0,1; 0,0 along -1,0",
}
_PLANE_SITES = {
    PlaneGroup.PM: "0,0 along 0,1",
    PlaneGroup.CM: "0,0 along 0,1",
    PlaneGroup.P2MM: "0,0 along -1,0 lines 2; 0,0 along 0,1; 0,0 along -1,0",
    PlaneGroup.P2MG: "1/4,0 along 0,1",
    PlaneGroup.C2MM: "0,0 along -1,0 lines 2; 0,0 along 0,1; 0,0 along -1,0",
    PlaneGroup.P4MM: "0,0 along -1,0 lines 4; 1/2,0 along -1,0 lines 2; 0,0 along 0,1; 0,0 along 1,1",
    PlaneGroup.P4GM: "1/2,0 along -1,-1 lines 2; 1/2,0 along 1,1",
    PlaneGroup.P3M1: "0,0 along -1,-2 lines 3; 0,0 along 1,2",
    PlaneGroup.P31M: "0,0 along -1,-1 lines 3; 0,0 along -1,0",
    PlaneGroup.P6MM: (
        "0,0 along -1,-2 lines 6; 1/3,2/3 along -1,-2 lines 3; 1/2,0 along -1,0 lines 2; 0,0 along 1,2; 0,0 along -1,0"
    ),
}

_WORDS = {
    FriezeGroup.P1: ("plain row", "The motif follows itself, always facing the same way"),
    FriezeGroup.P11G: ("up-and-down row", "Every second motif is flipped top to bottom"),
    FriezeGroup.P1M1: ("facing pairs", "Every second motif is mirrored left to right, so neighbours face each other"),
    FriezeGroup.P2: ("half-turn row", "Every second motif stands on its head, given a half turn"),
    FriezeGroup.P2MG: ("turning pairs", "Facing pairs, every second pair standing on its head"),
    FriezeGroup.P11M: ("reflected row", "A row above its own reflection, as in still water"),
    FriezeGroup.P2MM: ("reflected pairs", "Facing pairs above their own reflection"),
}
_PLANE_WORDS = {
    PlaneGroup.P1: ("plain ground", "Rows of the motif, every copy facing the same way"),
    PlaneGroup.P2: ("half-turn ground", "Every second motif stands on its head, given a half turn"),
    PlaneGroup.PM: ("mirrored columns", "Columns of the motif, each the mirror image of the column beside it"),
    PlaneGroup.PG: ("alternating ground", "Rows facing left and right by turns, without any mirror line"),
    PlaneGroup.CM: ("staggered mirrors", "Mirror images side by side, every second row set half a step along"),
    PlaneGroup.P2MM: ("mirrored blocks", "Blocks of four: mirrored left to right and top to bottom"),
    PlaneGroup.P2MG: ("turning columns", "Facing pairs, each next row of them standing on its head"),
    PlaneGroup.P2GG: ("woven ground", "Motifs flipped and given half turns by turns, like over and under in a weave"),
    PlaneGroup.C2MM: ("staggered blocks", "Blocks of four mirror images, every second row set half a step along"),
    PlaneGroup.P4: ("whirls of four", "Four motifs round a point, each a quarter turn on from the last"),
    PlaneGroup.P4MM: (
        "mirrored squares",
        "Eight images round a point, as in two mirrors held half a right angle apart",
    ),
    PlaneGroup.P4GM: ("chequered whirls", "Whirls of four and their mirror images by turns, as on a chequerboard"),
    PlaneGroup.P3: ("whirls of three", "Three motifs round a point, each a third of a turn on from the last"),
    PlaneGroup.P3M1: ("mirrored triangles", "Six images round every point, as between three mirrors"),
    PlaneGroup.P31M: ("whirls between mirrors", "Whirls of three, each the mirror image of the whirls beside it"),
    PlaneGroup.P6: ("whirls of six", "Six motifs round a point, each a sixth of a turn on from the last"),
    PlaneGroup.P6MM: ("mirrored stars", "Twelve images round a point, as a six-pointed snowflake has"),
}


def _cell(group: Group) -> tuple[CellShape, str]:
    # Symbols occur in both kinds, and equal strings would share a key; so each kind has a table of its own.
    return _CELLS[group] if isinstance(group, FriezeGroup) else _PLANE_CELLS[group]


def _words(group: Group) -> tuple[str, str]:
    return _WORDS[group] if isinstance(group, FriezeGroup) else _PLANE_WORDS[group]


def operations(group: Group) -> tuple[Operation, ...]:
    """Return the operations of a group modulo whole steps, the identity first.

    Centred cells (cm, c2mm) count their centring as operations of their own.

    Examples
    --------
    >>> [str(o.shift[0]) for o in operations(FriezeGroup.P11G)]
    ['0', '1/2']
    """
    return _operations(isinstance(group, PlaneGroup), str(group))


@cache
def _operations(plane: bool, symbol: str) -> tuple[Operation, ...]:
    group: Group = PlaneGroup(symbol) if plane else FriezeGroup(symbol)
    return tuple(_parsed(part.strip()) for part in _cell(group)[1].split(";"))


def cell_shape(group: Group) -> CellShape:
    """Return what the group asks of its repeat vectors."""
    return _cell(group)[0]


def has_mirrors(group: Group) -> bool:
    """Return whether the group has mirror lines (glides alone are none)."""
    steps = (-1, 0, 1)
    second = steps if isinstance(group, PlaneGroup) else (0,)
    return any(
        all(moved == 0 for moved in _slide(operation, i, j))
        for operation in operations(group)
        if operation.determinant == -1
        for i in steps
        for j in second
    )


def _slide(operation: Operation, i: int, j: int) -> tuple[Fraction, Fraction]:
    """Return the shift of the operation done twice, after a further whole step: 0 for a mirror, not for a glide."""
    x, y = operation.shift[0] + i, operation.shift[1] + j
    (a, b), (c, d) = operation.matrix
    return a * x + b * y + x, c * x + d * y + y


def mirror_sites(group: Group) -> tuple[MirrorSite, ...]:
    """Return where a motif may be fused with its mirror images: points first, then lines; none without mirrors."""
    text = _SITES.get(group, "") if isinstance(group, FriezeGroup) else _PLANE_SITES.get(group, "")
    sites = []
    for part in filter(None, text.split("; ")):
        place, _, rest = part.partition(" along ")
        direction, _, lines = rest.partition(" lines ")
        x, y = (Fraction(number) for number in place.split(","))
        i, j = (int(number) for number in direction.split(","))
        sites.append(MirrorSite(point=(x, y), along=(i, j), lines=int(lines or 1)))
    return tuple(sites)


def plain_name(group: Group) -> str:
    """Return the name a maker can use in place of the symbol."""
    return _words(group)[0]


def describe(group: Group) -> str:
    """Return one plain sentence about the group, without a full stop."""
    return _words(group)[1]


def frieze_named(text: str) -> FriezeGroup:
    """Return the frieze group of a symbol or plain name, however it is spaced or hyphenated.

    Raises
    ------
    InputError
        If there is none; the message lists what is known.

    Examples
    --------
    >>> frieze_named("Facing-pairs")
    <FriezeGroup.P1M1: 'p1m1'>
    """
    for group in FriezeGroup:
        if _plain(text) in (_plain(group), _plain(plain_name(group))):
            return group
    raise InputError(f"{text!r} is not a strip known here; use one of {_listed(tuple(FriezeGroup))}")


def plane_named(text: str) -> PlaneGroup:
    """Return the plane group of a symbol or plain name, however it is spaced or hyphenated.

    Raises
    ------
    InputError
        If there is none; the message lists what is known.
    """
    for group in PlaneGroup:
        if _plain(text) in (_plain(group), _plain(plain_name(group))):
            return group
    raise InputError(f"{text!r} is not a field known here; use one of {_listed(tuple(PlaneGroup))}")


def _plain(text: str) -> str:
    return "".join(letter for letter in text.lower() if letter.isalnum())


def _listed(groups: tuple[Group, ...]) -> str:
    return ", ".join(f"{group} ({plain_name(group)})" for group in groups)
