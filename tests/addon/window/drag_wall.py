"""Run inside a Blender with a window: a photo of a wall, its four corners dragged by the mouse.

    blender --factory-startup --python drag_wall.py -- ZIP JOB FOLDER

A photo is drawn in which a door's corners are known. The scene on it is begun as a drop begins it,
by the operator with the path; each corner is clicked, moved by G and set down on the door's, and
the button fits the camera, which must then see the rectangle where the door is. A screenshot of
each step goes to FOLDER. Places are those of Blender 3.4, scale 1.
"""

import sys
from pathlib import Path

import bpy
import numpy as np
from bpy_extras.view3d_utils import location_3d_to_region_2d

sys.path.insert(0, str(Path(__file__).parent))
from walking import (
    click,
    enable,
    follow,
    point_at,
    screenshot,
    view,
    wait,
    wait_for,
    window,
    xdotool,
)

ZIP, JOB, FOLDER = (Path(a).resolve() for a in sys.argv[sys.argv.index("--") + 1 :][:3])
PIXELS = (800, 600)
#: The door in the photo, from its upper left corner round; 900 x 2000 mm.
DOOR = np.array([(330.0, 90.0), (505.0, 120.0), (500.0, 508.0), (322.0, 548.0)])
#: Pixels from the sidebar's top: the tab, the button that fits.
TAB, FIT = 165, 98
#: A hand sets a corner down within about a pixel of the window; the photo is shown smaller.
NEAR = 3.0


def picture(name):
    screenshot(FOLDER / f"wall-{name}.png")


def photo():
    """Draw a wall with a door in it, and return its path."""
    x, y = np.meshgrid(np.arange(PIXELS[0]) + 0.5, np.arange(PIXELS[1]) + 0.5)
    inside = np.ones(x.shape, bool)
    for (x0, y0), (x1, y1) in zip(DOOR, np.roll(DOOR, -1, axis=0), strict=True):
        inside &= (x1 - x0) * (y - y0) - (y1 - y0) * (x - x0) > 0
    shade = np.where(inside, 0.2, 0.55 + 0.1 * (x / PIXELS[0]))
    rgba = np.stack([shade, 0.9 * shade, 0.8 * shade, np.ones_like(shade)], axis=2)
    image = bpy.data.images.new("door", *PIXELS)
    image.pixels = rgba[::-1].ravel()
    image.filepath_raw, image.file_format = str(Path.home() / "door.png"), "PNG"
    image.save()
    return image.filepath_raw


def install():
    enable(ZIP)
    assert bpy.ops.sheetstack.open_job(filepath=str(JOB)) == {"FINISHED"}
    yield from wait()


def drop_photo():
    area, _, region = view()
    given = {"filepath": photo(), "width_mm": 900.0, "height_mm": 2000.0}
    with bpy.context.temp_override(window=window(), area=area, region=region):
        bpy.ops.sheetstack.wall_photo("INVOKE_DEFAULT", **given)
    yield from wait_for(lambda: window().scene.name.startswith("Photo of the wall"))
    yield from wait(8)
    picture("1-photo")


def drag_corners():
    from sheetstack.addon.mockup.wall_photo import CORNERS, corner_of, corners_seen

    scene = window().scene
    for name, place in zip(CORNERS, DOOR, strict=True):
        corner = corner_of(scene, name)
        yield from click(*seen(corner.location))
        active = window().view_layer.objects.active
        assert active == corner, (name, active)
        xdotool("key", "g")
        yield from wait(3)
        point_at(*at_pixel(place))
        yield from wait(3)
        xdotool("click", 1)
        yield from wait(4)
    picture("2-dragged")
    assert np.abs(corners_seen(scene) - DOOR).max() < NEAR, corners_seen(scene)


def fit():
    from sheetstack.addon.mockup.wall_photo import CORNERS, corner_of, corners_seen

    scene = window().scene
    _, _, region = view()
    point_at(region.x + 0.1 * region.width, region.y + 0.9 * region.height)
    yield from wait(2)
    xdotool("key", "n")
    yield from wait(4)
    _, sidebar, _ = view()
    yield from click(sidebar.x + sidebar.width - 13, sidebar.y + sidebar.height - TAB)
    picture("3-tab")
    yield from click(sidebar.x + 90, sidebar.y + sidebar.height - FIT)
    yield from wait(6)
    picture("4-fitted")
    # On the wall again, and seen where the door is.
    assert max(abs(corner_of(scene, name).location.y) for name in CORNERS) < 1e-6
    assert np.abs(corners_seen(scene) - DOOR).max() < NEAR


def seen(place):
    """Return the pixel of the window at which a point of the scene is seen."""
    area, _, region = view()
    at = location_3d_to_region_2d(region, area.spaces.active.region_3d, place)
    return region.x + at[0], region.y + at[1]


def at_pixel(place):
    """Return the pixel of the window at which a pixel of the photo is seen."""
    camera = window().scene.camera
    frame = [camera.matrix_basis @ v for v in camera.data.view_frame(scene=window().scene)]
    upper_right, lower_right, _, upper_left = (np.array(seen(corner)) for corner in frame)
    share = np.array(place) / PIXELS
    return (
        upper_left + share[0] * (upper_right - upper_left) + share[1] * (lower_right - upper_right)
    )


follow(install, drop_photo, drag_corners, fit)
