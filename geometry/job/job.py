"""The job file: one TOML document that says everything about a job, units in the key names."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from ..errors import JobError
from .bridge_section import BridgeByHand, BridgeSettings
from .fields import read_section, setting, write_section
from .making_section import EstimateSettings, PaperSettings, PrintingSettings, TileSettings
from .materials import Material, load_materials, read_materials
from .mockup_section import MockupSettings
from .processes import Process, ProcessSettings, process_of

#: A job file is read whole; one this big is a mistake.
MOST_BYTES = 4_000_000
ROLES = ("mid-tone", "shadow", "highlight")


@dataclass(frozen=True)
class SheetSettings:
    """``[sheet]``: the plate that every layer is cut from."""

    width_mm: float = setting(about="width of every sheet", least=5, most=20000)
    height_mm: float = setting(about="height of every sheet", least=5, most=20000)
    margin_mm: float = setting(20.0, about="uncut edge round the artwork", least=0, most=5000)
    material: str = setting("card", about="key of the material")
    thickness_mm: float = setting(0.4, about="thickness of the sheet", least=0.01, most=100)
    placement: str = setting(
        "centre",
        about="where the artwork's page lies: centred on the sheet, or corner on corner",
        choices=("centre", "corner"),
    )


@dataclass(frozen=True)
class RegistrationSettings:
    """``[registration]``: holes at the same place on every sheet and on the wall."""

    hole_diameter_mm: float = setting(0.0, about="diameter; 0 for none", least=0, most=200)
    inset_mm: float = setting(
        10.0, about="distance of hole centres from the edge", least=0, most=2000
    )
    holes_mm: tuple[tuple[float, float], ...] = setting(
        (), about="centres of holes instead of the usual three corners", kind="points"
    )
    feature: str = setting(
        "holes",
        about="holes for pins, or half holes in three edges that are pushed against pins",
        choices=("holes", "notches"),
    )
    marks: bool = setting(
        False, about="engraved crosses at the edges' middles, and the layer's number and name"
    )
    drift_mm: float = setting(
        1.0, about="how far a sheet may lie off its place when sprayed", least=0, most=100
    )
    turn_deg: float = setting(
        0.1, about="how far a sheet may be turned when sprayed", least=0, most=10
    )
    trap_mm: float = setting(
        0.0, about="how far lower layers are let run under upper ones; 0 for not", least=0, most=50
    )


@dataclass(frozen=True)
class SpraySettings:
    """``[spray]``: how the paint is sprayed, for soft edges and shaded openings."""

    stand_off_mm: float = setting(
        200.0, about="distance of the nozzle from the sheet", least=10, most=2000
    )
    cone_deg: float = setting(30.0, about="whole angle of the spray cone", least=1, most=120)
    lift_mm: float = setting(
        0.3,
        about="how far the sheet stands off the wall where it does not lie flat",
        least=0,
        most=50,
    )
    angle_deg: float = setting(
        0.0, about="how far the can leans from square to the sheet", least=0, most=75
    )
    from_deg: float = setting(
        90.0, about="side the can leans to: 0 right, 90 above, 180 left", least=0, most=360
    )


@dataclass(frozen=True)
class LayerSettings:
    """``[[layers]]``: one colour's share of the picture; the tables stand in spray order."""

    name: str = setting(about="name of the layer")
    colour: str = setting(about="colour it is sprayed in, like '#a0522d'", kind="colour")
    artwork: str = setting(about="artwork file, relative to the job file")
    role: str = setting("", about="mid-tone, shadow, highlight, or your own word")
    group: str = setting("", about="id or label of a group in an SVG, layer in a DXF")
    opacity: float = setting(
        1.0, about="1 hides what is below, 0.4 lets it show through", least=0.0, most=1.0
    )
    scale: float = setting(1.0, about="factor on the artwork's lengths", least=1e-4, most=1e4)
    pixel_mm: float | None = setting(
        None, about="side of one pixel of a mask image", least=1e-4, most=1000
    )
    painted: str = setting(
        "dark", about="part of a mask that is painted", choices=("dark", "light")
    )
    threshold: float = setting(0.5, about="level between dark and light of a mask", least=0, most=1)
    smooth_mm: float = setting(0.0, about="smoothing of a mask's contours", least=0, most=100)
    simplify_mm: float = setting(
        0.05, about="most that a mask's contour moves when points are left out", least=0, most=100
    )
    bridges_mm: tuple[tuple[tuple[float, float], ...], ...] = setting(
        (), about="middle lines of bridges drawn by hand, on the sheet", kind="lines"
    )
    bridges_group: str = setting(
        "", about="id or label of an SVG group whose lines are bridges drawn by hand"
    )
    split: bool = setting(
        False, about="two sheets of this colour that leave no bridge in the paint"
    )
    mend_mm: tuple[tuple[float, float], ...] = setting(
        (), about="places of findings (necks, tongues, slits) to be mended", kind="points"
    )

    @property
    def sheet_names(self) -> tuple[str, ...]:
        """Names of the sheets that the layer makes: its own, or with A and B when split."""
        return (f"{self.name} A", f"{self.name} B") if self.split else (self.name,)


#: Tables of the job file that stand once, with their attribute of ``Job``.
SECTIONS: dict[str, type] = {
    "sheet": SheetSettings,
    "bridges": BridgeSettings,
    "registration": RegistrationSettings,
    "process": ProcessSettings,
    "printing": PrintingSettings,
    "tiles": TileSettings,
    "paper": PaperSettings,
    "estimate": EstimateSettings,
    "spray": SpraySettings,
    "mockup": MockupSettings,
}


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
    registration: RegistrationSettings = RegistrationSettings()
    process: ProcessSettings = field(default_factory=ProcessSettings)
    printing: PrintingSettings = field(default_factory=PrintingSettings)
    tiles: TileSettings = field(default_factory=TileSettings)
    paper: PaperSettings = field(default_factory=PaperSettings)
    estimate: EstimateSettings = field(default_factory=EstimateSettings)
    spray: SpraySettings = SpraySettings()
    mockup: MockupSettings = field(default_factory=MockupSettings)
    bridges_by_hand: tuple[BridgeByHand, ...] = ()
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

    @property
    def made_by(self) -> Process:
        """The process that makes the sheets: the table's row with the job's own values."""
        return process_of(self.process, self.material)

    @property
    def bridge_width(self) -> float:
        """Width of bridges in mm: the job's, else the least of material and process."""
        return self.bridges.width_mm or self.material.least_bridge(self.made_by.kind)


@dataclass(frozen=True)
class _Head:
    title: str = setting(about="title of the job")
    ground: str = setting("#ffffff", about="colour of the wall below the paint", kind="colour")


def load_job(path: str | os.PathLike[str]) -> Job:
    """Read and check a job file.

    Parameters
    ----------
    path : path
        A TOML document, UTF-8.

    Raises
    ------
    JobError
        One sentence that names file, key, value and what was expected.
    """
    path = Path(path)
    try:
        if not path.is_file():
            raise JobError(
                f"{path}: expected a job file, "
                f"found {'a folder' if path.is_dir() else 'nothing of that name'}."
            )
        if path.stat().st_size > MOST_BYTES:
            raise JobError(f"{path}: {path.stat().st_size} bytes are too many for a job file.")
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise JobError(f"{path}: cannot be read: {error.strerror or error}.") from None
    except UnicodeDecodeError as error:
        raise JobError(f"{path}: is not UTF-8 text (byte {error.start}).") from None
    return parse_job(text, str(path), path.parent)


def parse_job(text: str, name: str = "job", folder: Path = Path()) -> Job:
    """Read and check a job from TOML text.

    Parameters
    ----------
    text : str
    name : str
        What to call the job in errors, as a rule the file's name.
    folder : Path
        What relative artwork paths are relative to.

    Raises
    ------
    JobError

    Examples
    --------
    >>> parse_job('title = 3', 'cat.toml')
    Traceback (most recent call last):
    ...
    sheetstack.geometry.errors.JobError: cat.toml: title = 3: expected a text in quotes.
    """
    try:
        table = tomlkit.parse(text).unwrap()
    except (TOMLKitError, RecursionError, ValueError) as error:
        reason = str(error) or "nested too deeply"
        raise JobError(f"{name}: is not valid TOML: {reason}.") from None
    head_keys = {"title", "ground"}
    known = head_keys | set(SECTIONS) | {"layers", "bridge", "materials"}
    for key in table:
        if key not in known:
            raise JobError(
                f"{name}: unknown key '{key}'; expected one of {', '.join(sorted(known))}."
            )
    head = read_section(_Head, {k: v for k, v in table.items() if k in head_keys}, name)
    sections: dict[str, Any] = {
        key: read_section(section, table.get(key, {}), f"{name}: [{key}]")
        for key, section in SECTIONS.items()
        if key in table or key == "sheet"
    }
    rows = table.get("layers", [])
    if not isinstance(rows, list) or not rows:
        raise JobError(f"{name}: expected at least one [[layers]] table, found none.")
    layers = tuple(
        read_section(LayerSettings, row, f"{name}: [[layers]] number {i}")
        for i, row in enumerate(rows, 1)
    )
    by_hand = table.get("bridge", [])
    if not isinstance(by_hand, list):
        raise JobError(f"{name}: bridge: expected [[bridge]] tables.")
    bridges_by_hand = tuple(
        read_section(BridgeByHand, row, f"{name}: [[bridge]] number {i}")
        for i, row in enumerate(by_hand, 1)
    )
    own = table.get("materials", {})
    if not isinstance(own, dict):
        raise JobError(f"{name}: [materials]: expected a table for each material.")
    job = Job(
        title=head.title,
        ground=head.ground,
        layers=layers,
        bridges_by_hand=bridges_by_hand,
        own_materials=read_materials(own, f"{name}: materials"),
        folder=folder,
        **sections,
    )
    check_job(job, name)
    return job


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
    _check_bridges(job, name)
    registration = job.registration
    radius = registration.hole_diameter_mm / 2
    for x, y in registration.holes_mm:
        if not (radius < x < sheet.width_mm - radius and radius < y < sheet.height_mm - radius):
            raise JobError(
                f"{name}: [registration]: holes_mm holds [{x:g}, {y:g}]: expected a whole hole on "
                f"the sheet's {sheet.width_mm:g} x {sheet.height_mm:g} mm."
            )


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
    for area in job.bridges.keep_free_areas_mm:
        if len(area) < 3:
            raise JobError(
                f"{name}: [bridges]: keep_free_areas_mm: expected three or more corners, "
                f"found {len(area)}."
            )


def file_stem(name: str) -> str:
    """Return a layer's name as a plain file name.

    >>> file_stem("Mid-tone (base)")
    'mid-tone-base'
    """
    kept = "".join(c if c.isalnum() else "-" for c in name.lower())
    return "-".join(part for part in kept.split("-") if part) or "layer"


def job_text(job: Job) -> str:
    """Return a job as TOML text; ``parse_job`` gives an equal job back."""
    document = tomlkit.document()
    for key, value in write_section(_Head(job.title, job.ground)).items():
        document[key] = value
    for key in SECTIONS:
        values = write_section(getattr(job, key))
        if values:
            document[key] = values
    layers = tomlkit.aot()
    for layer in job.layers:
        layers.append(tomlkit.item(write_section(layer)))
    document["layers"] = layers
    if job.bridges_by_hand:
        by_hand = tomlkit.aot()
        for bridge in job.bridges_by_hand:
            by_hand.append(tomlkit.item(write_section(bridge)))
        document["bridge"] = by_hand
    if job.own_materials:
        document["materials"] = {k: write_section(m) for k, m in job.own_materials.items()}
    return tomlkit.dumps(document)


def with_spray_order(job: Job, order: tuple[int, ...]) -> Job:
    """Return the job with its layers in another spray order.

    Parameters
    ----------
    order : tuple of int
        A permutation of the layers' present positions.
    """
    if sorted(order) != list(range(len(job.layers))):
        raise JobError(f"{order}: expected each layer's position once.")
    values: Any = tuple(job.layers[i] for i in order)
    return replace(job, layers=values)
