"""Where layers are read from: whether a file was changed, or is missing, since the last build."""

from __future__ import annotations

import hashlib
import json
import os
from pathlib import Path
from typing import Any

import bpy
from bpy.app.handlers import persistent
from bpy.props import StringProperty

from ..core.viewport import redraw_panels
from .job_property import job_changed
from .kept_artwork import PATH
from .scene_job import folder_of

#: Seconds between looks at the files.
INTERVAL = 1.0
MISSING = "missing"

#: Folder and file of each scene, whole, while a .blend is being saved.
_whole: dict[Any, tuple[str, str]] = {}


class SourceProperties:
    """What a scene keeps of the files that its layers were read from."""

    sources: StringProperty(
        description="Files of the last build and how they were, as JSON", options={"HIDDEN"}
    )
    changed_sources: StringProperty(
        description="Names of files that were changed since the last build", options={"HIDDEN"}
    )


def path_of(scene: Any, row: Any) -> Path | None:
    """Return the file that a layer is read from, None where it names none."""
    named = row.font if row.text else row.artwork
    return _found_from(scene, named) if named else None


def _found_from(scene: Any, named: str) -> Path:
    return folder_of(scene) / (bpy.path.abspath(named) if named.startswith("//") else named)


def _drawn_places(scene: Any) -> list[Path]:
    """Return the files that say where bridges are unwanted or cost more."""
    state = scene.sheetstack
    named = [state.bridges.care, *(area.drawing for area in state.areas)]
    return [_found_from(scene, one.partition("#")[0]) for one in named if one]


def is_missing(scene: Any, row: Any) -> bool:
    """Return whether a layer's file is not where it was, so that its kept copy stands in."""
    path = path_of(scene, row)
    if path is None or path.is_file():
        return False
    # What was drawn in Blender never had a file.
    return row.kept is None or PATH in row.kept


def missing_files(scene: Any) -> list[str]:
    """Return the names of files that are missing and whose copy in the .blend stands in."""
    rows = [row for row in scene.sheetstack.layers if row.kept and is_missing(scene, row)]
    return list(dict.fromkeys(Path(row.font if row.text else row.artwork).name for row in rows))


def states_of(scene: Any) -> str:
    """Return what each layer, and each drawn area, is read from and how that is now, as JSON."""
    states: dict[str, str] = {}
    for row in scene.sheetstack.layers:
        path = path_of(scene, row)
        if path is None or str(path) in states:
            continue
        if path.is_file():
            states[str(path)] = _stamp(path)
        elif row.kept is not None:
            text = row.kept.as_string().encode("utf-8")
            states[str(path)] = hashlib.blake2b(text, digest_size=16).hexdigest()
        else:
            states[str(path)] = MISSING
    for path in _drawn_places(scene):
        if str(path) not in states:
            states[str(path)] = _stamp(path) if path.is_file() else MISSING
    return json.dumps(states)


def _stamp(path: Path) -> str:
    status = path.stat()
    return f"{status.st_size} {status.st_mtime_ns}"


def note_changed_sources(scene: Any) -> None:
    """Note that the sheets are older than a file that was changed since they were built."""
    state = scene.sheetstack
    if not state.sources:
        return
    before, now = json.loads(state.sources), json.loads(states_of(scene))
    changed = [Path(path).name for path, was in before.items() if now.get(path, was) != was]
    told = ", ".join(dict.fromkeys(changed))
    if told == state.changed_sources:
        return
    state.changed_sources = told
    if told:
        job_changed(state, None)
    redraw_panels()


def _look() -> float:
    for scene in bpy.data.scenes:
        if scene.library is None:
            note_changed_sources(scene)
    return INTERVAL


@persistent  # type: ignore[untyped-decorator]
def _loaded(*_: Any) -> None:
    _look()


@persistent  # type: ignore[untyped-decorator]
def _make_relative(path: Any, *_: Any) -> None:
    """Before a .blend is saved: folders are kept from where it lies, so that both may be moved."""
    _whole.clear()
    if not isinstance(path, str) or not path:
        return
    if not bpy.context.preferences.filepaths.use_relative_paths:
        return
    for scene in bpy.data.scenes:
        state = scene.sheetstack
        if scene.library is None and state.layers:
            kept = (_absolute(state.folder), _absolute(state.file))
            _whole[scene] = kept
            _put(scene, *(_relative(whole, os.path.dirname(path)) for whole in kept))


@persistent  # type: ignore[untyped-decorator]
def _saved(path: Any, *_: Any) -> None:
    """After it was saved as a copy elsewhere: what is open stays where it is."""
    for scene, kept in _whole.items():
        if bpy.data.filepath != path:
            here = os.path.dirname(bpy.data.filepath)
            _put(scene, *(_relative(whole, here) if here else whole for whole in kept))
    _whole.clear()


def _put(scene: Any, folder: str, file: str) -> None:
    state = scene.sheetstack
    before = state.being_filled
    state.being_filled = True
    state.folder, state.file = folder, file
    state.being_filled = before


def _absolute(path: str) -> str:
    return os.path.abspath(bpy.path.abspath(path)) if path else ""


def _relative(path: str, start: str) -> str:
    """Return a path from a folder as Blender writes it; as it is where there is no way."""
    if not path:
        return ""
    try:
        return "//" + os.path.relpath(path, start)
    except ValueError:  # on another drive
        return path


CLASSES = ()


def register() -> None:
    """Look at the files now and then, where there is a window, and when a .blend was loaded."""
    handlers = bpy.app.handlers
    handlers.load_post.append(_loaded)
    handlers.save_pre.append(_make_relative)
    handlers.save_post.append(_saved)
    if not bpy.app.background:
        bpy.app.timers.register(_look, first_interval=INTERVAL, persistent=True)


def unregister() -> None:
    """Look no more."""
    handlers = bpy.app.handlers
    handlers.load_post.remove(_loaded)
    handlers.save_pre.remove(_make_relative)
    handlers.save_post.remove(_saved)
    if bpy.app.timers.is_registered(_look):
        bpy.app.timers.unregister(_look)
    _whole.clear()
