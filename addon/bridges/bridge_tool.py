"""The tool of the 3D view for bridges: drawn and moved with the mouse, changed with keys.

It is a tool of the workspace, as Blender's own are: its keys are in the keymap, everything else
works while it is on, and another tool ends it.
"""

from dataclasses import replace
from typing import Any

import bpy
import numpy as np
from bpy.props import EnumProperty, FloatProperty

from ...geometry.errors import SheetstackError
from ...geometry.job.sections import BridgeByHand
from ..core.conversion import metres
from ..core.drawing import draw_lines, draw_solid, line_batch
from ..core.viewport import redraw_views
from ..job.layer_list import active_layer
from ..job.scene_job import job_of
from ..sheets.viewport_marks import COLOURS
from .hand_bridges import draw_bridge, moved, put_bridge, remove_bridge
from .live_drag import begin_drag, dragging, end_drag, move_drag
from .place_on_sheet import (
    REACH,
    editable_bridges,
    edited_sheet,
    nearest_bridge,
    picked_bridge,
    pixel_size,
    place_under,
)

#: Pixels of a plain screen that make a drag of a click.
DRAG = 4.0
#: One step of widening, and the least width, in mm.
STEP, LEAST = 0.25, 0.25
#: The tool that the button gives back.
PLAIN_TOOL = "builtin.select_box"

#: A bridge while it is being dragged, for its drawing.
_shown: list[BridgeByHand] = []
_handles: list[Any] = []


def show_dragged(bridge: BridgeByHand) -> None:
    """Draw a bridge as it would be, with all that follows it."""
    _shown[:] = [bridge]
    move_drag(bridge)
    redraw_views()


def dragged_bridge() -> BridgeByHand | None:
    """Return the bridge that is being dragged, where it is now."""
    return _shown[0] if _shown else None


def end_dragged(*, keep: bool) -> None:
    """Draw it no more; the painted picture stays as it was shown last, or goes back."""
    _shown.clear()
    end_drag(keep=keep)
    redraw_views()


def follow_at_once(scene: Any) -> None:
    """Build a dropped bridge now, not after a pause, where changes are followed."""
    if scene.sheetstack.follow and bpy.ops.sheetstack.build.poll():
        bpy.ops.sheetstack.build("INVOKE_DEFAULT")


def width_of(scene: Any, bridge: BridgeByHand) -> float:
    """Return a bridge's width in mm, the job's where it has none of its own.

    Raises
    ------
    JobError
        The job cannot be read.
    """
    return bridge.width_mm or job_of(scene).bridge_width


def tool_is_on(context: Any) -> bool:
    """Return whether the tool is the active one of the 3D views."""
    tool = context.workspace.tools.from_space_view3d_mode("OBJECT", create=False)
    return tool is not None and tool.idname == SHEETSTACK_TL_bridges.bl_idname


class SHEETSTACK_OT_edit_bridges(bpy.types.Operator):
    """Take the tool for drawing, moving, widening, locking and forbidding the active layer's \
bridges, or put it away"""

    bl_idname = "sheetstack.edit_bridges"
    bl_label = "Edit Bridges"

    @classmethod
    def poll(cls, context: Any) -> bool:
        if edited_sheet(context) is None:
            cls.poll_message_set("Build the sheets first, and show the active layer's")
            return False
        if context.mode != "OBJECT":
            cls.poll_message_set("Leave edit mode first")
            return False
        if context.area is None or context.area.type != "VIEW_3D":
            cls.poll_message_set("Expected a 3D view to draw in")
            return False
        return True

    def execute(self, context: Any) -> set[str]:
        name = PLAIN_TOOL if tool_is_on(context) else SHEETSTACK_TL_bridges.bl_idname
        bpy.ops.wm.tool_set_by_id(name=name)
        return {"FINISHED"}


class SHEETSTACK_OT_drag_bridge(bpy.types.Operator):
    """Pick a bridge, move it, or draw a new one across an opening"""

    bl_idname = "sheetstack.drag_bridge"
    bl_label = "Draw, Pick or Move Bridge"
    bl_options = {"UNDO", "INTERNAL"}

    def invoke(self, context: Any, event: Any) -> set[str]:
        sheet = edited_sheet(context)
        at = (event.mouse_region_x, event.mouse_region_y)
        start = None if sheet is None else place_under(context, sheet, at)
        if start is None:
            return {"PASS_THROUGH"}
        pixel = pixel_size(context, sheet, at)
        self._start, self._place, self._least = start, start, DRAG * pixel
        self._bridge = nearest_bridge(context, start, REACH * pixel)
        self._layer = active_layer(context.scene).name
        self._began = False
        context.window_manager.modal_handler_add(self)
        return {"RUNNING_MODAL"}

    def modal(self, context: Any, event: Any) -> set[str]:
        if event.type in {"ESC", "RIGHTMOUSE"} or context.region_data is None:
            end_dragged(keep=False)
            return {"CANCELLED"}
        sheet = edited_sheet(context)
        if sheet is None:
            end_dragged(keep=False)
            return {"CANCELLED"}
        place = place_under(context, sheet, (event.mouse_region_x, event.mouse_region_y))
        self._place = self._place if place is None else place
        if event.type == "MOUSEMOVE":
            result = self._result()
            if result is not None:
                if not self._began:  # a click begins nothing
                    begin_drag(sheet, "" if self._bridge is None else self._bridge.id)
                    self._began = True
                show_dragged(result)
        if event.type == "LEFTMOUSE" and event.value == "RELEASE":
            return self._drop(context)
        return {"RUNNING_MODAL"}

    def cancel(self, context: Any) -> None:
        end_dragged(keep=False)

    def _result(self) -> BridgeByHand | None:
        """Return the bridge as it would be; None while it is a click."""
        if np.linalg.norm(self._place - self._start) < self._least:
            return None
        if self._bridge is not None:
            return moved(self._bridge, self._place - self._start)
        return BridgeByHand(self._layer, (tuple(self._start), tuple(self._place)))

    def _drop(self, context: Any) -> set[str]:
        scene, result = context.scene, self._result()
        end_dragged(keep=result is not None)
        if result is None:
            scene.sheetstack.picked_bridge = "" if self._bridge is None else self._bridge.id
            return {"FINISHED"}
        if self._bridge is None:
            result = draw_bridge(scene, self._layer, self._start, self._place)
        else:
            put_bridge(scene, result)
        scene.sheetstack.picked_bridge = result.id
        follow_at_once(scene)
        return {"FINISHED"}


class PickedBridge:
    """What the operators on the picked bridge have in common."""

    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls: Any, context: Any) -> bool:
        if picked_bridge(context) is None:
            cls.poll_message_set("Pick a bridge first: click it with the bridge tool")
            return False
        return True


class SHEETSTACK_OT_widen_bridge(PickedBridge, bpy.types.Operator):
    """Make the picked bridge wider or narrower"""

    bl_idname = "sheetstack.widen_bridge"
    bl_label = "Widen Bridge"

    by_mm: FloatProperty(
        name="By", description="How much wider; less than 0 is narrower", unit="CAMERA"
    )

    def execute(self, context: Any) -> set[str]:
        bridge = picked_bridge(context)
        if bridge is None:
            return {"CANCELLED"}
        try:
            width = max(LEAST, width_of(context.scene, bridge) + self.by_mm)
        except SheetstackError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        put_bridge(context.scene, replace(bridge, width_mm=width, state="locked"))
        return {"FINISHED"}


class SHEETSTACK_OT_bridge_state(PickedBridge, bpy.types.Operator):
    """Lock the picked bridge in its place, forbid it, or let it be automatic again"""

    bl_idname = "sheetstack.bridge_state"
    bl_label = "Lock, Forbid or Free Bridge"

    state: EnumProperty(
        name="State",
        description="What is to become of the bridge",
        items=[
            ("locked", "Lock", "It stays where it is, whatever else changes"),
            ("forbidden", "Forbid", "No bridge is to be laid here"),
            ("free", "Free", "It is automatic again; one that was drawn goes"),
        ],
    )

    @classmethod
    def description(cls, context: Any, properties: Any) -> str:
        items = cls.bl_rna.properties["state"].enum_items
        return str(items[properties.state].description)

    def execute(self, context: Any) -> set[str]:
        bridge = picked_bridge(context)
        if bridge is None:
            return {"CANCELLED"}
        if self.state != "free":
            put_bridge(context.scene, replace(bridge, state=self.state))
        elif not remove_bridge(context.scene, bridge.id):
            self.report({"INFO"}, "The bridge is automatic already.")
            return {"CANCELLED"}
        return {"FINISHED"}


def _key(name: str, key: str, /, *, value: str = "PRESS", ctrl: bool = False, **given: Any) -> Any:
    """Return a row of the tool's keymap."""
    event: dict[str, Any] = {"type": key, "value": value}
    if ctrl:
        event["ctrl"] = True
    return (name, event, {"properties": list(given.items())} if given else None)


class SHEETSTACK_TL_bridges(bpy.types.WorkSpaceTool):
    """Bridges of the active layer"""

    bl_space_type = "VIEW_3D"
    bl_context_mode = "OBJECT"
    bl_idname = "sheetstack.bridges"
    bl_label = "Edit Bridges"
    bl_description = (
        "Drag across an opening to draw a bridge, or drag a bridge to move it; a click picks it.\n"
        "Boxes, areas and own holes have handles, too, where they follow no object.\n"
        "Ctrl-wheel, + and -: width. L: lock. X: forbid. Delete: automatic again"
    )
    bl_icon = "ops.curve.draw"
    bl_cursor = "CROSSHAIR"
    bl_keymap = (
        _key("sheetstack.drag_bridge", "LEFTMOUSE"),
        _key("sheetstack.widen_bridge", "WHEELUPMOUSE", ctrl=True, by_mm=STEP),
        _key("sheetstack.widen_bridge", "WHEELDOWNMOUSE", ctrl=True, by_mm=-STEP),
        *(_key("sheetstack.widen_bridge", k, by_mm=STEP) for k in ("PLUS", "EQUAL", "NUMPAD_PLUS")),
        *(_key("sheetstack.widen_bridge", k, by_mm=-STEP) for k in ("MINUS", "NUMPAD_MINUS")),
        _key("sheetstack.bridge_state", "L", state="locked"),
        _key("sheetstack.bridge_state", "X", state="forbidden"),
        *(_key("sheetstack.bridge_state", k, state="free") for k in ("DEL", "BACK_SPACE")),
    )

    def draw_settings(context: Any, layout: Any, tool: Any) -> None:
        """Draw what can be done with the picked bridge into the tool's header."""
        if edited_sheet(context) is None:  # in a mock-up's scene, say, there is nothing to pick
            return
        bridge = picked_bridge(context)
        if bridge is None:
            layout.label(text="Click a bridge to pick it, or drag across an opening")
            return
        layout.label(text=f"Bridge {bridge.id}")
        row = layout.row(align=True)
        row.operator("sheetstack.widen_bridge", text="", icon="REMOVE").by_mm = -STEP
        row.operator("sheetstack.widen_bridge", text="", icon="ADD").by_mm = STEP
        row = layout.row(align=True)
        for state, icon in (("locked", "LOCKED"), ("forbidden", "CANCEL"), ("free", "LOOP_BACK")):
            button = row.operator("sheetstack.bridge_state", text=state.capitalize(), icon=icon)
            button.state = state


def draw_tool() -> None:
    """Draw bridges by hand, the picked one and the one that is being dragged."""
    context = bpy.context
    if not tool_is_on(context):
        return
    sheet = edited_sheet(context)
    if sheet is None:
        return
    import gpu

    picked = context.scene.sheetstack.picked_bridge
    top = sheet.sheetstack.thickness_mm + 0.1
    with gpu.matrix.push_pop():
        gpu.matrix.multiply_matrix(sheet.matrix_world)
        dragged = {bridge.id for bridge in _shown}
        for bridge in editable_bridges(context):
            if bridge.id in dragged:
                continue
            if bridge.state == "forbidden":
                _draw_line(bridge, top, COLOURS["SPOILS"], 3.0)
            elif bridge.state == "locked":
                _draw_line(bridge, top, COLOURS["bridge"], 5.0)
            if bridge.id == picked:
                _draw_line(bridge, top, (1, 1, 1, 1), 3.0)
        for bridge in _shown:
            _draw_live()
            _draw_line(bridge, top, COLOURS["WARNING"], 2.0)


def _draw_live() -> None:
    """Draw the dragged bridge as sheet, and what falls out with it there."""
    drag = dragging()
    if drag is None or drag.shown is None:
        return
    import gpu

    if drag.strip is not None:
        gpu.state.depth_test_set("LESS_EQUAL")
        draw_solid(metres(drag.strip.vertices), drag.strip.faces, drag.colour())
        gpu.state.depth_test_set("NONE")
    top = drag.layer.sheet.thickness + 0.1
    for piece in drag.shown.loose:
        ring = np.asarray(piece.exterior.coords)
        ends = np.stack([ring[:-1], ring[1:]], axis=1).reshape(-1, 2)
        flat = np.concatenate([ends, np.full((len(ends), 1), top)], axis=1)
        draw_lines(line_batch(metres(flat)), COLOURS["SPOILS"], 3.0)


def _draw_line(bridge: BridgeByHand, top: float, colour: Any, width: float) -> None:
    points = np.array(bridge.line_mm, float)
    ends = np.stack([points[:-1], points[1:]], axis=1).reshape(-1, 2)
    flat = np.concatenate([ends, np.full((len(ends), 1), top)], axis=1)
    draw_lines(line_batch(metres(flat)), colour, width)


CLASSES = (
    SHEETSTACK_OT_edit_bridges,
    SHEETSTACK_OT_drag_bridge,
    SHEETSTACK_OT_widen_bridge,
    SHEETSTACK_OT_bridge_state,
)


def register() -> None:
    """Put the tool among those of the 3D view and draw for it."""
    bpy.utils.register_tool(SHEETSTACK_TL_bridges, separator=True)
    view = bpy.types.SpaceView3D
    _handles.append(view.draw_handler_add(draw_tool, (), "WINDOW", "POST_VIEW"))


def unregister() -> None:
    """Give views back the plain tool where this one is on, and take it out."""
    end_dragged(keep=False)
    while _handles:
        bpy.types.SpaceView3D.draw_handler_remove(_handles.pop(), "WINDOW")
    manager = bpy.context.window_manager
    for window in manager.windows if manager else ():
        for area in window.screen.areas:
            with bpy.context.temp_override(window=window, area=area):
                if area.type == "VIEW_3D" and tool_is_on(bpy.context):
                    bpy.ops.wm.tool_set_by_id(name=PLAIN_TOOL)
    bpy.utils.unregister_tool(SHEETSTACK_TL_bridges)
