"""Learning a machine from timed pieces: known machines are found again, and what is not known is said."""

from dataclasses import replace

import numpy as np
import pytest

from friezewright.errors import MachineError
from friezewright.layers.drawing import Operation
from friezewright.machine import from_toml, to_toml, typical
from friezewright.motion.calibrate import calibrate
from friezewright.motion.estimate import estimate
from friezewright.motion.pieces import piece_drawing, piece_time, pieces

# A made-up machine, unlike the typical one in every figure.
TRUTH = replace(
    typical(),
    speed_share=0.985,
    acceleration_mm_s2=1200.0,
    corner_slack_mm=0.04,
    start_delay_s=0.035,
    travel_speed_mm_s=220.0,
    engrave_acceleration_mm_s2=2600.0,
    line_turn_s=0.045,
    job_start_s=2.3,
)
CARD = {piece.key: piece for piece in pieces()}
EXACT = {key: piece_time(piece, TRUTH) for key, piece in CARD.items()}
FITTED = [key for key, piece in CARD.items() if not piece.spare]


@pytest.fixture(scope="module")
def found():
    return calibrate(EXACT, typical(), name="the laser in the back room")


def test_exact_times_give_the_machine_back():
    machine = calibrate(EXACT, typical(), stopwatch_s=0.01).machine
    for figure in ("speed_share", "acceleration_mm_s2", "corner_slack_mm", "start_delay_s", "travel_speed_mm_s"):
        assert getattr(machine, figure) == pytest.approx(getattr(TRUTH, figure), rel=1e-3)
    for figure in ("engrave_acceleration_mm_s2", "line_turn_s", "job_start_s"):
        assert getattr(machine, figure) == pytest.approx(getattr(TRUTH, figure), rel=1e-3)


def test_a_fitted_machine_is_calibrated_and_keeps_the_rest(found):
    assert found.machine.calibrated
    assert found.machine.name == "the laser in the back room"
    assert found.machine.score_speed_mm_s == typical().score_speed_mm_s
    assert 0.02 <= found.machine.range_below == found.machine.range_above < 0.05
    assert from_toml(to_toml(found.machine), name="shop.toml") == found.machine


def test_intervals_hold_the_truth_and_exact_times_leave_nothing_to_remark(found):
    for figure, (low, high) in found.intervals.items():
        assert low < getattr(TRUTH, figure) < high
    assert found.findings == ()
    assert max(abs(found.misses[key]) for key in FITTED if key != "A") < 0.01


def test_a_stopwatch_is_good_enough_for_other_jobs():
    # Half a second of error a piece: jobs of minutes come out within about a hundredth, and within the range promised.
    random = np.random.default_rng(7)
    jobs = [CARD[key] for key in ("B", "J", "K")]
    true = np.array([EXACT[piece.key] for piece in jobs])
    off, within = [], []
    for _ in range(5):
        times = {key: EXACT[key] + float(random.normal(0, 0.5)) for key in FITTED}
        machine = calibrate(times, typical()).machine
        share = np.array([piece_time(piece, machine) for piece in jobs]) / true - 1
        off.append(share)
        within.append(np.abs(share) <= machine.range_above)
    assert np.sqrt(np.mean(np.square(off))) < 0.02
    assert np.mean(within) >= 0.9


def test_what_no_piece_pins_stays_and_is_named():
    # Without a second speed, turning and speeding up while burning cannot be told apart; without D travel is a guess.
    some = calibrate({key: EXACT[key] for key in ("A", "C", "E")}, typical())
    assert some.machine.engrave_acceleration_mm_s2 == pytest.approx(typical().engrave_acceleration_mm_s2, rel=1e-3)
    unsure = {finding.message.split()[0] for finding in some.findings if finding.code == "figure-unsure"}
    assert {"engrave_acceleration_mm_s2", "line_turn_s"} <= unsure
    assert "acceleration_mm_s2" not in unsure
    assert some.machine.range_above > 0.1
    assert any(finding.code == "no-spare-piece" for finding in some.findings)


def test_a_spare_piece_that_misses_is_named():
    wrong = calibrate(EXACT | {"J": 0.91 * EXACT["J"]}, typical())
    assert [finding.code for finding in wrong.findings] == ["piece-misses"]
    assert "piece J" in wrong.findings[0].message
    assert wrong.misses["J"] == pytest.approx(1 / 0.91 - 1, abs=0.01)


@pytest.mark.parametrize(
    ("times", "message"),
    [
        ({"A": 2.0, "C": 100.0}, "2 timed pieces are too few for a fit; time at least 3 of A, C, D, E, F, G, H, I"),
        ({"B": 50.0, "J": 60.0, "K": 90.0}, "0 timed pieces are too few"),
        ({"Z": 2.0}, "Z is not a test piece; use A, B, C"),
        ({"A": 0.0}, "piece A = 0 is not a time in seconds"),
        ({"A": float("nan")}, "piece A = nan is not a time in seconds"),
    ],
)
def test_times_that_cannot_be_are_refused(times, message):
    with pytest.raises(MachineError) as caught:
        calibrate(times, typical())
    assert str(caught.value).startswith(message)


def test_pieces_fit_a_small_bed_and_ten_minutes():
    boxes = np.array([piece_drawing(piece, typical()).frame[2:] for piece in pieces()])
    assert boxes.max(axis=0) == pytest.approx([312.0, 110.0], abs=20)
    assert sum(piece_time(CARD[key], typical()) for key in FITTED) < 660


@pytest.mark.parametrize("piece", pieces(), ids=lambda piece: piece.key)
def test_a_piece_is_a_drawing_that_takes_as_long(piece):
    drawing = piece_drawing(piece, TRUTH)
    assert f"{piece.speed_mm_s:g} mm/s" in drawing.title
    speed = "engrave_speed_mm_s" if piece.operation is Operation.ENGRAVE else "score_speed_mm_s"
    whole = estimate(drawing, replace(TRUTH, **{speed: piece.speed_mm_s})).total_s
    # The estimate orders paths as a machine's program may; D is timed as drawn, from side to side.
    if piece.key == "D":
        assert whole < EXACT["D"]
    else:
        assert whole == pytest.approx(EXACT[piece.key], rel=0.03)
