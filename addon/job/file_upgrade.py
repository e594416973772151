"""Loading files: properties of older add-ons are brought up to the present ones."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import bpy
from bpy.app.handlers import persistent

from .job_property import FORMAT
from .scene_job import being_filled

#: For each format the step that brings a scene's properties up to the next. Format 1 is the first
#: that was ever saved, so that there is none yet.
STEPS: dict[int, Callable[[Any], None]] = {}


def upgrade(state: Any) -> None:
    """Bring a scene's properties up to the present format, step by step."""
    if not state.format:  # a scene that never held a job
        return
    with being_filled(state):
        for version in range(state.format, FORMAT):
            STEPS[version](state)
        state.format = max(state.format, FORMAT)


@persistent  # type: ignore[untyped-decorator]
def _upgrade_all(*_: Any) -> None:
    for scene in bpy.data.scenes:
        # A linked scene belongs to its own file.
        if scene.library is None:
            upgrade(scene.sheetstack)


CLASSES = ()


def register() -> None:
    """Look at each file that is loaded."""
    bpy.app.handlers.load_post.append(_upgrade_all)


def unregister() -> None:
    """Look no more."""
    bpy.app.handlers.load_post.remove(_upgrade_all)
