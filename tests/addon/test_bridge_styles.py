"""Styles of bridges compared in Blender: the library's picture, on the plane beside the stack."""

from __future__ import annotations

import numpy as np
import pytest

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")

from sheetstack.geometry.job.load import load_job  # noqa: E402
from sheetstack.geometry.report.bridge_styles import styled_builds  # noqa: E402
from sheetstack.geometry.report.bridge_styles_picture import bridge_styles_picture  # noqa: E402


def test_the_previews_are_the_librarys_picture(built, job_path):
    assert bpy.ops.sheetstack.show_bridge_styles(pixels=400) == {"FINISHED"}
    plane = bpy.data.objects["Painted picture"]
    image = next(n.image for n in plane.data.materials[0].node_tree.nodes if n.type == "TEX_IMAGE")
    columns, rows = image.size
    pixels = np.array(image.pixels[:]).reshape(rows, columns, 4)[::-1, :, :3]
    expected = np.asarray(bridge_styles_picture(styled_builds(load_job(job_path)), 400))
    assert np.array_equal(np.rint(pixels * 255).astype(np.uint8), expected)
    x, y, _ = plane.dimensions
    assert x / y == pytest.approx(columns / rows, rel=1e-6)
    assert bpy.ops.sheetstack.hide_painted() == {"FINISHED"}
