"""Machine profiles: typical figures, reading and writing, and one clear line for what cannot be."""

import math
from dataclasses import fields, replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from friezewright.errors import InputError, MachineError
from friezewright.machine import CornerRule, Kind, Machine, from_toml, to_toml, typical


def test_typical_figures_are_those_of_the_trade():
    # Common practice, no source: small moving-head machines, 3 mm plywood.
    machine = typical()
    assert not machine.calibrated
    assert (machine.score_speed_mm_s, machine.cut_speed_mm_s) == (100.0, 20.0)
    assert (machine.engrave_speed_mm_s, machine.travel_speed_mm_s) == (300.0, 300.0)
    assert (machine.acceleration_mm_s2, machine.engrave_acceleration_mm_s2) == (1500.0, 3000.0)
    assert (machine.start_delay_s, machine.line_turn_s, machine.job_start_s) == (0.03, 0.03, 3.0)
    assert (machine.corner_slack_mm, machine.corner_rule) == (0.03, CornerRule.ANGLE_AND_RADIUS)
    assert (machine.line_spacing_mm, machine.spot_mm, machine.kerf_mm) == (0.1, 0.15, 0.2)
    assert machine.burns_both_ways
    assert not machine.crosses_gaps_fast
    assert (machine.range_below, machine.range_above) == (0.25, 0.40)


def test_layers_are_told_apart_by_colours_the_colour_blind_can():
    # Okabe & Ito 2008: black 0 0 0, orange 230 159 0, reddish purple 204 121 167.
    machine = typical()
    rgb = {
        name: tuple(bytes.fromhex(machine.colour_of(name).removeprefix("#"))) for name in ("engrave", "score", "cut")
    }
    assert rgb == {"engrave": (0, 0, 0), "score": (204, 121, 167), "cut": (230, 159, 0)}


@pytest.mark.parametrize(("thickness", "speed"), [(3.0, 20.0), (6.0, 8.0), (0.3, 60.0), (100.0, 1.0)])
def test_thicker_sheets_are_cut_slower(thickness, speed):
    assert typical(thickness_mm=thickness).cut_speed_mm_s == pytest.approx(speed)


@pytest.mark.parametrize("thickness", [0.0, -3.0, math.nan])
def test_a_sheet_without_thickness_is_refused(thickness):
    with pytest.raises(MachineError, match="caliper"):
        typical(thickness_mm=thickness)


def test_operations_find_their_figures():
    machine = replace(typical(), cut_stroke_mm=0.01)
    assert [machine.speed_mm_s_of(name) for name in ("engrave", "score", "cut")] == [300.0, 100.0, 20.0]
    assert [machine.stroke_mm_of(name) for name in ("engrave", "score", "cut")] == [0.1, 0.1, 0.01]


positive = st.floats(0.5, 9.0)
profiles = st.builds(
    Machine,
    name=st.text(st.characters(categories=("L", "N", "P", "S")), min_size=1, max_size=12),
    kind=st.sampled_from(Kind),
    calibrated=st.booleans(),
    score_speed_mm_s=st.floats(0.1, 20000.0),
    acceleration_mm_s2=st.floats(1.0, 1e6),
    start_delay_s=st.floats(0.0, 60.0),
    corner_rule=st.sampled_from(CornerRule),
    corner_slack_mm=positive,
    burns_both_ways=st.booleans(),
    crosses_gaps_fast=st.booleans(),
    bed_mm=st.none() | st.tuples(st.floats(1.0, 20000.0), st.floats(1.0, 20000.0)),
    cut_colour=st.integers(1, 0xCC79A6).map(lambda n: f"#{n:06x}"),
)


@given(machine=profiles)
def test_what_is_written_is_read_back(machine):
    assert from_toml(to_toml(machine), name="shop.toml") == machine


def test_a_profile_may_leave_figures_out():
    assert from_toml(b"", name="shop.toml") == typical()
    assert from_toml(b"kerf_mm = 1\n", name="shop.toml") == replace(typical(), kerf_mm=1.0)
    assert from_toml(b'\xef\xbb\xbfcut_colour = "#0072B2"', name="shop.toml").cut_colour == "#0072b2"


def test_a_profile_that_nobody_measured_says_so():
    assert b"verify on your machine" in to_toml(typical())
    assert b"verify" not in to_toml(replace(typical(), calibrated=True))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("kerf_mm = -1", "shop.toml, line 1: kerf_mm = -1 is impossible; give 0 to 10 mm"),
        ("\n# note\nkerf_mm = nan", "shop.toml, line 3: kerf_mm = nan is impossible; give 0 to 10 mm"),
        ("score_speed_mm_s = inf", "shop.toml, line 1: score_speed_mm_s = inf is impossible; give 0.1 to 20000 mm/s"),
        (
            'score_speed_mm_s = "100 mm/s"',
            "shop.toml, line 1: score_speed_mm_s = '100 mm/s' is not a number; write it in mm and seconds, "
            "without a unit",
        ),
        (
            "spot_mm = true",
            "shop.toml, line 1: spot_mm = True is not a number; write it in mm and seconds, without a unit",
        ),
        (
            'calibrated = "yes"',
            "shop.toml, line 1: calibrated = 'yes' is neither true nor false; write one of them, without quotes",
        ),
        (
            'kind = "robot"',
            "shop.toml, line 1: kind = 'robot' is not known; write one of moving-head, moving-sheet, steered-beam",
        ),
        (
            "kind = []",
            "shop.toml, line 1: kind = [] is not known; write one of moving-head, moving-sheet, steered-beam",
        ),
        ("name = 3", "shop.toml, line 1: name = 3 is not text; put it in quotes"),
        ('name = "a\\nb"', "shop.toml, line 1: name = 'a\\nb' cannot be shown; give it a printable name"),
        (
            "bed_mm = 600",
            "shop.toml, line 1: bed_mm = 600 is not two numbers; write width and height like [600, 400]",
        ),
        (
            "bed_mm = [600, 0]",
            "shop.toml, line 1: bed_mm = [600.0, 0.0] is impossible; give two sides of 1 to 20000 mm",
        ),
        ('cut_colour = "orange"', 'shop.toml, line 1: cut_colour = "orange" is not a colour; write it like "#cc79a7"'),
        (
            'cut_colour = "#CC79A7"',
            "shop.toml, line 1: cut_colour, score_colour and engrave_colour must differ; give three colours",
        ),
        (
            "[cut_speed]\nmm_s = 3",
            "shop.toml, line 1: cut_speed is not a figure of a machine; known are cut_speed_mm_s",
        ),
        ("range_below = 0.001", "shop.toml, line 1: range_below = 0.001 is impossible; give 0.02 to 0.9 as a share"),
        ("kerf_mm =", "shop.toml is not a TOML file: "),
    ],
)
def test_what_cannot_be_is_one_clear_line(text, message):
    with pytest.raises(MachineError) as caught:
        from_toml(text.encode(), name="shop.toml")
    assert str(caught.value).startswith(message)
    assert "\n" not in str(caught.value)
    assert caught.value.exit_code == InputError.exit_code == 2


def test_bytes_that_are_no_text_are_refused():
    with pytest.raises(MachineError, match="not a TOML file"):
        from_toml(b"\xff\xfe\x00", name="shop.toml")


def test_every_figure_is_refused_when_it_is_no_number():
    for field in fields(Machine):
        if field.type == "float":
            with pytest.raises(MachineError, match=field.name):
                replace(typical(), **{field.name: math.nan})
