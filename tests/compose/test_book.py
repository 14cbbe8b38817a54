"""The pattern book: what it finds is what it writes down, and what it writes down makes the same pattern again."""

import re
import tomllib

import numpy as np
import pytest

from friezewright.compose.book import BookOptions, pattern_book
from friezewright.compose.job import read_job
from friezewright.compose.motifs import Motifs
from friezewright.compose.patterns import field_pattern_of, strip_pattern_of
from friezewright.errors import InputError, JobError
from friezewright.geometry.artwork import Artwork
from friezewright.geometry.planar.nearness import smallest_gap
from friezewright.pattern.repeat import Repeat

# An elbow whose half-turned copy fits into its bay.
ELBOW = (
    b'<svg xmlns="http://www.w3.org/2000/svg" width="10mm" height="10mm" viewBox="0 0 10 10">'
    b'<path d="M0 0H3V6C3 6.5 3.5 7 4 7H10V10H0Z"/></svg>'
)
DISC = (
    b'<svg xmlns="http://www.w3.org/2000/svg" width="10mm" height="10mm" viewBox="0 0 10 10">'
    b'<circle cx="5" cy="5" r="5"/></svg>'
)


@pytest.fixture(scope="module")
def book():
    stages = []
    made = pattern_book(ELBOW, name="elbow.svg", options=BookOptions(height_mm=10, gap_mm=0.5), progress=stages.append)
    return made, stages


def articles(html: bytes) -> list[str]:
    return re.findall(r"<article.*?</article>", html.decode(), re.DOTALL)


def job_with(lines: str, ornament: str, height: float = 10.0) -> bytes:
    return (
        f'[panel]\nsize = [200, 120]\n[motif.elbow]\npicture = "elbow.svg"\n{lines}\n'
        f'[[ornament]]\nmotif = "elbow"\nheight = {height}\ngap = 0.5\n{ornament}\n'
    ).encode()


def pattern_from(lines: str, ornament: str, height: float = 10.0) -> Repeat:
    job = read_job(job_with(lines, ornament, height), name="job.toml")
    motifs = Motifs(job, lambda _: ELBOW)
    asked = job.ornament[0]
    return strip_pattern_of(asked, job, motifs) if "border" in ornament else field_pattern_of(asked, job, motifs)


def figures(html: bytes) -> list[tuple[str, str, float, str]]:
    """Return name, lines, gap and symbol of every idea that comes with lines."""
    found = []
    for article in articles(html):
        lines = re.search(r"<pre>(.*?)</pre>", article, re.DOTALL)
        if lines is None:
            continue
        text = lines[1].replace("&quot;", '"')
        name = re.search(r"\[pattern\.(.*?)\]", text)[1]
        gap = float(re.search(r"gap ([\d.]+) mm, measured", article)[1])
        symbol = re.search(r'class="small">([a-z0-9]+);', article)[1]
        found.append((name, text, gap, symbol))
    return found


def test_the_page_needs_nothing_from_outside_and_shows_every_group(book):
    html = book[0].html.decode()

    assert not re.search(r'(?:src|href)="(?!#)', html)
    assert "http" not in html.replace("http://www.w3.org/2000/svg", "")
    for symbol in ("p1", "p11g", "p1m1", "p2", "p2mg", "p11m", "p2mm"):
        assert f"strip = &quot;{symbol}&quot;" in html
    for symbol in ("p1", "p2", "pm", "pg", "cm", "p2gg", "c2mm", "p4gm", "p31m", "p6mm"):
        assert f"group = &quot;{symbol}&quot;" in html
    ids = re.findall(r' id="(.*?)"', html)
    assert len(ids) == len(set(ids))


def test_six_strips_come_first_and_stages_are_told(book):
    made, stages = book
    first = made.html.decode().split("<section>")[1]

    assert first.count("<article") == 6
    assert "fitting the motif into its own copies, 100%" in stages
    assert made.png[:8] == b"\x89PNG\r\n\x1a\n"
    assert "fits into the motif turned by half" in made.sentences[0]


def test_every_pattern_written_makes_the_same_pattern_again_measured_anew(book):
    ideas = figures(book[0].html)
    assert len(ideas) >= 8

    for name, lines, gap, symbol in ideas:
        use = f'border = "rim"\nstrip = "{name}"' if "pitch" in lines else f'field = "rest"\ngroup = "{name}"'
        again = pattern_from(lines, use)

        assert again.gap_mm == pytest.approx(gap, abs=1e-3), name
        assert again.gap_mm >= 0.5 - 1e-3, name
        assert again.group.value == symbol, name


def test_the_measured_gap_is_that_of_the_laid_out_pattern(book):
    for name, lines, gap, _ in figures(book[0].html)[:4]:
        again = pattern_from(lines, f'border = "rim"\nstrip = "{name}"')
        laid: Artwork = again.copies(np.arange(-3, 4))

        found = smallest_gap(laid, tolerance_mm=1e-4, reach_mm=3.0)

        assert found is not None
        assert found[0] == pytest.approx(gap, abs=2e-3), name


def test_a_pattern_serves_at_every_size(book):
    name, lines, gap, _ = figures(book[0].html)[0]

    twice = pattern_from(lines, f'border = "rim"\nstrip = "{name}"', height=20.0)

    assert twice.gap_mm == pytest.approx(2.0 * gap, abs=5e-3)


def test_clasp_takes_the_best_found_now():
    strip = pattern_from("", 'border = "rim"\nstrip = "clasp"')
    field = pattern_from("", 'field = "rest"\ngroup = "clasp"')

    # Two elbows of 10 mm side by side take 21 mm.
    assert strip.pitch_mm < 0.8 * 21.0
    assert strip.gap_mm == pytest.approx(0.5, abs=4e-3)
    assert field.gap_mm == pytest.approx(0.5, abs=4e-3)
    assert field.ink_share > 0.6


def test_a_disc_is_said_not_to_fit_into_itself():
    made = pattern_book(DISC, name="disc.svg", options=BookOptions(height_mm=10, gap_mm=0.5))

    assert "does not fit into its own copy at this gap" in made.sentences[0]
    assert "does not fit into its own copy at this gap" in made.html.decode()


@pytest.mark.parametrize(
    ("lines", "use", "words"),
    [
        (
            '[pattern.a]\nmotif = "elbow"\npartner = "same"\npitch = 2\noffset = [1, 0]',
            'group = "a"\nfield = "rest"',
            "is a strip",
        ),
        (
            '[pattern.a]\nmotif = "elbow"\nvectors = [[1, 0], [0, 1]]\ncopies = [[0, 0, 0, false]]',
            'border = "rim"\nstrip = "a"',
            "is a field",
        ),
        (
            '[pattern.a]\nmotif = "other"\npartner = "same"\npitch = 2\noffset = [1, 0]',
            'border = "rim"\nstrip = "a"',
            "asks for motif 'other'",
        ),
        (
            '[pattern.a]\nmotif = "elbow"\npartner = "same"\npitch = -2\noffset = [1, 0]',
            'border = "rim"\nstrip = "a"',
            "line 8: pattern.a.pitch",
        ),
        (
            '[pattern.a]\nmotif = "elbow"\npartner = "twin"\npitch = 2\noffset = [1, 0]',
            'border = "rim"\nstrip = "a"',
            "'half-turn'",
        ),
        ("", 'border = "rim"\nstrip = "b"', "'b'"),
    ],
)
def test_patterns_that_do_not_serve_are_one_line(lines, use, words):
    with pytest.raises((JobError, InputError)) as caught:
        pattern_from(lines, use)

    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_the_lines_are_toml(book):
    text = figures(book[0].html)[0][1]

    assert tomllib.loads(text)["pattern"]
