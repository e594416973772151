"""Judge of a solid as written: read back by trimesh and admesh, welded as other programs weld.

Nothing of Sheetstack is used here.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import trimesh

#: Decimals of mm at which vertices are welded: a tenth of a micrometre, at which programs that weld
#: by distance leave true detail alone (common practice, no source).
WELD_DECIMALS = 4
#: Share by which the volume may differ from area times thickness: the cut file has four decimals.
VOLUME_SHARE = 1e-4


@dataclass
class SolidVerdict:
    """What was found in a file; ``faults`` is empty where it is sound."""

    faults: list[str] = field(default_factory=list)
    numbers: dict[str, Any] = field(default_factory=dict)


def judge_solid(
    path: Path, area: float, thickness: float, pieces: int, openings: int
) -> SolidVerdict:
    """Judge an STL file of a flat sheet.

    Parameters
    ----------
    path : Path
    area : float
        Of the sheet in mm2, from elsewhere.
    thickness : float
        In mm.
    pieces, openings : int
        How many pieces and holes the sheet has, from elsewhere; they give the Euler number,
        2 (pieces - openings).

    Returns
    -------
    SolidVerdict
    """
    verdict = SolidVerdict()
    loaded = trimesh.load_mesh(path, process=False)
    corners = np.asarray(loaded.vertices, np.float64)[np.asarray(loaded.faces)].reshape(-1, 3)
    for name, points in (
        ("as written", corners),
        ("welded at 0.1 um", corners.round(WELD_DECIMALS)),
    ):
        _judge_mesh(verdict, name, points, area, thickness, pieces, openings)
    if shutil.which("admesh"):
        _ask_admesh(verdict, path, pieces)
    return verdict


def _judge_mesh(
    verdict: SolidVerdict,
    name: str,
    corners: np.ndarray,
    area: float,
    thickness: float,
    pieces: int,
    openings: int,
) -> None:
    points, index = np.unique(corners, axis=0, return_inverse=True)
    faces = index.reshape(-1, 3)
    flat = (faces == np.roll(faces, 1, axis=1)).any(axis=1)
    if flat.any():
        verdict.faults.append(f"{name}: {int(flat.sum())} facets lose a side")
    mesh = trimesh.Trimesh(points, faces[~flat], process=False)
    if not mesh.is_watertight:
        verdict.faults.append(f"{name}: not watertight")
    if not mesh.is_winding_consistent:
        verdict.faults.append(f"{name}: winding differs")
    euler, expected = int(mesh.euler_number), 2 * (pieces - openings)
    if euler != expected:
        verdict.faults.append(f"{name}: Euler number {euler}, expected {expected}")
    volume = float(mesh.volume)
    if abs(volume - area * thickness) > VOLUME_SHARE * area * thickness:
        verdict.faults.append(f"{name}: volume {volume:.3f}, expected {area * thickness:.3f}")
    bodies = int(mesh.body_count)
    if bodies != pieces:
        verdict.faults.append(f"{name}: {bodies} bodies, expected {pieces}")
    verdict.numbers.setdefault("facets", len(faces))


_ROWS = {
    "disconnected": r"Total disconnected facets\s*:\s*(\d+)",
    "degenerate": r"Degenerate facets\s*:\s*(\d+)",
    "reversed": r"Facets reversed\s*:\s*(\d+)",
    "backwards": r"Backwards edges\s*:\s*(\d+)",
    "parts": r"Number of parts\s*:\s*(\d+)",
}


def _ask_admesh(verdict: SolidVerdict, path: Path, pieces: int) -> None:
    done = subprocess.run(
        ["admesh", str(path)], capture_output=True, check=False, errors="backslashreplace"
    )
    if done.returncode:
        verdict.faults.append(f"admesh: exit {done.returncode}")
        return
    told = {}
    for name, pattern in _ROWS.items():
        row = re.search(pattern, done.stdout)
        if row is None:
            verdict.faults.append(f"admesh: no row '{name}'")
            return
        told[name] = int(row[1])
    for name in ("disconnected", "degenerate", "reversed", "backwards"):
        if told[name]:
            verdict.faults.append(f"admesh: {told[name]} facets {name}")
    if told["parts"] != pieces:
        verdict.faults.append(f"admesh: {told['parts']} parts, expected {pieces}")
