"""Reading what a command names, and writing what it made so that an interrupted run leaves the old files whole."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from pathlib import Path

from friezewright.errors import InputError

__all__ = ["keep_source", "read_bytes", "write_file", "write_folder"]

_LARGEST_FILE = 512 * 1024 * 1024


def read_bytes(path: Path) -> bytes:
    """Return a file's bytes.

    Raises
    ------
    InputError
        If it is not there, not a file, not readable or over 512 MB.
    """
    try:
        if path.is_dir():
            raise InputError(f"{path} is a folder; name a file in it")
        if path.stat().st_size > _LARGEST_FILE:
            raise InputError(f"{path} is over 512 MB; give a smaller file")
        return path.read_bytes()
    except FileNotFoundError:
        raise InputError(f"{path} does not exist; check the name and the folder") from None
    except OSError as error:
        raise InputError(f"{path} cannot be read ({error.strerror}); check its permissions") from None
    except ValueError:
        raise InputError(f"{str(path)!r} cannot be the name of a file; write it without control characters") from None


def keep_source(target: Path, source: Path) -> None:
    """Refuse to write over what was read.

    Raises
    ------
    InputError
        If both are one file.
    """
    if target.exists() and target.samefile(source):
        raise InputError(f"{target} is the picture itself; name another file with -o")


def write_file(path: Path, data: bytes) -> None:
    """Write one file under a temporary name beside its place, then rename it.

    Raises
    ------
    InputError
        If the path is a folder, or its folder cannot be written to.
    """
    if path.is_dir():
        raise InputError(f"{path} is a folder; name a file with -o")
    write_folder(path.parent, {path.name: data})


def write_folder(folder: Path, files: Mapping[str, bytes], *, absent: tuple[str, ...] = ()) -> None:
    """Write files into a folder, all of them first under temporary names, then renamed one after the other.

    Parameters
    ----------
    folder
        Made when it is not there.
    files
        Bytes by file name.
    absent
        Names that must not be left over from an earlier run.

    Raises
    ------
    InputError
        If the folder cannot be made or written to; nothing half-written is left behind.
    """
    staged: list[tuple[Path, Path]] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, data in files.items():
            handle, temporary = tempfile.mkstemp(prefix=f".{name}.", dir=folder)
            staged.append((Path(temporary), folder / name))
            with os.fdopen(handle, "wb") as stream:
                stream.write(data)
        for name in absent:
            (folder / name).unlink(missing_ok=True)
        for temporary_path, final in staged:
            # mkstemp makes files private; what is handed over is an ordinary file.
            temporary_path.chmod(0o666 & ~_umask())
            temporary_path.replace(final)
    except OSError as error:
        raise InputError(f"{folder} cannot be written to ({error.strerror}); name another with -o") from None
    finally:
        for temporary_path, _ in staged:
            temporary_path.unlink(missing_ok=True)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
