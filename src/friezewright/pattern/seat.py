"""The motif made ready for its seat: turned, centred, and where asked for made one with its mirror images."""

from __future__ import annotations

import math
from enum import StrEnum

import numpy as np

from friezewright.errors import InputError
from friezewright.geometry import affine
from friezewright.geometry.fuse import fused
from friezewright.geometry.outline import Outline
from friezewright.geometry.planar.region import Region, intersection, region_of
from friezewright.pattern.groups import Group, MirrorSite, mirror_sites

__all__ = ["Mirrors", "centred", "check_sizes", "on_site", "site_for", "upright_axis_mm"]

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
        ``ON`` lays the motif's upright axis (see :func:`upright_axis_mm`) along the line and keeps its left half.
        ``FUSED`` leaves the motif upright beside a line; at a
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
        motif = centred(shape, turn_rad)
        motif = motif.transformed(affine.translation((-upright_axis_mm(motif), 0.0)))
        motif = motif.transformed(affine.rotation(along_rad - 0.5 * math.pi))
        return _slid(_joined(motif, along_rad, 1), along_rad)
    if lines == 1:
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
    whole = _joined(motif.transformed(affine.translation(-out)), along_rad, lines)
    return whole if lines > 1 else _slid(whole, along_rad)


def upright_axis_mm(motif: Outline) -> float:
    """Return the x of the upright line about which a motif is most nearly symmetric, mm.

    Most of its area then lies on its own mirror image. Lines near the middle of the box are tried, ever more closely.
    """
    (left, _), (right, _) = motif.bounds()
    width = float(right - left)
    tolerance = max(width, 1e-3) / 200.0
    flat = region_of(motif, tolerance_mm=tolerance)
    image = motif.transformed(affine.mirror_x())
    best, step = 0.5 * float(left + right), 0.025 * width
    offsets = np.array(sorted(range(-10, 11), key=abs), dtype=np.float64)
    for _ in range(3):
        trial = best + step * offsets
        shared = [_shared_mm2(flat, image, float(x), tolerance) for x in trial]
        # Of equals the first is taken: the one next to the line found before.
        best = float(trial[int(np.argmax(np.round(np.array(shared) / max(shared[0], 1e-9), 9)))])
        step /= 8.0
    return best


def _shared_mm2(flat: Region, image: Outline, axis_mm: float, tolerance_mm: float) -> float:
    mirrored = image.transformed(affine.translation((2.0 * axis_mm, 0.0)))
    return intersection(flat, region_of(mirrored, tolerance_mm=tolerance_mm)).area_mm2()


def _joined(motif: Outline, along_rad: float, lines: int) -> Outline:
    whole = fused(motif, along_rad=along_rad, lines=lines)
    if whole is None or abs(whole.area_mm2()) == 0.0:
        raise InputError("nothing of the motif is left between the mirrors; use less overlap or another turn")
    return whole


def _slid(whole: Outline, along_rad: float) -> Outline:
    """Return a shape on a single mirror line moved along it until its middle is at the origin."""
    box = whole.transformed(affine.rotation(-along_rad)).bounds()
    slide = affine.apply(affine.rotation(along_rad), np.array([0.5 * (box[0, 0] + box[1, 0]), 0.0]))
    return whole.transformed(affine.translation(-slide))
