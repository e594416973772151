"""Islands let go: those that are worth less to the picture than the bridges that hold them spoil.

A speck in the middle of a large opening is held by strips that show far more than the speck itself.
It is better cut away and painted over. What an island is worth and what bridges spoil are told by
the same measure, area times colour difference in the finished picture (see ``visible_damage``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Polygon

from ..arrays import Bools, Floats, Geometries, Indices
from ..finding import Finding, Severity, area_words
from ..planar.graph import connected_labels, members_of
from ..planar.meeting import pairs_that_meet
from ..planar.polygons import largest_piece
from ..sheet.sheet import Sheet
from .bridges import Supported
from .visible_damage import DamageMap


@dataclass(frozen=True)
class LetGo:
    """An island that is cut away with the opening round it, and so painted over.

    Parameters
    ----------
    shape : Polygon
        In mm of the sheet.
    worth : float
        What painting it over spoils, in mm2 x Delta E.
    spared : float
        What the bridges to it would have spoilt, those to islands that go with it included.
    small : bool
        Whether it is smaller all round than the least width.
    """

    shape: Polygon
    worth: float
    spared: float
    small: bool

    @property
    def place(self) -> tuple[float, float]:
        """x, y in mm of a point on it."""
        at = self.shape.representative_point()
        return (at.x, at.y)


#: Where more islands than this are smaller all round than the least width, they go before bridges
#: are looked for: a sheet of crossing hatches has tens of thousands.
CROWD = 200


def crowd_to_let_go(
    plain: Sheet,
    damage: DamageMap,
    least: float,
    kept: Sequence[tuple[float, float]] = (),
    by_hand: Sequence[shapely.Geometry] = (),
) -> tuple[LetGo, ...]:
    """Return the islands that are smaller all round than the least width, where they are a crowd.

    Parameters
    ----------
    plain : Sheet
        As drawn.
    damage : DamageMap
    least : float
        Least width of sheet in the material, in mm.
    kept : sequence of tuple of float
        Places whose island, the nearest within ``least``, stays.
    by_hand : sequence of Geometry
        Strips or their middle lines that the artist has set; what they meet stays.

    Returns
    -------
    tuple of LetGo
        None where there are no more than ``CROWD``: those few are weighed against their bridges.
    """
    pieces = shapely.get_parts(plain.shape)
    if len(pieces) <= CROWD:
        return ()
    may_go = _free_to_go(pieces, plain, least, kept)
    may_go[pairs_that_meet(pieces, by_hand)[0]] = False
    going = pieces[may_go & smaller_all_round(pieces, least)]
    if len(going) <= CROWD:
        return ()
    worth = damage.painted_over(going.tolist()).damage.tolist()
    return tuple(LetGo(piece, w, 0.0, True) for piece, w in zip(going, worth, strict=True))


def smaller_all_round(pieces: Geometries, least: float) -> Bools:
    """Return which pieces fit into a circle as wide as the least width."""
    small: Bools = 2 * shapely.minimum_bounding_radius(pieces) < least
    return small


def _free_to_go(
    pieces: Geometries, plain: Sheet, least: float, kept: Sequence[tuple[float, float]]
) -> Bools:
    """Tell which pieces may go: not the frame, none with a registration hole, none that is kept."""
    may_go = np.ones(len(pieces), bool)
    may_go[largest_piece(pieces.tolist())] = False
    if not plain.holes.is_empty:
        may_go[shapely.distance(pieces, plain.holes) == 0] = False
    if kept:
        found = shapely.STRtree(pieces).query_nearest(
            shapely.points(kept), max_distance=least, all_matches=False
        )[1]
        may_go[found] = False
    return may_go


def let_go_again(
    plain: Sheet,
    damage: DamageMap,
    least: float,
    before: Sequence[tuple[tuple[float, float], float]],
    kept: Sequence[tuple[float, float]] = (),
    by_hand: Sequence[shapely.Geometry] = (),
) -> tuple[LetGo, ...]:
    """Return the islands that were let go before, where that is still worth it.

    Parameters
    ----------
    plain : Sheet
        As drawn.
    damage : DamageMap
    least : float
        Least width of sheet in the material, in mm.
    before : sequence of (tuple of float, float)
        A place on each, and what bridges to it would have spoilt.
    kept : sequence of tuple of float
        Places whose island, the nearest within ``least``, stays.
    by_hand : sequence of Geometry
        Strips or their middle lines that the artist has set; what they meet stays.
    """
    pieces = shapely.get_parts(plain.shape)
    if not before or len(pieces) < 2:
        return ()
    may_go = _free_to_go(pieces, plain, least, kept)
    may_go[pairs_that_meet(pieces, by_hand)[0]] = False
    piece, which = pairs_that_meet(pieces, shapely.points([place for place, _ in before]))
    order = np.argsort(which, kind="stable")
    piece, which = piece[order], which[order]
    spared = dict(zip(piece.tolist(), (before[k][1] for k in which.tolist()), strict=True))
    going = [k for k in spared if may_go[k]]
    if not going:
        return ()
    small = smaller_all_round(pieces, least)
    painted = damage.painted_over(pieces[going].tolist())
    return tuple(
        LetGo(pieces[k], worth, spared[k], bool(small[k]))
        for k, worth, price in zip(
            going, painted.damage.tolist(), painted.price.tolist(), strict=True
        )
        if small[k] or spared[k] > price
    )


def islands_to_let_go(
    plain: Sheet,
    held: Supported,
    damage: DamageMap,
    least: float,
    kept: Sequence[tuple[float, float]] = (),
    settled: Sequence[LineString] = (),
    stated: float = 0.0,
) -> tuple[LetGo, ...]:
    """Return the islands of a sheet that are not worth their bridges.

    An island on which no other depends goes when its own bridges spoil more than painting it over
    does; islands that hang together go when all are worth less than all their bridges. One that is
    smaller all round than the least width cannot be cut well and goes in any case. Islands with a
    strip that the artist has set, or with a registration hole, stay. Where the artist has stated
    which way bridges run, that alone lets nothing go: as many bridges by the shortest way would
    have to spoil more, too.

    Parameters
    ----------
    plain : Sheet
        As drawn.
    held : Supported
        The same with bridges.
    damage : DamageMap
    least : float
        Least width of sheet in the material, in mm.
    kept : sequence of tuple of float
        Places whose island, the nearest within ``least``, stays.
    settled : sequence of LineString
        Middle lines of bridges whose islands have been weighed before and stay.
    stated : float
        Width of bridges in mm where they run in a stated direction somewhere, else 0.
    """
    pieces = shapely.get_parts(plain.shape)
    count = len(pieces)
    if count < 2:
        return ()
    frame = largest_piece(pieces.tolist())
    strips = [bridge.shape for bridge in held.bridges]
    piece, bridge = pairs_that_meet(pieces, strips)
    may_go = _free_to_go(pieces, plain, least, kept)
    by_hand = np.array([b.state != "automatic" or b.kind == "mend" for b in held.bridges], bool)
    may_go[piece[by_hand[bridge]]] = False
    may_go[pairs_that_meet(pieces, settled)[0]] = False
    free = np.flatnonzero(may_go)
    if not len(free):
        return ()
    painted = damage.painted_over(pieces[free].tolist())
    worth = np.zeros(count)
    worth[free] = painted.price
    spoils = damage.of(strips)
    # The bridges at each piece, and the links that bridges are: from each piece to the next.
    order = np.lexsort((bridge, piece))
    at_piece = np.split(bridge[order], np.searchsorted(piece[order], np.arange(1, count)))
    order = np.lexsort((piece, bridge))
    of_bridge, ends = bridge[order], piece[order]
    runs_on = of_bridge[1:] == of_bridge[:-1]
    links = np.stack([ends[:-1][runs_on], ends[1:][runs_on]], axis=1)
    link_of = of_bridge[1:][runs_on]
    small = smaller_all_round(pieces, least)
    shortest = np.full(count, np.inf)
    if stated:
        shortest[free] = _shortest_ways(pieces, free, stated, damage)

    def price(own: Indices, ways: Floats) -> float:
        """Return what bridges cost, by the shortest ways where that is less."""
        asked = float(spoils.price[own].sum())
        return min(asked, len(own) * float(ways.min()))

    used = np.ones(len(strips), bool)
    gone = np.zeros(count, bool)
    spared = np.zeros(count)
    waiting = free.tolist()
    while waiting:
        number = waiting.pop()
        own = at_piece[number][used[at_piece[number]]]
        dear = price(own, shortest[[number]]) > worth[number]
        if gone[number] or not len(own) or not (dear or small[number]):
            continue
        without = used.copy()
        without[own] = False
        gone[number] = True
        if not _all_held(links[without[link_of]], frame, gone):
            gone[number] = False
            continue
        spared[number], used = spoils.damage[own].sum(), without
        # What hung on it may have become dear enough, or free to go.
        near = np.unique(piece[np.isin(bridge, own)])
        waiting += near[may_go[near] & ~gone[near]].tolist()
    left = links[used[link_of]]
    label = connected_labels(count, left[(left != frame).all(axis=1)])
    bridged = np.setdiff1d(piece[used[bridge]], frame)
    for group in members_of(label[bridged], bridged):
        own = np.unique(np.concatenate([at_piece[k] for k in group]))
        own = own[used[own]]
        dear = price(own, shortest[group]) > worth[group].sum()
        if may_go[group].all() and len(group) > 1 and dear:
            gone[group], spared[group] = True, spoils.damage[own].sum()
    return tuple(
        LetGo(pieces[k], float(painted.damage[rank]), float(spared[k]), bool(small[k]))
        for rank, k in enumerate(free.tolist())
        if gone[k]
    )


def _shortest_ways(pieces: Geometries, which: Indices, width: float, damage: DamageMap) -> Floats:
    """Return what a bridge by the shortest way from each of some pieces to another costs."""
    tree = shapely.STRtree(pieces)
    near = tree.query_nearest(pieces[which], exclusive=True, all_matches=False)[1]
    ways = shapely.shortest_line(pieces[which], pieces[near])
    strips = shapely.buffer(ways, width / 2, cap_style="flat")
    return damage.of(strips).price


def _all_held(links: Indices, frame: int, gone: Bools) -> bool:
    """Tell whether links join every piece that is not gone to the frame."""
    label = connected_labels(len(gone), links)
    return bool((label[~gone] == label[frame]).all())


def let_go_findings(gone: Sequence[LetGo], layer: str) -> list[Finding]:
    """Return what is told of islands let go: a note where nobody can see it, else a warning.

    A crowd of islands of which none was weighed is told together, with the place of the largest.
    """
    crowd = [island for island in gone if island.small and not island.spared]
    told = []
    if len(crowd) > CROWD:
        gone = [island for island in gone if island.spared or not island.small]
        largest = max(crowd, key=lambda island: island.worth)
        area = sum(island.shape.area for island in crowd)
        told.append(
            _let_go_finding(
                f"{len(crowd)} islands, {area_words(area)} in all, are let go and painted over: "
                "each is smaller than anything that the material holds; the largest is here. To "
                "hold one",
                layer,
                largest,
            )
        )
    for island in gone:
        why = (
            "it is smaller than anything that the material holds"
            if island.small and island.spared <= island.worth
            else "bridges to it would spoil more of the picture than it shows"
        )
        told.append(
            _let_go_finding(
                f"An island of {area_words(island.shape.area)} is let go and painted over: {why} "
                f"({island.spared:.0f} against {island.worth:.0f} mm2 x Delta E). To hold it",
                layer,
                island,
            )
        )
    return told


def _let_go_finding(sentence: str, layer: str, island: LetGo) -> Finding:
    return Finding(
        "support.let-go",
        Severity.WARNING if island.worth > 0 else Severity.NOTE,
        f"{sentence}, name its place in the layer's keep_mm, or set let_go = false under "
        "[bridges].",
        layer,
        island.place,
    )
