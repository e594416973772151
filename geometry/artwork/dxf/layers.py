"""The layers of a DXF drawing, as far as something is drawn on them."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

import shapely
from ezdxf import colors

from ..parts import Part, Parts
from ..read import read_artwork
from ..source import ArtworkSource
from .outlines import AREAS, LINES
from .read import load_drawing

#: The number of the colour that is black on white and white on black, drawn here as on paper.
_PAPER_COLOUR, _ON_PAPER = 7, "#000000"


def read_layers(path: Path) -> Parts:
    """Read which layers of a DXF drawing have outlines; its page is what they fill.

    Parameters
    ----------
    path : Path

    Raises
    ------
    ArtworkError
        As of ``read_dxf``.
    """
    document, _ = load_drawing(path)
    used = list(dict.fromkeys(_used(document.modelspace(), None, ())))
    table = {layer.dxf.name.casefold(): layer for layer in document.layers}
    parts, shapes = [], []
    for name in used:
        shape = read_artwork(ArtworkSource(path, group=name)).shape
        if shape.is_empty:  # lines that do not close
            continue
        shapes.append(shape)
        layer = table.get(name.casefold())
        hidden = layer is not None and (layer.is_off() or layer.is_frozen())
        parts.append(Part(name, name, _ON_PAPER if layer is None else _colour(layer), hidden))
    if not shapes:
        return Parts((), (0.0, 0.0))
    left, low, right, high = shapely.total_bounds(shapes)
    return Parts(tuple(parts), (float(right - left), float(high - low)))


def _used(entities: Iterable[Any], inherited: str | None, within: tuple[str, ...]) -> Iterable[str]:
    """Yield the layers of outlines, those in blocks too."""
    for entity in entities:
        layer = str(entity.dxf.get("layer", "0")) if entity.dxf.is_supported("layer") else "0"
        if layer == "0" and inherited is not None:
            layer = inherited
        kind = entity.dxftype()
        if kind == "INSERT":
            name = str(entity.dxf.name).casefold()
            block = entity.block()
            if block is not None and name not in within:
                yield from dict.fromkeys(_used(block, layer, (*within, name)))
        elif kind in LINES or kind in AREAS:
            yield layer


def _colour(layer: Any) -> str:
    if layer.rgb is not None:
        return colors.RGB(*layer.rgb).to_hex()
    number = abs(layer.color)
    return _ON_PAPER if number == _PAPER_COLOUR else colors.aci2rgb(number).to_hex()
