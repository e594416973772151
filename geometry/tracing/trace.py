"""Tracing: from a picture and settings to layers of curves, with their score."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from PIL import Image
from shapely import MultiPolygon

from ..arrays import Bools, Floats, Indices, Plane
from ..colour import (
    ciede2000,
    hex_from_srgb,
    lab_from_srgb,
    source_over,
    srgb_from_hex,
    srgb_from_lab,
)
from ..errors import JobError
from ..finding import Finding, Severity
from ..job.fit import fit_scale, fit_sheet
from ..planar.raster import coverage
from ..progress import Progress
from ..step_cache import StepCache, kept
from .bezier_fit import CurvedShape, as_it_is, fit_shape
from .blur import blur_within
from .draw_roles import Board, Role, draw, plan_roles
from .edge_colour import own_colours
from .faces import Subject
from .features import features_of, inside_rings
from .find_faces import faces_can_be_found, find_subject
from .marks_file import drawn_out, read_marks_file
from .palette import layer_colours, painted_in
from .picture import Picture, Size, read_marks, read_picture
from .portrait import (
    ISLAND,
    draw_portrait,
    plan_portrait,
    portrait_colours,
    softened,
    tones_of,
    weights_of,
)
from .score import Score, score_of
from .settings import TracingSettings, check_tracing
from .subject import backdrop_of, box_marks, flooded_from_border
from .tones import otsu_cuts

# A normal stroke at middling detail is this share of the picture's longer side; each half of the
# slider doubles or halves it twice.
_STROKES = 160.0
_SLIDER = 4.0
# Pixels a stroke, and the longer side's pixels at least and at most.
_PIXELS_A_STROKE = 5.0
_LEAST_PIXELS, _MOST_PIXELS = 640, 1600
#: The live preview's pixels.
PREVIEW_PIXELS = 216
# Curves may stray by this share of a stroke, and never so far that neighbours meet.
_TOLERANCE = 0.12
# Surroundings, for the local contrast, as a share of the longer side.
_SURROUNDINGS = 0.08
# A small picture tells whether there is a plain backdrop.
_BACKDROP_PIXELS = 240
# The score looks from where the whole picture is seen at once.
_SCORED_PIXELS = 480
# So many strokes from the subject's outline pixels may be mixed with the backdrop.
_MIXED = 1.6
# A wall this near (CIEDE2000) to the base needs no base coat.
_ALIKE = 8.0
# A flood that takes more of the subject than this is not advised.
_TAKEN = 0.02


@dataclass(frozen=True)
class Extent:
    """How big everything is.

    Parameters
    ----------
    page, sheet : tuple of float
        Width and height in mm of the picture and of the sheets.
    pixel : float
        Side of a working pixel in mm.
    stroke : float
        Width in mm of a normal line of the drawing.
    size : tuple of int
        Width and height in working pixels.
    tolerance : float
        Of the fitted curves, in mm.
    fine : float
        Width of a line in faces and focus, as a factor of what is usual beside ``stroke``.
    """

    page: tuple[float, float]
    sheet: tuple[float, float]
    pixel: float
    stroke: float
    size: Size
    tolerance: float
    fine: float = 1.0


@dataclass(frozen=True, eq=False)
class TracedLayer:
    """One layer.

    Parameters
    ----------
    role : Role
    colour : str
    curves : CurvedShape
        In mm, y up, origin at the page's lower left corner.
    shape : MultiPolygon
        What the curves were fitted to.
    """

    role: Role
    colour: str
    curves: CurvedShape
    shape: MultiPolygon


@dataclass(frozen=True, eq=False)
class Tracing:
    """A traced picture.

    Parameters
    ----------
    settings : TracingSettings
    picture : Picture
        At working size.
    extent : Extent
    tone : float32 array (rows, columns)
        Lightness as it was cut, 0 to 100.
    subject : bool array (rows, columns)
    cuts : tuple of float
        Ascending; lightness at which tones part.
    layers : tuple of TracedLayer
        In spray order.
    ground : str
        Colour of the wall.
    painted : float32 array (rows, columns, 3)
        The painted picture, sRGB 0 to 1.
    score : Score
    findings : tuple of Finding
    known : Subject
        What was known of faces and outline.
    """

    settings: TracingSettings
    picture: Picture
    extent: Extent
    tone: Plane
    subject: Bools
    cuts: tuple[float, ...]
    layers: tuple[TracedLayer, ...]
    ground: str
    painted: Plane
    score: Score
    findings: tuple[Finding, ...]
    known: Subject


def extent_of(settings: TracingSettings, full: Size, most_pixels: int = _MOST_PIXELS) -> Extent:
    """Return sizes of page, sheet, stroke and pixel for a picture.

    The picture fills the sheet within its margin; where the sheet's size leaves it open, the sheet
    follows the picture. Pixels are a fifth of a stroke: what is finer cannot be drawn anyway.

    Parameters
    ----------
    settings : TracingSettings
    full : tuple of int
        The picture's width and height in pixels.
    most_pixels : int
        Most pixels of the longer side; few for a preview.

    Raises
    ------
    JobError
        The margin leaves no room.

    Examples
    --------
    >>> extent_of(TracingSettings(), (3000, 2000)).sheet
    (420.0, 294.0)
    """
    mm = fit_scale(full, settings.sheet_width_mm, settings.sheet_height_mm, settings.margin_mm)
    side = mm * max(full)
    stroke = _stroke(settings, side, settings.detail)
    face = stroke if settings.face_detail is None else _stroke(settings, side, settings.face_detail)
    finest = min(stroke, face)
    pixels = min(max(side / finest * _PIXELS_A_STROKE, _LEAST_PIXELS), _MOST_PIXELS, most_pixels)
    size = _working(full, pixels)
    pixel = min(mm * full[0] / size[0], mm * full[1] / size[1])
    page = (size[0] * pixel, size[1] * pixel)
    sheet = fit_sheet(page, settings.sheet_width_mm, settings.sheet_height_mm, settings.margin_mm)
    tolerance = settings.tolerance_mm or min(_TOLERANCE * finest, settings.least / 4)
    return Extent(page, sheet, pixel, stroke, size, tolerance, face / stroke)


def _working(full: Size, pixels: float) -> Size:
    scale = pixels / max(full)
    return max(16, round(full[0] * scale)), max(16, round(full[1] * scale))


def _stroke(settings: TracingSettings, side: float, detail: float) -> float:
    """Return the width in mm of a normal line on a picture of so long a side (mm)."""
    return max(settings.least, side / (_STROKES * _SLIDER ** (2 * detail - 1)))


def read_and_trace(
    path: Path,
    settings: TracingSettings,
    progress: Progress | None = None,
    most_pixels: int = _MOST_PIXELS,
    subject: Subject | None = None,
    cache: StepCache | None = None,
    preview: bool = False,
) -> Tracing:
    """Read a picture and trace it: see :func:`trace`.

    Parameters
    ----------
    path : Path
    settings : TracingSettings
    progress : Progress, optional
    most_pixels : int
        As given to ``extent_of``.
    subject : Subject, optional
        What is known of the picture; from the marks file or the library when None.
    cache : StepCache, optional
        Keeps steps for the next tracing of the same picture.
    preview : bool
        As given to ``trace``; ``most_pixels`` sets the size then.

    Raises
    ------
    ArtworkError
        The picture, or a mask, cannot be read.
    JobError, GeometryError, Cancelled
    """
    progress = progress or Progress()
    progress(0.0, f"reading {path.name}")
    if preview and path.is_file():
        about = path.stat()
        stamp = (about.st_mtime_ns, about.st_size)
        picture = kept(cache, _read_small, path, stamp, most_pixels)
    else:
        picture = read_picture(path, lambda full: extent_of(settings, full, most_pixels).size)
    if subject is None:
        subject = subject_of(path, picture, settings, progress.part(0.05, 0.1))
    subject = kept(cache, drawn_out, subject, picture)
    return trace(picture, settings, progress.part(0.1, 1.0), most_pixels, subject, cache, preview)


def _read_small(path: Path, stamp: tuple[int, int], pixels: int) -> Picture:
    """Read a picture for a preview; ``stamp`` changes with the file."""
    return read_picture(path, lambda full: _working(full, pixels))


def subject_of(
    path: Path, picture: Picture, settings: TracingSettings, progress: Progress | None = None
) -> Subject:
    """Return what is known of a picture: from its marks file, or else from the library.

    Parameters
    ----------
    path : Path
        The picture's file, which the library reads by itself.
    picture : Picture
        The same, as read.
    settings : TracingSettings
    progress : Progress, optional

    Raises
    ------
    Cancelled
    JobError
        The marks file cannot be used.
    """
    progress = progress or Progress()
    progress(0.0, "looking for faces")
    if settings.marks:
        found = read_marks_file(Path(settings.marks), picture.full)
    elif settings.people == "auto" and faces_can_be_found():
        found = find_subject(path, lambda: progress(0.5, "looking for faces"))
    else:
        return Subject()
    return found


def trace(
    picture: Picture,
    settings: TracingSettings,
    progress: Progress | None = None,
    most_pixels: int = _MOST_PIXELS,
    known: Subject | None = None,
    cache: StepCache | None = None,
    preview: bool = False,
) -> Tracing:
    """Trace a picture.

    Parameters
    ----------
    picture : Picture
        At the size that ``extent_of`` gives for these settings.
    settings : TracingSettings
    progress : Progress, optional
    most_pixels : int
        As given to ``extent_of``.
    known : Subject, optional
        Faces and outline of the subject, if anything is known of them.
    cache : StepCache, optional
    preview : bool
        Whether it is only to be looked at: curves stay the outlines of pixels, and layers are not
        fitted under each other, which hardly shows.

    Raises
    ------
    ArtworkError
        A mask cannot be read.
    JobError
        Settings do not fit each other or the picture.
    Cancelled
    """
    progress = progress or Progress()
    known = known or Subject()
    extent = extent_of(settings, picture.full, most_pixels)
    subject = _subject(picture, settings, known)
    progress(0.05, "finding tones")
    plan = _portrait if known.known else _picture
    part = progress.part(0.1, 0.7)
    drawing = plan(picture, settings, extent, subject, known, part, not preview, cache)
    drawn, findings = _without_empty(drawing.roles, drawing.shapes)
    findings += _backdrop_findings(picture, settings, known, subject)
    curves = []
    for number, (role, shape) in enumerate(drawn):
        progress(0.7 + 0.2 * number / len(drawn), f"{role.name}: fitting curves")
        curves.append(
            as_it_is(shape) if preview else fit_shape(shape, extent.tolerance, extent.page)
        )
    progress(0.9, "choosing colours")
    covers = [coverage(c.flattened(), extent.page, 1 / extent.pixel) for c in curves]
    shown = np.zeros(picture.shape, np.int64)
    for number, cover in enumerate(covers, 1):
        shown[cover > 0.5] = number
    ground, colours = drawing.colours(shown, [role for role, _ in drawn])
    layers = tuple(
        TracedLayer(role, colour, curve, shape)
        for (role, shape), colour, curve in zip(drawn, colours, curves, strict=True)
    )
    painted = paint(covers, colours, ground)
    progress(0.95, "scoring")
    # Against the picture as it is to be seen: what was left out is wall.
    wanted = np.where(subject[..., None], picture.srgb, srgb_from_hex(ground)).astype(np.float32)
    score = score_of(
        shrunk(wanted, _SCORED_PIXELS),
        shrunk(painted, _SCORED_PIXELS),
        [(layer.role.name, layer.colour, layer.curves) for layer in layers],
        settings.made_by,
    )
    return Tracing(
        settings,
        picture,
        extent,
        drawing.tone,
        subject,
        drawing.cuts,
        layers,
        ground,
        painted,
        score,
        findings,
        known,
    )


@dataclass(frozen=True, eq=False)
class _Drawing:
    """What is drawn of a picture, before curves are fitted.

    ``colours`` takes what is seen in each pixel and the layers' roles, and gives the wall's colour
    and the layers'.
    """

    tone: Plane
    cuts: tuple[float, ...]
    roles: tuple[Role, ...]
    shapes: tuple[MultiPolygon, ...]
    colours: Callable[[Indices, Sequence[Role]], tuple[str, tuple[str, ...]]]


def _picture(
    picture: Picture,
    settings: TracingSettings,
    extent: Extent,
    subject: Bools,
    known: Subject,
    progress: Progress,
    fitted: bool,
    cache: StepCache | None,
) -> _Drawing:
    """Draw by tones alone."""
    base = not bool(subject.all())
    count = settings.layers - base
    check_tracing(settings, count)
    tone = _tone(picture, subject, settings)
    cuts = _cuts(tone[subject], count, settings)
    lights = _lights(tone[subject], cuts, base, settings)
    roles = plan_roles(count - lights, lights, base)
    board = _board(picture, settings, extent, subject, tone, not settings.thresholds)
    shapes = draw(board, roles, cuts.tolist(), progress, fitted)

    def colours(shown: Indices, drawn: Sequence[Role]) -> tuple[str, tuple[str, ...]]:
        return layer_colours(
            picture.srgb,
            shown,
            [role.role for role in drawn],
            settings.ground,
            settings.cans,
            settings.contrast(False),
        )

    return _Drawing(tone, tuple(float(c) for c in cuts), roles, shapes, colours)


def _portrait(
    picture: Picture,
    settings: TracingSettings,
    extent: Extent,
    subject: Bools,
    known: Subject,
    progress: Progress,
    fitted: bool,
    cache: StepCache | None,
) -> _Drawing:
    """Draw by the tones of the skin and the marks of the faces."""
    check_tracing(settings, settings.layers)
    scale = picture.shape[1] / picture.full[0]
    faces = tuple(face.scaled(scale) for face in known.faces)
    features = kept(cache, features_of, faces, picture.shape)
    lab = lab_from_srgb(picture.srgb).astype(np.float32)
    progress(0.0, "finding tones")
    if not subject.all():
        lab = kept(cache, own_colours, lab, subject, _MIXED * extent.stroke / extent.pixel)
    progress(0.0, "finding tones")
    soft = kept(cache, softened, lab, subject, extent.stroke / extent.pixel)
    progress(0.0, "finding tones")
    board = _board(picture, settings, extent, subject, lab[..., 0], False)
    important = np.maximum(features.faces, board.focus.astype(np.float32))
    skin = (important > 0.5) & subject
    weights = weights_of(subject, important)
    tones = kept(
        cache,
        tones_of,
        soft,
        weights,
        skin if skin.any() else subject,
        settings.layers + 1,
        settings.highlights,
        (ISLAND * extent.stroke / extent.pixel) ** 2,
    )
    if settings.thresholds:
        tones = replace(tones, by_hand=settings.thresholds)
    wall = settings.ground
    if wall is None and not subject.all():
        wall = hex_from_srgb(picture.srgb[~subject].mean(axis=0).astype(np.float64))
    skinlike = wall is None or _alike(wall, tones.centres[tones.base])
    roles = plan_portrait(tones, not skinlike)
    shapes = draw_portrait(board, soft, tones, features, roles, progress, fitted, cache)

    def colours(shown: Indices, drawn: Sequence[Role]) -> tuple[str, tuple[str, ...]]:
        own = [tones.base if role.side == "base" else _own_tone(role) for role in drawn]
        found = portrait_colours(soft, shown, subject, important, len(drawn))
        centres = tones.centres[[tones.base, *own]]
        found = np.where(np.isnan(found), centres, found)
        srgb = np.clip(srgb_from_lab(found), 0, 1)
        contrast = settings.contrast(True)
        return painted_in(srgb, shown, wall, settings.cans, contrast)

    return _Drawing(lab[..., 0], tones.cuts, roles, shapes, colours)


def _own_tone(role: Role) -> int:
    return role.cut if role.side == "dark" else role.cut + 1


def _alike(wall: str, lab: Floats) -> bool:
    return float(ciede2000(lab_from_srgb(srgb_from_hex(wall)), lab)) < _ALIKE


def _board(
    picture: Picture,
    settings: TracingSettings,
    extent: Extent,
    subject: Bools,
    tone: Plane,
    free: bool,
) -> Board:
    return Board(
        tone,
        subject,
        _focus(picture, settings),
        extent.pixel,
        extent.stroke,
        settings.least,
        settings.least_bridge,
        settings.trap_mm,
        picture.shape[1] / picture.full[0],
        free,
        extent.fine,
    )


def paint(covers: Sequence[Plane], colours: Sequence[str], ground: str) -> Plane:
    """Return the painted picture from each layer's share of each pixel.

    Parameters
    ----------
    covers : sequence of float32 array (rows, columns)
        One a layer, in spray order: how much of each pixel it paints, 0 to 1.
    colours : sequence of str
        ``#rrggbb``, one a layer.
    ground : str
        Colour of the bare wall.

    Returns
    -------
    float32 array (rows, columns, 3)
        sRGB, 0 to 1.
    """
    rows, columns = covers[0].shape
    picture = np.empty((rows, columns, 3), np.float32)
    picture[:] = srgb_from_hex(ground)
    for cover, colour in zip(covers, colours, strict=True):
        picture = source_over(picture, srgb_from_hex(colour).astype(np.float32), cover)
    return picture


def shrunk(srgb: Plane, longest: int) -> Plane:
    """Return a picture with its longer side at most ``longest`` pixels, each the mean of many."""
    rows, columns = srgb.shape[:2]
    scale = longest / max(rows, columns)
    if scale >= 1:
        return srgb
    size = (max(11, round(columns * scale)), max(11, round(rows * scale)))
    small = [
        np.asarray(Image.fromarray(srgb[..., k]).resize(size, Image.Resampling.BOX))
        for k in range(3)
    ]
    return np.stack(small, axis=2)


def _subject(picture: Picture, settings: TracingSettings, known: Subject) -> Bools:
    subject: Bools = picture.opacity >= 0.5
    if settings.background == "auto" and known.outline:
        factor = picture.shape[1] / picture.full[0]
        subject &= inside_rings(picture.shape, [ring * factor for ring in known.outline])
    elif settings.background == "flood":
        subject &= ~flooded_from_border(picture, settings.flood_difference)
    elif settings.background == "mask" and settings.background_mask:
        size = (picture.shape[1], picture.shape[0])
        subject &= ~read_marks(Path(settings.background_mask), size)
    if not subject.any():
        raise JobError(f"{picture.name}: everything is background; nothing is left to paint.")
    return subject


def _backdrop_findings(
    picture: Picture, settings: TracingSettings, known: Subject, subject: Bools
) -> tuple[Finding, ...]:
    """Tell of a backdrop that could be left out, and of one that was left out in doubt."""
    if settings.background == "mask" or picture.opacity.min() < 0.5:
        return ()
    if settings.background == "auto" and known.outline:
        return (
            Finding(
                "tracing.backdrop-left-out",
                Severity.NOTE,
                f"What lies round the subject, {1 - subject.mean():.0%} of the picture, is left to "
                "the wall; background = 'keep' paints it.",
            ),
        )
    small = shrunk(picture.srgb, _BACKDROP_PIXELS)
    look = Picture(small, np.ones(small.shape[:2], np.float32), picture.full, picture.name)
    backdrop = backdrop_of(look, settings.flood_difference)
    taken = _taken(look, settings, known)
    if settings.background == "flood" and taken > _TAKEN:
        return (
            Finding(
                "tracing.subject-flooded",
                Severity.WARNING,
                f"background = 'flood' took {taken:.0%} of the subject with it; leave it at 'auto' "
                "or give a mask.",
            ),
        )
    if settings.background != "flood" and backdrop.plain and taken <= _TAKEN:
        return (
            Finding(
                "tracing.plain-backdrop",
                Severity.NOTE,
                f"The subject stands apart from a plain backdrop, {backdrop.share:.0%} of the "
                "picture; background = 'flood' leaves that to the wall.",
            ),
        )
    if settings.background == "flood" and not backdrop.steady:
        return (
            Finding(
                "tracing.doubtful-backdrop",
                Severity.WARNING,
                f"Subject and backdrop are not told apart surely: {backdrop.share:.0%} of the "
                f"picture was left to the wall, {backdrop.stricter:.0%} had flood_difference been "
                f"{0.6 * settings.flood_difference:g}; look at the outline, or give a mask.",
            ),
        )
    if settings.background == "flood" and not backdrop.even and not known.known:
        return (
            Finding(
                "tracing.border-cuts-subject",
                Severity.WARNING,
                f"background = 'flood' left {backdrop.share:.0%} of the picture to the wall, and "
                "its border is of more than one kind: what it cuts off, like a coat, is taken too; "
                "look at the outline, or give marks or a mask.",
            ),
        )
    return ()


def _taken(look: Picture, settings: TracingSettings, known: Subject) -> float:
    """Return which share of the known subject a flood from the border takes."""
    if not known.known:
        return 0.0
    factor = look.shape[1] / look.full[0]
    rings = [ring * factor for ring in known.outline] or [
        face["oval"] * factor for face in known.faces
    ]
    own = inside_rings(look.shape, rings)
    flooded = flooded_from_border(look, settings.flood_difference)
    return float(flooded[own].mean()) if own.any() else 0.0


def _focus(picture: Picture, settings: TracingSettings) -> Bools:
    marks = box_marks(settings.focus, picture)
    if settings.focus_mask:
        marks |= read_marks(Path(settings.focus_mask), (picture.shape[1], picture.shape[0]))
    return marks


def _tone(picture: Picture, subject: Bools, settings: TracingSettings) -> Plane:
    lightness: Plane = lab_from_srgb(picture.srgb)[..., 0].astype(np.float32)
    share = subject.astype(np.float32)
    around = blur_within(lightness, share, _SURROUNDINGS * max(picture.shape))
    # The wall's own tone must not pull at the subject's edge.
    lightness = np.where(subject, lightness, around)
    tone = lightness + np.float32(settings.local_contrast) * (lightness - around)
    return np.clip(tone, 0, 100)


def _cuts(tones: Plane, count: int, settings: TracingSettings) -> Floats:
    if settings.thresholds:
        return np.asarray(settings.thresholds, np.float64)
    if not count:
        return np.empty(0)
    # Half-way to the next tone that occurs: smoothing mixes tones, and a cut close to one of two
    # would let the other grow.
    found = otsu_cuts(tones, count + 1)
    below = np.array([tones[tones <= c].max() for c in found], np.float64)
    above = np.array([tones[tones > c].min() for c in found], np.float64)
    return (below + above) / 2


def _lights(tones: Plane, cuts: Floats, base: bool, settings: TracingSettings) -> int:
    """Return how many layers are lighter than the wall or base."""
    count = len(cuts)
    if settings.highlights is not None:
        return settings.highlights
    if base:
        return count // 2
    if settings.ground is None:
        return count - round(2 * count / 3)
    wall = lab_from_srgb(srgb_from_hex(settings.ground))[0]
    which = np.searchsorted(cuts, tones)
    means = [tones[which == k].mean() if (which == k).any() else math.inf for k in range(count + 1)]
    return count - int(np.argmin(np.abs(np.array(means) - wall)))


def _without_empty(
    roles: Sequence[Role], shapes: Sequence[MultiPolygon]
) -> tuple[list[tuple[Role, MultiPolygon]], tuple[Finding, ...]]:
    kept = [(r, s) for r, s in zip(roles, shapes, strict=True) if not s.is_empty]
    if not kept:
        raise JobError(
            "Nothing of the picture can be drawn at this size: ask for more detail, a larger sheet "
            "or fewer layers."
        )
    findings = tuple(
        Finding(
            "tracing.nothing-drawn",
            Severity.WARNING,
            "Nothing of this tone is large enough to be cut; the layer was left out.",
            role.name,
        )
        for role, shape in zip(roles, shapes, strict=True)
        if shape.is_empty
    )
    return kept, findings
