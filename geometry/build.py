"""Building: from a job to its solid sheets, computed once for command line, add-on and report."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import shapely
from shapely import MultiPolygon
from shapely.affinity import translate

from .artwork.care import CareArea, read_care
from .artwork.read import LayerDrawing, read_all
from .colour import hides
from .errors import GeometryError
from .finding import Finding, Severity
from .geos_fault import geos_told
from .job.job import Job
from .job.processes import process_findings
from .job.sections import LayerSettings
from .mesh.check import Soundness, faults_as_written, leak_finding, volume, wanted_of_plate
from .mesh.islands import Piece, find_pieces
from .mesh.solid import Mesh, extrude
from .planar.polygons import as_multipolygon
from .progress import Progress
from .sheet.alignment import with_mismatches
from .sheet.registration import registration_findings
from .sheet.sheet import PlacedArtwork, Sheet, artwork_shift, place_artworks
from .sheet.trapping import trapped
from .support.bridges import Bridge
from .support.constraints import DrawnBridge, area_shape, rules_for
from .support.held_islands import HeldIsland
from .support.let_go import LetGo
from .support.plain_bridges import PlainBridges
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

    @property
    def spoilt(self) -> bool:
        """Whether a finding spoils a stencil."""
        return any(f.severity is Severity.SPOILS for f in self.findings)


def build(job: Job, progress: Progress | None = None, tolerances: Tolerances = TOLERANCES) -> Build:
    """Build all sheets of a job.

    Parameters
    ----------
    job : Job
    progress : Progress, optional
        Told what is being done; may raise ``Cancelled``.
    tolerances : Tolerances

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
    drawings = read_all(job, reading, tolerances)
    pages = [d.artwork.page for d in drawings if d.artwork.page is not None]
    care = read_care(job, pages[0] if pages else None, tolerances)
    return build_sheets(job, drawings, building, tolerances, care)


def build_sheets(
    job: Job,
    drawings: Sequence[LayerDrawing],
    progress: Progress | None = None,
    tolerances: Tolerances = TOLERANCES,
    care: Sequence[CareArea] = (),
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
    with geos_told("Laying the layers' drawings in register"):
        placed = place_artworks(named, job.sheet)
        placed = with_mismatches(placed, job.sheet)
        placed = trapped(placed, job.layers, job.registration.trap_mm)
    shift = artwork_shift(artworks, job.sheet)
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
            sheets = _build_layer(job, i, placed[i], drawn[i], coats, careful, part, tolerances)
        openings = [sheet.sheet.openings for sheet in sheets]
        painted = openings[0] if len(sheets) == 1 else shapely.union_all(openings)
        coats[i] = replace(coats[i], shape=as_multipolygon(painted))
        built += reversed(sheets)
    built.reverse()
    if len(built) != count:  # split layers: the job as it is made
        job = replace(job, layers=tuple(layer.settings for layer in built))
    return Build(job, tuple(built))


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
) -> list[BuiltLayer]:
    """Build a layer's sheet, or its two."""
    settings = job.layers[number]
    rules = rules_for(job, settings, drawn)
    care = _care_of(job, settings.name, care)
    below, above = coats[:number], coats[number + 1 :]
    holding, making = progress.part(0.0, 0.7), progress.part(0.7, 1.0)
    if settings.split:
        parts = split_layer(job, settings, artwork, rules, below, above, holding, tolerances, care)
    else:
        damage = DamageMap(coats[number], below, above, job.ground, care)
        supported = support_layer(job, settings, artwork, rules, damage, holding, tolerances)
        parts = [Part(settings, artwork, supported)]
    unseen = _unseen(artwork, settings.name, job.layers[number + 1 :], above)
    return [
        _build_sheet(job, part, unseen, making.part(k / len(parts), (k + 1) / len(parts)))
        for k, part in enumerate(parts)
    ]


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


def _build_sheet(job: Job, part: Part, unseen: Sequence[Finding], progress: Progress) -> BuiltLayer:
    settings, artwork = part.settings, part.artwork
    plain, held = part.supported.plain, part.supported.held
    progress(0.0, f"{settings.name}: looking for islands")
    # What would fall out of the sheet as drawn.
    with aside(lambda: find_pieces(extrude(plain.shape, plain.thickness)).islands) as fallen:
        mesh = extrude(held.sheet.shape, held.sheet.thickness, progress.part(0.0, 0.6))
        progress(0.6, f"{settings.name}: checking the solid")
        shape = held.sheet.shape
        sound, fault = faults_as_written(mesh, wanted_of_plate(shape, held.sheet.thickness))
        left = find_pieces(mesh).islands
        islands = fallen()
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
        mesh=mesh,
        soundness=sound,
        fault=fault,
        islands_left=left,
        mass_g=job.material.mass_g(float(shapely.area(held.sheet.shape)) * plain.thickness),
        findings=tuple(findings),
        held_islands=held.islands,
        plain=held.plain,
        let_go=part.supported.let_go,
    )
