"""Whole tracings of pictures that scikit-image carries.

Chelsea, coffee, cell and horse are CC0, clock is in the public domain, coins (Brooklyn Museum) has
no known copyright restrictions: so the docstrings of skimage.data say.
"""

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import shapely
from PIL import Image
from skimage import data

from sheetstack.geometry.artwork.read import read_artwork
from sheetstack.geometry.artwork.source import ArtworkSource
from sheetstack.geometry.build import build
from sheetstack.geometry.colour import ciede2000, lab_from_srgb, srgb_from_hex
from sheetstack.geometry.errors import Cancelled, JobError
from sheetstack.geometry.job.load import load_job
from sheetstack.geometry.planar.raster import coverage
from sheetstack.geometry.progress import Progress
from sheetstack.geometry.tracing.job import traced_drawing
from sheetstack.geometry.tracing.settings import TracingSettings
from sheetstack.geometry.tracing.trace import extent_of, read_and_trace
from sheetstack.geometry.tracing.trials import sweep
from sheetstack.geometry.tracing.write import write_tracing

PICTURES = ["chelsea", "coffee", "coins", "clock", "cell"]
SMALL = 280


@pytest.fixture(scope="session")
def pictures(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pictures")
    for name in [*PICTURES, "horse"]:
        pixels = getattr(data, name)()
        Image.fromarray(pixels.astype(np.uint8) * (255 if pixels.dtype == bool else 1)).save(
            folder / f"{name}.png"
        )
    return folder


@pytest.fixture(scope="session")
def cat(pictures):
    return read_and_trace(pictures / "chelsea.png", TracingSettings(), most_pixels=SMALL)


@pytest.mark.parametrize("name", PICTURES)
def test_the_job_builds_as_it_is_and_leaves_no_island(pictures, tmp_path, name):
    traced = read_and_trace(pictures / f"{name}.png", TracingSettings(), most_pixels=SMALL)
    write_tracing(traced, tmp_path, name)
    built = build(load_job(tmp_path / "job.toml"))
    assert not built.spoilt
    assert sum(len(layer.islands_left) for layer in built.layers) == 0
    assert len(built.layers) == 3
    assert all(layer.soundness.watertight for layer in built.layers)


@pytest.mark.parametrize("name", PICTURES)
def test_the_difference_falls_as_layers_are_added(pictures, name):
    found = [
        read_and_trace(
            pictures / f"{name}.png", TracingSettings(layers=n), most_pixels=SMALL
        ).score.difference
        for n in range(1, 6)
    ]
    assert all(b < a for a, b in pairwise(found)), found


def test_curves_stay_within_the_stated_tolerance(cat):
    # Reference: shapely.hausdorff_distance.
    for layer in cat.layers:
        pairs = zip(layer.curves.flattened(30).geoms, layer.shape.geoms, strict=True)
        for drawn, wanted in pairs:
            rings = shapely.get_rings([drawn]), shapely.get_rings([wanted])
            for ring, outline in zip(*rings, strict=True):
                off = shapely.hausdorff_distance(ring.segmentize(0.2), outline.segmentize(0.2))
                assert off <= cat.extent.tolerance


def test_the_drawing_reads_back_as_the_same_shapes(cat, tmp_path):
    path = tmp_path / "a.svg"
    path.write_text(traced_drawing(cat, 'A "cat" & more'), encoding="utf-8")
    for layer in cat.layers:
        group = layer.role.name.lower()
        artwork = read_artwork(ArtworkSource(path, group=group))
        assert artwork.page == pytest.approx(cat.extent.page, abs=1e-3)
        wanted = layer.curves.flattened(40)
        assert artwork.shape.symmetric_difference(wanted).area < 0.01 * wanted.area
        assert not artwork.findings


def test_an_independent_renderer_draws_the_same_picture(cat, tmp_path):
    cairosvg = pytest.importorskip("cairosvg")
    import io
    import re

    # The photo under the layers is there to edit by; it is never painted.
    text = re.sub(r'<g id="photo".*?</g>', "", traced_drawing(cat, "A cat"), flags=re.S)
    wide = cat.painted.shape[1]
    drawn = Image.open(
        io.BytesIO(cairosvg.svg2png(text.encode(), output_width=wide, background_color=cat.ground))
    ).convert("RGB")
    drawn = np.asarray(drawn.resize((wide, cat.painted.shape[0])), float) / 255
    assert np.abs(drawn - cat.painted).mean() < 0.01


def test_two_runs_draw_the_same(cat, pictures):
    again = read_and_trace(pictures / "chelsea.png", TracingSettings(), most_pixels=SMALL)
    assert traced_drawing(again, "A") == traced_drawing(cat, "A")


def test_a_tone_too_small_to_cut_is_left_out_with_a_finding(tmp_path):
    pixels = np.full((200, 300), 200, np.uint8)
    pixels[60:140, 60:140] = 90
    pixels[100:102, 250:252] = 10
    Image.fromarray(pixels).save(tmp_path / "a.png")
    settings = TracingSettings(layers=2, thresholds=(20.0, 60.0), highlights=0)
    traced = read_and_trace(tmp_path / "a.png", settings, most_pixels=400)
    assert [layer.role.name for layer in traced.layers] == ["Mid-tone"]
    left_out, backdrop = traced.findings
    assert left_out.code == "tracing.nothing-drawn"
    assert left_out.layer == "Shadow"
    assert backdrop.code == "tracing.plain-backdrop"


def test_a_backdrop_is_told_of(pictures):
    def codes(name, **changes):
        settings = TracingSettings(layers=2, **changes)
        traced = read_and_trace(pictures / f"{name}.png", settings, most_pixels=200)
        return [f.code for f in traced.findings]

    assert codes("coins") == ["tracing.plain-backdrop"]
    assert codes("coins", background="flood") == []
    assert codes("chelsea") == []
    assert "tracing.doubtful-backdrop" in codes("coffee", background="flood")


def test_a_silhouette_is_drawn_as_it_is(pictures):
    traced = read_and_trace(pictures / "horse.png", TracingSettings(layers=1), most_pixels=SMALL)
    (layer,) = traced.layers
    share = layer.shape.area / (traced.extent.page[0] * traced.extent.page[1])
    assert share == pytest.approx((~data.horse()).mean(), rel=0.02)
    assert layer.colour == "#000000"
    assert traced.score.structure > 0.97


def test_tones_of_the_painted_picture_keep_their_order(cat):
    light = {layer.role.role: lab_from_srgb(srgb_from_hex(layer.colour))[0] for layer in cat.layers}
    wall = lab_from_srgb(srgb_from_hex(cat.ground))[0]
    assert light["shadow"] < light["mid-tone"] < wall < light["highlight"]


def test_cans_are_the_only_colours_used(pictures):
    cans = ("#1b2a41", "#c1121f", "#fdf0d5", "#669bbc", "#f4a261")
    own = read_and_trace(pictures / "coffee.png", TracingSettings(), most_pixels=SMALL)
    traced = read_and_trace(pictures / "coffee.png", TracingSettings(cans=cans), most_pixels=SMALL)
    for wish, layer in zip(own.layers, traced.layers, strict=True):
        assert layer.colour in cans
        far = ciede2000(
            lab_from_srgb(srgb_from_hex(wish.colour)),
            lab_from_srgb(np.array([srgb_from_hex(c) for c in cans])),
        )
        assert layer.colour == cans[int(np.argmin(far))]
    assert traced.ground == own.ground


def test_the_wall_s_colour_says_which_tone_it_stands_for(pictures):
    def roles(ground):
        settings = TracingSettings(ground=ground)
        traced = read_and_trace(pictures / "chelsea.png", settings, most_pixels=SMALL)
        assert traced.ground == ground
        return [layer.role.side for layer in traced.layers]

    assert roles("#ffffff") == ["dark", "dark", "dark"]
    assert roles("#000000") == ["light", "light", "light"]


def test_thresholds_by_hand_are_used(pictures):
    settings = TracingSettings(thresholds=(20.0, 40.0, 70.0))
    traced = read_and_trace(pictures / "chelsea.png", settings, most_pixels=SMALL)
    assert traced.cuts == (20.0, 40.0, 70.0)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        (dict(thresholds=(20.0, 40.0)), "expected 3 cuts for 3 layers here, found 2"),
        (dict(thresholds=(50.0, 40.0, 70.0)), "expected rising values"),
        (dict(thresholds=(0.0, 40.0, 70.0)), "between 0 and 100"),
        (dict(highlights=4), "expected at most 3"),
        (dict(background="mask"), "expected a background_mask picture"),
        (dict(material="snow"), "material = 'snow': expected one of"),
        (dict(margin_mm=210.0), "expected less than half of the sheet's 420 mm"),
        (dict(sheet_width_mm=100.0, sheet_height_mm=30.0), "sheet's 100 x 30 mm"),
        (dict(focus=((900.0, 0.0, 10.0, 10.0),)), "rectangle on the picture"),
    ],
)
def test_settings_that_do_not_fit_get_a_sentence(pictures, changes, sentence):
    with pytest.raises(JobError, match=sentence):
        read_and_trace(pictures / "chelsea.png", TracingSettings(**changes), most_pixels=SMALL)


def test_a_picture_of_one_tone_gets_a_sentence(tmp_path):
    Image.new("RGB", (50, 40), "#808080").save(tmp_path / "grey.png")
    with pytest.raises(JobError, match=r"different tones; expected at least 4"):
        read_and_trace(tmp_path / "grey.png", TracingSettings())


def test_transparent_parts_are_left_to_the_wall(pictures, tmp_path):
    image = Image.open(pictures / "coffee.png").convert("RGBA")
    y, x = np.mgrid[:400, :600]
    disc = np.hypot(x - 300, y - 200) < 180
    image.putalpha(Image.fromarray(disc.astype(np.uint8) * 255))
    image.save(tmp_path / "cup.png")
    traced = read_and_trace(tmp_path / "cup.png", TracingSettings(), most_pixels=SMALL)
    assert traced.layers[0].role.side == "base"
    mm = traced.extent.page[0] / 600
    wanted = shapely.Point(300 * mm, 200 * mm).buffer(180 * mm)
    assert traced.layers[0].shape.symmetric_difference(wanted).area < 0.04 * wanted.area
    for layer in traced.layers:
        assert layer.shape.difference(wanted.buffer(2)).area < 1


def test_masks_of_background_and_focus_are_obeyed(pictures, tmp_path):
    marks = np.zeros((300, 451), np.uint8)
    marks[:, 300:] = 255
    Image.fromarray(marks).save(tmp_path / "right.png")
    settings = TracingSettings(background="mask", background_mask=str(tmp_path / "right.png"))
    traced = read_and_trace(pictures / "chelsea.png", settings, most_pixels=SMALL)
    edge = 300 / 451 * traced.extent.page[0]
    assert max(layer.shape.bounds[2] for layer in traced.layers) < edge + 2
    settings = TracingSettings(focus_mask=str(tmp_path / "right.png"))
    focused = read_and_trace(pictures / "chelsea.png", settings, most_pixels=SMALL)
    plain = read_and_trace(pictures / "chelsea.png", TracingSettings(), most_pixels=SMALL)

    def cut(tracing, box):
        return sum(
            shapely.length(layer.shape.boundary.intersection(box)) for layer in tracing.layers
        )

    page = plain.extent.page
    right, left = shapely.box(edge, 0, *page), shapely.box(0, 0, edge, page[1])
    assert cut(focused, right) > cut(plain, right)
    assert cut(focused, left) < cut(plain, left)


def test_the_sheet_follows_the_picture_or_the_picture_the_sheet():
    assert extent_of(TracingSettings(), (2000, 3000)).sheet == (294.0, 420.0)
    fixed = extent_of(TracingSettings(sheet_width_mm=500, sheet_height_mm=700), (3000, 2000))
    assert fixed.sheet == (500, 700)
    assert fixed.page == pytest.approx((460, 460 / 1.5), rel=2e-3)
    wide = extent_of(TracingSettings(sheet_width_mm=1040), (3000, 2000))
    assert wide.page == pytest.approx((1000, 1000 / 1.5), rel=2e-3)
    assert wide.sheet[1] == pytest.approx(1000 / 1.5 + 40, abs=2)


def test_the_material_and_process_set_the_least_feature():
    card, ply = TracingSettings(), TracingSettings(material="birch-ply")
    assert ply.least > card.least
    full = TracingSettings(detail=1.0, material="birch-ply", sheet_width_mm=200)
    assert extent_of(full, (900, 600)).stroke == full.least


def test_more_detail_costs_more_and_comes_nearer(pictures, monkeypatch):
    monkeypatch.setattr("sheetstack.geometry.tracing.trials._PIXELS", 640)
    trials = sweep(pictures / "chelsea.png", TracingSettings(), details=(0.0, 0.5, 1.0))
    scores = [t.tracing.score for t in trials]
    assert scores[0].cut_mm < scores[1].cut_mm < scores[2].cut_mm
    assert scores[0].minutes < scores[1].minutes < scores[2].minutes
    assert scores[0].difference > scores[1].difference > scores[2].difference
    assert scores[0].nodes < scores[1].nodes < scores[2].nodes


def test_the_score_s_figures_agree_with_the_drawing(cat):
    for row, layer in zip(cat.score.layers, cat.layers, strict=True):
        flat = layer.curves.flattened(40)
        assert row.paint_mm2 == pytest.approx(flat.area, rel=0.01)
        assert row.cut_mm == pytest.approx(flat.length, rel=0.01)
        assert row.openings == len(flat.geoms)
        page = shapely.box(-1, -1, cat.extent.page[0] + 1, cat.extent.page[1] + 1)
        sheet = shapely.get_parts(page.difference(flat))
        assert row.islands == len(sheet) - 1
        cover = coverage(flat, cat.extent.page, 1 / cat.extent.pixel)
        assert cover.sum() * cat.extent.pixel**2 == pytest.approx(flat.area, rel=1e-3)


def test_a_tracing_can_be_stopped(pictures):
    def stop(share, what):
        if share > 0.3:
            raise Cancelled("Stopped.")

    with pytest.raises(Cancelled):
        read_and_trace(Path(pictures / "coffee.png"), TracingSettings(), Progress(stop), SMALL)
