"""What a build tells of the whole job, beside what each sheet tells."""

from __future__ import annotations

import pickle
import re

import pytest
import shapely
from shapely import Point, box
from shapely.errors import GEOSException

from sheetstack.geometry import build
from sheetstack.geometry.artwork.read import Artwork
from sheetstack.geometry.errors import GeometryError
from sheetstack.geometry.support import let_go, support

from .small_builds import DISC, RING, built, built_from


def codes(build, number):
    return [f.code for f in build.layers[number].findings]


def test_a_layer_that_later_ones_paint_over_wholly_is_told():
    build = built({"Low": DISC, "High": box(50, 10, 95, 55)})
    (told,) = [f for f in build.layers[0].findings if f.code == "paint.painted-over"]
    assert "High" in told.message
    assert DISC.contains(Point(told.place))
    assert "paint.painted-over" not in codes(build, 1)


def test_two_later_layers_may_do_it_together_and_are_named():
    left, right = box(50, 10, 76, 55), box(74, 10, 95, 55)
    build = built({"Low": DISC, "Left": left, "Right": right})
    (told,) = [f for f in build.layers[0].findings if f.code == "paint.painted-over"]
    assert "Left and Right" in told.message


def test_a_layer_of_which_something_is_seen_is_not_told():
    build = built({"Low": DISC, "High": DISC.buffer(-1)})
    assert "paint.painted-over" not in codes(build, 0)


def test_an_error_of_geos_names_layer_file_and_place(monkeypatch):
    def conflict(*_):
        raise GEOSException("TopologyException: side location conflict at 12.34 56.78.")

    monkeypatch.setattr(build, "support_layer", conflict)
    with pytest.raises(GeometryError, match=r"^Low \(.*\): outlines .* near \(12\.3, 56\.8\) mm"):
        built({"Low": DISC})


def test_more_islands_than_can_be_looked_through_are_refused(monkeypatch):
    monkeypatch.setattr(support, "MOST_ISLANDS", 2)
    specks = [box(x, 29, x + 3, 32) for x in (66, 72, 78)]
    built({"Low": DISC.difference(specks[0]).difference(specks[1])})
    holed = DISC
    for speck in specks:
        holed = holed.difference(speck)
    with pytest.raises(GeometryError, match="Low: 3 pieces of sheet would fall out, more than"):
        built({"Low": holed})


def test_islands_that_only_hold_each_other_are_refused_where_they_are_too_many(monkeypatch):
    monkeypatch.setattr(support, "MOST_HANGING", 8)
    monkeypatch.setattr(support, "MOST_STRIPS", 8)

    def net(step):
        far = 30 + 6 * step
        at = [30 + k * step for k in range(7)]
        lines = [box(x, 30, x + 1, far + 1) for x in at] + [box(30, y, far, y + 1) for y in at]
        return shapely.union_all(lines)

    # They are refused before walls between so many are looked for.
    with monkeypatch.context() as patch:
        patch.setattr(support, "make_sheet", None)
        with pytest.raises(GeometryError) as told:
            built({"Net": net(3.5)})
    # Of 6 x 6 squares in a net the 20 at its rim are as near the frame as any other.
    said = r"^Net: 36 pieces of sheet would fall out, and (\d+) of them could be held by each other"
    (found,) = re.findall(said, str(told.value))
    assert 16 <= int(found) <= 35
    # As many that are larger than bridges are bricks.
    assert len(built({"Bricks": net(8)}).layers[0].islands) == 36
    # As many, each near the sheet, are no net.
    at = range(30, 67, 6)
    rings = [Point(x, y).buffer(2.5).difference(Point(x, y).buffer(1.5)) for x in at for y in at]
    monkeypatch.setattr(support, "MOST_HANGING", 0)
    assert len(built({"Rings": shapely.union_all(rings)}).layers[0].islands) > 0


def test_thin_rings_that_only_hold_each_other_are_refused_where_they_are_too_many(monkeypatch):
    monkeypatch.setattr(support, "MOST_STRIPS", 8)

    def rings(step, count):
        radii = [35 - k * step for k in range(count)]
        around = [Point(50, 50).buffer(r).difference(Point(50, 50).buffer(r - step)) for r in radii]
        return shapely.union_all(around[::2])

    with monkeypatch.context() as patch:
        patch.setattr(support, "make_sheet", None)
        with pytest.raises(GeometryError) as told:
            built({"Rings": rings(0.15, 24)})
    # Each of 12 rings of paint holds a disc or ring of sheet; only the outermost is near the frame.
    said = "^Rings: 12 pieces of sheet would fall out, and 11 of them could be held by each other "
    said += r"only\. Most are strips about 0\.15 mm wide, less than a fifth of the bridges that"
    assert re.match(said, str(told.value))
    # As many that are four times as wide are held.
    assert built({"Rings": rings(0.6, 24)}).layers[0].bridges
    # So are as few as thin ones.
    assert built({"Rings": rings(0.15, 10)}).layers[0].bridges


def test_islands_that_go_take_their_holes_with_them_and_leave_the_rest_as_drawn(monkeypatch):
    monkeypatch.setattr(let_go, "CROWD", 1)
    disc = Point(50, 50).buffer(20)
    specks = shapely.union_all([box(x, 49, x + 0.5, 49.5) for x in (40.0, 50.0, 60.0)])
    layer = built({"Low": disc.difference(specks)}).layers[0]
    assert len(layer.let_go) == 3
    assert not layer.bridges
    (opening,) = layer.sheet.openings.geoms
    assert not opening.interiors
    assert opening.area == pytest.approx(disc.area, abs=1e-3)


def test_of_very_many_islands_those_not_worth_their_bridges_are_sought_once(monkeypatch):
    disc = Point(50, 50).buffer(20)
    specks = shapely.union_all([box(x, 49, x + 2.4, 51.4) for x in (40.0, 56.0)])
    assert "support.weighed-once" not in codes(built({"Ring": disc.difference(specks)}), 0)
    monkeypatch.setattr(support, "_MANY", 1)
    assert "support.weighed-once" in codes(built({"Ring": disc.difference(specks)}), 0)


def test_of_many_thin_rings_those_not_worth_their_bridges_are_sought_once(monkeypatch):
    monkeypatch.setattr(support, "_MANY_RINGS", 1)
    disc = Point(50, 50).buffer(20)
    centres = [Point(50, y) for y in (40.0, 60.0)]
    thin = shapely.union_all([c.buffer(2.2).difference(c.buffer(1.6)) for c in centres])
    strips = shapely.union_all([box(45, y, 55, y + 0.6) for y in (40.0, 60.0)])
    assert "support.weighed-once" in codes(built({"Ring": disc.difference(thin)}), 0)
    assert "support.weighed-once" not in codes(built({"Ring": disc.difference(strips)}), 0)
    # The most of them must be such rings.
    both = disc.difference(thin).difference(box(45, 50, 55, 50.6))
    assert "support.weighed-once" not in codes(built({"Ring": both}), 0)


def test_a_build_can_be_handed_to_another_process():
    build = built({"Ring": RING, "Low": DISC})
    job = build.settled_for(build.job)
    again = built_from(job, [Artwork(a.artwork.shape, (100, 100)) for a in build.layers])
    for one in (build, again):
        other = pickle.loads(pickle.dumps(one))
        assert other.layers[0].plain_damage == one.layers[0].plain_damage > 0
