"""Outputs: every file that a build writes, all together or none."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from pathlib import Path

import shapely

from ..build import Build, BuiltLayer
from ..fabricate.cut_sheet import CutSheet
from ..fabricate.kerf import cut_paths
from ..files.atomic import atomic
from ..files.batch import output_batch
from ..files.cut_svg import cut_svg
from ..files.png import png_bytes
from ..files.read_back import judge_stl
from ..files.stl import write_stl
from ..geos_fault import geos_told
from ..job.names import (
    CARE_SHOWN,
    DRIFT,
    PLAIN,
    PREVIEW,
    REPORT,
    REPORT_DATA,
    STACK,
    drawn_name,
    sheet_stems,
)
from ..mesh.check import LEAKS, leak_finding, wanted_of_plate
from ..paint.painting import Painting, painting_of
from ..progress import Progress
from .care_picture import care_picture, has_care
from .data import report_data
from .drift_picture import drift_picture
from .preview import plain_preview_bytes, write_preview
from .report_html import report_html
from .stack_picture import write_stack_picture

#: Order and drift of artwork with more corners or layers than this are left to ``sheetstack
#: proof``: they would take longer than all the rest. Of layers every pair is looked at.
MOST_CORNERS, MOST_LAYERS = 100_000, 60


@dataclass(frozen=True)
class Outputs:
    """What was written of a build.

    Parameters
    ----------
    files : tuple of Path
        In the order of writing: ``01-name.stl``, ``01-name-as-drawn.svg`` and so on,
        ``preview.png``, ``stack.png``, ``report.json``, ``report.html``.
    build : Build
        The build with the verdict on each solid's file, read back, in place of the one on the mesh.
    """

    files: tuple[Path, ...]
    build: Build


def write_outputs(build: Build, folder: Path | str, progress: Progress | None = None) -> Outputs:
    """Write a build's files: for each layer a solid and cut paths, then pictures and report.

    They appear together at the end; on any error, on cancelling and on Ctrl-C the folder stays as
    it was. Files of the same names are replaced, others are left alone.

    Parameters
    ----------
    build : Build
    folder : Path or str
        Made when missing.
    progress : Progress, optional
        Told of each file; may raise ``Cancelled``.

    Returns
    -------
    Outputs

    Raises
    ------
    WriteError
        The folder cannot be made or a file not be written.
    Cancelled
    """
    progress = progress or Progress()
    folder = Path(folder)
    sheets = progress.part(0.0, 0.5)
    count = len(build.layers)
    layers: list[BuiltLayer] = []
    with output_batch(folder, kind="build", job=build.job.title) as batch:
        for number, (stem, layer) in enumerate(
            zip(sheet_stems(build.job), build.layers, strict=True)
        ):
            sheets(number / count, f"{layer.settings.name}: writing the solid")
            title = f"{build.job.title}: {layer.settings.name}, mm"
            solid = batch.path(f"{stem}.stl")
            with geos_told(f"Writing {layer.settings.name}"):
                write_stl(solid, layer.mesh.vertices, layer.mesh.faces, title)
                layers.append(_judged(layer, solid))
                sheets((number + 0.6) / count, f"{layer.settings.name}: writing the cut paths")
                _write_drawn(batch.path(drawn_name(stem)), build, layer)
        build = replace(build, layers=tuple(layers))
        progress(0.5, "painting the preview")
        preview, stack = batch.path(PREVIEW), batch.path(STACK)
        write_preview(preview, build)
        write_stack_picture(stack, build, progress=progress.part(0.6, 0.8))
        painting = _painting(build, progress.part(0.8, 0.88))
        progress(0.88, "writing the report")
        data = report_data(build, painting)
        with atomic(batch.path(REPORT_DATA), "w") as file:
            file.write(json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n")
        progress(0.9, "drawing the report's maps")
        images = {PREVIEW: preview.read_bytes(), STACK: stack.read_bytes()}
        if data["totals"]["plain_damage"]:
            images[PLAIN] = plain_preview_bytes(build)
        if painting is not None:
            images[DRIFT] = png_bytes(drift_picture(painting.wall, painting.drift))
        if has_care(build):
            images[CARE_SHOWN] = png_bytes(care_picture(build))
        html = report_html(build, data, images)
        with atomic(batch.path(REPORT), "w") as file:
            file.write(html)
        progress(1.0, "putting the files in place")
    return Outputs(tuple(folder / name for name in batch.names), build)


def _painting(build: Build, progress: Progress) -> Painting | None:
    """Return what the paint does, None where that takes longer than the build."""
    corners = sum(shapely.get_num_coordinates(layer.artwork.shape) for layer in build.layers)
    large = corners > MOST_CORNERS or len(build.layers) > MOST_LAYERS
    return None if large else painting_of(build, progress)


def _judged(layer: BuiltLayer, solid: Path) -> BuiltLayer:
    """Return a layer with the verdict on its file, which the report gives."""
    sheet, name = layer.sheet, layer.settings.name
    sound, fault = judge_stl(solid, wanted_of_plate(sheet.shape, sheet.thickness))
    findings = [f for f in layer.findings if f.code != LEAKS]
    if fault:
        findings.append(leak_finding(fault, name))
    return replace(layer, soundness=sound, fault=fault, findings=tuple(findings))


def drawn_sheet(build: Build, layer: BuiltLayer) -> CutSheet:
    """Return a built sheet to be cut along its edges as drawn: no kerf taken off, not split."""
    sheet = build.job.sheet
    name = layer.settings.name
    size = (sheet.width_mm, sheet.height_mm)
    return CutSheet(name, size, cut_paths(layer.sheet.shape, 0.0, layer=name))


def _write_drawn(path: Path, build: Build, layer: BuiltLayer) -> None:
    note = (
        f"{build.job.material.title}, {build.job.sheet.thickness_mm:g} mm. Edges as drawn: "
        "'sheetstack export' takes the kerf off."
    )
    with atomic(path, "w") as file:
        file.write(cut_svg(drawn_sheet(build, layer), title=build.job.title, note=note))
