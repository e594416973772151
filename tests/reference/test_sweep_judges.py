"""The judges of the sweep in tests/bench see planted faults, and let sound work pass.

Strength against handbook formulas and anastruct's frames, torsion against Timoshenko's table.
"""

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import shapely
import trimesh
from anastruct import SystemElements
from shapely import LineString, MultiPolygon, box

from ..bench.judge_hold import Beams, Plate, beams_of, solve, torsion_constant
from ..bench.judge_picture import Page, judge_reading, opaque, page_of, paints_shapes
from ..bench.judge_plate import pieces_after_erosion, pieces_of, read_cut_file
from ..bench.judge_solid import judge_solid
from ..bench.limits import Limits, run_limited

BENCH = Path(__file__).parents[1] / "bench"
QUICK = Limits(processor_s=2, clock_s=30, memory_gib=2)


# Limits


def test_work_that_ends_well_gives_its_value():
    done = run_limited(lambda a, b: a + b, 2, 3, limits=QUICK)
    assert (done.end, done.value) == ("done", 5)
    assert done.peak_mib > 1


def _raise():
    raise LookupError("lost")


def _spin():
    while True:
        pass


def _allocate():
    return len(np.ones(2**30))


def test_every_bad_end_is_told_apart():
    raised = run_limited(_raise, limits=QUICK)
    assert raised.end == "raised"
    assert "LookupError: lost" in raised.said
    assert run_limited(os.abort, limits=QUICK).end == "crash"
    spun = run_limited(_spin, limits=QUICK)
    assert spun.end == "time"
    assert "_spin" in spun.said
    assert run_limited(os.read, os.pipe()[0], 1, limits=Limits(2, 0.5, 2)).end == "time"
    assert run_limited(_allocate, limits=QUICK).end == "memory"


# Solid

PLATE = box(0, 0, 60, 40).difference(box(10, 10, 30, 30)).difference(box(35, 5, 50, 35))


def written(tmp_path, change=lambda triangles: triangles):
    mesh = trimesh.creation.extrude_polygon(PLATE, 0.4, engine="earcut")
    triangles = change(np.array(mesh.triangles))
    path = tmp_path / "plate.stl"
    trimesh.Trimesh(**trimesh.triangles.to_kwargs(triangles), process=False).export(path)
    return path


def faults_of(path, area=PLATE.area, thickness=0.4, pieces=1, openings=2):
    return judge_solid(path, area, thickness, pieces, openings).faults


def test_a_sound_solid_passes(tmp_path):
    assert faults_of(written(tmp_path)) == []


def without_a_facet(triangles):
    return triangles[1:]


def one_turned(triangles):
    triangles[0] = triangles[0, ::-1]
    return triangles


def inside_out(triangles):
    return triangles[:, ::-1]


def a_corner_astray(triangles):
    triangles[3, 1] += 2e-5  # some bits of a float32 at this place
    return triangles


def a_sliver(triangles):
    # A side of 0.01 um: parts of a facet that fall together for a program that welds.
    a, b, c = triangles[0]
    near = a + 1e-5 * (b - a) / np.linalg.norm(b - a)
    far = triangles[1:]
    return np.concatenate([far, [[a, near, c], [near, b, c]]])


@pytest.mark.parametrize(
    "change", [without_a_facet, one_turned, inside_out, a_corner_astray, a_sliver]
)
def test_a_planted_fault_of_the_solid_is_found(tmp_path, change):
    assert faults_of(written(tmp_path, change))


def test_a_solid_that_is_not_the_sheet_is_found(tmp_path):
    path = written(tmp_path)
    assert faults_of(path, area=PLATE.area * 1.001)
    assert faults_of(path, thickness=0.41)
    assert faults_of(path, openings=3)
    assert faults_of(path, pieces=2)


# Outline


def cut_file(tmp_path, *rings):
    data = "".join(
        f'<path d="M{" ".join(f"{x:.4f},{y:.4f}" for x, y in ring.exterior.coords[:-1])}Z"/>'
        for ring in rings
    )
    path = tmp_path / "cut.svg"
    path.write_text(
        f'<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">'
        f"{data}</svg>"
    )
    return path


def test_pieces_of_a_cut_file_are_counted(tmp_path):
    rings = [box(0, 0, 60, 40), box(10, 10, 30, 30), box(15, 15, 25, 25), box(18, 18, 20, 20)]
    sheet, size = read_cut_file(cut_file(tmp_path, *rings))
    assert size == (60, 40)
    assert sheet.area == pytest.approx(2400 - 400 + 100 - 4)
    assert [piece.area for piece in pieces_of(sheet)] == pytest.approx([2000, 96])
    whole, _ = read_cut_file(cut_file(tmp_path, *rings[:2]))
    assert len(pieces_of(whole)) == 1


def test_two_paths_that_share_a_side_are_no_island(tmp_path):
    rings = [box(0, 0, 60, 40), box(10, 10, 20, 30), box(20, 10, 30, 30)]
    sheet, _ = read_cut_file(cut_file(tmp_path, *rings))
    assert len(pieces_of(sheet)) == 1
    assert sheet.area == pytest.approx(2000)


@pytest.mark.parametrize(("width", "pieces"), [(1.9, 1), (2.1, 2)])
def test_sheet_that_hangs_by_less_than_the_least_width_is_found(width, pieces):
    dumbbell = shapely.union_all([box(0, 0, 20, 20), box(20, 9, 30, 11), box(30, 0, 50, 20)])
    assert len(pieces_after_erosion(MultiPolygon([dumbbell]), width / 0.98)) == pieces


# Picture

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="20mm" viewBox="0 0 400 200">'
DRAWING = f'{HEAD}<rect x="50" y="50" width="100" height="100" fill-opacity=".5"/></svg>'
CUT = MultiPolygon([box(5, 5, 15, 15)])


def iou(openings, bridges=(), drawing=DRAWING):
    return judge_reading(drawing, page_of(drawing.encode()), openings, list(bridges)).iou


def test_a_true_reading_passes_and_a_false_one_is_found():
    assert iou(CUT) > 0.999
    assert iou(MultiPolygon([box(5.2, 5, 15.2, 15)])) < 0.97
    assert iou(MultiPolygon([box(5, 5, 15, 15), box(30, 5, 31, 8)])) < 0.98
    assert iou(MultiPolygon([box(5, 5, 15, 14.8)])) < 0.985
    assert iou(MultiPolygon()) == 0
    assert iou(MultiPolygon(), drawing=f"{HEAD}</svg>") == 1


def test_bridges_are_left_out_of_the_reading():
    bridged = MultiPolygon([box(5, 5, 9, 15), box(11, 5, 15, 15)])
    assert iou(bridged) < 0.85
    assert iou(bridged, [(LineString([(10, 4), (10, 16)]), 2.0)]) > 0.999


def test_see_through_paint_is_paint_and_no_paint_is_none():
    assert 'fill-opacity="0"' in opaque('fill-opacity="0"')
    assert opaque("style='opacity: 20%'") == "style='opacity: 1'"
    faint = DRAWING.replace('fill-opacity=".5"', 'fill="rgba(0,0,0,.3)"')
    assert iou(CUT, drawing=faint) > 0.98  # its rim of one pixel counts full


@pytest.mark.parametrize(
    ("size", "width", "height"),
    [
        ('width="1in" height="72pt"', 25.4, 25.4),
        ('viewBox="0 0 96 192"', 25.4, 50.8),
        ('viewBox="0 0 10 20" width="96"', 25.4, 50.8),
        ('viewBox="0 0 96 96" width="100%" height="50%"', 25.4, 12.7),
    ],
)
def test_pages_are_told_as_the_standard_has_them(size, width, height):
    page = page_of(f'<svg xmlns="http://www.w3.org/2000/svg" {size}/>'.encode())
    assert (page.width, page.height) == pytest.approx((width, height))


def test_a_drawing_of_words_alone_paints_no_shapes():
    words = f'{HEAD}<text y="90">Words</text></svg>'
    assert not paints_shapes(words)
    assert not paints_shapes("no drawing at all")
    assert paints_shapes(words.replace("</svg>", '<circle r="90"/></svg>'))


# Strength

STEEL = Plate(thickness=1.0, modulus=210_000.0, density=0.0, push=1.0)


@pytest.mark.parametrize(("ratio", "share"), [(1, 0.1406), (1.5, 0.196), (2, 0.229), (10, 0.312)])
def test_torsion_of_a_rectangle_is_that_of_the_table(ratio, share):
    """Timoshenko and Goodier, Theory of Elasticity, table of torsion of rectangular bars."""
    assert torsion_constant(ratio, 1.0) == pytest.approx(ratio * share, rel=3e-3)
    assert torsion_constant(1.0, ratio) == torsion_constant(ratio, 1.0)


def speck(x, y):
    return box(x - 1e-4, y - 1e-4, x + 1e-4, y + 1e-4)


def beams(*rows):
    pieces, start, end, width = zip(*rows, strict=True)
    start, end = np.array(start, float), np.array(end, float)
    return Beams(
        np.array(pieces), start, end, np.hypot(*(end - start).T), np.array(width, np.float64)
    )


def test_one_island_on_one_bridge_is_the_cantilever_of_the_handbook():
    """F L^3 / (3 E I), stress F L / Z."""
    held = solve([box(-9, -9, 0, 9), speck(30, 0)], beams(((0, 1), (0, 0), (30, 0), 4.0)), STEEL)
    assert held.deflection == pytest.approx(30**3 / (3 * 210_000 * 4 / 12), rel=1e-3)
    assert held.stress == pytest.approx(30 * 6 / 4, rel=1e-3)


def test_one_island_between_two_bridges_is_the_beam_built_in_at_both_ends():
    """F L^3 / (192 E I) with a load at the middle."""
    ways = beams(((0, 1), (0, 0), (30, 0), 4.0), ((1, 0), (30, 0), (60, 0), 4.0))
    held = solve([box(-9, -9, 0, 9), speck(30, 0)], ways, STEEL)
    assert held.deflection == pytest.approx(60**3 / (192 * 210_000 * 4 / 12), rel=1e-3)


def test_own_weight_bends_a_chain():
    """Two equal weights in a row: superposition of handbook cantilevers."""
    plate = Plate(1.0, 210_000.0, 0.5, 0.0)
    row = [box(-9, -9, 0, 9), box(19, -1, 21, 1), box(39, -1, 41, 1)]
    # Thin beams to the plates' middles would overlap the plates; plates are stiff in between.
    ways = beams(((0, 1), (0, 0), (20, 0), 4.0), ((1, 2), (20, 0), (40, 0), 4.0))
    weight = 4 * 0.5 * 9.80665e-3
    stiff = 210_000 * 4 / 12
    tip = weight * (40**3 / 3 + 20**2 * (3 * 40 - 20) / 6) / stiff
    slope = weight * (40**2 / 2 + 20**2 / 2) / stiff
    assert solve(row, ways, plate).deflection == pytest.approx(tip + slope, rel=1e-3)


@pytest.mark.parametrize("seed", range(8))
def test_rows_of_islands_bend_as_the_frames_of_anastruct(seed):
    """Islands in a straight row, both ends tied or one: a continuous beam with rigid parts."""
    rng = np.random.default_rng(seed)
    count, tied = int(rng.integers(2, 6)), bool(seed % 2)
    gaps, lengths = rng.uniform(5, 25, count + 1), rng.uniform(3, 12, count)
    width = rng.uniform(1, 4, count + 1)
    frame = MultiPolygon([box(-50, -50, 0, 50)])
    system = SystemElements()
    stiff = 210_000 / 12
    pieces, rows, at, rim = [frame.geoms[0]], [], 0.0, []
    for k in range(count):
        x, end = at + gaps[k], at + gaps[k] + lengths[k]
        rows.append(((k, k + 1), (at, 0), (x, 0), width[k]))
        system.add_element([[at, 0], [x, 0]], EA=1e9, EI=stiff * width[k])
        system.add_element([[x, 0], [end, 0]], EA=1e12, EI=1e10)
        pieces.append(box(x, -1e-4, end, 1e-4))
        rim += [2 * k + 2, 2 * k + 3]
        at = end
    system.add_support_fixed(node_id=1)
    if tied:
        rows.append(((count, 0), (at, 0), (at + gaps[-1], 0), width[-1]))
        system.add_element([[at, 0], [at + gaps[-1], 0]], EA=1e9, EI=stiff * width[-1])
        system.add_support_fixed(node_id=2 * count + 2)
    theirs = 0.0
    for node in rim:
        system.loads_point.clear()
        system.point_load(node_id=node, Fy=-1.0)
        system.solve()
        theirs = max(theirs, abs(system.get_node_displacements(node)["uy"]))
    ours = solve(pieces, beams(*rows), STEEL)
    assert ours.deflection == pytest.approx(theirs, rel=5e-3)


def ladder(count):
    """A frame with an opening, in it a row of islands that hang on one string from the left."""
    islands = [box(20 + 20 * k, 40, 34 + 20 * k, 60) for k in range(count)]
    frame = box(0, 0, 200, 100).difference(box(10, 10, 190, 90))
    strips = [
        (LineString([(8 + 20 * k - 4 * (k > 0), 50), (22 + 20 * k, 50)]), 2.0) for k in range(count)
    ]
    plain = MultiPolygon([frame, *islands])
    laid = [line.buffer(width / 2, cap_style="flat") for line, width in strips]
    return plain, MultiPolygon([shapely.union_all([plain, *laid])]), strips


def test_a_soft_chain_is_found_and_a_short_one_holds():
    card = Plate(thickness=0.4, modulus=3000.0, density=0.0008, push=0.02)
    few, many = (solve(*beams_of(*ladder(n)), card) for n in (1, 7))
    assert (few.islands, few.beams, few.loose) == (1, 1, 0)
    assert (many.islands, many.beams, many.loose) == (7, 7, 0)
    assert few.deflection < 5 < many.deflection


def test_an_island_that_hangs_on_nothing_is_counted():
    plain, sheet, strips = ladder(4)
    held = solve(*beams_of(plain, sheet, strips[:2] + strips[3:]), Plate(0.4, 3000.0, 0.0, 0.02))
    assert held.loose == 2


def test_an_island_that_was_let_go_is_not_asked_for():
    plain, sheet, strips = ladder(2)
    gone = MultiPolygon([shapely.difference(sheet, box(35, 30, 70, 70))])
    pieces, _ = beams_of(plain, gone, strips[:1])
    assert len(pieces) == 2


# The whole


def test_a_sweep_tells_each_drawing_once_and_goes_on_where_it_was(tmp_path):
    drawings = tmp_path / "drawings"
    drawings.mkdir()
    (drawings / "ring.svg").write_text(f'{HEAD}<circle cx="100" cy="100" r="80"/></svg>')
    (drawings / "broken.svg").write_text("<svg")
    out = tmp_path / "rows.jsonl"
    command = [sys.executable, str(BENCH / "sweep_svgs.py"), str(drawings), "--out", str(out)]
    for more in ([], ["--by-command"]):  # nothing is left for the second
        done = subprocess.run([*command, *more], capture_output=True, text=True, check=False)
        assert "2 drawings, 2 without fault" in done.stdout, done.stdout + done.stderr
        assert done.returncode == 0
    rows = {row["file"]: row for row in map(json.loads, out.read_text().splitlines())}
    assert set(rows) == {"ring.svg", "broken.svg"}
    assert len(out.read_text().splitlines()) == 2
    assert rows["ring.svg"]["numbers"]["iou"] > 0.99
    assert rows["broken.svg"]["exit"] == 2
    assert "drawing.svg" in rows["broken.svg"]["sentence"]


def test_the_command_line_is_swept_as_the_library_is(tmp_path):
    (tmp_path / "ring.svg").write_text(
        f'{HEAD}<path fill-rule="evenodd" d="M20 20h150v150h-150z M60 60h60v60h-60z"/></svg>'
    )
    rows = []
    for number, more in enumerate(([], ["--by-command"])):
        out = tmp_path / f"{number}.jsonl"
        command = [sys.executable, str(BENCH / "sweep_svgs.py"), str(tmp_path), "--out", str(out)]
        subprocess.run([*command, *more], capture_output=True, check=True)
        rows.append(json.loads(out.read_text()))
    assert rows[0]["numbers"] == rows[1]["numbers"]
    assert rows[0]["numbers"]["hold"]["islands"] == 1


def test_page_defaults_do_not_hide_a_wrong_page():
    assert page_of(DRAWING.encode()) == Page(40.0, 20.0)
