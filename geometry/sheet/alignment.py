"""Mismatch: a layer drawn at another scale, shifted, or without the marks that the others have.

Two witnesses. Marks that layers share tell exactly: those of a faulty layer are the same marks
scaled, turned or shifted, or one is missing. Without marks the edges tell (``shared_edges.py``):
colours that touch run along each other, and a layer that would do so under one move, or at one
other scale, and does not where it lies, was moved. Where neither is there, nothing is claimed, and
that is told.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import MultiPolygon

from ..arrays import Floats
from ..finding import Finding, Severity
from ..job.sections import SheetSettings
from .shared_edges import DrawnEdges, EdgeFit, Outlines, SharedEdges, outlines_of
from .sheet import PlacedArtwork

#: A round mark: 4 pi area / perimeter^2 above this, and its size in mm.
ROUNDNESS = 0.97
MARK_SIZES = (1.5, 25.0)
#: Marks of two layers this near are one mark.
SAME_PLACE = 0.05
# Marks of a drawing that are tried, at most; by which share two of one kind may differ in size.
_MOST_MARKS, _SIZE_DIFFERS = 40, 0.1
# Marks fit where they lie this near (mm); more than this share, and so many degrees, are told.
_FITS, _SCALED, _TURNED = 0.5, 1e-3, 0.05
# A factor this near to that of two units is a matter of units.
_AS_UNITS = 0.01
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
#: Factors that layers are looked at for: those near 1 fit small shapes by chance.
SCALES = (*(factor for factor in UNIT_FACTORS if not 0.9 < factor < 1.12), 0.5, 2.0)
#: Share of a layer's outline that must run along others' to tell its place, how firmly, and on
#: how many straight lines (see ``EdgeFit``); more where a scale is in question, as many
#: are tried. (tests/bench/bench_register.py: of 104 correctly layered jobs none is told wrongly.)
SHARED, FIRM, LINES, SHARED_SCALED = 0.35, 0.05, 10, 0.7
#: What runs along others elsewhere must do so this many times as much as where it lies, and a
#: second place elsewhere must be this much worse.
CLEARER, ONLY = 2.0, 0.8
#: Moves up to this are none, in mm; how far off a layer is looked for, in shares of the sheet's
#: shorter side; moves that differ by less are one, in mm.
IN_PLACE, FARTHEST, ONE_MOVE = 0.25, 1 / 3, 1.0
#: A layer brought to the others' scale is no larger than this many times the sheet.
_MOST_OVER = 1.5
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


@dataclass(frozen=True)
class Alignment:
    """What is known of how a job's layers lie to each other.

    Parameters
    ----------
    findings : tuple of Finding
        Layers that do not register, and such of which nothing tells.
    witnesses : tuple of str
        What tells of each layer that it lies in its place, or does not: ``"marks"`` or ``"edges"``
        that it shares with others; ``"page"`` of one size with another layer's, or one
        drawing with it, which tells of no shift in it; ``""``: nothing.
    """

    findings: tuple[Finding, ...]
    witnesses: tuple[str, ...]


def with_alignment(
    artworks: Sequence[PlacedArtwork], sheet: SheetSettings, stated: Sequence[bool] = ()
) -> tuple[PlacedArtwork, ...]:
    """Return placed artworks with what tells their place, and findings on what does not register.

    Parameters
    ----------
    artworks : sequence of PlacedArtwork
    sheet : SheetSettings
    stated : sequence of bool, optional
        See :func:`alignment`.

    Returns
    -------
    tuple of PlacedArtwork
    """
    known = alignment(
        [artwork.shape for artwork in artworks],
        [artwork.layer for artwork in artworks],
        (sheet.width_mm, sheet.height_mm),
        [artwork.page for artwork in artworks],
        stated,
    )
    return tuple(
        replace(
            artwork,
            findings=(*artwork.findings, *(f for f in known.findings if f.layer == artwork.layer)),
            witness=witness,
        )
        for artwork, witness in zip(artworks, known.witnesses, strict=True)
    )


def alignment(
    shapes: Sequence[MultiPolygon],
    names: Sequence[str],
    frame: tuple[float, float],
    pages: Sequence[tuple[float, float] | None] = (),
    stated: Sequence[bool] = (),
) -> Alignment:
    """Find layers that do not register with the others, and such that cannot be checked.

    Nothing is guessed: a layer's size and where it lies say nothing by themselves (of 92 pictures
    split by colour 47 were told to be shifted or scaled by rules of size and nearness).

    Parameters
    ----------
    shapes : sequence of MultiPolygon
        What each layer paints, in mm.
    names : sequence of str
    frame : tuple of float
        Width and height of the sheet in mm.
    pages : sequence of (float, float) or None, optional
        Size of the page that each layer was drawn on in mm; None where it is unknown.
    stated : sequence of bool, optional
        Whether a layer's place is stated without a page: it is drawn in one file with another, or
        the job itself says where its lettering begins.

    Returns
    -------
    Alignment
    """
    if len(shapes) < 2:
        return Alignment((), ("",) * len(shapes))
    findings, by_marks = _by_marks(shapes, names, frame)
    witnesses = ["marks"] * len(shapes) if by_marks else [""] * len(shapes)
    in_place = _on_one_page(pages) | {k for k, known in enumerate(stated) if known}
    drawn = [k for k, shape in enumerate(shapes) if not shape.is_empty]
    if not by_marks and len(drawn) > 1:
        outlines = [outlines_of([shapes[k]]) for k in drawn]
        edges = DrawnEdges(outlines, frame)
        wrong: list[_Wrong] = []
        for number, k in enumerate(drawn):
            others = SharedEdges(edges, number)
            right, found = _by_edges(outlines[number], others, frame, k in in_place)
            if right or found:
                witnesses[k] = "edges"
            if found:
                wrong.append(replace(found, layer=k))
        if wrong:
            worst = max(wrong, key=lambda found: found.share)
            findings.append(_edges_finding(worst, shapes[worst.layer], names[worst.layer]))
    for k in drawn:
        if witnesses[k]:
            continue
        if k in in_place:
            witnesses[k] = "page"
        else:
            findings.append(_not_checkable(shapes[k], names[k]))
    return Alignment(tuple(findings), tuple(witnesses))


def _by_marks(
    shapes: Sequence[MultiPolygon], names: Sequence[str], frame: tuple[float, float]
) -> tuple[list[Finding], bool]:
    """Judge layers by the round marks that at least two of them share, if there are such."""
    marks = [round_marks(shape) for shape in shapes]
    common = _shared(marks, shapes)
    if len(common) < 2:
        return [], False
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
    return findings, True


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
    for i in range(min(len(own), _MOST_MARKS)):
        for j in range(min(len(own), _MOST_MARKS)):
            if i == j:
                continue
            a = (w[j] - w[i]) / (z[second] - z[first])
            carried = a * (z - z[first]) + w[i]
            nearest = np.abs(carried[:, None] - w).argmin(axis=1)
            if len(set(nearest.tolist())) < len(z):
                continue
            # A mark scaled is scaled in its size too.
            if (
                np.abs(own_sizes[nearest] - abs(a) * sizes).max()
                > _SIZE_DIFFERS * abs(a) * sizes.max()
            ):
                continue
            fit = fit_marks(own[nearest], wanted, centre)
            if fit.error_mm < _FITS and (best is None or fit.error_mm < best.error_mm):
                best = fit
    return best


def _fit_finding(fit: Fit, name: str, place: Floats) -> Finding:
    said = []
    if abs(fit.scale - 1) > _SCALED:
        said.append(f"{100 * fit.scale:.2f} % of the others' size{_unit_hint(fit.scale)}")
    if abs(fit.turn_deg) > _TURNED:
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
        if abs(factor / known - 1) < _AS_UNITS:
            return f" (as {meaning})"
    return ""


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


@dataclass(frozen=True)
class _Wrong:
    """What lays a layer's edges along those of others: a factor on its size, then a move."""

    factor: float
    move: tuple[float, float]
    share: float
    layer: int = -1


def _by_edges(
    own: Outlines, edges: SharedEdges, frame: tuple[float, float], in_place: bool
) -> tuple[bool, _Wrong | None]:
    """Return whether edges tell that a layer lies right, and by what it is wrong."""
    here = edges.fit_here(own)
    clear = _tells(here, SHARED)
    if clear and math.hypot(*here.move) <= IN_PLACE:
        return True, None
    resized = {} if in_place else {factor: own.scaled(1 / factor) for factor in SCALES}
    resized = {
        f: lines for f, lines in resized.items() if lines.extent() <= _MOST_OVER * max(frame)
    }
    # Of hundreds of layers many are a few shapes, which tell nothing wherever they are laid.
    elsewhere = clear or _could_tell(own, SHARED)
    at_scale = any(_could_tell(lines, SHARED_SCALED) for lines in resized.values())
    if not (elsewhere or at_scale):
        return False, None
    lies = edges.share_lying_on(own)
    if math.hypot(*here.move) <= IN_PLACE:
        lies = max(lies, here.share)
    found = None
    if elsewhere:
        fits = [here, *edges.fits_elsewhere(own, FARTHEST * min(frame))]
        found = _only_one([(1.0, fit) for fit in fits], SHARED, lies)
    if found is None and at_scale:
        scaled = [
            (factor, fit)
            for factor, lines in resized.items()
            for fit in edges.fits_elsewhere(lines, math.inf)
        ]
        found = _only_one(scaled, SHARED_SCALED, lies)
    return False, found


def _tells(fit: EdgeFit, share: float) -> bool:
    return fit.share >= share and fit.firmness >= FIRM and fit.lines >= LINES


def _could_tell(own: Outlines, share: float) -> bool:
    """Tell whether there is enough of an outline to tell its place elsewhere."""
    most, lines = own.most_elsewhere()
    return most >= share and lines >= LINES


def _only_one(fits: Sequence[tuple[float, EdgeFit]], share: float, lies: float) -> _Wrong | None:
    """Return the one fit that tells, unless another does nearly as well."""
    moved = [(factor, f) for factor, f in fits if math.hypot(*f.move) > IN_PLACE or factor != 1]
    telling = [(factor, f) for factor, f in moved if _tells(f, share) and f.share >= CLEARER * lies]
    if not telling:
        return None
    factor, best = max(telling, key=lambda pair: pair[1].share)
    for other, fit in moved:
        apart = other != factor or math.dist(fit.move, best.move) > ONE_MOVE
        if apart and fit.share > ONLY * best.share:
            return None
    return _Wrong(factor, best.move, best.share)


def _edges_finding(wrong: _Wrong, shape: MultiPolygon, name: str) -> Finding:
    x0, y0, x1, y1 = shape.bounds
    part = f"{100 * wrong.share:.0f} % of its edges would run along those of the other layers if"
    if wrong.factor == 1:
        dx, dy = wrong.move
        code, size = "artwork-shifted", math.hypot(dx, dy)
        message = (
            f"{part} it were moved by {dx:+.1f}, {dy:+.1f} mm: look whether the artwork was "
            "shifted, or the others were."
        )
    else:
        code, size = "scale-differs", None
        message = (
            f"{part} it were not {wrong.factor:.4g} times as large{_unit_hint(wrong.factor)}: look "
            "whether it is drawn at another scale."
        )
    place = ((x0 + x1) / 2, (y0 + y1) / 2)
    return Finding(f"registration.{code}", Severity.WARNING, message, name, place, size)


def _not_checkable(shape: MultiPolygon, name: str) -> Finding:
    x0, y0, x1, y1 = shape.bounds
    return Finding(
        "registration.not-checkable",
        Severity.NOTE,
        "Whether it lies in its place cannot be checked: it shares no marks, hardly an edge and no "
        "page with the other layers. Draw two round marks on every layer, or look at "
        "stack.png.",
        name,
        ((x0 + x1) / 2, (y0 + y1) / 2),
    )
