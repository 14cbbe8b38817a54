"""The command line run as a user runs it, in a folder of its own."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from contextlib import chdir
from dataclasses import dataclass
from pathlib import Path

import pytest
from click.testing import CliRunner

from friezewright.cli import main

JOBS = Path(__file__).parent.parent / "data" / "jobs"


@dataclass(frozen=True, slots=True, kw_only=True)
class Ran:
    """How a command ended, and what it said."""

    code: int
    out: str
    err: str


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Enter an empty folder that commands run in, so that messages hold short names."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def invoked(*arguments: str) -> Ran:
    """Run ``friezewright`` with these arguments in the current folder."""
    result = CliRunner().invoke(main, list(arguments), prog_name="friezewright")
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return Ran(code=result.exit_code, out=result.stdout, err=result.stderr)


@pytest.fixture
def run(home: Path) -> Callable[..., Ran]:
    """Run commands in an empty folder."""
    return invoked


@pytest.fixture(scope="session")
def stored(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., tuple[Ran, Path]]:
    """Compose a stored job, once for all tests that only look at what came of it; return also its folder."""
    known: dict[tuple[str, ...], tuple[Ran, Path]] = {}

    def composed(job: str, *options: str) -> tuple[Ran, Path]:
        if (job, *options) not in known:
            folder = tmp_path_factory.mktemp(job)
            for file in sorted(JOBS.glob(f"{job}.*")):
                shutil.copy(file, folder / file.name)
            with chdir(folder):
                known[(job, *options)] = (invoked("compose", f"{job}.toml", *options), folder / job)
        return known[(job, *options)]

    return composed
