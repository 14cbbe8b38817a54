"""The panel that a job asks for: made of its figures, or read from a drawing."""

from __future__ import annotations

from collections.abc import Callable

from friezewright.compose.job import Job, KeepOffJob, PanelJob, ShapeJob
from friezewright.errors import JobError
from friezewright.findings import Finding
from friezewright.geometry.outline import Outline
from friezewright.panel import shapes
from friezewright.panel.from_drawing import panel_from_drawing
from friezewright.panel.notch import notch_depth_mm, notched
from friezewright.panel.panel import Opening, Panel
from friezewright.panel.zone import KeepOff
from friezewright.reading.svg import read_svg

__all__ = ["followed_rim", "keep_off_of", "outline_of_shape", "panel_of_job"]


def panel_of_job(job: Job, read: Callable[[str], bytes]) -> tuple[Panel, KeepOff, tuple[Finding, ...]]:
    """Return the panel, how far burning stays from its cuts, and what was remarked on a drawing.

    Raises
    ------
    PanelError
        If its parts do not make a panel.
    DrawingError
        If its drawing cannot be read.
    """
    asked = job.panel
    reserves = tuple(Opening(part.name, outline_of_shape(f"reserve {part.name!r}", part)) for part in asked.reserve)
    findings: tuple[Finding, ...] = ()
    if asked.drawing is not None:
        svg = read_svg(read(asked.drawing), name=asked.drawing)
        panel, findings = panel_from_drawing(
            svg,
            rim=asked.rim,
            cutouts=asked.cutouts,
            rim_width_mm=asked.rim_width,
            reserves=reserves,
            thickness_mm=asked.thickness,
        )
    else:
        cutouts = tuple(Opening(part.name, outline_of_shape(f"cutout {part.name!r}", part)) for part in asked.cutout)
        panel = Panel(
            rim=notched(_rim(asked), _notches(asked)),
            cutouts=cutouts,
            reserves=reserves,
            thickness_mm=asked.thickness,
        )
    return panel, keep_off_of(asked.keep_off, panel), findings


def followed_rim(job: Job, panel: Panel, *, shallow_mm: float) -> tuple[Outline, float]:
    """Return the loop that a border along the rim follows, and how much further in it runs than keep_off asks.

    A border that went round every hinge recess would be all corners. Where no notch is deeper than ``shallow_mm`` the
    border follows the rim as it was before the notches were taken, far enough in to pass the deepest.
    """
    if not job.panel.notch:
        return panel.rim, 0.0
    whole = _rim(job.panel)
    deepest = max(notch_depth_mm(whole, notch) for notch in _notches(job.panel))
    return (whole, deepest) if deepest <= shallow_mm else (panel.rim, 0.0)


def _notches(asked: PanelJob) -> tuple[Opening, ...]:
    return tuple(Opening(part.name, outline_of_shape(f"notch {part.name!r}", part)) for part in asked.notch)


def keep_off_of(asked: KeepOffJob, panel: Panel) -> KeepOff:
    """Return the clear distances, every named one being that of a cutout the panel has.

    Raises
    ------
    JobError
        If a name is no cutout's.
    """
    known = {opening.name for opening in panel.cutouts}
    for name in asked.named:
        if name not in known:
            raise JobError(f"keep_off names a cutout {name!r}; the panel has: {', '.join(sorted(known)) or 'none'}")
    return KeepOff(rim_mm=asked.rim, cutouts_mm=asked.cutouts, named=dict(asked.named))


def _rim(asked: PanelJob) -> Outline:
    if asked.size is not None:
        return shapes.rectangle("rim", (0.0, 0.0, *asked.size), asked.corner_radius)
    if asked.polygon is not None:
        return shapes.polygonal("rim", asked.polygon, asked.corner_radius)
    if asked.circle is not None and asked.diameter is not None:
        return shapes.disc("rim", asked.circle, asked.diameter)
    raise JobError("the panel has neither size, polygon, circle nor drawing; add one")


def outline_of_shape(part: str, asked: ShapeJob) -> Outline:
    """Return the outline of a shape as the job writes it; ``part`` is what messages call it."""
    if asked.circle is not None and asked.diameter is not None:
        return shapes.disc(part, asked.circle, asked.diameter)
    if asked.rectangle is not None:
        return shapes.rectangle(part, asked.rectangle, asked.corner_radius)
    if asked.slot is not None:
        return shapes.slot(part, asked.slot, ends=asked.ends)
    if asked.polygon is not None:
        return shapes.polygonal(part, asked.polygon, asked.corner_radius)
    raise JobError(f"{part} has no shape; give it a circle, rectangle, slot or polygon")
