"""The tab of the sidebar that all panels stand in, and the panel of a section of the job."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import bpy

from ...geometry.job.sections import SECTIONS
from .setting_property import InForce, draw_section

TAB = "Stencil"


def is_mockup(scene: Any) -> bool:
    """Return whether a scene is a mock-up, made by the job of another scene."""
    return scene.sheetstack.home is not None


class TabPanel:
    """What the panels have in common."""

    bl_space_type = "VIEW_3D"
    bl_region_type = "UI"
    bl_category = TAB

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Show it in the scenes of jobs; a mock-up's scene has no job of its own."""
        return not is_mockup(context.scene)


class ClosedPanel(TabPanel):
    """A panel that is closed at first."""

    bl_options = {"DEFAULT_CLOSED"}


def section_panel(
    key: str,
    parent: str,
    more: Callable[[Any], None] | None = None,
    in_force: Callable[[Any], InForce] | None = None,
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
    in_force : callable, optional
        From the scene to what tells the values of optional fields that are not given.
    """

    def draw(self: Any, context: Any) -> None:
        self.layout.use_property_split = True
        self.layout.use_property_decorate = False
        group = getattr(context.scene.sheetstack, key)
        told = None if in_force is None else in_force(context.scene)
        draw_section(self.layout, group, SECTIONS[key], in_force=told)
        if more is not None:
            more(self.layout)

    members = {
        "bl_label": key.replace("_", " ").capitalize(),
        "bl_parent_id": parent,
        "draw": draw,
        "__doc__": SECTIONS[key].__doc__,
    }
    return type(f"SHEETSTACK_PT_{key}_settings", (ClosedPanel, bpy.types.Panel), members)
