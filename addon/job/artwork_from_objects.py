"""Artwork from what is drawn in Blender: selected curves, texts, meshes and Grease Pencil strokes.

The scene's x and y are the sheet's: what is drawn over a sheet is cut where it was drawn.
"""

from pathlib import Path
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix

from ...geometry.arrays import Floats
from ...geometry.errors import ArtworkError, GeometryError, SheetstackError
from ...geometry.files.artwork_svg import Fill, Line, Stroke, artwork_svg
from ...geometry.job.names import file_stem
from ...geometry.mesh.outline import flat_shape
from ...geometry.mesh.solid import Mesh
from ..core.blender_versions import GREASE_PENCIL_TYPES, stroke_points
from ..core.conversion import METRES_PER_MM, metres_per_unit, millimetres, read_mesh
from ..core.ownership import is_made
from .drawn_objects import draw_with
from .job_property import job_changed
from .layer_list import add_layer
from .scene_job import folder_of

Part = Fill | Stroke

TYPES = {"CURVE", "FONT", "MESH", *GREASE_PENCIL_TYPES}


class SHEETSTACK_OT_artwork_from_objects(bpy.types.Operator):
    """Add a layer whose openings are the selected curves, texts, meshes or Grease Pencil strokes"""

    bl_idname = "sheetstack.artwork_from_objects"
    bl_label = "Layer from Selected Objects"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        if context.mode != "OBJECT":
            cls.poll_message_set("Leave edit mode first")
            return False
        if not drawn_objects(context):
            cls.poll_message_set("Select curves, texts, meshes or Grease Pencil objects first")
            return False
        return True

    def execute(self, context: Any) -> set[str]:
        scene = context.scene
        things = drawn_objects(context)
        sheet = scene.sheetstack.sheet
        try:
            parts = [part for thing in things for part in parts_of(thing, context)]
        except SheetstackError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        name = things[0].name if context.object is None else context.object.name
        row = add_layer(scene, name)
        row.artwork = free_file(folder_of(scene), file_stem(row.name))
        row.kept = bpy.data.texts.new(row.artwork)
        row.kept.from_string(artwork_svg(parts, (sheet.width_mm, sheet.height_mm)))
        draw_with(row, things)
        job_changed(row, context)
        self.report({"INFO"}, f"Layer '{row.name}' from {len(things)} objects.")
        return {"FINISHED"}


def drawn_objects(context: Any) -> list[Any]:
    """Return the selected objects that artwork can be made of; sheets are none."""
    return [
        thing
        for thing in context.selected_objects
        if thing.type in TYPES and not is_made(context.scene, thing)
    ]


def parts_of(thing: bpy.types.Object, context: Any) -> list[Part]:
    """Return the fills and strokes that an object stands for, in the scene's mm.

    Raises
    ------
    ArtworkError
        It has nothing with an area.
    """
    matrix = Matrix.Scale(metres_per_unit(context.scene), 4) @ thing.matrix_world
    if thing.type == "CURVE" and all(s.type in {"BEZIER", "POLY"} for s in thing.data.splines):
        parts = _curve_parts(thing, matrix)
    elif thing.type in GREASE_PENCIL_TYPES:
        parts = _stroke_parts(thing, matrix)
    else:
        parts = _mesh_parts(thing, matrix, context)
    if not parts:
        raise ArtworkError(
            f"Object '{thing.name}': expected something with an area: a closed or bevelled curve, "
            "faces, or strokes; found none."
        )
    return parts


def free_file(folder: Path, stem: str) -> str:
    """Return a file name that neither the folder nor the .blend has yet."""
    number, name = 1, f"{stem}.svg"
    while (folder / name).exists() or name in bpy.data.texts:
        number += 1
        name = f"{stem}-{number}.svg"
    return name


def _flat(points: Any, matrix: Any) -> Floats:
    """Return points (..., 3) of an object, by its matrix to metres, as x, y in the scene's mm."""
    points = np.asarray(points, float)
    moved = points @ np.array(matrix.to_3x3()).T + np.array(matrix.translation)
    flat: Floats = millimetres(moved[..., :2])
    return flat


def _curve_parts(thing: bpy.types.Object, matrix: Any) -> list[Part]:
    filled: list[Line] = []
    parts: list[Part] = []
    width = 2 * thing.data.bevel_depth * max(matrix.to_scale()[:2]) / METRES_PER_MM
    fills = thing.data.dimensions == "2D" and thing.data.fill_mode != "NONE"
    for spline in thing.data.splines:
        line = _line(spline, matrix)
        if line.closed and (fills or width == 0):
            filled.append(line)
        elif width > 0:
            parts.append(Stroke(line, width))
    return [*parts, Fill(tuple(filled))] if filled else parts


def _line(spline: Any, matrix: Any) -> Line:
    closed = spline.use_cyclic_u
    if spline.type == "POLY":
        return Line(_flat([point.co[:3] for point in spline.points], matrix), closed)
    points = list(spline.bezier_points)
    following = points[1:] + points[:1] if closed else points[1:]
    pieces = [
        (here.co, here.handle_right, there.handle_left, there.co)
        for here, there in zip(points, following, strict=False)
    ]
    return Line(_flat(pieces, matrix), closed)


def _stroke_parts(thing: bpy.types.Object, matrix: Any) -> list[Part]:
    parts: list[Part] = []
    scale = max(matrix.to_scale()[:2])
    for points, cyclic, thickness in stroke_points(thing):
        line = Line(_flat(points, matrix), cyclic)
        if cyclic and len(points) > 2:
            parts.append(Fill((line,)))
        elif len(points) > 1:
            parts.append(Stroke(line, thickness * scale / METRES_PER_MM))
    return parts


def _mesh_parts(thing: bpy.types.Object, matrix: Any, context: Any) -> list[Part]:
    evaluated = thing.evaluated_get(context.evaluated_depsgraph_get())
    mesh, _ = read_mesh(evaluated.to_mesh())
    evaluated.to_mesh_clear()
    flat = np.zeros_like(mesh.vertices)
    flat[:, :2] = _flat(mesh.vertices * METRES_PER_MM, matrix)
    try:
        shape = flat_shape(Mesh(flat, mesh.faces))
    except GeometryError:
        return []
    return [
        Fill(tuple(Line(np.array(ring.coords)[:-1]) for ring in (p.exterior, *p.interiors)))
        for p in shape.geoms
    ]


CLASSES = (SHEETSTACK_OT_artwork_from_objects,)
