"""The sheet whose bridges are edited, and the place on it under the mouse."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from bpy_extras.view3d_utils import region_2d_to_origin_3d, region_2d_to_vector_3d
from mathutils import Vector
from mathutils.geometry import intersect_line_plane

from ...geometry.job.sections import BridgeByHand
from ..core.conversion import metres, millimetres
from ..job.layer_list import active_layer
from ..sheets.sheet_object import sheet_names, sheets_of
from .hand_bridges import bridges_on

#: Pixels of a plain screen within which the mouse takes hold of a bridge.
REACH = 14.0


def edited_sheet(context: Any) -> Any:
    """Return the active layer's sheet; of a split layer the active object, or the first in sight.

    None where it is not built or cannot be seen.
    """
    layer = active_layer(context.scene)
    if layer is None:
        return None
    sheets = sheets_of(context.scene)
    mine = [sheets[name] for name in sheet_names(layer) if name in sheets]
    seen = [sheet for sheet in mine if sheet.visible_get()]
    return context.object if context.object in seen else next(iter(seen), None)


def editable_bridges(context: Any) -> list[BridgeByHand]:
    """Return the bridges of the edited sheet that have a line."""
    sheet = edited_sheet(context)
    if sheet is None:
        return []
    found = bridges_on(context.scene, active_layer(context.scene).name, sheet)
    return [bridge for bridge in found if len(bridge.line_mm) > 1]


def picked_bridge(context: Any) -> BridgeByHand | None:
    """Return the bridge that was picked last, if the edited sheet has it."""
    name = context.scene.sheetstack.picked_bridge
    return next((bridge for bridge in editable_bridges(context) if bridge.id == name), None)


def place_under(context: Any, sheet: Any, at: tuple[float, float]) -> Any:
    """Return where the line of sight through a pixel meets a sheet's top, in its mm, or None.

    Parameters
    ----------
    context : Context
        Of a 3D view.
    sheet : Object
    at : tuple of float
        Pixel of the region.
    """
    region, view = context.region, context.region_data
    to_sheet = sheet.matrix_world.inverted()
    eye = region_2d_to_origin_3d(region, view, at)
    ahead = to_sheet @ (eye + region_2d_to_vector_3d(region, view, at))
    top = (0.0, 0.0, float(metres(sheet.sheetstack.thickness_mm)))
    hit = intersect_line_plane(to_sheet @ eye, ahead, top, (0.0, 0.0, 1.0))
    return None if hit is None else millimetres(hit[:2])


def scene_place(sheet: Any, place: Any) -> Any:
    """Return a place on a sheet's top, in its mm, in the scene's coordinates."""
    return sheet.matrix_world @ Vector(metres((*place, sheet.sheetstack.thickness_mm)))


def pixel_size(context: Any, sheet: Any, at: tuple[float, float]) -> float:
    """Return the length on a sheet, in mm, of a pixel of a plain screen; 0 where it is not hit.

    Parameters
    ----------
    context : Context
        Of a 3D view.
    sheet : Object
    at : tuple of float
        Pixel of the region.
    """
    here, beside = (place_under(context, sheet, (at[0] + k, at[1])) for k in (0, 1))
    if here is None or beside is None:
        return 0.0
    return float(np.linalg.norm(beside - here)) * context.preferences.system.ui_scale


def nearest_bridge(context: Any, place: Any, reach: float) -> BridgeByHand | None:
    """Return the bridge of the edited sheet that is nearest to a place, within a reach in mm.

    Parameters
    ----------
    context : Context
    place : sequence of float
        x, y in mm.
    reach : float
    """
    here = shapely.Point(place)
    near = [(shapely.LineString(b.line_mm).distance(here), b) for b in editable_bridges(context)]
    distance, bridge = min(near, key=lambda pair: pair[0], default=(reach, None))
    return bridge if distance < reach else None


CLASSES = ()
