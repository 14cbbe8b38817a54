"""SVG drawings from elsewhere: read with their real size, every shape as lines and cubics.

A page that says ``width="400mm"`` and ``viewBox="0 0 400 280"`` has a size; one that says ``width="400"`` has none, for
programs disagree on what that means (72, 90 and 96 to the inch are all in use), and has to be told one known length.
"""

from __future__ import annotations

import math

from friezewright.errors import DrawingError
from friezewright.findings import Finding, Severity
from friezewright.reading.document import FROM_ELSEWHERE, Limits, parse_document
from friezewright.reading.drawing import SvgDrawing
from friezewright.reading.measures import (
    MM_PER_CSS_UNIT,
    Malformed,
    ViewBox,
    fit,
    parse_length,
    parse_real_length_mm,
    parse_view_box,
)
from friezewright.reading.walk import SVG, Walk

__all__ = ["read_svg"]


def _plain(text: str | None) -> float | None:
    """Return a length above zero in user units; None if there is none, or it is a share of an unknown page."""
    try:
        value = parse_length(text or "", whole=math.nan)
    except Malformed:
        return None
    return value if value > 0.0 else None


def _page(
    width: str | None, height: str | None, view_box: str | None, aspect: str | None
) -> tuple[ViewBox | None, tuple[float, float] | None, list[tuple[str, str]]]:
    """Return the visible page in user units, mm a unit along x and y, and remarks as (code, message)."""
    box = parse_view_box(view_box)
    width_mm, height_mm = parse_real_length_mm(width), parse_real_length_mm(height)
    if box is not None and (width_mm is None) != (height_mm is None):
        # One side alone: the other follows from the shape of the view box (CSS, automatic sizes).
        width_mm = width_mm or (height_mm or 0.0) * box.width / box.height
        height_mm = height_mm or (width_mm or 0.0) * box.height / box.width
    if width_mm is None or height_mm is None:
        if box is None:
            across, down = _plain(width), _plain(height)
            box = None if across is None or down is None else ViewBox(0.0, 0.0, across, down)
        return box, None, [("no-size", "the drawing does not say how large it is; one known length is needed")]
    if box is None:
        px = MM_PER_CSS_UNIT["px"]
        note = "the drawing has no viewBox, so its numbers count 96 to the inch (CSS)"
        return ViewBox(0.0, 0.0, width_mm / px, height_mm / px), (px, px), [("no-view-box", note)]
    fitted = fit(box, width_mm, height_mm, aspect)
    (across, down), (shift_x, shift_y) = fitted.scale, fitted.shift
    page = ViewBox(0.0 - shift_x / across, 0.0 - shift_y / down, width_mm / across, height_mm / down)
    remarks = []
    # A thousandth: programs round width, height and viewBox each for itself.
    if abs(width_mm * box.height - height_mm * box.width) > 1e-3 * width_mm * box.height:
        remarks.append(
            (
                "page-shape",
                f"the page is {width_mm:.2f} x {height_mm:.2f} mm but its viewBox {box.width:g} x {box.height:g} has "
                f"another shape; a unit was read as {across:.5g} x {down:.5g} mm",
            )
        )
    return page, (across, down), remarks


def read_svg(data: bytes, *, name: str, limits: Limits = FROM_ELSEWHERE) -> SvgDrawing:
    """Return what an SVG file draws.

    Parameters
    ----------
    data
        The file's bytes. Document types, entities and links to other files are never followed.
    name
        What to call the drawing in messages.
    limits
        How large it may be.

    Returns
    -------
    SvgDrawing
        Paths in user units after all transforms, arcs turned into cubics beforehand. Text, pictures, clips, style
        sheets and whatever else has no outline of its own are findings.

    Raises
    ------
    DrawingError
        If the file is no SVG, or an attribute in it cannot be read.
    LimitError
        If it is larger, deeper or longer than the limits.
    """
    root = parse_document(data, name=name, most_bytes=limits.size_bytes)
    if root.tag not in ("svg", f"{{{SVG}}}svg"):
        raise DrawingError(f"{name} is XML but not an SVG drawing; choose a file that starts with <svg")
    try:
        page, unit_mm, remarks = _page(
            root.get("width"), root.get("height"), root.get("viewBox"), root.get("preserveAspectRatio")
        )
        shown = parse_view_box(root.get("viewBox")) or page
    except Malformed as problem:
        raise DrawingError(f"{name}: {problem}; save the drawing again as plain SVG") from problem
    extent = (math.nan, math.nan) if shown is None else (shown.width, shown.height)
    walk = Walk(root, name=name, page=extent, limits=limits)
    findings = [
        Finding(
            code=code,
            severity=Severity.NOTE if code == "no-view-box" else Severity.WARNING,
            message=f"{name}: {text}",
        )
        for code, text in remarks
    ]
    findings.extend(walk.run())
    if not walk.paths:
        findings.append(Finding(code="empty-drawing", severity=Severity.WARNING, message=f"{name} draws no shape"))
    return SvgDrawing(name=name, page=page, unit_mm=unit_mm, paths=tuple(walk.paths), findings=tuple(findings))
