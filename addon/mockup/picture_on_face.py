"""The painted picture on a face of the user's own wall, at true size."""

from __future__ import annotations

import bpy
import numpy as np
from mathutils import Matrix
from numpy.typing import NDArray

from ...geometry.errors import GeometryError
from ...geometry.scene.wall_face import face_frame, face_size
from ..core.conversion import metres, metres_per_unit
from ..core.ownership import is_made, owning, remove_made
from . import mockup_material

#: How far the picture stands off the face, in mm: enough to be seen, too little to throw a shadow.
OFF = 0.4
NAME = "Picture on wall"
ROLE = "WALL_PICTURE"


def face_of(wall: bpy.types.Object) -> int:
    """Return the number of the active or first selected face of a mesh object.

    Raises
    ------
    GeometryError
        It has no face.
    """
    if wall.mode == "EDIT":
        wall.update_from_editmode()
    mesh = wall.data
    if not len(mesh.polygons):
        raise GeometryError(f"'{wall.name}' has no face to put the picture on.")
    selected = [polygon.index for polygon in mesh.polygons if polygon.select]
    if mesh.polygons.active in selected or not selected:
        return int(max(mesh.polygons.active, 0))
    return int(selected[0])


def put_picture(
    scene: bpy.types.Scene,
    wall: bpy.types.Object,
    face: int,
    picture: NDArray[np.uint8],
    size_mm: tuple[float, float],
) -> bool:
    """Put a picture on a face, in place of an older one on that wall.

    Parameters
    ----------
    scene : bpy.types.Scene
    wall : bpy.types.Object
        A mesh.
    face : int
    picture : uint8 array (rows, columns, 3)
    size_mm : tuple of float

    Returns
    -------
    bool
        Whether it fits on the face.

    Raises
    ------
    GeometryError
        There is no such face, or it has no area.
    """
    mesh = wall.data
    if not 0 <= face < len(mesh.polygons):
        raise GeometryError(
            f"'{wall.name}' has no face {face}: expected 0 to {len(mesh.polygons) - 1}."
        )
    corners = np.array(
        [wall.matrix_world @ mesh.vertices[v].co for v in mesh.polygons[face].vertices], np.float64
    )
    middle, axes = face_frame(corners)
    width, height = (metres(size_mm) / metres_per_unit(scene)).tolist()
    old = wall.sheetstack.picture
    if old is not None and is_made(scene, old):
        remove_made(scene, ROLE, thing=old)
    with owning(scene, ROLE):
        wall.sheetstack.picture = _plane(scene, picture, (width, height))
    place = np.eye(4)
    place[:3, :3] = axes.T
    place[:3, 3] = middle + axes[2] * float(metres(OFF)) / metres_per_unit(scene)
    thing = wall.sheetstack.picture
    thing.parent = wall
    thing.matrix_parent_inverse = wall.matrix_world.inverted()
    thing.matrix_world = Matrix(place.tolist())
    wide, high = face_size(corners, axes)
    return wide >= width and high >= height


def _plane(
    scene: bpy.types.Scene,
    picture: NDArray[np.uint8],
    size: tuple[float, float],
) -> bpy.types.Object:
    """Make the plane that shows the picture, of a width and height in Blender units."""
    plane = bpy.data.meshes.new(NAME)
    signs = np.array([(-1, -1, 0), (1, -1, 0), (1, 1, 0), (-1, 1, 0)]) / 2
    plane.from_pydata((signs * (*size, 0)).tolist(), [], [(0, 1, 2, 3)])
    uv = plane.uv_layers.new(name="UVMap")
    uv.data.foreach_set("uv", np.array([0, 0, 1, 0, 1, 1, 0, 1], np.float32))
    image = mockup_material.image_of(NAME, picture)
    plane.materials.append(mockup_material.textured("picture", image, 0.6))
    thing = bpy.data.objects.new(NAME, plane)
    scene.collection.objects.link(thing)
    return thing
