"""The job file: what is read, and that every mistake is one line that names the key, the line and the remedy."""

import math
import textwrap

import pytest

from friezewright.compose.job import BorderJob, FieldJob, PlaceJob, read_job
from friezewright.compose.lines import line_of
from friezewright.errors import JobError

WHOLE = """
title = "Herb pantry door"
unit = "in"
material = "birch plywood"
[panel]
size = [16, "11 1/2 in"]
corner_radius = "6 mm"
keep_off = { rim = "8 mm", cutouts = 0.2, named = { window = 0.25 } }
[[panel.cutout]]
name = "window"
circle = [4, 5]
diameter = "90 mm"
[motif.leaf]
picture = "leaf.png"
[[ornament]]
border = "rim"
motif = "leaf"
height = "15 mm"
gap = "0.8 mm"
[[ornament]]
within = { rectangle = [1, 1, 2, 2] }
motif = "leaf"
height = "9 mm"
turn = 90
[[ornament]]
name = "lone leaf"
place = [2, 3]
motif = "leaf"
height = 1
[cost]
price_per_minute = "1.20 EUR"
run_within = "25 min"
"""


def read(text: str):
    return read_job(textwrap.dedent(text).encode(), name="job.toml")


def test_lengths_are_read_in_the_jobs_unit_and_become_millimetres():
    job = read(WHOLE)

    assert job.panel.size == pytest.approx((16 * 25.4, 11.5 * 25.4), abs=1e-9)
    assert job.panel.corner_radius == 6.0
    assert job.panel.keep_off.cutouts == pytest.approx(5.08)
    assert job.panel.keep_off.named["window"] == pytest.approx(6.35)
    assert [type(item) for item in job.ornament] == [BorderJob, FieldJob, PlaceJob]
    assert job.ornament[1].turn == pytest.approx(math.pi / 2)
    assert job.ornament[2].height == pytest.approx(25.4)
    assert [job.name_of(i) for i in range(3)] == ["border-1", "field-2", "lone leaf"]
    assert job.cost.run_within == 1500.0


def test_the_same_text_with_a_byte_order_mark_is_the_same_job():
    assert read_job(b"\xef\xbb\xbf" + WHOLE.encode(), name="job.toml") == read(WHOLE)


PANEL = "[panel]\nsize = [100, 80]\n"
LEAF = PANEL + '[motif.leaf]\npicture = "leaf.png"\n[[ornament]]\nmotif = "leaf"\nheight = 9\n'


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("", None, ["panel", "missing"]),
        ("[panel", None, ["TOML"]),
        ('unit = "ft"\n' + PANEL, None, ["unit", "ft", "mm"]),
        (PANEL + "weight = 3\n", 3, ["panel.weight", "unknown key"]),
        ('[panel]\nsize = ["3 parsecs", 80]\n', 2, ["panel.size 1", "parsecs", "mm"]),
        ("[panel]\nsize = [nan, 80]\n", 2, ["panel.size 1", "nan", "finite"]),
        ("[panel]\nsize = [inf, 80]\n", 2, ["panel.size 1", "finite"]),
        ("[panel]\nsize = [-4, 80]\n", 2, ["-4", "more than 0"]),
        ("[panel]\nsize = [true, 80]\n", 2, ["give a length"]),
        ("[panel]\nsize = [100, 80]\npolygon = [[0, 0], [1, 0], [0, 1]]\n", 1, ["exactly one of"]),
        (PANEL + "rim = 'outline'\n", 1, ["panel: rim", "drawing"]),
        (PANEL + "cutouts = '#00ff00'\n", 1, ["panel: cutouts", "drawing"]),
        (PANEL + "rim_width = 100\n", 1, ["panel: rim_width", "drawing"]),
        ("[panel]\ndrawing = 'door.svg'\ncutouts = 3\n", 3, ["panel.cutouts", "string"]),
        (PANEL + "[[panel.cutout]]\nname = 'a'\ncircle = [1, 1]\n", 3, ["panel.cutout 1", "diameter"]),
        (PANEL + "[[panel.cutout]]\nname = 'a'\nslot = [1, 1, 0, 2]\n", 5, ["panel.cutout 1.slot 3", "more than 0"]),
        (LEAF, 5, ["ornament 1", "exactly one of border, field, place"]),
        (LEAF + "border = 'rim'\nplace = [1, 2]\n", 5, ["exactly one of border, field, place"]),
        (LEAF + "border = 'rim'\ncorner = 'wavy'\n", 9, ["ornament 1.corner", "'wavy'", "'mitre'"]),
        (LEAF + "border = 'rim'\nheigth = 9\n", 9, ["ornament 1.heigth", "unknown key"]),
        (LEAF + "field = 'all'\n", 8, ["ornament 1.field", "'rest'"]),
        (LEAF + "field = 'rest'\ngap = 0\n", 9, ["ornament 1.gap", "more than 0"]),
        (LEAF + "field = 'rest'\nturn = 'left'\n", 9, ["ornament 1.turn", "degrees"]),
        (LEAF.replace("motif = ", "motif = 'x' # ") + "field = 'rest'\n", None, ["motif 'x'", "leaf"]),
        (PANEL + "[cost]\nprice_per_minute = 'cheap'\n", 4, ["price", "1.20 EUR"]),
        (PANEL + "[cost]\nrun_within = '25 parsecs'\n", 4, ["parsecs", "min"]),
    ],
)
def test_every_mistake_is_one_line_that_names_key_line_and_remedy(text, line, words):
    with pytest.raises(JobError) as caught:
        read(text)

    message = str(caught.value)
    assert "\n" not in message
    assert message.startswith("job.toml" if line is None else f"job.toml, line {line}:")
    for word in words:
        assert word in message


def test_two_mistakes_report_the_earlier_one_first():
    with pytest.raises(JobError, match=r"line 3: panel\.weight"):
        read(PANEL + "weight = 3\n[cost]\nprice_per_minute = 'cheap'\n")


def test_bytes_that_are_no_text_are_refused():
    with pytest.raises(JobError, match="not a text file"):
        read_job(b"\xff\xfe\x00\x01", name="job.toml")


def test_lines_are_found_through_lists_of_tables_and_nested_headers():
    text = "[a]\nx = 1\n[[a.b]]\ny = 1\n[[a.b]]\ny = 2\n[a.b.c]\nz = 3\n[[d]]\n[d.e]\nf = 1\n"

    assert line_of(text, ["a", "x"]) == 2
    assert line_of(text, ["a", "b", 0, "y"]) == 4
    assert line_of(text, ["a", "b", 1, "y"]) == 6
    assert line_of(text, ["a", "b", 1, "c", "z"]) == 8
    assert line_of(text, ["d", 0, "e", "f"]) == 11
    assert line_of(text, ["a", "b", 1, "missing"]) == 5
    assert line_of(text, ["q"]) is None
