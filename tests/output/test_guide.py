"""The guide says what is where, for people, and is never taken for a drawing to run."""

import re

import numpy as np
import pytest
from lxml import etree

from friezewright.errors import DrawingError
from friezewright.geometry.artwork import Artwork
from friezewright.geometry.outline import circle, polygon, rounded_rectangle
from friezewright.geometry.planar.region import region_of
from friezewright.inspection.check import inspect
from friezewright.ornament.ornament import Ornament
from friezewright.output.guide import write_guide
from friezewright.panel.panel import Opening, Panel
from friezewright.panel.zone import KeepOff, zone_of

NAMESPACE = {"s": "http://www.w3.org/2000/svg"}
PANEL = Panel(
    rim=rounded_rectangle((0, 0), (100, 60), 5),
    cutouts=(Opening("eye & hole", circle((30, 30), 10)),),
    reserves=(Opening("plate", rounded_rectangle((60, 20), (20, 10))),),
)
ZONE = zone_of(PANEL, KeepOff(rim_mm=5, cutouts_mm=3))


def ornament(name: str, count: int) -> Ornament:
    triangle = polygon([(50, 10), (56, 10), (53, 15)])
    return Ornament(
        name=name,
        areas=Artwork.single([triangle] * count),
        gap_mm=1.0,
        measured_gap_mm=None,
        claim=region_of(rounded_rectangle((48, 8), (10, 10))),
    )


def parsed(*ornaments: Ornament):
    return etree.fromstring(write_guide(PANEL, ZONE, list(ornaments), title="Lid <1>"))


def test_every_part_is_drawn_and_named_in_the_panels_own_frame():
    root = parsed(ornament("edge", 2))

    assert root.get("width") == "100mm"
    assert root.get("viewBox") == "0 0 100 60"
    assert [group.get("id") for group in root.iterfind("s:g", NAMESPACE)] == [
        "cuts",
        "keep-off",
        "reserves",
        "claim of edge",
        "names",
    ]
    assert [text.text for text in root.iterfind(".//s:text", NAMESPACE)] == ["eye & hole", "plate", "edge"]
    assert "not to be run" in root.findtext("s:title", namespaces=NAMESPACE)


def test_the_line_of_the_zone_keeps_the_asked_distance():
    root = parsed()
    (zone,) = root.iterfind("s:g[@id='keep-off']/s:path", NAMESPACE)
    numbers = np.array([float(word) for word in re.findall(r"-?[\d.]+", zone.get("d"))])

    points = numbers.reshape(-1, 2)
    assert points[:, 0].min() == pytest.approx(5.0, abs=0.04)
    assert points[:, 1].max() == pytest.approx(55.0, abs=0.04)


def test_a_single_motif_is_shown_by_its_box():
    (claim,) = parsed(ornament("one", 1)).iterfind("s:g[@id='claim of one']/s:path", NAMESPACE)

    assert claim.get("d").startswith("M50 10")


def test_the_checker_does_not_take_a_guide_for_a_drawing():
    data = write_guide(PANEL, ZONE, [], title="Lid")

    try:
        report = inspect(data, name="guide.svg")
    except DrawingError:
        return
    assert report.findings
