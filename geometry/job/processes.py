"""The process: how the sheets of a job are made, and what that machine or hand takes and needs."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import tomlkit

from ..finding import Finding, Severity
from .fields import field, read_section
from .materials import Material

KIND_MEANINGS = {
    "material": "what the material is usually made by",
    "knife": "cut by hand or by a plotter",
    "laser": "cut by a laser",
    "printer": "printed in layers",
}
#: Kinds that have a row in the table.
KINDS = tuple(kind for kind in KIND_MEANINGS if kind != "material")


@dataclass(frozen=True)
class Process:
    """One row of the process table, or that row with a job's own values.

    ``kerf_mm`` is the width that the beam or blade removes; the bed is the largest sheet or print
    that fits, and the stock sheet that pieces are nested on.
    """

    title: str = field(about="name that people read")
    kerf_mm: float = field(about="width that the cut removes", least=0, most=20)
    nozzle_mm: float = field(about="diameter of the nozzle; 0 where none", least=0, most=5)
    layer_height_mm: float = field(about="height of a printed layer", least=0, most=5)
    bed_width_mm: float = field(about="width of bed or stock sheet", least=10, most=20000)
    bed_height_mm: float = field(about="height of bed or stock sheet", least=10, most=20000)
    speed_mm_s: float = field(about="cutting or printing speed", least=0.01, most=10000)
    travel_mm_s: float = field(about="speed between cuts", least=0.01, most=10000)
    pierce_s: float = field(about="time to begin one cut", least=0, most=600)
    power_on_cost_h: float = field(about="cost of an hour switched on", least=0, most=10000)
    source: str = field(about="where the values come from")
    slowest_mm_s: float = field(
        0.0,
        about="least speed of a hand, where one cuts; 0 where a machine keeps its speed",
        least=0,
        most=10000,
    )
    engrave_mm_s: float = field(20.0, about="speed of engraving", least=0.01, most=10000)
    acceleration_mm_s2: float = field(
        0.0,
        about="acceleration at corners and curves; 0 leaves it out",
        least=0,
        most=1e6,
    )
    blade_life_m: float = field(
        0.0, about="metres that a blade cuts; 0 where there is none", least=0, most=1e5
    )
    blade_price: float = field(0.0, about="price of a blade", least=0, most=10000)
    kind: str = ""

    @property
    def bed(self) -> tuple[float, float]:
        """Width and height of the bed in mm."""
        return self.bed_width_mm, self.bed_height_mm


@dataclass(frozen=True)
class ProcessSettings:
    """``[process]``: how the sheets are made; what is absent comes from the process table."""

    kind: str = field(
        "material",
        about="knife, laser or printer; 'material' takes the material's usual one",
        choices=KIND_MEANINGS,
    )
    kerf_mm: float | None = field(
        None, about="width that the cut removes; measure it with the kerf strip", least=0, most=20
    )
    nozzle_mm: float | None = field(None, about="diameter of the nozzle", least=0.05, most=5)
    layer_height_mm: float | None = field(
        None, about="height of a printed layer", least=0.02, most=5
    )
    bed_width_mm: float | None = field(
        None, about="width of bed or stock sheet", least=10, most=20000
    )
    bed_height_mm: float | None = field(
        None, about="height of bed or stock sheet", least=10, most=20000
    )
    speed_mm_s: float | None = field(
        None, about="cutting or printing speed in mm/s", least=0.01, most=10000
    )
    travel_mm_s: float | None = field(
        None, about="speed between cuts in mm/s", least=0.01, most=10000
    )
    pierce_s: float | None = field(
        None, about="time to begin one cut in seconds", least=0, most=600
    )
    power_on_cost_h: float | None = field(
        None, about="cost of an hour switched on", least=0, most=10000
    )
    slowest_mm_s: float | None = field(
        None,
        about="least speed of a hand, where one cuts; speed_mm_s is its highest; 0 for a machine",
        least=0,
        most=10000,
    )
    engrave_mm_s: float | None = field(
        None, about="speed of engraving, or of drawing on paper", least=0.01, most=10000
    )
    acceleration_mm_s2: float | None = field(
        None,
        about="acceleration with which a machine slows down for corners and curves; 0 leaves "
        "that out of the time",
        least=0,
        most=1e6,
    )
    blade_life_m: float | None = field(
        None, about="metres that a blade cuts; 0 where there is none", least=0, most=1e5
    )
    blade_price: float | None = field(None, about="price of a blade", least=0, most=10000)
    bed: str = field(
        "machine",
        about="whether pieces must fit the machine's bed; without one (knife, router) they fit the "
        "stock",
        choices={
            "machine": "pieces fit the machine's bed",
            "none": "pieces fit the stock sheet only",
        },
    )
    lead_in_mm: float = field(
        0.0, about="length of the run-in on waste before each cut; 0 for none", least=0, most=50
    )


@cache
def load_processes() -> Mapping[str, Process]:
    """Return the process table that comes with Sheetstack, by kind.

    >>> load_processes()["laser"].kerf_mm
    0.15
    """
    text = files(__package__).joinpath("processes.toml").read_text(encoding="utf-8")
    table = tomlkit.parse(text).unwrap()
    return {
        kind: dataclasses.replace(
            read_section(Process, table[kind], f"processes.toml: [{kind}]"), kind=kind
        )
        for kind in KINDS
    }


def process_of(settings: ProcessSettings, material: Material) -> Process:
    """Return the process of a job: the table's row with the job's own values in it.

    Parameters
    ----------
    settings : ProcessSettings
    material : Material
        Its usual process is taken when the settings leave the kind to it.

    Examples
    --------
    >>> from .materials import load_materials
    >>> process_of(ProcessSettings(kerf_mm=0.2), load_materials()["birch-ply"]).kerf_mm
    0.2
    """
    kind = material.process if settings.kind == "material" else settings.kind
    row = load_processes()[kind]
    names = {f.name for f in dataclasses.fields(Process)} - {"kind", "bed"}
    own = {
        f.name: getattr(settings, f.name)
        for f in dataclasses.fields(settings)
        if f.name in names and getattr(settings, f.name) is not None
    }
    if "speed_mm_s" in own and "slowest_mm_s" not in own:
        own["slowest_mm_s"] = 0.0  # a speed of one's own is no range
    return dataclasses.replace(row, **own)


def process_findings(
    process: Process, key: str, material: Material, bridge_width: float
) -> tuple[Finding, ...]:
    """Tell what speaks against making a material into sheets by a process.

    Parameters
    ----------
    process : Process
    key : str
        The material's key, which a job may have chosen to say what it is.
    material : Material
    bridge_width : float
        Width of the job's bridges in mm.
    """
    found: list[Finding] = []

    def tell(code: str, severity: Severity, message: str, size: float | None = None) -> None:
        found.append(Finding(code, severity, message, size_mm=size))

    named = dataclasses.replace(material, title=f"{material.title} {key}")
    if process.kind == "laser":
        if named.bears_chlorine:
            tell(
                "material.never-under-laser",
                Severity.SPOILS,
                f"{material.title} must not go under a laser: PVC and other chlorine-bearing sheet "
                "gives off hydrogen chloride. Cut it with a knife or take another sheet.",
            )
        elif material.laser == "unknown":
            tell(
                "material.laser-unknown",
                Severity.WARNING,
                f"Whether {material.title} may go under a laser is not known; its maker's data "
                "sheet says so. Sheet that holds chlorine must not.",
            )
        elif material.laser == "poor":
            tell(
                "material.laser-poor",
                Severity.WARNING,
                f"{material.title} cuts badly under a laser. {material.laser_note}".strip(),
            )
    elif named.bears_chlorine:
        tell(
            "material.chlorine",
            Severity.WARNING,
            f"{material.title} holds chlorine: never put it or its scraps under a laser.",
        )
    if process.kind == "printer" and bridge_width < 2 * process.nozzle_mm:
        tell(
            "process.nozzle-too-wide",
            Severity.WARNING,
            f"A bridge of {bridge_width:g} mm takes less than two lines of the "
            f"{process.nozzle_mm:g} mm nozzle.",
            bridge_width,
        )
    return tuple(found)
