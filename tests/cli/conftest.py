"""The command line run as a user runs it, in a folder of its own."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from click.testing import CliRunner

from friezewright.cli import main


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


@pytest.fixture
def run(home: Path) -> Callable[..., Ran]:
    """Run ``friezewright`` with these arguments."""

    def ran(*arguments: str) -> Ran:
        result = CliRunner().invoke(main, list(arguments), prog_name="friezewright")
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        return Ran(code=result.exit_code, out=result.stdout, err=result.stderr)

    return ran
