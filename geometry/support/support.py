"""Support: from a layer's artwork to a sheet that holds together, and what is told on the way."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely

from ..finding import Finding, Severity
from ..job.job import Job
from ..job.sections import LayerSettings
from ..planar.narrow import narrow_places
from ..planar.polygons import as_multipolygon
from ..planar.strips import straight_strips
from ..progress import Progress
from ..sheet.registration import holes
from ..sheet.sheet import PlacedArtwork, Sheet, make_sheet
from ..tolerance import TOLERANCES, Tolerances
from .bridges import Supported, hold_islands
from .constraints import Rules
from .lost import lost_findings
from .repairs import accepted, mend, narrow_findings
from .visible_damage import DamageMap


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
    """

    plain: Sheet
    held: Supported
    findings: tuple[Finding, ...]


def support_layer(
    job: Job,
    settings: LayerSettings,
    artwork: PlacedArtwork,
    rules: Rules,
    damage: DamageMap | None = None,
    progress: Progress | None = None,
    tolerances: Tolerances = TOLERANCES,
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

    Raises
    ------
    GeometryError
        The openings leave nothing of the sheet.
    """
    progress = progress or Progress()
    process = job.made_by.kind
    least = job.material.least_bridge(process)
    least_opening = job.material.least_opening(process)
    findings: list[Finding] = []
    points = list(settings.mend_mm)
    if points:
        widened, points = accepted(narrow_places(artwork.shape, least_opening), points)
        if widened:
            width = np.full(len(widened), least_opening)
            strips = straight_strips([place.spine(least_opening) for place in widened], width)
            shape = as_multipolygon(shapely.union_all([artwork.shape, *strips]))
            artwork = replace(artwork, shape=shape)
    progress(0.0, f"{settings.name}: cutting the sheet")
    plain, told = make_sheet(artwork, job.sheet, holes(job.registration, job.sheet), tolerances)
    findings += told
    mends = []
    if points:
        thickened, points = accepted(narrow_places(plain.shape, least), points)
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
    held = hold_islands(
        plain, rules.width, progress.part(0.1, 0.8), rules=rules, damage=damage, mends=mends
    )
    findings += held.findings
    findings += lost_findings(plain, held)
    progress(0.8, f"{settings.name}: looking for narrow places")
    narrow = narrow_places(held.sheet.shape, least)
    findings += narrow_findings(narrow, least, settings.name, opening=False)
    narrow = narrow_places(held.sheet.openings, least_opening)
    findings += narrow_findings(
        narrow,
        least_opening,
        settings.name,
        opening=True,
        strips=[bridge.shape for bridge in held.bridges],
    )
    return SupportedLayer(plain, held, tuple(findings))
