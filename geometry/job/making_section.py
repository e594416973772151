"""Sections of the job that say how sheets become parts: printing, tiles, paper and estimate."""

from __future__ import annotations

from dataclasses import dataclass

from .fields import setting

PAPERS = ("A0", "A1", "A2", "A3", "A4", "A5")
JOINTS = ("puzzle", "lap", "butt")


@dataclass(frozen=True)
class PrintingSettings:
    """``[printing]``: what a printed sheet has beyond the flat plate; 0 or false leaves it out."""

    rim_height_mm: float = setting(
        0.0, about="height of the stiffening rim above the sheet", least=0, most=50
    )
    rim_width_mm: float = setting(4.0, about="width of the rim", least=0.4, most=100)
    rib_height_mm: float = setting(0.0, about="height of ribs above the sheet", least=0, most=50)
    rib_width_mm: float = setting(2.0, about="width of a rib", least=0.4, most=50)
    rib_spacing_mm: float = setting(
        40.0, about="distance between ribs, both ways", least=4, most=2000
    )
    rib_clearance_mm: float = setting(
        2.0, about="least distance from rim or rib to an opening", least=0.2, most=100
    )
    chamfer_mm: float = setting(
        0.0, about="how much wider openings are on the spray side, at each edge", least=0, most=10
    )
    land_mm: float = setting(
        0.2, about="height of the straight wall below the chamfer", least=0.05, most=20
    )
    grip_tab: bool = setting(False, about="a tab on the upper edge to lift the sheet by")
    label: bool = setting(False, about="recessed layer number and 'this side up'")
    label_depth_mm: float = setting(0.3, about="depth of the label", least=0.05, most=5)
    pegs: bool = setting(False, about="pegs above and sockets below, so that sheets stack true")
    peg_diameter_mm: float = setting(4.0, about="diameter of a peg", least=1, most=50)
    peg_clearance_mm: float = setting(
        0.2, about="how much wider a socket is than its peg, all round", least=0, most=2
    )


@dataclass(frozen=True)
class TileSettings:
    """``[tiles]``: how a sheet bigger than the bed is split."""

    joint: str = setting(
        "puzzle",
        about="dovetailed keys, half laps (printed or routed), or butted edges to be taped",
        choices=JOINTS,
    )
    key_width_mm: float = setting(8.0, about="width of a key at its head", least=1, most=200)
    key_depth_mm: float = setting(
        5.0, about="depth of a key, or width of a lap", least=0.5, most=200
    )
    clearance_mm: float = setting(
        0.1, about="width of the gap between joined tiles", least=0, most=2
    )
    bed_margin_mm: float = setting(
        3.0, about="edge of the bed that is kept free", least=0, most=200
    )
    spacing_mm: float = setting(
        4.0, about="distance between pieces on one stock sheet", least=0, most=200
    )


@dataclass(frozen=True)
class PaperSettings:
    """``[paper]``: PDF pages at true size, to be cut by hand."""

    size: str = setting("A4", about="ISO 216 paper", choices=PAPERS)
    overlap_mm: float = setting(10.0, about="what neighbouring pages both show", least=0, most=100)
    margin_mm: float = setting(
        7.0, about="edge of the paper that a printer leaves white", least=0, most=50
    )


@dataclass(frozen=True)
class EstimateSettings:
    """``[estimate]``: assumptions behind mass, time, paint and cost."""

    currency: str = setting("EUR", about="what costs are counted in")
    sheet_price_m2: float | None = setting(
        None, about="price of a square metre of sheet; the material's range when absent", least=0
    )
    filament_price_kg: float = setting(20.0, about="price of a kilogram of filament", least=0)
    paint_price_l: float = setting(30.0, about="price of a litre of paint", least=0)
    solids_percent: float = setting(
        40.0, about="volume solids of the paint, from its data sheet", least=1, most=100
    )
    film_um: float = setting(25.0, about="dry film that covers, in micrometres", least=1, most=2000)
    paint_loss_percent: float = setting(
        50.0, about="share of sprayed paint that never reaches the picture", least=0, most=95
    )
    walls: int = setting(1, about="how many times the picture is painted", least=1, most=100000)
    spread_percent: float = setting(
        25.0, about="how far times and costs may lie off, either way", least=0, most=90
    )
