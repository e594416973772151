"""Artwork: the shapes of one layer that are to be painted, and the one door to its readers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from importlib import import_module
from pathlib import Path

from shapely import MultiPolygon

from .errors import ArtworkError
from .finding import Finding
from .tolerance import TOLERANCES, Tolerances


@dataclass(frozen=True)
class ArtworkSource:
    """Where the artwork of a layer comes from and how it is to be read.

    Parameters
    ----------
    path : Path
        The file; its ending chooses the reader.
    group : str, optional
        Id or label of an SVG group, or name of a DXF layer; everything when None.
    pixel_mm : float, optional
        Side of one pixel of a mask image in mm; needed for masks without a stated resolution.
    painted : str
        Which part of a mask image is painted: ``"dark"`` or ``"light"``.
    threshold : float
        Level between dark and light, 0 to 1.
    smooth_mm : float
        Width (standard deviation) of the smoothing of a mask before its contours are taken.
    simplify_mm : float
        Largest distance by which a mask's contour may move when points are left out.
    scale : float
        Factor on all lengths of the artwork.
    """

    path: Path
    group: str | None = None
    pixel_mm: float | None = None
    painted: str = "dark"
    threshold: float = 0.5
    smooth_mm: float = 0.0
    simplify_mm: float = 0.05
    scale: float = 1.0


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
    ".svg": ("svg", "read_svg"),
    ".dxf": ("dxf", "read_dxf"),
    ".png": ("mask", "read_mask"),
    ".jpg": ("mask", "read_mask"),
    ".jpeg": ("mask", "read_mask"),
}


def _reader(suffix: str) -> Reader:
    module, function = _READERS[suffix]
    found: Reader = getattr(import_module(f".read.{module}", __package__), function)
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
