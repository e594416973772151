"""Stock in the sidebar: rows added, changed, taken away; the job has them."""

import pytest

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")


def test_stock_is_added_changed_and_taken_away(opened):
    from sheetstack.addon.job.scene_job import job_of

    state = opened.sheetstack
    state.stock.clear()
    state.is_stale = False
    for _ in range(2):
        assert bpy.ops.sheetstack.add_stock() == {"FINISHED"}
    assert state.is_stale
    state.stock[0].width_mm, state.stock[0].price = 900, 12.5
    state.stock[1].count = 3
    first, second = job_of(opened).stock
    assert (first.width_mm, first.price) == (900, 12.5)
    assert (second.width_mm, second.height_mm, second.count) == (1220, 610, 3)
    bpy.ops.sheetstack.remove_stock(index=0)
    assert [row.count for row in job_of(opened).stock] == [3]
    with pytest.raises(RuntimeError, match="Stock 3: there are 1"):
        bpy.ops.sheetstack.remove_stock(index=2)
