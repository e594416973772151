"""Rules: what bridges of one sheet have to keep to, from the job and from the artist's hand."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from shapely import LineString, MultiPolygon

from ..arrays import Floats
from ..job.job import Job
from ..job.sections import AS_JOB, BridgeArea, BridgeSettings, LayerSettings
from ..planar.polygons import as_multipolygon
from .directions import DirectedArea, Direction, Directions, direction_of
from .statics import Stiffness

#: Bridges of one island keep this many widths from one another, from middle line to middle line:
#: nearer ones would run into one and hold no better than one. In a stated direction they stand side
#: by side like the teeth of a comb, and there the paint between is as wide as one and a half.
LEAST_CLEARANCE, COMB_CLEARANCE = 1.5, 2.5
#: How much wider tapered bridges are at the sheet than in their middle, as a share.
FLARE = 0.5


@dataclass(frozen=True)
class DrawnBridge:
    """A bridge that was put by hand.

    Parameters
    ----------
    line : float64 array (k, 2)
        Middle line in mm, on the sheet.
    width : float, optional
        In mm; the rule's width when None.
    name : str
        Lasting id; made from the place when empty.
    """

    line: Floats
    width: float | None = None
    name: str = ""


@dataclass(frozen=True)
class Loads:
    """What islands have to bear, and how far they may give way.

    All of it is for the sheet held in the hand by its frame (see ``statics``): there it bears most.

    Parameters
    ----------
    stiffness : Stiffness
    gram_per_mm2 : float
        Mass of the sheet.
    handling_n : float
        Push on an island's rim.
    deflection_mm : float
        Most that an island may give way.
    stress_mpa : float
        Most that a bridge may be strained: strength over safety.
    strength_mpa : float
        Where a bridge breaks.
    """

    stiffness: Stiffness
    gram_per_mm2: float
    handling_n: float
    deflection_mm: float
    stress_mpa: float
    strength_mpa: float = np.inf


@dataclass(frozen=True)
class Settled:
    """Automatic bridges that stay while they hold (see ``settled``).

    Parameters
    ----------
    paths : tuple of float64 array (k, 2)
        Middle lines from root to root: root, edge, further points of curved ones, edge, root.
    width : tuple of float
        In mm.
    weak : tuple of (float, float)
        Places on islands that are put up with, though they are held too weakly.
    let_go : tuple of ((float, float), float)
        Places on islands that were let go, and what that spared.
    drawn : tuple of tuple of (float, float)
        Lines, as laid, of the bridges drawn by hand that there were then.
    """

    paths: tuple[Floats, ...]
    width: tuple[float, ...]
    weak: tuple[tuple[float, float], ...] = ()
    let_go: tuple[tuple[tuple[float, float], float], ...] = ()
    drawn: tuple[tuple[tuple[float, float], ...], ...] = ()


#: Stands for any loads where only their being there matters.
_SOME_LOADS = Loads(Stiffness(1.0, 1.0), 0.0, 0.0, 0.0, 0.0)


@dataclass(frozen=True)
class Rules:
    """Rules for the bridges of one sheet.

    Parameters
    ----------
    width : float
        Of a bridge, in mm, at least the material's least.
    shortest : bool
        Lay the shortest bridges instead of the least visible.
    direction : Direction
        Which way bridges run.
    directed : tuple of DirectedArea
        Parts of the sheet where they run another way.
    fillet : float
        Radius of fillets at the roots in mm; 0 for straight sides.
    curved : bool
        Whether bridges follow the flow of the drawing (see ``flowing``).
    flare : float
        How much wider bridges are where they meet the sheet than in their middle, as a share.
    drawn : tuple of DrawnBridge
        They come first.
    forbidden : tuple of LineString
        No bridge is laid across these lines.
    keep_free : MultiPolygon
        No bridge is laid here.
    loads : Loads, optional
        Islands get one bridge each when None.
    most_per_island : int
    alike : str
        Which openings get the same bridges: ``"off"``, ``"shifted"``, ``"turned"``, ``"scaled"``.
    alike_share : float
        What it may cost more, as a share, that openings are alike or symmetric.
    symmetry_share : float
        The same that those in a stated direction are symmetric.
    rows_share : float
        What it may cost more, as a share, that bridges of neighbours line up.
    settled : Settled, optional
        What was chosen before and stays while it holds.
    """

    width: float
    shortest: bool = False
    direction: Direction = field(default_factory=Direction)
    directed: tuple[DirectedArea, ...] = ()
    fillet: float = 0.0
    curved: bool = False
    flare: float = 0.0
    drawn: tuple[DrawnBridge, ...] = ()
    forbidden: tuple[LineString, ...] = ()
    keep_free: MultiPolygon = field(default_factory=MultiPolygon)
    loads: Loads | None = None
    most_per_island: int = 6
    alike: str = "off"
    alike_share: float = 0.25
    symmetry_share: float = 1.1
    rows_share: float = 0.25
    settled: Settled | None = None

    @property
    def directions(self) -> Directions:
        """Which way bridges run at every place."""
        return Directions(self.direction, self.directed)

    @property
    def stated_width(self) -> float:
        """Width of bridges in mm where they run in a stated direction somewhere, else 0."""
        return self.width if self.directions.any_stated else 0.0

    def for_places(self) -> Rules:
        """Return the rules as far as candidates hang on them (see ``places``).

        Whether there are loads matters to them, what they are does not.
        """
        return replace(
            self,
            fillet=0.0,
            curved=False,
            flare=0.0,
            drawn=(),
            loads=None if self.loads is None else _SOME_LOADS,
            most_per_island=0,
            alike="off",
            alike_share=0.0,
            symmetry_share=0.0,
            settled=None,
        )

    def for_choice(self) -> Rules:
        """Return the rules as far as the choice among candidates hangs on them."""
        return Rules(
            self.width,
            direction=self.direction,
            directed=self.directed,
            loads=self.loads,
            most_per_island=self.most_per_island,
        )

    @property
    def clearance(self) -> float:
        """How far two bridges of one island keep from one another, in mm."""
        stated = self.directions.any_stated
        return self.width * (COMB_CLEARANCE if stated else LEAST_CLEARANCE)

    @property
    def barred(self) -> MultiPolygon:
        """Where automatic bridges must not lie: areas kept free, and strips of forbidden ones."""
        strips = shapely.buffer(list(self.forbidden), self.width / 2, cap_style="flat")
        return as_multipolygon(shapely.union_all([self.keep_free, *strips]))


def rules_for(job: Job, layer: LayerSettings, more_drawn: tuple[DrawnBridge, ...] = ()) -> Rules:
    """Return the rules for a layer's sheet.

    Parameters
    ----------
    job : Job
    layer : LayerSettings
    more_drawn : tuple of DrawnBridge
        Bridges drawn elsewhere, as in an SVG group.
    """
    settings, material = job.bridges, job.material
    by_hand = [b for b in job.bridges_by_hand if b.layer == layer.name]
    drawn = [
        *(
            DrawnBridge(np.array(b.line_mm), b.width_mm, b.id)
            for b in by_hand
            if b.state == "locked"
        ),
        *(DrawnBridge(np.array(line)) for line in layer.bridges_mm),
        *more_drawn,
    ]
    free = [shapely.box(x, y, x + w, y + h) for x, y, w, h in settings.keep_free_mm]
    free += [shapely.make_valid(shapely.Polygon(a)) for a in settings.keep_free_areas_mm]
    free += [area_shape(area) for area in job.areas_of(layer.name) if area.keep_free]
    thickness = job.sheet.thickness_mm
    return Rules(
        width=job.bridge_width,
        shortest=settings.choice == "shortest",
        direction=_layer_direction(settings, layer),
        directed=_directed_areas(job, layer),
        fillet=settings.fillet_mm if settings.style == "filleted" else 0.0,
        curved=settings.style in ("curved", "tapered"),
        flare=FLARE if settings.style == "tapered" else 0.0,
        drawn=tuple(drawn),
        forbidden=tuple(LineString(b.line_mm) for b in by_hand if b.state == "forbidden"),
        keep_free=as_multipolygon(shapely.union_all(free)),
        loads=Loads(
            stiffness=Stiffness(material.modulus_mpa, thickness),
            gram_per_mm2=material.mass_g(thickness),
            handling_n=(
                material.handling_n
                if settings.handling_load_n is None
                else settings.handling_load_n
            ),
            deflection_mm=settings.deflection_mm or material.deflection_mm,
            stress_mpa=material.strength_mpa / (settings.safety or material.safety),
            strength_mpa=material.strength_mpa,
        ),
        most_per_island=settings.most_per_island,
        alike=settings.alike,
        alike_share=settings.alike_percent / 100,
        symmetry_share=settings.symmetry_percent / 100,
        rows_share=settings.rows_percent / 100,
    )


def area_shape(area: BridgeArea) -> MultiPolygon:
    """Return an area of the sheet that the job's table says: drawn, its box, or its corners."""
    if area.shape is not None:
        return area.shape
    if area.box_mm:
        x, y, width, height = area.box_mm
        return as_multipolygon(shapely.box(x, y, x + width, y + height))
    return as_multipolygon(shapely.make_valid(shapely.Polygon(area.corners_mm)))


def _layer_direction(settings: BridgeSettings, layer: LayerSettings) -> Direction:
    own = layer.bridge_direction != AS_JOB
    name = layer.bridge_direction if own else settings.direction
    angle = settings.angle_deg if layer.bridge_angle_deg is None else layer.bridge_angle_deg
    return direction_of(name, angle, settings.tolerance_deg)


def _directed_areas(job: Job, layer: LayerSettings) -> tuple[DirectedArea, ...]:
    settings = job.bridges
    return tuple(
        DirectedArea(
            area_shape(area),
            direction_of(
                area.direction,
                settings.angle_deg if area.angle_deg is None else area.angle_deg,
                settings.tolerance_deg,
            ),
        )
        for area in job.areas_of(layer.name)
        if area.direction != AS_JOB
    )
