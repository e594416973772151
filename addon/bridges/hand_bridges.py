"""Bridges set by hand: rows of the job that lock, move, widen or forbid a bridge."""

from dataclasses import replace
from functools import lru_cache
from typing import Any

import bpy
import numpy as np
from bpy.props import IntProperty

from ...geometry.job.sections import BridgeByHand
from ..core.list_rows import list_value
from ..core.setting_property import put_values
from ..job.job_property import job_changed
from ..job.scene_job import put_settled
from ..sheets.sheet_object import marks_in, sheets_of

#: Digits (mm) of lines drawn with the mouse: a micrometre.
DIGITS = 3


def bridges_on(
    scene: bpy.types.Scene, layer: str, sheet: bpy.types.Object | None = None
) -> list[BridgeByHand]:
    """Return all bridges of a layer, on one of its sheets, as they would be by hand.

    First the rows that are by hand, then the automatic ones of the last build that no row has
    taken over; these have the state ``""``.

    Parameters
    ----------
    scene : Scene
    layer : str
    sheet : Object, optional
        One of the layer's sheets where it is split; the first when absent.
    """
    state = scene.sheetstack
    rows = [_value(row) for row in state.bridges_by_hand if row.layer == layer]
    taken = {row.id for row in rows}
    sheet = sheet or sheets_of(scene).get(layer)
    if sheet is None:
        return rows
    kept = _automatic(layer, sheet.sheetstack.marks)
    return rows + [bridge for bridge in kept if bridge.id not in taken]


def draw_bridge(
    scene: bpy.types.Scene, layer: str, start: Any, end: Any, state: str = "locked"
) -> BridgeByHand:
    """Add a bridge along a line on the sheet, in mm.

    Parameters
    ----------
    scene : Scene
    layer : str
    start, end : sequence of float
        x, y in mm.
    state : str
        What a build may do with it, see ``BridgeByHand``.
    """
    bridge = BridgeByHand(layer, _points([start, end]), _free_id(scene), state=state)
    put_bridge(scene, bridge)
    return bridge


def put_bridge(scene: bpy.types.Scene, bridge: BridgeByHand) -> None:
    """Set the row of a bridge by its id, added where there is none; an automatic one is locked."""
    state = scene.sheetstack
    if not bridge.state:
        bridge = replace(bridge, state="locked")
    row = next((r for r in state.bridges_by_hand if r.id == bridge.id), None)
    if row is None:
        row = state.bridges_by_hand.add()
        state.active_bridge = len(state.bridges_by_hand) - 1
    put_values(row, bridge)
    job_changed(state, None)


def moved(bridge: BridgeByHand, by: Any, end: int | None = None) -> BridgeByHand:
    """Return a bridge shifted by x, y in mm, or with one of its ends (0 or -1) shifted.

    Parameters
    ----------
    bridge : BridgeByHand
    by : sequence of float
        x, y in mm.
    end : int, optional
        0 or -1 shifts the first or the last end alone.
    """
    line = np.array(bridge.line_mm)
    if end is None:
        line = line + by
    else:
        line = np.stack([line[0], line[-1]])
        line[end] += by
    return replace(bridge, line_mm=_points(line))


def remove_bridge(scene: bpy.types.Scene, name: str) -> bool:
    """Remove a row by its id, so that the bridge is automatic again; whether there was one."""
    state = scene.sheetstack
    names = [row.id for row in state.bridges_by_hand]
    if name not in names:
        return False
    state.bridges_by_hand.remove(names.index(name))
    state.active_bridge = max(0, min(state.active_bridge, len(state.bridges_by_hand) - 1))
    job_changed(state, None)
    return True


class SHEETSTACK_UL_bridges(bpy.types.UIList):
    """Bridges set by hand"""

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
        row.label(text=item.id, icon="LOCKED" if item.state == "locked" else "CANCEL")
        layer = row.row()
        layer.active = False
        layer.label(text=item.layer)


class SHEETSTACK_OT_free_bridge(bpy.types.Operator):
    """Let the chosen bridge be automatic again"""

    bl_idname = "sheetstack.free_bridge"
    bl_label = "Free Bridge"
    bl_options = {"REGISTER", "UNDO"}

    index: IntProperty(
        name="Bridge", description="Place in the list; -1 for the active", default=-1
    )

    @classmethod
    def poll(cls, context: Any) -> bool:
        if not context.scene.sheetstack.bridges_by_hand:
            cls.poll_message_set("No bridge is set by hand")
            return False
        return True

    def execute(self, context: Any) -> set[str]:
        state = context.scene.sheetstack
        index = state.active_bridge if self.index < 0 else self.index
        if index >= len(state.bridges_by_hand):
            return {"CANCELLED"}
        remove_bridge(context.scene, state.bridges_by_hand[index].id)
        return {"FINISHED"}


class SHEETSTACK_OT_choose_bridges_anew(bpy.types.Operator):
    """Choose all automatic bridges anew, as if the job had not been built before. Else they stay \
where they were seen, while they hold, whatever is edited elsewhere"""

    bl_idname = "sheetstack.choose_bridges_anew"
    bl_label = "Choose Bridges Anew"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        if not context.scene.sheetstack.settled:
            cls.poll_message_set("No bridges have been chosen yet: build the sheets")
            return False
        return True

    def execute(self, context: Any) -> set[str]:
        put_settled(context.scene, ())
        job_changed(context.scene.sheetstack, None)
        return {"FINISHED"}


@lru_cache(maxsize=32)
def _automatic(layer: str, marks: str) -> tuple[BridgeByHand, ...]:
    return tuple(
        BridgeByHand(layer, _points(mark["path"]), mark["name"], mark["width"], state="")
        for mark in marks_in(marks)
        if mark["kind"] == "bridge" and mark["path"]
    )


def _value(row: Any) -> BridgeByHand:
    line = _points(list_value(row, "line_mm"))
    return BridgeByHand(
        row.layer, line, row.id, row.width_mm if row.use_width_mm else None, row.state
    )


def _points(line: Any) -> tuple[tuple[float, float], ...]:
    return tuple((round(float(x), DIGITS), round(float(y), DIGITS)) for x, y in line)


def _free_id(scene: bpy.types.Scene) -> str:
    taken = {row.id for row in scene.sheetstack.bridges_by_hand}
    number = 1
    while f"hand-{number}" in taken:
        number += 1
    return f"hand-{number}"


CLASSES = (
    SHEETSTACK_UL_bridges,
    SHEETSTACK_OT_free_bridge,
    SHEETSTACK_OT_choose_bridges_anew,
)
