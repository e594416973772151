"""Lettering in pictures: a font that is always there, and text made to fit."""

from __future__ import annotations

import unicodedata
from functools import cache

from PIL import ImageFont

from ..errors import WriteError

#: Looked for on the machine for letters that Pillow's own font lacks; it has ASCII only.
_WIDER_FONTS = ("DejaVuSans.ttf", "NotoSans-Regular.ttf", "Arial.ttf", "Arial Unicode.ttf")
_SPELT_OUT = str.maketrans({"ß": "ss", "æ": "ae", "ø": "o", "œ": "oe", "ł": "l", "×": "x"})


def lettering(text: str, size: int) -> tuple[str, ImageFont.FreeTypeFont]:
    """Return a text as it can be drawn, and the font for it.

    Parameters
    ----------
    text : str
    size : int
        In pixels.

    Returns
    -------
    text : str
        As given where the font has its letters; else with accents left out, and '?' for what has
        no plain letter.
    font : FreeTypeFont

    Raises
    ------
    WriteError
        Pillow cannot draw outline fonts.

    Examples
    --------
    >>> lettering("Mid-tone", 20)[0]
    'Mid-tone'
    """
    if text.isascii():
        return text, _own_font(size)
    wider = _wider_font(size)
    if wider is not None:
        return text, wider
    plain = unicodedata.normalize("NFKD", text.translate(_SPELT_OUT))
    letters = (c for c in plain if not unicodedata.combining(c))
    return "".join(c if c.isascii() else "?" for c in letters), _own_font(size)


def fitted(text: str, size: int, width: float) -> tuple[str, ImageFont.FreeTypeFont]:
    """Return a text cut to a width in pixels, with '...' where something was cut off.

    Parameters
    ----------
    text : str
    size : int
        Of the letters in pixels.
    width : float
        In pixels.

    Returns
    -------
    text : str
    font : FreeTypeFont

    >>> fitted("A very long name indeed", 20, 90)[0].endswith("...")
    True
    """
    whole, font = lettering(text, size)
    if font.getlength(whole) <= width:
        return whole, font
    kept = len(whole)
    while kept > 1 and font.getlength(whole[:kept].rstrip() + "...") > width:
        kept -= 1
    return whole[:kept].rstrip() + "...", font


def wrapped(text: str, size: int, width: float) -> tuple[list[str], ImageFont.FreeTypeFont]:
    """Return a text as lines no wider than so many pixels, broken between words.

    Parameters
    ----------
    text : str
    size : int
        Of the letters in pixels.
    width : float
        In pixels.

    Returns
    -------
    lines : list of str
        A single word that is too wide is cut, see ``fitted``.
    font : FreeTypeFont

    >>> wrapped("a very long name indeed", 20, 120)[0]
    ['a very long', 'name indeed']
    """
    whole, font = lettering(text, size)
    lines: list[str] = []
    for word in whole.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and font.getlength(longer) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return [fitted(line, size, width)[0] for line in lines], font


@cache
def _own_font(size: int) -> ImageFont.FreeTypeFont:
    font = ImageFont.load_default(size)
    if not isinstance(font, ImageFont.FreeTypeFont):  # a Pillow built without FreeType
        raise WriteError("This Pillow was built without FreeType: pictures cannot be lettered.")
    return font


@cache
def _wider_font(size: int) -> ImageFont.FreeTypeFont | None:
    for name in _WIDER_FONTS:
        try:
            return ImageFont.truetype(name, size)
        except OSError:
            continue
    return None
