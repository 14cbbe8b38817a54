"""The motifs that are drawn for this program and shipped with it, as bitmaps by name."""

from __future__ import annotations

from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path, PurePath

from friezewright.errors import InputError

__all__ = ["names", "picture"]

_ENDINGS = (".png", ".jpg", ".gif", ".bmp", ".tif")


def _folder() -> Traversable:
    """Return the folder of the motifs: inside an installed package, beside ``src`` in a checkout."""
    installed = resources.files("friezewright") / "motifs"
    if installed.is_dir():
        return installed
    return Path(__file__).parents[3] / "motifs"


def _files() -> dict[str, Traversable]:
    folder = _folder()
    if not folder.is_dir():
        return {}
    return {PurePath(item.name).stem: item for item in folder.iterdir() if PurePath(item.name).suffix in _ENDINGS}


def names() -> tuple[str, ...]:
    """Return the names of the motifs, in alphabetical order."""
    return tuple(sorted(_files()))


def picture(name: str) -> bytes:
    """Return the bitmap file of a motif, ready for :func:`friezewright.motif.motif.motif_from_picture`.

    Raises
    ------
    InputError
        If there is no motif of that name; the message lists those there are.
    """
    files = _files()
    if name not in files:
        raise InputError(f"there is no motif called {name!r} here; there are {', '.join(sorted(files)) or 'none'}")
    return files[name].read_bytes()
