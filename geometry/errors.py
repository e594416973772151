"""What can go wrong, each with one sentence that names the file, the layer and the place."""

from __future__ import annotations

#: Characters of one line that a user sees, at most.
LONGEST = 300
#: What the command line says before an error.
PROGRAM = "sheetstack: "


def one_line(text: str, most: int = LONGEST) -> str:
    r"""Return a text as one line that prints anywhere.

    Control characters, line breaks and marks that turn the direction of writing are shown escaped:
    names and paths may hold them. Of a long text the middle is left out, as the file's name stands
    at the beginning and what was expected at the end.

    Parameters
    ----------
    text : str
    most : int
        Characters of the result, at most.

    Examples
    --------
    >>> print(one_line("Caf\u00e9\n\u202egpj.a: no file."))
    Café\n\u202egpj.a: no file.
    >>> one_line("a" * 20 + "z" * 20, 23)
    'aaaaaaaaaaaa ... zzzzzz'
    """
    shown = "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)
    if len(shown) <= most:
        return shown
    gap = " ... "
    first = (most - len(gap)) * 2 // 3
    return shown[:first] + gap + shown[first + len(gap) - most :]


class SheetstackError(Exception):
    """Base of every error that a user can mend; its text is one clear sentence, on one line."""

    def __init__(self, sentence: str = "") -> None:
        super().__init__(one_line(sentence, LONGEST - len(PROGRAM)))


class JobError(SheetstackError):
    """The job file is unusable; the sentence names file, key, value and what was expected."""


class ArtworkError(SheetstackError):
    """An artwork file cannot be read; the sentence names file, layer or element, and why."""


class GeometryError(SheetstackError):
    """A shape cannot be built; the sentence names the layer and the place."""


class TooIntricate(GeometryError):
    """Shapes that nothing can be made of in bearable time: why; the door of GEOS adds whose."""


class WriteError(SheetstackError):
    """A result cannot be written; the sentence names the file. Nothing half-written is left."""


class Cancelled(SheetstackError):
    """The user stopped the work; nothing has been written."""
