"""Plain fields: the seventeen plane groups laid out from one motif.

A seat and the proportions of the cell are chosen on the motif's hull (:mod:`~friezewright.pattern.cells`). Then the
cell is shrunk on the true outline: all of it, then one side, then the other, each until two copies stand the gap apart.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from friezewright.errors import InputError
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.artwork import Placements
from friezewright.geometry.outline import Outline
from friezewright.pattern.cells import Cell, Seat, best_seat, cell_of, images
from friezewright.pattern.contact import Pairs, clear_of, creep, shrink
from friezewright.pattern.groups import CellShape, MirrorSite, Operation, PlaneGroup, cell_shape, operations
from friezewright.pattern.repeat import Repeat, repeat_of
from friezewright.pattern.seat import Mirrors, centred, check_sizes, on_site, site_for

__all__ = ["field"]

_STEP_GAIN = 0.04
"""A step from row to row must save this share of the ground before straight rows are given up."""

_TURNS = 3
"""How often the sides take turns at being shrunk; each time the gain falls to a fraction."""

_LOOSE_MM = 0.05
"""By how much one side is let out while the other is shrunk: more than the flattening on the way hides."""


def field(
    shape: Outline,
    group: PlaneGroup,
    *,
    gap_mm: float | None = None,
    cell_mm: float | tuple[float, float] | None = None,
    turn_rad: float = 0.0,
    mirrors: Mirrors = Mirrors.CLEAR,
    site: int = 0,
    overlap: float | None = None,
    row_step: float | None = None,
) -> Repeat:
    """Return a plain field of a motif.

    Parameters
    ----------
    shape
        The motif, mm; it is centred on its bounding box first.
    group
        Which of the seventeen.
    gap_mm
        Smallest distance between copies; the cell is made as small as that allows.
    cell_mm
        Sides of the cell in mm, or one number for both; with it the gap follows. Cells with the symmetry of a square or
        a hexagon have equal sides.
    turn_rad
        Turn of the motif, clockwise on screen.
    mirrors
        How the motif stands to the mirror lines, where the group has any.
    site
        Which mirror site, of those of :func:`~friezewright.pattern.groups.mirror_sites` (lines alone for ``ON``).
    overlap
        For ``FUSED``: which part of the motif lies beyond the mirror and is cut away.
    row_step
        For p1 and p2: how far each row is set along, as a part of the first side. Left out, straight rows are taken, or
        half steps where they save ground.

    Returns
    -------
    Repeat
        Its first vector points along +x. Points and lines of symmetry lie where the tables have them, with the origin
        at (0, 0).

    Raises
    ------
    InputError
        If neither gap nor cell is given, a size is impossible, copies would overlap in the cell asked for, or a fused
        shape would reach the next mirror and so have no end.
    """
    lattice = cell_shape(group)
    sides = _sides(cell_mm, lattice)
    check_sizes(gap_mm, None if sides is None else min(sides), "cell", turn_rad)
    if row_step is not None and lattice is not CellShape.OBLIQUE:
        raise InputError(f"{group} has its rows where its symmetry puts them; row_step is for p1 and p2")
    place = site_for(group, mirrors, site)
    if sides is not None and place is None:
        _check_room(shape, group, cell_of(lattice, row_step or 0.0), sides)
    keep = 0.0 if gap_mm is None else gap_mm
    if sides is not None:
        keep = 0.0
    choices = []
    for step in _row_steps(lattice, row_step, sides):
        cell = cell_of(lattice, step)
        motif, seats, slides = _seated(shape, cell, group, place, mirrors, turn_rad, overlap)
        copies = _different(operations(group), place)
        seat = best_seat(motif, cell, copies, seats, gap_mm=keep, slides=slides, sides=sides)
        choices.append(_Layout(motif, cell, copies, seat))
    layout = choices[0]
    for other in choices[1:]:
        if other.area_mm2() < (1.0 - _STEP_GAIN) * layout.area_mm2():
            layout = other
    if sides is None:
        return _repeat(_shrunk(layout, keep))
    return _at_size(layout, sides, fused=mirrors is Mirrors.FUSED)


@dataclass(frozen=True, slots=True, eq=False)
class _Layout:
    """A motif, the operations that make its copies, and its seat in a cell of known sides."""

    motif: Outline
    cell: Cell
    copies: tuple[Operation, ...]
    seat: Seat

    def area_mm2(self) -> float:
        return self.cell.rise * self.seat.a_mm * self.seat.b_mm

    def at(self, a_mm: float, b_mm: float) -> _Layout:
        return _Layout(self.motif, self.cell, self.copies, Seat(place=self.seat.place, a_mm=a_mm, b_mm=b_mm))


def _check_room(shape: Outline, group: PlaneGroup, cell: Cell, sides: tuple[float, float]) -> None:
    """Refuse a cell that is smaller than the copies it is to hold, before anything is measured."""
    ink = len(operations(group)) * shape.area_mm2()
    room = cell.rise * sides[0] * sides[1]
    if room < ink:
        larger = math.sqrt(ink / room)
        raise InputError(
            f"a cell of {room:.3g} mm² cannot hold {len(operations(group))} copies of {shape.area_mm2():.3g} mm² each; "
            f"make it at least {larger:.1f} times as wide and as high"
        )


def _sides(cell_mm: float | tuple[float, float] | None, lattice: CellShape) -> tuple[float, float] | None:
    if cell_mm is None:
        return None
    a, b = cell_mm if isinstance(cell_mm, tuple) else (cell_mm, cell_mm)
    if a != b and lattice in (CellShape.SQUARE, CellShape.HEXAGON):
        raise InputError(f"this group's cell has equal sides, got {a:g} and {b:g} mm; give one number")
    return float(a), float(b)


def _row_steps(lattice: CellShape, row_step: float | None, sides: tuple[float, float] | None) -> tuple[float, ...]:
    if row_step is not None:
        if not math.isfinite(row_step):
            raise InputError(f"row_step must be a finite part of a side, got {row_step!r}")
        return (row_step % 1.0,)
    return (0.0, 0.5) if lattice is CellShape.OBLIQUE and sides is None else (0.0,)


def _seated(
    shape: Outline,
    cell: Cell,
    group: PlaneGroup,
    place: MirrorSite | None,
    mirrors: Mirrors,
    turn_rad: float,
    overlap: float | None,
) -> tuple[Outline, FloatArray, FloatArray]:
    """Return the motif, the seats to try for it and the directions they may slide in, both in repeat vectors."""
    if place is None:
        motif = centred(shape, turn_rad)
        if group is PlaneGroup.P1:
            return motif, np.zeros((1, 2)), np.zeros((0, 2))
        # Half the cell is enough: every group here repeats its seats under a half turn or a mirror.
        x, y = np.arange(13) / 24.0, np.arange(24) / 24.0
        seats = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)
        return motif, seats, np.eye(2)
    point = np.array([float(x) for x in place.point])
    direction = np.array(place.along, dtype=np.float64)
    vectors = cell.vectors(1.0, 1.0)
    dx, dy = direction[0] * vectors[0] + direction[1] * vectors[1]
    # Mirror lines of a free cell run along its sides, so its proportions do not turn them.
    motif = on_site(
        shape,
        along_rad=math.atan2(dy, dx),
        lines=place.lines,
        mirrors=mirrors,
        turn_rad=turn_rad,
        overlap=overlap,
    )
    if place.lines > 1:
        return motif, point[None], np.zeros((0, 2))
    return motif, point + np.arange(48)[:, None] / 48.0 * direction, direction[None]


def _different(group: tuple[Operation, ...], place: MirrorSite | None) -> tuple[Operation, ...]:
    """Return one operation for every different copy of a motif; on a mirror several give the same."""
    if place is None:
        return group
    point = place.point
    if place.lines == 1:
        # Slid along its line by an odd amount a seat lies on no further symmetry, and so speaks for the whole line.
        point = (point[0] + Fraction(137, 1009) * place.along[0], point[1] + Fraction(137, 1009) * place.along[1])
    first: dict[tuple[Fraction, Fraction], Operation] = {}
    for operation in group:
        x, y = operation.apply(point)
        first.setdefault((x % 1, y % 1), operation)
    return tuple(first.values())


def _pairs(layout: _Layout, spread: float, gap_mm: float) -> tuple[Pairs, FloatArray]:
    """Return all pairs that can meet while the sides stay above 1 / spread of what they are, and their steps.

    The pairs stand at size 0; the steps from the motif to each other copy, in repeat vectors, have shape (n, 2).
    """
    seat, cell = layout.seat, layout.cell
    box = layout.motif.bounds()
    # Two copies meet only if their middles are nearer than twice the furthest point.
    reach = 2.0 * float(np.hypot(*np.abs(box).max(axis=0))) * spread
    j_most = int(np.ceil(reach / (cell.rise * seat.b_mm))) + 1
    i_most = int(np.ceil(reach / seat.a_mm + abs(cell.step) * j_most)) + 1
    at = images(layout.copies, seat.place[None])[:, 0]
    away = at - at[0] - np.round(at - at[0])
    i, j = np.arange(-i_most, i_most + 1), np.arange(-j_most, j_most + 1)
    whole = np.stack(np.meshgrid(i, j, indexing="ij"), axis=-1).reshape(-1, 2)
    count = len(layout.copies)
    steps = (away[:, None] + whole[None]).reshape(-1, 2)
    copy = np.repeat(np.arange(count), len(whole))
    other = (copy > 0) | np.tile(np.any(whole != 0, axis=1), count)
    x = seat.a_mm * (steps[:, 0] + cell.step * steps[:, 1])
    y = cell.rise * seat.b_mm * steps[:, 1]
    kept = other & (np.hypot(x, y) < reach + 2.0 * gap_mm)
    steps, copy = steps[kept], copy[kept]
    turn = np.stack([cell.linear(operation) for operation in layout.copies])[copy]
    still = np.zeros((len(steps), 2))
    return Pairs(own=np.eye(2), turn=turn, offset=still, rate=still), steps


def _shrunk(layout: _Layout, gap_mm: float) -> _Layout:
    """Return the layout with its cell brought down on the true outline until the gap is just kept."""
    cell, a, b = layout.cell, layout.seat.a_mm, layout.seat.b_mm
    pairs, steps = _pairs(layout, 2.0, gap_mm)
    x, y = steps[:, 0] + cell.step * steps[:, 1], cell.rise * steps[:, 1]
    still_all = np.zeros_like(steps)
    both = Pairs(own=pairs.own, turn=pairs.turn, offset=still_all, rate=np.stack([a * x, b * y], axis=1))
    # The seat was judged by near copies and all but their last bulge; the start keeps clear of the others too.
    size = 1.02
    while not clear_of(layout.motif, both, size, gap_mm=gap_mm):
        size *= 1.02
    size = shrink(layout.motif, both, start=size, gap_mm=gap_mm, least=0.5, rough=True)
    a, b = a * size, b * size
    for _ in range(_TURNS if cell.free else 0):
        before = a * b
        for side in (0, 1):
            # The other side is let out a little, so that copies in touch can slide past one another.
            sides = [a + _LOOSE_MM, b] if side else [a, b + _LOOSE_MM]
            sides[side] = _brought_down(layout.motif, pairs, x, y, sides, side, gap_mm, creeping=True)
            sides[1 - side] = _brought_down(layout.motif, pairs, x, y, sides, 1 - side, gap_mm, creeping=False)
            if sides[0] * sides[1] < a * b:
                a, b = sides
        if a * b > (1.0 - 1e-3) * before:
            break
    # Brought down roughly so far; now to the gap itself, both sides at once.
    both = Pairs(own=pairs.own, turn=pairs.turn, offset=still_all, rate=np.stack([a * x, b * y], axis=1))
    size = shrink(layout.motif, both, start=1.0, gap_mm=gap_mm, least=0.5)
    a, b = a * size, b * size
    return layout.at(a, b)


def _brought_down(
    motif: Outline,
    pairs: Pairs,
    x: FloatArray,
    y: FloatArray,
    sides: list[float],
    side: int,
    gap_mm: float,
    *,
    creeping: bool,
) -> float:
    """Return one side of the cell, shrunk while the other stands."""
    zero = np.zeros_like(x)
    rate = np.stack([zero, y] if side else [x, zero], axis=1)
    offset = np.stack([sides[0] * x, zero] if side else [zero, sides[1] * y], axis=1)
    moving = Pairs(own=pairs.own, turn=pairs.turn, offset=offset, rate=rate)
    length = shrink(motif, moving, start=sides[side], gap_mm=gap_mm, least=0.5 * sides[side], rough=True)
    return creep(motif, moving, start=length, gap_mm=gap_mm) if creeping else length


def _at_size(layout: _Layout, sides: tuple[float, float], *, fused: bool) -> Repeat:
    repeat = _repeat(layout.at(*sides))
    if repeat.gap_mm > 0.0:
        return repeat
    tight = _shrunk(layout, 0.0).seat
    asked, needed = f"{sides[0]:g} by {sides[1]:g} mm", f"{tight.a_mm:.2f} by {tight.b_mm:.2f} mm"
    if fused:
        raise InputError(
            f"in a cell of {asked} the fused shape would reach the next mirror and never end; "
            f"use a cell above {needed} or a smaller motif"
        )
    raise InputError(f"in a cell of {asked} the copies overlap; use a cell above {needed} or a smaller motif")


def _repeat(layout: _Layout) -> Repeat:
    vectors = layout.cell.vectors(layout.seat.a_mm, layout.seat.b_mm)
    at = images(layout.copies, layout.seat.place[None])[:, 0]
    # Copies are gathered round the origin, where the richest symmetry is.
    at = at - np.floor(at + 0.5 - 1e-9)
    count = len(at)
    matrix = np.zeros((count, 2, 3))
    matrix[:, :, :2] = np.stack([layout.cell.linear(operation) for operation in layout.copies])
    matrix[:, :, 2] = at[:, :1] * vectors[0] + at[:, 1:] * vectors[1]
    cell = Placements(matrix=matrix, shape=np.zeros(count, dtype=np.int64), member=np.arange(count))
    return repeat_of(vectors, (layout.motif,), cell)
