import itertools
import math
import runpy
from pathlib import Path

import numpy as np
import pytest
import shapely

from friezewright.errors import Cancelled, InputError
from friezewright.geometry import affine
from friezewright.geometry.outline import polygon
from friezewright.pattern.clasp import Partner, clasp_repeat, find_clasps, pitch_against_gap, turned_clasps
from friezewright.pattern.groups import FriezeGroup
from friezewright.pattern.level import fine_level
from friezewright.pattern.pieces import grown, on_grid, pieces_of, pieces_of_edges
from friezewright.pattern.pitch import best_pitch, glide_pitch, own_pitches
from friezewright.pattern.rows import forbidden_rows
from friezewright.pattern.seat import centred

DATA = Path(__file__).parents[1] / "data"
MOTIFS = runpy.run_path(str(DATA / "clasp_motifs.py"))["motifs"]()
ORACLE = runpy.run_path(str(DATA / "clasp_oracle.py"))

CUP = polygon([(0, 0), (8, 0), (8, 10), (6, 10), (6, 2), (2, 2), (2, 10), (0, 10)])
MOST_OVER_MM = 0.0015
"""Twice the flattening the search adds to the gap, and the excess of its discs."""


def by_kind(clasps):
    return {(clasp.partner, clasp.strict): clasp for clasp in clasps}


@pytest.mark.parametrize("gap", [0.2, 0.8, 2.0])
@pytest.mark.parametrize("name", MOTIFS)
def test_measured_gaps_are_those_asked(name, gap):
    partners = tuple(Partner) if gap == 0.8 else (Partner.HALF_TURN, Partner.FLIPPED)
    for clasp in find_clasps(MOTIFS[name], gap_mm=gap, partners=partners):
        assert gap <= clasp.repeat.gap_mm <= gap + max(0.003 * gap, 0.004)
        assert clasp.repeat.pitch_mm == clasp.pitch_mm
        assert clasp.height_mm == pytest.approx(clasp.repeat.height_mm, abs=1e-9)
        assert clasp.height_mm <= 1.25 * float(np.ptp(MOTIFS[name].bounds()[:, 1])) + 1e-9
        low, high = clasp.repeat.bounds()
        assert low[1] == pytest.approx(-high[1], abs=1e-9)


@pytest.mark.parametrize("name", ["hook", "two drops", "eyelet", "key"])
def test_gaps_measured_a_second_way(name):
    area = ORACLE["polygon_of"](MOTIFS[name], 0.0002)
    for clasp in find_clasps(MOTIFS[name], gap_mm=0.8):
        other = ORACLE["image"](area, clasp.partner.value)
        gap = ORACLE["strip_gap"](area, other, clasp.pitch_mm, clasp.offset_mm)
        # Here curves are sampled to 0.0002 mm, on either side.
        assert 0.8 - 0.0004 <= gap <= 0.8 + MOST_OVER_MM + 0.0004


def test_groups_are_found_not_intended():
    found = by_kind(find_clasps(MOTIFS["comma"], gap_mm=0.8))
    assert found[Partner.HALF_TURN, True].repeat.group is FriezeGroup.P2
    assert found[Partner.FLIPPED, True].repeat.group is FriezeGroup.P11G
    assert found[Partner.MIRRORED, True].repeat.group is FriezeGroup.P1M1
    assert found[Partner.SAME, True].repeat.group is FriezeGroup.P1
    assert found[Partner.SAME, False].repeat.group is FriezeGroup.P1
    assert (Partner.HALF_TURN, False) not in found
    # A mirror-symmetric motif brings its mirrors along.
    assert by_kind(find_clasps(MOTIFS["drop"], gap_mm=0.8))[Partner.HALF_TURN, True].repeat.group is FriezeGroup.P2MG


def test_strict_pairs_stand_where_their_symmetry_puts_them():
    found = by_kind(find_clasps(MOTIFS["branch"], gap_mm=0.8, strict=(True,)))
    assert len(found) == 4
    assert found[Partner.FLIPPED, True].offset_mm[0] == pytest.approx(0.5 * found[Partner.FLIPPED, True].pitch_mm)
    assert found[Partner.MIRRORED, True].offset_mm[1] == 0.0
    same = found[Partner.SAME, True]
    assert same.offset_mm == (pytest.approx(0.5 * same.pitch_mm), 0.0)
    assert same.pitch_saved == pytest.approx(0.0, abs=1e-9)


def test_a_right_triangle_by_closed_form():
    # Pairs of half-turned triangles stand hypotenuse to hypotenuse and back to back: the pitch is the base, the gap
    # between the backs, and the gap between the slanting sides measured along the strip.
    base, tall = 12.0, 9.0
    for gap in (0.2, 0.8, 2.0):
        clasp = find_clasps(
            polygon([(0, 0), (base, tall), (0, tall)]),
            gap_mm=gap,
            partners=(Partner.HALF_TURN,),
            height_limit_mm=tall,
        )[0]
        wide = math.hypot(base, tall) / tall
        assert base + gap * (1 + wide) <= clasp.pitch_mm <= base + (gap + MOST_OVER_MM) * (1 + wide)
        assert clasp.pitch_saved == pytest.approx(1 - clasp.pitch_mm / (2 * (base + gap)), abs=1e-3)
        assert clasp.repeat.group is FriezeGroup.P2


@pytest.mark.parametrize("name", ["comb", "ring"])
def test_what_does_not_fit_into_itself_says_so(name):
    for clasp in find_clasps(MOTIFS[name], gap_mm=0.8):
        assert not clasp.fits
        assert clasp.pitch_saved < 0.05
    curve = pitch_against_gap(MOTIFS[name], [0.8], partners=(Partner.HALF_TURN,))[0]
    assert curve.holds_up_to_mm is None


@pytest.mark.parametrize("name", MOTIFS)
def test_no_dense_grid_of_offsets_finds_a_shorter_strip(name):
    motif = centred(MOTIFS[name], 0.0)
    found = by_kind(find_clasps(MOTIFS[name], gap_mm=0.8, partners=(Partner.HALF_TURN, Partner.FLIPPED)))
    height = float(np.ptp(motif.bounds()[:, 1]))
    # Twenty times as many rows as the search looks at.
    shifts = np.linspace(-0.25 * height, 0.25 * height, 2 * 50 * 20 + 1)
    level = fine_level(motif, 0.8)
    for partner, strict in ((Partner.HALF_TURN, True), (Partner.FLIPPED, False), (Partner.FLIPPED, True)):
        rows = level.rows(partner, shifts)
        glides = strict and partner is Partner.FLIPPED
        dense = (glide_pitch(rows, level.own) if glides else best_pitch(rows, level.own)[0]).min()
        assert found[partner, strict].pitch_mm <= dense * (1 + 1e-4)
        # The refined figure may lie in a notch between two rows of the grid, but not far from either.
        assert found[partner, strict].pitch_mm >= dense * (1 - 1e-3)
        saved = 1 - dense / (2 * level.own.side_by_side_mm)
        assert found[partner, strict].pitch_saved >= saved - 0.01 * abs(saved)


@pytest.mark.parametrize("name", MOTIFS)
def test_pitches_equal_those_of_triangles(name):
    area = ORACLE["polygon_of"](MOTIFS[name], 0.1)
    larger = area.buffer(0.8, quad_segs=3)
    x, y = (pieces_of_edges(*ORACLE["rings_of"](each)) for each in (larger, area))
    thirds = ORACLE["triangles_of"](larger)
    height = float(np.ptp(shapely.bounds(area)[1::2]))
    # Some of the 101 offsets that the benchmark looks at.
    shifts = on_grid(np.linspace(-0.25 * height, 0.25 * height, 101)[7::31])
    own_runs = ORACLE["runs_by_triangles"](thirds, ORACLE["triangles_of"](area), 0.0).tolist()
    own = own_pitches(forbidden_rows(x, y, np.zeros(1)).row(0))
    for partner in Partner:
        image = y.mirrored() if partner.signs[0] < 0 else y
        rows = forbidden_rows(x, image.flipped() if partner.signs[1] < 0 else image, shifts)
        other = ORACLE["triangles_of"](ORACLE["image"](area, partner.value))
        pitch, _ = best_pitch(rows, own)
        for i, shift in enumerate(shifts):
            wanted = ORACLE["pitch_by_trial"](ORACLE["runs_by_triangles"](thirds, other, shift).tolist(), own_runs)
            assert pitch[i] == pytest.approx(wanted, abs=1e-6)


def test_limits_and_objectives():
    shape = MOTIFS["arrow"]
    height = float(np.ptp(shape.bounds()[:, 1]))
    low = find_clasps(shape, gap_mm=0.8, partners=(Partner.HALF_TURN,), height_limit_mm=height)[0]
    high = find_clasps(shape, gap_mm=0.8, partners=(Partner.HALF_TURN,), height_limit_mm=2 * height)[0]
    small = find_clasps(shape, gap_mm=0.8, partners=(Partner.HALF_TURN,), height_limit_mm=2 * height, objective="area")[
        0
    ]
    assert low.height_mm == pytest.approx(height)
    assert high.pitch_mm <= low.pitch_mm
    for other in (low, high):
        assert small.pitch_mm * (small.height_mm + 0.8) <= other.pitch_mm * (other.height_mm + 0.8) + 1e-9
    with pytest.raises(InputError, match="high, more than the"):
        find_clasps(shape, gap_mm=0.8, height_limit_mm=0.9 * height)
    for gap in (0.0, -1.0, math.nan):
        with pytest.raises(InputError, match="gap"):
            find_clasps(shape, gap_mm=gap)
    with pytest.raises(InputError, match="turn"):
        find_clasps(shape, gap_mm=1.0, turn_rad=math.inf)


def test_a_known_clasp_is_laid_out_from_its_figures():
    for clasp in find_clasps(MOTIFS["crescent"], gap_mm=0.5, turn_rad=0.7):
        again = clasp_repeat(
            MOTIFS["crescent"],
            clasp.partner,
            turn_rad=clasp.turn_rad,
            pitch_mm=clasp.pitch_mm,
            offset_mm=clasp.offset_mm,
        )
        np.testing.assert_array_equal(again.vectors, clasp.repeat.vectors)
        np.testing.assert_array_equal(again.cell.matrix, clasp.repeat.cell.matrix)
        assert (again.gap_mm, again.group) == (clasp.repeat.gap_mm, clasp.repeat.group)
    with pytest.raises(InputError, match="pitch"):
        clasp_repeat(MOTIFS["ring"], Partner.SAME, turn_rad=0.0, pitch_mm=0.0, offset_mm=(0.0, 0.0))
    with pytest.raises(InputError, match="offset"):
        clasp_repeat(MOTIFS["ring"], Partner.SAME, turn_rad=0.0, pitch_mm=9.0, offset_mm=(0.0, math.nan))


def test_the_same_motif_gives_the_same_clasps_to_the_last_bit():
    first, second = (find_clasps(MOTIFS["moth"], gap_mm=0.8, turn_rad=0.3) for _ in range(2))
    for a, b in zip(first, second, strict=True):
        assert (a.pitch_mm, a.offset_mm, a.pitch_saved, a.repeat.gap_mm) == (
            b.pitch_mm, b.offset_mm, b.pitch_saved, b.repeat.gap_mm)  # fmt: skip


def test_a_fit_holds_up_to_the_width_of_its_bay():
    # An arm of 2 mm in a bay of 4 leaves a gap of 1 on either side.
    curve = pitch_against_gap(CUP, [0.4, 0.8, 1.2, 1.6], partners=(Partner.HALF_TURN,), height_limit_mm=15)[0]
    assert 0.98 <= curve.holds_up_to_mm <= 1.0
    assert curve.gaps_mm == (0.4, 0.8, 1.2, 1.6)
    assert curve.pitch_saved[1] > 0.2 > curve.pitch_saved[2]
    assert list(curve.pitch_mm) == sorted(curve.pitch_mm)
    whole = pitch_against_gap(CUP, [0.4, 0.8], partners=(Partner.HALF_TURN,), height_limit_mm=15)[0]
    assert whole.holds_up_to_mm == 0.8
    with pytest.raises(InputError, match="gap"):
        pitch_against_gap(CUP, [])


def test_turned_clasps_differ_and_come_best_first():
    shares = []
    found = turned_clasps(MOTIFS["hook"], gap_mm=0.8, turns=6, most=9, progress=shares.append)
    assert shares == pytest.approx([i / 6 for i in range(1, 7)])
    saved = [clasp.pitch_saved for clasp in found]
    assert all(after <= before + 1e-5 for before, after in itertools.pairwise(saved))
    for i, a in enumerate(found):
        for b in found[:i]:
            assert (
                a.partner is not b.partner
                or abs(a.pitch_mm - b.pitch_mm) > 0.03 * min(a.pitch_mm, b.pitch_mm)
                or abs(a.height_mm - b.height_mm) > 0.05 * min(a.height_mm, b.height_mm)
            )
    assert any(clasp.turn_rad > 0.0 for clasp in found)
    best = find_clasps(MOTIFS["hook"], gap_mm=0.8)
    assert saved[0] >= max(clasp.pitch_saved for clasp in best) - 1e-5

    def stop(share):
        raise Cancelled(str(share))

    with pytest.raises(Cancelled):
        turned_clasps(MOTIFS["hook"], gap_mm=0.8, turns=2, progress=stop)
    with pytest.raises(InputError, match="turn"):
        turned_clasps(MOTIFS["hook"], gap_mm=0.8, turns=0)


def test_half_a_circle_of_turns_is_enough():
    for clasp, other in zip(
        find_clasps(MOTIFS["branch"], gap_mm=0.8, turn_rad=0.4),
        find_clasps(MOTIFS["branch"], gap_mm=0.8, turn_rad=0.4 + math.pi),
        strict=True,
    ):
        assert other.pitch_mm == pytest.approx(clasp.pitch_mm, rel=1e-4)


def test_two_different_motifs_by_the_same_rows():
    a = centred(MOTIFS["hook"], 0.0)
    b = centred(MOTIFS["comma"].transformed(affine.scaling(0.6)), 0.0)
    gap = 0.8
    flat_a, flat_b = pieces_of(a, tolerance_mm=0.005), pieces_of(b, tolerance_mm=0.005)
    wide_a, wide_b = grown(flat_a, gap, excess_mm=5e-4), grown(flat_b, gap, excess_mm=5e-4)
    own = own_pitches(
        forbidden_rows(wide_a, flat_a, np.zeros(1)).row(0), forbidden_rows(wide_b, flat_b, np.zeros(1)).row(0)
    )
    shifts = np.linspace(-5, 5, 21)
    pitch, along = best_pitch(forbidden_rows(wide_a, flat_b, shifts), own)
    best = int(np.argmin(pitch))
    found = ORACLE["strip_gap"](
        ORACLE["polygon_of"](a, 0.005), ORACLE["polygon_of"](b, 0.005), pitch[best], (along[best], shifts[best])
    )
    assert gap - 1e-6 <= found <= gap + 6e-4
