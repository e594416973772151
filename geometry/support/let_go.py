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
from shapely import Polygon

from ..arrays import Bools, Geometries, Indices
from ..finding import Finding, Severity
from ..planar.graph import connected_labels
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
    """

    shape: Polygon
    worth: float
    spared: float

    @property
    def place(self) -> tuple[float, float]:
        """x, y in mm of a point on it."""
        at = self.shape.representative_point()
        return (at.x, at.y)


def islands_to_let_go(
    plain: Sheet,
    held: Supported,
    damage: DamageMap,
    least: float,
    kept: Sequence[tuple[float, float]] = (),
) -> tuple[LetGo, ...]:
    """Return the islands of a sheet that are not worth their bridges.

    An island on which no other depends goes when its own bridges spoil more than painting it over
    does; islands that hang together go when all are worth less than all their bridges. One that is
    smaller all round than the least width cannot be cut well and goes in any case. Islands with a
    strip that the artist has set, or with a registration hole, stay.

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
    """
    pieces = shapely.get_parts(plain.shape)
    if len(pieces) < 2:
        return ()
    at_frame = np.zeros(len(pieces), bool)
    at_frame[largest_piece(pieces.tolist())] = True
    tree = shapely.STRtree(pieces)
    bridges = held.bridges
    bridge, piece = tree.query([b.shape for b in bridges], predicate="intersects")
    stays = at_frame | _with_holes(pieces, plain)
    by_hand = np.array([b.state != "automatic" or b.kind == "mend" for b in bridges], bool)
    stays[piece[by_hand[bridge]]] = True
    if kept:
        found = tree.query_nearest(shapely.points(kept), max_distance=least, all_matches=False)[1]
        stays[found] = True
    worth = damage.painted_over(pieces.tolist())
    spoils = damage.of([b.shape for b in bridges])
    used = np.ones(len(bridges), bool)
    gone = np.zeros(len(pieces), bool)
    spared = np.zeros(len(pieces))
    touches = [piece[bridge == number] for number in range(len(bridges))]
    at_piece = [bridge[piece == number] for number in range(len(pieces))]
    small = 2 * shapely.minimum_bounding_radius(pieces) < least
    waiting = np.flatnonzero(~stays).tolist()
    while waiting:
        number = waiting.pop()
        own = [k for k in at_piece[number] if used[k]]
        dear = spoils.price[own].sum() > worth.price[number]
        if gone[number] or not own or not (dear or small[number]):
            continue
        without = used.copy()
        without[own] = False
        if _all_held(touches, without, ~gone & ~at_frame & (np.arange(len(pieces)) != number)):
            gone[number], spared[number], used = True, spoils.damage[own].sum(), without
            # What hung on it may have become dear enough, or free to go.
            near = {int(o) for k in own for o in touches[k]}
            waiting += [o for o in sorted(near) if not stays[o] and not gone[o]]
    for group in _hanging_together(len(pieces), touches, used, at_frame):
        own = sorted({int(k) for number in group for k in at_piece[number] if used[k]})
        dear = spoils.price[own].sum() > worth.price[group].sum()
        if not stays[group].any() and len(group) > 1 and dear:
            gone[group], spared[group] = True, spoils.damage[own].sum()
    return tuple(
        LetGo(pieces[k], float(worth.damage[k]), float(spared[k]))
        for k in np.flatnonzero(gone).tolist()
    )


def _all_held(touches: Sequence[Indices], used: Bools, islands: Bools) -> bool:
    """Tell whether bridges still join all islands to something else than themselves alone."""
    count = len(islands)
    links = [
        (int(one), int(other))
        for number in np.flatnonzero(used).tolist()
        for one, other in zip(touches[number][:-1], touches[number][1:], strict=True)
    ]
    label = connected_labels(count, np.array(links, np.int64).reshape(-1, 2))
    # The frame is the one piece that is neither an island here nor gone: its label is not theirs
    # when nothing joins them to it.
    held = np.zeros(count, bool)
    held[label[~islands]] = True
    return bool(held[label[islands]].all())


def _with_holes(pieces: Geometries, plain: Sheet) -> Bools:
    if plain.holes.is_empty:
        return np.zeros(len(pieces), bool)
    touched: Bools = shapely.distance(pieces, plain.holes) == 0
    return touched


def _hanging_together(
    count: int, touches: Sequence[Indices], used: Bools, at_frame: Bools
) -> list[Indices]:
    """Return groups of islands that bridges join otherwise than over the frame."""
    links = [
        (int(one), int(other))
        for number in np.flatnonzero(used).tolist()
        for one, other in zip(touches[number][:-1], touches[number][1:], strict=True)
        if not at_frame[one] and not at_frame[other]
    ]
    label = connected_labels(count, np.array(links, np.int64).reshape(-1, 2))
    hangs = np.zeros(count, bool)
    for number in np.flatnonzero(used).tolist():
        hangs[touches[number]] = True
    hangs &= ~at_frame
    return [np.flatnonzero((label == group) & hangs) for group in np.unique(label[hangs]).tolist()]


def let_go_findings(gone: Sequence[LetGo], layer: str) -> list[Finding]:
    """Return what is told of islands let go: a note where nobody can see it, else a warning."""
    told = []
    for island in gone:
        seen = island.worth > 0
        why = (
            "bridges to it would spoil more of the picture than it shows"
            if island.spared > island.worth
            else "it is smaller than anything that the material holds"
        )
        told.append(
            Finding(
                "support.let-go",
                Severity.WARNING if seen else Severity.NOTE,
                f"An island of {island.shape.area:.3g} mm2 is let go and painted over: {why} "
                f"({island.spared:.0f} against {island.worth:.0f} mm2 x Delta E). To hold it, name "
                "its place in the layer's keep_mm, or set let_go = false under [bridges].",
                layer,
                island.place,
            )
        )
    return told
