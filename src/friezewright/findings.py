"""Findings: named, located remarks about a job that is computed all the same.

What makes a result impossible is an error (:mod:`friezewright.errors`); what a maker should know, look at or decide
is a
finding. Codes are stable words that may be searched for; the message is one plain sentence with the figures in it.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

__all__ = ["Finding", "Severity", "stops", "worst_first"]


class Severity(IntEnum):
    """How much a finding matters; a ``STOP`` keeps the drawing from being written."""

    NOTE = 1
    WARNING = 2
    STOP = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One remark.

    Parameters
    ----------
    code
        Stable lower-case word or words joined by hyphens, for instance ``thin-line``.
    severity
        Note, warning or stop.
    message
        One plain sentence, figures included, that ends without a full stop.
    where_mm
        The place on the panel, ``(x, y)`` in mm, when there is one.
    ornament
        Name of the ornament it concerns, when there is one.
    """

    code: str
    severity: Severity
    message: str
    where_mm: tuple[float, float] | None = None
    ornament: str | None = None

    def __post_init__(self) -> None:
        if not self.code or self.code != self.code.lower() or " " in self.code:
            raise ValueError(f"a finding's code is lower case without spaces, got {self.code!r}")

    def __str__(self) -> str:
        owner = f"{self.ornament}: " if self.ornament else ""
        place = "" if self.where_mm is None else f" near ({self.where_mm[0]:.2f}, {self.where_mm[1]:.2f}) mm"
        return f"{self.severity.name.lower()} {self.code}: {owner}{self.message}{place}"


def stops(findings: tuple[Finding, ...] | list[Finding]) -> bool:
    """Return whether any of the findings keeps the drawing from being written."""
    return any(finding.severity is Severity.STOP for finding in findings)


def worst_first(findings: tuple[Finding, ...] | list[Finding]) -> tuple[Finding, ...]:
    """Return the findings, stops first; equal ones keep their order, exact repeats are dropped."""
    unique = dict.fromkeys(findings)
    return tuple(sorted(unique, key=lambda finding: -finding.severity))
