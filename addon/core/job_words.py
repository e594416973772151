"""Words: what geometry says of keys of the job file, said of the fields and clicks of Blender."""

from __future__ import annotations

import dataclasses
import re
from functools import cache

from ...geometry.job.sections import SECTIONS, BridgeArea, BridgeByHand, LayerSettings
from .setting_property import label_of

#: Whole pieces of advice, and what one does here instead.
_ADVICE = (
    (
        r"Add this point to the layer's mend_mm to have it (\w+)",
        r"Tick the finding's box to have it \1",
    ),
    (
        r"name its place in the layer's keep_mm, or set let_go = false under \[bridges\]",
        "add its place to the layer's '{keep_mm}', or untick '{let_go}'",
    ),
    (r"mend_mm of the layer names this place, but", "This place is ticked to be mended, but"),
)


def in_words(message: str) -> str:
    """Return a message with labels in place of the job's keys, and clicks in place of edits.

    Parameters
    ----------
    message : str
        As geometry has it.
    """
    for advice, here in _ADVICE:
        message = re.sub(advice, here.format_map(_labels()), message)
    return re.sub(r"\b[a-z]+(?:_[a-z0-9]+)+\b", lambda key: _label(key[0]), message)


def _label(word: str) -> str:
    label = _labels().get(word)
    return word if label is None else f"'{label}'"


@cache
def _labels() -> dict[str, str]:
    """Return the label of each key that is no plain word."""
    sections = (*SECTIONS.values(), LayerSettings, BridgeByHand, BridgeArea)
    names = {one.name for section in sections for one in dataclasses.fields(section)}
    return {name: label_of(name) for name in names if "_" in name}


CLASSES = ()
