"""A made sheet: one sheet of a job on its way to the machine, split, marked and labelled."""

from __future__ import annotations

from dataclasses import dataclass, replace

import shapely
from shapely import LineString, MultiPolygon

from ..arrays import Floats
from ..build import Build
from ..finding import Finding, Severity
from ..job.job import Job
from ..job.names import sheet_stems
from ..job.sections import PrintingSettings
from ..planar.morphology import openings_of
from ..planar.snapping import snapped_apart
from ..progress import Progress
from ..support.bridges import Bridge
from ..tolerance import TOLERANCES
from .cut_sheet import CutSheet, lines_of
from .hand_cutting import cut_numbers, in_hand_order
from .kerf import cut_paths
from .label_placement import place_label
from .marks import edge_marks
from .printed import PrintedSet, printed
from .raised import with_grip_tab
from .stock_tiles import tile_grids
from .stroke_font import letter_lines
from .tiling import Tiling, split_for_bed

#: Sheet narrower than this many times the bridges' width counts as a neck where seams are laid.
_NARROW = 2.0
_LETTER = 4.0
#: The largest pieces of waste of a tile get its name, if they have this area (mm2) at least.
_LABELLED_WASTE, _LEAST_WASTE = 6, 150.0


@dataclass(frozen=True)
class SheetToMake:
    """One sheet as it comes from a build, or from Blender after edits by hand.

    Parameters
    ----------
    stem : str
        File name without ending.
    number : int
        Place in the spray order, from 1.
    name, colour : str
        Of its layer.
    shape : MultiPolygon
        What is left of the sheet, in mm.
    thickness : float
    bridges : tuple of Bridge
        For patches; may be empty.
    care : tuple of (MultiPolygon, float)
        Areas that seams keep out of, and how many times as much one costs there.
    """

    stem: str
    number: int
    name: str
    colour: str
    shape: MultiPolygon
    thickness: float
    bridges: tuple[Bridge, ...] = ()
    care: tuple[tuple[MultiPolygon, float], ...] = ()


def sheets_to_make(build: Build) -> tuple[SheetToMake, ...]:
    """Return the sheets of a build in spray order."""
    return tuple(
        SheetToMake(
            stem,
            number,
            layer.settings.name,
            layer.settings.colour,
            layer.sheet.shape,
            layer.sheet.thickness,
            layer.bridges,
            layer.care,
        )
        for number, (stem, layer) in enumerate(
            zip(sheet_stems(build.job), build.layers, strict=True), 1
        )
    )


@dataclass(frozen=True)
class MadeSheet:
    """One sheet, split for the bed where it has to be.

    Parameters
    ----------
    sheet : SheetToMake
        Its shape with the grip tab, where there is one.
    tiling : Tiling
    findings : tuple of Finding
    """

    sheet: SheetToMake
    tiling: Tiling
    findings: tuple[Finding, ...]

    @property
    def is_split(self) -> bool:
        """Whether the sheet is more than one piece."""
        return len(self.tiling.tiles) > 1


def made_sheet(
    job: Job, sheet: SheetToMake, layers: int = 1, progress: Progress | None = None
) -> MadeSheet:
    """Split a sheet for the job's machine.

    A printed sheet gets its grip tab before. Laps need a printer or router that works in depth;
    cut by laser or knife, tiles get keys instead.

    Parameters
    ----------
    job : Job
    sheet : SheetToMake
    layers : int
        Sheets of the job: their tiles share stock.
    progress : Progress, optional
        May raise ``Cancelled``.
    """
    process, tiles = job.made_by, job.tiles
    findings: list[Finding] = []
    shape = sheet.shape
    if process.kind == "printer" and job.printing.grip_tab:
        fits = max(job.sheet.width_mm, job.sheet.height_mm) <= max(job.room)
        # Off the middle of a sheet that will be split there.
        shape = with_grip_tab(shape, 0.5 if fits else 0.3)
    if tiles.joint == "lap" and process.kind != "printer":
        tiles = replace(tiles, joint="puzzle")
        findings.append(
            Finding(
                "tiles.no-laps",
                Severity.NOTE,
                f"Laps are half as thick as the sheet, which a {process.kind} does not cut; the "
                "tiles get keys instead.",
                sheet.name,
            )
        )
    # A sheet edited by hand, or with a tab, has corners off the grid that files keep apart.
    shape = snapped_apart(shape, TOLERANCES.pinch)
    outline = shapely.box(*shape.bounds)
    tiling = split_for_bed(
        shape,
        outline,
        job.room,
        tiles,
        narrow=_NARROW * job.bridge_width,
        layer=sheet.name,
        care=sheet.care,
        grids=tile_grids(job, outline.bounds, layers),
        progress=progress,
    )
    return MadeSheet(replace(sheet, shape=shape), tiling, (*findings, *tiling.findings))


def cut_pieces(job: Job, made: MadeSheet, progress: Progress | None = None) -> tuple[CutSheet, ...]:
    """Return the pieces of a sheet as they are cut, each with its lower left corner at the origin.

    Kerf is taken off, run-ins are added; engraved are register marks and labels where the job
    wants them, and always the names of tiles.

    Parameters
    ----------
    job : Job
    made : MadeSheet
    progress : Progress, optional
    """
    process = job.made_by
    progress = progress or Progress()
    found = []
    for number, tile in enumerate(made.tiling.tiles):
        progress(number / len(made.tiling.tiles), f"{made.sheet.name}: cut paths {tile.name}")
        shape = tile.shape
        cuts = cut_paths(
            shape, process.kerf_mm, lead_in=job.process.lead_in_mm, layer=made.sheet.name
        )
        x0, y0, x1, y1 = shape.bounds
        piece = CutSheet(
            " ".join(part for part in (made.sheet.name, tile.name) if part),
            (x1 - x0, y1 - y0),
            cuts,
            engraving(job, made.sheet, shape, tile.name),
        )
        # A whole sheet keeps its frame, so that sheets register by their coordinates.
        found.append(piece.moved(-x0, -y0) if made.is_split else piece)
    return tuple(found)


def paper_sheet(job: Job, sheet: SheetToMake) -> CutSheet:
    """Return a whole sheet to be printed on paper and cut by hand: no kerf, no tiles.

    Cuts are in the order of a hand and numbered; bridges carry their numbers too.
    """
    x0, y0, x1, y1 = sheet.shape.bounds
    cuts = in_hand_order(cut_paths(sheet.shape, 0.0, layer=sheet.name))
    bridges = [
        line
        for k, bridge in enumerate(sheet.bridges, 1)
        for line in letter_lines(f"{sheet.number}.{k}", 1.6, bridge.place)
    ]
    whole = CutSheet(
        sheet.name,
        (x1 - x0, y1 - y0),
        cuts,
        engraving(job, sheet, sheet.shape, ""),
        (*cut_numbers(cuts), *bridges),
    )
    return whole.moved(-x0, -y0)


def engraving(job: Job, sheet: SheetToMake, shape: MultiPolygon, tile: str) -> tuple[Floats, ...]:
    """Return what is engraved into a piece: edge marks, number, name, tile, 'this side up'.

    A tile's name also stands on its largest pieces of waste.

    Parameters
    ----------
    job : Job
    sheet : SheetToMake
    shape : MultiPolygon
        The piece; nothing is engraved beyond its outline.
    tile : str
        Name of the tile; empty for a whole sheet.
    """
    lines: list[Floats] = []
    if job.registration.marks:
        marks = [LineString(line) for line in edge_marks(job.sheet)]
        lines += lines_of(shapely.union_all(marks).intersection(shape))
    if job.registration.marks or tile:
        head = " ".join(part for part in (str(sheet.number), sheet.name, tile) if part)
        taken = shapely.buffer(shapely.multilinestrings(lines), 1.0) if lines else MultiPolygon()
        free = shape.difference(taken)
        for text in (f"{head} - this side up", f"{sheet.number} {tile} up", tile):
            label = place_label(text, free, height=_LETTER, least_height=2.0)
            if label is not None:
                lines += label.lines
                break
    if tile:
        lines += _waste_labels(job, f"{sheet.number} {tile}", shape)
    return tuple(lines)


def _waste_labels(job: Job, text: str, shape: MultiPolygon) -> list[Floats]:
    """Return the tile's name on what falls out of it, so that waste can serve as a plug again."""
    clear = 1.0 + job.made_by.kerf_mm
    big = sorted(openings_of(shape), key=lambda p: -p.area)[:_LABELLED_WASTE]
    found: list[Floats] = []
    for opening in big:
        if opening.area < _LEAST_WASTE:
            break
        label = place_label(text, opening, height=_LETTER, least_height=2.5, clearance=clear)
        found += label.lines if label is not None else ()
    return found


def printed_pieces(job: Job, made: MadeSheet) -> PrintedSet:
    """Return the pieces of a sheet as solids.

    Only a printer adds rim, ribs, chamfers, label and pegs; other processes get plain plates.
    """
    settings = job.printing if job.made_by.kind == "printer" else PrintingSettings()
    sheet = made.sheet
    return printed(
        sheet.shape,
        made.tiling,
        sheet.thickness,
        settings,
        label=f"{sheet.number} {sheet.name}",
        bridge_width=job.bridge_width,
        layer=sheet.name,
    )
