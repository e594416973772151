"""Panels of the files for making the sheets, with the cautions that go with them."""

from typing import Any

import bpy

from ...geometry.cautions import WORKS, cautions_for
from ...geometry.job.sections import SECTIONS
from ..core.tab import ClosedPanel, section_panel
from ..core.viewport import wrapped
from ..job.in_force import values_in_force
from ..job.material_preset import material_of

#: Sections that other panels show; one that geometry adds is shown here.
SHOWN_ELSEWHERE = {"sheet", "process", "bridges", "registration", "spray", "mockup"}


class SHEETSTACK_PT_export(ClosedPanel, bpy.types.Panel):
    """Files for making the sheets"""

    bl_label = "Export"

    def draw(self, context: Any) -> None:
        layout = self.layout
        row = layout.row()
        row.scale_y = 1.4
        row.operator("sheetstack.write_files", icon="EXPORT")
        column = layout.column(align=True)
        column.operator("sheetstack.export_for_machine", icon="MOD_EXPLODE")
        column.operator("sheetstack.export_stl", icon="MESH_DATA")


class SHEETSTACK_PT_cautions(ClosedPanel, bpy.types.Panel):
    """What can hurt on the way from these files to the painted wall"""

    bl_label = "Cautions"
    bl_parent_id = "SHEETSTACK_PT_export"

    def draw_header(self, context: Any) -> None:
        self.layout.label(text="", icon="ERROR")

    def draw(self, context: Any) -> None:
        for caution in cautions_for(*_works(context.scene)):
            column = self.layout.column(align=True)
            column.label(text=caution.title)
            text = column.column(align=True)
            text.active = False
            text.scale_y = 0.8
            for line in wrapped(caution.text, context.region.width):
                text.label(text=line)


def _works(scene: bpy.types.Scene) -> tuple[str, ...]:
    """Return the kinds of work ahead: how the sheets are made, then paint and wall."""
    kind = scene.sheetstack.process.kind
    if kind not in WORKS:
        material = material_of(scene)
        kind = material.process if material else ""
    return (kind if kind in WORKS else "knife", "paint", "wall")


SECTION_PANELS = [
    section_panel(key, "SHEETSTACK_PT_export", in_force=values_in_force)
    for key in SECTIONS
    if key not in SHOWN_ELSEWHERE
]

CLASSES = (SHEETSTACK_PT_export, SHEETSTACK_PT_cautions, *SECTION_PANELS)
