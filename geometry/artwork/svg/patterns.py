"""Patterns of an SVG drawing: one tile, and its copies within a shape (SVG 1.1, section 13.3)."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from xml.etree.ElementTree import Element

import numpy as np
import shapely
from shapely import MultiPolygon

from ...arrays import Floats, Geometries
from ...planar.polygons import as_multipolygon
from ..coloured import ColouredShape
from ..laid_over import laid_over
from .areas import LEAST_SCALE, Item, bounds_of
from .document import href, local_name
from .drawing import Drawing
from .transforms import IDENTITY, Matrix, at, fit, shifted, times, transform, view_box
from .units import FONT_SIZE_PX, length_px

#: Patterns that inherit from each other; more is a circle.
_DEEPEST = 20
#: Corners of all copies within one shape; finer patterns become one colour.
_MOST_CORNERS = 400_000


@dataclass(frozen=True, eq=False)
class Pattern:
    """A pattern that a shape is painted with.

    Parameters
    ----------
    holder : Element
        The pattern, or the one that it takes its content from.
    name : str
        The id that the shape refers to.
    content : Matrix
        From the space of the content to mm.
    viewport : tuple of float
        Width and height of 100 % in the content.
    tile : Polygon
        One tile in mm.
    across, down : tuple of float
        From one tile to the next, in mm.
    """

    holder: Element
    name: str
    content: Matrix
    viewport: tuple[float, float]
    tile: shapely.Polygon
    across: tuple[float, float]
    down: tuple[float, float]


def pattern_of(drawing: Drawing, item: Item) -> Pattern | None:
    """Return the pattern that an item is painted with; None where it is none or has no size.

    Parameters
    ----------
    drawing : Drawing
    item : Item
        Its ``coat`` names a server.

    Raises
    ------
    ArtworkError
        A length, transform or view box makes no sense.
    """
    assert item.coat is not None
    name = item.coat.paint.server[1:]
    server = drawing.document.ids.get(name)
    if server is None or local_name(server) != "pattern":
        return None
    chain = list(_chain(drawing, server))
    holder = next((e for e in chain if any(local_name(c) for c in e)), None)

    def given(attribute: str) -> str | None:
        return next((e.get(attribute) for e in chain if e.get(attribute) is not None), None)

    matrix = item.matrix
    if (text := given("patternTransform")) is not None:
        try:
            matrix = times(matrix, transform(text))
        except ValueError as error:
            raise drawing.error(server, f"has patternTransform={error}") from None
    by_box = given("patternUnits") != "userSpaceOnUse"
    content_by_box = given("patternContentUnits") == "objectBoundingBox"
    box = (0.0, 0.0, 1.0, 1.0)
    if by_box or content_by_box:
        flat = Item(item.path, IDENTITY, item.name)
        found = bounds_of([flat], drawing.tolerances.chord, drawing.what)
        if found is None or found[2] <= 0 or found[3] <= 0:
            return None
        box = found
    whole = (1.0, 1.0) if by_box else item.coat.viewport

    def length(attribute: str, of: float) -> float:
        try:
            return length_px(given(attribute) or "0", of, FONT_SIZE_PX)
        except ValueError as error:
            raise drawing.error(server, f"has {attribute}={error}") from None

    x, y = length("x", whole[0]), length("y", whole[1])
    width, height = length("width", whole[0]), length("height", whole[1])
    if by_box:
        x, y = box[0] + x * box[2], box[1] + y * box[3]
        width, height = width * box[2], height * box[3]
    if holder is None or width <= 0 or height <= 0:
        return None
    if abs(matrix[0] * matrix[3] - matrix[1] * matrix[2]) < LEAST_SCALE:
        return None
    # The content's origin is the tile's corner (SVG 2, section 14.3), as browsers draw it.
    content, viewport = times(matrix, shifted(x, y)), item.coat.viewport
    if (text := given("viewBox")) is not None:
        try:
            view = view_box(text)
            if view[2] == 0 or view[3] == 0:
                return None
            fitted, _ = fit(view, width, height, given("preserveAspectRatio") or "")
        except ValueError as error:
            raise drawing.error(server, f"has a view box that makes no sense: {error}") from None
        content = times(content, fitted)
        viewport = (view[2], view[3])
    elif content_by_box:
        content = times(content, (box[2], 0.0, 0.0, box[3], 0.0, 0.0))
        viewport = (1.0, 1.0)
    corners = ((x, y), (x + width, y), (x + width, y + height), (x, y + height))
    tile = shapely.Polygon([at(matrix, *corner) for corner in corners])
    a, b, c, d, _, _ = matrix
    return Pattern(
        holder,
        name,
        content,
        viewport,
        tile,
        (a * width, b * width),
        (c * height, d * height),
    )


def tiled(
    drawing: Drawing, pattern: Pattern, content: Sequence[ColouredShape], shape: MultiPolygon
) -> Iterator[ColouredShape]:
    """Yield what a pattern paints of a shape: each shape of a tile with all its copies.

    A pattern too fine for that, which is told, becomes the mean colour of its tile.

    Parameters
    ----------
    drawing : Drawing
    pattern : Pattern
    content : sequence of ColouredShape
        Of one tile, in painting order, in mm.
    shape : MultiPolygon
        In mm.
    """
    if not content or shape.is_empty:
        return
    steps = _steps(pattern, shape)
    if steps is not None:
        shapely.prepare(shape)
        tiles = _moved(pattern.tile, steps)
        steps = steps[shapely.intersects(shape, tiles)]
    corners = sum(len(shapely.get_coordinates(c.shape)) for c in content)
    if steps is None or len(steps) * corners > _MOST_CORNERS:
        drawing.tell_of(
            pattern.holder,
            "artwork.fine-pattern",
            "is too fine for its copies to be drawn one by one; one flat colour, the mean of its "
            "tile, stands for it",
            (float(shape.bounds[0]), float(shape.bounds[1])),
        )
        rgb, alpha = _mean(pattern, content)
        yield ColouredShape(shape, rgb, alpha)
        return
    grid = drawing.tolerances.grid
    for one in content:
        parts = shapely.get_parts(one.shape)
        copies = np.concatenate([_moved(part, steps) for part in parts])
        # Copies touch where the tile's edge cuts them, and nowhere overlap.
        whole = shapely.union_all(copies, grid_size=grid)
        cut = as_multipolygon(shapely.intersection(whole, shape, grid_size=grid))
        if not cut.is_empty:
            yield replace(one, shape=cut)


def _chain(drawing: Drawing, server: Element) -> Iterator[Element]:
    """Yield a pattern and those that it takes from, the nearest first."""
    walker: Element | None = server
    for _ in range(_DEEPEST):
        if walker is None or local_name(walker) != "pattern":
            return
        yield walker
        target = href(walker)
        walker = drawing.document.ids.get(target[1:]) if target.startswith("#") else None


def _steps(pattern: Pattern, shape: MultiPolygon) -> Floats | None:
    """Return the shifts (n, 2) in mm of the tiles that may meet a shape; None for far too many."""
    across, down = np.array(pattern.across), np.array(pattern.down)
    corner = np.array(pattern.tile.exterior.coords[0])
    x0, y0, x1, y1 = shape.bounds
    ends = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
    places = (ends - corner) @ np.linalg.inv(np.stack([across, down]))
    low = np.floor(places.min(axis=0)).astype(np.int64)
    high = np.ceil(places.max(axis=0)).astype(np.int64)
    if np.prod((high - low).astype(np.float64)) * 4 > 4 * _MOST_CORNERS:
        return None
    i, j = np.meshgrid(np.arange(low[0], high[0]), np.arange(low[1], high[1]), indexing="ij")
    found: Floats = i.reshape(-1, 1) * across + j.reshape(-1, 1) * down
    return found


def _moved(part: shapely.Polygon, steps: Floats) -> Geometries:
    """Return copies of a polygon, one for each shift."""
    rings = [shapely.get_coordinates(ring) for ring in shapely.get_rings(part)]
    outer, *holes = [shapely.linearrings(ring + steps[:, None]) for ring in rings]
    if not holes:
        copies: Geometries = shapely.polygons(outer)
        return copies
    return np.array(
        [shapely.Polygon(o, list(h)) for o, h in zip(outer, np.stack(holes, axis=1), strict=True)],
        object,
    )


def _mean(
    pattern: Pattern, content: Sequence[ColouredShape]
) -> tuple[tuple[float, float, float], float]:
    """Return the mean colour and cover of a tile, by points spread over it."""
    share = (np.arange(40) + 0.5) / 40
    i, j = np.meshgrid(share, share)
    corner = np.array(pattern.tile.exterior.coords[0])
    at_points = corner + i.reshape(-1, 1) * pattern.across + j.reshape(-1, 1) * pattern.down
    points = shapely.points(at_points)
    inside = np.stack([shapely.intersects(one.shape, points) for one in content], axis=1)
    seen = laid_over(content, inside)
    alpha = float(seen[:, 3].mean())
    if alpha <= 0:
        return (0.0, 0.0, 0.0), 0.0
    red, green, blue = np.average(seen[:, :3], axis=0, weights=seen[:, 3]).tolist()
    return (red, green, blue), alpha
