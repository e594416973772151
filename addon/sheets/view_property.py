"""How a scene shows its sheets: where they stand, which are seen, what is marked on them."""

from typing import Any

import bpy
from bpy.props import BoolProperty, FloatProperty, IntProperty, PointerProperty, StringProperty

from ..core.viewport import draw_anew, redraw_views
from .selection import choose_sheet
from .sheet_object import arrange, show_layers


def _moved(group: Any, context: Any) -> None:
    """Move the sheets; Blender calls it while a slider is dragged."""
    arrange(group.id_data)


def _shown(group: Any, context: Any) -> None:
    """Show or hide a layer's sheet with its check box."""
    show_layers(group.id_data)


def _chosen(group: Any, context: Any) -> None:
    """Choose the active layer's sheet in the view, too."""
    choose_sheet(group.id_data)
    redraw_views()


#: What a layer keeps of how its sheet is shown.
LAYER_PROPERTIES = {
    "is_shown": BoolProperty(
        name="Visible",
        description="Show this layer's sheet in the 3D view; it stays part of the job",
        default=True,
        update=_shown,
    ),
}


class ViewProperties:
    """What a scene keeps of its sheets in the view."""

    active_layer: IntProperty(
        name="Active layer",
        description="Layer whose settings and marks are shown; its sheet is the active object",
        min=0,
        update=_chosen,
    )
    collection: PointerProperty(
        type=bpy.types.Collection, name="Sheets", description="Collection of the built sheets"
    )
    stack_scale: FloatProperty(
        description="Factor that fits the stack to the scene's units",
        default=1.0,
        options={"HIDDEN"},
    )
    follow: BoolProperty(
        name="Follow changes",
        description="Build the sheets again by itself shortly after something was changed",
    )
    spacing_mm: FloatProperty(
        name="Spacing",
        description="Free height between the sheets of the stack; 0 closes it",
        default=30.0,
        min=0.0,
        soft_max=500.0,
        unit="CAMERA",
        precision=1,
        step=100,
        update=_moved,
    )
    aside: FloatProperty(
        name="Side by side",
        description="From one above the other (0) to side by side on the floor (1)",
        min=0.0,
        max=1.0,
        subtype="FACTOR",
        update=_moved,
    )
    picked_bridge: StringProperty(
        name="Picked bridge",
        description="The bridge that has handles in the 3D view",
        update=draw_anew,
    )
    show_all_layers: BoolProperty(
        name="All layers",
        description="Draw the marks of all layers, not of the active one only",
        update=draw_anew,
    )
    solo: BoolProperty(
        name="Active sheet alone",
        description="Show the active layer's sheet and hide the others, which lie over it",
        update=_shown,
    )
    show_outlines: BoolProperty(
        name="Outlines",
        description="Draw the edges of every sheet, so that dark ones are seen on a dark view",
        default=True,
        update=draw_anew,
    )
    show_islands: BoolProperty(
        name="Islands",
        description="Draw islands as outlined circles with a cross",
        default=True,
        update=draw_anew,
    )
    show_bridges: BoolProperty(
        name="Bridges",
        description="Draw bridges as outlined strips",
        default=True,
        update=draw_anew,
    )
    show_necks: BoolProperty(
        name="Necks",
        description="Draw mended and narrow places as diamonds",
        default=True,
        update=draw_anew,
    )
    show_findings: BoolProperty(
        name="Findings",
        description="Draw findings as triangles, the more serious the larger",
        default=True,
        update=draw_anew,
    )
    show_labels: BoolProperty(
        name="Labels", description="Write numbers and sizes beside marks", update=draw_anew
    )
    show_overlay: BoolProperty(
        name="Overlay",
        description="Draw the openings of two layers over each other, above the stack",
        update=draw_anew,
    )
    overlay_first: StringProperty(
        name="First", description="Layer drawn with solid lines", update=draw_anew
    )
    overlay_second: StringProperty(
        name="Second", description="Layer drawn with dashed lines", update=draw_anew
    )
