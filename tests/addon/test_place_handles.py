"""Boxes, areas and holes of the job are moved by handles on the sheet."""

import pytest

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")

from sheetstack.addon.bridges.place_handles import (  # noqa: E402
    outlines,
    place_handles,
    pulled_place,
)
from sheetstack.addon.core.list_rows import put_list  # noqa: E402
from sheetstack.addon.job.scene_job import job_of  # noqa: E402

BOX = [10.0, 20.0, 30.0, 8.0]


@pytest.mark.parametrize(
    ("part", "by", "wanted"),
    [
        ("middle", (2, -3), [12, 17, 30, 8]),
        ("high", (2, -3), [10, 20, 32, 5]),
        ("low", (2, -3), [12, 17, 28, 11]),
        ("high", (-99, -99), [10, 20, 1, 1]),
        ("low", (99, 99), [39, 27, 1, 1]),
    ],
)
def test_a_part_of_a_box_is_pulled(part, by, wanted):
    assert pulled_place(BOX, part, by) == wanted


def test_every_place_has_handles_and_the_job_follows(built):
    state = built.sheetstack
    put_list(state.bridges, "keep_free_mm", [BOX])
    put_list(state.bridges, "keep_free_areas_mm", [[[1, 1], [9, 1], [5, 7]]])
    put_list(state.registration, "holes_mm", [[50, 5]])
    area = state.areas.add()
    area.name, area.layer = "Face", "Base"
    put_list(area, "box_mm", [5, 6, 7, 8])
    found = list(place_handles(built))
    assert [handle.part for handle in found] == ["low", "high", "middle"] * 2 + ["point"] * 4
    assert found[1].place == (40, 28)
    assert found[2].place == (25, 24)
    assert [len(ring) for ring in outlines(built)] == [4, 4, 3]
    state.is_stale = False
    for number, by in ((2, (1.5, 0)), (4, (3, 3)), (8, (0, 2)), (9, (-4, 1))):
        handle = list(place_handles(built))[number]
        handle.row.set_value(pulled_place(handle.row.get_value(), handle.part, by))
    job = job_of(built)
    assert state.is_stale
    assert job.bridges.keep_free_mm == ((11.5, 20, 30, 8),)
    assert job.bridges.keep_free_areas_mm == (((1, 1), (9, 1), (5, 9)),)
    assert job.registration.holes_mm == ((46, 6),)
    assert job.areas[0].box_mm == (5, 6, 10, 11)


def test_a_box_that_follows_an_object_has_no_handle(built):
    thing = bpy.data.objects.new("Place", None)
    built.collection.objects.link(thing)
    put_list(built.sheetstack.bridges, "keep_free_mm", [BOX])
    built.sheetstack.bridges.keep_free_mm_rows[0].source = thing
    assert not list(place_handles(built))
    bpy.data.objects.remove(thing)
    assert len(list(place_handles(built))) == 3


def test_another_layers_area_is_left_alone(built):
    area = built.sheetstack.areas.add()
    area.name, area.layer = "Face", "Light"
    put_list(area, "box_mm", [5, 6, 7, 8])
    assert not list(place_handles(built))
    built.sheetstack.active_layer = 1
    assert len(list(place_handles(built))) == 3
