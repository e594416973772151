"""Face frame: how a picture hangs on a face of any wall: upright, centred, at true size."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats
from ..errors import GeometryError


def face_frame(corners: ArrayLike, up: ArrayLike = (0.0, 0.0, 1.0)) -> tuple[Floats, Floats]:
    """Return the middle of a flat face and the axes of a picture on it.

    Parameters
    ----------
    corners : array_like (n, 3)
        Of the face, counter-clockwise seen from where the picture is to be seen from.
    up : array_like (3,)
        What is up for the picture; on a floor or ceiling, where that says nothing, the way of the
        scene's y.

    Returns
    -------
    middle : float64 array (3,)
        Of the face's bounds along the axes.
    axes : float64 array (3, 3)
        Rows: right, up, towards the viewer; unit vectors.

    Raises
    ------
    GeometryError
        The face has no area.

    Examples
    --------
    >>> wall = [(0, 5, 0), (4, 5, 0), (4, 5, 3), (0, 5, 3)]
    >>> middle, axes = face_frame(wall)
    >>> middle.tolist(), axes.tolist()
    ([2.0, 5.0, 1.5], [[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]])
    """
    points = np.asarray(corners, np.float64)
    # Newell's sum: right for faces of any number of corners, even a little bent.
    normal = np.cross(points, np.roll(points, -1, axis=0)).sum(axis=0)
    length = np.linalg.norm(normal)
    if not length > 0:
        raise GeometryError("The selected face has no area; choose another for the picture.")
    normal = normal / length
    upright = np.asarray(up, np.float64) - normal * np.dot(up, normal)
    if np.linalg.norm(upright) < 1e-3:
        upright = np.array([0.0, 1.0, 0.0]) - normal * normal[1]
    upright /= np.linalg.norm(upright)
    axes = np.stack([np.cross(upright, normal), upright, normal])
    local = points @ axes.T
    middle = (local.min(axis=0) + local.max(axis=0)) / 2 @ axes
    return middle + 0.0, axes + 0.0


def face_size(corners: ArrayLike, axes: Floats) -> tuple[float, float]:
    """Return how wide and high a face is along a picture's axes."""
    local = np.asarray(corners, np.float64) @ axes.T
    width, height, _ = (local.max(axis=0) - local.min(axis=0)).tolist()
    return width, height
