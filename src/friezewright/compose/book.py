"""The pattern book of a motif: ideas found, ranked and put into words, with the lines that put each into a job."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import PurePath

import numpy as np

from friezewright.compose.motifs import motif_of_bytes
from friezewright.errors import InputError
from friezewright.findings import Finding
from friezewright.geometry import affine
from friezewright.geometry.outline import Outline
from friezewright.output.book import Book, Chapter, GapLine, Idea, book_html, book_png
from friezewright.pattern.clasp import Partner, pitch_against_gap
from friezewright.pattern.fields import field
from friezewright.pattern.groups import FriezeGroup, PlaneGroup, describe, plain_name
from friezewright.pattern.ideas import (
    FieldIdea,
    StripIdea,
    does_not_fit,
    field_ideas,
    first_ideas,
    in_order,
    liveliness_of,
    strip_ideas,
)
from friezewright.pattern.rank import CALM, LIVELY
from friezewright.pattern.repeat import Repeat
from friezewright.pattern.strips import strip

__all__ = ["BookOptions", "PatternBook", "pattern_book"]

_TURNS, _QUICK_TURNS = 12, 4
_FIRST = 6
# Gaps at which the fit is looked at, in times the asked one.
_GAPS = (0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0)
_PARTNER_WORDS = {
    Partner.SAME: "the motif again",
    Partner.HALF_TURN: "the motif turned by half",
    Partner.MIRRORED: "its mirror image, left to right",
    Partner.FLIPPED: "its mirror image, top to bottom",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class BookOptions:
    """At which size and gap ideas are searched.

    Parameters
    ----------
    height_mm
        Height of one motif.
    gap_mm
        Smallest distance between two copies.
    quick
        Whether only the first six strips are wanted, over four turns: in seconds, not half a minute.
    """

    height_mm: float = 20.0
    gap_mm: float = 0.8
    quick: bool = False

    def __post_init__(self) -> None:
        if not 1.0 <= self.height_mm <= 1000.0:
            raise InputError(f"a motif's height in the book must lie between 1 mm and 1 m, got {self.height_mm:g} mm")
        if not 0.01 <= self.gap_mm <= 0.5 * self.height_mm:
            raise InputError(
                f"the gap must lie between 0.01 mm and half the motif's height, got {self.gap_mm:g} mm "
                f"at a height of {self.height_mm:g} mm"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class PatternBook:
    """The book's files by their endings, what was remarked, and the result in a few plain lines."""

    html: bytes
    png: bytes
    findings: tuple[Finding, ...]
    sentences: tuple[str, ...]


def pattern_book(
    data: bytes,
    *,
    name: str,
    options: BookOptions,
    progress: Callable[[str], None] = lambda _: None,
) -> PatternBook:
    """Return the pattern book of a picture or an SVG shape.

    Parameters
    ----------
    data, name
        The picture, and what to call it in errors.
    options
        Size and gap.
    progress
        Called with a few words at each stage; may raise :class:`~friezewright.errors.Cancelled`.

    Raises
    ------
    InputError
        If the picture cannot be used.
    """
    progress("tracing the motif")
    motif = motif_of_bytes(data, name=name)
    word = re.sub(r"[^A-Za-z0-9_-]+", "-", PurePath(name).stem).strip("-_").lower()[:30] or "motif"
    shape = motif.at_height(options.height_mm)
    maker = _Maker(word, shape, options)
    progress("fitting the motif into its own copies")
    strips = strip_ideas(
        shape,
        gap_mm=options.gap_mm,
        turns=_QUICK_TURNS if options.quick else _TURNS,
        most=_FIRST + 2 if options.quick else 5 * _FIRST,
        progress=lambda share: progress(f"fitting the motif into its own copies, {share:.0%}"),
    )
    chapters: tuple[Chapter, ...] = (maker.first_strips(strips),)
    gaps: tuple[GapLine, ...] = ()
    fields: tuple[FieldIdea, ...] = ()
    if not options.quick:
        progress("fitting fields")
        fields = field_ideas(
            shape, gap_mm=options.gap_mm, progress=lambda share: progress(f"fitting fields, {share:.0%}")
        )
        progress("seeing how the gap changes the fit")
        gaps = maker.gap_lines()
        progress("laying out every group")
        chapters += (*maker.more_strips(strips), maker.field_chapter(fields), *maker.every_group())
    fit = "does not fit into its own copy at this gap" if does_not_fit(strips) else _best_words(strips)
    book = Book(
        title=f"Pattern book: {re.sub('[-_]', ' ', word)}",
        under=f"{options.height_mm:g} mm high, at least {options.gap_mm:g} mm between copies; it {fit}.",
        motif=shape,
        chapters=chapters,
        gap_lines=gaps,
        gap_words="Length of one repeat in mm at several gaps, for the motif as it stands in its picture. "
        "Best found at each gap.",
    )
    progress("drawing the book")
    return PatternBook(
        html=book_html(book),
        png=book_png(book),
        findings=motif.findings,
        sentences=(
            f"{word} {fit}",
            f"{len(strips)} strips and {len(fields)} fields looked at, best found; "
            f"{sum(len(chapter.ideas) for chapter in chapters)} shown",
        ),
    )


def _best_words(strips: Sequence[StripIdea]) -> str:
    best = max((idea for idea in strips if not idea.is_plain), key=lambda idea: idea.clasp.pitch_saved)
    return f"fits into {_PARTNER_WORDS[best.clasp.partner]} and saves up to {best.clasp.pitch_saved:.0%} of the length"


class _Maker:
    """Puts ideas into words and lines."""

    def __init__(self, word: str, shape: Outline, options: BookOptions) -> None:
        self.word, self.shape, self.options = word, shape, options

    def first_strips(self, ideas: Sequence[StripIdea]) -> Chapter:
        """Return the ideas to begin with."""
        first = first_ideas(ideas, count=_FIRST)
        turns = "four" if self.options.quick else "twelve"
        words = f"The best found of every way to pair the motif with its own copy, over {turns} turns of it."
        if does_not_fit(ideas):
            words = "The motif does not fit into its own copy at this gap: these strips stand side by side."
        return Chapter(heading="Six strips to begin with", words=words, ideas=self._strips(first, "strip"))

    def more_strips(self, ideas: Sequence[StripIdea]) -> list[Chapter]:
        """Return what is left of each partner's best."""
        first = first_ideas(ideas, count=_FIRST)
        chapters = []
        for partner in Partner:
            of_partner = [idea for idea in ideas if idea.clasp.partner is partner and idea not in first][:3]
            if of_partner:
                chapters.append(
                    Chapter(
                        heading=f"More, with {_PARTNER_WORDS[partner]}",
                        words="Best found, in the order of their marks.",
                        ideas=self._strips(of_partner, partner.value),
                    )
                )
        return chapters

    def _strips(self, ideas: Sequence[StripIdea], stem: str) -> tuple[Idea, ...]:
        orders = [in_order(ideas, liveliness=liveliness) for liveliness in (CALM, 0.5, LIVELY)]
        places = [{id(idea): place for place, idea in enumerate(order)} for order in orders]
        return tuple(
            self._strip(idea, f"{self.word}-{stem}-{number}", tuple(place[id(idea)] for place in places))
            for number, idea in enumerate(ideas, start=1)
        )

    def _strip(self, idea: StripIdea, name: str, places: tuple[int, ...]) -> Idea:
        clasp, height = idea.clasp, self.options.height_mm
        turn = math.degrees(clasp.turn_rad)
        turned = "" if abs(turn) < 0.01 else f", turned by {turn:.0f} degrees"
        saved = clasp.pitch_saved
        fit = f"{saved:.0%} shorter than side by side" if clasp.fits else "no shorter than side by side"
        lines = (
            f"[pattern.{name}]\n"
            f'motif = "{self.word}"\npartner = "{clasp.partner.value}"\nturn = {_figure(turn)}\n'
            f"pitch = {_figure(clasp.pitch_mm / height)}\n"
            f"offset = [{_figure(clasp.offset_mm[0] / height)}, {_figure(clasp.offset_mm[1] / height)}]\n\n"
            f'# in an [[ornament]] with border = "rim": strip = "{name}"'
        )
        calm, between, lively = places
        return Idea(
            name=name,
            title=f"{liveliness_of(idea).capitalize()}: paired with {_PARTNER_WORDS[clasp.partner]}{turned}",
            sentence=f"One repeat is {clasp.pitch_mm:.1f} mm long and {clasp.height_mm:.1f} mm high, {fit}.",
            small=f"{clasp.repeat.group.value}; {_gap_words(clasp.repeat)}; marks {idea.marks.total():.2f}",
            lines=lines,
            repeat=clasp.repeat,
            places=(calm, between, lively),
        )

    def field_chapter(self, ideas: Sequence[FieldIdea]) -> Chapter:
        """Return the fields, those with the most ink first."""
        made = []
        for number, idea in enumerate(ideas, start=1):
            repeat, name = idea.repeat, f"{self.word}-field-{number}"
            made.append(
                Idea(
                    name=name,
                    title=f"{plain_name(repeat.group).capitalize()}",
                    sentence=f"{idea.ink_share:.0%} of the ground is burned, {idea.saved:.0%} less ground than boxes "
                    "side by side.",
                    small=f"{repeat.group.value}; {_gap_words(repeat)}",
                    lines=self._field_lines(repeat, name),
                    repeat=repeat,
                    places=(number, number, number),
                )
            )
        return Chapter(
            heading="Fields",
            words="Best found by search over turns, places and cells; none is proved to be the densest.",
            ideas=tuple(made),
        )

    def _field_lines(self, repeat: Repeat, name: str) -> str:
        height = self.options.height_mm
        # The picked shape is the motif as it stands, so each copy's own turn says all.
        turns = [_turn_and_mirror(matrix) for matrix in repeat.cell.matrix]
        # A job sets the turned motif by the middle of its box, wherever the search had its origin.
        middle = repeat.shapes[0].bounds().mean(axis=0)
        places = affine.apply(repeat.cell.matrix, middle)
        first_turn = self._turn_of_shape(repeat)
        rows = ",\n".join(
            f"  [{_figure(x / height)}, {_figure(y / height)}, {_figure(math.degrees(turn))}, "
            f"{'true' if mirrored else 'false'}]"
            for (x, y), (turn, mirrored) in zip(places, turns, strict=True)
        )
        vectors = ", ".join(f"[{_figure(x / height)}, {_figure(y / height)}]" for x, y in repeat.vectors)
        return (
            f'[pattern.{name}]\nmotif = "{self.word}"\nturn = {_figure(math.degrees(first_turn))}\n'
            f"vectors = [{vectors}]\n# place and turn of each copy, and whether it is mirrored left to right first\n"
            f'copies = [\n{rows},\n]\n\n# in an [[ornament]] with field = "rest": group = "{name}"'
        )

    def _turn_of_shape(self, repeat: Repeat) -> float:
        """Return the turn of the pattern's shape against the motif as it stands in its picture."""
        (shape,) = repeat.shapes
        a, b = shape.segments, self.shape.segments
        start = int(np.argmax(np.hypot(*(b[:, 3] - b[:, 0]).T)))
        one, other = a[start, 3] - a[start, 0], b[start, 3] - b[start, 0]
        return math.atan2(
            float(other[0] * one[1] - other[1] * one[0]), float(other[0] * one[0] + other[1] * one[1])
        ) % (2.0 * math.pi)

    def gap_lines(self) -> tuple[GapLine, ...]:
        """Return how each partner's pitch follows the gap, and where the fit is lost."""
        gaps = [round(share * self.options.gap_mm, 3) for share in _GAPS]
        lines = []
        for curve in pitch_against_gap(self.shape, gaps):
            if curve.holds_up_to_mm is None:
                words = "does not fit into itself"
            elif curve.holds_up_to_mm >= gaps[-1]:
                words = f"holds beyond {gaps[-1]:g} mm"
            else:
                words = f"holds up to {curve.holds_up_to_mm:.2f} mm"
            lines.append(
                GapLine(
                    partner=_PARTNER_WORDS[curve.partner],
                    points=tuple(zip(curve.gaps_mm, curve.pitch_mm, strict=True)),
                    words=words,
                )
            )
        return tuple(lines)

    def every_group(self) -> list[Chapter]:
        """Return all seven friezes and seventeen fields of the motif as plain tilings."""
        friezes = [strip(self.shape, group, gap_mm=self.options.gap_mm) for group in FriezeGroup]
        fields = [field(self.shape, group, gap_mm=self.options.gap_mm) for group in PlaneGroup]
        words = "Plain tilings of the motif as it stands: the symbol alone puts them into a job."
        return [
            Chapter(
                heading="All seven strips",
                words=words,
                ideas=tuple(_plain(repeat, group, "strip") for group, repeat in zip(FriezeGroup, friezes, strict=True)),
            ),
            Chapter(
                heading="All seventeen fields",
                words=words,
                ideas=tuple(_plain(repeat, group, "group") for group, repeat in zip(PlaneGroup, fields, strict=True)),
            ),
        ]


def _plain(repeat: Repeat, group: FriezeGroup | PlaneGroup, key: str) -> Idea:
    return Idea(
        name=f"{key}-{group.value}",
        title=plain_name(group).capitalize(),
        sentence=describe(group),
        small=f'{key} = "{group.value}"; {_gap_words(repeat)}',
        lines="",
        repeat=repeat,
    )


def _gap_words(repeat: Repeat) -> str:
    return f"gap {repeat.gap_mm:.3f} mm, measured"


def _turn_and_mirror(matrix: affine.FloatArray) -> tuple[float, bool]:
    """Return the turn of a copy and whether it was mirrored left to right before it."""
    mirrored = bool(affine.determinant(matrix) < 0.0)
    plain = affine.compose(matrix, affine.mirror_x()) if mirrored else matrix
    return affine.turn_of(plain) % (2.0 * math.pi), mirrored


def _figure(value: float) -> str:
    """Return a figure of a pattern: seven decimals are 0.1 µm at a height of a metre."""
    # Adding zero turns a rounded -0.0 into 0.0.
    return f"{round(value, 7) + 0.0:.7f}".rstrip("0").rstrip(".")
