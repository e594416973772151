"""Layers from what is drawn in Blender: areas known from elementary geometry."""

import math

import pytest
import shapely

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")

from sheetstack.addon.job.scene_job import job_of  # noqa: E402


def show(thing):
    bpy.context.scene.collection.objects.link(thing)
    thing.select_set(True)
    bpy.context.view_layer.objects.active = thing
    bpy.context.view_layer.update()
    return thing


def openings_of_built():
    """Return the openings of the built job's only layer in mm."""
    from sheetstack.addon.sheets.last_build import last_build_of

    assert bpy.ops.sheetstack.artwork_from_objects() == {"FINISHED"}
    bpy.context.scene.sheetstack.registration.hole_diameter_mm = 0
    assert bpy.ops.sheetstack.build() == {"FINISHED"}
    build = last_build_of(job_of(bpy.context.scene))
    return build.layers[0].plain_sheet.openings


def circle_curve(radius, x, y):
    """Make a Bezier circle with the usual handles."""
    curve = bpy.data.curves.new("Circle", "CURVE")
    curve.dimensions = "2D"
    add_circle(curve, radius)
    thing = show(bpy.data.objects.new("Circle", curve))
    thing.location = (x, y, 0)
    bpy.context.view_layer.update()
    return thing


def add_circle(curve, radius):
    spline = curve.splines.new("BEZIER")
    spline.bezier_points.add(3)
    # 4/3 (sqrt 2 - 1): the handle of a quarter circle, whose greatest error is 0.027 %.
    reach = radius * 4 / 3 * (math.sqrt(2) - 1)
    for k, point in enumerate(spline.bezier_points):
        c, s = math.cos(k * math.pi / 2), math.sin(k * math.pi / 2)
        point.co = (radius * c, radius * s, 0)
        point.handle_left = (radius * c + reach * s, radius * s - reach * c, 0)
        point.handle_right = (radius * c - reach * s, radius * s + reach * c, 0)
    spline.use_cyclic_u = True


def test_filled_curve_with_a_hole_is_cut_where_it_was_drawn():
    ring = circle_curve(0.05, 0.2, 0.15)
    add_circle(ring.data, 0.02)
    openings = openings_of_built()
    assert openings.area == pytest.approx(math.pi * (50**2 - 20**2), rel=2e-3)
    assert openings.centroid.coords[0] == pytest.approx((200, 150), abs=0.05)


def test_open_bevelled_curve_is_a_strip_with_round_ends():
    curve = bpy.data.curves.new("Line", "CURVE")
    curve.bevel_depth = 0.004
    spline = curve.splines.new("POLY")
    spline.points.add(1)
    spline.points[0].co, spline.points[1].co = (0.1, 0.1, 0, 1), (0.2, 0.1, 0, 1)
    show(bpy.data.objects.new("Line", curve))
    assert openings_of_built().area == pytest.approx(100 * 8 + math.pi * 4**2, rel=2e-3)


def test_scaled_turned_solid_mesh_is_its_shadow():
    bpy.ops.mesh.primitive_cube_add(size=0.04, location=(0.2, 0.2, 0.5))
    cube = bpy.context.object
    cube.scale = (1, 2, 1)
    cube.rotation_euler = (0, 0, math.radians(30))
    bpy.context.view_layer.update()
    openings = openings_of_built()
    assert openings.area == pytest.approx(40 * 80, rel=1e-5)
    box = shapely.affinity.rotate(shapely.box(180, 160, 220, 240), 30)
    assert openings.symmetric_difference(box).area < 0.1


def test_text_object_keeps_its_counters():
    curve = bpy.data.curves.new("Text", "FONT")
    curve.body, curve.size = "O", 0.2
    thing = show(bpy.data.objects.new("Text", curve))
    thing.location = (0.1, 0.2, 0)
    bpy.context.view_layer.update()
    openings = openings_of_built()
    assert sum(len(p.interiors) for p in openings.geoms) == 1


def test_grease_pencil_strokes_become_strips_and_areas():
    kinds = [n for n in ("grease_pencils_v3", "grease_pencils") if hasattr(bpy.data, n)]
    data = getattr(bpy.data, kinds[0]).new("Sketch")
    layer = data.layers.new("Lines")
    frame = layer.frames.new(1)
    if not hasattr(frame, "drawing"):
        pytest.skip("Grease Pencil before 4.3 is exercised in the real-window test")
    frame.drawing.add_strokes([4, 2])
    corners = [(0, 0), (0.05, 0), (0.05, 0.05), (0, 0.05)]
    square, line = frame.drawing.strokes
    for point, place in zip(square.points, corners, strict=True):
        point.position = (0.1 + place[0], 0.1 + place[1], 0)
    square.cyclic = True
    for point, place in zip(line.points, [(0.2, 0.3), (0.3, 0.3)], strict=True):
        point.position, point.radius = (*place, 0), 0.005
    show(bpy.data.objects.new("Sketch", data))
    expected = 50 * 50 + 100 * 10 + math.pi * 5**2
    assert openings_of_built().area == pytest.approx(expected, rel=2e-3)


def test_drawn_layer_stays_with_the_blend_file(tmp_path):
    circle_curve(0.05, 0.2, 0.15)
    first = openings_of_built().area
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "a.blend"))
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "a.blend"))
    bpy.ops.sheetstack.build()
    from sheetstack.addon.sheets.last_build import last_build_of

    again = last_build_of(job_of(bpy.context.scene)).layers[0].plain_sheet.openings.area
    assert again == first


def test_a_thing_without_area_is_one_sentence():
    curve = bpy.data.curves.new("Hair", "CURVE")
    spline = curve.splines.new("POLY")
    spline.points.add(1)
    show(bpy.data.objects.new("Hair", curve))
    with pytest.raises(RuntimeError, match="Object 'Hair': expected something with an area"):
        bpy.ops.sheetstack.artwork_from_objects()
    assert not bpy.context.scene.sheetstack.layers


def test_sheets_themselves_are_no_artwork(built):
    bpy.data.objects["Sheet Base"].select_set(True)
    assert not bpy.ops.sheetstack.artwork_from_objects.poll()
