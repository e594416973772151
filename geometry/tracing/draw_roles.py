"""Roles: what each layer draws of the picture's tones, and how it draws.

The tones are ordered from dark to light and one of them is the wall's (or, where the background is
left out, that of a base under the whole subject). Darker tones are painted one inside the other,
the mid-tone first and the shadow last; then lighter ones, the highlight last. So each layer is a
base under those that follow on its side, and an edge between two of them has paint on both sides.

Each role has its own hand: the mid-tone is big and blocky; the shadow is fine, and draws dark lines
too where the tone around them is light; the highlight is a few clean shapes where light is most.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from ..arrays import Bools, Plane
from ..planar.morphology import close_shape, open_shape
from ..planar.polygons import as_multipolygon
from ..progress import Progress
from ..tolerance import TOLERANCES
from .blur import blur, blur_within
from .melt import LEAST_BLUR, melted
from .pixel_shapes import outline, smoothed, without_slivers, without_specks
from .ridges import line_evidence
from .total_variation import flatten

#: What is told while layers are fitted.
FITTING = "fitting layers under each other"
# Share of what is melted over which edges are looked for.
_EDGE_SOFT = 0.35
_HAIR = 0.01
# In a focus area things are drawn this much finer, and elsewhere this much coarser.
_FINER, _COARSER = 0.3, 1.5
# ... and what is half as long and wide is no speck there.
_FINER_SPECK = 0.5
# Widths of the lines that the shadow draws, in strokes, broad and slim. Slim ones must stand out
# more, but for focus areas; where there are such, lines elsewhere must stand out much.
_BROAD, _SLIM, _SLIM_FAITH, _FAR_FAITH = 1.8, 1.1, 0.7, 0.5
# Evidence under this (L*) is grain; each L* of the rest darkens the tone by as much as the gain.
_GRAIN, _GAIN = 2.0, 12.0
#: The tone's step over which an outline is drawn between pixels and not along them.
RAMP = 12.0
# Outlines are softened by this share of the picture's grain.
_OUTLINE_SOFT = 0.5
# ... those of patches by more: by so many pixels, or this share of what the hand melts.
_PATCH_SOFT, _PATCH_MELT = 1.2, 0.3
# The highlight takes no more than this share of the subject, unless what is light is flat.
_GLINTS = 0.09
# How far off, in strokes, a highlight's surroundings lie, and how much they count.
_NEAR, _LIFT = 14.0, 1.0
# How much lighter (L*) than its sides, beyond grain, a line must be to shine, and how far under the
# highlight's cut it may lie.
_SHINE, _GLOOM = 2.5, 30.0
# The lightest tone there is: lighter pixels are single sparks.
_TOP = 0.98
# Thin lines are kept where they are this share of the least width, and grow by that on each side.
_TIP, _FATTER = 0.4, 0.3
# A rim beside a later layer may be this share of the hand's width; gaps and slivers under this
# share of the least width are closed and dropped.
_RIM, _CLOSED = 0.6, 0.8
# Areas that end this near, in mm, end together.
_TOUCH = 1e-3


@dataclass(frozen=True)
class Hand:
    """How a role draws, in strokes (see ``Board.stroke``).

    Parameters
    ----------
    melt : float
        Radius of what melts into its surroundings.
    width : float
        Least width of a shape.
    speck : float
        Side of the square under whose area shapes are left out and holes filled.
    lines : bool
        Whether lines too thin to be cut are drawn a little wider, instead of left out.
    """

    melt: float
    width: float
    speck: float
    lines: bool = False


BLOCKY = Hand(melt=2.5, width=1.4, speck=5.0)
FINE = Hand(melt=1.0, width=0.5, speck=1.4, lines=True)
CLEAN = Hand(melt=2.0, width=0.9, speck=2.6)
#: Light lines: a whisker, the rim of a cup.
GLINT = Hand(melt=0.0, width=0.5, speck=2.0, lines=True)


@dataclass(frozen=True)
class Role:
    """One layer's part.

    Parameters
    ----------
    name : str
        Its layer's name.
    role : str
        ``mid-tone``, ``shadow`` or ``highlight``.
    side : str
        ``base`` (whole subject), ``dark`` or ``light`` (tones beyond a cut).
    cut : int
        Which cut; -1 for a base.
    hand : Hand
    """

    name: str
    role: str
    side: str
    cut: int
    hand: Hand


@dataclass(frozen=True, eq=False)
class Board:
    """The picture as it lies on the drawing board.

    Parameters
    ----------
    tone : float32 array (rows, columns)
        Lightness, 0 to 100.
    subject, focus : bool array
        What is painted at all; where detail is kept.
    pixel : float
        Side of a pixel in mm.
    stroke : float
        The width in mm that a normal line of the drawing has.
    least : float
        Least width in mm that can be cut, of openings and of sheet between them.
    bridge : float
        Least width in mm of sheet that holds.
    trap : float
        How far a layer runs under the one over it, in mm.
    grain : float
        Side of the picture file's own pixels in working pixels; their staircase is smoothed.
    free : bool
        Whether the highlight's cut may be raised: not where it was set by hand.
    fine : float
        How wide strokes are in the focus and in faces, as a factor of what is usual there.
    """

    tone: Plane
    subject: Bools
    focus: Bools
    pixel: float
    stroke: float
    least: float
    bridge: float
    trap: float
    grain: float = 1.0
    free: bool = True
    fine: float = 1.0


def plan_roles(darks: int, lights: int, base: bool) -> tuple[Role, ...]:
    """Return the layers' roles in spray order.

    Parameters
    ----------
    darks, lights : int
        How many layers are darker and lighter than the wall or base; one cut each.
    base : bool
        Whether a base under the whole subject comes first.

    Examples
    --------
    >>> [role.name for role in plan_roles(2, 1, False)]
    ['Mid-tone', 'Shadow', 'Highlight']
    >>> [role.name for role in plan_roles(2, 2, True)]
    ['Mid-tone', 'Dark tone', 'Shadow', 'Light tone', 'Highlight']
    """
    roles = [Role("Mid-tone", "mid-tone", "base", -1, BLOCKY)] if base else []
    for number in range(darks):
        left = darks - 1 - number
        if left == 0:
            roles.append(Role("Shadow", "shadow", "dark", 0, FINE))
        elif number == 0 and not base:
            roles.append(Role("Mid-tone", "mid-tone", "dark", left, BLOCKY))
        else:
            share = (number + base) / (darks - 1 + base)
            name = "Dark tone" + (f" {number + base}" if darks - 2 + base > 1 else "")
            roles.append(Role(name, "mid-tone", "dark", left, _between(BLOCKY, FINE, share)))
    for number in range(lights):
        cut = darks + number
        if number == lights - 1:
            roles.append(Role("Highlight", "highlight", "light", cut, CLEAN))
        else:
            name = "Light tone" + (f" {number + 1}" if lights > 2 else "")
            share = (number + 1) / lights
            roles.append(Role(name, "mid-tone", "light", cut, _between(BLOCKY, CLEAN, share)))
    return tuple(roles)


def _between(first: Hand, second: Hand, share: float) -> Hand:
    def mean(a: float, b: float) -> float:
        return a + (b - a) * share

    return Hand(
        mean(first.melt, second.melt),
        mean(first.width, second.width),
        mean(first.speck, second.speck),
    )


def draw(
    board: Board,
    roles: Sequence[Role],
    cuts: Sequence[float],
    progress: Progress,
    fitted: bool = True,
) -> tuple[MultiPolygon, ...]:
    """Return the shape that each role paints, in mm, y up, origin at the picture's corner.

    Every opening, and every strip of sheet between two openings, is at least ``board.least``
    wide but for pointed tips.

    Parameters
    ----------
    board : Board
        The picture's tones and what the sheet's material allows.
    roles : sequence of Role
        One a layer, in spray order.
    cuts : sequence of float
        Tones between the roles' ranges, L* 0 to 100, ascending.
    progress : Progress
    fitted : bool
        Whether layers are fitted under those sprayed over them. Painted in their order they look
        nearly the same without, which is enough for a preview.
    """
    count = len(roles)
    raw: list[MultiPolygon] = []
    whole = None if board.subject.all() else silhouette(board, progress)
    lines: Plane | None = None
    for number, role in enumerate(roles):
        part = progress.part(0.8 * number / count, 0.8 * (number + 1) / count)
        part(0.0, f"{role.name}: drawing")
        if role.side == "base":
            frame = shapely.box(0, 0, *_size(board))
            shape = whole or as_multipolygon(frame)
        else:
            field = _melted(board, role.hand, part)
            if role.role == "shadow":
                lines = _lines(board, part) if lines is None else lines
                shape = _inked(board, field - np.float32(_GAIN) * lines, cuts[role.cut])
            elif not any(other.side in ("dark", "base") for other in roles):
                # On a dark wall the wall itself draws the dark lines.
                lines = _lines(board, part) if lines is None else lines
                shape = _inked(board, np.float32(_GAIN) * lines - field, -cuts[role.cut])
            elif role.role == "highlight" and board.free:
                lines = _lines(board, part) if lines is None else lines
                shape = _lit(board, field, lines, cuts[role.cut])
            else:
                beyond = field <= cuts[role.cut] if role.side == "dark" else field > cuts[role.cut]
                shape = _patches(board, beyond, role.hand)
            if whole is not None:
                shape = as_multipolygon(shape.intersection(whole))
        raw.append(shape)
    if not fitted:
        return tuple(raw)
    return stacked(raw, roles, board, lambda: progress(0.8, FITTING))


def _size(board: Board) -> tuple[float, float]:
    rows, columns = board.tone.shape
    return columns * board.pixel, rows * board.pixel


def _pixels(board: Board) -> tuple[int, int]:
    rows, columns = board.tone.shape
    return rows, columns


def _melted(board: Board, hand: Hand, progress: Progress) -> Plane:
    """Return the tones as this hand sees them."""
    factor = np.ones_like(board.tone)
    if board.focus.any():
        soft = blur(board.focus.astype(np.float32), 2 * board.stroke / board.pixel)
        factor = np.float32(_COARSER) + soft * np.float32(board.fine * _FINER - _COARSER)
    radius = factor * np.float32(hand.melt * board.stroke / board.pixel)
    return melted(board.tone, radius, _EDGE_SOFT * hand.melt * board.stroke / board.pixel, progress)


def _lines(board: Board, progress: Progress) -> Plane:
    """Return how much darker lines are than their sides, in L*, what is grain left out."""
    stroke = board.stroke / board.pixel

    def seen(width: float) -> Plane:
        progress(0.7, "looking for lines")
        return line_evidence(board.tone, width * stroke, lambda: progress(0.8, "gathering lines"))

    at = board.fine if board.focus.any() else 1.0
    broad, slim = seen(_BROAD * at), seen(_SLIM * at)
    if board.focus.any():
        near = blur(board.focus.astype(np.float32), 2 * stroke)
        far = seen(_BROAD * _COARSER) * np.float32(_FAR_FAITH)
        both = near * _stronger(broad, slim) + (1 - near) * far
    else:
        both = _stronger(broad, slim * np.float32(_SLIM_FAITH))
    lines: Plane = np.sign(both) * np.maximum(np.abs(both) - np.float32(_GRAIN), 0)
    return lines


def _stronger(first: Plane, second: Plane) -> Plane:
    return np.where(np.abs(first) >= np.abs(second), first, second)


def _patches(board: Board, beyond: Bools, hand: Hand) -> MultiPolygon:
    soften = max(_PATCH_SOFT, board.grain, _PATCH_MELT * hand.melt * board.stroke / board.pixel)
    return cleaned(outline(beyond, board.pixel, soften), hand, board)


def outline_blur(board: Board) -> float:
    """Return by how many pixels a field is softened before its outline is drawn."""
    return max(LEAST_BLUR, _OUTLINE_SOFT * board.grain)


def _inked(board: Board, field: Plane, cut: float) -> MultiPolygon:
    """Return what is darker than a cut, its outline drawn between pixels."""
    share = np.clip(0.5 + (cut - field) / np.float32(RAMP), 0, 1).astype(np.float32)
    return cleaned(outline(share, board.pixel, outline_blur(board)), FINE, board)


def _lit(board: Board, field: Plane, lines: Plane, cut: float) -> MultiPolygon:
    """Return the highlight: where light is most for its surroundings, and a few light lines."""
    share = board.subject.astype(np.float32)
    around = blur_within(field, share, _NEAR * board.stroke / board.pixel)
    raised = _glint_cut(field[board.subject], cut)
    lifted = field + np.float32(_LIFT) * (field - around)
    few = float(np.quantile(lifted[board.subject], 1 - _GLINTS))
    # The lightest of all, and what is light for where it lies.
    most = (field > raised) | ((field > cut) & (lifted > few))
    patches = _patches(board, most, CLEAN)
    # A light line in the dark is grey, not light.
    shine = np.where(board.tone > cut - _GLOOM, -lines, 0).astype(np.float32)
    share = np.clip(0.5 + (shine - _SHINE) / 2, 0, 1).astype(np.float32)
    rays = cleaned(outline(share, board.pixel, outline_blur(board)), GLINT, board)
    return joined([patches, rays])


def _glint_cut(tones: Plane, cut: float) -> float:
    """Return the cut of the highlight: raised where light goes on rising beyond the tone's cut."""
    light = tones[tones > cut]
    if not len(light):
        return cut
    top = float(np.quantile(light, _TOP))
    few = float(np.quantile(tones, 1 - _GLINTS))
    return min(max(cut, few), (cut + top) / 2)


def silhouette(board: Board, progress: Progress) -> MultiPolygon:
    """Return the outline of the whole subject, smoothed."""
    progress(0.0, "drawing the silhouette")
    radius = max(1.0, board.stroke / board.pixel)
    field = flatten(
        board.subject.astype(np.float32) * np.float32(100),
        np.full_like(board.tone, 2 / (50 * radius)),
    )
    return cleaned(outline(field > 50, board.pixel, radius / 2), FINE, board)


def cleaned(shape: MultiPolygon, hand: Hand, board: Board) -> MultiPolygon:
    """Return the shape without what a hand would not draw or a sheet cannot hold.

    Parameters
    ----------
    shape : shapely MultiPolygon
        In mm, y up.
    hand : Hand
        How fine the layer is drawn.
    board : Board
    """
    width = max(board.least, hand.width * board.stroke)
    gap = max(board.least, min(board.bridge, hand.width * board.stroke))
    speck = max(board.least, hand.speck * board.stroke)
    finer = max(board.least, _FINER_SPECK * board.fine * hand.speck * board.stroke)
    # Small crumbs go first, or closing would gather them into lumps.
    shape = without_specks(shape, (0.5 * speck) ** 2, 0.0, board.focus, board.pixel)
    if hand.lines:
        shape = _thickened(shape, width)
    shape = open_shape(close_shape(shape, gap), width)
    return without_specks(shape, speck**2, finer**2, board.focus, board.pixel)


def _thickened(shape: MultiPolygon, width: float) -> MultiPolygon:
    """Return the shape with its thin lines made just wide enough to be cut."""
    thin = as_multipolygon(shape.difference(open_shape(shape, width)))
    thin = open_shape(thin, _TIP * width)  # corners and the tips of strokes stay pointed
    return joined([shape, as_multipolygon(thin.buffer(_FATTER * width))])


def stacked(
    raw: Sequence[MultiPolygon],
    roles: Sequence[Role],
    board: Board,
    step: Callable[[], None] = lambda: None,
) -> tuple[MultiPolygon, ...]:
    """Fit each layer under those that are sprayed over it.

    Parameters
    ----------
    raw : sequence of shapely MultiPolygon
        What each role would paint by itself.
    roles : sequence of Role
        In the same order: the spray order.
    board : Board
    step : callable
        Called before each; may raise ``Cancelled``.
    """
    result: list[MultiPolygon] = list(raw)
    frame = shapely.box(0, 0, *_size(board))
    over: dict[str, MultiPolygon | None] = {"dark": None, "light": None}
    for at in range(len(roles) - 1, -1, -1):
        step()
        side, hand = roles[at].side, roles[at].hand
        later = over.get(side)
        if side == "base":
            later = joined([s for s in over.values() if s is not None])
        shape = raw[at]
        if later is not None and not later.is_empty:
            shape = _under(shape, later, board, hand)
            step()
        shape = close_shape(open_shape(shape, board.least), _CLOSED * board.least)
        least = board.least**2
        shape = without_specks(shape, least, least, board.focus, board.pixel)
        shape = without_slivers(shape, _CLOSED * max(board.least, _RIM * hand.width * board.stroke))
        # Drawn in by a hair: rings that touch at a point come apart.
        shape = smoothed(as_multipolygon(shape.intersection(frame)), _pixels(board), board.pixel)
        result[at] = as_multipolygon(shape.buffer(-_HAIR, join_style="mitre"))
        if side in over:
            over[side] = result[at] if over[side] is None else joined([result[at], over[side]])
    return tuple(result)


def _under(shape: MultiPolygon, later: MultiPolygon, board: Board, hand: Hand) -> MultiPolygon:
    """Return the layer that shows as ``shape`` once ``later`` is sprayed over it.

    Where both would end together the lower one is drawn back under the upper by the trap, so that
    a drift of the sheets shows no rim; where the lower one goes on it runs under the upper whole.
    """
    rim = as_multipolygon(shape.difference(later))
    rim = open_shape(rim, max(board.least, board.trap, _RIM * hand.width * board.stroke))
    speck = max(board.least, 0.5 * hand.speck * board.stroke)
    finer = _FINER_SPECK * board.fine * speck
    rim = without_specks(rim, speck**2, finer**2, board.focus, board.pixel)
    inner = later.buffer(-board.trap, join_style="mitre")
    reach = rim.buffer(board.trap).intersection(later)
    whole = joined([rim, as_multipolygon(inner), as_multipolygon(reach)])
    # Joints under the upper layer do not show: filled and smoothed.
    whole = close_shape(whole, max(board.bridge, 2 * board.trap))
    whole = as_multipolygon(whole.intersection(rim.buffer(TOLERANCES.same_point).union(later)))
    return _filled(whole, as_multipolygon(shape.union(later)).buffer(_TOUCH))


def _filled(shape: MultiPolygon, wanted: shapely.Geometry) -> MultiPolygon:
    """Return the shape with those holes filled in which paint is wanted anyway."""
    polygons, holes = [], []
    for part in shape.geoms:
        inner = np.array([Polygon(ring) for ring in part.interiors], object)
        idle = shapely.covered_by(inner, wanted) if len(inner) else np.empty(0, bool)
        holes += list(inner[idle])
        polygons.append(part)
    return joined([MultiPolygon(polygons), MultiPolygon(holes)]) if holes else shape


def joined(shapes: Sequence[MultiPolygon | None]) -> MultiPolygon:
    """Return the union of those shapes that there are."""
    return as_multipolygon(shapely.union_all([s for s in shapes if s is not None]))
