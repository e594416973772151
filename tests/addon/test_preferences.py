"""Preferences and keys: what a new job begins with; keys come and go with the add-on."""

import pytest

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")

DRAWING = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="80mm" height="60mm" viewBox="0 0 80 60">'
    '<g id="a"><rect width="40" height="30"/></g></svg>'
)


def test_without_preferences_a_job_begins_as_always(blender):
    from sheetstack.addon.core import preferences

    assert preferences.preference("material") == "card"
    assert preferences.preference("units") == "KEEP"
    assert preferences.folder_to_begin_in("drawings") == ""


def test_a_new_job_begins_with_the_material_and_unit_that_are_preferred(
    blender, tmp_path, monkeypatch
):
    from sheetstack.addon.core import preferences
    from sheetstack.addon.job import import_drawing

    chosen = {"material": "birch-ply", "units": "MILLIMETERS", "drawings": str(tmp_path)}
    for module in (preferences, import_drawing):
        monkeypatch.setattr(module, "preference", chosen.get)
    assert preferences.folder_to_begin_in("drawings") == f"{tmp_path}/"
    (tmp_path / "a.svg").write_text(DRAWING, encoding="utf-8")
    blender.ops.sheetstack.import_drawing(
        filepath=str(tmp_path / "a.svg"), by="GROUPS", build=False
    )
    scene = blender.context.scene
    assert scene.sheetstack.sheet.material == "birch-ply"
    assert scene.unit_settings.length_unit == "MILLIMETERS"


def test_each_key_is_of_an_operator_that_there_is(blender):
    from sheetstack.addon.core.keymap import KEYS

    for name, _ in KEYS:
        group, operator = name.split(".")
        assert operator in dir(getattr(bpy.ops, group)), name
    assert len({key for _, key in KEYS}) == len(KEYS)
