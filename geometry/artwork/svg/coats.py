"""What items are painted with: each as flat coloured shapes, one over the other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import count, groupby
from typing import Protocol

import shapely
import shapely.affinity
from shapely import MultiPolygon

from ...finding import Finding
from ...planar.polygons import as_multipolygon
from ...tolerance import Tolerances
from ..coloured import ColouredShape
from .areas import Item, areas_of_each
from .drawing import Drawing
from .flattening import Flattening
from .gradients import Gradient, flat_steps, gradient_of
from .patterns import Pattern, pattern_of, tiled
from .state import Group, Purpose, State
from .walker import Walker

#: What is covered less than this (share) is not seen.
UNSEEN = 0.02


class PatternWalker(Walker, Protocol):
    """What walks through the elements of a pattern."""

    flattening: Flattening | None

    def group_number(self) -> int:
        """Return a number that no group has yet."""


@dataclass(frozen=True, eq=False)
class _Laid:
    shape: MultiPolygon
    rgb: tuple[float, float, float]
    alpha: float
    groups: tuple[Group, ...]
    name: str


@dataclass(frozen=True, eq=False)
class Coats:
    """The coloured shapes of some items.

    Parameters
    ----------
    shapes : tuple of ColouredShape
        In painting order, in mm of the drawing.
    findings : tuple of Finding
    mixed : bool
        Whether gradients or half transparent colours were made flat.
    """

    shapes: tuple[ColouredShape, ...]
    findings: tuple[Finding, ...]
    mixed: bool


def coats(
    drawing: Drawing, walk: PatternWalker, items: Sequence[Item], flattening: Flattening
) -> Coats:
    """Return items as flat coloured shapes.

    Parameters
    ----------
    drawing : Drawing
    walk : PatternWalker
    items : sequence of Item
    flattening : Flattening

    Raises
    ------
    ArtworkError
        As of ``areas_of_each``.
    """
    shapes, repairs = areas_of_each(items, drawing.tolerances, drawing.what, flattening.hair)
    findings = list(repairs)
    laid: list[_Laid] = []
    mixed = False
    for item, shape in zip(items, shapes, strict=True):
        coat = item.coat
        if shape.is_empty or (coat is None and item.picture is None):
            continue
        if item.picture is not None:
            groups = coat.groups if coat is not None else ()
            for area, rgb in item.picture.areas:
                placed = _placed(area, item, shape, drawing.tolerances)
                laid.append(_Laid(placed, rgb, 1.0, groups, item.name))
            continue
        assert coat is not None
        rgb, alpha = coat.paint.rgb or (0.0, 0.0, 0.0), coat.paint.alpha
        parts: list[tuple[MultiPolygon, tuple[float, ...]]] = [(shape, (*rgb, alpha))]
        if coat.paint.server:
            gradient = gradient_of(drawing, item)
            if isinstance(gradient, Gradient):
                mixed = True
                parts = flat_steps(gradient, shape, flattening.steps, drawing.tolerances)
            elif gradient is not None:
                parts = [(shape, gradient)]
            elif drawing.is_gradient(coat.paint.server):
                continue  # without stops it paints nothing
            elif (pattern := pattern_of(drawing, item)) is not None:
                content = _pattern_coats(drawing, walk, pattern, coat.groups, flattening)
                findings += content.findings
                mixed = mixed or content.mixed
                groups = coat.groups
                if coat.opacity < 1:
                    groups = (*groups, Group(walk.group_number(), coat.opacity))
                for tile in tiled(drawing, pattern, content.shapes, shape):
                    own = tuple(Group(n, a) for n, a in tile.groups)
                    laid.append(_Laid(tile.shape, tile.rgb, tile.alpha, (*groups, *own), item.name))
                continue
        for part, (red, green, blue, opaque) in parts:
            laid.append(
                _Laid(part, (red, green, blue), opaque * coat.opacity, coat.groups, item.name)
            )
    laid = [one for one in laid if one.alpha >= UNSEEN and not one.shape.is_empty]
    mixed = mixed or any(one.alpha < 1 or one.groups for one in laid)
    numbers = count(-1, -1)
    found = [
        ColouredShape(
            one.shape,
            one.rgb,
            one.alpha,
            tuple((g.number, g.alpha) for g in one.groups if g.alpha < 1),
            one.name,
        )
        for one in _by_level(laid, 0, numbers, drawing.tolerances)
    ]
    return Coats(tuple(found), tuple(findings), mixed)


def _placed(
    area: MultiPolygon, item: Item, shape: MultiPolygon, tolerances: Tolerances
) -> MultiPolygon:
    """Return an area of a picture where the picture lies in the drawing, in mm."""
    a, b, c, d, e, f = item.matrix
    moved = shapely.affinity.affine_transform(area, [a, c, b, d, e, f])
    moved = shapely.make_valid(shapely.set_precision(moved, tolerances.grid))
    return as_multipolygon(shapely.intersection(moved, shape, grid_size=tolerances.grid))


def _pattern_coats(
    drawing: Drawing,
    walk: PatternWalker,
    pattern: Pattern,
    groups: tuple[Group, ...],
    flattening: Flattening,
) -> Coats:
    """Return what one tile of a pattern shows."""
    state = State(
        pattern.content,
        pattern.viewport,
        drawing.style_round(pattern.holder, State(pattern.content, pattern.viewport)),
        clips=(shapely.multipolygons([pattern.tile]),),
        within=(pattern.name,),
    )
    items: list[Item] = []
    inside = walk.enter(pattern.holder, state, Purpose.PAINT)
    if inside is not None:
        for child in pattern.holder:
            items += walk.collect(child, inside, Purpose.PAINT)
    # A pattern within itself would never end: what has it is left out.
    items = [i for i in items if i.coat is None or i.coat.paint.server != f"#{pattern.name}"]
    return coats(drawing, walk, items, flattening)


def _by_level(
    laid: list[_Laid], depth: int, numbers: count[int], tolerances: Tolerances
) -> list[_Laid]:
    """Cut groups that a mask in shades lies over into one group for each of its levels.

    The levels are disjoint, so that what is laid down of one hides nothing of another.
    """
    found: list[_Laid] = []

    def own_group(one: _Laid) -> int | None:
        return one.groups[depth].number if len(one.groups) > depth else None

    for number, run in groupby(laid, own_group):
        own = list(run)
        if number is None:
            found += own
            continue
        own = _by_level(own, depth + 1, numbers, tolerances)
        group = own[0].groups[depth] if own else None
        if group is None or group.levels is None:
            found += own
            continue
        for area, share in group.levels:
            level = Group(next(numbers), group.alpha * share)
            shapely.prepare(area)
            for one in own:
                cut = as_multipolygon(
                    shapely.intersection(one.shape, area, grid_size=tolerances.grid)
                )
                if not cut.is_empty:
                    groups = (*one.groups[:depth], level, *one.groups[depth + 1 :])
                    found.append(replace(one, shape=cut, groups=groups))
    return found
