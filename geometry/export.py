"""Export: files for machines and hands, in the formats that the artist asks for."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from .build import Build
from .cautions import cautions_text
from .errors import JobError
from .fabricate.cut_sheet import CutSheet, laid_together
from .fabricate.drill_template import drill_template
from .fabricate.estimate import estimate
from .fabricate.nesting import nest
from .fabricate.patches import Patch, patch_for, patch_sheet, place_marks
from .fabricate.pieces import (
    MadeSheet,
    SheetToMake,
    cut_pieces,
    made_sheet,
    paper_sheet,
    printed_pieces,
    sheets_to_make,
)
from .fabricate.printed import PrintedSheet
from .fabricate.tiling import Tiling
from .files.assembly_svg import assembly_svg
from .files.atomic import Batch, atomic, output_batch
from .files.cut_dxf import cut_sheet_dxf
from .files.cut_svg import cut_sheet_svg
from .files.paper_pdf import write_paper_pdf
from .files.stl import write_stl
from .files.three_mf import PrintedPart, write_three_mf
from .finding import Finding, Severity
from .job.job import Job
from .job.names import file_stem
from .mesh.solid import Mesh
from .progress import Progress
from .report.estimate_text import estimate_text

FORMATS = ("svg", "dxf", "pdf", "stl", "3mf")
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
    """

    files: tuple[Path, ...]
    findings: tuple[Finding, ...]
    used_share: float | None = None


def export_build(
    build: Build,
    formats: Sequence[str],
    folder: Path | str,
    *,
    nested: bool = False,
    patches: str = "",
    progress: Progress | None = None,
) -> Export:
    """Write the sheets of a build for the machine, with cautions and estimate beside them.

    Parameters
    ----------
    build, formats, folder, nested, patches, progress
        See :func:`export_sheets`.
    """
    text = estimate_text(estimate(build))
    return export_sheets(
        build.job,
        sheets_to_make(build),
        formats,
        folder,
        nested=nested,
        patches=patches,
        progress=progress,
        texts={ESTIMATE: text},
    )


def export_sheets(
    job: Job,
    sheets: Sequence[SheetToMake],
    formats: Sequence[str],
    folder: Path | str,
    *,
    nested: bool = False,
    patches: str = "",
    progress: Progress | None = None,
    texts: dict[str, str] | None = None,
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
    progress : Progress, optional
        May raise ``Cancelled``.
    texts : dict, optional
        More text files, by name.

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
    process = job.made_by
    findings: list[Finding] = []
    share: float | None = None
    cutting = any(f in formats for f in ("svg", "dxf"))
    solid = any(f in formats for f in ("stl", "3mf"))
    with output_batch(folder) as batch:
        made: list[MadeSheet] = []
        for number, sheet in enumerate(sheets):
            progress(0.2 * number / len(sheets), f"{sheet.name}: fitting it to the bed")
            made.append(made_sheet(job, sheet))
            findings += made[-1].findings
        cut: list[CutSheet] = []
        parts: list[tuple[MadeSheet, PrintedSheet]] = []
        for number, one in enumerate(made):
            at = 0.2 + 0.6 * number / len(made)
            if cutting:
                progress(at, f"{one.sheet.name}: cut paths")
                pieces = cut_pieces(job, one)
                findings += (f for piece in pieces for f in piece.cuts.findings)
                for tile, piece in zip(one.tiling.tiles, pieces, strict=True):
                    stem = f"{one.sheet.stem}-{tile.name}" if tile.name else one.sheet.stem
                    _write_cut(batch, stem, piece, job, formats)
                cut += pieces
            if one.is_split and (cutting or solid):
                _write_assembly(batch, one.sheet, one.tiling)
            if "pdf" in formats:
                progress(at + 0.2 / len(made), f"{one.sheet.name}: pages")
                path = batch.path(f"{one.sheet.stem}.pdf")
                write_paper_pdf(path, paper_sheet(job, one.sheet), job.paper, title=job.title)
            if solid:
                progress(at + 0.3 / len(made), f"{one.sheet.name}: solids")
                found = printed_pieces(job, one)
                findings += found.findings
                for solid_piece in found.pieces:
                    parts.append((one, solid_piece))
                    if "stl" in formats:
                        _write_solid(batch, one.sheet, solid_piece, job.title)
        if "3mf" in formats:
            progress(0.8, "laying solids on beds")
            findings += _write_beds(batch, job, parts)
        if nested and cutting:
            progress(0.85, "nesting")
            share, more = _write_stock(batch, job, cut, formats)
            findings += more
        progress(0.9, "templates and texts")
        template = drill_template(job)
        if template is not None:
            _write_cut(batch, "drill-template", template, job, formats)
            if "pdf" in formats:
                path = batch.path("drill-template.pdf")
                write_paper_pdf(path, template, job.paper, title=job.title)
        if chosen and (cutting or "pdf" in formats):
            _write_patches(batch, job, sheets, chosen, formats)
        for name, text in (texts or {}).items():
            _write_text(batch.path(name), text)
        _write_text(batch.path(CAUTIONS), cautions_text(process.kind, "paint", "wall"))
        progress(1.0, "putting the files in place")
    return Export(tuple(folder / name for name in batch.names), tuple(findings), share)


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


def _write_text(path: Path, text: str) -> None:
    with atomic(path, "w") as file:
        file.write(text)


def _write_cut(batch: Batch, stem: str, piece: CutSheet, job: Job, formats: Sequence[str]) -> None:
    kerf = job.made_by.kerf_mm
    note = f"{job.material.title}, {job.sheet.thickness_mm:g} mm; kerf {kerf:g} mm taken off."
    if "svg" in formats:
        _write_text(batch.path(f"{stem}.svg"), cut_sheet_svg(piece, title=job.title, note=note))
    if "dxf" in formats:
        _write_text(batch.path(f"{stem}.dxf"), cut_sheet_dxf(piece, title=job.title))


def _write_assembly(batch: Batch, sheet: SheetToMake, tiling: Tiling) -> None:
    x0, y0, x1, y1 = sheet.shape.bounds
    tiles = [(tile.name, tile.shape) for tile in tiling.tiles]
    title = f"{sheet.number} {sheet.name}: {len(tiles)} tiles, seen from the spray side"
    text = assembly_svg(tiles, (x0, y0, x1, y1), title)
    _write_text(batch.path(f"{sheet.stem}-assembly.svg"), text)


def _write_solid(batch: Batch, sheet: SheetToMake, piece: PrintedSheet, title: str) -> None:
    stem = f"{sheet.stem}-{piece.name}" if piece.name else sheet.stem
    header = f"{title}: {sheet.name} {piece.name}, mm"
    write_stl(batch.path(f"{stem}.stl"), piece.mesh.vertices, piece.mesh.faces, header)


def _write_beds(
    batch: Batch, job: Job, parts: Sequence[tuple[MadeSheet, PrintedSheet]]
) -> list[Finding]:
    """Write one 3MF file for each bed full of solids; one too big for the bed gets its own."""
    boxes = [
        (p.mesh.vertices[:, :2].min(axis=0), p.mesh.vertices[:, :2].max(axis=0)) for _, p in parts
    ]
    sizes = [(float(b[0] - a[0]), float(b[1] - a[1])) for a, b in boxes]
    tiles = job.tiles
    found = nest(sizes, job.made_by.bed, spacing=tiles.spacing_mm, edge=tiles.bed_margin_mm)
    beds: list[list[PrintedPart]] = [[] for _ in range(found.stocks)]
    for placing in found.placings:
        made, piece = parts[placing.piece]
        mesh, low = piece.mesh, boxes[placing.piece][0]
        if placing.turned:
            mesh = _turned(mesh)
            low = mesh.vertices[:, :2].min(axis=0)
        at = (placing.x - float(low[0]), placing.y - float(low[1]), 0.0)
        beds[placing.stock].append(_part(made.sheet, piece, mesh, at))
    stem = file_stem(job.title)
    for number, bed in enumerate(beds, 1):
        write_three_mf(batch.path(f"{stem}-bed-{number}.3mf"), bed, title=job.title)
    told = []
    for k in found.left_over:
        made, piece = parts[k]
        name = f"{made.sheet.stem}-{piece.name}" if piece.name else made.sheet.stem
        part = _part(made.sheet, piece, piece.mesh, (0.0, 0.0, 0.0))
        write_three_mf(batch.path(f"{name}.3mf"), [part], title=job.title)
        told.append(
            Finding(
                "export.bigger-than-bed",
                Severity.WARNING,
                f"{sizes[k][0]:.0f} x {sizes[k][1]:.0f} mm do not fit the bed of "
                f"{job.made_by.bed[0]:g} x {job.made_by.bed[1]:g} mm.",
                made.sheet.name,
            )
        )
    return told


def _part(
    sheet: SheetToMake, piece: PrintedSheet, mesh: Mesh, at: tuple[float, float, float]
) -> PrintedPart:
    name = " ".join(part for part in (str(sheet.number), sheet.name, piece.name) if part)
    return PrintedPart(name, sheet.colour, mesh, at)


def _turned(mesh: Mesh) -> Mesh:
    turned = np.stack([-mesh.vertices[:, 1], mesh.vertices[:, 0], mesh.vertices[:, 2]], axis=1)
    return Mesh(turned, mesh.faces.copy())


def _write_stock(
    batch: Batch, job: Job, pieces: Sequence[CutSheet], formats: Sequence[str]
) -> tuple[float, list[Finding]]:
    process = job.made_by
    gap = job.tiles.spacing_mm + process.kerf_mm + 2 * job.process.lead_in_mm
    areas = [_area(piece) for piece in pieces]
    found = nest(
        [p.size for p in pieces],
        process.bed,
        spacing=gap,
        edge=max(job.tiles.bed_margin_mm, job.process.lead_in_mm + process.kerf_mm),
        areas=areas,
    )
    for stock in range(found.stocks):
        placed = [
            pieces[p.piece].moved(
                p.x + (pieces[p.piece].size[1] if p.turned else 0.0), p.y, int(p.turned)
            )
            for p in found.placings
            if p.stock == stock
        ]
        name = f"stock-{stock + 1}"
        _write_cut(batch, name, laid_together(name, process.bed, placed), job, formats)
    told = [
        Finding(
            "export.bigger-than-bed",
            Severity.WARNING,
            f"{pieces[k].name} does not fit the stock sheet of {process.bed[0]:g} x "
            f"{process.bed[1]:g} mm.",
        )
        for k in found.left_over
    ]
    return found.used_share, told


def _area(piece: CutSheet) -> float:
    def enclosed(points: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> float:
        x, y = points.T
        return abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1))) / 2

    outer = sum(enclosed(p.points) for p in piece.cuts.outline)
    return outer - sum(enclosed(p.points) for p in piece.cuts.openings)


def _write_patches(
    batch: Batch,
    job: Job,
    sheets: Sequence[SheetToMake],
    chosen: dict[int, list[Patch]],
    formats: Sequence[str],
) -> None:
    every = [patch for patches in chosen.values() for patch in patches]
    scrap = patch_sheet(every, 200.0, job.made_by.kerf_mm)
    _write_cut(batch, "patches", scrap, job, formats)
    if "pdf" in formats:
        by_hand = patch_sheet(every, 180.0)
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
        text = cut_sheet_svg(marked, title=job.title, note="Not to be cut: places of patches.")
        _write_text(batch.path(f"{sheet.stem}-patch-places.svg"), text)
