import math

import ezdxf
import numpy as np
import pytest
from ezdxf import bbox
from ezdxf.math import Vec3
from ezdxf.xclip import XClip
from shapely import MultiPolygon, Point, Polygon, box

from sheetstack.geometry.artwork.dxf.read import read_dxf
from sheetstack.geometry.artwork.read import read_artwork
from sheetstack.geometry.artwork.source import ArtworkSource
from sheetstack.geometry.errors import ArtworkError
from sheetstack.geometry.finding import Severity

SQUARE = [(0, 0), (10, 0), (10, 10), (0, 10)]


@pytest.fixture
def drawing():
    document = ezdxf.new("R2010", units=4)
    document.layers.add("Shadow")
    document.layers.add("Light")
    return document


@pytest.fixture
def read(drawing, tmp_path):
    def save_and_read(**settings):
        drawing.saveas(tmp_path / "a.dxf")
        return read_dxf(ArtworkSource(tmp_path / "a.dxf", **settings))

    return save_and_read


def codes(artwork):
    return [finding.code for finding in artwork.findings]


def one(artwork):
    (finding,) = artwork.findings
    return finding


def square(space, x=0, y=0, side=10, **attributes):
    corners = [(x, y), (x + side, y), (x + side, y + side), (x, y + side)]
    return space.add_lwpolyline(corners, close=True, dxfattribs=attributes)


# Outlines


def test_a_closed_polyline_is_painted_in_its_own_coordinates(drawing, read):
    square(drawing.modelspace(), -5, 100)
    artwork = read()
    assert isinstance(artwork.shape, MultiPolygon)
    assert artwork.shape.equals(box(-5, 100, 5, 110))
    assert artwork.page is None
    assert artwork.findings == ()


def test_loops_within_loops_are_holes(drawing, read):
    space = drawing.modelspace()
    for i in range(4):
        square(space, i, i, 10 - 2 * i)
    shape = read().shape
    assert shape.area == 100 - 64 + 36 - 16
    assert sorted(len(p.interiors) for p in shape.geoms) == [1, 1]


def test_lines_and_arcs_join_end_to_end_in_any_order_and_direction(drawing, read):
    # A slot: 20 between the centres, radius 5.
    space = drawing.modelspace()
    space.add_line((20, 5), (0, 5))
    space.add_arc((20, 0), 5, -90, 90)
    space.add_line((20, -5), (0, -5))
    space.add_arc((0, 0), 5, 90, 270)
    artwork = read()
    assert artwork.findings == ()
    assert artwork.shape.area == pytest.approx(200 + math.pi * 25, abs=2 * math.pi * 5 * 0.05)
    assert artwork.shape.bounds == pytest.approx((-5, -5, 25, 5), abs=0.05)


def test_ends_a_hundredth_apart_join(drawing, read):
    space = drawing.modelspace()
    space.add_lwpolyline([(0, 0), (10, 0), (10, 10)])
    space.add_lwpolyline([(10.01, 10), (0, 10), (0, 0.01)])
    artwork = read()
    assert artwork.findings == ()
    assert artwork.shape.area == pytest.approx(100, abs=0.1)


def test_an_open_chain_is_left_out_and_told_with_its_gap(drawing, read):
    space = drawing.modelspace()
    space.add_lwpolyline([(50, 0), (60, 0), (60, 10), (50, 3)])
    square(space)
    artwork = read()
    assert artwork.shape.equals(box(0, 0, 10, 10))
    finding = one(artwork)
    assert finding.code == "artwork.open-path"
    assert finding.severity == Severity.WARNING
    assert finding.size_mm == pytest.approx(3)
    assert finding.place in ((50, 0), (50, 3))


def test_many_open_lines_are_one_finding(drawing, read):
    square(drawing.modelspace())
    for i in range(30):
        drawing.modelspace().add_line((i, 50), (i, 60))
    assert one(read()).message.startswith("30 lines and curves stay open")


def test_a_polyline_left_open_but_ending_at_its_start_is_closed(drawing, read):
    drawing.modelspace().add_lwpolyline([*SQUARE, (0, 0)])
    assert read().shape.area == 100


@pytest.mark.parametrize("bulge", [1, -1])
def test_a_bulge_of_one_is_a_half_circle(drawing, read, bulge):
    space = drawing.modelspace()
    space.add_lwpolyline([(0, 0, bulge), (10, 0, 0)], format="xyb", close=True)
    shape = read().shape
    # A positive bulge turns counter-clockwise: going right, the arc hangs below the chord.
    assert shape.bounds == pytest.approx((0, -5, 10, 0) if bulge > 0 else (0, 0, 10, 5), abs=0.05)
    assert shape.area == pytest.approx(math.pi * 25 / 2, abs=math.pi * 5 * 0.05)


@pytest.mark.parametrize("radius", [0.02, 0.5, 30, 4000])
def test_circles_are_flattened_within_the_chord(drawing, read, radius):
    drawing.modelspace().add_circle((7, -3), radius)
    (polygon,) = read().shape.geoms if radius > 0.02 else [Point(7, -3).buffer(radius)]
    middles = np.array(polygon.exterior.coords)
    middles = 0.5 * (middles[1:] + middles[:-1])
    sagitta = radius - np.hypot(middles[:, 0] - 7, middles[:, 1] + 3)
    assert sagitta.max() <= 0.05 + 1e-9
    assert sagitta.min() >= -1e-9


def test_a_circle_too_small_to_cut_is_told(drawing, read):
    drawing.modelspace().add_circle((7, -3), 0.01)
    artwork = read()
    assert artwork.shape.is_empty
    assert codes(artwork) == ["artwork.speck", "artwork.empty"]


def test_an_arc_that_goes_all_round_is_a_circle(drawing, read):
    drawing.modelspace().add_arc((0, 0), 5, 0, 360)
    assert read().shape.area == pytest.approx(math.pi * 25, abs=2 * math.pi * 5 * 0.05)


def test_ellipses_whole_and_in_part(drawing, read):
    space = drawing.modelspace()
    space.add_ellipse((0, 0), (20, 0), 0.5)
    space.add_ellipse((100, 0), (0, 20), 0.5, 0, math.pi)
    space.add_line((100, 20), (100, -20))
    artwork = read()
    assert artwork.findings == ()
    assert artwork.shape.area == pytest.approx(1.5 * math.pi * 200, rel=0.005)
    # Turned a quarter, its first half lies at smaller x: from (0, 20) over (-10, 0).
    assert artwork.shape.bounds == pytest.approx((-20, -20, 100, 20), abs=0.06)


def test_splines_closed_and_open(drawing, read):
    space = drawing.modelspace()
    space.add_spline([(0, 0), (10, 5), (20, 0), (10, -5), (0, 0)])
    round_one = space.add_spline()
    round_one.set_closed([(50, 0, 0), (60, 0, 0), (60, 10, 0), (50, 10, 0)])
    space.add_open_spline([(100, 0), (110, 20), (120, 0)], degree=2)
    space.add_line((100, 0), (120, 0))
    artwork = read()
    assert artwork.findings == ()
    assert len(artwork.shape.geoms) == 3
    # The area under a quadratic Bezier curve is two thirds of its control triangle's.
    parabola = max(artwork.shape.geoms, key=lambda p: p.bounds[0])
    assert parabola.area == pytest.approx(2 / 3 * 200, abs=20 * 0.05)


def test_splines_keep_within_the_chord(drawing, read):
    random = np.random.default_rng(2)
    points = [Vec3(40 * i, *random.uniform(-60, 60, 1), 0) for i in range(12)]
    spline = drawing.modelspace().add_open_spline(points)
    drawing.modelspace().add_line(points[0], points[-1])
    fine = [Point(p.x, p.y) for p in spline.construction_tool().approximate(20_000)]
    boundary = read().shape.boundary
    # The straight line may cross the curve, but every point of both stays on the boundary.
    assert max(boundary.distance(p) for p in fine) <= 0.05


def test_old_polylines_with_bulges(drawing, read):
    space = drawing.modelspace()
    space.add_polyline2d([(0, 0, 1), (10, 0, 0)], format="xyb", close=True)
    space.add_polyline3d([(20, 0, 5), (30, 0, 5), (30, 10, 5)], close=True)
    artwork = read()
    assert artwork.findings == ()
    assert artwork.shape.area == pytest.approx(math.pi * 12.5 + 50, abs=0.8)


def test_mirrored_entities_lie_where_ezdxf_says(drawing, read):
    # Extrusion (0, 0, -1): x runs to the left.
    space = drawing.modelspace()
    mirrored = {"extrusion": (0, 0, -1)}
    space.add_circle((50, 0), 5, dxfattribs=mirrored)
    space.add_lwpolyline([(100, 0, 1), (110, 0, 0)], format="xyb", close=True, dxfattribs=mirrored)
    space.add_arc((150, 0), 5, 0, 90, dxfattribs=mirrored)
    space.add_lwpolyline([(150, 5), (150, 0), (155, 0)], dxfattribs=mirrored)
    artwork = read()
    assert artwork.findings == ()
    expected = bbox.extents(space, fast=False)
    assert artwork.shape.bounds == pytest.approx(
        (expected.extmin.x, expected.extmin.y, expected.extmax.x, expected.extmax.y), abs=0.1
    )
    assert len(artwork.shape.geoms) == 3


# Areas


def test_a_hatch_is_painted_with_its_holes(drawing, read):
    hatch = drawing.modelspace().add_hatch()
    hatch.paths.add_polyline_path(SQUARE, is_closed=True)
    edges = hatch.paths.add_edge_path(flags=16)
    edges.add_arc((5, 5), 2, 0, 180)
    edges.add_line((3, 5), (7, 5))
    ellipse = hatch.paths.add_edge_path()
    ellipse.add_ellipse((50, 0), (10, 0), 0.5)
    artwork = read()
    assert artwork.findings == ()
    expected = 100 - math.pi * 2 + math.pi * 50
    assert artwork.shape.area == pytest.approx(expected, rel=0.01)


def test_a_hatch_in_a_pattern_is_told_to_be_painted_all_over(drawing, read):
    hatch = drawing.modelspace().add_hatch()
    hatch.set_pattern_fill("ANSI31")
    hatch.paths.add_polyline_path(SQUARE, is_closed=True)
    artwork = read()
    assert len(artwork.shape.geoms) == 1
    assert ["its gaps too" in f.message for f in artwork.findings] == [True]


def test_a_hatch_and_its_outline_are_one_area(drawing, read):
    space = drawing.modelspace()
    space.add_lwpolyline(SQUARE, close=True)
    space.add_hatch().paths.add_polyline_path(SQUARE, is_closed=True)
    assert read().shape.equals(box(0, 0, 10, 10))


def test_a_solid_has_its_corners_in_zigzag(drawing, read):
    # DXF reference, SOLID: the third and fourth corner are crossed over.
    drawing.modelspace().add_solid([(0, 0), (10, 0), (0, 10), (10, 10)])
    assert read().shape.equals(box(0, 0, 10, 10))


def test_the_second_copy_of_an_outline_is_dropped_and_told(drawing, read):
    square(drawing.modelspace())
    square(drawing.modelspace())
    artwork = read()
    assert artwork.shape.area == 100
    assert codes(artwork) == ["artwork.duplicate"]


def test_a_self_crossing_outline_is_resolved_and_told(drawing, read):
    drawing.modelspace().add_lwpolyline([(0, 0), (10, 10), (10, 0), (0, 10)], close=True)
    artwork = read()
    assert artwork.shape.is_valid
    assert artwork.shape.area == pytest.approx(50)
    assert one(artwork).place == pytest.approx((5, 5))


# Units


@pytest.mark.parametrize(
    ("code", "mm"),
    # Exact by the inch of 25.4 mm and the metre; the US survey foot is 1200/3937 m.
    [(1, 25.4), (2, 304.8), (4, 1), (5, 10), (6, 1000), (9, 0.0254), (14, 100), (21, 304.8006096)],
)
def test_units_are_honoured(drawing, read, code, mm):
    drawing.header["$INSUNITS"] = code
    side = 200 / mm
    square(drawing.modelspace(), side, side, side)
    artwork = read()
    assert artwork.shape.bounds == pytest.approx((200, 200, 400, 400), rel=1e-8)
    assert artwork.findings == ()


def test_curves_are_flattened_in_mm_whatever_the_unit(drawing, read):
    drawing.header["$INSUNITS"] = 6
    drawing.modelspace().add_circle((0, 0), 0.03)
    (polygon,) = read().shape.geoms
    assert len(polygon.exterior.coords) > 50
    assert polygon.area == pytest.approx(math.pi * 900, rel=0.003)


def test_places_of_findings_are_in_mm(drawing, read):
    drawing.header["$INSUNITS"] = 1
    drawing.modelspace().add_text("Fox", dxfattribs={"insert": (2, 3)})
    square(drawing.modelspace())
    assert one(read()).place == pytest.approx((50.8, 76.2))


def test_no_unit_is_mm_and_told(drawing, read):
    drawing.header["$INSUNITS"] = 0
    square(drawing.modelspace())
    artwork = read()
    assert artwork.shape.area == 100
    assert one(artwork).code == "artwork.no-unit"
    assert one(artwork).severity == Severity.NOTE


@pytest.mark.parametrize("code", [19, 99, -1])
def test_a_unit_for_stars_or_none_at_all_is_an_error(drawing, read, code):
    drawing.header["$INSUNITS"] = code
    square(drawing.modelspace())
    with pytest.raises(ArtworkError, match=rf"a\.dxf: \$INSUNITS = {code}: expected .* mm"):
        read()


# Layers


def test_a_layer_alone_is_read_whatever_the_case_of_its_name(drawing, read):
    square(drawing.modelspace(), layer="Shadow")
    square(drawing.modelspace(), 50, layer="Light")
    assert read(group="shadow").shape.equals(box(0, 0, 10, 10))
    assert read().shape.area == 200


def test_a_layer_that_is_not_there_is_an_error_with_those_that_are(drawing, read):
    square(drawing.modelspace(), layer="Unlisted")
    with pytest.raises(ArtworkError, match=r"no layer 'Shade'.*'Light', 'Shadow', 'Unlisted'"):
        read(group="Shade")


def test_layers_off_or_frozen_are_skipped_and_told(drawing, read):
    drawing.layers.get("Shadow").off()
    drawing.layers.get("Light").freeze()
    for layer in ("Shadow", "Light", "0"):
        square(drawing.modelspace(), layer=layer)
    square(drawing.modelspace(), 30, 30, invisible=1)
    artwork = read()
    assert artwork.shape.equals(box(0, 0, 10, 10))
    assert codes(artwork) == ["artwork.hidden"] * 3
    # Asked for by name it is read all the same.
    assert read(group="Shadow").shape.area == 100


# Blocks


def test_blocks_are_resolved_with_their_scale_turn_and_nesting(drawing, read):
    dot = drawing.blocks.new("DOT")
    square(dot)
    pair = drawing.blocks.new("PAIR")
    pair.add_blockref("DOT", (0, 0))
    pair.add_blockref("DOT", (20, 0), dxfattribs={"xscale": 2, "yscale": 2})
    drawing.modelspace().add_blockref("PAIR", (100, 0), dxfattribs={"rotation": 90})
    artwork = read()
    assert artwork.findings == ()
    expected = [box(90, 0, 100, 10), box(80, 20, 100, 40)]
    assert artwork.shape.symmetric_difference(MultiPolygon(expected)).area < 1e-9


def test_a_block_stretched_in_one_direction_turns_circles_into_ellipses(drawing, read):
    block = drawing.blocks.new("DOT")
    block.add_circle((0, 0), 10)
    block.add_lwpolyline([(50, 0, 1), (60, 0, 0)], format="xyb", close=True)
    drawing.modelspace().add_blockref("DOT", (0, 0), dxfattribs={"xscale": 3, "yscale": 0.5})
    artwork = read()
    assert artwork.findings == ()
    assert artwork.shape.area == pytest.approx(1.5 * math.pi * (100 + 12.5), rel=0.005)


def test_a_mirrored_block(drawing, read):
    block = drawing.blocks.new("FLAG")
    block.add_lwpolyline([(0, 0), (30, 0), (0, 10)], close=True)
    block.add_arc((50, 0), 5, 0, 180)
    block.add_line((45, 0), (55, 0))
    drawing.modelspace().add_blockref("FLAG", (0, 0), dxfattribs={"xscale": -1})
    artwork = read()
    assert artwork.findings == ()
    assert artwork.shape.bounds == pytest.approx((-55, 0, 0, 10), abs=0.05)
    assert artwork.shape.area == pytest.approx(150 + math.pi * 12.5, abs=0.8)


def test_rows_and_columns_of_a_block(drawing, read):
    square(drawing.blocks.new("DOT"))
    rows = {"row_count": 3, "column_count": 4, "row_spacing": 20, "column_spacing": 15}
    drawing.modelspace().add_blockref("DOT", (0, 0), dxfattribs=rows)
    shape = read().shape
    assert len(shape.geoms) == 12
    assert shape.bounds == (0, 0, 55, 50)


def test_layer_0_in_a_block_is_the_layer_of_its_insertion(drawing, read):
    block = drawing.blocks.new("DOT")
    square(block)
    square(block, 20, layer="Light")
    drawing.modelspace().add_blockref("DOT", (0, 0), dxfattribs={"layer": "Shadow"})
    assert read(group="Shadow").shape.equals(box(0, 0, 10, 10))
    assert read(group="Light").shape.equals(box(20, 0, 30, 10))
    # Off hides what is on the layer, frozen the whole insertion (as drawing programs show it).
    drawing.layers.get("Shadow").off()
    assert read().shape.equals(box(20, 0, 30, 10))
    drawing.layers.get("Shadow").on()
    drawing.layers.get("Shadow").freeze()
    assert read().shape.is_empty


# What is left out


@pytest.mark.parametrize(
    ("add", "kind", "code"),
    [
        (lambda s: s.add_text("Fox", dxfattribs={"insert": (7, 8)}), "TEXT", "text"),
        (lambda s: s.add_mtext("Fox", dxfattribs={"insert": (7, 8)}), "MTEXT", "text"),
        (
            lambda s: s.add_image(s.doc.add_image_def("x.png", (9, 9)), (7, 8), (1, 1)),
            "IMAGE",
            "left-out",
        ),
        (lambda s: s.add_point((7, 8)), "POINT", "left-out"),
        (lambda s: s.add_3dface([(7, 8), (1, 0), (1, 1)]), "3DFACE", "left-out"),
        (lambda s: s.add_line((7, 8, 0), (7, 9, 5)), "LINE", "left-out"),
        (lambda s: s.add_circle((7, 8), 0), "CIRCLE", "left-out"),
        (lambda s: s.add_leader([(7, 8), (1, 1)]), "LEADER", "left-out"),
        (
            lambda s: s.add_polyline3d([(7, 8, 0), (1, 1, 5), (5, 5, 9)], close=True),
            "POLYLINE",
            "left-out",
        ),
    ],
)
def test_what_cannot_be_cut_is_told_with_its_place(drawing, read, add, kind, code):
    square(drawing.modelspace())
    add(drawing.modelspace())
    artwork = read()
    assert artwork.shape.equals(box(0, 0, 10, 10))
    finding = one(artwork)
    assert finding.code == f"artwork.{code}"
    assert finding.severity == (Severity.NOTE if kind == "POINT" else Severity.WARNING)
    assert finding.message.startswith(f"{kind} on layer '0'")
    if kind not in ("3DFACE", "LEADER"):
        assert finding.place == (7, 8)


def test_a_dimension_is_told(drawing, read):
    square(drawing.modelspace())
    drawing.modelspace().add_linear_dim(base=(0, 20), p1=(0, 0), p2=(10, 0)).render()
    artwork = read()
    assert artwork.shape.equals(box(0, 0, 10, 10))
    assert one(artwork).message.startswith("DIMENSION on layer '0'")


def test_many_of_a_kind_are_one_finding(drawing, read):
    square(drawing.modelspace())
    for i in range(5):
        drawing.modelspace().add_text("x", dxfattribs={"insert": (i, 1)})
    finding = one(read())
    assert finding.message.startswith(
        "5 TEXT entities on layer '0', the first of them here: was left"
    )
    assert finding.place == (0, 1)


def test_a_tilted_circle_is_not_flat(drawing, read):
    square(drawing.modelspace())
    drawing.modelspace().add_circle((0, 0), 5, dxfattribs={"extrusion": (1, 0, 1)})
    assert "is not flat" in one(read()).message


def test_a_wide_polyline_is_read_along_its_middle_and_told(drawing, read):
    square(drawing.modelspace()).dxf.const_width = 2
    artwork = read()
    assert artwork.shape.area == 100
    assert one(artwork).code == "artwork.ignored"


@pytest.mark.parametrize("group", [None, "Shadow"])
def test_a_block_of_another_file_or_none_is_told(drawing, read, group):
    square(drawing.modelspace(), layer="Shadow")
    drawing.add_xref_def("other.dxf", "OTHER")
    drawing.modelspace().add_blockref("OTHER", (7, 8))
    artwork = read(group=group)
    assert artwork.shape.area == 100
    assert one(artwork).place == (7, 8)
    assert "of another file" in one(artwork).message


def test_a_clipped_block_is_read_whole_and_told(drawing, read):
    square(drawing.blocks.new("DOT"))
    insert = drawing.modelspace().add_blockref("DOT", (0, 0))
    XClip(insert).set_block_clipping_path([(0, 0), (5, 5)])
    artwork = read()
    assert artwork.shape.area == 100
    assert "clips block 'DOT'" in one(artwork).message


def test_a_binary_drawing_is_read(drawing, tmp_path):
    square(drawing.modelspace())
    drawing.saveas(tmp_path / "a.dxf", fmt="bin")
    assert (tmp_path / "a.dxf").read_bytes().startswith(b"AutoCAD Binary DXF")
    assert read_dxf(ArtworkSource(tmp_path / "a.dxf")).shape.area == 100


@pytest.mark.parametrize("version", ["R12", "R2000", "R2018"])
def test_old_and_new_versions_are_read(version, tmp_path):
    document = ezdxf.new(version)
    document.modelspace().add_circle((0, 0), 5)
    document.modelspace().add_polyline2d(SQUARE, close=True).translate(20, 0, 0)
    document.saveas(tmp_path / "a.dxf")
    assert len(read_dxf(ArtworkSource(tmp_path / "a.dxf")).shape.geoms) == 2


def test_a_mended_file_is_told(drawing, tmp_path):
    square(drawing.modelspace(), layer="Shadow")
    drawing.saveas(tmp_path / "a.dxf")
    text = (tmp_path / "a.dxf").read_text()
    # A layer's name with a character that the format forbids; ezdxf mends it.
    (tmp_path / "a.dxf").write_text(text.replace("\nShadow\n", "\nSha|dow<\n"))
    artwork = read_dxf(ArtworkSource(tmp_path / "a.dxf"))
    assert artwork.shape.area == 100
    assert "artwork.damaged-file" in codes(artwork)


def test_the_attributes_of_a_block_are_text(drawing, read):
    block = drawing.blocks.new("DOT")
    square(block)
    block.add_attdef("NAME", (0, 0))
    drawing.modelspace().add_blockref("DOT", (0, 0)).add_attrib("NAME", "Fox", (3, 4))
    artwork = read()
    assert artwork.shape.area == 100
    assert one(artwork).code == "artwork.text"
    assert one(artwork).place == (3, 4)


def test_an_empty_drawing_is_told(read):
    artwork = read()
    assert artwork.shape.is_empty
    assert one(artwork).code == "artwork.empty"


def test_a_drawing_on_paper_only_is_told(drawing, read):
    square(drawing.layout("Layout1"))
    assert "on the paper 'Layout1'" in one(read()).message


def test_the_door_leads_here_and_scales(drawing, tmp_path):
    square(drawing.modelspace())
    drawing.saveas(tmp_path / "A.DXF")
    artwork = read_artwork(ArtworkSource(tmp_path / "A.DXF", scale=0.5))
    assert artwork.shape.equals(Polygon([(0, 0), (5, 0), (5, 5), (0, 5)]))
