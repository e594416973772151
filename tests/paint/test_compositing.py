import io

import numpy as np
import pytest
import shapely
from PIL import Image
from shapely import box

from sheetstack.geometry.paint.compositing import painted_picture, sprayed
from sheetstack.geometry.planar.raster import one_colour

from ..small_builds import DISC, RING, built


def colour_at(picture, x, y, size=100):
    """The colour of the pixel at a place in mm."""
    scale = picture.shape[0] / size
    return "#" + bytes(picture[int((size - y) * scale), int(x * scale)]).hex()


def test_later_colours_lie_over_earlier_ones():
    layers = {"A": box(10, 10, 60, 60), "B": box(40, 40, 90, 90), "C": box(50, 50, 55, 55)}
    picture = painted_picture(built(layers), 400)
    assert picture.shape == (400, 400, 3)
    assert picture.dtype == np.uint8
    assert colour_at(picture, 5, 95) == "#204060"
    assert colour_at(picture, 20, 20) == "#e0a030"
    assert colour_at(picture, 45, 45) == "#101820"
    assert colour_at(picture, 52, 52) == "#f8f0d8"


def test_bridges_leave_gaps_and_islands_stay_bare():
    build = built({"Ring": RING})
    picture = painted_picture(build, 800)
    (bridge,) = build.layers[0].bridges
    assert colour_at(picture, *bridge.place) == "#204060"
    assert colour_at(picture, 40, 60) == "#204060"
    # Reference: area of what the sheet is really open for, by Shapely.
    painted = (picture == (0xE0, 0xA0, 0x30)).all(axis=2).mean() * 100 * 100
    assert painted == pytest.approx(build.layers[0].sheet.openings.area, rel=0.02)
    assert painted < RING.area


def test_registration_holes_are_not_painted():
    build = built({"Disc": DISC}, hole=4)
    assert colour_at(painted_picture(build, 400), 6, 6) == "#204060"


def test_long_side_has_the_pixels_asked_for():
    build = built({"Disc": DISC}, size=(200, 100))
    assert painted_picture(build, 500).shape == (250, 500, 3)


def test_inner_pixels_agree_with_an_independent_renderer():
    # Reference: resvg draws the same openings as SVG. Pixels on edges are left out: it mixes
    # sRGB values there, we mix light.
    resvg = pytest.importorskip("resvg_py")
    build = built({"A": RING, "B": DISC, "C": box(30, 20, 80, 40)})
    paths = []
    for layer in build.layers:
        rings = shapely.get_rings(shapely.get_parts(layer.sheet.openings))
        loops = "".join("M" + " ".join(f"{x},{100 - y}" for x, y in r.coords) + "Z" for r in rings)
        paths.append(f'<path fill="{layer.settings.colour}" fill-rule="evenodd" d="{loops}"/>')
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="400" height="400" viewBox="0 0 100 100">'
        f'<rect width="100" height="100" fill="{build.job.ground}"/>{"".join(paths)}</svg>'
    )
    drawn = np.asarray(Image.open(io.BytesIO(bytes(resvg.svg_to_bytes(svg_string=svg)))))[..., :3]
    different = (drawn != painted_picture(build, 400)).any(axis=2)
    edges = shapely.union_all([layer.sheet.openings.boundary for layer in build.layers])
    row, column = np.nonzero(different)
    places = shapely.points((column + 0.5) / 4, 100 - (row + 0.5) / 4)
    assert shapely.distance(places, edges).max() < 0.25 * 2**0.5
    assert different.mean() < 0.03


def test_thin_coat_mixes_srgb_values_and_its_edge_mixes_light():
    # W3C Compositing and Blending Level 1, 5.1: 0.25 of black over white is 0.75 in sRGB values;
    # its linear light is 0.5225 (IEC 61966-2-1), half of which and half white is 0.7613.
    white = one_colour((1, 1, 1), 1, 1)
    coat = sprayed(white, "#000000", 0.25, np.ones((1, 1), np.float32))
    edge = sprayed(white, "#000000", 0.25, np.full((1, 1), 0.5, np.float32))
    assert coat[0, 0] == pytest.approx([0.5225] * 3, abs=1e-4)
    assert edge[0, 0] == pytest.approx([0.7613] * 3, abs=1e-4)
