"""Nesting by shape: pieces on blanks of any outline, in each other's bays and holes.

Begun from the shelf packing of boxes (``nesting``), then from nothing, piece by piece on the
fullest blank that takes it by shape. From each start the emptiest blanks are cleared, one after the
other: each of their pieces is sought a place on the others. The better result counts. Shapes are
drawn on a grid a little too big, so that what is free on the grid is free in truth; all places of a
piece on a blank are tried at once, by a correlation (FFT).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from PIL import Image, ImageDraw
from shapely import MultiPolygon, Polygon

from ..arrays import Bools
from ..planar.polygons import as_multipolygon
from ..progress import Progress
from ..tolerance import TOLERANCES
from .nesting import nest

#: How often each square of a blank is taken.
Counts = np.ndarray[tuple[int, int], np.dtype[np.int16]]
#: Grid in mm, at least; and points of it along a blank, at most.
_FINEST, _MOST = 1.5, 320
#: What is drawn reaches beyond the shape by this many steps of the grid: a point of the shape is
#: never more than half a diagonal from the middle of its square, Pillow rounds by half a step, and
#: so does the place of a piece.
_BEYOND = 1.75
# A piece that fits to within this share of a step fits.
_WHOLE_STEP = 1e-6


@dataclass(frozen=True)
class PlacedShape:
    """Where a piece lies: turned by quarters about the origin, then its box's corner at x, y."""

    piece: int
    blank: int
    x: float
    y: float
    turns: int


@dataclass(frozen=True)
class ShapeNest:
    """All placings; ``left_over`` fit no blank that is left.

    Parameters
    ----------
    placings : tuple of PlacedShape
        In the order of the pieces.
    left_over : tuple of int
    """

    placings: tuple[PlacedShape, ...]
    left_over: tuple[int, ...]

    @property
    def blanks(self) -> tuple[int, ...]:
        """Blanks that are used, in rising order."""
        return tuple(sorted({p.blank for p in self.placings}))


def turned(shape: shapely.Geometry, turns: int) -> shapely.Geometry:
    """Return a shape turned by quarters counter-clockwise, its box's lower left at the origin."""
    c, s = [(1, 0), (0, 1), (-1, 0), (0, -1)][turns % 4]
    moved = shapely.affinity.affine_transform(shape, [c, -s, s, c, 0, 0])
    x0, y0, _, _ = moved.bounds
    return shapely.affinity.translate(moved, -x0, -y0)


def nest_shapes(
    shapes: Sequence[MultiPolygon],
    blanks: Sequence[Polygon],
    *,
    spacing: float,
    edge: float,
    turns: Sequence[int] = (0, 1, 2, 3),
    least: int = 0,
    progress: Progress | None = None,
) -> ShapeNest:
    """Place pieces on as few blanks as this way finds, earlier blanks first.

    Parameters
    ----------
    shapes : sequence of MultiPolygon
        With their holes, in mm.
    blanks : sequence of Polygon
        Each with its lower left corner at the origin; as many as there are.
    spacing, edge : float
        Least distance between pieces, and from a piece to its blank's edge, in mm.
    turns : sequence of int
        Quarters that pieces may be turned by; (0, 2) keeps the grain.
    least : int
        Blanks that are known to be needed: a nest on so many ends the search.
    progress : Progress, optional
        May raise ``Cancelled``.
    """
    progress = progress or Progress()
    order = sorted(range(len(shapes)), key=lambda k: (-max(_size(shapes[k])), -shapes[k].area, k))
    best: dict[int, PlacedShape] | None = None
    for number, start in enumerate((_by_boxes, _by_shapes)):
        part = progress.part(number / 2, number / 2 + 0.5)
        work = _Work(shapes, blanks, spacing, edge, tuple(turns), part)
        found = start(work, order)
        if found is None:
            continue
        _clear_emptiest(work, found)
        if best is None or _rank(work, found) < _rank(work, best):
            best = found
        if len(best) == len(shapes) and len({p.blank for p in best.values()}) <= least:
            break
    assert best is not None
    left = tuple(k for k in range(len(shapes)) if k not in best)
    moved = _moved_up(blanks, {p.blank for p in best.values()})
    placings = (best[k] for k in sorted(best))
    return ShapeNest(tuple(replace(p, blank=moved[p.blank]) for p in placings), left)


def _moved_up(blanks: Sequence[Polygon], used: set[int]) -> dict[int, int]:
    """Return new numbers of the used blanks: of those alike the first ones, none left out."""
    alike: dict[bytes, list[int]] = {}
    for number, blank in enumerate(blanks):
        alike.setdefault(shapely.normalize(blank).wkb, []).append(number)
    found: dict[int, int] = {}
    for numbers in alike.values():
        found.update(zip((n for n in numbers if n in used), numbers, strict=False))
    return found


def _rank(work: _Work, placed: dict[int, PlacedShape]) -> tuple[int, int]:
    """Return what is better the lower: pieces without a place, then blanks that are no offcuts."""
    return -len(placed), len({p.blank for p in placed.values() if not work.is_offcut(p.blank)})


def _size(shape: MultiPolygon) -> tuple[float, float]:
    x0, y0, x1, y1 = shape.bounds
    return x1 - x0, y1 - y0


def _by_boxes(work: _Work, order: Sequence[int]) -> dict[int, PlacedShape] | None:
    """Return the shelf packing on blanks that are all the same rectangle; None on others."""
    if not work.alike:
        return None
    sizes = [_size(shape) for shape in work.shapes]
    _, _, w, h = work.blanks[0].bounds
    quarters = any(t % 2 for t in work.turns)
    found = nest(sizes, (w, h), spacing=work.spacing, edge=work.edge, turned=quarters)
    placed = {
        p.piece: PlacedShape(p.piece, p.stock, p.x, p.y, int(p.turned))
        for p in found.placings
        if p.stock < len(work.blanks)
    }
    for placing in placed.values():
        work.put(placing)
    return placed


def _by_shapes(work: _Work, order: Sequence[int]) -> dict[int, PlacedShape]:
    """Return each piece where it fits by shape: among those begun, on the fullest blank.

    Pieces that openings part from each other lie close as they did in their tile, where boxes
    would lie side by side.
    """
    offcuts = [b for b in range(len(work.blanks)) if work.is_offcut(b)]
    fresh = [b for b in range(len(work.blanks)) if not work.is_offcut(b)]
    placed: dict[int, PlacedShape] = {}
    begun: list[int] = []
    for done, piece in enumerate(order):
        work.tell(0.5 * done / len(order), "nesting")
        found = work.place(piece, [*offcuts, *sorted(begun, key=work.free)])
        if found is None:
            found = work.place(piece, fresh)
        if found is None:
            continue
        placed[piece] = found
        if found.blank in fresh:
            fresh.remove(found.blank)
            begun.append(found.blank)
    return placed


def _clear_emptiest(work: _Work, placed: dict[int, PlacedShape]) -> None:
    """Move all pieces of the emptiest blanks elsewhere, blank by blank, where they all fit."""
    used = sorted({p.blank for p in placed.values()})
    weight = {
        b: sum(work.shapes[p.piece].area for p in placed.values() if p.blank == b) for b in used
    }
    # Nothing is gained by leaving an offcut for a whole sheet.
    order = sorted((b for b in used if not work.is_offcut(b)), key=lambda b: (weight[b], -b))
    for done, blank in enumerate(order):
        work.tell(0.5 + 0.5 * done / len(order), "nesting by shape")
        mine = sorted(
            (p for p in placed.values() if p.blank == blank),
            key=lambda p: -work.shapes[p.piece].area,
        )
        others = [b for b in sorted({p.blank for p in placed.values()}) if b != blank]
        # Fullest first: what is nearly full stays so.
        others.sort(key=lambda b: work.free(b))
        moved: list[PlacedShape] = []
        for placing in mine:
            found = work.place(placing.piece, others)
            if found is None:
                break
            moved.append(found)
        if len(moved) == len(mine):
            for placing in mine:
                work.take(placing)
            placed.update({p.piece: p for p in moved})
        else:
            for placing in moved:
                work.take(placing)


class _Work:
    """Blanks as grids of how often each square is taken, and pieces drawn on the same grid."""

    def __init__(
        self,
        shapes: Sequence[MultiPolygon],
        blanks: Sequence[Polygon],
        spacing: float,
        edge: float,
        turns: tuple[int, ...],
        progress: Progress,
    ) -> None:
        self.shapes, self.blanks = shapes, blanks
        self._progress, self._told = progress, (0.0, "nesting")
        self._offcut: dict[int, bool] = {}
        self._free: dict[int, int] = {}
        self.spacing, self.edge, self.turns = spacing, edge, turns
        longest = max((max(b.bounds[2:]) for b in blanks), default=1.0)
        self.step = max(_FINEST, longest / _MOST)
        self.reach = spacing / 2 + _BEYOND * self.step
        self._pad = math.ceil(self.reach / self.step) + 1
        first = blanks[0] if blanks else Polygon()
        self.alike = bool(blanks) and all(
            b.bounds == first.bounds and b.equals(shapely.box(*b.bounds)) for b in blanks
        )
        self._grids: dict[int, np.ndarray[tuple[int, int], np.dtype[np.int16]]] = {}
        self._drawn: dict[tuple[int, int], tuple[Bools, tuple[float, float]]] = {}

    def tell(self, share: float | None = None, what: str = "") -> None:
        """Report progress, or the last one again: each call may raise ``Cancelled``."""
        if share is not None:
            self._told = share, what
        self._progress(*self._told)

    def is_offcut(self, blank: int) -> bool:
        """Whether a blank is no rectangle."""
        if blank not in self._offcut:
            shape = self.blanks[blank]
            self._offcut[blank] = not shape.equals(shapely.box(*shape.bounds))
        return self._offcut[blank]

    def free(self, blank: int) -> int:
        """Return how many squares of a blank are free."""
        if blank not in self._free:
            self._free[blank] = int((self._grid(blank) == 0).sum())
        return self._free[blank]

    def _grid(self, blank: int) -> np.ndarray[tuple[int, int], np.dtype[np.int16]]:
        if blank not in self._grids:
            shape = self.blanks[blank]
            _, _, w, h = shape.bounds
            rows, columns = (math.ceil(s / self.step) + 2 * self._pad for s in (h, w))
            grid = np.zeros((rows, columns), np.int16)
            if self.is_offcut(blank):
                # What lies beyond an offcut's outline is taken; beyond a rectangle, the size rules.
                beyond = shapely.box(*shape.bounds).buffer(self.reach).difference(shape)
                grow = self.edge - self.spacing / 2 + _BEYOND * self.step
                solid = as_multipolygon(beyond.buffer(max(grow, 0.0)))
                grid += self._draw(solid, (rows, columns), self._pad * self.step)
            self._grids[blank] = grid
        return self._grids[blank]

    def _draw(self, shape: MultiPolygon, size: tuple[int, int], shift: float) -> Bools:
        image = Image.new("1", (size[1], size[0]))
        pen = ImageDraw.Draw(image)
        for part in shape.geoms:
            for ring, fill in ((part.exterior, 1), *((r, 0) for r in part.interiors)):
                points = (shapely.get_coordinates(ring) + shift) / self.step - 0.5
                pen.polygon([(x, y) for x, y in points.tolist()], fill=fill, outline=fill)
            # A hole's edge belongs to the sheet round it.
            for ring in part.interiors:
                points = (shapely.get_coordinates(ring) + shift) / self.step - 0.5
                pen.line([(x, y) for x, y in points.tolist()], fill=1)
        return np.array(image, np.bool_)

    def drawn(self, piece: int, turn: int) -> tuple[Bools, tuple[float, float]]:
        """Return a piece's grid, its box's corner ``reach`` from the grid's, and its size."""
        if (piece, turn) not in self._drawn:
            shape = turned(self.shapes[piece], turn)
            grown = as_multipolygon(shape.buffer(self.reach, quad_segs=4))
            _, _, w, h = shape.bounds
            size = tuple(math.ceil((s + 2 * self._pad * self.step) / self.step) for s in (h, w))
            mask = self._draw(grown, (size[0], size[1]), self._pad * self.step)
            self._drawn[piece, turn] = mask, (w, h)
        return self._drawn[piece, turn]

    def place(self, piece: int, blanks: Iterable[int]) -> PlacedShape | None:
        """Put a piece where it fits, on the first blank that has room; None where none has."""
        for blank in blanks:
            _, _, wide, high = self.blanks[blank].bounds
            free = self.free(blank)
            if self.shapes[piece].area > free * self.step**2:
                continue
            self.tell()
            for turn in self.turns:
                mask, (w, h) = self.drawn(piece, turn)
                room = (wide - 2 * self.edge - w, high - 2 * self.edge - h)
                if min(room) < -TOLERANCES.same_point:
                    continue
                at = self._spot(blank, mask, room)
                if at is not None:
                    x, y = (self.edge + k * self.step for k in at)
                    placing = PlacedShape(piece, blank, x, y, turn)
                    self.put(placing)
                    return placing
        return None

    def _spot(self, blank: int, mask: Bools, room: tuple[float, float]) -> tuple[int, int] | None:
        """Return the lowest, then leftmost free place, in steps from the edge; None where none."""
        grid = self._shifted(blank)
        rows = min(
            int(max(room[1], 0.0) / self.step + _WHOLE_STEP) + 1, grid.shape[0] - mask.shape[0] + 1
        )
        columns = min(
            int(max(room[0], 0.0) / self.step + _WHOLE_STEP) + 1, grid.shape[1] - mask.shape[1] + 1
        )
        if rows < 1 or columns < 1:
            return None
        part = grid[: rows + mask.shape[0] - 1, : columns + mask.shape[1] - 1]
        if not part.any():
            return 0, 0
        shape = tuple(1 << (n - 1).bit_length() for n in part.shape)
        product = np.fft.rfft2(part.astype(np.float32), shape) * np.conj(
            np.fft.rfft2(mask.astype(np.float32), shape)
        )
        hits = np.fft.irfft2(product, shape)[:rows, :columns]
        free = np.argwhere(hits < 0.5)
        if len(free) == 0:
            return None
        return int(free[0][1]), int(free[0][0])

    def _shifted(self, blank: int) -> Bools:
        """Return what is taken, so that a piece at the edge has its grid's corner at 0, 0."""
        start = round(self.edge / self.step)
        return np.asarray(self._grid(blank)[start:, start:] > 0)

    def _window(self, placing: PlacedShape) -> tuple[Counts, Bools]:
        """Return the squares of a blank under a piece, and which it takes."""
        mask, _ = self.drawn(placing.piece, placing.turns)
        start = round(self.edge / self.step)
        # Counted from the edge, as places are sought.
        row = start + round((placing.y - self.edge) / self.step)
        column = start + round((placing.x - self.edge) / self.step)
        grid = self._grid(placing.blank)
        window = grid[row : row + mask.shape[0], column : column + mask.shape[1]]
        return window, mask[: window.shape[0], : window.shape[1]]

    def put(self, placing: PlacedShape) -> None:
        window, mask = self._window(placing)
        window += mask
        self._free.pop(placing.blank, None)

    def take(self, placing: PlacedShape) -> None:
        window, mask = self._window(placing)
        window -= mask
        self._free.pop(placing.blank, None)
