"""The live preview of a tracing: what is under way, and the picture that came of it last."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import bpy
import bpy.utils.previews
import numpy as np
from numpy.typing import NDArray

from ...geometry.errors import Cancelled, SheetstackError
from ...geometry.progress import Progress
from ...geometry.step_cache import StepCache
from ...geometry.tracing.faces import Subject
from ...geometry.tracing.picture import read_picture
from ...geometry.tracing.settings import TracingSettings
from ...geometry.tracing.trace import PREVIEW_PIXELS, Tracing, read_and_trace, subject_of
from ..core.long_work import Running
from ..core.ownership import is_own, own
from ..core.viewport import redraw_panels
from .known_marks import known_of, picture_of, put_known

#: Seconds that the settings rest before a new preview begins.
PAUSE = 0.3
#: Memory for steps of previews: some tracings of one picture at reduced size.
MOST_BYTES = 60_000_000
#: Name of the image, and of its icon in the panel.
IMAGE = "Tracing preview"


@dataclass
class Live:
    """What the live preview knows: when a setting changed last, and what is under way."""

    changed: float | None = None
    work: Running | None = None
    told: str = ""
    icons: Any = None
    #: What a slider does not touch is not worked out again.
    cache: StepCache = field(default_factory=lambda: StepCache(MOST_BYTES))

    def rested(self) -> bool:
        """Return whether a setting changed, and none within the pause."""
        return self.changed is not None and time.monotonic() - self.changed >= PAUSE

    def stop(self) -> None:
        """Stop the tracing that is under way."""
        if self.work is not None:
            self.work.stop.set()


live = Live()


def note_change() -> None:
    """Note that a setting changed now."""
    live.changed = time.monotonic()


@dataclass(frozen=True, eq=False)
class Previewed:
    """A preview, and of which picture and with what known of it, whoever found it."""

    path: Path
    tracing: Tracing
    known: Subject


def preview_of(path: Path, settings: TracingSettings, known: Subject | None) -> Running:
    """Return the tracing of a picture at reduced size, not yet begun.

    Parameters
    ----------
    path : Path
    settings : TracingSettings
    known : Subject, optional
        What is known of the picture; looked for when None.
    """

    def traced(progress: Progress) -> Previewed:
        subject = known
        if subject is None:
            small = read_picture(path, lambda full: (64, 64))
            subject = subject_of(path, small, settings, progress.part(0.0, 0.1))
        tracing = read_and_trace(
            path, settings, progress, PREVIEW_PIXELS, subject, live.cache, preview=True
        )
        return Previewed(path, tracing, subject)

    return Running(IMAGE, traced)


def take(work: Running, scene: Any) -> None:
    """Show a tracing that is through, also as the image of a scene's settings.

    Raises
    ------
    SheetstackError
        What the tracing raised, unless it was stopped.
    """
    if isinstance(work.failure, Cancelled):
        return
    if work.failure is not None:
        live.told = str(work.failure) if isinstance(work.failure, SheetstackError) else ""
        raise work.failure
    through: Previewed = work.result
    if picture_of(scene) == through.path and known_of(scene) is None:
        put_known(scene, through.known, through.tracing.picture.full)
    score = through.tracing.score
    live.told = (
        f"Difference {score.difference:.1f}, structure {score.structure:.2f}\n"
        f"About {score.islands} islands, {score.cut_mm / 1000:.1f} m of cuts"
    )
    _show(through.tracing.painted, scene.sheetstack_tracing)
    redraw_panels()


def _show(painted: NDArray[np.float32], group: Any) -> None:
    """Put pixels (rows, columns, 3), top row first, into the image and the panel's icon."""
    rows, columns = painted.shape[:2]
    pixels: NDArray[np.float32] = np.ones((rows, columns, 4), np.float32)
    pixels[:, :, :3] = painted[::-1]
    image = group.image
    if not is_own(image):
        image = group.image = own(bpy.data.images.new(IMAGE, columns, rows))
    if tuple(image.size) != (columns, rows):
        image.scale(columns, rows)
    image.pixels.foreach_set(pixels.ravel())
    image.update()
    if live.icons is not None:
        icon = live.icons[IMAGE] if IMAGE in live.icons else live.icons.new(IMAGE)
        icon.image_size = (columns, rows)
        icon.image_pixels_float.foreach_set(pixels.ravel())


CLASSES = ()


def register() -> None:
    """Make room for the panel's icon."""
    live.icons = bpy.utils.previews.new()


def unregister() -> None:
    """Stop what is under way and forget all."""
    live.stop()
    if live.icons is not None:
        bpy.utils.previews.remove(live.icons)
    live.changed, live.work, live.told, live.icons = None, None, "", None
    live.cache.clear()
