"""A portrait: tones that are taken from the skin, lines that are taken from the marks of the face.

A picture of which something is known (the subject's outline, the marks of its faces, or the
artist's focus) is parted into as many colours as there are layers and a base. The colours are the
means of classes that lie close together in CIELAB, half of whose weight is the face: so the skin's
own range of lightness sets the cuts of the face, while hair and clothes take whichever of the same
paints is nearest to them. What is painted of a layer is where its colours are nearer than all
others, by how much in units of colour difference; that field is smoothed as tones are, and an edge
of it stays where the picture has one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from ..arrays import Bools, Floats, Indices, Plane
from ..planar.morphology import close_shape, open_shape
from ..planar.polygons import as_multipolygon
from ..progress import Progress
from ..step_cache import StepCache, kept
from ..tolerance import NOT_ZERO
from .blur import blur, blur_within
from .draw_roles import (
    FITTING,
    RAMP,
    Board,
    Hand,
    Role,
    cleaned,
    joined,
    outline_blur,
    silhouette,
    stacked,
)
from .features import Features, MarkLine, Stroke, tapered
from .features import drawn as drawn_plane
from .flow_lines import flow_difference
from .mark_lines import darkest_way
from .melt import melted
from .pixel_shapes import outline
from .subject import joined_to_border, parts_of

#: How the layers of a portrait are drawn, in strokes.
CALM = Hand(melt=1.2, width=0.8, speck=2.2)
INK = Hand(melt=0.9, width=0.5, speck=1.2, lines=True)
#: The mid-tone near the marks of a face.
FORM = Hand(melt=0.9, width=0.5, speck=1.7, lines=True)
LIGHT = Hand(melt=1.0, width=0.6, speck=1.7)
#: Share of the weight that the faces, or the focus, have in choosing the tones.
FACE_SHARE = 0.5
#: How many times more a pixel of a face counts than another in choosing the colours.
FACE_COLOUR = 2.0
# Melting: near marks, elsewhere in a face, and in the rest, as factors.
_AT_MARKS, _IN_FACE, _ELSEWHERE = 0.3, 0.45, 0.6
# Share of what is melted over which edges are looked for.
_EDGE_SOFT = 0.2
# Pixels are softened by this share of a stroke before they are told apart.
_SOFT = 0.3
# Lines: broad and slim in strokes, what a unit of lightness darkens, and how far lines are trusted
# near marks, elsewhere in a face, and in hair and clothes.
_BROAD, _SLIM, _GAIN = 1.6, 0.9, 5.0
_AT_MARKS_TRUST, _IN_FACE_TRUST, _ELSEWHERE_TRUST = 1.0, 0.22, 0.4
# ... and round an eye, where glasses sit.
_SOCKET_TRUST = 0.4
# A line of the marks is drawn whole where it is darker than its sides by this much (L*) over this
# share of its length.
_LINE_DARKER, _LINE_SHARE = 3.0, 0.5
# A feature is drawn where it is darker than its surroundings, by more than this share of its own
# darkest part and if that is no fainter than so much (L*); lengths in distances between the eyes.
_DRAWN, _FAINTEST, _AROUND, _FAINT_SOFT = 0.6, 4.0, 0.12, 0.012
# Of forms, lips and the base of the nose, more is drawn, but for those in shade.
_FORM_DRAWN, _SHADED_DRAWN = 0.45, 0.7
_SKIN_BESIDE = 0.7
_WHOLE = np.float32(40.0)
# Holes smaller than the square of so many strokes are filled, near the marks of a face, elsewhere
# in it, and in the rest: each would fall out, and its bridge would spoil more than it is worth.
_HOLE_AT_MARKS, _HOLE_IN_FACE, _HOLE = 2.6, 4.2, 6.0
# A hole whose colours are nearer to what it shows than to the paint by less than this (Delta E), on
# average, must be larger in the same measure; but so many times at most.
_CLEAR, _FAINT_HOLE = 6.0, 4.0
# A part of the subject smaller than this share of it has no say in choosing the tones.
_NO_SHARE = 1e-3
# Where the classes' centres begin: at these quantiles of the skin's lightness, the darkest no
# lighter and the lightest no darker than these (L*).
_DARK_AT, _SKIN_AT, _LIGHT_AT = 0.03, (0.25, 0.65), 0.97
_DARK_L, _LIGHT_L = 15.0, 88.0
# Median colours: so many pixels are enough, and so many rounds.
_MEDIAN_SAMPLES, _MEDIAN_ROUNDS = 4000, 12
# A feature's zone has faded away under this; its darkest part begins at this quantile.
_FADED, _DARKEST_PART = 0.02, 0.85
#: Side, in strokes, of the square that an island must fill to count when a base is chosen.
ISLAND = _HOLE_IN_FACE
# Catch-lights: their least and greatest diameter as shares of the iris, and how much lighter (L*)
# than the iris they must be.
_CATCH, _MOST_CATCH, _CATCH_LIGHTER = 0.28, 0.5, 18.0
# Catch-lights are looked for behind a blur of so many pixels, or this share of the iris.
_CATCH_BLUR, _CATCH_SOFT = 0.6, 0.12
# Rims of base between light and dark that are narrower than this, in strokes, are not drawn.
_RIM = 0.6
# ... and what is left of one after shares of that width are taken off: a rim, or a crumb of it.
_THIN, _CRUMB = 0.9, 0.1
_MOST_SAMPLES, _ROUNDS = 20_000, 25
# Which share of the lit skin a tone must have to be the base. A base that nothing is lighter than
# leaves the eyes without their glints, which is as bad as so many islands.
_ELIGIBLE, _GLINTS_LOST = 0.1, 2


@dataclass(frozen=True, eq=False)
class Tones:
    """The tones of a portrait.

    Parameters
    ----------
    centres : float64 array (n, 3)
        CIELAB, from dark to light; one more than the layers beside the base.
    base : int
        Which of them is the base, or the wall where it shows as skin.
    by_hand : tuple of float
        Lightness where they part, one fewer than the tones, if the artist has set it.
    """

    centres: Floats
    base: int

    by_hand: tuple[float, ...] = ()

    @property
    def cuts(self) -> tuple[float, ...]:
        """Lightness where neighbours part: as set by hand, or half-way between them."""
        light = self.centres[:, 0]
        return self.by_hand or tuple(((light[1:] + light[:-1]) / 2).tolist())


def weights_of(subject: Bools, important: Plane, share: float = FACE_SHARE) -> Plane:
    """Return how much each pixel counts when tones are chosen; all together 1.

    Parameters
    ----------
    subject : bool array (rows, columns)
    important : float32 array (rows, columns)
        Faces or focus, 0 to 1; may be 0 everywhere.
    share : float
        Of the weight that goes to them.
    """
    inside = subject.astype(np.float32)
    face = inside * important
    total, part = float(inside.sum()), float(face.sum())
    if part < _NO_SHARE * total:
        return inside / np.float32(max(total, 1.0))
    rest = inside - face
    left = float(rest.sum())
    if left < _NO_SHARE * total:
        return face / np.float32(part)
    own, other = np.float32(share / part), np.float32((1 - share) / left)
    return np.add(face * own, rest * other, dtype=np.float32)


def tones_of(
    lab: Plane,
    weights: Plane,
    important: Bools,
    count: int,
    lights: int | None = None,
    speck: float = 0.0,
) -> Tones:
    """Return colours that stand for all of a picture's, and which of them is the base.

    Parameters
    ----------
    lab : float32 array (rows, columns, 3)
        CIELAB, softened.
    weights : float32 array (rows, columns)
        How much each pixel counts.
    important : bool array (rows, columns)
        The skin, whose lighter part is the base; the whole subject where there is none.
    count : int
        How many colours, base included.
    lights : int, optional
        How many are lighter than the base; found from the skin when None.
    speck : float
        Pixels of the smallest hole that stays in a layer; matters where ``lights`` is None.

    Notes
    -----
    Means of classes after Lloyd, "Least squares quantization in PCM", IEEE Trans. Information
    Theory 28, 1982, begun at quantiles of the skin's lightness, so that nothing is left to chance.
    """
    flat = lab.reshape(-1, 3)
    chosen = np.flatnonzero(weights.ravel() > 0)
    chosen = chosen[:: max(1, len(chosen) // _MOST_SAMPLES)]
    points = flat[chosen].astype(np.float64)
    mass = weights.ravel()[chosen].astype(np.float64)
    skin = lab[important] if important.any() else points
    light = skin[:, 0]
    at = np.concatenate([[_DARK_AT], np.linspace(*_SKIN_AT, max(0, count - 2)), [_LIGHT_AT]])[
        :count
    ]
    centres = np.empty((count, 3))
    for number, level in enumerate(np.quantile(light, at).tolist()):
        close = np.abs(light - level)
        centres[number] = skin[close <= np.quantile(close, 0.1)].mean(axis=0)
    centres[0, 0] = min(centres[0, 0], _DARK_L)
    if count > 2:
        centres[-1, 0] = max(centres[-1, 0], _LIGHT_L)
    last: Indices | None = None
    for _ in range(_ROUNDS):
        nearest = _nearest(points, centres)
        if last is not None and np.array_equal(nearest, last):
            break
        last = nearest
        total = np.bincount(nearest, mass, count)
        for axis in range(3):
            sums = np.bincount(nearest, mass * points[:, axis], count)
            np.divide(sums, total, out=centres[:, axis], where=total > 0)
    centres = centres[np.argsort(centres[:, 0])]
    if lights is not None:
        return Tones(centres, max(0, count - 1 - lights))
    # The base is one that much of the lit skin is nearest to: were skin sprayed last, every brow
    # and lip would be an island of its sheet. Of two such the one that leaves fewer islands:
    # patches of light within shade are better sprayed than left open.
    lit = skin[light >= np.quantile(light, 0.4)]
    votes = np.bincount(_nearest(lit.astype(np.float64), centres), minlength=count) / len(lit)
    most = max(1, int(np.argmax(votes)))
    able = [k for k in range(1, count) if votes[k] >= _ELIGIBLE or k == most]
    if len(able) == 1:
        return Tones(centres, most)
    tone = _nearest(flat.astype(np.float64), centres).reshape(lab.shape[:2])
    tone[weights == 0] = -1
    islands = {k: _islands(tone, count, k, speck) for k in able}
    cost = {k: islands[k] + (_GLINTS_LOST if k == count - 1 else 0) for k in able}
    return Tones(centres, min(able, key=lambda k: (cost[k], -votes[k])))


def _islands(tone: Indices, count: int, base: int, speck: float) -> int:
    """Return how many islands there are in all sheets; ``tone`` is -1 off the subject."""
    total = 0
    for cut in range(count - 1):
        painted = (tone >= 0) & (tone <= cut if cut < base else tone > cut)
        left = ~np.pad(painted, 1)
        sheet = parts_of(left & ~joined_to_border(left))
        total += int((np.bincount(sheet[sheet >= 0]) >= max(speck, 1.0)).sum())
    return total


def plan_portrait(tones: Tones, base: bool) -> tuple[Role, ...]:
    """Return the layers' roles in spray order.

    Parameters
    ----------
    tones : Tones
    base : bool
        Whether a base coat is sprayed; otherwise the wall is the base.

    Examples
    --------
    >>> four = Tones(np.zeros((4, 3)), 2)
    >>> [role.name for role in plan_portrait(four, True)]
    ['Base coat', 'Mid-tone', 'Shadow', 'Highlight']
    """
    darks, lights = tones.base, len(tones.centres) - 1 - tones.base
    roles = [Role("Base coat", "mid-tone", "base", -1, CALM)] if base else []
    for number in range(darks):
        left = darks - 1 - number
        if left == 0:
            roles.append(Role("Shadow", "shadow", "dark", 0, INK))
        else:
            name = "Mid-tone" if number == 0 else "Dark tone" + (f" {number}" if darks > 3 else "")
            roles.append(Role(name, "mid-tone", "dark", left, CALM))
    for number in range(lights):
        if number == lights - 1:
            roles.append(Role("Highlight", "highlight", "light", darks + number, LIGHT))
        else:
            name = "Light tone" + (f" {number + 1}" if lights > 2 else "")
            roles.append(Role(name, "mid-tone", "light", darks + number, CALM))
    return tuple(roles)


def softened(lab: Plane, subject: Bools, stroke: float) -> Plane:
    """Return the colours with grain taken off, the backdrop kept out of the subject.

    Parameters
    ----------
    lab : float32 array (rows, columns, 3)
    subject : bool array (rows, columns)
    stroke : float
        In pixels.
    """
    share = subject.astype(np.float32)
    return np.stack([blur_within(lab[..., k], share, _SOFT * stroke) for k in range(3)], axis=2)


def draw_portrait(
    board: Board,
    lab: Plane,
    tones: Tones,
    features: Features,
    roles: Sequence[Role],
    progress: Progress,
    fitted: bool = True,
    cache: StepCache | None = None,
) -> tuple[MultiPolygon, ...]:
    """Return the shape that each role paints, in mm, y up, origin at the picture's corner.

    Parameters
    ----------
    board : Board
        Its ``tone`` is the lightness that lines are looked for in; its ``focus`` the marks' zones.
    lab : float32 array (rows, columns, 3)
        See :func:`softened`.
    tones : Tones
    features : Features
    roles : sequence of Role
        Of :func:`plan_portrait`.
    progress : Progress
    fitted : bool
        As for ``draw_roles.draw``.
    cache : StepCache, optional
        Keeps steps for the next tracing of the same picture.
    """
    stroke = board.stroke / board.pixel
    faces = blur(features.faces, stroke)
    close = np.maximum(features.zones, blur(board.focus.astype(np.float32), stroke))
    fineness = _mixed(close, faces, board.fine * _AT_MARKS, board.fine * _IN_FACE, _ELSEWHERE)
    whole = None
    if not board.subject.all():
        whole = kept(cache, silhouette, board, progress=progress)
    here = replace(board, focus=board.focus | (features.faces > 0.5))
    soften = outline_blur(board)
    lines = _dark_lines(board, close, faces, features.sockets, progress.part(0.0, 0.1), cache)
    forms = [_form(lab, board.tone, shape, tones) for shape in features.forms]
    raw: list[MultiPolygon] = []
    fields: list[Plane | None] = []
    ink = np.full_like(board.tone, -_WHOLE)
    for number, role in enumerate(roles):
        part = progress.part(0.1 + 0.7 * number / len(roles), 0.1 + 0.7 * (number + 1) / len(roles))
        part(0.0, f"{role.name}: drawing")
        if role.side == "base":
            frame = shapely.box(0, 0, *(board.pixel * v for v in board.tone.shape[::-1]))
            raw.append(whole or as_multipolygon(frame))
            fields.append(None)
            continue
        field = _field(lab, tones, role)
        field = kept(cache, _melted, field, role.hand, fineness, stroke, progress=part)
        if role.side == "dark":
            field = field + lines
            for tone, shape in forms:
                if tone <= role.cut:
                    field = np.maximum(field, shape)
        if role.role == "shadow":
            field = _inked(field, board, features)
            ink = np.maximum(ink, field)
        elif role.side == "light":
            # What the shadow draws is not sprayed over again, but by the glint in an eye.
            field = np.minimum(field, -ink)
            if role.role == "highlight":
                spots = catch_lights(board.tone, features)
                field = np.where(spots > 0.5, _WHOLE, field).astype(np.float32)
        share = np.clip(np.float32(0.5) + field / np.float32(RAMP), 0, 1).astype(np.float32)
        shape = _cleaned(outline(share, board.pixel, soften), role.hand, here)
        if role.side == "dark" and role.hand is CALM:
            fine = outline(share * (close > 0.5), board.pixel, soften)
            shape = joined([shape, cleaned(fine, FORM, _in_face(here))])
        shape = _without_small_holes(shape, here, close, field)
        fields.append(field)
        if whole is not None:
            shape = as_multipolygon(shape.intersection(whole))
        raw.append(shape)
    progress(0.8, FITTING)
    raw = _without_rims(raw, roles, here)
    if not fitted:
        return tuple(raw)

    def step() -> None:
        progress(0.9, FITTING)

    under = [
        _without_small_holes(shape, here, close, field)
        for shape, field in zip(stacked(raw, roles, here, step), fields, strict=True)
    ]
    step()
    if roles[0].side == "base":
        under[0] = _base_coat(raw[0], joined(under[1:]), here)
    return tuple(under)


def portrait_colours(
    lab: Plane, shown: Indices, subject: Bools, faces: Plane, count: int
) -> Floats:
    """Return the colours that come nearest to the picture: each layer's geometric median.

    Parameters
    ----------
    lab : float32 array (rows, columns, 3)
        See :func:`softened`.
    shown : int array (rows, columns)
        What is seen in each pixel: 0 the wall, 1 the first layer, and so on.
    subject : bool array (rows, columns)
        What lies outside takes no part.
    faces : float32 array (rows, columns)
    count : int
        Layers.

    Returns
    -------
    float64 array (count + 1, 3)
        CIELAB, the wall first; NaN for what is seen nowhere.

    Notes
    -----
    Weiszfeld's iteration (Tohoku Math. J. 43, 1937): unlike a mean, the median is not drawn away
    by the few pixels on the edges of a shape.
    """
    colours = np.full((count + 1, 3), np.nan)
    for number in range(count + 1):
        marked = (shown == number) & subject
        if not marked.any():
            continue
        step = max(1, int(marked.sum()) // _MEDIAN_SAMPLES)
        points = lab[marked][::step].astype(np.float64)
        mass = 1 + (FACE_COLOUR - 1) * faces[marked][::step].astype(np.float64)
        middle = np.average(points, axis=0, weights=mass)
        for _ in range(_MEDIAN_ROUNDS):
            pull = mass / np.maximum(np.linalg.norm(points - middle, axis=1), 2.0)
            middle = np.average(points, axis=0, weights=pull)
        colours[number] = middle
    return colours


def catch_lights(tone: Plane, features: Features) -> Plane:
    """Return the lightest spot of each iris, where it stands out, as marks 0 to 1.

    Parameters
    ----------
    tone : float32 array (rows, columns)
        Lightness.
    features : Features
    """
    marks = np.zeros_like(tone)
    for row, column, radius in _irises(features.irises):
        low, high = max(0, int(row - radius)), int(row + radius) + 2
        left, right = max(0, int(column - radius)), int(column + radius) + 2
        part = tone[low:high, left:right]
        iris = features.irises[low:high, left:right] > 0.5
        if not iris.any():
            continue
        soft = np.where(iris, blur(part, max(_CATCH_BLUR, _CATCH_SOFT * radius)), -1)
        top = int(np.argmax(soft))
        if soft.ravel()[top] < np.median(part[iris]) + _CATCH_LIGHTER:
            continue
        y, x = np.mgrid[: part.shape[0], : part.shape[1]]
        at = divmod(top, part.shape[1])
        off = np.hypot(y - at[0], x - at[1])
        bright = iris & (soft > (soft.ravel()[top] + np.median(part[iris])) / 2)
        bright &= off < _MOST_CATCH * radius
        spot = np.maximum(bright, np.clip(_CATCH * radius + 0.5 - off, 0, 1))
        place = marks[low:high, left:right]
        np.maximum(place, spot.astype(np.float32), out=place)
    return marks


def _irises(plane: Plane) -> list[tuple[float, float, float]]:
    """Return middle row, middle column and radius of each iris drawn in a plane."""
    shapes = shapely.get_parts(outline(plane, 1.0, 0.5))
    found = []
    for shape in shapes:
        x, y = shape.centroid.coords[0]
        left, low, right, high = shape.bounds
        found.append((plane.shape[0] - y, x, max(right - left, high - low) / 2))
    return found


def _nearest(points: Floats, centres: Floats) -> Indices:
    # Of the squared distance what hangs on the point alone may be left out.
    return np.argmin((centres**2).sum(axis=1) - 2 * points @ centres.T, axis=1)


def _field(lab: Plane, tones: Tones, role: Role) -> Plane:
    """Return how far (Delta E) each pixel lies on a role's side of its cut."""
    if tones.by_hand:
        beyond = lab[..., 0] - np.float32(tones.by_hand[role.cut])
        return -beyond if role.side == "dark" else beyond
    count = len(tones.centres)
    own = range(role.cut + 1) if role.side == "dark" else range(role.cut + 1, count)
    return _lead(lab, tones.centres, own)


def _lead(lab: Plane, centres: Floats, own: Sequence[int]) -> Plane:
    """Return by how much (Delta E) the nearest of some colours is nearer than all others.

    Between two colours it is the distance to the plane half-way, so that it is as steep as the
    picture itself.
    """
    light = [((lab - centre.astype(np.float32)) ** 2).sum(axis=2) for centre in centres]
    best: Plane | None = None
    for k in own:
        least: Plane | None = None
        for j in range(len(centres)):
            if j in own:
                continue
            apart = max(float(np.linalg.norm(centres[j] - centres[k])), 1e-6)
            lead = (light[j] - light[k]) / np.float32(2 * apart)
            least = lead if least is None else np.minimum(least, lead)
        if least is not None:
            best = least if best is None else np.maximum(best, least)
    return np.zeros(lab.shape[:2], np.float32) if best is None else best


def _mixed(close: Plane, faces: Plane, at: float, within: float, beyond: float) -> Plane:
    rest = faces * np.float32(within) + (1 - faces) * np.float32(beyond)
    mixed: Plane = close * np.float32(at) + (1 - close) * rest
    return mixed


def _melted(field: Plane, hand: Hand, fineness: Plane, stroke: float, progress: Progress) -> Plane:
    size = hand.melt * stroke
    return melted(field, fineness * np.float32(size), _EDGE_SOFT * size, progress)


def _cleaned(shape: MultiPolygon, hand: Hand, board: Board) -> MultiPolygon:
    """Return the shape as a hand draws it, with strokes of their own width in faces and focus."""
    whole = cleaned(shape, hand, board)
    if board.fine == 1 or not board.focus.any():
        return whole
    face = outline(board.focus, board.pixel)
    inside = cleaned(shape, hand, _in_face(board)).intersection(face)
    return joined([as_multipolygon(whole.difference(face)), as_multipolygon(inside)])


def _in_face(board: Board) -> Board:
    """Return the board with the strokes that are drawn in faces and focus."""
    return replace(board, stroke=board.fine * board.stroke, fine=1.0)


def _dark_lines(
    board: Board,
    close: Plane,
    faces: Plane,
    sockets: Plane,
    progress: Progress,
    cache: StepCache | None,
) -> Plane:
    """Return how much (Delta E) lines darken each pixel."""
    stroke = board.stroke / board.pixel

    def seen(width: float) -> Plane:
        progress(0.0, "looking for lines")
        return kept(
            cache,
            flow_difference,
            board.tone,
            width * stroke,
            step=lambda: progress(0.5, "gathering lines"),
        )

    def strongest(at: float) -> Plane:
        broad, slim = seen(at * _BROAD), seen(at * _SLIM)
        return np.where(np.abs(broad) >= np.abs(slim), broad, slim)

    lines: Plane = strongest(1.0)
    if board.fine != 1:
        inside = np.maximum(close, faces)
        lines = np.add(inside * strongest(board.fine), (1 - inside) * lines, dtype=np.float32)
    trust = _mixed(close, faces, _AT_MARKS_TRUST, _IN_FACE_TRUST, _ELSEWHERE_TRUST)
    trust = np.maximum(trust, sockets * np.float32(_SOCKET_TRUST))
    # What is light beside a line stays so: lines only darken, but between the marks of a face.
    lines = np.where(lines > 0, lines, close * lines).astype(np.float32)
    darker: Plane = np.float32(_GAIN) * trust * lines
    return darker


def _inked(field: Plane, board: Board, features: Features) -> Plane:
    """Return the shadow's field with brows and lines of the marks drawn in, irises whole."""
    for drawn in features.strokes:
        field = np.maximum(field, _stroke(board.tone, drawn, _DRAWN))
    for line in features.lines:
        field = np.maximum(field, _whole_line(board.tone, line))
    return np.where(features.irises > 0.5, np.maximum(field, _WHOLE), field).astype(np.float32)


def _whole_line(tone: Plane, line: MarkLine) -> Plane:
    """Return the field of a line from end to end, where the picture has it at all."""
    soft = blur(tone, line.width / 4)
    way, darker = darkest_way(soft, line.points, line.reach)
    if (darker > _LINE_DARKER).mean() < _LINE_SHARE:
        return np.full_like(tone, -_WHOLE)
    rows, columns = tone.shape
    share = drawn_plane((rows, columns), tapered(way, line.width), filled=True)
    field: Plane = np.where(share > 0, np.float32(RAMP) * (share - np.float32(0.5)), -_WHOLE)
    return field


def _form(lab: Plane, light: Plane, shape: Stroke, tones: Tones) -> tuple[int, Plane]:
    """Return the field of a form, and which of the dark tones draws it.

    It is the nearest in colour, and darker than what the form lies in: a nose in the shade of a
    face is drawn by less of it.
    """
    field = _stroke(light, shape, _FORM_DRAWN)
    own, round_it = field > 0, (field <= 0) & (shape.zone > 0.5)
    if not own.any() or not tones.base:
        return len(tones.centres), field
    dark = tones.centres[: tones.base]
    tone = int(_nearest(lab[own].astype(np.float64).mean(axis=0)[None], dark)[0])
    if round_it.any():
        beside = _nearest(lab[round_it].astype(np.float64), tones.centres)
        lies_in = int(np.argmax(np.bincount(beside)))
        if 0 < lies_in <= tone:
            return lies_in - 1, _stroke(light, shape, _SHADED_DRAWN)
    return tone, field


def _stroke(tone: Plane, drawn: Stroke, least: float) -> Plane:
    """Return the field of a feature that is drawn however faint it is, by its own darkest part.

    Drawn is what is darker than its surroundings by more than the share ``least`` of the most.

    Where nothing of the feature is darker than the skin around it, nothing is drawn.
    """
    away = np.full_like(tone, -_WHOLE)
    rows, columns = np.nonzero(drawn.zone > _FADED)
    if not len(rows):
        return away
    room = int(2 * _AROUND * drawn.span) + 2
    part = (
        slice(max(0, int(rows.min()) - room), int(rows.max()) + room + 1),
        slice(max(0, int(columns.min()) - room), int(columns.max()) + room + 1),
    )
    light, zone = tone[part], drawn.zone[part]
    soft = blur(light, _FAINT_SOFT * drawn.span)
    inside = zone > 0.5
    if not inside.any():
        return away
    ring = blur(zone, _AROUND * drawn.span) > _FADED
    darker = np.float32(np.quantile(light[ring], _SKIN_BESIDE)) - soft
    top = float(np.quantile(darker[inside], _DARKEST_PART))
    if top < _FAINTEST:
        return away
    field = np.float32(RAMP) * (darker / np.float32(top) - np.float32(least)) / (1 - least)
    away[part] = np.where(inside, field, -_WHOLE)
    return away


def _base_coat(whole: MultiPolygon, later: MultiPolygon, board: Board) -> MultiPolygon:
    """Return the subject in one calm piece, drawn back by the trap where a later layer ends it."""
    shown = open_shape(as_multipolygon(whole.difference(later)), 2 * board.bridge)
    inner = as_multipolygon(whole.buffer(-board.trap, join_style="mitre"))
    coat = joined([inner, shown])
    coat = close_shape(open_shape(coat, 2 * board.bridge), 2 * board.bridge)
    coat = as_multipolygon(coat.intersection(whole))
    least = (_HOLE * board.stroke) ** 2
    parts = [
        Polygon(part.exterior, [r for r in part.interiors if Polygon(r).area >= least])
        for part in coat.geoms
        if part.area >= least
    ]
    return MultiPolygon(parts)


def _without_rims(
    raw: Sequence[MultiPolygon], roles: Sequence[Role], board: Board
) -> list[MultiPolygon]:
    """Let what is light grow over the thin rims of base between it and what is dark.

    Where a picture goes from dark to light within a pixel or two, each tone between them leaves a
    rim that nobody would draw.
    """
    result = list(raw)
    dark = joined([s for s, role in zip(raw, roles, strict=True) if role.side == "dark"])
    at = [k for k, role in enumerate(roles) if role.side == "light"]
    if not at:
        return result
    light = raw[at[0]]
    width = _RIM * board.stroke
    grown = as_multipolygon(light.buffer(width).difference(dark))
    shown = as_multipolygon(grown.difference(light))
    # A rim ends at the dark: what stays open on its far side is base that shall be seen.
    rims = as_multipolygon(shown.difference(open_shape(shown, _THIN * width)))
    rims = as_multipolygon(rims.intersection(dark.buffer(width)))
    result[at[0]] = joined([light, open_shape(rims, _CRUMB * width)])
    return result


def _without_small_holes(
    shape: MultiPolygon, board: Board, close: Plane, field: Plane | None = None
) -> MultiPolygon:
    """Return the shape with holes filled that are small, or faint for their size.

    Each is an island of the sheet. ``field`` says by how much its pixels are nearer to the paint
    (Delta E) or, below 0, to what the hole leaves to be seen.
    """
    parts = []
    for part in shape.geoms:
        holes = np.array(part.interiors, object)
        if len(holes):
            area = shapely.area(shapely.polygons(holes))
            place = shapely.get_coordinates(shapely.centroid(shapely.polygons(holes)))
            rows, columns = board.focus.shape
            column = np.clip((place[:, 0] / board.pixel).astype(int), 0, columns - 1)
            row = np.clip(rows - 1 - (place[:, 1] / board.pixel).astype(int), 0, rows - 1)
            strokes = np.where(board.focus[row, column], board.fine * _HOLE_IN_FACE, _HOLE)
            strokes[close[row, column] > 0.5] = board.fine * _HOLE_AT_MARKS
            least = (strokes * board.stroke) ** 2
            if field is not None:
                shown = np.array([_shown(field, ring, board.pixel) for ring in holes])
                least = least * np.clip(_CLEAR / np.maximum(shown, NOT_ZERO), 1.0, _FAINT_HOLE)
            part = Polygon(part.exterior, list(holes[area >= least]))
        parts.append(part)
    return joined(parts and [MultiPolygon(parts)]) if parts else shape


def _shown(field: Plane, ring: shapely.LinearRing, pixel: float) -> float:
    """Return how clearly, on average (Delta E), a hole shows what is not the paint."""
    rows, columns = field.shape
    line = shapely.get_coordinates(ring) / pixel
    line[:, 1] = rows - line[:, 1]
    low = np.clip(np.floor(line.min(axis=0)), 0, (columns - 1, rows - 1)).astype(int)
    high = np.clip(np.ceil(line.max(axis=0)), low + 1, (columns, rows)).astype(int)
    part = field[low[1] : high[1], low[0] : high[0]]
    tall, wide = part.shape
    share = drawn_plane((tall, wide), line - low, filled=True)
    total = float(share.sum())
    return float((np.maximum(-part, 0) * share).sum()) / total if total else 0.0
