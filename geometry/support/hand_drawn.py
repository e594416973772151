"""Drawn: bridges that the artist put by hand, fitted to the sheet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Polygon

from ..arrays import Floats, Geometries, Indices
from ..finding import Finding, Severity
from ..planar.polygons import piece_of
from ..tolerance import TOLERANCES
from .constraints import DrawnBridge
from .gaps import Gaps, join_gaps
from .laying import Strip

#: An end that was drawn into an opening is carried on to sheet within this many widths.
REACH = 5.0


@dataclass(frozen=True)
class Fitted:
    """Drawn bridges as strips.

    Parameters
    ----------
    strips : tuple of Strip
    links : Gaps
        The ways across openings on them, between pieces of the sheet.
    strip_of : int array
        Which strip each link lies on.
    findings : tuple of Finding
        Lines that hold nothing.
    ways : tuple of float64 array (k, 2)
        How each link runs.
    """

    strips: tuple[Strip, ...]
    links: Gaps
    strip_of: Indices
    findings: tuple[Finding, ...]
    ways: tuple[Floats, ...] = ()


def fit_drawn(
    drawn: Sequence[DrawnBridge],
    pieces: Sequence[Polygon],
    openings: MultiPolygon,
    core: MultiPolygon,
    width: float,
    layer: str,
) -> Fitted:
    """Carry drawn lines on to firm sheet and find the pieces that they join.

    Parameters
    ----------
    drawn : sequence of DrawnBridge
    pieces : sequence of Polygon
        Pieces of the sheet.
    openings : MultiPolygon
    core : MultiPolygon
        Core of the sheet (see ``core``).
    width : float
        Of bridges that have none of their own, in mm.
    layer : str
        For the findings.
    """
    array = np.asarray(pieces, object)
    tree = shapely.STRtree(array)
    cores = shapely.get_parts(core)
    home = piece_of(shapely.point_on_surface(cores), array)
    strips, links, strip_of, findings = [], [], [], []
    runs: list[Floats] = []
    for bridge in drawn:
        own = bridge.width or width
        path = np.asarray(bridge.line, np.float64)
        middle = shapely.line_interpolate_point(LineString(path), 0.5, normalized=True)
        place = (middle.x, middle.y)
        for _ in range(2):  # its start, then its end
            path = _rooted_end(path, array, tree, cores, home, REACH * own)[::-1]
        ways, lines = _ways(LineString(path), openings, array, tree)
        if len(ways) == 0:
            findings.append(
                Finding(
                    "support.drawn-holds-nothing",
                    Severity.WARNING,
                    "This bridge was drawn where it joins no two places of the sheet across an "
                    "opening; it was left out.",
                    layer,
                    place,
                )
            )
            continue
        strips.append(Strip("bridge", path, own, float(ways.length.sum()), "locked", bridge.name))
        links.append(ways)
        runs += lines
        strip_of += [len(strips) - 1] * len(ways)
    empty = Gaps(np.empty((0, 2), np.int64), np.empty((0, 2)), np.empty((0, 2)), np.empty(0))
    return Fitted(
        tuple(strips),
        join_gaps([empty, *links]),
        np.array(strip_of, np.int64),
        tuple(findings),
        tuple(runs),
    )


def _rooted_end(
    path: Floats,
    pieces: Geometries,
    tree: shapely.STRtree,
    cores: Geometries,
    home: Indices,
    reach: float,
) -> Floats:
    """Return the path with its first point carried on into the core of the sheet."""
    end = shapely.points(path[0])
    piece = int(tree.nearest(end))
    if pieces[piece].distance(end) > reach:
        return path
    mine = cores[home == piece]
    if len(mine):
        core = mine[np.argmin(shapely.distance(mine, end))]
        root = shapely.get_coordinates(shapely.shortest_line(core, end))[0]
    else:
        root = shapely.get_coordinates(shapely.maximum_inscribed_circle(pieces[piece], 0.01))[0]
    return path if np.allclose(root, path[0]) else np.concatenate([[root], path])


def _ways(
    line: LineString, openings: MultiPolygon, pieces: Geometries, tree: shapely.STRtree
) -> tuple[Gaps, list[Floats]]:
    """Return the stretches of a line that lead through an opening from sheet to sheet."""
    pairs, starts, ends, lengths, lines = [], [], [], [], []
    for part in shapely.get_parts(line.intersection(openings)):
        if not isinstance(part, LineString) or part.length < TOLERANCES.same_point:
            continue
        tips = shapely.get_coordinates(part)[[0, -1]]
        near = [int(tree.nearest(p)) for p in shapely.points(tips)]
        if (shapely.distance(pieces[near], shapely.points(tips)) > TOLERANCES.same_point).any():
            continue  # ends in the opening
        pairs.append(near)
        starts.append(tips[0])
        ends.append(tips[1])
        lengths.append(part.length)
        lines.append(shapely.get_coordinates(part))
    gaps = Gaps(
        np.array(pairs, np.int64).reshape(-1, 2),
        np.array(starts).reshape(-1, 2),
        np.array(ends).reshape(-1, 2),
        np.array(lengths, np.float64),
    )
    return gaps, lines
