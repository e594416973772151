"""A DXF drawing as coloured shapes: each layer in its colour, later layers over earlier ones."""

from __future__ import annotations

from dataclasses import replace

import shapely
from shapely.affinity import translate

from ...colour import srgb_from_hex
from ...errors import ArtworkError
from ...finding import Finding
from ...tolerance import TOLERANCES, Tolerances
from ..coloured import ColouredDrawing, ColouredShape, ScaleOf
from ..read import read_artwork
from ..source import ArtworkSource
from .layers import read_layers


def read_dxf_colours(
    source: ArtworkSource, scale_of: ScaleOf, tolerances: Tolerances = TOLERANCES
) -> ColouredDrawing:
    """Read the layers of a DXF drawing that are shown, each with its colour.

    A DXF drawing has no page: what its layers fill is taken for it.

    Parameters
    ----------
    source : ArtworkSource
        ``path``.
    scale_of : callable
        From that page's size in mm to the factor on all lengths.
    tolerances : Tolerances

    Raises
    ------
    ArtworkError
        As of ``read_dxf``, or no layer that is shown has an area.
    """
    parts = [part for part in read_layers(source.path).parts if not part.hidden]
    drawn = [read_artwork(replace(source, group=p.key), tolerances).shape for p in parts]
    if not parts:
        raise ArtworkError(f"{source.path}: no layer that is shown has closed outlines.")
    left, low, right, high = shapely.total_bounds(drawn).tolist()
    scale = scale_of((right - left, high - low))
    found: list[ColouredShape] = []
    findings: list[Finding] = []
    for part in parts:
        # Read again, so that curves are cut into chords for the size that is made.
        artwork = read_artwork(replace(source, group=part.key, scale=scale), tolerances)
        red, green, blue = srgb_from_hex(part.colour).tolist()
        shape = translate(artwork.shape, -left * scale, -low * scale)
        found.append(ColouredShape(shape, (red, green, blue), name=part.name, layer=part.name))
        findings += [
            f
            if f.place is None
            else replace(f, place=(f.place[0] - left * scale, f.place[1] - low * scale))
            for f in artwork.findings
        ]
    page = ((right - left) * scale, (high - low) * scale)
    return ColouredDrawing(tuple(found), page, scale, tuple(dict.fromkeys(findings)))
