"""Registering and unregistering leave Blender as it was."""

import re
from pathlib import Path

import pytest

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")

from sheetstack import addon  # noqa: E402
from sheetstack.addon.core.blender_versions import show_scene  # noqa: E402


def state_of_blender():
    """Return all that a registration could leave behind."""
    menus = (bpy.types.TOPBAR_MT_file_import, bpy.types.TOPBAR_MT_file_export)
    return {
        "types": dir(bpy.types),
        "scene": sorted(bpy.types.Scene.bl_rna.properties.keys()),
        "object": sorted(bpy.types.Object.bl_rna.properties.keys()),
        "operators": dir(bpy.ops.sheetstack),
        "handlers": {
            name: len(handlers)
            for name in dir(bpy.app.handlers)
            if isinstance(handlers := getattr(bpy.app.handlers, name), list)
        },
        "menus": [len(menu.draw._draw_funcs) for menu in menus],
    }


def test_unregistering_and_registering_again_leaves_no_residue():
    addon.unregister()
    before = state_of_blender()
    assert not [name for name in before["types"] if "SHEETSTACK" in name]
    assert "sheetstack" not in before["scene"]
    for _ in range(3):
        addon.register()
        during = state_of_blender()
        assert "sheetstack" in during["scene"]
        addon.unregister()
        assert state_of_blender() == before
    addon.register()


def test_every_property_and_operator_has_a_tooltip():
    bare = []
    for module in addon.modules():
        for cls in module.CLASSES:
            if issubclass(cls, bpy.types.Operator):
                operator = getattr(bpy.ops.sheetstack, cls.bl_idname.partition(".")[2])
                rna = operator.get_rna_type()
                if not rna.description:
                    bare.append(cls.__name__)
            elif issubclass(cls, bpy.types.PropertyGroup):
                rna = cls.bl_rna
            else:
                continue
            # The defining class' own and inherited ones, but not those that Blender adds.
            made = {k for base in cls.__mro__ for k in getattr(base, "__annotations__", {})}
            bare += [
                f"{cls.__name__}.{p.identifier}"
                for p in rna.properties
                if p.identifier in made and not p.description and not p.is_hidden
            ]
    assert bare == []


def test_a_failed_registration_is_undone_and_seen(monkeypatch):
    addon.unregister()
    before = state_of_blender()

    class NoPanel(bpy.types.Panel):
        bl_label = "It cannot draw"

    from sheetstack.addon.bridges import panel

    monkeypatch.setattr(panel, "CLASSES", (*panel.CLASSES, NoPanel))
    with pytest.raises(AttributeError, match="draw"):
        addon.register()
    monkeypatch.undo()
    assert state_of_blender() == before
    addon.register()


def test_lengths_are_shown_in_millimetres_and_limits_are_those_of_the_job():
    from sheetstack.geometry.job.sections import SheetSettings

    rna = type(bpy.context.scene.sheetstack.sheet).bl_rna.properties["width_mm"]
    field = SheetSettings.__dataclass_fields__["width_mm"]
    assert rna.unit == "CAMERA"  # Blender's unit whose base is the millimetre
    assert (rna.hard_min, rna.hard_max) == (field.metadata["least"], field.metadata["most"])
    assert rna.description.lower() == field.metadata["about"].lower()


def test_no_window_is_owned_by_a_scene_that_may_be_gone():
    """Up to 4.2 ``context.tool_settings`` gives ``context.window`` the scene for an owner.

    Whoever writes to the window when that scene is gone spoils memory; tests of the add-on ended
    Blender 4.2 long after. So it reads the scene's own tools, and writes to the manager's window.
    """
    show_scene(bpy.context, bpy.data.scenes.new("Another"))
    assert bpy.context.scene.name == "Another"
    folder = Path(addon.__file__).parent
    wrong = re.compile(r"(?<!`)\bcontext\.tool_settings|\bcontext\.window\.\w+ = ")
    for path in (*folder.rglob("*.py"), *Path(__file__).parent.glob("*.py")):
        if path != Path(__file__):
            assert not wrong.search(path.read_text(encoding="utf-8")), path


def test_every_icon_exists_in_this_blender():
    known = bpy.types.UILayout.bl_rna.functions["prop"].parameters["icon"].enum_items.keys()
    folder = Path(addon.__file__).parent
    used = {
        name
        for path in folder.rglob("*.py")
        for name in re.findall(r'icon="([A-Z0-9_]+)"', path.read_text(encoding="utf-8"))
    }
    assert used
    assert used <= set(known)
