"""Held islands: what is told of each island of a sheet whose bridges are chosen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Polygon

from ..arrays import Bools, Floats, Indices
from .constraints import Rules
from .statics import FRAME, LoadedGrillage
from .stiffening import MOST_TOGETHER, SLIGHT, holding, steps_from_frame


@dataclass(frozen=True)
class Hold:
    """How an island is held when the sheet is held in the hand by its frame.

    Parameters
    ----------
    deflection_mm : float
        How far its rim gives way under the whole sheet's weight and the handling load, at the
        worst place.
    stress_mpa : float
        Greatest stress in the bridges that hold it, wherever on the sheet the push is worst.
    place : tuple of float
        Where the handling load moves it most, x, y in mm.
    """

    deflection_mm: float
    stress_mpa: float
    place: tuple[float, float]


@dataclass(frozen=True)
class HeldIsland:
    """How one island is held.

    Parameters
    ----------
    place : tuple of float
        x, y in mm of a point on it.
    area_mm2 : float
    bridges : int
        Bridges that hold it: that lead from it towards the frame, or to an island as near to it.
    hold : Hold
        Its deflection and the stress in its bridges, all islands taken together.
    enough : bool
        Whether both stay within the limits.
    reason : str
        Why no more could be done, empty where enough was.
    steps : int
        Bridges from it to the frame, by the shortest way.
    chain : tuple of tuple of float
        Places of the islands on this way, from the frame outwards; empty for one that hangs on the
        frame itself.
    cluster : int
        Islands with the same number hang together by other ways than over the frame.
    """

    place: tuple[float, float]
    area_mm2: float
    bridges: int
    hold: Hold
    enough: bool
    reason: str = ""
    steps: int = 1
    chain: tuple[tuple[float, float], ...] = ()
    cluster: int = 0


def held_islands(
    islands: Sequence[Polygon], held: LoadedGrillage, rules: Rules
) -> tuple[HeldIsland, ...]:
    """Return how each island is held, from the frame outwards.

    Parameters
    ----------
    islands : sequence of Polygon
        In the order of the grillage's plates.
    held : LoadedGrillage
    rules : Rules
        With loads.
    """
    loads = rules.loads
    assert loads is not None
    grillage = held.grillage
    pairs = grillage.beams.plates[held.which]
    steps = steps_from_frame(len(islands), pairs)
    holds = holding(steps, pairs)
    number = np.bincount(pairs[holds], minlength=len(islands))
    deflections = held.deflections(loads.handling_n)
    worst = deflections.argmax(axis=1)
    stress = _stress_of_plates(len(islands), pairs, holds, held.stresses(loads.handling_n).mpa)
    places = [(p.x, p.y) for p in shapely.point_on_surface(np.asarray(islands, object)).tolist()]
    nearer = _next_towards_frame(steps, pairs)
    area = shapely.area(np.asarray(islands, object))
    together = np.bincount(held.clusters)[held.clusters]
    result = []
    for plate in np.argsort(steps, kind="stable").tolist():
        deflection = float(deflections[plate, worst[plate]])
        strain = float(stress[plate])
        enough = deflection <= loads.deflection_mm * SLIGHT and strain <= loads.stress_mpa * SLIGHT
        x, y = grillage.plates.rim[plate, worst[plate]].tolist()
        result.append(
            HeldIsland(
                places[plate],
                float(area[plate]),
                int(number[plate]),
                Hold(deflection, strain, (x, y)),
                enough,
                ""
                if enough
                else _reason(int(number[plate]), rules.most_per_island, int(together[plate])),
                int(steps[plate]),
                tuple(places[p] for p in _chain(plate, nearer)),
                int(held.clusters[plate]),
            )
        )
    return tuple(result)


def _stress_of_plates(count: int, pairs: Indices, holds: Bools, mpa: Floats) -> Floats:
    stress = np.zeros(count)
    for side in (0, 1):
        on = holds[:, side]
        np.maximum.at(stress, pairs[on, side], mpa[on])
    return stress


def _next_towards_frame(steps: Indices, pairs: Indices) -> Indices:
    """Return for each plate one that is a step nearer to the frame, or the frame."""
    away = np.append(steps, 0)[pairs]
    nearer = np.full(len(steps), FRAME)
    for one, other in ((0, 1), (1, 0)):
        on = away[:, one] == away[:, other] + 1
        nearer[pairs[on, one]] = pairs[on, other]
    return nearer


def _chain(plate: int, nearer: Indices) -> list[int]:
    chain = []
    on = int(nearer[plate])
    while on != FRAME:
        chain.append(on)
        on = int(nearer[on])
    return chain[::-1]


def _reason(bridges: int, most: int, together: int) -> str:
    if bridges >= most:
        return f"it has {bridges} bridges, the most that the job allows"
    if together > MOST_TOGETHER:
        return (
            f"{together} islands hang together, and further bridges were sought only as long as "
            "many of them became firmer at once"
        )
    return "further bridges would not stiffen it, or there is no place for them"
