"""Corners: what stands there, and how much of each side they keep free.

Terms. ``h`` is half the strip's height, ``f`` the angle by which the direction turns at a corner (a quarter at a
rectangle's). At a *block* a square piece stands on the corner and both strips stop before it. *Turned* strips each run
through one corner and stop at the other, all the same way round. At a *butt* every second side runs through both of its
corners. A strip that runs through ends *flush* with the far edge of the strip it passes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from friezewright.geometry import affine
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.artwork import Artwork, Placements
from friezewright.geometry.outline import Outline
from friezewright.geometry.planar.nearness import pair_distances
from friezewright.geometry.planar.region import intersection, region_of
from friezewright.ornament.fit import Allowance
from friezewright.ornament.guide import Guide, GuideCorner

__all__ = [
    "SHALLOW_RAD",
    "Block",
    "Corner",
    "block_from_motif",
    "block_from_shape",
    "blocks_at",
    "ends_of",
    "needs_disc",
    "through",
]

SHALLOW_RAD = math.radians(30.0)
"""Below this a corner takes no piece of its own: the strips of both sides nearly follow one another."""

# Comfortable and bearable opening of the space beside a corner, in strip heights: up to an eighth it reads as the
# spacing of the strip, up to a third as the corner's own (looked at).
_EASY_SHARE, _MOST_SHARE = 0.10, 0.33
_FLATTEN_MM = 0.002
# Four motifs drawn smaller than this beside the strip's own would lose their details to the beam.
_TOO_SMALL = 0.3
# A rosette drawn by hand covers this much of its own quarter turn; a leaf or a bird covers about half.
_ROSETTE_SHARE = 0.8
_DIAGONAL = -0.75 * math.pi


class Corner(StrEnum):
    """How the strips of two sides meet."""

    BLOCK = "block"
    MITRE = "mitre"
    TURNED = "turned"
    BUTT = "butt"


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Block:
    """A corner piece as it stands at the top left corner of a rectangle, centred on the origin.

    ``half_mm`` is half the side of its square, ``radius_mm`` that of the disc round the origin that holds it.
    """

    artwork: Artwork[Outline]
    half_mm: float
    radius_mm: float

    def scaled(self, factor: float) -> Block:
        """Return the piece at another size."""
        return Block(
            artwork=self.artwork.moved(affine.scaling(factor)),
            half_mm=self.half_mm * factor,
            radius_mm=self.radius_mm * factor,
        )

    def at(self, corner: GuideCorner, *, height_mm: float) -> Artwork[Outline]:
        """Return the piece where it stands at a corner, turned so that its diagonal points outwards.

        At a rounded corner, or one that is not square, it is drawn in until it fits the disc of the strip's height, so
        that it stays in the band.
        """
        piece = self
        if needs_disc(corner):
            piece = self.scaled(min(1.0, 0.5 * height_mm / self.radius_mm))
        outward = corner.arriving - corner.leaving
        turn = math.atan2(float(outward[1]), float(outward[0])) - _DIAGONAL
        # At right angles the turn is a whole number of quarters, and is made so to the last bit.
        quarters = round(turn / (0.5 * math.pi))
        if abs(turn - 0.5 * math.pi * quarters) < 1e-9:
            turn = 0.5 * math.pi * quarters
        return piece.artwork.moved(affine.compose(affine.translation(corner.centre), affine.rotation(turn)))


def needs_disc(corner: GuideCorner) -> bool:
    """Whether a corner is rounded or not square, so that only the disc of the strip's height is sure to fit there."""
    square = abs(abs(corner.turn_rad) - 0.5 * math.pi) < 1e-6
    return not square or corner.setback_mm > 0.0 or corner.edge_round_mm > 0.0


def block_from_shape(shape: Outline, *, size_mm: float) -> Block:
    """Return a given shape, drawn for the top left corner, as a corner piece within a square of the given size."""
    low, high = shape.bounds()
    factor = size_mm / float(np.max(high - low))
    placed = affine.compose(affine.scaling(factor), affine.translation(-0.5 * (low + high)))
    return _block(Artwork.single([shape.transformed(placed)], member=0), size_mm)


def block_from_motif(motif: Outline, *, size_mm: float, gap_mm: float) -> Block:
    """Return a corner piece made by turning a motif through four quarters.

    The motif's long axis is laid along a diagonal (or across it) and moved outwards until the four copies keep the gap;
    of the four ways round, the one with the most ink in the square is taken. A motif that is a rosette already stands
    alone; so does one that four times would become too small, then on the diagonal.
    """
    low, high = motif.bounds()
    shape = motif.transformed(affine.translation(-0.5 * (low + high)))
    if _is_rosette(shape):
        return block_from_shape(shape, size_mm=size_mm)
    axis = _long_axis(shape)
    # Two in a thousand outweigh the polygons the gap is measured on.
    ratio = 2.004 * gap_mm / size_mm
    best: tuple[float, FloatArray] | None = None
    for quarter in range(4):
        turn = affine.rotation(0.25 * math.pi - axis + 0.5 * math.pi * quarter)
        found = _pushed_out(shape, turn, ratio)
        if found is not None:
            factor = 0.5 * size_mm / _reach(shape, found)
            if best is None or factor > best[0] * (1.0 + 1e-6):
                best = (factor, affine.compose(affine.scaling(factor), found))
    if best is None or best[0] < _TOO_SMALL:
        turned = shape.transformed(affine.rotation(0.25 * math.pi - axis))
        return block_from_shape(turned, size_mm=size_mm)
    turns = affine.rotation(0.5 * math.pi * np.arange(4))
    placements = Placements(
        matrix=affine.compose(turns, best[1]), shape=np.zeros(4, dtype=np.int64), member=np.zeros(4, dtype=np.int64)
    )
    return _block(Artwork((shape,), placements), size_mm)


def _is_rosette(shape: Outline) -> bool:
    """Whether a shape nearly covers itself when turned a quarter about the middle of its box."""
    area = region_of(shape, tolerance_mm=0.002 * float(np.ptp(shape.bounds())))
    turned = region_of(
        shape.transformed(affine.rotation(0.5 * math.pi)), tolerance_mm=0.002 * float(np.ptp(shape.bounds()))
    )
    return intersection(area, turned).area_mm2() > _ROSETTE_SHARE * area.area_mm2()


def _block(artwork: Artwork[Outline], size_mm: float) -> Block:
    points = np.concatenate([copy.flattened(tolerance_mm=_FLATTEN_MM)[0] for copy in artwork.copies()])
    return Block(artwork=artwork, half_mm=0.5 * size_mm, radius_mm=float(np.hypot(*points.T).max()))


def _long_axis(shape: Outline) -> float:
    """Return the direction in which a shape's area is spread most, in radians."""
    points, _, loop = shape.flattened(tolerance_mm=0.01 * float(np.ptp(shape.bounds())))
    inside = loop[1:] == loop[:-1]
    a, b = points[:-1][inside], points[1:][inside]
    cross = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    area = 0.5 * cross.sum()
    mean = ((a + b) * cross[:, None]).sum(axis=0) / (6.0 * area)

    def moment(i: int, j: int) -> float:
        terms = 2.0 * (a[:, i] * a[:, j] + b[:, i] * b[:, j]) + a[:, i] * b[:, j] + b[:, i] * a[:, j]
        return float((terms * cross).sum() / (24.0 * area) - mean[i] * mean[j])

    return 0.5 * math.atan2(2.0 * moment(0, 1), moment(0, 0) - moment(1, 1))


def _reach(shape: Outline, placed: FloatArray) -> float:
    return float(np.abs(shape.transformed(placed).bounds()).max())


def _pushed_out(shape: Outline, turn: FloatArray, ratio: float) -> FloatArray | None:
    """Return the shape's place on the diagonal at which its quarter turns keep ``ratio`` of their reach apart."""
    size = float(np.hypot(*np.ptp(shape.bounds(), axis=0)))
    outwards = affine.rotation(0.25 * math.pi)[:, 0]

    def place(distance: float) -> FloatArray:
        return affine.compose(affine.translation(distance * outwards), turn)

    def keeps(distance: float) -> bool:
        here = place(distance)[None]
        others = affine.compose(affine.rotation(0.5 * math.pi * np.array([1.0, 2.0])), here)
        apart = pair_distances(shape, np.repeat(here, 2, axis=0), shape, others, tolerance_mm=0.002 * size)
        return bool(float(apart.min()) >= ratio * _reach(shape, place(distance)) + 0.004 * size * ratio)

    low, high = 0.0, 1.5 * size
    if not keeps(high):
        return None
    for _ in range(14):
        middle = 0.5 * (low + high)
        if keeps(middle):
            high = middle
        else:
            low = middle
    return place(high)


def blocks_at(block: Block, guide: Guide, *, height_mm: float) -> dict[int, Artwork[Outline]]:
    """Return the corner piece at every corner that takes one, by the corner's number."""
    return {
        number: block.at(corner, height_mm=height_mm)
        for number, corner in enumerate(guide.corners)
        if corner.joined and abs(corner.turn_rad) >= SHALLOW_RAD
    }


def through(guide: Guide) -> frozenset[int]:
    """Return the sides that run through both corners at a butt: every second one, the longest among them.

    With an odd number of sides none do, and all are turned.
    """
    count = len(guide.sides)
    if count % 2:
        return frozenset()
    longest = max(range(count), key=lambda i: (round(guide.sides[i].path.length_mm, 6), -i))
    return frozenset(range(longest % 2, count, 2))


def ends_of(
    style: Corner,
    guide: Guide,
    index: int,
    *,
    height_mm: float,
    gap_mm: float,
    blocks: dict[int, Artwork[Outline]],
) -> tuple[Allowance, Allowance]:
    """Return what the corners keep free at the beginning and the end of a side, in mm from the corner's point."""
    side = guide.sides[index]
    running = through(guide) if style is Corner.BUTT else frozenset()
    found = []
    for number, at_end in ((side.before, False), (side.after, True)):
        if number is None:
            found.append(_opening(0.0, height_mm))
            continue
        corner = guide.corners[number]
        runs = at_end if style is Corner.TURNED or not running else index in running
        shallow = abs(corner.turn_rad) < SHALLOW_RAD
        if not corner.joined:
            found.append(_opening(-_flush(corner, height_mm), height_mm))
        elif number in blocks:
            outwards = -corner.arriving if at_end else corner.leaving
            reach = _reach_along(blocks[number], corner.point, outwards)
            least = max(reach + gap_mm, corner.setback_mm, _apart(corner, height_mm, gap_mm))
            found.append(_opening(least, height_mm))
        elif shallow or style in (Corner.BLOCK, Corner.MITRE):
            found.append(_opening(max(corner.setback_mm, _apart(corner, height_mm, gap_mm)), height_mm))
        elif runs:
            found.append(_opening(-_flush(corner, height_mm), height_mm))
        else:
            found.append(_opening(_stop(corner, height_mm, gap_mm), height_mm))
    return found[0], found[1]


def _opening(least_mm: float, height_mm: float) -> Allowance:
    return Allowance(least_mm, least_mm + _EASY_SHARE * height_mm, least_mm + _MOST_SHARE * height_mm)


def _reach_along(artwork: Artwork[Outline], point: FloatArray, direction: FloatArray) -> float:
    reach = 0.0
    for copy in artwork.copies():
        points, _, _ = copy.flattened(tolerance_mm=_FLATTEN_MM)
        away = points - point
        reach = max(reach, float((away[:, 0] * direction[0] + away[:, 1] * direction[1]).max()))
    # What lies between two points of a polyline may bulge by the tolerance.
    return reach + _FLATTEN_MM


def _apart(corner: GuideCorner, height_mm: float, gap_mm: float) -> float:
    """Return where both strips must begin so that their inner corners keep the gap."""
    turn = abs(corner.turn_rad)
    return 0.5 * height_mm * math.tan(0.5 * turn) + 0.5 * gap_mm / max(math.cos(0.5 * turn), 1e-6)


def _flush(corner: GuideCorner, height_mm: float) -> float:
    """Return how far past the corner's point a strip may run until its end meets the far edge of the other band."""
    tangent = math.tan(0.5 * abs(corner.turn_rad))
    if corner.setback_mm > 0.0 or corner.edge_round_mm > 0.0:
        # The band's outer edge is rounded: an end square to the side must stop where the rounding begins.
        return min((0.5 * height_mm - corner.edge_round_mm) * tangent, 0.5 * height_mm * tangent - corner.setback_mm)
    return 0.5 * height_mm * min(tangent, 1.0 / max(tangent, 1e-9))


def _stop(corner: GuideCorner, height_mm: float, gap_mm: float) -> float:
    """Return how far before the corner's point a strip must end to keep clear of the band that runs through."""
    turn = abs(corner.turn_rad)
    return (0.5 * height_mm * (1.0 + abs(math.cos(turn))) + gap_mm) / math.sin(turn)
