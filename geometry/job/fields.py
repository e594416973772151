"""Fields of a job file: dataclass fields that carry their unit, limits and meaning.

A section of the job file is one such dataclass. Reading checks every value against its field and
says in one sentence what was found and what was expected; writing leaves out what is default.
"""

from __future__ import annotations

import dataclasses
import difflib
import re
import sys
import typing
from collections.abc import Iterable, Mapping
from types import UnionType
from typing import Any, TypeVar

from ..colour import long_hex
from ..errors import JobError

T = TypeVar("T")

_COLOUR = re.compile(r"#(?:[0-9a-fA-F]{3}){1,2}\Z")
_REQUIRED = dataclasses.MISSING
#: Characters up to which all known keys are told; of more, those like the unknown one.
_ALL_KEYS = 120


def field(
    default: Any = _REQUIRED,
    *,
    about: str,
    least: float | None = None,
    most: float | None = None,
    choices: tuple[str, ...] | Mapping[str, str] = (),
    kind: str = "",
) -> Any:
    """Declare one field of a section.

    Parameters
    ----------
    default : any
        Value when the key is absent; a field without one must be given.
    about : str
        What the value means, in one line; tooltips and ``--help`` show it.
    least, most : float, optional
        Limits of a number, both allowed.
    choices : tuple of str, or mapping of str to str
        The only texts allowed; a mapping says what each of them means.
    kind : str
        ``"colour"`` (#rrggbb), ``"colours"`` (list), ``"numbers"`` (list), ``"point"`` (x, y),
        ``"points"`` (list of x, y), ``"lines"`` (list of lists of points), ``"box"`` (x, y, width,
        height) or ``"boxes"`` (list of them); else the type says it.
    """
    meanings = dict(choices) if isinstance(choices, Mapping) else {}
    metadata = dict(
        about=about, least=least, most=most, choices=tuple(choices), meanings=meanings, kind=kind
    )
    if default is _REQUIRED:
        return dataclasses.field(metadata=metadata)
    return dataclasses.field(default=default, metadata=metadata)


def unknown_key(key: str, known: Iterable[str]) -> str:
    """Say that a key is unknown, and which ones are known: all of a few, the like ones of many.

    Examples
    --------
    >>> unknown_key("sise", ["name", "size"])
    "unknown key 'sise'; expected one of name, size."
    """
    names = sorted(known)
    if len(", ".join(names)) <= _ALL_KEYS:
        return f"unknown key '{key}'; expected one of {', '.join(names)}."
    like = difflib.get_close_matches(key, names)
    meant = f"perhaps {' or '.join(like)} is meant; " if like else ""
    return f"unknown key '{key}'; {meant}'sheetstack keys' lists all."


def read_section(section: type[T], table: object, where: str) -> T:
    """Build a section from a TOML table.

    Parameters
    ----------
    section : type
        A dataclass made of fields of :func:`field`.
    table : mapping
        Plain Python values.
    where : str
        File and section, for the sentence: ``"job.toml: [sheet]"``.

    Raises
    ------
    JobError
        Unknown key, missing key, wrong type, or value outside its limits.
    """
    if not isinstance(table, Mapping):
        raise JobError(f"{where}: expected a table of keys, found {_shown(table)}.")
    hints = typing.get_type_hints(section)
    fields = {f.name: f for f in dataclasses.fields(section) if f.metadata}  # type: ignore[arg-type]
    for key in table:
        if key not in fields:
            raise JobError(f"{where}: {unknown_key(key, fields)}")
    values: dict[str, Any] = {}
    for name, one in fields.items():
        if name in table:
            values[name] = _checked(table[name], hints[name], one, f"{where}: {name}")
        elif one.default is _REQUIRED:
            raise JobError(f"{where}: the key '{name}' is missing ({one.metadata['about']}).")
    return section(**values)


def write_section(section: object) -> dict[str, Any]:
    """Return a section as plain values for TOML, without those that are at their default.

    The reverse of ``read_section``.
    """
    table: dict[str, Any] = {}
    for one in dataclasses.fields(section):  # type: ignore[arg-type]
        if not one.metadata:
            continue
        value = getattr(section, one.name)
        if value is None or value == one.default:
            continue
        table[one.name] = _plain(value)
    return table


def _plain(value: Any) -> Any:
    return [_plain(v) for v in value] if isinstance(value, tuple) else value


def _shown(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _checked(value: object, hint: Any, one: dataclasses.Field[Any], where: str) -> Any:
    meta = one.metadata
    kind = meta["kind"]
    if kind == "colour":
        if not isinstance(value, str) or not _COLOUR.match(value):
            raise JobError(f"{where} = {_shown(value)}: expected a colour like '#a0522d'.")
        return long_hex(value)
    if kind == "colours":
        if not isinstance(value, list) or not all(
            isinstance(v, str) and _COLOUR.match(v) for v in value
        ):
            raise JobError(f"{where} = {_shown(value)}: expected a list of colours like '#a0522d'.")
        return tuple(long_hex(v) for v in value)
    if kind in ("numbers", "point", "points", "lines", "boxes", "box"):
        return _numbers(value, kind, where)
    types = (
        typing.get_args(hint) if typing.get_origin(hint) in (UnionType, typing.Union) else (hint,)
    )
    if bool in types:
        if not isinstance(value, bool):
            raise JobError(f"{where} = {_shown(value)}: expected true or false.")
        return value
    if float in types or int in types:
        return _number(value, types, meta["least"], meta["most"], where)
    if not isinstance(value, str):
        raise JobError(f"{where} = {_shown(value)}: expected a text in quotes.")
    if "\0" in value:
        # No file has one in its name, and no format of text or drawings can hold it.
        raise JobError(f"{where} = {_shown(value)}: expected a text without the character U+0000.")
    if meta["choices"] and value not in meta["choices"]:
        raise JobError(f"{where} = {_shown(value)}: expected one of {', '.join(meta['choices'])}.")
    if not value.strip() and one.default != "":
        raise JobError(f"{where} is empty: expected a text ({meta['about']}).")
    return value


def _number(
    value: object, types: tuple[Any, ...], least: float | None, most: float | None, where: str
) -> float | int:
    whole = float not in types
    wanted = "a whole number" if whole else "a number"
    if least is not None and most is not None:
        wanted += f" from {least:g} to {most:g}"
    elif least is not None:
        wanted += f" of at least {least:g}"
    if (
        isinstance(value, bool)
        or not isinstance(value, int if whole else int | float)
        # NaN and infinity, and whole numbers that no float can hold.
        or not abs(value) <= sys.float_info.max
        or (least is not None and value < least)
        or (most is not None and value > most)
    ):
        raise JobError(f"{where} = {_shown(value)}: expected {wanted}.")
    return int(value) if whole else float(value)


def _numbers(value: object, kind: str, where: str) -> Any:
    def pair(v: object) -> tuple[float, ...]:
        length = 4 if kind in ("box", "boxes") else 2
        if not isinstance(v, list) or len(v) != length:
            names = "[x, y, width, height]" if length == 4 else "[x, y]"
            raise JobError(f"{where} holds {_shown(v)}: expected {names} in mm.")
        return tuple(float(_number(c, (float,), -1e5, 1e5, where)) for c in v)

    def several(v: object, what: str) -> list[Any]:
        if not isinstance(v, list):
            raise JobError(f"{where} = {_shown(v)}: expected {what}.")
        return v

    if kind == "numbers":
        return tuple(
            float(_number(v, (float,), None, None, where)) for v in several(value, "a list")
        )
    if kind in ("point", "box"):
        return pair(value)
    if kind == "lines":
        lines = [
            tuple(pair(p) for p in several(line, "a list of [x, y]"))
            for line in several(value, "a list of lines, each a list of [x, y]")
        ]
        for line in lines:
            if len(line) < 2:
                raise JobError(f"{where}: a line needs at least two points, found {len(line)}.")
        return tuple(lines)
    what = "a list of [x, y, width, height]" if kind == "boxes" else "a list of [x, y]"
    return tuple(pair(p) for p in several(value, what))
