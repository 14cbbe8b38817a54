"""A pen that draws lines and curves one after the other, and hands over :class:`Strokes`.

Whatever SVG can draw becomes lines and cubics here, before any transform: an elliptical arc is a curve of its own only
until it is leant or mirrored, a cubic stays one.
"""

from __future__ import annotations

import math

import numpy as np

from friezewright.geometry import cubic
from friezewright.geometry.strokes import Strokes

__all__ = ["Pen"]

# An arc is cut into pieces of at most a twelfth of a turn: each then strays by less than 4e-7 of the radius.
_LARGEST_PIECE_RAD = math.pi / 6.0
# A closing line this short against the coordinates is the rounding of a double, not a line anyone drew.
_ROUNDING = 1e-9
# Of a half circle the centre is the middle of the chord; the root of a rounding error would shift it by 1e-8 radii.
_HALF_TURN_SLACK = 1e-12


class Pen:
    """Collects subpaths; coordinates are absolute and in user units."""

    def __init__(self) -> None:
        self._segments: list[tuple[float, ...]] = []
        self._is_line: list[bool] = []
        self._starts: list[int] = []
        self._closed: list[bool] = []
        self._start = (0.0, 0.0)
        self.at = (0.0, 0.0)
        self._drawing = False

    @property
    def segment_count(self) -> int:
        """Segments drawn so far."""
        return len(self._segments)

    def move(self, x: float, y: float) -> None:
        """Lift the pen and begin a new subpath."""
        self._start = self.at = (x, y)
        self._drawing = False

    def _append(self, segment: tuple[float, ...], is_line: bool) -> None:
        if not self._drawing:
            # After a close the next subpath begins where the last one did, without a move (SVG 2, 9.3.4).
            self._start = self.at
            self._starts.append(len(self._segments))
            self._closed.append(False)
            self._drawing = True
        self._segments.append(segment)
        self._is_line.append(is_line)
        self.at = (segment[6], segment[7])

    def line(self, x: float, y: float) -> None:
        """Draw a straight line; one without length is left out."""
        if (x, y) != self.at:
            # Inner control points are set for all lines together at the end.
            self._append((*self.at, *self.at, x, y, x, y), True)

    def cubic(self, x1: float, y1: float, x2: float, y2: float, x: float, y: float) -> None:
        """Draw a cubic; one whose points are all the same is left out."""
        if not (self.at == (x1, y1) == (x2, y2) == (x, y)):
            self._append((*self.at, x1, y1, x2, y2, x, y), False)

    def quadratic(self, x1: float, y1: float, x: float, y: float) -> None:
        """Draw a quadratic, raised exactly to a cubic."""
        x0, y0 = self.at
        third = 2.0 / 3.0
        self.cubic(x0 + third * (x1 - x0), y0 + third * (y1 - y0), x + third * (x1 - x), y + third * (y1 - y), x, y)

    def arc(self, rx: float, ry: float, lean_rad: float, large: bool, clockwise: bool, x: float, y: float) -> None:
        """Draw an elliptical arc as cubics.

        Conversion from end points to centre, radii too small enlarged until they reach: SVG 2, appendix B.2.4 and
        B.2.5. ``clockwise`` is the sweep flag: from +x towards +y.
        """
        x0, y0 = self.at
        if (x, y) == (x0, y0):
            return
        rx, ry = abs(rx), abs(ry)
        if rx == 0.0 or ry == 0.0:
            self.line(x, y)
            return
        cos, sin = math.cos(lean_rad), math.sin(lean_rad)
        half_x, half_y = (x0 - x) / 2.0, (y0 - y) / 2.0
        # In the frame where the ellipse is the unit circle the arc joins (px, py) to its opposite.
        px, py = (cos * half_x + sin * half_y) / rx, (cos * half_y - sin * half_x) / ry
        reach = px * px + py * py
        if reach == 0.0 or not math.isfinite(reach):
            # Radii beyond 1e150 times the step: the arc is its chord to the last digit.
            self.line(x, y)
            return
        if reach > 1.0 - _HALF_TURN_SLACK:
            grow = math.sqrt(reach)
            rx, ry, px, py = rx * grow, ry * grow, px / grow, py / grow
            away = 0.0
        else:
            away = math.sqrt((1.0 - reach) / reach) * (-1.0 if large == clockwise else 1.0)
        cx, cy = away * py, -away * px
        first = math.atan2(py - cy, px - cx)
        sweep = math.atan2(-py - cy, -px - cx) - first
        if clockwise and sweep < 0.0:
            sweep += 2.0 * math.pi
        elif not clockwise and sweep > 0.0:
            sweep -= 2.0 * math.pi
        pieces = max(1, math.ceil(abs(sweep) / _LARGEST_PIECE_RAD - 1e-9))
        handle = 4.0 / 3.0 * math.tan(sweep / pieces / 4.0)
        mid_x, mid_y = (x0 + x) / 2.0, (y0 + y) / 2.0

        def place(u: float, v: float) -> tuple[float, float]:
            u, v = rx * (u + cx), ry * (v + cy)
            return cos * u - sin * v + mid_x, sin * u + cos * v + mid_y

        for piece in range(pieces):
            a, b = first + sweep * piece / pieces, first + sweep * (piece + 1) / pieces
            ca, sa, cb, sb = math.cos(a), math.sin(a), math.cos(b), math.sin(b)
            end = (x, y) if piece == pieces - 1 else place(cb, sb)
            self.cubic(*place(ca - handle * sa, sa + handle * ca), *place(cb + handle * sb, sb - handle * cb), *end)

    def close(self) -> None:
        """Close the subpath with a line where its ends are apart."""
        if not self._drawing:
            self.at = self._start
            return
        (x, y), (x0, y0) = self.at, self._start
        reach = max(abs(x), abs(y), abs(x0), abs(y0))
        if math.hypot(x - x0, y - y0) > _ROUNDING * reach:
            self.line(x0, y0)
        else:
            self._segments[-1] = (*self._segments[-1][:6], x0, y0)
        self._closed[-1] = True
        self.move(x0, y0)

    def strokes(self) -> Strokes | None:
        """Return what was drawn; None if nothing was."""
        if not self._segments:
            return None
        segments = np.array(self._segments, dtype=np.float64).reshape(-1, 4, 2)
        is_line = np.array(self._is_line, dtype=bool)
        segments[is_line] = cubic.line(segments[is_line, 0], segments[is_line, 3])
        starts = np.array([*self._starts, len(segments)], dtype=np.int64)
        return Strokes(segments, is_line, starts, np.array(self._closed, dtype=bool))
