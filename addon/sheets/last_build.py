"""The last build, kept in memory so that an operator need not build what has not changed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import bpy
from bpy.app.handlers import persistent

from ...geometry.artwork.source import source_of
from ...geometry.build import Build, BuiltLayer, build
from ...geometry.job.job import Job
from ...geometry.progress import Progress
from ...geometry.step_cache import StepCache
from ..job import kept_artwork
from .sheet_object import shows

#: What files and kept copies were like.
Stamp = tuple[tuple[int, int] | tuple[str, str], ...]

#: The job as it was asked for, what files were like, and the build; its own job is the same with
#: the bridges settled, and stands for it as well.
_last: list[tuple[Job, Stamp, Build]] = []
#: Steps of earlier builds: after an edit only what hangs on it is done again.
STEPS = StepCache()


def builder(scene: bpy.types.Scene, job: Job) -> Callable[[Progress], Build]:
    """Return the work that builds a scene's job, or hands out the last build if nothing changed.

    The scene is read here, not in the work, which may run in a thread.
    """
    copies = kept_artwork.copies_of(scene)

    def work(progress: Progress) -> Build:
        stamp: Stamp = (*_stamp(job), *copies.values())
        for known, its_stamp, result in _last:
            if job in (known, result.job) and its_stamp == stamp:
                return result
        with kept_artwork.restored(copies, job) as complete:
            result = build(complete, progress, cache=STEPS)
        result = replace(result, job=result.settled_for(job))
        _last[:] = [(job, stamp, result)]
        return result

    return work


def last_build_of(job: Job) -> Build | None:
    """Return the last build, if it is of this job."""
    return next((result for known, _, result in _last if job in (known, result.job)), None)


def build_of_sheet(sheet: bpy.types.Object) -> tuple[Build, BuiltLayer] | None:
    """Return the last build and the layer of it that a sheet's mesh shows; None where it is not.

    Parameters
    ----------
    sheet : bpy.types.Object
        A built sheet.
    """
    for _, _, result in _last:
        for layer in result.layers:
            if layer.sheet.layer == sheet.sheetstack.layer and shows(sheet, layer):
                return result, layer
    return None


def _stamp(job: Job) -> tuple[tuple[int, int], ...]:
    """Return size and time of change of each layer's file, (0, 0) where there is none."""
    stamps = []
    for layer in job.layers:
        path = source_of(job, layer).path
        if path.is_file():
            status = path.stat()
            stamps.append((status.st_size, status.st_mtime_ns))
        else:
            stamps.append((0, 0))
    return tuple(stamps)


@persistent  # type: ignore[untyped-decorator]
def _forget(*_: Any) -> None:
    _last.clear()
    STEPS.clear()


CLASSES = ()


def register() -> None:
    """Forget the build when another file is loaded."""
    bpy.app.handlers.load_pre.append(_forget)


def unregister() -> None:
    """Stop listening and free the memory."""
    bpy.app.handlers.load_pre.remove(_forget)
    _forget()
