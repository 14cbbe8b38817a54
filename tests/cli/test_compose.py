"""Whole jobs through the command line: what is written, what is said, and how a run ends."""

from __future__ import annotations

import io
import json
import re
import shutil
from pathlib import Path

import pytest
from lxml import etree
from PIL import Image

JOBS = Path(__file__).parent.parent / "data" / "jobs"
SVG = "{http://www.w3.org/2000/svg}"
ALWAYS = {"guide.svg", "picture.png", "ticket.html", "ticket.json"}


@pytest.fixture
def compose(home, run):
    """Copy a stored job here, compose it, and hand back how that went."""

    def composed(job: str, *options: str):
        for file in sorted(JOBS.glob(f"{job}.*")):
            shutil.copy(file, home / file.name)
        return run("compose", f"{job}.toml", *options)

    return composed


def names(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


def layers(svg: bytes) -> dict[str, list[tuple[str, list[str]]]]:
    """Return the drawing's layers: operation to (part's name, path data of each of its paths)."""
    root = etree.fromstring(svg)
    return {
        layer.get("data-operation"): [
            (part.get("data-ornament") or part.get("data-cut"), [path.get("d") for path in part.iterfind(f"{SVG}path")])
            for part in layer.iterfind(f"{SVG}g")
        ]
        for layer in root.iterfind(f"{SVG}g")
    }


def numbers(d: str) -> list[float]:
    return [float(word) for word in re.findall(r"-?\d+(?:\.\d+)?", d)]


def frame(svg: bytes) -> tuple[str, str, str]:
    root = etree.fromstring(svg)
    return root.get("width"), root.get("height"), root.get("viewBox")


def masked(text: str) -> str:
    """Return a report with its figures masked: they belong to other tests, and may move with a better pattern."""
    return re.sub(r"\d+(?:\.\d+)?", "#", text)


def test_a_tray_with_border_ring_field_and_placed_motif(stored):
    done, folder = stored("tray")

    assert done.code == 0
    assert done.err == ""
    assert masked(done.out).splitlines() == [
        "edge: # repeats along the top and bottom, # along the right and left, gap # mm, scale #",
        "ring: # repeats all round, gap # mm, scale #",
        "lone bud: one motif at #, # mm",
        "ground: # whole motifs, pattern p#, gap # mm in the pattern",
        "machine time # min # s to # min # s, simulated; machine time at # EUR a minute # to # EUR",
        "tray: drawing.svg, guide.svg, picture.png, ticket.html, ticket.json",
    ]
    assert names(folder) == ALWAYS | {"drawing.svg"}
    found = layers((folder / "drawing.svg").read_bytes())
    assert [(layer, [part for part, _ in parts]) for layer, parts in found.items()] == [
        ("engrave", ["edge", "ring"]),
        ("score", ["lone bud", "ground"]),
        ("cut", ["well", "rim"]),
    ]


def test_the_counts_said_are_the_counts_written(stored):
    done, folder = stored("tray")
    found = layers((folder / "drawing.svg").read_bytes())
    ticket = json.loads((folder / "ticket.json").read_bytes())

    along, upright = map(int, re.findall(r"edge: (\d+) .*?, (\d+) ", done.out)[0])
    copies = {name: len(paths) for parts in found.values() for name, paths in parts if name not in ("well", "rim")}
    # One motif a repeat of a p1 strip, and a star at each corner.
    assert copies["edge"] == 2 * along + 2 * upright + 4
    assert copies["ring"] == int(re.findall(r"ring: (\d+)", done.out)[0])
    assert copies["ground"] == int(re.findall(r"ground: (\d+)", done.out)[0])
    # The placed bud is lined: its lines are the paths, it is one copy.
    assert {line["name"]: line["copies"] for line in ticket["ornaments"]} == copies | {"lone bud": 1}


def test_sides_of_a_rectangle_are_symmetric(stored):
    _, folder = stored("tray")
    edge = dict(layers((folder / "drawing.svg").read_bytes())["engrave"])["edge"]

    # A border of p1 runs round: it is symmetric under the half turn about the panel's centre, not under mirrors.
    def centres(turned: bool) -> list[tuple[float, float]]:
        boxes = []
        for d in edge:
            values = numbers(d)
            x, y = values[::2], values[1::2]
            centre = ((min(x) + max(x)) / 2, (min(y) + max(y)) / 2)
            boxes.append((110 - centre[0], 80 - centre[1]) if turned else centre)
        return boxes

    there, back = centres(False), centres(True)
    for x, y in there:
        # Control points, not curves, give these boxes; a point written to 0.001 mm is off by half of that.
        assert min(max(abs(x - u), abs(y - v)) for u, v in back) <= 0.002


def test_a_round_lid(stored):
    done, folder = stored("lid")

    assert (done.code, done.err) == (0, "")
    assert masked(done.out).splitlines() == [
        "edge: # repeats all round, gap # mm, scale #",
        "ground: # whole motifs, pattern p#, gap # mm in the pattern",
        "machine time # min # s to # min # s, simulated; no price given",
        "lid: drawing.svg, guide.svg, picture.png, ticket.html, ticket.json",
    ]
    assert frame((folder / "drawing.svg").read_bytes()) == ("80mm", "80mm", "0 0 80 80")


def test_an_l_in_inches_is_written_in_millimetres_and_read_back_in_inches(stored):
    done, folder = stored("shelf")

    assert done.code == 0
    drawing = (folder / "drawing.svg").read_bytes()
    assert frame(drawing) == ("88.9mm", "101.6mm", "0 0 88.9 101.6")
    assert json.loads(etree.fromstring(drawing).findtext(f"{SVG}metadata"))["unit"] == "in"
    ticket = (folder / "ticket.html").read_text()
    assert "3.500 in by 4.000 in, 0.125 in thick, basswood" in ticket
    assert "burning stays 0.125 in clear of the rim" in ticket
    assert json.loads((folder / "ticket.json").read_bytes())["size_mm"] == pytest.approx([88.9, 101.6])
    rim = dict(layers(drawing)["cut"])["rim"]
    assert len(rim) == 1
    # Six corners rounded by 0.1 in: the notch of the L stays where it was asked for.
    assert {38.1, 88.9, 101.6} <= set(numbers(rim[0]))


def test_a_drawings_own_cut_lines_are_handed_on_unmoved_in_its_own_frame(stored):
    done, folder = stored("door")

    assert done.code == 0
    source = (JOBS / "door.svg").read_bytes()
    drawing = (folder / "drawing.svg").read_bytes()
    assert frame(drawing) == frame(source) == ("120mm", "90mm", "-7.5 -4.25 120 90")
    asked = {path.get("id"): path.get("d") for path in etree.fromstring(source).iterfind(f"{SVG}path")}
    cut = dict(layers(drawing)["cut"])
    assert list(cut) == ["porthole", "rim"]
    assert [numbers(d) for d in cut["porthole"]] == [numbers(asked["porthole"])]
    assert [numbers(d) for d in cut["rim"]] == [numbers(asked["outer"])]


def test_a_drawing_without_a_size_takes_it_from_a_known_width(compose, home):
    drawing = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 80"><rect x="5" y="5" width="80" height="60" '
    (home / "sheet.svg").write_text(drawing + 'fill="none" stroke="#000"/></svg>')
    (home / "sized.toml").write_text('[panel]\ndrawing = "sheet.svg"\nrim_width = "4 in"\n')

    done = compose("sized")

    assert (done.code, done.err) == (0, "")
    drawing = (home / "sized" / "drawing.svg").read_bytes()
    assert frame(drawing) == ("127mm", "101.6mm", "0 0 127 101.6")
    assert numbers(dict(layers(drawing)["cut"])["rim"][0])[:4] == [6.35, 6.35, 107.95, 6.35]


def test_ornament_alone_lies_in_the_same_frame_at_the_same_place(compose, home):
    compose("door", "-o", "whole")
    done = compose("door", "-o", "alone", "--ornament-only", "--layers")

    assert done.code == 0
    assert names(home / "alone") == ALWAYS | {"drawing.svg", "engrave.svg", "score.svg"}
    whole, alone = ((home / name / "drawing.svg").read_bytes() for name in ("whole", "alone"))
    assert frame(alone) == frame(whole)
    expected = layers(whole)
    del expected["cut"]
    assert layers(alone) == expected
    # The picture shows the panel all the same.
    assert (home / "alone" / "picture.png").read_bytes() == (home / "whole" / "picture.png").read_bytes()


def test_layers_are_the_drawing_in_parts(stored):
    done, folder = stored("tray", "--layers")

    assert done.code == 0
    assert done.out.splitlines()[-1] == (
        "tray: drawing.svg, engrave.svg, score.svg, cut.svg, guide.svg, picture.png, ticket.html, ticket.json"
    )
    drawing = (folder / "drawing.svg").read_bytes()
    together = {}
    for name in ("engrave", "score", "cut"):
        alone = (folder / f"{name}.svg").read_bytes()
        assert frame(alone) == frame(drawing)
        assert list(layers(alone)) == [name]
        together |= layers(alone)
    assert together == layers(drawing)


def test_layers_that_are_not_asked_for_are_not_left_over(compose, home):
    compose("unnamed", "--layers")
    assert {"engrave.svg", "cut.svg"} <= names(home / "unnamed")

    compose("unnamed")
    assert names(home / "unnamed") == ALWAYS | {"drawing.svg"}


def test_a_material_that_was_not_stated_is_marked_everywhere_but_stops_nothing(stored):
    done, folder = stored("unnamed")

    assert done.code == 0
    assert done.out.splitlines()[-2] == "material not stated: do not run"
    assert "drawing.svg" in names(folder)
    html = (folder / "ticket.html").read_text()
    assert '<p class="stop">Material not stated: do not run</p>' in html
    material = json.loads((folder / "ticket.json").read_bytes())["material"]
    assert material == {"asked": "", "verdict": "material not stated: do not run", "may_run": False}


def test_a_material_that_was_not_stated_is_marked_on_the_picture(compose, home):
    def accents() -> int:
        picture = Image.open(io.BytesIO((home / "unnamed" / "picture.png").read_bytes())).convert("RGB")
        accent = (0x8A, 0x3B, 0x12)
        return sum(
            count
            for count, tone in picture.getcolors(picture.width * picture.height)
            if max(abs(a - b) for a, b in zip(tone, accent, strict=True)) <= 8
        )

    compose("unnamed")
    unmarked_words = accents()
    text = (home / "unnamed.toml").read_text()
    (home / "stated.toml").write_text('material = "basswood"\n' + text)
    compose("stated", "-o", "unnamed")

    # A line of text in the accent tone, against none at all.
    assert unmarked_words > 500
    assert accents() == 0


def test_an_unknown_material_is_marked_and_not_guessed(compose, home):
    (home / "odd.toml").write_text('material = "moon cheese"\n' + (JOBS / "unnamed.toml").read_text())

    done = compose("odd")

    assert done.code == 0
    assert done.out.splitlines()[-2] == "moon cheese is not a material known here: do not run"


def test_a_hostile_title_stays_text(stored):
    _, folder = stored("unnamed")

    html = (folder / "ticket.html").read_text()
    assert "<b>Mystery" not in html
    assert "&lt;b&gt;Mystery&lt;/b&gt; &amp; &quot;sheet&quot;" in html
    for name in ("drawing.svg", "guide.svg"):
        root = etree.fromstring((folder / name).read_bytes())
        assert root.findtext(f"{SVG}title").endswith('<b>Mystery</b> & "sheet"')


STRAY = (
    "stop out-of-zone: lone bud: reaches # mm past where ornament may be; move it, make it smaller, "
    'or write edge = "trimmed" near (#, #) mm\n'
    "Stopped by a finding: no drawing was written; the ticket and the picture say why.\n"
)


def test_a_finding_stops_the_job_and_leaves_no_drawing(stored):
    done, folder = stored("astray", "--layers")

    assert done.code == 1
    assert masked(done.err) == STRAY
    assert names(folder) == ALWAYS
    html = (folder / "ticket.html").read_text()
    assert re.search(r'<p class="stop">[^<]*past where ornament may be', html)
    (finding,) = json.loads((folder / "ticket.json").read_bytes())["findings"]
    assert (finding["code"], finding["severity"], finding["ornament"]) == ("out-of-zone", "stop", "lone bud")
    assert finding["where_mm"] == [36.0, 15.0]


def test_the_distance_a_stray_motif_must_move_is_true(compose, home):
    said = compose("astray").err
    reach = float(re.search(r"reaches ([\d.]+) mm", said)[1])
    text = (home / "astray.toml").read_text()

    # Moved to the left by what was said it fits; by a twentieth of a millimetre less it does not. The step covers the
    # two decimals of the message and the zone's margin.
    for shift, code in ((reach + 0.02, 0), (reach - 0.05, 1)):
        (home / "moved.toml").write_text(text.replace("[36, 15]", f"[{36 - shift}, 15]"))
        assert compose("moved").code == code


def test_a_stopped_job_takes_away_the_drawing_of_an_earlier_run(compose, home):
    shutil.copy(JOBS / "astray.toml", home / "bud.toml")
    good = (home / "bud.toml").read_text().replace("[36, 15]", "[20, 15]")
    bad = (home / "bud.toml").read_text()
    (home / "bud.toml").write_text(good)
    assert compose("bud", "--layers").code == 0
    assert {"drawing.svg", "engrave.svg", "cut.svg"} <= names(home / "bud")
    (home / "bud" / "notes.txt").write_text("the maker's own")

    (home / "bud.toml").write_text(bad)
    assert compose("bud").code == 1

    assert names(home / "bud") == ALWAYS | {"notes.txt"}


def test_json_is_all_that_stands_on_stdout(stored):
    done, folder = stored("lid", "--format", "json")

    assert (done.code, done.err) == (0, "")
    assert json.loads(done.out) == json.loads((folder / "ticket.json").read_bytes())


def test_json_of_a_stopped_job_is_json_too(stored):
    done, _ = stored("astray", "--format", "json")

    assert done.code == 1
    assert masked(done.err) == STRAY
    assert [finding["severity"] for finding in json.loads(done.out)["findings"]] == ["stop"]


def test_what_was_composed_passes_inspection_and_is_timed_alike(compose, home, run):
    compose("tray")

    inspected = run("inspect", "tray/drawing.svg", "--format", "json")
    assert (inspected.code, inspected.err) == (0, "")
    assert [line for line in json.loads(inspected.out)["findings"] if line["severity"] != "note"] == []

    timed = json.loads(run("estimate", "tray/drawing.svg", "--format", "json").out)
    ticket = json.loads((home / "tray" / "ticket.json").read_bytes())
    # The file holds the curves to 0.001 mm, and the sheet's thickness is not in it: cutting is left out.
    for mine, theirs in zip(timed["layers"][:2], ticket["layers"][:2], strict=True):
        assert mine["operation"] == theirs["operation"]
        assert mine["seconds"] == pytest.approx(theirs["seconds"], rel=0.01)
        assert mine["metres"] == pytest.approx(theirs["metres"], rel=0.001)


def test_a_tampered_drawing_does_not_pass_inspection(compose, home, run):
    compose("unnamed")
    drawing = (home / "unnamed" / "drawing.svg").read_text()
    moved = re.sub(r'(data-ornament="lone bud"[^>]*>\n<path d=")M[^"]*', r"\1M1 1L6 1L6 6L1 6Z", drawing)
    assert moved != drawing
    (home / "moved.svg").write_text(moved)

    done = run("inspect", "moved.svg")

    # A square 1 mm from the rim, where 5 mm was asked for.
    assert done.code == 1
    assert "keep" in done.out


def test_a_starter_job_runs_as_it_stands(home, run):
    shutil.copy(Path(__file__).parents[2] / "motifs" / "bud.png", home / "bud.png")
    made = run("new", "bud.png")
    assert made.out == "bud.toml: edit it, then run: friezewright compose bud.toml\n"
    assert made.err == ""

    done = run("compose", "bud.toml")

    assert done.code == 0
    assert "stop" not in done.err
    assert done.out.splitlines()[-2] == "material not stated: do not run"
    assert "drawing.svg" in names(home / "bud")


def test_a_starter_job_in_inches_runs_as_it_stands(home, run):
    shutil.copy(Path(__file__).parents[2] / "motifs" / "bud.png", home / "bud.png")
    (home / "jobs").mkdir()
    assert run("new", "bud.png", "--inches", "-o", "jobs/mine.toml").code == 0

    done = run("compose", "jobs/mine.toml")

    assert done.code == 0
    assert "9.500 in by 6.250 in" in (home / "jobs" / "mine" / "ticket.html").read_text()


def test_trace_writes_curves_at_the_asked_size(home, run):
    shutil.copy(Path(__file__).parents[2] / "motifs" / "bud.png", home / "bud.png")

    done = run("trace", "bud.png", "--height", "1 in")

    assert (done.code, done.err) == (0, "")
    assert masked(done.out).startswith("bud.svg: # loops (# holes), # nodes; # by # mm")
    width, height, box = frame((home / "bud.svg").read_bytes())
    assert height == "25.4mm"
    assert box == f"0 0 {width.removesuffix('mm')} 25.4"
    root = etree.fromstring((home / "bud.svg").read_bytes())
    path = "".join(path.get("d") for path in root.iter(f"{SVG}path"))
    assert set(re.findall(r"[A-Za-z]", path)) <= set("MLCZ")
    assert "C" in path


def test_a_traced_motif_can_be_a_jobs_motif(compose, home, run):
    shutil.copy(Path(__file__).parents[2] / "motifs" / "bud.png", home / "bud.png")
    run("trace", "bud.png", "-o", "curves.svg")
    text = (JOBS / "unnamed.toml").read_text()
    (home / "bitmap.toml").write_text(text.replace('picture = "bud"', 'picture = "bud.png"'))
    (home / "vector.toml").write_text(text.replace('picture = "bud"', 'picture = "curves.svg"'))

    assert compose("bitmap").code == compose("vector").code == 0

    one, other = (
        numbers(layers((home / name / "drawing.svg").read_bytes())["engrave"][0][1][0]) for name in ("bitmap", "vector")
    )
    # The vector was written to 0.001 mm at 20 mm and is drawn at 12.
    assert one == pytest.approx(other, abs=0.002)
