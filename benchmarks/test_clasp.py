"""Speed of the clasp search against brute force in the same run, and its exactness at full counts."""

import runpy
import time
from pathlib import Path

import numpy as np
import pytest
import shapely

from friezewright.motif import library
from friezewright.motif.motif import motif_from_picture
from friezewright.pattern.clasp import Partner, find_clasps
from friezewright.pattern.clasp_search import StripSearch
from friezewright.pattern.level import fine_level
from friezewright.pattern.pieces import grown, on_grid, pieces_of_edges
from friezewright.pattern.pitch import best_pitch, glide_pitch, own_pitches
from friezewright.pattern.row_fields import row_fields
from friezewright.pattern.rows import forbidden_rows
from friezewright.pattern.seat import centred

TESTS = Path(__file__).parents[1] / "tests"
MOTIFS = runpy.run_path(str(TESTS / "data" / "clasp_motifs.py"))["motifs"]()
ORACLE = runpy.run_path(str(TESTS / "data" / "clasp_oracle.py"))
GAP = 0.8
BRUTE_STEP_MM = 0.05
BRUTE_SUBSET = 600


def _best(work, rounds=3):
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def _search(motif):
    return StripSearch(motif, GAP).fits(tuple(Partner), (False,), None, "pitch")


def _brute_s(motif):
    """Return the time of measuring every place on a grid, from a random subset, scaled by the count."""
    area = ORACLE["polygon_of"](motif, 0.01)
    width, height = np.ptp(motif.bounds(), axis=0)
    # Places along up to twice the width either way and across as far as the search goes.
    count = 4 * width / BRUTE_STEP_MM * (0.5 * height / BRUTE_STEP_MM + 1)
    rng = np.random.default_rng(2)
    places = np.stack([rng.uniform(-2 * width, 2 * width, BRUTE_SUBSET),
                       rng.uniform(-0.25 * height, 0.25 * height, BRUTE_SUBSET)], axis=1)  # fmt: skip
    seconds = [_best(lambda p=partner: ORACLE["distances"](area, p.value, places), 2) for partner in Partner]
    return sum(seconds) * count / BRUTE_SUBSET


def test_four_partners_against_brute_force():
    rows = []
    for name, shape in MOTIFS.items():
        motif = centred(shape, 0.0)
        search_s = _best(lambda m=motif: _search(m))
        whole_s = _best(lambda s=shape: find_clasps(s, gap_mm=GAP, strict=(False,)), 2)
        rows.append((search_s, whole_s, _brute_s(motif) / search_s, name))
    print(f"\nfour partners, {len(rows)} motifs; brute force timed on {BRUTE_SUBSET} places a partner and scaled")
    for search_s, whole_s, ratio, name in rows:
        print(f"  {name:10s} search {search_s * 1e3:6.1f} ms, laid out and measured {whole_s * 1e3:6.1f} ms,"
              f" brute force {ratio:7.0f} times as long")  # fmt: skip
    search, whole, ratio = (np.array([row[i] for row in rows]) for i in range(3))
    print(f"search: median {np.median(search) * 1e3:.1f} ms, worst {search.max() * 1e3:.1f} ms;"
          f" with strips laid out: {np.median(whole) * 1e3:.1f} and {whole.max() * 1e3:.1f} ms;"
          f" brute force at least {ratio.min():.0f} times, median {np.median(ratio):.0f} times as long")  # fmt: skip
    assert ratio.min() >= 70.0


def test_traced_motifs():
    times = []
    for name in library.names():
        motif = centred(motif_from_picture(library.picture(name), name=name).at_height(20.0), 0.3)
        times.append(_best(lambda m=motif: _search(m), 2))
        print(f"\n  {name:10s} {len(motif.segments)} segments: {times[-1] * 1e3:.0f} ms", end="")
    print(f"\ntraced motifs: median {np.median(times) * 1e3:.0f} ms, worst {max(times) * 1e3:.0f} ms")
    plain = _best(lambda: _search(centred(MOTIFS["spiral"], 0.0)))
    assert max(times) < 12.0 * plain


def test_pitches_at_101_offsets_equal_those_of_triangles():
    worst = 0.0
    for name, shape in MOTIFS.items():
        area = ORACLE["polygon_of"](shape, 0.1)
        larger = area.buffer(GAP, quad_segs=3)
        x, y = (pieces_of_edges(*ORACLE["rings_of"](each)) for each in (larger, area))
        thirds = ORACLE["triangles_of"](larger)
        height = float(np.ptp(shapely.bounds(area)[1::2]))
        shifts = on_grid(np.linspace(-0.25 * height, 0.25 * height, 101))
        own_runs = ORACLE["runs_by_triangles"](thirds, ORACLE["triangles_of"](area), 0.0).tolist()
        own = own_pitches(forbidden_rows(x, y, np.zeros(1)).row(0))
        for partner in Partner:
            image = y.mirrored() if partner.signs[0] < 0 else y
            image = image.flipped() if partner.signs[1] < 0 else image
            other = ORACLE["triangles_of"](ORACLE["image"](area, partner.value))
            pitch, _ = best_pitch(forbidden_rows(x, image, shifts), own)
            for i, shift in enumerate(shifts):
                runs = ORACLE["runs_by_triangles"](thirds, other, shift).tolist()
                away = abs(pitch[i] - ORACLE["pitch_by_trial"](runs, own_runs))
                if away > 1e-6:
                    print(f"\n{name} {partner} at {shift}: {pitch[i]}, off by {away}")
                worst = max(worst, away)
    print(f"\n{len(MOTIFS) * 4 * 101} pitches against triangles: worst {worst:.1e} mm")
    assert worst <= 1e-6


def test_no_grid_of_twenty_times_as_many_offsets_is_better():
    worst, share = 0.0, 1.0
    for shape in MOTIFS.values():
        motif = centred(shape, 0.0)
        level, height = fine_level(motif, GAP), float(np.ptp(motif.bounds()[:, 1]))
        shifts = np.linspace(-0.25 * height, 0.25 * height, 2 * 50 * 20 + 1)
        for fit in StripSearch(motif, GAP).fits(tuple(Partner), (False, True), None, "pitch"):
            if fit.strict and fit.partner in (Partner.SAME, Partner.MIRRORED):
                continue
            rows = level.rows(fit.partner, shifts)
            glides = fit.strict and fit.partner is Partner.FLIPPED
            dense = float((glide_pitch(rows, level.own) if glides else best_pitch(rows, level.own)[0]).min())
            worst = max(worst, fit.pitch_mm / dense - 1.0)
            saved = 1.0 - dense / (2.0 * level.own.side_by_side_mm)
            if saved > 0.01:
                share = min(share, fit.pitch_saved / saved)
    print(f"\nagainst 2,001 offsets: pitch longer by {worst:.1e} at worst, at least {share:.2%} of its saving")
    assert worst <= 1e-4
    assert share >= 0.99


def test_1500_random_rows_against_a_scan():
    made = runpy.run_path(str(TESTS / "pattern" / "test_pitch.py"))
    rng = np.random.default_rng(1)
    wrong = [0, 0]
    for _ in range(1500):
        runs, own = made["random_case"](rng)
        allowed, rows = own_pitches(own), made["rows_of"](runs)
        pitch, _ = best_pitch(rows, allowed)
        glide = glide_pitch(rows, allowed)
        shorter = made["scan"](runs, own, np.arange(0.4, pitch[0] - 0.02, 0.05)).any()
        wrong[0] += bool(shorter or not ORACLE["pitch_is_clear"](pitch[0], runs.tolist(), own.tolist()))
        shorter = made["glide_clear"](runs, own, np.arange(0.4, glide[0] - 1e-3, 0.02)).any()
        wrong[1] += bool(shorter or not made["glide_clear"](runs, own, glide)[0])
    print(f"\n1,500 random rows: {wrong[0]} wrong free, {wrong[1]} wrong with a glide")
    assert wrong == [0, 0]


def test_50000_places_measured_one_by_one():
    total, least, most = 0, np.inf, 0.0
    for shape in MOTIFS.values():
        area = ORACLE["polygon_of"](shape, 0.01)
        pieces = pieces_of_edges(*ORACLE["rings_of"](area))
        wide = grown(pieces, GAP, excess_mm=0.0005)
        rng = np.random.default_rng(7)
        across = np.repeat(rng.uniform(-14, 14, 125), 5)
        places = np.stack([rng.uniform(-22, 22, len(across)), across], axis=1)
        for partner in Partner:
            image = pieces.mirrored() if partner.signs[0] < 0 else pieces
            ends = forbidden_rows(wide, image.flipped() if partner.signs[1] < 0 else image, across).ends
            free = ~np.any((places[:, :1] > ends[..., 0]) & (places[:, :1] < ends[..., 1]), axis=1)
            away = ORACLE["distances"](area, partner.value, places)
            least, most = min(least, away[free].min()), max(most, away[~free].max(initial=0.0))
            total += len(places)
    print(f"\n{total} places: free ones at least {least:.7f} mm apart, others at most {most:.7f}, for a gap of {GAP}")
    assert total >= 50_000
    assert least >= GAP - 1e-7
    assert most <= GAP + 0.0005 + 1e-7


@pytest.mark.parametrize("name", ["comma", "spiral"])
def test_fields_of_rows_against_one_strip_search(name):
    shape = MOTIFS[name]
    strip_s = _best(lambda: _search(centred(shape, 0.0)))
    field_s = _best(lambda: row_fields(shape, gap_mm=GAP), 1)
    print(f"\n{name}: p1, p2 and pg {field_s * 1e3:.0f} ms, {field_s / strip_s:.0f} strip searches")
    assert field_s < 60.0 * strip_s
