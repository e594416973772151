"""The tab in a mock-up's scene shows what is to be done there, and no empty job."""

from types import SimpleNamespace

import pytest

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")

from sheetstack.addon import modules  # noqa: E402
from sheetstack.addon.core.tab import TAB, is_mockup  # noqa: E402


def shown_in(scene) -> set[str]:
    context = SimpleNamespace(scene=scene, object=None, mode="OBJECT")
    panels = [
        cls
        for module in modules()
        for cls in module.CLASSES
        if issubclass(cls, bpy.types.Panel) and cls.bl_category == TAB
    ]
    assert len(panels) > 20
    return {
        cls.__name__
        for cls in panels
        if not hasattr(cls, "poll") or cls.poll.__func__(cls, context)
    }


def test_only_the_mock_ups_own_panel_is_there(built):
    shown = shown_in(built)
    assert {"SHEETSTACK_PT_artwork", "SHEETSTACK_PT_mockup"} <= shown
    assert "SHEETSTACK_PT_in_mockup" not in shown
    assert bpy.ops.sheetstack.mockup(kind="PICTURE") == {"FINISHED"}
    (scene,) = [scene for scene in bpy.data.scenes if is_mockup(scene)]
    assert shown_in(scene) == {"SHEETSTACK_PT_in_mockup"}
