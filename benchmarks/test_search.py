"""How long a search for fields takes, on one core: all seven groups without mirrors, in seconds and against plain ones.

The aim is 12 seconds for one motif 20 mm high at a gap of 0.8 mm. The motifs are drawn ones with few curves, a spiral
that winds round its neighbours, and traced ones with hundreds of curves and holes.
"""

import pathlib
import runpy
import time

import pytest

from friezewright.geometry.outline import polygon
from friezewright.motif.library import picture
from friezewright.motif.motif import motif_from_picture
from friezewright.pattern.fields import field
from friezewright.pattern.groups import PlaneGroup
from friezewright.pattern.search import MIRROR_FREE, search_field, search_fields

TESTS = pathlib.Path(__file__).parents[1] / "tests"
MOTIFS = runpy.run_path(str(TESTS / "data" / "clasp_motifs.py"))["motifs"]()
GAP = 0.8
AIM_S = 12.0


def _seconds(work):
    # Time of this process, so that others on the same machine do not count.
    start = time.process_time()
    result = work()
    return time.process_time() - start, result


@pytest.mark.parametrize("name", ["moth", "hook", "spiral"])
def test_seven_groups_of_a_drawn_motif(name):
    _report(name, MOTIFS[name])


@pytest.mark.parametrize("name", ["leaf", "swallow", "tendril", "bee"])
def test_seven_groups_of_a_traced_motif(name):
    _report(name, motif_from_picture(picture(name), name=name).at_height(20.0))


def _report(name, shape):
    plain_s, _ = _seconds(lambda: [field(shape, group, gap_mm=GAP) for group in MIRROR_FREE])
    search_s, found = _seconds(lambda: search_fields(shape, gap_mm=GAP))
    best = found[0]
    print(f"\n{name}: {search_s:.1f} s, plain fields {plain_s:.1f} s; best {best.group}, {best.saved:.0%} saved")
    assert search_s < AIM_S


@pytest.mark.parametrize("group", [PlaneGroup.P2, PlaneGroup.P2GG])
def test_a_needle(group):
    # The ugly twin: a thousand times as long as it is wide, with hundreds of copies side by side within its reach.
    needle = polygon([(0, 0), (200, 0), (200, 0.2), (0, 0.2)])
    needle_s, made = _seconds(lambda: search_field(needle, group, gap_mm=GAP))
    hook_s, _ = _seconds(lambda: search_field(MOTIFS["hook"], group, gap_mm=GAP))
    print(f"\nneedle {group}: {needle_s:.1f} s, {needle_s / hook_s:.0f} times the hook's; {made.ink_share:.4f} of ink")
    assert needle_s < 30.0 * hook_s


@pytest.mark.parametrize("gap", [0.02, 10.0])
def test_gaps_far_from_the_usual(gap):
    near_s, _ = _seconds(lambda: search_field(MOTIFS["hook"], PlaneGroup.P2GG, gap_mm=gap))
    usual_s, _ = _seconds(lambda: search_field(MOTIFS["hook"], PlaneGroup.P2GG, gap_mm=GAP))
    print(f"\ngap {gap:g} mm: {near_s:.1f} s, {near_s / usual_s:.1f} times that of {GAP:g} mm")
    assert near_s < 12.0 * usual_s
