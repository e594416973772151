"""Camera fit: where a camera must stand so that everything is in its picture, and no farther."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats


def camera_place(
    points: ArrayLike, axes: ArrayLike, tangents: tuple[float, float], margin: float = 0.08
) -> Floats:
    """Return the nearest place from which a camera sees all points.

    Parameters
    ----------
    points : array_like (n, 3)
    axes : array_like (3, 3)
        Rows: the camera's right, its up, and the way back from what it looks at; unit vectors.
    tangents : tuple of float
        Tangent of half the field of view, across and up.
    margin : float
        Share of the picture's half width and height to be left free round the points.

    Returns
    -------
    float64 array (3,)

    Notes
    -----
    In the camera's axes a point (x, y, z) is seen from (a, b, d) when |x - a| <= t (d - z), for
    each of the two ways. So max(x + t z) - t d <= a <= min(x - t z) + t d, which has room from
    d = (max(x + t z) - min(x - t z)) / 2 t on; the larger d of the two ways serves both.

    Examples
    --------
    >>> square = [(-1, -1, 0), (1, -1, 0), (1, 1, 0), (-1, 1, 0)]
    >>> camera_place(square, np.eye(3), (0.5, 0.5), margin=0).tolist()
    [0.0, 0.0, 2.0]
    """
    local = np.asarray(points, np.float64) @ np.asarray(axes, np.float64).T
    place = np.empty(3)
    nearest = []
    bounds = []
    for way in (0, 1):
        t = tangents[way] * (1 - margin)
        most, least = (
            (local[:, way] + t * local[:, 2]).max(),
            (local[:, way] - t * local[:, 2]).min(),
        )
        nearest.append((most - least) / (2 * t))
        bounds.append((most, least, t))
    place[2] = max(nearest)
    for way, (most, least, t) in enumerate(bounds):
        # The middle of the room that the larger distance leaves.
        place[way] = ((most - t * place[2]) + (least + t * place[2])) / 2
    result: Floats = place @ np.asarray(axes, np.float64)
    return result


def look_axes(yaw_deg: float, pitch_deg: float) -> Floats:
    """Return the axes of a camera that looks at a wall.

    Parameters
    ----------
    yaw_deg : float
        How far the camera stands to the right of square.
    pitch_deg : float
        How far above it.

    Returns
    -------
    float64 array (3, 3)
        Right, up, back, in the wall's frame: x to the right, y up, z towards the viewer.

    Examples
    --------
    >>> look_axes(0, 0).tolist()
    [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]
    """
    yaw, pitch = np.radians([yaw_deg, pitch_deg])
    back = np.array([np.sin(yaw) * np.cos(pitch), np.sin(pitch), np.cos(yaw) * np.cos(pitch)])
    right = np.array([np.cos(yaw), 0.0, -np.sin(yaw)])
    axes: Floats = np.stack([right, np.cross(back, right), back]) + 0.0
    return axes
