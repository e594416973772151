"""Inspection in 3D: see-through overlay with drift, labels with leaders, and a section."""

import math
from typing import Any

import bpy
import numpy as np
from bpy.props import BoolProperty, EnumProperty, FloatProperty, IntProperty, PointerProperty

from ...geometry.build import Build
from ...geometry.mesh.solid import Mesh, extrude
from ...geometry.paint.register_margins import drifted_corner
from ...geometry.scene.section import behind, cut_through
from ..core.blender_versions import show_transparency
from ..core.conversion import fill_mesh, metres, shader_colour
from ..core.long_work import LongWork, Work, may_begin
from ..core.panels import ClosedPanel
from ..job.scene_job import job_of
from .last_build import builder
from .sheet_object import MADE, sheets_of

#: Collections that hold what inspection adds.
LABELS, SECTION = "Sheet labels", "Sheet section"
#: How much of a see-through sheet is seen.
SEEN = 0.4
#: Colour of faces that the section cuts.
CUT = "#e8542a"


def _moved(group: Any, context: Any) -> None:
    apply_drift(group.id_data)


def _shown(group: Any, context: Any) -> None:
    see_through(group.id_data, group.overlay)


#: What the list of drifting sheets shows; Blender keeps no copy of its texts.
_choices: list[tuple[str, str, str, int]] = []


def _layers(group: Any, context: Any) -> list[tuple[str, str, str, int]]:
    names = list(sheets_of(context.scene)) if context is not None else []
    _choices[:] = [("ALL", "All sheets", "Each sheet drifts its own way", 0)]
    _choices.extend((name, name, "This sheet drifts", k) for k, name in enumerate(names, 1))
    return _choices


class SHEETSTACK_PG_inspection(bpy.types.PropertyGroup):
    """What inspection shows of a scene's sheets."""

    overlay: BoolProperty(
        name="See-through",
        description="Show sheets see-through, so that all openings are seen at once",
        update=_shown,
    )
    drifting: EnumProperty(
        name="Drifting", description="Which sheet drifts", items=_layers, update=_moved
    )
    drift: FloatProperty(
        name="Drift",
        description="How much of the drift that the job reckons with the sheet lies off its place",
        min=-1.0,
        max=1.0,
        subtype="FACTOR",
        update=_moved,
    )
    times: FloatProperty(
        name="Exaggerate",
        description="Show the drift so many times as large",
        default=1.0,
        min=1.0,
        max=50.0,
        update=_moved,
    )
    direction: FloatProperty(
        name="Direction",
        description="Way that the sheet drifts, counter-clockwise from the right",
        subtype="ANGLE",
        min=-2 * math.pi,
        max=2 * math.pi,
        update=_moved,
    )
    section_mm: FloatProperty(
        name="Section at",
        description="Height over the sheets' lower edge that they are cut through at",
        unit="CAMERA",
        min=0.0,
        default=100.0,
    )


def apply_drift(scene: bpy.types.Scene) -> None:
    """Put each sheet off its place as the sliders say; its arranged place stays what it is."""
    state, job = scene.sheetstack_inspection, scene.sheetstack
    registration, sheet = job.registration, job.sheet
    size = (sheet.width_mm, sheet.height_mm)
    sheets = list(sheets_of(scene).items())
    for number, (name, thing) in enumerate(sheets):
        share = state.drift * state.times if state.drifting in ("ALL", name) else 0.0
        # All sheets: the ways are spread evenly round.
        spread = number * 2 * math.pi / len(sheets) if state.drifting == "ALL" else 0.0
        way = state.direction + spread
        length = share * registration.drift_mm
        shift = (length * math.cos(way), length * math.sin(way))
        turn = share * registration.turn_deg
        thing.delta_location = (*metres(drifted_corner(size, shift, turn)).tolist(), 0.0)
        thing.delta_rotation_euler = (0.0, 0.0, math.radians(turn))


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


class SHEETSTACK_OT_animate_drift(bpy.types.Operator):
    """Let the drifting sheets wander once round the drift that the job reckons with"""

    bl_idname = "sheetstack.animate_drift"
    bl_label = "Animate Drift"
    bl_options = {"REGISTER", "UNDO"}

    frames: IntProperty(name="Frames", description="Of once round", default=96, min=8, max=2000)

    @classmethod
    def poll(cls, context: Any) -> bool:
        return _has_sheets(cls, context)

    def execute(self, context: Any) -> set[str]:
        scene = context.scene
        state = scene.sheetstack_inspection
        before = state.drift, state.direction
        first = scene.frame_start
        for step in range(9):
            state.drift = 1.0 if 0 < step < 8 else 0.0
            state.direction = 2 * math.pi * step / 8
            frame = first + round(step * (self.frames - 1) / 8)
            for thing in sheets_of(scene).values():
                thing.keyframe_insert("delta_location", frame=frame)
                thing.keyframe_insert("delta_rotation_euler", frame=frame)
        scene.frame_end = max(scene.frame_end, first + self.frames - 1)
        state.drift, state.direction = before
        return {"FINISHED"}


class SHEETSTACK_OT_label_sheets(bpy.types.Operator):
    """Put each sheet's number, name and thickness beside it, with a leader"""

    bl_idname = "sheetstack.label_sheets"
    bl_label = "Label Sheets"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        return _has_sheets(cls, context)

    def execute(self, context: Any) -> set[str]:
        label_sheets(context.scene)
        return {"FINISHED"}


def label_sheets(scene: bpy.types.Scene) -> None:
    """Make labels anew; they hang on their sheets and move with them."""
    held = _emptied(scene, LABELS)
    sheet = scene.sheetstack.sheet
    size = 0.035 * max(sheet.width_mm, sheet.height_mm)
    ink = _plain("Sheet label", "#e6ecee")
    for number, (name, thing) in enumerate(sheets_of(scene).items(), 1):
        # Leaders end at different heights, so that labels of a closed stack stay apart.
        y = sheet.height_mm - (2.2 * number - 1.2) * size
        start, bend = sheet.width_mm, sheet.width_mm + 2.0 * size
        thickness = float(thing.sheetstack.thickness_mm)
        line = bpy.data.curves.new(f"Leader {name}", "CURVE")
        line.dimensions = "3D"
        line.bevel_depth = float(metres(0.035 * size))
        spline = line.splines.new("POLY")
        spline.points.add(1)
        for point, x in zip(spline.points, (start, bend), strict=True):
            point.co = (*metres((x, y, thickness)).tolist(), 1.0)
        text = bpy.data.curves.new(f"Label {name}", "FONT")
        text.body = f"{number}  {name}, {thickness:g} mm"
        text.size = float(metres(size))
        text.align_y = "CENTER"
        for data in (line, text):
            data.materials.append(ink)
            made = bpy.data.objects.new(data.name, data)
            made.parent = thing
            held.objects.link(made)
        made.location = metres((bend + 0.5 * size, y, thickness)).tolist()


class SHEETSTACK_OT_section(LongWork, bpy.types.Operator):
    """Cut all sheets through at a height, and show what stands behind with the cut in colour"""

    bl_idname = "sheetstack.section"
    bl_label = "Show Section"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        return _has_sheets(cls, context) and may_begin(cls)

    def work(self, context: Any) -> Work:
        self._scene = context.scene.name
        return builder(context.scene, job_of(context.scene))

    def done(self, context: Any, result: Any) -> set[str]:
        scene = bpy.data.scenes.get(self._scene)
        if scene is None:
            return {"CANCELLED"}
        show_section(scene, result, float(scene.sheetstack_inspection.section_mm))
        return {"FINISHED"}


def show_section(scene: bpy.types.Scene, build: Build, height_mm: float) -> None:
    """Show all sheets cut through; the whole ones are hidden until the section is removed."""
    held = _emptied(scene, SECTION)
    cut = _plain("Section cut", CUT)
    sheets = sheets_of(scene)
    for layer in build.layers:
        whole = sheets.get(layer.sheet.layer)
        if whole is None:
            continue
        t = layer.sheet.thickness
        rest = behind(layer.sheet.shape, height_mm)
        parts: list[tuple[str, Mesh, Any]] = []
        if not rest.is_empty:
            parts.append(("Behind", extrude(rest, t), whole.data.materials[0]))
        spans = cut_through(layer.sheet.shape, height_mm)
        if len(spans):
            parts.append(("Cut", cut_faces(spans, height_mm, t), cut))
        for what, mesh, made in parts:
            data = bpy.data.meshes.new(f"{what} {layer.sheet.layer}")
            fill_mesh(data, mesh)
            data.materials.append(made)
            thing = bpy.data.objects.new(data.name, data)
            thing.color = whole.color if what == "Behind" else shader_colour(CUT)
            thing.parent, thing.location = whole.parent, whole.location
            held.objects.link(thing)
        whole.hide_viewport = True


def cut_faces(spans: Any, height_mm: float, thickness: float) -> Mesh:
    """Return the upright faces where a section cuts material; a hair before the cut."""
    y = height_mm - 1e-3
    corners = [
        [(a, y, 0.0), (b, y, 0.0), (b, y, thickness), (a, y, thickness)]
        for a, b in np.asarray(spans).tolist()
    ]
    points = np.array(corners, np.float64).reshape(-1, 3)
    first = 4 * np.arange(len(corners))[:, None, None]
    faces = (np.array([[0, 1, 2], [0, 2, 3]]) + first).reshape(-1, 3)
    return Mesh(points, faces)


class SHEETSTACK_OT_end_inspection(bpy.types.Operator):
    """Take labels, section and drift away and show the sheets as they were"""

    bl_idname = "sheetstack.end_inspection"
    bl_label = "End Inspection"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        return _has_sheets(cls, context)

    def execute(self, context: Any) -> set[str]:
        scene = context.scene
        for name in (LABELS, SECTION):
            if name in bpy.data.collections:
                bpy.data.collections.remove(_emptied(scene, name))
        state = scene.sheetstack_inspection
        state.drift, state.overlay = 0.0, False
        for thing in sheets_of(scene).values():
            thing.animation_data_clear()
            thing.hide_viewport = False
        return {"FINISHED"}


class SHEETSTACK_PT_inspection(ClosedPanel, bpy.types.Panel):
    """Look at the stack before it is cut: overlay, drift, labels, section"""

    bl_label = "Inspection"

    @classmethod
    def poll(cls, context: Any) -> bool:
        return bool(sheets_of(context.scene))

    def draw(self, context: Any) -> None:
        layout, state = self.layout, context.scene.sheetstack_inspection
        layout.use_property_split = True
        layout.use_property_decorate = False
        layout.prop(state, "overlay")
        column = layout.column(align=True)
        column.prop(state, "drifting")
        column.prop(state, "drift", slider=True)
        column.prop(state, "direction")
        column.prop(state, "times")
        layout.operator("sheetstack.animate_drift", icon="ANIM")
        layout.operator("sheetstack.label_sheets", icon="FONT_DATA")
        row = layout.row(align=True)
        row.prop(state, "section_mm")
        layout.operator("sheetstack.section", icon="MOD_BOOLEAN")
        layout.operator("sheetstack.end_inspection", icon="X")


def _has_sheets(cls: Any, context: Any) -> bool:
    if not sheets_of(context.scene):
        cls.poll_message_set("Build the sheets first.")
        return False
    return True


def _emptied(scene: bpy.types.Scene, name: str) -> bpy.types.Collection:
    """Return a collection of the scene with nothing in it."""
    held = bpy.data.collections.get(name)
    if held is None:
        held = bpy.data.collections.new(name)
    if name not in {c.name for c in scene.collection.children_recursive}:
        scene.collection.children.link(held)
    for thing in list(held.objects):
        data = thing.data
        bpy.data.objects.remove(thing)
        if data is not None and data.users == 0:
            store = bpy.data.meshes if isinstance(data, bpy.types.Mesh) else bpy.data.curves
            store.remove(data)
    return held


def _plain(name: str, colour: str) -> bpy.types.Material:
    made = bpy.data.materials.get(name) or bpy.data.materials.new(name)
    made.diffuse_color = shader_colour(colour)
    return made


CLASSES = (
    SHEETSTACK_PG_inspection,
    SHEETSTACK_OT_animate_drift,
    SHEETSTACK_OT_label_sheets,
    SHEETSTACK_OT_section,
    SHEETSTACK_OT_end_inspection,
    SHEETSTACK_PT_inspection,
)


def register() -> None:
    """Hang the group on scenes."""
    bpy.types.Scene.sheetstack_inspection = PointerProperty(type=SHEETSTACK_PG_inspection)


def unregister() -> None:
    """Take it off again."""
    del bpy.types.Scene.sheetstack_inspection
