"""The motif made ready for its seat: turned, centred, and where asked for made one with its mirror images."""

from __future__ import annotations

import math
from enum import StrEnum

import numpy as np

from friezewright.errors import InputError
from friezewright.geometry import affine
from friezewright.geometry.fuse import fused
from friezewright.geometry.outline import Outline
from friezewright.pattern.groups import Group, MirrorSite, mirror_sites

__all__ = ["Mirrors", "centred", "check_sizes", "on_site", "site_for"]

_LINE_OVERLAP = 0.2
_POINT_OVERLAP = 0.1


class Mirrors(StrEnum):
    """How a motif stands to the mirror lines of its group."""

    CLEAR = "clear"
    """Wholly beside them, half a gap away."""

    ON = "on"
    """Its axis on a line: cut at the axis, one half kept and mirrored, so that it is exactly symmetric."""

    FUSED = "fused"
    """Across them: cut at the line, and joined with its mirror images into one shape."""


def centred(shape: Outline, turn_rad: float) -> Outline:
    """Return the outline turned clockwise on screen, the middle of its new bounding box at the origin."""
    turned = shape.transformed(affine.rotation(turn_rad)) if turn_rad else shape
    return turned.transformed(affine.translation(-turned.bounds().mean(axis=0)))


def check_sizes(gap_mm: float | None, size_mm: float | None, what: str, turn_rad: float) -> None:
    """Refuse impossible sizes.

    Raises
    ------
    InputError
        If neither a gap nor a size is given, or one of them is not a usable number.
    """
    if gap_mm is None and size_mm is None:
        raise InputError(f"give a gap or a {what}; a pattern needs one of them for its size")
    if gap_mm is not None and not (math.isfinite(gap_mm) and gap_mm >= 0.0):
        raise InputError(f"a gap must be 0 mm or more, got {gap_mm!r}")
    if size_mm is not None and not (math.isfinite(size_mm) and size_mm > 0.0):
        raise InputError(f"a {what} must be more than 0 mm, got {size_mm!r}")
    if not math.isfinite(turn_rad):
        raise InputError(f"a turn must be a finite angle, got {turn_rad!r}")


def site_for(group: Group, mirrors: Mirrors, site: int) -> MirrorSite | None:
    """Return the mirror site that a motif is to sit on; None for :attr:`Mirrors.CLEAR`.

    Raises
    ------
    InputError
        If the group has no mirrors, or not as many sites.
    """
    if mirrors is Mirrors.CLEAR:
        return None
    sites = mirror_sites(group)
    if not sites:
        raise InputError(f'{group} has no mirror lines to set a motif on; use mirrors = "clear"')
    if mirrors is Mirrors.ON:
        sites = tuple(each for each in sites if each.lines == 1)
    if not 0 <= site < len(sites):
        raise InputError(f"{group} has {len(sites)} such mirror sites, numbered from 0; got {site}")
    return sites[site]


def on_site(
    shape: Outline, *, along_rad: float, lines: int, mirrors: Mirrors, turn_rad: float, overlap: float | None
) -> Outline:
    """Return the motif fused with its images at a mirror site that lies at the origin.

    Parameters
    ----------
    shape
        The motif.
    along_rad, lines
        Direction of the site's first line, and the number of lines.
    mirrors
        ``ON`` lays the motif's upright axis along the line. ``FUSED`` leaves the motif upright beside a line; at a
        point it grows outwards, midway between two lines.
    turn_rad
        Further turn of the motif, clockwise on screen.
    overlap
        Which part of the motif's extent lies beyond the line, or beyond the point, and is cut away.

    Raises
    ------
    InputError
        If the overlap is not between 0 and 1, or nothing of the motif would be left.
    """
    across = along_rad + 0.5 * math.pi / lines
    if mirrors is Mirrors.ON:
        # Upright means that the foot points along +y.
        motif, overlap = centred(shape, turn_rad), 0.5
        motif = motif.transformed(affine.rotation(along_rad - 0.5 * math.pi))
    elif lines == 1:
        motif = centred(shape, turn_rad)
        overlap = _LINE_OVERLAP if overlap is None else overlap
    else:
        motif = centred(centred(shape, turn_rad), across + 0.5 * math.pi)
        overlap = _POINT_OVERLAP if overlap is None else overlap
    if not 0.0 <= overlap < 1.0:
        raise InputError(f"the overlap at a mirror is a share from 0 up to 1, got {overlap!r}")
    # Seen along the way out from the site: extent, and the middle across it.
    box = motif.transformed(affine.rotation(-across)).bounds()
    start = box[0, 0] + overlap * (box[1, 0] - box[0, 0])
    middle = 0.5 * (box[0, 1] + box[1, 1])
    out = affine.apply(affine.rotation(across), np.array([start, middle]))
    whole = fused(motif.transformed(affine.translation(-out)), along_rad=along_rad, lines=lines)
    if whole is None or abs(whole.area_mm2()) == 0.0:
        raise InputError("nothing of the motif is left between the mirrors; use less overlap or another turn")
    if lines == 1:
        # Along a single line nothing fixes the place, so the middle of the new shape is taken.
        box = whole.transformed(affine.rotation(-along_rad)).bounds()
        slide = affine.apply(affine.rotation(along_rad), np.array([0.5 * (box[0, 0] + box[1, 0]), 0.0]))
        whole = whole.transformed(affine.translation(-slide))
    return whole
