"""Test pieces: small jobs that are run and timed to learn a machine's real figures.

Each is run on its own and timed from the press of start to the end. Eight pin a figure each; three are spare and check
what was learned. About ten minutes of machine time in all.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from friezewright.geometry import cubic
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.artwork import Artwork
from friezewright.geometry.outline import BoolArray, Outline, polygon
from friezewright.geometry.spans import spans
from friezewright.geometry.strokes import Strokes
from friezewright.geometry.tolerance import FLATTEN_MM
from friezewright.layers.drawing import Drawing, Layer, Operation, Part, Pen
from friezewright.machine import Machine
from friezewright.motion.estimate import areas_of, strokes_of
from friezewright.motion.order import as_given, stops_of
from friezewright.motion.raster import burn_times, lines_of
from friezewright.motion.vector import Limits, move_times, path_times

__all__ = ["Piece", "box", "piece_drawing", "piece_time", "pieces", "timer_of"]

_SPACING_MM = 0.1
_SPARE = ("B", "J", "K")


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Piece:
    """A job to run and time.

    Parameters
    ----------
    key
        Letter it goes by.
    words
        What it is, and what it tells.
    speed_mm_s
        Speed to set.
    artwork
        Lines to follow in the order drawn, or a box to burn line by line, 0.1 mm apart.
    spare
        Whether it is left out of the fit and checked against it.
    """

    key: str
    words: str
    speed_mm_s: float
    artwork: Artwork[Strokes] | Artwork[Outline]
    spare: bool = False

    @property
    def operation(self) -> Operation:
        """How it is run."""
        return Operation.ENGRAVE if isinstance(self.artwork.shapes[0], Outline) else Operation.SCORE


def _strokes(points: FloatArray, *, closed: bool = False) -> Artwork[Strokes]:
    """Return polylines (paths, corners, 2), all of one count, as one piece of artwork."""
    end = np.roll(points, -1, axis=1)
    start, end = (points, end) if closed else (points[:, :-1], end[:, :-1])
    paths, legs = start.shape[:2]
    segments = cubic.line(start, end).reshape(-1, 4, 2)
    marks = np.ones(len(segments), bool), legs * np.arange(paths + 1), np.full(paths, closed)
    return Artwork.single([Strokes(segments, *marks)])


def _ticks(starts: FloatArray, length: float, *, back: BoolArray | None = None) -> Artwork[Strokes]:
    """Return ticks along x from places (n, 2); those marked run back to their place."""
    ticks = np.stack([starts, starts + np.array([length, 0.0])], axis=1)
    if back is not None:
        ticks[back] = ticks[back, ::-1]
    return _strokes(ticks)


def _zigzag(corner_rad: float, *, rows: int = 10, legs: int = 60, leg: float = 4.0) -> Artwork[Strokes]:
    """Return rows of equal legs, each row a path that starts near the end of the one before."""
    k = np.arange(legs + 1)
    along, up = leg * math.sin(corner_rad / 2.0), leg * math.cos(corner_rad / 2.0)
    row = [np.stack([k * along, (k % 2) * up + i * (up + 1.0)], axis=1)[:: -1 if i % 2 else 1] for i in range(rows)]
    return _strokes(np.array(row))


def _grid(count: int, columns: int, step_x: float, step_y: float) -> FloatArray:
    """Return places in rows there and back, (n, 2): an order that no sorting would shorten."""
    row, column = np.divmod(np.arange(count), columns)
    return np.stack([step_x * np.where(row % 2, columns - 1 - column, column), step_y * row], axis=1)


def box(width: float, height: float) -> Artwork[Outline]:
    """Return a rectangle in mm to be burned line by line."""
    return Artwork.single([polygon([[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]])])


def pieces() -> tuple[Piece, ...]:
    """Return the test pieces: eight that pin the eight figures, and three spare ones. About ten minutes to run.

    The choice of the eight is the best out of all eleven by the determinant of the information they give.
    """
    rows = np.stack([_grid(6, 1, 0.0, 3.0), _grid(6, 1, 0.0, 3.0) + np.array([300.0, 0.0])], axis=1)
    rows[1::2] = rows[1::2, ::-1].copy()
    squares = _grid(60, 10, 20.0, 20.0)[:, None] + 10.0 * np.array([[0, 0], [1, 0], [1, 1], [0, 1]])
    ticks = _ticks(_grid(400, 20, 6.0, 4.0), 2.0, back=np.arange(400) // 20 % 2 == 1)
    square, wide = math.radians(90.0), math.radians(150.0)
    table: tuple[tuple[str, str, float, Artwork[Strokes] | Artwork[Outline]], ...] = (
        ("A", "one dash of 1 mm: the start of a job", 50.0, _ticks(_grid(1, 1, 0.0, 0.0), 1.0)),
        ("B", "six long lines there and back, slow", 40.0, _strokes(rows)),
        ("C", "400 short ticks close by: starting a path", 50.0, ticks),
        ("D", "40 ticks from side to side, run in the order drawn: travel", 50.0, _ticks(_sides(40, 300.0), 2.0)),
        ("E", "zigzags with square corners: speeding up", 150.0, _zigzag(square)),
        ("F", "zigzags with wide corners: corner slack", 150.0, _zigzag(wide)),
        ("G", "a narrow box burned line by line: turning", 150.0, box(20.0, 30.0)),
        ("H", "the same box, fast: speeding up while burning", 400.0, box(20.0, 30.0)),
        ("I", "a wide box burned line by line: the true speed", 150.0, box(200.0, 6.0)),
        ("J", "60 small squares", 80.0, _strokes(squares, closed=True)),
        ("K", "zigzags with square corners, slow", 30.0, _zigzag(square)),
    )
    return tuple(
        Piece(key=key, words=words, speed_mm_s=speed, artwork=art, spare=key in _SPARE)
        for key, words, speed, art in table
    )


def _sides(count: int, width: float) -> FloatArray:
    index = np.arange(count)
    return np.stack([width * (index % 2), 1.0 * index], axis=1)


def piece_drawing(piece: Piece, machine: Machine, *, margin_mm: float = 5.0) -> Drawing:
    """Return one piece as a drawing of its own, to be written and run."""
    (left, top), (right, bottom) = piece.artwork.shapes[0].bounds()
    name = piece.operation.value
    return Drawing(
        title=f"{piece.key}: {piece.words}; set {piece.speed_mm_s:g} mm/s",
        frame=(left - margin_mm, top - margin_mm, right - left + 2 * margin_mm, bottom - top + 2 * margin_mm),
        layers=(
            Layer(
                operation=piece.operation,
                parts=(Part(ornament=f"piece {piece.key}", artwork=piece.artwork),),
                pen=Pen(machine.colour_of(name), machine.stroke_mm_of(name)),
            ),
        ),
    )


def timer_of(piece: Piece) -> Callable[[Machine], float]:
    """Return how long the piece takes on a machine; what does not depend on the machine is worked out once."""
    if piece.operation is Operation.ENGRAVE:
        lines = lines_of([spans(areas_of(piece.artwork), spacing_mm=_SPACING_MM, tolerance_mm=FLATTEN_MM)], _SPACING_MM)
        return lambda machine: machine.job_start_s + burn_times(lines, machine, speed_mm_s=piece.speed_mm_s).total_s
    strokes = strokes_of(piece.artwork)
    stops = stops_of(strokes)
    hop, (shape,) = as_given(stops).hop_mm, strokes.shapes

    def time(machine: Machine) -> float:
        motion = path_times(shape, Limits.of(machine, piece.speed_mm_s)).seconds.sum()
        travel = move_times(
            hop, 0.0, 0.0, speed_mm_s=machine.travel_speed_mm_s, acceleration_mm_s2=machine.acceleration_mm_s2
        ).sum()
        return float(machine.job_start_s + motion + travel + len(stops) * machine.start_delay_s)

    return time


def piece_time(piece: Piece, machine: Machine) -> float:
    """Return how many seconds a piece takes on a machine, from the press of start to the end."""
    return timer_of(piece)(machine)
