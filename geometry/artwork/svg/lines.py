"""Lines of an SVG group: bridges that the artist drew in the drawing program."""

from __future__ import annotations

import numpy as np

from ...arrays import Floats
from ...finding import Finding
from ...tolerance import TOLERANCES, Tolerances
from ..source import ArtworkSource
from .areas import refuse_absurd
from .path import flatten_paths
from .read import collect_items
from .state import Purpose
from .transforms import linear_and_shift


def read_svg_lines(
    source: ArtworkSource, tolerances: Tolerances = TOLERANCES
) -> tuple[list[Floats], tuple[Finding, ...]]:
    """Read the lines, polylines and paths of a group, whatever their paint.

    Parameters
    ----------
    source : ArtworkSource
        ``path`` and ``group``.
    tolerances : Tolerances

    Returns
    -------
    lines : list of float64 array (k, 2)
        In mm, y up, the origin at the page's lower left corner, scaled by ``source.scale``.
    findings : tuple of Finding

    Raises
    ------
    ArtworkError
        As of ``read_svg``.
    """
    findings: list[Finding] = []
    items, _ = collect_items(source, Purpose.BOX, tolerances, findings)
    if not items:
        return [], tuple(findings)
    refuse_absurd(items, str(source.path))
    linear, shift = linear_and_shift(item.matrix for item in items)
    chord = np.full(len(items), tolerances.chord / source.scale)
    lines = flatten_paths([item.path for item in items], linear, shift, chord)
    stops = lines.first[1:-1]
    return [part * source.scale for part in np.split(lines.points, stops)], tuple(findings)
