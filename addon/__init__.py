"""Sheetstack's Blender add-on: properties, operators, panels; every computation is in geometry."""

from __future__ import annotations

import contextlib
import importlib
from types import ModuleType

from ..geometry import __version__

bl_info = {
    "name": "Sheetstack",
    "description": "Layered artwork in, rigid stencil sheets at true size out",
    "author": "The Sheetstack authors",
    "version": tuple(int(number) for number in __version__.split(".")),
    "blender": (3, 4, 0),
    "location": "3D View > Sidebar > Stencil",
    "category": "Import-Export",
}

#: Modules in the order in which they are registered; panels stand in the tab in the same order.
#: To add a feature, add its module: it has ``CLASSES``, and ``register`` and ``unregister`` where
#: it hangs things on Blender.
FEATURES = (
    "job.job_property",
    "job.object_property",
    "sheets.last_build",
    "core.long_work",
    "job.job_file",
    "sheets.build_sheets",
    "sheets.find_islands",
    "export.export_sheets",
    "export.machine_export",
    "job.layer_list",
    "job.artwork_from_objects",
    "job.material_preset",
    "sheets.finding_list",
    "sheets.viewport_marks",
    "sheets.painted_plane",
    "bridges.hand_bridges",
    "bridges.places_from_selected",
    "bridges.bridge_tool",
    "export.write_files",
    "tracing.tracing",
    "core.panels",
    "sheets.inspection",
    "mockup.mockup",
    "job.file_upgrade",
)


def _features() -> list[ModuleType]:
    # Imported late: the package can be imported, to be packed say, where Blender is absent.
    return [importlib.import_module(f".{name}", __name__) for name in FEATURES]


def register() -> None:
    """Make the add-on known to Blender."""
    import bpy

    with contextlib.ExitStack() as undo:
        for module in _features():
            for cls in module.CLASSES:
                bpy.utils.register_class(cls)
                undo.callback(bpy.utils.unregister_class, cls)
            if hasattr(module, "register"):
                module.register()
                undo.callback(module.unregister)
        undo.pop_all()  # nothing failed, so nothing is undone


def unregister() -> None:
    """Undo ``register`` in reverse."""
    import bpy

    for module in reversed(_features()):
        if hasattr(module, "unregister"):
            module.unregister()
        for cls in reversed(module.CLASSES):
            bpy.utils.unregister_class(cls)
