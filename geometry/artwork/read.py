"""Artwork: the shapes of one layer that are to be painted, and the one door to its readers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from importlib import import_module

from shapely import MultiPolygon

from ..errors import ArtworkError
from ..finding import Finding
from ..tolerance import TOLERANCES, Tolerances
from .source import ArtworkSource


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
    return artwork if source.scale == 1.0 else _scaled(artwork, source.scale)


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
