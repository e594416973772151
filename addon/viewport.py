"""Windows' areas: drawing them anew."""

from __future__ import annotations

import bpy

#: A sidebar up to this wide (pixels at a scale of 1) has room for one short text a row.
NARROW = 260


def redraw_views() -> None:
    """Draw all 3D views anew, with their sidebars."""
    _redraw({"WINDOW", "UI"})


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
