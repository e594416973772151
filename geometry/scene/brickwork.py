"""Brickwork: a wall of single bricks, each a little off its place, for mock-ups."""

from __future__ import annotations

import numpy as np

from ..arrays import Indices
from ..mesh.solid import Mesh

#: A British metric brick and its joint in mm: 215 x 102.5 x 65, 10 (BS EN 771-1's work size, from
#: memory), laid in stretcher bond.
LENGTH, COURSE, JOINT = 215.0, 65.0, 10.0
#: Chamfer of the worn arrises, and how deep a brick stands in the mortar, in mm.
ARRIS, DEPTH = 4.0, 30.0

#: Corners of one brick by x, y, z as shares: back, middle (where the chamfer begins), front.
_BACK, _MIDDLE, _FRONT = 0, 4, 8
_RING = ((0, 1), (1, 2), (2, 3), (3, 0))


def _quads() -> Indices:
    faces = [(_FRONT, _FRONT + 1, _FRONT + 2, _FRONT + 3)]
    for low, high in ((_MIDDLE, _FRONT), (_BACK, _MIDDLE)):
        faces += [(low + a, low + b, high + b, high + a) for a, b in _RING]
    quads = np.array(faces)
    return np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])


def brickwork(width: float, height: float, seed: int = 3) -> tuple[Mesh, Indices]:
    """Lay a wall of bricks round the origin.

    Parameters
    ----------
    width, height : float
        Area in mm that is at least covered.
    seed : int
        Of what each brick is off its place, size and plane.

    Returns
    -------
    mesh : Mesh
        x to the right, y up, z towards the viewer; fronts lie near z = 0, joints behind. Backs are
        left out, as nobody sees them.
    brick : int64 array (faces,)
        Number of the brick that each face is part of.

    Examples
    --------
    >>> mesh, brick = brickwork(1000, 300)
    >>> int(brick.max()) + 1, len(mesh.faces) // (int(brick.max()) + 1)
    (42, 18)
    """
    rng = np.random.default_rng(seed)
    rows = int(np.ceil(height / (COURSE + JOINT))) + 2
    columns = int(np.ceil(width / (LENGTH + JOINT))) + 2
    row, column = np.divmod(np.arange(rows * columns), columns)
    x = (column - columns / 2 + 0.5 * (row % 2)) * (LENGTH + JOINT)
    y = (row - rows / 2) * (COURSE + JOINT)
    count = len(row)
    off = rng.normal(0, 1, (count, 6)) * (1.0, 0.7, 1.1, 1.2, 0.7, 0.6)
    half_x, half_y = (LENGTH + off[:, 3]) / 2, (COURSE + off[:, 4]) / 2
    centre = np.stack([x + LENGTH / 2 + off[:, 0], y + COURSE / 2 + off[:, 1]], axis=1)
    corner = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)], float)
    worn = ARRIS * (1 + 0.25 * rng.normal(0, 1, (count, 4, 2)).clip(-2, 2))
    outer = corner * np.stack([half_x, half_y], axis=1)[:, None]
    inner = outer - corner * worn
    # Front planes lean by a fraction of a degree.
    lean = rng.normal(0, 0.004, (count, 2))
    depth = off[:, 2][:, None] + np.einsum("ni,nki->nk", lean, inner)
    points = np.empty((count, 12, 3))
    for first, flat in ((_BACK, outer), (_MIDDLE, outer), (_FRONT, inner)):
        points[:, first : first + 4, :2] = centre[:, None] + flat
    points[:, _BACK:_MIDDLE, 2] = -DEPTH
    points[:, _MIDDLE:_FRONT, 2] = depth - ARRIS * 0.7
    points[:, _FRONT:, 2] = depth
    faces = (_quads() + 12 * np.arange(count)[:, None, None]).reshape(-1, 3)
    return Mesh(points.reshape(-1, 3), faces), np.repeat(np.arange(count), 18)
