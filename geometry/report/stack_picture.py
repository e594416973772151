"""The exploded stack as a picture: the painted wall, and every sheet in front of it in register.

A parallel projection of the real sheets: openings are open, their walls are seen, every sheet
throws its shadow on what is behind it. Sheets much wider than high lie flat and the stack grows
upwards; others stand as they do when sprayed. Only thickness and spacing are not to scale, and the
picture says so.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFilter
from shapely import LineString, MultiPolygon, Point, Polygon

from ..arrays import Floats
from ..build import Build, BuiltLayer
from ..colour import hex_from_srgb, linear_from_srgb, source_over, srgb_from_hex
from ..files.picture_text import fitted
from ..files.png import write_png
from ..paint.compositing import sprayed
from ..planar.raster import (
    directed_edges,
    edge_coverage,
    one_colour,
    srgb_bytes,
    thinned,
    to_bytes,
)
from ..progress import Progress

Picture = NDArray[np.float32]
Window = tuple[slice, slice]

BACKGROUND = "#c3cbcb"
INK = "#22282b"
FAINT_INK = "#49555a"
#: Share of the layer's colour in the colour of its sheet; the rest is the bare material.
TINT = 0.78
#: Columns of the list of labels, where many leave no room for words beside the sheets.
LIST_COLUMNS = 4
#: Sheets wider than this many times their height lie flat.
WIDE = 1.5


@dataclass(frozen=True)
class View:
    """A parallel projection of the stack.

    Parameters
    ----------
    x, y, z : float64 array (2,)
        Where one mm along the sheet's x, its y, and away from the wall goes in the picture, y up.
    towards_viewer : float64 array (3,)
        Unit vector in the sheet's frame.
    """

    x: Floats
    y: Floats
    z: Floats
    towards_viewer: Floats


def standing(turn: float, tilt: float) -> View:
    """Return the view of upright sheets from ``turn`` degrees to the left, ``tilt`` above.

    >>> standing(0, 0).x, standing(0, 0).towards_viewer
    (array([1., 0.]), array([-0.,  0.,  1.]))
    """
    a, b = math.radians(turn), math.radians(tilt)
    return View(
        np.array([math.cos(a), math.sin(b) * math.sin(a)]),
        np.array([0.0, math.cos(b)]),
        np.array([math.sin(a), -math.sin(b) * math.cos(a)]),
        np.array([-math.sin(a) * math.cos(b), math.sin(b), math.cos(a) * math.cos(b)]),
    )


def lying(turn: float, tilt: float) -> View:
    """Return the view of flat sheets from ``turn`` degrees to the left, ``tilt`` above."""
    a, b = math.radians(turn), math.radians(tilt)
    return View(
        np.array([math.cos(a), math.sin(b) * math.sin(a)]),
        np.array([-math.sin(a), math.sin(b) * math.cos(a)]),
        np.array([0.0, math.cos(b)]),
        np.array([-math.sin(a) * math.cos(b), -math.cos(a) * math.cos(b), math.sin(b)]),
    )


def stack_picture(
    build: Build, pixels: int = 2000, progress: Progress | None = None
) -> Image.Image:
    """Draw the exploded stack.

    Parameters
    ----------
    build : Build
    pixels : int
        Width of the picture.
    progress : Progress, optional
        Told of each sheet; may raise ``Cancelled``.

    Returns
    -------
    Image
        RGB.
    """
    progress = progress or Progress()
    scene = _Scene(build, pixels)
    scene.draw_wall()
    for number, layer in enumerate(build.layers, 1):
        progress((number - 1) / len(build.layers), f"{layer.settings.name}: drawing in the stack")
        scene.draw_sheet(number, layer)
    return scene.lettered()


def write_stack_picture(
    path: Path | str, build: Build, pixels: int = 2000, progress: Progress | None = None
) -> None:
    """Draw the exploded stack into a PNG file, whole or not at all.

    Raises
    ------
    WriteError
        The file cannot be written.
    """
    write_png(path, stack_picture(build, pixels, progress))


@dataclass(frozen=True)
class _Label:
    """Where the label of the wall (number 0) or of a sheet stands, in pixels.

    The words stand beside the last disc; with two discs the first ends the leader.
    """

    leader: tuple[Floats, Floats]
    discs: tuple[Floats, ...]
    room: float


class _Scene:
    """The picture while it is being drawn, from the wall forwards.

    Heights are along z: the wall's face is 0, sheet ``number`` lies ``number`` spacings before it.
    """

    def __init__(self, build: Build, pixels: int) -> None:
        self.build = build
        sheet = build.job.sheet
        width, height = sheet.width_mm, sheet.height_mm
        self.count = len(build.layers)
        self.upright = width <= WIDE * height
        self.view = standing(42, 9) if self.upright else lying(22, 36)
        self.corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], float)
        self.thickness = max(sheet.thickness_mm, 0.009 * max(width, height))
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
            below = self.listed - self.foot + (4.2 * lines + 4) * self.unit
        else:
            below = (12 if self.upright else 6) * self.unit
        self.columns, self.rows = pixels, math.ceil(self.foot + below)
        left = margin + (room - drawn[0]) / 2
        self.origin = np.array([left - low[0] * self.scale, head + high[1] * self.scale])
        self.right = left + drawn[0]
        self.picture = one_colour(_light(BACKGROUND), self.rows, self.columns)
        self.behind: MultiPolygon | Polygon = build.layers[0].sheet.outline
        #: A fifth of a pixel: fewer points than can be seen.
        self.tolerance = 0.2 / self.scale
        holes = [hole.centroid for hole in build.layers[0].sheet.holes.geoms]
        self.axes = np.array([(h.x, h.y) for h in holes]) if holes else self.corners

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
        return number * self.spacing if number else -self.thickness

    def top(self, number: int) -> float:
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

    def face(self, shape: Polygon | MultiPolygon, z: float, window: Window) -> Picture:
        """Return the coverage of a flat shape at a height, within a window."""
        start, end = directed_edges(shape)
        return self._loops(self.place(start, z), self.place(end, z), 1.0, window)

    def walls(
        self, shape: Polygon | MultiPolygon, z0: float, z1: float, window: Window
    ) -> tuple[Picture, Picture]:
        """Return the coverage by the walls that are seen, and how light falls on them, 0 to 1."""
        start, end = directed_edges(shape)
        along = end - start
        length = np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-12)
        outward = np.stack([along[:, 1], -along[:, 0]], axis=1) / length[:, None]
        seen = outward @ self.view.towards_viewer[:2] > 0
        start, end, outward = start[seen], end[seen], outward[seen]
        corners = [self.place(p, z) for p, z in ((start, z0), (end, z0), (end, z1), (start, z1))]
        begin, finish = np.concatenate(corners), np.concatenate([*corners[1:], corners[0]])
        covered = self._loops(begin, finish, 1.0, window)
        # Light from the upper left.
        tone = np.tile(0.5 + 0.5 * outward @ np.array([-0.6, 0.8]), 4)
        lit = self._loops(begin, finish, tone, window)
        light = np.divide(lit, np.maximum(covered, 1e-6), dtype=np.float32)
        return np.minimum(covered, 1.0, dtype=np.float32), light

    def _loops(self, begin: Floats, finish: Floats, weight: float | Floats, at: Window) -> Picture:
        corner = np.array([at[1].start, at[0].start])
        size = at[0].stop - at[0].start, at[1].stop - at[1].start
        return edge_coverage(begin - corner, finish - corner, weight, *size)

    def lay(self, window: Window, colour: Floats | Picture, alpha: Picture) -> None:
        self.picture[window] = source_over(
            self.picture[window], np.asarray(colour, np.float32), alpha
        )

    def slab(self, shape: Polygon | MultiPolygon, number: int, colour: str) -> None:
        """Draw a sheet with its walls."""
        z0, z1 = self.bottom(number), self.top(number)
        window = self.window(z0, z1)
        light = _light(colour)
        covered, lit = self.walls(shape, z0, z1, window)
        # Even a black sheet's edge is seen.
        self.lay(window, 0.02 + light * (0.22 + 0.5 * lit[..., None]), covered)
        self.lay(window, light, self.face(shape, z1, window))

    def shadow(self, shape: Polygon | MultiPolygon, number: int) -> None:
        """Draw the shadow that a sheet throws on the one behind it."""
        z = self.top(number - 1)
        window = self.window(z, z)
        reach = 0.04 * self.corners.max()
        moved = shapely.transform(shape, lambda xy: xy + (reach, -reach))
        # Box blurs, repeated, come near a Gaussian and are quick.
        soft = Image.fromarray(to_bytes(self.face(moved, z, window)))
        for _ in range(3):
            soft = soft.filter(ImageFilter.BoxBlur(0.3 * self.unit))
        catches = self.face(self.behind, z, window)
        self.lay(window, _light("#04070a"), np.asarray(soft) * np.float32(0.3 / 255) * catches)

    def draw_wall(self) -> None:
        """Draw the wall with the finished picture."""
        self.slab(self.behind, 0, self.build.job.ground)
        window = self.window(0.0, 0.0)
        for layer in self.build.layers:
            painted = self.face(thinned(layer.sheet.openings, self.tolerance), 0.0, window)
            self.picture[window] = sprayed(
                self.picture[window], layer.settings.colour, layer.settings.opacity, painted
            )

    def draw_sheet(self, number: int, layer: BuiltLayer) -> None:
        """Draw one sheet, its shadow, and lines that join it with what is behind it."""
        shape = thinned(layer.sheet.shape, self.tolerance)
        self.shadow(shape, number)
        self._join(number)
        bare, sprayed = srgb_from_hex(self.build.job.material.colour), layer.settings.colour
        self.slab(shape, number, hex_from_srgb(bare + TINT * (srgb_from_hex(sprayed) - bare)))
        self.behind = shape

    def _join(self, number: int) -> None:
        """Draw dashed lines from the sheet behind to this one, hole to hole or corner to corner."""
        near = self.place(self.axes, self.top(number - 1))
        far = self.place(self.axes, self.bottom(number))
        dash = 0.4 * self.unit
        lines = []
        for a, b in zip(near, far, strict=True):
            length = float(np.hypot(*(b - a)))
            starts = np.arange(0.0, length, 2 * dash)
            shares = np.stack([starts, np.minimum(starts + dash, length)], axis=1) / length
            lines += [LineString(a + share[:, None] * (b - a)) for share in shares]
        self.stroke(lines, FAINT_INK, 0.08 * self.unit)

    def stroke(self, lines: Sequence[LineString], colour: str, width: float) -> None:
        """Draw lines given in pixels, y down."""
        strips = shapely.buffer(lines, width / 2, cap_style="flat")
        self.ink(shapely.union_all(strips), colour)

    def ink(self, shape: Polygon | MultiPolygon, colour: str) -> None:
        """Fill a shape given in pixels, y down."""
        x0, y0, x1, y1 = shape.bounds
        columns = slice(max(int(x0), 0), min(math.ceil(x1), self.columns))
        rows = slice(max(int(y0), 0), min(math.ceil(y1), self.rows))
        start, end = directed_edges(shape)  # a loop's sense turns over with y
        self.lay((rows, columns), _light(colour), self._loops(end, start, 1.0, (rows, columns)))

    def lettered(self) -> Image.Image:
        """Return the picture with its labels."""
        build, unit = self.build, self.unit
        labels = self._labels()
        colours = [build.job.ground, *(layer.settings.colour for layer in build.layers)]
        self.stroke([LineString(label.leader) for label in labels], INK, 0.08 * unit)
        dots = [Point(label.leader[0]).buffer(0.25 * unit) for label in labels]
        self.ink(MultiPolygon(dots), INK)
        for label, colour in zip(labels, colours, strict=True):
            for place in label.discs:
                self.ink(Point(place).buffer(1.4 * unit), INK)
                self.ink(Point(place).buffer(1.32 * unit), colour)
        image = Image.fromarray(srgb_bytes(self.picture))
        pen = ImageDraw.Draw(image)
        sheet = build.job.sheet
        for number, label in enumerate(labels):
            if number:
                layer = build.layers[number - 1]
                name, role = layer.settings.name, layer.settings.role
                about = "" if role.casefold() == name.casefold() else f"{role}, "
                about += f"{layer.sheet.thickness:g} mm"
                dark = linear_from_srgb(srgb_from_hex(colours[number])) @ (0.2126, 0.7152, 0.0722)
                text, font = fitted(str(number), round(1.7 * unit), 3 * unit)
                ink = "#ffffff" if dark < 0.3 else "#000000"
                for x, y in label.discs:
                    pen.text((x, y), text, ink, font, anchor="mm")
            else:
                name, about = "Wall", "as painted"
            x, y = label.discs[-1]
            room = label.room - 2.1 * unit
            for line, size, ink, down in ((name, 1.8, INK, -0.3), (about, 1.35, FAINT_INK, 1.4)):
                text, font = fitted(line, round(size * unit), room)
                pen.text((x + 2.1 * unit, y + down * unit), text, ink, font, anchor="ls")
        title, font = fitted(build.job.title, round(2.2 * unit), 94 * unit)
        pen.text((3 * unit, 4.6 * unit), title, INK, font, anchor="ls")
        note, font = fitted(
            f"{build.job.material.title}, {sheet.width_mm:g} x {sheet.height_mm:g} mm. "
            "Thickness and spacing of the sheets are not to scale.",
            round(1.25 * unit),
            94 * unit,
        )
        pen.text((3 * unit, self.rows - 2 * unit), note, FAINT_INK, font, anchor="ls")
        return image

    def _labels(self) -> list[_Label]:
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
                entry = (4.4 * unit + column * width, self.listed + 4.2 * line * unit)
                discs = (disc, np.array(entry))
            labels.append(_Label((edge, end), discs, room))
        return labels


def _light(colour: str) -> Floats:
    return linear_from_srgb(srgb_from_hex(colour))
