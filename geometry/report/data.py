"""The report's data: what a build made, as plain values that JSON, tables and tests share.

Schema 1. Lengths in mm, areas in mm2, volumes in mm3, masses in g; places are [x, y] from the
sheet's lower left corner, y up. A value that does not apply is null.

| key | value |
|---|---|
| schema | 1; raised when a key changes its meaning or goes |
| title, ground | the job's |
| sheet | width_mm, height_mm, margin_mm, thickness_mm, bridge_width_mm, material, material_title |
| verdict | "clean" or "spoilt": whether a finding spoils a stencil |
| totals | sums over the layers, see below, and findings: counts by severity |
| layers | in spray order, see below |
| making | process (kind), process_title, kerf_mm, care and laser_note of the material |
| estimate | currency, layers, total (ranges as [low, high]), rows and notes in words, assumptions |
| findings | those of no single layer |
| painting | what the paint does, see below; null where it was not worked out |

Painting:

| key | value |
|---|---|
| order, advised | names of the layers as the job sprays them, and in the order that is advised |
| reasons | sentences on the order |
| lighter_over_darker | in the job's order: upper, lower (names), area_mm2, lightness_step (L*) |
| reckoned_with | drift and turn of a sheet, in words |
| alone | how far each sheet alone may drift (mm) and turn (deg); null where nothing limits it |
| register | findings, the worst first |

Each layer:

| key | value |
|---|---|
| number, name, role, colour | place in the spray order from 1, then the job's |
| files | stl, cut: names of the files beside the report |
| sheet_mm2 | area of the sheet that is left |
| artwork_mm2 | area that the artwork asks for |
| painted_mm2 | area that gets paint: openings of the sheet that is cut, no registration holes |
| bridges_mm2 | area of openings that strips take away, where two lie over each other once, and
crumbs of openings between them that are too small to cut: with painted_mm2 what was to be cut |
| openings | count of the same |
| registration_holes | count |
| islands_found | what would fall out of the plain sheet: number, area_mm2, place, bounds, mass_g |
| islands_left | the same of the sheet that is cut; empty in a good stencil |
| islands_let_go | painted over, because bridges would spoil more: place, area_mm2, worth and spared
(what painting it over spoils, and what its bridges would have) in mm2 x CIEDE2000 |
| bridges | number, kind ("bridge", "neck", "mend"), id, state ("automatic", "locked"), place,
width_mm, gap_mm, covers_mm2, visible_mm2, damage, path (places) |
| damage, plain_damage | visible damage of the bridges, and of plain shortest ones as firm, in mm2 x
CIEDE2000: the area where another colour shows than the picture wants, times the difference |
| islands_held | how firmly, the sheet taken as one whole and held in the hand by its frame: place,
area_mm2, bridges, deflection_mm, stress_mpa, enough, reason, steps (bridges to the frame, by the
shortest way), chain (places of the islands on that way, from the frame outwards) |
| volume_mm3, mass_g | of the solid |
| watertight, oriented, euler | of the mesh: closed, normals outwards, vertices - edges + faces |
| vertices, faces | counts of the mesh |
| findings | code, severity ("note", "warning", "spoils"), message, place, size_mm |
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import shapely

from ..build import Build, BuiltLayer
from ..fabricate.estimate import estimate
from ..finding import Finding, Severity
from ..job.names import drawn_name, sheet_stems
from ..mesh.islands import Piece
from ..paint.painting import Painting
from ..support.bridges import Bridge
from ..support.held_islands import HeldIsland
from .estimate_text import estimate_data

SCHEMA = 1
#: Decimals of mm and mm2 in the report: a tenth of a micrometre.
_DECIMALS = 4


def report_data(build: Build, painting: Painting | None = None) -> dict[str, Any]:
    """Return what a build made, ready for ``json.dumps``.

    Parameters
    ----------
    build : Build
    painting : Painting, optional
        Of the same build.

    Returns
    -------
    dict
        See the module's text for the schema.
    """
    job = build.job
    layers = [
        _layer(build, number, stem, layer)
        for number, (stem, layer) in enumerate(zip(sheet_stems(job), build.layers, strict=True), 1)
    ]
    general = [f for f in build.findings if not f.layer]
    summed = (
        *("sheet_mm2", "artwork_mm2", "painted_mm2", "bridges_mm2", "openings", "volume_mm3"),
        *("damage", "plain_damage"),
    )
    return {
        "schema": SCHEMA,
        "title": job.title,
        "ground": job.ground,
        "sheet": {
            "width_mm": job.sheet.width_mm,
            "height_mm": job.sheet.height_mm,
            "margin_mm": job.sheet.margin_mm,
            "thickness_mm": job.sheet.thickness_mm,
            "material": job.sheet.material,
            "material_title": job.material.title,
            "bridge_width_mm": job.bridge_width,
        },
        "verdict": "spoilt" if build.spoilt else "clean",
        "totals": {
            "layers": len(layers),
            **{key: _rounded(sum(layer[key] for layer in layers)) for key in (*summed, "mass_g")},
            **{
                key: sum(len(layer[key]) for layer in layers)
                for key in ("islands_found", "islands_left", "islands_let_go", "bridges")
            },
            "findings": {
                severity.name.lower(): sum(f.severity is severity for f in build.findings)
                for severity in Severity
            },
        },
        "layers": layers,
        "making": {
            "process": job.made_by.kind,
            "process_title": job.made_by.title,
            "kerf_mm": job.made_by.kerf_mm,
            "care": job.material.care,
            "laser_note": job.material.laser_note if job.made_by.kind == "laser" else "",
        },
        "estimate": estimate_data(estimate(build)),
        "findings": [_finding(f) for f in general],
        "painting": _painting(painting) if painting else None,
    }


def _painting(painting: Painting) -> dict[str, Any]:
    names, given = painting.wall.names, painting.orders.given
    drift = painting.drift
    return {
        "order": [names[k] for k in given.order],
        "advised": [names[k] for k in painting.orders.best.order],
        "reasons": list(painting.orders.reasons),
        "lighter_over_darker": [
            {
                "upper": names[covering.upper],
                "lower": names[covering.lower],
                "area_mm2": _rounded(covering.area_mm2),
                "lightness_step": _rounded(covering.lightness_step),
            }
            for covering in given.coverings
        ],
        "reckoned_with": drift.allowance.sentence(),
        "alone": [
            {
                "name": name,
                "drift_mm": _maybe(drift.layer_mm(number)),
                "turn_deg": _maybe(drift.layer_deg(number)),
            }
            for number, name in enumerate(names)
        ],
        "register": [_finding(f) for f in painting.register],
    }


def _maybe(value: float | None) -> float | None:
    return None if value is None else _rounded(value)


def _layer(build: Build, number: int, stem: str, layer: BuiltLayer) -> dict[str, Any]:
    settings, sheet, mesh = layer.settings, layer.sheet, layer.mesh
    return {
        "number": number,
        "name": settings.name,
        "role": settings.role,
        "colour": settings.colour,
        "files": {"stl": f"{stem}.stl", "cut": drawn_name(stem)},
        "sheet_mm2": _area(sheet.shape),
        "artwork_mm2": _area(layer.artwork.shape),
        "painted_mm2": _area(sheet.openings),
        "bridges_mm2": _rounded(sheet.shape.area - layer.plain_sheet.shape.area),
        "openings": len(sheet.openings.geoms),
        "registration_holes": len(sheet.holes.geoms),
        "islands_found": _islands(build, layer.islands),
        "islands_left": _islands(build, layer.islands_left),
        "islands_let_go": [
            {
                "place": _point(island.place),
                "area_mm2": _rounded(island.shape.area),
                "worth": _rounded(island.worth),
                "spared": _rounded(island.spared),
            }
            for island in layer.let_go
        ],
        "bridges": [_bridge(k, b) for k, b in enumerate(layer.bridges, 1)],
        "damage": _rounded(layer.damage),
        "plain_damage": _rounded(layer.plain_damage),
        "islands_held": [_held(island) for island in layer.held_islands],
        "volume_mm3": layer.volume_mm3,
        "mass_g": layer.mass_g,
        "watertight": layer.soundness.watertight,
        "oriented": layer.soundness.oriented,
        "euler": layer.soundness.euler,
        "vertices": len(mesh.vertices),
        "faces": len(mesh.faces),
        "findings": [_finding(f) for f in layer.findings],
    }


def _islands(build: Build, pieces: Iterable[Piece]) -> list[dict[str, Any]]:
    material, thickness = build.job.material, build.job.sheet.thickness_mm
    return [
        {
            "number": number,
            "area_mm2": _rounded(piece.area_mm2),
            "place": _point(piece.place),
            "bounds": _point(piece.bounds),
            "mass_g": _rounded(material.mass_g(piece.area_mm2 * thickness)),
        }
        for number, piece in enumerate(pieces, 1)
    ]


def _held(island: HeldIsland) -> dict[str, Any]:
    return {
        "place": _point(island.place),
        "area_mm2": _rounded(island.area_mm2),
        "bridges": island.bridges,
        "deflection_mm": _rounded(island.hold.deflection_mm),
        "stress_mpa": _rounded(island.hold.stress_mpa),
        "enough": island.enough,
        "reason": island.reason,
        "steps": island.steps,
        "chain": [_point(place) for place in island.chain],
    }


def _bridge(number: int, bridge: Bridge) -> dict[str, Any]:
    return {
        "number": number,
        "kind": bridge.kind,
        "id": bridge.name,
        "state": bridge.state,
        "place": _point(bridge.place),
        "width_mm": _rounded(bridge.width),
        "gap_mm": _rounded(bridge.gap),
        "covers_mm2": _rounded(bridge.covers),
        "visible_mm2": _rounded(bridge.visible_mm2),
        "damage": _rounded(bridge.damage),
        "path": [_point(point) for point in bridge.path.tolist()],
    }


def _finding(finding: Finding) -> dict[str, Any]:
    return {
        "code": finding.code,
        "severity": finding.severity.name.lower(),
        "message": finding.message,
        "place": None if finding.place is None else _point(finding.place),
        "size_mm": None if finding.size_mm is None else _rounded(finding.size_mm),
    }


def _area(shape: shapely.Geometry) -> float:
    return _rounded(float(shapely.area(shape)))


def _rounded(value: float) -> float:
    return round(value, _DECIMALS)


def _point(values: Iterable[float]) -> list[float]:
    return [_rounded(float(v)) for v in values]
