"""Each item of the writer's promise, broken alone in a sound file, gives exactly its own finding."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest

from friezewright.errors import DrawingError
from friezewright.findings import Severity, stops
from friezewright.inspection.check import inspect
from friezewright.layers.drawing import Operation
from friezewright.output.svg import write_layer


def codes(text: str) -> set[str]:
    return {finding.code for finding in inspect(text.encode(), name="broken.svg").findings}


def changed(text: str, old: str, new: str, count: int = 1) -> str:
    assert old in text, old
    return text.replace(old, new, count)


def layer_of(text: str, operation: str) -> str:
    match = re.search(rf'<g id="{operation}".*?\n</g>\n</g>\n', text, re.DOTALL)
    assert match is not None
    return match[0]


def paths_of(text: str, operation: str) -> list[str]:
    return re.findall(r'<path d="[^"]*"/>\n', layer_of(text, operation))


def with_path(text: str, operation: str, d: str, extra: str = "") -> str:
    """Return the drawing with one more path, the first of a layer."""
    first = paths_of(text, operation)[0]
    return changed(text, first, f'<path d="{d}"{extra}/>\n{first}')


def moved(path: str, dx: float, dy: float = 0.0) -> str:
    numbers = iter(range(10**6))
    shift = (dx, dy)
    return re.sub(r"-?\d+(?:\.\d+)?", lambda m: f"{float(m[0]) + shift[next(numbers) % 2]:.3f}", path)


def test_a_sound_drawing_gives_no_finding_and_right_figures(good):
    report = inspect(good.encode(), name="good.svg")
    assert report.findings == ()
    assert [layer.operation for layer in report.layers] == ["engrave", "score", "cut"]
    assert [layer.paths for layer in report.layers] == [12, 10, 2]
    # Twelve rings of radius 1 to 2; each loop's corners are rounded to 0.001 mm.
    assert report.layers[0].area_mm2 == pytest.approx(12 * 3 * np.pi, abs=12 * 0.001 * 6 * np.pi)
    edge, kites, hatch = report.ornaments
    assert edge.gap_mm == pytest.approx(0.8, abs=0.0015)
    assert kites.gap_mm == pytest.approx(1.0, abs=0.0015)
    assert hatch.gap_mm is None
    window, rim = report.clearances
    # The nearest kite tip stands at (40, 50.5), 14.5 mm below the window, but a ring's bottom is nearer.
    centre, ring_centres = np.array([40.0, 30.0]), np.stack([10.0 + 4.8 * np.arange(12), np.full(12, 8.0)], axis=1)
    nearest_ring = np.hypot(*(ring_centres - centre).T).min() - 6.0 - 2.0
    assert window.measured_mm == pytest.approx(min(nearest_ring, 14.5), abs=0.0015)
    assert rim.measured_mm == pytest.approx(6.0, abs=0.0015)
    assert (window.asked_mm, rim.asked_mm) == (3.0, 5.0)


STRUCTURE = {
    "a bare width": (' width="80mm"', ' width="80"', "units-mismatch"),
    "another unit": (' height="60mm"', ' height="60cm"', "units-mismatch"),
    "a stretched viewBox": ('viewBox="0 0 80 60"', 'viewBox="0 0 160 120"', "units-mismatch"),
    "no viewBox": (' viewBox="0 0 80 60"', "", "units-mismatch"),
    "no operation": (' data-operation="score"', "", "unknown-layer"),
    "a guide": ("</svg>", '<g id="guide" data-operation="guide"><title>G</title></g></svg>', "unknown-layer"),
    "no id": (' id="score"', "", "unnamed-layer"),
    "no layer title": ("<title>Score</title>", "", "unnamed-layer"),
    "an ornament without a name": (' data-ornament="edge"', "", "unnamed-part"),
    "a cut without a name": (' data-cut="window"', "", "unnamed-part"),
    "a moved layer": ('<g id="cut"', '<g transform="translate(1 0)" id="cut"', "transform-used"),
    "a moved part": ('<g data-ornament="kites"', '<g transform="scale(2)" data-ornament="kites"', "transform-used"),
    "a styled part": ('<g data-ornament="kites"', '<g style="fill:red" data-ornament="kites"', "style-used"),
    "a class": ('<g data-ornament="kites"', '<g class="a" data-ornament="kites"', "style-used"),
    "a style sheet": ("<metadata>", "<style>path{fill:red}</style><metadata>", "style-used"),
    "a linked style sheet": ("<svg ", '<?xml-stylesheet href="a.css"?><svg ', "style-used"),
    "a copy by reference": ("</svg>", '<use href="#engrave"/></svg>', "reference-used"),
    "definitions": ("<metadata>", "<defs/><metadata>", "reference-used"),
    "a link": ('<g data-ornament="kites"', '<g href="#x" data-ornament="kites"', "reference-used"),
    "a filter": ('<g data-ornament="kites"', '<g filter="url(#f)" data-ornament="kites"', "reference-used"),
    "a document type": ("<svg ", '<!DOCTYPE svg SYSTEM "svg11.dtd"><svg ', "reference-used"),
    "text": ("</svg>", '<text x="1" y="1">hello</text></svg>', "visible-text"),
    "text in a layer": ("<title>Cut</title>", "<title>Cut</title><text>7</text>", "visible-text"),
    "a tool's attribute": (
        '<g data-ornament="kites"',
        '<g xmlns:t="urn:tool" t:mode="fast" data-ornament="kites"',
        "foreign-content",
    ),
    "a tool's element": ("</svg>", '<t:grid xmlns:t="urn:tool"/></svg>', "foreign-content"),
    "a stray path": ("</svg>", '<path d="M0 0L1 1"/></svg>', "unexpected-element"),
    "a path outside a part": ("<title>Cut</title>", '<title>Cut</title><path d="M9 9L1 1"/>', "unexpected-element"),
    "another shape": ('data-cut="window">', 'data-cut="window"><rect width="1" height="1"/>', "unexpected-element"),
    "a deeper group": ('data-cut="window">', 'data-cut="window"><g/>', "unexpected-element"),
    "no stroke": (' stroke="#e69f00"', "", "pen-wrong"),
    "a filled cut": ('fill="none" stroke="#e69f00"', 'fill="#e69f00" stroke="#e69f00"', "pen-wrong"),
    "an outlined engraving": ('stroke="none"', 'stroke="#123456"', "pen-wrong"),
    "a line without width": (' stroke-width="0.1"', ' stroke-width="0"', "pen-wrong"),
    "one colour twice": ('stroke="#e69f00"', 'stroke="#cc79a7"', "same-pen"),
    "unreadable metadata": ("<metadata>{", "<metadata>", "metadata-unread"),
    "a smaller frame": (
        'width="80mm" height="60mm" viewBox="0 0 80 60"',
        'width="79.9mm" height="60mm" viewBox="0 0 79.9 60"',
        "outside-frame",
    ),
    "a wider gap asked": ('data-gap="0.8"', 'data-gap="0.81"', "narrow-gap"),
    "more room asked at the rim": ('rim":5.0', 'rim":6.01', "keep-off"),
    "more room asked at the window": ('window":3.0', 'window":14.1', "keep-off"),
}


@pytest.mark.parametrize(("old", "new", "code"), STRUCTURE.values(), ids=STRUCTURE.keys())
def test_one_change_gives_one_finding(good, old, new, code):
    text = good.replace("&quot;", '"').replace(old, new, 1)
    assert text != good.replace("&quot;", '"')
    assert codes(text) == {code}


PATHS = {
    "relative commands": ("engrave", "M10 16l2 0L12 17Z", "other-command"),
    "a horizontal line": ("score", "M10 16H12L12 17", "other-command"),
    "an arc": ("cut", "M10 16A1 1 0 0 1 12 16Z", "other-command"),
    "a missing number": ("score", "M10 16L12", "path-unread"),
    "nothing": ("score", "", "path-unread"),
    "four decimals": ("score", "M10 16L12.0001 16", "too-many-decimals"),
    "an exponent": ("score", "M10 16L1.2e1 16", "exponent-used"),
    "minus zero": ("score", "M10 16C11 16 11 -0 12 16", "minus-zero"),
    "an open area": ("engrave", "M10 16L12 16L12 18L10 18L10 16", "open-loop"),
    "an open cut": ("cut", "M60 20L62 20L62 22L60 22", "open-loop"),
    "a shell wound as a hole": ("engrave", "M10 16L10 18L12 18L12 16Z", "wrong-winding"),
    "a hole wound as a shell": ("engrave", "M10 16L14 16L14 20L10 20ZM11 17L13 17L13 19L11 19Z", "wrong-winding"),
    "an island wound as a hole": (
        "engrave",
        "M10 16L16 16L16 22L10 22ZM11 17L11 21L15 21L15 17ZM12 18L12 20L14 20L14 18Z",
        "wrong-winding",
    ),
    "a crossed area": ("engrave", "M10 16L14 16L11 18L13 15Z", "self-crossing"),
    "loops that cross": ("engrave", "M10 16L14 16L14 19L10 19ZM13 17L13 18L16 18L16 17Z", "self-crossing"),
    "shells that overlap": ("engrave", "M10 16L14 16L14 19L10 19ZM13 17L16 17L16 18L13 18Z", "self-crossing"),
    "a crossed cut": ("cut", "M60 20L64 20L61 22L63 19Z", "self-crossing"),
    "a loop without area": ("engrave", "M10 16L12 16L14 16Z", "empty-loop"),
    "a hairline": ("engrave", "M10 16L15 16L15 16.1L10 16.1Z", "thin-line"),
    "a line there and back": ("score", "M10 16L12 17L10 16", "drawn-twice"),
    "a burn on the rim": ("score", "M78 20L79 20", "keep-off"),
    "a burn across the window": ("score", "M20 30L60 31", "keep-off"),
    "a burn in the window": ("score", "M38 30L42 30", "keep-off"),
    "an area over others": ("engrave", "M10 8L20 8L20 9L10 9Z", "burned-twice"),
}


@pytest.mark.parametrize(("operation", "d", "code"), PATHS.values(), ids=PATHS.keys())
def test_one_path_gives_one_finding(good, operation, d, code):
    assert codes(with_path(good, operation, d)) == {code}


@pytest.mark.parametrize("operation", ["engrave", "score", "cut"])
def test_a_path_written_twice(good, operation):
    first = paths_of(good, operation)[0]
    assert codes(changed(good, first, first * 2)) == {"drawn-twice"}


def test_a_path_drawn_again_from_another_start_and_backwards(good):
    text = with_path(good, "score", "M20 14L24 14L24 17L20 17Z")
    assert codes(text) == set()
    assert codes(with_path(text, "score", "M24 17L24 14L20 14L20 17Z")) == {"drawn-twice"}
    assert codes(with_path(text, "score", "M24 17L24 14")) == {"drawn-twice"}
    assert codes(with_path(text, "score", "M23 13L23 14.5")) == {"narrow-gap"}


def test_layers_out_of_order(good):
    engrave, score = layer_of(good, "engrave"), layer_of(good, "score")
    assert codes(changed(good, engrave + score, score + engrave)) == {"layer-order"}


def test_the_rim_before_the_window(good):
    parts = re.findall(r'<g data-cut=".*?</g>\n', good, re.DOTALL)
    assert len(parts) == 2
    assert codes(changed(good, "".join(parts), "".join(reversed(parts)))) == {"cut-order"}


def test_a_drawing_without_metadata(good):
    assert codes(re.sub("<metadata>.*</metadata>", "", good)) == {"metadata-unread"}


def test_no_layers(good):
    empty = good
    for operation in ("engrave", "score", "cut"):
        empty = empty.replace(layer_of(good, operation), "")
    assert codes(empty) == {"no-layers"}


@pytest.mark.parametrize(("shift", "code"), [(0.0035, "narrow-gap"), (-0.0035, "narrow-gap"), (1.2, "burned-twice")])
def test_a_ring_moved_along(good, shift, code):
    ring = paths_of(good, "engrave")[5]
    assert codes(changed(good, ring, moved(ring, shift))) == {code}


def test_a_ring_moved_towards_the_rim_is_seen_from_two_micrometres_on(good):
    ring = paths_of(good, "engrave")[0]
    # The first ring's top stands 6 mm below the rim, 5 mm are asked.
    assert codes(changed(good, ring, moved(ring, 0.0, -1.0))) == set()
    assert codes(changed(good, ring, moved(ring, 0.0, -1.004))) == {"keep-off"}


def test_a_path_attribute_is_looked_at(good):
    assert codes(with_path(good, "score", "M10 16L12 17", ' transform="scale(2)"')) == {"transform-used"}
    assert codes(with_path(good, "score", "M10 16L12 17", ' style="stroke:red"')) == {"style-used"}


def test_findings_say_where_and_whose(good):
    report = inspect(with_path(good, "engrave", "M10 16L10 18L12 18L12 16Z").encode(), name="broken.svg")
    (finding,) = report.findings
    assert (finding.ornament, finding.where_mm, finding.severity) == ("edge", (10.0, 16.0), Severity.STOP)
    assert stops(report.findings)
    assert "engrave path 1" in finding.message


def test_many_faults_of_one_kind_are_counted_not_listed(good):
    text = good
    for index in range(30):
        text = with_path(text, "score", f"M{10 + index} 16h1")
    report = inspect(text.encode(), name="broken.svg")
    assert len(report.findings) == 21
    assert "10 more such paths" in report.findings[-1].message


def test_an_ornament_alone_is_measured_without_cuts(drawing):
    report = inspect(write_layer(drawing, Operation.ENGRAVE), name="engrave.svg")
    assert report.findings == ()
    assert report.clearances == ()
    assert "not measured" in report.as_text()


def test_the_report_is_plain_text_and_json(good):
    report = inspect(good.encode(), name="good.svg")
    table = json.loads(json.dumps(report.as_table()))
    assert table["clearances"][1]["name"] == "rim"
    assert table["digest"] == "0123abcd"
    lines = report.as_text().splitlines()
    assert lines[0] == "good.svg: Tea shelf & <door>, 80.00 mm x 60.00 mm"
    assert "ornament edge: 12 paths, smallest gap 0.80 mm (asked 0.80 mm)" in lines
    assert "clear of rim: 6.00 mm (asked 5.00 mm)" in lines
    assert lines[-1] == "nothing to remark"
    in_inches = inspect(good.replace("mm&quot;,&quot;gap", "in&quot;,&quot;gap").encode(), name="good.svg")
    assert "clear of rim: 0.236 in (asked 0.197 in)" in in_inches.as_text()


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"not a drawing",
        b"<html/>",
        b"<svg/>",
        b'<svg xmlns="http://www.w3.org/2000/svg"/>',
        b'<svg xmlns="http://www.w3.org/2000/svg" width="0mm" height="5mm" viewBox="0 0 0 5"/>',
        b'<svg xmlns="http://www.w3.org/2000/svg" width="5mm" height="5mm" viewBox="0 0 5 5">',
        b"\x89PNG\r\n\x1a\n\x00\x00",
    ],
)
def test_what_is_no_drawing_is_refused_in_one_line(data):
    with pytest.raises(DrawingError, match=r"^broken\.svg ") as caught:
        inspect(data, name="broken.svg")
    assert "\n" not in str(caught.value)


def test_entities_are_not_followed(good, tmp_path):
    secret = tmp_path / "secret.txt"
    secret.write_text("hidden")
    doctype = f'<!DOCTYPE svg [<!ENTITY x SYSTEM "{secret.as_uri()}">]>'
    text = good.replace("<svg ", f"{doctype}<svg ", 1).replace("<title>Tea", "<title>&x;Tea", 1)
    report = inspect(text.encode(), name="hostile.svg")
    assert {finding.code for finding in report.findings} == {"reference-used"}
    assert "hidden" not in report.as_text()
