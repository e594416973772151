"""Bridges: strips left uncut across openings so that islands are held by the frame.

In this order: bridges that the artist has drawn or locked; then of all candidate places (see
``candidates``) the cheapest set that joins every island (see ``prices``), by a minimum spanning
tree; then further ones where an island would flap, turn or tear (see ``enough``). At last the core
of the sheet is looked at (see ``core``): where pieces hang together by less than the least width
only, a strip is laid along the neck. Every strip runs from core to core, so it has full width along
its whole length and at both roots, and by construction the sheet eroded by just under half that
width is one piece.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Polygon

from ..arrays import Floats
from ..finding import Finding, Severity
from ..planar.strips import straight_strips
from ..progress import Progress
from ..sheet.sheet import Sheet
from .candidates import crossings
from .constraints import Rules
from .cost import Prices
from .gaps import Gaps, join_gaps, spanning_gaps
from .hand_drawn import fit_drawn
from .laying import Laying, Roots, Strip
from .selection import choose_bridges
from .stiffening import HeldIsland
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
    plain_strips : tuple of Polygon
        Plain shortest bridges, of the same width and as firm, for comparison.
    plain_damage : float
        Damage that these would do.
    voids : MultiPolygon
        All that is cut out of the outline: openings, holes, slits.
    """

    sheet: Sheet
    bridges: tuple[Bridge, ...]
    findings: tuple[Finding, ...]
    islands: tuple[HeldIsland, ...] = ()
    plain_strips: tuple[Polygon, ...] = ()
    plain_damage: float = 0.0
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
    further bridges for strength, added island by island.
    """
    progress = progress or Progress()
    rules = rules or Rules(width)
    pieces = list(sheet.shape.geoms)
    laying = Laying(sheet, width, rules.fillet)
    if mends:
        laying.lay(mends)
        pieces = list(laying.sheet().shape.geoms)
    findings: list[Finding] = []
    islands: tuple[HeldIsland, ...] = ()
    plain_damage = 0.0
    plain_strips: tuple[Polygon, ...] = ()
    progress(0.05, f"{sheet.layer}: measuring gaps")
    fitted = fit_drawn(rules.drawn, pieces, laying.openings, laying.core(), width, sheet.layer)
    findings += fitted.findings
    if len(pieces) > 1:
        tree = spanning_gaps(pieces, first_reach=2 * width)
        progress(0.15, f"{sheet.layer}: looking for places for bridges")
        prices = Prices(pieces, rules, damage)
        every = tree
        if not prices.uniform or rules.loads is not None:
            every = crossings(pieces, tree, width, None if prices.uniform else prices.rough)
        drawn = len(fitted.links)
        candidates = join_gaps([fitted.links, every])
        # What is drawn is there anyhow.
        cost = np.append(np.zeros(drawn), prices.exact(every))
        widths = np.full(len(candidates), width)
        widths[:drawn] = [fitted.strips[k].width for k in fitted.strip_of.tolist()]
        progress(0.35, f"{sheet.layer}: choosing bridges")
        choice = choose_bridges(pieces, candidates, cost, widths, rules, drawn)
        islands = choice.islands
        findings += _weak(islands, rules, sheet.layer)
        new = choice.chosen >= drawn
        chosen, chosen_width = choice.chosen[new], choice.width[new]
        progress(0.5, f"{sheet.layer}: laying {len(chosen)} bridges")
        roots = Roots(pieces, laying.core())
        laying.lay(fitted.strips)
        gaps = candidates.take(chosen)
        laying.lay(_strips(gaps, chosen_width, roots.paths(gaps)))
        findings += _barred(gaps, chosen_width, prices, sheet.layer)
        if damage is not None:
            plain_strips = _plain_strips(pieces, every, roots, rules)
            plain_damage = float(damage.of(plain_strips).damage.sum())
    else:
        laying.lay(fitted.strips)
    for _ in range(MOST_ROUNDS):
        progress(0.7, f"{sheet.layer}: looking for necks")
        cores = list(laying.core().geoms)
        if len(cores) < 2:
            break
        gaps = spanning_gaps(cores, first_reach=2 * width)
        laying.lay(
            [
                Strip("neck", np.stack([a, b]), width)
                for a, b in zip(gaps.start, gaps.end, strict=True)
            ]
        )
    bridges = _bridges(laying, damage)
    findings += _neck_findings(bridges, laying, width, sheet.layer)
    progress(1.0, f"{sheet.layer}: held")
    return Supported(
        laying.sheet(),
        bridges,
        tuple(findings),
        islands,
        plain_strips,
        plain_damage,
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


def _plain_strips(
    pieces: Sequence[Polygon], gaps: Gaps, roots: Roots, rules: Rules
) -> tuple[Polygon, ...]:
    """Return the bridges that would be laid if only length counted."""
    width = np.full(len(gaps), rules.width)
    plain = choose_bridges(pieces, gaps, gaps.length * rules.width, width, rules)
    return tuple(straight_strips(roots.paths(gaps.take(plain.chosen)), plain.width))


def _strips(gaps: Gaps, widths: Floats, paths: list[Floats]) -> list[Strip]:
    return [
        Strip("bridge", path, width, gap)
        for path, width, gap in zip(paths, widths.tolist(), gaps.length.tolist(), strict=True)
    ]


def _bridges(laying: Laying, damage: DamageMap | None) -> tuple[Bridge, ...]:
    count = len(laying.strips)
    spoilt = damage.of(laying.shapes) if damage is not None and count else None
    taken = {s.name for s in laying.strips}
    bridges = []
    for number, (strip, shape, covers) in enumerate(
        zip(laying.strips, laying.shapes, laying.covers, strict=True)
    ):
        middle = shapely.line_interpolate_point(LineString(strip.path), 0.5, normalized=True)
        name = strip.name or _free_name(middle.x, middle.y, taken)
        taken.add(name)
        bridges.append(
            Bridge(
                strip.kind,
                np.asarray(strip.path, np.float64),
                strip.width,
                strip.gap,
                (middle.x, middle.y),
                shape,
                covers,
                name,
                strip.state,
                float(spoilt.area[number]) if spoilt else 0.0,
                float(spoilt.damage[number]) if spoilt else 0.0,
            )
        )
    return tuple(bridges)


def _free_name(x: float, y: float, taken: set[str]) -> str:
    """Return an id made of a place in whole mm, with a number where another has it."""
    name = first = f"{x:.0f}x{y:.0f}"
    number = 1
    while name in taken:
        number += 1
        name = f"{first}-{number}"
    return name


def _weak(islands: tuple[HeldIsland, ...], rules: Rules, layer: str) -> list[Finding]:
    loads = rules.loads
    if loads is None:
        return []
    found = []
    for island in islands:
        if island.enough:
            continue
        if island.hold.deflection_mm > loads.deflection_mm:
            code, what = (
                "support.gives-way",
                f"gives way by {island.hold.deflection_mm:.1f} mm under its weight and a push of "
                f"{loads.handling_n:g} N at its edge, more than {loads.deflection_mm:g} mm",
            )
        else:
            code, what = (
                "support.may-tear",
                f"strains its bridges by {island.hold.stress_mpa:.0f} MPa under its weight and a "
                f"push of {loads.handling_n:g} N, more than {loads.stress_mpa:g} MPa",
            )
        found.append(
            Finding(
                code,
                Severity.WARNING,
                f"An island of {island.area_mm2:.0f} mm2 {what}: {island.reason}. Handle it with "
                "care, or choose wider bridges or a thicker sheet.",
                layer,
                island.place,
                island.hold.deflection_mm,
            )
        )
    return found


def _barred(gaps: Gaps, widths: Floats, prices: Prices, layer: str) -> list[Finding]:
    """Return a finding for each bridge that lies where none may for want of another place."""
    area = prices.barred_area(straight_strips(gaps.lines(), widths, quarter_segments=4))
    middle = (gaps.start + gaps.end) / 2
    return [
        Finding(
            "support.bridge-in-kept-free",
            Severity.WARNING,
            "A bridge had to be laid where none is wanted; the island can be held nowhere else. "
            "Draw a bridge by hand or let the area go.",
            layer,
            (float(middle[number, 0]), float(middle[number, 1])),
        )
        for number in np.flatnonzero(area > 0.02 * widths * widths).tolist()
    ]


def _neck_findings(
    bridges: tuple[Bridge, ...], laying: Laying, width: float, layer: str
) -> list[Finding]:
    findings = [
        Finding(
            "support.neck-mended",
            Severity.NOTE,
            f"Sheet narrower than {width:g} mm held a piece here; a strip of that width was "
            "laid along it.",
            layer,
            b.place,
            b.width,
        )
        for b in bridges
        if b.kind == "neck"
    ]
    if len(laying.core().geoms) > 1:
        findings.append(
            Finding(
                "support.not-held",
                Severity.SPOILS,
                f"The sheet could not be made to hold together at {width:g} mm.",
                layer,
            )
        )
    return findings
