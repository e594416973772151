"""Handles of the picked bridge in the 3D view: both ends, its middle and its width.

They are sized for the screen and stand off the bridge, so that those of a short one stay apart.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import bpy
import numpy as np
from bpy_extras.view3d_utils import location_3d_to_region_2d

from ...geometry.arrays import Floats
from ...geometry.errors import SheetstackError
from ...geometry.job.sections import BridgeByHand
from .bridge_tool import (
    LEAST,
    dragged_bridge,
    end_dragged,
    follow_at_once,
    show_dragged,
    width_of,
)
from .hand_bridges import moved, put_bridge
from .live_drag import begin_drag
from .place_on_sheet import edited_sheet, picked_bridge, pixel_size, place_under, scene_place
from .screen_handle import ScreenHandle, ScreenHandles, dress, stand

PARTS = ("start", "end", "middle", "width")
#: Pixels of a plain screen from a bridge's end, or its side, to the handle.
AWAY = {"start": 13.0, "end": 13.0, "middle": 0.0, "width": 24.0}
#: A handle's radius as a share of the size of gizmos in Blender's preferences.
SIZES = {"start": 0.08, "end": 0.08, "middle": 0.065, "width": 0.055}
COLOURS = {
    "start": (0.34, 0.71, 0.91),
    "end": (0.34, 0.71, 0.91),
    "middle": (1.0, 1.0, 1.0),
    "width": (0.94, 0.89, 0.26),
}


def handle_place(bridge: BridgeByHand, part: str, pixel: float, width_mm: float) -> Floats:
    """Return where a handle stands on the sheet, in mm.

    Parameters
    ----------
    bridge : BridgeByHand
    part : {'start', 'end', 'middle', 'width'}
    pixel : float
        Length of a pixel of a plain screen on the sheet, in mm.
    width_mm : float
        The bridge's width.

    Returns
    -------
    float64 array (2,)
    """
    line = np.asarray(bridge.line_mm, float)
    way = line[-1] - line[0]
    length = float(np.linalg.norm(way))
    along = way / length if length > 0 else np.array([1.0, 0.0])
    away = AWAY[part] * pixel
    if part == "start":
        return np.asarray(line[0] - away * along)
    if part == "end":
        return np.asarray(line[-1] + away * along)
    middle = (line[0] + line[-1]) / 2
    if part == "middle":
        return np.asarray(middle)
    side = np.array([-along[1], along[0]])
    return np.asarray(middle + (width_mm / 2 + away) * side)


def pulled(bridge: BridgeByHand, part: str, start: Any, place: Any, width_mm: float) -> Any:
    """Return a bridge after one of its handles was pulled from a place to another, in mm.

    Parameters
    ----------
    bridge : BridgeByHand
    part : str
        Of ``PARTS``: which handle.
    start, place : sequence of float
        x, y in mm.
    width_mm : float
        Before the pull.
    """
    by = np.asarray(place, float) - start
    if part in ("start", "end"):
        return moved(bridge, by, 0 if part == "start" else -1)
    if part == "middle":
        return moved(bridge, by)
    line = np.asarray(bridge.line_mm, float)
    way = line[-1] - line[0]
    side = np.array([-way[1], way[0]]) / max(float(np.linalg.norm(way)), 1e-9)
    width = max(LEAST, width_mm + 2 * float(by @ side))
    return replace(bridge, width_mm=round(width, 3), state="locked")


def handle_places(context: Any, sheet: Any, bridge: Any) -> dict[str, Floats] | None:
    """Return where the handles of a bridge stand on a sheet, in mm; None where none is seen.

    Parameters
    ----------
    context : Context
    sheet : Object or None
    bridge : BridgeByHand or None
    """
    if sheet is None or bridge is None:
        return None
    line = np.asarray(bridge.line_mm, float)
    seen = location_3d_to_region_2d(
        context.region, context.region_data, scene_place(sheet, (line[0] + line[-1]) / 2)
    )
    pixel = 0.0 if seen is None else pixel_size(context, sheet, tuple(seen))
    if not pixel:
        return None
    try:
        width = width_of(context.scene, bridge)
    except SheetstackError:  # told by the next build
        return None
    return {part: handle_place(bridge, part, pixel, width) for part in PARTS}


class SHEETSTACK_GT_bridge_handle(ScreenHandle, bpy.types.Gizmo):
    """A handle of the picked bridge"""

    bl_idname = "SHEETSTACK_GT_bridge_handle"
    __slots__ = ("bridge", "disc", "part", "result", "start", "width")

    def setup(self) -> None:
        super().setup()
        self.result = None

    def invoke(self, context: Any, event: Any) -> set[str]:
        sheet, self.bridge = edited_sheet(context), picked_bridge(context)
        self.result = None
        if sheet is None or self.bridge is None:
            return {"CANCELLED"}
        self.start = place_under(context, sheet, (event.mouse_region_x, event.mouse_region_y))
        try:
            self.width = width_of(context.scene, self.bridge)
        except SheetstackError:  # told by the next build
            return {"CANCELLED"}
        return {"CANCELLED"} if self.start is None else {"RUNNING_MODAL"}

    def modal(self, context: Any, event: Any, tweak: Any) -> set[str]:
        sheet = edited_sheet(context)
        at = (event.mouse_region_x, event.mouse_region_y)
        place = None if sheet is None else place_under(context, sheet, at)
        if place is not None and self.bridge is not None:
            if self.result is None:
                begin_drag(sheet, self.bridge.id)
            result = pulled(self.bridge, self.part, self.start, place, self.width)
            self.result = result
            show_dragged(result)
        return {"RUNNING_MODAL"}

    def exit(self, context: Any, cancel: bool) -> None:
        result, self.result = self.result, None
        end_dragged(keep=result is not None and not cancel)
        if result is not None and not cancel:
            put_bridge(context.scene, result)
            bpy.ops.ed.undo_push(message="Widen bridge" if self.part == "width" else "Move bridge")
            follow_at_once(context.scene)


class SHEETSTACK_GGT_bridge(ScreenHandles, bpy.types.GizmoGroup):
    """Handles of the picked bridge"""

    bl_idname = "SHEETSTACK_GGT_bridge"
    bl_label = "Bridge Handles"

    def setup(self, context: Any) -> None:
        for part in PARTS:
            handle = self.gizmos.new(SHEETSTACK_GT_bridge_handle.bl_idname)
            handle.part = part
            dress(handle, COLOURS[part], SIZES[part])

    def draw_prepare(self, context: Any) -> None:
        sheet, bridge = edited_sheet(context), dragged_bridge() or picked_bridge(context)
        places = handle_places(context, sheet, bridge)
        for handle in self.gizmos:
            handle.hide = places is None
            if places is not None:
                stand(handle, sheet, places[handle.part])


CLASSES = (SHEETSTACK_GT_bridge_handle, SHEETSTACK_GGT_bridge)
