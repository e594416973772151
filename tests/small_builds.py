"""Small builds for tests of what is written, made of shapes instead of artwork files."""

from __future__ import annotations

from collections.abc import Sequence

from shapely import Point, box

from sheetstack.geometry.artwork.read import Artwork, LayerDrawing
from sheetstack.geometry.artwork.source import source_of
from sheetstack.geometry.build import Build, build_sheets
from sheetstack.geometry.job.job import Job
from sheetstack.geometry.job.load import parse_job
from sheetstack.geometry.planar.polygons import as_multipolygon

HEAD = """
title = "{title}"
ground = "#204060"
[sheet]
width_mm = {width}
height_mm = {height}
margin_mm = 5
material = "polyester"
thickness_mm = 0.35
[bridges]
deflection_mm = 1000  # one bridge an island is enough
[registration]
hole_diameter_mm = {hole}
inset_mm = 6
"""
LAYER = """
[[layers]]
name = "{name}"
role = "{role}"
colour = "{colour}"
artwork = "{number}.svg"
"""

#: One layer on film, for tests of bridges: {bridges} and {more} are further keys.
INK = """
title = "Ink"
[sheet]
width_mm = {width}
height_mm = {height}
margin_mm = 5
material = "polyester"
thickness_mm = 0.35
placement = "corner"
[bridges]
width_mm = 2
{bridges}
[[layers]]
name = "Ink"
colour = "#102040"
artwork = "ink.svg"
{more}
"""

#: A ring (one island), a plain disc (none), and a square ring in a square ring (nested).
RING = Point(40, 60).buffer(25).difference(Point(40, 60).buffer(12))
DISC = Point(75, 30).buffer(15)
_SQUARES = [box(a, a, 80 - a, 80 - a) for a in (15, 22, 32, 37)]
NESTED = _SQUARES[0].difference(_SQUARES[1]).union(_SQUARES[2].difference(_SQUARES[3]))


def built(
    shapes: dict[str, object],
    *,
    title: str = "Moon and ring",
    size: tuple[float, float] = (100, 100),
    colours: tuple[str, ...] = ("#e0a030", "#101820", "#f8f0d8"),
    roles: tuple[str, ...] = ("mid-tone", "shadow", "highlight"),
    hole: float = 3,
    findings: tuple = (),
) -> Build:
    """Build a job whose layers have given shapes, in the sheet's frame."""
    text = HEAD.format(title=title, width=size[0], height=size[1], hole=hole)
    for number, name in enumerate(shapes):
        role, colour = roles[number % len(roles)], colours[number % len(colours)]
        text += LAYER.format(name=name, role=role, colour=colour, number=number)
    areas = [as_multipolygon(shape) for shape in shapes.values()]

    page = (float(size[0]), float(size[1]))
    return built_from(parse_job(text), [Artwork(shape, page, findings) for shape in areas])


def built_from(job: Job, artworks: Sequence[Artwork]) -> Build:
    """Build a job from given artwork, one for each layer, instead of files."""
    return build_sheets(
        job,
        [
            LayerDrawing(source_of(job, layer), artwork)
            for layer, artwork in zip(job.layers, artworks, strict=True)
        ],
    )


def ink_built(shape: object, size: tuple[float, float], bridges: str = "", more: str = "") -> Build:
    """Build a job of one layer with further keys for its bridges and for itself."""
    job = parse_job(INK.format(width=size[0], height=size[1], bridges=bridges, more=more))
    return built_from(job, [Artwork(as_multipolygon(shape), size)])
