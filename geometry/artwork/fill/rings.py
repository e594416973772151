"""Contours to clean rings: nonsense refused; repeats, specks and second copies left out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from ...arrays import Bools, Floats, Geometries, Indices
from ...errors import ArtworkError
from ...planar.graph import members_of
from ...tolerance import Tolerances
from .contour import Compound, Contour
from .repairs import Repairs

#: A coordinate beyond this (1 km) is a mistake of the file, not a stencil.
ABSURD_MM = 1e6

#: A tolerance of zero still needs a grid to compare rings on, in mm.
_LEAST_GRID = 1e-12
#: Rings whose boxes are alike to so many tolerances are compared point by point.
_ALIKE = 8


@dataclass(frozen=True, eq=False)
class Rings:
    """Rings of at least three points, and what is known of each."""

    shapes: Geometries  # LinearRing
    owner: Indices
    first: Floats  # (n, 2) first vertex
    area: Floats  # signed
    simple: Bools
    names: list[str]

    def where(self, keep: Bools) -> Rings:
        """Return the rings that ``keep`` marks."""
        if keep.all():
            return self
        return Rings(
            self.shapes[keep],
            self.owner[keep],
            self.first[keep],
            self.area[keep],
            self.simple[keep],
            [name for name, k in zip(self.names, keep, strict=True) if k],
        )


def clean_rings(
    compounds: Sequence[Compound], tolerances: Tolerances, what: str, told: Repairs
) -> Rings:
    """Make rings of contours: repeated points merged, gaps closed, what has no area left out.

    Parameters
    ----------
    compounds : sequence of Compound
    tolerances : Tolerances
    what : str
        Start of the sentence of an error.
    told : Repairs
        Gets what was repaired or left out.

    Raises
    ------
    ArtworkError
        A coordinate is not finite or beyond ``ABSURD_MM``.
    """
    contours = [c for compound in compounds for c in compound.contours if len(c.points)]
    owner = np.array(
        [i for i, compound in enumerate(compounds) for c in compound.contours if len(c.points)],
        dtype=np.int64,
    )
    if not contours:
        none = np.empty(0)
        return Rings(np.empty(0, object), owner, np.empty((0, 2)), none, np.empty(0, bool), [])
    points = np.concatenate([np.asarray(c.points, np.float64)[:, :2] for c in contours])
    length = np.array([len(c.points) for c in contours])
    _refuse_absurd(points, length, contours, compounds, owner, what)

    begin = np.concatenate(([0], np.cumsum(length)))
    ring = np.repeat(np.arange(len(contours)), length)
    step = np.hypot(*np.diff(points, axis=0).T) if len(points) > 1 else np.empty(0)
    keep = np.concatenate(([True], (step > tolerances.same_point) | (ring[1:] != ring[:-1])))
    firsts, lasts = points[begin[:-1]], points[begin[1:] - 1]
    gap = np.hypot(*(lasts - firsts).T)
    # A last point that repeats the first is dropped; where points before it were merged into it,
    # the kept one of them is as near to the first, to within rounding.
    closing = (gap <= tolerances.same_point) & (length > 1)
    last_kept = np.maximum.accumulate(np.where(keep, np.arange(len(points)), 0))[begin[1:] - 1]
    keep[last_kept[closing & (last_kept > begin[:-1])]] = False

    counts = np.add.reduceat(keep.astype(np.int64), begin[:-1])
    for index in np.flatnonzero(counts < 3):
        told.add(
            int(owner[index]),
            "artwork.no-area",
            "encloses no area and was left out.",
            firsts[index],
            name=contours[index].name,
        )
    good = counts >= 3
    area = np.zeros(len(contours))
    points, counts = points[keep & np.repeat(good, length)], counts[good]
    area[good] = _signed_areas(points, counts)
    # A closing line matters only where it bounds something.
    is_open = np.array([not c.closed for c in contours]) & (gap > tolerances.join)
    for index in np.flatnonzero(is_open & (np.abs(area) >= tolerances.least_area)):
        told.add(
            int(owner[index]),
            "artwork.open-path",
            f"is open by {gap[index]:.3g} mm; it was closed by a straight line.",
            lasts[index],
            name=contours[index].name,
            size=float(gap[index]),
        )

    if len(counts) == 0:
        shapes: Geometries = np.empty(0, object)
    else:
        shapes = shapely.linearrings(points, indices=np.repeat(np.arange(len(counts)), counts))
    return Rings(
        shapes,
        owner[good],
        firsts[good],
        area[good],
        shapely.is_simple(shapes),
        [c.name for c, g in zip(contours, good, strict=True) if g],
    )


def _refuse_absurd(
    points: Floats,
    length: Indices,
    contours: Sequence[Contour],
    compounds: Sequence[Compound],
    owner: Indices,
    what: str,
) -> None:
    bad = ~(np.abs(points) <= ABSURD_MM).all(axis=1)  # also true for NaN
    if not bad.any():
        return
    at = int(np.flatnonzero(bad)[0])
    index = int(np.searchsorted(np.cumsum(length), at, side="right"))
    name = contours[index].name or compounds[int(owner[index])].name or "an outline"
    value = points[at][~(np.abs(points[at]) <= ABSURD_MM)][0]
    if np.isfinite(value):
        reason = f"a coordinate of {value:.4g} mm, expected less than {ABSURD_MM:.0f} mm"
    else:
        reason = f"a coordinate that is not a finite number ({value})"
    raise ArtworkError(f"{what}: {name} has {reason}.")


def _signed_areas(points: Floats, counts: Indices) -> Floats:
    """Shoelace area of each ring, taken about its first vertex to keep the digits."""
    if len(counts) == 0:
        return np.empty(0)
    begin = np.concatenate(([0], np.cumsum(counts)[:-1]))
    local = points - np.repeat(points[begin], counts, axis=0)
    # About the first vertex the two terms that close the ring are zero.
    cross = local[:-1, 0] * local[1:, 1] - local[1:, 0] * local[:-1, 1]
    cross[begin[1:] - 1] = 0.0
    area: Floats = 0.5 * np.add.reduceat(np.append(cross, 0.0), begin)
    return area


def drop_specks(rings: Rings, tolerances: Tolerances, told: Repairs) -> Rings:
    """Leave out simple rings that enclose less than the least area.

    Parameters
    ----------
    rings : Rings
    tolerances : Tolerances
    told : Repairs
        Gets what was left out.
    """
    speck = rings.simple & (np.abs(rings.area) < tolerances.least_area)
    for index in np.flatnonzero(speck):
        told.add(
            int(rings.owner[index]),
            "artwork.speck",
            f"encloses less than {tolerances.least_area:g} mm2 and was left out.",
            rings.first[index],
            name=rings.names[index],
        )
    return rings.where(~speck)


def drop_duplicates(
    rings: Rings, compounds: Sequence[Compound], tolerances: Tolerances, told: Repairs
) -> Rings:
    """Drop second copies within a compound; tell of those between compounds, which harm nothing.

    Parameters
    ----------
    rings : Rings
    compounds : sequence of Compound
    tolerances : Tolerances
    told : Repairs
        Gets what was found.
    """
    if len(rings.shapes) < 2:
        return rings
    grid = max(tolerances.same_point, _LEAST_GRID)
    key = np.column_stack(
        [
            shapely.get_num_coordinates(rings.shapes),
            np.round(shapely.bounds(rings.shapes) / (_ALIKE * grid)),
        ]
    )
    _, same, crowd = np.unique(key, axis=0, return_inverse=True, return_counts=True)
    same = same.reshape(-1)
    suspects = np.flatnonzero(crowd[same] > 1)
    if len(suspects) == 0:
        return rings
    normal = shapely.normalize(shapely.polygons(rings.shapes[suspects]))
    keep = np.ones(len(rings.shapes), bool)
    for members in members_of(same[suspects], np.arange(len(suspects))):
        originals: list[tuple[int, dict[int, int]]] = []  # a ring, and its first copy per owner
        for m in members:
            index = int(suspects[m])
            owner = int(rings.owner[index])
            copies = next((c for o, c in originals if _same_ring(normal[o], normal[m], grid)), None)
            if copies is None:
                originals.append((int(m), {owner: index}))
                continue
            loud = [i for o, i in copies.items() if not compounds[o].quiet]
            if owner not in copies:
                if loud:
                    twin = rings.names[loud[0]] or compounds[int(rings.owner[loud[0]])].name
                    sentence = f"is the same shape in the same place as {twin or 'another'}."
                copies[owner] = index
            elif compounds[owner].keep_duplicates:
                sentence = "lies exactly on another of its outlines; the fill rule decided."
            else:
                keep[index] = False
                sentence = "lies exactly on another of its outlines and was left out."
            if loud:
                told.add(
                    owner,
                    "artwork.duplicate",
                    sentence,
                    rings.first[index],
                    name=rings.names[index],
                )
    return rings.where(keep)


def _same_ring(a: Any, b: Any, grid: float) -> bool:
    return bool(shapely.equals_exact(a, b, tolerance=grid))
