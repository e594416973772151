"""A drawing becomes a job in one step: each of its groups is a layer, the sheet is as large.

Drawings without groups, and pictures with few flat colours, are taken by their colours.
"""

import functools
import os
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

import bpy
from bpy.props import BoolProperty, EnumProperty, StringProperty
from bpy_extras.io_utils import ImportHelper

from ...geometry.artwork.parts import ENDINGS, Parts, job_of_drawing, layers_of, read_parts
from ...geometry.errors import SheetstackError
from ...geometry.job.job import Job
from ...geometry.separation.separate import PICTURES
from ..core.blender_versions import HAS_FILE_HANDLERS
from ..core.dropped_file import file_given
from ..core.preferences import folder_to_begin_in, preference, show_units
from ..core.setting_property import put_values
from .job_property import FORMAT, job_changed
from .material_preset import materials_of, set_material
from .scene_job import being_filled, folder_of
from .separate_drawing import most_colours

#: Drawings whose groups are kept in mind, each as it was when it was read.
REMEMBERED = 8
#: A drawing with fewer groups is taken by its colours, where its kind has them.
LEAST_GROUPS, COLOURED = 2, ".svg"


class SHEETSTACK_OT_import_drawing(bpy.types.Operator, ImportHelper):
    """Import an SVG or DXF drawing, or a picture with few flat colours: each group, layer or \
colour is a layer of the stencil"""

    bl_idname = "sheetstack.import_drawing"
    bl_label = "Import Drawing"
    bl_options = {"REGISTER", "UNDO"}

    filename_ext = ".svg"
    filter_glob: StringProperty(
        default=";".join(f"*{e}" for e in (*ENDINGS, *PICTURES)), options={"HIDDEN"}
    )
    filepath: file_given("Drawing", "The SVG or DXF file, or a picture with few flat colours")
    by: EnumProperty(
        name="Layers",
        description="What becomes a layer",
        items=[
            ("AUTO", "By themselves", "The drawing's groups, or its colours where it has none"),
            ("GROUPS", "Groups", "Each group of an SVG, each layer of a DXF"),
            (
                "COLOURS",
                "Colours",
                "Each colour that is seen in an SVG or a picture, in the best spray order",
            ),
            ("WHOLE", "One", "All that is drawn, whatever its colour"),
        ],
    )
    colours: most_colours()
    build: BoolProperty(
        name="Build sheets",
        description="Build the sheets as soon as the drawing is read",
        default=True,
    )

    def invoke(self, context: Any, event: Any) -> set[str]:
        if self.filepath:
            return self.execute(context)
        self.filepath: str = folder_to_begin_in("drawings")
        result: set[str] = super().invoke(context, event)
        return result

    def execute(self, context: Any) -> set[str]:
        scene, path = context.scene, Path(bpy.path.abspath(self.filepath))
        try:
            if path.suffix.lower() in PICTURES and self.by in ("AUTO", "COLOURS"):
                return self._by_colours(path)
            parts = read_parts(path)
            if path.suffix.lower() == COLOURED and (
                self.by == "COLOURS" or (self.by == "AUTO" and len(parts.parts) < LEAST_GROUPS)
            ):
                return self._by_colours(path)
            if self.by == "WHOLE":
                parts = replace(parts, parts=(), loose=0)
            # With a job open its sheet stays, and the drawing's layers are sprayed last.
            job = None if scene.sheetstack.layers else job_of_drawing(path, parts)
        except SheetstackError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        count = put_drawing(scene, path, parts, job)
        word = "layer" if count == 1 else "layers"
        self.report({"INFO"}, f"{path.name}: {count} {word}.")
        if parts.loose and parts.parts:
            self.report(
                {"WARNING"},
                f"{path.name}: {parts.loose} shapes stand in no named group and are in no layer.",
            )
        if self.build:
            bpy.ops.sheetstack.build("INVOKE_DEFAULT")
        return {"FINISHED"}

    def _by_colours(self, path: Path) -> set[str]:
        # It goes on in a thread of its own.
        found: set[str] = bpy.ops.sheetstack.separate_drawing(
            "INVOKE_DEFAULT", filepath=str(path), colours=self.colours, build=self.build
        )
        return {"FINISHED"} if found & {"FINISHED", "RUNNING_MODAL"} else found


def put_drawing(scene: bpy.types.Scene, path: Path, parts: Parts, job: Job | None) -> int:
    """Add a drawing's layers to a scene and return how many there are.

    Parameters
    ----------
    scene : bpy.types.Scene
    path : Path
        The drawing.
    parts : Parts
    job : Job, optional
        What a scene without layers becomes.
    """
    state = scene.sheetstack
    with being_filled(state):
        state.format = state.format or FORMAT
        if job is None:
            taken = tuple(row.name for row in state.layers)
            layers = layers_of(_as_named(path, folder_of(scene)), parts, taken)
        else:
            layers = job.layers
            state.title, state.folder = job.title, os.path.abspath(job.folder)
            if preference("material") in materials_of(scene):
                set_material(scene, preference("material"))
            show_units(scene)
            state.sheet.width_mm, state.sheet.height_mm = job.sheet.width_mm, job.sheet.height_mm
        first = len(state.layers)
        for layer in layers:
            put_values(state.layers.add(), layer)
        state.active_layer = first
    job_changed(state, None)
    return len(layers)


def groups_to_choose(row: Any, context: Any, typed: str) -> Iterable[str]:
    """Return the groups of a layer's drawing; Blender calls it where one is to be chosen.

    Parameters
    ----------
    row : PropertyGroup
        Of the layer.
    context : Context
    typed : str
        What was typed so far; not asked for, as Blender filters by it.
    """
    scene = row.id_data
    artwork = bpy.path.abspath(row.artwork) if row.artwork.startswith("//") else row.artwork
    path = folder_of(scene) / artwork
    if path.suffix.lower() not in ENDINGS or not path.is_file():
        return ()
    try:
        parts = _parts_at(path, path.stat().st_mtime_ns)
    except SheetstackError:  # the build says what is wrong with the file
        return ()
    return tuple(part.key for part in parts.parts)


@functools.lru_cache(REMEMBERED)
def _parts_at(path: Path, changed: int) -> Parts:
    """Return a drawing's parts, read once for each time that the file was changed."""
    return read_parts(path)


def _as_named(path: Path, folder: Path) -> Path:
    """Return a file as a layer names it: from the job's folder where it lies in there."""
    inside = os.path.abspath(path)
    return Path(os.path.relpath(inside, folder) if path.is_relative_to(folder) else inside)


def _import_entry(menu: Any, context: Any) -> None:
    menu.layout.operator(
        SHEETSTACK_OT_import_drawing.bl_idname, text="Stencil Drawing (.svg/.dxf/.png)"
    )


CLASSES = [SHEETSTACK_OT_import_drawing]

if HAS_FILE_HANDLERS:

    class SHEETSTACK_FH_drawing(bpy.types.FileHandler):
        """Imports drawings that are dropped on a 3D view"""

        bl_idname = "SHEETSTACK_FH_drawing"
        bl_label = "Stencil drawing"
        bl_import_operator = "sheetstack.import_drawing"
        bl_file_extensions = ";".join(ENDINGS)

        @classmethod
        def poll_drop(cls, context: Any) -> bool:
            return context.area is not None and context.area.type == "VIEW_3D"

    CLASSES.append(SHEETSTACK_FH_drawing)


def register() -> None:
    """Add the entry of File > Import."""
    bpy.types.TOPBAR_MT_file_import.append(_import_entry)


def unregister() -> None:
    """Take it out again."""
    bpy.types.TOPBAR_MT_file_import.remove(_import_entry)
