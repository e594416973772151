"""The estimate against the exported files, summed by fontTools and a bare DXF reader."""

import math
import re
from collections import defaultdict
from xml.etree import ElementTree

import numpy as np
import pytest
from fontTools.pens.recordingPen import DecomposingRecordingPen
from fontTools.svgLib.path import parse_path

from sheetstack.geometry.build import build
from sheetstack.geometry.export import export_build
from sheetstack.geometry.fabricate.estimate import estimate
from sheetstack.geometry.job.load import parse_job

SVG = "{http://www.w3.org/2000/svg}"
JOB = """
title = "Split"
[sheet]
width_mm = 400
height_mm = 300
margin_mm = 12
material = "birch-ply"
thickness_mm = 3
[registration]
hole_diameter_mm = 4
marks = true
[process]
kind = "laser"
bed_width_mm = 190
bed_height_mm = 160
kerf_mm = 0.17
lead_in_mm = 2
acceleration_mm_s2 = {acceleration}
[[layers]]
name = "Ground"
colour = "#3366aa"
artwork = "split.svg"
group = "ground"
[[layers]]
name = "Line"
colour = "#111111"
artwork = "split.svg"
group = "line"
"""


def artwork():
    """Rings, leaves and stars with thousands of corners, from a seed."""
    rng = np.random.default_rng(16)
    groups = {"ground": [], "line": []}
    for k in range(48):
        x, y = 40 + 46 * (k % 8), 40 + 43 * (k // 8)
        turn = np.linspace(0, 2 * np.pi, 40, endpoint=False)
        radius = rng.uniform(9, 15) * (1 + 0.25 * np.sin(rng.integers(2, 6) * turn))
        points = np.stack([x + radius * np.cos(turn), y + radius * np.sin(turn)], axis=1)
        path = "M" + " ".join(f"{a:.3f},{b:.3f}" for a, b in points) + "Z"
        groups["ground" if k % 3 else "line"].append(path)
        if k % 5 == 0:
            path = f"M{x - 3},{y - 3}h6v6h-6Z"
            groups["ground" if k % 3 else "line"][-1] += path
    body = "".join(
        f'<g id="{name}" fill-rule="evenodd">{"".join(f"<path d={p!r}/>" for p in paths)}</g>'
        for name, paths in groups.items()
    )
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" width="400mm" height="300mm" '
        f'viewBox="0 0 400 300">{body}</svg>'
    )


@pytest.fixture(scope="module")
def exported(tmp_path_factory):
    folder = tmp_path_factory.mktemp("split")
    (folder / "split.svg").write_text(artwork())
    built = build(parse_job(JOB.format(acceleration=0), folder=folder))
    return built, export_build(built, ["svg", "dxf"], folder / "out")


def svg_strokes(path):
    """Group and points of every line of an SVG, read by fontTools."""
    for group in ElementTree.parse(path).iter(f"{SVG}g"):
        for drawn in group.iter(f"{SVG}path"):
            pen = DecomposingRecordingPen({})
            parse_path(drawn.get("d"), pen)
            points = [values[-1] for _, values in pen.value if values]
            if pen.value[-1][0] == "closePath":
                points.append(points[0])
            yield group.get("id"), np.array(points, float)


def dxf_strokes(path):
    """Layer and points of every LWPOLYLINE: group codes 8, 70 (1 closed), 10 and 20 in turn."""
    lines = path.read_text().splitlines()
    tags = [(int(c), v.strip()) for c, v in zip(lines[::2], lines[1::2], strict=True)]
    starts = [k for k, tag in enumerate(tags) if tag == (0, "LWPOLYLINE")]
    for start in starts:
        body = []
        for tag in tags[start + 1 :]:
            if tag[0] == 0:
                break
            body.append(tag)
        layer = next(v for c, v in body if c == 8)
        closed = int(next(v for c, v in body if c == 70)) & 1
        xs, ys = ([float(v) for c, v in body if c == code] for code in (10, 20))
        points = np.stack([xs, ys], axis=1)
        yield layer, np.concatenate([points, points[:1]]) if closed else points


def summed(strokes):
    """Lengths by kind, cuts begun and the ways between, of one file."""
    found = defaultdict(float)
    last = None
    for kind, points in strokes:
        cut = kind.lower() in ("cut", "cut-openings", "cut-outline")
        found["cut" if cut else "engraved"] += float(np.hypot(*np.diff(points, axis=0).T).sum())
        found["pierces"] += cut
        if last is not None:
            found["travel"] += math.dist(last, points[0])
        last = points[-1]
    return found


@pytest.mark.parametrize(("ending", "reader"), [("svg", svg_strokes), ("dxf", dxf_strokes)])
def test_the_estimate_is_the_sum_of_the_exported_files(exported, ending, reader):
    _, export = exported
    for number, layer in enumerate(export.estimate.layers, 1):
        files = [p for p in export.files if re.match(rf"0{number}-.*-cut\.{ending}$", p.name)]
        assert len(files) == layer.pieces > 4
        sums = [summed(reader(path)) for path in files]
        total = {key: sum(s[key] for s in sums) for key in ("cut", "engraved", "travel", "pierces")}
        assert total["pierces"] == layer.pierces
        for key in ("cut", "engraved", "travel"):
            assert total[key] == pytest.approx(getattr(layer, f"{key}_mm"), rel=1e-6)


def test_the_time_is_that_of_the_files_at_the_jobs_speeds(exported):
    built, export = exported
    made, spread = built.job.made_by, built.job.estimate.spread_percent
    seconds = 0.0
    for path in export.files:
        if not path.name.endswith("-cut.svg"):
            continue
        s = summed(svg_strokes(path))
        seconds += s["cut"] / made.speed_mm_s + s["engraved"] / made.engrave_mm_s
        seconds += s["travel"] / made.travel_mm_s + s["pierces"] * made.pierce_s
    found = export.estimate.total.making_s
    assert found.low == pytest.approx(seconds * (1 - spread / 100), rel=1e-6)
    assert found.high == pytest.approx(seconds * (1 + spread / 100), rel=1e-6)


def test_the_estimate_alone_is_that_of_the_export(exported):
    built, export = exported
    assert estimate(built) == export.estimate
