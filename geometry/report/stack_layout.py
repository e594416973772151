"""Where everything stands in the picture of the exploded stack: sheets, labels, list."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..arrays import Floats
from .projection import lying, standing

Window = tuple[slice, slice]

#: Columns of the list of labels, where many leave no room for words beside the sheets.
LIST_COLUMNS = 4
#: Height of a line of that list in units.
LIST_LINE = 4.2
#: Sheets wider than this many times their height lie flat.
WIDE = 1.5
#: Turn and tilt in degrees of the view of standing and of lying sheets.
STANDING, LYING = (42, 9), (22, 36)
#: Sheets are drawn at least this share of their longer side thick, so that their edges are seen.
LEAST_THICKNESS = 0.009


@dataclass(frozen=True)
class Label:
    """Where the label of the wall (number 0) or of a sheet stands, in pixels.

    The words stand beside the last disc; with two discs the first ends the leader.
    """

    leader: tuple[Floats, Floats]
    discs: tuple[Floats, ...]
    room: float


class Layout:
    """Places and sizes of all parts of the picture.

    Heights are along z: the wall's face is 0, sheet ``number`` lies ``number`` spacings before it.

    Parameters
    ----------
    width, height, thickness : float
        Of the sheets in mm.
    count : int
        Number of sheets.
    pixels : int
        Width of the picture.
    """

    def __init__(
        self, width: float, height: float, thickness: float, count: int, pixels: int
    ) -> None:
        self.count = count
        self.upright = width <= WIDE * height
        self.view = standing(*STANDING) if self.upright else lying(*LYING)
        self.corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], float)
        self.thickness = max(thickness, LEAST_THICKNESS * max(width, height))
        self.spacing = self._spacing()
        #: A hundredth of the picture's width, for lettering and lines.
        self.unit = pixels / 100
        ends = [self._flat(self.corners, z) for z in (-self.thickness, self.top(self.count))]
        low, high = np.min(ends, axis=(0, 1)), np.max(ends, axis=(0, 1))
        margin, head = 3 * self.unit, 7 * self.unit
        beside = 0.0 if self.upright else 25 * self.unit
        room = pixels - 2 * margin - beside
        self.scale = min(room / (high[0] - low[0]), 0.85 * pixels / (high[1] - low[1]))
        drawn = (high - low) * self.scale
        #: Pixels from label to label, and whether the words must go to a list below.
        self.step = self.spacing * self.scale * self.view.z[0 if self.upright else 1]
        self.crowded = self.step < (13 if self.upright else 4) * self.unit
        self.foot = head + drawn[1]
        self.listed = self.foot + (8 if self.upright else 4) * self.unit
        if self.crowded:
            lines = math.ceil((self.count + 1) / LIST_COLUMNS)
            below = self.listed - self.foot + (LIST_LINE * lines + 4) * self.unit
        else:
            below = (12 if self.upright else 6) * self.unit
        self.columns, self.rows = pixels, math.ceil(self.foot + below)
        left = margin + (room - drawn[0]) / 2
        self.origin = np.array([left - low[0] * self.scale, head + high[1] * self.scale])
        self.right = left + drawn[0]
        #: A fifth of a pixel in mm: fewer points than can be seen.
        self.tolerance = 0.2 / self.scale

    def _spacing(self) -> float:
        """Return how far sheets stand apart, so that the picture has a pleasant shape."""
        flat = self._flat(self.corners, 0.0)
        wide, high = flat.max(axis=0) - flat.min(axis=0)
        if self.upright:
            share = np.clip((2.4 * high / wide - 1.0) / self.count, 0.42, 0.88)
            return float(share * wide / self.view.z[0])
        share = np.clip(2.2 / self.count, 0.3, 0.75)
        return float(share * high / self.view.z[1])

    def bottom(self, number: int) -> float:
        """Return the height of the underside of the wall (number 0) or of a sheet."""
        return number * self.spacing if number else -self.thickness

    def top(self, number: int) -> float:
        """Return the height of its upper face."""
        return self.bottom(number) + self.thickness

    def _flat(self, points: Floats, z: float) -> Floats:
        view = self.view
        flat: Floats = points[:, :1] * view.x + points[:, 1:2] * view.y + z * view.z
        return flat

    def place(self, points: Floats, z: float) -> Floats:
        """Return points of a sheet in pixels, y down."""
        placed: Floats = self.origin + self._flat(points, z) * self.scale * (1, -1)
        return placed

    def window(self, z0: float, z1: float) -> Window:
        """Return the part of the picture that a sheet between two heights can touch."""
        ends = np.concatenate([self.place(self.corners, z) for z in (z0, z1)])
        left, upper = np.floor(ends.min(axis=0)).astype(int) - 2
        right, lower = np.ceil(ends.max(axis=0)).astype(int) + 2
        return (
            slice(max(int(upper), 0), min(int(lower), self.rows)),
            slice(max(int(left), 0), min(int(right), self.columns)),
        )

    def labels(self) -> list[Label]:
        """Return the labels of wall and sheets: in a row below, or in a column beside."""
        labels = []
        unit = self.unit
        for number in range(self.count + 1):
            z = self.top(number)
            if self.upright:
                edge = self.place(np.array([[0.07 * self.corners[1, 0], 0.0]]), z)[0]
                disc = np.array([edge[0], self.foot + 3.2 * unit])
                end = disc - (0, 1.4 * unit)
                room = min(self.step, self.columns - disc[0]) - unit
            else:
                edge = self.place(self.corners[1:2], z)[0]
                # Every second one farther out: discs may stand closer than they are wide.
                out = 4 + (3 * (number % 2) if self.crowded else 0)
                disc = np.array([self.right + out * unit, edge[1]])
                end = disc - (1.4 * unit, 0)
                room = self.columns - disc[0] - unit
            discs: tuple[Floats, ...] = (disc,)
            if self.crowded:
                line, column = divmod(number, LIST_COLUMNS)
                width = (self.columns - 6 * unit) / LIST_COLUMNS
                room = width - unit
                entry = (4.4 * unit + column * width, self.listed + LIST_LINE * line * unit)
                discs = (disc, np.array(entry))
            labels.append(Label((edge, end), discs, room))
        return labels
