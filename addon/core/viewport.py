"""Windows' areas: drawing them anew."""

from __future__ import annotations

import textwrap
from typing import Any

import bpy

#: A sidebar up to this wide (pixels at a scale of 1) has room for one short text a row.
NARROW = 260


def wrapped(text: str, width: int) -> list[str]:
    """Return text in lines that fit a region; Blender's labels do not wrap."""
    scale = bpy.context.preferences.system.ui_scale
    return textwrap.wrap(text, max(20, int(width / (7.0 * scale)) - 4))


def redraw_views() -> None:
    """Draw all 3D views anew, with their sidebars."""
    _redraw({"WINDOW", "UI"})


def draw_anew(group: Any, context: Any) -> None:
    """Draw all 3D views anew; Blender calls it after a display setting changed."""
    redraw_views()


def redraw_panels() -> None:
    """Draw the sidebars of all 3D views anew."""
    _redraw({"UI"})


def _redraw(kinds: set[str]) -> None:
    for window in bpy.context.window_manager.windows if bpy.context.window_manager else ():
        for area in window.screen.areas:
            if area.type == "VIEW_3D":
                for region in area.regions:
                    if region.type in kinds:
                        region.tag_redraw()
