"""Where in a TOML file a key stands, so that an error can name the line.

The standard library's parser tells no positions. This looks only for table headers and for keys at the start of a line,
which is how people write jobs; a key inside an inline table is found at the line of that table's own key.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

__all__ = ["line_of"]

_HEADER = re.compile(r"\s*(\[\[?)\s*([^\]]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"\s*([A-Za-z0-9_-]+|\"[^\"]*\"|'[^']*')\s*=")


def line_of(text: str, path: Sequence[str | int]) -> int | None:
    """Return the 1-based line of the key at ``path``, or of the nearest table or key that holds it; None if unseen."""
    wanted = list(path)
    counts: dict[tuple[str | int, ...], int] = {}
    here: tuple[str | int, ...] = ()
    best: tuple[int, int] | None = None
    for number, line in enumerate(text.splitlines(), start=1):
        header, key = _HEADER.match(line), _KEY.match(line)
        if header is not None:
            here = _table(header, counts)
            seen = here
        elif key is not None:
            seen = (*here, key[1].strip("\"'"))
        else:
            continue
        if list(seen) == wanted[: len(seen)] and (best is None or len(seen) > best[0]):
            best = (len(seen), number)
    return None if best is None else best[1]


def _table(header: re.Match[str], counts: dict[tuple[str | int, ...], int]) -> tuple[str | int, ...]:
    """Return the path that a header opens; a part that is a list stands for its latest item."""
    names = tuple(part.strip().strip("\"'") for part in header[2].split("."))
    path: tuple[str | int, ...] = ()
    for position, name in enumerate(names, start=1):
        path = (*path, name)
        if position == len(names) and header[1] == "[[":
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path = (*path, counts[path])
    return path
