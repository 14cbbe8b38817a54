"""What is asked of a border, and how its parts lie across the band."""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass

from friezewright.geometry.outline import Outline
from friezewright.ornament.corner import Corner
from friezewright.ornament.frame import FrameLine
from friezewright.pattern.repeat import Repeat

__all__ = ["Band", "BorderRequest"]

# A band's copies stand this much further from the loop than asked. The zone is drawn in by 0.002 mm, and where the
# loop has short curves its polygon's long edges lean by a few thousandths more (0.0027 mm seen at roundings of 0.5 mm).
_MARGIN_MM = 0.01


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BorderRequest:
    """What is asked of a border.

    Parameters
    ----------
    name
        Name of the ornament.
    loop
        The rim, or a cutout; its first loop is followed.
    outward
        False for a border inside the rim, True for one round a cutout.
    offset_mm
        Clear distance from the loop to the nearest burned edge.
    strip
        The strip to lay along it, its -y side outermost.
    gap_mm
        Smallest distance asked between two copies.
    corner
        What happens where two sides meet.
    corner_shape
        Piece for the corners, drawn for the top left one; made from the motif when None.
    corner_size_mm
        Size of the square a corner piece fills; the strip's height when None, and never more.
    sides
        Sides to follow, of ``top``, ``right``, ``bottom``, ``left``; all when None.
    reversed_at_centre
        Whether each side runs from both corners towards a bead at its centre.
    rigid
        Whether copies keep their shape on bends.
    frame_line, frame_width_mm, frame_gap_mm
        What bounds the band, how wide it is, and its clear distance from the copies (the gap when None).
    tolerance_mm
        Furthest a bent curve may lie from the true one.
    """

    name: str
    loop: Outline
    outward: bool
    offset_mm: float
    strip: Repeat
    gap_mm: float
    corner: Corner = Corner.BLOCK
    corner_shape: Outline | None = None
    corner_size_mm: float | None = None
    sides: Collection[str] | None = None
    reversed_at_centre: bool = False
    rigid: bool = False
    frame_line: FrameLine = FrameLine.NONE
    frame_width_mm: float = 0.8
    frame_gap_mm: float | None = None
    tolerance_mm: float = 0.01

    def __post_init__(self) -> None:
        if not self.strip.is_strip:
            raise ValueError("a border is laid with a strip, not with a field")
        if not (math.isfinite(self.offset_mm) and self.offset_mm >= 0.0):
            raise ValueError(f"offset_mm must be 0 or more, got {self.offset_mm}")
        for name, value in (("gap_mm", self.gap_mm), ("frame_width_mm", self.frame_width_mm)):
            if not (math.isfinite(value) and value > 0.0):
                raise ValueError(f"{name} must be above 0, got {value}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """Distances across a border, in mm from its loop, all positive."""

    edge_mm: float
    near_line_mm: tuple[float, float] | None
    far_line_mm: tuple[float, float] | None
    strip_mm: float
    centre_mm: float
    far_mm: float

    @classmethod
    def of(cls, request: BorderRequest, height_mm: float, *, lift_mm: float = 0.0) -> Band:
        """Return the band of a strip of a given height.

        ``lift_mm`` is by how much copies that keep their shape on bends stand out of the strip, away from the centre of
        the bend: towards the loop inside a rim, away from it round a cutout.
        """
        width, kind = request.frame_width_mm, request.frame_line
        space = width + max(request.gap_mm, request.frame_gap_mm or 0.0) + _MARGIN_MM
        edge = request.offset_mm + _MARGIN_MM
        strip = edge + (0.0 if kind is FrameLine.NONE else space)
        strip += 0.0 if request.outward else lift_mm
        beyond = strip + height_mm + (lift_mm if request.outward else 0.0)
        both = kind in (FrameLine.DOUBLE, FrameLine.BEADED)
        far = beyond + (space if both else 0.0)
        return cls(
            edge_mm=edge,
            near_line_mm=None if kind is FrameLine.NONE else (edge, edge + width),
            far_line_mm=(far - width, far) if both else None,
            strip_mm=strip,
            centre_mm=strip + 0.5 * height_mm,
            far_mm=far,
        )
