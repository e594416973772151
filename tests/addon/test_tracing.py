"""Tracing in Blender says the same as the library call."""

import dataclasses

import numpy as np
import pytest
from PIL import Image
from skimage import data

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")

from sheetstack.addon.job.scene_job import job_of  # noqa: E402
from sheetstack.addon.tracing import trace_picture  # noqa: E402
from sheetstack.addon.tracing.preview import IMAGE, live  # noqa: E402
from sheetstack.addon.tracing.tracing_property import picture_of, settings_of  # noqa: E402
from sheetstack.geometry.job.load import load_job  # noqa: E402
from sheetstack.geometry.tracing.settings import TracingSettings  # noqa: E402
from sheetstack.geometry.tracing.trace import (  # noqa: E402
    PREVIEW_PIXELS,
    read_and_trace,
)


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
        picture_of(scene), TracingSettings(), most_pixels=PREVIEW_PIXELS
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
    assert second.result.settings.detail == 0.3
    assert "islands" in live.told
