"""A job in the scene's properties says the same as its file, before and after a .blend."""

import json
import os
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")

from sheetstack.addon.job.scene_job import job_of, put_job  # noqa: E402
from sheetstack.geometry.job.load import load_job, parse_job  # noqa: E402

DEMOS = sorted(Path(__file__).parents[2].glob("demo_scenes/*/*.toml"))


@pytest.mark.parametrize("path", DEMOS, ids=lambda p: p.stem)
def test_demo_opens_and_saves_to_the_letter(path, tmp_path):
    folder = shutil.copytree(path.parent, tmp_path / "demo")
    copy = folder / path.name
    bpy.ops.sheetstack.open_job(filepath=str(copy))
    assert job_of(bpy.context.scene) == load_job(copy)
    again = folder / "again.toml"
    assert bpy.ops.sheetstack.save_job(filepath=str(again)) == {"FINISHED"}
    assert again.read_text(encoding="utf-8") == copy.read_text(encoding="utf-8")


def test_numbers_that_a_32_bit_float_cannot_hold_come_back_exactly(opened):
    job = replace(job_of(opened), sheet=replace(job_of(opened).sheet, width_mm=123.456789012))
    put_job(opened, job)
    assert job_of(opened).sheet.width_mm == 123.456789012


def test_a_number_set_in_the_panel_is_the_decimal_that_was_typed(opened):
    opened.sheetstack.sheet.thickness_mm = 0.7
    assert job_of(opened).sheet.thickness_mm == 0.7


def test_own_materials_lists_and_optional_values_come_back():
    text = """
    title = "All"
    ground = "#102030"
    [sheet]
    width_mm = 300
    height_mm = 200
    material = "felt"
    [bridges]
    width_mm = 4.25
    [registration]
    hole_diameter_mm = 6
    holes_mm = [[20, 20], [280.5, 20]]
    [[layers]]
    name = "One"
    colour = "#0000ff"
    artwork = "one.png"
    pixel_mm = 0.1
    painted = "light"
    [materials.felt]
    title = "Pressed felt"
    thicknesses_mm = [1, 2.5]
    density_g_cm3 = 0.3
    modulus_mpa = 50
    strength_mpa = 2
    least_bridge_mm = 4
    least_opening_mm = 3
    colour = "#888888"
    source = "invented for this test"
    """
    job = parse_job(text, folder=Path(os.path.abspath("x")))
    put_job(bpy.context.scene, job)
    assert job_of(bpy.context.scene) == job


def test_blend_file_keeps_the_job_and_the_sheets(built, tmp_path):
    job = job_of(built)
    names = sorted(o.name for o in built.objects)
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "a.blend"))
    bpy.ops.wm.read_factory_settings(use_empty=True)
    assert not bpy.context.scene.sheetstack.layers
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "a.blend"))
    scene = bpy.context.scene
    assert job_of(scene) == job
    assert sorted(o.name for o in scene.objects) == names
    scene.sheetstack.spacing_mm = 50
    assert bpy.data.objects["Sheet Light"].location.z == pytest.approx(0.0533)


def test_blend_file_builds_without_its_artwork_files(built, job_path, tmp_path):
    volume = [m.vertices[0].co.copy() for m in bpy.data.meshes]
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "a.blend"))
    shutil.rmtree(job_path.parent)
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "a.blend"))
    assert bpy.ops.sheetstack.build() == {"FINISHED"}
    assert [m.vertices[0].co.copy() for m in bpy.data.meshes] == volume


def test_saving_elsewhere_writes_kept_artwork_beside_the_job(built, job_path, tmp_path):
    drawing = (job_path.parent / "Base.svg").read_bytes()
    shutil.rmtree(job_path.parent)
    target = tmp_path / "new"
    target.mkdir()
    assert bpy.ops.sheetstack.save_job(filepath=str(target / "n.toml")) == {"FINISHED"}
    assert (target / "Base.svg").read_bytes() == drawing
    job = load_job(target / "n.toml")
    assert [layer.artwork for layer in job.layers] == ["Base.svg", "Light.svg"]


def test_kept_copy_of_any_bytes_comes_back():
    from sheetstack.addon.job.kept_artwork import bytes_from_text, text_from_bytes

    for content in (b"", b"<svg/>\n", bytes(range(256)), b"a\r\nb", "Größe".encode("latin-1")):
        text = bpy.data.texts.new("copy")
        text.from_string(text_from_bytes(content))
        assert bytes_from_text(text.as_string(), "copy") == content


@pytest.mark.parametrize("around", [("", ""), ("\n", ""), ("", "\n")])
def test_no_kept_copy_begins_or_ends_with_a_very_long_line(around):
    # Blender takes over a minute for a drawing of 2 MB in one line: 1.3 s for 300,000 letters, and
    # four times as long for twice as many (measured).
    from sheetstack.addon.job.kept_artwork import MOST_LETTERS, bytes_from_text, text_from_bytes

    content = f"{around[0]}<svg>{'x' * 100_000}</svg>{around[1]}".encode()
    text = bpy.data.texts.new("copy")
    text.from_string(text_from_bytes(content))
    assert max(len(text.lines[0].body), len(text.lines[-1].body)) <= MOST_LETTERS
    assert bytes_from_text(text.as_string(), "copy") == content


def test_appended_scene_brings_its_job(built, tmp_path):
    job = job_of(built)
    built.name = "Stencil scene"
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "a.blend"))
    bpy.ops.wm.read_factory_settings(use_empty=True)
    with bpy.data.libraries.load(str(tmp_path / "a.blend"), link=False) as (_, here):
        here.scenes = ["Stencil scene"]
    appended = bpy.data.scenes["Stencil scene"]
    assert replace(job_of(appended), folder=job.folder) == job
    assert len(appended.sheetstack.collection.objects) == 3


def test_linked_sheet_can_be_checked_but_is_not_changed(built, tmp_path):
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "a.blend"))
    bpy.ops.wm.read_factory_settings(use_empty=True)
    with bpy.data.libraries.load(str(tmp_path / "a.blend"), link=True) as (_, here):
        here.objects = ["Sheet Base"]
    sheet = here.objects[0]
    bpy.context.scene.collection.objects.link(sheet)
    bpy.context.view_layer.objects.active = sheet
    assert bpy.ops.sheetstack.find_islands() == {"FINISHED"}
    assert sheet.mode == "OBJECT"


def test_properties_of_an_older_format_are_upgraded(opened, monkeypatch):
    from sheetstack.addon.job import file_upgrade

    now = file_upgrade.FORMAT

    def to_the_next(state):
        state.title = "upgraded"

    monkeypatch.setattr(file_upgrade, "FORMAT", now + 1)
    monkeypatch.setitem(file_upgrade.STEPS, now, to_the_next)
    file_upgrade.upgrade(opened.sheetstack)
    assert (opened.sheetstack.title, opened.sheetstack.format) == ("upgraded", now + 1)
    opened.sheetstack.title = "mine"
    file_upgrade.upgrade(opened.sheetstack)
    assert opened.sheetstack.title == "mine"


def test_sheets_of_format_1_are_known_again(built):
    from sheetstack.addon.job import file_upgrade
    from sheetstack.addon.sheets.sheet_object import sheets_of

    before = sheets_of(built)
    built.sheetstack.made.clear()
    built.sheetstack.format = 1
    assert sheets_of(built) == {}
    file_upgrade.upgrade(built.sheetstack)
    assert sheets_of(built) == before


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (lambda s: setattr(s.sheet, "margin_mm", 60), "margin_mm = 60: expected less than half"),
        (lambda s: setattr(s.sheet, "material", "lead"), "material = 'lead': expected one of"),
        (lambda s: setattr(s.layers[1], "name", "Base"), "two \\[\\[layers\\]\\] tables are named"),
        (lambda s: setattr(s.layers[0], "artwork", ""), "the key 'artwork' is missing"),
        (
            lambda s: setattr(s.layers[0], "artwork", "none.svg"),
            "none.svg: the artwork file",
        ),
    ],
)
def test_what_cannot_be_built_is_one_sentence(opened, change, sentence):
    change(opened.sheetstack)
    with pytest.raises(RuntimeError, match=sentence) as caught:
        bpy.ops.sheetstack.build()
    assert "Traceback" not in str(caught.value)
    assert opened.sheetstack.collection is None


def test_a_file_that_is_no_job_is_one_sentence(tmp_path):
    path = tmp_path / "bad.toml"
    path.write_text("title = 3")
    with pytest.raises(RuntimeError, match="title = 3: expected a text in quotes"):
        bpy.ops.sheetstack.open_job(filepath=str(path))
    assert not bpy.context.scene.sheetstack.layers


def test_material_preset_carries_an_own_material_to_another_scene(opened):
    bpy.ops.sheetstack.own_material()
    state = opened.sheetstack
    state.own_materials[0].least_bridge_mm = 7
    preset = state.material_preset
    assert json.loads(preset)["key"] == "own"
    other = bpy.data.scenes.new("Other").sheetstack
    other.material_preset = preset
    assert other.sheet.material == "own"
    assert other.own_materials[0].least_bridge_mm == 7
    assert other.sheet.thickness_mm == pytest.approx(3.3)
