"""A finding: something about a job that the artist should know, with its place."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

from .errors import one_line


class Severity(IntEnum):
    """How much a finding matters, in rising order."""

    NOTE = 0  #: done and told: a repair whose meaning was clear
    WARNING = 1  #: worth a look; the stencil still works
    SPOILS = 2  #: the stencil would fail or paint something else: exit code 1


@dataclass(frozen=True)
class Finding:
    """One finding.

    Parameters
    ----------
    code : str
        Stable dotted name, group first: ``artwork.open-path``, ``support.island-left``.
    severity : Severity
    message : str
        One sentence for the artist, without the layer's name and the place.
    layer : str
        Name of the layer, empty where it concerns the whole job.
    place : tuple of float, optional
        x, y in mm. Readers give it in the artwork's frame; a build moves it to the sheet's.
    size_mm : float, optional
        The length that matters (width of a neck, length of a gap).
    """

    code: str
    severity: Severity
    message: str
    layer: str = ""
    place: tuple[float, float] | None = None
    size_mm: float | None = None

    def sentence(self) -> str:
        """Return the whole finding as one line of text.

        >>> Finding("x.y", Severity.NOTE, "Closed an open path.", "Shadow", (1, 2)).sentence()
        'Shadow, at (1.0, 2.0) mm: Closed an open path.'
        """
        where = [self.layer] if self.layer else []
        if self.place is not None:
            where.append(f"at ({self.place[0]:.1f}, {self.place[1]:.1f}) mm")
        return one_line(f"{', '.join(where)}: {self.message}" if where else self.message)


def area_words(mm2: float) -> str:
    """Return an area for a sentence: two figures of a small one, whole mm2 of a large one.

    >>> area_words(0.2827), area_words(50.27), area_words(12345.6)
    ('0.28 mm2', '50 mm2', '12346 mm2')
    """
    return f"{mm2:.2g} mm2" if mm2 < 10 else f"{mm2:.0f} mm2"
