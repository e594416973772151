"""Exporting for the machine: cut paths, paper patterns and solids in the formats asked for.

A sheet that was edited by hand is exported as it is now, from its mesh seen from above.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import bpy
from bpy.props import BoolProperty, EnumProperty, StringProperty

from ...geometry.build import Build
from ...geometry.errors import GeometryError
from ...geometry.export import FORMATS, Export, export_sheets
from ...geometry.fabricate.pieces import SheetToMake, sheets_to_make
from ...geometry.mesh.outline import flat_shape
from ...geometry.mesh.solid import Mesh
from ...geometry.planar.polygons import as_multipolygon
from ...geometry.progress import Progress
from ..core.folder_dialogue import FolderWork
from ..core.long_work import Work
from ..job.scene_job import job_of
from ..sheets.last_build import builder
from ..sheets.sheet_object import is_hand_edited, sheets_of
from .export_sheets import current_mesh, is_modified

ABOUT_FORMATS = {
    "svg": "Cut paths of each piece, true to size, with kerf and cutting order",
    "dxf": "Cut paths of each piece for machines' own software",
    "pdf": "Each sheet on paper at true size, in pages that are taped together",
    "stl": "Each solid as a mesh, in mm",
    "3mf": "All solids laid on beds, with names and colours",
}
#: Blender keeps 32-bit metres: points of an edited sheet lie this far (mm) off a straight edge.
ROUNDING = 1e-3


class SHEETSTACK_OT_export_for_machine(FolderWork, bpy.types.Operator):
    """Write cut paths, paper patterns or solids of all sheets, edits by hand included, with \
cautions and an estimate beside them"""

    bl_idname = "sheetstack.export_for_machine"
    bl_label = "Export for Machine"
    bl_options = {"REGISTER"}

    formats: EnumProperty(
        name="Formats",
        description="What to write; click with Shift for several",
        items=[(key, key.upper(), ABOUT_FORMATS[key], 1 << n) for n, key in enumerate(FORMATS)],
        options={"ENUM_FLAG"},
        default={"svg"},
    )
    nested: BoolProperty(
        name="Nest on stock sheets",
        description="Also lay all pieces to cut together on stock sheets of the machine's bed",
    )
    patches: StringProperty(
        name="Patches for",
        description="Bridges whose gaps are to be patched: layer and bridge numbers like '2.7 2.9',"
        " or 'all'; empty for none",
    )

    def draw(self, context: Any) -> None:
        layout = self.layout
        layout.label(text="Formats")
        layout.grid_flow(columns=3, row_major=True, even_columns=True, align=True).prop(
            self, "formats"
        )
        layout.prop(self, "nested")
        layout.label(text="Patches for bridges")
        layout.prop(self, "patches", text="")
        layout.label(text="Read cautions.txt beside the files", icon="ERROR")

    def work(self, context: Any) -> Work:
        folder = self.folder()
        formats = [key for key in FORMATS if key in self.formats]
        nested, patches = self.nested, self.patches
        build = builder(context.scene, job_of(context.scene))
        edited = edited_meshes(context.scene)
        self._edited = list(edited)

        def write(progress: Progress) -> Export:
            built = build(progress.part(0.0, 0.6))
            note = (
                f"Edits by hand of {', '.join(edited)} count in cuts and time, not in "
                "mass and paint."
                if edited
                else ""
            )
            return export_sheets(
                built.job,
                sheets_with_edits(built, edited),
                formats,
                folder,
                nested=nested,
                patches=patches,
                progress=progress.part(0.6, 1.0),
                build=built,
                note=note,
            )

        return write

    def done(self, context: Any, result: Export) -> set[str]:
        folder = result.files[0].parent
        self.report({"INFO"}, f"Wrote {len(result.files)} files to {folder}; read cautions.txt.")
        if self._edited:
            self.report({"INFO"}, f"As edited by hand: {', '.join(self._edited)}.")
        for finding in result.findings:
            self.report({"WARNING"}, finding.sentence())
        return {"FINISHED"}


def edited_meshes(scene: bpy.types.Scene) -> dict[str, Mesh]:
    """Return the meshes in mm of the sheets that were edited by hand, by the sheet's name."""
    found = {}
    for name, sheet in sheets_of(scene).items():
        if sheet.mode == "EDIT":
            sheet.update_from_editmode()
        if is_hand_edited(sheet) or is_modified(sheet):
            found[name] = current_mesh(sheet)
    return found


def sheets_with_edits(build: Build, edited: dict[str, Mesh]) -> Sequence[SheetToMake]:
    """Return the sheets of a build, edited ones as their meshes are seen from above.

    Raises
    ------
    GeometryError
        Nothing is left of an edited sheet.
    """
    sheets = []
    for sheet, layer in zip(sheets_to_make(build), build.layers, strict=True):
        mesh = edited.get(layer.sheet.layer)
        if mesh is not None:
            try:
                shape = as_multipolygon(flat_shape(mesh).simplify(ROUNDING))
            except GeometryError as error:
                raise GeometryError(f"Sheet '{layer.sheet.layer}': {error}") from None
            # Bridges may be gone or moved: there is nothing to make patches by.
            sheet = replace(sheet, shape=shape, bridges=())
        sheets.append(sheet)
    return sheets


def _export_entry(menu: Any, context: Any) -> None:
    menu.layout.operator(
        SHEETSTACK_OT_export_for_machine.bl_idname,
        text="Stencil Cut Paths and Solids (.svg .dxf .pdf .stl .3mf)",
    )


CLASSES = (SHEETSTACK_OT_export_for_machine,)


def register() -> None:
    """Add the entry of File > Export."""
    bpy.types.TOPBAR_MT_file_export.append(_export_entry)


def unregister() -> None:
    """Take it out again."""
    bpy.types.TOPBAR_MT_file_export.remove(_export_entry)
