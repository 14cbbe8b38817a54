import runpy
from pathlib import Path

import numpy as np
import pytest

from friezewright.geometry.outline import circle, concatenate, polygon
from friezewright.motif import library
from friezewright.motif.motif import motif_from_picture
from friezewright.pattern.clasp import find_clasps
from friezewright.pattern.contact import MEASURE_MM
from friezewright.pattern.level import Partner, fine_level
from friezewright.pattern.pieces import grown, pieces_of
from friezewright.pattern.pitch import best_pitch, own_pitches
from friezewright.pattern.rows import forbidden_rows
from friezewright.pattern.seat import centred

DATA = Path(__file__).parents[1] / "data"
MOTIFS = runpy.run_path(str(DATA / "clasp_motifs.py"))["motifs"]()

SIEVE = concatenate(
    [polygon([(-9, -6), (9, -6), (9, 6), (-9, 6)])]
    + [circle((x, y), 0.3 + 0.04 * x).reversed() for x in range(-6, 7, 3) for y in (-3, 0, 3)]
    + [polygon([(9.5, k), (12, k), (12, k + 0.5), (9.5, k + 0.5)]) for k in range(-5, 5)]
)

TEETH = concatenate(
    [polygon([(-9, 0), *((x, y) for k in range(-4, 5) for x, y in ((2 * k - 0.1, 0), (2 * k - 0.1, 8), (2 * k + 0.1, 8),
                                                                   (2 * k + 0.1, 0))), (9, 0), (9, -3), (-9, -3)])]
    + [circle((x, -1.5), 0.5).reversed() for x in range(-8, 9, 2)]
)  # fmt: skip
"""Thin teeth and slots of 1.8 mm: at a gap of 0.8 a tooth of 0.2 goes in exactly, at 0.78 with a little play."""


def plain_rows(motif, gap, partner, shifts):
    """Return the rows of the motif as it is, one copy grown by all of the gap."""
    pieces = pieces_of(motif, tolerance_mm=MEASURE_MM)
    image = pieces.mirrored() if partner.signs[0] < 0 else pieces
    image = image.flipped() if partner.signs[1] < 0 else image
    return forbidden_rows(grown(pieces, gap + 2 * MEASURE_MM, excess_mm=1e-4), image, shifts)


@pytest.mark.parametrize("name", ["sieve", "leaf", "bee", "comb", "horseshoe", "wave", "eyelet", "two drops"])
@pytest.mark.parametrize("gap", [0.3, 0.8])
def test_filling_and_halving_change_nothing(name, gap):
    shape = SIEVE if name == "sieve" else MOTIFS.get(name)
    if shape is None:
        shape = motif_from_picture(library.picture(name), name=name).at_height(20.0)
    motif = centred(shape, 0.2)
    level = fine_level(motif, gap)
    own = own_pitches(plain_rows(motif, gap, Partner.SAME, np.zeros(1)).row(0))
    assert level.own.barred.shape == own.barred.shape
    # Both copies' discs may reach 0.0005 mm too far, one at each side of a copy, stretched where sides slant along x.
    np.testing.assert_allclose(level.own.barred, own.barred, atol=0.01)
    shifts = np.linspace(-4.1, 4.3, 5)
    for partner in (Partner.HALF_TURN, Partner.FLIPPED):
        rows, plain = level.rows(partner, shifts), plain_rows(motif, gap, partner, shifts)
        pitch, wanted = best_pitch(rows, level.own)[0], best_pitch(plain, own)[0]
        # The plain rows' own discs reach 0.0001 mm too far at most, and slanting sides stretch that.
        assert np.all(pitch >= wanted - 1e-3)
        np.testing.assert_allclose(pitch, wanted, atol=0.01)


def test_slots_that_a_tooth_just_enters_stay_open():
    for gap, enters in ((0.78, True), (0.79, True), (0.82, False)):
        clasp = find_clasps(TEETH, gap_mm=gap, partners=(Partner.HALF_TURN,), height_limit_mm=16.0)[0]
        # Teeth between teeth halve the pitch; otherwise only the outermost pass by each other.
        assert (clasp.pitch_saved > 0.4) is enters
        assert gap <= clasp.repeat.gap_mm <= gap + 0.004


@pytest.mark.parametrize("gap", [0.03, 0.09, 0.11])
def test_hair_gaps(gap):
    for clasp in find_clasps(MOTIFS["hook"], gap_mm=gap, partners=(Partner.HALF_TURN, Partner.FLIPPED)):
        assert gap <= clasp.repeat.gap_mm <= gap + 0.004


def test_a_flipped_level_is_even():
    level = fine_level(MOTIFS["branch"], 0.8)
    rows = level.rows(Partner.FLIPPED, np.array([-3.0, 1.0, 2.5]))
    for i in range(3):
        np.testing.assert_allclose(rows.row(i), -rows.row(i)[::-1, ::-1], atol=1e-12)
    plain = plain_rows(MOTIFS["branch"], 0.8, Partner.FLIPPED, np.array([-3.0, 1.0, 2.5]))
    for i in range(3):
        np.testing.assert_allclose(rows.row(i), plain.row(i), atol=0.01)
