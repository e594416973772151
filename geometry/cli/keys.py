"""``sheetstack keys``: every key of a job file, with what it means, its limits and its default."""

from __future__ import annotations

import argparse
import dataclasses
import textwrap
from collections.abc import Iterator
from typing import Any

from ..job.materials import Material
from ..job.sections import (
    SECTIONS,
    BridgeArea,
    BridgeByHand,
    LayerSettings,
    SettledSheet,
    StockSheet,
)
from ..paint.can_table import OwnCan
from ..photo.wall_file import MorePicture, WallSettings
from ..report.studio import STUDIO_SECTIONS
from .command import add_command
from .meter import Meter


def add_keys_command(commands: Any) -> None:
    """Add the command to the command line's parsers."""
    add_command(
        commands,
        "keys",
        _run,
        summary="list every key that a job file may have",
        description="List every key that a job file may have: meaning, limits, default.",
        example="sheetstack keys | grep -i bridge",
    )


def _run(chosen: argparse.Namespace, meter: Meter) -> int:
    print("\n".join(key_list()))
    return 0


def key_list() -> Iterator[str]:
    """Yield the lines of the list, from the same fields that reading a job checks against.

    >>> next(line for line in key_list() if "margin_mm" in line).split()[:2]
    ['margin_mm', '20']
    """
    yield "title, ground      title of the job; colour of the wall below the paint"
    tables = {
        **{f"[{name}]": section for name, section in SECTIONS.items()},
        "[[layers]], in spray order": LayerSettings,
        "[[bridge]], laid by hand": BridgeByHand,
        "[[settled]], bridges chosen and seen": SettledSheet,
        "[[area]], a part of the sheet": BridgeArea,
        "[[stock]], sheets to cut from": StockSheet,
        "[materials.KEY], a row of your own": Material,
        "a wall file (render --photo), keys at its top": WallSettings,
        "[[picture]] of a wall file, more jobs on one wall": MorePicture,
        **{f"[{key}] of a studio file": section for key, section in STUDIO_SECTIONS.items()},
        "[[cans]] of a studio file, or columns of a CSV file": OwnCan,
    }
    for head, section in tables.items():
        yield f"\n{head}"
        for field in dataclasses.fields(section):
            if field.metadata:
                yield from _lines(field)


def _lines(field: dataclasses.Field[Any]) -> Iterator[str]:
    meta = field.metadata
    about = meta["about"]
    if meta["choices"]:
        about += f" ({', '.join(meta['choices'])})"
    if meta["least"] is not None and meta["most"] is not None:
        about += f"; {meta['least']:g} to {meta['most']:g}"
    first, *more = textwrap.wrap(about, 58)
    yield f"  {field.name:<26} {_default(field):<12} {first}"
    yield from (" " * 42 + line for line in more)


def _default(field: dataclasses.Field[Any]) -> str:
    if field.default is dataclasses.MISSING:
        return "needed"
    if field.default in (None, "", ()):
        return "-"
    if isinstance(field.default, bool):
        return str(field.default).lower()
    return f"{field.default:g}" if isinstance(field.default, float) else str(field.default)
