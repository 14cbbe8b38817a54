"""The ornament: placed copies, what was measured on them, and what they take from the panel."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from friezewright.findings import Finding
from friezewright.geometry.artwork import Artwork
from friezewright.geometry.outline import Outline
from friezewright.geometry.planar.region import Region

__all__ = ["Ornament"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ornament:
    """One ornament, fitted to its panel.

    Parameters
    ----------
    name
        The name it was given, or the one made up for it.
    areas
        Everything that is burned: whole motifs as placements, bent, fused or trimmed pieces as shapes placed once.
    gap_mm
        The asked smallest distance between two copies.
    measured_gap_mm
        The smallest distance found between two copies, joins made on purpose left out; None when no two copies come
        near each other.
    claim
        The part of the panel that is taken, so that later ornaments stay clear of it.
    words
        Plain sentences that say how it fits, such as ``22 repeats along the top, gap 0.52 mm``.
    counts
        How many of what there are, by name: ``copies``, ``repeats``, ``trimmed`` and the like.
    findings
        What the maker should know, in the order found.
    """

    name: str
    areas: Artwork[Outline]
    gap_mm: float
    measured_gap_mm: float | None
    claim: Region
    words: tuple[str, ...] = ()
    counts: Mapping[str, int] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "counts", MappingProxyType(dict(self.counts)))
