"""Exporting the built sheets: one STL file a layer, in mm."""

from typing import Any

import bpy
import numpy as np

from ...geometry.errors import SheetstackError
from ...geometry.files.stl import write_stl
from ...geometry.job.names import file_stem
from ...geometry.mesh.solid import Mesh
from ..core.conversion import (
    blender_coordinates,
    corner_vertices,
    read_mesh,
    vertex_coordinates,
)
from ..core.folder_dialogue import FolderDialogue
from ..job.scene_job import job_of
from ..sheets.last_build import last_build_of
from ..sheets.sheet_object import sheets_of


class SHEETSTACK_OT_export_stl(FolderDialogue, bpy.types.Operator):
    """Write one STL file for each sheet as it is now, edits by hand included, in mm"""

    bl_idname = "sheetstack.export_stl"
    bl_label = "Export Sheets as STL"
    bl_options = {"REGISTER"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        if not sheets_of(context.scene):
            cls.poll_message_set("Build the sheets first")
            return False
        return True

    def execute(self, context: Any) -> set[str]:
        sheets = sheets_of(context.scene)
        try:
            folder = self.folder()
            built = _built_meshes(context.scene)
            for name, sheet in sheets.items():
                mesh = current_mesh(sheet, built.get(name))
                target = folder / f"{file_stem(name)}.stl"
                write_stl(target, mesh.vertices, mesh.faces, f"Sheetstack: {name}, mm")
        except SheetstackError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        self.report({"INFO"}, f"Wrote {len(sheets)} STL files to {folder}.")
        return {"FINISHED"}


def current_mesh(sheet: bpy.types.Object, built: Mesh | None = None) -> Mesh:
    """Return a sheet's mesh in mm as it is now.

    Modifiers that are shown count. Where it is still the one that was built, that one is returned,
    free of Blender's rounding.
    """
    if sheet.mode == "EDIT":
        sheet.update_from_editmode()
    if is_modified(sheet):
        evaluated = sheet.evaluated_get(bpy.context.evaluated_depsgraph_get())
        mesh, _ = read_mesh(evaluated.to_mesh())
        evaluated.to_mesh_clear()
        return mesh
    if (
        built is not None
        and np.array_equal(vertex_coordinates(sheet.data), blender_coordinates(built))
        and np.array_equal(corner_vertices(sheet.data), built.faces.ravel())
    ):
        return built
    mesh, _ = read_mesh(sheet.data)
    return mesh


def is_modified(sheet: bpy.types.Object) -> bool:
    """Return whether modifiers change what is seen of a sheet."""
    return any(modifier.show_viewport for modifier in sheet.modifiers)


def _built_meshes(scene: bpy.types.Scene) -> dict[str, Mesh]:
    """Return the meshes of the last build of the scene's job by layer name."""
    try:
        build = last_build_of(job_of(scene))
    except SheetstackError:  # the job is being changed; the sheets are what they are
        build = None
    return {layer.sheet.layer: layer.mesh for layer in build.layers} if build else {}


def _export_entry(menu: Any, context: Any) -> None:
    menu.layout.operator(SHEETSTACK_OT_export_stl.bl_idname, text="Stencil Sheets (.stl)")


CLASSES = (SHEETSTACK_OT_export_stl,)


def register() -> None:
    """Add the entry of File > Export."""
    bpy.types.TOPBAR_MT_file_export.append(_export_entry)


def unregister() -> None:
    """Take it out again."""
    bpy.types.TOPBAR_MT_file_export.remove(_export_entry)
