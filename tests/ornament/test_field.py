"""Fields keep to their zone, keep their gap, and are symmetric about their anchor where the group allows."""

import numpy as np
import pytest
import shapely

from friezewright.findings import Severity
from friezewright.geometry import cubic
from friezewright.geometry.artwork import Artwork
from friezewright.geometry.outline import Outline, circle, polygon, rounded_rectangle
from friezewright.geometry.planar.region import region_of
from friezewright.ornament.field import Edge, FieldRequest, field
from friezewright.ornament.place import PlaceRequest, place
from friezewright.panel.panel import Opening, Panel
from friezewright.panel.zone import KeepOff, zone_of
from friezewright.pattern.fields import field as pattern_of
from friezewright.pattern.groups import PlaneGroup

# A wedge with a bite out of it: no symmetry of its own.
WEDGE = polygon([(-4, -3), (5, -2), (1, 0), (4, 3), (-4, 2)])
PANEL = Panel(
    rim=rounded_rectangle((0, 0), (120, 90), 6),
    cutouts=(Opening("eye", circle((40, 45), 14)), Opening("slot", rounded_rectangle((86, 20), (10, 50), 5))),
)
KEEP_OFF = KeepOff(rim_mm=5, cutouts_mm=3)
ZONE = zone_of(PANEL, KEEP_OFF)


def request(group: PlaneGroup, edge: Edge, **changes) -> FieldRequest:
    asked = {
        "name": "ground",
        "repeat": pattern_of(WEDGE, group, gap_mm=0.8),
        "gap_mm": 0.8,
        "anchor_mm": (60.0, 45.0),
        "edge": edge,
        "least_width_mm": 0.3,
        "tolerance_mm": 0.01,
    }
    return FieldRequest(**(asked | changes))


def polygons(artwork: Artwork[Outline]) -> list:
    """Return every copy as a polygon, by a way of its own: dense points of each loop, holes by winding."""
    shapes = []
    for copy in artwork.copies():
        area = shapely.Polygon()
        for loop in copy.loops():
            points = cubic.evaluate(copy.segments[loop][:, None], np.linspace(0, 1, 32)[None, :-1]).reshape(-1, 2)
            area = area.symmetric_difference(shapely.Polygon(points))
        shapes.append(area)
    return shapes


def cut_area():
    rim = shapely.Polygon(PANEL.rim.flattened(tolerance_mm=1e-4)[0])
    return rim, [shapely.Polygon(part.outline.flattened(tolerance_mm=1e-4)[0]) for part in PANEL.cutouts]


@pytest.mark.parametrize("edge", list(Edge))
@pytest.mark.parametrize("group", [PlaneGroup.P1, PlaneGroup.P2, PlaneGroup.PG, PlaneGroup.P2GG, PlaneGroup.P3])
def test_nothing_comes_nearer_to_a_cut_than_asked_or_to_a_neighbour_than_the_gap(group, edge):
    made = field(request(group, edge), ZONE)
    rim, openings = cut_area()

    burned = polygons(made.areas)

    assert made.counts["copies"] == len(burned) > 10
    assert min(rim.exterior.distance(area) for area in burned) >= 5.0 - 2e-3
    assert all(rim.contains(area) for area in burned)
    assert min(opening.distance(area) for opening in openings for area in burned) >= 3.0 - 2e-3
    tree = shapely.STRtree(burned)
    first, second = tree.query(burned, predicate="dwithin", distance=2.0)
    gaps = [burned[i].distance(burned[j]) for i, j in zip(first, second, strict=True) if i < j]
    assert min(gaps) >= 0.8 - 1e-6
    assert made.measured_gap_mm == pytest.approx(min(gaps), abs=0.02)


@pytest.mark.parametrize("group", [PlaneGroup.P2, PlaneGroup.P2GG, PlaneGroup.P4, PlaneGroup.P6])
def test_a_field_with_half_turns_is_symmetric_about_its_anchor(group):
    plain = Panel(rim=rounded_rectangle((0, 0), (120, 90), 6))
    made = field(request(group, Edge.WHOLE), zone_of(plain, KEEP_OFF))

    centres = np.array([area.centroid.coords[0] for area in polygons(made.areas)])
    turned = np.array([120.0, 90.0]) - centres

    distance = np.hypot(*np.moveaxis(centres[:, None] - turned[None], -1, 0)).min(axis=1)
    assert distance.max() < 1e-6


def test_trimmed_fields_cover_what_whole_ones_leave_open():
    whole, trimmed = (field(request(PlaneGroup.P2GG, edge), ZONE) for edge in Edge)

    assert trimmed.counts["copies"] - trimmed.counts["trimmed"] == whole.counts["copies"]
    assert sum(area.area for area in polygons(trimmed.areas)) > 1.2 * sum(area.area for area in polygons(whole.areas))


def test_a_named_area_bounds_its_field():
    area = region_of(rounded_rectangle((10, 10), (40, 20), 0.0))
    made = field(request(PlaneGroup.P1, Edge.TRIMMED, within=area), ZONE)

    boxes = np.array([piece.bounds for piece in polygons(made.areas)])
    assert boxes[:, :2].min() >= 10.0 - 1e-6
    assert boxes[:, 2].max() <= 50.0 + 1e-6
    assert boxes[:, 3].max() <= 30.0 + 1e-6
    assert made.claim.area_mm2() <= 800.0


def test_a_field_without_room_says_so_and_what_would_do():
    area = region_of(rounded_rectangle((8, 8), (4, 4), 0.0))
    made = field(request(PlaneGroup.P2, Edge.WHOLE, within=area), ZONE)

    assert len(made.areas) == 0
    assert [finding.code for finding in made.findings] == ["empty-field"]
    assert "4.0 mm across" in made.findings[0].message


def test_slivers_are_dropped_and_counted():
    made = field(request(PlaneGroup.P2GG, Edge.TRIMMED, least_width_mm=1.0), ZONE)

    assert made.counts["dropped"] > 0
    assert [finding.code for finding in made.findings] == ["sliver-dropped"]
    for area in polygons(made.areas):
        assert not area.buffer(-0.5 + 0.02).is_empty


def set_down(**changes) -> PlaceRequest:
    asked = {"name": "one", "shape": WEDGE, "at_mm": (70.0, 20.0), "gap_mm": 1.0, "tolerance_mm": 0.01}
    return PlaceRequest(**(asked | changes))


def test_a_motif_stands_where_it_was_set_turned_after_it_was_mirrored():
    made = place(set_down(turn_rad=np.pi / 2, mirrored=True), ZONE)
    (copy,) = made.areas.copies()

    corners = sorted(map(tuple, np.round(copy.segments[:, 0], 9).tolist()))
    # (x, y) is mirrored to (-x, y), then a quarter turn clockwise on screen takes it to (-y, -x).
    expected = sorted((70.0 - y, 20.0 - x) for x, y in [(-4, -3), (5, -2), (1, 0), (4, 3), (-4, 2)])
    assert np.allclose(corners, expected, rtol=0, atol=1e-8)
    assert made.findings == ()
    assert copy.area_mm2() == pytest.approx(WEDGE.area_mm2())


def test_a_whole_motif_that_leaves_the_zone_stops_the_job():
    made = place(set_down(at_mm=(7.0, 20.0)), ZONE)

    assert len(made.areas) == 0
    (finding,) = made.findings
    assert (finding.code, finding.severity) == ("out-of-zone", Severity.STOP)
    assert "2.00 mm past" in finding.message


def test_a_trimmed_motif_is_cut_at_the_zone():
    made = place(set_down(at_mm=(7.0, 20.0), edge=Edge.TRIMMED), ZONE)
    (area,) = polygons(made.areas)

    assert area.bounds[0] == pytest.approx(5.0, abs=5e-3)
    assert made.findings == ()
