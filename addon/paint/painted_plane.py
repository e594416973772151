"""The painted picture as a textured plane beside the stack."""

from collections.abc import Iterator
from typing import Any

import bpy
import numpy as np
from bpy.props import IntProperty
from PIL import Image

from ...geometry.files.png import png_bytes
from ...geometry.paint.compositing import painted_picture
from ...geometry.progress import Progress
from ..core.blender_versions import use_nodes
from ..core.conversion import metres
from ..core.long_work import THROUGHOUT, LongWork, Work
from ..core.look import frame, give_back, isolate, show
from ..core.ownership import (
    add_made,
    is_own,
    key_of,
    made,
    own,
    remove_made,
    remove_unused,
    scene_of,
)
from ..job.scene_job import job_of
from ..sheets.last_build import builder
from ..sheets.sheet_object import sheets_of, stack_of

#: The plane stands this share of the sheet's width to the left of the stack.
GAP = 0.1
#: Role of the plane, and what it and all of it is called.
ROLE, NAME = "PICTURE", "Painted picture"


class SHEETSTACK_OT_show_painted(LongWork, bpy.types.Operator):
    """Show what will be on the wall: the painted picture on a plane beside the stack"""

    bl_idname = "sheetstack.show_painted"
    bl_label = "Show Painted Picture"
    bl_options = {"REGISTER", "UNDO"}
    harmless_until = THROUGHOUT

    pixels: IntProperty(
        name="Pixels", description="Along the picture's long side", default=1600, min=64, max=8192
    )

    @classmethod
    def poll(cls, context: Any) -> bool:
        return bool(bpy.ops.sheetstack.build.poll())

    def work(self, context: Any) -> Work:
        self._scene = key_of(context.scene)
        self._job = job_of(context.scene)
        pixels, build = self.pixels, builder(context.scene, self._job)

        def paint(progress: Progress) -> bytes:
            result = build(progress.part(0.0, 0.7))
            progress(0.7, "Painting")
            return png_bytes(Image.fromarray(painted_picture(result, pixels)))

        return paint

    def parts(self, result: bytes) -> Iterator[None]:
        self._waiting = image_of_png(result).name
        yield

    def done(self, context: Any, result: Any) -> set[str]:
        scene = scene_of(self._scene)
        if scene is None:
            return {"CANCELLED"}
        sheet = self._job.sheet
        plane = show_picture(scene, result, sheet.width_mm, sheet.height_mm, self._waiting)
        bpy.context.view_layer.update()
        show(scene, ROLE, color_type="TEXTURE")
        isolate(scene, [plane])
        frame(scene, [plane])
        self.report({"INFO"}, f"Painted picture of {sheet.width_mm:g} x {sheet.height_mm:g} mm.")
        return {"FINISHED"}


def show_picture(
    scene: bpy.types.Scene, png: bytes, width_mm: float, height_mm: float, waiting: str = ""
) -> bpy.types.Object:
    """Put a picture on the plane that is returned.

    Parameters
    ----------
    scene : Scene
    png : bytes
        The picture as a PNG file.
    width_mm, height_mm : float
    waiting : str
        Name of the image that ``image_of_png`` has made of it; where it is gone it is made anew.
    """
    stack = stack_of(scene)
    plane = next(iter(made(scene, ROLE).values()), None)
    if plane is None:
        remove_made(scene, ROLE)  # one that was deleted may live on unseen
        plane = bpy.data.objects.new(NAME, bpy.data.meshes.new(NAME))
        plane.sheetstack.kind = "PICTURE"
        add_made(scene, ROLE, plane)
        plane.parent = stack
        scene.sheetstack.collection.objects.link(plane)
    _fill_plane(plane.data, width_mm, height_mm)
    plane.location = metres((-(1 + GAP) * width_mm, 0.0, 0.0))
    image = bpy.data.images.get(waiting) or image_of_png(png)
    before = picture_image(plane)
    if before is None:
        _show_on(plane, image)
    else:  # wherever the user shows it, too
        before.user_remap(image)
        remove_unused([before])
    image.name = NAME
    return plane


def image_of_png(png: bytes) -> bpy.types.Image:
    """Return a new image of a PNG file's bytes, packed into the .blend and decoded.

    Encoding pixels in Blender, the other way to pack them, blocks the window longer than all else.
    """
    image = own(bpy.data.images.new(NAME, 1, 1))
    pack_png(image, png)
    len(image.pixels)  # asked for, it is decoded now, not when it is drawn first
    return image


def pack_png(image: bpy.types.Image, png: bytes) -> None:
    """Let an image be what a PNG file holds, packed into the .blend."""
    image.pack(data=png, data_len=len(png))
    image.source = "FILE"


def _fill_plane(mesh: bpy.types.Mesh, width_mm: float, height_mm: float) -> None:
    corners = metres([(0, 0, 0), (width_mm, 0, 0), (width_mm, height_mm, 0), (0, height_mm, 0)])
    mesh.clear_geometry()
    mesh.from_pydata(corners.tolist(), [], [(0, 1, 2, 3)])
    uv = mesh.uv_layers.new(name="Picture") if not mesh.uv_layers else mesh.uv_layers[0]
    uv.data.foreach_set("uv", np.array([0, 0, 1, 0, 1, 1, 0, 1], np.float32))


def picture_image(plane: bpy.types.Object) -> bpy.types.Image | None:
    """Return the image that a plane shows, None where it has lost it."""
    for material in plane.data.materials:
        nodes = material.node_tree.nodes if material and material.node_tree else ()
        for node in nodes:
            if node.type == "TEX_IMAGE" and is_own(node.image):
                return node.image
    return None


def _show_on(plane: bpy.types.Object, image: bpy.types.Image) -> None:
    """Give a plane a material that shows an image."""
    material = own(bpy.data.materials.new(NAME))
    use_nodes(material)
    tree = material.node_tree
    texture = tree.nodes.new("ShaderNodeTexImage")
    texture.image = image
    texture.location = (-300, 300)
    surface = next(n for n in tree.nodes if n.type == "BSDF_PRINCIPLED")
    surface.inputs["Roughness"].default_value = 0.9
    tree.links.new(texture.outputs["Color"], surface.inputs["Base Color"])
    tree.nodes.active = texture
    plane.data.materials.clear()
    plane.data.materials.append(material)


class SHEETSTACK_OT_hide_painted(bpy.types.Operator):
    """Take the painted picture away and show the sheets as they were"""

    bl_idname = "sheetstack.hide_painted"
    bl_label = "Hide Painted Picture"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        if not made(context.scene, ROLE):
            cls.poll_message_set("The painted picture is not shown")
            return False
        return True

    def execute(self, context: Any) -> set[str]:
        remove_made(context.scene, ROLE)
        give_back(ROLE)
        frame(context.scene, sheets_of(context.scene).values())
        return {"FINISHED"}


CLASSES = (SHEETSTACK_OT_show_painted, SHEETSTACK_OT_hide_painted)
