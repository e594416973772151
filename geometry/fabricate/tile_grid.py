"""Tile grid: into how many columns and rows a rectangle is split, and how far seams may wander.

Along each axis the parts are alike, or full ones with a rest at the end. Everything is counted in
boxes: what a tile takes on the bed, its joints with it.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass

from ..errors import GeometryError
from ..tolerance import ROUNDING, TOLERANCES

#: More columns or rows than this on one sheet are a slip of the keyboard.
MOST_PARTS = 400
#: How far (mm) seams of full tiles may wander, and how deep, in joints, the last tile must be.
FULL_SLACK, _LEAST_REST = 12.0, 5.0


@dataclass(frozen=True)
class AxisSplit:
    """How one axis is split.

    Parameters
    ----------
    seams : tuple of float
        Where seams lie in mm from the low end, if nothing is in their way.
    limits : tuple of float
        For each part, how long it may be between its seams.
    boxes : tuple of float
        For each part, its length with its joints, the seams where they are stated.
    most : tuple of float
        The same at most, wherever the seams run.
    """

    seams: tuple[float, ...]
    limits: tuple[float, ...]
    boxes: tuple[float, ...]
    most: tuple[float, ...]

    @property
    def slack(self) -> float:
        """By how much a part may differ on average, in mm: what seams have to go round things."""
        joints = sum(self.most) - sum(self.limits)
        return (sum(self.limits) - sum(self.boxes) + joints) / len(self.limits)


@dataclass(frozen=True)
class TileGrid:
    """Ways to split both axes of a sheet for one lie of the bed; the cheapest seams choose.

    Parameters
    ----------
    columns, rows : tuple of AxisSplit
        Not empty; later ones have more parts.
    """

    columns: tuple[AxisSplit, ...]
    rows: tuple[AxisSplit, ...]

    @property
    def count(self) -> int:
        """Number of tiles of the first way."""
        return len(self.columns[0].boxes) * len(self.rows[0].boxes)

    def boxes(self, *, most: bool = False) -> dict[tuple[float, float], int]:
        """Return sizes of tiles of the first way in mm, each with how many there are."""
        column, row = self.columns[0], self.rows[0]
        widths = Counter(column.most if most else column.boxes)
        heights = Counter(row.most if most else row.boxes)
        return {(w, h): n * m for w, n in widths.items() for h, m in heights.items()}


def least_parts(length: float, room: float, reach: float) -> int:
    """Return into how many parts a length is split at least: parts leave ``reach`` for joints.

    Parameters
    ----------
    length : float
        Of the side that is split, in mm.
    room : float
        Longest part that fits the machine or the stock, in mm.
    reach : float
        How far a joint stands out of a part, in mm.

    Examples
    --------
    >>> least_parts(3000, 594, 5), least_parts(2880, 594, 5), least_parts(594, 594, 5)
    (6, 5, 1)
    """
    if length <= room + TOLERANCES.same_point:
        return 1
    return max(2, math.ceil(length / (room - reach) - ROUNDING))


def even_split(length: float, count: int, room: float, reach: float) -> AxisSplit:
    """Return a split into parts that are all alike.

    Parameters
    ----------
    length : float
        Of the side that is split, in mm.
    count : int
        Of parts.
    room : float
        Longest part that fits the machine or the stock, in mm.
    reach : float
        How far a joint stands out of a part, in mm.

    Examples
    --------
    >>> split = even_split(300, 3, 120, 5)
    >>> split.seams, split.slack
    ((100.0, 200.0), 16.666666666666668)
    """
    if count == 1:
        return AxisSplit((), (length,), (length,), (length,))
    part = length / count
    return AxisSplit(
        tuple(k * part for k in range(1, count)),
        (*[room - reach] * (count - 1), room),
        (*[part + reach] * (count - 1), part),
        (room,) * count,
    )


def split_with_rest(
    length: float,
    room: float,
    reach: float,
    *,
    slack: float = 0.0,
    rest: float | None = None,
    place: int | None = None,
) -> AxisSplit | None:
    """Return a split into full parts and a smaller one; None where there is none.

    Parameters
    ----------
    length, room, reach : float
        Of the axis, of the largest box, and of the joints beyond a seam, in mm.
    slack : float
        How much smaller than the room full parts are.
    rest : float, optional
        The largest box of the smaller part; the slack comes from it then, the same for all parts.
    place : int, optional
        How many full parts lie before the smaller one; all when None.
    """
    full = least_parts(length, room, reach) - 1
    if full < 1:
        return None
    at = full if place is None else place
    # Joints reach beyond every part but the last.
    joints = [reach] * full + [0.0]
    most = [room] * (full + 1)
    if rest is None:
        last = length - full * (room - reach - slack)
        most[at] = last + slack / 2 + joints[at]
        parts = [room - reach - slack] * full + [last]
    else:
        most[at] = rest
        slack = (sum(most) - sum(joints) - length) / (full + 1)
        parts = [m - j - slack for m, j in zip(most, joints, strict=True)]
    if slack < 0 or parts[at] > max(parts) or parts[at] - slack / 2 < _LEAST_REST * reach:
        return None
    seams = [sum(parts[: k + 1]) for k in range(full)]
    return AxisSplit(
        tuple(seams),
        tuple(m - j for m, j in zip(most, joints, strict=True)),
        tuple(p + j for p, j in zip(parts, joints, strict=True)),
        tuple(most),
    )


def grids_for(
    size: tuple[float, float], room: tuple[float, float], reach: float, *, full: bool = False
) -> list[TileGrid]:
    """Return the ways to split a rectangle for a bed that lies either way round.

    Parameters
    ----------
    size : tuple of float
        Of the rectangle in mm.
    room : tuple of float
        Width and height of the largest box.
    reach : float
        How far joints reach beyond a seam.
    full : bool
        Tiles nearly as big as the room, and the rest in the last row and column: small ones share
        a blank of stock. Else all alike, and one part more than needed as a second way.

    Raises
    ------
    GeometryError
        There would be very many tiles.
    """
    found = []
    for lie in sorted({room, room[::-1]}):
        ways = [_ways(length, side, reach, full) for length, side in zip(size, lie, strict=True)]
        found.append(TileGrid(ways[0], ways[1]))
    return found


def _ways(length: float, room: float, reach: float, full: bool) -> tuple[AxisSplit, ...]:
    least = least_parts(length, room, reach)
    if least > MOST_PARTS:
        raise GeometryError(
            f"A sheet of {length:g} mm would be split into {least} parts, too "
            f"many to be meant; check the sizes of sheet and bed."
        )
    if least == 1:
        return (even_split(length, 1, room, reach),)
    rest = split_with_rest(length, room, reach, slack=FULL_SLACK) if full else None
    if rest is not None:
        return (rest,)
    return tuple(even_split(length, count, room, reach) for count in (least, least + 1))
