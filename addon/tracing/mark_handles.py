"""Marks of faces on the picture, and handles by which the mouse drags them.

One gizmo draws all and finds what is under the mouse: a face has 19 key points that bend the rest
along, or all of its 160 points one by one.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from typing import Any

import bpy
import gpu
import numpy as np

from ...geometry.arrays import Floats
from ...geometry.errors import SheetstackError
from ...geometry.tracing.bend_face import key_points, with_key_point, with_point
from ...geometry.tracing.faces import MARKS, FaceMarks, Subject
from ..core.drawing import draw_lines, draw_solid, line_batch
from ..core.viewport import redraw_views
from .known_marks import known_of, marks_row, renew_known
from .picture_under import FILE, picture_object, places_seen, point_under
from .preview import note_change

#: Pixels of a plain screen: radius of a key point and of another, reach of the mouse.
KEY, POINT, REACH = 5.0, 3.0, 11.0
#: Colours after Okabe and Ito, as those of all signs: marks, outline, what is being drawn.
LINE, OUTLINE, DRAWN = (0.34, 0.71, 0.91, 1.0), (0.94, 0.89, 0.26, 1.0), (1.0, 0.6, 0.1, 1.0)
HANDLE, RIM = (1.0, 1.0, 1.0, 1.0), (0.0, 0.0, 0.0, 0.8)
#: Marks that end where they began.
CLOSED = ("oval", "right_brow", "left_brow")
_TURN = np.linspace(0, 2 * math.pi, 13)
_DISC = np.array([(0.0, 0.0), *np.column_stack([np.cos(_TURN), np.sin(_TURN)])])
_FACES = np.array([(0, k, k + 1) for k in range(1, len(_TURN))])


@dataclass
class UnderWay:
    """What the mouse is at: a subject that is being dragged, a ring or places being drawn."""

    subject: Subject | None = None
    ring: list[Floats] | None = None


under_way = UnderWay()


def shown_subject(scene: Any) -> Subject | None:
    """Return what is to be drawn: as it is dragged, or as it is kept."""
    if under_way.subject is not None:
        return under_way.subject
    try:
        return known_of(scene)
    except SheetstackError:  # told by the next preview or tracing
        return None


def handles(subject: Subject, every: bool) -> list[tuple[int, str, int]]:
    """Return what can be dragged: number of the face, its mark and the number of the point there.

    A key point has no mark but the empty text.
    """
    if not every:
        return [(k, "", n) for k, f in enumerate(subject.faces) for n in range(len(key_points(f)))]
    return [
        (k, mark, number)
        for k in range(len(subject.faces))
        for mark, count in MARKS.items()
        for number in range(count)
    ]


def handle_points(subject: Subject, every: bool) -> Floats:
    """Return the points (n, 2) of ``handles`` in the picture's pixels."""
    of = [face.all_points() if every else key_points(face) for face in subject.faces]
    return np.concatenate(of) if of else np.empty((0, 2))


def dragged(subject: Subject, handle: tuple[int, str, int], place: Floats) -> Subject:
    """Return the subject with one of its handles at another place.

    Parameters
    ----------
    subject : Subject
    handle : tuple
        Number of the face, name of the mark (empty for a key point), number of the point.
    place : float64 array (2,)
        In pixels of the picture.
    """
    which, mark, number = handle
    face = subject.faces[which]
    moved = with_point(face, mark, number, place) if mark else with_key_point(face, number, place)
    return replace(subject, faces=(*subject.faces[:which], moved, *subject.faces[which + 1 :]))


def can_be_edited(context: Any) -> bool:
    """Return whether marks are shown, on a picture that is seen."""
    thing = picture_object(context.scene)
    row = marks_row(context.scene)
    return (
        context.mode == "OBJECT"
        and context.region_data is not None
        and bool(context.scene.sheetstack_tracing.show_marks)
        and thing is not None
        and bool(thing.visible_get())
        and row is not None
        and row.picture == thing[FILE]
    )


class SHEETSTACK_GT_face_marks(bpy.types.Gizmo):
    """Marks of the faces in the picture"""

    bl_idname = "SHEETSTACK_GT_face_marks"
    __slots__ = ("before", "hit", "offset")

    before: Subject
    offset: Floats

    def setup(self) -> None:
        self.hit = -1

    def draw(self, context: Any) -> None:
        scene = context.scene
        subject, thing = shown_subject(scene), picture_object(scene)
        if subject is None or thing is None:
            return
        gpu.state.blend_set("ALPHA")
        for rings, width in ((subject.outline, 1.5), (subject.rough, 3.0)):
            for ring in rings:
                _draw_way(places_seen(context, thing, ring), OUTLINE, width, closed=True)
        for face in subject.faces:
            for way, closed in _ways(face):
                _draw_way(places_seen(context, thing, way), LINE, 1.5, closed)
        every = scene.sheetstack_tracing.every_point
        seen = places_seen(context, thing, handle_points(subject, every))
        scale = context.preferences.system.ui_scale
        radius = scale * (POINT if every else KEY)
        _draw_discs(seen, radius + scale, RIM)
        _draw_discs(seen, radius, HANDLE)
        if 0 <= self.hit < len(seen) and (self.is_highlight or self.is_modal):
            _draw_discs(seen[self.hit : self.hit + 1], 1.4 * radius, DRAWN)
        if under_way.ring:
            _draw_way(places_seen(context, thing, np.array(under_way.ring)), DRAWN, 3.0)
        gpu.state.blend_set("NONE")

    def test_select(self, context: Any, location: Any) -> int:
        if not can_be_edited(context) or under_way.ring is not None:
            return -1
        scene = context.scene
        subject, thing = shown_subject(scene), picture_object(scene)
        if subject is None or not subject.faces:
            return -1
        points = handle_points(subject, scene.sheetstack_tracing.every_point)
        away = np.hypot(*(places_seen(context, thing, points) - tuple(location)).T)
        nearest = int(np.argmin(away))
        if away[nearest] > REACH * context.preferences.system.ui_scale:
            return -1
        if nearest != self.hit:
            self.hit = nearest
            context.area.tag_redraw()
        return nearest

    def invoke(self, context: Any, event: Any) -> set[str]:
        subject = shown_subject(context.scene)
        if subject is None or self.hit < 0:
            return {"CANCELLED"}
        self.before = subject
        at = (event.mouse_region_x, event.mouse_region_y)
        place = point_under(context, picture_object(context.scene), at)
        if place is None:
            return {"CANCELLED"}
        every = context.scene.sheetstack_tracing.every_point
        self.offset = handle_points(self.before, every)[self.hit] - place
        return {"RUNNING_MODAL"}

    def modal(self, context: Any, event: Any, tweak: Any) -> set[str]:
        scene = context.scene
        at = (event.mouse_region_x, event.mouse_region_y)
        place = point_under(context, picture_object(scene), at)
        if place is not None and event.type == "MOUSEMOVE":
            handle = handles(self.before, scene.sheetstack_tracing.every_point)[self.hit]
            under_way.subject = dragged(self.before, handle, place + self.offset)
            redraw_views()
        return {"RUNNING_MODAL"}

    def exit(self, context: Any, cancel: bool) -> None:
        subject, under_way.subject = under_way.subject, None
        if subject is not None and not cancel:
            renew_known(context.scene, subject)
            bpy.ops.ed.undo_push(message="Move mark")
            note_change()
        redraw_views()


class SHEETSTACK_GGT_face_marks(bpy.types.GizmoGroup):
    """Marks of the faces in the picture"""

    bl_idname = "SHEETSTACK_GGT_face_marks"
    bl_label = "Marks of Faces"
    bl_space_type = "VIEW_3D"
    bl_region_type = "WINDOW"
    bl_options = {"PERSISTENT", "SHOW_MODAL_ALL"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        return can_be_edited(context)

    def setup(self, context: Any) -> None:
        marks = self.gizmos.new(SHEETSTACK_GT_face_marks.bl_idname)
        marks.use_draw_modal = True


def _ways(face: FaceMarks) -> list[tuple[Floats, bool]]:
    """Return a face's marks as lines, and which of them are closed."""
    ways = []
    for mark in MARKS:
        points = face[mark]
        if mark.endswith("_iris"):
            turn = np.linspace(0, 2 * math.pi, 20, endpoint=False)
            radius = face.iris_radius(mark.split("_")[0])
            points = points[0] + radius * np.column_stack([np.cos(turn), np.sin(turn)])
        elif mark.endswith("_brow"):  # its upper line, then its lower one from the same end
            points = np.concatenate([points[:5], points[5:]])
        ways.append((points, mark in CLOSED or mark.endswith("_iris")))
    return ways


def _draw_way(seen: Floats, colour: Any, width: float, closed: bool = False) -> None:
    places = [*seen, seen[0]] if closed and len(seen) else list(seen)
    pairs = [(*p, 0.0) for pair in itertools.pairwise(places) for p in pair]
    if pairs:
        draw_lines(line_batch(pairs), colour, width)


def _draw_discs(seen: Floats, radius: float, colour: Any) -> None:
    if not len(seen):
        return
    corners = (seen[:, None] + radius * _DISC[None]).reshape(-1, 2)
    faces = (np.arange(len(seen))[:, None, None] * len(_DISC) + _FACES[None]).reshape(-1, 3)
    draw_solid(np.column_stack([corners, np.zeros(len(corners))]), faces, colour)


CLASSES = (SHEETSTACK_GT_face_marks, SHEETSTACK_GGT_face_marks)


def unregister() -> None:
    """Forget what the mouse was at."""
    under_way.subject, under_way.ring = None, None
