"""Bridges: strips left uncut across openings so that islands are held by the frame.

In this order: bridges that the artist has drawn or locked; then of all candidate places (see
``candidates``) the cheapest set that joins every island (see ``cost``), by a minimum spanning tree;
then, where loads are given, a set that holds all islands firmly as one whole (see ``selection`` and
``stiffening``). At last the core of the sheet is looked at: where pieces hang together by less than
the least width only, a strip is laid along the neck. Every strip runs from core to core, so it has
full width along its whole length and at both roots, and by construction the sheet eroded by just
under half that width is one piece.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from ..arrays import Floats, Indices
from ..finding import Finding
from ..planar.graph import connected_labels
from ..planar.subdivide import MOST_VERTICES, small_parts
from ..progress import Progress
from ..sheet.sheet import Sheet
from ..step_cache import StepCache, kept
from .alike import Ground, Laid, made_alike
from .bridge_names import free_name, middles
from .constraints import Rules
from .cost import Prices
from .curved_bars import bars_of
from .directed_ways import SquareRoots
from .findings import barred_bridges, leaning_bridges, mended_necks, weak_islands
from .flowing import flares, flowing, straight_ways
from .gaps import Gaps, join_gaps, spanning_gaps
from .hand_drawn import Fitted, fit_drawn
from .held_islands import HeldIsland
from .laying import Laying, Roots, Strip
from .necks import neck_ways
from .places import Places, find_places
from .plain_bridges import PlainBridges
from .rows import lined_up
from .selection import HeldBy, Islands, choose_bridges, held_by
from .settled import kept_bridges
from .visible_damage import DamageMap

#: Rounds of neck mending before giving up; one is the rule, a second where strips make new corners.
MOST_ROUNDS = 8


@dataclass(frozen=True)
class Bridge:
    """One strip that holds a piece of sheet.

    Parameters
    ----------
    kind : str
        ``"bridge"`` across an opening to an island, ``"neck"`` along a place too narrow to hold,
        ``"mend"`` along a narrow place that the artist had mended.
    path : float64 array (k, 2)
        Middle line from root to root in mm.
    width : float
        In mm.
    gap : float
        Length of its way across the opening in mm; 0 for a neck.
    place : tuple of float
        x, y in mm of its middle.
    shape : Polygon
        The whole strip with its roots.
    covers : float
        Area of opening that it takes away, in mm2.
    name : str
        Its lasting id in the layer: made of its place, or given in the job.
    state : str
        ``"automatic"``, or ``"locked"`` where the artist has put it.
    visible_mm2 : float
        Area that shows another colour in the finished picture than was wanted.
    damage : float
        That area times the colour difference CIEDE2000 there, in mm2 x Delta E.
    """

    kind: str
    path: Floats
    width: float
    gap: float
    place: tuple[float, float]
    shape: Polygon
    covers: float
    name: str = ""
    state: str = "automatic"
    visible_mm2: float = 0.0
    damage: float = 0.0


@dataclass(frozen=True)
class Supported:
    """A sheet whose islands are held.

    Parameters
    ----------
    sheet : Sheet
        The sheet with bridges: its openings and shape are what is left to cut.
    bridges : tuple of Bridge
    findings : tuple of Finding
        Necks mended, islands held too weakly, and what could not be held.
    islands : tuple of HeldIsland
        How firmly each island is held, from the frame outwards.
    plain : PlainBridges or None
        Plain shortest bridges, for comparison; None without islands or damage.
    voids : MultiPolygon
        All that is cut out of the outline: openings, holes, slits.
    """

    sheet: Sheet
    bridges: tuple[Bridge, ...]
    findings: tuple[Finding, ...]
    islands: tuple[HeldIsland, ...] = ()
    plain: PlainBridges | None = None
    voids: MultiPolygon = field(default_factory=MultiPolygon)

    @property
    def damage(self) -> float:
        """Visible damage of all bridges, in mm2 x Delta E; necks are no bridges."""
        return sum(b.damage for b in self.bridges if b.kind == "bridge")


def hold_islands(
    sheet: Sheet,
    width: float,
    progress: Progress | None = None,
    *,
    rules: Rules | None = None,
    damage: DamageMap | None = None,
    mends: Sequence[Strip] = (),
    cache: StepCache | None = None,
) -> Supported:
    """Bridge every island of a sheet to its frame.

    Parameters
    ----------
    sheet : Sheet
    width : float
        Width of bridges in mm, at least the material's least.
    progress : Progress, optional
    rules : Rules, optional
        What the job and the artist want; by default one bridge an island.
    damage : DamageMap, optional
        What bridges spoil in the picture; by default all places are alike.
    mends : sequence of Strip
        Laid first, where sheet is too narrow.
    cache : StepCache, optional

    Returns
    -------
    Supported
        One piece, also when eroded by just under half of ``width``. What could not be held is
        a finding that spoils the stencil.

    Notes
    -----
    Exact: of all sets of candidates that join all pieces, the tree has the least total cost, where
    a set costs the sum of its members (Kruskal). Without damage the candidates hold a shortest gap
    of every pair that matters, and no set of gaps at all is shorter. Heuristic: which candidates
    there are; that overlapping bridges are counted twice; that roots are not counted; and the
    further bridges for strength (see ``selection``).
    """
    progress = progress or Progress()
    rules = rules or Rules(width)
    begun = kept(cache, _begun, sheet, width, rules.fillet, mends)
    plan = _plan(begun, width, rules, damage, progress, cache)
    laying = begun.laying.copy()
    progress(0.6, f"{sheet.layer}: laying {len(plan.gaps)} bridges")
    laying.lay(plan.drawn.strips)
    laying.lay(plan.strips())
    _mend_necks(laying, width, progress)
    progress(1.0, f"{sheet.layer}: held")
    return _described(laying, plan, width, rules, damage)


@dataclass(frozen=True)
class _Plan:
    """Where bridges will be laid.

    Parameters
    ----------
    drawn : Fitted
        The artist's own.
    gaps : Gaps
        Ways of the others.
    width : float64 array
        Their widths in mm.
    paths : list of float64 array (k, 2)
        Their middle lines from root to root.
    islands : tuple of HeldIsland
        How firmly all of them hold each island.
    plain : PlainBridges or None
        Plain shortest bridges instead, where damage counts.
    findings : tuple of Finding
    flare : float64 array (n, 2)
        How much wider they are at the edges of the opening, as shares.
    """

    drawn: Fitted
    gaps: Gaps
    width: Floats
    paths: list[Floats]
    islands: tuple[HeldIsland, ...] = ()
    plain: PlainBridges | None = None
    findings: tuple[Finding, ...] = ()
    flare: Floats = field(default_factory=lambda: np.empty((0, 2)))

    def strips(self) -> list[Strip]:
        """Return the bridges that are not the artist's, to be laid."""
        return [
            Strip("bridge", path, width, gap, flare=(at_start, at_end))
            for path, width, gap, (at_start, at_end) in zip(
                self.paths,
                self.width.tolist(),
                self.gaps.length.tolist(),
                self.flare.tolist(),
                strict=True,
            )
        ]


@dataclass(frozen=True)
class _Begun:
    """A sheet on which nothing is laid yet but what the artist had mended.

    Parameters
    ----------
    laying : Laying
        To be copied before anything is laid.
    pieces : list of Polygon
    core : MultiPolygon
    """

    laying: Laying
    pieces: list[Polygon]
    core: MultiPolygon


def _begun(sheet: Sheet, width: float, fillet: float, mends: Sequence[Strip]) -> _Begun:
    laying = Laying(sheet, width, fillet)
    laying.lay(mends)
    return _Begun(laying, list(laying.sheet().shape.geoms), laying.core())


@dataclass(frozen=True)
class _Candidates:
    """All that bridges of a sheet can be chosen from, before it is known what they must bear."""

    prices: Prices
    places: Places
    roots: Roots
    square: SquareRoots


def _candidates(
    pieces: Sequence[Polygon], core: MultiPolygon, rules: Rules, damage: DamageMap | None
) -> _Candidates:
    width = rules.width
    tree = spanning_gaps(pieces, first_reach=2 * width)
    prices = Prices(pieces, rules, damage)
    square = SquareRoots(pieces, core, width)
    places = find_places(pieces, tree, square, prices, rules)
    return _Candidates(prices, places, Roots(pieces, core, width), square)


def _to_compare(
    pieces: Sequence[Polygon], core: MultiPolygon, rules: Rules, damage: DamageMap | None
) -> tuple[Gaps, Roots]:
    found = _candidates(pieces, core, rules, damage)
    return found.places.plain, found.roots


def _found(gaps: Gaps, roots: Roots) -> tuple[Gaps, Roots]:
    return gaps, roots


def _plan(
    begun: _Begun,
    width: float,
    rules: Rules,
    damage: DamageMap | None,
    progress: Progress,
    cache: StepCache | None,
) -> _Plan:
    """Choose bridges."""
    pieces, core, openings = begun.pieces, begun.core, begun.laying.openings
    layer = begun.laying.layer
    drawn = fit_drawn(rules.drawn, pieces, openings, core, width, layer)
    if len(pieces) < 2:
        return _Plan(
            drawn, drawn.links.take(np.empty(0, np.int64)), np.empty(0), [], findings=drawn.findings
        )
    progress(0.1, f"{layer}: looking for places for bridges")

    # A build is handed to other processes, so this is no function of its own.
    looked_for = partial(_to_compare, pieces, core, rules.for_places(), damage)
    plain = None if damage is None else PlainBridges(pieces, looked_for, rules, damage)
    told = Prices(pieces, rules)
    drawn_width = np.array([drawn.strips[k].width for k in drawn.strip_of.tolist()])
    stays = kept_bridges(pieces, rules, drawn, drawn_width)
    islands = Islands(pieces, rules.loads)
    sheet = shapely.STRtree(small_parts(np.asarray(pieces, object), MOST_VERTICES)[0])
    links = join_gaps([drawn.links, stays.gaps])
    link_width = np.concatenate([drawn_width, stays.width])
    if len(stays.gaps) and not connected_labels(len(pieces), links.pieces).any():
        flare = flares(stays.ways, stays.width, rules.flare, sheet)
        bars = bars_of([*drawn.ways, *stays.ways], _with_none(drawn, flare))
        still = held_by(islands, links, link_width, rules, stays.accepted, bars)
        if not still.over.any():
            how_held = still.islands(islands, rules)
            findings = _findings(stays.gaps, stays.width, how_held, drawn, told, rules, layer)
            paths = list(stays.paths)
            return _Plan(drawn, stays.gaps, stays.width, paths, how_held, plain, findings, flare)
    found = kept(cache, _candidates, pieces, core, rules.for_places(), damage)
    prices, places, roots, square = found.prices, found.places, found.roots, found.square
    plain = plain and replace(plain, found=partial(_found, places.plain, roots))
    fixed = len(links)
    candidates = join_gaps([links, places.gaps])
    # What is there is laid in any case, so it costs nothing.
    cost = np.append(np.zeros(fixed), places.cost)
    widths = np.full(len(candidates), width)
    widths[:fixed] = link_width
    progress(0.2, f"{layer}: choosing bridges")
    choice = kept(
        cache,
        choose_bridges,
        pieces,
        candidates,
        cost,
        widths,
        rules.for_choice(),
        fixed,
        stays.accepted,
        progress=progress.part(0.2, 0.5),
        islands=islands,
    )
    new = choice.chosen >= fixed
    directions = rules.directions

    def rooted(gaps: Gaps) -> Floats:
        paths = np.array(roots.paths(gaps)).reshape(-1, 4, 2)
        straight = np.flatnonzero(directions.stated(gaps) & ~directions.leaning(gaps))
        paths[straight] = square.paths(gaps.take(straight))[0]
        return paths

    def held(laid: Laid, ways: Sequence[Floats] | None = None) -> HeldBy:
        bridges = join_gaps([links, laid.gaps])
        width = np.append(link_width, laid.width)
        # Straight ones are tried as straight ones of one width.
        bars = None
        if ways is not None:
            flare = flared(laid, ways)
            bars = bars_of([*drawn.ways, *stays.ways, *ways], _with_none(drawn, flare))
        return held_by(islands, bridges, width, rules, (), bars)

    def flared(laid: Laid, ways: Sequence[Floats]) -> Floats:
        width = np.append(stays.width, laid.width)
        return flares([*stays.ways, *ways], width, rules.flare, sheet)

    def weighed(laid: Laid) -> Indices:
        return held(laid).over

    gaps = candidates.take(choice.chosen[new])
    laid = Laid(gaps, choice.width[new], rooted(gaps))
    ground = Ground(
        pieces, openings, prices, rules, links, places.gaps, places.cost, rooted, weighed
    )
    progress(0.5, f"{layer}: looking for openings that are alike")
    alike = lined_up(made_alike(laid, ground), ground)
    ways = straight_ways(alike)
    if rules.curved:
        alike, ways, so_held = flowing(alike, ground, held)
    else:
        so_held = held(alike, ways)
    how_held = so_held.islands(islands, rules)
    gaps, gap_width = join_gaps([stays.gaps, alike.gaps]), np.append(stays.width, alike.width)
    paths = [
        *stays.paths,
        *(
            np.concatenate([path[:1], way, path[-1:]])
            for path, way in zip(alike.paths, ways, strict=True)
        ),
    ]
    findings = _findings(gaps, gap_width, how_held, drawn, told, rules, layer)
    flare = flared(alike, ways)
    return _Plan(drawn, gaps, gap_width, paths, how_held, plain, findings, flare)


def _with_none(drawn: Fitted, flare: Floats) -> Floats:
    """Return how much wider bridges are at their ends, those drawn by hand first: they are not."""
    return np.concatenate([np.zeros((len(drawn.links), 2)), flare])


def _findings(
    gaps: Gaps,
    width: Floats,
    islands: tuple[HeldIsland, ...],
    drawn: Fitted,
    prices: Prices,
    rules: Rules,
    layer: str,
) -> tuple[Finding, ...]:
    """Return what is to be told of bridges that are chosen."""
    findings = [*drawn.findings, *barred_bridges(gaps, width, prices, layer)]
    findings += leaning_bridges(gaps.take(rules.directions.leaning(gaps)), layer)
    if rules.loads is not None:
        findings += weak_islands(islands, rules.loads, layer)
    return tuple(findings)


def _mend_necks(laying: Laying, width: float, progress: Progress) -> None:
    """Lay a strip along each place where pieces hang together by less than the width."""
    for _ in range(MOST_ROUNDS):
        progress(0.7, f"{laying.layer}: looking for necks")
        cores = list(laying.core().geoms)
        if len(cores) < 2:
            return
        ways = neck_ways(cores, laying.sheet().shape, width)
        laying.lay([Strip("neck", way, width) for way in ways])


def _described(
    laying: Laying, plan: _Plan, width: float, rules: Rules, damage: DamageMap | None
) -> Supported:
    """Return the sheet as it is laid now, with all that is to be told of it."""
    sheet = laying.sheet()
    bridges = _bridges(laying, damage)
    necks = mended_necks(
        [b.place for b in bridges if b.kind == "neck"],
        width,
        sheet.layer,
        one_piece=len(laying.core().geoms) < 2,
    )
    return Supported(
        sheet,
        bridges,
        (*plan.findings, *necks),
        plan.islands,
        plan.plain,
        laying.openings,
    )


def with_damage(supported: Supported, damage: DamageMap) -> Supported:
    """Return the same with what its bridges spoil told anew."""
    spoilt = damage.of([b.shape for b in supported.bridges])
    bridges = tuple(
        replace(b, visible_mm2=area, damage=harm)
        for b, area, harm in zip(
            supported.bridges, spoilt.area.tolist(), spoilt.damage.tolist(), strict=True
        )
    )
    return replace(supported, bridges=bridges)


def _bridges(laying: Laying, damage: DamageMap | None) -> tuple[Bridge, ...]:
    count = len(laying.strips)
    spoilt = damage.of(laying.shapes) if damage is not None and count else None
    taken = {s.name for s in laying.strips}
    bridges = []
    places = middles([strip.path for strip in laying.strips])
    for number, (strip, shape, covers) in enumerate(
        zip(laying.strips, laying.shapes, laying.covers, strict=True)
    ):
        name = strip.name or free_name(places[number], taken)
        taken.add(name)
        bridges.append(
            Bridge(
                strip.kind,
                np.asarray(strip.path, np.float64),
                strip.width,
                strip.gap,
                (float(places[number, 0]), float(places[number, 1])),
                shape,
                covers,
                name,
                strip.state,
                float(spoilt.area[number]) if spoilt else 0.0,
                float(spoilt.damage[number]) if spoilt else 0.0,
            )
        )
    return tuple(bridges)
