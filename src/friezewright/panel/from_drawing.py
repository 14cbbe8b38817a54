"""A panel from a drawing made elsewhere: its rim, its cutouts, and its own cut lines, unmoved.

The rim is the outermost closed loop, loops inside it are cutouts, unless the maker names them by ``id``, by the ``id``
of a group, or by the colour of their stroke. Lines are put together first (:mod:`friezewright.panel.loops`), since
drawing programs like to hand over a rectangle as four lines, or the same line twice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from friezewright.errors import DrawingError, PanelError
from friezewright.findings import Finding, Severity
from friezewright.geometry.affine import FloatArray
from friezewright.geometry.outline import Outline
from friezewright.geometry.planar.region import contains_points, distance_to_edge, region_of
from friezewright.geometry.strokes import Strokes
from friezewright.geometry.tolerance import ZONE_FLATTEN_MM
from friezewright.panel.loops import Chain, chains_of, joined, without_doubles
from friezewright.panel.panel import RIM, Frame, Opening, Panel
from friezewright.reading.document import plain
from friezewright.reading.paint import colour
from friezewright.reading.svg import SvgDrawing, SvgPath

__all__ = ["panel_from_drawing"]

# Loops nearer than this all along are one loop drawn twice with different corners.
_SAME_LOOP_MM = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class _Loop:
    """A closed line of the drawing and the area in it."""

    chain: Chain
    outline: Outline
    names: tuple[str, ...]
    box: FloatArray
    area_mm2: float

    @property
    def start_mm(self) -> tuple[float, float]:
        x, y = self.chain.segments[0, 0].tolist()
        return x, y


def panel_from_drawing(
    drawing: SvgDrawing,
    *,
    rim: str | None = None,
    cutouts: str | None = None,
    rim_width_mm: float | None = None,
    thickness_mm: float | None = None,
    reserves: Sequence[Opening] = (),
) -> tuple[Panel, tuple[Finding, ...]]:
    """Return the panel that a drawing shows, and what was mended or is doubtful.

    Parameters
    ----------
    drawing
        As read, in its own units.
    rim, cutouts
        An ``id``, the ``id`` of a group, or a stroke colour; None to take the outermost loop, and all loops in it.
    rim_width_mm
        Width of the rim, for a drawing that does not say how large it is; it outweighs what the drawing says.
    thickness_mm, reserves
        Handed on to the panel, reserves in the drawing's own frame.

    Returns
    -------
    panel
        In the drawing's own frame and origin, in mm; ``cut_lines`` are its lines in the order to cut them: what lies
        in cutouts, the cutouts, the rim.
    findings
        The drawing's own first.

    Raises
    ------
    DrawingError
        If the drawing has no size and none was given, or a name is not found in it.
    PanelError
        If there is no closed loop, several outermost ones, or the parts do not make a panel.
    """
    scaled, findings = _in_mm(drawing, rim, rim_width_mm)
    paths = [path for path in scaled.paths if path.stroke is not None or path.fill is not None]
    loops, loose, mended = _loops(drawing.name, paths)
    findings.extend(mended)
    outer = _rim(drawing.name, loops, paths, rim)
    others = [loop for loop in loops if loop is not outer]
    if cutouts is not None:
        asked = {i for i, path in enumerate(paths) if _is_called(path, cutouts)}
        if not asked:
            raise DrawingError(_not_found(drawing.name, cutouts))
        count = len(others) + len(loose)
        others = [loop for loop in others if not asked.isdisjoint(loop.chain.sources)]
        loose = [chain for chain in loose if not asked.isdisjoint(chain.sources)]
        left_out = count - len(others) - len(loose)
        if left_out:
            findings.append(_note("not-used", f"{left_out} lines are neither rim nor cutout and are left out"))
    if loose:
        x, y = loose[0].segments[0, 0].tolist()
        findings.append(_warning("open-line", f"{len(loose)} open lines are cut as they are", (x, y)))
    inner, islands, beyond = _sorted_out(outer, others)
    if beyond:
        if rim is None:
            raise PanelError(
                drawing.name, "has more than one outermost loop", "name the rim by its id or colour", beyond[0].start_mm
            )
        findings.append(
            _warning("outside-rim", f"{len(beyond)} loops outside the rim are left out", beyond[0].start_mm)
        )
    for loop in islands:
        findings.append(_warning("loose-scrap", "a loop inside a cutout cuts a loose piece", loop.start_mm))
    openings = tuple(Opening(name, loop.outline) for name, loop in zip(_names(inner, reserves), inner, strict=True))
    # What lies inside falls out first; after the opening round it is cut, nothing holds it.
    lines = loose + [loop.chain for loop in islands] + [loop.chain for loop in inner]
    panel = Panel(
        rim=outer.outline,
        cutouts=openings,
        reserves=tuple(reserves),
        thickness_mm=thickness_mm,
        cut_lines=_strokes([*lines, outer.chain]),
        frame=_frame(scaled, outer.outline),
    )
    return panel, (*scaled.findings, *findings)


def _note(code: str, message: str, where_mm: tuple[float, float] | None = None) -> Finding:
    return Finding(code=code, severity=Severity.NOTE, message=message, where_mm=where_mm)


def _warning(code: str, message: str, where_mm: tuple[float, float] | None = None) -> Finding:
    return Finding(code=code, severity=Severity.WARNING, message=message, where_mm=where_mm)


def _is_called(path: SvgPath, name: str) -> bool:
    return path.id == name or name in path.layers or (path.stroke is not None and path.stroke == colour(name))


def _not_found(name: str, wanted: str) -> str:
    return f"{name} has nothing called {wanted!r}; name an id, a group's id or a stroke colour"


def _in_mm(drawing: SvgDrawing, rim: str | None, rim_width_mm: float | None) -> tuple[SvgDrawing, list[Finding]]:
    """Return the drawing in mm, by its own word or by the known width of its rim."""
    if rim_width_mm is None:
        return drawing.in_mm(), []
    if not 0.0 < rim_width_mm < float("inf"):
        raise PanelError(RIM, f"is {rim_width_mm} mm wide", "give a width above zero")
    paths = [path for path in drawing.paths if rim is None or _is_called(path, rim)]
    if not paths:
        raise DrawingError(_not_found(drawing.name, str(rim)))
    boxes = np.stack([path.strokes.bounds() for path in paths])
    # A rim in pieces is as wide as all of them; anything drawn beyond it would have to be left out by name.
    width = float(boxes[:, 1, 0].max() - boxes[:, 0, 0].min())
    if width <= 0.0:
        raise PanelError(RIM, "has no width in the drawing", "name the rim by its id or colour")
    scaled = drawing.scaled(rim_width_mm / width)
    if drawing.unit_mm is None or abs(drawing.unit_mm[0] * width - rim_width_mm) <= 1e-3 * rim_width_mm:
        return scaled, []
    stated = drawing.unit_mm[0] * width
    message = (
        f"the rim is {stated:.2f} mm wide by the drawing's own word, and was read as the {rim_width_mm:.2f} mm given"
    )
    return scaled, [_warning("other-size", message)]


def _loops(name: str, paths: Sequence[SvgPath]) -> tuple[list[_Loop], list[Chain], list[Finding]]:
    """Return the closed loops, the open lines left over, and what was mended."""
    findings = []
    kept, dropped, partly = without_doubles(chains_of([path.strokes for path in paths]))
    if dropped:
        x, y = dropped[0].segments[0, 0].tolist()
        findings.append(_note("doubled-line", f"{len(dropped)} lines drawn twice are cut once", (x, y)))
    for chain in partly:
        x, y = chain.segments[0, 0].tolist()
        findings.append(_warning("partly-doubled", "a line lies on another in part and is cut twice there", (x, y)))
    # Lines of one colour belong together; an engraved line that ends on the rim is no part of it.
    groups: dict[str | None, list[Chain]] = {}
    for chain in kept:
        groups.setdefault(paths[chain.sources[0]].stroke, []).append(chain)
    results = [joined(group) for group in groups.values()]
    joints = sum(result.joints for result in results)
    gaps = sorted((gap for result in results for gap in result.gaps), key=lambda gap: -gap[2])
    chains = sorted((chain for result in results for chain in result.chains), key=lambda chain: min(chain.sources))
    if joints:
        findings.append(_note("joined-lines", f"{joints} ends of lines of {name} that meet were joined"))
    if gaps:
        x, y, width = gaps[0]
        message = f"{len(gaps)} gaps were bridged by a line, the widest of {width:.3f} mm"
        findings.append(_warning("closed-gap", message, (x, y)))
    loose = [chain for chain in chains if not chain.closed]
    loops: list[_Loop] = []
    boxes = np.zeros((len(chains), 2, 2))
    for chain in chains:
        if not chain.closed:
            continue
        outline = chain.outline()
        names = tuple(dict.fromkeys(plain(paths[source].id or "") for source in chain.sources))
        loop = _Loop(chain, outline, tuple(word for word in names if word), outline.bounds(), outline.area_mm2())
        near = np.abs(boxes[: len(loops)] - loop.box).max(axis=(1, 2), initial=0.0) <= _SAME_LOOP_MM
        if any(_is_same(loop, loops[i]) for i in np.flatnonzero(near)):
            findings.append(_note("doubled-line", "a loop drawn twice is cut once", loop.start_mm))
        else:
            boxes[len(loops)] = loop.box
            loops.append(loop)
    return loops, loose, findings


def _is_same(a: _Loop, b: _Loop) -> bool:
    """Return whether two loops run along each other all the way."""
    for one, other in ((a, b), (b, a)):
        points, _, _ = one.outline.flattened(tolerance_mm=ZONE_FLATTEN_MM)
        if distance_to_edge(region_of(other.outline), points).max() > _SAME_LOOP_MM:
            return False
    return True


def _rim(name: str, loops: Sequence[_Loop], paths: Sequence[SvgPath], rim: str | None) -> _Loop:
    """Return the loop that is the rim: the largest of those that may be."""
    candidates = list(loops)
    if rim is not None:
        if not any(_is_called(path, rim) for path in paths):
            raise DrawingError(_not_found(name, rim))
        candidates = [loop for loop in loops if any(_is_called(paths[source], rim) for source in loop.chain.sources)]
    if not candidates:
        raise PanelError(name, "has no closed loop for a rim", "close the rim's line in the program that drew it")
    return max(candidates, key=lambda loop: loop.area_mm2)


def _sorted_out(rim: _Loop, others: Sequence[_Loop]) -> tuple[list[_Loop], list[_Loop], list[_Loop]]:
    """Return the loops that are cutouts, those inside cutouts (deepest first), and those outside the rim."""
    inside = _share_inside(rim, others)
    beyond = [loop for loop, share in zip(others, inside, strict=True) if share == 0.0]
    # What crosses the rim stays with the cutouts: the panel names it and the place.
    within = [loop for loop, share in zip(others, inside, strict=True) if share > 0.0]
    depth = np.zeros(len(within))
    boxes = np.stack([loop.box for loop in within]) if within else np.zeros((0, 2, 2))
    for index, outer in enumerate(within):
        held = np.all((boxes[:, 0] >= outer.box[0]) & (boxes[:, 1] <= outer.box[1]), axis=1)
        held[index] = False
        maybe = np.flatnonzero(held)
        shares = _share_inside(outer, [within[i] for i in maybe])
        depth[maybe[np.array(shares) == 1.0]] += 1
    cutouts = [loop for loop, level in zip(within, depth, strict=True) if level == 0]
    deepest = np.argsort(-depth, kind="stable")
    islands = [within[i] for i in deepest if depth[i] > 0]
    return cutouts, islands, beyond


def _share_inside(outer: _Loop, loops: Sequence[_Loop]) -> list[float]:
    """Return which share of each loop's corners lies inside another loop."""
    if not loops:
        return []
    region = region_of(outer.outline)
    points = [loop.outline.segments[:, 0] for loop in loops]
    held = contains_points(region, np.concatenate(points))
    ends = np.cumsum([len(some) for some in points])
    return [float(part.mean()) for part in np.split(held, ends[:-1])]


def _names(loops: Sequence[_Loop], reserves: Sequence[Opening]) -> list[str]:
    """Return a name for each cutout: its ``id`` where it has one of its own, else a number."""
    taken = {RIM, *(part.name for part in reserves)}
    names = []
    for number, loop in enumerate(loops, start=1):
        name = next((word for word in loop.names if word not in taken), f"cutout {number}")
        while name in taken:
            name += "'"
        taken.add(name)
        names.append(name)
    return names


def _strokes(chains: Sequence[Chain]) -> Strokes:
    counts = [len(chain.segments) for chain in chains]
    return Strokes(
        np.concatenate([chain.segments for chain in chains]),
        np.concatenate([chain.is_line for chain in chains]),
        np.concatenate([[0], np.cumsum(counts)]),
        np.array([chain.closed for chain in chains], dtype=bool),
    )


def _frame(drawing: SvgDrawing, rim: Outline) -> Frame:
    """Return the drawing's page, or the rim's box where it has none."""
    if drawing.page is not None:
        return drawing.page.x, drawing.page.y, drawing.page.width, drawing.page.height
    (x0, y0), (x1, y1) = rim.bounds().tolist()
    return x0, y0, x1 - x0, y1 - y0
