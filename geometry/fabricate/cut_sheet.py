"""A cut sheet: everything that a cutter is told about one piece, before it becomes a file."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely

from ..arrays import Floats
from ..planar.snapping import grid_of
from ..tolerance import ROUNDING
from .kerf import CutPath, CutPaths


@dataclass(frozen=True)
class Stroke:
    """One line of a cutter's file, from where the beam is switched on to where it goes off.

    Parameters
    ----------
    work : str
        ``"engrave"``, ``"mark"`` (drawn only), ``"opening"`` or ``"outline"``.
    points : float64 array (n, 2)
        In mm; a loop's first point is not repeated.
    closed : bool
        The line goes back to its first point.
    run_in : float
        Length in mm at its beginning that runs over waste.
    """

    work: str
    points: Floats
    closed: bool
    run_in: float = 0.0

    @property
    def way(self) -> Floats:
        """All points that are passed, the first one again at the end of a loop."""
        return np.concatenate([self.points, self.points[:1]]) if self.closed else self.points

    @property
    def cuts(self) -> bool:
        """Whether it goes through the sheet."""
        return self.work in ("opening", "outline")


@dataclass(frozen=True)
class CutSheet:
    """One piece to cut.

    Parameters
    ----------
    name : str
        Layer or tile, for titles and file names.
    size : tuple of float
        Width and height of the piece in mm; its lower left corner is the origin.
    cuts : CutPaths
    engraved : tuple of (n, 2) arrays
        Lines to be engraved: labels, register marks. Not cut through.
    marked : tuple of (n, 2) arrays
        Lines to be drawn only: places of patches, seams.
    """

    name: str
    size: tuple[float, float]
    cuts: CutPaths
    engraved: tuple[Floats, ...] = ()
    marked: tuple[Floats, ...] = ()

    @property
    def strokes(self) -> tuple[Stroke, ...]:
        """Every line in the order in which files have it and machines follow it."""
        plain = [Stroke("engrave", line, False) for line in self.engraved]
        plain += [Stroke("mark", line, False) for line in self.marked]
        for work, paths in (("opening", self.cuts.openings), ("outline", self.cuts.outline)):
            plain += [Stroke(work, *path.polyline(), path.run_in) for path in paths]
        return tuple(plain)

    @property
    def pad(self) -> float:
        """How far kerf and run-ins reach beyond the piece, in whole mm."""
        points = [p.polyline()[0] for p in self.cuts.outline]
        if not points:
            return 0.0
        every = np.concatenate(points)
        beyond = max(float(-every.min()), float((every - self.size).max()), 0.0)
        # A sheet's own corners are rounded to its grid.
        return float(np.ceil(beyond - grid_of(max(self.size)) / 2 - ROUNDING))

    def moved(self, dx: float, dy: float, quarter_turns: int = 0) -> CutSheet:
        """Return the piece turned about the origin by quarters, then shifted; its size stays.

        Parameters
        ----------
        dx, dy : float
            In mm.
        quarter_turns : int
            Counter-clockwise.
        """
        c, s = [(1, 0), (0, 1), (-1, 0), (0, -1)][quarter_turns % 4]
        turn = np.array([[c, s], [-s, c]], float)

        def go(points: Floats) -> Floats:
            moved: Floats = points @ turn + (dx, dy)
            return moved

        def path(cut: CutPath) -> CutPath:
            return CutPath(go(cut.points), go(cut.lead), cut.closed)

        cuts = CutPaths(
            tuple(path(p) for p in self.cuts.openings),
            tuple(path(p) for p in self.cuts.outline),
            self.cuts.findings,
        )
        return replace(
            self,
            cuts=cuts,
            engraved=tuple(go(line) for line in self.engraved),
            marked=tuple(go(line) for line in self.marked),
        )


def laid_together(name: str, size: tuple[float, float], pieces: list[CutSheet]) -> CutSheet:
    """Return several placed pieces as one sheet to cut: all engraving first, then piece by piece.

    Each piece's openings are cut before its outline; as openings of all pieces stand before all
    outlines, nothing is cut into a piece that may already lie loose.

    Parameters
    ----------
    name : str
    size : tuple of float
        Width and height of the stock sheet in mm.
    pieces : list of CutSheet
        Each in its place on it.
    """
    return CutSheet(
        name,
        size,
        CutPaths(
            tuple(p for piece in pieces for p in piece.cuts.openings),
            tuple(p for piece in pieces for p in piece.cuts.outline),
            tuple(f for piece in pieces for f in piece.cuts.findings),
        ),
        tuple(line for piece in pieces for line in piece.engraved),
        tuple(line for piece in pieces for line in piece.marked),
    )


def lines_of(geometry: shapely.Geometry) -> tuple[Floats, ...]:
    """Return the lines and rings of any geometry as arrays (n, 2), rings closed.

    >>> [len(line) for line in lines_of(shapely.box(0, 0, 1, 1))]
    [5]
    """
    found: list[Floats] = []
    for part in shapely.get_parts(shapely.get_parts(geometry)):
        if isinstance(part, shapely.Polygon):
            found += [shapely.get_coordinates(r) for r in shapely.get_rings(part)]
        elif isinstance(part, shapely.LineString) and not part.is_empty:
            found.append(shapely.get_coordinates(part))
    return tuple(found)
