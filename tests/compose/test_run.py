"""The one door to the whole program: what it reads, tells on the way, and hands out as bytes."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from friezewright.compose.run import ComposeOptions, compose_job
from friezewright.errors import Cancelled, InputError
from friezewright.findings import Severity

MOTIFS = Path(__file__).parents[2] / "motifs"
JOB = """\
title = "Two buds"
material = "basswood"
[panel]
size = [40, 30]
[motif.bud]
picture = "bud.png"
[[ornament]]
name = "left"
place = [12, 15]
motif = "bud"
height = 10
[[ornament]]
name = "right"
place = [28, 15]
motif = "bud"
height = 10
burn = "contour"
"""


def composed(text: str = JOB, *, read=lambda name: (MOTIFS / name).read_bytes(), progress=lambda _: None, **options):
    return compose_job(text.encode(), name="job.toml", read=read, options=ComposeOptions(**options), progress=progress)


def digest_of(text: str = JOB, **options) -> str:
    return json.loads(composed(text, **options).files["ticket.json"])["digest"]


def test_each_named_file_is_read_once_and_no_other():
    asked: list[str] = []

    def read(name: str) -> bytes:
        asked.append(name)
        return (MOTIFS / name).read_bytes()

    composed(read=read)

    assert asked == ["bud.png"]


def test_what_is_said_on_the_way_names_each_ornament_and_stage():
    said: list[str] = []

    composed(progress=said.append)

    assert said[0] == "reading the panel"
    assert said.index("fitting left") < said.index("fitting right") < said.index("laying the layers")
    assert said[-1] == "drawing the picture"


@pytest.mark.parametrize(
    "stage", ["reading the panel", "fitting right", "measuring the drawing", "drawing the picture"]
)
def test_whoever_listens_may_stop_it_at_any_stage(stage):
    def stop(words: str) -> None:
        if words == stage:
            raise Cancelled("stopped")

    with pytest.raises(Cancelled):
        composed(progress=stop)


def test_the_digest_follows_what_is_asked_not_how_it_is_typed():
    usual = digest_of()

    assert digest_of("# a remark\n" + JOB.replace(" = ", "  =  ")) == usual
    assert digest_of(JOB.replace("height = 10", 'height = "1 cm"')) == usual
    assert digest_of(JOB.replace("size = [40, 30]", "size = [40, 30.001]")) != usual
    assert digest_of(tolerance_mm=0.02) != usual
    # Another picture under the same name is another job.
    assert digest_of(read=lambda _: (MOTIFS / "leaf.png").read_bytes()) != usual


def test_files_handed_out_and_files_withheld_are_never_the_same():
    for options in ({}, {"layers": True}, {"ornament_only": True, "layers": True}):
        result = composed(**options)

        assert set(result.files).isdisjoint(result.withheld)
        assert set(result.files) | set(result.withheld) >= {"drawing.svg", "engrave.svg", "score.svg", "cut.svg"}
        assert not result.stopped


def test_a_run_over_the_time_asked_for_is_a_warning_with_both_times():
    late = composed(JOB + '[cost]\nrun_within = "5 s"\n')
    early = composed(JOB + '[cost]\nrun_within = "9 h"\n')

    (finding,) = [finding for finding in late.findings if finding.code == "over-time"]
    assert finding.severity is Severity.WARNING
    assert re.fullmatch(r"the run may take up to .*, over the 5 s asked for", finding.message)
    assert "drawing.svg" in late.files
    assert all(finding.code != "over-time" for finding in early.findings)


def test_the_price_is_the_range_of_time_at_the_rate():
    result = composed(JOB + '[cost]\nprice_per_minute = "60 EUR"\nsheet = "4 EUR"\n')
    table = json.loads(result.files["ticket.json"])

    low, high = table["time"]["low_s"], table["time"]["high_s"]
    # Sixty a minute is one a second.
    assert table["cost"]["machine time at 60.00 EUR a minute"] == f"{low:.2f} to {high:.2f} EUR"
    assert table["cost"]["sheet"] == "4.00 EUR"


def test_a_machines_own_profile_decides_speed_and_colour():
    slow = b'name = "old one"\ncut_speed_mm_s = 2\ncut_colour = "#ff0000"\n'

    def read(name: str) -> bytes:
        return slow if name == "mine.toml" else (MOTIFS / name).read_bytes()

    usual = composed()
    mine = composed(JOB + '[machine]\nprofile = "mine.toml"\n', read=read)

    seconds = [
        next(
            layer["burning_s"]
            for layer in json.loads(result.files["ticket.json"])["layers"]
            if layer["operation"] == "cut"
        )
        for result in (usual, mine)
    ]
    # 20 mm/s by default when the thickness is not known; straight sides of 40 and 30 mm hardly slow either down.
    assert seconds[1] == pytest.approx(140.0 / 2.0, rel=0.01)
    assert seconds[0] == pytest.approx(140.0 / 20.0, rel=0.05)
    assert b'stroke="#ff0000"' in mine.files["drawing.svg"]
    assert b"old one" in mine.files["ticket.html"]


def test_a_later_motif_keeps_its_distance_from_an_earlier_one():
    result = composed(JOB.replace("place = [28, 15]", "place = [17, 15]"))

    assert result.stopped
    assert [finding.ornament for finding in result.findings if finding.severity is Severity.STOP] == ["right"]


@pytest.mark.parametrize("tolerance_mm", [0.0, -1.0, 1.5, float("nan"), float("inf")])
def test_a_tolerance_that_means_nothing_is_refused(tolerance_mm):
    with pytest.raises(InputError, match=r"between 0\.0001 and 1 mm"):
        ComposeOptions(tolerance_mm=tolerance_mm)
