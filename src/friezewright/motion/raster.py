"""Time to burn areas line by line, in closed form over the real spans of every line.

Terms. The head crosses a line at a steady speed from its first burned point to its last; before and after it *runs out*
over ``v² / (2 a)`` to gain and lose that speed. Between two lines it *turns*: a fixed time of the machine, a step to
the next line, and a *shift* along the line where the next one starts elsewhere. The step and the shift run together.
Lines without anything to burn are stepped over.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from friezewright.findings import Finding, Severity
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import IntArray
from friezewright.geometry.spans import Spans
from friezewright.machine import Machine
from friezewright.motion.vector import move_times

__all__ = ["BurnTimes", "Lines", "burn_times", "lines_of", "quickest_speed", "speed_finding"]

# A slower speed is named where it saves at least this share of the time: less is within the range of the estimate.
_WORTH_NAMING = 0.05


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Lines:
    """What matters of burned lines for time.

    Parameters
    ----------
    line
        Numbers of the lines with something to burn, shape (n,), rising.
    extent
        First and last burned point of each, shape (n, 2), mm.
    burned_mm
        Length burned on each, shape (n,).
    gaps_mm
        All gaps within lines, shape (g,), in no particular order.
    spacing_mm
        Distance of neighbouring lines.
    """

    line: IntArray
    extent: FloatArray
    burned_mm: FloatArray
    gaps_mm: FloatArray
    spacing_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BurnTimes:
    """Seconds of burning line by line, by what they go to, and how far the head shifts from line to line."""

    burning_s: float
    gaps_s: float
    shifting_s: float
    run_out_s: float
    turning_s: float
    shifted_mm: float

    @property
    def total_s(self) -> float:
        """All of it."""
        return self.burning_s + self.gaps_s + self.shifting_s + self.run_out_s + self.turning_s


def lines_of(bands: Iterable[Spans], spacing_mm: float) -> Lines:
    """Return what matters of spans that come in bands, lines rising and no line in two bands."""
    line, extent = [np.zeros(0, np.int64)], [np.zeros((0, 2))]
    burned, gaps = [np.zeros(0)], [np.zeros(0)]
    for band in bands:
        if not len(band):
            continue
        new = np.diff(band.line) != 0
        heads = np.flatnonzero(np.concatenate([[True], new]))
        tails = np.append(heads[1:], len(band)) - 1
        line.append(band.line[heads])
        extent.append(np.stack([band.along[heads, 0], band.along[tails, 1]], axis=1))
        burned.append(np.add.reduceat(band.along[:, 1] - band.along[:, 0], heads))
        gaps.append((band.along[1:, 0] - band.along[:-1, 1])[~new])
    return Lines(
        line=np.concatenate(line),
        extent=np.concatenate(extent),
        burned_mm=np.concatenate(burned),
        gaps_mm=np.concatenate(gaps),
        spacing_mm=spacing_mm,
    )


def burn_times(lines: Lines, machine: Machine, *, speed_mm_s: float | None = None) -> BurnTimes:
    """Return the time lines take, from rest before the first to rest after the last.

    Parameters
    ----------
    lines
        To burn, in order.
    machine
        Its figures.
    speed_mm_s
        Another speed to set than the machine's own.
    """
    count = len(lines.line)
    if not count:
        return BurnTimes(burning_s=0.0, gaps_s=0.0, shifting_s=0.0, run_out_s=0.0, turning_s=0.0, shifted_mm=0.0)
    speed = machine.speed_share * (machine.engrave_speed_mm_s if speed_mm_s is None else speed_mm_s)
    accel, travel = machine.engrave_acceleration_mm_s2, machine.travel_speed_mm_s
    gaps = lines.gaps_mm / speed
    if machine.crosses_gaps_fast and travel > speed:
        gaps = move_times(lines.gaps_mm, speed, speed, speed_mm_s=travel, acceleration_mm_s2=accel)

    start, end = lines.extent[:, 0], lines.extent[:, 1]
    if machine.burns_both_ways:
        rightward = np.arange(count - 1) % 2 == 0
        away = np.where(rightward, np.abs(end[1:] - end[:-1]), np.abs(start[1:] - start[:-1]))
        # Either run on at the speed of burning to the further end, or stop and shift: whichever is shorter.
        shift = np.minimum(away / speed, move_times(away, 0.0, 0.0, speed_mm_s=travel, acceleration_mm_s2=accel))
    else:
        away = np.abs(end[:-1] - start[1:] + speed * speed / accel)
        shift = move_times(away, 0.0, 0.0, speed_mm_s=travel, acceleration_mm_s2=accel)
    step = move_times(
        np.diff(lines.line) * lines.spacing_mm,
        0.0,
        0.0,
        speed_mm_s=travel,
        acceleration_mm_s2=machine.acceleration_mm_s2,
    )
    return BurnTimes(
        burning_s=float(lines.burned_mm.sum()) / speed,
        gaps_s=float(gaps.sum()),
        shifting_s=float(shift.sum()),
        run_out_s=count * 2.0 * speed / accel,
        turning_s=(count - 1) * machine.line_turn_s + float(np.maximum(step - shift, 0.0).sum()),
        shifted_mm=float(away.sum()),
    )


def quickest_speed(lines: Lines, machine: Machine) -> float:
    """Return the speed in mm/s to set that burns lines of this mean extent in the least time, both ways.

    A line of extent W takes ``W / v + 2 v / a``, least at ``v = sqrt(W a / 2)``: beyond it the run-outs cost more than
    the speed saves. Infinite where there are no lines.
    """
    if not len(lines.line):
        return math.inf
    extent = float(np.mean(lines.extent[:, 1] - lines.extent[:, 0]))
    return math.sqrt(extent * machine.engrave_acceleration_mm_s2 / 2.0) / machine.speed_share


def speed_finding(lines: Lines, machine: Machine) -> Finding | None:
    """Return a note where a slower speed would burn the same lines in clearly less time, or None."""
    quickest = quickest_speed(lines, machine)
    if not 0.0 < quickest < machine.engrave_speed_mm_s:
        return None
    now = burn_times(lines, machine).total_s
    then = burn_times(lines, machine, speed_mm_s=quickest).total_s
    if then > (1.0 - _WORTH_NAMING) * now:
        return None
    return Finding(
        code="engrave-speed",
        severity=Severity.NOTE,
        message=(
            f"lines are short for {machine.engrave_speed_mm_s:.0f} mm/s: at {quickest:.0f} mm/s they would take "
            f"{100.0 * (1.0 - then / now):.0f} percent less time, but burn darker, so burn a new test piece first"
        ),
    )
