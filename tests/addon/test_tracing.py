"""Tracing in Blender says the same as the library call."""

import dataclasses

import numpy as np
import pytest
from PIL import Image
from skimage import data

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")

from sheetstack.addon.job.scene_job import job_of  # noqa: E402
from sheetstack.addon.sheets.sheet_object import sheets_of  # noqa: E402
from sheetstack.addon.tracing import trace_picture  # noqa: E402
from sheetstack.addon.tracing.known_marks import known_of, picture_of, put_known  # noqa: E402
from sheetstack.addon.tracing.picture_under import picture_object  # noqa: E402
from sheetstack.addon.tracing.preview import IMAGE, live  # noqa: E402
from sheetstack.addon.tracing.tracing_property import settings_of  # noqa: E402
from sheetstack.geometry.job.load import load_job  # noqa: E402
from sheetstack.geometry.tracing.bend_face import face_between  # noqa: E402
from sheetstack.geometry.tracing.faces import Subject  # noqa: E402
from sheetstack.geometry.tracing.marks_file import marks_text  # noqa: E402
from sheetstack.geometry.tracing.settings import TracingSettings  # noqa: E402
from sheetstack.geometry.tracing.trace import (  # noqa: E402
    PREVIEW_PIXELS,
    extent_of,
    read_and_trace,
)
from sheetstack.geometry.tracing.write import write_tracing  # noqa: E402


@pytest.fixture
def scene(tmp_path):
    path = tmp_path / "cat.png"
    Image.fromarray(data.chelsea()).resize((240, 160)).save(path)
    bpy.context.scene.sheetstack_tracing.picture = str(path)
    return bpy.context.scene


def test_untouched_properties_are_the_settings_defaults(scene):
    assert settings_of(scene) == TracingSettings()


def test_properties_reach_the_settings(scene):
    group = scene.sheetstack_tracing
    group.layers, group.detail = 2, 0.25
    group.cans = '["#112233", "#aabbcc"]'
    group.use_ground, group.ground = True, (1, 1, 1)
    group.focus = "[[10, 20, 30, 40]]"
    group.background = "flood"
    assert settings_of(scene) == TracingSettings(
        layers=2,
        detail=0.25,
        cans=("#112233", "#aabbcc"),
        ground="#ffffff",
        focus=((10, 20, 30, 40),),
        background="flood",
    )


def test_every_setting_has_a_property(scene):
    for field in dataclasses.fields(TracingSettings):
        assert hasattr(scene.sheetstack_tracing, field.name)


def test_the_preview_is_what_the_library_paints(scene):
    assert bpy.ops.sheetstack.preview_tracing() == {"FINISHED"}
    wanted = read_and_trace(
        picture_of(scene), TracingSettings(), most_pixels=PREVIEW_PIXELS, preview=True
    ).painted
    image = bpy.data.images[IMAGE]
    rows, columns = wanted.shape[:2]
    assert tuple(image.size) == (columns, rows)
    pixels = np.empty(rows * columns * 4, np.float32)
    image.pixels.foreach_get(pixels)
    # Blender keeps eight bits a channel.
    shown = pixels.reshape(rows, columns, 4)[::-1, :, :3]
    assert np.abs(shown - wanted).max() <= 1 / 255


def test_the_full_tracing_opens_its_job(scene, monkeypatch):
    monkeypatch.setattr("sheetstack.geometry.tracing.trace._LEAST_PIXELS", 240)
    scene.sheetstack_tracing.detail = 0.2
    assert bpy.ops.sheetstack.trace_picture() == {"FINISHED"}
    path = picture_of(scene).with_name("cat-layers") / "job.toml"
    assert job_of(scene) == load_job(path)
    assert [layer.name for layer in job_of(scene).layers] == ["Mid-tone", "Shadow", "Highlight"]


def test_a_bad_picture_is_told_and_changes_nothing(scene, tmp_path):
    (tmp_path / "cat.png").write_bytes(b"no picture")
    with pytest.raises(RuntimeError, match="is no PNG, JPEG or TIFF picture"):
        bpy.ops.sheetstack.trace_picture()
    assert not scene.sheetstack.layers
    with pytest.raises(RuntimeError, match="is no PNG, JPEG or TIFF picture"):
        bpy.ops.sheetstack.preview_tracing()


def test_a_moved_slider_brings_a_new_preview_and_stops_the_old_one(scene):
    import time

    def look_until(done):
        end = time.monotonic() + 60
        while not done() and time.monotonic() < end:
            trace_picture._look()
            time.sleep(0.02)
        assert done()

    group = scene.sheetstack_tracing
    group.detail = 0.1
    look_until(lambda: live.work is not None)
    first = live.work
    group.detail = 0.3
    look_until(lambda: live.work not in (None, first))
    second = live.work
    look_until(lambda: live.work is None)
    assert first.stop.is_set() or first.result is not None
    assert second.result.tracing.settings.detail == 0.3
    assert "islands" in live.told


def test_a_face_added_by_hand_is_kept_with_the_scene_and_its_picture(scene, tmp_path):
    group = scene.sheetstack_tracing
    assert not bpy.ops.sheetstack.add_face.poll()
    assert bpy.ops.sheetstack.mark_picture() == {"FINISHED"}
    assert known_of(scene).faces == ()
    assert bpy.ops.sheetstack.add_face(pupils=(90, 60, 130, 62)) == {"FINISHED"}
    face = known_of(scene).faces[0]
    assert np.allclose(face["right_iris"][0], (90, 60), atol=0.06)
    assert np.allclose(face["left_iris"][0], (130, 62), atol=0.06)
    cat = group.picture
    other = tmp_path / "cup.png"
    Image.fromarray(data.coffee()).resize((120, 80)).save(other)
    group.picture = str(other)
    assert known_of(scene) is None
    group.picture = cat
    assert len(known_of(scene).faces) == 1
    assert bpy.ops.sheetstack.remove_face(number=0) == {"FINISHED"}
    assert known_of(scene).faces == ()


def test_marks_of_the_scene_make_the_same_tracing_as_their_file(scene, monkeypatch, tmp_path):
    monkeypatch.setattr("sheetstack.geometry.tracing.trace._LEAST_PIXELS", 240)
    subject = Subject(
        faces=(face_between(np.array([90.0, 60.0]), np.array([130.0, 60.0])),),
        rough=(np.array([[60, 10], [180, 10], [190, 150], [40, 150]], float),),
    )
    put_known(scene, subject, (240, 160))
    scene.sheetstack_tracing.detail = 0.2
    assert bpy.ops.sheetstack.trace_picture() == {"FINISHED"}
    folder = picture_of(scene).with_name("cat-layers")
    path = tmp_path / "by-hand.toml"
    path.write_text(marks_text(subject, (240, 160), path.name))
    settings = TracingSettings(detail=0.2, marks=str(path))
    again = read_and_trace(picture_of(scene), settings)
    write_tracing(again, tmp_path / "again", "cat")
    for name in ("layers.svg", "marks.toml", "care.png", "job.toml"):
        assert (tmp_path / "again" / name).read_bytes() == (folder / name).read_bytes()
    # What was drawn roughly stays so in the scene, to be drawn on.
    assert len(known_of(scene).rough) == 1


def test_the_picture_lies_under_the_stack_at_its_scale_and_is_not_built(scene, monkeypatch):
    monkeypatch.setattr("sheetstack.geometry.tracing.trace._LEAST_PIXELS", 240)
    group = scene.sheetstack_tracing
    group.detail = 0.2
    assert bpy.ops.sheetstack.trace_picture() == {"FINISHED"}
    assert bpy.ops.sheetstack.build() == {"FINISHED"}
    bpy.context.view_layer.update()
    photo = picture_object(scene)
    extent = extent_of(settings_of(scene), (240, 160))
    corner = np.array(photo.matrix_world.translation) * 1000
    assert np.allclose(corner[:2], (np.array(extent.sheet) - extent.page) / 2, atol=1e-3)
    assert photo.empty_display_size * 1000 == pytest.approx(extent.page[0], rel=1e-6)
    sheets = list(sheets_of(scene).values())
    assert corner[2] < min(s.matrix_world.translation[2] for s in sheets) * 1000
    assert photo.color[3] < 1
    assert photo.hide_select
    # Top row first in the file, last in Blender.
    columns, rows = photo.data.size
    pixels = np.array(photo.data.pixels[:]).reshape(rows, columns, 4)[::-1, :, :3]
    shown = Image.fromarray(np.rint(255 * pixels).astype(np.uint8)).resize((24, 16))
    with Image.open(picture_of(scene)) as image:
        apart = np.asarray(shown, float) - np.asarray(image.convert("RGB").resize((24, 16)))
    assert np.abs(apart).max() < 6
    before = {name: len(sheet.data.vertices) for name, sheet in sheets_of(scene).items()}
    assert bpy.ops.sheetstack.hide_picture() == {"FINISHED"}
    assert bpy.ops.sheetstack.build() == {"FINISHED"}
    after = {name: len(sheet.data.vertices) for name, sheet in sheets_of(scene).items()}
    assert before == after
    assert picture_object(scene) is None


def test_a_step_that_a_slider_does_not_touch_is_kept(scene):
    assert bpy.ops.sheetstack.preview_tracing() == {"FINISHED"}
    put_known(scene, Subject(outline=(np.array([[60, 10], [180, 10], [190, 150.0]]),)), (240, 160))
    assert bpy.ops.sheetstack.preview_tracing() == {"FINISHED"}
    first = live.cache.done
    scene.sheetstack_tracing.use_ground = True
    assert bpy.ops.sheetstack.preview_tracing() == {"FINISHED"}
    assert live.cache.done == first
    scene.sheetstack_tracing.detail = 0.7
    assert bpy.ops.sheetstack.preview_tracing() == {"FINISHED"}
    assert live.cache.done > first
