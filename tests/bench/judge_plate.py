"""Judge of a sheet's outline: the cut file read back by Shapely, its pieces counted.

Nothing of Sheetstack is used here.
"""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import shapely
from shapely import MultiPolygon

#: Pieces smaller than this, in mm2, are dust of the file's four decimals.
DUST = 1e-4
#: Share of half the least width by which a sheet is eroded: just under.
ERODED = 0.98


def read_cut_file(path: Path) -> tuple[MultiPolygon, tuple[float, float]]:
    """Return the sheet that a cut file cuts free, in mm with y down, and the plate's size.

    The sheet is what lies within an odd number of the closed paths. The plate's corner is the
    origin; where paths reach over its edge the view box begins before it, as far on all sides.
    """
    root = ElementTree.parse(path).getroot()
    width, height = (float(root.attrib[key].removesuffix("mm")) for key in ("width", "height"))
    left, top, wide, high = map(float, root.attrib["viewBox"].split())
    if abs(wide - width) > 1e-6 or abs(high - height) > 1e-6:
        raise ValueError(f"{path.name} is not at true size")
    width, height = width + 2 * left, height + 2 * top
    rings = []
    for element in root.iter("{http://www.w3.org/2000/svg}path"):
        for text in re.findall(r"M([^MZz]+)[Zz]", element.attrib["d"]):
            points = np.array(re.split(r"[\s,L]+", text.strip()), np.float64).reshape(-1, 2)
            if len(points) >= 3:
                rings.append(points)
    return within_odd(rings), (width, height)


def within_odd(rings: list[np.ndarray]) -> MultiPolygon:
    """Return what lies within an odd number of rings; the rings may touch and cross."""
    loops = np.array([shapely.polygons(ring) for ring in rings], object)
    lines = shapely.union_all(shapely.boundary(loops))
    faces = shapely.get_parts(shapely.polygonize([*shapely.get_parts(lines)]))
    inside = shapely.get_coordinates(shapely.point_on_surface(faces))
    crossed = np.zeros(len(faces), np.int64)
    for ring in rings:
        crossed += _winds(ring, inside)
    return _multi(shapely.union_all(faces[crossed % 2 == 1]))


def _winds(ring: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Return how often a ray to the right of each point crosses a ring."""
    low, high = ring.min(axis=0), ring.max(axis=0)
    near = np.flatnonzero(((points >= low) & (points <= high)).all(axis=1))
    count = np.zeros(len(points), np.int64)
    start, end = ring, np.roll(ring, -1, axis=0)
    for block in np.array_split(near, max(1, len(near) * len(ring) // 4_000_000)):
        x, y = points[block].T[:, :, None]
        over = (start[:, 1] > y) != (end[:, 1] > y)
        rise = np.where(over, end[:, 1] - start[:, 1], 1.0)
        at = start[:, 0] + (y - start[:, 1]) * (end[:, 0] - start[:, 0]) / rise
        count[block] = (over & (at > x)).sum(axis=1)
    return count


def pieces_of(shape: MultiPolygon, dust: float = DUST) -> list[shapely.Polygon]:
    """Return the pieces of a sheet, largest first, dust left out."""
    parts = [part for part in shapely.get_parts(shape) if part.area > dust]
    return sorted(parts, key=lambda part: -part.area)


def pieces_after_erosion(shape: MultiPolygon, width: float) -> list[float]:
    """Return the areas in mm2 of what is left where a disc of just under ``width`` fits.

    More than one: the sheet hangs together by less than that width somewhere.
    """
    core = shapely.buffer(shape, -ERODED * width / 2, quad_segs=16)
    return [part.area for part in pieces_of(_multi(core))]


def _multi(shape: shapely.Geometry) -> MultiPolygon:
    parts = shapely.get_parts(shape)
    return MultiPolygon([part for part in parts if part.geom_type == "Polygon"])
