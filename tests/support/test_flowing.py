from pathlib import Path

import matplotlib
import numpy as np
import pytest
import shapely
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextPath
from shapely import Point, Polygon, box

from sheetstack.geometry.artwork.fill.contour import Contour
from sheetstack.geometry.artwork.fill.fill import fill
from sheetstack.geometry.artwork.read import Artwork
from sheetstack.geometry.job.load import job_text, parse_job
from sheetstack.geometry.planar.polygons import as_multipolygon

from ..small_builds import INK, built_from, ink_built

FIELD = box(10, 10, 110, 90)
#: A strand of sheet from the left edge to (50, 60), and an upright one that hangs on nothing.
STRAND = Polygon([(0, 62), (50, 61), (50, 59), (0, 58)])
ISLAND = Polygon([(74, 18), (77, 18), (76.5, 46), (74.5, 46)])
SHAPE = FIELD.difference(STRAND).difference(ISLAND)
#: Bridges keep out of all but the corner between the two.
FREE = """keep_free_mm = [[55, 10, 55, 32], [10, 10, 38, 48], [78, 42, 32, 48], [10, 62, 100, 28]]
most_per_island = 1
let_go = false
deflection_mm = 1000
alike = "off"
"""


def layer_of(style, more="", shape=SHAPE, bridges=FREE):
    (layer,) = ink_built(shape, (120, 100), f'style = "{style}"\n{bridges}', more).layers
    return layer


def only_bridge(layer):
    (bridge,) = [b for b in layer.bridges if b.kind == "bridge"]
    return bridge


def test_a_bridge_between_two_strands_bends_from_the_one_into_the_other():
    straight, curved = only_bridge(layer_of("straight")), only_bridge(layer_of("curved"))
    assert len(straight.path) == 4
    assert len(curved.path) > 6
    steps = np.diff(curved.path, axis=0)
    angle = np.degrees(np.arctan2(steps[:, 1], steps[:, 0]))
    # Straight it runs aslant to both; bent, it begins along the level strand and ends along the
    # upright one, or square to its end, which is the same.
    aslant = np.degrees(np.arctan2(*np.diff(straight.path[1:3], axis=0)[0][::-1]))
    assert 20 < abs(aslant + 180 * (aslant < -90)) % 90 < 70
    ways = sorted(abs(a) % 180 for a in (angle[1], angle[-2]))
    assert min(ways[0], 180 - ways[0]) < 12 or abs(ways[0] - 90) < 12
    assert abs(ways[1] - 90) < 12 or min(ways[1], 180 - ways[1]) < 12
    # It turns gently: on no step by more than its radius of one and a half widths allows.
    inner = np.diff(curved.path[1:-1], axis=0)
    turn = np.abs(np.diff(np.unwrap(np.arctan2(inner[:, 1], inner[:, 0]))))
    assert turn.max() < 0.5


@pytest.mark.parametrize("style", ["curved", "tapered"])
def test_a_bridge_is_of_full_width_at_its_narrowest(style):
    layer = layer_of(style)
    bridge = only_bridge(layer)
    way = shapely.linestrings(bridge.path[1:-1])
    # A disc of the bridge's width fits everywhere along its middle line.
    for share in np.linspace(0, 1, 21):
        disc = way.interpolate(share, normalized=True).buffer(bridge.width / 2 * 0.999)
        assert bridge.shape.covers(disc)
    assert len(layer.sheet.shape.geoms) == 1


def test_a_tapered_bridge_is_wider_where_it_meets_the_sheet_unless_that_is_a_narrow_strand():
    ring = Point(60, 50).buffer(38).difference(Point(60, 50).buffer(22))
    parallel, tapered = (
        layer_of(style, shape=ring, bridges="let_go = false").bridges[0]
        for style in ("curved", "tapered")
    )

    def width_at(bridge, share):
        way = shapely.linestrings(bridge.path[1:-1])
        at, on = (way.interpolate(s, normalized=True) for s in (share, share + 0.01))
        along = np.array([on.x - at.x, on.y - at.y]) / np.hypot(on.x - at.x, on.y - at.y)
        side = 10 * np.array([-along[1], along[0]])
        across = shapely.linestrings([[at.x, at.y] - side, [at.x, at.y] + side])
        return shapely.length(shapely.intersection(across, bridge.shape))

    assert width_at(tapered, 0.02) > 1.4 * tapered.width
    assert width_at(tapered, 0.97) > 1.4 * tapered.width
    assert tapered.width <= width_at(tapered, 0.5) < 1.02 * tapered.width
    assert width_at(parallel, 0.02) < 1.02 * parallel.width
    # At the ends of strands as wide as the bridge there is no room for more.
    assert width_at(only_bridge(layer_of("tapered")), 0.03) < 1.05 * 2


def test_what_is_told_of_a_curved_bridge_counts_its_whole_length():
    curved = only_bridge(layer_of("curved"))
    assert curved.gap == pytest.approx(shapely.length(shapely.linestrings(curved.path[1:-1])))
    straight, bent = (layer_of(style).held_islands[0].hold for style in ("straight", "curved"))
    assert bent.deflection_mm != pytest.approx(straight.deflection_mm, rel=0.01)


def test_between_two_circles_bridges_stay_straight():
    ring = Point(60, 50).buffer(30, quad_segs=64).difference(Point(60, 50).buffer(18, quad_segs=64))
    layer = layer_of("curved", shape=ring, bridges="let_go = false")
    assert all(len(b.path) == 4 for b in layer.bridges)


def test_in_a_stated_direction_bridges_stay_straight():
    shape = FIELD.difference(ISLAND)
    layer = layer_of("curved", shape=shape, bridges='let_go = false\ndirection = "vertical"')
    for bridge in layer.bridges:
        assert len(bridge.path) == 4
        assert np.ptp(bridge.path[1:3, 0]) < 1e-9


def letter(text, x):
    font = Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "DejaVuSerif-Bold.ttf"
    path = TextPath((x, 25), text, size=60, prop=FontProperties(fname=str(font)))
    contours = [Contour(points) for points in path.to_polygons()]
    return fill(contours, "nonzero").shape


@pytest.mark.parametrize("style", ["curved", "tapered"])
def test_equal_letters_get_equal_curves_wherever_they_stand(style):
    # Twice the same letters, in another order, so that each has other neighbours.
    first, second = "a8e", "ea8"
    shape = shapely.union_all([letter(one, 15 + 50 * k) for k, one in enumerate(first + second)])
    (layer,) = ink_built(
        as_multipolygon(shape), (330, 100), f'style = "{style}"\nlet_go = false'
    ).layers

    def bridges_of(k):
        low, high = 15 + 50 * k - 3, 15 + 50 * k + 47
        mine = [b for b in layer.bridges if low < b.place[0] < high]
        return sorted(
            (b.path - [15 + 50 * k, 0] for b in mine), key=lambda p: tuple(p.mean(0).round(3))
        )

    bent = 0
    for one in "a8e":
        here, there = bridges_of(first.index(one)), bridges_of(3 + second.index(one))
        assert len(here) == len(there) > 0
        for a, b in zip(here, there, strict=True):
            assert a.shape == b.shape
            np.testing.assert_allclose(a, b, atol=1e-6)
            bent += len(a) > 4
    assert bent > 0


def test_settled_curves_stay_as_they_were():
    job = parse_job(
        INK.format(width=120, height=100, bridges=f'style = "tapered"\n{FREE}', more="")
    )
    built = ink_built(SHAPE, (120, 100), f'style = "tapered"\n{FREE}')
    saved = parse_job(job_text(built.settled_for(job)))
    assert saved.settled
    (again,) = built_from(saved, [Artwork(as_multipolygon(SHAPE), (120.0, 100.0))]).layers
    before, after = only_bridge(built.layers[0]), only_bridge(again)
    np.testing.assert_allclose(after.path, before.path, atol=1e-6)
    assert after.shape.symmetric_difference(before.shape).area < 1e-3
