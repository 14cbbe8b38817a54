"""Which sheets may be lasered: the table of what must not, look-alike names, and where each statement comes from."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from friezewright.materials import CAUTIONS, DO_NOT_RUN, Standing, cautions_for, judge

# The rows: UT Austin, UW-Madison EHS and makerspace lists; what has no published source here says so in its reason.
REFUSED = [
    ("PVC", "chlor"),
    ("p.v.c.", "chlor"),
    ("vinyl", "chlor"),
    ("vinyl-coated plywood", "chlor"),
    ("Vinyl coated birch plywood", "chlor"),
    ("poly vinyl chloride", "chlor"),
    ("faux leather", "chlor"),
    ("leatherette", "chlor"),
    ("PVB", "chlor"),
    ("neoprene", "chlor"),
    ("PTFE", "fluor"),
    ("fluoropolymer film", "fluor"),
    ("ABS", "nitrogen"),
    ("abs sheet, 3 mm", "nitrogen"),
    ("polyurethane", "nitrogen"),
    ("PU leather", "nitrogen"),
    ("nylon 66", "nitrogen"),
    ("melamine-faced MDF", "nitrogen"),
    ("polycarbonate", "discolours"),
    ("poly-carbonate", "discolours"),
    ("polystyrene foam", "drip"),
    ("EPS", "drip"),
    ("polypropylene foam", "drip"),
    ("HDPE", "drip"),
    ("foam board", "drip"),
    ("epoxy", "resin"),
    ("fibreglass", "resin"),
    ("fiber glass", "resin"),
    ("FR4", "resin"),
    ("carbon fibre", "resin"),
    ("carbon-fiber composite", "resin"),
    ("adhesive-backed cork", "adhesive"),
    ("self adhesive paper", "adhesive"),
    ("painted MDF", "coating"),
    ("coated paper", "coating"),
    ("powder-coated oak", "coating"),
    ("laminated plywood", "coating"),
    ("pressure-treated pine", "arsenic"),
    ("treated pine", "arsenic"),
    ("reclaimed oak", "arsenic"),
    ("salvaged wood", "arsenic"),
    ("pallet wood", "arsenic"),
    ("chrome-tanned leather", "chromium VI"),
    ("leather, chrome tanned", "chromium VI"),
    ("galvanised steel", "zinc"),
    ("galvanized sheet", "zinc"),
    ("mirror acrylic", "mirror"),
]


@pytest.mark.parametrize(("material", "why"), REFUSED)
def test_hazardous_materials_are_refused_with_the_reason_and_its_source(material, why):
    verdict = judge(material)

    assert verdict.standing is Standing.REFUSED
    assert not verdict.may_run
    assert why in verdict.reason
    assert verdict.source
    assert verdict.source in cautions_for(verdict)[0]


ALLOWED = [
    "plywood",
    "birch plywood",
    "Birch Plywood, 3 mm",
    "3mm poplar ply",
    "1/4 in plywood",
    "5-ply low-emission baltic birch plywood",
    "MDF",
    "medium-density fibreboard",
    "uncoated MDF",
    "oak",
    "solid oak board",
    "white oak",
    "untreated pine",
    "un-treated pine",
    "not treated pine",
    "black walnut",
    "acrylic",
    "clear cast acrylic",
    "PMMA",
    "paperboard",
    "corrugated cardboard",
    "kraft paper",
    "cork",
    "veg-tanned leather",
    "vegetable tanned leather",
    "wool felt",
    "red wool felt",
]


@pytest.mark.parametrize("material", ALLOWED)
def test_materials_that_are_cut_with_care_are_allowed_with_their_cautions(material):
    verdict = judge(material)

    assert verdict.standing is Standing.ALLOWED
    assert verdict.may_run
    assert verdict.source


UNKNOWN = [
    "marine plywood",
    "phenolic plywood",
    "white plywood",
    "white MDF",
    "veneered MDF",
    "hardboard",
    "wood",
    "leather",
    "felt",
    "acrylic felt",
    "polyester",
    "foam",
    "glass",
    "steel",
    "plywood or MDF",
    "oak and something",
    "yew",
    "absorbent card",
    "sandwich board",
    "cabs",
    "spc",
    "corkscrew",
    "soak",
    "???",
    "дуб",
]


@pytest.mark.parametrize("material", UNKNOWN)
def test_everything_else_is_unknown_and_an_unknown_material_is_a_no(material):
    verdict = judge(material)

    assert verdict.standing is Standing.UNKNOWN
    assert not verdict.may_run
    assert "do not run" in verdict.reason


@pytest.mark.parametrize("material", [None, "", "  \n"])
def test_a_material_that_is_not_stated_is_marked_so(material):
    verdict = judge(material)

    assert verdict.standing is Standing.UNKNOWN
    assert verdict.reason == DO_NOT_RUN == "material not stated: do not run"


def test_an_unknown_word_is_named_so_that_a_maker_can_do_something_about_it():
    assert '"marine"' in judge("marine plywood").reason
    assert '"vegetable-tanned leather"' in judge("leather").reason


def test_the_glue_of_boards_and_the_fume_of_acrylic_are_cautioned_about():
    assert any("formaldehyde" in line and "CARB" in line for line in cautions_for(judge("MDF")))
    assert any("methyl methacrylate" in line and "Munoz" in line for line in cautions_for(judge("acrylic")))


@pytest.mark.parametrize("material", ["oak", "PVC", "marine plywood", None])
def test_every_ticket_carries_all_common_cautions(material):
    lines = cautions_for(judge(material))

    assert lines[-len(CAUTIONS) :] == tuple(str(caution) for caution in CAUTIONS)
    text = " ".join(lines)
    for word in (
        "food contact",
        "toys",
        "scrap of the same sheet",
        "running alone",
        "manual",
        "local codes",
        "Exhaust",
    ):
        assert word in text
    assert "watt" not in text.lower()


def test_what_is_from_memory_says_so():
    for material in ("pressure-treated pine", "chrome-tanned leather"):
        assert "from memory, verify" in cautions_for(judge(material))[0]


@given(
    hazard=st.sampled_from([material for material, _ in REFUSED]),
    before=st.sampled_from(["", "birch plywood", "oak", "acrylic", "3 mm"]),
    after=st.sampled_from(["", "plywood", "MDF", "sheet", "and oak"]),
    upper=st.booleans(),
)
def test_a_hazard_is_refused_whatever_stands_around_it(hazard, before, after, upper):
    written = f"{before} {hazard} {after}"

    assert judge(written.upper() if upper else written).standing is Standing.REFUSED


@given(st.text(max_size=60))
def test_any_text_gets_a_verdict_and_never_an_error(text):
    verdict = judge(text)

    assert cautions_for(verdict)
    assert verdict.may_run == (verdict.standing is Standing.ALLOWED)
