"""A section: all sheets cut through at a height, the cut in colour."""

from typing import Any

import bpy

from ...geometry.build import Build
from ...geometry.mesh.solid import Mesh, extrude
from ...geometry.scene.section import behind, cut_faces, cut_through
from ..core.conversion import fill_mesh, shader_colour
from ..core.long_work import THROUGHOUT, LongWork, Work, may_begin
from ..core.look import join
from ..core.ownership import key_of, made, owning, remove_made, scene_of
from ..job.scene_job import job_of
from ..sheets.last_build import builder
from ..sheets.sheet_object import collection_of, has_sheets, sheets_of
from .found import remember

#: Role of what is made here.
ROLE = "SECTION"
#: Colour of faces that the section cuts.
CUT = "#e8542a"


class SHEETSTACK_OT_section(LongWork, bpy.types.Operator):
    """Cut all sheets through at a height, and show what stands behind with the cut in colour"""

    bl_idname = "sheetstack.section"
    bl_label = "Show Section"
    bl_options = {"REGISTER", "UNDO"}
    harmless_until = THROUGHOUT

    @classmethod
    def poll(cls, context: Any) -> bool:
        return has_sheets(cls, context) and may_begin(cls)

    def work(self, context: Any) -> Work:
        self._scene = key_of(context.scene)
        return builder(context.scene, job_of(context.scene))

    def done(self, context: Any, result: Any) -> set[str]:
        scene = scene_of(self._scene)
        if scene is None:
            return {"CANCELLED"}
        show_section(scene, result, float(scene.sheetstack_inspection.section_mm))
        return {"FINISHED"}


def show_section(scene: bpy.types.Scene, build: Build, height_mm: float) -> None:
    """Show all sheets cut through; the whole ones are hidden until the section is removed.

    Parameters
    ----------
    scene : Scene
    build : Build
    height_mm : float
        Of the cut, from the sheet's lower edge.
    """
    remove_made(scene, ROLE)
    with owning(scene, ROLE):
        _make_section(scene, build, height_mm)
    join(scene, made(scene, ROLE).values())


def _make_section(scene: bpy.types.Scene, build: Build, height_mm: float) -> None:
    held = collection_of(scene)
    cut = bpy.data.materials.new("Section cut")
    cut.diffuse_color = shader_colour(CUT)
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
        for what, mesh, surface in parts:
            data = bpy.data.meshes.new(f"{what} {layer.sheet.layer}")
            fill_mesh(data, mesh)
            data.materials.append(surface)
            thing = bpy.data.objects.new(data.name, data)
            thing.color = whole.color if what == "Behind" else shader_colour(CUT)
            thing.parent, thing.location = whole.parent, whole.location
            held.objects.link(thing)
        remember(whole, "hidden", whole.hide_viewport)
        whole.hide_viewport = True


CLASSES = (SHEETSTACK_OT_section,)
