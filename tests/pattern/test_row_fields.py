import math
import runpy
from pathlib import Path

import numpy as np
import pytest

from friezewright.errors import Cancelled, InputError
from friezewright.pattern.groups import PlaneGroup
from friezewright.pattern.row_fields import RowStep, row_fields

DATA = Path(__file__).parents[1] / "data"
LIST = runpy.run_path(str(DATA / "clasp_motifs.py"))
MOTIFS, CONVEX = LIST["motifs"](), LIST["CONVEX"]
GAP = 0.8


def by_group(fields):
    return {each.intended: each for each in fields}


@pytest.mark.parametrize("name", ["hook", "shard", "crescent", "eyelet", "branch", "ring"])
def test_gaps_and_groups(name, gap_by_brute_force):
    shape = MOTIFS[name]
    box = shape.bounds()
    packed = float(np.prod(box[1] - box[0] + GAP))
    for each in row_fields(shape, gap_mm=GAP):
        assert GAP <= each.repeat.gap_mm <= GAP + 0.004
        # None of these motifs is symmetric, so nothing but what was intended can be there; the ring nearly is.
        assert each.repeat.group is each.intended
        assert each.area_mm2 == pytest.approx(each.repeat.cell_area_mm2 / len(each.repeat.cell))
        assert each.area_mm2 <= packed * 1.001
        if name == "shard":
            assert gap_by_brute_force(each.repeat, around=3) == pytest.approx(each.repeat.gap_mm, abs=2e-3)


@pytest.mark.parametrize("name", CONVEX)
def test_half_turns_are_never_sparser_for_convex_motifs(name):
    # Kuperberg and Kuperberg 1990, "Double-lattice packings of convex bodies in the plane": a double lattice packs any
    # convex body at least as densely as a lattice does.
    found = by_group(row_fields(MOTIFS[name], gap_mm=GAP, groups=(PlaneGroup.P1, PlaneGroup.P2), turns=2))
    assert found[PlaneGroup.P2].area_mm2 <= found[PlaneGroup.P1].area_mm2 * (1 + 1e-6)


def test_a_triangle_and_its_turned_copy_leave_only_gaps():
    # Triangles tile by half turns, and so does the triangle with its sides moved out by half a gap, whose area follows
    # by Steiner's formula for sharp corners: the sum of the cotangents of the half angles is half the girth over the
    # inradius. No field can be denser than one of triangles with rounded corners that leaves no ground at all.
    shape = MOTIFS["shard"]
    corners, area = shape.segments[:, 0], shape.area_mm2()
    girth = float(np.hypot(*(np.roll(corners, -1, axis=0) - corners).T).sum())
    sharp = area + 0.5 * GAP * girth + (0.5 * GAP) ** 2 * girth * girth / (4.0 * area)
    rounded = area + 0.5 * GAP * girth + (0.5 * GAP) ** 2 * math.pi
    found = row_fields(shape, gap_mm=GAP, groups=(PlaneGroup.P2,), turns=6)[0]
    assert rounded <= found.area_mm2 <= sharp * 1.005


def test_rows_are_set_as_asked():
    shape = MOTIFS["comma"]
    for group in (PlaneGroup.P1, PlaneGroup.P2):
        straight, brick, best = (
            row_fields(shape, gap_mm=GAP, groups=(group,), step=step)[0]
            for step in (RowStep.STRAIGHT, RowStep.BRICK, RowStep.BEST)
        )
        assert straight.repeat.vectors[1, 0] == 0.0
        assert brick.repeat.vectors[1, 0] == pytest.approx(0.5 * brick.repeat.pitch_mm)
        # Both are among what the best may choose; sampling and refining may cost it a little.
        assert best.area_mm2 <= min(straight.area_mm2, brick.area_mm2) * 1.005


def test_a_half_drop_is_brick_work_turned_by_a_quarter():
    drop = row_fields(MOTIFS["comma"], gap_mm=GAP, groups=(PlaneGroup.P1,), step=RowStep.HALF_DROP)[0].repeat
    down, aside = drop.vectors
    assert down[0] == pytest.approx(0.0, abs=1e-9)
    assert aside[1] % abs(down[1]) == pytest.approx(0.5 * abs(down[1]), abs=1e-9)
    assert GAP <= drop.gap_mm <= GAP + 0.004
    # The motif itself stands upright.
    upright = drop.shapes[0].transformed(drop.cell.matrix[0])
    np.testing.assert_allclose(np.ptp(upright.bounds(), axis=0), np.ptp(MOTIFS["comma"].bounds(), axis=0), atol=1e-9)


def test_turns_help_and_report():
    shares = []
    one = row_fields(MOTIFS["almond"], gap_mm=GAP, groups=(PlaneGroup.PG,))[0]
    many = row_fields(MOTIFS["almond"], gap_mm=GAP, groups=(PlaneGroup.PG,), turns=4, progress=shares.append)[0]
    assert many.area_mm2 <= one.area_mm2 * (1 + 1e-3)
    assert shares[-1] == 1.0
    assert shares == sorted(shares)
    assert 0.0 <= many.turn_rad < math.pi

    def stop(share):
        raise Cancelled(str(share))

    with pytest.raises(Cancelled):
        row_fields(MOTIFS["almond"], gap_mm=GAP, progress=stop)


def test_the_same_motif_gives_the_same_field_to_the_last_bit():
    first, second = (row_fields(MOTIFS["key"], gap_mm=GAP, groups=(PlaneGroup.P2,))[0] for _ in range(2))
    np.testing.assert_array_equal(first.repeat.vectors, second.repeat.vectors)
    np.testing.assert_array_equal(first.repeat.cell.matrix, second.repeat.cell.matrix)


def test_impossible_requests():
    with pytest.raises(InputError, match="gap"):
        row_fields(MOTIFS["key"], gap_mm=0.0)
    with pytest.raises(InputError, match="not made of rows"):
        row_fields(MOTIFS["key"], gap_mm=1.0, groups=(PlaneGroup.P4,))
    with pytest.raises(InputError, match="turn"):
        row_fields(MOTIFS["key"], gap_mm=1.0, turns=0)
