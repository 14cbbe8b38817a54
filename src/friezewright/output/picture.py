"""The picture: a flat, honest rendering of the burn, drawn from the written drawing itself.

Because it is made of the drawing's own bytes it shows what is handed over, not what was meant. Tones are flat: board,
burn, paper. The words below the panel and the numbered marks of the findings are set with the font that comes with
Pillow, so a machine without fonts draws the same picture.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass

from lxml import etree
from PIL import Image, ImageDraw, ImageFont

__all__ = ["Caption", "draw_picture"]

_PAPER, _BOARD, _BURN, _SCORE, _EDGE, _INK, _SOFT, _ACCENT = (
    "#fbf7ef",
    "#ead6b2",
    "#4b2e1a",
    "#7a4b2a",
    "#8d7a5c",
    "#2b2118",
    "#6f6153",
    "#8a3b12",
)
_LONG_SIDE_PX = 1800
_LEAST_LINE_PX = 1.1
_SVG = "{http://www.w3.org/2000/svg}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Caption:
    """The words below the panel.

    Parameters
    ----------
    title, under
        Two lines: what it is; its size, material and time.
    caution
        One line that every picture carries.
    warning
        A line in the accent colour, such as a material that must not be run; empty when there is none.
    bar_mm, bar_words
        Length of the scale bar and what stands beside it.
    """

    title: str
    under: str
    caution: str
    warning: str
    bar_mm: float
    bar_words: str


def draw_picture(
    drawing_svg: bytes,
    *,
    spot_mm: float,
    caption: Caption,
    marks: Sequence[tuple[int, tuple[float, float]]] = (),
) -> bytes:
    """Return the picture as PNG bytes.

    Parameters
    ----------
    drawing_svg
        A drawing with its cut layer, as :mod:`friezewright.output.svg` writes it.
    spot_mm
        Width of a scored line.
    caption
        What stands below.
    marks
        Numbers and the places, in the drawing's mm, they are set at.
    """
    import resvg_py

    root = etree.fromstring(drawing_svg, etree.XMLParser(resolve_entities=False, no_network=True, huge_tree=True))
    x, y, width, height = (float(value) for value in root.get("viewBox", "").split())
    margin = 0.03 * max(width, height)
    scale = _LONG_SIDE_PX / (max(width, height) + 2.0 * margin)
    view = (x - margin, y - margin, width + 2.0 * margin, height + 2.0 * margin)
    size = (round(view[2] * scale), round(view[3] * scale))
    flat = _recoloured(root, view, size, line_mm=max(spot_mm, _LEAST_LINE_PX / scale), edge_mm=1.6 / scale)
    panel = Image.open(io.BytesIO(bytes(resvg_py.svg_to_bytes(svg_string=flat, dpi=96)))).convert("RGB")
    picture = _with_words(panel, caption, scale)
    draw = ImageDraw.Draw(picture)
    for number, (mark_x, mark_y) in marks:
        _mark(draw, number, ((mark_x - view[0]) * scale, (mark_y - view[1]) * scale))
    out = io.BytesIO()
    picture.quantize(96, dither=Image.Dither.NONE).save(out, "PNG", optimize=True)
    return out.getvalue()


def _recoloured(
    root: etree._Element,
    view: tuple[float, float, float, float],
    size: tuple[int, int],
    *,
    line_mm: float,
    edge_mm: float,
) -> str:
    """Return the drawing in the picture's tones, on board, as an SVG text of the asked size in pixels."""
    layers = {group.get("data-operation"): group for group in root.iterfind(f"{_SVG}g")}
    paths = {
        operation: [path.get("d", "") for path in group.iterfind(f".//{_SVG}path")]
        for operation, group in layers.items()
    }
    cuts = paths.get("cut", [])
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{size[0]}" height="{size[1]}" '
        f'viewBox="{view[0]} {view[1]} {view[2]} {view[3]}">',
        f'<rect x="{view[0]}" y="{view[1]}" width="{view[2]}" height="{view[3]}" fill="{_PAPER}"/>',
        # Rim and openings in one even-odd path: what is cut out shows the paper.
        f'<path d="{" ".join(cuts)}" fill="{_BOARD}" fill-rule="evenodd" stroke="{_EDGE}" stroke-width="{edge_mm}"/>',
        f'<g fill="{_BURN}">{_elements(paths.get("engrave", []))}</g>',
        f'<g fill="none" stroke="{_SCORE}" stroke-width="{line_mm}" stroke-linejoin="round" stroke-linecap="round">'
        f"{_elements(paths.get('score', []))}</g>",
        "</svg>",
    ]
    return "".join(parts)


def _elements(paths: Sequence[str]) -> str:
    return "".join(f'<path d="{d}"/>' for d in paths)


def _with_words(panel: Image.Image, caption: Caption, scale: float) -> Image.Image:
    """Return the panel on a larger sheet with the caption and the scale bar below it."""
    left, foot = round(0.03 * _LONG_SIDE_PX), round(0.13 * _LONG_SIDE_PX)
    if caption.warning:
        foot += 44
    sheet = Image.new("RGB", (max(panel.width, 1000), panel.height + foot), _PAPER)
    sheet.paste(panel, ((sheet.width - panel.width) // 2, 0))
    draw = ImageDraw.Draw(sheet)
    top = panel.height + 6
    draw.text((left, top), caption.title, fill=_INK, font=ImageFont.load_default(52))
    draw.text((left, top + 70), caption.under, fill=_SOFT, font=ImageFont.load_default(30))
    draw.text((left, top + 116), caption.caution, fill=_SOFT, font=ImageFont.load_default(24))
    if caption.warning:
        draw.text((left, top + 156), caption.warning, fill=_ACCENT, font=ImageFont.load_default(32))
    bar_px = caption.bar_mm * scale
    right, level = sheet.width - left, top + 44
    draw.line((right - bar_px, level, right, level), fill=_INK, width=3)
    for end in (right - bar_px, right):
        draw.line((end, level - 9, end, level + 9), fill=_INK, width=3)
    font = ImageFont.load_default(26)
    words = draw.textlength(caption.bar_words, font=font)
    draw.text((right - words, level - 44), caption.bar_words, fill=_SOFT, font=font)
    return sheet


def _mark(draw: ImageDraw.ImageDraw, number: int, at_px: tuple[float, float]) -> None:
    font = ImageFont.load_default(26)
    x, y = at_px
    draw.ellipse((x - 20, y - 20, x + 20, y + 20), outline=_ACCENT, fill=_PAPER, width=4)
    draw.text((x, y), str(number), fill=_ACCENT, font=font, anchor="mm")
