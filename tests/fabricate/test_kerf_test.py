"""The kerf strip: cut by a beam of known width, its gap gives that width back."""

import numpy as np
import pytest
import shapely
from shapely import Polygon, box

from sheetstack.geometry.fabricate.kerf_test import PIECES, kerf_of_gap, kerf_strip


@pytest.mark.parametrize("kerf", [0.08, 0.15, 0.3])
def test_the_gap_that_a_beam_leaves_gives_its_kerf(kerf):
    strip = kerf_strip()
    cuts = []
    for path in strip.cuts.openings:
        points, closed = path.polyline()
        line = shapely.LinearRing(points) if closed else shapely.LineString(points)
        cuts.append(line.buffer(kerf / 2, cap_style="flat", join_style="mitre"))
    window = Polygon(strip.cuts.openings[-1].points)
    beam = shapely.union_all(cuts)
    pieces = shapely.get_parts(window.difference(beam))
    assert len(pieces) == PIECES
    opened = window.union(beam)
    widths = [np.ptp(p.bounds[::2]) for p in pieces]
    assert kerf_of_gap(np.ptp(opened.bounds[::2]) - sum(widths)) == pytest.approx(kerf)


def test_pieces_are_parted_before_the_window_and_the_window_before_the_outline():
    strip = kerf_strip()
    assert [p.closed for p in strip.cuts.all] == [False] * (PIECES - 1) + [True, True]
    sheet = box(0, 0, *strip.size)
    assert Polygon(strip.cuts.outline[0].points).equals(sheet)
    assert sheet.buffer(-5).covers(shapely.MultiLineString([p.points for p in strip.cuts.openings]))
    assert sheet.covers(shapely.MultiLineString(list(strip.engraved)))
