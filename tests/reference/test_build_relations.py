"""What holds between a job and its files, whatever the job: on random ones, judged from outside.

Stars, nests of rings, strokes and shapes with shared edges, with registration holes, split or not.
Each is built, its files are read back and judged by trimesh, admesh and Shapely (tests/bench).
``SHEETSTACK_EXAMPLES=300 python -m pytest tests/reference/test_build_relations.py`` tries more.
"""

import importlib
import os
import tempfile
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

BENCH = Path(__file__).parents[1] / "bench"
EXAMPLES = int(os.environ.get("SHEETSTACK_EXAMPLES", "4"))
#: Share of a hole's area that the flattening of its circle may take.
HOLE_SHARE = 0.01
SIDE = 160.0
HOLES = ((9.0, 9.0), (151.0, 9.0), (9.0, 140.0))


@pytest.fixture(scope="module")
def bench():
    """Import a module of tests/bench as its scripts do."""
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(BENCH)
        yield importlib.import_module


def nest(rng):
    """Rings in rings, not quite round, some cut open."""
    x, y = rng.uniform(35, 65, 2)
    radii = np.sort(rng.uniform(3, 34, 2 * rng.integers(1, 4)))[::-1]
    rings = [
        f"M{x - r:.4f} {y:.4f}a{r:.4f} {r * 0.9:.4f} 0 1 0 {2 * r:.4f} 0a{r:.4f} {r * 0.9:.4f} "
        f"0 1 0 {-2 * r:.4f} 0Z"
        for r in radii
    ]
    return f'<path fill-rule="evenodd" d="{"".join(rings)}"/>'


def star(rng):
    """A star with deep notches; with the even-odd rule some are islands."""
    corners = int(rng.integers(5, 16))
    step = int(rng.integers(1, max(2, corners // 2)))
    turn = 2 * np.pi * np.arange(corners) * step / corners + rng.uniform(0, 1)
    points = rng.uniform(30, 70, 2) + rng.uniform(8, 30) * np.column_stack(
        [np.cos(turn), np.sin(turn)]
    )
    d = "L".join(f"{px:.4f} {py:.4f}" for px, py in points)
    return f'<path fill-rule="{rng.choice(["evenodd", "nonzero"])}" d="M{d}Z"/>'


def stroke(rng):
    """A thick line that may cross itself."""
    points = " ".join(
        f"{a:.3f},{b:.3f}" for a, b in rng.uniform(10, 90, (int(rng.integers(3, 9)), 2))
    )
    style = (
        f'stroke-width="{rng.uniform(1, 6):.3f}" stroke-linejoin="{rng.choice(["round", "miter"])}"'
    )
    return f'<polyline fill="none" stroke="#000" {style} points="{points}"/>'


def shared(rng):
    """Tiles of one grid: neighbours share whole edges, some are missing."""
    step = rng.uniform(6, 15)
    x0, y0 = rng.uniform(10, 30, 2)
    boxes = [
        f'<path d="M{x0 + i * step!r} {y0 + j * step!r}h{step!r}v{step!r}h{-step!r}z"/>'
        for i in range(4)
        for j in range(4)
        if rng.random() < 0.75
    ]
    turn = rng.choice(["", f'transform="rotate({rng.uniform(0, 90):.3f} 50 50)"'])
    return f"<g {turn}>{''.join(boxes)}</g>"


def drawing(seed):
    rng = np.random.default_rng(seed)
    kinds = rng.choice([nest, star, stroke, shared], int(rng.integers(1, 4)))
    body = "".join(kind(rng) for kind in kinds)
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100">{body}</svg>'


def write_job(folder, seed, hole, split, material):
    (folder / "drawing.svg").write_text(drawing(seed))
    thick = {"card": 0.4, "polyester": 0.25, "birch-ply": 3.0}[material]
    holes = [list(place) for place in HOLES] if hole else []
    scale = (SIDE - 40) / (100 * 25.4 / 96)
    job = folder / "job.toml"
    job.write_text(
        f'title = "random"\n[sheet]\nwidth_mm = {SIDE}\nheight_mm = {SIDE}\nmargin_mm = 20\n'
        f'material = "{material}"\nthickness_mm = {thick}\n'
        f"[registration]\nhole_diameter_mm = {hole}\nholes_mm = {holes}\n"
        f'[[layers]]\nname = "One"\ncolour = "#102030"\nartwork = "drawing.svg"\n'
        f"scale = {scale!r}\nsplit = {str(split).lower()}\n"
    )
    return job


@given(
    seed=st.integers(0, 10**6),
    hole=st.sampled_from([0, 3, 5, 8]),
    split=st.sampled_from([False, False, False, True]),
    material=st.sampled_from(["card", "polyester", "birch-ply"]),
)
@settings(
    max_examples=EXAMPLES,
    deadline=None,
    derandomize=EXAMPLES < 100,
    phases=[Phase.generate],  # a failing job is named by its seed: there is nothing to shrink
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
def test_files_of_a_random_job_hold_what_the_job_asks(bench, seed, hole, split, material):
    product, plate, solid = bench("product"), bench("judge_plate"), bench("judge_solid")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        job = write_job(folder, seed, hole, split, material)
        told = product.build_and_tell(job, folder / "out")
        if told["exit"] == product.UNUSABLE:
            # By the even-odd rule a star that is traced twice paints nothing.
            (sentence,) = told["sentences"]
            assert sentence.startswith("Nothing to cut in any layer"), sentence
            return
        demands = product.demands(job)
        report = product.report_of(folder / "out")
        for layer in report["layers"]:
            sheet, size = plate.read_cut_file(folder / "out" / layer["files"]["cut"])
            pieces = plate.pieces_of(sheet)
            assert len(pieces) == 1, "one body"
            openings = len(pieces[0].interiors)
            stl = folder / "out" / layer["files"]["stl"]
            verdict = solid.judge_solid(stl, sheet.area, demands.thickness, 1, openings)
            assert verdict.faults == []
            findings = product.findings(report)
            if not any(map(product.tells_narrowness, findings)):
                assert len(plate.pieces_after_erosion(sheet, demands.width)) == 1, "erosion"
            told_too = any(map(product.tells_other_picture, findings)) or layer["islands_let_go"]
            let_go = sum(island["area_mm2"] for island in layer["islands_let_go"])
            drawn = layer["artwork_mm2"] + let_go
            accounted = layer["painted_mm2"] + layer["bridges_mm2"]
            # Walls thinner than a cut go with the openings beside them, and are told.
            walls = [f["size_mm"] for f in findings if f["code"] == "sheet.wall-closed"]
            closed = max(walls, default=0.0) * sheet.length / 2
            assert accounted >= drawn - 0.5, "bridges"
            assert told_too or accounted <= drawn + closed + 0.5, "bridges"
            for x, y in HOLES if hole else ():
                disc = shapely.Point(x, size[1] - y).buffer(hole / 2, quad_segs=64)
                covered = disc.intersection(sheet).area / disc.area
                assert covered < HOLE_SHARE, f"{covered:.3f} of a hole is covered"
