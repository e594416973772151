"""Drift: sheets off their places as the job reckons with, by sliders and as an animation."""

import math
from typing import Any

import bpy
from bpy.props import IntProperty

from ...geometry.errors import JobError
from ...geometry.paint.drift import drifted_corner
from ...geometry.sheet.registration import turning_centre
from ..core.conversion import metres
from ..core.ownership import is_own, own, remove_unused
from ..job.scene_job import section_of
from ..sheets.sheet_object import has_sheets, sheets_of
from .found import remember, take_back

#: Keys of a round.
STEPS = 8


def apply_drift(scene: bpy.types.Scene) -> None:
    """Put each sheet off its place as the sliders say; its arranged place stays what it is."""
    state = scene.sheetstack_inspection
    try:
        registration, sheet = section_of(scene, "registration"), section_of(scene, "sheet")
    except JobError:
        return  # a slider cannot tell; building and checking do, in a sentence
    centre = turning_centre(registration, sheet)
    sheets = list(sheets_of(scene).items())
    for number, (name, thing) in enumerate(sheets):
        share = state.drift * state.times if state.drifting in ("ALL", name) else 0.0
        # All sheets: the ways are spread evenly round.
        spread = number * 2 * math.pi / len(sheets) if state.drifting == "ALL" else 0.0
        way = state.direction + spread
        length = share * registration.drift_mm
        shift = (length * math.cos(way), length * math.sin(way))
        turn = share * registration.turn_deg
        _put_off(thing, [*metres(drifted_corner(centre, shift, turn)).tolist(), 0.0], turn)


def _put_off(thing: Any, by: list[float], turn: float) -> None:
    """Shift and turn a sheet beside how it was found, or give that back where both are nothing."""
    if not any(by) and not turn:
        found = take_back(thing, "delta")
        if found is not None:
            thing.delta_location, thing.delta_rotation_euler = found
        return
    now = [list(thing.delta_location), list(thing.delta_rotation_euler)]
    place, angles = remember(thing, "delta", now)
    thing.delta_location = [a + b for a, b in zip(place, by, strict=True)]
    thing.delta_rotation_euler = (*angles[:2], angles[2] + math.radians(turn))


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
        end_animation(scene)
        before = state.drift, state.direction
        first = scene.frame_start
        for thing in sheets_of(scene).values():
            _begin_action(thing)
        for step in range(STEPS + 1):
            state.drift = 1.0 if 0 < step < STEPS else 0.0
            state.direction = 2 * math.pi * step / STEPS
            frame = first + round(step * (self.frames - 1) / STEPS)
            for thing in sheets_of(scene).values():
                thing.keyframe_insert("delta_location", frame=frame)
                thing.keyframe_insert("delta_rotation_euler", frame=frame)
        last = first + self.frames - 1
        if last > scene.frame_end:
            state.found_end, state.animated_end = scene.frame_end, last
            scene.frame_end = last
        state.drift, state.direction = before
        return {"FINISHED"}


def _begin_action(thing: Any) -> None:
    """Give a sheet an action of our own; what it was animated with goes on in it, as a copy."""
    remember(thing, "animated", thing.animation_data is not None)
    data = thing.animation_data_create()
    thing.sheetstack.found_action = data.action
    action = data.action.copy() if data.action else bpy.data.actions.new(f"Drift {thing.name}")
    data.action = own(action)


def end_animation(scene: bpy.types.Scene) -> None:
    """Give the sheets and the scene the animation back that they were found with."""
    for thing in sheets_of(scene).values():
        found = take_back(thing, "animated")
        data = thing.animation_data
        if found is None or data is None:
            continue
        ours = data.action
        if is_own(ours):
            data.action = thing.sheetstack.found_action
            remove_unused([ours])
        thing.sheetstack.found_action = None
        if not found and data.action is None and not data.drivers and not data.nla_tracks:
            thing.animation_data_clear()
        delta = take_back(thing, "delta")
        if delta is not None:
            thing.delta_location, thing.delta_rotation_euler = delta
    state = scene.sheetstack_inspection
    if state.animated_end and scene.frame_end == state.animated_end:
        scene.frame_end = state.found_end
    state.animated_end = 0
    apply_drift(scene)


CLASSES = (SHEETSTACK_OT_animate_drift,)
