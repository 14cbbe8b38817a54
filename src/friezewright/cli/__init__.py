"""The command line: translates, prints, decides nothing. Importing it loads click and the standard library alone."""

from friezewright.cli.main import main

__all__ = ["main"]
