"""The ticket: self-contained, safe whatever it is told, and the same facts in HTML and JSON."""

from __future__ import annotations

import base64
import json
import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from hypothesis import given
from hypothesis import strategies as st

from friezewright.findings import Finding, Severity
from friezewright.output.ticket import LayerLine, OrnamentLine, Ticket, ticket_html, ticket_json

PICTURE = b"\x89PNG not really a picture"
HOSTILE = "</style><script>alert(1)</script> \"quoted\" 'n' <img src=x onerror=y> & &amp;"


def layer(operation: str, seconds: float) -> LayerLine:
    return LayerLine(
        operation=operation,
        how="followed",
        copies=12,
        metres=3.25,
        seconds=seconds,
        low_s=0.75 * seconds,
        high_s=1.4 * seconds,
        burning_s=0.5 * seconds,
        travel_s=0.3 * seconds,
        turning_s=0.15 * seconds,
        delays_s=0.05 * seconds,
    )


def sample() -> Ticket:
    return Ticket(
        title="Seed tray",
        unit="mm",
        size_mm=(110.0, 80.0),
        thickness_mm=3.1,
        material="birch plywood",
        material_verdict="birch plywood: allowed with care",
        may_run=True,
        cutouts=("well",),
        keep_off_mm=(4.0, 3.0),
        ornaments=(
            OrnamentLine(name="edge", copies=40, gap_mm=0.8, measured_gap_mm=0.80214, words=("20 repeats", "scale 1")),
            OrnamentLine(name="lone", copies=1, gap_mm=None, measured_gap_mm=None, words=()),
        ),
        layers=(layer("engrave", 100.0), layer("cut", 200.0)),
        seconds=303.0,
        low_s=227.25,
        high_s=424.2,
        range_note="rough until measured",
        cost_lines=(("machine time at 1.20 EUR a minute", "4.55 to 8.48 EUR"),),
        machine=(("cut", "20 mm/s"),),
        notes=("not moved for the kerf",),
        findings=(
            Finding(
                code="narrow-gap",
                severity=Severity.WARNING,
                message="two leaves are near",
                where_mm=(12.3456, 7.0),
                ornament="edge",
            ),
        ),
        cautions=("never leave it alone",),
        digest="0123456789abcdef0123",
        versions=(("numpy", "2.4"),),
    )


class Page(HTMLParser):
    """Collects what a browser would make of the page."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.text = ""

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in ("img", "meta", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text += data


def page_of(ticket: Ticket) -> Page:
    page = Page()
    page.feed(ticket_html(ticket, PICTURE).decode())
    page.close()
    assert page.open == [], "every element is closed"
    return page


def test_the_page_needs_nothing_from_outside_itself():
    html = ticket_html(sample(), PICTURE).decode()
    page = page_of(sample())

    used = {tag for tag, _ in page.tags}
    assert used.isdisjoint({"script", "link", "iframe", "object", "embed", "base", "form", "video", "audio"})
    for tag, attributes in page.tags:
        assert not any(name.startswith("on") for name in attributes), tag
        for name in ("src", "href", "srcset", "action", "background"):
            assert attributes.get(name) is None or attributes[name].startswith("data:image/png;base64,")
    assert not re.search(r"https?:|//[a-z]|@import|url\(", html.replace("http-equiv", ""))


def test_the_picture_is_inside_as_it_was_given():
    sources = [attributes["src"] for tag, attributes in page_of(sample()).tags if tag == "img"]

    assert [base64.b64decode(source.partition(",")[2]) for source in sources] == [PICTURE]


def test_the_figures_are_there_to_be_read():
    text = page_of(sample()).text

    for words in (
        "110.00 mm by 80.00 mm, 3.10 mm thick, birch plywood",
        "3.8 to 7.1 min",
        "4.55 to 8.48 EUR",
        "1. engrave",
        "2. cut",
        "1.2 to 2.3 min",
        "gap 0.802 mm, measured",
        "Warning. edge: two leaves are near (mark 1, at 12.3, 7.0 mm).",
        "never leave it alone",
        "not moved for the kerf",
        "burning stays 4.00 mm clear of the rim and 3.00 mm clear of the cutouts",
        "rough until measured",
        "numpy 2.4",
    ):
        assert words in text, words


def test_layers_stand_in_run_order_with_times_that_add_up():
    table = json.loads(ticket_json(sample()))

    assert [line["operation"] for line in table["layers"]] == ["engrave", "cut"]
    for line in table["layers"]:
        parts = line["burning_s"] + line["travel_s"] + line["turning_s"] + line["delays_s"]
        assert parts == pytest.approx(line["seconds"], abs=0.02)
        assert line["low_s"] < line["seconds"] < line["high_s"]


def test_the_keys_of_the_json_are_those_that_others_rely_on():
    table = json.loads(ticket_json(sample()))

    assert list(table) == [
        "title",
        "size_mm",
        "thickness_mm",
        "material",
        "cutouts",
        "keep_off_mm",
        "ornaments",
        "layers",
        "time",
        "cost",
        "machine",
        "notes",
        "findings",
        "cautions",
        "digest",
        "versions",
    ]
    assert table["material"] == {
        "asked": "birch plywood",
        "verdict": "birch plywood: allowed with care",
        "may_run": True,
    }
    assert table["keep_off_mm"] == {"rim": 4.0, "cutouts": 3.0}
    assert table["time"] == {"seconds": 303.0, "low_s": 227.25, "high_s": 424.2, "note": "rough until measured"}
    assert table["ornaments"][0]["gap_asked_mm"] == 0.8
    assert table["ornaments"][0]["gap_measured_mm"] == 0.8021
    assert table["ornaments"][1]["gap_measured_mm"] is None
    assert table["findings"] == [
        {
            "code": "narrow-gap",
            "severity": "warning",
            "message": "two leaves are near",
            "where_mm": [12.346, 7.0],
            "ornament": "edge",
        }
    ]
    assert set(table["layers"][0]) == {
        "operation", "how", "copies", "metres", "seconds", "low_s", "high_s",
        "burning_s", "travel_s", "turning_s", "delays_s",
    }  # fmt: skip


def test_a_sheet_that_must_not_be_run_says_so_first():
    refused = replace(sample(), may_run=False, material="", material_verdict="material not stated: do not run")
    html = ticket_html(refused, PICTURE).decode()

    assert '<p class="stop">Material not stated: do not run</p>' in html
    assert html.index('class="stop"') < html.index("<img")
    assert 'class="stop"' not in ticket_html(sample(), PICTURE).decode()


def test_a_finding_that_stops_is_a_banner_and_a_warning_is_not():
    stop = Finding(code="out-of-zone", severity=Severity.STOP, message="the bud reaches out")
    html = ticket_html(replace(sample(), findings=(stop, *sample().findings)), PICTURE).decode()

    assert re.findall(r'<p class="stop">(.*?)</p>', html) == ["The bud reaches out"]


def test_inches_are_shown_in_inches_and_handed_to_machines_in_millimetres():
    ticket = replace(sample(), unit="in", size_mm=(25.4, 50.8), thickness_mm=6.35, keep_off_mm=(12.7, 2.54))

    text = page_of(ticket).text

    assert "1.000 in by 2.000 in, 0.250 in thick" in text
    assert "burning stays 0.500 in clear of the rim and 0.100 in clear of the cutouts" in text
    assert json.loads(ticket_json(ticket))["size_mm"] == [25.4, 50.8]


def hostile(words: str) -> Ticket:
    """Return a ticket with these words wherever a job or a file may bring its own."""
    finding = Finding(code="x", severity=Severity.STOP, message=words, ornament=words)
    return replace(
        sample(),
        title=words,
        material=words,
        material_verdict=words,
        may_run=False,
        cutouts=(words,),
        ornaments=(OrnamentLine(name=words, copies=1, gap_mm=None, measured_gap_mm=None, words=(words,)),),
        cost_lines=((words, words),),
        machine=((words, words),),
        notes=(words,),
        cautions=(words,),
        findings=(finding,),
        range_note=words,
        versions=((words, words),),
    )


@given(words=st.one_of(st.just(HOSTILE), st.text("<>&\"'/ abc!-", min_size=1, max_size=40)))
def test_no_words_become_markup(words):
    plain, told = page_of(hostile("words")), page_of(hostile(words))

    assert [tag for tag, _ in told.tags] == [tag for tag, _ in plain.tags]
    assert [set(attributes) for _, attributes in told.tags] == [set(attributes) for _, attributes in plain.tags]
    assert words in told.text
    assert json.loads(ticket_json(hostile(words)))["title"] == words


def test_words_beyond_ascii_stay_as_they_are():
    ticket = hostile("Kräuterschränkchen 香草 ½")

    assert "Kräuterschränkchen 香草 ½" in page_of(ticket).text
    assert "香草" in ticket_json(ticket).decode()


def test_an_empty_job_has_a_ticket_too():
    bare = replace(
        sample(), ornaments=(), layers=(), findings=(), cutouts=(), cost_lines=(), machine=(), notes=(), cautions=()
    )
    text = page_of(bare).text

    assert "No ornament." in text
    assert "Nothing to remark" in text
    assert "cutouts: none" in text
    assert json.loads(ticket_json(bare))["layers"] == []


def test_last_digits_of_the_arithmetic_do_not_reach_the_files():
    other = replace(sample(), seconds=303.0 + 1e-9, low_s=227.25 - 1e-10, high_s=424.2 * (1 + 1e-12))

    assert ticket_json(other) == ticket_json(sample())
    assert ticket_html(other, PICTURE) == ticket_html(sample(), PICTURE)
