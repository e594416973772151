"""What a build tells of the whole job, beside what each sheet tells."""

from __future__ import annotations

from shapely import Point, box

from .small_builds import DISC, built


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
