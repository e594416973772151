"""While a bridge is dragged its sheet follows: without the bridge, and the bridge where it is now.

The sheet without the bridge is worked out in a thread when the drag begins, and stands in for the
sheet's mesh until it ends; the job is changed, and built, when the bridge is dropped.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from typing import Any, Protocol

import bpy
import numpy as np
from shapely import MultiPolygon

from ...geometry.build import Build, BuiltLayer
from ...geometry.job.sections import BridgeByHand
from ...geometry.mesh.solid import Mesh, extrude
from ...geometry.progress import Progress
from ...geometry.support.constraints import DrawnBridge
from ...geometry.support.dragged import Dragged, StillSheet, sheet_without
from ..core.conversion import MeshColumns, columns_of, display_colour, fill_mesh
from ..core.long_work import Running
from ..core.ownership import own
from ..core.viewport import redraw_views
from ..sheets.last_build import build_of_sheet

#: Faces of a sheet whose mesh is not exchanged while dragging: filling it would block the window.
MOST_FACES = 150_000
#: After a place that took so long, so many times as long passes before the next is looked at: the
#: window has the rest of the time.
REST = 1.0
#: Seconds until a place that was passed over is looked at, where the mouse rests there.
WAIT = 0.02


class Follower(Protocol):
    """What else follows a dragged bridge, the painted picture for example."""

    def begin(self, scene: Any, build: Build) -> None:
        """Begin, with the build that is shown."""

    def show(self, sheet: str, openings: MultiPolygon, box: tuple[float, ...]) -> None:
        """Show a sheet's openings, which have changed within a box (mm).

        Parameters
        ----------
        sheet : str
            Name of its layer.
        openings : MultiPolygon
            All of the sheet.
        box : tuple of float
            x0, y0, x1, y1.
        """

    def end(self, *, keep: bool) -> None:
        """End; what was shown stays or is taken back."""


#: Features add theirs as they are registered.
FOLLOWERS: list[Follower] = []


@dataclass
class LiveDrag:
    """One drag of a bridge, from its beginning to its end.

    Parameters
    ----------
    sheet : bpy.types.Object
    build : Build
        What is shown.
    layer : BuiltLayer
    name : str
        Of the bridge that is dragged; empty for a new one.
    """

    sheet: Any
    build: Build
    layer: BuiltLayer
    name: str
    still: StillSheet | None = None
    shown: Dragged | None = None
    strip: Mesh | None = None
    own_mesh: Any = None
    stand_in: Any = None
    work: Running | None = None
    next_look: float = 0.0
    latest: BridgeByHand | None = None
    box: tuple[float, ...] = field(default=())

    def begin(self) -> None:
        """Begin to work out what stands still."""
        layer, width = self.layer, self.build.job.bridge_width
        bridge = next((b for b in layer.bridges if self.name and b.name == self.name), None)
        self.box = () if bridge is None else bridge.shape.bounds

        def stand_still(progress: Progress) -> tuple[StillSheet, MeshColumns | None]:
            still = sheet_without(layer.sheet, layer.plain_sheet, bridge, width).prepared()
            changed = bridge is not None and len(layer.mesh.faces) <= MOST_FACES
            if not changed:
                return still, None
            return still, columns_of(extrude(still.shape, layer.sheet.thickness))

        self.work = Running("Dragging", stand_still)
        if bpy.app.background:
            self.work.run()
        else:
            self.work.start()
        for follower in FOLLOWERS:
            follower.begin(self.sheet.users_scene[0], self.build)

    def _take(self) -> None:
        """Take what stands still, once it is there."""
        if self.work is None or not (bpy.app.background or self.work.ended):
            return
        work, self.work = self.work, None
        if work.failure is not None:
            raise work.failure
        self.still, mesh = work.result
        if mesh is not None:
            self.own_mesh = self.sheet.data
            self.stand_in = own(bpy.data.meshes.new("Dragged"))
            for material in self.own_mesh.materials:
                self.stand_in.materials.append(material)
            fill_mesh(self.stand_in, mesh)
            self.sheet.data = self.stand_in

    def move(self, bridge: BridgeByHand) -> None:
        """Show the bridge at another place."""
        self.latest = bridge
        self._take()
        began = time.monotonic()
        if self.still is None or began < self.next_look:
            if not bpy.app.background and not bpy.app.timers.is_registered(_catch_up):
                bpy.app.timers.register(_catch_up, first_interval=WAIT)
            return
        self._look(self.still, bridge)
        if not bpy.app.background:
            self.next_look = time.monotonic() + REST * (time.monotonic() - began)

    def _look(self, still: StillSheet, bridge: BridgeByHand) -> None:
        self.latest = None
        line = np.array(bridge.line_mm, np.float64)
        self.shown = still.at(DrawnBridge(line, bridge.width_mm))
        strip = self.shown.strip
        self.strip = None if strip.is_empty else extrude(strip, self.layer.sheet.thickness)
        if FOLLOWERS:
            boxes = [box for box in (self.box, strip.bounds) if box and np.isfinite(box).all()]
            openings = still.left_open(strip)
            if boxes:
                low, high = np.array(boxes)[:, :2].min(axis=0), np.array(boxes)[:, 2:].max(axis=0)
                for follower in FOLLOWERS:
                    follower.show(still.layer, openings, (*low.tolist(), *high.tolist()))
            self.box = strip.bounds if not strip.is_empty else self.box

    def colour(self) -> tuple[float, float, float, float]:
        """Return the colour of the sheet; what is drawn over a view is in display space."""
        return *display_colour(self.layer.settings.colour), 1.0

    def end(self, *, keep: bool) -> None:
        """Give the sheet its own mesh back."""
        if keep and self.latest is not None and self.still is not None:
            self._look(self.still, self.latest)  # where it was dropped
        if self.work is not None:
            self.work.stop.set()
        if self.stand_in is not None:
            self.sheet.data = self.own_mesh
            bpy.data.meshes.remove(self.stand_in)
            self.stand_in = None
        for follower in FOLLOWERS:
            follower.end(keep=keep)


_drag: list[LiveDrag] = []


def _catch_up() -> float | None:
    """Show the last place where it was too early for it; Blender's timer calls it."""
    drag = dragging()
    if drag is None or drag.latest is None:
        return None
    drag.move(drag.latest)
    redraw_views()
    return WAIT


def dragging() -> LiveDrag | None:
    """Return the drag that is under way."""
    return _drag[0] if _drag else None


def begin_drag(sheet: Any, name: str) -> None:
    """Begin a drag of a sheet's bridge by its name, or of a new one, where its build is known."""
    end_drag(keep=False)
    known = build_of_sheet(sheet)
    if known is not None:
        drag = LiveDrag(sheet, *known, name)
        _drag[:] = [drag]
        drag.begin()


def move_drag(bridge: BridgeByHand) -> None:
    """Let what follows the bridge show it at another place."""
    drag = dragging()
    if drag is not None:
        drag.move(bridge)


def end_drag(*, keep: bool) -> None:
    """End the drag that is under way; the painted picture stays as it is shown, or goes back."""
    while _drag:
        _drag.pop().end(keep=keep)
        redraw_views()


CLASSES = ()


def unregister() -> None:
    """End what is under way."""
    end_drag(keep=False)
    if bpy.app.timers.is_registered(_catch_up):
        bpy.app.timers.unregister(_catch_up)
