"""The tab of the sidebar that all panels stand in, and the panel of a section of the job."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import bpy

from ...geometry.job.sections import SECTIONS
from .setting_property import draw_section

TAB = "Stencil"


class TabPanel:
    """What the panels have in common."""

    bl_space_type = "VIEW_3D"
    bl_region_type = "UI"
    bl_category = TAB


class ClosedPanel(TabPanel):
    """A panel that is closed at first."""

    bl_options = {"DEFAULT_CLOSED"}


def section_panel(
    key: str, parent: str, more: Callable[[Any], None] | None = None
) -> type[bpy.types.Panel]:
    """Make the panel of a section of the job.

    Parameters
    ----------
    key : str
        Of the section in the job file.
    parent : str
        Name of the panel that it hangs below.
    more : callable, optional
        Draws into the layout what stands below the section's own settings.
    """

    def draw(self: Any, context: Any) -> None:
        self.layout.use_property_split = True
        self.layout.use_property_decorate = False
        draw_section(self.layout, getattr(context.scene.sheetstack, key), SECTIONS[key])
        if more is not None:
            more(self.layout)

    members = {
        "bl_label": key.replace("_", " ").capitalize(),
        "bl_parent_id": parent,
        "draw": draw,
        "__doc__": SECTIONS[key].__doc__,
    }
    return type(f"SHEETSTACK_PT_{key}_settings", (ClosedPanel, bpy.types.Panel), members)
