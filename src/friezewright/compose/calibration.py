"""Learning a machine: the test pieces to run, and a profile from the times they took."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass

from friezewright.compose.tickets import versions
from friezewright.errors import MachineError
from friezewright.findings import Finding
from friezewright.machine import Machine, from_toml, to_toml, typical
from friezewright.motion.calibrate import calibrate
from friezewright.motion.pieces import piece_drawing, pieces
from friezewright.output.svg import write_drawing

__all__ = ["FittedMachine", "fit_machine", "pieces_to_time"]

_HEAD = """\
# Times of the test pieces, in seconds from the press of start until the machine says it is done.
#
# Run each piece-*.svg on its own, in the order of the letters, and time it with a stopwatch. Areas are burned in both
# directions, lines 0.1 mm apart. Take the hash away before a time once it is measured. Eight pieces pin a figure each;
# those marked spare only check what was learned.
#
# Before you start:
# - an approved scrap, large enough, of a material the machine's manual allows; never an unknown one
# - the lowest power that leaves a mark; lid shut, exhaust running, extinguisher in reach
# - stay beside the machine all the time; its manual and the site's rules prevail
#
# Then run: friezewright calibrate fit times.toml -o my-machine.toml

"""


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedMachine:
    """A fitted profile as TOML, the fit in plain lines and as a table, and what it cannot tell."""

    profile: bytes
    sentences: tuple[str, ...]
    report: dict[str, object]
    findings: tuple[Finding, ...]


def pieces_to_time() -> dict[str, bytes]:
    """Return the files of a calibration: one drawing a piece, and a list of times to fill in."""
    machine = typical()
    lines = []
    files: dict[str, bytes] = {}
    for piece in pieces():
        files[f"piece-{piece.key}.svg"] = write_drawing(piece_drawing(piece, machine), versions=versions())
        spare = "; spare" if piece.spare else ""
        lines.append(f"# {piece.words}; set {piece.speed_mm_s:g} mm/s{spare}\n# {piece.key} = 0.0\n")
    files["times.toml"] = (_HEAD + "\n".join(lines)).encode()
    return files


def fit_machine(data: bytes, *, name: str, start: tuple[bytes, str] | None, machine_name: str) -> FittedMachine:
    """Return the machine whose figures fit the times best.

    Parameters
    ----------
    data, name
        A TOML list of times in seconds by the pieces' letters, and what to call it in errors.
    start
        A profile's bytes and name to begin from; None for the typical machine.
    machine_name
        What to call the fitted machine.

    Raises
    ------
    MachineError
        If the list cannot be read, names no pieces, or holds too few times.
    """
    try:
        table = tomllib.loads(data.decode("utf-8-sig"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise MachineError(
            f"{name} cannot be read as a list of times: {error}; write lines such as C = 106.2"
        ) from None
    times: dict[str, float] = {}
    for key, value in table.items():
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise MachineError(f"{name}: {key} = {value!r} is not a time; write seconds such as 106.2")
        times[key] = float(value)
    begin = typical() if start is None else from_toml(start[0], name=start[1])
    found = calibrate(times, begin, name=machine_name)
    return FittedMachine(
        profile=to_toml(found.machine),
        sentences=(
            *(_figure_words(found.machine, figure, low, high) for figure, (low, high) in found.intervals.items()),
            *(f"piece {key}: the fit is off by {100.0 * miss:+.1f} %" for key, miss in found.misses.items()),
            f"estimates now carry a range of -{found.machine.range_below:.0%} to +{found.machine.range_above:.0%}",
        ),
        report={
            "machine": found.machine.name,
            "intervals": {figure: list(limits) for figure, limits in found.intervals.items()},
            "misses": dict(found.misses),
            "range": [found.machine.range_below, found.machine.range_above],
            "findings": [str(finding) for finding in found.findings],
        },
        findings=found.findings,
    )


def _figure_words(machine: Machine, figure: str, low: float, high: float) -> str:
    return f"{figure} = {getattr(machine, figure):.4g}, 95 in 100 between {low:.4g} and {high:.4g}"
