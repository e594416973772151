"""Support: from a layer's artwork to a sheet that holds together, and what is told on the way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import shapely
from shapely import LineString, MultiPolygon

from ..arrays import Bools, Geometries
from ..errors import GeometryError
from ..finding import Finding, Severity
from ..job.job import Job
from ..job.sections import LayerSettings
from ..planar.narrow import NarrowPlace, narrow_places
from ..planar.polygons import as_multipolygon, largest_piece, with_holes_filled
from ..planar.strips import straight_strips
from ..planar.union import unite
from ..progress import Progress
from ..sheet.registration import holes
from ..sheet.sheet import TOUCHES_AT_POINT, PlacedArtwork, Sheet, make_sheet
from ..step_cache import StepCache, kept
from ..threads import watched
from ..tolerance import TOLERANCES, Tolerances
from .bridges import Supported, hold_islands
from .constraints import Rules
from .gaps import spanning_gaps
from .let_go import (
    LetGo,
    crowd_to_let_go,
    islands_to_let_go,
    let_go_again,
    let_go_findings,
    smaller_all_round,
)
from .lost import lost_findings
from .repairs import accepted, mend, narrow_findings
from .visible_damage import DamageMap

#: More islands than these are refused. Two thousand are many to cut; each is worked at for
#: milliseconds, so that this is a matter of minutes.
MOST_ISLANDS = 20_000
#: Of them, those that only others of them are near enough to hold, where most are hardly larger
#: than a bridge (so many widths each way): a sheet that crossing lines cut into so many is a
#: cobweb. As many bricks are a wall, and take a minute.
MOST_HANGING, CRUMB = 800, 2.0
#: As many are too many where most of all islands (this share) hang so and are strips narrower than
#: this share of a bridge: rings in rings, each as thin as a line of a pen. Of 400 drawings, the
#: largest icons and flags of three sets, 140 mm wide in card and plywood, none has two such strips.
MOST_STRIPS, MOST, STRIP = 60, 0.75, 0.2
#: Islands that are let go are opened this much further all round, in mm: more than the grid's step.
_HAIR = 0.005
#: Times that islands are weighed against their bridges; once where there are more than so many, or
#: more than so many of so many corners: hundreds of rings in rings.
_MOST_ROUNDS, _MANY, _MANY_DRAWN, _CORNERS = 3, 500, 100, 50_000
#: Once, too, where there are more than so many and ``MOST`` of them are rings narrower than this
#: share of a bridge: so many rings in rings hang on each other all, and each round is as long.
_MANY_RINGS, _THIN = 60, 0.5


@dataclass(frozen=True)
class SupportedLayer:
    """A layer's sheet before and after support.

    Parameters
    ----------
    plain : Sheet
        As drawn, islands and all; openings that the artist had widened are wide.
    held : Supported
    findings : tuple of Finding
        In the order in which the work goes; those of ``held`` among them.
    let_go : tuple of LetGo
        Islands that were not worth their bridges; openings of ``plain`` go over them.
    """

    plain: Sheet
    held: Supported
    findings: tuple[Finding, ...]
    let_go: tuple[LetGo, ...] = ()


def support_layer(
    job: Job,
    settings: LayerSettings,
    artwork: PlacedArtwork,
    rules: Rules,
    damage: DamageMap | None = None,
    progress: Progress | None = None,
    tolerances: Tolerances = TOLERANCES,
    cache: StepCache | None = None,
) -> SupportedLayer:
    """Cut a layer's sheet, mend what the artist accepted, bridge islands, tell narrow places.

    Parameters
    ----------
    job : Job
    settings : LayerSettings
    artwork : PlacedArtwork
    rules : Rules
    damage : DamageMap, optional
    progress : Progress, optional
    tolerances : Tolerances
    cache : StepCache, optional

    Raises
    ------
    GeometryError
        The openings leave nothing of the sheet, or more islands than can be looked through.
    """
    progress = progress or Progress()
    process = job.made_by.kind
    least = job.material.least_bridge(process)
    least_opening = job.material.least_opening(process)
    findings: list[Finding] = []
    points = list(settings.mend_mm)
    if points:
        narrow = kept(cache, narrow_places, artwork.shape, least_opening)
        widened, points = accepted(narrow, points)
        if widened:
            width = np.full(len(widened), least_opening)
            strips = straight_strips([place.spine(least_opening) for place in widened], width)
            shape = as_multipolygon(shapely.union_all([artwork.shape, *strips]))
            artwork = replace(artwork, shape=shape)
    progress(0.0, f"{settings.name}: cutting the sheet")
    islands = int(shapely.get_num_interior_rings(artwork.shape.geoms).sum())
    _not_too_many(islands, settings.name)
    weighed = damage if job.bridges.let_go else None
    if islands > MOST_STRIPS or len(artwork.shape.geoms) > MOST_HANGING:
        # Before minutes are spent on walls between so many; once more when they are cut. Sheet may
        # lie between openings that touch at points, too, and not in a hole of one.
        sheet = shapely.box(0, 0, job.sheet.width_mm, job.sheet.height_mm)
        pieces = shapely.get_parts(shapely.difference(sheet, artwork.shape))
        if weighed is not None:
            pieces = pieces[~smaller_all_round(pieces, least)]
        _not_too_many_hanging(pieces, rules.width, settings.name)
    cut_out = holes(job.registration, job.sheet)
    plain, told = kept(cache, make_sheet, artwork, job.sheet, cut_out, tolerances)
    _not_too_many(len(plain.shape.geoms) - 1, settings.name)
    mends = []
    if points:
        thickened, points = accepted(kept(cache, narrow_places, plain.shape, least), points)
        mends = [mend(place, least) for place in thickened]
    findings += [
        Finding(
            "support.nothing-to-mend",
            Severity.WARNING,
            "mend_mm of the layer names this place, but nothing near it is too narrow.",
            settings.name,
            point,
        )
        for point in points
    ]
    gone: list[LetGo] = []
    if weighed is not None:
        by_hand = [*(LineString(d.line) for d in rules.drawn), *(LineString(m.path) for m in mends)]
        gone += crowd_to_let_go(plain, weighed, least, settings.keep_mm, by_hand)
        if gone:
            artwork = _with_opened(artwork, gone)
            plain, told = kept(cache, make_sheet, artwork, job.sheet, plain.holes, tolerances)

    settled = rules.settled
    stays: Sequence[LineString] = ()
    if weighed is not None and settled is not None:
        again = let_go_again(plain, weighed, least, settled.let_go, settings.keep_mm, by_hand)
        if again:
            gone += again
            artwork = _with_opened(artwork, again)
            plain, told = kept(cache, make_sheet, artwork, job.sheet, plain.holes, tolerances)
        stays = [LineString(path) for path in settled.paths]

    def bridged(part: Progress) -> Supported:
        hold = partial(
            hold_islands, plain, rules.width, rules=rules, damage=damage, mends=mends, cache=cache
        )
        return watched(part, hold)

    progress(0.1, f"{settings.name}: looking what holds what")
    _not_too_many_hanging(shapely.get_parts(plain.shape), rules.width, settings.name)
    held = bridged(progress.part(0.1, 0.5))
    if weighed is not None:
        # Cut away, they may leave crumbs that touched them at a point: looked at once more.
        count = len(plain.shape.geoms)
        fine = count > _MANY_DRAWN and shapely.get_num_coordinates(plain.shape) > _CORNERS
        many = count > _MANY or fine or _mostly_rings(plain.shape, rules.width)
        for round_ in range(1 if many else _MOST_ROUNDS):
            more = islands_to_let_go(
                plain, held, weighed, least, settings.keep_mm, stays, rules.stated_width
            )
            if not more:
                break
            gone += more
            artwork = _with_opened(artwork, more)
            plain, told = kept(cache, make_sheet, artwork, job.sheet, plain.holes, tolerances)
            held = bridged(progress.part(0.5 + 0.1 * round_, 0.6 + 0.1 * round_))
        findings += let_go_findings(gone, settings.name)
        if many and more:
            findings.append(
                Finding(
                    "support.weighed-once",
                    Severity.NOTE,
                    f"Of so many islands ({count - 1}) those worth less than their bridges "
                    "were sought only once: some that are left may be, too.",
                    settings.name,
                )
            )
    findings += held.findings
    findings += lost_findings(plain, held)
    what = f"{settings.name}: looking for narrow places"
    searching = progress.part(0.8, 1.0)
    narrow = kept(cache, _narrow, held.sheet.shape, least, what=what, progress=searching)
    slits = kept(cache, _narrow, held.sheet.openings, least_opening, what=what, progress=searching)
    findings += narrow_findings(narrow, least, settings.name, opening=False)
    narrow = _drawn_narrow(slits, told, tolerances)
    findings += narrow_findings(
        narrow,
        least_opening,
        settings.name,
        opening=True,
        strips=[bridge.shape for bridge in held.bridges],
    )
    return SupportedLayer(plain, held, (*told, *findings), tuple(gone))


def _not_too_many(islands: int, layer: str) -> None:
    if islands > MOST_ISLANDS:
        raise GeometryError(
            f"{layer}: {islands} pieces of sheet would fall out, more than the {MOST_ISLANDS} that "
            "can be looked through; it looks like hatching or noise. Draw it as areas, or with "
            "fewer lines."
        )


def _not_too_many_hanging(pieces: Geometries, width: float, layer: str) -> None:
    """Refuse a sheet of too many small or thin islands that only other islands could hold."""
    areas, around = shapely.area(pieces), shapely.length(pieces)
    crumbs, strips = areas < (CRUMB * width) ** 2, _strips(pieces, STRIP * width)
    # Half of those that hang have to be so. What is nearest to what is looked for only then: it is
    # looked for again where bridges are.
    many_crumbs = len(pieces) > MOST_HANGING and crumbs.sum() > MOST_HANGING / 2
    if not many_crumbs and strips.sum() <= MOST_STRIPS * MOST:
        return
    nearest = spanning_gaps(pieces.tolist(), first_reach=2 * width).pieces
    frame = largest_piece(pieces.tolist())
    free = np.ones(len(pieces), bool)
    free[nearest[(nearest == frame).any(axis=1)]] = False
    free[frame] = False
    hanging = int(free.sum())
    few = f"{layer}: {len(pieces) - 1} pieces of sheet would fall out, and {hanging} of them could "
    few += "be held by each other only. "
    if hanging > MOST_HANGING and np.median(areas[free]) < (CRUMB * width) ** 2:
        raise GeometryError(
            f"{few}Most are under {np.median(areas[free]):.2g} mm2, hardly more than a bridge; it "
            "looks like hatching or noise. Draw it as areas, or with fewer lines."
        )
    if hanging > MOST_STRIPS and strips[free].sum() > MOST * len(pieces):
        wide = float(np.median(2 * areas[free] / around[free]))
        raise GeometryError(
            f"{few}Most are strips about {wide:.2g} mm wide, less than a fifth of the bridges that "
            f"would hold them ({width:g} mm). Make the drawing larger, or draw fewer lines."
        )


def _strips(pieces: Geometries, width: float) -> Bools:
    """Return which pieces are narrower than a width for the most part, as by area and outline."""
    strips: Bools = 2 * shapely.area(pieces) < width * shapely.length(pieces)
    return strips


def _mostly_rings(shape: MultiPolygon, width: float) -> bool:
    """Return whether so many islands are thin rings that they are weighed once only."""
    pieces = np.delete(shapely.get_parts(shape), largest_piece(list(shape.geoms)))
    thin = _strips(pieces, _THIN * width) & (shapely.get_num_interior_rings(pieces) > 0)
    return bool(thin.sum() > max(_MANY_RINGS, MOST * len(pieces)))


def _with_opened(artwork: PlacedArtwork, islands: Sequence[LetGo]) -> PlacedArtwork:
    """Return artwork that covers islands too."""
    # Sheet lies on a grid, and artwork does not: a hair between them would stay as a needle. Where
    # an island fills a hole, the hole is left out: to unite thousands takes minutes.
    opened = [island.shape.buffer(_HAIR, join_style="mitre") for island in islands]
    parts, filled = with_holes_filled(shapely.get_parts(artwork.shape), np.array(opened, object))
    if filled.all():
        return replace(artwork, shape=shapely.multipolygons(parts))
    parts = np.append(parts, np.array(opened, object)[~filled])
    return replace(artwork, shape=unite(parts))


def _narrow(
    shape: MultiPolygon, width: float, *, what: str, progress: Progress
) -> list[NarrowPlace]:
    """Look for narrow places, which on a mural takes a minute, so that it can be left meanwhile."""

    def search(own: Progress) -> list[NarrowPlace]:
        return narrow_places(shape, width, Progress(lambda share, _: own(share, what)))

    return watched(progress, search)


def _drawn_narrow(
    narrow: Sequence[NarrowPlace], told: Sequence[Finding], tolerances: Tolerances
) -> list[NarrowPlace]:
    """Return the narrow places without the slits that part sheet where it touches itself.

    They are there because sheet of no width holds nothing, are told of by themselves, and widening
    one would change the picture.
    """
    slits = [f.place for f in told if f.code == TOUCHES_AT_POINT and f.place is not None]
    if not slits:
        return list(narrow)
    slit = 4 * tolerances.pinch  # its diagonal, and the grid's rounding
    points = shapely.multipoints(slits)
    return [
        place
        for place in narrow
        if place.width_mm > slit or shapely.distance(points, shapely.points(place.place)) > slit
    ]
