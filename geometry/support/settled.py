"""Settled: automatic bridges that were seen once stay while they hold, wherever else is edited.

A choice made anew weighs the whole sheet, so that one bridge moved by hand could shift others far
from it. So what was chosen is written down (``[[settled]]`` of the job) and is the beginning of the
next choice: each bridge stays that still joins two pieces, lies where one may, and keeps clear of
those drawn by hand. Only where pieces are left unjoined, or are held too weakly, more are chosen.
What could not be held firmly the first time is put up with, and told, as then. Under other rules
(width, material, loads, direction) all is chosen anew.

The job alone says what is settled: a build of it from nothing gives the sheets that were seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from ..arrays import Bools, Floats, Geometries, Indices
from ..content import content_key
from ..job.job import Job
from ..job.sections import LayerSettings, SettledSheet
from ..planar.graph import connected_labels
from ..planar.meeting import pairs_that_meet
from ..planar.polygons import largest_piece
from ..planar.strips import straight_strips
from ..tolerance import TOLERANCES
from .bridge_names import free_name, middles
from .constraints import Rules, Settled, rules_for
from .gaps import Gaps, join_gaps
from .hand_drawn import Fitted
from .selection import Islands, held_by

#: A bridge that lies by more than this share of its width's square where none may is chosen anew.
BARRED_SHARE = 0.02
#: Ends of a bridge meet the edges of sheet within this distance, in mm: those of mirror images do
#: so as exactly as the drawing is symmetric.
MEETS = 0.5
#: Digits of the mark of the rules.
_MARK = 12


def rules_mark(job: Job, rules: Rules) -> str:
    """Return the mark of the rules of a sheet as far as they hold for all of it.

    What the artist states of single places (bridges, areas, lines) is not in it.
    """
    of_all = replace(
        rules,
        drawn=(),
        forbidden=(),
        keep_free=MultiPolygon(),
        directed=(),
        fillet=0.0,
        settled=None,
    )
    return content_key(of_all, job.sheet).hex()[:_MARK]


def settled_for(job: Job, sheet: str, rules: Rules) -> Settled | None:
    """Return what is settled of a sheet under its rules; None where all is to be chosen.

    Parameters
    ----------
    job : Job
    sheet : str
        Name of the sheet.
    rules : Rules
    """
    row = next((row for row in job.settled if row.sheet == sheet), None)
    if row is None or row.under != rules_mark(job, rules):
        return None
    paths = [np.array(line) for line in row.bridges_mm]
    names: list[str] = []
    for middle in middles(paths):
        names.append(free_name(middle, names))
    own = {b.id for b in job.bridges_by_hand if b.id}
    stays = [name not in own for name in names]  # the artist has taken the others over
    return Settled(
        tuple(path for path, one in zip(paths, stays, strict=True) if one),
        tuple(width for width, one in zip(row.widths_mm, stays, strict=True) if one),
        row.weak_mm,
        tuple(zip(row.let_go_mm, row.spared, strict=True)),
        row.drawn_mm,
    )


def _line(path: Floats) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in path)


def settled_row(
    job: Job,
    layer: LayerSettings,
    sheet: str,
    bridges: Sequence[tuple[Floats, float]],
    drawn: Sequence[Floats],
    weak: Sequence[tuple[float, float]],
    let_go: Sequence[tuple[tuple[float, float], float]],
) -> SettledSheet:
    """Return the job's table of what is settled in a sheet.

    Parameters
    ----------
    job : Job
    layer : LayerSettings
        The sheet's layer in the job.
    sheet : str
        Name of the sheet.
    bridges : sequence of (float64 array (k, 2), float)
        Middle line from root to root, and width, of each automatic bridge.
    drawn : sequence of float64 array (k, 2)
        Middle lines, as laid, of the others.
    weak : sequence of tuple of float
        Places on islands that are held too weakly.
    let_go : sequence of (tuple of float, float)
        Places on islands that were let go, and what that spared.
    """
    return SettledSheet(
        sheet,
        rules_mark(job, rules_for(job, layer)),
        tuple(_line(path) for path, _ in bridges),
        tuple(float(width) for _, width in bridges),
        tuple(_line(path) for path in drawn),
        tuple(weak),
        tuple(place for place, _ in let_go),
        tuple(float(spared) for _, spared in let_go),
    )


@dataclass(frozen=True)
class Kept:
    """Settled bridges that stay.

    Parameters
    ----------
    gaps : Gaps
    width : float64 array (n,)
    paths : tuple of float64 array (k, 2)
        Middle lines: root, edge, further points of curved ones, edge, root.
    accepted : tuple of int
        Pieces that are put up with as they are held.
    """

    gaps: Gaps
    width: Floats
    paths: tuple[Floats, ...]
    accepted: tuple[int, ...] = ()

    def take(self, which: Indices) -> Kept:
        """Return some of them."""
        paths = tuple(self.paths[k] for k in which.tolist())
        return Kept(self.gaps.take(which), self.width[which], paths, self.accepted)

    @property
    def ways(self) -> list[Floats]:
        """How each runs from edge to edge."""
        return [path[1:-1] for path in self.paths]


def kept_bridges(
    pieces: Sequence[Polygon], rules: Rules, drawn: Fitted, drawn_width: Floats
) -> Kept:
    """Return the settled bridges that still fit a sheet.

    Parameters
    ----------
    pieces : sequence of Polygon
        Pieces of the sheet.
    rules : Rules
    drawn : Fitted
        Bridges drawn by hand. A settled bridge is left out where one that is new holds its island
        as well.
    drawn_width : float64 array
        Width of each link of these.
    """
    settled = rules.settled
    if settled is None or not settled.paths:
        empty = Gaps(np.empty((0, 2), np.int64), np.empty((0, 2)), np.empty((0, 2)), np.empty(0))
        return Kept(empty, np.empty(0), ())
    array = np.asarray(pieces, object)
    tree = shapely.STRtree(array)
    whole, width = settled.paths, np.array(settled.width)
    paths = np.array([path[[0, 1, -2, -1]] for path in whole])
    ends = shapely.points(paths)
    home = np.asarray(tree.nearest(ends.ravel()), np.int64).reshape(ends.shape)
    same = TOLERANCES.same_point
    # Roots in their pieces, ends of the way on their edges, and nothing but opening in between.
    fits = (home[:, 0] == home[:, 1]) & (home[:, 2] == home[:, 3]) & (home[:, 1] != home[:, 2])
    fits &= (shapely.distance(array[home], ends) <= [same, MEETS, MEETS, same]).all(axis=1)
    fits &= width >= rules.width
    ways = np.array([shapely.linestrings(path[1:-1]) for path in whole], object)
    gaps = Gaps(home[:, [1, 2]], paths[:, 1], paths[:, 2], shapely.length(ways))
    fits &= _in_the_open(ways, array)
    fits &= ~rules.directions.leaning(gaps)
    barred = rules.barred
    if not barred.is_empty:
        lies = shapely.area(shapely.intersection(straight_strips(ways, width), barred))
        fits &= lies <= BARRED_SHARE * width * width
    fits &= ~_meets_drawn(gaps, drawn.links, rules.clearance)
    kept = Kept(gaps, width, whole, _on_pieces(settled.weak, array))
    kept = kept.take(np.flatnonzero(fits))
    known = set(settled.drawn)
    new = np.array([_line(strip.path) not in known for strip in drawn.strips], bool)
    islands = np.unique(drawn.links.pieces[new[drawn.strip_of]])
    islands = islands[islands != largest_piece(pieces)]
    return _without_needless(kept, islands, pieces, rules, drawn.links, drawn_width)


def _without_needless(
    kept: Kept,
    islands: Indices,
    pieces: Sequence[Polygon],
    rules: Rules,
    links: Gaps,
    width: Floats,
) -> Kept:
    """Return the bridges less those of some islands that all is held without, the longest first."""
    may_go = np.flatnonzero(np.isin(kept.gaps.pieces, islands).any(axis=1))
    stays = np.arange(len(kept.gaps))
    all_islands = Islands(pieces, rules.loads)
    for number in may_go[np.argsort(-kept.gaps.length[may_go], kind="stable")].tolist():
        rest = stays[stays != number]
        bridges = join_gaps([links, kept.gaps.take(rest)])
        if connected_labels(len(pieces), bridges.pieces).any():
            continue
        widths = np.append(width, kept.width[rest])
        if not held_by(all_islands, bridges, widths, rules, kept.accepted).over.any():
            stays = rest
    return kept.take(stays)


def _in_the_open(ways: Geometries, pieces: Geometries) -> Bools:
    length = shapely.length(ways)
    inset = np.minimum(0.25 * length, MEETS)
    share = inset[:, None] + (length - 2 * inset)[:, None] * np.linspace(0, 1, 17)
    inner = shapely.get_coordinates(shapely.line_interpolate_point(ways[:, None], share))
    lines = shapely.linestrings(inner.reshape(-1, 17, 2))
    _, which = pairs_that_meet(pieces, lines)
    free: Bools = length > 2 * TOLERANCES.same_point
    free[which] = False
    return free


def _meets_drawn(gaps: Gaps, drawn: Gaps, least: float) -> Bools:
    """Return which ways have an end so near to one of a drawn bridge that they would meet."""
    meets = np.zeros(len(gaps), bool)
    theirs = np.concatenate([drawn.start, drawn.end])
    if len(theirs):
        for ends in (gaps.start, gaps.end):
            meets |= (
                np.hypot(*(ends[:, None] - theirs[None]).transpose(2, 0, 1)).min(axis=1) < least
            )
    return meets


def _on_pieces(places: Sequence[tuple[float, float]], pieces: Geometries) -> tuple[int, ...]:
    if not places:
        return ()
    piece, _ = pairs_that_meet(pieces, shapely.points(places))
    return tuple(np.unique(piece).tolist())
