"""Catalogues of translations: what they translate is said by the add-on, word for word."""

import json
from pathlib import Path

import pytest

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")

from sheetstack.addon.core import translations  # noqa: E402

FOLDER = Path(translations.__file__).parent


def all_messages():
    from sheetstack import addon

    classes = [cls for module in addon.modules() for cls in module.CLASSES]
    return translations.messages(classes)


def labels():
    from sheetstack import addon

    return {
        cls.bl_label
        for module in addon.modules()
        for cls in module.CLASSES
        if hasattr(cls, "bl_label")
    }


@pytest.mark.parametrize("path", sorted(FOLDER.glob("*.json")), ids=lambda p: p.stem)
def test_each_text_of_a_catalogue_is_one_of_ours(blender, path):
    # The box of an add-on that cannot run is not registered beside it.
    known = {*all_messages(), *labels(), "Copy the Command"}
    assert set(json.loads(path.read_text(encoding="utf-8"))) <= known


def test_there_is_a_list_of_all_that_can_be_translated(blender):
    told = all_messages()
    assert len(told) > 200
    assert "Follow changes" in told


def test_a_label_is_german_where_blender_is(blender):
    view = bpy.context.preferences.view
    before = view.language
    try:
        view.language = "de_DE"
    except TypeError:
        pytest.skip("this Blender came without languages")
    view.use_translate_interface = True
    assert bpy.app.translations.pgettext_iface("Build Sheets", "Operator") == "Blätter bauen"
    assert bpy.app.translations.pgettext_iface("Sheets") == "Blätter"
    view.language = before
