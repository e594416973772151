"""Drift: sheets off their places as the job reckons with, by sliders and as an animation."""

import math
from typing import Any

import bpy
from bpy.props import IntProperty

from ...geometry.paint.register_margins import drifted_corner
from ..core.conversion import metres
from ..sheets.sheet_object import has_sheets, sheets_of


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


class SHEETSTACK_OT_animate_drift(bpy.types.Operator):
    """Let the drifting sheets wander once round the drift that the job reckons with"""

    bl_idname = "sheetstack.animate_drift"
    bl_label = "Animate Drift"
    bl_options = {"REGISTER", "UNDO"}

    frames: IntProperty(name="Frames", description="Of once round", default=96, min=8, max=2000)

    @classmethod
    def poll(cls, context: Any) -> bool:
        return has_sheets(cls, context)

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


CLASSES = (SHEETSTACK_OT_animate_drift,)
