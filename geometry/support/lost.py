"""What support takes away that was not meant: openings filled wholly, holes that strips reach."""

from __future__ import annotations

import numpy as np
import shapely

from ..finding import Finding, Severity
from ..planar.subdivide import MOST_VERTICES, small_parts
from ..sheet.sheet import Sheet
from .bridges import Supported

#: An opening of which less than this share is left is lost.
_LEFT = 0.02


def lost_findings(plain: Sheet, held: Supported) -> list[Finding]:
    """Return a finding for each opening that strips have filled, and each hole that one reaches.

    Parameters
    ----------
    plain : Sheet
        As drawn.
    held : Supported
    """
    drawn = shapely.get_parts(plain.openings)
    left = shapely.get_parts(held.sheet.openings)
    # One opening may have all the vertices of the drawing, and strips may part it into thousands.
    parts, owner = small_parts(drawn, MOST_VERTICES)
    which, by = shapely.STRtree(left).query(parts, predicate="intersects")
    still = shapely.area(shapely.intersection(parts[which], left[by]))
    share = np.bincount(owner[which], still, len(drawn))
    told = []
    for shape, area in zip(drawn, share.tolist(), strict=True):
        if area >= _LEFT * shape.area:
            continue
        at = shape.representative_point()
        told.append(
            Finding(
                "support.opening-lost",
                Severity.SPOILS,
                f"An opening of {shape.area:.2f} mm2 is too small for the strips that hold the "
                "sheet here and was filled: this part of the picture is not painted.",
                plain.layer,
                (at.x, at.y),
            )
        )
    strips = np.array([bridge.shape for bridge in held.bridges], object)
    for hole in plain.holes.geoms:
        reached = strips[shapely.intersects(strips, hole)]
        if (shapely.area(shapely.intersection(reached, hole)) > _LEFT * hole.area).any():
            told.append(
                Finding(
                    "registration.hole-weakens",
                    Severity.WARNING,
                    "Beside this registration hole the sheet is narrower than it should be, and a "
                    "strip to mend that would lie on the hole; the hole was kept. Move it inwards "
                    "or away from openings.",
                    plain.layer,
                    (hole.centroid.x, hole.centroid.y),
                )
            )
    return told
