"""A starter job: a text with every common key, explained, that runs as it stands."""

from __future__ import annotations

import re
from pathlib import PurePath

from friezewright.motif.motif import motif_from_picture
from friezewright.units import MM_PER_INCH

__all__ = ["starter_job"]

_TEXT = """\
# A Friezewright job. Run it with: friezewright compose {job}
# Lengths are in {unit} unless they say otherwise: "12 mm", "1/4 in" and "0.5 in" are read anywhere.
title = "{title}"
unit = "{unit}"
material = ""                     # what the sheet is made of, such as "birch plywood"; empty means: do not run

[panel]
size = [{w}, {h}]                 # width and height; or polygon = [[x, y], ...], or circle = [x, y] with a diameter
corner_radius = {r}
keep_off = {{ rim = {rim}, cutouts = {cut} }}   # nothing is burned nearer than this
# thickness = 3.1                 # as measured with a caliper
[[panel.cutout]]
name = "window"
circle = [{cx}, {cy}]             # or rectangle = [x, y, width, height], slot = [x, y, width, height], polygon = [...]
diameter = {d}

[motif.{motif}]
picture = "{picture}"
# ink_level = 0.5                 # how dark counts as ink, 0 to 1; found from the picture when left out

[[ornament]]
name = "edge"
border = "rim"                    # rim, cutouts (each of them), or: cutout window
motif = "{motif}"
height = {bh}                     # of one motif
gap = {gap}                       # smallest distance between two copies
strip = "p2"                      # one of the seven friezes: p1, p11g, p1m1, p2, p2mg, p11m, p2mm
corner = "block"                  # block, mitre, turned, butt
frame_line = "none"               # none, single, double, beaded
burn = "filled"                   # filled, contour, lined

[[ornament]]
name = "ground"
field = "rest"                    # what is left of the panel
motif = "{motif}"
height = {fh}
gap = {gap}
group = "p2gg"                    # one of the seventeen plane groups
edge = "whole"                    # whole motifs only, or trimmed at the edge
burn = "contour"

[cost]
price_per_minute = "1.00"

[machine]
profile = "typical"               # or a profile file of your own machine
"""


def starter_job(data: bytes, *, name: str, seen_from_job: str, unit: str) -> bytes:
    """Return a job that runs, for a picture.

    Parameters
    ----------
    data, name
        The picture, read once so that a job is never started on one that cannot be traced.
    seen_from_job
        The picture's path as the job file has to write it.
    unit
        ``mm`` or ``in``.

    Raises
    ------
    PictureError
        If the picture cannot be read or holds nothing to trace.
    """
    motif_from_picture(data, name=name)
    stem = PurePath(name).stem
    word = re.sub(r"[^A-Za-z0-9_-]+", "-", stem).strip("-_").lower()[:30] or "motif"
    title = f"{word.replace('-', ' ').capitalize()} panel"
    sizes = {
        "w": 240,
        "h": 160,
        "r": 6,
        "rim": 6,
        "cut": 5,
        "cx": 120,
        "cy": 80,
        "d": 50,
        "bh": 14,
        "fh": 9,
        "gap": 0.8,
    }
    if unit == "in":
        # Round numbers of inches near the same sizes, not conversions.
        sizes = {"w": 9.5, "h": 6.25, "r": 0.25, "rim": 0.25, "cut": 0.2, "cx": 4.75, "cy": 3.125, "d": 2, "bh": 0.55}
        sizes |= {"fh": 0.36, "gap": round(0.8 / MM_PER_INCH, 3)}
    picture = seen_from_job.replace("\\", "/").replace('"', '\\"')
    return _TEXT.format(job=f"{word}.toml", unit=unit, title=title, motif=word, picture=picture, **sizes).encode()
