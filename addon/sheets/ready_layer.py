"""What a sheet object shows of a built layer, worked out where no Blender data is touched."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...geometry.arrays import Floats
from ...geometry.build import Build, BuiltLayer
from ...geometry.mesh.outline import shape_outline
from ...geometry.scene.marks import Mark, marks_of
from ..core.conversion import MeshColumns, columns_of


@dataclass(frozen=True)
class ReadyLayer:
    """A built layer, and all of it that takes long to put in Blender's form.

    Parameters
    ----------
    layer : BuiltLayer
    columns : MeshColumns
    fingerprint : str
        Of the mesh, see ``digest``.
    marks : str
        Its marks as JSON.
    outline : float64 array (n, 2, 2)
        Ends of the edges round its top, in mm.
    """

    layer: BuiltLayer
    columns: MeshColumns
    fingerprint: str
    marks: str
    outline: Floats


@dataclass(frozen=True)
class ReadyBuild:
    """A build with its layers made ready."""

    build: Build
    layers: tuple[ReadyLayer, ...]


def ready_build(build: Build) -> ReadyBuild:
    """Return a build with its layers made ready for Blender; takes its time, in any thread."""
    return ReadyBuild(build, tuple(ready_layer(layer) for layer in build.layers))


def ready_layer(layer: BuiltLayer) -> ReadyLayer:
    """Return a layer made ready for Blender."""
    columns = columns_of(layer.mesh)
    return ReadyLayer(
        layer,
        columns,
        digest(columns.places, columns.corners),
        json.dumps([_plain(mark) for mark in marks_of(layer)]),
        shape_outline(layer.sheet.shape),
    )


def digest(places: NDArray[np.float32], corners: NDArray[np.int32]) -> str:
    """Return a short text that changes with any vertex or corner of a mesh."""
    made = hashlib.blake2b(places.tobytes(), digest_size=16)
    made.update(corners.tobytes())
    return made.hexdigest()


def _plain(mark: Mark) -> dict[str, Any]:
    return {
        "kind": mark.kind,
        "outline": np.round(mark.outline, 3).tolist(),
        "place": [round(c, 3) for c in mark.place],
        "label": mark.label,
        "name": mark.name,
        "state": mark.state,
        "path": [] if mark.path is None else np.round(mark.path, 3).tolist(),
        "width": mark.width,
    }
