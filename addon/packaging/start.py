"""The start of the installed add-on: where it cannot run here, a box says what to do.

Nothing of geometry and none of the wheels is imported before it is known that they can be.
"""

from __future__ import annotations

import importlib.util
import textwrap
from pathlib import Path
from typing import Any

import bpy
from bpy.props import StringProperty

from . import legacy_wheels
from .legacy_wheels import CannotStartError

#: Letters of a line in the box: what Blender's preferences have room for at their first width.
LINE = 62
TITLE = "Sheetstack cannot run in this Blender"

#: Classes of the box that is shown in place of the add-on.
_box: list[Any] = []


def check() -> None:
    """Make the bundled libraries importable and see that they can be loaded here.

    Raises
    ------
    CannotStartError
        They cannot; it says why and what to do.
    """
    if importlib.util.find_spec("numpy") is None:
        raise CannotStartError(
            "This Blender came without NumPy, which it needs itself for many add-ons. Install it "
            "with the program that you installed Blender with; on Debian and Ubuntu:",
            "sudo apt install python3-numpy",
        )
    if bpy.app.version < (4, 2, 0):
        legacy_wheels.make_importable()
    else:
        shapely = importlib.util.find_spec("shapely")
        if shapely is not None and shapely.origin is not None:
            legacy_wheels.refuse_foreign_geos(Path(shapely.origin).parents[1])


def begin(package: str) -> None:
    """Register the add-on, or the box that tells why it cannot run.

    Parameters
    ----------
    package : str
        Name that Blender knows the add-on by.
    """
    try:
        check()
    except CannotStartError as trouble:
        _show(package, trouble)
        return
    from .. import register

    register()


def end() -> None:
    """Undo ``begin``."""
    if _box:
        while _box:
            bpy.utils.unregister_class(_box.pop())
        return
    from .. import unregister

    unregister()
    if bpy.app.version < (4, 2, 0):
        legacy_wheels.forget()


def draw_trouble(layout: Any, trouble: CannotStartError, line: int = LINE) -> None:
    """Draw what is wrong and what to do, in lines that are not cut off.

    Parameters
    ----------
    layout : UILayout
    trouble : CannotStartError
    line : int
        Most letters of a line.
    """
    box = layout.box().column(align=True)
    box.alert = True
    box.label(text=TITLE, icon="ERROR")
    box.alert = False
    for text in textwrap.wrap(trouble.what, line):
        box.label(text=text)
    if trouble.command:
        box.separator()
        for text in textwrap.wrap(trouble.command, line):
            box.label(text=text)
        button = layout.operator("sheetstack.copy_command", icon="COPYDOWN")
        button.command = trouble.command


def _show(package: str, trouble: CannotStartError) -> None:
    """Register the box: in the add-on's preferences, in the sidebar, and once as a window."""

    class SHEETSTACK_OT_copy_command(bpy.types.Operator):
        """Copy the command, to be pasted into a terminal"""

        bl_idname = "sheetstack.copy_command"
        bl_label = "Copy the Command"

        command: StringProperty(description="What is copied")

        def execute(self, context: Any) -> set[str]:
            context.window_manager.clipboard = self.command
            return {"FINISHED"}

    class SHEETSTACK_AP_trouble(bpy.types.AddonPreferences):
        """Why the add-on cannot run"""

        bl_idname = package

        def draw(self, context: Any) -> None:
            draw_trouble(self.layout, trouble)

    class SHEETSTACK_PT_trouble(bpy.types.Panel):
        """Why the add-on cannot run"""

        bl_label = "Sheetstack"
        bl_space_type = "VIEW_3D"
        bl_region_type = "UI"
        bl_category = "Stencil"

        def draw(self, context: Any) -> None:
            draw_trouble(self.layout, trouble, 28)

    for cls in (SHEETSTACK_OT_copy_command, SHEETSTACK_AP_trouble, SHEETSTACK_PT_trouble):
        bpy.utils.register_class(cls)
        _box.append(cls)
    print(f"{TITLE}: {trouble}")
    if not bpy.app.background:
        bpy.app.timers.register(lambda: _pop_up(trouble), first_interval=0.2)


def _pop_up(trouble: CannotStartError) -> None:
    window = next(iter(bpy.context.window_manager.windows), None)
    if window is not None and _box:
        with bpy.context.temp_override(window=window):
            bpy.context.window_manager.popup_menu(
                lambda menu, context: draw_trouble(menu.layout, trouble),
                title="Sheetstack",
                icon="ERROR",
            )
