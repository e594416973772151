"""Bridges in a stated direction, measured on what is cut."""

from __future__ import annotations

from pathlib import Path

import matplotlib
import numpy as np
import pytest
import shapely
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextPath

from sheetstack.geometry.artwork.fill.contour import Contour
from sheetstack.geometry.artwork.fill.fill import fill
from sheetstack.geometry.errors import JobError
from sheetstack.geometry.job.edit import edited_job_text
from sheetstack.geometry.job.load import job_text, parse_job
from sheetstack.geometry.mesh.islands import find_pieces

from ..small_builds import INK, ink_built

FONTS = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
LETTERS = "ABDOPQRabdegopq04689@&"


def lettering(font="DejaVuSans.ttf"):
    path = TextPath((10, 30), LETTERS, size=60, prop=FontProperties(fname=str(FONTS / font)))
    return fill([Contour(points) for points in path.to_polygons()], "nonzero").shape


def sides_off(built, angle):
    """Return how far the sides of what bridges keep uncut are off an angle, in degrees."""
    layer = built.layers[0]
    off = []
    for bridge in layer.bridges:
        if bridge.kind != "bridge":
            continue
        # The strip between the sheet's edges as cut: its sides run from opening to opening.
        kept = bridge.shape.intersection(layer.plain_sheet.openings.buffer(0.05))
        seen = shapely.get_coordinates(max(shapely.get_parts(kept), key=shapely.area).exterior)
        edges = np.diff(seen, axis=0)
        longest = np.argsort(np.hypot(*edges.T))[-2:]
        way = np.degrees(np.arctan2(edges[longest, 1], edges[longest, 0]))
        off += (np.abs((way - angle + 90) % 180 - 90)).tolist()
    return np.array(off)


@pytest.mark.parametrize(
    ("keys", "angle"),
    [
        ('direction = "vertical"', 90),
        ('direction = "horizontal"', 0),
        ('direction = "angle"\nangle_deg = 70', 70),
    ],
)
def test_every_bridge_of_lettering_runs_in_the_stated_direction(keys, angle):
    built = ink_built(lettering(), (1200, 110), keys)
    layer = built.layers[0]
    assert len(layer.islands) == 24
    assert find_pieces(layer.mesh).islands == ()
    off = sides_off(built, angle)
    assert len(off) >= 48
    assert off.max() < 0.1
    for bridge in layer.bridges:
        way = np.diff(bridge.path, axis=0)
        turn = np.degrees(np.arctan2(way[:, 1], way[:, 0]))
        assert np.ptp(turn) < 1e-6  # one straight line from root to root


def test_without_a_direction_bridges_of_lettering_lean():
    assert sides_off(ink_built(lettering(), (1200, 110)), 90).max() > 5


def test_within_a_tolerance_bridges_lean_where_that_is_squarer_to_the_edges():
    slanted = shapely.affinity.rotate(
        shapely.box(40, 40, 160, 60).difference(shapely.box(85, 48, 115, 52)), 12
    )
    strict = ink_built(slanted, (200, 100), 'direction = "vertical"')
    loose = ink_built(slanted, (200, 100), 'direction = "vertical"\ntolerance_deg = 12')
    assert sides_off(strict, 90).max() < 0.1
    assert sides_off(loose, 102).max() < 0.1
    assert loose.layers[0].damage < strict.layers[0].damage


RING = shapely.Point(60, 50).buffer(40).difference(shapely.Point(60, 50).buffer(25))
RINGS = shapely.MultiPolygon([RING, shapely.affinity.translate(RING, 100, 0)])


def test_a_layer_and_an_area_have_directions_of_their_own():
    upright = ink_built(RINGS, (220, 100), 'direction = "horizontal"\n', "")
    assert sides_off(upright, 0).max() < 0.1
    own = ink_built(RINGS, (220, 100), "", 'bridge_direction = "vertical"')
    assert sides_off(own, 90).max() < 0.1
    area = '[[area]]\nbox_mm = [110, 0, 110, 100]\ndirection = "vertical"'
    mixed = ink_built(RINGS, (220, 100), 'direction = "horizontal"', area)
    for bridge in mixed.layers[0].bridges:
        way = bridge.path[2] - bridge.path[1]
        assert abs(way[0 if bridge.place[0] > 110 else 1]) < 1e-9


def test_a_bridge_that_cannot_run_as_stated_is_told():
    slot = shapely.box(80, 20, 120, 380).difference(shapely.box(85, 195, 115, 205))
    built = ink_built(slot, (200, 400), 'direction = "vertical"')
    assert find_pieces(built.layers[0].mesh).islands == ()
    told = [f for f in built.findings if f.code == "support.bridge-leans"]
    assert told
    assert told[0].place is not None


def test_an_area_keeps_bridges_out_or_makes_them_dearer():
    free = '[[area]]\nbox_mm = [60, 0, 60, 100]\nkeep_free = true\nlayer = "Ink"'
    kept = ink_built(RING, (120, 100), "", free)
    assert all(bridge.shape.bounds[2] <= 60.1 for bridge in kept.layers[0].bridges)
    care = "[[area]]\ncorners_mm = [[60, 0], [120, 0], [120, 100], [60, 100]]\ncare = 50"
    dear = ink_built(RING, (120, 100), "", care)
    assert all(bridge.place[0] <= 61 for bridge in dear.layers[0].bridges)


def test_areas_are_written_and_edited_as_they_were_read():
    text = INK.format(width=220, height=100, bridges="", more="").replace(
        'artwork = "ink.svg"\n', 'artwork = "ink.svg"\n[[area]] # faces\nbox_mm = [1, 2, 30, 40]\n'
    )
    job = parse_job(text)
    assert job.areas[0].box_mm == (1, 2, 30, 40)
    assert parse_job(job_text(job)) == job
    assert "# faces" in edited_job_text(text, job)


@pytest.mark.parametrize(
    ("area", "said"),
    [
        ("keep_free = true", "expected one of box_mm"),
        ("box_mm = [1, 2, 3]", "expected [x, y, width, height]"),
        ("box_mm = [1, 2, 0, 3]", "above 0"),
        ('box_mm = [1, 2, 3, 4]\nlayer = "Pink"', "layer = 'Pink'"),
        ('box_mm = [1, 2, 3, 4]\ndirection = "up"', "expected one of as the job, any"),
    ],
)
def test_areas_that_say_nothing_are_refused(area, said):
    with pytest.raises(JobError, match="area") as told:
        parse_job(INK.format(width=220, height=100, bridges="", more=f"[[area]]\n{area}"))
    assert said in str(told.value)
