"""Handles of the job's places in the 3D view: boxes and areas of bridges, and own holes.

They are there while the bridge tool is on. Places that follow an object have none: the object is
what is moved.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np

from ..core.conversion import metres
from ..core.drawing import draw_lines, line_batch
from ..core.list_rows import rows_name
from ..core.ownership import stands_in
from ..core.viewport import redraw_views
from ..job.layer_list import active_layer
from ..sheets.viewport_marks import COLOURS
from .bridge_tool import tool_is_on
from .place_on_sheet import edited_sheet, place_under
from .screen_handle import ScreenHandle, ScreenHandles, dress, stand

#: Least side of a box in mm, and digits that places are kept with.
LEAST_SIDE, DIGITS = 1.0, 3
#: Parts of a box that can be taken hold of.
BOX_PARTS = ("low", "high", "middle")
#: Handles that there are at most: Blender makes them before it is known how many are needed.
MOST = 120
#: A handle's radius as a share of the size of gizmos in Blender's preferences.
SIZE = 0.06
COLOUR = COLOURS["NOTE"][:3]


@dataclass(frozen=True)
class PlaceHandle:
    """What can be taken hold of.

    Parameters
    ----------
    row : property group
        A box or a point.
    part : str
        ``"low"``, ``"high"`` or ``"middle"`` of a box, ``"point"``.
    """

    row: Any
    part: str

    @property
    def place(self) -> tuple[float, float]:
        """Where the handle stands on the sheet, in mm."""
        value = self.row.get_value()
        if self.part == "point":
            return value[0], value[1]
        share = {"low": 0.0, "middle": 0.5, "high": 1.0}[self.part]
        return value[0] + share * value[2], value[1] + share * value[3]


def pulled_place(value: Any, part: str, by: Any) -> list[float]:
    """Return a point, or a box (x, y, width, height), of which a part was pulled by x, y in mm.

    Parameters
    ----------
    value : sequence of float
        x, y of a point; x, y, width, height of a box.
    part : str
        ``point``, ``middle``, or the corner that is pulled: ``high`` or ``low``.
    by : sequence of float

    Examples
    --------
    >>> pulled_place([10, 10, 20, 20], "high", (5, -30))
    [10, 10, 25.0, 1.0]
    """
    dx, dy = (float(v) for v in by)
    if part == "point":
        moved = [value[0] + dx, value[1] + dy]
    elif part == "middle":
        moved = [value[0] + dx, value[1] + dy, *value[2:]]
    elif part == "high":
        moved = [*value[:2], max(LEAST_SIDE, value[2] + dx), max(LEAST_SIDE, value[3] + dy)]
    else:
        width, height = (max(LEAST_SIDE, value[2] - dx), max(LEAST_SIDE, value[3] - dy))
        moved = [value[0] + value[2] - width, value[1] + value[3] - height, width, height]
    return [round(v, DIGITS) if isinstance(v, float) else v for v in moved]


def place_handles(scene: Any) -> Iterator[PlaceHandle]:
    """Yield all that can be taken hold of, in an order that dragging does not change."""
    for row in _boxes(scene):
        for part in BOX_PARTS:
            yield PlaceHandle(row, part)
    for line in _corner_lists(scene):
        for point in line:
            yield PlaceHandle(point, "point")
    for row in getattr(scene.sheetstack.registration, rows_name("holes_mm")):
        if not _follows(scene, row):
            yield PlaceHandle(row, "point")


def _boxes(scene: Any) -> Iterator[Any]:
    state = scene.sheetstack
    for row in getattr(state.bridges, rows_name("keep_free_mm")):
        if not _follows(scene, row):
            yield row
    for area in _areas(scene):
        yield from getattr(area, rows_name("box_mm"))


def _corner_lists(scene: Any) -> Iterator[Any]:
    state = scene.sheetstack
    for line in getattr(state.bridges, rows_name("keep_free_areas_mm")):
        yield line.points
    for area in _areas(scene):
        corners = getattr(area, rows_name("corners_mm"))
        if len(corners):
            yield corners


def _areas(scene: Any) -> Iterator[Any]:
    """Yield the areas that hold for the active layer."""
    layer = active_layer(scene)
    for area in scene.sheetstack.areas:
        if not area.layer or (layer is not None and area.layer == layer.name):
            yield area


def _follows(scene: Any, row: Any) -> bool:
    return row.source is not None and stands_in(scene, row.source)


def outlines(scene: Any) -> list[Any]:
    """Return the outlines (k, 2) of the boxes and areas, in mm."""
    found = []
    for row in _boxes(scene):
        x, y, width, height = row.get_value()
        found.append(np.array([(x, y), (x + width, y), (x + width, y + height), (x, y + height)]))
    found += [np.array([point.get_value() for point in line]) for line in _corner_lists(scene)]
    return found


class SHEETSTACK_GT_place_handle(ScreenHandle, bpy.types.Gizmo):
    """A handle of a place of the job"""

    bl_idname = "SHEETSTACK_GT_place_handle"
    __slots__ = ("before", "disc", "number", "start")

    def _handle(self, context: Any) -> PlaceHandle | None:
        found = list(place_handles(context.scene))
        return found[self.number] if self.number < len(found) else None

    def invoke(self, context: Any, event: Any) -> set[str]:
        sheet, handle = edited_sheet(context), self._handle(context)
        if sheet is None or handle is None:
            return {"CANCELLED"}
        self.start = place_under(context, sheet, (event.mouse_region_x, event.mouse_region_y))
        self.before = handle.row.get_value()
        return {"CANCELLED"} if self.start is None else {"RUNNING_MODAL"}

    def modal(self, context: Any, event: Any, tweak: Any) -> set[str]:
        sheet, handle = edited_sheet(context), self._handle(context)
        at = (event.mouse_region_x, event.mouse_region_y)
        place = None if sheet is None else place_under(context, sheet, at)
        if place is not None and handle is not None:
            by = np.asarray(place) - self.start
            handle.row.set_value(pulled_place(self.before, handle.part, by))
            redraw_views()
        return {"RUNNING_MODAL"}

    def exit(self, context: Any, cancel: bool) -> None:
        handle = self._handle(context)
        if handle is None or handle.row.get_value() == self.before:
            return
        if cancel:
            handle.row.set_value(self.before)
        else:
            bpy.ops.ed.undo_push(message="Move place")


class SHEETSTACK_GGT_places(ScreenHandles, bpy.types.GizmoGroup):
    """Handles of the job's places"""

    bl_idname = "SHEETSTACK_GGT_places"
    bl_label = "Place Handles"

    def setup(self, context: Any) -> None:
        for number in range(MOST):
            handle = self.gizmos.new(SHEETSTACK_GT_place_handle.bl_idname)
            handle.number, handle.hide = number, True
            dress(handle, COLOUR, SIZE)

    def draw_prepare(self, context: Any) -> None:
        sheet = edited_sheet(context)
        found = [] if sheet is None else list(place_handles(context.scene))[:MOST]
        for handle, place in zip(self.gizmos, found, strict=False):
            stand(handle, sheet, place.place)
        for number, handle in enumerate(self.gizmos):
            handle.hide = number >= len(found)


_handles: list[Any] = []


def draw_places() -> None:
    """Draw the outlines of boxes and areas; Blender calls it in each 3D view."""
    context = bpy.context
    sheet = edited_sheet(context) if tool_is_on(context) else None
    if sheet is None:
        return
    import gpu

    with gpu.matrix.push_pop():
        gpu.matrix.multiply_matrix(sheet.matrix_world)
        for ring in outlines(context.scene):
            ends = np.stack([ring, np.roll(ring, -1, axis=0)], axis=1).reshape(-1, 2)
            top = np.full((len(ends), 1), sheet.sheetstack.thickness_mm + 0.1)
            draw_lines(line_batch(metres(np.concatenate([ends, top], axis=1))), COLOURS["NOTE"], 2)


CLASSES = (SHEETSTACK_GT_place_handle, SHEETSTACK_GGT_places)


def register() -> None:
    """Draw in all 3D views."""
    view = bpy.types.SpaceView3D
    _handles.append(view.draw_handler_add(draw_places, (), "WINDOW", "POST_VIEW"))


def unregister() -> None:
    """Draw no more."""
    while _handles:
        bpy.types.SpaceView3D.draw_handler_remove(_handles.pop(), "WINDOW")
