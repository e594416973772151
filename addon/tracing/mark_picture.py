"""Operators: show the picture with its marks, add and remove faces, draw a rough outline."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import bpy
import numpy as np
import shapely

from ...geometry.progress import Progress
from ...geometry.tracing.bend_face import face_between
from ...geometry.tracing.faces import Subject
from ...geometry.tracing.picture import Picture, Size, read_picture
from ...geometry.tracing.trace import subject_of
from ..core.long_work import THROUGHOUT, LongWork, Work, may_begin
from ..core.ownership import key_of, remove_made, scene_of
from ..core.viewport import redraw_views
from .known_marks import forget_known, known_of, marks_row, picture_of, put_known, renew_known
from .mark_handles import can_be_edited, under_way
from .picture_under import (
    FILE,
    PIXELS,
    ROLE,
    lay_under,
    look_at_picture,
    picture_object,
    point_under,
)
from .preview import note_change
from .trace_picture import has_picture
from .tracing_property import settings_of

#: Pixels of the reference image's longer side.
SHOWN = 1024


def shown_size(full: Size) -> Size:
    """Return the size at which a picture is shown."""
    scale = min(1.0, SHOWN / max(full))
    return max(1, round(full[0] * scale)), max(1, round(full[1] * scale))


class SHEETSTACK_OT_mark_picture(LongWork, bpy.types.Operator):
    """Lay the picture under the stack, look for faces where none are known, and show the marks"""

    bl_idname = "sheetstack.mark_picture"
    bl_label = "Show Picture and Marks"
    bl_options = {"REGISTER", "UNDO"}
    harmless_until = THROUGHOUT

    again: bpy.props.BoolProperty(
        name="Look again",
        description="Forget the marks of this picture, and find them or read their file anew",
        options={"SKIP_SAVE"},
    )

    @classmethod
    def poll(cls, context: Any) -> bool:
        return has_picture(cls, context) and may_begin(cls)

    @classmethod
    def description(cls, context: Any, properties: Any) -> str:
        again: str = cls.bl_rna.properties["again"].description
        return again if properties.again else cls.__doc__ or ""

    def work(self, context: Any) -> Work:
        scene = context.scene
        self._scene, self._path = key_of(scene), picture_of(scene)
        path, settings = self._path, settings_of(scene)
        known = None if self.again else known_of(scene)

        def looked(progress: Progress) -> tuple[Picture, Subject]:
            progress(0.0, f"reading {path.name}")
            picture = read_picture(path, shown_size)
            progress(0.5, "looking for faces")
            return picture, subject_of(path, picture, settings) if known is None else known

        return looked

    def done(self, context: Any, result: tuple[Picture, Subject]) -> set[str]:
        scene = scene_of(self._scene)
        if scene is None or picture_of(scene) != self._path:
            return {"CANCELLED"}
        picture, subject = result
        if self.again:
            forget_known(scene)
        put_known(scene, subject, picture.full)
        scene.sheetstack_tracing.show_marks = True
        lay_under(scene, self._path, picture.srgb, picture.full, settings_of(scene))
        for layer in scene.view_layers:
            layer.update()
        look_at_picture(scene)
        note_change()
        count = len(subject.faces)
        self.report(
            {"INFO"},
            f"{count} face{'s' if count != 1 else ''}; drag the marks."
            if count
            else "No face is known here; add one, or draw a rough outline.",
        )
        return {"FINISHED"}


class SHEETSTACK_OT_hide_picture(bpy.types.Operator):
    """Take the picture away from under the stack; its marks are kept"""

    bl_idname = "sheetstack.hide_picture"
    bl_label = "Take Picture Away"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        return picture_object(context.scene) is not None

    def execute(self, context: Any) -> set[str]:
        remove_made(context.scene, ROLE)
        return {"FINISHED"}


class OnPicture:
    """What operators share that click and draw on the picture."""

    @classmethod
    def poll(cls: Any, context: Any) -> bool:
        """Return whether the picture's marks are shown; else the operator's poll says so."""
        scene = context.scene
        thing, row = picture_object(scene), marks_row(scene)
        shown = thing is not None and row is not None and row.picture == thing[FILE]
        if not shown or not scene.sheetstack_tracing.show_marks:
            cls.poll_message_set("Show the picture and its marks first")
            return False
        return True

    def place(self, context: Any, event: Any) -> Any:
        """Return the point of the picture under the mouse, None beside the 3D view."""
        region = next((r for r in context.area.regions if r.type == "WINDOW"), None)
        if region is None or context.space_data is None:
            return None
        at = (event.mouse_x - region.x, event.mouse_y - region.y)
        if not (0 <= at[0] < region.width and 0 <= at[1] < region.height):
            return None
        with context.temp_override(region=region):
            if not can_be_edited(context):
                return None
            return point_under(context, picture_object(context.scene), at)

    def keep(self, context: Any, **changed: Any) -> set[str]:
        """Change what is known of the picture, and show it."""
        known = known_of(context.scene) or Subject()
        renew_known(context.scene, replace(known, **changed))
        note_change()
        redraw_views()
        return {"FINISHED"}

    def end(self, context: Any) -> None:
        """Take off what was drawn and said meanwhile."""
        under_way.ring = None
        context.workspace.status_text_set(None)
        context.window.cursor_modal_restore()
        redraw_views()


class SHEETSTACK_OT_add_face(OnPicture, bpy.types.Operator):
    """Add a face by hand: click the middle of its right eye, then of its left one"""

    bl_idname = "sheetstack.add_face"
    bl_label = "Add Face"
    bl_options = {"REGISTER", "UNDO"}

    pupils: bpy.props.FloatVectorProperty(
        name="Pupils",
        description="x and y of the right and of the left pupil, in the picture's pixels",
        size=4,
        options={"SKIP_SAVE"},
    )

    def invoke(self, context: Any, event: Any) -> set[str]:
        under_way.ring = []
        context.window.cursor_modal_set("CROSSHAIR")
        self._ask(context)
        context.window_manager.modal_handler_add(self)
        return {"RUNNING_MODAL"}

    def _ask(self, context: Any) -> None:
        which = (
            "right eye, which is on the left in the picture" if not under_way.ring else "left eye"
        )
        context.workspace.status_text_set(
            f"Click the middle of the person's {which}   Esc: leave it"
        )

    def modal(self, context: Any, event: Any) -> set[str]:
        if event.type in {"ESC", "RIGHTMOUSE"} and event.value == "PRESS":
            self.end(context)
            return {"CANCELLED"}
        if event.type == "LEFTMOUSE" and event.value == "PRESS":
            place = self.place(context, event)
            if place is None:
                return {"RUNNING_MODAL"}
            under_way.ring = [*(under_way.ring or []), place]
            if len(under_way.ring) == 2:
                self.pupils = np.concatenate(under_way.ring).tolist()
                self.end(context)
                return self.execute(context)
            self._ask(context)
            return {"RUNNING_MODAL"}
        return {"PASS_THROUGH"} if "MOUSE" not in event.type else {"RUNNING_MODAL"}

    def execute(self, context: Any) -> set[str]:
        right, left = np.array(self.pupils[:2]), np.array(self.pupils[2:])
        if np.hypot(*(right - left)) < 2:
            self.report({"ERROR"}, "Both eyes lie in one place; click each of them.")
            return {"CANCELLED"}
        known = known_of(context.scene) or Subject()
        faces = sorted((*known.faces, face_between(right, left)), key=lambda f: -f.eye_distance)
        return self.keep(context, faces=tuple(faces))


class SHEETSTACK_OT_remove_face(OnPicture, bpy.types.Operator):
    """Take off the marks of a face"""

    bl_idname = "sheetstack.remove_face"
    bl_label = "Remove Face"
    bl_options = {"REGISTER", "UNDO"}

    number: bpy.props.IntProperty(name="Face", description="Its number, the largest first", min=0)

    def execute(self, context: Any) -> set[str]:
        known = known_of(context.scene) or Subject()
        faces = tuple(f for k, f in enumerate(known.faces) if k != self.number)
        if len(faces) == len(known.faces):
            self.report({"ERROR"}, f"There is no face {self.number + 1}.")
            return {"CANCELLED"}
        return self.keep(context, faces=faces)


class SHEETSTACK_OT_draw_outline(OnPicture, bpy.types.Operator):
    """Drag a rough outline round the subject; the tracing draws it to the edge"""

    bl_idname = "sheetstack.draw_outline"
    bl_label = "Draw Outline"
    bl_options = {"REGISTER", "UNDO"}

    def invoke(self, context: Any, event: Any) -> set[str]:
        under_way.ring, self._drawing = [], False
        context.window.cursor_modal_set("PAINT_BRUSH")
        context.workspace.status_text_set(
            "Drag round the subject, close to its edge; the line closes by itself   Esc: leave it"
        )
        context.window_manager.modal_handler_add(self)
        return {"RUNNING_MODAL"}

    def modal(self, context: Any, event: Any) -> set[str]:
        if event.type in {"ESC", "RIGHTMOUSE"} and event.value == "PRESS":
            self.end(context)
            return {"CANCELLED"}
        if event.type == "LEFTMOUSE" and event.value == "PRESS":
            place = self.place(context, event)
            if place is not None:
                self._drawing, under_way.ring = True, [place]
            return {"RUNNING_MODAL"}
        if event.type == "MOUSEMOVE" and self._drawing:
            place = self.place(context, event)
            if place is not None and under_way.ring is not None:
                under_way.ring.append(place)
                redraw_views()
            return {"RUNNING_MODAL"}
        if event.type == "LEFTMOUSE" and event.value == "RELEASE" and self._drawing:
            ring = np.array(under_way.ring)
            self.end(context)
            return self._put(context, ring)
        return {"PASS_THROUGH"} if "MOUSE" not in event.type else {"RUNNING_MODAL"}

    def _put(self, context: Any, ring: Any) -> set[str]:
        scene = context.scene
        full = tuple(picture_object(scene)[PIXELS])
        # A hand's line has more points than it says anything by.
        ring = np.clip(ring, 0, full)
        line = shapely.LineString(ring).simplify(max(full) / 500) if len(ring) > 2 else None
        if line is None or len(line.coords) < 4:
            self.report({"WARNING"}, "Drag round the subject with the mouse held down.")
            return {"CANCELLED"}
        known = known_of(scene) or Subject()
        # What was found gives way to what is drawn; a second ring adds to it, or cuts a hole.
        rough = (*known.rough, np.array(line.coords))
        return self.keep(context, outline=(), rough=rough)


class SHEETSTACK_OT_clear_outline(OnPicture, bpy.types.Operator):
    """Take off the outline: the whole picture is painted, or one can be drawn anew"""

    bl_idname = "sheetstack.clear_outline"
    bl_label = "Clear Outline"
    bl_options = {"REGISTER", "UNDO"}

    def execute(self, context: Any) -> set[str]:
        return self.keep(context, outline=(), rough=())


CLASSES = (
    SHEETSTACK_OT_mark_picture,
    SHEETSTACK_OT_hide_picture,
    SHEETSTACK_OT_add_face,
    SHEETSTACK_OT_remove_face,
    SHEETSTACK_OT_draw_outline,
    SHEETSTACK_OT_clear_outline,
)
