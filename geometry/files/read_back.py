"""Files of solids read back from what was written, and judged as any other reader has them."""

from __future__ import annotations

import zipfile
from collections.abc import Sequence
from pathlib import Path
from xml.etree import ElementTree

import numpy as np

from ..errors import WriteError
from ..mesh.check import Soundness, Wanted, faults_of_read
from ..mesh.solid import Mesh
from .stl import read_stl
from .three_mf import CORE

_TAG = f"{{{CORE}}}"


def judge_stl(path: Path, wanted: Wanted) -> tuple[Soundness, str]:
    """Judge an STL file by its bytes.

    Parameters
    ----------
    path : Path
        Written already, though it may not be in its last place.
    wanted : Wanted

    Returns
    -------
    soundness : Soundness
        Of the file.
    fault : str
        What is wrong, to follow "the solid"; empty for a sound one.
    """
    return faults_of_read(Mesh(*read_stl(path)), wanted)


def judge_three_mf(path: Path, wanted: Sequence[Wanted]) -> list[str]:
    """Judge every mesh of a 3MF file by its bytes.

    Parameters
    ----------
    path : Path
    wanted : sequence of Wanted
        Of each object, in the file's order.

    Returns
    -------
    list of str
        For each object what is wrong, to follow "the solid"; empty for a sound one.

    Raises
    ------
    WriteError
        The file does not hold as many objects as were written.
    """
    meshes = read_three_mf(path)
    if len(meshes) != len(wanted):
        raise WriteError(f"{path}: holds {len(meshes)} solids, {len(wanted)} were written.")
    return [faults_of_read(mesh, one)[1] for mesh, one in zip(meshes, wanted, strict=True)]


def read_three_mf(path: Path) -> list[Mesh]:
    """Return the meshes of a 3MF file of ours as written: by its own indices, in its order.

    Parameters
    ----------
    path : Path
        One model part, as ``three_mf`` writes it; the transforms of its items are not applied.
    """
    meshes = []
    with zipfile.ZipFile(path) as package, package.open("3D/3dmodel.model") as part:
        points: list[tuple[float, ...]] = []
        corners: list[tuple[int, ...]] = []
        for _, node in ElementTree.iterparse(part):
            name = node.tag.removeprefix(_TAG)
            if name == "vertex":
                points.append(tuple(float(node.attrib[k]) for k in "xyz"))
            elif name == "triangle":
                corners.append(tuple(int(node.attrib[k]) for k in ("v1", "v2", "v3")))
            elif name == "mesh":
                vertices = np.array(points, np.float64).reshape(-1, 3)
                meshes.append(Mesh(vertices, np.array(corners, np.int64).reshape(-1, 3)))
                points, corners = [], []
            if name in {"vertices", "triangles", "mesh"}:
                node.clear()
    return meshes
