"""Mitres: strips cut where two sides meet and joined with their mirror images.

Terms. The *bisector* is the line on which two sides meet. Each side is laid from its corners inwards, so that near
every corner both sides show the same stretch of strip, one as the mirror image of the other; the *phase* says which
stretch. *Corner cells* are the repeats that reach the bisector. They keep the strip's own pitch on all sides, so all
corners are equal. A copy that crosses the bisector is cut there, and its two halves become one shape. At the middle of
a side the two halves meet: on a mirror across the strip where it has one (the *seam* is the mirror's place, as a share
of the pitch), else round a bead.

Different copies stay the gap apart across the bisector too: the way from one to the mirror image of another crosses the
line, and folded back there it is a way between the two copies themselves.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import partial

import numpy as np

from friezewright.geometry import affine
from friezewright.geometry.artwork import Artwork, Placements, concatenate_artwork
from friezewright.geometry.fuse import fused
from friezewright.geometry.outline import Outline
from friezewright.ornament.corner import SHALLOW_RAD
from friezewright.ornament.fit import MOST_STRETCH, SpanFit, rising_root
from friezewright.ornament.guide import Guide, GuideCorner
from friezewright.ornament.laying import StripSizes, extents_along
from friezewright.ornament.path import Frames, placed_at
from friezewright.pattern.groups import FriezeGroup

__all__ = ["MitreCut", "best_phases", "cut_at", "is_mitred", "mitre_cut", "seam_fit", "seams_of", "up_to_centre"]

# Phases tried a pitch: a sixteenth of a repeat is finer than what the eye tells apart at a corner.
_PHASES = 16
# A piece that keeps less of its copy than this reads as a chip and is left out.
_CHIP = 0.12
_FLATTEN_MM = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class MitreCut:
    """Which stretch of a strip stands at the corners.

    Parameters
    ----------
    phase_mm
        Where the origin of repeat 0 lies, from the corner's point along the side.
    first, last
        Numbers of the first and the last corner cell.
    """

    phase_mm: float
    first: int
    last: int

    def begin_mm(self, sizes: StripSizes) -> float:
        """Return where the copies of the first repeat after the corner cells begin."""
        pitch = sizes.strip.pitch_mm
        return self.phase_mm + (self.last + 1) * pitch + sizes.ends(pitch)[0]

    def end_mm(self, sizes: StripSizes) -> float:
        """Return where the copies of the last corner cell end."""
        pitch = sizes.strip.pitch_mm
        return self.phase_mm + self.last * pitch + sizes.ends(pitch)[1]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Cut:
    """The strip at one corner: fused copies, and whole ones with their mirror images."""

    joined: Artwork[Outline]
    whole: Artwork[Outline]
    quality: float


def is_mitred(corner: GuideCorner) -> bool:
    """Whether a corner takes a mitre."""
    return corner.joined and abs(corner.turn_rad) >= SHALLOW_RAD


def seams_of(group: object) -> tuple[float, ...]:
    """Return where a strip has mirrors across it, as shares of the pitch from its origin."""
    if group in (FriezeGroup.P1M1, FriezeGroup.P2MM):
        return (0.0, 0.5)
    return (0.25, 0.75) if group is FriezeGroup.P2MG else ()


def mitre_cut(sizes: StripSizes, guide: Guide, phase_share: float) -> MitreCut:
    """Return the corner cells for a phase given as a share of the pitch."""
    pitch = sizes.strip.pitch_mm
    turns = [abs(corner.turn_rad) for corner in guide.corners if is_mitred(corner)]
    reach = 0.5 * sizes.height_mm * math.tan(0.5 * max(turns, default=0.0))
    phase = phase_share * pitch
    low, high = sizes.ends(pitch)
    return MitreCut(
        phase_mm=phase,
        first=math.ceil((-reach - high - phase) / pitch - 1e-9),
        last=math.floor((reach - low - phase) / pitch + 1e-9),
    )


def _corner_cells(sizes: StripSizes, cut: MitreCut) -> Artwork[Outline]:
    steps = np.arange(cut.first, cut.last + 1)
    return sizes.strip.copies(steps).moved(affine.translation((cut.phase_mm, 0.0)))


def cut_at(sizes: StripSizes, cut: MitreCut, corner: GuideCorner) -> Artwork[Outline]:
    """Return what stands at a corner: shapes cut and joined, and whole copies beside them on both sides."""
    found = _cut(sizes, cut, corner.turn_rad, gap_mm=0.0)
    frame = placed_at(Frames(corner.point[None], corner.leaving[None], np.zeros(1)))[0]
    return concatenate_artwork([found.joined, found.whole]).moved(frame)


def best_phases(sizes: StripSizes, turn_rad: float, *, gap_mm: float) -> tuple[float, ...]:
    """Return phases, as shares of the pitch, at which the corner looks well, best first.

    A phase is good when no copy is cut to a chip, whole copies keep the gap from their own mirror images, and the ink
    reaches far into the corner.
    """
    guide = Guide(
        (),
        (
            GuideCorner(
                point=np.zeros(2),
                centre=np.zeros(2),
                arriving=affine.rotation(-turn_rad)[:, 0],
                leaving=np.array([1.0, 0.0]),
            ),
        ),
    )
    scored = []
    for k in range(_PHASES):
        share = k / _PHASES
        cut = mitre_cut(sizes, guide, share)
        scored.append((_cut(sizes, cut, turn_rad, gap_mm=gap_mm).quality, -k, share))
    scored.sort(reverse=True)
    return tuple(share for _, _, share in scored)


def _cut(sizes: StripSizes, cut: MitreCut, turn_rad: float, *, gap_mm: float) -> _Cut:
    """Return the corner in the frame of the side that leaves it: x along the side, y across."""
    sine, cosine = math.sin(0.5 * turn_rad), math.cos(0.5 * turn_rad)
    along = math.atan2(-cosine, -sine)
    mirror = _mirror_along(along)
    cells = _corner_cells(sizes, cut)
    joined: list[Outline] = []
    members: list[int] = []
    whole = np.zeros(len(cells), dtype=bool)
    shares: list[float] = []
    nearest, void = math.inf, math.inf
    tip = 0.5 * sizes.height_mm * np.array([-sine / cosine, -1.0])
    for index, copy in enumerate(cells.copies()):
        points, _, _ = copy.flattened(tolerance_mm=_FLATTEN_MM)
        inside = points[:, 0] * cosine - points[:, 1] * sine
        if inside.max() <= 0.0:
            continue
        kept = points[inside >= 0.0]
        if inside.min() < 0.0:
            both = fused(copy, along_rad=along)
            share = 0.0 if both is None else 0.5 * both.area_mm2() / copy.area_mm2()
            if both is None or share < _CHIP:
                continue
            joined.append(both)
            members.append(int(cells.placements.member[index]))
            shares.append(share)
        else:
            whole[index] = True
            nearest = min(nearest, float(inside.min()))
        void = min(void, float(np.hypot(*(kept - tip).T).min()))
    copies = cells.chosen(whole)
    quality = min([0.6, *shares]) - 0.6 * min(void, sizes.height_mm) / sizes.height_mm
    if 2.0 * nearest < gap_mm:
        quality -= 1.0
    count = len(joined)
    return _Cut(
        joined=Artwork(
            tuple(joined),
            Placements(matrix=affine.identity(count), shape=np.arange(count), member=np.array(members, dtype=np.int64)),
        ),
        whole=concatenate_artwork([copies, copies.moved(mirror)]),
        quality=quality,
    )


def _mirror_along(along_rad: float) -> np.ndarray:
    turn = affine.rotation(along_rad)
    return affine.compose(turn, affine.compose(affine.mirror_y(), affine.inverse(turn)))


def seam_fit(
    sizes: StripSizes, seams: tuple[float, ...], *, begin_mm: float, centre_mm: float, slack_mm: float, stretch: bool
) -> SpanFit:
    """Return the repeats from the corner cells to the mirror of the strip that comes to lie on the side's centre.

    The count includes the repeat the mirror cuts through; one more may reach back over the mirror, so that many are to
    be laid and cut off at the centre.
    """
    pitch = sizes.strip.pitch_mm
    room = centre_mm - begin_mm

    def centre_of(seam: float, whole: int, at_mm: float) -> float:
        return (whole + seam) * at_mm - sizes.ends(at_mm)[0]

    def over(seam: float, whole: int, at_mm: float) -> float:
        return centre_of(seam, whole, at_mm) - room

    best = SpanFit(count=0, pitch_mm=pitch, spare_mm=max(room, 0.0))
    for seam in seams:
        whole = math.floor((room + sizes.ends(pitch)[0]) / pitch - seam + 1e-7)
        if whole < 0:
            continue
        low, high = pitch, pitch + slack_mm
        factor = 1.0
        if centre_of(seam, whole, high) < room:
            factor = min(1.0 + MOST_STRETCH, room / centre_of(seam, whole, high)) if stretch else 1.0
            spare, found = max(0.0, room - factor * centre_of(seam, whole, high)), high
        else:
            spare, found = 0.0, rising_root(partial(over, seam, whole), low, high)
        fit = SpanFit(count=whole + 1, pitch_mm=found * factor, start_mm=begin_mm, stretch=factor, spare_mm=spare)
        if best.count == 0 or (fit.spare_mm, fit.pitch_mm) < (best.spare_mm, best.pitch_mm):
            best = fit
    return best


def up_to_centre(artwork: Artwork[Outline], centre_mm: float, *, with_middle: bool) -> Artwork[Outline]:
    """Return the copies whose middle lies before the centre, or on it when asked."""
    middle = extents_along(artwork).mean(axis=1)
    # The mirror of a strip passes between copies or through their middle: nothing lies in between.
    on = np.abs(middle - centre_mm) < 1e-4
    return artwork.chosen((middle < centre_mm) & ~on | (on & with_middle))
