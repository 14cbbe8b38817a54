"""Calibration through the command line: pieces out, times in, a profile that jobs and estimates take."""

import json
import re

import pytest
from click.testing import CliRunner

from friezewright.cli import main
from friezewright.machine import from_toml, typical
from friezewright.motion.pieces import piece_time, pieces


@pytest.fixture
def folder(tmp_path):
    done = CliRunner().invoke(main, ["calibrate", "sheet", "-o", str(tmp_path / "card")])
    assert done.exit_code == 0, done.output
    return tmp_path / "card"


def run(*arguments):
    return CliRunner().invoke(main, ["calibrate", "fit", *map(str, arguments)])


def test_the_sheet_holds_every_piece_and_the_cautions(folder):
    text = (folder / "times.toml").read_text()

    assert sorted(path.name for path in folder.glob("piece-*.svg")) == [f"piece-{p.key}.svg" for p in pieces()]
    assert re.findall(r"# ([A-K]) = 0.0", text) == [piece.key for piece in pieces()]
    for caution in ("approved scrap", "lowest power", "lid shut", "stay beside"):
        assert caution in text


def test_times_of_a_known_machine_give_its_figures_back(folder):
    slow = from_toml(b"acceleration_mm_s2 = 900.0\ntravel_speed_mm_s = 210.0\n", name="slow.toml")
    times = "".join(f"{piece.key} = {piece_time(piece, slow)!r}\n" for piece in pieces())
    (folder / "mine.toml").write_text(times)

    done = run(folder / "mine.toml", "-o", folder / "machine.toml", "--name", "the slow one", "--format", "json")

    assert done.exit_code == 0, done.output
    report = json.loads(done.stdout)
    fitted = from_toml((folder / "machine.toml").read_bytes(), name="machine.toml")
    assert fitted.name == report["machine"] == "the slow one"
    assert fitted.calibrated
    assert fitted.acceleration_mm_s2 == pytest.approx(900.0, rel=0.01)
    assert fitted.travel_speed_mm_s == pytest.approx(210.0, rel=0.01)
    low, high = report["intervals"]["acceleration_mm_s2"]
    assert low < 900.0 < high
    assert fitted.range_above < typical().range_above


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("A = 3.0\n", "too few"),
        ("A = 3.0\nZ = 4.0\n", "Z is not a test piece"),
        ("A = -1\nC = 100\nD = 60\n", "not a time"),
        ('A = "soon"\nC = 100\nD = 60\n', "'soon' is not a time"),
        ("A = nan\nC = 100\nD = 60\n", "not a time"),
        ("A = = 3\n", "cannot be read as a list of times"),
    ],
)
def test_bad_times_are_one_line_and_leave_no_profile(folder, text, words):
    (folder / "mine.toml").write_text(text)

    done = run(folder / "mine.toml", "-o", folder / "machine.toml")

    assert done.exit_code == 2
    assert words in done.stderr
    assert done.stderr.count("\n") == 1
    assert not (folder / "machine.toml").exists()
