"""The score: how near the painted picture comes to the one wanted, and what it costs to cut."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import shapely

from ..arrays import Plane
from ..colour import ciede2000, lab_from_srgb
from ..job.processes import Process
from .bezier_fit import CurvedShape
from .structural_similarity import structural_similarity


@dataclass(frozen=True)
class LayerScore:
    """What one layer costs.

    Parameters
    ----------
    name, colour : str
    openings : int
        Shapes to be cut out.
    islands : int
        Pieces of sheet that would fall out without a bridge.
    cut_mm : float
        Length of all cuts.
    nodes : int
        Nodes of the curves: what a hand has to edit.
    paint_mm2 : float
        Area that is sprayed.
    """

    name: str
    colour: str
    openings: int
    islands: int
    cut_mm: float
    nodes: int
    paint_mm2: float


@dataclass(frozen=True)
class Score:
    """How good a tracing is.

    Parameters
    ----------
    difference : float
        Mean CIEDE2000 between the picture and what is painted: 0 the same, about 1 just seen side
        by side, 100 black against white.
    structure : float
        Structural similarity of their lightness: 1 the same, 0 unrelated.
    minutes : float
        To cut all layers: length over the process's speed, and its time to begin each cut.
    layers : tuple of LayerScore
        In spray order.
    """

    difference: float
    structure: float
    minutes: float
    layers: tuple[LayerScore, ...]

    @property
    def islands(self) -> int:
        """Islands of all layers."""
        return sum(layer.islands for layer in self.layers)

    @property
    def cut_mm(self) -> float:
        """Length of the cuts of all layers in mm."""
        return sum(layer.cut_mm for layer in self.layers)

    @property
    def nodes(self) -> int:
        """Nodes of all layers."""
        return sum(layer.nodes for layer in self.layers)

    def as_table(self) -> dict[str, Any]:
        """Return the score as plain values for a JSON file, rounded to what means something."""
        table = asdict(self)
        table["difference"] = round(self.difference, 2)
        table["structure"] = round(self.structure, 3)
        table["minutes"] = round(self.minutes, 1)
        for layer in table["layers"]:
            layer["cut_mm"] = round(layer["cut_mm"])
            layer["paint_mm2"] = round(layer["paint_mm2"])
        table["islands"], table["nodes"] = self.islands, self.nodes
        table["cut_mm"] = round(self.cut_mm)
        return table


def score_of(
    wanted: Plane,
    painted: Plane,
    layers: Sequence[tuple[str, str, CurvedShape]],
    process: Process,
) -> Score:
    """Return the score of a tracing.

    Parameters
    ----------
    wanted, painted : arrays (rows, columns, 3)
        sRGB, 0 to 1.
    layers : sequence of (name, colour, shape)
        In spray order.
    process : Process
        Its speed and time to begin a cut.
    """
    first, second = lab_from_srgb(wanted), lab_from_srgb(painted)
    rows = []
    for name, colour, curves in layers:
        shape = curves.flattened()
        rows.append(
            LayerScore(
                name,
                colour,
                len(shape.geoms),
                sum(len(p.interiors) for p in shape.geoms),
                float(shapely.length(shape)),
                curves.nodes,
                float(shapely.area(shape)),
            )
        )
    return Score(
        float(ciede2000(first, second).mean()),
        structural_similarity(first[..., 0], second[..., 0], 100.0),
        (
            sum(r.cut_mm for r in rows) / process.speed_mm_s
            + sum(r.openings + r.islands for r in rows) * process.pierce_s
        )
        / 60,
        tuple(rows),
    )
