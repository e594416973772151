"""A drawing becomes layers in one step: by the operator, as File > Import and a drop call it."""

from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageDraw

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")

DEMOS = Path(__file__).parents[2] / "demo_scenes"
LOOSE = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="80mm" height="60mm" viewBox="0 0 80 60">'
    '<g id="low" fill="#aa3300"><rect width="40" height="30"/></g>'
    '<g id="high" fill="#0033aa"><rect x="10" y="10" width="10" height="10"/></g>'
    '<circle cx="60" cy="30" r="9"/></svg>'
)


def rows(scene):
    return [(row.name, row.group, row.artwork) for row in scene.sheetstack.layers]


def test_each_group_is_a_layer_in_its_colour_and_the_sheet_fits(blender):
    path = DEMOS / "portrait" / "portrait.svg"
    blender.ops.sheetstack.import_drawing(filepath=str(path), build=False)
    scene = blender.context.scene
    names = ["mid-tone", "shadow", "highlight"]
    assert rows(scene) == [(name, name, "portrait.svg") for name in names]
    # The page is 360 x 460 mm, as its file says, and the margin 20 mm.
    sheet = scene.sheetstack.sheet
    assert (sheet.width_mm, sheet.height_mm) == (400, 500)
    orange = np.array([0xEE, 0x8A, 0x34]) / 255
    np.testing.assert_allclose(scene.sheetstack.layers[0].colour, orange)


def test_the_sheets_are_built_in_the_same_step(blender, tmp_path):
    (tmp_path / "two.svg").write_text(LOOSE, encoding="utf-8")
    blender.ops.sheetstack.import_drawing(filepath=str(tmp_path / "two.svg"))
    scene = blender.context.scene
    assert not scene.sheetstack.is_stale
    sheets = [t for t in scene.sheetstack.collection.objects if t.sheetstack.kind == "SHEET"]
    assert sorted(t.sheetstack.layer for t in sheets) == ["high", "low"]
    sizes = {tuple(np.round(np.array(t.dimensions[:2]) * 1000, 3)) for t in sheets}
    assert sizes == {(120.0, 100.0)}


def test_with_a_job_open_the_layers_are_added_last_and_the_sheet_stays(opened, tmp_path):
    path = tmp_path / "job" / "two.svg"
    path.write_text(LOOSE, encoding="utf-8")
    bpy.ops.sheetstack.import_drawing(filepath=str(path), build=False)
    assert [row.name for row in opened.sheetstack.layers] == ["Base", "Light", "low", "high"]
    assert opened.sheetstack.layers[2].artwork == "two.svg"
    assert opened.sheetstack.sheet.width_mm == 100


def test_it_is_undone_as_one(blender):
    bpy.ops.ed.undo_push(message="before")
    path = DEMOS / "sign" / "sign.svg"
    blender.ops.sheetstack.import_drawing(filepath=str(path), build=False)
    bpy.ops.ed.undo_push(message="imported")
    bpy.ops.ed.undo()
    assert not bpy.context.scene.sheetstack.layers


def test_a_faulty_drawing_is_one_sentence_and_changes_nothing(blender, tmp_path):
    path = tmp_path / "broken.svg"
    path.write_text("<svg", encoding="utf-8")
    with pytest.raises(RuntimeError, match=r"broken\.svg: line 1"):
        blender.ops.sheetstack.import_drawing(filepath=str(path))
    assert not blender.context.scene.sheetstack.layers


def test_groups_are_there_to_be_chosen(opened, tmp_path):
    from sheetstack.addon.job.import_drawing import groups_to_choose

    (tmp_path / "job" / "two.svg").write_text(LOOSE, encoding="utf-8")
    row = opened.sheetstack.layers[0]
    assert list(groups_to_choose(row, bpy.context, "")) == []  # Base.svg has no groups
    row.artwork = "two.svg"
    assert list(groups_to_choose(row, bpy.context, "")) == ["low", "high"]
    row.artwork = "not-there.svg"
    assert list(groups_to_choose(row, bpy.context, "")) == []


COLOURED = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="80mm" height="60mm" viewBox="0 0 80 60">'
    '<rect width="80" height="60" fill="#f4efe0"/>'
    '<circle cx="30" cy="30" r="20" fill="#c03020"/><circle cx="45" cy="30" r="12" fill="#203080"/>'
    "</svg>"
)


def test_a_drawing_without_groups_becomes_a_layer_for_each_colour_that_is_seen(blender, tmp_path):
    path = tmp_path / "discs.svg"
    path.write_text(COLOURED, encoding="utf-8")
    blender.ops.sheetstack.import_drawing(filepath=str(path))
    state = blender.context.scene.sheetstack
    colours = [tuple(round(255 * c) for c in row.colour) for row in state.layers]
    assert sorted(colours) == [(0x20, 0x30, 0x80), (0xC0, 0x30, 0x20)]
    assert (state.sheet.width_mm, state.sheet.height_mm) == (120, 100)
    assert not state.is_stale
    assert sorted(p.name for p in tmp_path.iterdir()) == ["discs.svg"]  # nothing is written beside
    assert state.layers[0].kept == state.layers[1].kept


def test_all_of_a_drawing_is_one_layer_when_asked(blender, tmp_path):
    path = tmp_path / "discs.svg"
    path.write_text(COLOURED, encoding="utf-8")
    blender.ops.sheetstack.import_drawing(filepath=str(path), by="WHOLE", build=False)
    assert rows(blender.context.scene) == [("discs", "", "discs.svg")]


def test_the_colours_are_gathered_to_as_many_cans_as_asked(blender, tmp_path):
    path = tmp_path / "three.svg"
    path.write_text(
        COLOURED.replace("</svg>", '<rect x="2" y="2" width="9" height="9" fill="#d04030"/></svg>'),
        encoding="utf-8",
    )
    blender.ops.sheetstack.import_drawing(filepath=str(path), build=False)
    assert len(blender.context.scene.sheetstack.layers) == 3
    blender.context.scene.sheetstack.layers.clear()
    blender.ops.sheetstack.import_drawing(filepath=str(path), colours=2, build=False)
    assert len(blender.context.scene.sheetstack.layers) == 2


def test_a_picture_in_flat_colours_becomes_a_layer_for_each(blender, tmp_path):
    picture = Image.new("RGB", (300, 200), "#ffffff")
    pen = ImageDraw.Draw(picture)
    pen.ellipse((30, 30, 150, 150), fill="#203080")
    pen.rectangle((180, 60, 270, 170), fill="#c03020")
    picture.save(tmp_path / "poster.png")
    blender.ops.sheetstack.import_drawing(filepath=str(tmp_path / "poster.png"))
    state = blender.context.scene.sheetstack
    colours = [tuple(round(255 * c) for c in row.colour) for row in state.layers]
    assert sorted(colours) == [(0x20, 0x30, 0x80), (0xC0, 0x30, 0x20)]
    assert not state.is_stale
    # 420 mm wide, the usual sheet, and as tall as the picture's shape asks for.
    assert (state.sheet.width_mm, state.sheet.height_mm) == (420, 294)


def test_what_cannot_be_made_flat_is_reported(blender, tmp_path, capfd):
    path = tmp_path / "linked.svg"
    image = '<image x="5" y="5" width="20" height="20" href="cat.png"/>'
    path.write_text(COLOURED.replace("</svg>", f"{image}</svg>"), encoding="utf-8")
    blender.ops.sheetstack.import_drawing(filepath=str(path), build=False)
    assert "is not in the drawing itself" in capfd.readouterr().out
