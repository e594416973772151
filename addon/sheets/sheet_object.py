"""Objects: the built sheets in the scene, in a collection of their own, all on one empty."""

from __future__ import annotations

import json
from functools import lru_cache
from typing import Any

import bpy
import numpy as np
from mathutils import Vector

from ...geometry.arrays import Floats
from ...geometry.build import BuiltLayer
from ...geometry.finding import Finding
from ...geometry.job.sections import LayerSettings
from ...geometry.scene.stack import sheet_places
from ...geometry.support.repairs import can_be_mended
from ..core.blender_versions import show_transparency, use_nodes
from ..core.conversion import (
    blender_coordinates,
    corner_vertices,
    fill_mesh,
    metres,
    metres_per_unit,
    shader_colour,
    vertex_coordinates,
)
from ..core.job_words import in_words
from ..core.ownership import add_made, give_away, is_own, made, own, remove_made
from .ready_layer import ReadyBuild, ReadyLayer, digest

#: Fingerprint of the mesh that each sheet was given last, and its outline.
OUTLINES: dict[str, tuple[str, Floats]] = {}


def sheets_of(scene: bpy.types.Scene) -> dict[str, bpy.types.Object]:
    """Return the built sheets by name, in the layers' order; a split layer has two."""
    found = made(scene, "SHEET")
    names = (name for row in scene.sheetstack.layers for name in sheet_names(row))
    return {name: found[name] for name in names if name in found}


def has_sheets(cls: Any, context: Any) -> bool:
    """Return whether there are built sheets; else the operator's poll says so."""
    if not sheets_of(context.scene):
        cls.poll_message_set("Build the sheets first")
        return False
    return True


def sheet_names(row: Any) -> tuple[str, ...]:
    """Return the names of the sheets that a layer's properties make: two where it is split."""
    return LayerSettings(row.name, "#000000", row.artwork, split=row.split).sheet_names


def show_build(scene: bpy.types.Scene, ready: ReadyBuild) -> list[str]:
    """Make or renew the objects of a build.

    A sheet that was edited by hand is not overwritten: it stays beside the new one, as an object
    of its own.

    Returns
    -------
    list of str
        Names of the objects that hold such edits.
    """
    stack = stack_of(scene)
    fit_units(scene, stack)
    old = made(scene, "SHEET")
    kept = []
    for layer in ready.layers:
        name = layer.layer.sheet.layer
        sheet = old.pop(name, None)
        if sheet is not None and is_hand_edited(sheet):
            kept.append(_set_aside(scene, sheet))
            sheet = None
        if sheet is None:
            remove_made(scene, "SHEET", name)  # one that was deleted may live on unseen
            sheet = _new_sheet(scene, name)
        if sheet.parent is None:
            sheet.parent = stack
        _renew(sheet, layer)
    for name, sheet in old.items():
        if is_hand_edited(sheet):
            kept.append(_set_aside(scene, sheet))
        else:
            remove_made(scene, "SHEET", name)
    put_findings(scene, ready.build.findings)
    arrange(scene)
    show_layers(scene)
    return kept


def fill_sheet(scene: bpy.types.Scene, ready: ReadyLayer) -> None:
    """Fill one sheet ahead of ``show_build``, a new one unseen; one edited by hand is left to it.

    Parameters
    ----------
    scene : bpy.types.Scene
    ready : ReadyLayer
    """
    name = ready.layer.sheet.layer
    sheet = made(scene, "SHEET").get(name)
    if sheet is None:
        remove_made(scene, "SHEET", name)  # one that was deleted may live on unseen
        sheet = _new_sheet(scene, name)
        sheet.hide_viewport = True
    elif is_hand_edited(sheet):
        return
    _fill(sheet, ready)


def stack_of(scene: bpy.types.Scene) -> bpy.types.Object:
    """Return the empty that all sheets hang on, made with the collection where there is none."""
    collection = collection_of(scene)
    found = made(scene, "STACK")
    if found:
        return next(iter(found.values()))
    remove_made(scene, "STACK")
    scene.sheetstack.stack_scale = 1.0
    stack = add_made(scene, "STACK", bpy.data.objects.new("Stack", None))
    stack.sheetstack.kind = "STACK"
    stack.empty_display_type = "ARROWS"
    stack.empty_display_size = 0.05
    collection.objects.link(stack)
    return stack


def fit_units(scene: bpy.types.Scene, stack: bpy.types.Object) -> None:
    """Let the stack have true size in the scene's units, beside any scale that the user gave it."""
    wanted, state = 1 / metres_per_unit(scene), scene.sheetstack
    if state.stack_scale != wanted:
        stack.scale = stack.scale * (wanted / state.stack_scale)
        state.stack_scale = wanted


def put_findings(scene: bpy.types.Scene, findings: tuple[Finding, ...]) -> None:
    """List findings in the scene, the most serious first."""
    state = scene.sheetstack
    state.findings.clear()
    for finding in sorted(findings, key=lambda f: -f.severity):
        row = state.findings.add()
        row.code, row.severity = finding.code, finding.severity.name
        row.message, row.layer = in_words(finding.message), finding.layer
        row.can_mend = can_be_mended(finding.message)
        row.has_place = finding.place is not None
        if finding.place is not None:
            row.place_mm = finding.place
    state.active_finding = -1


def arrange(scene: bpy.types.Scene) -> None:
    """Put the sheets where the sliders say."""
    state = scene.sheetstack
    sheets = list(sheets_of(scene).values())
    places = sheet_places(
        [sheet.sheetstack.thickness_mm for sheet in sheets],
        state.sheet.width_mm,
        state.spacing_mm,
        state.aside,
    )
    for sheet, place in zip(sheets, metres(places), strict=True):
        sheet.location = place


def show_layers(scene: bpy.types.Scene) -> None:
    """Hide the sheets of the layers that are not to be shown."""
    sheets, state = sheets_of(scene), scene.sheetstack
    for number, row in enumerate(state.layers):
        shown = row.is_shown and (not state.solo or number == state.active_layer)
        for name in sheet_names(row):
            if name in sheets and sheets[name].hide_viewport == shown:
                sheets[name].hide_viewport = not shown


def place_in_scene(scene: bpy.types.Scene, layer: str, place_mm: Any) -> Any:
    """Return a place on a layer's sheet in the scene's coordinates.

    Parameters
    ----------
    scene : Scene
    layer : str
    place_mm : sequence of float
        x, y.
    """
    sheet = sheets_of(scene).get(layer)
    x, y = place_mm
    if sheet is None:
        return Vector(metres((x, y, 0.0))) / metres_per_unit(scene)
    return sheet.matrix_world @ Vector(metres((x, y, sheet.sheetstack.thickness_mm)))


def shows(sheet: bpy.types.Object, layer: BuiltLayer) -> bool:
    """Return whether a sheet's mesh is that of a built layer, to the precision that it has."""
    if len(sheet.data.vertices) != len(layer.mesh.vertices):
        return False
    return np.array_equal(vertex_coordinates(sheet.data), blender_coordinates(layer.mesh))


def is_hand_edited(sheet: bpy.types.Object) -> bool:
    """Return whether a built sheet's mesh is no longer the one that was built."""
    return bool(fingerprint(sheet.data) != sheet.sheetstack.fingerprint)


def fingerprint(mesh: bpy.types.Mesh) -> str:
    """Return a short text that changes with any vertex or face of a mesh."""
    return digest(vertex_coordinates(mesh), corner_vertices(mesh))


@lru_cache(maxsize=32)
def marks_in(text: str) -> list[dict[str, Any]]:
    """Return the marks that a sheet keeps as text: kind, outline, place, label.

    Decoded once for each text; nobody is to change them.
    """
    return json.loads(text) if text else []


def collection_of(scene: bpy.types.Scene) -> bpy.types.Collection:
    """Return the collection that holds what is made, made where there is none."""
    state = scene.sheetstack
    if state.collection is None:
        state.collection = bpy.data.collections.new("Sheets")
    if state.collection not in scene.collection.children_recursive:
        scene.collection.children.link(state.collection)
    return state.collection


def _new_sheet(scene: bpy.types.Scene, layer: str) -> bpy.types.Object:
    sheet = bpy.data.objects.new(f"Sheet {layer}", bpy.data.meshes.new(f"Sheet {layer}"))
    add_made(scene, "SHEET", sheet, layer)
    sheet.sheetstack.kind, sheet.sheetstack.layer = "SHEET", layer
    collection_of(scene).objects.link(sheet)
    return sheet


def _set_aside(scene: bpy.types.Scene, sheet: bpy.types.Object) -> str:
    """Make a sheet that was edited by hand the user's own."""
    give_away(scene, sheet)
    sheet.sheetstack.kind = "EDITED"
    sheet.name = f"{sheet.name} edited by hand"
    return str(sheet.name)


def _renew(sheet: bpy.types.Object, ready: ReadyLayer) -> None:
    kept, layer = sheet.sheetstack, ready.layer
    kept.thickness_mm = layer.sheet.thickness
    _fill(sheet, ready)
    kept.marks = ready.marks
    # Colours of the solid view and, through the material, of renders.
    colour = shader_colour(layer.settings.colour)
    # How much is seen of it is inspection's.
    sheet.color = (*colour[:3], sheet.color[3])
    if not sheet.data.materials:
        surface = own(bpy.data.materials.new(f"Sheet {layer.sheet.layer}"))
        use_nodes(surface)
        show_transparency(surface, False)
        sheet.data.materials.append(surface)
    surface = sheet.data.materials[0]
    if is_own(surface):
        _paint(surface, colour)


def _fill(sheet: bpy.types.Object, ready: ReadyLayer) -> None:
    """Give a sheet its mesh, unless it is there already: filling it takes the longest."""
    OUTLINES[sheet.name_full] = (ready.fingerprint, ready.outline)
    if sheet.sheetstack.fingerprint != ready.fingerprint:
        fill_mesh(sheet.data, ready.columns)
        sheet.sheetstack.fingerprint = ready.fingerprint


def _paint(surface: bpy.types.Material, colour: tuple[float, float, float, float]) -> None:
    surface.diffuse_color = (*colour[:3], surface.diffuse_color[3])
    for node in surface.node_tree.nodes:
        if node.type == "BSDF_PRINCIPLED":
            node.inputs["Base Color"].default_value = colour
            node.inputs["Roughness"].default_value = 0.6
