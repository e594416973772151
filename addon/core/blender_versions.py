"""What differs between Blender's versions, 3.4 to 5.2, in one place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import _cycles
import bpy
import numpy as np
from numpy.typing import NDArray

VERSION: tuple[int, int, int] = tuple(bpy.app.version)

#: Files dropped on the window (4.1 and newer).
HAS_FILE_HANDLERS = hasattr(bpy.types, "FileHandler")
#: ``UILayout.progress`` (4.0 and newer).
HAS_PROGRESS_BAR = VERSION >= (4, 0, 0)
#: Polygons keep their own count of corners (up to 3.5); newer ones derive it.
STORES_LOOP_TOTAL = VERSION < (3, 6, 0)
#: Edges can be given to a mesh by whole columns (4.2 and newer; older ones were not tried).
TAKES_EDGES = VERSION >= (4, 2, 0)
#: Grease Pencil objects were rewritten with curves in 4.3.
GREASE_PENCIL_TYPES = ("GPENCIL", "GREASEPENCIL")

#: Options of a property whose path may begin with ``//`` (newer versions want to be told).
RELATIVE_PATH = (
    {"PATH_SUPPORTS_BLEND_RELATIVE"}
    if "is_path_supports_blend_relative" in bpy.types.Property.bl_rna.properties
    else set()
)

#: Whether Cycles was built with Open Image Denoise, which Debian's Blender lacks.
CAN_DENOISE = bool(getattr(_cycles, "with_openimagedenoise", False))


def stored_properties(group: Any) -> Any:
    """Return what a property group keeps, by name; from 5.0 on apart from custom properties."""
    if hasattr(group, "bl_system_properties_get"):
        return group.bl_system_properties_get() or {}
    return group


def show_scene(context: Any, scene: Any) -> None:
    """Let the context's window show a scene.

    Up to 4.2 a scene whose tools were read by ``context.tool_settings`` is taken for the owner of
    ``context.window`` from then on; writing to that window once the scene is gone spoils memory.
    The manager's list of windows knows their owner.
    """
    next(w for w in context.window_manager.windows if w == context.window).scene = scene


def line_shader() -> str:
    """Return the name of the built-in shader of thick lines; before 4.0 it told its dimension."""
    name = "POLYLINE_UNIFORM_COLOR"
    return name if VERSION >= (4, 0, 0) else f"3D_{name}"


def plain_shader() -> str:
    """Return the name of the built-in shader of one colour; before 4.0 it told its dimension."""
    return "UNIFORM_COLOR" if VERSION >= (4, 0, 0) else "3D_UNIFORM_COLOR"


def set_text_size(blf: Any, size: float) -> None:
    """Set the size of ``blf``'s default font; the argument for dots per inch went in 4.0."""
    if VERSION < (4, 0, 0):
        blf.size(0, size, 72)
    else:
        blf.size(0, size)


def use_nodes(material: Any) -> None:
    """Give a material its nodes; from 5.0 on it always has them."""
    if VERSION < (5, 0, 0):
        material.use_nodes = True


def show_transparency(material: Any, transparent: bool) -> None:
    """Let a material be see-through in the viewport; the property was replaced in 4.2."""
    if hasattr(material, "surface_render_method"):
        material.surface_render_method = "BLENDED" if transparent else "DITHERED"
    else:
        material.blend_method = "BLEND" if transparent else "OPAQUE"


def curves_of(thing: Any) -> list[Any]:
    """Return the curves that an object is animated by; from 4.4 on they lie in a slot's strip."""
    data = thing.animation_data
    if data is None or data.action is None:
        return []
    action = data.action
    if hasattr(action, "fcurves"):
        return list(action.fcurves)
    return [
        curve
        for layer in action.layers
        for strip in layer.strips
        for bag in strip.channelbags
        if bag.slot == data.action_slot
        for curve in bag.fcurves
    ]


def transparency_of(material: Any) -> str:
    """Return how a material is see-through in the viewport, for ``set_transparency``."""
    if hasattr(material, "surface_render_method"):
        return str(material.surface_render_method)
    return str(material.blend_method)


def set_transparency(material: Any, method: str) -> None:
    """Give back what ``transparency_of`` returned."""
    if hasattr(material, "surface_render_method"):
        material.surface_render_method = method
    else:
        material.blend_method = method


@dataclass(frozen=True)
class Column:
    """Values of a mesh's elements, one property of all, as Blender keeps them or by property.

    Parameters
    ----------
    rows : bpy_prop_collection
    name : str
    """

    rows: Any
    name: str

    def foreach_get(self, values: NDArray[Any]) -> None:
        """Read all values into a flat array."""
        self.rows.foreach_get(self.name, values)

    def foreach_set(self, values: NDArray[Any]) -> None:
        """Write all values from a flat array."""
        self.rows.foreach_set(self.name, values)


def places_in(mesh: Any) -> Column:
    """Return the coordinates of a mesh's vertices: three float32 each.

    As an attribute they are copied in one go, and corners' vertices, too (from 3.6 on): a hundred
    times quicker on large meshes than one by one, as properties are.
    """
    raw = mesh.attributes.get("position")
    return Column(mesh.vertices, "co") if raw is None else Column(raw.data, "vector")


def corners_in(mesh: Any) -> Column:
    """Return the vertices of a mesh's corners: one int32 each; see ``places_in``."""
    raw = mesh.attributes.get(".corner_vert")
    return Column(mesh.loops, "vertex_index") if raw is None else Column(raw.data, "value")


def edges_in(mesh: Any) -> Column:
    """Return the edges after a mesh's corners: one int32 each; see ``places_in``."""
    raw = mesh.attributes.get(".corner_edge")
    return Column(mesh.loops, "edge_index") if raw is None else Column(raw.data, "value")


def edge_ends_in(mesh: Any) -> Column:
    """Return the vertices of a mesh's edges: two int32 each; where ``TAKES_EDGES``."""
    return Column(mesh.attributes[".edge_verts"].data, "value")


def make_flat(mesh: Any) -> None:
    """Let a mesh be shaded flat; from 4.1 on its faces are marked sharp."""
    count = len(mesh.polygons)
    if VERSION < (4, 1, 0):
        mesh.polygons.foreach_set("use_smooth", np.zeros(count, bool))
        return
    raw = mesh.attributes.get("sharp_face")
    if raw is None:
        raw = mesh.attributes.new("sharp_face", "BOOLEAN", "FACE")
    raw.data.foreach_set("value", np.ones(count, bool))


def forget_selection(mesh: Any) -> None:
    """Take all flags of selection off a mesh.

    In 5.0 the layer of edges' flags that ``Mesh.update(calc_edges=True)`` makes has no memory, and
    whoever sets a flag in it ends Blender. Without the layer nothing is selected, and it is made
    anew where it is needed.
    """
    for name in (".select_vert", ".select_edge", ".select_poly"):
        layer = mesh.attributes.get(name)
        if layer is not None:
            mesh.attributes.remove(layer)


def stroke_points(grease_pencil: Any) -> list[tuple[np.ndarray[Any, Any], bool, float]]:
    """Return the strokes of a Grease Pencil object's visible layers at the current frame.

    Returns
    -------
    list of (points (n, 3), cyclic, thickness)
        Points and thickness in the object's own units.
    """
    strokes = []
    for layer in grease_pencil.data.layers:
        if layer.hide:
            continue
        if grease_pencil.type == "GPENCIL":
            frame = layer.active_frame
            for stroke in frame.strokes if frame else ():
                points = np.empty(3 * len(stroke.points), np.float32)
                stroke.points.foreach_get("co", points)
                # Its line width is in pixels; 1 pixel stands for 1 mm at the object's scale.
                width = stroke.line_width * 0.001 * grease_pencil.data.pixel_factor
                strokes.append((points.reshape(-1, 3), bool(stroke.use_cyclic), width))
            continue
        frame = layer.current_frame()
        for stroke in frame.drawing.strokes if frame else ():
            places = np.array([point.position for point in stroke.points], np.float32)
            radius = float(np.mean([point.radius for point in stroke.points]))
            strokes.append((places.reshape(-1, 3), bool(stroke.cyclic), 2 * radius))
    return strokes


def write_video(image_settings: Any) -> None:
    """Let a scene's render be written as a video; pictures and videos were parted in 5.0."""
    if hasattr(image_settings, "media_type"):
        image_settings.media_type = "VIDEO"
    image_settings.file_format = "FFMPEG"
