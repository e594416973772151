"""The fuzzer in tests/bench makes a seed's cases again, and its judges are not blind."""

import importlib
import random
import sys
from pathlib import Path

import pytest
from shapely import box

BENCH = Path(__file__).parents[1] / "bench"
LIMITS = {"processor_s": 60, "clock_s": 200, "memory_gib": 4}


@pytest.fixture
def bench(monkeypatch):
    """Import a module of tests/bench as its scripts do; forget it afterwards."""
    monkeypatch.syspath_prepend(BENCH)
    names = {path.stem for path in BENCH.glob("*.py")}
    yield importlib.import_module
    for name in names & set(sys.modules):
        del sys.modules[name]


def test_a_seed_and_a_number_make_the_same_case_again(bench, tmp_path):
    make_case = bench("fuzz_cases").make_case
    kinds = set()
    for number in range(40):
        made = []
        for attempt in ("first", "second"):
            folder = tmp_path / f"{number}-{attempt}"
            folder.mkdir()
            case = make_case(random.Random(f"5/{number}"), folder)
            kinds.add(case.kind)
            files = {p.name: p.read_bytes() for p in folder.iterdir()}
            made.append((case.kind, case.mutations, case.scale, files))
        assert made[0] == made[1]
    assert len(kinds) >= 4


@pytest.mark.parametrize(
    "text",
    ["", "a\nb", "a\tb", "\x1b[31mred", "\u202eabc", "a\u2028b", "a\ufeffb", "\ud800", "x" * 301],
)
def test_a_sentence_that_does_not_print_on_one_line_is_found(bench, text):
    assert bench("fuzz_inputs").sentence_faults(text)


def test_a_sentence_in_any_tongue_is_let_pass(bench):
    faults = bench("fuzz_inputs").sentence_faults
    assert faults("Blatt 'Übermalung', at (1.0, 2.0) mm: ein Maß von 3 µm.") == ""
    assert faults("картина.svg: 絵 🎨") == ""


SQUARES = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100">'
    '<rect x="10" y="10" width="30" height="30"/><rect x="60" y="60" width="30" height="30"/></svg>'
)


@pytest.fixture
def built(bench, tmp_path):
    """Two squares, built, as a case that can be judged."""
    cases, product = bench("fuzz_cases"), bench("product")
    (tmp_path / "drawing.svg").write_text(SQUARES)
    page = 100 * 25.4 / 96
    case = cases.Case("svg", tmp_path / "job.toml", readable=tmp_path / "drawing.svg")
    case.scale = cases.LONGER_SIDE / page
    side = cases.LONGER_SIDE + 2 * cases.MARGIN
    layer = {"artwork": "drawing.svg", "scale": case.scale}
    cases.write_fuzz_job(random.Random(1), case, (side, side), [layer])
    product.build_and_tell(case.job, tmp_path / "out")
    return case, tmp_path / "out"


def judged(bench, built):
    return dict(bench("fuzz_inputs")._judged(*built)["faults"])


def test_a_sound_build_is_let_pass(bench, built):
    assert judged(bench, built) == {}


def test_an_area_that_both_renderers_paint_otherwise_is_found(bench, built):
    case, _ = built
    larger = SQUARES.replace('width="30"', 'width="31"')
    case.readable.write_text(larger)
    assert set(judged(bench, built)) == {"area"}


def test_a_cut_file_in_pieces_and_a_solid_that_is_another_are_found(bench, built):
    _, out = built
    cut = out / next(iter(bench("product").report_of(out)["layers"]))["files"]["cut"]
    x0, y0, x1, y1 = box(35, 35, 40, 40).bounds
    island = f'<path d="M{x0},{y0} {x1},{y0} {x1},{y1} {x0},{y1}Z"/></svg>'
    cut.write_text(cut.read_text().replace("</svg>", island))
    assert {"pieces", "leaks"} <= set(judged(bench, built))


@pytest.mark.parametrize("suffix", ["png", "jpg"])
def test_a_mask_read_the_wrong_way_round_is_found(bench, tmp_path, suffix):
    cases, product = bench("fuzz_cases"), bench("product")
    image = bench("fuzz_seeds").drawn_image(random.Random(3), 60)
    mask = tmp_path / f"mask.{suffix}"
    image.save(mask)
    case = cases.Case("mask", tmp_path / "job.toml", readable=mask, pixel_mm=1.0)
    sheet = tuple(n + 2 * cases.MARGIN for n in image.size)
    layer = {"artwork": mask.name, "pixel_mm": 1.0}
    cases.write_fuzz_job(random.Random(1), case, sheet, [layer])
    product.build_and_tell(case.job, tmp_path / "out")
    found = judged(bench, (case, tmp_path / "out"))
    assert "area" not in found
    image.point(lambda level: 255 - level).save(mask)
    assert "area" in judged(bench, (case, tmp_path / "out"))


def test_a_build_that_raises_is_a_traceback_and_a_refusal_is_none(bench, monkeypatch):
    fuzz, product = bench("fuzz_inputs"), bench("product")
    limits = bench("limits").Limits(**LIMITS)

    def refuse(job, out):
        return {"exit": product.UNUSABLE, "sentences": ["job.toml: expected a job."]}

    def fail(job, out):
        raise KeyError("sheet")

    for number, (build, faults) in enumerate(((refuse, []), (fail, ["traceback"]))):
        monkeypatch.setattr(product, "build_and_tell", build)
        monkeypatch.setattr(bench("fuzz_cases"), "BY_COMMAND", 0.0)
        monkeypatch.setitem(bench("fuzz_cases").KINDS, "picture", 0)
        assert fuzz.fuzzed(1, number, limits)["faults"] == faults
