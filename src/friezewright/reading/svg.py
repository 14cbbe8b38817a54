"""The face of this room: SVG drawings from elsewhere, with their real size, or as the shape of a motif."""

from friezewright.reading.document import FROM_ELSEWHERE, MADE_HERE, Limits
from friezewright.reading.drawing import SvgDrawing, SvgPath
from friezewright.reading.page import read_svg
from friezewright.reading.shape import read_shape, shape_of

__all__ = [
    "FROM_ELSEWHERE",
    "MADE_HERE",
    "Limits",
    "SvgDrawing",
    "SvgPath",
    "read_shape",
    "read_svg",
    "shape_of",
]
