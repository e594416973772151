"""The estimate: mass, cuts, time, paint and cost of a built job, as ranges with their assumptions.

Lengths and times are those of the very paths that are exported: split, kerf taken off, run-ins and
engraving counted, file by file (``toolpath``).

Formulas: mass = volume x density; sheet cost = area x price; cutting time = length / speed +
way between cuts / travel speed + cuts x piercing time, slowed down for corners (``motion``); blades
= length / what a blade cuts; printing time = volume / (nozzle x layer
height x speed); theoretical coverage of paint in m2 per litre = 10 x volume solids % / dry film in
micrometres (paint makers' coverage tables), divided by what is lost as mist.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass

import shapely

from ..build import Build, BuiltLayer
from ..job.job import Job
from ..job.processes import ProcessSettings
from ..job.sections import EstimateSettings
from .cut_sheet import CutSheet
from .making import Making, making_of_build
from .pieces import MadeSheet
from .stock import StockLayout, parts_of, shelf_stock
from .toolpath import ToolPath, tool_path, tool_seconds


@dataclass(frozen=True)
class Range:
    """From a low to a high value; the two are equal where the value is known.

    >>> Range(2.0, 3.0) + Range(1.0, 1.0)
    Range(low=3.0, high=4.0)
    """

    low: float
    high: float

    @staticmethod
    def about(value: float, spread_percent: float) -> Range:
        """Return the range that lies ``spread_percent`` to both sides of a value."""
        return Range(value * (1 - spread_percent / 100), value * (1 + spread_percent / 100))

    def __add__(self, other: Range) -> Range:
        return Range(self.low + other.low, self.high + other.high)

    def times(self, factor: float) -> Range:
        """Return the range scaled by a factor of at least 0."""
        return Range(self.low * factor, self.high * factor)

    def text(self, unit: str) -> str:
        """Return the range in words, rounded to two figures.

        >>> Range(12.34, 17.8).text("min"), Range(153.2, 153.4).text("g")
        ('12 to 18 min', '150 g')
        """
        low, high = _two_figures(self.low), _two_figures(self.high)
        return f"{low} {unit}" if low == high else f"{low} to {high} {unit}"


def duration_text(seconds: Range) -> str:
    """Return a range of times in minutes, or in hours from two hours on.

    >>> duration_text(Range(600, 900)), duration_text(Range(7200, 20000))
    ('10 to 15 min', '2.0 to 5.6 h')
    """
    if seconds.high < 7200:
        return seconds.times(1 / 60).text("min")
    return seconds.times(1 / 3600).text("h")


NOTHING = Range(0.0, 0.0)


def _two_figures(value: float) -> str:
    if value == 0:
        return "0"
    digits = 1 - math.floor(math.log10(abs(value)))
    return f"{round(value, digits):.{max(digits, 0)}f}"


@dataclass(frozen=True)
class LayerEstimate:
    """What one layer takes; the same shape holds the whole job's totals.

    Parameters
    ----------
    name : str
    mass_g : float
        Of the finished sheet.
    sheet_m2 : float
        Area of the rectangle that the sheet is cut from.
    pieces : int
        Pieces that it is made in.
    seam_mm : float
        Length of the seams between them, along which they are joined.
    crossings : int
        How many times those cross openings.
    cut_mm, run_in_mm : float
        Length of all cuts, and of the part of it that runs in over waste.
    engraved_mm, travel_mm : float
        Length of what is engraved, and of the ways between strokes.
    pierces : int
        Number of cuts begun.
    print_cm3 : float
        Volume to be printed; 0 when the sheet is cut.
    making_s : Range
        Time to cut or print.
    paint_m2 : float
        Area of the openings, registration holes left out.
    paint_ml : Range
        Paint for all walls, from no loss to the loss that the job assumes.
    sheet_cost, making_cost, paint_cost : Range
        In the job's currency.
    """

    name: str
    mass_g: float
    sheet_m2: float
    pieces: int
    seam_mm: float
    crossings: int
    cut_mm: float
    run_in_mm: float
    engraved_mm: float
    travel_mm: float
    pierces: int
    print_cm3: float
    making_s: Range
    paint_m2: float
    paint_ml: Range
    sheet_cost: Range
    making_cost: Range
    paint_cost: Range

    @property
    def cost(self) -> Range:
        """Sheet, machine and paint together."""
        return self.sheet_cost + self.making_cost + self.paint_cost


@dataclass(frozen=True)
class Assumption:
    """One value that the estimate rests on.

    Parameters
    ----------
    key : str
        Where the job changes it: ``"[estimate] paint_loss_percent"``.
    value : str
        With its unit.
    about : str
    source : str
        Where the value comes from.
    """

    key: str
    value: str
    about: str
    source: str


@dataclass(frozen=True)
class Estimate:
    """The estimate of a job.

    Parameters
    ----------
    layers : tuple of LayerEstimate
    total : LayerEstimate
    currency : str
    assumptions : tuple of Assumption
    blades : int
        That the cuts wear out; 0 where no blade cuts.
    stock : int
        Stock sheets whose price stands for that of the sheets; 0 where none is stated.
    nested : bool
        Whether those are what nesting took, not the packing of boxes on shelves.
    """

    layers: tuple[LayerEstimate, ...]
    total: LayerEstimate
    currency: str
    assumptions: tuple[Assumption, ...]
    blades: int = 0
    stock: int = 0
    nested: bool = False


def coverage_m2_per_l(solids_percent: float, film_um: float) -> float:
    """Return the area in m2 that a litre of paint covers, nothing lost.

    A litre at s % volume solids leaves 10 s cm3 of dry film; spread d um thick, it covers
    10 s / d m2.

    >>> coverage_m2_per_l(50, 50)
    10.0
    """
    return 10.0 * solids_percent / film_um


def estimate(
    build: Build, making: Making | None = None, layout: StockLayout | None = None
) -> Estimate:
    """Estimate what a built job takes.

    Where the job's ``[[stock]]`` states prices, whole stock sheets are paid for: those of a layout,
    or of the shelf packing of the pieces. Layers bear them by their area.

    Parameters
    ----------
    build : Build
    making : Making, optional
        Of its sheets, where it has been worked out already.
    layout : StockLayout, optional
        Of those sheets alone, where they were nested.

    Raises
    ------
    GeometryError
        The bed is too small for any tile.
    """
    job = build.job
    if making is None:
        making = making_of_build(build)
    layers = tuple(
        _of_layer(job, layer, made, pieces)
        for layer, made, pieces in zip(build.layers, making.sheets, making.pieces, strict=True)
    )
    stock, price = _stock(job, making, layout)
    if price:
        whole = sum(layer.sheet_m2 for layer in layers)
        layers = tuple(
            dataclasses.replace(layer, sheet_cost=Range(price, price).times(layer.sheet_m2 / whole))
            for layer in layers
        )
    total = layers[0]
    for layer in layers[1:]:
        total = _sum(total, layer)
    total = dataclasses.replace(total, name="Total")
    life = job.made_by.blade_life_m * 1000
    blades = math.ceil(total.cut_mm / life) if life else 0
    told = assumptions(job)
    if price:
        told = tuple(a for a in told if not a.key.endswith("price_m2"))
    nested = bool(price) and layout is not None
    return Estimate(
        layers, total, job.estimate.currency, told, blades, stock if price else 0, nested
    )


def _stock(job: Job, making: Making, layout: StockLayout | None) -> tuple[int, float]:
    """Return stock sheets and their price; 0 where the job states none or a printer works."""
    if job.made_by.kind == "printer" or not any(row.price for row in job.stock):
        return 0, 0.0
    if layout is not None:
        return layout.count, layout.price
    return shelf_stock(job, parts_of(making))


def _of_layer(
    job: Job, layer: BuiltLayer, made: MadeSheet, pieces: tuple[CutSheet, ...]
) -> LayerEstimate:
    process, given, sheet = job.made_by, job.estimate, layer.sheet
    printed = process.kind == "printer"
    outline_m2 = sheet.outline.area / 1e6
    volume = float(shapely.area(sheet.shape)) * sheet.thickness
    if printed:
        seconds = volume / (process.nozzle_mm * process.layer_height_mm * process.speed_mm_s)
        making = Range.about(seconds, given.spread_percent)
        material = Range.about(layer.mass_g / 1000 * given.filament_price_kg, given.spread_percent)
    else:
        times = [tool_seconds(piece, process) for piece in pieces]
        making = Range(sum(low for low, _ in times), sum(high for _, high in times))
        if not process.slowest_mm_s:  # a hand's speed is a range already
            making = Range.about(making.low, given.spread_percent)
        material = _price(job).times(outline_m2)
    path = ToolPath() if printed else sum((tool_path(piece) for piece in pieces), ToolPath())
    painted_m2 = float(shapely.area(sheet.openings.difference(sheet.holes))) / 1e6
    wet = painted_m2 / coverage_m2_per_l(given.solids_percent, given.film_um) * given.walls
    paint = Range(wet * 1000, wet * 1000 / (1 - given.paint_loss_percent / 100))
    return LayerEstimate(
        name=layer.settings.name,
        mass_g=layer.mass_g,
        sheet_m2=outline_m2,
        pieces=len(made.tiling.tiles),
        seam_mm=sum(seam.length for seam in made.tiling.seams),
        crossings=made.tiling.crossings,
        cut_mm=path.cut,
        run_in_mm=path.run_in,
        engraved_mm=path.engraved,
        travel_mm=path.travel,
        pierces=path.pierces,
        print_cm3=volume / 1000 if printed else 0.0,
        making_s=making,
        paint_m2=painted_m2 * given.walls,
        paint_ml=paint,
        sheet_cost=material,
        making_cost=making.times(process.power_on_cost_h / 3600) + _blade_cost(job, path.cut),
        paint_cost=paint.times(given.paint_price_l / 1000),
    )


def _blade_cost(job: Job, cut_mm: float) -> Range:
    process = job.made_by
    if not process.blade_life_m:
        return NOTHING
    cost = cut_mm / 1000 / process.blade_life_m * process.blade_price
    return Range(cost, cost)


def _price(job: Job) -> Range:
    own = job.estimate.sheet_price_m2
    if own is not None:
        return Range(own, own)
    prices = job.material.price_m2
    return Range(min(prices), max(prices)) if prices else NOTHING


def _sum(a: LayerEstimate, b: LayerEstimate) -> LayerEstimate:
    values = {
        f.name: getattr(a, f.name) + getattr(b, f.name)
        for f in dataclasses.fields(a)
        if f.name != "name"
    }
    return dataclasses.replace(a, **values)


def assumptions(job: Job) -> tuple[Assumption, ...]:
    """Return every value that the estimate of a job rests on, with its source."""
    process, material, given = job.made_by, job.material, job.estimate
    found: list[Assumption] = []

    def of_material(key: str, value: str, about: str) -> None:
        found.append(
            Assumption(f"[materials.{job.sheet.material}] {key}", value, about, material.source)
        )

    def of_process(key: str, unit: str) -> None:
        own = getattr(job.process, key) is not None
        about = {f.name: f for f in dataclasses.fields(ProcessSettings)}[key].metadata["about"]
        source = "the job" if own else process.source
        found.append(
            Assumption(f"[process] {key}", f"{getattr(process, key):g} {unit}", about, source)
        )

    def of_estimate(key: str, unit: str) -> None:
        field = {f.name: f for f in dataclasses.fields(EstimateSettings)}[key]
        value = getattr(given, key)
        source = "the job" if value != field.default else "from memory, order of magnitude"
        found.append(
            Assumption(
                f"[estimate] {key}", f"{value:g} {unit}".strip(), field.metadata["about"], source
            )
        )

    of_material("density_g_cm3", f"{material.density_g_cm3:g} g/cm3", "density of the sheet")
    if process.kind == "printer":
        of_estimate("filament_price_kg", f"{given.currency}/kg")
        for key, unit in (("nozzle_mm", "mm"), ("layer_height_mm", "mm"), ("speed_mm_s", "mm/s")):
            of_process(key, unit)
    else:
        if given.sheet_price_m2 is not None:
            of_estimate("sheet_price_m2", f"{given.currency}/m2")
        elif material.price_m2:
            price = _price(job)
            of_material(
                "price_m2",
                f"{price.low:g} to {price.high:g} {given.currency}/m2",
                "price of the sheet",
            )
        for key, unit in (
            ("kerf_mm", "mm"),
            ("speed_mm_s", "mm/s"),
            ("slowest_mm_s", "mm/s"),
            ("engrave_mm_s", "mm/s"),
            ("travel_mm_s", "mm/s"),
            ("acceleration_mm_s2", "mm/s2"),
            ("pierce_s", "s"),
            ("blade_life_m", "m"),
            ("blade_price", given.currency),
        ):
            if getattr(process, key) or getattr(job.process, key) is not None:
                of_process(key, unit)
    of_process("power_on_cost_h", f"{given.currency}/h")
    of_estimate("solids_percent", "%")
    of_estimate("film_um", "um")
    of_estimate("paint_loss_percent", "%")
    of_estimate("paint_price_l", f"{given.currency}/l")
    of_estimate("walls", "")
    of_estimate("spread_percent", "%")
    return tuple(found)
