"""Bridges: strips left uncut across openings so that islands are held by the frame.

Two steps. First every island is joined to the rest across the shortest gaps, by a minimum spanning
tree. Then the core of the sheet is looked at (see ``core``): where pieces hang together by less
than the least width only, a strip is laid along the neck. Every strip runs from core to core, so it
has full width along its whole length and at both roots, and by construction the sheet worn back by
just under half that width is one piece.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, MultiPolygon, Polygon

from .core import Core, piece_of, union_by_clusters
from .finding import Finding, Severity
from .gaps import Gaps, spanning_gaps
from .progress import Progress
from .sheet import Sheet, as_multipolygon

Floats = NDArray[np.float64]

#: The core is taken at this share of half the width: "just under half".
JUST_UNDER = 0.995
#: Strips are drawn wider by this factor. The rounds of an offset are polygons, and GEOS leaves out
#: hollows shallower than 1 % of the distance: no strip may come out thinner than asked for.
ROUNDING = 1.012
#: Rounds of neck mending before giving up; one is the rule, a second where strips make new corners.
MOST_ROUNDS = 8


@dataclass(frozen=True)
class Bridge:
    """One strip that holds a piece of sheet.

    Parameters
    ----------
    kind : str
        ``"bridge"`` across an opening to an island, ``"neck"`` along a place too narrow to hold.
    path : float64 array (k, 2)
        Middle line from root to root in mm.
    width : float
        In mm.
    gap : float
        Length of the shortest way across the opening in mm; 0 for a neck.
    place : tuple of float
        x, y in mm of its middle.
    shape : Polygon
        The whole strip with its roots.
    covers : float
        Area of opening that it takes away, in mm2.
    """

    kind: str
    path: Floats
    width: float
    gap: float
    place: tuple[float, float]
    shape: Polygon
    covers: float


@dataclass(frozen=True)
class Supported:
    """A sheet whose islands are held.

    Parameters
    ----------
    sheet : Sheet
        The sheet with bridges: its openings and shape are what is left to cut.
    bridges : tuple of Bridge
    findings : tuple of Finding
        Necks mended, opening crumbs filled, and what could not be held.
    """

    sheet: Sheet
    bridges: tuple[Bridge, ...]
    findings: tuple[Finding, ...]


def hold_islands(sheet: Sheet, width: float, progress: Progress | None = None) -> Supported:
    """Bridge every island of a sheet to its frame.

    Parameters
    ----------
    sheet : Sheet
    width : float
        Width of bridges in mm, at least the material's least.
    progress : Progress, optional

    Returns
    -------
    Supported
        One piece, also when worn back by just under half of ``width``. What could not be held is
        a finding that spoils the stencil.

    Notes
    -----
    The tree over shortest gaps is exact: no other set of gaps that joins all pieces is shorter in
    total. Each gap is placed at one shortest line between its two pieces.
    """
    progress = progress or Progress()
    pieces = list(sheet.shape.geoms)
    cutter = _Cutter(sheet, width)
    if len(pieces) > 1:
        progress(0.1, f"{sheet.layer}: measuring gaps")
        gaps = spanning_gaps(pieces, first_reach=2 * width)
        progress(0.3, f"{sheet.layer}: laying {len(gaps.length)} bridges")
        cutter.lay("bridge", _rooted(gaps, pieces, cutter.core()), gaps.length)
    for _ in range(MOST_ROUNDS):
        progress(0.6, f"{sheet.layer}: looking for necks")
        cores = list(cutter.core().geoms)
        if len(cores) < 2:
            break
        gaps = spanning_gaps(cores, first_reach=2 * width)
        paths = [np.stack([a, b]) for a, b in zip(gaps.start, gaps.end, strict=True)]
        cutter.lay("neck", paths, np.zeros(len(paths)))
    progress(1.0, f"{sheet.layer}: held")
    return cutter.result()


class _Cutter:
    """Openings that strips are taken out of, and the sheet that follows from them."""

    def __init__(self, sheet: Sheet, width: float) -> None:
        self._sheet = sheet
        self._width = width
        # Slits that open touching points belong to the openings here.
        self._openings = as_multipolygon(sheet.outline.difference(sheet.shape))
        self._core = Core(sheet.outline, width / 2 * JUST_UNDER)
        self._bridges: list[Bridge] = []

    def core(self) -> MultiPolygon:
        return self._core.of(self._openings)

    def lay(self, kind: str, paths: Sequence[Floats], gaps: Floats) -> None:
        lines = [LineString(path) for path in paths]
        strips = shapely.buffer(lines, self._width / 2 * ROUNDING, quad_segs=16)
        parts = shapely.get_parts(self._openings)
        tree = shapely.STRtree(parts)
        touched_by, touched = tree.query(strips, predicate="intersects")
        for number, strip in enumerate(strips):
            crossed = parts[touched[touched_by == number]]
            inside = shapely.intersection(crossed, strip)
            covers = float(shapely.area(inside).sum())
            middle = shapely.line_interpolate_point(lines[number], 0.5, normalized=True)
            self._bridges.append(
                Bridge(
                    kind,
                    np.asarray(paths[number], np.float64),
                    self._width,
                    float(gaps[number]),
                    (middle.x, middle.y),
                    strip,
                    covers,
                )
            )
        changed = np.unique(touched)
        cut = shapely.difference(parts[changed], union_by_clusters(strips))
        kept = np.delete(parts, changed)
        left = [p for c in cut for p in as_multipolygon(c).geoms if not _is_crumb(p, self._width)]
        self._openings = MultiPolygon([*kept, *left])

    def result(self) -> Supported:
        sheet = self._sheet
        shape = as_multipolygon(sheet.outline.difference(self._openings))
        findings = [
            Finding(
                "support.neck-mended",
                Severity.NOTE,
                f"Sheet narrower than {b.width:g} mm held a piece here; a strip of that width was "
                "laid along it.",
                sheet.layer,
                b.place,
                b.width,
            )
            for b in self._bridges
            if b.kind == "neck"
        ]
        if len(self.core().geoms) > 1:
            findings.append(
                Finding(
                    "support.not-held",
                    Severity.SPOILS,
                    f"The sheet could not be made to hold together at {self._width:g} mm.",
                    sheet.layer,
                )
            )
        openings = self._openings
        if not sheet.holes.is_empty:
            openings = as_multipolygon(openings.difference(sheet.holes))
        held = Sheet(sheet.layer, sheet.outline, openings, sheet.holes, shape, sheet.thickness)
        return Supported(held, tuple(self._bridges), tuple(findings))


def _is_crumb(opening: Polygon, width: float) -> bool:
    """Return whether a strip left so little of an opening that nothing could be cut there."""
    return opening.area < 0.01 * width * width or opening.buffer(-0.02 * width).is_empty


def _rooted(gaps: Gaps, pieces: list[Polygon], core: MultiPolygon) -> list[Floats]:
    """Return middle lines from core to core across each gap.

    A piece without a core, narrower than a bridge all over, is held at its widest place.
    """
    array = np.asarray(pieces, object)
    cores = shapely.get_parts(core)
    home = piece_of(shapely.point_on_surface(cores), array)
    ends = []
    for piece, point in (
        (gaps.pieces[:, 0], gaps.start),
        (gaps.pieces[:, 1], gaps.end),
    ):
        roots = np.empty_like(point)
        for number, (which, at) in enumerate(zip(piece.tolist(), point, strict=True)):
            mine = cores[home == which]
            where = shapely.points(at)
            if len(mine):
                nearest = mine[np.argmin(shapely.distance(mine, where))]
                line = shapely.shortest_line(nearest, where)
                roots[number] = shapely.get_coordinates(line)[0]
            else:
                circle = shapely.maximum_inscribed_circle(array[which], 0.01)
                roots[number] = shapely.get_coordinates(circle)[0]
        ends.append(roots)
    return [
        np.stack([root_a, a, b, root_b])
        for root_a, a, b, root_b in zip(ends[0], gaps.start, gaps.end, ends[1], strict=True)
    ]
