"""Trimming: against fine polygons, an independent curve engine, and what must hold whatever is cut."""

import math

import numpy as np
import pathops
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from friezewright.errors import GeometryError
from friezewright.geometry import affine, cubic
from friezewright.geometry.artwork import Artwork, Placements, concatenate_artwork
from friezewright.geometry.outline import Outline, circle, concatenate, polygon, rounded_rectangle
from friezewright.geometry.planar import overlay
from friezewright.geometry.planar.coarse import INSIDE, NEAR, Discs, sides_of
from friezewright.geometry.planar.overlay import trim
from friezewright.geometry.planar.polygons import overlaid
from friezewright.geometry.planar.region import contains_points, difference, distance_to_edge, empty, region_of, union
from friezewright.testing import assert_closed, assert_wound

TRUTH = 1e-5
HALF = 1e4


def half_plane(point, angle):
    """Return a square so large that only one of its sides is near, through a point."""
    out, along = np.array([math.cos(angle), math.sin(angle)]), np.array([-math.sin(angle), math.cos(angle)])
    corners = [point - HALF * along, point + HALF * along, point + HALF * (along - out), point - HALF * (along + out)]
    return polygon(corners)


def one(shape, matrix=None):
    return Artwork(
        (shape,),
        Placements(
            matrix=affine.identity(1) if matrix is None else matrix[None],
            shape=np.zeros(1, dtype=int),
            member=np.zeros(1, dtype=int),
        ),
    )


def fine(outline):
    return region_of(outline, tolerance_mm=TRUTH).shape


def pieces_of(trimmed):
    return list(trimmed.artwork.copies())[len(trimmed.kept_whole) :]


def check(trimmed):
    """Assert what every result promises; return its area."""
    for piece, origin in zip(pieces_of(trimmed), trimmed.segment_of, strict=True):
        assert_closed(piece)
        assert_wound(piece)
        assert np.hypot(*(piece.segments[:, 3] - piece.segments[:, 0]).T).min() > 0.0
        assert np.array_equal(origin < 0, piece.is_edge)
    return sum(copy.area_mm2() for copy in trimmed.artwork.copies())


def stray(piece, truth):
    """Return how far a piece's edge and the true one lie apart, in mm, the larger of both ways."""
    a, b = shapely.boundary(fine(piece)), shapely.boundary(truth)
    both = [(shapely.points(shapely.get_coordinates(p)), q) for p, q in ((a, b), (b, a))]
    # Vertices 1e-5 mm off their curves stand for it; a tree of chords finds the nearest of thousands quickly.
    return max(
        shapely.STRtree(_chords(q)).query_nearest(p, all_matches=False, return_distance=True)[1].max() for p, q in both
    )


def _chords(lines):
    points, line = shapely.get_coordinates(shapely.get_parts(lines), return_index=True)
    same = line[1:] == line[:-1]
    return shapely.linestrings(np.stack([points[:-1][same], points[1:][same]], axis=1))


@given(seed=st.integers(0, 400), angle=st.floats(0.0, 6.3), x=st.floats(-1.8, 1.8), mirrored=st.booleans())
@settings(max_examples=25, deadline=None)
def test_a_straight_cut_is_the_true_intersection(make, seed, angle, x, mirrored):
    shape = make.motif(seed)
    matrix = affine.rotation(0.7 * angle, (0.3, 0.1))
    matrix = affine.compose(matrix, affine.mirror_x()) if mirrored else matrix
    zone = region_of(half_plane(np.array([x, 0.2]), angle))
    found = trim(one(shape, matrix), zone, tolerance_mm=0.01)
    truth = shapely.intersection(fine(shape.transformed(matrix)), zone.shape)
    # Chords of 1e-5 along 20 mm of edge, and the crossings of a near tangent cut.
    assert check(found) == pytest.approx(truth.area, abs=4e-4)
    assert found.fallbacks == 0
    for piece in pieces_of(found):
        assert stray(piece, truth) < 1e-4
        assert piece.is_line[piece.is_edge].all()


@given(seed=st.integers(0, 400), x=st.floats(-3.0, 3.0), y=st.floats(-3.0, 3.0), radius=st.floats(0.2, 30.0))
@settings(max_examples=25, deadline=None)
def test_kept_and_cut_make_up_the_whole(make, seed, x, y, radius):
    shape = make.motif(seed)
    hole = region_of(circle((x + radius, y), radius))
    around = difference(region_of(rounded_rectangle((-200.0, -200.0), (400.0, 400.0))), hole)
    kept, cut = (trim(one(shape), zone, tolerance_mm=0.01) for zone in (around, hole))
    # Both sides draw the same arcs; what they share along them is counted by neither or cancels.
    assert check(kept) + check(cut) == pytest.approx(shape.area_mm2(), abs=1e-3)
    assert kept.fallbacks + cut.fallbacks == 0


def sixteen(make, seed=0):
    return make.scattered(make.motif(seed), 4)


@pytest.mark.parametrize("radius", [2.0, 9.0, 30.0])
def test_along_a_round_cutout_the_edge_is_the_true_circle(make, radius):
    field = sixteen(make)
    centre = (8.0 + radius, 9.6)
    disc = circle(centre, radius)
    zone = difference(region_of(rounded_rectangle((-40.0, -40.0), (110.0, 110.0))), region_of(disc))
    found = trim(field, zone, tolerance_mm=0.01)
    assert found.piece_of.size
    check(found)
    for piece in pieces_of(found):
        edge = piece.segments[piece.is_edge]
        # Fitted through vertices that lie on the circle: a hundred times nearer to it than the chords.
        away = np.hypot(*(cubic.evaluate(edge[:, None], np.linspace(0, 1, 33)) - centre).T) - radius
        assert np.abs(away).max() < 1.2e-4
    truth = [shapely.difference(fine(copy), fine(disc)) for copy in field.copies()]
    for copy, piece in zip(found.piece_of, pieces_of(found), strict=True):
        assert stray(piece, truth[copy]) < 3e-4


@pytest.mark.parametrize("tolerance", [0.01, 0.0005])
def test_the_curves_are_the_motif_s_own(make, tolerance):
    shape = make.motif(3)
    found = trim(sixteen(make, 3), region_of(circle((9.0, 9.0), 8.0)), tolerance_mm=tolerance)
    field = sixteen(make, 3)
    for copy, piece, origin in zip(found.piece_of, pieces_of(found), found.segment_of, strict=True):
        source = affine.apply(field.placements.matrix[copy], shape.segments)
        for segment, index in zip(piece.segments[origin >= 0], origin[origin >= 0], strict=True):
            points = cubic.evaluate(segment[None], np.linspace(0, 1, 5))
            many = cubic.evaluate(source[index][None], np.linspace(0, 1, 4001))
            nearest = np.hypot(*(points[:, None] - many).transpose(2, 0, 1)).min(axis=1)
            # Half a step between 4001 points is 1.5e-4 mm along the curve, nothing across it.
            assert nearest.max() < 3e-4
        entire = [i for i in np.flatnonzero(origin >= 0) if not piece.is_line[i]]
        kinds = shape.is_line[origin[entire]]
        assert not kinds.any()


def test_far_fewer_segments_than_a_polyline_has_vertices(make):
    field = make.scattered(make.motif(), 12)
    zone = difference(region_of(circle((35.0, 35.0), 34.0)), region_of(circle((30.0, 40.0), 11.0)))
    found = trim(field, zone, tolerance_mm=0.01)
    polyline = sum(
        shapely.get_num_coordinates(
            shapely.intersection(
                region_of(field.shapes[0].transformed(field.placements.matrix[i]), tolerance_mm=0.01).shape, zone.shape
            )
        )
        for i in found.piece_of
    )
    assert sum(len(piece.segments) for piece in pieces_of(found)) <= 0.3 * polyline


def test_every_copy_has_the_area_of_its_intersection(make):
    field = make.scattered(make.motif(2), 10)
    zone = difference(
        region_of(rounded_rectangle((3.0, 2.0), (50.0, 52.0))), region_of(polygon([(20, 20), (41, 25), (28, 44)]))
    )
    found = trim(field, zone, tolerance_mm=0.01)
    got = dict.fromkeys(range(len(field)), 0.0)
    got |= {int(i): field.shapes[0].area_mm2() for i in found.kept_whole}
    got |= {int(i): piece.area_mm2() for i, piece in zip(found.piece_of, pieces_of(found), strict=True)}
    for i, copy in enumerate(field.copies()):
        assert got[i] == pytest.approx(shapely.intersection(fine(copy), zone.shape).area, abs=4e-4)
    assert found.crossing == len(found.piece_of)
    assert found.artwork.placements.member.tolist() == [
        int(field.placements.member[i]) for i in [*found.kept_whole, *found.piece_of]
    ]


def skia_area(outline, clip):
    """Return the area that another engine, which cuts curves as curves in single precision, finds."""
    paths = []
    for shape in (outline, clip):
        path = pathops.Path()
        pen = path.getPen()
        for loop in shape.loops():
            pen.moveTo(tuple(shape.segments[loop.start, 0]))
            for i in range(loop.start, loop.stop):
                if shape.is_line[i]:
                    pen.lineTo(tuple(shape.segments[i, 3]))
                else:
                    pen.curveTo(*map(tuple, shape.segments[i, 1:]))
            pen.closePath()
        paths.append(path)
    result = pathops.op(*paths, pathops.PathOp.INTERSECTION, fix_winding=True)
    segments, here, start = [], None, None
    for verb, points in result.segments:
        if verb == "moveTo":
            here = start = np.array(points[0])
            continue
        if verb == "closePath":
            segments.append(cubic.line(here, start))
            continue
        if verb == "lineTo":
            segments.append(cubic.line(here, points[0]))
        elif verb == "curveTo":
            segments.append(np.array([here, *points]))
        else:
            middle, end = np.array(points[:-1]), np.array(points[-1])
            assert len(middle) == 1, verb
            segments.append(np.array([here, here + 2 / 3 * (middle[0] - here), end + 2 / 3 * (middle[0] - end), end]))
        here = np.array(points[-1])
    return abs(cubic.signed_area(np.array(segments))) if segments else 0.0


@given(seed=st.integers(0, 400), x=st.floats(-2.0, 2.0), y=st.floats(-2.0, 2.0), radius=st.floats(0.3, 5.0))
@settings(max_examples=30, deadline=None)
def test_a_curve_engine_of_another_kind_finds_the_same_area(make, seed, x, y, radius):
    shape, clip = make.motif(seed), circle((x, y), radius)
    found = check(trim(one(shape), region_of(clip), tolerance_mm=0.01))
    # Single precision and its own curve tolerance: up to 2.5e-4 mm² on such shapes.
    assert found == pytest.approx(skia_area(shape, clip), abs=1e-3)


@given(seed=st.integers(0, 400), node=st.integers(0, 59), angle=st.floats(0.0, 6.3))
@settings(max_examples=30, deadline=None)
def test_a_cut_through_a_node(make, seed, node, angle):
    shape = make.motif(seed)
    zone = region_of(half_plane(shape.segments[node, 0], angle))
    truth = shapely.intersection(fine(shape), zone.shape)
    assert check(trim(one(shape), zone, tolerance_mm=0.01)) == pytest.approx(truth.area, abs=1e-3)


@given(
    seed=st.integers(0, 400),
    segment=st.integers(0, 59),
    t=st.floats(0.0, 1.0),
    lift=st.sampled_from([0, 1e-9, 1e-5, -1e-5, 1e-3]),
)
@settings(max_examples=40, deadline=None)
def test_a_cut_that_touches_a_curve(make, seed, segment, t, lift):
    shape = make.motif(seed)
    curve = shape.segments[[segment]]
    slope = cubic.derivative(curve, t)[0]
    out = np.array([slope[1], -slope[0]]) / np.hypot(*slope)
    zone = region_of(half_plane(cubic.evaluate(curve, t)[0] + lift * out, math.atan2(out[1], out[0])))
    truth = shapely.intersection(fine(shape), zone.shape)
    # Where a line lies along a curve the chords of sampling, 0.001 mm, decide over a strip about 0.3 mm long.
    assert check(trim(one(shape), zone, tolerance_mm=0.01)) == pytest.approx(truth.area, abs=2e-3)


@given(seed=st.integers(0, 400), away=st.sampled_from([0.0, 1e-6, 1e-4, 1e-3, -1e-4]))
@settings(max_examples=12, deadline=None)
def test_a_zone_that_hugs_the_outline(make, seed, away):
    shape = make.motif(seed)
    zone = region_of(shape.transformed(affine.translation((away, 0.3 * away))))
    truth = shapely.intersection(fine(shape), fine(shape.transformed(affine.translation((away, 0.3 * away)))))
    # Two samplings of 0.001 mm that differ along the whole edge, 25 mm long.
    assert check(trim(one(shape), zone, tolerance_mm=0.01)) == pytest.approx(truth.area, abs=0.03)


def test_a_part_inside_is_kept_though_no_part_crosses():
    two = concatenate([polygon([(0, 0), (1, 0), (1, 1), (0, 1)]), polygon([(3, 0), (4, 0), (4, 1), (3, 1)])])
    found = trim(one(two), region_of(polygon([(2, -1), (9, -1), (9, 2), (2, 2)])), tolerance_mm=0.01)
    assert check(found) == pytest.approx(1.0, abs=1e-12)
    assert found.piece_of.tolist() == [0]
    assert found.segment_of[0].tolist() == [4, 5, 6, 7]
    assert found.crossing == 1


def test_the_whole_motif_as_zone_leaves_it_whole(make):
    shape = make.motif()
    found = trim(one(shape), region_of(shape), tolerance_mm=0.01)
    assert check(found) == pytest.approx(shape.area_mm2(), abs=0.01)


def test_a_cutout_inside_a_motif_is_a_hole_in_it(make):
    zone = difference(region_of(rounded_rectangle((-9.0, -9.0), (18.0, 18.0))), region_of(circle((0.0, -0.9), 0.3)))
    shape = polygon([(-2, -2), (2, -2), (2, 2), (-2, 2)])
    found = trim(one(shape), zone, tolerance_mm=0.01)
    (piece,) = pieces_of(found)
    assert piece.loop_count == 2
    assert piece.is_edge.sum() == len(piece.segments) - 4
    assert len(piece.segments) <= 4 + 6
    assert check(found) == pytest.approx(16.0 - math.pi * 0.09, abs=1e-4)


def test_whole_keeps_only_copies_wholly_inside(make):
    field = make.scattered(make.motif(), 8)
    zone = difference(region_of(circle((22.0, 22.0), 21.0)), region_of(circle((18.0, 26.0), 6.0)))
    found = trim(field, zone, tolerance_mm=0.01, whole=True)
    wanted = [i for i, copy in enumerate(field.copies()) if zone.shape.covers(fine(copy))]
    assert found.kept_whole.tolist() == wanted
    assert len(found.artwork) == len(wanted)
    assert found.artwork.shapes == field.shapes
    both = trim(field, zone, tolerance_mm=0.01)
    assert both.kept_whole.tolist() == wanted
    assert both.crossing == found.crossing


def test_nothing_in_nothing_out(make):
    field = sixteen(make)
    for zone in (empty(), region_of(circle((500.0, 500.0), 4.0))):
        found = trim(field, zone, tolerance_mm=0.01)
        assert len(found.artwork) == 0
        assert found.artwork.shapes == ()
        assert found.crossing == 0
    none = trim(field.chosen(np.zeros(0, dtype=int)), region_of(circle((0.0, 0.0), 4.0)), tolerance_mm=0.01)
    assert len(none.artwork) == 0


def test_thin_pieces_are_left_out_and_told():
    bars = concatenate([polygon([(0, 0), (10, 0), (10, 1), (0, 1)]), polygon([(0, 3), (10, 3), (10, 5), (0, 5)])])
    zone = region_of(polygon([(-5, 0.94), (20, 0.94), (20, 9), (-5, 9)]))
    found = trim(one(bars), zone, tolerance_mm=0.01, least_width_mm=0.15)
    assert [sliver.area_mm2 for sliver in found.slivers] == pytest.approx([0.6])
    x, y = found.slivers[0].where_mm
    assert 0.0 < x < 10.0
    assert 0.94 < y < 1.0
    assert check(found) == pytest.approx(20.0)
    assert not trim(one(bars), zone, tolerance_mm=0.01, least_width_mm=0.05).slivers


def test_copies_of_unlike_shapes_and_sizes(make):
    small = make.at(make.blob(8, 0.3, 4), np.random.default_rng(3).random((200, 2)) * 40.0)
    large = one(make.blob(30, 12.0, 5, (20.0, 20.0)))
    sheared = one(make.motif(4), np.array([[1.5, 0.6, 20.0], [-0.2, 0.8, 28.0]]))
    art = concatenate_artwork([small, large, sheared])
    zone = union(region_of(circle((12.0, 20.0), 9.0)), region_of(circle((28.0, 22.0), 10.0)))
    found = trim(art, zone, tolerance_mm=0.01)
    wanted = sum(shapely.intersection(fine(copy), zone.shape).area for copy in art.copies())
    edge = shapely.length(shapely.boundary(zone.shape))
    assert check(found) == pytest.approx(wanted, abs=0.001 * edge)
    assert found.piece_of.tolist() == sorted(found.piece_of)
    assert {200, 201} <= set(found.piece_of.tolist())


def test_a_shape_that_crosses_itself_is_cut_as_what_it_covers():
    bow = Outline(
        cubic.line([(0, 0), (4, 4), (4, 0), (0, 4.1)], [(4, 4), (4, 0), (0, 4.1), (0, 0)]),
        np.ones(4, dtype=bool),
        np.array([0, 4]),
    )
    zone = region_of(polygon([(-1, -1), (3, -1), (3, 9), (-1, 9)]))
    found = trim(one(bow), zone, tolerance_mm=0.01)
    wanted = shapely.intersection(shapely.make_valid(shapely.Polygon([(0, 0), (4, 4), (4, 0), (0, 4.1)])), zone.shape)
    assert check(found) == pytest.approx(wanted.area, abs=1e-9)


def test_a_ring_that_fails_its_check_is_handed_back_as_a_polyline(make, monkeypatch):
    field, zone = sixteen(make), region_of(circle((9.0, 9.0), 8.0))
    wanted = check(trim(field, zone, tolerance_mm=0.01))
    real = overlay.ring_edges

    def wrong(*arguments, **options):
        edges = real(*arguments, **options)
        # Every place on the motif's first loop is off by half a segment.
        edges.begin[edges.frame > 0] += 0.5
        edges.end[edges.frame > 0] += 0.5
        return edges

    monkeypatch.setattr(overlay, "ring_edges", wrong)
    found = trim(field, zone, tolerance_mm=0.01)
    assert found.fallbacks > 0
    # Polylines lie within 0.001 mm of the curves; a shift too small for the check to see is small in area too.
    assert check(found) == pytest.approx(wanted, abs=0.05)


def test_trouble_is_tried_on_a_grid_and_then_named():
    calls = []

    def failing(a, b, grid_size=None):
        calls.append(grid_size)
        raise shapely.errors.GEOSException("no")

    with pytest.raises(GeometryError, match=r"near \(1\.00, 2\.00\) mm"):
        overlaid(failing, shapely.box(0, 1, 2, 3), shapely.box(0, 0, 1, 1))
    assert calls == [None, 1e-6]


def test_the_same_cut_gives_the_same_bytes(make):
    field, zone = sixteen(make), region_of(circle((9.0, 9.0), 8.0))
    first, second = (trim(field, zone, tolerance_mm=0.01) for _ in range(2))
    for a, b in zip(first.artwork.shapes, second.artwork.shapes, strict=True):
        assert a.segments.tobytes() == b.segments.tobytes()


@pytest.mark.parametrize("radius", [0.02, 0.4, 5.0])
def test_the_grid_never_takes_a_disc_across_the_edge_for_inside_or_outside(radius):
    random = np.random.default_rng(4)
    centres = random.random((4000, 2)) * 60.0 - 10.0
    zone = difference(region_of(half_plane(np.array([30.0, 10.0]), 0.4)), region_of(circle((12.0, 17.0), 9.0)))
    zone = difference(zone, region_of(circle((25.0, 20.0), 0.05)))
    sides = sides_of(Discs(centres, np.full(4000, radius)), zone)
    away = distance_to_edge(zone, centres)
    inside = contains_points(zone, centres)
    assert np.array_equal(sides == NEAR, away <= radius * (1.0 + 1e-6))
    assert np.array_equal(sides == INSIDE, inside & (away > radius * (1.0 + 1e-6)))
