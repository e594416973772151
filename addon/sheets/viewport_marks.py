"""Drawing in the 3D view: islands, bridges, necks, findings, and the overlay of two layers.

Each kind has a colour and a shape of its own: island, ring with a cross; bridge, strip with a
dot; neck, diamond; finding, triangle, the larger the more serious.
"""

from collections.abc import Iterator
from typing import Any

import blf
import bpy
import gpu
import numpy as np
from bpy.app.handlers import persistent

from ...geometry.arrays import Bools, Floats
from ...geometry.mesh.outline import cap_outline, dashed
from ..core.blender_versions import set_text_size
from ..core.conversion import METRES_PER_MM, metres, read_mesh
from ..core.drawing import draw_lines, line_batch
from ..job.layer_list import active_layer
from .sheet_object import OUTLINES, marks_in, place_in_scene, sheet_names, sheets_of

#: Colours that people with red-green blindness tell apart (after Okabe and Ito, 2008).
COLOURS = {
    "island": (0.84, 0.37, 0.0, 1.0),
    "bridge": (0.0, 0.45, 0.70, 1.0),
    "neck": (0.80, 0.47, 0.65, 1.0),
    "mend": (0.80, 0.47, 0.65, 1.0),
    "NOTE": (0.34, 0.71, 0.91, 1.0),
    "WARNING": (0.94, 0.89, 0.26, 1.0),
    "SPOILS": (0.90, 0.12, 0.12, 1.0),
}
SIZES = {"island": 7, "bridge": 4, "neck": 7, "mend": 7, "NOTE": 6, "WARNING": 8, "SPOILS": 11}
TRIANGLE = [((-1, -0.8), (1, -0.8)), ((1, -0.8), (0, 1)), ((0, 1), (-1, -0.8))]
DIAMOND = [((-1, 0), (0, 1)), ((0, 1), (1, 0)), ((1, 0), (0, -1)), ((0, -1), (-1, 0))]
#: Strokes of each sign, in units of its size.
SIGNS = {
    "island": [((-1, -1), (1, 1)), ((-1, 1), (1, -1))],
    "bridge": [((-1, -1), (1, -1)), ((1, -1), (1, 1)), ((1, 1), (-1, 1)), ((-1, 1), (-1, -1))],
    "neck": DIAMOND,
    "mend": DIAMOND,
    "NOTE": TRIANGLE,
    "WARNING": TRIANGLE,
    "SPOILS": TRIANGLE,
}
SHOWN = {
    "island": "show_islands",
    "bridge": "show_bridges",
    "neck": "show_necks",
    "mend": "show_necks",
}
#: Lift of lines off the sheet (mm), so that they are not hidden in its surface.
LIFT = 0.05
#: Free height of the overlay above the stack, and length of its dashes (mm).
OVERLAY_LIFT, DASH = 5.0, 3.0
#: More labels than this only hide the picture.
MOST_LABELS = 400

#: Colour and width (pixels) of the outlines that keep dark sheets visible on a dark view.
OUTLINE, OUTLINE_WIDTH = (0.75, 0.75, 0.75, 0.55), 1.0
#: How much is seen of a sign that another sheet lies before.
COVERED = 0.2
#: A line of sight counts as meeting a sheet from this share of its way on: its own is no obstacle.
OFF = 1e-4
#: So many of the view's distances away lies the eye that sees in parallel lines.
FAR = 100.0

#: Kind, place in the scene, label.
Sign = tuple[str, Any, str]

_handles: list[Any] = []
_outlines: dict[str, tuple[str, dict[str, Any]]] = {}
_overlays: dict[tuple[str, bool], tuple[str, Any]] = {}


def draw_outlines() -> None:
    """Draw outlines of marks and the overlay; Blender calls it in each 3D view."""
    if not overlays_are_on():
        return
    scene = bpy.context.scene
    state = scene.sheetstack
    gpu.state.depth_test_set("LESS_EQUAL")
    gpu.state.blend_set("ALPHA")
    try:
        for name, sheet in sheets_of(scene).items() if state.show_outlines else ():
            if sheet.visible_get():
                with gpu.matrix.push_pop():
                    gpu.matrix.multiply_matrix(sheet.matrix_world)
                    height = sheet.sheetstack.thickness_mm + LIFT / 2
                    gpu.matrix.translate((0, 0, height * METRES_PER_MM))
                    draw_lines(_outline_of(name, sheet, False), OUTLINE, OUTLINE_WIDTH)
        for sheet in marked_sheets(scene):
            with gpu.matrix.push_pop():
                gpu.matrix.multiply_matrix(sheet.matrix_world)
                for kind, batch in _outline_batches(sheet).items():
                    if getattr(state, SHOWN[kind]):
                        draw_lines(batch, COLOURS[kind], 2.0)
        if state.show_overlay:
            _draw_overlay(scene)
    finally:
        gpu.state.depth_test_set("NONE")
        gpu.state.blend_set("NONE")


def draw_signs() -> None:
    """Draw signs and labels at the places of marks and findings, over the picture."""
    context = bpy.context
    signs = list(signs_of(context.scene)) if overlays_are_on() else []
    if not signs:
        return
    places, seen = _projected(context, np.array([sign[1] for sign in signs], float))
    scale = context.preferences.system.ui_scale
    covered = are_covered(context.scene, np.array([sign[1] for sign in signs]), eye_of(context))
    gpu.state.blend_set("ALPHA")
    for kind in COLOURS:
        strokes = np.array(SIGNS[kind], float).reshape(-1, 2) * SIZES[kind] * scale
        of_kind = np.array([sign[0] == kind for sign in signs]) & seen
        for mine, alpha in ((of_kind & ~covered, 1.0), (of_kind & covered, COVERED)):
            if mine.any():
                ends = (places[mine][:, None, :] + strokes[None]).reshape(-1, 2)
                flat = np.concatenate([ends, np.zeros((len(ends), 1))], axis=1)
                draw_lines(line_batch(flat), (*COLOURS[kind][:3], alpha), 2.0)
    gpu.state.blend_set("NONE")
    if context.scene.sheetstack.show_labels:
        _draw_labels(signs, places, seen & ~covered, scale)


def signs_of(scene: bpy.types.Scene) -> Iterator[Sign]:
    """Yield kind, place in the scene and label of all that is to be marked now."""
    state = scene.sheetstack
    sheets = sheets_of(scene)
    for sheet in marked_sheets(scene):
        top = sheet.sheetstack.thickness_mm
        to_scene = np.array(sheet.matrix_world)
        for mark in marks_in(sheet.sheetstack.marks):
            if getattr(state, SHOWN[mark["kind"]]):
                place = to_scene @ (*metres((*mark["place"], top)), 1.0)
                yield mark["kind"], place[:3], mark["label"]
    if state.show_findings:
        marked = marked_sheets(scene)
        for number, finding in enumerate(state.findings, 1):
            sheet = sheets.get(finding.layer)
            chosen = sheet is None or sheet in marked or number - 1 == state.active_finding
            if finding.has_place and chosen and (sheet is None or sheet.visible_get()):
                place = place_in_scene(scene, finding.layer, finding.place_mm)
                yield finding.severity, tuple(place), f"!{number}"


def overlays_are_on() -> bool:
    """Return whether the view that is drawn shows overlays: marks are among them."""
    space = bpy.context.space_data
    return space is None or bool(space.overlay.show_overlays)


def eye_of(context: Any) -> Floats:
    """Return the place that a view is seen from, or far off along its way where it has none."""
    view = context.region_data
    back = np.array(view.view_matrix.inverted())
    if view.is_perspective:
        return np.asarray(back[:3, 3])
    return np.asarray(back[:3, 3] + back[:3, 2] * view.view_distance * FAR)


def are_covered(scene: bpy.types.Scene, places: Floats, eye: Floats) -> Bools:
    """Return which places (n, 3) of the scene have a sheet between them and the eye.

    Sheets are taken as whole plates: what is seen through an opening counts as covered.

    Parameters
    ----------
    scene : Scene
    places : float64 array (n, 3)
    eye : float64 array (3,)
    """
    covered = np.zeros(len(places), bool)
    size = metres((scene.sheetstack.sheet.width_mm, scene.sheetstack.sheet.height_mm))
    for sheet in sheets_of(scene).values():
        if not sheet.visible_get():
            continue
        inwards = np.array(sheet.matrix_world.inverted())
        begin = places @ inwards[:3, :3].T + inwards[:3, 3]
        way = inwards[:3, :3] @ eye + inwards[:3, 3] - begin
        for z in (0.0, float(metres(sheet.sheetstack.thickness_mm))):
            rises = np.abs(way[:, 2]) > 0
            share = np.where(rises, (z - begin[:, 2]) / np.where(rises, way[:, 2], 1.0), -1.0)
            at = begin[:, :2] + share[:, None] * way[:, :2]
            covered |= (share > OFF) & (share < 1) & (at >= 0).all(1) & (at <= size).all(1)
    return covered


def marked_sheets(scene: bpy.types.Scene) -> list[bpy.types.Object]:
    """Return the sheets in sight whose marks are to be drawn: the active layer's, or all."""
    state = scene.sheetstack
    sheets = {name: s for name, s in sheets_of(scene).items() if s.visible_get()}
    layer = active_layer(scene)
    if state.show_all_layers or layer is None:
        return list(sheets.values())
    return [sheets[name] for name in sheet_names(layer) if name in sheets]


def _outline_batches(sheet: bpy.types.Object) -> dict[str, Any]:
    """Return the outlines of a sheet's marks by their kind, made once for each text of them."""
    key, text = sheet.name_full, sheet.sheetstack.marks
    if key not in _outlines or _outlines[key][0] != text:
        batches = {}
        marks, height = marks_in(text), sheet.sheetstack.thickness_mm + LIFT
        for kind in SHOWN:
            rings = [np.array(m["outline"], float) for m in marks if m["kind"] == kind]
            if rings:
                ends = np.concatenate(
                    [np.stack([r, np.roll(r, -1, axis=0)], axis=1).reshape(-1, 2) for r in rings]
                )
                flat = np.concatenate([ends, np.full((len(ends), 1), height)], axis=1)
                batches[kind] = line_batch(metres(flat))
        _outlines[key] = (text, batches)
    return _outlines[key][1]


def _outline_of(name: str, sheet: bpy.types.Object, is_dashed: bool) -> Any:
    """Return the outline of a sheet's openings and edge, made once for each build of it."""
    key, mark = (name, is_dashed), sheet.sheetstack.fingerprint
    if key not in _overlays or _overlays[key][0] != mark:
        known, outline = OUTLINES.get(sheet.name_full, ("", None))
        if outline is None or known != mark:
            mesh, _ = read_mesh(sheet.data)
            outline = cap_outline(mesh)
        ends = (dashed(outline, DASH) if is_dashed else outline).reshape(-1, 2)
        flat = np.concatenate([ends, np.zeros((len(ends), 1))], axis=1)
        _overlays[key] = (mark, line_batch(metres(flat)))
    return _overlays[key][1]


def _draw_overlay(scene: bpy.types.Scene) -> None:
    sheets = sheets_of(scene)
    state = scene.sheetstack
    chosen = ((state.overlay_first, False), (state.overlay_second, True))
    height = max(
        (s.location.z + s.sheetstack.thickness_mm * METRES_PER_MM for s in sheets.values()),
        default=0.0,
    )
    for name, is_dashed in chosen:
        sheet = sheets.get(name)
        row = state.layers.get(name)
        if sheet is None or row is None:
            continue
        batch = _outline_of(name, sheet, is_dashed)
        with gpu.matrix.push_pop():
            if sheet.parent is not None:
                gpu.matrix.multiply_matrix(sheet.parent.matrix_world)
            gpu.matrix.translate((0, 0, height + OVERLAY_LIFT * METRES_PER_MM))
            # Dashes are the thinner lines: the solid ones stay visible on both sides of them.
            # The viewport's lines are drawn in display space: no transfer curve is undone.
            draw_lines(batch, (*row.colour, 1.0), 1.5 if is_dashed else 4.0)


def _draw_labels(signs: list[Sign], places: Floats, seen: Bools, scale: float) -> None:
    set_text_size(blf, 11 * scale)
    blf.enable(0, blf.SHADOW)
    blf.shadow(0, 3, 0.0, 0.0, 0.0, 0.9)
    left = MOST_LABELS
    for (kind, _, label), (x, y), visible in zip(signs, places, seen, strict=True):
        if visible and left:
            left -= 1
            blf.color(0, 1.0, 1.0, 1.0, 1.0)
            blf.position(0, x + (SIZES[kind] + 4) * scale, y - 4 * scale, 0)
            blf.draw(0, label)
    blf.disable(0, blf.SHADOW)


def _projected(context: Any, places: Floats) -> tuple[Floats, Bools]:
    """Return pixels (n, 2) of places in the region, and which lie before the eye and in sight."""
    region, view = context.region, context.region_data
    matrix = np.array(view.perspective_matrix)
    flat = np.concatenate([places, np.ones((len(places), 1))], axis=1) @ matrix.T
    depth = flat[:, 3]
    before = depth > 1e-9
    unit = flat[:, :2] / np.where(before, depth, 1.0)[:, None]
    seen = before & (np.abs(unit) <= 1).all(axis=1)
    return (unit + 1) / 2 * (region.width, region.height), seen


@persistent  # type: ignore[untyped-decorator]
def _forget(*_: Any) -> None:
    _outlines.clear()
    _overlays.clear()
    OUTLINES.clear()


CLASSES = ()


def register() -> None:
    """Draw in all 3D views."""
    view = bpy.types.SpaceView3D
    _handles.append(view.draw_handler_add(draw_outlines, (), "WINDOW", "POST_VIEW"))
    _handles.append(view.draw_handler_add(draw_signs, (), "WINDOW", "POST_PIXEL"))
    bpy.app.handlers.load_pre.append(_forget)


def unregister() -> None:
    """Draw no more."""
    bpy.app.handlers.load_pre.remove(_forget)
    while _handles:
        bpy.types.SpaceView3D.draw_handler_remove(_handles.pop(), "WINDOW")
    _forget()
