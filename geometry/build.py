"""Building: from a job to its solid sheets, computed once for command line, add-on and report."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import shapely
from shapely import MultiPolygon
from shapely.affinity import translate

from .artwork.care import CareArea, read_care, with_drawn_areas
from .artwork.read import Artwork, LayerDrawing, read_all
from .artwork.source import ArtworkSource
from .colour import hides
from .errors import GeometryError
from .finding import Finding, Severity
from .geos_fault import geos_told
from .job.job import Job, needed_by_layer
from .job.processes import process_findings
from .job.sections import LayerSettings, SheetSettings
from .mesh.check import Soundness, faults_as_written, leak_finding, volume, wanted_of_plate
from .mesh.islands import Piece, find_pieces
from .mesh.solid import Mesh, extrude
from .planar.polygons import as_multipolygon
from .progress import Progress
from .sheet.alignment import with_alignment
from .sheet.registration import registration_findings
from .sheet.sheet import PlacedArtwork, Sheet, artwork_shift, place_artworks
from .sheet.trapping import trapped
from .step_cache import StepCache, kept
from .support.bridges import Bridge
from .support.constraints import DrawnBridge, area_shape, rules_for
from .support.held_islands import HeldIsland
from .support.let_go import LetGo
from .support.plain_bridges import PlainBridges
from .support.settled import settled_for, settled_row
from .support.support import support_layer
from .support.two_sheets import Part, split_layer
from .support.visible_damage import Coat, DamageMap
from .threads import aside
from .tolerance import TOLERANCES, Tolerances

#: Of a layer that counts as painted over, so much is: what is left are rounding and hairs.
_SEEN = 0.999


@dataclass(frozen=True)
class BuiltLayer:
    """Everything that was made of one layer.

    Parameters
    ----------
    settings : LayerSettings
    artwork : PlacedArtwork
        The picture's share that was asked for, in the sheet's frame.
    plain_sheet : Sheet
        The sheet as drawn, islands and all.
    islands : tuple of Piece
        What would fall out of the plain sheet.
    bridges : tuple of Bridge
    sheet : Sheet
        The sheet to be cut: bridges in place.
    mesh : Mesh
        That sheet as a solid, z from 0 to its thickness, in mm.
    soundness : Soundness
        Whether the mesh is closed and oriented, as a reader of its file has it; where files are
        written, the verdict on the file itself (see ``report.build_files``).
    fault : str
        What is wrong with it so; empty for a sound solid.
    islands_left : tuple of Piece
        What would still fall out; empty in a good stencil.
    mass_g : float
        Mass of the sheet in grams.
    findings : tuple of Finding
        In the order in which the work goes.
    held_islands : tuple of HeldIsland
        How firmly each island is held.
    plain : PlainBridges or None
        Plain shortest bridges, for comparison; worked out when a report asks.
    let_go : tuple of LetGo
        Islands as drawn that were not worth their bridges and are painted over.
    care : tuple of (MultiPolygon, float)
        Where damage counts more than once, and how many times.
    """

    settings: LayerSettings
    artwork: PlacedArtwork
    plain_sheet: Sheet
    islands: tuple[Piece, ...]
    bridges: tuple[Bridge, ...]
    sheet: Sheet
    mesh: Mesh
    soundness: Soundness
    islands_left: tuple[Piece, ...]
    mass_g: float
    findings: tuple[Finding, ...]
    held_islands: tuple[HeldIsland, ...] = ()
    plain: PlainBridges | None = None
    fault: str = ""
    let_go: tuple[LetGo, ...] = ()
    care: tuple[tuple[MultiPolygon, float], ...] = ()

    @property
    def damage(self) -> float:
        """Visible damage of the layer's bridges, in mm2 x Delta E (CIEDE2000)."""
        return sum(b.damage for b in self.bridges if b.kind == "bridge")

    @property
    def plain_damage(self) -> float:
        """Visible damage that plain shortest bridges would do, in mm2 x Delta E."""
        return self.plain.damage if self.plain is not None else 0.0

    @property
    def plainly_bridged(self) -> MultiPolygon:
        """The openings as plain shortest bridges would leave them, for comparison."""
        if self.plain is None or not self.plain.strips:
            return self.sheet.openings
        strips = shapely.union_all(self.plain.strips)
        return as_multipolygon(self.plain_sheet.openings.difference(strips))

    @property
    def volume_mm3(self) -> float:
        """Volume of the solid in mm3."""
        return volume(self.mesh)


@dataclass(frozen=True)
class Build:
    """A built job.

    Parameters
    ----------
    job : Job
    layers : tuple of BuiltLayer
        In spray order.
    """

    job: Job
    layers: tuple[BuiltLayer, ...]

    @property
    def findings(self) -> tuple[Finding, ...]:
        """All findings: those of the whole job, then layer by layer."""
        job = self.job
        of_job = process_findings(job.made_by, job.sheet.material, job.material, job.bridge_width)
        of_pins = registration_findings(job.registration, job.sheet)
        return (*of_job, *of_pins, *(f for layer in self.layers for f in layer.findings))

    def settled_for(self, job: Job) -> Job:
        """Return the job that was built with all that was chosen in it, to be built so again.

        Parameters
        ----------
        job : Job
            Its layers as they were before any were split.
        """
        layer_of = {sheet: layer for layer in job.layers for sheet in layer.sheet_names}
        # A split layer that needs no bridge is one sheet of the layer's own name.
        layer_of |= {layer.name: layer for layer in job.layers}
        rows = []
        for built in self.layers:
            automatic = [b for b in built.bridges if (b.kind, b.state) == ("bridge", "automatic")]
            name = built.settings.name
            row = settled_row(
                job,
                layer_of[name],
                name,
                [(b.path, b.width) for b in automatic],
                [b.path for b in built.bridges if b.state == "locked"],
                [island.place for island in built.held_islands if not island.enough],
                [(gone.place, gone.spared) for gone in built.let_go if gone.spared],
            )
            if row.bridges_mm or row.let_go_mm:
                rows.append(row)
        return replace(job, settled=tuple(rows))

    @property
    def spoilt(self) -> bool:
        """Whether a finding spoils a stencil."""
        return any(f.severity is Severity.SPOILS for f in self.findings)


def build(
    job: Job,
    progress: Progress | None = None,
    tolerances: Tolerances = TOLERANCES,
    cache: StepCache | None = None,
) -> Build:
    """Build all sheets of a job.

    Parameters
    ----------
    job : Job
    progress : Progress, optional
        Told what is being done; may raise ``Cancelled``.
    tolerances : Tolerances
    cache : StepCache, optional
        Steps that it has from earlier builds are not done again; the result is the same.

    Raises
    ------
    ArtworkError
        An artwork file cannot be read; the sentence names the layer.
    GeometryError
        A layer's shape cannot be built.
    Cancelled
    """
    progress = progress or Progress()
    reading, building = progress.part(0.0, 0.2), progress.part(0.2, 1.0)
    drawings = read_all(job, reading, tolerances, cache)
    pages = [d.artwork.page for d in drawings if d.artwork.page is not None]
    scale = drawings[0].source.scale
    care = read_care(job, pages[0] if pages else None, tolerances, cache, scale)
    return build_sheets(job, drawings, building, tolerances, care, cache)


def build_sheets(
    job: Job,
    drawings: Sequence[LayerDrawing],
    progress: Progress | None = None,
    tolerances: Tolerances = TOLERANCES,
    care: Sequence[CareArea] = (),
    cache: StepCache | None = None,
) -> Build:
    """Build all sheets of a job from what was drawn for its layers.

    Parameters
    ----------
    job : Job
    drawings : sequence of LayerDrawing
        One for each layer, in the job's order; see ``read_all``.
    progress : Progress, optional
        Told what is being done; may raise ``Cancelled``.
    tolerances : Tolerances
    care : sequence of CareArea
        Where damage counts more than once, in the artwork's frame.
    cache : StepCache, optional
        As for :func:`build`.

    Raises
    ------
    GeometryError
        A layer's shape cannot be built, or no layer has one.
    Cancelled
    """
    progress = progress or Progress()
    count = len(job.layers)
    if all(drawing.artwork.shape.is_empty for drawing in drawings):
        raise GeometryError(_nothing_to_cut(drawings))
    artworks = [drawing.artwork for drawing in drawings]
    named = [(layer.name, a) for layer, a in zip(job.layers, artworks, strict=True)]
    progress(0.0, "laying the layers' drawings in register")
    with geos_told("Laying the layers' drawings in register"):
        opacities = [layer.opacity for layer in job.layers]
        stated = _places_stated([drawing.source for drawing in drawings])
        trap = job.registration.trap_mm
        placed = kept(cache, _placed, named, job.sheet, opacities, trap, stated)
    shift = artwork_shift(artworks, job.sheet)
    pages = [artwork.page for artwork in artworks if artwork.page is not None]
    page, scale = pages[0] if pages else None, drawings[0].source.scale
    with_areas = with_drawn_areas(job, page, shift, scale, tolerances, cache)
    drawn = [tuple(DrawnBridge(line + shift) for line in d.bridges) for d in drawings]
    careful = [(translate(c.shape, *shift), c.factor) for c in care]
    coats = [
        Coat(artwork.shape, layer.colour, layer.opacity)
        for layer, artwork in zip(job.layers, placed, strict=True)
    ]
    built: list[BuiltLayer] = []
    # The last layer first: what it will cover, its own bridges left out, is known to those below.
    for done, i in enumerate(reversed(range(count))):
        part = progress.part(done / count, (done + 1) / count)
        with geos_told(f"{job.layers[i].name} ({drawings[i].source.path})"):
            sheets = _build_layer(
                with_areas, i, placed[i], drawn[i], coats, careful, part, tolerances, cache
            )
            openings = [sheet.sheet.openings for sheet in sheets]
            painted = openings[0] if len(sheets) == 1 else shapely.union_all(openings)
        coats[i] = replace(coats[i], shape=as_multipolygon(painted))
        built += reversed(sheets)
    built.reverse()
    if len(built) != count:  # split layers: the job as it is made
        job = replace(job, layers=tuple(layer.settings for layer in built))
    return Build(job, tuple(built))


def _placed(
    named: Sequence[tuple[str, Artwork]],
    sheet: SheetSettings,
    opacities: Sequence[float],
    trap: float,
    stated: Sequence[bool],
) -> tuple[PlacedArtwork, ...]:
    placed = with_alignment(place_artworks(named, sheet), sheet, stated)
    return trapped(placed, opacities, trap)


def _places_stated(sources: Sequence[ArtworkSource]) -> tuple[bool, ...]:
    """Return whether a layer's place is stated: by the job, or by one drawing with another's."""
    drawings = [(source.path, source.scale) for source in sources if source.text is None]
    return tuple(
        source.text is not None or drawings.count((source.path, source.scale)) > 1
        for source in sources
    )


def _nothing_to_cut(drawings: Sequence[LayerDrawing]) -> str:
    reasons: dict[str, None] = {}
    for drawing in drawings:
        told = [f.sentence().rstrip(".") for f in drawing.artwork.findings[:2]]
        reasons[f"{drawing.source.path} ({'; '.join(told) or 'no shape in it'})"] = None
    return f"Nothing to cut in any layer: {', '.join(reasons)}."


def _build_layer(
    job: Job,
    number: int,
    artwork: PlacedArtwork,
    drawn: tuple[DrawnBridge, ...],
    coats: Sequence[Coat],
    care: Sequence[tuple[MultiPolygon, float]],
    progress: Progress,
    tolerances: Tolerances,
    cache: StepCache | None,
) -> list[BuiltLayer]:
    """Build a layer's sheet, or its two."""
    settings = job.layers[number]
    above = coats[number + 1 :]
    holding, making = progress.part(0.0, 0.7), progress.part(0.7, 1.0)
    parts = kept(
        cache,
        _support,
        needed_by_layer(job, number),
        artwork,
        drawn,
        coats[number],
        coats[:number],
        above,
        care,
        tolerances,
        progress=holding,
        cache=cache,
    )
    unseen = _unseen(artwork, settings.name, job.layers[number + 1 :], above)
    built = [
        _build_sheet(job, part, unseen, making.part(k / len(parts), (k + 1) / len(parts)), cache)
        for k, part in enumerate(parts)
    ]
    of_layer = tuple(_care_of(job, settings.name, care))
    return [replace(layer, care=of_layer) for layer in built]


def _support(
    job: Job,
    artwork: PlacedArtwork,
    drawn: tuple[DrawnBridge, ...],
    coat: Coat,
    below: Sequence[Coat],
    above: Sequence[Coat],
    care: Sequence[tuple[MultiPolygon, float]],
    tolerances: Tolerances,
    *,
    progress: Progress,
    cache: StepCache | None,
) -> tuple[Part, ...]:
    """Hold the islands of a job's one layer."""
    (settings,) = job.layers
    rules = rules_for(job, settings, drawn)
    rules = replace(rules, settled=settled_for(job, settings.name, rules))
    care = _care_of(job, settings.name, care)
    if settings.split:
        return tuple(
            split_layer(
                job, settings, artwork, rules, below, above, progress, tolerances, care, cache
            )
        )
    damage = kept(cache, DamageMap, coat, below, above, job.ground, care)
    supported = support_layer(job, settings, artwork, rules, damage, progress, tolerances, cache)
    return (Part(settings, artwork, supported),)


def _care_of(
    job: Job, layer: str, care: Sequence[tuple[MultiPolygon, float]]
) -> list[tuple[MultiPolygon, float]]:
    """Return where damage counts more than once in a layer; the greatest care counts."""
    stated = [(area_shape(a), a.care) for a in job.areas_of(layer) if a.care > 1]
    if not stated:
        return list(care)
    apart: list[tuple[MultiPolygon, float]] = []
    taken: shapely.Geometry = MultiPolygon()
    for shape, factor in sorted([*stated, *care], key=lambda one: -one[1]):
        rest = as_multipolygon(shapely.difference(shape, taken))
        if not rest.is_empty:
            apart.append((rest, factor))
        taken = shapely.union(taken, shape)
    return apart


def _unseen(
    artwork: PlacedArtwork, layer: str, later: Sequence[LayerSettings], above: Sequence[Coat]
) -> list[Finding]:
    """Return a finding where later layers paint over all of a layer."""
    covering = [
        (settings.name, coat.shape)
        for settings, coat in zip(later, above, strict=True)
        if hides(coat.opacity)
    ]
    area = artwork.shape.area
    # The common case is told from the areas alone.
    if area == 0 or sum(shape.area for _, shape in covering) < _SEEN * area:
        return []
    left: shapely.Geometry = artwork.shape
    names: list[str] = []
    for name, shape in covering:
        if shapely.intersects(left, shape):
            left, names = shapely.difference(left, shape), [*names, name]
        if left.area <= (1 - _SEEN) * area:
            break
    else:
        return []
    at = artwork.shape.representative_point()
    return [
        Finding(
            "paint.painted-over",
            Severity.WARNING,
            f"Nothing of this layer is seen: {' and '.join(names)} paint over all of it later. "
            "Spray it later, or leave it out.",
            layer,
            (at.x, at.y),
        )
    ]


@dataclass(frozen=True)
class _Solid:
    """A sheet as a solid, and what is to be known of it."""

    mesh: Mesh
    soundness: Soundness
    fault: str
    islands: tuple[Piece, ...]


def _fallen(plain: MultiPolygon, thickness: float) -> tuple[Piece, ...]:
    """Return what would fall out of a sheet as drawn."""
    return find_pieces(extrude(plain, thickness)).islands


def _solid(shape: MultiPolygon, thickness: float, *, layer: str, progress: Progress) -> _Solid:
    mesh = extrude(shape, thickness, progress.part(0.0, 0.6))
    progress(0.6, f"{layer}: checking the solid")
    sound, fault = faults_as_written(mesh, wanted_of_plate(shape, thickness))
    return _Solid(mesh, sound, fault, find_pieces(mesh).islands)


def _build_sheet(
    job: Job,
    part: Part,
    unseen: Sequence[Finding],
    progress: Progress,
    cache: StepCache | None,
) -> BuiltLayer:
    settings, artwork = part.settings, part.artwork
    plain, held = part.supported.plain, part.supported.held
    sheet, name = held.sheet, settings.name
    progress(0.0, f"{name}: looking for islands")
    with aside(lambda: kept(cache, _fallen, plain.shape, plain.thickness)) as fallen:
        solid = kept(cache, _solid, sheet.shape, sheet.thickness, layer=name, progress=progress)
        islands = fallen()
    left, fault = solid.islands, solid.fault
    findings = [*artwork.findings, *unseen, *part.supported.findings]
    findings += [
        Finding(
            "support.island-left",
            Severity.SPOILS,
            f"An island of {island.area_mm2:.1f} mm2 is not held and falls out.",
            settings.name,
            island.place,
        )
        for island in left
    ]
    if fault:
        findings.append(leak_finding(fault, settings.name))
    return BuiltLayer(
        settings=settings,
        artwork=artwork,
        plain_sheet=plain,
        islands=islands,
        bridges=held.bridges,
        sheet=held.sheet,
        mesh=solid.mesh,
        soundness=solid.soundness,
        fault=fault,
        islands_left=left,
        mass_g=job.material.mass_g(float(shapely.area(held.sheet.shape)) * plain.thickness),
        findings=tuple(findings),
        held_islands=held.islands,
        plain=held.plain,
        let_go=part.supported.let_go,
    )
