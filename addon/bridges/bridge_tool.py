"""The bridge tool: bridges drawn, moved, widened, locked and forbidden with the mouse."""

from dataclasses import replace
from typing import Any

import bpy
import numpy as np
import shapely
from bpy_extras.view3d_utils import region_2d_to_origin_3d, region_2d_to_vector_3d
from mathutils.geometry import intersect_line_plane

from ...geometry.errors import SheetstackError
from ...geometry.job.sections import BridgeByHand
from ..core.conversion import metres, millimetres
from ..core.viewport import redraw_views
from ..job.layer_list import active_layer
from ..job.scene_job import job_of
from ..sheets.sheet_object import sheets_of
from ..sheets.viewport_marks import COLOURS, draw_lines, line_batch
from .hand_bridges import bridges_on, draw_bridge, moved, put_bridge, remove_bridge

#: Pixels within which the mouse takes hold of a bridge, or of its end.
REACH, END_REACH = 14.0, 9.0
#: One step of widening, and the least width, in mm.
STEP, LEAST = 0.25, 0.25
HELP = (
    "Drag: draw, or move a bridge or its end   Ctrl-wheel, +, -: width   L: lock   "
    "X: forbid   Del: automatic again   Ctrl-Z: undo   Enter: done   Esc: end"
)
#: The tool at work, for its drawing.
_active: list[Any] = []
_handles: list[Any] = []


class SHEETSTACK_OT_edit_bridges(bpy.types.Operator):
    """Draw, move, widen, lock and forbid the active layer's bridges with the mouse"""

    bl_idname = "sheetstack.edit_bridges"
    bl_label = "Edit Bridges"

    @classmethod
    def poll(cls, context: Any) -> bool:
        layer = active_layer(context.scene)
        if layer is None or layer.name not in sheets_of(context.scene):
            cls.poll_message_set("Build the sheets first")
            return False
        if context.mode != "OBJECT":
            cls.poll_message_set("Leave edit mode first")
            return False
        if _active:
            cls.poll_message_set("The tool is at work")
            return False
        return True

    def invoke(self, context: Any, event: Any) -> set[str]:
        if context.area is None or context.area.type != "VIEW_3D":
            self.report({"ERROR"}, "Expected a 3D view to draw in.")
            return {"CANCELLED"}
        self.layer: str = active_layer(context.scene).name
        self.hovered: BridgeByHand | None = None
        self.end: int | None = None
        self.start: Any = None
        self.shown: BridgeByHand | None = None
        try:
            self.width: float = job_of(context.scene).bridge_width
        except SheetstackError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        _active[:] = [self]
        context.window.cursor_modal_set("CROSSHAIR")
        context.workspace.status_text_set(HELP)
        context.window_manager.modal_handler_add(self)
        return {"RUNNING_MODAL"}

    def modal(self, context: Any, event: Any) -> set[str]:
        if not _active or context.scene.sheetstack.layers.get(self.layer) is None:
            return self._finish(context, {"CANCELLED"})
        place, pixel = self._under_mouse(context, event)
        if event.type in {"RET", "NUMPAD_ENTER"} and event.value == "PRESS":
            return self._finish(context, {"FINISHED"})
        if event.type in {"ESC", "RIGHTMOUSE"} and event.value == "PRESS":
            if self.start is None:
                return self._finish(context, {"FINISHED"})
            self.start = self.shown = None
        elif event.type == "Z" and event.ctrl and event.value == "PRESS":
            self.start = self.shown = None
            operator = bpy.ops.ed.redo if event.shift else bpy.ops.ed.undo
            if operator.poll():
                operator()
        elif event.type == "MOUSEMOVE" and place is not None:
            if self.start is None:
                self.hovered, self.end = self._nearest(context, place, pixel)
            else:
                self.shown = self._dragged(place)
        elif event.type == "LEFTMOUSE" and event.value == "PRESS" and place is not None:
            if not self._in_region(context, event):
                return {"PASS_THROUGH"}
            self.hovered, self.end = self._nearest(context, place, pixel)
            self.start = place
        elif event.type == "LEFTMOUSE" and event.value == "RELEASE" and self.start is not None:
            self._drop(context, place)
        elif self.hovered is not None and event.value == "PRESS" and self._change(context, event):
            pass
        else:
            return {"PASS_THROUGH"}
        redraw_views()
        return {"RUNNING_MODAL"}

    def cancel(self, context: Any) -> None:
        self._finish(context, {"CANCELLED"})

    def _finish(self, context: Any, result: set[str]) -> set[str]:
        _active.clear()
        context.window.cursor_modal_restore()
        context.workspace.status_text_set(None)
        redraw_views()
        return result

    def _drop(self, context: Any, place: Any) -> None:
        """End a drag: a new bridge, or one that was moved."""
        scale = 0.0 if place is None else float(np.linalg.norm(place - self.start))
        if scale > 0.2:  # less is a click, not a drag
            if self.hovered is None:
                self.hovered = draw_bridge(context.scene, self.layer, self.start, place)
                _push("Draw bridge")
            else:
                self.hovered = self._dragged(place)
                put_bridge(context.scene, self.hovered)
                _push("Move bridge")
        self.start = self.shown = None

    def _dragged(self, place: Any) -> BridgeByHand:
        if self.hovered is None:
            line = (tuple(self.start), tuple(place))
            return BridgeByHand(self.layer, line)
        return moved(self.hovered, place - self.start, self.end)

    def _change(self, context: Any, event: Any) -> bool:
        """Do what a key says to the bridge under the mouse; whether it says anything."""
        bridge = self.hovered
        assert bridge is not None
        key = event.type
        wider = key in {"NUMPAD_PLUS", "PLUS", "EQUAL"} or (key == "WHEELUPMOUSE" and event.ctrl)
        narrower = key in {"NUMPAD_MINUS", "MINUS"} or (key == "WHEELDOWNMOUSE" and event.ctrl)
        if wider or narrower:
            width = (bridge.width_mm or self.width) + (STEP if wider else -STEP)
            self.hovered = replace(bridge, width_mm=max(LEAST, width), state="locked")
            put_bridge(context.scene, self.hovered)
            _push("Widen bridge")
        elif key in {"L", "X"}:
            state = "locked" if key == "L" else "forbidden"
            self.hovered = replace(bridge, state=state)
            put_bridge(context.scene, self.hovered)
            _push("Lock bridge" if key == "L" else "Forbid bridge")
        elif key in {"DEL", "BACK_SPACE"}:
            if remove_bridge(context.scene, bridge.id):
                _push("Free bridge")
            self.hovered = None
        else:
            return False
        return True

    def _under_mouse(self, context: Any, event: Any) -> tuple[Any, float]:
        """Return the place on the sheet under the mouse in mm, and the size of a pixel there."""
        region = _main_region(context)
        sheet = sheets_of(context.scene).get(self.layer)
        if sheet is None:
            return None, 1.0
        view = context.space_data.region_3d
        mouse = (event.mouse_x - region.x, event.mouse_y - region.y)
        places = [_on_sheet(region, view, sheet, at) for at in (mouse, (mouse[0] + 1, mouse[1]))]
        if places[0] is None or places[1] is None:
            return None, 1.0
        return places[0], float(np.linalg.norm(places[1] - places[0]))

    def _nearest(
        self, context: Any, place: Any, pixel: float
    ) -> tuple[BridgeByHand | None, int | None]:
        """Return the bridge within reach of a place, and which of its ends, if one is."""
        best, distance = None, REACH * pixel
        for bridge in bridges_on(context.scene, self.layer):
            if len(bridge.line_mm) > 1:
                here = shapely.LineString(bridge.line_mm).distance(shapely.Point(place))
                if here < distance:
                    best, distance = bridge, here
        if best is None:
            return None, None
        ends = [np.linalg.norm(place - np.array(best.line_mm[k])) for k in (0, -1)]
        near = int(np.argmin(ends))
        return best, (0, -1)[near] if ends[near] < END_REACH * pixel else None

    def _in_region(self, context: Any, event: Any) -> bool:
        region = _main_region(context)
        over = [
            r for r in context.area.regions if r.type in {"UI", "TOOLS", "HEADER", "TOOL_HEADER"}
        ]
        return _inside(region, event) and not any(_inside(r, event) for r in over)


def _on_sheet(region: Any, view: Any, sheet: Any, at: Any) -> Any:
    """Return where the line of sight through a pixel meets a sheet's top, in its mm."""
    to_sheet = sheet.matrix_world.inverted()
    origin = to_sheet @ region_2d_to_origin_3d(region, view, at)
    toward = to_sheet @ (
        region_2d_to_origin_3d(region, view, at) + region_2d_to_vector_3d(region, view, at)
    )
    top = (0.0, 0.0, float(metres(sheet.sheetstack.thickness_mm)))
    hit = intersect_line_plane(origin, toward, top, (0.0, 0.0, 1.0))
    return None if hit is None else millimetres(hit[:2])


def _main_region(context: Any) -> Any:
    return next(r for r in context.area.regions if r.type == "WINDOW")


def _inside(region: Any, event: Any) -> bool:
    x, y = event.mouse_x - region.x, event.mouse_y - region.y
    return bool(0 <= x < region.width and 0 <= y < region.height and region.width > 1)


def _push(message: str) -> None:
    bpy.ops.ed.undo_push(message=message)


def draw_tool() -> None:
    """Draw rows by hand, the bridge under the mouse and the one that is being dragged."""
    if not _active:
        return
    import gpu

    tool, scene = _active[0], bpy.context.scene
    sheet = sheets_of(scene).get(tool.layer)
    if sheet is None:
        return
    top = sheet.sheetstack.thickness_mm + 0.1
    with gpu.matrix.push_pop():
        gpu.matrix.multiply_matrix(sheet.matrix_world)
        for bridge in bridges_on(scene, tool.layer):
            if bridge.state == "forbidden":
                _draw_line(bridge, top, COLOURS["SPOILS"], 3.0)
            elif bridge.state == "locked":
                _draw_line(bridge, top, COLOURS["bridge"], 5.0)
        for bridge, colour in ((tool.hovered, (1, 1, 1, 1)), (tool.shown, COLOURS["WARNING"])):
            if bridge is not None:
                _draw_line(bridge, top, colour, 4.0)


def _draw_line(bridge: BridgeByHand, top: float, colour: Any, width: float) -> None:
    points = np.array(bridge.line_mm, float)
    if len(points) < 2:
        return
    ends = np.stack([points[:-1], points[1:]], axis=1).reshape(-1, 2)
    flat = np.concatenate([ends, np.full((len(ends), 1), top)], axis=1)
    draw_lines(line_batch(metres(flat)), colour, width)


CLASSES = (SHEETSTACK_OT_edit_bridges,)


def register() -> None:
    """Draw the tool in all 3D views."""
    view = bpy.types.SpaceView3D
    _handles.append(view.draw_handler_add(draw_tool, (), "WINDOW", "POST_VIEW"))


def unregister() -> None:
    """Draw no more; a tool at work ends at its next event."""
    while _handles:
        bpy.types.SpaceView3D.draw_handler_remove(_handles.pop(), "WINDOW")
    _active.clear()
