"""The panel of mock-ups."""

from typing import Any

import bpy

from ...geometry.job.sections import MockupSettings
from ..core.setting_property import draw_section
from ..core.tab import ClosedPanel, TabPanel, is_mockup
from .wall_photo import RECTANGLE


class SHEETSTACK_PT_mockup(ClosedPanel, bpy.types.Panel):
    """Show a client the painted picture on its wall"""

    bl_label = "Mock-Up"

    def draw(self, context: Any) -> None:
        layout = self.layout
        layout.use_property_split = True
        layout.use_property_decorate = False
        draw_section(layout, context.scene.sheetstack.mockup, MockupSettings)
        build = layout.operator("sheetstack.mockup", text="Picture Scene", icon="SCENE_DATA")
        build.kind = "PICTURE"
        stack = layout.operator(
            "sheetstack.mockup", text="Exploded Stack Scene", icon="RENDERLAYERS"
        )
        stack.kind = "STACK"
        layout.operator("sheetstack.picture_on_face", icon="FACESEL")
        layout.operator("sheetstack.wall_photo", icon="IMAGE_REFERENCE")


class SHEETSTACK_PT_in_mockup(TabPanel, bpy.types.Panel):
    """What is to be done in a mock-up's own scene"""

    bl_label = "Mock-Up"

    @classmethod
    def poll(cls, context: Any) -> bool:
        return is_mockup(context.scene)

    def draw(self, context: Any) -> None:
        home = context.scene.sheetstack.home
        self.layout.label(text=f"Of the job in '{home.name}'")
        row = self.layout.row()
        row.scale_y = 1.4
        row.operator("sheetstack.back_to_job", icon="LOOP_BACK")
        if RECTANGLE in context.scene:
            self.layout.operator("sheetstack.fit_wall_photo", icon="CAMERA_DATA")
        self.layout.operator("render.render", icon="RENDER_STILL").use_viewport = True


CLASSES = (SHEETSTACK_PT_mockup, SHEETSTACK_PT_in_mockup)
