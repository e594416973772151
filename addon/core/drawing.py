"""Drawing in the views: thick lines and plain areas, in the coordinates that hold at the time."""

from __future__ import annotations

from typing import Any

import bpy
import gpu
import numpy as np
from gpu_extras.batch import batch_for_shader

from .blender_versions import line_shader, plain_shader


def _line_shader() -> Any:
    return gpu.shader.from_builtin(line_shader())


def line_batch(points: Any) -> Any:
    """Return pairs of points (n, 3) as a batch of segments to be drawn by ``draw_lines``."""
    return batch_for_shader(_line_shader(), "LINES", {"pos": np.asarray(points, np.float32)})


def draw_solid(vertices: Any, faces: Any, colour: tuple[float, ...]) -> None:
    """Draw triangles (m, 3) of vertices (n, 3) in one colour.

    Parameters
    ----------
    vertices : float array (n, 3)
    faces : int array (m, 3)
    colour : tuple of float
        Red, green, blue, alpha.
    """
    shader = gpu.shader.from_builtin(plain_shader())
    points = np.asarray(vertices, np.float32)[np.asarray(faces).ravel()]
    batch = batch_for_shader(shader, "TRIS", {"pos": points})
    shader.bind()
    shader.uniform_float("color", colour)
    batch.draw(shader)


def draw_lines(batch: Any, colour: tuple[float, ...], width: float) -> None:
    """Draw segments as thick lines, their width in pixels of a plain screen.

    Parameters
    ----------
    batch : GPUBatch
        Of lines.
    colour : tuple of float
        Red, green, blue, alpha.
    width : float
    """
    shader = _line_shader()
    shader.bind()
    shader.uniform_float("viewportSize", gpu.state.viewport_get()[2:])
    shader.uniform_float("lineWidth", width * bpy.context.preferences.system.pixel_size)
    shader.uniform_float("color", colour)
    batch.draw(shader)


CLASSES = ()
