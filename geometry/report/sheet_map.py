"""The map of one sheet in the report: openings, islands, bridges and findings, as inline SVG.

What a thing is shows in its form, not in its colour alone: islands are hatched and dashed, bridges
are solid strips, strips along necks are dotted, and findings stand on pins of three shapes.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon, STRtree

from ..build import BuiltLayer
from ..planar.raster import thinned
from .markup import text

#: Outlines may move by the sheet's long side over this: half a pixel of a big screen.
_FINENESS = 2500
#: Points of a map; with more, outlines are thinned further.
_MOST_POINTS = 60_000
#: Labels of one kind in a map; more could not be read.
MOST_LABELS = 150
#: Islands and strips drawn in a map.
_MOST_SHAPES = 3000

PINS = {
    "spoils": "M-1-1H1V1H-1Z",  # a square
    "warning": "M0-1.25 1.2.95H-1.2Z",  # a triangle
    "note": "M-1 0A1 1 0 1 1 1 0A1 1 0 1 1-1 0Z",  # a disc
}


def sheet_map(layer: BuiltLayer, data: dict[str, Any]) -> str:
    """Return the map of a sheet as an SVG element.

    Parameters
    ----------
    layer : BuiltLayer
    data : dict
        The layer's part of ``report_data``: its numbers are the labels.

    Returns
    -------
    str
        Well-formed XML, without a namespace: for use inside HTML only.
    """
    width, height = layer.sheet.outline.bounds[2:]
    long = max(width, height)
    size = 0.0135 * long  # of lettering, in mm
    pad = 2.5 * size
    number = data["number"]
    shapes = _Shapes(height, long / _FINENESS)
    lines = [
        f'<svg class="map" role="img" viewBox="{-pad:.2f} {-pad:.2f} {width + 2 * pad:.2f} '
        f'{height + 2 * pad + 3 * size:.2f}" font-size="{size:.3f}" '
        f'style="--line:{0.0011 * long:.4f}px;--colour:{text(data["colour"])}" '
        f'aria-label="{text(_summary(data))}">',
        f'<defs><pattern id="hatch-{number}" width="{0.6 * size:.3f}" height="{0.6 * size:.3f}" '
        'patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        f'<path class="hatch" d="M0 0V{0.6 * size:.3f}"/></pattern></defs>',
        f'<path class="sheet" d="{shapes.path(layer.sheet.outline)}"/>',
        f'<path class="opening" d="{shapes.path(layer.sheet.openings)}"/>',
        f'<path class="hole" d="{shapes.path(layer.sheet.holes)}"/>',
    ]
    islands = _island_shapes(layer)
    lines += [
        f'<path class="island" fill="url(#hatch-{number})" d="{shapes.path(island)}"/>'
        for island in islands[:_MOST_SHAPES]
    ]
    lines += [
        f'<path class="{bridge.kind}" d="{shapes.path(bridge.shape)}"/>'
        for bridge in layer.bridges[:_MOST_SHAPES]
    ]
    room = _Room()
    # Findings first: they are what the reader must not miss.
    lines += [
        _pin(mark, finding, height, size, room)
        for mark, finding in placed_findings(data["findings"])[:MOST_LABELS]
    ]
    for key, mark, kind, scale, reach in (
        ("islands_found", "I", "island-label", 0.85, 0.0),
        ("bridges", "B", "bridge-label", 0.72, 0.9),
    ):
        for item in data[key][:MOST_LABELS]:
            x, y = item["place"]
            label, letter = f"{mark}{item['number']}", scale * size
            at = room.take(x, height - y, 0.62 * letter * len(label), letter, reach * size)
            if at is not None:
                lines.append(
                    f'<text class="{kind}" x="{at[0]:.2f}" y="{at[1] + 0.35 * letter:.2f}">'
                    f"{label}</text>"
                )
    lines.append(_scale_bar(width, height + pad + 0.6 * size, size))
    return "\n".join([*lines, "</svg>"])


def placed_findings(findings: Iterable[dict[str, Any]]) -> list[tuple[int, dict[str, Any]]]:
    """Return the findings that have a place, each with its number in the table, worst first."""
    return [
        (number, finding)
        for number, finding in enumerate(worst_first(findings), 1)
        if finding["place"] is not None
    ]


def worst_first(findings: Iterable[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return findings with those that spoil a stencil first, then warnings, then notes."""
    return sorted(findings, key=lambda f: list(PINS).index(f["severity"]))


def pin(severity: str) -> str:
    """Return the pin of a severity as a small SVG element for running text."""
    return (
        f'<svg class="pin {severity}" viewBox="-1.4 -1.4 2.8 2.8" aria-hidden="true">'
        f'<path d="{PINS[severity]}"/></svg>'
    )


class _Room:
    """Where labels stand already, so that none is set over another."""

    def __init__(self) -> None:
        self._boxes: list[tuple[float, float, float, float]] = []

    def take(
        self, x: float, y: float, width: float, height: float, reach: float
    ) -> tuple[float, float] | None:
        """Return the middle of a free box at or round a place, or None where all are taken.

        Parameters
        ----------
        x, y : float
            The place, y down.
        width, height : float
            Size of the box.
        reach : float
            Distance of the box's near side from the place; 0 for right on it.
        """
        across, along = (width / 2 + reach, height / 2 + reach) if reach else (0.0, 0.0)
        for right, down in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            at = x + right * across, y + down * along
            box = (at[0] - width / 2, at[1] - height / 2, at[0] + width / 2, at[1] + height / 2)
            if not any(
                box[0] < b[2] and b[0] < box[2] and box[1] < b[3] and b[1] < box[3]
                for b in self._boxes
            ):
                self._boxes.append(box)
                return at
        return None


def _pin(number: int, finding: dict[str, Any], height: float, size: float, room: _Room) -> str:
    """Return a finding's pin, with its number where that has room."""
    x, y = finding["place"]
    y = height - y
    reach = 1.6 * size
    at = room.take(x - reach, y - reach, 2 * size, 2 * size, 0.0)
    lines = [
        f'<g class="pin {finding["severity"]}"><title>{text(finding["message"])}</title>',
        f'<path class="stem" d="M{x:.2f} {y:.2f}l{-reach:.2f} {-reach:.2f}"/>',
        f'<path transform="translate({x - reach:.2f} {y - reach:.2f}) scale({0.85 * size:.3f})" '
        f'd="{PINS[finding["severity"]]}"/>',
    ]
    if at is not None:
        lines.append(f'<text x="{at[0]:.2f}" y="{at[1] + 0.33 * size:.2f}">{number}</text>')
    return "".join([*lines, "</g>"])


def _scale_bar(width: float, y: float, size: float) -> str:
    length = round_length(width / 4)
    shown = f"{length / 1000:g} m" if length >= 1000 else f"{length:g} mm"
    tick = 0.6 * size
    return (
        f'<path class="scale" d="M0 {y - tick:.2f}v{tick:.2f}h{length:g}v{-tick:.2f}'
        f'M{length / 2:g} {y - tick / 2:.2f}v{tick / 2:.2f}"/>'
        f'<text class="scale-label" x="{length + 0.6 * size:.2f}" y="{y:.2f}">{shown}</text>'
    )


def round_length(most: float) -> float:
    """Return the largest of 1, 2, 5, 10, 20 ... (or 0.5, 0.2 ...) that is not above ``most``.

    >>> round_length(100.0), round_length(99.0), round_length(0.3)
    (100.0, 50.0, 0.2)
    """
    power = 10.0 ** math.floor(math.log10(most))
    return max(step * power for step in (1.0, 2.0, 5.0) if step * power <= most)


def _island_shapes(layer: BuiltLayer) -> list[Polygon]:
    """Return the outlines of the islands of the plain sheet, in the islands' order."""
    if not layer.islands:
        return []
    parts = shapely.get_parts(layer.plain_sheet.shape)
    places = shapely.points([island.place for island in layer.islands])
    island, part = STRtree(parts).query(places, predicate="intersects")
    return [parts[p] for p in part[np.argsort(island, kind="stable")]]


class _Shapes:
    """Paths of shapes, turned to y down and thinned to what can be seen."""

    def __init__(self, height: float, tolerance: float) -> None:
        self._height = height
        self._tolerance = tolerance

    def path(self, shape: Polygon | MultiPolygon) -> str:
        tolerance = self._tolerance
        thin = thinned(shape, tolerance)
        while shapely.get_num_coordinates(thin) > _MOST_POINTS and tolerance < self._height:
            tolerance *= 2
            thin = thinned(shape, tolerance)
        points, ring = shapely.get_coordinates(
            shapely.get_rings(shapely.get_parts(thin)), return_index=True
        )
        if not len(points):
            return ""
        flipped = np.column_stack([points[:, 0], self._height - points[:, 1]])
        starts = np.flatnonzero(np.append(True, ring[1:] != ring[:-1]))
        # The last point of a ring repeats the first: Z draws that edge.
        loops = np.split(flipped, starts[1:])
        return "".join(
            "M" + " ".join(["%.2f %.2f"] * (len(loop) - 1)) % tuple(loop[:-1].ravel()) + "Z"
            for loop in loops
        )


def _summary(data: dict[str, Any]) -> str:
    return (
        f"Map of sheet {data['number']}, {data['name']}: {data['openings']} openings, "
        f"{len(data['islands_found'])} islands, {len(data['bridges'])} bridges, "
        f"{len(data['findings'])} findings."
    )
