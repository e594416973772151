"""Conversion between geometry and Blender: the one place where mm meet m and sRGB meets linear.

What the add-on makes is in metres, and hangs on something that is scaled to the scene's units; what
the user has made is in the scene's units, of which ``metres_per_unit`` tells the length.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from ...geometry.arrays import Indices
from ...geometry.colour import hex_from_srgb, linear_from_srgb, srgb_from_hex
from ...geometry.mesh.edges import edges_of
from ...geometry.mesh.solid import Mesh
from .blender_versions import (
    STORES_LOOP_TOTAL,
    TAKES_EDGES,
    corners_in,
    edge_ends_in,
    edges_in,
    forget_selection,
    make_flat,
    places_in,
)

#: 1 Blender unit is 1 m in all that the add-on makes.
METRES_PER_MM = 0.001
#: From so many faces on edges are told to Blender, which else looks for them in the main thread.
MANY_FACES = 50_000


def metres(mm: Any) -> Any:
    """Return lengths in mm as Blender units."""
    return np.asarray(mm, np.float64) * METRES_PER_MM


def millimetres(units: Any) -> Any:
    """Return lengths in Blender units as mm."""
    return np.asarray(units, np.float64) / METRES_PER_MM


def metres_per_unit(scene: bpy.types.Scene) -> float:
    """Return the length of a scene's unit in metres, as its Unit Scale says."""
    units = scene.unit_settings
    return 1.0 if units.system == "NONE" else float(units.scale_length)


def blender_coordinates(mesh: Mesh) -> NDArray[np.float32]:
    """Return a mesh's vertices as Blender stores them: metres, 32-bit."""
    return np.ascontiguousarray(metres(mesh.vertices), np.float32)


@dataclass(frozen=True)
class MeshColumns:
    """A mesh of triangles as Blender keeps it.

    Parameters
    ----------
    places : float32 array (n, 3)
        Vertices, in metres.
    corners : int32 array (3 * faces,)
        Their numbers, face by face.
    edges : int32 array (e, 2), optional
        Ends of the edges, where Blender is not to look for them.
    corner_edges : int32 array (3 * faces,), optional
        The edge after each corner.
    """

    places: NDArray[np.float32]
    corners: NDArray[np.int32]
    edges: NDArray[np.int32] | None = None
    corner_edges: NDArray[np.int32] | None = None


def columns_of(mesh: Mesh) -> MeshColumns:
    """Return a mesh as Blender keeps it; no Blender data is touched, in whatever thread.

    Edges take longer here than in Blender, where the window would wait for them.
    """
    columns = _bare_columns(mesh)
    corners = columns.corners
    if not TAKES_EDGES or len(mesh.faces) < MANY_FACES:
        return columns
    found = edges_of(mesh.faces, len(mesh.vertices))
    first = found.corner[found.start]
    # The second end of a side is the face's next vertex.
    following = first + np.where(first % 3 == 2, -2, 1)
    edges = np.stack([corners[first], corners[following]], axis=1)
    corner_edges = np.empty(len(corners), np.int32)
    corner_edges[found.corner] = np.repeat(np.arange(len(first)), found.size)
    return replace(columns, edges=edges, corner_edges=corner_edges)


def _bare_columns(mesh: Mesh) -> MeshColumns:
    return MeshColumns(
        blender_coordinates(mesh), np.ascontiguousarray(mesh.faces, np.int32).ravel()
    )


def fill_mesh(target: bpy.types.Mesh, mesh: Mesh | MeshColumns) -> None:
    """Replace what a Blender mesh holds by a mesh of geometry."""
    columns = _bare_columns(mesh) if isinstance(mesh, Mesh) else mesh
    corners = columns.corners
    count = len(corners) // 3
    target.clear_geometry()
    target.vertices.add(len(columns.places))
    places_in(target).foreach_set(columns.places.ravel())
    target.loops.add(len(corners))
    corners_in(target).foreach_set(corners)
    if columns.edges is not None and columns.corner_edges is not None:
        target.edges.add(len(columns.edges))
        edge_ends_in(target).foreach_set(columns.edges.ravel())
        edges_in(target).foreach_set(columns.corner_edges)
    target.polygons.add(count)
    target.polygons.foreach_set("loop_start", np.arange(0, 3 * count, 3, dtype=np.int32))
    if STORES_LOOP_TOTAL:
        target.polygons.foreach_set("loop_total", np.full(count, 3, np.int32))
    make_flat(target)
    target.update(calc_edges=columns.edges is None)
    forget_selection(target)


def vertex_coordinates(source: bpy.types.Mesh) -> NDArray[np.float32]:
    """Return a Blender mesh's vertices (n, 3) in Blender units."""
    places = np.empty(3 * len(source.vertices), np.float32)
    places_in(source).foreach_get(places)
    return places.reshape(-1, 3)


def corner_vertices(source: bpy.types.Mesh) -> NDArray[np.int32]:
    """Return the vertex of each corner of a Blender mesh's polygons."""
    corners = np.empty(len(source.loops), np.int32)
    corners_in(source).foreach_get(corners)
    return corners


def corner_edges(source: bpy.types.Mesh) -> NDArray[np.int32]:
    """Return the edge after each corner of a Blender mesh's polygons."""
    edges = np.empty(len(source.loops), np.int32)
    edges_in(source).foreach_get(edges)
    return edges


def read_mesh(
    source: bpy.types.Mesh, scale: tuple[float, float, float] = (1.0, 1.0, 1.0)
) -> tuple[Mesh, Indices]:
    """Return a Blender mesh as triangles in mm.

    Parameters
    ----------
    source : bpy.types.Mesh
        In edit mode, call ``update_from_editmode`` of its object first.
    scale : tuple of float
        Scale of the object that shows it.

    Returns
    -------
    mesh : Mesh
    polygons : int array (faces,)
        The polygon of the Blender mesh that each triangle is part of.
    """
    if len(source.loops) == 3 * len(source.polygons):  # triangles all
        corners = corner_vertices(source)
        polygons = np.arange(len(source.polygons))
    else:
        source.calc_loop_triangles()
        count = len(source.loop_triangles)
        corners = np.empty(3 * count, np.int32)
        polygons = np.empty(count, np.int32)
        source.loop_triangles.foreach_get("vertices", corners)
        source.loop_triangles.foreach_get("polygon_index", polygons)
    faces = corners.reshape(-1, 3).astype(np.int64)
    if np.prod(scale) < 0:
        faces = np.ascontiguousarray(faces[:, ::-1])
    places = millimetres(vertex_coordinates(source)) * scale
    return Mesh(places, faces), polygons.astype(np.int64)


def display_colour(colour: str) -> tuple[float, float, float]:
    """Return a colour like '#a0522d' as a colour property of subtype COLOR_GAMMA holds it."""
    red, green, blue = srgb_from_hex(colour).tolist()
    return red, green, blue


def hexadecimal(display: Any) -> str:
    """Return the value of a COLOR_GAMMA property as a colour like '#a0522d'."""
    return hex_from_srgb(np.asarray(display, np.float64))


def shader_colour(colour: str) -> tuple[float, float, float, float]:
    """Return a colour like '#a0522d' as shaders and object colours want it: linear, opaque."""
    red, green, blue = linear_from_srgb(srgb_from_hex(colour)).tolist()
    return red, green, blue, 1.0
