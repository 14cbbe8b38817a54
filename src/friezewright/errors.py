"""Everything Friezewright may refuse, in one tree.

::

    FriezewrightError            the base; exit code 3, our own bug
    |-- InputError               what was handed in cannot be used; exit code 2
    |   |-- PictureError         a bitmap, or what is drawn in it
    |   |-- DrawingError         an SVG drawing, ours or someone else's
    |   |-- JobError             the job file
    |   |-- PanelError           rim, cutouts and reserves do not make a panel
    |   |-- MaterialError        a material that must not be lasered
    |   |-- MachineError         a machine profile
    |   `-- LimitError           larger than this program takes on
    |-- GeometryError            a computation failed its own check; exit code 3
    `-- Cancelled                the caller asked for a stop; exit code 130

A message is one line: what was read, where (in millimetres or as a line of the file), and what would do.
"""

__all__ = [
    "Cancelled",
    "DrawingError",
    "FriezewrightError",
    "GeometryError",
    "InputError",
    "JobError",
    "LimitError",
    "MachineError",
    "MaterialError",
    "PanelError",
    "PictureError",
]


class FriezewrightError(Exception):
    """Base of all errors raised on purpose; uncaught ones of other kinds are bugs too."""

    exit_code: int = 3


class InputError(FriezewrightError):
    """What was handed in cannot be used; the message says what would do."""

    exit_code = 2


class PictureError(InputError):
    """A bitmap cannot be read, or holds nothing to trace."""


class DrawingError(InputError):
    """An SVG drawing cannot be read, or lacks what is needed from it."""


class JobError(InputError):
    """A job file holds an unknown key, a wrong unit or an impossible size."""


class PanelError(InputError):
    """A panel's rim, cutout or reserve is open, self-crossing or out of place."""

    def __init__(self, part: str, problem: str, remedy: str, at_mm: tuple[float, float] | None = None) -> None:
        self.part, self.problem, self.remedy, self.at_mm = part, problem, remedy, at_mm
        where = "" if at_mm is None else f" near ({at_mm[0]:.2f}, {at_mm[1]:.2f}) mm"
        super().__init__(f"{part} {problem}{where}; {remedy}")


class MaterialError(InputError):
    """A material that gives off poison, or that nobody can vouch for, was named."""


class MachineError(InputError):
    """A machine profile holds an unknown key or an impossible figure."""


class LimitError(InputError):
    """Something is larger than the stated limits; the message names the limit."""


class GeometryError(FriezewrightError):
    """A geometric computation failed its own check: a bug here, never the user's fault."""


class Cancelled(FriezewrightError):  # noqa: N818 - not an error of anybody's
    """Raised by a progress callback to stop a computation at the next safe point."""

    exit_code = 130
