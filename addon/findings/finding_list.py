"""The list of findings: a click flies the 3D views to the place, another has it mended."""

import math
import time
from typing import Any

import bpy
from bpy.props import (
    BoolProperty,
    CollectionProperty,
    EnumProperty,
    FloatVectorProperty,
    IntProperty,
    StringProperty,
)

from ...geometry.finding import Severity
from ..core.conversion import metres_per_unit
from ..core.list_rows import list_value, put_list
from ..core.viewport import NARROW
from ..sheets.sheet_object import place_in_scene, sheet_names

ICONS = {"NOTE": "INFO", "WARNING": "ERROR", "SPOILS": "CANCEL"}
#: The flight: seconds in all, seconds a step, and the distance from which a place is seen (m).
FLIGHT, STEP, DISTANCE = 0.4, 0.02, 0.15
#: Places (mm) are kept to a micrometre, and taken for the same within ten.
DIGITS, SAME = 3, 0.01


class SHEETSTACK_PG_finding(bpy.types.PropertyGroup):
    """One finding of the last build."""

    code: StringProperty(name="Code", description="Stable name of the kind of finding")
    severity: EnumProperty(
        name="Severity",
        description="How much it matters",
        items=[
            (Severity.NOTE.name, "Note", "Done and told; nothing to do", "INFO", 0),
            (Severity.WARNING.name, "Warning", "Worth a look", "ERROR", 1),
            (Severity.SPOILS.name, "Spoils", "The stencil would fail", "CANCEL", 2),
        ],
    )
    message: StringProperty(name="Message", description="What was found")
    layer: StringProperty(name="Layer", description="Layer that it concerns")
    can_mend: BoolProperty(description="Whether it is of a place that can be mended")
    has_place: BoolProperty(description="Whether it has a place on the sheet")
    place_mm: FloatVectorProperty(size=2, description="Place on the sheet, in mm")


def _chosen(group: Any, context: Any) -> None:
    """Fly to the finding that was clicked."""
    fly_to_active(context)


class FindingProperties:
    """What a scene keeps of the last build's findings."""

    findings: CollectionProperty(
        type=SHEETSTACK_PG_finding, description="What the last build has to say"
    )
    active_finding: IntProperty(
        name="Finding",
        description="A click flies the 3D views to its place",
        min=-1,
        default=-1,
        update=_chosen,
    )


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
        wide = context.region.width > NARROW * context.preferences.system.ui_scale
        row.label(text=item.message if wide else kind_of(item), icon=ICONS[item.severity])
        if item.layer and wide:
            layer = row.row()
            layer.alignment = "RIGHT"
            layer.active = False
            layer.label(text=item.layer)
        if offers_mending(context.scene, item):
            mended = is_accepted(context.scene, item)
            button = row.operator(
                SHEETSTACK_OT_mend_place.bl_idname,
                text="",
                icon="CHECKBOX_HLT" if mended else "CHECKBOX_DEHLT",
                emboss=False,
            )
            button.index = index


class SHEETSTACK_OT_mend_place(bpy.types.Operator):
    """Have this narrow place mended, or no longer: it is thickened or widened by the next build"""

    bl_idname = "sheetstack.mend_place"
    bl_label = "Mend Place"
    bl_options = {"REGISTER", "UNDO"}

    index: IntProperty(
        name="Finding", description="Place in the list; -1 for the chosen", default=-1, min=-1
    )

    @classmethod
    def poll(cls, context: Any) -> bool:
        if not any(offers_mending(context.scene, f) for f in context.scene.sheetstack.findings):
            cls.poll_message_set("No finding is of a place that can be mended")
            return False
        return True

    def execute(self, context: Any) -> set[str]:
        scene = context.scene
        state = scene.sheetstack
        index = state.active_finding if self.index < 0 else self.index
        finding = state.findings[index] if 0 <= index < len(state.findings) else None
        if finding is None or not offers_mending(scene, finding):
            self.report({"ERROR"}, "Expected the finding of a narrow place, which can be mended.")
            return {"CANCELLED"}
        row = layer_of(scene, finding.layer)
        places, here = _places(row), finding.place_mm
        kept = [place for place in places if not _same_place(place, here)]
        if len(kept) == len(places):
            kept.append([round(c, DIGITS) for c in here])
            what = "will be mended"
        else:
            what = "stays as it is"
        put_list(row, "mend_mm", kept)
        self.report({"INFO"}, f"{row.name}: the place {what} when the sheets are built.")
        return {"FINISHED"}


def offers_mending(scene: bpy.types.Scene, finding: Any) -> bool:
    """Return whether a finding is of a place that can be mended, or that is to be."""
    if not finding.has_place or layer_of(scene, finding.layer) is None:
        return False
    return finding.can_mend or is_accepted(scene, finding)


def is_accepted(scene: bpy.types.Scene, finding: Any) -> bool:
    """Return whether a finding's place is one that its layer is to have mended."""
    places = _places(layer_of(scene, finding.layer))
    return any(_same_place(place, finding.place_mm) for place in places)


def layer_of(scene: bpy.types.Scene, sheet: str) -> Any:
    """Return the layer's properties that a sheet is made from, None where there is none."""
    rows = scene.sheetstack.layers
    return next((row for row in rows if sheet == row.name or sheet in sheet_names(row)), None)


def _places(row: Any) -> list[list[float]]:
    """Return the places that a layer is to have mended."""
    return list_value(row, "mend_mm")


def _same_place(a: Any, b: Any) -> bool:
    return math.dist(a, b) < SAME


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


def kind_of(finding: Any) -> str:
    """Return in a word or two what a finding is of, from its code."""
    return str(finding.code).rpartition(".")[2].replace("-", " ").capitalize()


def active_finding(scene: bpy.types.Scene) -> Any:
    """Return the chosen finding, or None."""
    state = scene.sheetstack
    if 0 <= state.active_finding < len(state.findings):
        return state.findings[state.active_finding]
    return None


def fly_to_active(context: Any) -> None:
    """Fly all 3D views to the chosen finding."""
    finding = active_finding(context.scene)
    if finding is None or not finding.has_place:
        return
    target = place_in_scene(context.scene, finding.layer, finding.place_mm)
    near = DISTANCE / metres_per_unit(context.scene)
    if bpy.app.background:
        for view in _views(context).values():
            view.view_location, view.view_distance = target, near
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
                view.view_distance = distance * (near / distance) ** eased
        return STEP if share < 1.0 else None

    bpy.app.timers.register(step)


def _views(context: Any) -> dict[int, Any]:
    return {
        area.as_pointer(): area.spaces.active.region_3d
        for window in context.window_manager.windows
        for area in window.screen.areas
        if area.type == "VIEW_3D"
    }


CLASSES = (
    SHEETSTACK_PG_finding,
    SHEETSTACK_UL_findings,
    SHEETSTACK_OT_mend_place,
    SHEETSTACK_OT_go_to_finding,
)
