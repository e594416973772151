"""The list of findings: a click flies the 3D views to the place."""

import time
from typing import Any

import bpy
from mathutils import Vector

from .conversion import metres
from .sheet_object import sheets_of

ICONS = {"NOTE": "INFO", "WARNING": "ERROR", "SPOILS": "CANCEL"}
#: The flight: seconds in all, seconds a step, and the distance from which a place is seen (m).
FLIGHT, STEP, DISTANCE = 0.4, 0.02, 0.15


class SHEETSTACK_UL_findings(bpy.types.UIList):
    """Findings of the last build, the most serious first"""

    def draw_item(
        self,
        context: Any,
        layout: Any,
        data: Any,
        item: Any,
        icon: int,
        active_data: Any,
        active_property: str,
        index: int,
    ) -> None:
        row = layout.row(align=True)
        row.label(text=item.message, icon=ICONS[item.severity])
        if item.layer:
            layer = row.row()
            layer.alignment = "RIGHT"
            layer.active = False
            layer.label(text=item.layer)


class SHEETSTACK_OT_go_to_finding(bpy.types.Operator):
    """Fly to the place of the chosen finding"""

    bl_idname = "sheetstack.go_to_finding"
    bl_label = "Go to Finding"

    @classmethod
    def poll(cls, context: Any) -> bool:
        finding = active_finding(context.scene)
        if finding is None or not finding.has_place:
            cls.poll_message_set("Choose a finding that has a place")
            return False
        return True

    def execute(self, context: Any) -> set[str]:
        fly_to_active(context)
        return {"FINISHED"}


def active_finding(scene: bpy.types.Scene) -> Any:
    """Return the chosen finding, or None."""
    state = scene.sheetstack
    if 0 <= state.active_finding < len(state.findings):
        return state.findings[state.active_finding]
    return None


def place_in_scene(scene: bpy.types.Scene, layer: str, place_mm: Any) -> Any:
    """Return a place on a layer's sheet in the scene's coordinates."""
    sheet = sheets_of(scene).get(layer)
    x, y = place_mm
    if sheet is None:
        return Vector(metres((x, y, 0.0)))
    return sheet.matrix_world @ Vector(metres((x, y, sheet.sheetstack.thickness_mm)))


def fly_to_active(context: Any) -> None:
    """Fly all 3D views to the chosen finding."""
    finding = active_finding(context.scene)
    if finding is None or not finding.has_place:
        return
    target = place_in_scene(context.scene, finding.layer, finding.place_mm)
    if bpy.app.background:
        for view in _views(context).values():
            view.view_location, view.view_distance = target, DISTANCE
        return
    flights = {
        key: (view.view_location.copy(), view.view_distance)
        for key, view in _views(context).items()
    }
    begin = time.monotonic()

    def step() -> float | None:
        share = min((time.monotonic() - begin) / FLIGHT, 1.0)
        eased = share * share * (3 - 2 * share)
        # Views are looked up at each step: the artist may close one meanwhile.
        for key, view in _views(bpy.context).items():
            if key in flights:
                start, distance = flights[key]
                view.view_location = start.lerp(target, eased)
                view.view_distance = distance * (DISTANCE / distance) ** eased
        return STEP if share < 1.0 else None

    bpy.app.timers.register(step)


def _views(context: Any) -> dict[int, Any]:
    return {
        area.as_pointer(): area.spaces.active.region_3d
        for window in context.window_manager.windows
        for area in window.screen.areas
        if area.type == "VIEW_3D"
    }


CLASSES = (SHEETSTACK_UL_findings, SHEETSTACK_OT_go_to_finding)
