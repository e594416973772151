"""DXF against ezdxf's own writer, audit and flattening, and against elementary areas."""

import math

import ezdxf
import numpy as np
import pytest
from ezdxf import path as ezdxf_path
from ezdxf import recover
from shapely import Polygon

from sheetstack.geometry.artwork.dxf.read import read_dxf
from sheetstack.geometry.artwork.source import ArtworkSource


@pytest.fixture
def document():
    return ezdxf.new("R2010", units=4)


def read(document, folder):
    document.saveas(folder / "a.dxf")
    return read_dxf(ArtworkSource(folder / "a.dxf")).shape


def test_what_we_read_is_what_ezdxf_finds_sound(document, tmp_path):
    # ezdxf: the audit has no errors, $INSUNITS 4 means mm, vertices survive to 1e-9.
    corners = np.random.default_rng(5).uniform(-500, 500, (40, 2))
    turn = np.arctan2(*(corners - corners.mean(axis=0)).T)
    corners = corners[np.argsort(turn)]  # a star-shaped outline, so that nothing crosses
    document.modelspace().add_lwpolyline(corners, close=True)
    shape = read(document, tmp_path)
    back, audit = recover.readfile(tmp_path / "a.dxf")
    assert not audit.has_errors
    assert back.header["$INSUNITS"] == 4
    (polygon,) = shape.geoms
    found = np.array(polygon.exterior.coords)[:-1]
    start = np.argmin(np.hypot(*(found - corners[0]).T))
    found = np.roll(found, -start, axis=0)
    if np.hypot(*(found[1] - corners[1])) > 1e-6:
        found = np.roll(found[::-1], 1, axis=0)
    np.testing.assert_allclose(found, corners, atol=1e-9)


@pytest.mark.parametrize("turn_deg", [30, 90, 180, 270])
def test_bulges_enclose_circular_segments(document, turn_deg, tmp_path):
    # DXF reference: the bulge is the tangent of a quarter of the arc's angle, so a half circle has
    # 1. Area of a circular segment: r^2 (a - sin a) / 2, chord 2 r sin(a / 2) (elementary).
    turn = math.radians(turn_deg)
    radius = 50.0
    chord = 2 * radius * math.sin(turn / 2)
    document.modelspace().add_lwpolyline(
        [(0, 0, math.tan(turn / 4)), (chord, 0, 0)], format="xyb", close=True
    )
    expected = radius**2 * (turn - math.sin(turn)) / 2
    # The chords of the flattened arc lie inside by at most 0.05 mm.
    assert expected - turn * radius * 0.05 <= read(document, tmp_path).area <= expected + 1e-9


@pytest.mark.parametrize("seed", range(6))
def test_areas_equal_those_of_ezdxfs_own_flattening(document, seed, tmp_path):
    # ezdxf turns every entity into a path of Bezier curves and flattens that: another way.
    random = np.random.default_rng(seed)
    space = document.modelspace()
    mirrored = {"extrusion": (0, 0, -1)} if seed % 2 else {}
    for column in range(6):
        x = 300.0 * column
        sides = int(random.integers(3, 9))
        turn = np.sort(random.uniform(0, 2 * math.pi, sides))
        ring = [(x + 80 * math.cos(t), 80 * math.sin(t), random.uniform(-0.3, 0.3)) for t in turn]
        space.add_lwpolyline(ring, format="xyb", close=True, dxfattribs=mirrored)
        space.add_circle((x, 400), float(random.uniform(5, 90)), dxfattribs=mirrored)
        axis = random.uniform(10, 90, 2)
        space.add_ellipse((x, -400), tuple(axis), float(random.uniform(0.2, 1)))
        space.add_spline([(x + 80 * math.cos(t), 900 + 80 * math.sin(t)) for t in [*turn, turn[0]]])
    expected = 0.0
    for entity in list(space):
        points = [(p.x, p.y) for p in ezdxf_path.make_path(entity).flattening(1e-4)]
        outline = Polygon(points)
        if not outline.is_valid:
            space.delete_entity(entity)
            continue
        expected += outline.area
    assert len(space) > 12
    assert read(document, tmp_path).area == pytest.approx(expected, rel=0.005)
