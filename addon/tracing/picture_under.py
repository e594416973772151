"""The picture that is traced as a reference image under the stack: dimmed, and never built.

It lies where the sheets will have it, at their scale. Marks are drawn and dragged on it: whoever
moves or scales it takes them along.
"""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import bpy
import numpy as np
from bpy_extras.view3d_utils import region_2d_to_origin_3d, region_2d_to_vector_3d
from mathutils import Quaternion, Vector
from mathutils.geometry import intersect_line_plane

from ...geometry.arrays import Floats, Plane
from ...geometry.tracing.settings import TracingSettings
from ...geometry.tracing.trace import extent_of
from ..core.conversion import metres, metres_per_unit
from ..core.look import frame, join, views_of
from ..core.ownership import add_made, is_own, made, own

ROLE, NAME = "PHOTO", "Picture under the stack"
#: How much of it is seen, and how far under the lowest sheet it lies in mm.
OPACITY, BELOW = 0.6, 1.0
#: Custom properties: the picture's file, and its width and height in pixels.
FILE, PIXELS = "sheetstack_file", "sheetstack_pixels"


def picture_object(scene: Any) -> Any:
    """Return the reference image of a scene, None where there is none."""
    return next(iter(made(scene, ROLE).values()), None)


def lay_under(
    scene: Any, path: Path, srgb: Plane, full: tuple[int, int], settings: TracingSettings
) -> Any:
    """Lay a picture under the stack, where a tracing with these settings has it.

    Parameters
    ----------
    scene : bpy.types.Scene
    path : Path
        Of the picture's file.
    srgb : float32 array (rows, columns, 3)
        0 to 1, the top row first, turned as it is to be seen; any size.
    full : tuple of int
        Its width and height in pixels.
    settings : TracingSettings

    Returns
    -------
    bpy.types.Object
    """
    thing = picture_object(scene)
    if thing is None:
        thing = add_made(scene, ROLE, bpy.data.objects.new(NAME, None))
        scene.collection.objects.link(thing)
        thing.empty_display_type = "IMAGE"
        thing.empty_image_offset = (0.0, 0.0)
        thing.use_empty_image_alpha = True
        thing.color[3] = OPACITY
        thing.hide_select = True
    thing.data = _image(thing.data, srgb)
    thing[FILE], thing[PIXELS] = str(path), full
    extent = extent_of(settings, full)
    page, sheet = extent.page, extent.sheet
    thing.empty_display_size = float(metres(max(page)))
    corner = [(sheet[k] - page[k]) / 2 for k in (0, 1)]
    stack = next(iter(made(scene, "STACK").values()), None)
    thing.parent = stack
    unit = 1.0 if stack is not None else 1 / metres_per_unit(scene)
    thing.scale = (unit, unit, unit)
    thing.location = Vector(metres((*corner, -BELOW))) * unit
    put_in_front(scene)
    return thing


def _image(image: Any, srgb: Plane) -> Any:
    rows, columns = srgb.shape[:2]
    if not is_own(image):
        image = own(bpy.data.images.new(NAME, columns, rows))
    if tuple(image.size) != (columns, rows):
        image.scale(columns, rows)
    pixels = np.ones((rows, columns, 4), np.float32)
    pixels[:, :, :3] = srgb[::-1]
    image.pixels.foreach_set(pixels.ravel())
    image.update()
    image.pack()  # it goes with the file
    return image


def put_in_front(scene: Any) -> None:
    """Let the picture be seen through the sheets while its marks are edited, else under them."""
    thing = picture_object(scene)
    if thing is not None:
        edited = scene.sheetstack_tracing.show_marks
        thing.empty_image_depth = "FRONT" if edited else "DEFAULT"
        join(scene, [thing])  # a view that shows the sheets alone shows it too


def look_at_picture(scene: Any) -> None:
    """Turn all views to the picture from above, so that it fills them."""
    thing = picture_object(scene)
    columns, rows = thing.data.size
    longer = max(columns, rows)
    wide, tall = (thing.empty_display_size * side / longer for side in (columns, rows))
    corners = [(x, y, 0.0) for x in (0.0, wide) for y in (0.0, tall)]
    for area in views_of(scene):
        view = area.spaces.active.region_3d
        view.view_perspective = "ORTHO"
        view.view_rotation = Quaternion()
    frame(scene, [SimpleNamespace(matrix_world=thing.matrix_world, bound_box=corners)])


def places_seen(context: Any, thing: Any, points: Floats) -> Floats:
    """Return where points (n, 2) of the picture, in its file's pixels, lie in the region.

    Parameters
    ----------
    context : Context
        Of a 3D view.
    thing : Object
        The picture.
    points : float64 array (n, 2)
    """
    pixel, tall = _pixel(thing)
    flat = np.zeros((len(points), 4))
    flat[:, :2] = np.column_stack([points[:, 0], tall - points[:, 1]]) * pixel
    flat[:, 3] = 1
    matrix = np.array(context.region_data.perspective_matrix) @ np.array(thing.matrix_world)
    flat = flat @ matrix.T
    unit = flat[:, :2] / np.where(flat[:, 3:] > 1e-9, flat[:, 3:], np.inf)
    return np.asarray((unit + 1) / 2 * (context.region.width, context.region.height))


def point_under(context: Any, thing: Any, at: tuple[float, float]) -> Floats | None:
    """Return the point of the picture, in its file's pixels, under a place of the region.

    Parameters
    ----------
    context : Context
        Of a 3D view.
    thing : Object
        The picture.
    at : tuple of float
        Pixel of the region.
    """
    region, view = context.region, context.region_data
    home = thing.matrix_world.inverted()
    eye = region_2d_to_origin_3d(region, view, at)
    ahead = home @ (eye + region_2d_to_vector_3d(region, view, at))
    hit = intersect_line_plane(home @ eye, ahead, (0.0, 0.0, 0.0), (0.0, 0.0, 1.0))
    if hit is None:
        return None
    pixel, tall = _pixel(thing)
    return np.array([hit[0] / pixel, tall - hit[1] / pixel])


def _pixel(thing: Any) -> tuple[float, float]:
    """Return the side of a pixel in the picture's own coordinates, and its height in pixels."""
    full = thing[PIXELS]
    return float(thing.empty_display_size) / max(full), float(full[1])


CLASSES = ()
