"""Mock-ups: true size, seen whole, in the picture's colours, on every surface."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")

from bpy_extras.object_utils import world_to_camera_view  # noqa: E402
from mathutils import Vector  # noqa: E402

from sheetstack.addon.core.blender_versions import show_scene  # noqa: E402
from sheetstack.addon.mockup.mockup import make_scene  # noqa: E402
from sheetstack.addon.mockup.mockup_scene import EYES, render_settings  # noqa: E402
from sheetstack.addon.mockup.render_job import own_scene, render_order  # noqa: E402
from sheetstack.geometry.build import build  # noqa: E402
from sheetstack.geometry.errors import JobError  # noqa: E402
from sheetstack.geometry.files.written_list import LIST  # noqa: E402
from sheetstack.geometry.job.load import load_job  # noqa: E402
from sheetstack.geometry.job.sections import LIGHTS, SURFACES, MockupSettings  # noqa: E402
from sheetstack.geometry.paint.compositing import painted_picture  # noqa: E402

SIGN = Path(__file__).parents[2] / "demo_scenes" / "sign" / "sign.toml"
PIXELS = (160, 120)


@pytest.fixture(scope="module")
def sign():
    built = build(load_job(SIGN))
    return built, painted_picture(built, 600)


def rendered(scene, path: Path, samples: int = 8):
    render_settings(scene, samples)
    scene.render.filepath = str(path)
    bpy.ops.render.render(write_still=True, scene=scene.name)
    return np.asarray(Image.open(path), float) / 255


def seen_at(scene, x_mm: float, y_mm: float, depth_mm: float = 0.0) -> tuple[float, float]:
    """Share of the picture's width and height, from its lower left, where a place is seen."""
    at = world_to_camera_view(scene, scene.camera, Vector((x_mm, -depth_mm, y_mm)) / 1000)
    assert at.z > 0
    return at.x, at.y


@pytest.mark.parametrize("scale", ["rule", "figure", "none"])
@pytest.mark.parametrize("surface", SURFACES)
def test_everything_is_in_the_picture(sign, surface, scale):
    built, picture = sign
    scene = make_scene("PICTURE", built, picture, MockupSettings(surface, scale=scale), PIXELS)
    show_scene(bpy.context, scene)
    bpy.context.view_layer.update()
    corners = [(x, EYES + y) for x in (-300, 300) for y in (-150, 150)]
    for name in ("Rule", "Figure"):
        if name in scene.objects:
            box = np.array([c[:] for c in scene.objects[name].bound_box]) * 1000
            corners += [(x, z) for x, _, z in box]
    shares = np.array([seen_at(scene, *corner) for corner in corners])
    assert shares.min() > 0
    assert shares.max() < 1


@pytest.mark.parametrize("light", LIGHTS)
@pytest.mark.parametrize("surface", ["brick", "board"])
def test_the_render_shows_the_picture_in_its_place(sign, tmp_path, surface, light):
    """Colours looked up in the picture and through the camera go together."""
    built, picture = sign
    scene = make_scene("PICTURE", built, picture, MockupSettings(surface, light, "none"), PIXELS)
    render = rendered(scene, tmp_path / "mockup.png")
    rng = np.random.default_rng(2)
    x, y = rng.uniform(-280, 280, 600), rng.uniform(-130, 130, 600)
    depth = 24.0 if surface == "board" else 0.0
    seen, wanted = [], []
    for px, py in zip(x, y, strict=True):
        u, v = seen_at(scene, px, EYES + py, depth)
        seen.append(render[int((1 - v) * PIXELS[1]), int(u * PIXELS[0])])
        wanted.append(picture[int((0.5 - py / 300) * 300), int((px / 600 + 0.5) * 600)] / 255)
    for channel in range(3):
        together = np.corrcoef(np.array(seen)[:, channel], np.array(wanted)[:, channel])[0, 1]
        assert together > 0.6


def test_the_board_is_of_the_sheets_true_size(sign):
    built, picture = sign
    scene = make_scene("PICTURE", built, picture, MockupSettings("board"), PIXELS)
    size = np.array(scene.objects["Board"].dimensions) * 1000
    assert size == pytest.approx([600, 18, 300], abs=0.01)


def test_the_stack_holds_the_built_sheets_at_true_size(sign):
    built, picture = sign
    scene = make_scene("STACK", built, picture, MockupSettings(), PIXELS)
    plates = [t for t in scene.objects if t.name.startswith("Sheet ")]
    assert len(plates) == len(built.layers)
    for plate in plates:
        assert np.array(plate.dimensions) * 1000 == pytest.approx([600, 300, 3], abs=0.01)
    places = sorted(-1000 * plate.location.y for plate in plates)
    assert np.diff(places) == pytest.approx([0.56 * 600] * 2)


def test_a_turntable_turns_once_and_keeps_all_in_sight(sign):
    built, picture = sign
    scene = make_scene("STACK", built, picture, MockupSettings(), PIXELS, frames=8)
    show_scene(bpy.context, scene)
    bpy.context.view_layer.update()  # before 5.0, frames are not shown in a scene never looked at
    stand = scene.objects["Stand"]
    turns = []
    for frame in range(1, 9):
        scene.frame_set(frame)
        turns.append(stand.rotation_euler.z)
        for plate in (t for t in scene.objects if t.name.startswith("Sheet ")):
            for corner in plate.bound_box:
                at = world_to_camera_view(scene, scene.camera, plate.matrix_world @ Vector(corner))
                assert 0 < at.x < 1
                assert 0 < at.y < 1
    assert turns == pytest.approx(np.arange(8) * np.pi / 4, abs=1e-5)


def test_making_a_scene_anew_leaves_no_old_one(sign):
    built, picture = sign
    scene = make_scene("PICTURE", built, picture, MockupSettings("plaster"), PIXELS)
    make_scene("PICTURE", built, picture, MockupSettings("plaster"), PIXELS, scene=scene)
    assert sorted(s.name for s in bpy.data.scenes) == ["Mock-up", "Scene"]
    assert len(bpy.data.cameras) == 1


def test_the_operator_makes_a_scene_of_the_jobs_surface(opened):
    opened.sheetstack.mockup.surface = "canvas"
    assert bpy.ops.sheetstack.mockup(kind="PICTURE", samples=4) == {"FINISHED"}
    made = bpy.data.scenes["Mock-up"]
    assert "Canvas" in made.objects
    assert made.render.engine == "CYCLES"
    assert made.cycles.device == "CPU"


def test_the_picture_hangs_upright_and_true_on_a_face_of_the_users_wall(opened):
    bpy.ops.mesh.primitive_cube_add(size=2, location=(1, 2, 3), rotation=(0, 0, 0.7))
    wall = bpy.context.active_object
    normals = [polygon.normal.copy() for polygon in wall.data.polygons]
    front = next(k for k, n in enumerate(normals) if n.y < -0.9)
    wall.data.polygons.active = front
    for polygon in wall.data.polygons:
        polygon.select = polygon.index == front
    assert bpy.ops.sheetstack.picture_on_face() == {"FINISHED"}
    picture = next(t for t in wall.children if t.name.startswith("Picture"))
    bpy.context.view_layer.update()
    assert np.array(picture.dimensions) * 1000 == pytest.approx([100, 120.125, 0], abs=0.01)
    face = wall.matrix_world @ wall.data.polygons[front].center
    normal = wall.matrix_world.to_3x3() @ normals[front]
    away = picture.matrix_world.translation - face
    assert away.dot(normal.normalized()) == pytest.approx(0.0004, abs=1e-5)
    assert away.length == pytest.approx(0.0004, abs=1e-5)
    up = tuple(picture.matrix_world.to_3x3() @ Vector((0, 1, 0)))
    assert up == pytest.approx((0, 0, 1), abs=1e-5)


def test_an_order_writes_both_pictures_and_frames(sign, tmp_path):
    render_order(
        {
            "job": str(SIGN),
            "out": str(tmp_path),
            "pixels": [64, 48],
            "samples": 2,
            "surface": "plaster",
            "light": None,
            "scale": "none",
            "stack": True,
            "frames": 2,
            "video": False,
            "scene": "",
            "face": "",
        }
    )
    files = sorted(p.relative_to(tmp_path).as_posix() for p in tmp_path.rglob("*.png"))
    assert files == ["exploded.png", "mockup.png", "turntable/0001.png", "turntable/0002.png"]
    assert all(Image.open(tmp_path / name).size == (64, 48) for name in files)
    # Half a turn lies between the two frames: the picture at the back stands before the sheets.
    still, turned = (np.asarray(Image.open(tmp_path / n).convert("L"), float) for n in files[2:])
    assert np.abs(still - turned).mean() > 5


def test_a_turntable_is_written_as_a_video(tmp_path):
    order = {"job": str(SIGN), "out": str(tmp_path), "pixels": [64, 48], "samples": 2}
    order |= {"surface": "board", "light": "evening", "scale": "none", "stack": False}
    render_order(order | {"frames": 3, "video": True, "scene": "", "face": ""})
    video = (tmp_path / "turntable.mp4").read_bytes()
    # ISO/IEC 14496-12, 4.3: the file type box comes first.
    assert video[4:8] == b"ftyp"
    assert not (tmp_path / "turntable").exists()


def test_the_command_renders_into_the_users_own_scene(blender, tmp_path):
    bpy.ops.mesh.primitive_plane_add(size=4, rotation=(np.pi / 2, 0, 0))
    bpy.context.active_object.name = "My wall"
    camera = bpy.data.objects.new("Eye", bpy.data.cameras.new("Eye"))
    camera.location, camera.rotation_euler = (0, -1.2, 0), (np.pi / 2, 0, 0)
    scene = bpy.context.scene
    scene.collection.objects.link(camera)
    scene.camera = camera
    light = bpy.data.objects.new("Sun", bpy.data.lights.new("Sun", "SUN"))
    light.rotation_euler = (np.pi / 3, 0, 0)
    scene.collection.objects.link(light)
    render_settings(scene, 2)
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "wall.blend"))
    out = tmp_path / "out"
    words = ["render", str(SIGN), "--out", str(out), "--size", "96x72", "--no-stack"]
    words += ["--scene", str(tmp_path / "wall.blend"), "--face", "My wall"]
    command = [sys.executable, "-m", "sheetstack.geometry.cli", *words]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert {p.name for p in out.iterdir()} - {LIST} == {"client.html", "mockup.png"}
    pixels = np.asarray(Image.open(out / "mockup.png"), int)
    # Grey wall above; in the middle the sign's colours.
    assert np.ptp(pixels[2], axis=1).max() < 12
    assert np.ptp(pixels[24:48, 24:72].reshape(-1, 3), axis=0).min() > 60


def test_a_wall_that_is_not_in_the_scene_is_named_with_those_that_are(sign, tmp_path):
    bpy.ops.mesh.primitive_plane_add()
    bpy.context.active_object.name = "My wall"
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "wall.blend"))
    built, picture = sign
    with pytest.raises(JobError, match=r"'Door': expected a mesh object.*meshes are My wall"):
        own_scene(tmp_path / "wall.blend", "Door", picture, built.job.sheet)
    with pytest.raises(JobError, match="no camera"):
        own_scene(tmp_path / "wall.blend", "My wall", picture, built.job.sheet)
