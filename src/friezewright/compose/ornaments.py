"""From what a job asks of its ornaments to fitted ones, in the order written, each claiming its part of the zone."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from friezewright.compose.job import BorderJob, FieldJob, Job, OrnamentJob, PlaceJob
from friezewright.compose.motifs import Motifs
from friezewright.compose.panels import followed_rim, outline_of_shape
from friezewright.compose.patterns import field_pattern_of, strip_pattern_of
from friezewright.errors import JobError
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import Outline
from friezewright.geometry.planar.region import intersection, region_of
from friezewright.layers.burn import Burn, BurnStyle, Lining
from friezewright.ornament.border import BorderRequest, Corner, FrameLine, border
from friezewright.ornament.field import Edge, FieldRequest, field
from friezewright.ornament.ornament import Ornament
from friezewright.ornament.place import PlaceRequest, place
from friezewright.panel.panel import Panel
from friezewright.panel.zone import KeepOff, Zone

__all__ = ["Fitting", "Workpiece", "fit_ornaments"]

# A trimmed piece narrower than this many motif heights reads as dirt, whatever the machine could burn.
_LEAST_WIDTH_SHARE = 0.04


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fitting:
    """A fitted ornament and the way it is burned."""

    ornament: Ornament
    style: BurnStyle


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Workpiece:
    """What every ornament of a job is fitted to.

    Parameters
    ----------
    job, motifs
        What is asked for, and the motifs by name.
    panel, keep_off
        Where it goes, and how far it stays from the cuts.
    tolerance_mm
        Furthest a trimmed or bent line may lie from the true curve.
    """

    job: Job
    motifs: Motifs
    panel: Panel
    keep_off: KeepOff
    tolerance_mm: float


def fit_ornaments(
    work: Workpiece, zone: Zone, *, progress: Callable[[str], None] = lambda _: None
) -> tuple[Fitting, ...]:
    """Return all ornaments of a job, fitted; each takes its part of the zone before the next is.

    Parameters
    ----------
    work
        What they are fitted to.
    zone
        Where ornament may be.
    progress
        Called with a few words before each.

    Raises
    ------
    JobError
        If an ornament names a cutout or a pattern that is not there.
    """
    fitted: list[Fitting] = []
    for index, asked in enumerate(work.job.ornament):
        name = work.job.name_of(index)
        progress(f"fitting {name}")
        for ornament in _ornaments(asked, name, work, zone):
            fitted.append(Fitting(ornament=ornament, style=_style(asked)))
            clear = asked.gap if isinstance(asked, BorderJob) or asked.clear is None else asked.clear
            zone = zone.claimed(ornament.claim, clear_mm=clear)
    return tuple(fitted)


def _ornaments(asked: OrnamentJob, name: str, work: Workpiece, zone: Zone) -> Iterator[Ornament]:
    if isinstance(asked, BorderJob):
        for request in _borders(asked, name, work):
            made = border(request, zone)
            yield made
            zone = zone.claimed(made.claim, clear_mm=asked.gap)
    elif isinstance(asked, FieldJob):
        yield field(_field(asked, name, work, zone), zone)
    else:
        yield place(_place(asked, name, work), zone)


def _style(asked: OrnamentJob) -> BurnStyle:
    lining = Lining(spacing_mm=asked.lining.spacing, angle_rad=asked.lining.angle, weave=asked.lining.weave)
    return BurnStyle(
        burn=Burn(asked.burn),
        partner_burn=None if asked.partner_burn is None else Burn(asked.partner_burn),
        lining=lining,
        contour_edges=asked.edge_contours,
    )


def _borders(asked: BorderJob, name: str, work: Workpiece) -> Iterator[BorderRequest]:
    """Yield one request a loop: the rim, one named cutout, or each of them."""
    repeat = strip_pattern_of(asked, work.job, work.motifs)
    corner_shape = None
    if asked.corner_motif is not None:
        corner_shape = work.motifs[asked.corner_motif].at_height(repeat.height_mm)
    for loop_name, loop, outward, offset_mm in _loops(asked, work, repeat.height_mm):
        yield BorderRequest(
            name=name if not loop_name else f"{name} {loop_name}",
            loop=loop,
            outward=outward,
            offset_mm=offset_mm,
            strip=repeat,
            gap_mm=asked.gap,
            corner=Corner(asked.corner),
            corner_shape=corner_shape,
            corner_size_mm=asked.corner_size,
            reversed_at_centre=asked.reversed_at_centre,
            sides=None if asked.sides is None else tuple(asked.sides),
            frame_line=FrameLine(asked.frame_line),
            frame_width_mm=asked.frame_width,
            frame_gap_mm=asked.frame_gap,
            rigid=asked.rigid,
            tolerance_mm=work.tolerance_mm,
        )


def _loops(asked: BorderJob, work: Workpiece, height_mm: float) -> Iterator[tuple[str, Outline, bool, float]]:
    """Yield the loops a border follows: a name to tell several apart, the loop, on which side, how far off."""
    panel, keep_off = work.panel, work.keep_off
    words = asked.border.split(maxsplit=1)
    if asked.border == "rim":
        rim, further_mm = followed_rim(work.job, panel, shallow_mm=height_mm)
        yield "", rim, False, keep_off.rim_mm + further_mm
    elif asked.border == "cutouts":
        for opening in panel.cutouts:
            yield opening.name, opening.outline, True, keep_off.of(opening.name)
    elif words and words[0] == "cutout":
        wanted = words[1] if len(words) == 2 else ""
        named = next((part for part in panel.cutouts if part.name == wanted), None)
        if named is None:
            known = ", ".join(repr(part.name) for part in panel.cutouts) or "none"
            raise JobError(f"border = {asked.border!r} names no cutout of the panel; it has: {known}")
        yield "", named.outline, True, keep_off.of(named.name)
    else:
        raise JobError(f'border = {asked.border!r} is not known; use "rim", "cutouts" or "cutout NAME"')


def _field(asked: FieldJob, name: str, work: Workpiece, zone: Zone) -> FieldRequest:
    repeat = field_pattern_of(asked, work.job, work.motifs)
    within = None if asked.within is None else region_of(outline_of_shape(f"area of {name!r}", asked.within))
    if isinstance(asked.centre, tuple):
        anchor = asked.centre
    elif asked.centre == "panel":
        anchor = _middle(work.panel.rim.bounds())
    else:
        region = zone.region if within is None else intersection(zone.region, within)
        anchor = _middle(work.panel.rim.bounds() if region.is_empty else region.bounds())
    return FieldRequest(
        name=name,
        repeat=repeat,
        gap_mm=asked.gap,
        anchor_mm=anchor,
        slant_rad=asked.slant,
        edge=Edge(asked.edge),
        least_width_mm=_least_width(asked.least_width, asked.height),
        within=within,
        tolerance_mm=work.tolerance_mm,
    )


def _place(asked: PlaceJob, name: str, work: Workpiece) -> PlaceRequest:
    return PlaceRequest(
        name=name,
        shape=work.motifs[asked.motif].at_height(asked.height),
        at_mm=asked.place,
        turn_rad=asked.turn,
        mirrored=asked.mirrored,
        gap_mm=asked.gap,
        edge=Edge(asked.edge),
        least_width_mm=_least_width(None, asked.height),
        tolerance_mm=work.tolerance_mm,
    )


def _least_width(asked_mm: float | None, height_mm: float) -> float:
    return _LEAST_WIDTH_SHARE * height_mm if asked_mm is None else asked_mm


def _middle(bounds: FloatArray) -> tuple[float, float]:
    x, y = bounds.mean(axis=0).tolist()
    return x, y
