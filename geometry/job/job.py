"""A job: its tables, and what follows from them: material, process, width of bridges."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from .materials import Material, load_materials
from .processes import Process, ProcessSettings, process_of
from .sections import (
    BridgeArea,
    BridgeByHand,
    BridgeSettings,
    EstimateSettings,
    LayerSettings,
    MockupSettings,
    PaperSettings,
    PrintingSettings,
    RegistrationSettings,
    SettledSheet,
    SheetSettings,
    SpraySettings,
    StockSheet,
    TileSettings,
)


@dataclass(frozen=True)
class Job:
    """A whole job.

    Parameters
    ----------
    title : str
    sheet : SheetSettings
    layers : tuple of LayerSettings
        In spray order.
    ground : str
        Colour of the wall, board or canvas below the paint.
    bridges : BridgeSettings
    registration : RegistrationSettings
    spray : SpraySettings
    bridges_by_hand : tuple of BridgeByHand
        Bridges that the artist has locked, moved, widened or forbidden.
    settled : tuple of SettledSheet
        Automatic bridges that were seen and stay while they hold.
    stock : tuple of StockSheet
        What pieces are nested on; the bed's size where empty.
    areas : tuple of BridgeArea
        Parts of the sheet where bridges are kept out, cost more, or run another way.
    own_materials : mapping
        The artist's own rows of the material table, by key.
    folder : Path
        What relative artwork paths are relative to.
    """

    title: str
    sheet: SheetSettings
    layers: tuple[LayerSettings, ...]
    ground: str = "#ffffff"
    bridges: BridgeSettings = field(default_factory=BridgeSettings)
    registration: RegistrationSettings = field(default_factory=RegistrationSettings)
    process: ProcessSettings = field(default_factory=ProcessSettings)
    printing: PrintingSettings = field(default_factory=PrintingSettings)
    tiles: TileSettings = field(default_factory=TileSettings)
    paper: PaperSettings = field(default_factory=PaperSettings)
    estimate: EstimateSettings = field(default_factory=EstimateSettings)
    spray: SpraySettings = field(default_factory=SpraySettings)
    mockup: MockupSettings = field(default_factory=MockupSettings)
    bridges_by_hand: tuple[BridgeByHand, ...] = ()
    settled: tuple[SettledSheet, ...] = ()
    areas: tuple[BridgeArea, ...] = ()
    stock: tuple[StockSheet, ...] = ()
    own_materials: Mapping[str, Material] = field(default_factory=dict)
    folder: Path = Path()

    @property
    def materials(self) -> dict[str, Material]:
        """All materials the job can name: the table that comes along, then the artist's own."""
        return {**load_materials(), **self.own_materials}

    @property
    def material(self) -> Material:
        """The material of the sheets."""
        return self.materials[self.sheet.material]

    def areas_of(self, layer: str) -> tuple[BridgeArea, ...]:
        """The areas that hold for a layer, or for the sheets that it is split into."""
        of = {name: one.name for one in self.layers for name in (one.name, *one.sheet_names)}
        return tuple(a for a in self.areas if a.layer in ("", layer, of.get(layer, layer)))

    @property
    def made_by(self) -> Process:
        """The process that makes the sheets: the table's row with the job's own values."""
        return process_of(self.process, self.material)

    @property
    def room(self) -> tuple[float, float]:
        """What a piece must fit: the machine's bed, or without one the biggest stock sheet."""
        if self.process.bed == "none" and self.stock:
            biggest = max(self.stock, key=lambda row: row.width_mm * row.height_mm)
            return biggest.width_mm, biggest.height_mm
        return self.made_by.bed

    @property
    def bridge_width(self) -> float:
        """Width of bridges in mm: the job's, else the least of material and process."""
        return self.bridges.width_mm or self.material.least_bridge(self.made_by.kind)


def needed_by_layer(job: Job, number: int) -> Job:
    """Return a job as far as the sheets of one of its layers hang on it.

    It has that layer alone, and the defaults wherever what the job says does not matter to them.

    Parameters
    ----------
    job : Job
    number : int
        Of the layer.
    """
    layer = job.layers[number]
    return Job(
        title="",
        sheet=job.sheet,
        layers=(layer,),
        ground=job.ground,
        bridges=replace(job.bridges, care=""),
        registration=job.registration,
        process=ProcessSettings(kind=job.made_by.kind),
        bridges_by_hand=tuple(b for b in job.bridges_by_hand if b.layer == layer.name),
        settled=tuple(row for row in job.settled if row.sheet in layer.sheet_names),
        areas=job.areas_of(layer.name),
        own_materials={job.sheet.material: job.material},
    )
