"""The guide: the panel with its zone and the names of its ornaments, for people; never for the machine."""

from __future__ import annotations

from collections.abc import Sequence

from friezewright.geometry.artwork import Artwork, bounds_of
from friezewright.geometry.outline import Outline, rounded_rectangle
from friezewright.geometry.planar.region import Region, outline_of
from friezewright.ornament.ornament import Ornament
from friezewright.output.pathdata import number_text, path_lines
from friezewright.output.svg import escaped, svg_open
from friezewright.panel.panel import Panel
from friezewright.panel.zone import Zone

__all__ = ["write_guide"]

_TEXT_MM = 3.5
# The guide is looked at, never run: a tenth of its own line width is fine enough.
_SHOWN_MM = 0.03


def write_guide(panel: Panel, zone: Zone, ornaments: Sequence[Ornament], *, title: str) -> bytes:
    """Return a drawing that says what is where: cuts, the edge of the zone, reserves, each ornament's share, names.

    Parameters
    ----------
    panel
        Rim, cutouts and reserves.
    zone
        Where ornament may be, before any was fitted.
    ornaments
        With what each has claimed.
    title
        Of the job.
    """
    parts = [svg_open(panel.frame, f"Guide, not to be run: {title}").encode()]
    parts += _lines("cuts", "#e69f00", "", [panel.rim, *(opening.outline for opening in panel.cutouts)])
    parts += _lines("keep-off", "#0072b2", "2 1", _edge_of(zone.region))
    parts += _lines("reserves", "#009e73", "1 1", [opening.outline for opening in panel.reserves])
    for ornament in ornaments:
        # A single motif's claim is its own outline; its box says as much and is not mistaken for it.
        edge = [_box_of(ornament)] if len(ornament.areas) == 1 else _edge_of(ornament.claim)
        parts += _lines(f"claim of {ornament.name}", "#999999", "0.5 0.8", edge)
    labels = [(opening.name, opening.outline.bounds().mean(axis=0)) for opening in (*panel.cutouts, *panel.reserves)]
    labels += [(item.name, bounds_of(item.areas)[0]) for item in ornaments if len(item.areas)]
    parts.append(f'<g id="names" fill="#333333" font-family="sans-serif" font-size="{_TEXT_MM}">\n'.encode())
    for words, (x, y) in labels:
        place = f'x="{number_text(float(x))}" y="{number_text(float(y))}"'
        parts.append(f"<text {place}>{escaped(words)}</text>\n".encode())
    parts.append(b"</g>\n</svg>\n")
    return b"".join(parts)


def _box_of(ornament: Ornament) -> Outline:
    (x0, y0), (x1, y1) = bounds_of(ornament.areas).tolist()
    return rounded_rectangle((x0, y0), (x1 - x0, y1 - y0))


def _edge_of(region: Region) -> list[Outline]:
    outline = outline_of(region, tolerance_mm=_SHOWN_MM)
    return [outline] if outline.loop_count else []


def _lines(name: str, colour: str, dashes: str, outlines: Sequence[Outline]) -> list[bytes]:
    if not outlines:
        return []
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    head = f'<g id="{escaped(name)}" fill="none" stroke="{colour}" stroke-width="0.3"{dashed}>\n'
    return [head.encode(), *path_lines(Artwork.single(outlines)), b"</g>\n"]
