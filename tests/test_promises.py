"""What the program promises about what it hands over, judged from the written files alone.

The files are read here by a parser of a dozen lines and measured with shapely directly, so that neither the writer's
arithmetic nor the program's own checker can make a wrong drawing pass.
"""

from __future__ import annotations

import json
import math
import os
import re
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from click.testing import CliRunner
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from lxml import etree

from friezewright.cli import main

ROOT = Path(__file__).parent.parent
JOBS = Path(__file__).parent / "data" / "jobs"
GALLERY = sorted((ROOT / "gallery").glob("*.toml"))
PROGRAM = [sys.executable, "-c", "from friezewright.cli import main; main(prog_name='friezewright')"]

# Furthest a chord used for measuring lies from its curve. Chords lie inside the bend, so that a distance measured
# between two of them is at most twice this too large.
_SAG_MM = 0.0004
# What is promised: never nearer than asked by more than this, which is twice the rounding of the file and a little.
_SLACK_MM = 0.002


# --- Reading a written drawing


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawn:
    """One path of the file: its part's name and its loops, each a run of points, shape (n, 2), and whether closed."""

    part: str
    loops: tuple[np.ndarray, ...]
    closed: tuple[bool, ...]

    def lines(self) -> shapely.Geometry:
        return shapely.multilinestrings([shapely.linestrings(loop) for loop in self.loops])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Written:
    """A written drawing: its layers in the order of the file, and the shape of its text apart from the figures."""

    layers: dict[str, list[Drawn]]
    figures: np.ndarray
    skeleton: str


def points_of(loop: list[np.ndarray]) -> np.ndarray:
    """Return a run of cubics and lines as points: (4, 2) arrays, lines with their thirds, to (n, 2)."""
    p0, p1, p2, p3 = np.moveaxis(np.array(loop), 1, 0)
    # A chord over 1/n of a cubic lies within max|B''| / (8 n^2) of it; B'' is largest at an end.
    bend = 6.0 * np.maximum(np.hypot(*(p0 - 2.0 * p1 + p2).T), np.hypot(*(p1 - 2.0 * p2 + p3).T))
    count = np.maximum(1, np.ceil(np.sqrt(bend / (8.0 * _SAG_MM)) - 1e-6)).astype(int)
    which = np.repeat(np.arange(len(count)), count)
    t = ((np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count) + 1) / count[which])[:, None]
    s = 1.0 - t
    p0, p1, p2, p3 = (p[which] for p in (p0, p1, p2, p3))
    return np.concatenate([loop[0][:1], s**3 * p0 + 3.0 * s * s * t * p1 + 3.0 * s * t * t * p2 + t**3 * p3])


def straight(start: np.ndarray, end: np.ndarray) -> np.ndarray:
    return start + np.arange(4.0)[:, None] / 3.0 * (end - start)


def loops_of(d: str) -> tuple[tuple[np.ndarray, ...], tuple[bool, ...]]:
    assert re.fullmatch(r"(M[\d.\s,-]+([LC][\d.\s,-]+)*Z?)+", d), "only M L C Z and plain figures"
    loops, closed = [], []
    for run in d.split("M")[1:]:
        pieces: list[np.ndarray] = []
        first = here = None
        for command, words in re.findall(r"(^|[LC])([^LCZ]+)", run):
            points = np.array(words.split(), dtype=float).reshape(-1, 2)
            if first is None:
                first = here = points[0]
                assert len(points) == 1
            for step in points[:, None] if command == "L" else points.reshape(-1, 3, 2) if command == "C" else ():
                pieces.append(straight(here, step[0]) if command == "L" else np.concatenate([here[None], step]))
                here = step[-1]
        closed.append(run.endswith("Z"))
        if closed[-1] and (here != first).any():
            pieces.append(straight(here, first))
        loops.append(points_of(pieces))
    return tuple(loops), tuple(closed)


@cache
def read(svg: bytes) -> Written:
    root = etree.fromstring(svg)
    width, height = root.get("width"), root.get("height")
    assert root.get("viewBox").split()[2:] == [width.removesuffix("mm"), height.removesuffix("mm")]
    layers: dict[str, list[Drawn]] = {}
    for layer in root.findall("{*}g"):
        paths = layers.setdefault(layer.get("data-operation"), [])
        for group in layer.findall("{*}g"):
            for path in group.findall("{*}path"):
                loops, closed = loops_of(path.get("d"))
                paths.append(
                    Drawn(part=group.get("data-ornament") or group.get("data-cut"), loops=loops, closed=closed)
                )
    drawn = b"".join(re.findall(rb' d="[^"]*"', svg)).decode()
    number = r"-?\d+(?:\.\d+)?"
    return Written(
        layers=layers,
        figures=np.array([float(word) for word in re.findall(number, drawn)]),
        skeleton=re.sub(r"[\s,#]+", " ", re.sub(number, " # ", drawn)),
    )


# --- Running jobs


def compose(job: Path, folder: Path) -> tuple[int, str]:
    done = CliRunner().invoke(main, ["compose", str(job), "-o", str(folder)])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done.exit_code, done.stderr


def spawned(job: str, folder: Path, **environment: str) -> dict[str, bytes]:
    """Return the files of a job composed by a new process, in a new folder."""
    for file in JOBS.glob(f"{job}.*"):
        shutil.copy(file, folder / file.name)
    done = subprocess.run(
        [*PROGRAM, "compose", f"{job}.toml", "-o", "out"],
        cwd=folder,
        env=os.environ | environment,
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr
    return {path.name: path.read_bytes() for path in sorted((folder / "out").iterdir())}


@pytest.fixture(scope="session")
def gallery(tmp_path_factory: pytest.TempPathFactory) -> Callable[[Path], Path]:
    """Compose a gallery job once, for other workers of the same run too; return the folder it was written to."""
    own = tmp_path_factory.mktemp("gallery")
    shared = own.parents[1] / "gallery" if "PYTEST_XDIST_WORKER" in os.environ else own / "made"
    shared.mkdir(exist_ok=True)

    def composed(job: Path) -> Path:
        made = shared / job.stem
        if not made.exists():
            code, said = compose(job, own / job.stem)
            assert code == 0, said
            # Two workers may have made the same at once: then the first to get here is kept.
            with suppress(OSError):
                (own / job.stem).rename(made)
        return made

    return composed


# --- The same job gives the same drawing


@pytest.fixture(scope="session", params=["tray", "shelf"])
def first_run(request, tmp_path_factory: pytest.TempPathFactory) -> tuple[str, dict[str, bytes]]:
    """Whole copies, a ring and lining in one; inches and trimming in the other."""
    return request.param, spawned(request.param, tmp_path_factory.mktemp("first"), PYTHONHASHSEED="0")


def test_the_same_job_gives_the_same_bytes_in_another_folder_and_process(first_run, tmp_path):
    job, files = first_run

    again = spawned(job, tmp_path, PYTHONHASHSEED="4242")

    assert list(again) == list(files)
    for name, data in files.items():
        assert again[name] == data, name


def test_the_same_job_gives_the_same_bytes_twice_in_one_process(first_run, tmp_path):
    job, files = first_run
    for file in JOBS.glob(f"{job}.*"):
        shutil.copy(file, tmp_path / file.name)

    for number in (1, 2):
        code, said = compose(tmp_path / f"{job}.toml", tmp_path / f"run {number}")

        assert code == 0, said
        written = {path.name: path.read_bytes() for path in sorted((tmp_path / f"run {number}").iterdir())}
        assert written == files


def test_a_lesser_processor_gives_the_same_drawing_to_a_thousandth(first_run, tmp_path):
    from numpy._core._multiarray_umath import __cpu_dispatch__, __cpu_features__

    found = [name for name in __cpu_dispatch__ if __cpu_features__[name]]
    if not found:
        pytest.skip("numpy finds nothing here beyond its baseline, so there is nothing to switch off")
    job, files = first_run
    usual = read(files["drawing.svg"])

    lesser = read(spawned(job, tmp_path, NPY_DISABLE_CPU_FEATURES=" ".join(found))["drawing.svg"])

    assert lesser.skeleton == usual.skeleton
    assert {key: len(paths) for key, paths in lesser.layers.items()} == {
        key: len(paths) for key, paths in usual.layers.items()
    }
    # One unit of the last decimal; the sixth is the rounding of decimal figures as doubles.
    assert np.abs(lesser.figures - usual.figures).max() <= 0.001 + 1e-6


# --- Nothing is burned nearer to a cut than asked


def length_mm(value: object, unit: str) -> float:
    """Read a length of a job file, by a reader of this test's own."""
    words = str(value).split()
    if words[-1] in ("mm", "in"):
        unit = words.pop()
    return float(sum(Fraction(word) for word in words)) * {"mm": 1.0, "in": 25.4}[unit]


def asked_mm(job: Mapping[str, Any], cut: str) -> float:
    unit, keep_off = job.get("unit", "mm"), job["panel"].get("keep_off", {})
    if cut == "rim":
        return length_mm(keep_off.get("rim", "5 mm"), unit)
    return length_mm(keep_off.get("named", {}).get(cut, keep_off.get("cutouts", "3 mm")), unit)


def burned(drawing: Written) -> list[Drawn]:
    return [*drawing.layers.get("engrave", []), *drawing.layers.get("score", [])]


def assert_clear_of_cuts(drawing: Written, job: Mapping[str, Any]) -> None:
    paths = burned(drawing)
    lines = np.array([path.lines() for path in paths])
    starts = shapely.points(np.array([loop[0] for path in paths for loop in path.loops]))
    for cut in drawing.layers["cut"]:
        edge = cut.lines()
        shapely.prepare(edge)
        distance = shapely.distance(lines, edge)
        worst = int(np.argmin(distance))
        assert distance[worst] >= asked_mm(job, cut.part) - _SLACK_MM, (
            f"{paths[worst].part} comes within {distance[worst]:.4f} mm of {cut.part}"
        )
        # Nothing crosses the line, so one point of each loop says on which side it lies.
        area = shapely.polygons(cut.loops[0])
        shapely.prepare(area)
        assert (shapely.contains(area, starts) == (cut.part == "rim")).all(), f"burned on the wrong side of {cut.part}"


def asked_gaps(svg: bytes) -> dict[str, float]:
    return json.loads(etree.fromstring(svg).findtext("{*}metadata"))["gap_mm"]


def smallest_gap(paths: list[Drawn]) -> float:
    """Return the smallest distance between the edges of two copies."""
    areas = np.array([shapely.polygons(path.loops[0]) for path in paths])
    lines = np.array([path.lines() for path in paths])
    one, other = shapely.STRtree(areas).query(areas, predicate="dwithin", distance=5.0)
    one, other = one[one < other], other[one < other]
    if not len(one):
        return math.inf
    apart = shapely.distance(lines[one], lines[other])
    return float(apart.min())


@pytest.mark.parametrize("path", GALLERY, ids=lambda path: path.stem)
def test_gallery_jobs_keep_clear_of_every_cut(path, gallery):
    drawing = read((gallery(path) / "drawing.svg").read_bytes())

    assert burned(drawing), "a gallery job burns something"
    assert_clear_of_cuts(drawing, tomllib.loads(path.read_text()))


@pytest.mark.parametrize("path", GALLERY, ids=lambda path: path.stem)
def test_gallery_jobs_leave_every_gap_or_say_where_they_do_not(path, gallery):
    svg = (gallery(path) / "drawing.svg").read_bytes()
    drawing = read(svg)
    findings = json.loads((gallery(path) / "ticket.json").read_bytes())["findings"]
    confessed = {finding["ornament"] for finding in findings if finding["code"] == "narrow-gap"}

    for name, asked in asked_gaps(svg).items():
        if name not in confessed:
            assert smallest_gap([item for item in burned(drawing) if item.part == name]) >= asked - _SLACK_MM, name


@pytest.mark.parametrize("path", GALLERY, ids=lambda path: path.stem)
def test_gallery_jobs_come_with_every_ornament_they_ask_for(path, gallery):
    svg = (gallery(path) / "drawing.svg").read_bytes()
    job = tomllib.loads(path.read_text())

    assert {item["name"] for item in job["ornament"]} == {item.part for item in burned(read(svg))}


# --- The same in panels nobody has seen before


@st.composite
def panels(draw: st.DrawFn) -> tuple[str, list[tuple[float, float]]]:
    """Return the lines of a rim, and places of a grid where cutouts of up to 12 mm fit inside it."""
    kind = draw(st.sampled_from(["sharp", "rounded", "round", "L"]))
    if kind == "round":
        diameter = draw(st.integers(600, 900)) / 10
        r = diameter / 2
        return (
            f"circle = [{r}, {r}]\ndiameter = {diameter}",
            [(r - 14, r), (r + 14, r), (r, r - 14)],
        )
    width, height = (draw(st.integers(low, low + 300)) / 10 for low in (700, 600))
    spots = [(18.0, 18.0), (18.0, height - 18.0), (18.0, height / 2)]
    if kind == "L":
        arm, foot = 36.0, 36.0
        corners = [[0, 0], [width, 0], [width, foot], [arm, foot], [arm, height], [0, height]]
        radius = draw(st.sampled_from([0.0, 2.0]))
        return f"polygon = {corners}\ncorner_radius = {radius}", [spots[0], spots[1], (width - 18.0, 18.0)]
    radius = 0.0 if kind == "sharp" else draw(st.integers(5, 200)) / 10
    return f"size = [{width}, {height}]\ncorner_radius = {radius}", [*spots[:2], (width - 20.0, height / 2)]


@st.composite
def jobs(draw: st.DrawFn) -> str:
    rim, spots = draw(panels())
    cutouts = ""
    for number, (x, y) in enumerate(draw(st.permutations(spots))[: draw(st.integers(0, 3))]):
        size = draw(st.integers(30, 110)) / 10
        shape = draw(st.sampled_from(["circle", "slot", "diamond"]))
        half = size / 2
        words = {
            "circle": f"circle = [{x}, {y}]\ndiameter = {size}",
            "slot": f"slot = [{x - half}, {y - 1.5}, {size}, 3]",
            "diamond": f"polygon = [[{x}, {y - half}], [{x + half}, {y}], [{x}, {y + half}], [{x - half}, {y}]]",
        }[shape]
        cutouts += f'[[panel.cutout]]\nname = "hole {number}"\n{words}\n'
    off_rim, off_cutouts = (draw(st.integers(0, 50)) / 10 for _ in range(2))
    corner = draw(st.sampled_from(["block", "mitre", "turned", "butt"]))
    strip = draw(st.sampled_from(["p1", "p11g", "p2", "p1m1"]))
    group = draw(st.sampled_from(["p1", "p2", "pg", "p2gg", "p3", "p6"]))
    edge = draw(st.sampled_from(["whole", "trimmed"]))
    burn = draw(st.sampled_from(["filled", "contour", "lined"]))
    ring = (
        '[[ornament]]\nborder = "cutouts"\nmotif = "kite"\nheight = 4\nstrip = "p1"\n'
        if cutouts and draw(st.booleans())
        else ""
    )
    return (
        f"[panel]\n{rim}\nkeep_off = {{ rim = {off_rim}, cutouts = {off_cutouts} }}\n{cutouts}"
        f'[motif.kite]\npicture = "kite.svg"\n'
        f'[[ornament]]\nname = "edge"\nborder = "rim"\nmotif = "kite"\nheight = {draw(st.integers(40, 90)) / 10}\n'
        f'gap = 0.8\nstrip = "{strip}"\ncorner = "{corner}"\nburn = "filled"\n'
        f"{ring}"
        f'[[ornament]]\nname = "ground"\nfield = "rest"\nmotif = "kite"\nheight = {draw(st.integers(50, 120)) / 10}\n'
        f'gap = 0.8\ngroup = "{group}"\nedge = "{edge}"\nburn = "{burn}"\n'
    )


# A leaf of two curves and a straight foot, with nothing symmetric about it.
KITE = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="30mm" height="40mm" viewBox="0 0 30 40">'
    '<path d="M12 0C26 6 30 20 18 40L12 40C10 30 -4 18 12 0Z"/></svg>'
)


# An upright mark whose box lies further from a cut than the mark, by a rounding: the checker once found no nearest.
UPRIGHT_MARK = """
[panel]
polygon = [[0, 0], [70.4, 0], [70.4, 36.0], [36.0, 36.0], [36.0, 70.1], [0, 70.1]]
keep_off = { rim = 2.1, cutouts = 2.3 }
[[panel.cutout]]
name = "hole 0"
circle = [18.0, 18.0]
diameter = 3.0
[[panel.cutout]]
name = "hole 1"
slot = [13.1, 50.599999999999994, 9.8, 3]
[[panel.cutout]]
name = "hole 2"
circle = [52.400000000000006, 18.0]
diameter = 3.0
[motif.kite]
picture = "kite.svg"
[[ornament]]
name = "edge"
border = "rim"
motif = "kite"
height = 7.5
gap = 0.8
strip = "p1m1"
corner = "turned"
[[ornament]]
name = "ground"
field = "rest"
motif = "kite"
height = 5.0
gap = 0.8
group = "p1"
"""


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(text=jobs())
@example(text=UPRIGHT_MARK)
def test_no_panel_gets_a_burn_nearer_to_its_cuts_than_asked(text, tmp_path_factory):
    home = tmp_path_factory.mktemp("panel")
    (home / "kite.svg").write_text(KITE)
    (home / "job.toml").write_text(text)

    code, said = compose(home / "job.toml", home / "out")

    assert code == 0, said
    drawing = read((home / "out" / "drawing.svg").read_bytes())
    assert_clear_of_cuts(drawing, tomllib.loads(text))


# --- What the trade knows (common practice, no source)


@pytest.mark.parametrize("path", GALLERY, ids=lambda path: path.stem)
def test_layers_run_engrave_score_cut_and_the_rim_last(path, gallery):
    drawing = read((gallery(path) / "drawing.svg").read_bytes())

    order = ["engrave", "score", "cut"]
    assert list(drawing.layers) == [name for name in order if name in drawing.layers]
    assert drawing.layers["cut"][-1].part == "rim"
    assert [item.part for item in drawing.layers["cut"]].count("rim") == 1
    for item in [*drawing.layers.get("engrave", []), *drawing.layers["cut"]]:
        assert all(item.closed)


@pytest.fixture(scope="session")
def door_layers(gallery) -> dict[str, dict[str, float]]:
    table = json.loads((gallery(ROOT / "gallery" / "herb-door.toml") / "ticket.json").read_bytes())
    return {layer["operation"]: layer for layer in table["layers"]}


def test_the_6_mm_cut_takes_longer_than_the_scored_contours(door_layers):
    job = tomllib.loads((ROOT / "gallery" / "herb-door.toml").read_text())
    assert job["panel"]["thickness"] >= 6.0
    assert {item["burn"] for item in job["ornament"] if "border" in item} == {"contour"}

    cut, score = (door_layers[name] for name in ("cut", "score"))

    assert cut["seconds"] > score["seconds"]
    assert cut["burning_s"] / cut["metres"] > 2.0 * score["burning_s"] / score["metres"]


def test_a_slow_cut_takes_about_its_length_over_its_speed(door_layers):
    # 20 mm/s at 3 mm and 8 mm/s at 6 mm of plywood, a straight line in logarithms between.
    job = tomllib.loads((ROOT / "gallery" / "herb-door.toml").read_text())
    speed = 20.0 * (job["panel"]["thickness"] / 3.0) ** (math.log(8.0 / 20.0) / math.log(2.0))

    cut = door_layers["cut"]

    assert cut["seconds"] == pytest.approx(1000.0 * cut["metres"] / speed, rel=0.10)


def test_fast_scoring_of_curves_takes_far_longer_than_its_length_over_its_speed(door_layers):
    score = door_layers["score"]

    assert score["burning_s"] > 1.5 * 1000.0 * score["metres"] / 100.0


def test_the_metres_on_the_ticket_are_those_of_the_written_lines(door_layers, gallery):
    drawing = read((gallery(ROOT / "gallery" / "herb-door.toml") / "drawing.svg").read_bytes())

    for name in ("score", "cut"):
        metres = sum(
            math.hypot(*(b - a)) for item in drawing.layers[name] for loop in item.loops for a, b in pairwise(loop)
        )
        assert door_layers[name]["metres"] == pytest.approx(metres / 1000.0, rel=0.002)
