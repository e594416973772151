"""The settings of a tracing, on one group ``scene.sheetstack_tracing``."""

from typing import Any

import bpy
from bpy.props import BoolProperty, CollectionProperty, PointerProperty, StringProperty

from ...geometry.job.fields import read_section
from ...geometry.tracing.settings import TracingSettings
from ..core.setting_property import property_group, table_of
from ..core.viewport import redraw_views
from .known_marks import SHEETSTACK_PG_marked
from .picture_under import put_in_front
from .preview import note_change

#: Paths in the settings, which Blender may keep relative to its file.
PATHS = ("background_mask", "focus_mask", "marks")


def _changed(group: Any, context: Any) -> None:
    note_change()


def _shown(group: Any, context: Any) -> None:
    put_in_front(group.id_data)
    redraw_views()


SHEETSTACK_PG_tracing = property_group(
    "SHEETSTACK_PG_tracing",
    TracingSettings,
    needed={},
    update=_changed,
    more={
        "image": PointerProperty(
            type=bpy.types.Image, name="Preview", description="The last preview, as an image"
        ),
        "picture": StringProperty(
            name="Picture",
            description="Photograph or painting to trace: PNG, JPEG or TIFF",
            subtype="FILE_PATH",
            update=_changed,
        ),
        "live": BoolProperty(
            name="Live preview",
            description="Draw the preview anew whenever a setting changes",
            default=True,
            update=_changed,
        ),
        "marked": CollectionProperty(
            type=SHEETSTACK_PG_marked,
            name="Marked pictures",
            description="What is known of each picture that was looked at",
        ),
        "show_marks": BoolProperty(
            name="Marks",
            description="Show the marks of faces on the picture, to be dragged, over the sheets",
            update=_shown,
        ),
        "every_point": BoolProperty(
            name="Every point",
            description="Drag all points one by one, not the main ones that bend the rest along",
            update=_shown,
        ),
    },
)


def settings_of(scene: bpy.types.Scene) -> TracingSettings:
    """Return the scene's settings of a tracing.

    Raises
    ------
    JobError
        A list cannot be read or a value is out of its limits.
    """
    table = table_of(scene.sheetstack_tracing, TracingSettings)
    for key in PATHS:
        if table.get(key):
            table[key] = bpy.path.abspath(table[key])
    return read_section(TracingSettings, table, "tracing")


CLASSES = (SHEETSTACK_PG_tracing,)


def register() -> None:
    """Hang the settings on scenes."""
    bpy.types.Scene.sheetstack_tracing = PointerProperty(type=SHEETSTACK_PG_tracing)


def unregister() -> None:
    """Take them off again."""
    del bpy.types.Scene.sheetstack_tracing
