"""A Blender mesh as arrays, read without the add-on's own conversion."""

import numpy as np


def coordinates(mesh):
    """Return a Blender mesh's vertices as Blender keeps them, 32-bit metres."""
    return np.array([vertex.co[:] for vertex in mesh.vertices], np.float32)


def corners(mesh):
    """Return the vertices of each polygon of a triangle mesh."""
    return np.array([polygon.vertices[:] for polygon in mesh.polygons], np.int64)
