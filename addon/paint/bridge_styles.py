"""The job under several styles of bridges, as a row of previews beside the stack."""

from collections.abc import Iterator
from typing import Any

import bpy
from bpy.props import IntProperty

from ...geometry.files.png import png_bytes
from ...geometry.progress import Progress
from ...geometry.report.bridge_styles import styled_builds
from ...geometry.report.bridge_styles_picture import bridge_styles_picture
from ..core.long_work import THROUGHOUT, LongWork, Work
from ..core.look import frame, isolate, show
from ..core.ownership import key_of, scene_of
from ..job import kept_artwork
from ..job.scene_job import job_of
from .painted_plane import ROLE, image_of_png, show_picture


class SHEETSTACK_OT_show_bridge_styles(LongWork, bpy.types.Operator):
    """Show the picture as it would be painted under several styles of bridges, each with what it \
spoils, how many bridges it has and how firmly it holds"""

    bl_idname = "sheetstack.show_bridge_styles"
    bl_label = "Compare Bridge Styles"
    bl_options = {"REGISTER", "UNDO"}
    harmless_until = THROUGHOUT

    pixels: IntProperty(
        name="Pixels", description="Width of the picture", default=2400, min=256, max=8192
    )

    @classmethod
    def poll(cls, context: Any) -> bool:
        return bool(bpy.ops.sheetstack.build.poll())

    def work(self, context: Any) -> Work:
        self._scene = key_of(context.scene)
        self._job = job = job_of(context.scene)
        pixels, copies = self.pixels, kept_artwork.copies_of(context.scene)

        def compare(progress: Progress) -> tuple[bytes, float, list[str]]:
            with kept_artwork.restored(copies, job) as complete:
                styles = styled_builds(complete, progress.part(0.0, 0.9))
            progress(0.9, "Painting")
            told = [f"{style.name}: {'; '.join(list(style.lines())[1:])}" for style in styles]
            picture = bridge_styles_picture(styles, pixels)
            return png_bytes(picture), picture.width / picture.height, told

        return compare

    def parts(self, result: tuple[bytes, float, list[str]]) -> Iterator[None]:
        self._waiting = image_of_png(result[0]).name
        yield

    def done(self, context: Any, result: Any) -> set[str]:
        scene = scene_of(self._scene)
        if scene is None:
            return {"CANCELLED"}
        png, wide, told = result
        sheet = self._job.sheet
        # As high as the sheet, so that it stands beside the stack.
        plane = show_picture(scene, png, sheet.height_mm * wide, sheet.height_mm, self._waiting)
        bpy.context.view_layer.update()
        show(scene, ROLE, color_type="TEXTURE")
        isolate(scene, [plane])
        frame(scene, [plane])
        for line in told:
            self.report({"INFO"}, line)
        return {"FINISHED"}


CLASSES = (SHEETSTACK_OT_show_bridge_styles,)
