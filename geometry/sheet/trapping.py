"""Trap: lower layers let run under upper ones, so that a little drift leaves no gap.

The finished picture stays the same: a layer grows only where later, opaque layers cover it, and
not so far that it would come near the other edge of what covers it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from ..colour import hides
from ..finding import Finding, Severity
from ..planar.morphology import QUARTER_SEGMENTS
from ..planar.polygons import as_multipolygon
from ..planar.union import unite
from ..tolerance import TOLERANCES
from .sheet import PlacedArtwork

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
    """Let a layer run under its cover, part by part: only what lies near a part matters to it."""
    parts, covers = shapely.get_parts(shape), shapely.get_parts(cover)
    bounds = shapely.bounds(parts)
    # What grows reaches one trap far, and is held back from edges within another.
    reach = 3 * trap
    windows = shapely.box(*(bounds[:, :2] - reach).T, *(bounds[:, 2:] + reach).T)
    by_cover, near_cover = shapely.STRtree(covers).query(windows)
    by_own, near_own = shapely.STRtree(parts).query(windows)
    added: list[Polygon] = []
    for number, part in enumerate(parts):
        above = covers[near_cover[by_cover == number]]
        if not len(above):
            continue
        rect = windows[number].bounds
        here = shapely.union_all([shapely.clip_by_rect(c, *rect) for c in above])
        own = shapely.union_all(
            [shapely.clip_by_rect(p, *rect) for p in parts[near_own[by_own == number]]]
        )
        added += _additions(part, own, here, trap)
    return unite(np.array([*parts, *added], object)) if added else shape


def _additions(
    part: Polygon, own: shapely.Geometry, cover: shapely.Geometry, trap: float
) -> list[Polygon]:
    """Return what one part of a layer gains under its cover."""
    # Only near where the two meet is there anything to gain.
    seam = shapely.intersection(shapely.boundary(part), cover)
    if seam.is_empty:
        return []
    reach = shapely.buffer(seam, trap, quad_segs=QUARTER_SEGMENTS)
    free = shapely.intersection(reach, cover)
    # Held back from the far edges of the cover, along which it would peek out.
    both = shapely.union(cover, own)
    bare_edges = shapely.boundary(both)
    edges = shapely.intersection(bare_edges, shapely.buffer(reach, trap))
    sides = shapely.difference(
        edges, shapely.buffer(shapely.intersection(seam, bare_edges), TOLERANCES.same_point)
    )
    margin = shapely.buffer(
        shapely.difference(sides, shapely.boundary(own)), trap, quad_segs=QUARTER_SEGMENTS
    )
    gained = [
        piece
        for piece in as_multipolygon(shapely.difference(free, margin)).geoms
        if piece.area > 0.01 * trap * trap and piece.distance(part) < TOLERANCES.same_point
    ]
    # A little overlap, so that the seam leaves no hair's breadth behind.
    wide = shapely.intersection(shapely.buffer(gained, SEAM, join_style="mitre"), both)
    return [p for w in wide for p in as_multipolygon(w).geoms]


def trapped(
    artworks: Sequence[PlacedArtwork], opacities: Sequence[float], trap: float
) -> tuple[PlacedArtwork, ...]:
    """Apply a job's trap to its placed artworks; each layer that grew gets a finding.

    Parameters
    ----------
    artworks : sequence of PlacedArtwork
    opacities : sequence of float
        Of each layer's paint; 1 hides what is below.
    trap : float
        ``registration.trap_mm``.
    """
    if trap == 0:
        return tuple(artworks)
    shapes = let_under([a.shape for a in artworks], [hides(opacity) for opacity in opacities], trap)
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
