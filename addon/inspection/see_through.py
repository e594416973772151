"""See-through sheets, so that the openings of all are seen at once."""

import bpy

from ..core.blender_versions import show_transparency
from ..sheets.sheet_object import MADE, sheets_of

#: How much of a see-through sheet is seen.
SEEN = 0.4


def see_through(scene: bpy.types.Scene, on: bool) -> None:
    """Show sheets see-through, in the solid view as in renders, or as they were."""
    for thing in sheets_of(scene).values():
        thing.color = (*thing.color[:3], SEEN if on else 1.0)
        thing.show_transparent = on
        for made in thing.data.materials:
            if made is None or not made.get(MADE):
                continue
            show_transparency(made, on)
            made.diffuse_color = (*made.diffuse_color[:3], SEEN if on else 1.0)
            for node in made.node_tree.nodes:
                if node.type == "BSDF_PRINCIPLED":
                    node.inputs["Alpha"].default_value = SEEN if on else 1.0
