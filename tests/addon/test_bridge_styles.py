"""Styles of bridges compared in Blender: the library's picture, on the plane beside the stack."""

from __future__ import annotations

import numpy as np
import pytest

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")

from matplotlib import get_data_path  # noqa: E402

from sheetstack.geometry.build import build  # noqa: E402
from sheetstack.geometry.job.load import load_job  # noqa: E402
from sheetstack.geometry.report.bridge_styles import (  # noqa: E402
    STYLES,
    StyledBuild,
    styled_builds,
)
from sheetstack.geometry.report.bridge_styles_picture import (  # noqa: E402
    COLUMNS,
    bridge_styles_picture,
    style_image,
)

#: A word on film, with counters in it.
LETTERING = """
title = "Bread"
[sheet]
width_mm = 220
height_mm = 90
margin_mm = 5
material = "polyester"
thickness_mm = 0.35
[bridges]
{}
[[layers]]
name = "Ink"
colour = "#102040"
text = "Bread"
font = {!r}
text_size_mm = 40
"""
FONT = f"{get_data_path()}/fonts/ttf/DejaVuSans-Bold.ttf"


def shown():
    """Return the picture on the plane, rows from the top, levels 0 to 255."""
    plane = bpy.data.objects["Painted picture"]
    image = next(n.image for n in plane.data.materials[0].node_tree.nodes if n.type == "TEX_IMAGE")
    columns, rows = image.size
    pixels = np.array(image.pixels[:]).reshape(rows, columns, 4)[::-1, :, :3]
    return np.rint(pixels * 255).astype(np.uint8)


def test_each_style_has_its_picture_and_its_figures(blender, tmp_path, capfd):
    """Against the same job built by itself with the keys of each style written into its file."""
    pytest.importorskip("uharfbuzz")
    path = tmp_path / "bread.toml"
    path.write_text(LETTERING.format("", FONT), encoding="utf-8")
    assert bpy.ops.sheetstack.open_job(filepath=str(path)) == {"FINISHED"}
    capfd.readouterr()
    pixels = 900
    assert bpy.ops.sheetstack.show_bridge_styles(pixels=pixels) == {"FINISHED"}
    said = capfd.readouterr().out
    picture = shown()
    gap = round(pixels / 80)
    wide = (pixels - gap * (COLUMNS + 1)) // COLUMNS
    high = round(90 * wide / 220)
    for number, (name, keys) in enumerate(STYLES.items()):
        own = tmp_path / f"{number}.toml"
        lines = "\n".join(f'{key} = "{value}"' for key, value in keys.items())
        own.write_text(LETTERING.format(lines, FONT), encoding="utf-8")
        built = build(load_job(own))
        (layer,) = built.layers
        damage = sum(bridge.damage for bridge in layer.bridges)
        weakest = max(island.hold.deflection_mm for island in layer.held_islands)
        told = next(line for line in said.splitlines() if f"{name}: " in line)
        assert f"visible damage {damage:.0f}, {len(layer.bridges)} bridges" in told
        assert f"weakest island gives way {weakest:.1f} mm" in told
        left = gap + number % COLUMNS * (wide + gap)
        expected = np.asarray(style_image(StyledBuild(name, (), built), wide))
        cell = picture[:, left : left + wide]
        tops = range(len(cell) - high)
        found = [top for top in tops if np.array_equal(cell[top : top + high], expected)]
        # In its own row of pictures; styles that give the same sheet look the same.
        assert [top for top in found if top // (len(cell) / 2) == number // COLUMNS]


def test_the_previews_are_the_librarys_picture(built, job_path):
    assert bpy.ops.sheetstack.show_bridge_styles(pixels=400) == {"FINISHED"}
    pixels = shown()
    expected = np.asarray(bridge_styles_picture(styled_builds(load_job(job_path)), 400))
    assert np.array_equal(pixels, expected)
    x, y, _ = bpy.data.objects["Painted picture"].dimensions
    rows, columns, _ = pixels.shape
    assert x / y == pytest.approx(columns / rows, rel=1e-6)
    assert bpy.ops.sheetstack.hide_painted() == {"FINISHED"}
