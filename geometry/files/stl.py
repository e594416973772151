"""STL, the triangle format of 3D printers and cutters: written binary, read binary or ASCII.

The layout (3D Systems, 1989, as published in the Library of Congress' format description
fdd000505): 80 bytes of free header, the number of facets, and for each facet its normal, its three
corners counter-clockwise seen from outside, and two unused bytes; little-endian, 32-bit floats.
The format has no unit; here it is always the millimetre.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import IO, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..arrays import Floats, Indices
from ..errors import ArtworkError, GeometryError
from .atomic import atomic

HEADER = np.dtype([("text", "S80"), ("count", "<u4")])
FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])


def stl_bytes(vertices: ArrayLike, faces: ArrayLike, header: str = "") -> bytes:
    """Return a mesh as the bytes of a binary STL file.

    Coordinates are rounded to 32-bit floats. A facet of which two corners become equal by that is
    left out: it takes one directed edge and its opposite out of the mesh, so a closed mesh stays
    closed. All other facets are kept, however thin.

    Parameters
    ----------
    vertices : (n, 3) array_like of float
        In mm.
    faces : (m, 3) array_like of int
        Corners counter-clockwise seen from outside.
    header : str, optional
        Free text; its first 80 ASCII characters are kept.

    Returns
    -------
    bytes
        ``84 + 50 * facets`` of them.

    Raises
    ------
    GeometryError
        A coordinate is not finite or a face names a vertex that does not exist.

    Examples
    --------
    >>> len(stl_bytes([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 2]]))
    134
    """
    points = np.asarray(vertices, dtype=np.float64).reshape(-1, 3)
    corners = np.asarray(faces, dtype=np.int64).reshape(-1, 3)
    if not np.all(np.abs(points) < np.finfo(np.float32).max):  # False for NaN too
        raise GeometryError("STL: the mesh has a coordinate that is not a finite number.")
    if len(corners) and (corners.min() < 0 or corners.max() >= len(points)):
        raise GeometryError(
            f"STL: a face names vertex {corners.max() if corners.min() >= 0 else corners.min()}; "
            f"the mesh has {len(points)} vertices."
        )
    single = points.astype(np.float32) + np.float32(0)  # no negative zero
    triangles = single[corners]
    a, b, c = triangles[:, 0], triangles[:, 1], triangles[:, 2]
    distinct = (a != b).any(axis=1) & (b != c).any(axis=1) & (c != a).any(axis=1)
    corners, triangles = corners[distinct], triangles[distinct]

    top = np.zeros(1, dtype=HEADER)
    # A reader that sees 'solid' first takes the file for ASCII.
    text = re.sub(r"^\s*solid", "STL of", header, flags=re.IGNORECASE)
    top["text"] = text.encode("ascii", "replace")[:80].ljust(80)
    top["count"] = len(triangles)
    records = np.zeros(len(triangles), dtype=FACET)
    records["normal"] = _normals(points[corners], triangles)
    records["corners"] = triangles
    return top.tobytes() + records.tobytes()


def write_stl(
    target: Path | str | IO[bytes], vertices: ArrayLike, faces: ArrayLike, header: str = ""
) -> None:
    """Write a mesh as a binary STL file in mm, whole or not at all.

    Parameters
    ----------
    target : Path, str or binary file object
    vertices, faces, header
        See :func:`stl_bytes`.

    Raises
    ------
    GeometryError
        See :func:`stl_bytes`.
    WriteError
        The file cannot be written.
    """
    content = stl_bytes(vertices, faces, header)
    if isinstance(target, (str, Path)):
        with atomic(target) as file:
            file.write(content)
    else:
        target.write(content)


def read_stl(path: Path | str) -> tuple[Floats, Indices]:
    """Read a binary or ASCII STL file, corners at equal coordinates welded to one vertex.

    Parameters
    ----------
    path : Path or str

    Returns
    -------
    vertices : (n, 3) array of float64
    faces : (m, 3) array of int64
        In the file's order. The stored normals are not used: the order of corners says the same.

    Raises
    ------
    ArtworkError
        The file cannot be opened, is cut short, or is no STL file.
    """
    try:
        content = Path(path).read_bytes()
    except OSError as error:
        raise ArtworkError(f"{path}: cannot be read: {error.strerror}.") from error
    corners = _binary_corners(content)
    if corners is None:
        corners = _ascii_corners(content, path)
    if not np.isfinite(corners).all():
        raise ArtworkError(f"{path}: a corner has a coordinate that is not a finite number.")
    return _welded(corners.reshape(-1, 3) + 0.0)


def _normals(exact: Floats, rounded: NDArray[np.float32]) -> Floats:
    def cross(t: NDArray[Any]) -> Floats:
        # By columns: several times as quick as numpy.cross on millions of facets.
        a, b, c = (t[:, k].T.astype(np.float64) for k in range(3))
        (px, py, pz), (qx, qy, qz) = b - a, c - a
        return np.stack([py * qz - pz * qy, pz * qx - px * qz, px * qy - py * qx], axis=1)

    # From the corners before rounding: those of a sliver would turn with the last bit.
    normals = cross(exact)
    lengths = np.sqrt(np.einsum("ij,ij->i", normals, normals))
    flat = lengths == 0
    if flat.any():
        normals[flat] = cross(rounded[flat])
        lengths[flat] = np.linalg.norm(normals[flat], axis=1)
    # A facet without area has no normal; the format's convention for that is zero.
    unit: Floats = normals / np.where(lengths > 0, lengths, 1.0)[:, None]
    return unit


def _binary_corners(content: bytes) -> Floats | None:
    """Return corners (m, 3, 3), or None where the size does not fit the stored count."""
    if len(content) < HEADER.itemsize:
        return None
    count = int(np.frombuffer(content, HEADER, 1)["count"][0])
    # The size decides, not the word 'solid': binary files that begin with it are common.
    if len(content) != HEADER.itemsize + FACET.itemsize * count:
        return None
    records = np.frombuffer(content, FACET, count, HEADER.itemsize)
    return records["corners"].astype(np.float64)


def _ascii_corners(content: bytes, path: Path | str) -> Floats:
    if content.lstrip()[:5].lower() != b"solid" or b"\0" in content:
        if len(content) < HEADER.itemsize:
            raise ArtworkError(
                f"{path}: not an STL file: expected at least 84 bytes, found {len(content)}."
            )
        count = int(np.frombuffer(content, HEADER, 1)["count"][0])
        raise ArtworkError(
            f"{path}: not a whole STL file: {count} facets need "
            f"{HEADER.itemsize + FACET.itemsize * count} bytes, found {len(content)}."
        )
    values: list[list[float]] = []
    ended = False
    for number, line in enumerate(content.decode("ascii", "replace").splitlines(), 1):
        words = line.split()
        if not words:
            continue
        keyword = words[0].lower()
        ended = keyword == "endsolid"
        if keyword != "vertex":
            continue
        try:
            values.append([float(word) for word in words[1:4]])
        except ValueError:
            values.append([])
        if len(values[-1]) != 3:
            raise ArtworkError(
                f"{path}, line {number}: expected 'vertex x y z', found {line.strip()[:60]!r}."
            )
    if not ended or len(values) % 3:
        raise ArtworkError(
            f"{path}: the ASCII STL file is cut short after {len(values)} corners of facets."
        )
    return np.array(values, dtype=np.float64).reshape(-1, 3, 3)


def _welded(points: Floats) -> tuple[Floats, Indices]:
    if not len(points):
        return np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64)
    order = np.lexsort(points.T)
    ordered = points[order]
    first = np.ones(len(points), dtype=bool)
    first[1:] = (ordered[1:] != ordered[:-1]).any(axis=1)
    index = np.empty(len(points), dtype=np.int64)
    index[order] = np.cumsum(first) - 1
    return ordered[first], index.reshape(-1, 3)
