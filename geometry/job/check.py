"""Checks of a job that span several of its keys; each key by itself is checked as it is read."""

from __future__ import annotations

import shapely

from ..errors import JobError
from .job import Job
from .names import file_stem
from .sections import MOST_SIDE, LayerSettings


def check_job(job: Job, name: str = "job") -> None:
    """Check what spans several keys of a job; ``read_section`` has checked each by itself.

    Raises
    ------
    JobError
        Unknown material, margin wider than the sheet, two layers of one name, hole off the sheet.
    """
    sheet = job.sheet
    if sheet.material not in job.materials:
        raise JobError(
            f"{name}: [sheet]: material = '{sheet.material}': expected one of "
            f"{', '.join(sorted(job.materials))}."
        )
    least = job.material.least_bridge(job.made_by.kind)
    if job.bridge_width < least:
        raise JobError(
            f"{name}: [bridges]: width_mm = {job.bridge_width:g}: expected at least {least:g}, the "
            f"least width that {sheet.material} allows."
        )
    if 2 * sheet.margin_mm >= min(sheet.width_mm, sheet.height_mm):
        raise JobError(
            f"{name}: [sheet]: margin_mm = {sheet.margin_mm:g}: expected less than half of the "
            f"sheet's {sheet.width_mm:g} x {sheet.height_mm:g} mm."
        )
    if len(sheet.fit_mm) > 2 or any(not 0 < v <= MOST_SIDE for v in sheet.fit_mm):
        raise JobError(
            f"{name}: [sheet]: fit_mm = {list(sheet.fit_mm)}: expected one length, or a width and "
            f"a height, above 0 and at most {MOST_SIDE:g} mm."
        )
    seen: set[str] = set()
    for layer in job.layers:
        for sheet_name in layer.sheet_names:
            slug = file_stem(sheet_name)
            if slug in seen:
                raise JobError(
                    f"{name}: two [[layers]] tables are named '{sheet_name}'; expected names that "
                    "differ in more than case and punctuation (a split layer makes sheets 'A' and "
                    "'B' of its name)."
                )
            seen.add(slug)
    for i, layer in enumerate(job.layers, 1):
        _check_artwork(layer, f"{name}: [[layers]] number {i}")
    _check_bridges(job, name)
    registration = job.registration
    radius = registration.hole_diameter_mm / 2
    for x, y in registration.holes_mm:
        if not (radius < x < sheet.width_mm - radius and radius < y < sheet.height_mm - radius):
            raise JobError(
                f"{name}: [registration]: holes_mm holds [{x:g}, {y:g}]: expected a whole hole on "
                f"the sheet's {sheet.width_mm:g} x {sheet.height_mm:g} mm."
            )


def _check_artwork(layer: LayerSettings, where: str) -> None:
    if not layer.artwork and not layer.text:
        raise JobError(
            f"{where}: the key 'artwork' is missing (artwork file, relative to the job file), or "
            "'text' and 'font' instead."
        )
    if layer.artwork and layer.text:
        raise JobError(f"{where}: expected either artwork or text, found both.")
    if layer.text and not layer.text.strip():
        raise JobError(f"{where}: text is blank: expected something to be set.")
    if layer.text and not layer.font:
        raise JobError(f"{where}: the key 'font' is missing (font file of the text).")


def _check_bridges(job: Job, name: str) -> None:
    least = job.material.least_bridge(job.made_by.kind)
    ids: set[tuple[str, str]] = set()
    for i, bridge in enumerate(job.bridges_by_hand, 1):
        where = f"{name}: [[bridge]] number {i}"
        names = [layer.name for layer in job.layers]
        if bridge.layer not in names:
            raise JobError(
                f"{where}: layer = '{bridge.layer}': expected one of {', '.join(names)}."
            )
        if len(bridge.line_mm) < 2:
            raise JobError(f"{where}: line_mm: expected two or more points, found one or none.")
        if bridge.width_mm is not None and bridge.width_mm < least:
            raise JobError(
                f"{where}: width_mm = {bridge.width_mm:g}: expected at least {least:g}, the least "
                f"width that {job.sheet.material} allows."
            )
        if bridge.id and (bridge.layer, bridge.id) in ids:
            raise JobError(f"{where}: id = '{bridge.id}': another bridge of the layer has it.")
        ids.add((bridge.layer, bridge.id))
    for i, one in enumerate(job.settled, 1):
        where = f"{name}: [[settled]] number {i}"
        for key, lot, of_each in (
            ("widths_mm", one.widths_mm, one.bridges_mm),
            ("spared", one.spared, one.let_go_mm),
        ):
            if len(lot) != len(of_each):
                raise JobError(
                    f"{where}: {key}: expected {len(of_each)} numbers, found {len(lot)}."
                )
        if any(len(line) < 4 for line in one.bridges_mm):
            raise JobError(f"{where}: bridges_mm: expected four points or more in each line.")
    for i, row in enumerate(job.stock, 1):
        if not row.outline_mm:
            continue
        outline = shapely.Polygon(row.outline_mm) if len(row.outline_mm) > 2 else None
        whole = shapely.box(0, 0, row.width_mm, row.height_mm)
        if outline is None or not outline.is_valid or not whole.covers(outline):
            raise JobError(
                f"{name}: [[stock]] number {i}: outline_mm: expected three or more corners of an "
                f"outline that does not cross itself, within {row.width_mm:g} x {row.height_mm:g} "
                "mm."
            )
    for i, part in enumerate(job.areas, 1):
        where = f"{name}: [[area]] number {i}"
        if part.layer and part.layer not in [layer.name for layer in job.layers]:
            raise JobError(
                f"{where}: layer = '{part.layer}': expected one of "
                f"{', '.join(layer.name for layer in job.layers)}, or none for all."
            )
        ways = (part.box_mm is not None, len(part.corners_mm) > 2, bool(part.drawing))
        if sum(ways) != 1:
            raise JobError(
                f"{where}: expected one of box_mm = [x, y, width, height], corners_mm with three "
                "or more corners, and drawing."
            )
        if part.box_mm is not None and min(part.box_mm[2:]) <= 0:
            raise JobError(f"{where}: box_mm: expected a width and a height above 0.")
    for area in job.bridges.keep_free_areas_mm:
        if len(area) < 3:
            raise JobError(
                f"{name}: [bridges]: keep_free_areas_mm: expected three or more corners, "
                f"found {len(area)}."
            )
