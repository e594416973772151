"""Printed sheets: closed, with the openings counted, exactly thick, and true on the wall side."""

from itertools import product

import manifold3d
import numpy as np
import pytest
import shapely
import trimesh
from shapely import Point, box

from sheetstack.geometry.fabricate.chamfer import chamfer_cutter
from sheetstack.geometry.fabricate.printed import printed
from sheetstack.geometry.fabricate.raised import raised_regions, with_grip_tab
from sheetstack.geometry.fabricate.tiling import split_for_bed
from sheetstack.geometry.job.sections import PrintingSettings, TileSettings
from sheetstack.geometry.mesh.boolean import block, mesh_of, solid_of, without_slivers
from sheetstack.geometry.mesh.check import soundness, volume
from sheetstack.geometry.mesh.solid import Mesh
from sheetstack.geometry.planar.polygons import as_multipolygon

T = 1.2
EXTRAS = {
    "rim": {"rim_height_mm": 2.0},
    "ribs": {"rib_height_mm": 1.6, "rib_spacing_mm": 25.0},
    "chamfer": {"chamfer_mm": 0.5},
    "label": {"label": True},
    "pegs": {"pegs": True},
}


def plate():
    sheet = box(0, 0, 160, 120)
    for x, y in [(20, 30), (80, 30), (120, 30), (20, 80)]:
        sheet = sheet.difference(box(x, y, x + 18, y + 20))
    return as_multipolygon(sheet.difference(Point(90, 82).buffer(17)))


def make(shape, bed=(220, 220), joint="puzzle", tab=False, **settings):
    shape = with_grip_tab(shape) if tab else shape
    tiling = split_for_bed(
        shape, box(*shape.bounds), bed, TileSettings(joint=joint), narrow=4, layer="Shadow"
    )
    return printed(
        shape, tiling, T, PrintingSettings(**settings), label="2 Shadow", bridge_width=4.0
    )


def section(mesh, height):
    """What lies at a height, by manifold3d's own slice."""
    solid = manifold3d.Manifold(
        manifold3d.Mesh64(mesh.vertices.copy(), mesh.faces.astype(np.uint64))
    )
    rings = [shapely.Polygon(r) for r in solid.slice(height).to_polygons()]
    found = shapely.Polygon()
    for ring in sorted(rings, key=lambda r: -r.area):
        found = found.symmetric_difference(ring)
    return found


def assert_sound(made):
    for piece in made.pieces:
        found = soundness(piece.mesh)
        assert found.watertight, piece.name
        assert found.oriented, piece.name
        assert found.euler == piece.euler, piece.name
        assert piece.mesh.vertices[:, 2].min() == 0.0


@pytest.mark.parametrize("chosen", list(product([False, True], repeat=len(EXTRAS))))
def test_every_variant_is_closed_with_the_euler_of_its_openings(chosen):
    settings = {}
    for name, taken in zip(EXTRAS, chosen, strict=True):
        settings |= EXTRAS[name] if taken else {}
    made = make(plate(), tab=chosen[0], **settings)
    assert len(made.pieces) == 1
    # Euler-Poincare: a plate with h openings has 2 - 2h, whatever stands on it.
    assert made.pieces[0].euler == 2 - 2 * 5
    assert_sound(made)
    assert made.findings == ()


@pytest.mark.parametrize("joint", ["puzzle", "lap", "butt"])
@pytest.mark.parametrize("seed", range(3))
def test_tiles_with_everything_on_are_closed_and_fit_the_bed(sheet_of_seed, joint, seed):
    everything = {k: v for extra in EXTRAS.values() for k, v in extra.items()}
    made = make(sheet_of_seed(seed), (95, 80), joint, tab=True, **everything)
    assert len(made.pieces) > 3
    assert_sound(made)
    for piece in made.pieces:
        # Read by a program that merges corners at a tenth of a micrometre.
        corners, index = np.unique(piece.mesh.vertices.round(4), axis=0, return_inverse=True)
        faces = index.reshape(-1)[piece.mesh.faces]
        faces = faces[(faces != np.roll(faces, 1, axis=1)).all(axis=1)]
        merged = trimesh.Trimesh(corners, faces, process=False)
        assert merged.is_watertight, piece.name
        assert merged.is_winding_consistent, piece.name
        size = sorted(np.ptp(piece.mesh.vertices[:, :2], axis=0))
        assert size[0] <= 74 + 1e-6
        assert size[1] <= 89 + 1e-6


def test_a_flat_print_is_just_the_plate():
    made = make(plate())
    assert volume(made.pieces[0].mesh) == pytest.approx(plate().area * T, rel=1e-12)
    assert set(made.pieces[0].mesh.vertices[:, 2]) == {0.0, T}


def test_rim_and_ribs_add_their_volume_and_cross_no_opening():
    settings = PrintingSettings(
        rim_height_mm=2.0, rib_height_mm=1.6, rib_spacing_mm=25.0, rib_clearance_mm=2.0
    )
    rim, ribs = raised_regions(plate(), settings)
    openings = box(*plate().bounds).difference(plate())
    for region in (rim, ribs):
        assert region.area > 200
        assert region.distance(openings) >= 2.0 - 0.02
        assert plate().covers(region.buffer(-1e-9))
    made = make(plate(), rim_height_mm=2.0, rib_height_mm=1.6, rib_spacing_mm=25.0)
    mesh = made.pieces[0].mesh
    wanted = plate().area * T + rim.area * 2.0 + ribs.area * 1.6
    assert volume(mesh) == pytest.approx(wanted, rel=1e-9)
    # On the outer wall points may lie where the rim begins, at half the thickness.
    heights = set(np.round(mesh.vertices[:, 2], 9)) - {T / 2}
    assert heights == {0.0, T, T + 1.6, T + 2.0}


@pytest.mark.parametrize("thickness_land", [0.2, 0.5])
def test_a_chamfer_is_true_below_and_wider_above(thickness_land):
    made = make(plate(), chamfer_mm=0.6, land_mm=thickness_land)
    mesh = made.pieces[0].mesh
    below = section(mesh, 0.02)
    assert below.symmetric_difference(plate()).area < 1e-3
    above = section(mesh, T - 1e-6)
    openings = box(*plate().bounds).difference(plate())
    # Mitred offset by the chamfer's width, by Shapely.
    wanted = box(*plate().bounds).difference(openings.buffer(0.6, join_style="mitre"))
    assert above.symmetric_difference(wanted).area < 0.02 * openings.length * 0.6
    middle = section(mesh, (thickness_land + T) / 2)
    assert below.area > middle.area > above.area
    # Slope from land to top: half the ring's area times the height, corners aside.
    removed = plate().area * T - volume(mesh)
    ring = below.area - above.area
    assert removed == pytest.approx(ring * (T - thickness_land) / 2, rel=0.03)


def test_a_chamfer_never_eats_bridges_away():
    made = make(plate(), chamfer_mm=5.0)
    assert [f.code for f in made.findings] == ["print.chamfer-limited"]
    assert "made 1 mm" in made.findings[0].message
    assert_sound(made)


@pytest.mark.parametrize("seed", range(8))
def test_the_chamfers_solid_is_closed_whatever_the_openings(sheet_of_seed, seed):
    sheet = sheet_of_seed(seed)
    outline = box(*sheet.bounds)
    openings = shapely.get_parts(as_multipolygon(outline.difference(sheet)))
    mesh = chamfer_cutter(openings, outline.buffer(-1), 0.8, 0.3, 1.5)
    found = soundness(mesh)
    assert found.watertight
    assert found.oriented
    assert volume(mesh) > 0
    assert solid_of(mesh).volume() == pytest.approx(volume(mesh))
    # It never reaches the wall side.
    assert mesh.vertices[:, 2].min() > 0


def test_the_label_is_as_deep_as_asked_and_not_through():
    made = make(plate(), label=True, label_depth_mm=0.4)
    mesh = made.pieces[0].mesh
    cut = plate().difference(section(mesh, T - 0.1))
    assert 50 < cut.area < 400
    assert section(mesh, T - 0.41).symmetric_difference(plate()).area < 1e-6
    assert volume(mesh) == pytest.approx(plate().area * T - cut.area * 0.4, rel=1e-6)


def test_pegs_fit_the_sockets_of_the_next_sheet_and_of_no_wrong_one():
    made = make(plate(), pegs=True, peg_diameter_mm=4.0, peg_clearance_mm=0.2)
    mesh = made.pieces[0].mesh
    top = mesh.vertices[:, 2].max()
    pegs = section(mesh, top - 0.1)
    sockets = plate().difference(section(mesh, 0.5)).buffer(-1e-6).buffer(1e-6)
    assert len(as_multipolygon(pegs).geoms) == len(as_multipolygon(sockets).geoms) == 3
    assert as_multipolygon(sockets).geoms[0].area == pytest.approx(np.pi * 2.2**2, rel=0.02)
    assert sockets.covers(pegs)
    assert pegs.distance(sockets.boundary) == pytest.approx(0.2, abs=0.02)
    middle = (80, 60)
    for wrong in (
        shapely.affinity.rotate(pegs, 180, origin=middle),
        shapely.affinity.scale(pegs, -1, 1, origin=middle),
        shapely.affinity.scale(pegs, 1, -1, origin=middle),
    ):
        assert wrong.difference(sockets).area > 10


def test_a_grip_tab_stands_on_a_solid_stretch_of_the_upper_edge():
    notched = plate().difference(box(60, 115, 100, 120))
    shape = with_grip_tab(as_multipolygon(notched))
    tab = shape.difference(box(0, 0, 160, 120))
    assert tab.bounds[3] == pytest.approx(136)
    assert tab.bounds[0] >= 100 or tab.bounds[2] <= 60
    assert shape.area > notched.area + 500


def test_a_label_without_room_is_told():
    small = as_multipolygon(box(0, 0, 30, 12).difference(box(3, 3, 27, 9)))
    made = make(small, label=True)
    assert [f.code for f in made.findings] == ["print.no-room-for-label"]
    assert_sound(made)


def test_an_open_mesh_is_refused():
    from sheetstack.geometry.errors import GeometryError

    open_mesh = Mesh(np.eye(3), np.array([[0, 1, 2]]))
    with pytest.raises(GeometryError, match="not closed"):
        solid_of(open_mesh)


def test_slivers_that_rounding_leaves_are_no_pieces():
    # On GEOS 3.13 a lap of this sheet left slivers of 1e-14 mm3 as pieces of their own.
    plate = block(box(0, 0, 30, 20), 0.0, T)
    sliver = block(box(40, 0, 40 + 1e-9, 5), 0.0, T)
    found = mesh_of(without_slivers(plate + sliver))
    assert soundness(found).euler == 2
    assert volume(found) == pytest.approx(600 * T, rel=1e-12)
    assert without_slivers(plate).volume() == plate.volume()
