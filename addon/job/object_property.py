"""What an object keeps of Sheetstack, on one group ``object.sheetstack``."""

import bpy
from bpy.props import EnumProperty, FloatProperty, PointerProperty, StringProperty


class SHEETSTACK_PG_object(bpy.types.PropertyGroup):
    """What an object is in a stack of sheets."""

    kind: EnumProperty(
        name="Kind",
        description="What it is in the stack",
        items=[
            ("NONE", "None", "Not made by Sheetstack"),
            ("STACK", "Stack", "What all sheets of the job hang on"),
            ("SHEET", "Sheet", "A built sheet"),
            ("EDITED", "Edited sheet", "A sheet edited by hand, kept when the job was built again"),
            ("PICTURE", "Painted picture", "A plane that shows the painted picture"),
        ],
    )
    layer: StringProperty(
        name="Sheet", description="Name of the sheet: its layer's, with A or B when split"
    )
    thickness_mm: FloatProperty(
        name="Thickness", description="Thickness of the sheet", unit="CAMERA"
    )
    fingerprint: StringProperty(
        description="What the mesh was when it was built, to see edits by hand"
    )
    found: StringProperty(
        description="How the sheet was before inspection changed it, as JSON", options={"HIDDEN"}
    )
    found_action: PointerProperty(
        type=bpy.types.Action,
        name="Found action",
        description="What the sheet was animated with before inspection",
    )
    picture: PointerProperty(
        type=bpy.types.Object,
        name="Picture",
        description="The painted picture that hangs on this wall",
    )
    marks: StringProperty(description="Islands, bridges and necks to be drawn, as JSON")


CLASSES = (SHEETSTACK_PG_object,)


def register() -> None:
    """Hang the group on objects."""
    bpy.types.Object.sheetstack = PointerProperty(type=SHEETSTACK_PG_object)


def unregister() -> None:
    """Take it off again."""
    del bpy.types.Object.sheetstack
