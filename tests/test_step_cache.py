"""Steps kept: the same results as without a cache, and no more done than an edit asks for."""

from __future__ import annotations

import os
import random
from dataclasses import fields, replace

import numpy as np
import pytest
from PIL import Image

from sheetstack.geometry.build import BuiltLayer, build
from sheetstack.geometry.content import content_key
from sheetstack.geometry.job.load import parse_job
from sheetstack.geometry.job.sections import BridgeArea, BridgeByHand
from sheetstack.geometry.step_cache import StepCache

JOB = """
title = "Three"
[sheet]
width_mm = 100
height_mm = 100
margin_mm = 5
material = "polyester"
thickness_mm = 0.35
[registration]
hole_diameter_mm = 4
inset_mm = 5
[[layers]]
name = "Base"
colour = "#e0a030"
artwork = "base.svg"
[[layers]]
name = "Mask"
colour = "#102030"
artwork = "mask.png"
pixel_mm = 1.0
[[layers]]
name = "Top"
colour = "#f8f0d8"
artwork = "top.svg"
"""
RING = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="80mm" height="80mm" viewBox="0 0 80 80">'
    '<path fill-rule="evenodd" d="M5 5H75V75H5Z M{0} {0}H60V60H{0}Z"/></svg>'
)


def made_job(folder):
    """Write the drawings of a job into a folder and return it."""
    (folder / "base.svg").write_text(RING.format(20))
    (folder / "top.svg").write_text(RING.format(30))
    y, x = np.mgrid[:80, :80]
    r = np.hypot(x - 40, y - 40)
    grey = np.where((r > 12) & (r < 30), r * 4, 255)
    Image.fromarray(grey.astype(np.uint8)).save(folder / "mask.png")
    return parse_job(JOB, folder=folder)


@pytest.fixture
def job(tmp_path):
    return made_job(tmp_path)


def said(build) -> list[bytes]:
    """All that was made of each layer but what a report works out later."""
    names = [f.name for f in fields(BuiltLayer) if f.name != "plain"]
    return [content_key(*(getattr(layer, name) for name in names)) for layer in build.layers]


def moved_bridge(job, cache, draw):
    layer = draw.choice(build(job, cache=cache).layers)
    bridge = draw.choice(layer.bridges)
    line = bridge.path[[0, -1]] + [draw.uniform(-3, 3), draw.uniform(-3, 3)]
    name = layer.settings.name.split(" ")[0]
    row = BridgeByHand(name, tuple(map(tuple, line.tolist())), bridge.name)
    return replace(job, bridges_by_hand=(*job.bridges_by_hand, row))


def with_layer(job, number, **values):
    layers = list(job.layers)
    layers[number] = replace(layers[number], **values)
    return replace(job, layers=tuple(layers))


def new_drawing(job, cache, draw):
    # As many bytes and the same time: only what is in it tells.
    path = job.folder / draw.choice(["base.svg", "top.svg"])
    before = path.stat()
    path.write_text(RING.format(draw.randint(21, 45)))
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert path.stat().st_size == before.st_size
    return job


EDITS = {
    "a bridge": moved_bridge,
    "a drawing": new_drawing,
    "the threshold": lambda job, _, d: with_layer(job, 1, threshold=d.uniform(0.3, 0.5)),
    "a colour": lambda job, _, d: with_layer(
        job, d.randrange(3), colour=f"#{d.randrange(1 << 24):06x}"
    ),
    "the opacity": lambda job, _, d: with_layer(job, 2, opacity=d.choice([0.5, 1.0])),
    "two sheets": lambda job, _, d: with_layer(job, 0, split=not job.layers[0].split),
    "the material": lambda job, _, d: replace(
        job, sheet=replace(job.sheet, material=d.choice(["card", "acrylic", "polyester"]))
    ),
    "the thickness": lambda job, _, d: replace(
        job, sheet=replace(job.sheet, thickness_mm=d.uniform(0.2, 2))
    ),
    "how far islands give way": lambda job, _, d: replace(
        job, bridges=replace(job.bridges, deflection_mm=d.uniform(0.2, 50))
    ),
    "the width of bridges": lambda job, _, d: replace(
        job, bridges=replace(job.bridges, width_mm=d.uniform(2, 4))
    ),
    "an area of care": lambda job, _, d: replace(
        job, areas=(BridgeArea(box_mm=(d.uniform(0, 50), 0.0, 40.0, 90.0), care=4.0),)
    ),
    "an area kept free": lambda job, _, d: replace(
        job,
        areas=(
            BridgeArea(layer="Base", box_mm=(0.0, d.uniform(0, 70), 90.0, 20.0), keep_free=True),
        ),
    ),
}


@pytest.mark.parametrize("seed", [1, 2])
def test_after_any_edits_a_build_with_the_cache_is_the_fresh_one(job, seed):
    draw = random.Random(seed)
    cache = StepCache()
    for edit in draw.sample(sorted(EDITS), 5):
        job = EDITS[edit](job, cache, draw)
        assert said(build(job, cache=cache)) == said(build(job)), edit


def test_nothing_is_done_twice_and_a_change_redoes_only_what_hangs_on_it(job):
    cache = StepCache()
    first = build(job, cache=cache)
    done = cache.done
    again = build(replace(job, title="Other", estimate=replace(job.estimate)), cache=cache)
    assert cache.done == done
    assert said(again) == said(first)
    # The top layer's own mend changes it alone: no other layer's sheet, solid or islands.
    meshes = [layer.mesh for layer in first.layers]
    changed = build(with_layer(job, 2, keep_mm=((50.0, 50.0),)), cache=cache)
    assert [a.mesh is b for a, b in zip((x for x in changed.layers), meshes, strict=True)] == [
        True
    ] * 3
    assert changed.layers[0].sheet is first.layers[0].sheet
    assert cache.done > done


def test_memory_is_bounded_and_what_was_used_last_stays():
    cache = StepCache(most_bytes=30_000)
    arrays = [cache.kept(np.full, 1000, float(k)) for k in range(10)]
    assert cache.bytes <= 30_000
    assert cache.done == 10
    assert cache.kept(np.full, 1000, 9.0) is arrays[9]
    assert cache.kept(np.full, 1000, 0.0) is not arrays[0]
    cache.kept(np.full, 100_000, 1.0)  # more than all of it: not kept, and nothing dropped for it
    assert cache.kept(np.full, 1000, 9.0) is arrays[9]


def test_work_that_was_stopped_leaves_nothing_half_done():
    cache = StepCache()

    def stopped(_):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        cache.kept(stopped, 1)
    assert (cache.done, cache.bytes) == (0, 0)
