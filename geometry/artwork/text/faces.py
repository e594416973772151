"""Faces: of the font files that a job gives, the one that a drawing's text asks for.

By family first, then slant, then weight (CSS Fonts 3, section 5.2, as far as one file a face can
go). Nothing is looked for elsewhere on the machine: a sheet is the same wherever it is made.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from ...errors import ArtworkError
from .font import Font

#: Families that say a kind of letter only.
GENERIC = frozenset(
    ("serif", "sans-serif", "monospace", "cursive", "fantasy", "system-ui", "ui-serif", "math")
)


@dataclass(frozen=True)
class Face:
    """A font file that text is set in.

    Parameters
    ----------
    font : Font
    instead : str
        What was asked for, where the font is something else; else empty.
    """

    font: Font
    instead: str = ""


class Faces:
    """Font files for the text of a drawing, read as they are first asked for.

    Parameters
    ----------
    files : sequence of Path
    """

    def __init__(self, files: Sequence[Path]) -> None:
        self._files = list(files)
        self._fonts: list[Font] | None = None
        self._found: dict[tuple[tuple[str, ...], int, bool], Face | None] = {}

    def __bool__(self) -> bool:
        return bool(self._files)

    @property
    def fonts(self) -> list[Font]:
        """The fonts; an ArtworkError tells of a file that is none."""
        if self._fonts is None:
            self._fonts = [Font(path) for path in self._files]
        return self._fonts

    def there(self) -> str:
        """Return the families that there are, for a sentence."""
        return ", ".join(dict.fromkeys(font.names[0] for font in self.fonts if font.names))

    def face(self, families: Sequence[str], weight: int, slanted: bool) -> Face | None:
        """Return the face that fits best; None where no file is of a family that is asked for.

        Parameters
        ----------
        families : sequence of str
            The one that is wanted most first; a generic one takes the first file.
        weight : int
            100 to 900.
        slanted : bool
        """
        key = (tuple(families), weight, slanted)
        if key not in self._found:
            self._found[key] = self._best(families, weight, slanted)
        return self._found[key]

    def _best(self, families: Sequence[str], weight: int, slanted: bool) -> Face | None:
        if not self.fonts:
            raise ArtworkError("The folder of fonts has no font file (.ttf, .otf) in it.")
        for family in families:
            wanted = family.casefold()
            named = [f for f in self.fonts if wanted in (name.casefold() for name in f.names)]
            generic = not named and wanted in GENERIC
            if not named and not generic:
                continue
            font = min(
                named or self.fonts[:1],
                key=lambda f: (f.slanted != slanted, _weight_off(f.weight, weight)),
            )
            said = f"{family}, weight {weight}{', slanted' if slanted else ''}"
            # Neighbouring weights are told apart by name only.
            exact = font.slanted == slanted and abs(font.weight - weight) <= 100
            return Face(font, "" if exact and not generic else said)
        return None


def _weight_off(has: int, wanted: int) -> tuple[int, int]:
    """Return how far a weight is from the one wanted; of two as far the heavier for bold text."""
    return abs(has - wanted), -has if wanted >= 500 else has
