import runpy
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from friezewright.pattern.pitch import best_pitch, glide_pitch, is_clear, own_pitches, widest_slot
from friezewright.pattern.rows import Rows

ORACLE = runpy.run_path(str(Path(__file__).parents[1] / "data" / "clasp_oracle.py"))


def rows_of(*rows):
    count = np.array([len(runs) for runs in rows])
    ends = np.full((len(rows), max(1, count.max()), 2), np.inf)
    for i, runs in enumerate(rows):
        ends[i, : len(runs)] = np.reshape(runs, (-1, 2))
    return Rows(ends, count)


def random_case(rng):
    runs = np.sort(rng.uniform(-20, 20, 2 * rng.integers(1, 6))).reshape(-1, 2)
    ends = np.sort(rng.uniform(0.5, 14, 2 * rng.integers(1, 3) - 1))
    beyond = ends[1:].reshape(-1, 2)
    return runs, np.concatenate([-beyond[::-1, ::-1], [[-ends[0], ends[0]]], beyond])


def own_clear(own, pitches):
    """Return which pitches leave the own runs alone, every wrap looked at."""
    k = np.arange(1, 60)[:, None, None]
    at = k * pitches[None, :, None]
    return ~np.any((at > own[:, 0] + 1e-7) & (at < own[:, 1] - 1e-7), axis=(0, 2))


def scan(runs, own, pitches, steps=1500):
    """Return which pitches have a free place among even ones."""
    clear = own_clear(own, pitches)
    for i in np.flatnonzero(clear):
        place = np.arange(steps) * (pitches[i] / steps)
        beyond = (place[:, None] - runs[:, 0] - 1e-6) % pitches[i]
        clear[i] = not np.any(runs[:, 1] - runs[:, 0] > pitches[i]) and not np.all(
            np.any(beyond < runs[:, 1] - runs[:, 0] - 2e-6, axis=1)
        )
    return clear


def glide_clear(runs, own, pitches):
    odd = np.arange(-119, 121, 2)[:, None, None]
    at = 0.5 * odd * pitches[None, :, None]
    return own_clear(own, pitches) & ~np.any((at > runs[:, 0] + 1e-7) & (at < runs[:, 1] - 1e-7), axis=(0, 2))


def test_one_run_is_as_long_as_the_pitch():
    pitch, offset = best_pitch(rows_of([(-3.0, 4.0)]), own_pitches(np.array([[-2.0, 2.0]])))
    assert pitch[0] == 7.0
    # The other copy touches on both sides.
    assert offset[0] == 4.0


def test_play_is_shared_evenly():
    pitch, offset = best_pitch(rows_of([(-1.0, 1.0)]), own_pitches(np.array([[-5.0, 5.0]])))
    assert pitch[0] == 5.0
    assert offset[0] == 2.5


def test_rows_that_never_meet_are_left_to_the_own_copies():
    pitch, _ = best_pitch(rows_of([]), own_pitches(np.array([[-5.0, 5.0]])))
    assert pitch[0] == 5.0


def test_a_copy_may_lie_in_the_bay_of_its_neighbour():
    # Own runs leave 3 to 4 free: the copies hook, and twice the pitch must clear the run beyond as well.
    own = own_pitches(np.array([[-6.5, -4.0], [-3.0, 3.0], [4.0, 6.5]]))
    np.testing.assert_array_equal(own.barred, [[0.0, 3.25], [4.0, 6.5]])
    assert own.least_mm == 3.25
    assert own.side_by_side_mm == 6.5
    np.testing.assert_array_equal(own.at_least(np.array([1.0, 3.5, 4.0, 5.0, 9.0])), [3.25, 3.5, 4.0, 6.5, 9.0])


def test_a_contact_is_a_place():
    # Wrapped round 4 the runs leave exactly the point 1.
    pitch, offset = best_pitch(rows_of([(-3.0, -2.0), (1.0, 4.0)]), own_pitches(np.array([[-1.0, 1.0]])))
    assert pitch[0] == 4.0 or pitch[0] < 4.0
    assert ORACLE["pitch_is_clear"](pitch[0], [(-3.0, -2.0), (1.0, 4.0)], [(-1.0, 1.0)])
    assert pitch[0] == pytest.approx(ORACLE["pitch_by_trial"]([(-3.0, -2.0), (1.0, 4.0)], [(-1.0, 1.0)]), abs=1e-9)
    assert is_clear(pitch, np.array([[(-3.0, -2.0), (1.0, 4.0)]]), offset)[0]


def test_wraps_are_not_capped():
    # Far apart runs meet after some fifty short pitches.
    runs = np.array([[0.0, 0.15], [10.1, 10.25]])
    own = np.array([[-0.2, 0.2]])
    pitch, _ = best_pitch(rows_of(runs), own_pitches(own))
    assert pitch[0] == pytest.approx(ORACLE["pitch_by_trial"](runs, own), abs=1e-9)
    assert 0.2 < pitch[0] < 0.21


def test_random_runs_against_a_scan_of_all_pitches():
    rng = np.random.default_rng(3)
    for _ in range(150):
        runs, own = random_case(rng)
        allowed = own_pitches(own)
        pitch, offset = best_pitch(rows_of(runs), allowed)
        assert not scan(runs, own, np.arange(0.4, pitch[0] - 0.02, 0.05)).any()
        assert own_clear(own, pitch)[0]
        assert is_clear(pitch, runs[None], offset)[0]
        k = np.arange(-120, 121)[:, None] * pitch[0]
        assert not np.any((offset[0] + k > runs[:, 0] + 1e-7) & (offset[0] + k < runs[:, 1] - 1e-7))
        glide = glide_pitch(rows_of(runs), allowed)
        assert glide_clear(runs, own, glide)[0]
        assert not glide_clear(runs, own, np.arange(0.4, glide[0] - 1e-3, 0.02)).any()


def test_random_runs_against_trying_every_meeting_of_ends():
    rng = np.random.default_rng(8)
    cases = [random_case(rng) for _ in range(60)]
    for runs, own in cases:
        pitch, _ = best_pitch(rows_of(runs), own_pitches(own))
        assert pitch[0] == pytest.approx(ORACLE["pitch_by_trial"](runs.tolist(), own.tolist()), abs=1e-6)


def test_many_rows_at_once():
    rng = np.random.default_rng(5)
    own = random_case(rng)[1]
    rows = [random_case(rng)[0] for _ in range(40)]
    together = best_pitch(rows_of(*rows), own_pitches(own))
    glides = glide_pitch(rows_of(*rows), own_pitches(own))
    for i, runs in enumerate(rows):
        alone = best_pitch(rows_of(runs), own_pitches(own))
        assert (alone[0][0], alone[1][0]) == (together[0][i], together[1][i])
        assert glide_pitch(rows_of(runs), own_pitches(own))[0] == glides[i]


@settings(max_examples=60, deadline=None)
@given(
    ends=st.lists(st.integers(-40, 40), min_size=2, max_size=8, unique=True).filter(lambda ends: len(ends) % 2 == 0),
    least=st.integers(1, 12),
)
def test_whole_numbers_make_contacts_everywhere(ends, least):
    runs = np.sort(np.array(ends, dtype=float)).reshape(-1, 2)
    own = np.array([[-float(least), float(least)]])
    pitch, offset = best_pitch(rows_of(runs), own_pitches(own))
    assert pitch[0] == pytest.approx(ORACLE["pitch_by_trial"](runs.tolist(), own.tolist()), abs=1e-9)
    width, middle = widest_slot(pitch, runs[None])
    assert width[0] >= -1e-8
    assert is_clear(pitch, runs[None], middle)[0]
    assert is_clear(pitch, runs[None], offset)[0]


def test_slots_of_rows_of_different_length():
    ends = rows_of([(0.0, 1.0), (2.0, 3.0)], [], [(0.0, 9.0)]).ends
    width, middle = widest_slot(np.array([5.0, 5.0, 5.0]), ends)
    np.testing.assert_array_equal(width, [2.0, 5.0, -4.0])
    assert middle[0] == 4.0
