"""What the 3D views show: turned to what was made, and given back as they were found."""

from __future__ import annotations

import math
from collections.abc import Iterable
from copy import copy
from typing import Any

import bpy
import numpy as np
from mathutils import Vector

#: Free space round what is framed, as a share of its size.
ROUND = 1.15
#: Width of the film that Blender's views are worked out with, in mm, as its lenses are.
FILM = 72.0
#: What makes up where a view looks from.
POSE = ("view_rotation", "view_location", "view_distance")

#: For each purpose and 3D view what was found: the settings that were changed.
_found: dict[str, dict[int, dict[str, Any]]] = {}


def views_of(scene: Any) -> list[Any]:
    """Return the areas of all 3D views that show a scene."""
    manager = bpy.context.window_manager
    return [
        area
        for window in (manager.windows if manager else ())
        if window.scene == scene
        for area in window.screen.areas
        if area.type == "VIEW_3D"
    ]


def frame(scene: Any, things: Iterable[Any]) -> None:
    """Turn no view, but move each so that objects fill it."""
    corners = np.array([t.matrix_world @ Vector(c) for t in things for c in t.bound_box])
    if not len(corners):
        return
    low, high = corners.min(axis=0), corners.max(axis=0)
    radius = float(np.linalg.norm(high - low)) / 2
    for area in views_of(scene):
        space = area.spaces.active
        view = space.region_3d
        if view.view_perspective == "CAMERA":
            view.view_perspective = "PERSP"
        # What is across the shorter side of the view, seen from its distance.
        region = next(r for r in area.regions if r.type == "WINDOW")
        narrow = min(region.width, region.height) / max(region.width, region.height, 1)
        half = FILM / 2 / space.lens * narrow
        if view.view_perspective == "PERSP":
            distance = radius / math.sin(math.atan(half))
        else:
            distance = radius / half
        view.view_location = Vector(((low + high) / 2).tolist())
        view.view_distance = ROUND * distance


def join(scene: Any, things: Iterable[Any]) -> None:
    """Let objects be seen in the views that are in local view, beside what is seen there."""
    things = list(things)
    for area in views_of(scene):
        if area.spaces.active.local_view is not None:
            for thing in things:
                thing.local_view_set(area.spaces.active, True)


def isolate(scene: Any, things: list[Any]) -> None:
    """Show objects alone where others stand in their way: Blender's local view, left by its key."""
    join(scene, things)
    for area in views_of(scene):
        if area.spaces.active.local_view is None and _is_hidden(scene, things):
            window = next(
                w for w in bpy.context.window_manager.windows if area in list(w.screen.areas)
            )
            region = next(r for r in area.regions if r.type == "WINDOW")
            with bpy.context.temp_override(window=window, area=area, region=region, scene=scene):
                selected = [t for t in scene.objects if t.select_get()]
                for thing in selected:
                    thing.select_set(False)
                for thing in things:
                    thing.select_set(True)
                bpy.ops.view3d.localview(frame_selected=False)
                for thing in things:
                    thing.select_set(False)
                for thing in selected:
                    thing.select_set(True)


def _is_hidden(scene: Any, things: list[Any]) -> bool:
    """Return whether another solid object reaches into the box round objects."""
    low, high = _box(things)
    for other in scene.objects:
        if other.type not in {"MESH", "CURVE", "SURFACE", "META", "FONT"} or other in things:
            continue
        if other.visible_get():
            least, most = _box([other])
            if (least < high).all() and (most > low).all():
                return True
    return False


def _box(things: list[Any]) -> tuple[Any, Any]:
    corners = np.array([t.matrix_world @ Vector(c) for t in things for c in t.bound_box])
    return corners.min(axis=0), corners.max(axis=0)


def show(scene: Any, purpose: str, **wanted: Any) -> None:
    """Set up all views of a scene for a purpose, remembering what was found the first time.

    Parameters
    ----------
    scene : bpy.types.Scene
    purpose : str
        What the settings are given back by.
    **wanted : str
        ``type`` and ``color_type`` of the shading, ``view_perspective``.
    """
    for area in views_of(scene):
        kept = _found.setdefault(purpose, {}).setdefault(area.as_pointer(), {})
        for key in POSE if "view_perspective" in wanted else ():
            # Whoever looks through the camera turns the view with it.
            kept.setdefault(key, copy(getattr(_holder(area, key), key)))
        for key, value in wanted.items():
            holder = _holder(area, key)
            kept.setdefault(key, getattr(holder, key))
            setattr(holder, key, value)


def give_back(purpose: str) -> None:
    """Give all views back what they were found with; those that are gone are left."""
    found = _found.pop(purpose, {})
    manager = bpy.context.window_manager
    for window in manager.windows if manager else ():
        for area in window.screen.areas:
            if area.type == "VIEW_3D":
                kept = found.get(area.as_pointer(), {})
                # The pose last: a view that leaves the camera keeps the camera's.
                for key in sorted(kept, key=lambda name: name in POSE):
                    setattr(_holder(area, key), key, kept[key])


def _holder(area: Any, key: str) -> Any:
    space = area.spaces.active
    return space.region_3d if key.startswith("view_") else space.shading


CLASSES = ()


def register() -> None:
    """Begin with views as they are."""
    _found.clear()


def unregister() -> None:
    """Give all views back."""
    for purpose in list(_found):
        give_back(purpose)
