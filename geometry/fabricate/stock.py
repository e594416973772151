"""Stock: sheets at hand and to be bought, cut to blanks for the bed, and pieces nested on them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import shapely
from shapely import MultiPolygon, Polygon

from ..job.job import Job
from ..job.sections import StockSheet
from ..progress import Progress
from ..tolerance import TOLERANCES
from .blanks import BlankRules, blank_rules
from .cells import letters
from .cut_sheet import CutSheet, laid_together
from .guillotine import GuillotinePlan
from .making import Making
from .nesting import nest
from .shape_nesting import PlacedShape, ShapeNest, nest_shapes
from .stock_bound import least_blanks, least_stock


@dataclass(frozen=True)
class NestPart:
    """A piece to cut with the area that it covers, in the piece's own coordinates."""

    piece: CutSheet
    shape: MultiPolygon


@dataclass(frozen=True)
class Blank:
    """A part of a stock sheet that goes on the bed.

    Parameters
    ----------
    name : str
        Number of the stock sheet, and a letter where it is cut to several blanks: ``"2a"``.
    row : int
        Of the job's stock tables.
    sheet : int
        Which stock sheet, from 1.
    at : tuple of float
        Its lower left corner on the stock sheet in mm.
    shape : Polygon
        Its lower left corner at the origin.
    """

    name: str
    row: int
    sheet: int
    at: tuple[float, float]
    shape: Polygon


@dataclass(frozen=True)
class StockLayout:
    """Pieces on stock.

    Parameters
    ----------
    rows : tuple of StockSheet
    plans : tuple of GuillotinePlan
        How each kind of stock is cut first.
    blanks : tuple of Blank
        Those used.
    sheets : tuple of CutSheet
        For each blank, its pieces in place, turned to lie on the bed.
    lying : tuple of tuple of str
        For each blank, the names of its pieces.
    left_over : tuple of str
        Pieces that fit no stock, with what would help.
    counts : tuple of int
        Stock sheets used of each row.
    used_share : float
        Area of the placed pieces over that of the stock sheets used.
    shelf_count : int
        Stock sheets that shelf packing of boxes takes; 0 where stock is of several kinds.
    least_count : int
        Fewer than these stock sheets cannot be (``stock_bound``).
    """

    rows: tuple[StockSheet, ...]
    plans: tuple[GuillotinePlan, ...]
    blanks: tuple[Blank, ...]
    sheets: tuple[CutSheet, ...]
    lying: tuple[tuple[str, ...], ...]
    left_over: tuple[str, ...]
    counts: tuple[int, ...]
    used_share: float
    shelf_count: int
    least_count: int

    @property
    def count(self) -> int:
        """Stock sheets used."""
        return sum(self.counts)

    @property
    def price(self) -> float:
        """Price of the stock sheets used."""
        return sum(n * row.price for n, row in zip(self.counts, self.rows, strict=True))


def parts_of(making: Making, title: str = "") -> list[NestPart]:
    """Return the pieces of a making with their areas, a job's title before their names if given."""
    found = []
    for made, pieces in zip(making.sheets, making.pieces, strict=True):
        for tile, piece in zip(made.tiling.tiles, pieces, strict=True):
            shape = tile.shape
            if made.is_split:
                x0, y0, _, _ = shape.bounds
                shape = shapely.affinity.translate(shape, -x0, -y0)
            named = replace(piece, name=f"{title}: {piece.name}") if title else piece
            found.append(NestPart(named, shape))
    return found


def lay_on_stock(
    job: Job, parts: Sequence[NestPart], progress: Progress | None = None
) -> StockLayout:
    """Nest pieces on the job's stock.

    Parameters
    ----------
    job : Job
    parts : sequence of NestPart
        Of one job, or of several of one material.
    progress : Progress, optional
        May raise ``Cancelled``.
    """
    rules = blank_rules(job)
    rows, plans = rules.rows, rules.plans
    bed = job.made_by.bed if job.process.bed == "machine" else (math.inf, math.inf)
    blanks = _blanks(rows, plans, len(parts))
    shapes = [part.shape for part in parts]
    found = nest_shapes(
        shapes,
        [b.shape for b in blanks],
        spacing=rules.gap,
        edge=rules.edge,
        turns=rules.turns,
        least=least_blanks(shapes, rules),
        progress=progress,
    )
    used = [blanks[k] for k in found.blanks]
    counts = tuple(len({b.sheet for b in used if b.row == row}) for row in range(len(rows)))
    area = sum(shapes[p.piece].area for p in found.placings)
    whole = sum(n * _area(row) for n, row in zip(counts, rows, strict=True))
    placed = [shapes[p.piece] for p in found.placings]
    return StockLayout(
        rows,
        plans,
        tuple(used),
        tuple(_laid(blanks, k, found, parts, bed) for k in found.blanks),
        tuple(
            tuple(parts[p.piece].piece.name for p in found.placings if p.blank == k)
            for k in found.blanks
        ),
        tuple(_unplaced(parts[k], blanks, rules) for k in found.left_over),
        counts,
        area / whole if whole else 0.0,
        _shelf(parts, rules),
        least_stock(placed, rules),
    )


def _unplaced(part: NestPart, blanks: Sequence[Blank], rules: BlankRules) -> str:
    """Return the name of a piece, its size, and whether it is the grain that keeps it off."""
    x0, y0, x1, y1 = part.shape.bounds
    size = (x1 - x0, y1 - y0)
    told = f"{part.piece.name} ({size[0]:.0f} x {size[1]:.0f} mm)"
    sides = [[s - 2 * rules.edge for s in b.shape.bounds[2:]] for b in blanks]
    as_it_lies = any(size[0] <= w and size[1] <= h for w, h in sides)
    lying = any(size[1] <= w and size[0] <= h for w, h in sides)
    if lying and not as_it_lies and not rules.turned:
        told += ', which the grain keeps from lying across ([tiles] grain = "free" lets it)'
    return told


def _area(row: StockSheet) -> float:
    return float(_outline(row).area)


def _outline(row: StockSheet) -> Polygon:
    return (
        Polygon(row.outline_mm)
        if row.outline_mm
        else shapely.box(0, 0, row.width_mm, row.height_mm)
    )


def _blanks(rows: Sequence[StockSheet], plans: Sequence[GuillotinePlan], most: int) -> list[Blank]:
    found: list[Blank] = []
    sheet = 0
    for number, (row, plan) in enumerate(zip(rows, plans, strict=True)):
        outline = _outline(row)
        boxes = sorted(plan.blanks, key=lambda b: -b[2] * b[3])
        cut = [outline.intersection(shapely.box(x, y, x + w, y + h)) for x, y, w, h in boxes]
        for _ in range(row.count or most):
            sheet += 1
            for k, ((x, y, _, _), area) in enumerate(zip(boxes, cut, strict=True)):
                if not isinstance(area, Polygon) or area.is_empty:
                    continue
                letter = letters(k).lower() if len(boxes) > 1 else ""
                shape = shapely.affinity.translate(area, -x, -y)
                found.append(Blank(f"{sheet}{letter}", number, sheet, (x, y), shape))
    return found


def _laid(
    blanks: Sequence[Blank],
    number: int,
    found: ShapeNest,
    parts: Sequence[NestPart],
    bed: tuple[float, float],
) -> CutSheet:
    """Return the pieces of one blank in place, the blank turned where it fits the bed only so."""
    blank = blanks[number]
    _, _, w, h = blank.shape.bounds
    placed = [_placed(parts[p.piece], p) for p in found.placings if p.blank == number]
    lying = w > bed[0] + TOLERANCES.same_point or h > bed[1] + TOLERANCES.same_point
    whole = laid_together(f"stock {blank.name}", (w, h), placed)
    if not lying:
        return whole
    turned = whole.moved(h, 0.0, 1)
    return CutSheet(turned.name, (h, w), turned.cuts, turned.engraved, turned.marked)


def _placed(part: NestPart, at: PlacedShape) -> CutSheet:
    c, s = [(1, 0), (0, 1), (-1, 0), (0, -1)][at.turns % 4]
    x0, y0, _, _ = shapely.affinity.affine_transform(part.shape, [c, -s, s, c, 0, 0]).bounds
    return part.piece.moved(at.x - x0, at.y - y0, at.turns)


def _shelf(parts: Sequence[NestPart], rules: BlankRules) -> int:
    """Return how many stock sheets the packing of boxes takes, on the largest blanks."""
    if len(rules.rows) != 1 or rules.largest is None:
        return 0
    _, blank, each = rules.largest
    return math.ceil(_shelves(parts, blank, rules) / each)


def _shelves(parts: Sequence[NestPart], blank: tuple[float, float], rules: BlankRules) -> int:
    sizes = []
    for part in parts:
        x0, y0, x1, y1 = part.shape.bounds
        sizes.append((x1 - x0, y1 - y0))
    return nest(sizes, blank, spacing=rules.gap, edge=rules.edge, turned=rules.turned).stocks


def shelf_stock(job: Job, parts: Sequence[NestPart]) -> tuple[int, float]:
    """Return how many sheets of the biggest stock the shelf packing of pieces takes, and the price.

    Pieces bigger than its blanks are not counted.
    """
    rules = blank_rules(job)
    if rules.largest is None:
        return 0, 0.0
    row, blank, each = rules.largest
    count = math.ceil(_shelves(parts, blank, rules) / each)
    return count, count * row.price


def stock_text(job: Job, layout: StockLayout) -> str:
    """Return in words which stock is needed, how it is cut first, and what lies on it."""
    lines = [f"Stock: {job.title}", ""]
    for number, (row, plan) in enumerate(zip(layout.rows, layout.plans, strict=True)):
        count = layout.counts[number]
        name = row.name or f"stock {number + 1}"
        size = f"{row.width_mm:g} x {row.height_mm:g} mm"
        have = f", {row.count} at hand" if row.count else ""
        cost = f", {count * row.price:g} {job.estimate.currency}" if row.price else ""
        lines.append(f"{name}, {size}{have}: {count} used{cost}")
        if count and plan.cuts:
            lines.append(
                f"  cut each first, from edge to edge (saw {job.tiles.saw_mm:g} mm; blanks "
                f"{100 * plan.area / (row.width_mm * row.height_mm):.0f} % of it):"
            )
            for k, cut in enumerate(plan.cuts, 1):
                way = (
                    "from the left edge, upwards" if cut.upright else "from the lower edge, across"
                )
                lines.append(f"  {k}  {cut.at:g} mm {way} ({cut.span[0]:g} to {cut.span[1]:g} mm)")
    lines += ["", f"{layout.used_share:.0%} of {layout.count} stock sheets is used."]
    lines.append(
        f"Any nesting of these pieces takes at least {layout.least_count}: those of more than half "
        "a blank share none with each other."
    )
    if layout.shelf_count:
        lines.append(f"Shelf packing of the pieces' boxes takes {layout.shelf_count}.")
    for blank, sheet, names in zip(layout.blanks, layout.sheets, layout.lying, strict=True):
        size = f"{sheet.size[0]:g} x {sheet.size[1]:g} mm"
        if job.process.bed == "machine":
            size += " on the bed"
        lines.append(f"  stock-{blank.name}, {size}: {', '.join(names)}")
    lines += [f"Fits no stock: {name}" for name in layout.left_over]
    return "\n".join([*lines, ""])
