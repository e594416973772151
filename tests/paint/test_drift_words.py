"""Register in a painter's words: over random jobs, one statement a pair and no contradiction."""

from __future__ import annotations

import numpy as np
import pytest
from shapely import MultiPolygon, Point, box, union_all
from shapely.affinity import rotate

from sheetstack.geometry.errors import LONGEST
from sheetstack.geometry.paint.drift_words import Cure, pair_statements
from sheetstack.geometry.paint.register_margins import Allowance, Trouble, register_margins
from sheetstack.geometry.paint.wall import Can
from sheetstack.geometry.planar.arrangement import partition
from sheetstack.geometry.planar.polygons import as_multipolygon
from sheetstack.geometry.sheet.alignment import alignment

JOBS = 200
NAMES = ("Mid-tone", "Shadow", "Highlight")
COLOURS = ("#c8691e", "#0c1622", "#f1e2c0")


def random_layers(seed: int) -> list[MultiPolygon]:
    """Three layers that nest, overlap, butt or lie apart as it falls."""
    rng = np.random.default_rng(seed)
    layers = []
    for _ in NAMES:
        parts = []
        for _ in range(rng.integers(1, 3)):
            x, y = rng.uniform(10, 60, 2)
            w, h = rng.uniform(5, 35, 2)
            part = box(x, y, x + w, y + h) if rng.random() < 0.7 else Point(x, y).buffer(w / 2, 4)
            parts.append(rotate(part, rng.choice([0.0, 0.0, 2.0, 30.0])))
        shape = union_all(parts)
        if layers and rng.random() < 0.3:  # edges that are another layer's
            shape = shape.difference(layers[-1])
        layers.append(as_multipolygon(shape))
    return layers


def statements(layers, allowance):
    cells = partition(layers, box(-20, -20, 130, 130))
    cans = [Can(colour) for colour in COLOURS]
    margins = register_margins(layers, cans, "#808080", cells, cells.inside, allowance)
    return pair_statements(margins), margins


#: What a cure asks of the pair's edges: who lies inside whom, or who runs under whom.
ASKS = {
    Cure.RUN_UNDER: {"under"},
    Cure.UPPER_INSIDE: {"upper inside"},
    Cure.LOWER_INSIDE: {"lower inside"},
    Cure.APART: {"apart"},
    Cure.RUN_UNDER_AND_APART: {"under", "apart"},
}


@pytest.fixture(scope="module")
def told():
    allowance = Allowance(1.0, 0.0, (50.0, 50.0))
    return [statements(random_layers(seed), allowance) for seed in range(JOBS)]


def test_no_advice_contradicts_another_over_random_jobs(told):
    pairs = 0
    for found, margins in told:
        keys = [frozenset((s.lower, s.upper)) for s in found]
        assert len(keys) == len(set(keys))  # one statement holds for both ways
        pairs += len(keys)
        for one in found:
            assert not {"upper inside", "lower inside"} <= ASKS[one.cure]
            mine = {
                m.trouble
                for m in margins
                if (m.lower, m.upper) == (one.lower, one.upper) and m.lacking_mm > 0
            }
            # The one cure serves every trouble of the pair, and asks for nothing else.
            serves = {
                "under": {Trouble.GAP},
                "upper inside": {Trouble.OUTSIDE},
                "lower inside": {Trouble.PEEK},
                "apart": {Trouble.OUTSIDE, Trouble.PEEK, Trouble.TOUCH},
            }
            assert mine <= set.union(*(serves[a] for a in ASKS[one.cure]))
            assert (one.under_mm > 0) == (Trouble.GAP in mine)
            assert (one.apart_mm > 0) == bool(mine - {Trouble.GAP})
    assert pairs > JOBS / 2


def test_statements_come_worst_first_and_whole(told):
    for found, margins in told:
        lacking = [s.worst.lacking_mm for s in found]
        assert lacking == sorted(lacking, reverse=True)
        if found:
            assert lacking[0] == max(m.lacking_mm for m in margins)
        for one in found:
            message = one.message(NAMES)
            assert len(message) < LONGEST - 35  # with layer and place on one line, uncut
            assert message.count("Register closer") == 1
            near = [s[1] for s in one.shows]
            assert near == sorted(near)


def test_what_tells_of_a_layers_place_is_said():
    def witnesses(shapes, pages=()):
        return alignment(shapes, ("A", "B", "C")[: len(shapes)], (200.0, 200.0), pages).witnesses

    marks = [Point(10, 10).buffer(2, 32), Point(190, 10).buffer(2, 32)]
    one, other = box(40, 40, 100, 100), box(100, 40, 160, 100)
    apart = box(60, 130, 120, 170)
    shapes = [as_multipolygon(union_all([s, *marks])) for s in (one, apart)]
    assert witnesses(shapes) == ("marks", "marks")
    shapes = [as_multipolygon(s) for s in (one, other, apart)]
    # Two like squares might as well lie on each other: their one edge in common tells no place.
    assert witnesses(shapes) == ("", "", "")
    disc = Point(70, 70).buffer(30, 32)
    nested = [as_multipolygon(s) for s in (disc, disc.buffer(10).difference(disc), apart)]
    assert witnesses(nested) == ("edges", "edges", "")
    page = (150.0, 150.0)
    assert witnesses(shapes, [page, page, page])[2] == "page"
