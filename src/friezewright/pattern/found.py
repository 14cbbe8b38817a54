"""The group a layout really has: which moves take its copies onto one another.

Whatever was intended, a pitch or a symmetric motif can break a glide or add a mirror. So the copies are asked: every
move that could take the first copy to another (or to itself, where the shape is symmetric) is tried on all of them,
modulo the repeat vectors. The moves that hold are then sorted into one of the seven or seventeen groups.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from friezewright.geometry import affine
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.artwork import Placements
from friezewright.geometry.outline import BoolArray, Outline
from friezewright.pattern.groups import FriezeGroup, Group, PlaneGroup

__all__ = ["SAME_MM", "found_group", "own_symmetries"]

SAME_MM = 1e-5
"""Copies nearer than this are one: a hundredth of the last decimal that is written."""


def found_group(vectors: FloatArray, shapes: tuple[Outline, ...], cell: Placements) -> Group:
    """Return the group of an endless layout: a frieze group for one vector, a plane group for two.

    Parameters
    ----------
    vectors
        Repeat vectors in mm, shape (1, 2) along +x, or (2, 2).
    shapes
        The shapes shown.
    cell
        The copies in one cell.
    """
    moves = _moves(vectors, shapes, cell)
    return _frieze(moves) if len(vectors) == 1 else _plane(moves)


def own_symmetries(shape: Outline) -> FloatArray:
    """Return the moves that take an outline onto itself, the identity first, shape (n, 2, 3).

    Only turns by multiples of 15 degrees and mirrors at multiples of 7.5 degrees, about the middle of all points, are
    tried: no more occur in a plane group together with its lattice.
    """
    points = shape.segments.reshape(-1, 2)
    middle = points.mean(axis=0)
    kept = []
    for flip in (False, True):
        for step in range(24):
            turn = affine.rotation(step * np.pi / 12.0)
            move = affine.compose(turn, affine.mirror_y()) if flip else turn
            move = affine.compose(affine.translation(middle), affine.compose(move, affine.translation(-middle)))
            if _same_points(affine.apply(move, points), points):
                kept.append(move)
    return np.stack(kept)


def _same_points(a: FloatArray, b: FloatArray) -> bool:
    """Return whether two equally large sets of points agree, each point within the slack of one of the other set."""
    for first, second in ((a, b), (b, a)):
        order = np.argsort(second[:, 0], kind="stable")
        x = second[order, 0]
        low = np.searchsorted(x, first[:, 0] - SAME_MM)
        high = np.searchsorted(x, first[:, 0] + SAME_MM, side="right")
        if np.any(high <= low):
            return False
        for point, i, j in zip(first, low, high, strict=True):
            if np.abs(second[order[i:j], 1] - point[1]).min() > SAME_MM:
                return False
    return True


@dataclass(frozen=True, slots=True, eq=False)
class _Moves:
    """Linear parts (n, 2, 2) and shifts (n, 2) of the moves that hold, and the shortest vectors they repeat by."""

    linear: FloatArray
    shift: FloatArray
    basis: FloatArray


def _moves(vectors: FloatArray, shapes: tuple[Outline, ...], cell: Placements) -> _Moves:
    own = [own_symmetries(shape) for shape in shapes]
    first, back = int(cell.shape[0]), affine.inverse(cell.matrix[0])
    alike = np.flatnonzero(cell.shape == first)
    trial = np.concatenate([affine.compose(affine.compose(cell.matrix[k], own[first]), back) for k in alike])
    shifts = np.abs(trial[:, :, :2] - np.eye(2)).max(axis=(1, 2)) < 1e-9
    plain = np.stack([move for move in trial[shifts] if _holds(move, vectors, own, cell)])
    basis = _shortest(vectors, plain[:, :, 2])
    # A move must also carry the lattice onto itself, of which the copies of one cell say nothing.
    held = np.stack([move for move in trial if _keeps(move, basis) and _holds(move, basis, own, cell)])
    return _Moves(held[:, :, :2], held[:, :, 2], basis)


def _keeps(move: FloatArray, basis: FloatArray) -> bool:
    linear = np.concatenate([move[:, :2], np.zeros((2, 1))], axis=1)
    return bool(np.all(_whole(affine.apply(linear, basis), basis)))


def _holds(move: FloatArray, vectors: FloatArray, own: list[FloatArray], cell: Placements) -> bool:
    image = affine.compose(move, cell.matrix)
    for matrix, shape in zip(image, cell.shape, strict=True):
        # The image must be a copy of the same shape, up to the shape's own symmetry and whole repeats.
        targets = cell.matrix[cell.shape == shape]
        ways = affine.compose(targets[:, None], own[int(shape)][None]).reshape(-1, 2, 3)
        turned = np.abs(ways[:, :, :2] - matrix[:, :2]).max(axis=(1, 2)) < 1e-7
        if not np.any(turned & _whole(ways[:, :, 2] - matrix[:, 2], vectors)):
            return False
    return True


def _whole(shift: FloatArray, vectors: FloatArray) -> BoolArray:
    """Return which shifts (n, 2) are sums of whole repeat vectors."""
    steps = np.round(_in_steps(shift, vectors))
    rest = shift - steps[:, :1] * vectors[0]
    if len(vectors) == 2:
        rest = rest - steps[:, 1:] * vectors[1]
    return np.asarray(np.hypot(rest[:, 0], rest[:, 1]) < SAME_MM)


def _in_steps(shift: FloatArray, vectors: FloatArray) -> FloatArray:
    if len(vectors) == 1:
        length = float(vectors[0, 0] ** 2 + vectors[0, 1] ** 2)
        return np.asarray((shift[:, :1] * vectors[0, 0] + shift[:, 1:] * vectors[0, 1]) / length)
    (ax, ay), (bx, by) = vectors
    area = ax * by - ay * bx
    x, y = shift[:, 0], shift[:, 1]
    return np.stack([(x * by - y * bx) / area, (ax * y - ay * x) / area], axis=1)


def _shortest(vectors: FloatArray, extra: FloatArray) -> FloatArray:
    """Return the shortest repeat vectors of the lattice that ``vectors`` and further shifts make together."""
    span = np.arange(-3, 4)
    if len(vectors) == 1:
        points = (extra[:, None] + span[None, :, None] * vectors[0]).reshape(-1, 2)
    else:
        steps = span[:, None, None] * vectors[0] + span[None, :, None] * vectors[1]
        points = (extra[:, None, None] + steps[None]).reshape(-1, 2)
    length = np.hypot(points[:, 0], points[:, 1])
    points = points[np.argsort(np.round(length, 6), kind="stable")]
    points = points[np.hypot(points[:, 0], points[:, 1]) > SAME_MM]
    if len(vectors) == 1:
        return np.asarray(points[:1])
    cross = points[0, 0] * points[:, 1] - points[0, 1] * points[:, 0]
    leaning = np.abs(cross) > SAME_MM * np.hypot(*points[0])
    return np.stack([points[0], points[np.flatnonzero(leaning)[0]]])


def _frieze(moves: _Moves) -> FriezeGroup:
    linear = {tuple(np.round(part.reshape(-1)).astype(int)) for part in moves.linear}
    along = (1, 0, 0, -1) in linear
    plain = along and any(
        np.abs(part - np.diag([1.0, -1.0])).max() < 1e-7 and bool(_whole(np.array([[s[0], 0.0]]), moves.basis)[0])
        for part, s in zip(moves.linear, moves.shift, strict=True)
    )
    if (-1, 0, 0, 1) in linear:
        if not along:
            return FriezeGroup.P1M1
        return FriezeGroup.P2MM if plain else FriezeGroup.P2MG
    if along:
        return FriezeGroup.P11M if plain else FriezeGroup.P11G
    return FriezeGroup.P2 if (-1, 0, 0, -1) in linear else FriezeGroup.P1


def _plane(moves: _Moves) -> PlaneGroup:
    order = _turns(moves)
    mirrors, glides = _reflections(moves)
    if order == 6:
        return PlaneGroup.P6MM if mirrors else PlaneGroup.P6
    if order == 4:
        # With mirrors through the fourfold centres they run four ways; otherwise only two.
        return PlaneGroup.P4MM if len(mirrors) == 4 else PlaneGroup.P4GM if mirrors else PlaneGroup.P4
    if order == 3:
        if not mirrors:
            return PlaneGroup.P3
        # In p31m the mirrors run along the shortest repeat vectors, in p3m1 across them.
        return PlaneGroup.P31M if any(_fixes_short(part, moves.basis) for part in mirrors) else PlaneGroup.P3M1
    if order == 2:
        if len(mirrors) == 2:
            # A centred lattice has a glide between any two parallel mirrors, a plain one has none.
            return PlaneGroup.C2MM if any(between for between in mirrors.values()) else PlaneGroup.P2MM
        return PlaneGroup.P2MG if mirrors else PlaneGroup.P2GG if glides else PlaneGroup.P2
    if mirrors:
        return PlaneGroup.CM if any(between for between in mirrors.values()) else PlaneGroup.PM
    return PlaneGroup.PG if glides else PlaneGroup.P1


def _turns(moves: _Moves) -> int:
    """Return the highest order of a turn among the moves."""
    det = moves.linear[:, 0, 0] * moves.linear[:, 1, 1] - moves.linear[:, 0, 1] * moves.linear[:, 1, 0]
    turns = moves.linear[det > 0.0]
    angles = np.round(np.degrees(np.arctan2(turns[:, 1, 0], turns[:, 0, 0]))).astype(int) % 360
    return max((n for n in (1, 2, 3, 4, 6) if 360 // n % 360 in set(angles.tolist())), default=1)


def _reflections(moves: _Moves) -> tuple[dict[tuple[float, ...], bool], bool]:
    """Return the linear parts that occur as mirrors, each with whether it also glides, and whether any glides at all.

    A glide counts only when its slide is no whole repeat itself.
    """
    mirrors: dict[tuple[float, ...], bool] = {}
    sliding: set[tuple[float, ...]] = set()
    steps = np.array([[i, j] for i in range(-2, 3) for j in range(-2, 3)], dtype=float)
    lattice = steps[:, :1] * moves.basis[0] + steps[:, 1:] * moves.basis[1]
    for part, shift in zip(moves.linear, moves.shift, strict=True):
        if part[0, 0] * part[1, 1] - part[0, 1] * part[1, 0] > 0.0:
            continue
        key = tuple((np.round(part.reshape(-1), 6) + 0.0).tolist())
        w = shift + lattice
        slide = 0.5 * np.stack(
            [
                part[0, 0] * w[:, 0] + part[0, 1] * w[:, 1] + w[:, 0],
                part[1, 0] * w[:, 0] + part[1, 1] * w[:, 1] + w[:, 1],
            ],
            axis=1,
        )
        if np.any(np.hypot(slide[:, 0], slide[:, 1]) < SAME_MM):
            mirrors.setdefault(key, False)
        if not np.all(_whole(slide, moves.basis)):
            sliding.add(key)
    return {key: key in sliding for key in mirrors}, bool(sliding - set(mirrors))


def _fixes_short(part: tuple[float, ...], basis: FloatArray) -> bool:
    a, b, c, d = part
    shortest = float(np.hypot(*basis[0]))
    for vector in (basis[0], basis[1], basis[0] + basis[1], basis[0] - basis[1]):
        x, y = float(vector[0]), float(vector[1])
        same = np.hypot(a * x + b * y - x, c * x + d * y - y) < 1e-4 * shortest
        if same and np.hypot(x, y) < shortest * (1.0 + 1e-6):
            return True
    return False
