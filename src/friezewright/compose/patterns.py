"""The endless pattern an ornament asks for: a group's plain one, the best clasp found now, or one from the book."""

from __future__ import annotations

from typing import TypeVar

import numpy as np

from friezewright.compose.job import BorderJob, FieldJob, FieldPatternJob, Job, StripPatternJob
from friezewright.compose.motifs import Motifs
from friezewright.errors import JobError
from friezewright.geometry import affine
from friezewright.geometry.artwork import Placements
from friezewright.geometry.outline import Outline
from friezewright.pattern.clasp import Partner, clasp_repeat
from friezewright.pattern.fields import field
from friezewright.pattern.groups import frieze_named, plane_named
from friezewright.pattern.ideas import best_field, best_strip
from friezewright.pattern.repeat import Repeat, repeat_of
from friezewright.pattern.seat import Mirrors, centred
from friezewright.pattern.strips import strip

__all__ = ["CLASP", "field_pattern_of", "field_repeat", "strip_pattern_of"]

CLASP = "clasp"
"""The word that asks for the best fit of the motif into its own copy, found now."""


def strip_pattern_of(asked: BorderJob, job: Job, motifs: Motifs) -> Repeat:
    """Return the strip that a border is made of.

    Raises
    ------
    JobError
        If a pattern of that name is a field, or made for another motif.
    InputError
        If it is neither a pattern, the word ``clasp``, nor one of the seven friezes.
    """
    shape = motifs[asked.motif].at_height(asked.height)
    if asked.strip in job.pattern:
        picked = _picked(asked.strip, asked.motif, job, StripPatternJob)
        x, y = picked.offset
        return clasp_repeat(
            shape,
            Partner(picked.partner),
            turn_rad=picked.turn,
            pitch_mm=picked.pitch * asked.height,
            offset_mm=(x * asked.height, y * asked.height),
        )
    if asked.strip == CLASP:
        return best_strip(shape, gap_mm=asked.gap, turn_rad=asked.turn)
    return strip(
        shape,
        frieze_named(asked.strip),
        gap_mm=asked.gap if asked.pitch is None else None,
        pitch_mm=asked.pitch,
        turn_rad=asked.turn,
        mirrors=Mirrors(asked.mirrors),
        site=asked.mirror_site,
    )


def field_pattern_of(asked: FieldJob, job: Job, motifs: Motifs) -> Repeat:
    """Return the pattern that a field is filled with; errors as for :func:`strip_pattern_of`."""
    shape = motifs[asked.motif].at_height(asked.height)
    if asked.group in job.pattern:
        picked = _picked(asked.group, asked.motif, job, FieldPatternJob)
        return field_repeat(
            shape,
            turn_rad=picked.turn,
            vectors_mm=asked.height * np.array(picked.vectors),
            copies=[
                (x * asked.height, y * asked.height, turn_rad, mirrored) for x, y, turn_rad, mirrored in picked.copies
            ],
        )
    if asked.group == CLASP:
        return best_field(shape, gap_mm=asked.gap, turn_rad=asked.turn)
    return field(
        shape,
        plane_named(asked.group),
        gap_mm=asked.gap if asked.cell is None else None,
        cell_mm=asked.cell,
        turn_rad=asked.turn,
        mirrors=Mirrors(asked.mirrors),
        site=asked.mirror_site,
    )


def field_repeat(
    shape: Outline,
    *,
    turn_rad: float,
    vectors_mm: affine.FloatArray,
    copies: list[tuple[float, float, float, bool]],
) -> Repeat:
    """Return the field of known figures: nothing is searched, the gap is measured and the group found.

    Parameters
    ----------
    shape
        The motif, mm; it is turned and centred on its bounding box.
    turn_rad
        Turn of the motif before all else.
    vectors_mm
        The two repeat vectors, shape (2, 2).
    copies
        Place in mm, turn in radians and whether mirrored left to right before it is turned, one a copy in the cell.
    """
    motif = centred(shape, turn_rad)
    matrix = np.stack(
        [
            affine.compose(
                affine.translation((x, y)),
                affine.compose(affine.rotation(turn), affine.mirror_x() if mirrored else affine.identity()),
            )
            for x, y, turn, mirrored in copies
        ]
    )
    count = len(matrix)
    cell = Placements(matrix=matrix, shape=np.zeros(count, dtype=np.int64), member=np.arange(count))
    return repeat_of(vectors_mm, (motif,), cell)


PatternT = TypeVar("PatternT", StripPatternJob, FieldPatternJob)


def _picked(name: str, motif: str, job: Job, kind: type[PatternT]) -> PatternT:
    picked = job.pattern[name]
    if not isinstance(picked, kind):
        have, need = ("field", "strip") if kind is StripPatternJob else ("strip", "field")
        raise JobError(f"pattern {name!r} is a {have}, a {need} is asked for; pick another from the pattern book")
    if picked.motif != motif:
        raise JobError(f"pattern {name!r} was made for motif {picked.motif!r}, not {motif!r}; name that motif")
    return picked
