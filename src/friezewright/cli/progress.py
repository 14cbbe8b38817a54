"""Progress on a terminal; silence elsewhere."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

__all__ = ["shown"]


@contextmanager
def shown(*, quiet: bool = False) -> Iterator[Callable[[str], None]]:
    """Yield a callback that shows what is being done, in one line on stderr, while the block runs."""
    if quiet or not sys.stderr.isatty():
        yield lambda _: None
        return
    from rich.console import Console

    with Console(stderr=True).status("starting") as status:
        yield lambda words: status.update(words)
