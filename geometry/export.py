"""Export: files for machines and hands, in the formats that the artist asks for."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TypeVar

import numpy as np

from .build import Build
from .cautions import cautions_text
from .errors import JobError
from .fabricate.cut_sheet import CutSheet
from .fabricate.drill_template import drill_template
from .fabricate.estimate import Estimate, estimate
from .fabricate.hand_cutting import hand_cutting_text
from .fabricate.making import Making, making_of
from .fabricate.nesting import nest
from .fabricate.patches import Patch, patch_for, patch_sheet, place_marks
from .fabricate.pieces import (
    MadeSheet,
    SheetToMake,
    paper_sheet,
    printed_pieces,
    sheets_to_make,
)
from .fabricate.printed import PrintedSheet
from .fabricate.spray_schedule import schedule_of_build
from .fabricate.stock import NestPart, StockLayout, lay_on_stock, parts_of, stock_text
from .fabricate.wall_pins import WallPin
from .fabricate.wall_plan import wall_plan
from .files.assembly_svg import assembly_svg
from .files.batch import Batch, output_batch
from .files.cut_dxf import cut_dxf
from .files.cut_svg import cut_svg
from .files.paper_pdf import write_paper_pdf
from .files.read_back import judge_stl, judge_three_mf
from .files.stl import write_stl
from .files.three_mf import PrintedPart, write_three_mf
from .files.wall_plan_svg import wall_plan_csv, wall_plan_svg
from .finding import Finding, Severity
from .geos_fault import geos_told
from .job.job import Job
from .job.names import cut_stem, file_stem, print_stem
from .mesh.check import leak_finding, wanted_of_mesh
from .mesh.solid import Mesh
from .progress import Progress
from .report.estimate_text import estimate_text
from .report.schedule_text import schedule_csv, schedule_text
from .threads import watched

_Result = TypeVar("_Result")

FORMATS = ("svg", "dxf", "pdf", "stl", "3mf")
#: Width in mm of the scrap that patches are laid out on: cut by a machine, and on an A4 page.
PATCHES_WIDTH, PATCHES_ON_PAPER = 200.0, 180.0
CAUTIONS, ESTIMATE = "cautions.txt", "estimate.txt"


@dataclass(frozen=True)
class Export:
    """What was written.

    Parameters
    ----------
    files : tuple of Path
    findings : tuple of Finding
        Of kerf, tiles, printing and nesting.
    used_share : float or None
        Share of the stock sheets that nested pieces use; None where nothing was nested.
    estimate : Estimate or None
        Of the build whose sheets these are, where one was given.
    stock : StockLayout or None
        How pieces lie on stock, where they were nested.
    """

    files: tuple[Path, ...]
    findings: tuple[Finding, ...]
    used_share: float | None = None
    estimate: Estimate | None = None
    stock: StockLayout | None = None


def export_build(
    build: Build,
    formats: Sequence[str],
    folder: Path | str,
    *,
    nested: bool = False,
    patches: str = "",
    also: Sequence[NestPart] = (),
    progress: Progress | None = None,
) -> Export:
    """Write the sheets of a build for the machine, with cautions and estimate beside them.

    Parameters
    ----------
    build, formats, folder, nested, patches, also, progress
        See :func:`export_sheets`.
    """
    return export_sheets(
        build.job,
        sheets_to_make(build),
        formats,
        folder,
        nested=nested,
        patches=patches,
        also=also,
        progress=progress,
        build=build,
    )


def export_sheets(
    job: Job,
    sheets: Sequence[SheetToMake],
    formats: Sequence[str],
    folder: Path | str,
    *,
    nested: bool = False,
    patches: str = "",
    also: Sequence[NestPart] = (),
    progress: Progress | None = None,
    build: Build | None = None,
    note: str = "",
) -> Export:
    """Write sheets for the machine; all files appear together at the end, or none.

    Parameters
    ----------
    job : Job
    sheets : sequence of SheetToMake
    formats : sequence of str
        Of ``FORMATS``. ``svg`` and ``dxf``: a file for each piece to cut; ``pdf``: each sheet on
        paper at true size; ``stl``: a file for each solid; ``3mf``: a file for each bed.
    folder : Path or str
    nested : bool
        Also lay all pieces to cut together on stock sheets (``stock-1.svg`` and so on).
    patches : str
        Bridges to write patches for: ``"2.7 2.9"`` (layer number, bridge number) or ``"all"``.
    also : sequence of NestPart
        Pieces of other jobs that are nested with these.
    progress : Progress, optional
        May raise ``Cancelled``.
    build : Build, optional
        Where the sheets come from; an estimate of it is written then.
    note : str
        A sentence more for the estimate.

    Returns
    -------
    Export

    Raises
    ------
    JobError
        Unknown format, or a patch for a bridge that is not there.
    GeometryError
        The bed is too small.
    WriteError
    Cancelled
    """
    check_formats(formats)
    progress = progress or Progress()
    folder = Path(folder)
    chosen = chosen_patches(sheets, patches)
    share: float | None = None
    layout: StockLayout | None = None
    with output_batch(folder, kind="export", job=job.title) as batch:
        task = _Task(job, frozenset(formats), batch)
        # Where a printer makes the sheets, paths are worked out only if asked for.
        cut = task.cutting or job.made_by.kind != "printer"
        making = making_of(job, sheets, progress.part(0.0, 0.4), cut=cut)
        findings = [finding for one in making.sheets for finding in one.findings]
        parts: list[tuple[SheetToMake, PrintedSheet]] = []
        count = len(sheets)
        for number, (one, cuts) in enumerate(zip(making.sheets, making.pieces, strict=True)):
            stretch = progress.part(0.4 + 0.4 * number / count, 0.4 + 0.4 * (number + 1) / count)
            with geos_told(f"Making {one.sheet.name} for the machine"):
                written = _write_sheet(task, one, cuts, making.pins, stretch)
            parts += [(one.sheet, part) for part in written.parts]
            findings += written.findings
        if "3mf" in formats:
            progress(0.8, "laying solids on beds")
            findings += _write_beds(task, parts)
        if nested and task.cutting:
            progress(0.85, "nesting")
            to_nest = [*parts_of(making), *also]
            with geos_told("Nesting the pieces"):
                layout, of_stock = _write_stock(task, to_nest, progress.part(0.85, 0.9))
            findings += of_stock
            share = layout.used_share
        told = None
        if build is not None:
            laid = None if also else layout
            told = _heard(
                progress.part(0.9, 0.9), "the estimate", lambda: estimate(build, making, laid)
            )
        progress(0.9, "templates and texts")
        _write_template(task)
        if any(one.is_split for one in making.sheets):
            progress(0.92, "the plan of the wall and the spray schedule")
            with geos_told("Planning the tiles on the wall"):
                _write_wall(task, making, build, progress.part(0.92, 0.95))
        if chosen and (task.cutting or task.on_paper):
            _write_patches(task, sheets, chosen)
        if told is not None:
            text = estimate_text(told) + (f"\n{note}\n" if note else "")
            _write_text(batch.path(ESTIMATE), text)
        _write_text(batch.path(CAUTIONS), cautions_text(job.made_by.kind, "paint", "wall"))
        progress(1.0, "putting the files in place")
    return Export(
        tuple(folder / name for name in batch.names), tuple(findings), share, told, layout
    )


@dataclass(frozen=True)
class _Task:
    """What all steps of one export share."""

    job: Job
    formats: frozenset[str]
    batch: Batch

    @property
    def cutting(self) -> bool:
        """Whether files for a cutter are wanted."""
        return bool(self.formats & {"svg", "dxf"})

    @property
    def solid(self) -> bool:
        """Whether files for a printer are wanted."""
        return bool(self.formats & {"stl", "3mf"})

    @property
    def on_paper(self) -> bool:
        """Whether pages to be cut by hand are wanted."""
        return "pdf" in self.formats


@dataclass(frozen=True)
class _Written:
    """What came of one sheet: parts to print, and what is worth telling."""

    parts: tuple[PrintedSheet, ...]
    findings: tuple[Finding, ...]


def _write_sheet(
    task: _Task,
    one: MadeSheet,
    pieces: tuple[CutSheet, ...],
    pins: tuple[WallPin, ...],
    progress: Progress,
) -> _Written:
    """Write all files of one sheet."""
    job, sheet = task.job, one.sheet
    parts: tuple[PrintedSheet, ...] = ()
    findings: list[Finding] = []
    if task.cutting:
        count = len(pieces)
        for k, (tile, piece) in enumerate(zip(one.tiling.tiles, pieces, strict=True)):
            progress(k / count / 3, f"{sheet.name}: cut paths {tile.name}".rstrip())
            _write_cut(task, cut_stem(sheet.stem, tile.name), piece)
            findings += piece.cuts.findings
    if one.is_split and (task.cutting or task.solid):
        _write_assembly(task, one, pins, progress)
    if task.on_paper:
        path = task.batch.path(f"{sheet.stem}.pdf")
        stretch = progress.part(1 / 3, 1 / 2)
        paper = _heard(stretch, f"{sheet.name}: pages", lambda: paper_sheet(job, sheet))
        write_paper_pdf(path, paper, job.paper, title=job.title)
        told = hand_cutting_text(sheet.name, paper.cuts, job.made_by.blade_life_m)
        _write_text(task.batch.path(f"{sheet.stem}-by-hand.txt"), told)
    if task.solid:
        stretch = progress.part(1 / 2, 1.0)
        found = _heard(stretch, f"{sheet.name}: solids", lambda: printed_pieces(job, one))
        parts = found.pieces
        findings += found.findings
        if "stl" in task.formats:
            for part in parts:
                findings += _write_solid(task, sheet, part)
    return _Written(parts, tuple(findings))


def check_formats(formats: Sequence[str]) -> None:
    """Check that every format is one of ``FORMATS`` and that there is one.

    Raises
    ------
    JobError
    """
    unknown = sorted(set(formats) - set(FORMATS))
    if unknown or not formats:
        raise JobError(
            f"Format {', '.join(unknown) or '(none)'}: expected one or more of "
            f"{', '.join(FORMATS)}."
        )


def chosen_patches(sheets: Sequence[SheetToMake], which: str) -> dict[int, list[Patch]]:
    """Return the patches that a text asks for, by the number of their sheet.

    Parameters
    ----------
    sheets : sequence of SheetToMake
    which : str
        ``"2.7, 2.9"``, ``"all"``, or empty for none.

    Raises
    ------
    JobError
        A word that names no bridge; the sentence says which there are.
    """
    by_name = {
        f"{sheet.number}.{k}": (sheet, bridge)
        for sheet in sheets
        for k, bridge in enumerate(sheet.bridges, 1)
    }
    words = list(by_name) if which == "all" else re.findall(r"[^\s,]+", which)
    chosen: dict[int, list[Patch]] = {}
    for word in words:
        if word not in by_name:
            counts = ", ".join(
                f"{s.number}.1 to {s.number}.{len(s.bridges)}" for s in sheets if s.bridges
            )
            raise JobError(
                f"Patch '{word}': expected layer and bridge number, one of {counts or 'none'}."
            )
        sheet, bridge = by_name[word]
        chosen.setdefault(sheet.number, []).append(patch_for(bridge, sheet.shape, word))
    return chosen


def _heard(progress: Progress, what: str, work: Callable[[], _Result]) -> _Result:
    """Do work that tells no progress, and writes nothing, so that it can be left meanwhile."""

    def run(own: Progress) -> _Result:
        own(0.0, what)
        return work()

    return watched(progress, run)


def _write_text(path: Path, text: str) -> None:
    """Write a file of a batch, which forces it to the disk and puts it in place with the others."""
    path.write_text(text, encoding="utf-8", newline="\n")


def _write_cut(task: _Task, stem: str, piece: CutSheet) -> None:
    job, batch = task.job, task.batch
    kerf = job.made_by.kerf_mm
    note = f"{job.material.title}, {job.sheet.thickness_mm:g} mm; kerf {kerf:g} mm taken off."
    if "svg" in task.formats:
        _write_text(batch.path(f"{stem}.svg"), cut_svg(piece, title=job.title, note=note))
    if "dxf" in task.formats:
        _write_text(batch.path(f"{stem}.dxf"), cut_dxf(piece, title=job.title))


def _write_assembly(
    task: _Task, one: MadeSheet, pins: Sequence[WallPin], progress: Progress
) -> None:
    sheet = one.sheet
    x0, y0, x1, y1 = sheet.shape.bounds
    tiles = [(tile.name, tile.shape) for tile in one.tiling.tiles]
    title = f"{sheet.number} {sheet.name}: {len(tiles)} tiles, seen from the spray side"
    here = [(f"P{p.number}", p.at, p.diameter) for p in pins if sheet.name not in p.pulled_for]
    text = _heard(
        progress.part(1.0, 1.0),
        f"{sheet.name}: map of tiles",
        lambda: assembly_svg(tiles, (x0, y0, x1, y1), title, here),
    )
    _write_text(task.batch.path(f"{sheet.stem}-assembly.svg"), text)


def _write_solid(task: _Task, sheet: SheetToMake, piece: PrintedSheet) -> list[Finding]:
    """Write one solid and judge the file."""
    path = task.batch.path(f"{print_stem(sheet.stem, piece.name)}.stl")
    header = f"{task.job.title}: {sheet.name} {piece.name}, mm"
    write_stl(path, piece.mesh.vertices, piece.mesh.faces, header)
    _, fault = judge_stl(path, wanted_of_mesh(piece.mesh, piece.euler))
    return [leak_finding(fault, sheet.name)] if fault else []


def _write_beds(task: _Task, parts: Sequence[tuple[SheetToMake, PrintedSheet]]) -> list[Finding]:
    """Write one 3MF file for each bed full of solids; one too big for the bed gets its own."""
    job, batch = task.job, task.batch
    boxes = [
        (p.mesh.vertices[:, :2].min(axis=0), p.mesh.vertices[:, :2].max(axis=0)) for _, p in parts
    ]
    sizes = [(float(b[0] - a[0]), float(b[1] - a[1])) for a, b in boxes]
    tiles = job.tiles
    found = nest(sizes, job.made_by.bed, spacing=tiles.spacing_mm, edge=tiles.bed_margin_mm)
    beds: list[list[tuple[PrintedPart, SheetToMake, PrintedSheet]]] = [
        [] for _ in range(found.stocks)
    ]
    for placing in found.placings:
        sheet, piece = parts[placing.piece]
        mesh, low = piece.mesh, boxes[placing.piece][0]
        if placing.turned:
            mesh = _turned(mesh)
            low = mesh.vertices[:, :2].min(axis=0)
        at = (placing.x - float(low[0]), placing.y - float(low[1]), 0.0)
        beds[placing.stock].append((_part(sheet, piece, mesh, at), sheet, piece))
    stem = file_stem(job.title)
    told = []
    for number, bed in enumerate(beds, 1):
        told += _write_bed(batch.path(f"{stem}-bed-{number}.3mf"), bed, job)
    for k in found.left_over:
        sheet, piece = parts[k]
        part = _part(sheet, piece, piece.mesh, (0.0, 0.0, 0.0))
        path = batch.path(f"{print_stem(sheet.stem, piece.name)}.3mf")
        told += _write_bed(path, [(part, sheet, piece)], job)
        what = f"{sizes[k][0]:.0f} x {sizes[k][1]:.0f} mm"
        told.append(_bigger_than_bed(f"A solid of {what}", job, sheet.name))
    return told


def _write_bed(
    path: Path, bed: Sequence[tuple[PrintedPart, SheetToMake, PrintedSheet]], job: Job
) -> list[Finding]:
    """Write one 3MF file and judge every solid in it."""
    write_three_mf(path, [part for part, _, _ in bed], title=job.title)
    faults = judge_three_mf(path, [wanted_of_mesh(p.mesh, p.euler) for _, _, p in bed])
    return [
        leak_finding(fault, sheet.name)
        for fault, (_, sheet, _) in zip(faults, bed, strict=True)
        if fault
    ]


def _bigger_than_bed(what: str, job: Job, layer: str = "") -> Finding:
    width, height = job.made_by.bed
    return Finding(
        "export.bigger-than-bed",
        Severity.WARNING,
        f"{what} does not fit the bed of {width:g} x {height:g} mm.",
        layer,
    )


def _part(
    sheet: SheetToMake, piece: PrintedSheet, mesh: Mesh, at: tuple[float, float, float]
) -> PrintedPart:
    name = " ".join(part for part in (str(sheet.number), sheet.name, piece.name) if part)
    return PrintedPart(name, sheet.colour, mesh, at)


def _turned(mesh: Mesh) -> Mesh:
    turned = np.stack([-mesh.vertices[:, 1], mesh.vertices[:, 0], mesh.vertices[:, 2]], axis=1)
    return Mesh(turned, mesh.faces.copy())


def _write_stock(
    task: _Task, parts: Sequence[NestPart], progress: Progress
) -> tuple[StockLayout, list[Finding]]:
    """Write all pieces together on as few stock sheets as nesting finds, and what they are."""
    layout = watched(progress, partial(lay_on_stock, task.job, parts))
    for blank, sheet in zip(layout.blanks, layout.sheets, strict=True):
        _write_cut(task, f"stock-{blank.name}", sheet)
    _write_text(task.batch.path("stock-plan.txt"), stock_text(task.job, layout))
    told = [
        Finding("export.no-stock", Severity.WARNING, f"No stock is left for {name}.")
        for name in layout.left_over
    ]
    return layout, told


def _write_template(task: _Task) -> None:
    """Write the drill template of the registration holes, where there are any."""
    template = drill_template(task.job)
    if template is None:
        return
    _write_cut(task, "drill-template", template)
    if task.on_paper:
        path = task.batch.path("drill-template.pdf")
        write_paper_pdf(path, template, task.job.paper, title=task.job.title)


def _write_wall(task: _Task, making: Making, build: Build | None, progress: Progress) -> None:
    """Write what a wall of tiles needs: the plan of lines and holes, and when to spray what."""
    job, batch = task.job, task.batch
    plan = wall_plan(job, making.pins)
    first = next(one for one in making.sheets if one.is_split)
    tiles = [tile.shape for tile in first.tiling.tiles]
    title = f"{job.title}: wall plan"
    _write_text(
        batch.path("wall-plan.svg"),
        _heard(progress, "plan of the wall", lambda: wall_plan_svg(plan, title, tiles)),
    )
    _write_text(batch.path("wall-plan.csv"), wall_plan_csv(plan))
    if build is not None:
        steps = _heard(progress, "spray schedule", lambda: schedule_of_build(build, making))
        _write_text(batch.path("spray-schedule.txt"), schedule_text(job, steps))
        _write_text(batch.path("spray-schedule.csv"), schedule_csv(steps))


def _write_patches(
    task: _Task, sheets: Sequence[SheetToMake], chosen: dict[int, list[Patch]]
) -> None:
    """Write the patches together, and for each sheet a drawing of where they go."""
    job, batch = task.job, task.batch
    every = [patch for patches in chosen.values() for patch in patches]
    _write_cut(task, "patches", patch_sheet(every, PATCHES_WIDTH, job.made_by.kerf_mm))
    if task.on_paper:
        by_hand = patch_sheet(every, PATCHES_ON_PAPER)
        write_paper_pdf(batch.path("patches.pdf"), by_hand, job.paper, title=job.title)
    for sheet in sheets:
        if sheet.number not in chosen:
            continue
        plain = paper_sheet(job, sheet)
        marked = CutSheet(
            f"{sheet.name}: places of patches",
            plain.size,
            plain.cuts,
            plain.engraved,
            place_marks(chosen[sheet.number]),
        )
        text = cut_svg(marked, title=job.title, note="Not to be cut: places of patches.")
        _write_text(batch.path(f"{sheet.stem}-patch-places.svg"), text)
