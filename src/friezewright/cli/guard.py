"""Errors as people see them: one line on stderr and an exit code, never a traceback for bad input."""

from __future__ import annotations

from typing import Any, NoReturn

import click

from friezewright.errors import FriezewrightError

__all__ = ["GuardedGroup"]


class GuardedGroup(click.Group):
    """A group of commands whose errors become one line.

    Exit codes: 0 done, 1 a finding stops the job, 2 bad input, 3 a bug in Friezewright, 130 stopped from the keyboard.
    """

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command and translate what it raises."""
        try:
            return super().invoke(ctx)
        except click.UsageError as error:
            self._misused(error)
        except FriezewrightError as error:
            prefix = "Error" if error.exit_code == 2 else "Error (a bug in Friezewright, please report it)"
            self._end(f"{prefix}: {_one_line(error)}", error.exit_code, error)
        except (click.ClickException, click.exceptions.Exit, click.Abort, KeyboardInterrupt):
            raise
        except MemoryError as error:
            self._end(
                "Error: not enough memory for this job; make the panel, or the count of motifs, smaller", 2, error
            )
        except BrokenPipeError as error:
            raise click.exceptions.Exit(0) from error
        except Exception as error:
            kind = type(error).__name__
            self._end(f"Error (a bug in Friezewright, please report it): {kind}: {_one_line(error)}", 3, error)

    def make_context(self, *args: Any, **extra: Any) -> click.Context:
        """Return the context; an option of the program itself that is not known is one line too."""
        try:
            return super().make_context(*args, **extra)
        except click.UsageError as error:
            self._misused(error)

    @classmethod
    def _misused(cls, error: click.UsageError) -> NoReturn:
        # Bare `friezewright` shows the help, which is what whoever types it wants.
        if isinstance(error, click.exceptions.NoArgsIsHelpError):
            raise error
        program = "friezewright" if error.ctx is None else error.ctx.command_path
        cls._end(f"Error: {error.format_message().rstrip('.')}; see: {program} --help", error.exit_code, error)

    @staticmethod
    def _end(line: str, code: int, error: BaseException) -> NoReturn:
        click.echo(line, err=True)
        raise click.exceptions.Exit(code) from error


def _one_line(error: BaseException) -> str:
    return " ".join(str(error).split())
