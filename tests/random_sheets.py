"""Sheets for the tests: random ones, and named awkward ones."""

import numpy as np
import shapely
from shapely import MultiPolygon, Point, box

from sheetstack.geometry.job.sections import SheetSettings
from sheetstack.geometry.planar.polygons import as_multipolygon
from sheetstack.geometry.sheet.sheet import PlacedArtwork, make_sheet


def sheet_of(shape, width=200.0, height=200.0, thickness=0.5):
    """Return the sheet that openings cut out of a plate leave."""
    settings = SheetSettings(
        width_mm=width, height_mm=height, margin_mm=0.0, thickness_mm=thickness
    )
    placed = PlacedArtwork("Layer", as_multipolygon(shape), ())
    return make_sheet(placed, settings, MultiPolygon())[0]


def random_shape(seed, side=200.0, islands=6):
    """Return openings made of random blobs, each with random islands in it, some nested."""
    rng = np.random.default_rng(seed)
    openings = []
    for _ in range(rng.integers(1, 4)):
        x, y = rng.uniform(40, side - 40, 2)
        openings.append(Point(x, y).buffer(rng.uniform(15, 38), quad_segs=rng.integers(2, 9)))
    shape = shapely.union_all(openings)
    x0, y0, x1, y1 = shape.bounds
    for _ in range(rng.integers(1, islands + 1)):
        x, y = rng.uniform((x0, y0), (x1, y1))
        w, h = rng.uniform(0.3, 14, 2)
        island = shapely.affinity.rotate(box(x, y, x + w, y + h), rng.uniform(0, 90))
        shape = shape.difference(island)
        if rng.random() < 0.4:
            inner = island.buffer(-min(w, h) / 4)
            shape = shape.union(inner).difference(inner.buffer(-min(w, h) / 9))
    # Kept off the edge of the plate: an opening over the edge is another matter.
    return shape.intersection(box(5, 5, side - 5, side - 5))


def rings(count, centre=(100.0, 100.0), outer=90.0):
    """Return ``count`` ring openings inside each other: as many nested islands."""
    radii = np.linspace(outer, outer / (2 * count), 2 * count)
    middle = Point(centre)
    return shapely.union_all(
        [
            middle.buffer(a).difference(middle.buffer(b))
            for a, b in zip(radii[::2], radii[1::2], strict=True)
        ]
    )


def many_islands(count, pitch=12.0):
    """Return a square field of round openings with one square island each, and its side."""
    columns = int(np.ceil(count**0.5))
    index = np.arange(count)
    x, y = (index % columns) * pitch + 15, (index // columns) * pitch + 15
    discs = shapely.buffer(shapely.points(x, y), 0.42 * pitch, quad_segs=8)
    islands = shapely.box(x - 1.6, y - 1.3, x + 1.4, y + 1.5)
    return MultiPolygon(list(shapely.difference(discs, islands))), columns * pitch + 30
