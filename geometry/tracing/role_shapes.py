"""Roles: what each layer draws of the picture's tones, and how it draws.

The tones are ordered from dark to light and one of them is the wall's (or, where the background is
left out, that of a base under the whole subject). Darker tones are painted one inside the other,
the mid-tone first and the shadow last; then lighter ones, the highlight last. So each layer is a
base under those that follow on its side, and an edge between two of them has paint on both sides.

Each role has its own hand: the mid-tone is big and blocky, the shadow fine, the highlight a few
clean shapes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from ..progress import Progress
from ..sheet import as_multipolygon
from .blur import blur
from .plane_shapes import closed, opened, outline, smoothed, without_slivers, without_specks
from .total_variation import flatten

Plane = NDArray[np.float32]
Bools = NDArray[np.bool_]

# A tone that differs by this much (L*) from its surroundings is worth a shape of its own.
_CONTRAST = 15.0
# Edges steeper than this (L* across a stroke) hold outlines fast.
_EDGE = 12.0
_LEAST_COST = 0.25
_HAIR = 0.01
# In a focus area things are drawn this much finer, and elsewhere this much coarser.
_FINER, _COARSER = 0.3, 1.5


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
    """

    melt: float
    width: float
    speck: float


BLOCKY = Hand(melt=2.5, width=1.4, speck=5.0)
FINE = Hand(melt=1.0, width=0.5, speck=1.4)
CLEAN = Hand(melt=2.0, width=0.9, speck=2.6)


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
    board: Board, roles: Sequence[Role], cuts: Sequence[float], progress: Progress
) -> tuple[MultiPolygon, ...]:
    """Return the shape that each role paints, in mm, y up, origin at the picture's corner.

    Every opening, and every strip of sheet between two openings, is at least ``board.least``
    wide but for pointed tips.
    """
    count = len(roles)
    raw: list[MultiPolygon] = []
    silhouette = None if board.subject.all() else _silhouette(board, progress)
    for number, role in enumerate(roles):
        part = progress.part(0.8 * number / count, 0.8 * (number + 1) / count)
        part(0.0, f"{role.name}: drawing")
        if role.side == "base":
            frame = shapely.box(0, 0, *_size(board))
            shape = silhouette or as_multipolygon(frame)
        else:
            field = _melted(board, role.hand, part)
            beyond = field <= cuts[role.cut] if role.side == "dark" else field > cuts[role.cut]
            soften = max(1.2, board.grain, 0.3 * role.hand.melt * board.stroke / board.pixel)
            shape = _cleaned(outline(beyond, board.pixel, soften), role.hand, board)
            if silhouette is not None:
                shape = as_multipolygon(shape.intersection(silhouette))
        raw.append(shape)
    progress(0.8, "fitting layers under each other")
    return _stacked(raw, roles, board)


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
        factor = np.float32(_COARSER) + soft * np.float32(_FINER - _COARSER)
    radius = factor * np.float32(hand.melt * board.stroke / board.pixel)
    weight = np.float32(2 / _CONTRAST) / np.maximum(radius, np.float32(0.25))
    scale = max(0.8, 0.35 * hand.melt * board.stroke / board.pixel)
    soft_tone = blur(board.tone, scale)
    across, along = np.gradient(soft_tone)
    edge = np.hypot(across, along) * np.float32(2 * scale / _EDGE)
    cost = np.maximum(np.float32(_LEAST_COST), 1 / (1 + edge**2))
    return flatten(
        board.tone, weight, cost.astype(np.float32), lambda: progress(0.5, "melting small things")
    )


def _silhouette(board: Board, progress: Progress) -> MultiPolygon:
    progress(0.0, "drawing the silhouette")
    radius = max(1.0, board.stroke / board.pixel)
    field = flatten(
        board.subject.astype(np.float32) * np.float32(100),
        np.full_like(board.tone, 2 / (50 * radius)),
    )
    return _cleaned(outline(field > 50, board.pixel, radius / 2), FINE, board)


def _cleaned(shape: MultiPolygon, hand: Hand, board: Board) -> MultiPolygon:
    width = max(board.least, hand.width * board.stroke)
    gap = max(board.least, min(board.bridge, hand.width * board.stroke))
    speck = max(board.least, hand.speck * board.stroke)
    finer = max(board.least, _FINER * hand.speck * board.stroke)
    # Small crumbs go first, or closing would gather them into lumps.
    shape = without_specks(shape, (0.5 * speck) ** 2, 0.0, board.focus, board.pixel)
    shape = opened(closed(shape, gap), width)
    return without_specks(shape, speck**2, finer**2, board.focus, board.pixel)


def _stacked(
    raw: Sequence[MultiPolygon], roles: Sequence[Role], board: Board
) -> tuple[MultiPolygon, ...]:
    """Fit each layer under those that are sprayed over it."""
    result: list[MultiPolygon] = list(raw)
    frame = shapely.box(0, 0, *_size(board))
    over: dict[str, MultiPolygon | None] = {"dark": None, "light": None}
    for at in range(len(roles) - 1, -1, -1):
        side, hand = roles[at].side, roles[at].hand
        later = over.get(side)
        if side == "base":
            later = _joined([s for s in over.values() if s is not None])
        shape = raw[at]
        if later is not None and not later.is_empty:
            shape = _under(shape, later, board, hand)
        shape = closed(opened(shape, board.least), 0.8 * board.least)
        least = board.least**2
        shape = without_specks(shape, least, least, board.focus, board.pixel)
        shape = without_slivers(shape, 0.8 * max(board.least, 0.6 * hand.width * board.stroke))
        # Drawn in by a hair: rings that touch at a point come apart.
        shape = smoothed(as_multipolygon(shape.intersection(frame)), _pixels(board), board.pixel)
        result[at] = as_multipolygon(shape.buffer(-_HAIR, join_style="mitre"))
        if side in over:
            over[side] = result[at] if over[side] is None else _joined([result[at], over[side]])
    return tuple(result)


def _under(shape: MultiPolygon, later: MultiPolygon, board: Board, hand: Hand) -> MultiPolygon:
    """Return the layer that shows as ``shape`` once ``later`` is sprayed over it.

    Where both would end together the lower one is drawn back under the upper by the trap, so that
    a drift of the sheets shows no rim; where the lower one goes on it runs under the upper whole.
    """
    rim = as_multipolygon(shape.difference(later))
    rim = opened(rim, max(board.least, board.trap, 0.6 * hand.width * board.stroke))
    speck = max(board.least, 0.5 * hand.speck * board.stroke)
    rim = without_specks(rim, speck**2, (_FINER * speck) ** 2, board.focus, board.pixel)
    inner = later.buffer(-board.trap, join_style="mitre")
    reach = rim.buffer(board.trap).intersection(later)
    whole = _joined([rim, as_multipolygon(inner), as_multipolygon(reach)])
    # Joints under the upper layer do not show: filled and smoothed.
    whole = closed(whole, max(board.bridge, 2 * board.trap))
    whole = as_multipolygon(whole.intersection(rim.buffer(1e-6).union(later)))
    return _filled(whole, as_multipolygon(shape.union(later)).buffer(1e-3))


def _filled(shape: MultiPolygon, wanted: shapely.Geometry) -> MultiPolygon:
    """Return the shape with those holes filled in which paint is wanted anyway."""
    polygons, holes = [], []
    for part in shape.geoms:
        inner = np.array([Polygon(ring) for ring in part.interiors], object)
        idle = shapely.covered_by(inner, wanted) if len(inner) else np.empty(0, bool)
        holes += list(inner[idle])
        polygons.append(part)
    return _joined([MultiPolygon(polygons), MultiPolygon(holes)]) if holes else shape


def _joined(shapes: Sequence[MultiPolygon | None]) -> MultiPolygon:
    return as_multipolygon(shapely.union_all([s for s in shapes if s is not None]))
