"""Motifs by their names in the job, each read and traced once."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import PurePath

from friezewright.compose.job import Job, MotifJob
from friezewright.errors import InputError
from friezewright.findings import Finding, Severity
from friezewright.geometry.fuse import fused
from friezewright.motif import library
from friezewright.motif.motif import Motif, motif_from_outline, motif_from_picture
from friezewright.motif.picture import InkSettings
from friezewright.reading.shape import read_shape

__all__ = ["Motifs", "ink_settings", "motif_of_bytes"]

# Files that hold markup start with one of these, whatever their name says.
_MARKUP = (b"<", b"\xef\xbb\xbf<")


class Motifs:
    """The motifs of one job; reading and tracing happen at the first use.

    Parameters
    ----------
    job
        Names the pictures.
    read
        Returns the bytes of a file that the job names.
    """

    def __init__(self, job: Job, read: Callable[[str], bytes]) -> None:
        self._job, self._read = job, read
        self._known: dict[str, Motif] = {}

    def __getitem__(self, name: str) -> Motif:
        """Return the motif of that name."""
        if name not in self._known:
            self._known[name] = self._made(name, self._job.motif[name])
        return self._known[name]

    def findings(self) -> tuple[Finding, ...]:
        """Return what was remarked on all motifs in use, in the order they were first used."""
        return tuple(finding for motif in self._known.values() for finding in motif.findings)

    def _made(self, name: str, asked: MotifJob) -> Motif:
        label = asked.picture
        # A name without a suffix is one of the shipped motifs; a file is named with its suffix.
        shipped = not PurePath(label).suffix and label in library.names()
        data = library.picture(label) if shipped else self._read(label)
        if _is_markup(data):
            motif = motif_from_outline(read_shape(data, name=label), name=name)
        else:
            settings = ink_settings(
                ink_level=asked.ink_level,
                dust_px=asked.dust,
                even_light=asked.even_light,
                light_on_dark=asked.light_on_dark,
                smoothness=asked.smoothness,
                crop=asked.crop,
            )
            motif = motif_from_picture(data, name=label, settings=settings)
        return _symmetric(motif, name) if asked.symmetric else motif


def motif_of_bytes(data: bytes, *, name: str) -> Motif:
    """Return the motif in a bitmap or in an SVG's filled areas, read as they come."""
    if _is_markup(data):
        return motif_from_outline(read_shape(data, name=name), name=name)
    return motif_from_picture(data, name=name)


def _is_markup(data: bytes) -> bool:
    return data.lstrip()[:4].startswith(_MARKUP)


def ink_settings(
    *,
    ink_level: float | None,
    dust_px: float | None,
    even_light: bool | None,
    light_on_dark: bool | None,
    smoothness: float | None,
    crop: tuple[int, int, int, int] | None,
) -> InkSettings:
    """Return how a picture is read, what was not asked for left as it is by default."""
    plain = InkSettings()
    return InkSettings(
        ink_level=ink_level,
        dust_px=plain.dust_px if dust_px is None else dust_px,
        even_light=even_light,
        light_on_dark=light_on_dark,
        smoothness=plain.smoothness if smoothness is None else smoothness,
        crop=crop,
    )


def _symmetric(motif: Motif, name: str) -> Motif:
    """Return the motif made exactly symmetric left to right from its left half, with what was remarked."""
    # The upright line through the centre, with what lies clockwise of it on screen kept: the left half.
    outline = fused(motif.outline, along_rad=math.pi / 2.0)
    if outline is None:
        raise InputError(f"motif {name!r} cannot be made symmetric: nothing of it lies left of its middle")
    straight = motif_from_outline(outline, name=motif.name)
    findings = motif.findings
    if motif.mirror_residual is None:
        findings = (
            *findings,
            Finding(
                code="not-symmetric",
                severity=Severity.WARNING,
                message=f"motif {name!r} is far from symmetric; its left half was mirrored all the same",
            ),
        )
    return replace(motif, outline=straight.outline, mirror_residual=straight.mirror_residual, findings=findings)
