"""Mismatch: a layer drawn at another scale, shifted, or without the marks that the others have.

Two witnesses. Round marks that layers share tell exactly: those of a faulty layer are the same
marks scaled, turned or shifted, or one is missing. Without marks the edges tell: colours that
belong together share long stretches of outline, and a shift under which they suddenly do is
suspicious, as is a layer much larger or smaller than all others by a factor between known units.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon

from ..arrays import Floats
from ..finding import Finding, Severity
from ..job.sections import SheetSettings
from ..tolerance import NOT_ZERO
from .sheet import PlacedArtwork

Complexes = NDArray[np.complex128]

#: A round mark: 4 pi area / perimeter^2 above this, and its size in mm.
ROUNDNESS = 0.97
MARK_SIZES = (1.5, 25.0)
#: Marks of two layers this near are one mark.
SAME_PLACE = 0.05
#: Factors that come of reading one unit as another.
UNIT_FACTORS = {
    25.4: "inches read as mm",
    1 / 25.4: "mm read as inches",
    96 / 25.4: "px read as mm (96 an inch)",
    25.4 / 96: "mm read as px (96 an inch)",
    72 / 25.4: "pt read as mm (72 an inch)",
    25.4 / 72: "mm read as pt (72 an inch)",
    96 / 72: "pt read as px",
    72 / 96: "px read as pt",
    90 / 96: "an old drawing at 90 px an inch",
    96 / 90: "an old drawing at 90 px an inch",
    10.0: "mm read as cm",
    0.1: "cm read as mm",
}
#: Length of edge that must fall together under a shift: beside what does without one, and in
#: standard deviations over all shifts. The demos shifted by hand gave at least 1.5 and 9.6, a layer
#: that shares no edges with the others 7.6 at most.
CLEARER = 1.3
STANDS_OUT = 8.5
#: On pages of one size, which tell that layers lie in place: the deviations, and the farthest shift
#: as a share of the sheet's shorter side. (Of 198 pictures split by colour none was told wrongly,
#: and 28 were found of as many with a layer shifted by 3 to 12 % of the side.)
ON_PAGE_STANDS_OUT, ON_PAGE_FARTHEST = 18.0, 0.12
#: Share of a layer's edge that must lie on others' edges to tell its place, and how much one way
#: (cosine of twice the angle) they must run.
SHARED, SAME_WAY = 0.15, 0.9
#: Side of the pixels that edges are compared by in mm, and the nearest shift they can tell.
PIXEL = 1.0
LEAST_SHIFT = 5.0
#: Pixels of a sheet at most; beyond, they get bigger.
MOST_PIXELS = 1_000_000
#: Pages whose sides differ by less (mm) are of one size: lengths in px are rounded to that.
SAME_PAGE = 0.05


@dataclass(frozen=True)
class Fit:
    """How one layer's marks lie against the others': scaled, turned, then shifted.

    Parameters
    ----------
    scale : float
    turn_deg : float
    shift : tuple of float
        Of the sheet's centre, in mm.
    error_mm : float
        Farthest that a mark lies from its fellow after that.
    """

    scale: float
    turn_deg: float
    shift: tuple[float, float]
    error_mm: float


def round_marks(shape: MultiPolygon) -> tuple[Floats, Floats]:
    """Return the centres (n, 2) and diameters (n,) of the round openings of a layer.

    >>> from shapely import Point, box
    >>> shape = MultiPolygon([Point(10, 20).buffer(3, quad_segs=16), box(50, 50, 60, 60)])
    >>> round_marks(shape)[0].round(6).tolist()
    [[10.0, 20.0]]
    """
    parts = shapely.get_parts(shape)
    if not len(parts):
        return np.empty((0, 2)), np.empty(0)
    areas, lengths = shapely.area(parts), shapely.length(parts)
    diameters = np.sqrt(4 * areas / np.pi)
    found = (
        (4 * np.pi * areas > ROUNDNESS * lengths**2)
        & (diameters >= MARK_SIZES[0])
        & (diameters <= MARK_SIZES[1])
    )
    return shapely.get_coordinates(shapely.centroid(parts[found])), diameters[found]


def fit_marks(own: Floats, wanted: Floats, centre: tuple[float, float]) -> Fit:
    """Return the scale, turn and shift that best carry ``wanted`` onto ``own``.

    Parameters
    ----------
    own, wanted : float64 array (n, 2)
        In the same order, n at least 2.
    centre : tuple of float

    Notes
    -----
    Least squares over complex numbers, own = a wanted + b: a = scale x exp(i turn) (the closed form
    of the two-dimensional similarity; Umeyama, 1991, from memory).
    """
    z = (wanted - centre) @ (1, 1j)
    w = (own - centre) @ (1, 1j)
    z0, w0 = z.mean(), w.mean()
    a = ((w - w0) * np.conj(z - z0)).sum() / (np.abs(z - z0) ** 2).sum()
    b = w0 - a * z0
    error = float(np.abs(a * z + b - w).max())
    return Fit(float(abs(a)), float(np.degrees(np.angle(a))), (float(b.real), float(b.imag)), error)


def with_mismatches(
    artworks: Sequence[PlacedArtwork], sheet: SheetSettings
) -> tuple[PlacedArtwork, ...]:
    """Return a job's placed artworks with findings on those that do not register."""
    told = mismatches(
        [artwork.shape for artwork in artworks],
        [artwork.layer for artwork in artworks],
        (sheet.width_mm, sheet.height_mm),
        [artwork.page for artwork in artworks],
    )
    return tuple(
        replace(a, findings=(*a.findings, *(f for f in told if f.layer == a.layer)))
        for a in artworks
    )


def mismatches(
    shapes: Sequence[MultiPolygon],
    names: Sequence[str],
    frame: tuple[float, float],
    pages: Sequence[tuple[float, float] | None] = (),
) -> tuple[Finding, ...]:
    """Find layers that do not register with the others.

    Layers drawn on pages of one size are taken to be in place, and only marks, or edges that fall
    together quite uncommonly well, can tell otherwise: a page read in another unit has another
    size, and edges of a picture's colours fall together under many shifts. (Of 305 pictures split
    by colour, 106 were told to be shifted or scaled by size and ordinary edges.)

    Parameters
    ----------
    shapes : sequence of MultiPolygon
        What each layer paints, in mm.
    names : sequence of str
    frame : tuple of float
        Width and height of the sheet in mm.
    pages : sequence of (float, float) or None, optional
        Size of the page that each layer was drawn on in mm; None where it is unknown.

    Returns
    -------
    tuple of Finding
    """
    if len(shapes) < 2:
        return ()
    by_marks, judged = _by_marks(shapes, names, frame)
    findings = list(by_marks)
    in_place = _on_one_page(pages)
    unknown = [
        k
        for k in range(len(shapes))
        if k not in judged and k not in in_place and not shapes[k].is_empty
    ]
    scaled = [f for k in unknown for f in _by_scale(shapes, k, names[k])]
    findings += scaled
    if unknown and not scaled:
        findings += _by_edges(shapes, unknown, names, frame)
    on_page = [k for k in sorted(in_place) if k not in judged and not shapes[k].is_empty]
    if on_page and not findings:
        farthest = ON_PAGE_FARTHEST * min(frame)
        findings += _by_edges(shapes, on_page, names, frame, ON_PAGE_STANDS_OUT, farthest)
    return tuple(findings)


def place_witnesses(
    shapes: Sequence[MultiPolygon],
    frame: tuple[float, float],
    pages: Sequence[tuple[float, float] | None] = (),
) -> tuple[str, ...]:
    """Return what tells of each layer that it lies in its place.

    Parameters
    ----------
    shapes, frame, pages
        See :func:`mismatches`.

    Returns
    -------
    tuple of str
        ``"marks"`` that it shares with others, ``"edges"`` that it shares with them, and would
        share less of wherever it were shifted to,
        ``"page"`` of one size with another layer's, which tells of no shift on it, or ``""``:
        nothing, so that a shift cannot be found.
    """
    if len(shapes) < 2:
        return ("",) * len(shapes)
    marks = [round_marks(shape) for shape in shapes]
    common = _shared(marks, shapes)
    in_place = _on_one_page(pages)
    pixel = max(PIXEL, float(np.sqrt(frame[0] * frame[1] / MOST_PIXELS)))
    rasters = [_edges(shape, frame, pixel) for shape in shapes]
    total = sum(rasters[1:], start=rasters[0])
    found = []
    for number, (own, _) in enumerate(marks):
        has = [
            len(own) > 0 and bool((np.hypot(*(own - c).T) < SAME_PLACE).any()) for c, _ in common
        ]
        if len(common) >= 2 and all(has):
            found.append("marks")
            continue
        length = np.abs(rasters[number])
        others = total - rasters[number]
        # Edges of both in one pixel, that run the same way.
        along = np.real(others * np.conj(rasters[number]))
        same = along > SAME_WAY * np.abs(others) * length
        shared = float(length[same & (length > 0) & (np.abs(others) > 0)].sum())
        enough = shared > SHARED * float(length.sum()) > 0
        # Edges that would fall together more elsewhere tell of no place.
        if enough and _lies_best(others, rasters[number], frame, pixel):
            found.append("edges")
        else:
            found.append("page" if number in in_place else "")
    return tuple(found)


def _lies_best(others: Complexes, own: Complexes, frame: tuple[float, float], pixel: float) -> bool:
    best = _best_shift(others, own, frame, pixel)
    return CLEARER * best.here >= best.far


def _by_marks(
    shapes: Sequence[MultiPolygon], names: Sequence[str], frame: tuple[float, float]
) -> tuple[list[Finding], set[int]]:
    """Judge layers by the round marks that at least two of them share."""
    marks = [round_marks(shape) for shape in shapes]
    common = _shared(marks, shapes)
    if len(common) < 2:
        return [], set()
    wanted = np.array([c for c, _ in common])
    diameters = np.array([d for _, d in common])
    centre = (frame[0] / 2, frame[1] / 2)
    findings: list[Finding] = []
    for number, name in enumerate(names):
        own, own_sizes = marks[number]
        there = np.array(
            [len(own) > 0 and bool((np.hypot(*(own - c).T) < SAME_PLACE).any()) for c in wanted]
        )
        if there.all():
            continue
        fit = _best_fit(own, own_sizes, wanted, diameters, centre)
        if not there.any() and fit is not None:
            findings.append(_fit_finding(fit, name, wanted[0]))
            continue
        for c in wanted[~there]:
            findings.append(
                Finding(
                    "registration.mark-missing",
                    Severity.WARNING,
                    "A registration mark that the other layers have is missing here: this sheet "
                    "cannot be laid on like the others.",
                    name,
                    (float(c[0]), float(c[1])),
                )
            )
    return findings, set(range(len(shapes)))


def _shared(
    marks: Sequence[tuple[Floats, Floats]], shapes: Sequence[MultiPolygon]
) -> list[tuple[Floats, float]]:
    """Return the marks that two layers or more have at one place, outside all other artwork."""
    everything = np.concatenate([centres for centres, _ in marks])
    sizes = np.concatenate([diameters for _, diameters in marks])
    owner = np.repeat(np.arange(len(shapes)), [len(centres) for centres, _ in marks])
    points = shapely.points(everything)
    first, second = shapely.STRtree(points).query(points, predicate="dwithin", distance=SAME_PLACE)
    alike = (owner[first] != owner[second]) & (np.abs(sizes[first] - sizes[second]) < SAME_PLACE)
    shared = np.unique(first[alike])
    # One of each: the one of the first layer that has it.
    twin = np.minimum(first, second)[alike]
    shared = shared[np.isin(shared, twin)]
    if not len(shared):
        return []
    parts = np.concatenate([shapely.get_parts(shape) for shape in shapes])
    rest = parts[4 * np.pi * shapely.area(parts) <= ROUNDNESS * shapely.length(parts) ** 2]
    x0, y0, x1, y1 = shapely.total_bounds(rest) if len(rest) else (0.0, 0.0, 0.0, 0.0)
    x, y = everything[shared].T
    # A dot amid the drawing is drawing, even where two layers have it.
    apart = (x < x0) | (x > x1) | (y < y0) | (y > y1)
    return [(everything[k], float(sizes[k])) for k in shared[apart].tolist()]


def _best_fit(
    own: Floats, own_sizes: Floats, wanted: Floats, sizes: Floats, centre: tuple[float, float]
) -> Fit | None:
    """Match marks by trying which two of the layer's own are the first two wanted."""
    best: Fit | None = None
    if len(own) < 2:
        return None
    z = wanted @ (1, 1j)
    w = own @ (1, 1j)
    # The two wanted marks farthest apart carry the fit best.
    gaps = np.abs(z[:, None] - z)
    first, second = np.unravel_index(np.argmax(gaps), gaps.shape)
    for i in range(min(len(own), 40)):
        for j in range(min(len(own), 40)):
            if i == j:
                continue
            a = (w[j] - w[i]) / (z[second] - z[first])
            carried = a * (z - z[first]) + w[i]
            nearest = np.abs(carried[:, None] - w).argmin(axis=1)
            if len(set(nearest.tolist())) < len(z):
                continue
            # A mark scaled is scaled in its size too.
            if np.abs(own_sizes[nearest] - abs(a) * sizes).max() > 0.1 * abs(a) * sizes.max():
                continue
            fit = fit_marks(own[nearest], wanted, centre)
            if fit.error_mm < 0.5 and (best is None or fit.error_mm < best.error_mm):
                best = fit
    return best


def _fit_finding(fit: Fit, name: str, place: Floats) -> Finding:
    said = []
    if abs(fit.scale - 1) > 1e-3:
        said.append(f"{100 * fit.scale:.2f} % of the others' size{_unit_hint(fit.scale)}")
    if abs(fit.turn_deg) > 0.05:
        said.append(f"turned by {fit.turn_deg:.2f} degrees")
    distance = float(np.hypot(*fit.shift))
    if distance > SAME_PLACE:
        said.append(f"shifted by {fit.shift[0]:+.2f}, {fit.shift[1]:+.2f} mm")
    code = "scale-differs" if said and "%" in said[0] else "artwork-shifted"
    return Finding(
        f"registration.{code}",
        Severity.SPOILS,
        f"By its marks this layer is {' and '.join(said)}: it will not register.",
        name,
        (float(place[0]), float(place[1])),
        distance,
    )


def _unit_hint(factor: float) -> str:
    for known, meaning in UNIT_FACTORS.items():
        if abs(factor / known - 1) < 0.01:
            return f" (as {meaning})"
    return ""


def _by_scale(shapes: Sequence[MultiPolygon], number: int, name: str) -> list[Finding]:
    """Judge a layer by its extent, where it differs by a factor between units."""
    others = [s for k, s in enumerate(shapes) if k != number and not s.is_empty]
    if not others:
        return []
    own = np.array(shapes[number].bounds)
    rest = shapely.total_bounds(others)
    sides = (own[2:] - own[:2]) / (rest[2:] - rest[:2])
    for known, meaning in UNIT_FACTORS.items():
        # Both sides by the same factor, and too far from 1 to be a matter of what is drawn.
        if 0.4 < known < 2.5 or np.abs(sides / known - 1).max() > 0.3:
            continue
        return [
            Finding(
                "registration.scale-differs",
                Severity.WARNING,
                f"This layer is {sides.mean():.3g} times as large as the others together, near "
                f"{known:.3g}, as {meaning}: look whether it is drawn at another scale.",
                name,
                (float(own[0] + own[2]) / 2, float(own[1] + own[3]) / 2),
            )
        ]
    return []


def _on_one_page(pages: Sequence[tuple[float, float] | None]) -> set[int]:
    """Return the layers whose page has the size of another layer's."""
    return {
        k
        for k, page in enumerate(pages)
        if page is not None
        and any(
            other is not None and number != k and np.allclose(page, other, rtol=0, atol=SAME_PAGE)
            for number, other in enumerate(pages)
        )
    }


def _by_edges(
    shapes: Sequence[MultiPolygon],
    layers: Sequence[int],
    names: Sequence[str],
    frame: tuple[float, float],
    least: float = STANDS_OUT,
    farthest: float = math.inf,
) -> list[Finding]:
    """Find the layer whose edges would fall on those of the others if it were shifted.

    Layers are held against all the others, ``layers`` among them. A shift must stand out by
    ``least`` deviations and be no farther than ``farthest``.
    """
    drawn = [k for k, shape in enumerate(shapes) if not shape.is_empty]
    if len(drawn) < 2:
        return []
    # Big sheets in bigger pixels: what the search needs does not grow with the sheet.
    pixel = max(PIXEL, float(np.sqrt(frame[0] * frame[1] / MOST_PIXELS)))
    rasters = {k: _edges(shapes[k], frame, pixel) for k in drawn}
    total = sum(rasters.values(), start=np.zeros_like(rasters[drawn[0]]))
    best: tuple[float, int, float, float] | None = None
    for layer in (k for k in layers if k in rasters):
        found = _best_shift(total - rasters[layer], rasters[layer], frame, pixel)
        stands_out = found.far / max(found.spread, NOT_ZERO)
        if (
            found.far > CLEARER * found.here
            and stands_out > least
            and math.hypot(*found.shift) < farthest
            and (not best or stands_out > best[0])
        ):
            best = (stands_out, layer, *found.shift)
    if best is None:
        return []
    _, layer, dx, dy = best
    x0, y0, x1, y1 = shapes[layer].bounds
    return [
        Finding(
            "registration.artwork-shifted",
            Severity.WARNING,
            f"Its edges would fall on those of the other layers if it were moved by {dx:+.0f}, "
            f"{dy:+.0f} mm or so: look whether the artwork was shifted, or the others were.",
            names[layer],
            ((x0 + x1) / 2, (y0 + y1) / 2),
            float(np.hypot(dx, dy)),
        )
    ]


@dataclass(frozen=True)
class _BestShift:
    """Length of edge that falls together with others': where a layer lies, at its best elsewhere.

    Parameters
    ----------
    here, far : float
    spread : float
        Standard deviation over all shifts.
    shift : tuple of float
        To the best place elsewhere, in mm.
    """

    here: float
    far: float
    spread: float
    shift: tuple[float, float]


def _best_shift(
    others: Complexes, own: Complexes, frame: tuple[float, float], pixel: float
) -> _BestShift:
    rows, columns = own.shape
    size = (2 * rows, 2 * columns)
    up = np.fft.fftfreq(size[0], 1 / size[0]) * pixel
    right = np.fft.fftfreq(size[1], 1 / size[1]) * pixel
    distance = np.hypot(up[:, None], right[None, :])
    near = distance < max(LEAST_SHIFT, 3 * pixel)
    looked_at = distance < min(frame) / 3
    together = _correlated(others, own, size)
    # Over 3 x 3 pixels: edges drawn with a trap lie beside each other.
    together = sum(
        (np.roll(together, (i, j), (0, 1)) for i in (-1, 0, 1) for j in (-1, 0, 1)),
        start=np.zeros_like(together),
    )
    far = np.where(looked_at & ~near, together, -np.inf)
    row, column = np.unravel_index(int(np.argmax(far)), far.shape)
    return _BestShift(
        max(float(together[near].max()), 0.0),
        float(far[row, column]),
        float(together[looked_at].std()),
        (float(right[column]), float(up[row])),
    )


def _correlated(still: Complexes, moved: Complexes, size: tuple[int, int]) -> Floats:
    """Return how much of two rasters falls together under each shift of the second.

    The real part of a correlation of complex numbers is that of their real parts plus that of
    their imaginary parts; transforms of real rasters need half the room.
    """
    product = sum(
        np.fft.rfft2(a, size) * np.conj(np.fft.rfft2(b, size))
        for a, b in ((still.real, moved.real), (still.imag, moved.imag))
    )
    found: Floats = np.fft.irfft2(product, size)
    return found


def _edges(shape: MultiPolygon, frame: tuple[float, float], pixel: float = PIXEL) -> Complexes:
    """Return the edges in each pixel (rows from the bottom, columns): length, and twice its angle.

    Multiplied with one another, parallel edges add up and crossing ones cancel.
    """
    columns, rows = (max(1, round(side / pixel)) for side in frame)
    raster = np.zeros((rows, columns), np.complex128)
    lines = shapely.segmentize(shapely.boundary(shape), pixel / 2)
    points, line = shapely.get_coordinates(shapely.get_parts(lines), return_index=True)
    along = np.diff(points, axis=0) @ np.array([1, 1j])
    length = np.abs(along) * (line[1:] == line[:-1])
    directed = np.where(length > 0, length * (along / np.maximum(np.abs(along), NOT_ZERO)) ** 2, 0)
    x, y = np.floor((points[1:] + points[:-1]) / 2 / pixel).astype(int).T
    inside = (x >= 0) & (x < columns) & (y >= 0) & (y < rows)
    np.add.at(raster, (y[inside], x[inside]), directed[inside])
    return raster
