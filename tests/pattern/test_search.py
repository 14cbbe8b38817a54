"""Fields found by search: what they promise, and the three steps that find them, each against a second way."""

import math
import pathlib
import runpy

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from friezewright.errors import Cancelled, InputError
from friezewright.geometry import affine
from friezewright.geometry.outline import circle, concatenate, polygon
from friezewright.geometry.planar.nearness import pair_distances
from friezewright.pattern.contact import MEASURE_MM
from friezewright.pattern.fields import field
from friezewright.pattern.groups import PlaneGroup, has_mirrors, operations
from friezewright.pattern.raster_fit import Distances, Rasters, Trials, least_areas
from friezewright.pattern.row_fields import row_fields
from friezewright.pattern.search import MIRROR_FREE, search_field, search_fields
from friezewright.pattern.tighten import Layout, Outlines, Tightener, _least

LIST = runpy.run_path(str(pathlib.Path(__file__).parents[1] / "data" / "clasp_motifs.py"))
MOTIFS, CONVEX = LIST["motifs"](), LIST["CONVEX"]
GAP = 0.8
NUMBER = dict(
    zip(PlaneGroup, (1, 3, 6, 7, 8, 25, 28, 32, 35, 75, 99, 100, 143, 156, 157, 168, 183), strict=True)
)  # International Tables A: the group times a polar third axis
every_group = pytest.mark.parametrize("group", PlaneGroup)


@pytest.fixture(scope="module")
def found(leaf):
    return {group: search_field(leaf, group, gap_mm=GAP, rounds=1) for group in PlaneGroup}


def most(gap):
    return gap + max(0.003 * gap, 0.004)


def ground(repeat):
    return repeat.cell_area_mm2 / len(repeat.cell)


@every_group
def test_a_field_found_has_its_group_and_just_its_gap(group, found, gap_by_brute_force, symmetry_dataset):
    made = found[group]

    assert made.group is group
    assert len(made.cell) == len(operations(group))
    assert GAP <= made.gap_mm <= most(GAP)
    # Chords of 48 steps a curve lie within 0.003 mm of these curves.
    assert gap_by_brute_force(made, around=1 if len(made.cell) > 4 else 3) == pytest.approx(made.gap_mm, abs=0.006)
    marks = np.array([[0.7, 1.1], [1.3, -1.9], [-2.1, 0.8]])
    placed = affine.apply(made.cell.matrix, marks)
    in_steps = np.einsum("kmj,ji->kmi", placed, np.linalg.inv(made.vectors))
    assert symmetry_dataset(made.vectors, in_steps).number == NUMBER[group]


@every_group
def test_a_field_found_is_not_sparser_than_a_plain_one(group, found, leaf):
    assert ground(found[group]) < 1.001 * ground(field(leaf, group, gap_mm=GAP))


@pytest.mark.parametrize("group", [group for group in PlaneGroup if has_mirrors(group)])
def test_the_motif_found_keeps_clear_of_every_mirror(group, found):
    made = found[group]
    (copy,) = made.copies(np.array([[0, 0]])).chosen(np.array([0])).copies()
    points = copy.segments[:, 0]
    basis = made.vectors.T
    sides = 0
    for operation in operations(group):
        if operation.determinant == 1:
            continue
        linear = basis @ np.array(operation.matrix, dtype=float) @ np.linalg.inv(basis)
        # The direction a mirror turns round; a plain mirror moves points along it only.
        normal = np.linalg.eigh(0.5 * (linear + linear.T))[1][:, 0]
        for step in np.ndindex(7, 7):
            shift = basis @ (np.array([float(x) for x in operation.shift]) + np.array(step) - 3.0)
            if abs(shift[0] * normal[1] - shift[1] * normal[0]) < 1e-9:
                height = points @ normal - 0.5 * shift @ normal
                sides += 1
                assert np.abs(height).min() >= 0.5 * GAP - 1e-9
                assert np.all(height > 0.0) or np.all(height < 0.0)
    assert sides > 0


@pytest.mark.parametrize("group", ["p1", "p2gg", "p31m"])
def test_every_shape_can_be_searched_for(group, any_shape):
    made = search_field(any_shape, PlaneGroup(group), gap_mm=GAP, rounds=1)

    assert GAP <= made.gap_mm <= most(GAP)


def test_fields_found_are_denser_than_plain_ones():
    names = ("almond", "hook", "crescent", "star", "ring", "two drops", "arrow", "key", "hair", "eyelet")
    denser = 0
    for number, name in enumerate(names):
        group = (PlaneGroup.P2GG, PlaneGroup.P4, PlaneGroup.P6)[number % 3]
        made = search_field(MOTIFS[name], group, gap_mm=GAP, rounds=1)
        plain = field(MOTIFS[name], group, gap_mm=GAP)
        denser += ground(made) < 0.999 * ground(plain)
        assert ground(made) < 1.001 * ground(plain)

    assert denser >= 8


@pytest.mark.parametrize("group", ["p2", "p4gm", "p3"])
def test_the_same_call_finds_the_same_bytes(group):
    first, second = (search_field(MOTIFS["hook"], PlaneGroup(group), gap_mm=GAP, rounds=1) for _ in range(2))

    assert first.vectors.tobytes() == second.vectors.tobytes()
    assert first.cell.matrix.tobytes() == second.cell.matrix.tobytes()
    assert first.shapes[0].segments.tobytes() == second.shapes[0].segments.tobytes()
    assert first.gap_mm == second.gap_mm


def test_more_rounds_find_more_and_never_less():
    # Where one round stops short: copies of this motif hook into each other in a narrow range of turns.
    grounds = [ground(search_field(MOTIFS["branch"], PlaneGroup.P2GG, gap_mm=GAP, rounds=n)) for n in (1, 2, 3)]

    assert grounds[1] < 0.97 * grounds[0]
    assert grounds[2] <= grounds[1]


@pytest.mark.parametrize("name", ["arrow", "wave", "key"])
def test_free_search_is_not_behind_the_exact_rows(name):
    # Neither is proven densest; rows know nothing of rasters, and are tried at four turns only.
    for rows in row_fields(MOTIFS[name], gap_mm=GAP, turns=4):
        made = search_field(MOTIFS[name], rows.intended, gap_mm=GAP, rounds=1)

        assert ground(made) <= 1.002 * rows.area_mm2


@pytest.mark.parametrize("group", ["p1", "p2", "pg", "p2gg", "p3"])
def test_discs_find_the_closest_lattice(group):
    made = search_field(circle((0.0, 0.0), 3.0), PlaneGroup(group), gap_mm=1.0, rounds=1)

    # The closest packing of equal discs in the plane (Thue; Fejes Toth 1940, as commonly stated).
    assert ground(made) == pytest.approx(49.0 * math.sqrt(3.0) / 2.0, rel=1.5e-3)


def test_whirls_of_four_discs_stand_in_squares():
    made = search_field(circle((0.0, 0.0), 3.0), PlaneGroup.P4, gap_mm=1.0, rounds=1)

    # Four discs to a cell of side 7 (1 + sqrt 3) / sqrt 2: the snub square lattice, from its triangles and squares.
    assert ground(made) == pytest.approx(49.0 * (1.0 + math.sqrt(3.0)) ** 2 / 8.0, rel=1.5e-3)


@pytest.mark.parametrize("name", CONVEX)
def test_convex_motifs_gain_from_half_turns_and_never_beat_their_own_ground(name):
    shape = MOTIFS[name]
    plain, turned = (search_field(shape, group, gap_mm=GAP, rounds=2) for group in (PlaneGroup.P1, PlaneGroup.P2))

    # Grown by half a gap copies still do not overlap; the area of a grown convex shape is Steiner's.
    grown = shape.area_mm2() + 0.5 * GAP * shape.length_mm() + 0.25 * math.pi * GAP**2
    assert ground(turned) > grown
    # Kuperberg and Kuperberg 1990: for convex shapes a double lattice is at least as dense as any lattice.
    assert ground(turned) <= 1.001 * ground(plain)


@settings(max_examples=8, deadline=None)
@given(
    group=st.sampled_from([PlaneGroup.P2, PlaneGroup.P4, PlaneGroup.CM, PlaneGroup.P6]),
    gap=st.floats(0.05, 3.0),
    length=st.floats(0.5, 30.0),
    width=st.floats(0.1, 5.0),
)
def test_hooks_of_any_size_keep_their_gap(group, gap, length, width):
    hook = polygon(
        [(0, 0), (length, 0), (length, -length / 2 - width), (length + width, -length / 2 - width),
         (length + width, width), (0, width)]
    )  # fmt: skip
    made = search_field(hook, group, gap_mm=gap, rounds=1)

    assert gap <= made.gap_mm <= most(gap)


@pytest.mark.parametrize(
    ("size", "gap"),
    [(1.0, 0.02), (50.0, 0.5), (0.05, 0.8), (0.04, 4.0), (1.0, 10.0)],
    ids=["slit", "metre", "millimetre", "speck", "far apart"],
)
def test_gaps_far_from_the_size_of_the_motif(size, gap):
    shape = MOTIFS["hook"].transformed(affine.scaling(size))
    made = search_field(shape, PlaneGroup.P1, gap_mm=gap, rounds=1)

    assert gap <= made.gap_mm <= most(gap)


def test_a_layout_far_from_touching_is_drawn_all_the_way():
    # Steps once grew shorter while copies were still apart, and stopped 0.12 mm too early.
    shard = polygon(
        [(3.65, 0.13), (-6.32, 3.75), (-10.0, -0.72), (-2.16, -3.18), (-1.51, -5.3), (-2.35, -15.66), (0.36, -9.13),
         (0.53, -9.96), (16.08, -14.17), (21.42, -11.43)]
    )  # fmt: skip
    made = search_field(shard, PlaneGroup.P4MM, gap_mm=0.06557, rounds=1)

    assert 0.06557 <= made.gap_mm <= most(0.06557)


def test_several_groups_come_the_densest_first_with_what_they_save():
    shape = MOTIFS["moth"]
    shares = []
    several = search_fields(
        shape, gap_mm=GAP, groups=(PlaneGroup.P4, PlaneGroup.P2GG, PlaneGroup.P3), rounds=1, progress=shares.append
    )

    width, height = np.ptp(shape.bounds(), axis=0)
    assert [each.group for each in several] == [PlaneGroup.P2GG, PlaneGroup.P3, PlaneGroup.P4]
    assert all(each.group is each.repeat.group for each in several)
    for each in several:
        assert each.ink_share == pytest.approx(shape.area_mm2() / ground(each.repeat), rel=1e-9)
        assert each.saved == pytest.approx(1.0 - ground(each.repeat) / ((width + GAP) * (height + GAP)), rel=1e-9)
    assert shares == pytest.approx([1.0 / 3.0, 2.0 / 3.0, 1.0])


def test_of_two_fields_of_one_group_one_stays():
    several = search_fields(MOTIFS["moth"], gap_mm=GAP, groups=(PlaneGroup.P3, PlaneGroup.P3), rounds=1)

    assert [each.group for each in several] == [PlaneGroup.P3]


def test_a_search_can_be_stopped(leaf):
    def stop(share):
        raise Cancelled

    with pytest.raises(Cancelled):
        search_field(leaf, PlaneGroup.P1, gap_mm=GAP, rounds=1, progress=stop)


@pytest.mark.parametrize(
    ("wishes", "words"),
    [
        ({"gap_mm": 0.0}, "a gap above 0 mm"),
        ({"gap_mm": -1.0}, "0 mm or more"),
        ({"gap_mm": float("nan")}, "0 mm or more"),
        ({"gap_mm": 1.0, "rounds": 0}, "1 round or more"),
    ],
)
def test_impossible_searches_are_one_clear_line(wishes, words, leaf):
    with pytest.raises(InputError, match=words) as caught:
        search_field(leaf, PlaneGroup.P2, **wishes)

    assert "\n" not in str(caught.value)


def test_the_seven_groups_without_mirrors():
    assert set(MIRROR_FREE) == {PlaneGroup(name) for name in ("p1", "p2", "pg", "p2gg", "p4", "p3", "p6")}


@pytest.mark.parametrize("turn", [0.0, 1.1, math.pi])
@pytest.mark.parametrize("flip", [False, True])
def test_rasters_hide_no_overlap_and_little_room(turn, flip):
    shape = MOTIFS["key"]
    distances = Distances(shape, GAP)
    rasters = Rasters(distances, GAP)
    linear = affine.rotation(turn)[:, :2] * ([1.0, -1.0] if flip else [1.0, 1.0])
    taken = rasters.turned(linear).reshape(rasters.side, rasters.side)
    at = np.stack(np.meshgrid(*2 * [np.arange(2, rasters.side, 9)], indexing="ij"), axis=-1).reshape(-1, 2)
    maps = np.zeros((len(at), 2, 3))
    maps[:, :, :2] = linear
    maps[:, :, 2] = (at[:, ::-1] - rasters.half) * rasters.pixel_mm
    apart = pair_distances(shape, affine.identity(1), shape, maps, tolerance_mm=0.01)
    hit = taken[at[:, 0], at[:, 1]]

    assert 0.1 < hit.mean() < 0.6
    # A disc of 0.71 pixels' radius always holds a pixel's middle; distances between pixels err by less than a tenth.
    assert apart[~hit].min() > GAP - (1.42 - 0.7 + 0.1) * rasters.pixel_mm
    assert apart[hit].max() < GAP + (0.7 + 0.1) * rasters.pixel_mm


def test_distances_of_a_ring_are_those_of_its_circles():
    ring = concatenate([circle((0.0, 0.0), 9.0), circle((0.0, 0.0), 5.0).reversed()])
    distances = Distances(ring, GAP)
    x, y = np.meshgrid(np.linspace(-9.5, 9.5, 41), np.linspace(-9.5, 9.5, 37))
    radius = np.hypot(x, y)
    expected = np.maximum(radius - 9.0, 5.0 - radius)
    # Away from the middle and the ridge half way, where straight lines between pixels cut a corner.
    smooth = (radius > 1.0) & (np.abs(radius - 7.0) > 0.5) & (radius < 9.6)

    np.testing.assert_allclose(distances.at(x, y)[smooth], expected[smooth], atol=0.02)
    assert distances.area_mm2(0.0) == pytest.approx(ring.area_mm2(), rel=0.01)


def test_a_trial_is_free_just_where_its_layout_keeps_apart():
    shape, group = MOTIFS["hook"], PlaneGroup.P2GG
    distances = Distances(shape, GAP)
    rasters = Rasters(distances, GAP)
    shares = np.stack([np.modf(np.arange(1, 301) * root)[0] for root in (0.7548, 0.5698, 0.4301, 0.3247, 0.2451)], 1)
    trials = Trials.spread(group, shares)
    area = 330.0
    free = np.isfinite(least_areas(rasters, trials, least_mm2=area, most_mm2=area))
    tightener = Tightener(group, distances, GAP)
    outlines = Outlines.of(shape, tolerance_mm=0.01, gap_mm=GAP)
    side, rise, along = trials.cells(area)

    assert 20 < free.sum() < 280
    for i in range(len(trials)):
        turn, x, y = trials.figures[i, :3].tolist()
        layout = Layout(turn_rad=turn, place=(x, y), side_mm=side[i], rise_mm=rise[i], along_mm=along[i])
        _, apart = tightener.tightened(layout, outlines, keep_mm=1.5, step_mm=0.1, rounds=0, still=0.0)
        # Rounded to a pixel, a shift lies another 0.71 pixels from where it was looked up.
        if free[i]:
            assert apart > GAP - (2.13 - 0.7 + 0.1) * rasters.pixel_mm
        elif apart > 0.0:
            crossing = _overlaps(shape, group, layout)
            assert crossing or apart < GAP + (0.71 + 0.7 + 0.1) * rasters.pixel_mm


def _overlaps(shape, group, layout):
    """Return whether copies overlap; then the distance between their edges says nothing."""
    vectors = np.array([[layout.side_mm, 0.0], [layout.along_mm, layout.rise_mm]])
    basis = vectors.T
    own = affine.rotation(layout.turn_rad)
    maps = []
    for k, operation in enumerate(operations(group)):
        linear = basis @ np.array(operation.matrix, dtype=float) @ np.linalg.inv(basis)
        at = np.array(operation.matrix) @ layout.place + [float(x) for x in operation.shift] - layout.place
        for step in np.ndindex(9, 9):
            if k or step != (4, 4):
                shift = basis @ (at - np.round(at) + np.array(step) - 4.0)
                maps.append(affine.compose(np.column_stack([linear, shift]), own))
    return pair_distances(shape, own[None], shape, np.array(maps), tolerance_mm=0.01).min() == 0.0


def test_a_polygon_of_fewer_corners_stays_within_its_tolerance():
    shape = MOTIFS["spiral"]
    exact = Outlines.of(shape, tolerance_mm=0.001, gap_mm=100.0)
    coarse = Outlines.of(shape, tolerance_mm=0.05, gap_mm=100.0)

    assert len(coarse.start) < 0.5 * len(exact.start)
    assert _furthest(exact.start, coarse) < 0.051
    assert _furthest(coarse.start, exact) < 0.051


def _furthest(points, outlines):
    along = outlines.end - outlines.start
    off = points[:, None] - outlines.start
    t = np.clip((off * along).sum(axis=2) / (along**2).sum(axis=1), 0.0, 1.0)
    return np.hypot(*np.moveaxis(off - t[..., None] * along, 2, 0)).min(axis=1).max()


@pytest.mark.parametrize("group", ["p1", "p2", "pg", "p4gm", "p6"])
def test_no_small_move_makes_a_tightened_layout_denser(group, found):
    made = found[PlaneGroup(group)]
    scale = np.diag([0.999, 0.999])
    matrix = made.cell.matrix.copy()
    matrix[:, :, 2] *= 0.999
    cell = type(made.cell)(matrix=matrix, shape=made.cell.shape, member=made.cell.member)
    tight = type(made)(vectors=made.vectors @ scale, shapes=made.shapes, cell=cell, gap_mm=1.0, group=made.group)
    box = np.stack([np.full(2, -40.0), np.full(2, 40.0)])
    copies = tight.copies(tight.cover(box)).placements.matrix
    own = tight.cell.matrix[:1]
    away = np.abs(copies - own).max(axis=(1, 2)) > 1e-9

    assert pair_distances(made.shapes[0], own, made.shapes[0], copies[away], tolerance_mm=MEASURE_MM).min() < GAP


@settings(max_examples=120, deadline=None)
@given(seed=st.integers(0, 2**31), unknowns=st.integers(1, 6), rows=st.integers(0, 120), shift=st.floats(-0.2, 0.2))
def test_the_linear_programme_agrees_with_a_library(seed, unknowns, rows, shift):
    random = np.random.default_rng(seed)
    table = random.normal(size=(rows, unknowns))
    bound = 0.1 * random.normal(size=rows) + shift
    cost = np.where(random.random(unknowns) < 0.4, 0.0, random.normal(size=unknowns))
    need = 50.0

    x = _least(cost, table, bound, np.full(unknowns, -0.3), np.full(unknowns, 0.3), need=need)

    # HiGHS, through scipy, with one more unknown for the largest miss.
    other = linprog(
        np.append(cost, need),
        A_ub=-np.column_stack([table, np.ones(rows)]) if rows else None,
        b_ub=-bound if rows else None,
        bounds=[(-0.3, 0.3)] * unknowns + [(0.0, None)],
    )
    missed = max(0.0, float((bound - np.einsum("ij,j->i", table, x)).max(initial=0.0)))
    assert np.abs(x).max() <= 0.3 + 1e-9
    # The small cost put on every unknown moves the answer by no more than itself.
    assert cost @ x + need * missed == pytest.approx(other.fun, abs=0.6 * need * 1e-7 * 21 + 1e-8)
