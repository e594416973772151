"""Sheetstack's geometry: layered artwork in, rigid stencil sheets out. Millimetres; no Blender.

The public names, each loaded when it is first asked for:

>>> from sheetstack import geometry
>>> sorted(geometry.__all__)[:4]
['ArtworkError', 'Build', 'Cancelled', 'Export']
>>> geometry.load_job.__module__
'sheetstack.geometry.job.load'
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .build import Build
    from .build import build as build_job
    from .errors import (
        ArtworkError,
        Cancelled,
        GeometryError,
        JobError,
        SheetstackError,
        WriteError,
    )
    from .export import Export, export_build
    from .finding import Finding, Severity
    from .job.load import load_job
    from .progress import Progress
    from .report.build_files import write_outputs

#: The one place that states the version; the Python package, the add-on and its zip take it.
__version__ = "0.1.0"

#: Where each public name is at home, and its name there.
_HOMES = {
    "ArtworkError": ("errors", "ArtworkError"),
    "Build": ("build", "Build"),
    "Cancelled": ("errors", "Cancelled"),
    "Export": ("export", "Export"),
    "Finding": ("finding", "Finding"),
    "GeometryError": ("errors", "GeometryError"),
    "JobError": ("errors", "JobError"),
    "Progress": ("progress", "Progress"),
    "Severity": ("finding", "Severity"),
    "SheetstackError": ("errors", "SheetstackError"),
    "WriteError": ("errors", "WriteError"),
    # Not 'build', which is the module.
    "build_job": ("build", "build"),
    "export_build": ("export", "export_build"),
    "load_job": ("job.load", "load_job"),
    "write_outputs": ("report.build_files", "write_outputs"),
}

__all__ = [
    "ArtworkError",
    "Build",
    "Cancelled",
    "Export",
    "Finding",
    "GeometryError",
    "JobError",
    "Progress",
    "Severity",
    "SheetstackError",
    "WriteError",
    "__version__",
    "build_job",
    "export_build",
    "load_job",
    "write_outputs",
]


def __getattr__(name: str) -> Any:
    """Load a public name from its home."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    module, there = _HOMES[name]
    return getattr(import_module(f"{__name__}.{module}"), there)


def __dir__() -> list[str]:
    """Return the public names."""
    return __all__
