"""Path data read in bulk: the text of many paths to arrays of segments, with what the text breaks of the promise."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["BadPath", "Paths", "read_paths"]

_N = r"-?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_PAIR = rf"\s*{_N}[\s,]+{_N}\s*"
_TRIPLE = rf"{_PAIR},?{_PAIR},?{_PAIR}"
_WHOLE = re.compile(rf"(?:M{_PAIR}(?:L{_PAIR}|C{_TRIPLE})*Z?\s*)+")
_LETTERS = re.compile(r"[A-DF-Za-df-z]")
_LONG = re.compile(r"\.\d{4,}")
_MINUS_ZERO = re.compile(r"-0*\.?0*(?![\d.])")
_NOT_COMMANDS = b"0123456789.-+eE, \t\r\n\f"
_TO_SPACES = str.maketrans("MLCZ,", "     ")


@dataclass(frozen=True, slots=True)
class BadPath:
    """Which path breaks the promise, by which code, and how."""

    path: int
    code: str
    problem: str


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Paths:
    """Segments of many paths.

    Parameters
    ----------
    segments
        Control points (n, 4, 2); of a line, only the first and the last count. The line that ``Z`` draws is among them.
    is_line
        Which are straight, (n,).
    loop
        Loop of each segment, (n,), rising over all paths.
    loop_path
        Path of each loop, (k,).
    closed
        Which loops end in ``Z``, (k,).
    start
        Where each loop begins, (k, 2).
    """

    segments: NDArray[np.float64]
    is_line: NDArray[np.bool_]
    loop: NDArray[np.int64]
    loop_path: NDArray[np.int64]
    closed: NDArray[np.bool_]
    start: NDArray[np.float64]


def read_paths(texts: Sequence[str]) -> tuple[Paths, list[BadPath]]:
    """Return the segments of paths, and which texts break the promise.

    A text that holds other commands than M, L, C and Z, or the wrong count of numbers, gives no segments.
    """
    bad: list[BadPath] = []
    good: list[int] = []
    for index, text in enumerate(texts):
        if _WHOLE.fullmatch(text):
            good.append(index)
            bad.extend(BadPath(index, *problem) for problem in _number_problems(text))
        else:
            bad.append(BadPath(index, *_why_unread(text)))
    return _segments([texts[index] for index in good], np.array(good, dtype=np.int64)), bad


def _number_problems(text: str) -> list[tuple[str, str]]:
    found = []
    if match := _LONG.search(text):
        found.append(("too-many-decimals", f"a number has {len(match[0]) - 1} decimals"))
    if "e" in text or "E" in text:
        found.append(("exponent-used", "a number is written with an exponent"))
    if "-0" in text and (match := _MINUS_ZERO.search(text)):
        found.append(("minus-zero", f"zero is written as {match[0]}"))
    return found


def _why_unread(text: str) -> tuple[str, str]:
    others = sorted(set(_LETTERS.findall(text)) - set("MLCZ"))
    if others:
        return "other-command", f"commands other than M L C Z: {' '.join(others)}"
    return "path-unread", f"path data that cannot be read: {text[:40]!r}"


def _segments(texts: Sequence[str], owner: NDArray[np.int64]) -> Paths:
    letters = [text.encode().translate(None, _NOT_COMMANDS) for text in texts]
    code = np.frombuffer(b"".join(letters), dtype=np.uint8)
    numbers = np.concatenate([np.zeros(0), *(np.fromstring(text.translate(_TO_SPACES), sep=" ") for text in texts)])
    path = np.repeat(owner, [len(part) for part in letters])
    move, curve, close = code == ord("M"), code == ord("C"), code == ord("Z")
    width = np.where(curve, 6, np.where(close, 0, 2))
    stop = np.cumsum(width)
    loop = np.cumsum(move) - 1
    count = int(loop[-1]) + 1 if len(loop) else 0
    points = numbers.reshape(-1, 2)
    # The last point each command has reached; Z leads back to where its loop began.
    last = stop // 2 - 1
    start = points[last[move]]
    at = np.where(close[:, None], start[loop], points[last]) if len(code) else points
    draws = np.flatnonzero(~move)
    before, after = at[draws - 1], at[draws]
    segments = np.repeat(before[:, None], 4, axis=1)
    segments[:, 3] = after
    curved = curve[draws]
    first = (stop - width)[draws[curved]] // 2
    segments[curved, 1], segments[curved, 2] = points[first], points[first + 1]
    is_line = ~curved
    # Z draws nothing where its loop has come back already.
    drawn = ~(close[draws] & np.all(before == after, axis=1))
    closed = np.zeros(count, dtype=bool)
    closed[loop[close]] = True
    return Paths(
        segments=segments[drawn],
        is_line=is_line[drawn],
        loop=loop[draws][drawn],
        loop_path=path[move],
        closed=closed,
        start=start,
    )
