"""Names for layers: what people call a colour, so that the can is found by the sheet's name."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache

import numpy as np

from ..colour import ciede2000, lab_from_srgb, srgb_from_hex

#: Plain words with a typical colour of each: the basic colour words of English, with two or three
#: depths where one word covers much. Typical values are our own choice.
_WORDS = {
    "Black": "#141414",
    "Dark grey": "#555555",
    "Grey": "#8c8c8c",
    "Light grey": "#c4c4c4",
    "White": "#f7f7f7",
    "Dark red": "#8a1620",
    "Red": "#d9202e",
    "Pink": "#f19ab4",
    "Magenta": "#c2267f",
    "Dark brown": "#4a2c1a",
    "Brown": "#8a5a33",
    "Tan": "#c99e6c",
    "Cream": "#f3e3c3",
    "Skin": "#f0c7a4",
    "Orange": "#f08a1e",
    "Yellow": "#f7d021",
    "Light yellow": "#f8eb9a",
    "Olive": "#7d7a29",
    "Lime": "#a6d13a",
    "Green": "#36963f",
    "Dark green": "#1d5631",
    "Light green": "#a5d6a0",
    "Teal": "#1f8a86",
    "Turquoise": "#5cc9c5",
    "Light blue": "#a4cdea",
    "Sky blue": "#4da3e0",
    "Blue": "#2459b8",
    "Dark blue": "#17285f",
    "Slate": "#5d6f80",
    "Purple": "#6d3b96",
    "Lilac": "#b79bd6",
}


#: Depths of a colour: its word without them tells the hue.
_DEPTHS = ("Light ", "Dark ")


@lru_cache(4096)
def colour_word(colour: str) -> str:
    """Return the word for a colour.

    >>> colour_word("#a4cdea")
    'Light blue'
    """
    return colour_names([colour])[0]


def hue_word(colour: str) -> str:
    """Return the word for a colour, however light or dark.

    >>> hue_word("#a4cdea")
    'Blue'
    """
    word = colour_word(colour)
    for depth in _DEPTHS:
        word = word.removeprefix(depth)
    return word.capitalize()


def colour_names(colours: Sequence[str], own: Mapping[str, str] | None = None) -> tuple[str, ...]:
    """Return a name for each colour, no two alike.

    Parameters
    ----------
    colours : sequence of str
        Like ``#a0522d``.
    own : mapping from str to str, optional
        What the artist calls some colours.

    Examples
    --------
    >>> colour_names(["#d01c2b", "#e0303c", "#101010"])
    ('Red', 'Red 2', 'Black')
    >>> colour_names(["#d01c2b", "#101010"], {"#d01c2b": "Signal"})
    ('Signal', 'Black')
    """
    known = lab_from_srgb(np.array([srgb_from_hex(c) for c in _WORDS.values()]))
    words = list(_WORDS)
    names: list[str] = []
    used: dict[str, int] = {}
    for colour in colours:
        lab = lab_from_srgb(srgb_from_hex(colour))
        word = (own or {}).get(colour) or words[int(np.argmin(ciede2000(lab[None], known)))]
        used[word] = used.get(word, 0) + 1
        names.append(f"{word} {used[word]}" if used[word] > 1 else word)
    return tuple(names)
