"""Trap: lower layers let run under upper ones, so that a little drift leaves no gap.

The finished picture stays the same: a layer grows only where later, opaque layers cover it, and
not so far that it would come near the other edge of what covers it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely import MultiPolygon

from .finding import Finding, Severity
from .job import LayerSettings
from .sheet import PlacedArtwork, as_multipolygon

#: Opacity from which on a paint hides what runs under it.
HIDES = 0.95
#: Overlap of what is added with the layer itself, in mm.
SEAM = 2e-3
#: Growth under this area in mm2 is not worth telling.
LEAST_TOLD = 1.0


def let_under(
    shapes: Sequence[MultiPolygon], hides: Sequence[bool], trap: float
) -> list[MultiPolygon]:
    """Let each layer run under the later ones.

    Parameters
    ----------
    shapes : sequence of MultiPolygon
        What each layer paints, in spray order, in mm.
    hides : sequence of bool
        Whether each layer's paint hides what is below.
    trap : float
        How far, in mm; 0 leaves all as it is.

    Returns
    -------
    list of MultiPolygon

    Examples
    --------
    >>> from shapely import box
    >>> butting = [MultiPolygon([box(0, 0, 10, 10)]), MultiPolygon([box(10, 0, 30, 10)])]
    >>> let_under(butting, [True, True], 1.5)[0].bounds
    (0.0, 0.0, 11.502, 10.0)
    """
    if trap == 0:
        return list(shapes)
    grown = []
    for number, shape in enumerate(shapes):
        later = [s for s, h in zip(shapes[number + 1 :], hides[number + 1 :], strict=True) if h]
        if not later or shape.is_empty:
            grown.append(shape)
            continue
        grown.append(_grown(shape, shapely.union_all(later), trap))
    return grown


def _grown(shape: MultiPolygon, cover: shapely.Geometry, trap: float) -> MultiPolygon:
    # Only near where the two meet is there anything to gain.
    seam = shapely.intersection(shapely.boundary(shape), cover)
    if seam.is_empty:
        return shape
    reach = shapely.buffer(seam, trap, quad_segs=16)
    free = shapely.intersection(reach, cover)
    # Held back from the far edges of the cover, along which it would peek out.
    both = shapely.union(cover, shape)
    bare_edges = shapely.boundary(both)
    edges = shapely.intersection(bare_edges, shapely.buffer(reach, trap))
    sides = shapely.difference(edges, shapely.buffer(shapely.intersection(seam, bare_edges), 1e-6))
    margin = shapely.buffer(shapely.difference(sides, shapely.boundary(shape)), trap, quad_segs=16)
    added = [
        part
        for part in as_multipolygon(shapely.difference(free, margin)).geoms
        if part.area > 0.01 * trap * trap and part.distance(shape) < 1e-6
    ]
    # A little overlap, so that the seam leaves no hair's breadth behind.
    wide = shapely.intersection(shapely.buffer(added, SEAM, join_style="mitre"), both)
    return as_multipolygon(shapely.union_all([shape, *wide]))


def trapped(
    artworks: Sequence[PlacedArtwork], layers: Sequence[LayerSettings], trap: float
) -> tuple[PlacedArtwork, ...]:
    """Apply a job's trap to its placed artworks; each layer that grew gets a finding.

    Parameters
    ----------
    artworks : sequence of PlacedArtwork
    layers : sequence of LayerSettings
    trap : float
        ``registration.trap_mm``.
    """
    if trap == 0:
        return tuple(artworks)
    shapes = let_under([a.shape for a in artworks], [s.opacity >= HIDES for s in layers], trap)
    result = []
    for artwork, shape in zip(artworks, shapes, strict=True):
        added = float(shape.area - artwork.shape.area)
        findings = artwork.findings
        if added > LEAST_TOLD:
            where = shapely.point_on_surface(shapely.difference(shape, artwork.shape))
            findings = (
                *findings,
                Finding(
                    "registration.trapped",
                    Severity.NOTE,
                    f"Let run up to {trap:g} mm under later layers, {np.round(added / 100, 1):g} "
                    "cm2 in all, as the job asks; the finished picture stays the same.",
                    artwork.layer,
                    (where.x, where.y),
                    trap,
                ),
            )
        result.append(replace(artwork, shape=shape, findings=findings))
    return tuple(result)
