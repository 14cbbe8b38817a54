"""Times of paths: closed forms, other people's planners, a simulation in small steps, and what symmetry demands."""

import math

import numpy as np
import pytest
import ruckig
import toppra
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from friezewright.geometry import affine, cubic
from friezewright.geometry.artwork import Artwork, Placements
from friezewright.geometry.outline import circle
from friezewright.geometry.strokes import Strokes, concatenate_strokes, contour
from friezewright.machine import CornerRule
from friezewright.motion import vector
from friezewright.motion.vector import Limits, artwork_times, corner_speeds, move_times, node_speeds, path_times

BOTH, ANGLE, STOP = CornerRule.ANGLE_AND_RADIUS, CornerRule.ANGLE, CornerRule.STOP
LIMITS = Limits(speed_mm_s=100.0, acceleration_mm_s2=1000.0, corner_slack_mm=0.05)


def limits(speed, accel=1000.0, slack=0.05, rule=BOTH):
    return Limits(speed_mm_s=speed, acceleration_mm_s2=accel, corner_slack_mm=slack, corner_rule=rule)


def polyline(points):
    points = np.asarray(points, dtype=float)
    count = len(points) - 1
    return Strokes(cubic.line(points[:-1], points[1:]), np.ones(count, bool), [0, count], [False])


def curve(points):
    return Strokes(np.asarray(points, dtype=float)[None], [False], [0, 1], [False])


def seconds(strokes, bounds=LIMITS):
    return float(path_times(strokes, bounds).seconds.sum())


def square(side):
    return polyline([[0, 0], [side, 0], [side, side], [0, side], [0, 0]])


def ring(radius, corners):
    turn = np.linspace(0.0, 2.0 * np.pi, corners + 1)
    return polyline(radius * np.stack([np.cos(turn), np.sin(turn)], axis=1))


# --- closed forms (kinematics of steady acceleration; derived here) -------------------------------------------------


def test_a_long_line_speeds_up_cruises_and_slows_down():
    assert seconds(polyline([[0, 0], [300, 0]])) == pytest.approx(300 / 100 + 100 / 1000, rel=1e-12)


def test_a_short_line_never_reaches_its_speed():
    assert seconds(polyline([[0, 0], [6, 0]])) == pytest.approx(2 * math.sqrt(6 / 1000), rel=1e-12)


def test_a_square_with_slack_takes_its_corners_at_the_fillet_speed():
    half = math.sin(math.pi / 4)
    corner = math.sqrt(1000 * 0.05 * half / (1 - half))

    def side(entry, leave):
        ramp = (2 * 100 * 100 - entry * entry - leave * leave) / (2 * 1000)
        return (2 * 100 - entry - leave) / 1000 + (50 - ramp) / 100

    assert corner == pytest.approx(10.987, abs=5e-4)
    assert seconds(square(50)) == pytest.approx(2 * side(0, corner) + 2 * side(corner, corner), rel=1e-11)
    assert seconds(square(50)) == pytest.approx(2.337700, abs=5e-7)


@pytest.mark.parametrize("bounds", [limits(100, slack=0.0), limits(100, rule=STOP)])
def test_a_square_without_slack_stops_at_every_corner(bounds):
    assert seconds(square(50), bounds) == pytest.approx(4 * (50 / 100 + 100 / 1000), rel=1e-11)


def test_a_zigzag_is_the_sum_of_its_legs():
    points = np.stack([np.arange(41.0), 10.0 * (np.arange(41) % 2)], axis=1)
    leg = math.hypot(1, 10)
    inner = math.sqrt((1 - (-(1 - 100) / leg**2)) / 2)
    corner = min(
        math.sqrt(1000 * 0.05 * inner / (1 - inner)),
        math.sqrt(1000 * leg / (2 * math.sqrt((1 + 99 / 101) / (1 - 99 / 101)))),
    )

    def time(entry, leave):
        peak = min(100.0, math.sqrt((entry**2 + leave**2) / 2 + 1000 * leg))
        return (2 * peak - entry - leave) / 1000 + (leg - (2 * peak**2 - entry**2 - leave**2) / 2000) / peak

    assert seconds(polyline(points)) == pytest.approx(2 * time(0, corner) + 38 * time(corner, corner), rel=1e-11)
    assert seconds(polyline(points)) == pytest.approx(7.838765, abs=5e-7)


def test_a_circle_spends_its_acceleration_on_bending_and_speeding_up_together():
    # From rest, w = v² obeys dw/ds = 2 sqrt(a² - (w/R)²): w = a R sin(2 s / R), full after a quarter of pi R.
    radius, accel = 20.0, 1000.0
    top = math.sqrt(accel * radius)
    lemniscate = math.gamma(0.25) ** 2 / (2 * math.sqrt(2 * math.pi))
    exact = 2 * radius / 2 * lemniscate / top + 1.5 * math.pi * radius / top
    found = seconds(contour(circle((3, 4), radius)), limits(500, accel))
    assert found == pytest.approx(exact, rel=1e-3)


@pytest.mark.parametrize("corners", [64, 128, 256, 1024])
def test_a_finely_cut_circle_is_as_slow_as_the_circle(corners):
    # Speed and bending limited separately, as for straight chords: 2 pi R / v + v / a at v = sqrt(a R).
    exact = 2 * math.pi * 20 / math.sqrt(20000) + math.sqrt(20000) / 1000
    assert seconds(ring(20, corners), limits(500)) == pytest.approx(exact, rel=0.02)
    if corners > 64:
        # The rule by angle alone sets no limit here: why it is not the default.
        assert seconds(ring(20, corners), limits(500, rule=ANGLE)) < 0.75 * exact


def test_slow_cutting_takes_little_more_than_length_over_speed():
    # Common practice, no source: at cutting speeds the time is within 10 percent of length over speed.
    shapes = concatenate_strokes([square(50), contour(circle((0, 0), 10)), ring(6, 24), square(12)])
    times = path_times(shapes, limits(8, 1500, 0.03))
    plain = times.length_mm.sum() / 8
    assert plain < times.seconds.sum() < 1.1 * plain


def test_fast_scoring_of_small_shapes_does_not():
    times = path_times(square(2), limits(200, 1500, 0.03))
    assert times.seconds.sum() > 3 * times.length_mm.sum() / 200


# --- other people's planners ----------------------------------------------------------------------------------------


def _ruckig_time(length, entry, leave, speed, accel):
    question, answer = ruckig.InputParameter(1), ruckig.Trajectory(1)
    question.current_position, question.target_position = [0.0], [length]
    question.current_velocity, question.target_velocity = [entry], [leave]
    question.current_acceleration = question.target_acceleration = [0.0]
    question.max_velocity, question.max_acceleration, question.max_jerk = [speed], [accel], [math.inf]
    assert ruckig.Ruckig(1).calculate(question, answer) == ruckig.Result.Working
    return answer.duration


def test_straight_moves_agree_with_ruckig():
    # ruckig: Berscheid & Kroeger 2021, "Jerk-limited real-time trajectory generation with arbitrary target states".
    random = np.random.default_rng(11)
    length, speed, accel = 10 ** random.uniform(-1, 3, 2000), 10 ** random.uniform(1, 3, 2000), np.zeros(2000)
    accel = 10 ** random.uniform(2, 4, 2000)
    entry, leave = random.uniform(0, speed), random.uniform(0, speed)
    short = np.abs(entry**2 - leave**2) > 2 * accel * length
    entry[short] = leave[short] = 0.0
    ours = move_times(length, entry, leave, speed_mm_s=speed, acceleration_mm_s2=accel)
    theirs = [_ruckig_time(*row) for row in np.stack([length, entry, leave, speed, accel], axis=1).tolist()]
    assert not short.all()
    np.testing.assert_allclose(ours, theirs, rtol=1e-9)


class _CurvePath(toppra.interpolator.AbstractGeometricPath):
    """One cubic, as toppra wants its paths."""

    dof = 2
    waypoints = None
    duration = 1.0
    path_interval = np.array([0.0, 1.0])

    def __init__(self, points):
        self.points = points

    def __call__(self, t, order=0):
        return (cubic.evaluate, cubic.derivative, cubic.second_derivative)[order](self.points, t)


def _toppra_time(points, accel):
    turn = 2 * np.pi * np.arange(64) / 64
    facing = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    bound = np.full(64, accel * math.cos(math.pi / 64))
    speed = toppra.constraint.JointVelocityConstraint(np.array([[-1e4, 1e4]] * 2))
    force = toppra.constraint.SecondOrderConstraint(lambda *state: state[2], lambda *_: facing, lambda *_: bound, 2)
    grid = np.linspace(0, 1, 1501)
    solver = toppra.algorithm.TOPPRA([speed, force], _CurvePath(points), gridpoints=grid, solver_wrapper="seidel")
    return solver.compute_trajectory(0, 0).duration


def test_curves_agree_with_toppra():
    # toppra: Pham & Pham 2018, "A new approach to time-optimal path parameterization based on reachability analysis".
    # Its circle of accelerations is a 64-gon inside ours, which makes it about 0.1 percent slower.
    random = np.random.default_rng(1)
    curves = random.uniform(0, 60, (20, 4, 2))
    bounds = limits(1e4, 800)
    off = np.array([seconds(curve(points), bounds) / _toppra_time(points, 800) - 1 for points in curves])
    assert abs(off.mean()) < 0.0025
    assert np.abs(off).max() < 0.004


def _simulated(points, corner_squares, speed, accel, tick_s=2e-5):
    """Walk a polyline in ticks: speed up while every corner ahead can still be met by slowing down."""
    length = np.hypot(*np.diff(points, axis=0).T).tolist()
    ahead = [0.0, *corner_squares, 0.0]
    for i in range(len(length) - 1, -1, -1):
        ahead[i] = min(ahead[i], ahead[i + 1] + 2 * accel * length[i])
    ticks, now, leg, at = 0, 0.0, 0, 0.0
    while leg < len(length):
        after = min(now + accel * tick_s, speed)
        left = length[leg] - at - 0.5 * (now + after) * tick_s
        allowed = math.sqrt(max(ahead[leg + 1] + 2 * accel * max(left, 0.0), 0.0))
        if after > allowed:
            after = max(allowed, now - accel * tick_s, accel * tick_s / 2)
        at += 0.5 * (now + after) * tick_s
        now, ticks = after, ticks + 1
        while leg < len(length) and at >= length[leg]:
            at -= length[leg]
            leg += 1
    return ticks * tick_s


@pytest.mark.parametrize("name", ["square", "zigzag", "walk"])
def test_paths_agree_with_a_simulation_in_small_steps(name):
    points = {
        "square": np.array([[0, 0], [50, 0], [50, 50], [0, 50], [0, 0]], dtype=float),
        "zigzag": np.stack([np.arange(41.0), 10.0 * (np.arange(41) % 2)], axis=1),
        "walk": np.cumsum(np.random.default_rng(5).normal(0, 6, (120, 2)), axis=0),
    }[name]
    leg = np.diff(points, axis=0)
    length = np.hypot(*leg.T)
    unit = leg / length[:, None]
    squares = corner_speeds(unit[:-1], unit[1:], np.minimum(length[:-1], length[1:]), LIMITS)
    capped = np.minimum(squares, 1e4).tolist()
    assert seconds(polyline(points)) == pytest.approx(_simulated(points, capped, 100.0, 1000.0), rel=5e-4)


def test_no_feasible_profile_is_faster():
    # A linear program that maximises the sum of squared speeds under the same limits: HiGHS (Huangfu & Hall 2018).
    random = np.random.default_rng(2)
    for _ in range(5):
        length, cap = random.exponential(2.0, 60), random.uniform(0, 1e4, 61)
        step = np.diag(-np.ones(61))[:-1] + np.eye(61, k=1)[:-1]
        reach = 2 * 1000.0 * length
        best = linprog(
            -np.ones(61),
            A_ub=np.vstack([step, -step]),
            b_ub=np.concatenate([reach, reach]),
            bounds=[(0, c) for c in cap],
        )
        np.testing.assert_allclose(node_speeds(length, cap, 1000.0), best.x, rtol=0, atol=1e-6)


def _node_by_node(pieces, accel):
    """Plan a curve one piece after another, each solved by halving: slow, but nothing is repeated or damped."""
    square = pieces.cap.copy()

    def reached(start, end, piece, bend_start, bend_end):
        def excess(value):
            side = 0.5 * (bend_start * square[start] + bend_end * value)
            return value - square[start] - 2 * pieces.length[piece] * math.sqrt(max(accel**2 - side**2, 0.0))

        low, high = 0.0, square[end]
        if excess(high) <= 0:
            return high
        for _ in range(60):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if excess(middle) <= 0 else (low, middle)
        return low

    for i in range(len(pieces.length)):
        square[i + 1] = reached(i, i + 1, i, *pieces.bend[i])
    for i in reversed(range(len(pieces.length))):
        square[i] = reached(i + 1, i, i, *pieces.bend[i, ::-1])
    speed = np.sqrt(square)
    return float(np.sum(2 * pieces.length / (speed[:-1] + speed[1:])))


def test_repeated_passes_end_where_planning_node_by_node_does():
    bounds = limits(200.0, 800.0)
    curves = np.random.default_rng(4).uniform(0, 60, (20, 4, 2))
    slow = [_node_by_node(vector._pieces(curve(points), bounds), 800.0) for points in curves]
    off = np.array([seconds(curve(points), bounds) for points in curves]) / slow - 1
    assert abs(off.mean()) < 1e-4
    assert np.abs(off).max() < 4e-4


# --- what symmetry and sense demand ---------------------------------------------------------------------------------

coordinate = st.integers(-400, 400).map(lambda n: n / 8)
corners = st.lists(st.tuples(coordinate, coordinate), min_size=3, max_size=9).filter(lambda p: len(set(p)) > 1)


def _mixed(points):
    """Return a chain of lines and curves through the points, bulging to one side.

    The bulge is an odd number, so that no curve lies just between two counts of pieces.
    """
    points = np.asarray(points, dtype=float)
    chain = cubic.line(points[:-1], points[1:])
    bulge = np.diff(points, axis=0)[:, ::-1] * np.array([-1.0, 1.0]) / np.pi
    is_line = np.arange(len(chain)) % 2 == 0
    chain[~is_line, 1] += bulge[~is_line]
    chain[~is_line, 2] += bulge[~is_line] / np.e
    return Strokes(chain, is_line, [0, len(chain)], [False])


@given(points=corners)
def test_a_path_run_backwards_takes_as_long(points):
    there = _mixed(points)
    back = Strokes(there.segments[::-1, ::-1], there.is_line[::-1], there.path_start, there.closed)
    assert seconds(back) == pytest.approx(seconds(there), rel=1e-9)


@given(points=corners, turn=st.floats(-3.0, 3.0), mirrors=st.booleans())
def test_turning_and_mirroring_change_nothing(points, turn, mirrors):
    there = _mixed(points)
    move = affine.compose(affine.rotation(turn), affine.mirror_x() if mirrors else affine.translation((7.0, -3.0)))
    assert seconds(there.transformed(move)) == pytest.approx(seconds(there), rel=1e-9)


@given(points=corners, parts=st.integers(2, 5))
def test_points_added_on_straight_lines_change_nothing(points, parts):
    points = np.asarray(points, dtype=float)
    share = np.arange(parts)[None, :, None] / parts
    finer = points[:-1, None] * (1 - share) + points[1:, None] * share
    finer = np.concatenate([finer.reshape(-1, 2), points[-1:]])
    for rule in CornerRule:
        bounds = limits(100, rule=rule)
        assert seconds(polyline(finer), bounds) == pytest.approx(seconds(polyline(points), bounds), rel=1e-9)


@given(points=corners)
def test_all_lengths_three_times_as_large_take_as_long(points):
    there = _mixed(points)
    larger = seconds(polyline(3 * np.asarray(points, dtype=float)), limits(300, 3000, 0.15))
    assert larger == pytest.approx(seconds(polyline(points)), rel=1e-9)
    # Curves are cut by an absolute tolerance, so only nearly.
    assert seconds(there.transformed(affine.scaling(3.0)), limits(300, 3000, 0.15)) == pytest.approx(
        seconds(there), rel=5e-3
    )


@given(points=corners)
def test_a_film_run_at_double_speed_takes_half_the_time(points):
    there = _mixed(points)
    assert seconds(there, limits(200, 4000)) == pytest.approx(seconds(there) / 2, rel=1e-9)


@given(points=corners)
def test_a_better_machine_is_never_slower(points):
    there = polyline(points)
    slowest = seconds(there)
    for better in (limits(130), limits(100, 1300), limits(100, slack=0.08), limits(100, rule=ANGLE)):
        assert seconds(there, better) <= slowest * (1 + 1e-12)
    assert seconds(there, limits(100, rule=STOP)) >= seconds(there, limits(100, rule=ANGLE)) * (1 - 1e-12)


@given(points=corners)
def test_time_lies_between_length_over_speed_and_a_stop_at_every_point(points):
    points = np.asarray(points, dtype=float)
    length = np.hypot(*np.diff(points, axis=0).T)
    stops = move_times(length, 0.0, 0.0, speed_mm_s=100.0, acceleration_mm_s2=1000.0).sum()
    assert length.sum() / 100 * (1 - 1e-12) <= seconds(polyline(points)) <= stops * (1 + 1e-9)


# --- copies, and what is not quite a path ---------------------------------------------------------------------------


def test_copies_that_only_move_turn_or_mirror_are_timed_once(monkeypatch):
    shape = concatenate_strokes([contour(circle((2, 1), 3)), square(4)])
    turns = affine.compose(affine.translation(np.random.default_rng(0).uniform(0, 300, (500, 2))), affine.rotation(0.7))
    maps = np.concatenate([turns, affine.compose(turns, affine.mirror_x()), affine.compose(turns, affine.scaling(2.0))])
    copies = Artwork(
        (shape, square(9)),
        Placements(matrix=maps, shape=np.arange(1500) % 2, member=np.zeros(1500, int)),
    )
    asked = []
    timed = vector.path_times
    monkeypatch.setattr(vector, "path_times", lambda strokes, bounds: asked.append(strokes) or timed(strokes, bounds))
    times = artwork_times(copies, LIMITS)
    # Two shapes at two sizes: the first has two paths, the second one.
    assert [strokes.path_count for strokes in asked] == [6]
    for i in (0, 1, 600, 601, 1200, 1499):
        alone = timed(copies.shapes[i % 2].transformed(maps[i]), LIMITS)
        assert times.seconds[i] == pytest.approx(alone.seconds.sum(), rel=1e-9)
        assert times.length_mm[i] == pytest.approx(alone.length_mm.sum(), rel=1e-9)


def test_a_copy_that_is_stretched_is_timed_as_it_is_run():
    art = Artwork(
        (square(10),),
        Placements(matrix=np.stack([affine.identity(), affine.scaling(3.0, 1.0)]), shape=[0, 0], member=[0, 0]),
    )
    oblong = polyline([[0, 0], [30, 0], [30, 10], [0, 10], [0, 0]])
    np.testing.assert_allclose(artwork_times(art, LIMITS).seconds, [seconds(square(10)), seconds(oblong)], rtol=1e-9)


def test_paths_are_timed_one_by_one_in_blocks_too(monkeypatch):
    paths = [square(3 + i % 5) for i in range(60)] + [contour(circle((0, 0), 4))]
    whole = path_times(concatenate_strokes(paths), LIMITS)
    monkeypatch.setattr(vector, "_BLOCK", 16 * 7)
    np.testing.assert_allclose(path_times(concatenate_strokes(paths), LIMITS).seconds, whole.seconds, rtol=1e-9)
    np.testing.assert_allclose(whole.seconds[:-1], [seconds(path) for path in paths[:-1]], rtol=1e-9)


def test_length_is_that_of_the_curves():
    assert path_times(contour(circle((0, 0), 10)), LIMITS).length_mm[0] == pytest.approx(20 * math.pi, rel=1e-6)


@pytest.mark.parametrize(
    "points",
    [
        [[0, 0], [0, 0], [10, 0], [10, 0]],  # both handles on their knots
        [[0, 0], [10, 0], [0, 0], [10, 0]],  # runs back on itself
        [[0, 0], [10, 10], [0, 10], [10, 0]],  # a cusp, nearly
        [[5, 5], [5, 5], [5, 5], [5, 5]],  # a point
        [[0, 0], [9, 9], [-9, 9], [0, 0]],  # a loop
    ],
)
def test_ugly_curves_take_a_finite_time(points):
    found = path_times(curve(points), LIMITS)
    assert np.isfinite(found.seconds).all()
    assert found.seconds[0] >= found.length_mm[0] / 100 * (1 - 1e-9)


def test_empty_segments_and_no_paths_take_no_time():
    nothing = polyline([[1, 1], [1, 1]])
    assert path_times(nothing, LIMITS).seconds.tolist() == [0.0]
    both = concatenate_strokes([nothing, polyline([[0, 0], [0, 0], [300, 0], [300, 0]])])
    np.testing.assert_allclose(path_times(both, LIMITS).seconds, [0.0, 3.1], rtol=1e-12)
    empty = Artwork((), Placements(matrix=np.zeros((0, 2, 3)), shape=[], member=[]))
    assert len(artwork_times(empty, LIMITS).seconds) == 0


@settings(max_examples=30)
@given(st.lists(st.tuples(coordinate, coordinate), min_size=4, max_size=4))
def test_a_curve_takes_no_less_than_its_length_over_its_speed(points):
    found = path_times(curve(points), LIMITS)
    assert found.seconds[0] >= found.length_mm[0] / 100 * (1 - 1e-9)
