"""What is raised above a printed sheet or added to its edge: rim, ribs, grip tab."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from ..job.sections import PrintingSettings
from ..planar.morphology import dilate, openings_of, without_openings
from ..planar.polygons import as_multipolygon

#: Width, height and corner radius of a grip tab in mm: room for two fingers.
TAB = (40.0, 16.0, 5.0)
#: How far the tab's foot reaches into the sheet in mm, and at how many places it is tried.
_ROOT, _PLACES = 3.0, 81
#: A rib shorter than this many times its width is a stump, which stiffens nothing.
STUMP = 4


def with_grip_tab(shape: MultiPolygon, share: float = 0.5) -> MultiPolygon:
    """Return a sheet with a tab on its upper edge to lift it by.

    Parameters
    ----------
    shape : MultiPolygon
    share : float
        Where on the edge, from 0 left to 1 right. The tab stands where the edge is solid, as near
        to there as can be; where no stretch is wide enough there is none.
    """
    x0, _, x1, y1 = shape.bounds
    width, height, radius = TAB
    width = min(width, (x1 - x0) / 3)
    places = sorted(
        np.linspace(x0 + width, x1 - width, _PLACES), key=lambda x: abs(x - x0 - share * (x1 - x0))
    )
    for x in places:
        foot = shapely.box(x - width / 2, y1 - _ROOT, x + width / 2, y1)
        if shape.covers(foot):
            whole = shapely.box(x - width / 2, y1 - _ROOT, x + width / 2, y1 + height)
            inner = whole.buffer(-radius, join_style="mitre")
            rounded = inner.buffer(radius, quad_segs=8).union(foot)
            return as_multipolygon(shape.union(rounded))
    return shape


def raised_regions(
    shape: MultiPolygon, settings: PrintingSettings
) -> tuple[MultiPolygon, MultiPolygon]:
    """Return where rim and ribs stand: never on an opening, nor nearer to one than the clearance.

    Parameters
    ----------
    shape : MultiPolygon
        The whole sheet.
    settings : PrintingSettings

    Returns
    -------
    rim, ribs : MultiPolygon
        Ribs without what the rim covers.
    """
    whole = without_openings(shape)
    kept_off = MultiPolygon()
    if settings.rim_height_mm > 0 or settings.rib_height_mm > 0:
        kept_off = dilate(openings_of(shape), settings.rib_clearance_mm + settings.chamfer_mm)
    rim = MultiPolygon()
    if settings.rim_height_mm > 0:
        inner = shapely.buffer(whole, -settings.rim_width_mm, join_style="mitre")
        rim = as_multipolygon(whole.difference(inner).difference(kept_off))
    ribs = MultiPolygon()
    if settings.rib_height_mm > 0:
        lines = _grid(whole.bounds, settings.rib_spacing_mm, settings.rib_width_mm)
        room = shapely.buffer(whole, -settings.rib_width_mm / 2).difference(kept_off)
        strips = shapely.union_all(lines).intersection(room).difference(rim)
        width = settings.rib_width_mm
        ribs = MultiPolygon(
            [p for p in as_multipolygon(strips).geoms if p.area >= STUMP * width * width]
        )
    return rim, ribs


def _grid(bounds: tuple[float, float, float, float], spacing: float, width: float) -> list[Polygon]:
    x0, y0, x1, y1 = bounds
    nx, ny = (max(1, round((b - a) / spacing)) for a, b in ((x0, x1), (y0, y1)))
    xs = np.linspace(x0, x1, nx + 1)[1:-1]
    ys = np.linspace(y0, y1, ny + 1)[1:-1]
    return [shapely.box(x - width / 2, y0, x + width / 2, y1) for x in xs] + [
        shapely.box(x0, y - width / 2, x1, y + width / 2) for y in ys
    ]
