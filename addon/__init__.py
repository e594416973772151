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

#: Features in the order in which they are registered; panels stand in the tab in the same order.
#: A feature is a folder that names its modules in ``MODULES``. A module has ``CLASSES``, and
#: ``register`` and ``unregister`` where it hangs things on Blender.
FEATURES = (
    "core",
    "job",
    "tracing",
    "sheets",
    "bridges",
    "registration",
    "paint",
    "export",
    "findings",
    "inspection",
    "mockup",
)


def modules() -> list[ModuleType]:
    """Return all modules to register; last the scene's properties, put together from all."""
    # Imported late: the package can be imported, to be packed say, where Blender is absent.
    names = [
        f"{feature}.{module}"
        for feature in FEATURES
        for module in importlib.import_module(f".{feature}", __name__).MODULES
    ]
    return [importlib.import_module(f".{name}", __name__) for name in (*names, "scene_property")]


def register() -> None:
    """Make the add-on known to Blender."""
    import bpy

    with contextlib.ExitStack() as undo:
        for module in modules():
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

    for module in reversed(modules()):
        if hasattr(module, "unregister"):
            module.unregister()
        for cls in reversed(module.CLASSES):
            bpy.utils.unregister_class(cls)
