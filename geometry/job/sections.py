"""The tables of a job file, each a frozen dataclass whose fields carry unit, limits and meaning."""

from __future__ import annotations

from dataclasses import dataclass

from shapely import MultiPolygon

from .fields import field
from .processes import ProcessSettings

#: No sheet is smaller or wider, in mm.
LEAST_SIDE, MOST_SIDE = 5, 20_000
ROLES = ("mid-tone", "shadow", "highlight")
#: Papers of ISO 216 with their size in mm.
PAPER_MEANINGS = {
    "A0": "841 x 1189 mm",
    "A1": "594 x 841 mm",
    "A2": "420 x 594 mm",
    "A3": "297 x 420 mm",
    "A4": "210 x 297 mm",
    "A5": "148 x 210 mm",
}
PAPERS = tuple(PAPER_MEANINGS)
JOINT_MEANINGS = {
    "puzzle": "dovetailed keys hold the tiles together",
    "lap": "each tile has half the thickness where it lies over the next; printed or routed",
    "butt": "straight edges that are taped together",
}
JOINTS = tuple(JOINT_MEANINGS)
SURFACE_MEANINGS = {
    "brick": "a wall of bricks and mortar",
    "plaster": "a plastered wall",
    "concrete": "a wall of bare concrete",
    "board": "a board of plywood",
    "canvas": "a stretched canvas",
}
SURFACES = tuple(SURFACE_MEANINGS)
LIGHT_MEANINGS = {
    "daylight": "sun from the left and a bright sky",
    "evening": "a lamp over the picture at dusk",
}
LIGHTS = tuple(LIGHT_MEANINGS)
SCALE_MEANINGS = {
    "auto": "a figure beside pictures higher than 900 mm, a rule beside smaller ones",
    "rule": "a rule with marks",
    "figure": "a standing figure",
    "none": "nothing",
}
SCALES = tuple(SCALE_MEANINGS)
#: Ways that bridges may be told to run; an angle of one's own is given beside the last.
DIRECTION_MEANINGS = {
    "any": "bridges run the way that is best for each by itself",
    "drawing": "bridges rather run along an island's long axis, as strokes of the drawing",
    "vertical": "bridges run straight up",
    "horizontal": "bridges run straight across",
    "angle": "bridges run at the angle that is given",
}
DIRECTIONS = tuple(DIRECTION_MEANINGS)
#: What a layer or an area says that leaves the direction as it is.
AS_JOB = "as the job"
OWN_DIRECTION_MEANINGS = {AS_JOB: "the way that the whole job's bridges run", **DIRECTION_MEANINGS}
#: Pictures higher than this, in mm, are shown with a figure beside them, smaller with a rule.
FIGURE_FROM = 900.0


@dataclass(frozen=True)
class SheetSettings:
    """``[sheet]``: the plate that every layer is cut from."""

    width_mm: float = field(about="width of every sheet", least=LEAST_SIDE, most=MOST_SIDE)
    height_mm: float = field(about="height of every sheet", least=LEAST_SIDE, most=MOST_SIDE)
    margin_mm: float = field(20.0, about="uncut edge round the artwork", least=0, most=5000)
    material: str = field("card", about="key of the material")
    thickness_mm: float = field(0.4, about="thickness of the sheet", least=0.01, most=100)
    placement: str = field(
        "centre",
        about="where the artwork's page lies: centred on the sheet, or corner on corner",
        choices={
            "centre": "the middle of the artwork's page lies on the middle of the sheet",
            "corner": "the page's lower left corner lies on the sheet's",
        },
    )
    fit: str = field(
        "as drawn",
        about="size of the artwork, keeping its shape",
        choices={
            "as drawn": "the artwork is as large as its file says",
            "sheet": "the artwork fills the sheet within its margin",
        },
    )
    fit_mm: tuple[float, ...] = field(
        (),
        about="size that the artwork is brought to, keeping its shape: its longer side, or the "
        "width and height that it fits into",
        kind="numbers",
    )

    @property
    def room(self) -> tuple[float, float] | None:
        """Width and height in mm that the artwork is fitted into; None where it stays as drawn."""
        if self.fit_mm:
            return (self.fit_mm[0], self.fit_mm[-1])
        if self.fit == "sheet":
            return (self.width_mm - 2 * self.margin_mm, self.height_mm - 2 * self.margin_mm)
        return None


@dataclass(frozen=True)
class LayerSettings:
    """``[[layers]]``: one colour's share of the picture; the tables stand in spray order."""

    name: str = field(about="name of the layer")
    colour: str = field(about="colour it is sprayed in, like '#a0522d'", kind="colour")
    artwork: str = field(
        "", about="artwork file, relative to the job file; needed where no text is given"
    )
    role: str = field("", about="mid-tone, shadow, highlight, or your own word")
    group: str = field("", about="id or label of a group in an SVG, layer in a DXF")
    text: str = field("", about="text to be set instead of a drawing; it may have several lines")
    font: str = field(
        "",
        about="font file (.ttf, .otf) of the text, relative to the job file; for text in an SVG "
        "drawing also a folder of them; whether its licence allows the use is for you to see to",
    )
    text_size_mm: float = field(20.0, about="size of the text", least=0.5, most=MOST_SIDE)
    text_size_is: str = field(
        "cap height",
        about="what the size measures",
        choices={
            "cap height": "the height of a capital letter",
            "em": "the type size, from the foot of one line to the next",
        },
    )
    text_align: str = field(
        "left",
        about="how lines of text stand",
        choices={
            "left": "lines begin below each other",
            "centre": "lines have their middles below each other",
            "right": "lines end below each other",
        },
    )
    text_at_mm: tuple[float, float] = field(
        (0.0, 0.0),
        about="where the first line's baseline begins, has its middle or ends, in the drawing",
        kind="point",
    )
    tracking_mm: float = field(
        0.0, about="room added between letters; ligatures are left out then", least=-100, most=1000
    )
    leading_mm: float | None = field(
        None, about="from baseline to baseline; 1.2 em when absent", least=0.5, most=MOST_SIDE
    )
    opacity: float = field(
        1.0, about="1 hides what is below, 0.4 lets it show through", least=0.0, most=1.0
    )
    scale: float = field(1.0, about="factor on the artwork's lengths", least=1e-4, most=1e4)
    pixel_mm: float | None = field(
        None, about="side of one pixel of a mask image", least=1e-4, most=1000
    )
    painted: str = field(
        "dark",
        about="part of a mask that is painted",
        choices={
            "dark": "what is darker than the threshold is painted",
            "light": "what is lighter than the threshold is painted",
        },
    )
    threshold: float = field(0.5, about="level between dark and light of a mask", least=0, most=1)
    smooth_mm: float = field(0.0, about="smoothing of a mask's contours", least=0, most=100)
    simplify_mm: float = field(
        0.05, about="most that a mask's contour moves when points are left out", least=0, most=100
    )
    bridges_mm: tuple[tuple[tuple[float, float], ...], ...] = field(
        (), about="middle lines of bridges drawn by hand, on the sheet", kind="lines"
    )
    bridges_group: str = field(
        "", about="id or label of an SVG group whose lines are bridges drawn by hand"
    )
    bridge_direction: str = field(
        AS_JOB, about="way this layer's bridges run", choices=OWN_DIRECTION_MEANINGS
    )
    bridge_angle_deg: float | None = field(
        None, about="their angle, with direction 'angle'; the job's when absent", least=0, most=180
    )
    split: bool = field(False, about="two sheets of this colour that leave no bridge in the paint")
    mend_mm: tuple[tuple[float, float], ...] = field(
        (), about="places of findings (necks, tongues, slits) to be mended", kind="points"
    )

    keep_mm: tuple[tuple[float, float], ...] = field(
        (), about="places of islands that are held whatever their bridges spoil", kind="points"
    )

    @property
    def sheet_names(self) -> tuple[str, ...]:
        """Names of the sheets that the layer makes: its own, or with A and B when split."""
        return (f"{self.name} A", f"{self.name} B") if self.split else (self.name,)


@dataclass(frozen=True)
class BridgeSettings:
    """``[bridges]``: the strips that hold islands."""

    width_mm: float | None = field(
        None, about="width of bridges; the material's least width when absent", least=0.05, most=500
    )
    choice: str = field(
        "least-visible",
        about="which bridges are laid: those that spoil the picture least, or the shortest",
        choices={
            "least-visible": "bridges lie where later paint hides them, or where they show least",
            "shortest": "bridges are as short as can be, wherever they show",
        },
    )
    direction: str = field(
        "any",
        about="way bridges run: any, rather along the drawing (an island's long axis), or straight "
        "in a direction: vertical, horizontal, or at angle_deg",
        choices=DIRECTION_MEANINGS,
    )
    angle_deg: float = field(
        90.0, about="angle of bridges, from the right, with direction 'angle'", least=0, most=180
    )
    tolerance_deg: float = field(
        0.0, about="how far a bridge may be off a stated direction", least=0, most=45
    )
    style: str = field(
        "straight",
        about="how bridges are drawn: straight, filleted where they meet the sheet, or along the "
        "flow of the drawing with parallel or tapered sides",
        choices={
            "straight": "the sides of a bridge run straight into the sheet",
            "filleted": "the corners where a bridge meets the sheet are rounded",
            "curved": "bridges bend with the edges beside them and meet the sheet square; those in "
            "a stated direction stay straight",
            "tapered": "the same, of full width in the middle and wider where they meet the sheet",
        },
    )
    fillet_mm: float = field(1.0, about="radius of fillets", least=0.05, most=100)
    handling_load_n: float | None = field(
        None,
        about="push on an island's edge that its bridges bear, in N; the material's when absent",
        least=0,
        most=1000,
    )
    deflection_mm: float | None = field(
        None,
        about="most that an island may give way, the sheet held in the hand; the material's when "
        "absent",
        least=0.01,
        most=1000,
    )
    safety: float | None = field(
        None, about="times that bridges must be stronger than needed", least=1, most=100
    )
    most_per_island: int = field(6, about="most bridges that one island gets", least=1, most=40)
    alike: str = field(
        "shifted",
        about="openings of one shape get the same bridges, and symmetric ones symmetric: where "
        "shifted only, also turned or mirrored, also scaled, or not at all",
        choices={
            "shifted": "openings of one shape and size get the same bridges",
            "turned": "turned and mirrored ones, too",
            "scaled": "also those of another size",
            "off": "each opening is looked at by itself",
        },
    )
    alike_percent: float = field(
        25.0, about="what that may cost more, in percent", least=0, most=500
    )
    symmetry_percent: float = field(
        110.0,
        about="what an opening's bridges in a stated direction may cost more, in percent, so that "
        "they are symmetric: from 100 on one beside the axis gets a second one that faces it",
        least=0,
        most=500,
    )
    rows_percent: float = field(
        25.0,
        about="what an opening's bridges in a stated direction may cost more, in percent, so that "
        "they line up with those of its neighbours in a line of lettering",
        least=0,
        most=500,
    )
    let_go: bool = field(
        True,
        about="islands that are worth less than their bridges spoil are painted over",
    )
    seam_overlap_mm: float = field(
        1.0, about="overlap of paint where a layer is split into two sheets", least=0, most=50
    )
    keep_free_mm: tuple[tuple[float, float, float, float], ...] = field(
        (),
        about="boxes on the sheet that bridges keep out of, each by x, y of its lower left corner, "
        "width and height; [[area]] says the same, and more",
        kind="boxes",
    )
    keep_free_areas_mm: tuple[tuple[tuple[float, float], ...], ...] = field(
        (), about="areas on the sheet that bridges keep out of, each by its corners", kind="lines"
    )
    care: str = field(
        "",
        about="where bridges spoil most: a picture of the page's shape, white for eight times as "
        "much, or a group of a drawing, like layers.svg#care; an [[area]] with a drawing says the "
        "same with a weight of its own",
    )


@dataclass(frozen=True)
class BridgeByHand:
    """``[[bridge]]``: one bridge that the artist has set; places are on the sheet."""

    layer: str = field(about="name of its layer")
    line_mm: tuple[tuple[float, float], ...] = field(
        about="its middle line from sheet to sheet", kind="points"
    )
    id: str = field("", about="its lasting name")
    width_mm: float | None = field(
        None, about="its width; the job's bridge width when absent", least=0.05, most=500
    )
    state: str = field(
        "locked",
        about="locked: stays where it is; forbidden: no bridge is laid across this line",
        choices={
            "locked": "the bridge stays where it was put",
            "forbidden": "no bridge is laid across this line",
        },
    )


@dataclass(frozen=True)
class SettledSheet:
    """``[[settled]]``: automatic bridges of a sheet as they were seen; while they hold they stay.

    Written when a job is saved from Blender, so that everyone who builds it gets the sheets that
    were on the screen. Without the table bridges are chosen anew.
    """

    sheet: str = field(about="name of the sheet")
    under: str = field(
        "", about="mark of the rules they were chosen under; with others they are chosen anew"
    )
    bridges_mm: tuple[tuple[tuple[float, float], ...], ...] = field(
        (),
        about="middle line of each, from root to root: root, edge, further points of curved ones, "
        "edge, root",
        kind="lines",
    )
    widths_mm: tuple[float, ...] = field((), about="width of each", kind="numbers")
    drawn_mm: tuple[tuple[tuple[float, float], ...], ...] = field(
        (), about="middle lines, as laid, of bridges drawn by hand beside them", kind="lines"
    )
    weak_mm: tuple[tuple[float, float], ...] = field(
        (), about="places on islands that could not be held firmly enough", kind="points"
    )
    let_go_mm: tuple[tuple[float, float], ...] = field(
        (), about="places on islands that were let go", kind="points"
    )
    spared: tuple[float, ...] = field(
        (),
        about="what bridges to each of these would have spoilt, in mm2 x Delta E",
        kind="numbers",
    )


@dataclass(frozen=True)
class StockSheet:
    """``[[stock]]``: sheets that pieces are nested on; bigger than the bed, they are cut first."""

    width_mm: float = field(about="width of a stock sheet", least=10, most=MOST_SIDE)
    height_mm: float = field(about="height of a stock sheet", least=10, most=MOST_SIDE)
    name: str = field("", about="a name, for you to know it by")
    count: int = field(0, about="how many are at hand; 0 for as many as needed", least=0, most=9999)
    price: float = field(0.0, about="price of one", least=0, most=1e6)
    outline_mm: tuple[tuple[float, float], ...] = field(
        (), about="outline of an offcut by its corners, within width and height", kind="points"
    )


@dataclass(frozen=True)
class BridgeArea:
    """``[[area]]``: a part of the sheet, and what bridges do there.

    Where areas overlap, the last one that states a direction counts, and the greatest care.
    """

    name: str = field("", about="a name, for you to know it by")
    layer: str = field("", about="name of the layer that it is for; all when empty")
    box_mm: tuple[float, float, float, float] | None = field(
        None, about="the area as a box: x, y of its lower left corner, width, height", kind="box"
    )
    corners_mm: tuple[tuple[float, float], ...] = field(
        (), about="the area by its corners", kind="points"
    )
    drawing: str = field(
        "",
        about="the area as a group of a drawing, like layers.svg#weight, or as a picture of the "
        "page's shape: where it is light it holds, and its greys weigh the care",
    )
    keep_free: bool = field(False, about="bridges keep out of it")
    direction: str = field(AS_JOB, about="way bridges run in it", choices=OWN_DIRECTION_MEANINGS)
    angle_deg: float | None = field(
        None, about="their angle, with direction 'angle'; the job's when absent", least=0, most=180
    )
    care: float = field(
        1.0, about="how many times worse damage is in it than elsewhere", least=1, most=100
    )
    #: What the drawing holds, on the sheet; no key of the file.
    shape: MultiPolygon | None = None


@dataclass(frozen=True)
class RegistrationSettings:
    """``[registration]``: holes at the same place on every sheet and on the wall."""

    hole_diameter_mm: float = field(0.0, about="diameter; 0 for none", least=0, most=200)
    inset_mm: float = field(
        10.0, about="distance of hole centres from the edge", least=0, most=2000
    )
    holes_mm: tuple[tuple[float, float], ...] = field(
        (), about="centres of holes instead of the usual three corners", kind="points"
    )
    feature: str = field(
        "holes",
        about="holes for pins, or half holes in three edges that are pushed against pins",
        choices={
            "holes": "whole holes that sheets are hung on pins by",
            "notches": "half holes in three edges that are pushed against pins",
        },
    )
    marks: bool = field(
        False, about="engraved crosses at the edges' middles, and the layer's number and name"
    )
    drift_mm: float = field(
        1.0, about="how far a sheet may lie off its place when sprayed", least=0, most=100
    )
    turn_deg: float = field(
        0.1, about="how far a sheet may be turned when sprayed", least=0, most=10
    )
    drifts_add: str = field(
        "worst case",
        about="how the drifts of two sheets add up: both against each other, or by chance",
        choices={
            "worst case": "both sheets drift their full way in opposite directions",
            "root sum square": "drifts meet by chance: the root of the sum of their squares",
        },
    )
    trap_mm: float = field(
        0.0, about="how far lower layers are let run under upper ones; 0 for not", least=0, most=50
    )


@dataclass(frozen=True)
class PrintingSettings:
    """``[printing]``: what a printed sheet has beyond the flat plate; 0 or false leaves it out."""

    rim_height_mm: float = field(
        0.0, about="height of the stiffening rim above the sheet", least=0, most=50
    )
    rim_width_mm: float = field(4.0, about="width of the rim", least=0.4, most=100)
    rib_height_mm: float = field(0.0, about="height of ribs above the sheet", least=0, most=50)
    rib_width_mm: float = field(2.0, about="width of a rib", least=0.4, most=50)
    rib_spacing_mm: float = field(
        40.0, about="distance between ribs, both ways", least=4, most=2000
    )
    rib_clearance_mm: float = field(
        2.0, about="least distance from rim or rib to an opening", least=0.2, most=100
    )
    chamfer_mm: float = field(
        0.0, about="how much wider openings are on the spray side, at each edge", least=0, most=10
    )
    land_mm: float = field(
        0.2, about="height of the straight wall below the chamfer", least=0.05, most=20
    )
    grip_tab: bool = field(False, about="a tab on the upper edge to lift the sheet by")
    label: bool = field(False, about="recessed layer number and 'this side up'")
    label_depth_mm: float = field(0.3, about="depth of the label", least=0.05, most=5)
    pegs: bool = field(False, about="pegs above and sockets below, so that sheets stack true")
    peg_diameter_mm: float = field(4.0, about="diameter of a peg", least=1, most=50)
    peg_clearance_mm: float = field(
        0.2, about="how much wider a socket is than its peg, all round", least=0, most=2
    )


@dataclass(frozen=True)
class TileSettings:
    """``[tiles]``: how a sheet bigger than the bed is split."""

    joint: str = field(
        "puzzle",
        about="dovetailed keys, half laps (printed or routed), or butted edges to be taped",
        choices=JOINT_MEANINGS,
    )
    key_width_mm: float = field(8.0, about="width of a key at its head", least=1, most=200)
    key_depth_mm: float = field(5.0, about="depth of a key, or width of a lap", least=0.5, most=200)
    clearance_mm: float = field(0.1, about="width of the gap between joined tiles", least=0, most=2)
    sizes: str = field(
        "even",
        about="tiles alike, whose seams run where they hurt least; full ones, and the rest in the "
        "last row and column; or whichever take the least stock",
        choices={
            "even": "tiles of one size, whose seams run where they hurt least",
            "full": "tiles as large as the bed, the rest in the last row and column",
            "stock": "sizes that take the fewest stock sheets, all layers counted together",
        },
    )
    pins: str = field(
        "where needed",
        about="holes for pins in the wall, shared by all layers: for tiles that keys do not locate "
        "twice, for every tile, or none",
        choices={
            "where needed": "only tiles that their keys do not place twice",
            "every tile": "all tiles, whatever their keys do",
            "none": "no tile",
        },
    )
    pin_diameter_mm: float = field(4.0, about="diameter of a wall pin", least=1, most=50)
    grain: str = field(
        "kept",
        about="pieces of a material with a grain are turned by half turns only, or freely",
        choices={
            "kept": "pieces are turned by half turns only",
            "free": "pieces are turned as it suits",
        },
    )
    saw_mm: float = field(
        3.0, about="what a saw cut takes where stock is cut to the bed's size", least=0, most=20
    )
    bed_margin_mm: float = field(3.0, about="edge of the bed that is kept free", least=0, most=200)
    spacing_mm: float = field(
        4.0, about="distance between pieces on one stock sheet", least=0, most=200
    )


@dataclass(frozen=True)
class PaperSettings:
    """``[paper]``: PDF pages at true size, to be cut by hand."""

    size: str = field("A4", about="ISO 216 paper", choices=PAPER_MEANINGS)
    overlap_mm: float = field(10.0, about="what neighbouring pages both show", least=0, most=100)
    margin_mm: float = field(
        7.0, about="edge of the paper that a printer leaves white", least=0, most=50
    )


@dataclass(frozen=True)
class EstimateSettings:
    """``[estimate]``: assumptions behind mass, time, paint and cost."""

    currency: str = field("EUR", about="what costs are counted in")
    sheet_price_m2: float | None = field(
        None, about="price of a square metre of sheet; the material's range when absent", least=0
    )
    filament_price_kg: float = field(20.0, about="price of a kilogram of filament", least=0)
    paint_price_l: float = field(30.0, about="price of a litre of paint", least=0)
    solids_percent: float = field(
        40.0, about="volume solids of the paint, from its data sheet", least=1, most=100
    )
    film_um: float = field(25.0, about="dry film that covers, in micrometres", least=1, most=2000)
    paint_loss_percent: float = field(
        50.0, about="share of sprayed paint that never reaches the picture", least=0, most=95
    )
    walls: int = field(1, about="how many times the picture is painted", least=1, most=100000)
    spread_percent: float = field(
        25.0, about="how far times and costs may lie off, either way", least=0, most=90
    )


@dataclass(frozen=True)
class SpraySettings:
    """``[spray]``: how the paint is sprayed, for soft edges and shaded openings."""

    stand_off_mm: float = field(
        200.0, about="distance of the nozzle from the sheet", least=10, most=2000
    )
    cone_deg: float = field(30.0, about="whole angle of the spray cone", least=1, most=120)
    lift_mm: float = field(
        0.3,
        about="how far the sheet stands off the wall where it does not lie flat",
        least=0,
        most=50,
    )
    angle_deg: float = field(
        0.0, about="how far the can leans from square to the sheet", least=0, most=75
    )
    touch_dry_min: float | None = field(
        None,
        about="minutes until the paint is dry to the touch, from its data sheet; for the schedule",
        least=0,
        most=10000,
    )
    recoat_min: float | None = field(
        None,
        about="minutes until the paint may be painted over, from its data sheet; for the schedule",
        least=0,
        most=100000,
    )
    tile_min: float = field(
        6.0,
        about="minutes to hang, mask, spray and take off one tile: common practice, no source",
        least=0,
        most=1000,
    )
    from_deg: float = field(
        90.0, about="side the can leans to: 0 right, 90 above, 180 left", least=0, most=360
    )


@dataclass(frozen=True)
class MockupSettings:
    """``[mockup]``: the scene that the painted picture is shown in."""

    surface: str = field("brick", about="what the picture is painted on", choices=SURFACE_MEANINGS)
    light: str = field("daylight", about="light that it is seen in", choices=LIGHT_MEANINGS)
    scale: str = field(
        "auto",
        about="what stands beside it for its size: a rule or a figure",
        choices=SCALE_MEANINGS,
    )

    def scale_for(self, height_mm: float) -> str:
        """Return what stands beside a picture of some height: rule, figure or none.

        >>> MockupSettings().scale_for(500), MockupSettings().scale_for(2000)
        ('rule', 'figure')
        """
        if self.scale != "auto":
            return self.scale
        return "figure" if height_mm > FIGURE_FROM else "rule"


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
