"""Lower layers let run under upper ones."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shapely import MultiPolygon, Point, box

from sheetstack.geometry.build import build
from sheetstack.geometry.job.load import load_job
from sheetstack.geometry.paint.wall import Can, composite_colours
from sheetstack.geometry.planar.arrangement import partition
from sheetstack.geometry.planar.polygons import as_multipolygon
from sheetstack.geometry.sheet.trapping import SEAM, let_under

from ..demo_builds import SCENES, demo


def test_a_hole_filled_by_a_later_layer_shrinks_by_the_trap():
    hole = Point(0, 0).buffer(6, quad_segs=64)
    under = let_under(
        [as_multipolygon(box(-9, -9, 9, 9).difference(hole)), MultiPolygon([hole])], [True] * 2, 1.5
    )
    (ring,) = under[0].geoms[0].interiors
    assert Point(0, 0).distance(ring) == pytest.approx(4.5, abs=0.01)
    assert under[1].equals(MultiPolygon([hole]))


def test_nothing_runs_under_paint_that_shows_what_is_below():
    two = [MultiPolygon([box(0, 0, 10, 10)]), MultiPolygon([box(10, 0, 30, 10)])]
    assert let_under(two, [True, False], 2)[0].equals(two[0])


def test_a_cover_narrower_than_the_trap_is_not_run_under_to_its_far_edge():
    under = let_under(
        [MultiPolygon([box(0, 0, 10, 10)]), MultiPolygon([box(10, -9, 12, 19)])], [True] * 2, 1.5
    )
    assert under[0].bounds[2] == pytest.approx(10.5, abs=2 * SEAM)


def test_no_trap_changes_nothing():
    shapes = [MultiPolygon([box(0, 0, 10, 10)]), MultiPolygon([box(10, 0, 30, 10)])]
    assert let_under(shapes, [True, True], 0) == shapes


def test_the_portrait_with_a_trap_paints_the_same_picture():
    job = load_job(SCENES / "portrait" / "portrait.toml")
    job = replace(job, registration=replace(job.registration, trap_mm=1.0))
    built = build(job)
    plain = demo("portrait")
    grown = [layer.artwork.shape for layer in built.layers]
    before = [layer.artwork.shape for layer in plain.layers]
    assert grown[0].area > before[0].area + 1000
    frame = box(0, 0, job.sheet.width_mm, job.sheet.height_mm)
    cells = partition([*before, *grown], frame)
    paints = [Can(layer.colour) for layer in job.layers]
    sets, _, areas = cells.sets()
    was = composite_colours(sets[:, :3], paints, job.ground)[-1]
    now = composite_colours(sets[:, 3:], paints, job.ground)[-1]
    assert areas[(was != now).any(axis=1)].sum() < 0.05
    assert np.isclose(cells.areas.sum(), frame.area, rtol=1e-12)
    told = [f for f in built.findings if f.code == "registration.trapped"]
    assert [f.layer for f in told] == ["Mid-tone", "Shadow"]
