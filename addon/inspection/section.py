"""A section: all sheets cut through at a height, the cut in colour."""

from typing import Any

import bpy

from ...geometry.build import Build
from ...geometry.mesh.solid import Mesh, extrude
from ...geometry.scene.section import behind, cut_faces, cut_through
from ..core.conversion import fill_mesh, shader_colour
from ..core.long_work import LongWork, Work, may_begin
from ..job.scene_job import job_of
from ..sheets.last_build import builder
from ..sheets.sheet_object import has_sheets, sheets_of
from .added import emptied, plain

SECTION = "Sheet section"
#: Colour of faces that the section cuts.
CUT = "#e8542a"


class SHEETSTACK_OT_section(LongWork, bpy.types.Operator):
    """Cut all sheets through at a height, and show what stands behind with the cut in colour"""

    bl_idname = "sheetstack.section"
    bl_label = "Show Section"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        return has_sheets(cls, context) and may_begin(cls)

    def work(self, context: Any) -> Work:
        self._scene = context.scene.name
        return builder(context.scene, job_of(context.scene))

    def done(self, context: Any, result: Any) -> set[str]:
        scene = bpy.data.scenes.get(self._scene)
        if scene is None:
            return {"CANCELLED"}
        show_section(scene, result, float(scene.sheetstack_inspection.section_mm))
        return {"FINISHED"}


def show_section(scene: bpy.types.Scene, build: Build, height_mm: float) -> None:
    """Show all sheets cut through; the whole ones are hidden until the section is removed."""
    held = emptied(scene, SECTION)
    cut = plain("Section cut", CUT)
    sheets = sheets_of(scene)
    for layer in build.layers:
        whole = sheets.get(layer.sheet.layer)
        if whole is None:
            continue
        t = layer.sheet.thickness
        rest = behind(layer.sheet.shape, height_mm)
        parts: list[tuple[str, Mesh, Any]] = []
        if not rest.is_empty:
            parts.append(("Behind", extrude(rest, t), whole.data.materials[0]))
        spans = cut_through(layer.sheet.shape, height_mm)
        if len(spans):
            parts.append(("Cut", cut_faces(spans, height_mm, t), cut))
        for what, mesh, made in parts:
            data = bpy.data.meshes.new(f"{what} {layer.sheet.layer}")
            fill_mesh(data, mesh)
            data.materials.append(made)
            thing = bpy.data.objects.new(data.name, data)
            thing.color = whole.color if what == "Behind" else shader_colour(CUT)
            thing.parent, thing.location = whole.parent, whole.location
            held.objects.link(thing)
        whole.hide_viewport = True


CLASSES = (SHEETSTACK_OT_section,)
