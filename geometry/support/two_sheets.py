"""Two sheets of one colour that together paint a whole opening, with no bridge to be seen.

The first sheet has bridges, the shortest, for nobody will see them. The second is cut only where
those bridges are, a little larger: it paints the gaps. It needs no bridge as a rule, for the rest
of the opening is sheet there. Where even so something would fall out of it, it is bridged where the
first sheet paints, as far as that can be; what neither paints is told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import shapely
from shapely import MultiPolygon

from ..finding import Finding, Severity
from ..job.job import Job
from ..job.sections import LayerSettings
from ..planar.polygons import as_multipolygon
from ..progress import Progress
from ..sheet.sheet import PlacedArtwork
from ..step_cache import StepCache
from ..tolerance import TOLERANCES, Tolerances
from .bridges import Supported, with_damage
from .constraints import Rules
from .laying import SPOT
from .settled import settled_for
from .support import SupportedLayer, support_layer
from .visible_damage import Coat, DamageMap

#: Spots within this of a bridge, in mm, lie beside it.
_BESIDE = 0.05


@dataclass(frozen=True)
class Part:
    """One sheet of a layer: its settings with the sheet's name, what it shall paint, the sheet."""

    settings: LayerSettings
    artwork: PlacedArtwork
    supported: SupportedLayer


def split_layer(
    job: Job,
    settings: LayerSettings,
    artwork: PlacedArtwork,
    rules: Rules,
    below: Sequence[Coat],
    above: Sequence[Coat],
    progress: Progress,
    tolerances: Tolerances = TOLERANCES,
    care: Sequence[tuple[MultiPolygon, float]] = (),
    cache: StepCache | None = None,
) -> list[Part]:
    """Make two sheets of a layer that together paint all of it; one where one is enough.

    Parameters
    ----------
    job : Job
    settings : LayerSettings
    artwork : PlacedArtwork
    rules : Rules
        Of the layer; bridges drawn by hand are laid in the first sheet.
    below, above : sequence of Coat
        The other layers' paint in spray order.
    progress : Progress
    tolerances : Tolerances
    care : sequence of (MultiPolygon, float)
        Parts of the sheet where damage counts so many times.
    cache : StepCache, optional

    Returns
    -------
    list of Part
        In spray order; one, of the layer's own name, where no bridge is needed.
    """
    names = settings.sheet_names
    single = replace(settings, split=False)
    a = replace(single, name=names[0])
    first_artwork = replace(artwork, layer=a.name)
    half, rest = progress.part(0.0, 0.5), progress.part(0.5, 1.0)
    its = replace(rules, settled=settled_for(job, a.name, rules))
    first = support_layer(job, a, first_artwork, its, None, half, tolerances, cache)
    least = job.material.least_opening(job.made_by.kind)
    overlap = job.bridges.seam_overlap_mm
    gaps = gaps_to_paint(artwork.shape, first.held, overlap, least)
    coat = Coat(artwork.shape, settings.colour, settings.opacity)
    if gaps.is_empty:
        damage = DamageMap(coat, below, above, job.ground, care)
        alone = support_layer(job, single, artwork, rules, damage, rest, tolerances, cache)
        told = Finding(
            "split.needless",
            Severity.NOTE,
            "This layer needs no bridge, so one sheet is enough.",
            single.name,
        )
        return [Part(single, artwork, replace(alone, findings=(*alone.findings, told)))]
    b = replace(single, name=names[1], mend_mm=())
    second_artwork = replace(artwork, layer=b.name, shape=gaps, findings=())
    painted = Coat(first.held.sheet.openings, settings.colour)
    to_paint = Coat(gaps, settings.colour)
    spoilt = DamageMap(to_paint, below, [painted, *above], job.ground, care)
    own = replace(rules, drawn=(), forbidden=(), settled=settled_for(job, b.name, rules))
    second = support_layer(job, b, second_artwork, own, spoilt, rest, tolerances, cache)
    more = split_findings(artwork.shape, first.held, second.held, b.name, rules.width)
    second = replace(second, findings=(*second.findings, *more))
    # What the first sheet's bridges spoil is known only now: what the second leaves bare.
    covering = Coat(second.held.sheet.openings, settings.colour)
    left = DamageMap(coat, below, [covering, *above], job.ground)
    first = replace(first, held=with_damage(first.held, left))
    return [Part(a, first_artwork, first), Part(b, second_artwork, second)]


def gaps_to_paint(
    wanted: MultiPolygon, first: Supported, overlap: float, least_opening: float
) -> MultiPolygon:
    """Return what the second sheet has to open: what the first leaves bare, and an overlap.

    Parameters
    ----------
    wanted : MultiPolygon
        The layer's artwork.
    first : Supported
        Its first sheet.
    overlap : float
        How far the second coat runs over the first at the seams, in mm.
    least_opening : float
        Gaps are widened so that the second sheet's openings are not narrower, in mm.

    Returns
    -------
    MultiPolygon
        Within the artwork.
    """
    strips = [b.shape for b in first.bridges]
    if not strips:
        return MultiPolygon()
    thin = min(b.width for b in first.bridges) + 2 * overlap
    grow = max(overlap, overlap + (least_opening - thin) / 2)
    bare = wanted.difference(first.sheet.openings)
    # Only beside bridges: a registration hole or a slit leaves a bare spot too, on purpose.
    near = shapely.union_all(strips).buffer(_BESIDE)
    bare = bare.intersection(near).buffer(grow, quad_segs=8)
    return as_multipolygon(bare.intersection(wanted))


def split_findings(
    wanted: MultiPolygon, first: Supported, second: Supported, layer: str, width: float
) -> tuple[Finding, ...]:
    """Return a finding for each spot of the artwork that neither sheet paints.

    Parameters
    ----------
    wanted : MultiPolygon
    first, second : Supported
    layer : str
    width : float
        Of a bridge in mm; spots under a fiftieth of its square are none.
    """
    painted = shapely.union_all([first.sheet.openings, second.sheet.openings])
    strips = shapely.union_all([b.shape for b in (*first.bridges, *second.bridges)])
    bare = as_multipolygon(wanted.difference(painted).intersection(strips.buffer(_BESIDE)))
    return tuple(
        Finding(
            "split.bare",
            Severity.WARNING,
            f"Neither of the two sheets paints this spot of {spot.area:.1f} mm2: something would "
            "fall out of both.",
            layer,
            (spot.representative_point().x, spot.representative_point().y),
        )
        for spot in bare.geoms
        if spot.area > SPOT * width * width
    )
