"""The panel of mock-ups."""

from typing import Any

import bpy

from ...geometry.job.sections import MockupSettings
from ..core.setting_property import draw_section
from ..core.tab import ClosedPanel
from .wall_photo import RECTANGLE


class SHEETSTACK_PT_mockup(ClosedPanel, bpy.types.Panel):
    """Show a client the painted picture on its wall"""

    bl_label = "Mock-Up"

    def draw(self, context: Any) -> None:
        layout = self.layout
        layout.use_property_split = True
        layout.use_property_decorate = False
        if context.scene.sheetstack.home is not None:
            layout.operator("sheetstack.back_to_job", icon="LOOP_BACK")
            if RECTANGLE in context.scene:
                layout.operator("sheetstack.fit_wall_photo", icon="CAMERA_DATA")
            return
        draw_section(layout, context.scene.sheetstack.mockup, MockupSettings)
        build = layout.operator("sheetstack.mockup", text="Picture Scene", icon="SCENE_DATA")
        build.kind = "PICTURE"
        stack = layout.operator(
            "sheetstack.mockup", text="Exploded Stack Scene", icon="RENDERLAYERS"
        )
        stack.kind = "STACK"
        layout.operator("sheetstack.picture_on_face", icon="FACESEL")
        layout.operator("sheetstack.wall_photo", icon="IMAGE_REFERENCE")


CLASSES = (SHEETSTACK_PT_mockup,)
