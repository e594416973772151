"""Discs in the 3D view that can be taken hold of: what handles of bridges and of places share.

They are as large on the screen whatever the distance, and are there while the bridge tool is on.
"""

from __future__ import annotations

import itertools
import math
from typing import Any

import numpy as np
from mathutils import Matrix

from .bridge_tool import tool_is_on
from .place_on_sheet import scene_place

#: Colour of the handle under the mouse.
UNDER_MOUSE = (1.0, 0.6, 0.1)
_TURN = np.linspace(0, 2 * math.pi, 25)
#: Triangles of a disc of radius 1.
DISC = [
    (math.cos(a) * k, math.sin(a) * k, 0.0)
    for one, two in itertools.pairwise(_TURN)
    for a, k in ((one, 0.0), (one, 1.0), (two, 1.0))
]


class ScreenHandle:
    """What the gizmos have in common: a disc is drawn, and found under the mouse."""

    def setup(self: Any) -> None:
        """Make the disc; Blender calls it once for each handle."""
        self.disc = self.new_custom_shape("TRIS", DISC)

    def draw(self: Any, context: Any) -> None:
        """Draw the disc."""
        self.draw_custom_shape(self.disc)

    def draw_select(self: Any, context: Any, select_id: int) -> None:
        """Draw the disc for finding what is under the mouse."""
        self.draw_custom_shape(self.disc, select_id=select_id)


class ScreenHandles:
    """What the groups of gizmos have in common."""

    bl_space_type = "VIEW_3D"
    bl_region_type = "WINDOW"
    bl_options = {"3D", "PERSISTENT", "SHOW_MODAL_ALL"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Return whether the handles are there."""
        return context.mode == "OBJECT" and tool_is_on(context)


def dress(handle: Any, colour: Any, size: float) -> None:
    """Give a handle its colour and size: a share of the size of gizmos in the preferences.

    Parameters
    ----------
    handle : Gizmo
    colour : sequence of float
        Red, green, blue.
    size : float
    """
    handle.use_draw_modal = True
    handle.color, handle.alpha = colour, 0.85
    handle.color_highlight, handle.alpha_highlight = UNDER_MOUSE, 1.0
    handle.scale_basis = size


def stand(handle: Any, sheet: Any, place: Any) -> None:
    """Put a handle on a sheet, at x, y in mm, turned as the sheet is.

    Parameters
    ----------
    handle : Gizmo
    sheet : Object
    place : sequence of float
    """
    turn = sheet.matrix_world.to_quaternion().to_matrix().to_4x4()
    handle.matrix_basis = Matrix.Translation(scene_place(sheet, place)) @ turn
