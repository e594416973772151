"""The exploded stack as a picture: the painted wall, and every sheet in front of it in register.

A parallel projection of the real sheets: openings are open, their walls are seen, every sheet
throws its shadow on what is behind it. Sheets much wider than high lie flat and the stack grows
upwards; others stand as they do when sprayed. Only thickness and spacing are not to scale, and the
picture says so.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
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
from ..tolerance import NOT_ZERO
from .stack_layout import Layout, Window

Picture = NDArray[np.float32]

BACKGROUND = "#c3cbcb"
INK = "#22282b"
FAINT_INK = "#49555a"
#: Share of the layer's colour in the colour of its sheet; the rest is the bare material.
TINT = 0.78


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
    sheet, count = build.job.sheet, len(build.layers)
    layout = Layout(sheet.width_mm, sheet.height_mm, sheet.thickness_mm, count, pixels)
    canvas = _Canvas(build, layout)
    canvas.draw_wall()
    for number, layer in enumerate(build.layers, 1):
        progress((number - 1) / count, f"{layer.settings.name}: drawing in the stack")
        canvas.draw_sheet(number, layer)
    canvas.draw_leaders()
    image = Image.fromarray(srgb_bytes(canvas.picture))
    _letter(image, build, layout)
    return image


def write_stack_picture(
    path: Path | str, build: Build, pixels: int = 2000, progress: Progress | None = None
) -> None:
    """Draw the exploded stack into a PNG file, whole or not at all.

    Parameters
    ----------
    path : Path or str
    build : Build
    pixels : int
        Width of the picture.
    progress : Progress, optional

    Raises
    ------
    WriteError
        The file cannot be written.
    """
    write_png(path, stack_picture(build, pixels, progress))


class _Canvas:
    """The picture while it is being drawn, from the wall forwards."""

    def __init__(self, build: Build, layout: Layout) -> None:
        self.build = build
        self.layout = layout
        self.picture = one_colour(_light(BACKGROUND), layout.rows, layout.columns)
        self.behind: MultiPolygon | Polygon = build.layers[0].sheet.outline
        holes = [hole.centroid for hole in build.layers[0].sheet.holes.geoms]
        # Through these, lines join a sheet with the next.
        self.axes = np.array([(h.x, h.y) for h in holes]) if holes else layout.corners

    def face(self, shape: Polygon | MultiPolygon, z: float, window: Window) -> Picture:
        """Return the coverage of a flat shape at a height, within a window."""
        start, end = directed_edges(shape)
        return self._loops(self.layout.place(start, z), self.layout.place(end, z), 1.0, window)

    def walls(
        self, shape: Polygon | MultiPolygon, z0: float, z1: float, window: Window
    ) -> tuple[Picture, Picture]:
        """Return the coverage by the walls that are seen, and how light falls on them, 0 to 1."""
        start, end = directed_edges(shape)
        along = end - start
        length = np.maximum(np.hypot(along[:, 0], along[:, 1]), NOT_ZERO)
        outward = np.stack([along[:, 1], -along[:, 0]], axis=1) / length[:, None]
        seen = outward @ self.layout.view.towards_viewer[:2] > 0
        start, end, outward = start[seen], end[seen], outward[seen]
        corners = [
            self.layout.place(p, z) for p, z in ((start, z0), (end, z0), (end, z1), (start, z1))
        ]
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
        z0, z1 = self.layout.bottom(number), self.layout.top(number)
        window = self.layout.window(z0, z1)
        light = _light(colour)
        covered, lit = self.walls(shape, z0, z1, window)
        # Even a black sheet's edge is seen.
        self.lay(window, 0.02 + light * (0.22 + 0.5 * lit[..., None]), covered)
        self.lay(window, light, self.face(shape, z1, window))

    def shadow(self, shape: Polygon | MultiPolygon, number: int) -> None:
        """Draw the shadow that a sheet throws on the one behind it."""
        z = self.layout.top(number - 1)
        window = self.layout.window(z, z)
        reach = 0.04 * self.layout.corners.max()
        moved = shapely.transform(shape, lambda xy: xy + (reach, -reach))
        # Box blurs, repeated, come near a Gaussian and are quick.
        soft = Image.fromarray(to_bytes(self.face(moved, z, window)))
        for _ in range(3):
            soft = soft.filter(ImageFilter.BoxBlur(0.3 * self.layout.unit))
        catches = self.face(self.behind, z, window)
        self.lay(window, _light("#04070a"), np.asarray(soft) * np.float32(0.3 / 255) * catches)

    def draw_wall(self) -> None:
        """Draw the wall with the finished picture."""
        self.slab(self.behind, 0, self.build.job.ground)
        window = self.layout.window(0.0, 0.0)
        for layer in self.build.layers:
            painted = self.face(thinned(layer.sheet.openings, self.layout.tolerance), 0.0, window)
            self.picture[window] = sprayed(
                self.picture[window], layer.settings.colour, layer.settings.opacity, painted
            )

    def draw_sheet(self, number: int, layer: BuiltLayer) -> None:
        """Draw one sheet, its shadow, and lines that join it with what is behind it."""
        shape = thinned(layer.sheet.shape, self.layout.tolerance)
        self.shadow(shape, number)
        self._join(number)
        bare, sprayed = srgb_from_hex(self.build.job.material.colour), layer.settings.colour
        self.slab(shape, number, hex_from_srgb(bare + TINT * (srgb_from_hex(sprayed) - bare)))
        self.behind = shape

    def _join(self, number: int) -> None:
        """Draw dashed lines from the sheet behind to this one, hole to hole or corner to corner."""
        near = self.layout.place(self.axes, self.layout.top(number - 1))
        far = self.layout.place(self.axes, self.layout.bottom(number))
        dash = 0.4 * self.layout.unit
        lines = []
        for a, b in zip(near, far, strict=True):
            length = float(np.hypot(*(b - a)))
            starts = np.arange(0.0, length, 2 * dash)
            shares = np.stack([starts, np.minimum(starts + dash, length)], axis=1) / length
            lines += [LineString(a + share[:, None] * (b - a)) for share in shares]
        self.stroke(lines, FAINT_INK, 0.08 * self.layout.unit)

    def stroke(self, lines: Sequence[LineString], colour: str, width: float) -> None:
        """Draw lines given in pixels, y down."""
        strips = shapely.buffer(lines, width / 2, cap_style="flat")
        self.ink(shapely.union_all(strips), colour)

    def ink(self, shape: Polygon | MultiPolygon, colour: str) -> None:
        """Fill a shape given in pixels, y down."""
        x0, y0, x1, y1 = shape.bounds
        columns = slice(max(int(x0), 0), min(math.ceil(x1), self.layout.columns))
        rows = slice(max(int(y0), 0), min(math.ceil(y1), self.layout.rows))
        start, end = directed_edges(shape)  # a loop's sense turns over with y
        self.lay((rows, columns), _light(colour), self._loops(end, start, 1.0, (rows, columns)))

    def draw_leaders(self) -> None:
        """Draw the lines from wall and sheets to their labels, and the labels' discs."""
        unit, labels = self.layout.unit, self.layout.labels()
        self.stroke([LineString(label.leader) for label in labels], INK, 0.08 * unit)
        dots = [Point(label.leader[0]).buffer(0.25 * unit) for label in labels]
        self.ink(MultiPolygon(dots), INK)
        for label, colour in zip(labels, _colours(self.build), strict=True):
            for place in label.discs:
                self.ink(Point(place).buffer(1.4 * unit), INK)
                self.ink(Point(place).buffer(1.32 * unit), colour)


def _about(name: str, role: str, thickness: float) -> str:
    """Return what stands below a sheet's name: what it is for, if more is known than the name.

    >>> _about("Pink", "", 0.4), _about("Shadow", "shadow", 3), _about("Hair", "shadow", 0.4)
    ('0.4 mm', '3 mm', 'shadow, 0.4 mm')
    """
    told = "" if role.casefold() in ("", name.casefold()) else f"{role}, "
    return f"{told}{thickness:g} mm"


def _letter(image: Image.Image, build: Build, layout: Layout) -> None:
    """Write names, title and note into the picture."""
    unit, colours = layout.unit, _colours(build)
    pen = ImageDraw.Draw(image)
    sheet = build.job.sheet
    for number, label in enumerate(layout.labels()):
        if number:
            layer = build.layers[number - 1]
            name, role = layer.settings.name, layer.settings.role
            about = _about(name, role, layer.sheet.thickness)
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
    pen.text((3 * unit, layout.rows - 2 * unit), note, FAINT_INK, font, anchor="ls")


def _colours(build: Build) -> list[str]:
    """Return the colours of the wall and of all layers."""
    return [build.job.ground, *(layer.settings.colour for layer in build.layers)]


def _light(colour: str) -> Floats:
    return linear_from_srgb(srgb_from_hex(colour))
