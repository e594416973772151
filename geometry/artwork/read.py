"""Artwork: the shapes of one layer that are to be painted, and the one door to its readers."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from importlib import import_module
from pathlib import Path

import shapely
from shapely import MultiPolygon

from ..arrays import Floats
from ..content import content_key
from ..errors import ArtworkError
from ..finding import Finding
from ..geos_fault import geos_told
from ..job.job import Job
from ..progress import Progress
from ..step_cache import StepCache
from ..tolerance import TOLERANCES, Tolerances
from .fine_outlines import without_fine_corners
from .fit import Read, artwork_size, fitted_sources, with_pixels
from .source import ArtworkSource, source_of


@dataclass(frozen=True)
class Artwork:
    """The area to be painted of one layer.

    Parameters
    ----------
    shape : MultiPolygon
        Valid polygons in mm, x to the right, y up, origin at the page's lower left corner.
    page : tuple of float, optional
        Width and height of the drawing's page in mm; None where the format has no page.
    findings : tuple of Finding
        Repairs made and things left out; places in the artwork's frame.
    """

    shape: MultiPolygon
    page: tuple[float, float] | None = None
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class LayerDrawing:
    """All that is drawn for one layer.

    Parameters
    ----------
    source : ArtworkSource
        Where it was read from; messages name it.
    artwork : Artwork
    bridges : tuple of float64 array (k, 2)
        Middle lines of bridges that the artist has drawn, in the artwork's frame, in mm.
    """

    source: ArtworkSource
    artwork: Artwork
    bridges: tuple[Floats, ...] = ()

    @property
    def as_read(self) -> Read:
        """Source, page and bounds, by which artwork is fitted to a size."""
        return self.source, self.artwork.page, self.artwork.shape.bounds


Reader = Callable[[ArtworkSource, Tolerances], Artwork]


#: Reader of each ending, as module and function: a job of SVG files need not load the DXF library.
_READERS = {
    ".svg": (".svg.read", "read_svg"),
    ".dxf": (".dxf.read", "read_dxf"),
    ".png": (".mask", "read_mask"),
    ".jpg": (".mask", "read_mask"),
    ".jpeg": (".mask", "read_mask"),
}


def _reader(suffix: str) -> Reader:
    module, function = _READERS[suffix]
    found: Reader = getattr(import_module(module, __package__), function)
    return found


def read_artwork(source: ArtworkSource, tolerances: Tolerances = TOLERANCES) -> Artwork:
    """Read one layer's artwork by the reader that its file's ending names.

    Parameters
    ----------
    source : ArtworkSource
    tolerances : Tolerances

    Returns
    -------
    Artwork
        In mm, y up, scaled by ``source.scale``.

    Raises
    ------
    ArtworkError
        The file is missing, unreadable, of an unknown kind, or its meaning is unclear.
    """
    if source.text is not None:
        # Imported late, as the readers are.
        from .text.read import read_text

        artwork = read_text(source, tolerances)
        return artwork if source.scale == 1.0 else _scaled(artwork, source.scale)
    suffix = source.path.suffix.lower()
    if suffix not in _READERS:
        raise ArtworkError(
            f"{source.path}: no reader for files ending in '{source.path.suffix}'; "
            f"expected one of {', '.join(sorted(_READERS))}."
        )
    if not source.path.exists():
        raise ArtworkError(f"{source.path}: the artwork file does not exist.")
    if not source.path.is_file():
        raise ArtworkError(f"{source.path}: expected a file here, found a folder or device.")
    artwork = _reader(suffix)(source, tolerances)
    return _thinned(artwork if source.scale == 1.0 else _scaled(artwork, source.scale), tolerances)


def _thinned(artwork: Artwork, tolerances: Tolerances) -> Artwork:
    parts, told = without_fine_corners(shapely.get_parts(artwork.shape), tolerances)
    if told is None:
        return artwork
    shape = shapely.multipolygons(shapely.orient_polygons(parts))
    return replace(artwork, shape=shape, findings=(*artwork.findings, told))


def read_all(
    job: Job,
    progress: Progress | None = None,
    tolerances: Tolerances = TOLERANCES,
    cache: StepCache | None = None,
) -> tuple[LayerDrawing, ...]:
    """Read what is drawn for every layer of a job; a drawing that several layers name is read once.

    Parameters
    ----------
    job : Job
    progress : Progress, optional
        Told which layer is being read; may raise ``Cancelled``.
    tolerances : Tolerances
    cache : StepCache, optional
        Files of the same bytes are not read again.

    Returns
    -------
    tuple of LayerDrawing
        In the order of the job's layers.

    Raises
    ------
    ArtworkError
        A file cannot be read; the sentence names the layer.
    GeometryError
        Outlines in a file cannot be worked out.
    Cancelled
    """
    progress = progress or Progress()
    sources = [source_of(job, layer) for layer in job.layers]
    if job.sheet.room is None:
        return _read_sources(job, sources, progress, tolerances, cache)
    # Read twice: what is scaled up afterwards would show the chords of its curves.
    sources = [with_pixels(source) for source in sources]
    drawn = _read_sources(job, sources, progress.part(0.0, 0.5), tolerances, cache)
    sources = fitted_sources([d.as_read for d in drawn], job.sheet.room)
    return _read_sources(job, sources, progress.part(0.5, 1.0), tolerances, cache)


def size_of(
    job: Job, progress: Progress | None = None, tolerances: Tolerances = TOLERANCES
) -> tuple[float, float]:
    """Return width and height in mm of a job's artwork as drawn.

    Parameters are those of :func:`read_all`.

    Raises
    ------
    ArtworkError
        A file cannot be read, or nothing in them has a size.
    Cancelled
    """
    sources = [with_pixels(source_of(job, layer)) for layer in job.layers]
    drawn = _read_sources(job, sources, progress or Progress(), tolerances)
    size = artwork_size([d.as_read for d in drawn])
    if size is None or min(size) <= 0:
        raise ArtworkError("The artwork has no size that it could be fitted by.")
    return size


def _read_sources(
    job: Job,
    sources: Sequence[ArtworkSource],
    progress: Progress,
    tolerances: Tolerances,
    cache: StepCache | None = None,
) -> tuple[LayerDrawing, ...]:
    read: dict[ArtworkSource, Artwork] = {}
    stamps = [_stamp(source.path) for source in sources]
    drawings = []
    for number, (layer, source) in enumerate(zip(job.layers, sources, strict=True)):
        share, what = number / len(job.layers), f"{layer.name}: reading {source.path.name}"
        progress(share, what)
        source = replace(source, step=partial(progress, share, what))
        try:
            with geos_told(f"Layer '{layer.name}': {source.path}"):
                if source not in read:
                    read[source] = read_once(source, tolerances, cache)
                bridges = _bridge_lines(source, layer.bridges_group, tolerances)
        except ArtworkError as error:
            raise ArtworkError(f"Layer '{layer.name}': {error}") from error
        drawings.append(LayerDrawing(sources[number], read[source], bridges))
    # Layers of one drawing are read one after another: half of them may be of an older one.
    for layer, source, stamp in zip(job.layers, sources, stamps, strict=True):
        if _stamp(source.path) != stamp:
            raise ArtworkError(
                f"Layer '{layer.name}': {source.path}: was changed while it was being read; try "
                "again when it is saved."
            )
    return tuple(drawings)


def _stamp(path: Path) -> tuple[int, int, int] | None:
    """Return what tells one state of a file from another; None where there is no file."""
    try:
        state = path.stat()
    except OSError:  # the reader tells it better
        return None
    return state.st_ino, state.st_size, state.st_mtime_ns


def read_once(source: ArtworkSource, tolerances: Tolerances, cache: StepCache | None) -> Artwork:
    """Return a layer's artwork by ``read_artwork``, out of the cache where the file is the same.

    Parameters
    ----------
    source : ArtworkSource
    tolerances : Tolerances
    cache : StepCache or None
        None reads the file anew.

    Raises
    ------
    ArtworkError
        As ``read_artwork`` raises it.
    """
    if cache is None or not source.path.is_file():
        return read_artwork(source, tolerances)
    try:
        files = [source.path, *source.font_files()]
        said = content_key(*(path.read_bytes() for path in files))
    except OSError:  # the reader tells it better
        return read_artwork(source, tolerances)
    return cache.kept(_read_said, said, source, tolerances)


def _read_said(said: bytes, source: ArtworkSource, tolerances: Tolerances) -> Artwork:
    """Return a file's artwork; ``said`` stands for its bytes in the step's key."""
    return read_artwork(source, tolerances)


def _bridge_lines(source: ArtworkSource, group: str, tolerances: Tolerances) -> tuple[Floats, ...]:
    """Return the bridges that a group of the drawing holds, as middle lines."""
    if not group:
        return ()
    if source.path.suffix.lower() != ".svg":
        raise ArtworkError(
            f"bridges_group names a group of an SVG, but the artwork is {source.path.name}."
        )
    # Imported late, as the readers are.
    from .svg.lines import read_svg_lines

    lines, _ = read_svg_lines(replace(source, group=group), tolerances)
    return tuple(lines)


def _scaled(artwork: Artwork, factor: float) -> Artwork:
    from shapely.affinity import scale

    return Artwork(
        shape=scale(artwork.shape, factor, factor, origin=(0, 0)),
        page=artwork.page and (artwork.page[0] * factor, artwork.page[1] * factor),
        findings=tuple(
            f if f.place is None else replace(f, place=(f.place[0] * factor, f.place[1] * factor))
            for f in artwork.findings
        ),
    )
