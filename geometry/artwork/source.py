"""Where a layer's artwork comes from, and how it is to be read."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from ..job.job import Job
from ..job.sections import LayerSettings


@dataclass(frozen=True)
class Text:
    """Text to be set.

    Parameters
    ----------
    lines : tuple of str
    size_mm : float
        Height of capitals, or of the em.
    size_is : str
        ``"cap height"`` or ``"em"``.
    align : str
        ``"left"``, ``"centre"`` or ``"right"``.
    tracking_mm : float
        Added between letters.
    leading_mm : float, optional
        From baseline to baseline; 1.2 em when None.
    at_mm : tuple of float
        Where the first baseline begins, has its middle or ends, as aligned.
    """

    lines: tuple[str, ...]
    size_mm: float = 20.0
    size_is: str = "cap height"
    align: str = "left"
    tracking_mm: float = 0.0
    leading_mm: float | None = None
    at_mm: tuple[float, float] = (0.0, 0.0)


def _go_on() -> None:
    """Let the reading go on."""


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
    text : Text, optional
        What is set in the font that ``path`` names; the path is a drawing when None.
    fonts : Path, optional
        A font file, or a folder of them, for the text in an SVG drawing.
    step : callable
        Called between the elements of a long drawing; what it raises ends the reading.
    """

    path: Path
    group: str | None = None
    pixel_mm: float | None = None
    painted: str = "dark"
    threshold: float = 0.5
    smooth_mm: float = 0.0
    simplify_mm: float = 0.05
    scale: float = 1.0
    text: Text | None = None
    fonts: Path | None = None
    step: Callable[[], None] = field(default=_go_on, compare=False, repr=False)

    def font_files(self) -> list[Path]:
        """Return the font files for the text in a drawing: the one named, or all of a folder."""
        if self.fonts is None:
            return []
        if not self.fonts.is_dir():
            return [self.fonts]
        return sorted(p for p in self.fonts.iterdir() if p.suffix.lower() in FONT_ENDINGS)


#: Endings of font files.
FONT_ENDINGS = (".ttf", ".otf", ".ttc", ".otc")


def source_of(job: Job, layer: LayerSettings) -> ArtworkSource:
    """Return where to read a layer's artwork from, its path resolved from the job's folder."""
    if layer.text:
        text = Text(
            tuple(layer.text.splitlines()),
            layer.text_size_mm,
            layer.text_size_is,
            layer.text_align,
            layer.tracking_mm,
            layer.leading_mm,
            layer.text_at_mm,
        )
        return ArtworkSource(path=job.folder / layer.font, scale=layer.scale, text=text)
    return ArtworkSource(
        path=job.folder / layer.artwork,
        group=layer.group or None,
        pixel_mm=layer.pixel_mm,
        painted=layer.painted,
        threshold=layer.threshold,
        smooth_mm=layer.smooth_mm,
        simplify_mm=layer.simplify_mm,
        scale=layer.scale,
        fonts=job.folder / layer.font if layer.font else None,
    )
