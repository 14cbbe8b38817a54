"""Bad input: exit code 2, one line that says what was read and what would do, and no file left behind."""

from __future__ import annotations

import io
import os
import subprocess
import sys
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import pytest
from PIL import Image, ImageDraw

# What stands in a folder before a command runs: bytes for a file, None for a folder.
Files = Mapping[str, bytes | None]


def png(image: Image.Image) -> bytes:
    stream = io.BytesIO()
    image.save(stream, "PNG")
    return stream.getvalue()


def drop(side_px: int = 60) -> bytes:
    image = Image.new("L", (side_px, side_px), 255)
    ImageDraw.Draw(image).ellipse((10, 6, side_px - 14, side_px - 8), fill=0)
    return png(image)


def bomb() -> bytes:
    """Return a well-formed picture of 72 megapixels in about nine thousand bytes."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        check = zlib.crc32(kind + data)
        return len(data).to_bytes(4, "big") + kind + data + check.to_bytes(4, "big")

    width, height = 9000, 8000
    header = width.to_bytes(4, "big") + height.to_bytes(4, "big") + bytes([1, 0, 0, 0, 0])
    rows = zlib.compress(bytes((width // 8 + 1) * height), 9)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


def toml(
    panel: str = "size = [60, 40]",
    *,
    head: str = "",
    ornament: str = 'field = "rest"\nmotif = "bud"\nheight = 8',
    motif: str = 'picture = "bud"',
    tail: str = "",
) -> bytes:
    return f"{head}\n[panel]\n{panel}\n[motif.bud]\n{motif}\n[[ornament]]\n{ornament}\n{tail}\n".encode()


def svg(body: str, size: str = 'width="60mm" height="40mm" viewBox="0 0 60 40"', before: str = "") -> bytes:
    return f'<?xml version="1.0"?>\n{before}<svg xmlns="http://www.w3.org/2000/svg" {size}>{body}</svg>'.encode()


RECTANGLE = '<path d="M1 1H59V39H1Z" fill="none" stroke="#000"/>'
ENTITY = '<!DOCTYPE svg [<!ENTITY secret SYSTEM "file:///etc/hostname">]>\n'
LAUGHS = '<!DOCTYPE svg [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">]>\n'
HOLE = '\n[[panel.cutout]]\nname = "{name}"\ncircle = [{x}, {y}]\ndiameter = {d}'


def hole(name: str, x: float, y: float, d: float) -> str:
    return HOLE.format(name=name, x=x, y=y, d=d)


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A command that cannot be done, and words its one line must hold."""

    name: str
    command: str
    words: tuple[str, ...]
    files: Files


def case(name: str, command: str, *words: str, **files: bytes | None) -> Case:
    # Keywords cannot hold a dot: the last underscore of a file's name stands for it.
    named = {".".join(key.rsplit("_", 1)): data for key, data in files.items()}
    return Case(name=name, command=command, words=words, files=named)


def compose(name: str, job: bytes | None, *words: str, **files: bytes | None) -> Case:
    return case(name, "compose job.toml", *words, job_toml=job, **files)


PICTURES = [
    case("no such picture", "trace gone.png", "gone.png", "does not exist", "check the name"),
    case("a folder for a picture", "trace shelf.png", "shelf.png", "is a folder", "name a file", shelf_png=None),
    case("text called png", "trace a.png", "a.png", "not a bitmap", "give a PNG", a_png=b"just words\n"),
    case("an empty picture", "trace a.png", "a.png", "empty", "give a bitmap", a_png=b""),
    case("all white", "trace a.png", "a.png", "all white", "give", a_png=png(Image.new("L", (40, 40), 255))),
    case("all black", "trace a.png", "a.png", "all black", "give", a_png=png(Image.new("L", (40, 40), 0))),
    case("all clear", "trace a.png", "a.png", "all", "give", a_png=png(Image.new("RGBA", (40, 40), (0, 0, 0, 0)))),
    case("one pixel", "trace a.png", "a.png", "1 x 1 px", "at least 3 px", a_png=png(Image.new("L", (1, 1), 0))),
    case("a bomb", "trace a.png", "a.png", "72 megapixels", "64", a_png=bomb()),
    case("a bomb in a job", "new a.png", "a.png", "72 megapixels", "64", a_png=bomb()),
    case("a picture cut short", "trace a.png", "a.png", "damaged", "save it again", a_png=drop()[:-60]),
    case("crop outside", "trace a.png --crop 100 0 120 20", "a.png", "60 x 60 px", "crop", a_png=drop()),
    case("crop backwards", "trace a.png --crop 30 0 10 20", "crop", "left < right", a_png=drop()),
    case("nothing but dust", "trace a.png --dust 5000", "a.png", "5000 px", "make dust smaller", a_png=drop()),
    case("parsecs", 'trace a.png --height "3 parsecs"', "parsecs", "use mm", a_png=drop()),
    case("height nan", "trace a.png --height nan", "'nan'", "write it like", a_png=drop()),
    case("height inf", "trace a.png --height inf", "'inf'", "write it like", a_png=drop()),
    case("height 0", "trace a.png --height 0", "between 0.1 mm and 5 m", "0 mm", a_png=drop()),
    case("height below 0", "trace a.png --height=-4", "between 0.1 mm and 5 m", "-4 mm", a_png=drop()),
    case("ink level 2", "trace a.png --ink-level 2", "--ink-level", "0<x<1", a_png=drop()),
    case("dust below 0", "trace a.png --dust=-1", "--dust", "x>=0", a_png=drop()),
    case("a folder for an SVG", "trace a.png -o shelf", "shelf", "is a folder", "-o", a_png=drop(), shelf=None),
    case("a file for a folder", "trace a.png -o b.txt/x.svg", "b.txt", "cannot be", "-o", a_png=drop(), b_txt=b"x"),
    case("over the picture itself", "trace a.png -o a.png", "a.png", "picture itself", "-o", a_png=drop()),
    case("a job over its picture", "new a.png -o a.png --overwrite", "a.png", "picture itself", a_png=drop()),
    case("new from nothing", "new gone.png", "gone.png", "does not exist"),
    case("new over a job", "new a.png", "a.toml", "already there", "--overwrite", a_png=drop(), a_toml=b"# mine"),
]
COMMANDS = [
    case("no such command", "polish job.toml", "polish", "--help"),
    case("no such option of all", "--shiny", "--shiny", "friezewright --help"),
    case("no such option", "compose job.toml --shiny", "--shiny", "--help", job_toml=toml()),
    case("no job named", "compose", "JOB", "--help"),
    case("a third format", "compose job.toml --format yaml", "yaml", "text", "json", job_toml=toml()),
    case("tolerance 0", "compose job.toml --tolerance 0", "tolerance", "between 0.0001 and 1 mm", job_toml=toml()),
    case("tolerance nan", "compose job.toml --tolerance nan", "'nan'", "write it like", job_toml=toml()),
    case("tolerance 2 in", 'compose job.toml --tolerance "2 in"', "50.8", "1 mm", job_toml=toml()),
]
JOBS = [
    case("no such job", "compose gone.toml", "gone.toml", "does not exist"),
    compose("a folder for a job", None, "job.toml", "is a folder", "name a file"),
    compose("a binary job", bytes(range(256)), "job.toml", "not a text file", "friezewright new"),
    compose("an empty job", b"", "job.toml", "panel", "missing"),
    compose("a half-written job", b"[panel\nsize = [1", "job.toml", "TOML", "mend that line"),
    compose("unknown key", toml(head='colour = "red"'), "line 1", "colour", "unknown key", "remove it"),
    compose("unknown panel key", toml("size = [60, 40]\nweight = 3"), "line 4", "panel.weight", "unknown key"),
    compose("3 parsecs", toml('size = ["3 parsecs", 40]'), "line 3", "parsecs", "use mm, cm, m, in"),
    compose("nan", toml("size = [nan, 40]"), "line 3", "nan", "not a finite length"),
    compose("infinite", toml("size = [60, inf]"), "line 3", "inf", "not a finite length"),
    compose("below zero", toml("size = [-60, 40]"), "line 3", "-60", "more than 0"),
    compose("no width", toml("size = [0, 40]"), "line 3", "got 0", "more than 0"),
    compose(
        "motif of no height", toml(ornament='field = "rest"\nmotif = "bud"\nheight = 0'), "height", "less than 0.5"
    ),
    compose("gap below zero", toml(ornament='field = "rest"\nmotif = "bud"\nheight = 8\ngap = -1'), "gap", "-1"),
    compose("angle nan", toml(ornament='field = "rest"\nmotif = "bud"\nheight = 8\nturn = nan'), "turn", "finite"),
    compose("a 6 m panel", toml("size = [6000, 40]"), "6000", "5000 mm"),
    compose("astronomical", toml('size = ["60 mm", "999999999999 m"]'), "out of reach", "50 m"),
    compose("past every panel", toml(ornament='place = [1e300, 2]\nmotif = "bud"\nheight = 8'), "line 7", "50 m"),
    compose(
        "lines on lines",
        toml(ornament='field = "rest"\nmotif = "bud"\nheight = 8\nburn = "lined"\nlining = { spacing = 0.0001 }'),
        "lining.spacing",
        "0.0001",
        "less than 0.02",
    ),
    compose("a name no file has", toml(motif='picture = "a\\u0000b"'), "'a\\x00b'", "control characters"),
    compose("unit of feet", toml(head='unit = "ft"'), "'ft'", '"mm" or "in"'),
    compose("PVC", toml(head='material = "PVC"'), "PVC", "hydrogen chloride", "use another"),
    compose("vinyl by a longer name", toml(head='material = "self-adhesive vinyl"'), "vinyl", "use another"),
    compose("a motif never named", toml(ornament='field = "rest"\nmotif = "leaf"\nheight = 8'), "'leaf'", "bud"),
    compose("a motif not shipped", toml(motif='picture = "unicorn"'), "unicorn", "does not exist"),
    compose("a picture that is gone", toml(motif='picture = "gone.png"'), "gone.png", "does not exist"),
    compose("a picture that is text", toml(motif='picture = "a.png"'), "a.png", "not a bitmap", a_png=b"words"),
    compose("a bomb of a motif", toml(motif='picture = "a.png"'), "a.png", "72 megapixels", a_png=bomb()),
    compose("no such strip", toml(ornament='border = "rim"\nmotif = "bud"\nheight = 8\nstrip = "zigzag"'), "zigzag"),
    compose("no such group", toml(ornament='field = "rest"\nmotif = "bud"\nheight = 8\ngroup = "p5"'), "p5", "p6"),
    compose(
        "a border round no cutout",
        toml(ornament='border = "cutout window"\nmotif = "bud"\nheight = 8'),
        "window",
        "none",
    ),
    compose("no such border", toml(ornament='border = "moon"\nmotif = "bud"\nheight = 8'), "moon", "rim"),
    compose("a price of words", toml(tail='[cost]\nprice_per_minute = "cheap"'), "cheap", "1.20 EUR"),
]
PANELS = [
    compose(
        "a rim that crosses itself", toml("polygon = [[0, 0], [60, 40], [60, 0], [0, 40]]"), "rim", "(30.00, 20.00)"
    ),
    compose("a rim that is a line", toml("polygon = [[0, 0], [30, 20], [60, 40]]"), "rim", "has no area"),
    compose("two corners", toml("polygon = [[0, 0], [60, 40], [0, 0]]"), "rim", "give three or more"),
    compose("corners too round", toml("size = [60, 40]\ncorner_radius = 25"), "corner radius of 25", "0 to 20 mm"),
    compose("a cutout outside", toml("size = [60, 40]" + hole("eye", 90, 20, 8)), '"eye"', "lies outside", "move it"),
    compose("a cutout across the rim", toml("size = [60, 40]" + hole("eye", 58, 20, 8)), '"eye"', "crosses the rim"),
    compose(
        "overlapping cutouts",
        toml("size = [60, 40]" + hole("eye", 20, 20, 12) + hole("ear", 28, 20, 12)),
        '"eye"',
        '"ear"',
        "overlap",
        "(24.00, 20.00)",
        "move them apart",
    ),
    compose(
        "one cutout in another",
        toml("size = [60, 40]" + hole("eye", 20, 20, 20) + hole("pupil", 20, 20, 6)),
        '"eye"',
        '"pupil"',
        "overlap",
    ),
    compose(
        "two of a name", toml("size = [60, 40]" + hole("eye", 20, 20, 6) + hole("eye", 40, 20, 6)), "'eye'", "own name"
    ),
    compose(
        "keep_off too wide", toml("size = [60, 40]\nkeep_off = { rim = 20 }"), "keep_off", "nothing", "reduce it by"
    ),
    compose("keep_off of a stranger", toml("size = [60, 40]\nkeep_off = { named = { eye = 2 } }"), "eye", "none"),
    compose(
        "keep_off below zero", toml("size = [60, 40]\nkeep_off = { rim = -1 }"), "keep_off.rim", "-1", "less than 0"
    ),
    compose(
        "a reserve of everything",
        toml('size = [60, 40]\n[[panel.reserve]]\nname = "plate"\nrectangle = [0, 0, 60, 40]'),
        "plate",
        "smaller",
    ),
    compose("no panel drawing", toml('drawing = "door.svg"'), "door.svg", "does not exist"),
    compose("a drawing that is no SVG", toml('drawing = "door.svg"'), "door.svg", door_svg=b"words"),
    compose("an empty drawing", toml('drawing = "door.svg"'), "door.svg", "empty", door_svg=b""),
    compose("a drawing cut short", toml('drawing = "door.svg"'), "door.svg", door_svg=svg(RECTANGLE)[:-12]),
    compose("a drawing of nothing", toml('drawing = "door.svg"'), "door.svg", door_svg=svg("")),
    compose(
        "a drawing that reads a file",
        toml('drawing = "door.svg"'),
        "door.svg",
        "document type",
        door_svg=svg(RECTANGLE + "<title>&secret;</title>", before=ENTITY),
    ),
    compose(
        "a drawing that swells",
        toml('drawing = "door.svg"'),
        "door.svg",
        "document type",
        door_svg=svg(RECTANGLE + "<title>&b;</title>", before=LAUGHS),
    ),
    compose(
        "a drawing without size",
        toml('drawing = "door.svg"'),
        "door.svg",
        "known length",
        door_svg=svg(RECTANGLE, size=""),
    ),
]
MACHINES = [
    compose("no such profile", toml(tail='[machine]\nprofile = "big.toml"'), "big.toml", "does not exist"),
    compose(
        "unknown figure", toml(tail='[machine]\nprofile = "m.toml"'), "m.toml", "line 1", "lasers", "known are",
        m_toml=b"lasers = 2\n",
    ),
    compose(
        "an impossible speed", toml(tail='[machine]\nprofile = "m.toml"'), "m.toml", "cut_speed_mm_s", "impossible",
        m_toml=b"cut_speed_mm_s = -3\n",
    ),
    compose(
        "a profile of NaN", toml(tail='[machine]\nprofile = "m.toml"'), "m.toml", "spot_mm", "give",
        m_toml=b"spot_mm = nan\n",
    ),
    compose("a binary profile", toml(tail='[machine]\nprofile = "m.toml"'), "m.toml", "TOML", m_toml=b"\xff\x00"),
]  # fmt: skip
DRAWINGS = [
    case("estimate nothing", "estimate gone.svg", "gone.svg", "does not exist"),
    case("estimate a folder", "estimate shelf", "shelf", "is a folder", shelf=None),
    case("estimate words", "estimate a.svg", "a.svg", a_svg=b"words"),
    case("estimate a stranger", "estimate a.svg", "a.svg", "not a layered drawing", "compose", a_svg=svg(RECTANGLE)),
    case("inspect nothing", "inspect gone.svg", "gone.svg", "does not exist"),
    case("inspect words", "inspect a.svg", "a.svg", a_svg=b"words"),
    case("inspect emptiness", "inspect a.svg", "a.svg", "empty", a_svg=b""),
]
OUTPUTS = [
    case("a file for the folder", "compose job.toml -o taken", "taken", "-o", job_toml=toml(), taken=b"mine"),
    case("under a file", "compose job.toml -o taken/in", "taken", "-o", job_toml=toml(), taken=b"mine"),
]
CASES = [*PICTURES, *COMMANDS, *JOBS, *PANELS, *MACHINES, *DRAWINGS, *OUTPUTS]


def lay_out(folder: Path, files: Files) -> None:
    for name, data in files.items():
        if data is None:
            (folder / name).mkdir()
        else:
            (folder / name).write_bytes(data)


def contents(folder: Path) -> dict[str, bytes | None]:
    """Return everything below a folder, hidden and temporary files too."""
    return {str(path.relative_to(folder)): None if path.is_dir() else path.read_bytes() for path in folder.rglob("*")}


def words_of(command: str) -> list[str]:
    import shlex

    return shlex.split(command)


def assert_refused(code: int, out: str, err: str, words: tuple[str, ...]) -> None:
    assert code == 2, err
    assert out == ""
    assert err.endswith("\n")
    assert len(err.splitlines()) == 1, err
    assert err.startswith("Error: ")
    assert "Traceback" not in err
    assert "bug" not in err
    for word in words:
        assert word in err, (word, err)


@pytest.mark.parametrize("bad", CASES, ids=lambda bad: bad.name)
def test_bad_input_is_one_line_and_leaves_nothing(bad, home, run):
    lay_out(home, bad.files)
    before = contents(home)

    done = run(*words_of(bad.command))

    assert_refused(done.code, done.out, done.err, bad.words)
    assert contents(home) == before


SPAWNED = [CASES[0], PICTURES[8], next(bad for bad in JOBS if bad.name == "3 parsecs"), COMMANDS[0]]


@pytest.mark.parametrize("bad", SPAWNED, ids=lambda bad: bad.name)
def test_the_same_holds_for_the_installed_program(bad, home):
    lay_out(home, bad.files)
    before = contents(home)

    program = [sys.executable, "-W", "error", "-c", "from friezewright.cli import main; main()"]
    done = subprocess.run([*program, *words_of(bad.command)], capture_output=True, text=True, cwd=home)

    assert_refused(done.returncode, done.stdout, done.stderr, bad.words)
    assert contents(home) == before


def test_a_folder_without_permission_is_one_line(home, run):
    (home / "a.png").write_bytes(drop())
    shut = home / "shut"
    shut.mkdir()
    shut.chmod(0o555)
    if os.access(shut, os.W_OK):
        pytest.skip("whoever runs the tests may write anywhere")

    done = run("trace", "a.png", "-o", "shut/a.svg")

    assert_refused(done.code, done.out, done.err, ("shut", "ermission", "-o"))
    assert list(shut.iterdir()) == []


def test_a_picture_without_permission_is_one_line(home, run):
    (home / "a.png").write_bytes(drop())
    (home / "a.png").chmod(0)
    if os.access(home / "a.png", os.R_OK):
        pytest.skip("whoever runs the tests may read anything")

    done = run("trace", "a.png")

    assert_refused(done.code, done.out, done.err, ("a.png", "permission"))


def test_a_motif_larger_than_the_panel_is_a_finding_not_an_error(home, run):
    (home / "job.toml").write_bytes(toml(ornament='field = "rest"\nmotif = "bud"\nheight = 90'))

    done = run("compose", "job.toml")

    assert done.code in (0, 1)
    assert "warning" in done.err or "stop" in done.err
    assert "Traceback" not in done.err
    assert (home / "job" / "ticket.html").exists()


def test_an_old_drawing_survives_a_job_that_became_bad(home, run):
    (home / "job.toml").write_bytes(toml("size = [60, 40]\ncolour = 3"))
    (home / "job").mkdir()
    (home / "job" / "drawing.svg").write_bytes(b"from an earlier run")

    done = run("compose", "job.toml")

    assert_refused(done.code, done.out, done.err, ("colour",))
    assert contents(home / "job") == {"drawing.svg": b"from an earlier run"}
