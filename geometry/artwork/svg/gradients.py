"""Gradients of an SVG drawing as a few flat steps (SVG 1.1, chapter 13).

Stops are mixed in sRGB, as SVG does by default. A gradient is cut where its colour has gone equal
parts of its way, told by CIEDE2000, so that each step shows as much change as the next.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from xml.etree.ElementTree import Element

import numpy as np
import shapely
from shapely import MultiPolygon

from ...arrays import Floats
from ...colour import ciede2000, lab_from_srgb
from ...planar.polygons import as_multipolygon
from ...tolerance import Tolerances
from .areas import LEAST_SCALE, Item, bounds_of
from .document import href, local_name
from .drawing import Drawing
from .style import BLACK, diagonal, opacity, paint
from .transforms import IDENTITY, Matrix, times, transform
from .units import FONT_SIZE_PX, length_px

#: Colours along a gradient, for its way to be measured.
_SAMPLES = 129
#: Gradients that inherit from each other; more is a circle.
_DEEPEST = 20
#: A way of less CIEDE2000 than this, from end to end, is one step; than three times this, two.
_ONE_STEP = 8.0
#: Corners of the circles that cut a radial gradient.
_CORNERS = 96


@dataclass(frozen=True, eq=False)
class Gradient:
    """A linear or radial gradient.

    Parameters
    ----------
    radial : bool
    matrix : Matrix
        From the gradient's space to mm.
    ends : tuple of float
        Linear: x1, y1, x2, y2. Radial: cx, cy, r, fx, fy.
    offsets : float64 array (n,)
        Rising, 0 to 1.
    colours : float64 array (n, 4)
        sRGB and alpha, 0 to 1.
    spread : str
        ``pad``, ``reflect`` or ``repeat``.
    """

    radial: bool
    matrix: Matrix
    ends: tuple[float, ...]
    offsets: Floats
    colours: Floats
    spread: str

    def colour(self, t: Floats) -> Floats:
        """Return sRGB and alpha (n, 4) at places (n,) along the gradient."""
        if self.spread == "repeat":
            t = t % 1.0
        elif self.spread == "reflect":
            t = np.abs((t + 1.0) % 2.0 - 1.0)
        return np.stack([np.interp(t, self.offsets, c) for c in self.colours.T], axis=1)

    def places(self, points: Floats) -> Floats:
        """Return where points (n, 2) in mm lie along the gradient; focal shifts are left out."""
        back = np.linalg.inv(_square(self.matrix))
        own = points @ back[:2, :2].T + back[:2, 2]
        if self.radial:
            x, y, radius = self.ends[:3]
            away: Floats = np.hypot(own[:, 0] - x, own[:, 1] - y) / radius
            return away
        start, end = np.array(self.ends[:2]), np.array(self.ends[2:])
        way = end - start
        along: Floats = (own - start) @ way / (way @ way)
        return along

    def up_to(self, t: float, reach: float) -> shapely.Geometry:
        """Return the area in mm where the gradient is before a place along it.

        Parameters
        ----------
        t : float
        reach : float
            How far all that matters lies from the origin, in mm.
        """
        if self.radial:
            x, y, radius, fx, fy = self.ends
            turn = np.linspace(0, 2 * np.pi, _CORNERS, endpoint=False)
            # Circles move from the focus to the circle itself as they grow.
            centre = (fx + t * (x - fx), fy + t * (y - fy))
            corners = np.stack([np.cos(turn), np.sin(turn)], axis=1) * t * radius + centre
        else:
            start, end = np.array(self.ends[:2]), np.array(self.ends[2:])
            way = end - start
            # The edge stands square to the gradient in its own space, wherever that leads.
            far = 4 * reach / max(_least_stretch(self.matrix), LEAST_SCALE)
            along = way / np.hypot(*way)
            aside = np.array([-along[1], along[0]])
            here = start + t * way
            corners = np.array(
                [
                    here + far * aside,
                    here - far * aside,
                    here - far * aside - far * along,
                    here + far * aside - far * along,
                ]
            )
        square = _square(self.matrix)
        return shapely.Polygon(corners @ square[:2, :2].T + square[:2, 2])


def gradient_of(drawing: Drawing, item: Item) -> Gradient | tuple[float, ...] | None:
    """Return the gradient that an item is painted with.

    Parameters
    ----------
    drawing : Drawing
    item : Item
        Its ``coat`` names a server.

    Returns
    -------
    Gradient, or tuple of float
        Red, green, blue and alpha where it is one colour all over (SVG 1.1, section 13.2.4).
    None
        It is no gradient, or one without stops, which paints nothing.

    Raises
    ------
    ArtworkError
        Its transform or one of its lengths cannot be read.
    """
    assert item.coat is not None
    server = drawing.document.ids.get(item.coat.paint.server[1:])
    if server is None or local_name(server) not in ("linearGradient", "radialGradient"):
        return None
    chain = list(_chain(drawing, server))
    stops = next((s for s in map(_stops, chain) if s), [])
    if not stops:
        return None
    offsets, colours = _read_stops(drawing, stops)
    if len(stops) == 1:
        return tuple(colours[0].tolist())

    def given(name: str) -> str | None:
        return next((e.get(name) for e in chain if e.get(name) is not None), None)

    boxed = given("gradientUnits") != "userSpaceOnUse"
    matrix, viewport = item.matrix, item.coat.viewport
    if boxed:
        flat = Item(item.path, IDENTITY, item.name)
        box = bounds_of([flat], drawing.tolerances.chord, drawing.what)
        if box is None or box[2] <= 0 or box[3] <= 0:
            return tuple(colours[-1].tolist())
        matrix = times(matrix, (box[2], 0.0, 0.0, box[3], box[0], box[1]))
        viewport = (1.0, 1.0)
    text = given("gradientTransform")
    if text is not None:
        try:
            matrix = times(matrix, transform(text))
        except ValueError as error:
            raise drawing.error(server, f"has gradientTransform={error}") from None

    def length(name: str, usual: str, whole: float) -> float:
        value = given(name)
        try:
            return length_px(usual if value is None else value, whole, FONT_SIZE_PX)
        except ValueError as error:
            raise drawing.error(server, f"has {name}={error}") from None

    across, down = viewport
    radial = local_name(server) == "radialGradient"
    if radial:
        cx, cy = length("cx", "50%", across), length("cy", "50%", down)
        radius = length("r", "50%", 1.0 if boxed else diagonal(viewport))
        fx = cx if given("fx") is None else length("fx", "0", across)
        fy = cy if given("fy") is None else length("fy", "0", down)
        away = math.hypot(fx - cx, fy - cy)
        if away > 0.99 * radius > 0:  # a focus on or outside the circle is moved into it
            fx, fy = (c + (f - c) * 0.99 * radius / away for f, c in ((fx, cx), (fy, cy)))
        ends: tuple[float, ...] = (cx, cy, radius, fx, fy)
        nothing = radius <= 0
    else:
        ends = (
            length("x1", "0%", across),
            length("y1", "0%", down),
            length("x2", "100%", across),
            length("y2", "0%", down),
        )
        nothing = ends[:2] == ends[2:]
    if nothing or abs(matrix[0] * matrix[3] - matrix[1] * matrix[2]) < LEAST_SCALE:
        return tuple(colours[-1].tolist())
    return Gradient(radial, matrix, ends, offsets, colours, given("spreadMethod") or "pad")


def flat_steps(
    gradient: Gradient, shape: MultiPolygon, most: int, tolerances: Tolerances
) -> list[tuple[MultiPolygon, tuple[float, ...]]]:
    """Cut a shape that a gradient paints into flat steps.

    Parameters
    ----------
    gradient : Gradient
    shape : MultiPolygon
        In mm.
    most : int
        Most steps.
    tolerances : Tolerances

    Returns
    -------
    list of (MultiPolygon, tuple of float)
        Disjoint areas that fill the shape, each with red, green, blue and alpha, 0 to 1.
    """
    points = shapely.get_coordinates(shape)
    if len(points) == 0:
        return []
    along = gradient.places(points)
    low, high = float(along.min()), float(along.max())
    if gradient.radial:
        centre = _square(gradient.matrix) @ [*gradient.ends[:2], 1.0]
        if shapely.intersects_xy(shape, centre[0], centre[1]):
            low = 0.0
        low = max(low, 0.0)
    if gradient.spread == "pad":
        low, high = max(low, 0.0), min(high, 1.0)
    t = np.linspace(low, max(high, low), _SAMPLES)
    colours = gradient.colour(t)
    # Half transparent colours are told apart as they look over grey.
    seen = 0.5 + (colours[:, :3] - 0.5) * colours[:, 3:]
    lab = lab_from_srgb(seen)
    way = np.append(0.0, np.cumsum(ciede2000(lab[1:], lab[:-1])))
    count = min(most, 1 if way[-1] < _ONE_STEP else 2 if way[-1] < 3 * _ONE_STEP else most)
    cuts = np.interp(np.arange(1, count) * way[-1] / count, way, t)
    step = np.searchsorted(cuts, t)
    reach = float(np.abs(shape.bounds).max()) + 1.0
    areas: list[shapely.Geometry] = []
    rest: shapely.Geometry = shape
    for cut in cuts.tolist():
        before = gradient.up_to(cut, reach)
        areas.append(shapely.intersection(rest, before, grid_size=tolerances.grid))
        rest = shapely.difference(rest, before, grid_size=tolerances.grid)
    areas.append(rest)
    steps = []
    for number, area in enumerate(areas):
        if not area.is_empty:
            own = colours[step == number] if (step == number).any() else colours[-1:]
            steps.append((as_multipolygon(area), tuple(own.mean(axis=0).tolist())))
    return steps


def _chain(drawing: Drawing, server: Element) -> Iterator[Element]:
    """Yield a gradient and those that it takes from, the nearest first."""
    walker: Element | None = server
    for _ in range(_DEEPEST):
        if walker is None or local_name(walker) not in ("linearGradient", "radialGradient"):
            return
        yield walker
        target = href(walker) or ""
        walker = drawing.document.ids.get(target[1:]) if target.startswith("#") else None


def _stops(gradient: Element) -> list[Element]:
    return [child for child in gradient if local_name(child) == "stop"]


def _read_stops(drawing: Drawing, stops: list[Element]) -> tuple[Floats, Floats]:
    offsets, colours = [], []
    before = 0.0
    for stop in stops:
        declared = drawing.declared(stop)
        alpha, shown = 1.0, BLACK
        try:
            offset = length_px(stop.get("offset", "0"), 1.0, FONT_SIZE_PX)
            shown = paint(declared.get("stop-color", "black").strip())
            alpha = min(max(opacity(declared.get("stop-opacity", "1")), 0.0), 1.0)
        except ValueError as error:
            drawing.tell_of(stop, "artwork.style", f"has {error}; it was passed over")
            offset = before
        # Offsets never fall (SVG 1.1, section 13.2.4).
        before = max(before, min(max(offset, 0.0), 1.0))
        offsets.append(before)
        rgb = shown.rgb or (0.0, 0.0, 0.0)
        colours.append((*rgb, alpha * shown.alpha if shown.shows else 0.0))
    return np.array(offsets), np.array(colours, np.float64)


def _square(matrix: Matrix) -> Floats:
    a, b, c, d, e, f = matrix
    return np.array([[a, c, e], [b, d, f], [0.0, 0.0, 1.0]])


def _least_stretch(matrix: Matrix) -> float:
    return float(np.linalg.svd(_square(matrix)[:2, :2], compute_uv=False)[-1])
