"""A machine's real figures, from the times of a few test pieces.

Terms. A *piece* is a small job that is run and timed (:mod:`friezewright.motion.pieces`). *Spare* ones are left out of
the fit and show how far it can be trusted: a small rest proves nothing where there are as many figures as pieces.

Method. Figures are fitted as logarithms by least squares, each held loosely to where it began, so that a few pieces are
enough for a start and a figure that no piece pins stays put. The covariance of the fit gives an interval a figure and a
range for jobs unlike the pieces. Jerk is not fitted; it shows as a spare piece that misses.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from friezewright.errors import MachineError
from friezewright.findings import Finding, Severity
from friezewright.geometry.affine import FloatArray
from friezewright.machine import Machine
from friezewright.motion.pieces import Piece, box, piece_time, pieces, timer_of

__all__ = ["Calibration", "calibrate"]

# How loosely each figure is held, in logarithms: a factor of two for accelerations and travel, of three for slack and
# delays, a twentieth for the share of the set speed. Judgement, no source.
_HELD = {
    "speed_share": 0.05,
    "acceleration_mm_s2": 0.7,
    "corner_slack_mm": 1.1,
    "start_delay_s": 1.1,
    "travel_speed_mm_s": 0.7,
    "engrave_acceleration_mm_s2": 0.7,
    "line_turn_s": 1.1,
    "job_start_s": 1.1,
}
_LEAST_PIECES = 3
# Below this a fit would promise more than any model of a real machine holds.
_LEAST_RANGE = 0.02
# How far a piece may be off before it is named.
_SPARE_MISS = 0.02
# Width and height in mm of areas that panels are engraved with.
_BOXES = ((280.0, 180.0), (15.0, 150.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """A fitted machine.

    Parameters
    ----------
    machine
        The figures that fit the times best, marked as calibrated.
    intervals
        For each fitted figure the range it lies in, 95 in 100.
    misses
        For each timed piece how far the fit is off, as a share of its time; spare ones tell.
    findings
        What to look at.
    """

    machine: Machine
    intervals: dict[str, tuple[float, float]]
    misses: dict[str, float]
    findings: tuple[Finding, ...]


def _with(machine: Machine, logs: FloatArray) -> Machine:
    figures = dict(zip(_HELD, np.exp(logs).tolist(), strict=True))
    return replace(machine, **figures)


def _slopes(timers: list[Callable[[Machine], float]], machine: Machine, logs: FloatArray) -> FloatArray:
    """Return by how many seconds each time changes with the logarithm of each figure, (times, figures)."""
    step = 1e-4
    columns = []
    for i in range(len(logs)):
        shift = np.zeros(len(logs))
        shift[i] = step
        more, less = _with(machine, logs + shift), _with(machine, logs - shift)
        columns.append([(timer(more) - timer(less)) / (2.0 * step) for timer in timers])
    return np.array(columns).T


def calibrate(times_s: Mapping[str, float], start: Machine, *, stopwatch_s: float = 0.5, name: str = "") -> Calibration:
    """Return the machine whose figures fit the times of some pieces best.

    Parameters
    ----------
    times_s
        Time of each piece that was run, by its key, in seconds.
    start
        Figures to begin from and to hold to where no piece speaks; what is not fitted is taken over.
    stopwatch_s
        How far a time may be off.
    name
        What to call the machine; as before when empty.

    Raises
    ------
    MachineError
        If a key is unknown, a time impossible, or there are fewer than three pieces that are not spare.
    """
    from scipy.optimize import least_squares

    card = {piece.key: piece for piece in pieces()}
    for key, seconds in times_s.items():
        if key not in card:
            raise MachineError(f"{key} is not a test piece; use {', '.join(card)}")
        if not (math.isfinite(seconds) and 0.0 < seconds < 7200.0):
            raise MachineError(f"piece {key} = {seconds:g} is not a time in seconds; give more than 0 and up to 7200")
    timed = [card[key] for key in card if key in times_s]
    fitted = [piece for piece in timed if not piece.spare]
    if len(fitted) < _LEAST_PIECES:
        known = ", ".join(piece.key for piece in card.values() if not piece.spare)
        raise MachineError(
            f"{len(fitted)} timed pieces are too few for a fit; time at least {_LEAST_PIECES} of {known}"
        )

    # A figure of zero has no logarithm; a millisecond or a micrometre is as good.
    centre = np.log([max(float(getattr(start, figure)), 1e-3) for figure in _HELD])
    held = np.array(list(_HELD.values()))
    timers = [timer_of(piece) for piece in fitted]
    measured = np.array([times_s[piece.key] for piece in fitted])

    def rest(logs: FloatArray) -> FloatArray:
        machine = _with(start, logs)
        off = np.array([timer(machine) for timer in timers]) - measured
        return np.concatenate([off / stopwatch_s, (logs - centre) / held])

    reach = 3.5 * held
    found = least_squares(rest, centre, bounds=(centre - reach, centre + reach), x_scale=held, diff_step=[1e-6])
    logs = np.asarray(found.x, dtype=np.float64)
    slopes = _slopes(timers, start, logs) / stopwatch_s
    # einsum, not a matrix product: the same bits on every run.
    information = np.einsum("ki,kj->ij", slopes, slopes) + np.diag(held**-2.0)
    covariance = np.linalg.inv(information)
    spread = np.sqrt(np.diag(covariance))

    # Jobs unlike the pieces: the spare ones, and two boxes of the size that panels are engraved at.
    boxes = [Piece(key="", words="", speed_mm_s=start.engrave_speed_mm_s, artwork=box(*size)) for size in _BOXES]
    others = [timer_of(piece) for piece in (*card.values(), *boxes) if piece.spare or not piece.key]
    machine = _with(start, logs)
    gradient = _slopes(others, start, logs) / np.array([timer(machine) for timer in others])[:, None]
    share = 1.96 * math.sqrt(float(np.einsum("ki,ij,kj->k", gradient, covariance, gradient).max()))
    within = min(0.9, max(_LEAST_RANGE, share))
    machine = replace(machine, calibrated=True, name=name or start.name, range_below=within, range_above=within)
    intervals = {
        figure: (math.exp(at - 1.96 * wide), math.exp(at + 1.96 * wide))
        for figure, at, wide in zip(_HELD, logs.tolist(), spread.tolist(), strict=True)
    }
    misses = {piece.key: piece_time(piece, machine) / times_s[piece.key] - 1.0 for piece in timed}
    return Calibration(
        machine=machine,
        intervals=intervals,
        misses=misses,
        findings=tuple(_remarks(timed, misses, spread, logs - centre, held, times_s, stopwatch_s)),
    )


def _remarks(
    timed: list[Piece],
    misses: dict[str, float],
    spread: FloatArray,
    moved: FloatArray,
    held: FloatArray,
    times_s: Mapping[str, float],
    stopwatch_s: float,
) -> list[Finding]:
    remarks = []
    for i, figure in enumerate(_HELD):
        if spread[i] > 0.8 * held[i]:
            remarks.append(
                _remark("figure-unsure", f"{figure} is hardly known from the pieces timed; time more of them")
            )
        if abs(moved[i]) > 3.4 * held[i]:
            remarks.append(
                _remark("figure-far-off", f"{figure} came out at the edge of what is tried; check the times")
            )
    for piece in timed:
        # A stopwatch misses by twice its error now and then.
        if abs(misses[piece.key]) > max(_SPARE_MISS, 2.0 * stopwatch_s / times_s[piece.key]):
            what = f"piece {piece.key} ({piece.words}) takes {100.0 * misses[piece.key]:+.1f} percent by the fit"
            remarks.append(_remark("piece-misses", f"{what}; time it again, or trust the range less"))
    if not any(piece.spare for piece in timed):
        remarks.append(_remark("no-spare-piece", "no spare piece was timed, so nothing checks the fit; time B, J or K"))
    return remarks


def _remark(code: str, message: str) -> Finding:
    return Finding(code=code, severity=Severity.WARNING, message=message)
