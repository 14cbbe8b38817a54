"""The pattern book: strips and fields made from one motif, as one self-contained HTML page and as one picture.

Pictures are vector drawings in two tones, the motif dark and its partners lighter, so that a pair reads as a pair. Each
comes with a plain sentence; the group's symbol is small print.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from html import escape
from importlib import resources

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from friezewright.geometry.affine import FloatArray
from friezewright.geometry.artwork import Artwork
from friezewright.geometry.outline import Outline
from friezewright.output.pathdata import number_text, path_lines
from friezewright.pattern.repeat import Repeat

__all__ = ["Book", "Chapter", "GapLine", "Idea", "book_html", "book_png"]

_TONES = ("#43281a", "#b5773c", "#7d4a27", "#d19c5f")
_PAPER, _INK, _SOFT = "#fbf7ef", "#2b2118", "#6f6153"
# A strip is shown this many times as long as high, a field this many motif heights wide and high.
_STRIP_LENGTH, _FIELD_WIDTH, _FIELD_HEIGHT = 7.5, 9.0, 5.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Idea:
    """One pattern, and what is said of it.

    Parameters
    ----------
    name
        The name it gets in a job.
    title
        A few words.
    sentence
        One plain sentence.
    small
        Small print: symbol, gap, length saved.
    lines
        What puts exactly this pattern into a job; empty where a symbol alone does.
    repeat
        The pattern, at the height it was searched at.
    places
        Where it stands among its chapter's ideas when sorted calm first, evenly, and lively first.
    """

    name: str
    title: str
    sentence: str
    small: str
    lines: str
    repeat: Repeat
    places: tuple[int, int, int] = (0, 0, 0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chapter:
    """Ideas under one heading."""

    heading: str
    words: str
    ideas: tuple[Idea, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class GapLine:
    """How a partner's pitch follows the gap.

    Parameters
    ----------
    partner
        In plain words.
    points
        ``(gap, pitch)`` in mm, gaps rising.
    words
        Up to which gap the fit holds.
    """

    partner: str
    points: tuple[tuple[float, float], ...]
    words: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Book:
    """A whole pattern book."""

    title: str
    under: str
    motif: Outline
    chapters: tuple[Chapter, ...]
    gap_lines: tuple[GapLine, ...]
    gap_words: str


def book_html(book: Book) -> bytes:
    """Return the book as one HTML page that needs nothing from outside itself."""
    style = resources.files("friezewright.output").joinpath("book.css").read_text("utf-8")
    sections = "\n".join(_chapter(chapter) for chapter in book.chapters)
    head = (
        '<meta charset="utf-8">\n<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(book.title)}</title>\n<style>\n{style}</style>"
    )
    order = (
        '<fieldset class="order"><legend>Show first</legend>'
        '<label><input type="radio" name="order" id="calm"> calm ones</label>'
        '<label><input type="radio" name="order" id="between" checked> the best of both</label>'
        '<label><input type="radio" name="order" id="lively"> lively ones</label></fieldset>'
    )
    body = (
        f'<header><div class="motif">{_alone(book.motif)}</div><div><h1>{escape(book.title)}</h1>'
        f'<p class="under">{escape(book.under)}</p>{order}</div></header>\n{sections}\n{_gaps(book)}'
    )
    return f'<!doctype html>\n<html lang="en">\n<head>\n{head}\n</head>\n<body>\n{body}\n</body>\n</html>\n'.encode()


def _chapter(chapter: Chapter) -> str:
    cards = "\n".join(_card(idea) for idea in chapter.ideas)
    kind = "fields" if chapter.ideas and not chapter.ideas[0].repeat.is_strip else "strips"
    return (
        f'<section><h2>{escape(chapter.heading)}</h2><p class="under">{escape(chapter.words)}</p>\n'
        f'<div class="cards {kind}">\n{cards}\n</div></section>'
    )


def _card(idea: Idea) -> str:
    calm, between, lively = idea.places
    lines = ""
    if idea.lines:
        lines = f"<details><summary>into a job</summary><pre>{escape(idea.lines)}</pre></details>"
    return (
        f'<article style="--calm:{calm};--between:{between};--lively:{lively}">{_figure(idea)}'
        f"<h3>{escape(idea.title)}</h3><p>{escape(idea.sentence)}</p>"
        f'<p class="small">{escape(idea.small)}</p>{lines}</article>'
    )


def _figure(idea: Idea) -> str:
    svg = _drawing(idea)
    return f'<figure role="img" aria-label="{escape(idea.title)}: {escape(idea.sentence)}">{svg}</figure>'


def _window(repeat: Repeat) -> tuple[FloatArray, float]:
    """Return the box of the pattern that is shown, and the size of one motif in it."""
    heights = [float(np.ptp(shape.bounds()[:, 1])) for shape in repeat.shapes]
    size = max(heights)
    (x0, y0), (x1, y1) = repeat.bounds()
    if repeat.is_strip:
        height = y1 - y0
        length = max(_STRIP_LENGTH * height, 3.0 * repeat.pitch_mm)
        middle = 0.5 * (x0 + x1)
        box = [[middle - 0.5 * length, y0 - 0.08 * height], [middle + 0.5 * length, y1 + 0.08 * height]]
    else:
        x, y = 0.5 * (x0 + x1), 0.5 * (y0 + y1)
        box = [
            [x - 0.5 * _FIELD_WIDTH * size, y - 0.5 * _FIELD_HEIGHT * size],
            [x + 0.5 * _FIELD_WIDTH * size, y + 0.5 * _FIELD_HEIGHT * size],
        ]
    return np.array(box), size


def _drawing(idea: Idea) -> str:
    """Return a pattern as an SVG element: each shape once, its copies as references to it."""
    box, _ = _window(idea.repeat)
    copies = idea.repeat.copies(idea.repeat.cover(box))
    (x0, y0), (x1, y1) = box
    view = " ".join(number_text(value) for value in (x0, y0, x1 - x0, y1 - y0))
    # One drawing's ids must not meet another's on the same page.
    ids = [f"{escape(idea.name)}-{index}" for index in range(len(copies.shapes))]
    shapes = [f'<path id="{key}" d="{_path_data(shape)}"/>' for key, shape in zip(ids, copies.shapes, strict=True)]
    parts = [f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{view}"><defs>', *shapes, "</defs>"]
    places = copies.placements
    for member in np.unique(places.member):
        parts.append(f'<g fill="{_TONES[int(member) % len(_TONES)]}">')
        for i in np.flatnonzero(places.member == member):
            parts.append(f'<use href="#{ids[int(places.shape[i])]}" transform="{_matrix(places.matrix[i])}"/>')
        parts.append("</g>")
    parts.append("</svg>")
    return "".join(parts)


def _matrix(matrix: FloatArray) -> str:
    (a, c, e), (b, d, f) = matrix
    return "matrix(" + " ".join(f"{value:.5g}" for value in (a, b, c, d)) + f" {number_text(e)} {number_text(f)})"


def _path_data(shape: Outline) -> str:
    line = b"".join(path_lines(Artwork.single([shape]))).decode()
    return line.split('d="', 1)[1].split('"', 1)[0]


def _alone(motif: Outline) -> str:
    (x0, y0), (x1, y1) = motif.bounds()
    view = " ".join(number_text(value) for value in (x0, y0, x1 - x0, y1 - y0))
    data = _path_data(motif)
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{view}"><path fill="{_TONES[0]}" d="{data}"/></svg>'


def _gaps(book: Book) -> str:
    if not book.gap_lines:
        return ""
    rows = "".join(
        f"<tr><th>{escape(line.partner)}</th>"
        + "".join(f'<td class="n">{pitch:.2f}</td>' for _, pitch in line.points)
        + f"<td>{escape(line.words)}</td></tr>"
        for line in book.gap_lines
    )
    heads = "".join(f'<th class="n">gap {gap:g}</th>' for gap, _ in book.gap_lines[0].points)
    return (
        f'<section><h2>How the gap changes the fit</h2><p class="under">{escape(book.gap_words)}</p>\n'
        f"<table><tr><th>partner</th>{heads}<th></th></tr>{rows}</table></section>"
    )


def book_png(book: Book, *, width_px: int = 1600) -> bytes:
    """Return the book as one tall picture: the motif, then every idea with its title and small print."""
    margin, blocks = 60, [_heading(book.title, book.under, width_px)]
    for chapter in book.chapters:
        blocks.append(_heading(chapter.heading, chapter.words, width_px, size=40))
        columns = 1 if chapter.ideas and chapter.ideas[0].repeat.is_strip else 2
        cell = (width_px - 2 * margin - (columns - 1) * margin) // columns
        for first in range(0, len(chapter.ideas), columns):
            pictures = [_captioned(idea, cell) for idea in chapter.ideas[first : first + columns]]
            row = Image.new("RGB", (width_px, max(picture.height for picture in pictures)), _PAPER)
            for column, picture in enumerate(pictures):
                row.paste(picture, (margin + column * (cell + margin), 0))
            blocks.append(row)
    sheet = Image.new("RGB", (width_px, sum(block.height for block in blocks) + margin), _PAPER)
    top = 0
    for block in blocks:
        sheet.paste(block, (0, top))
        top += block.height
    out = io.BytesIO()
    sheet.quantize(48, dither=Image.Dither.NONE).save(out, "PNG")
    return out.getvalue()


def _heading(words: str, under: str, width_px: int, *, size: int = 60) -> Image.Image:
    small = max(22, size // 2)
    font = ImageFont.load_default(small)
    lines = _wrapped(under, font, width_px - 120)
    block = Image.new("RGB", (width_px, round(2.4 * size + len(lines) * 1.3 * small)), _PAPER)
    draw = ImageDraw.Draw(block)
    draw.text((60, 0.7 * size), words, fill=_INK, font=ImageFont.load_default(size))
    for number, line in enumerate(lines):
        draw.text((60, 2.0 * size + number * 1.3 * small), line, fill=_SOFT, font=font)
    return block


def _wrapped(words: str, font: ImageFont.FreeTypeFont | ImageFont.ImageFont, width_px: int) -> list[str]:
    lines: list[str] = []
    for word in words.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and font.getlength(longer) <= width_px:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def _captioned(idea: Idea, width_px: int) -> Image.Image:
    import resvg_py

    box, _ = _window(idea.repeat)
    width, height = box[1] - box[0]
    picture = bytes(resvg_py.svg_to_bytes(svg_string=_drawing(idea), width=width_px, dpi=96))
    drawn = Image.open(io.BytesIO(picture)).convert("RGBA")
    block = Image.new("RGB", (width_px, round(width_px * height / width) + 110), _PAPER)
    block.paste(drawn, (0, 0), drawn)
    draw = ImageDraw.Draw(block)
    draw.text((0, drawn.height + 10), idea.title, fill=_INK, font=ImageFont.load_default(30))
    draw.text((0, drawn.height + 50), idea.small, fill=_SOFT, font=ImageFont.load_default(22))
    return block
