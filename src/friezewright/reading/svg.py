"""The face of this room: SVG drawings from elsewhere, as lines and cubics with their real size, or as a motif's shape."""

from friezewright.reading.drawing import SvgDrawing, SvgPath
from friezewright.reading.page import read_svg
from friezewright.reading.shape import read_shape, shape_of

__all__ = ["SvgDrawing", "SvgPath", "read_shape", "read_svg", "shape_of"]
