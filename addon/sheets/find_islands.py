"""Finding islands on any mesh, also one edited by hand, and selecting them in edit mode."""

from typing import Any

import bmesh
import bpy
import numpy as np
from bpy.props import BoolProperty, IntProperty

from ...geometry.arrays import Bools
from ...geometry.errors import SheetstackError
from ...geometry.mesh.islands import Piece, find_pieces
from ..core.blender_versions import forget_selection
from ..core.conversion import corner_edges, corner_vertices, metres_per_unit, read_mesh


class SHEETSTACK_OT_find_islands(bpy.types.Operator):
    """Find the pieces of the active mesh that no face joins to its frame, and select them"""

    bl_idname = "sheetstack.find_islands"
    bl_label = "Find Islands"
    bl_options = {"REGISTER", "UNDO"}

    enter_edit_mode: BoolProperty(
        name="Show in edit mode",
        description="Go to edit mode with the islands' faces selected",
        default=True,
    )
    count: IntProperty(name="Islands", description="Number found", options={"HIDDEN", "SKIP_SAVE"})

    @classmethod
    def poll(cls, context: Any) -> bool:
        if context.object is None or context.object.type != "MESH":
            cls.poll_message_set("Make a mesh object active first")
            return False
        if context.mode not in {"OBJECT", "EDIT_MESH"}:
            cls.poll_message_set("Go to object mode or edit mode first")
            return False
        return True

    def execute(self, context: Any) -> set[str]:
        thing = context.object
        if thing.mode == "EDIT":
            thing.update_from_editmode()
        scale = thing.matrix_world.to_scale() * metres_per_unit(context.scene)
        mesh, polygons = read_mesh(thing.data, tuple(scale))
        try:
            pieces = find_pieces(mesh)
        except SheetstackError as error:
            self.report({"ERROR"}, f"{thing.name}: {error}")
            return {"CANCELLED"}
        islands = pieces.islands
        self.count = len(islands)
        chosen = np.zeros(len(thing.data.polygons), bool)
        for island in islands:
            chosen[polygons[island.faces]] = True
        own = thing.data.library is None  # a linked mesh can be checked, not changed
        if islands and self.enter_edit_mode and thing.mode == "OBJECT" and own:
            bpy.ops.object.mode_set(mode="EDIT")
        if thing.mode == "EDIT":
            context.scene.tool_settings.mesh_select_mode = (False, False, True)
            _select_in_edit_mode(thing.data, chosen)
        elif own:
            _select(thing.data, chosen)
        self.report(*_sentence(thing.name, islands))
        return {"FINISHED"}


def _sentence(name: str, islands: tuple[Piece, ...]) -> tuple[set[str], str]:
    if not islands:
        return {"INFO"}, f"{name}: no islands; the sheet is one piece."
    largest = islands[0]
    what = "1 island" if len(islands) == 1 else f"{len(islands)} islands"
    return {"WARNING"}, (
        f"{name}: {what}, together {sum(i.area_mm2 for i in islands):.1f} mm²; the largest "
        f"{largest.area_mm2:.1f} mm² at ({largest.place[0]:.1f}, {largest.place[1]:.1f}) mm."
    )


def _select_in_edit_mode(mesh: bpy.types.Mesh, chosen: Bools) -> None:
    edited = bmesh.from_edit_mesh(mesh)
    edited.faces.ensure_lookup_table()
    for face in edited.faces:
        face.select_set(False)
    for edge in edited.edges:
        edge.select_set(False)
    for vertex in edited.verts:
        vertex.select_set(False)
    for number in np.flatnonzero(chosen).tolist():
        edited.faces[number].hide_set(False)
        edited.faces[number].select_set(True)
    edited.select_flush_mode()
    bmesh.update_edit_mesh(mesh, loop_triangles=False, destructive=False)


def _select(mesh: bpy.types.Mesh, chosen: Bools) -> None:
    """Select polygons with their vertices and edges, so that edit mode shows the same."""
    forget_selection(mesh)
    count = len(mesh.polygons)
    totals = np.empty(count, np.int32)
    mesh.polygons.foreach_get("loop_total", totals)
    corners, edges = corner_vertices(mesh), corner_edges(mesh)
    of_chosen = np.repeat(chosen, totals)
    for elements, used in ((mesh.vertices, corners), (mesh.edges, edges)):
        flags = np.zeros(len(elements), bool)
        flags[used[of_chosen]] = True
        elements.foreach_set("select", flags)
    mesh.polygons.foreach_set("select", chosen)


CLASSES = (SHEETSTACK_OT_find_islands,)
