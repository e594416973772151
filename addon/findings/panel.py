"""The panel of findings."""

from typing import Any

import bpy

from ..core.tab import TabPanel
from ..core.viewport import wrapped
from .finding_list import active_finding, is_accepted, offers_mending


class SHEETSTACK_PT_findings(TabPanel, bpy.types.Panel):
    """What the last build has to say; a click flies to the place"""

    bl_label = "Findings"

    @classmethod
    def poll(cls, context: Any) -> bool:
        return bool(context.scene.sheetstack.findings)

    def draw(self, context: Any) -> None:
        layout, state = self.layout, context.scene.sheetstack
        layout.template_list(
            "SHEETSTACK_UL_findings", "", state, "findings", state, "active_finding", rows=4
        )
        finding = active_finding(context.scene)
        if finding is not None:
            box = layout.box().column(align=True)
            if finding.layer:
                box.label(text=finding.layer, icon="RENDERLAYERS")
            for line in wrapped(finding.message, context.region.width):
                box.label(text=line)
            if finding.has_place:
                x, y = finding.place_mm
                box.label(text=f"At {x:.1f}, {y:.1f} mm", icon="CURSOR")
                column = layout.column(align=True)
                column.operator("sheetstack.go_to_finding", icon="VIEW_CAMERA")
                if offers_mending(context.scene, finding):
                    mended = is_accepted(context.scene, finding)
                    column.operator(
                        "sheetstack.mend_place",
                        text="Leave as It Is" if mended else "Mend Place",
                        icon="CHECKBOX_HLT" if mended else "CHECKBOX_DEHLT",
                    ).index = -1


CLASSES = (SHEETSTACK_PT_findings,)
