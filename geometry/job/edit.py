"""Editing a job file's text: new values put in, comments and the order of keys left as they are."""

from __future__ import annotations

import os
from collections.abc import Mapping, MutableMapping
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, Table

from ..errors import JobError
from .job import Job
from .load import job_text, parse_job
from .sections import SECTIONS

#: Tables that stand several times, with the key that names each.
ROWS = {"layers": "name", "bridge": "id", "settled": "sheet", "area": "name", "stock": "name"}


def edited_job_text(text: str, job: Job) -> str:
    """Return ``text`` with the values of ``job``.

    Comments, order and spelling stay where a value has not changed. A text that cannot be edited
    so that it says this job (it is no job file any more, say) is written anew.

    Parameters
    ----------
    text : str
        A job file as it was read; may be empty.
    job : Job

    Returns
    -------
    str
        ``parse_job`` gives ``job`` back.

    Examples
    --------
    >>> from dataclasses import fields, replace
    >>> text = '''title = "Cat"  # hers
    ... [sheet]
    ... width_mm = 40.0
    ... height_mm = 50
    ... margin_mm = 5
    ... [[layers]]
    ... name = "Base"
    ... colour = "#000000"
    ... artwork = "cat.svg"'''
    >>> print(edited_job_text(text, replace(parse_job(text), title="Tom")).splitlines()[0])
    title = "Tom"  # hers
    """
    try:
        document = tomlkit.parse(text)
        before = document.unwrap()
        _merge(document, before, _values(job), tomlkit.parse(job_text(job)).unwrap())
        edited = tomlkit.dumps(document)
        same = parse_job(edited, folder=job.folder) == job
    except (TOMLKitError, JobError, RecursionError):
        same = False
    return edited if same else job_text(job)


def rebased(job: Job, folder: Path) -> Job:
    """Return the job with the paths of its files as seen from another folder.

    Absolute paths stay so, but for files in the new folder or below it. Where the old and the new
    folder lie on different drives, paths become absolute.
    """

    def moved(artwork: str) -> str:
        if not artwork:
            return artwork
        path = Path(artwork)
        if folder.absolute() == job.folder.absolute() and not path.is_absolute():
            return artwork
        if path.is_absolute() and folder.absolute() not in path.parents:
            return artwork
        whole = (job.folder / path).absolute()
        if whole.drive != folder.absolute().drive:
            return str(whole)
        return Path(os.path.relpath(whole, folder.absolute())).as_posix()

    def moved_group(named: str) -> str:
        file, mark, group = named.partition("#")
        return moved(file) + mark + group

    layers = tuple(
        replace(layer, artwork=moved(layer.artwork), font=moved(layer.font)) for layer in job.layers
    )
    areas = tuple(replace(area, drawing=moved_group(area.drawing)) for area in job.areas)
    bridges = replace(job.bridges, care=moved_group(job.bridges.care))
    return replace(job, layers=layers, areas=areas, bridges=bridges, folder=folder)


def _values(job: Job) -> dict[str, Any]:
    """Return all values of a job as plain tables, also those that are at their default."""
    return {
        "title": job.title,
        "ground": job.ground,
        **{key: _table(getattr(job, key)) for key in SECTIONS},
        "layers": [_table(layer) for layer in job.layers],
        "bridge": [_table(bridge) for bridge in job.bridges_by_hand],
        "settled": [_table(row) for row in job.settled],
        "area": [_table(area) for area in job.areas],
        "stock": [_table(sheet) for sheet in job.stock],
        "materials": {key: _table(row) for key, row in job.own_materials.items()},
    }


def _table(section: Any) -> dict[str, Any]:
    values = {f.name: getattr(section, f.name) for f in fields(section) if f.metadata}
    return {k: _plain(v) for k, v in values.items() if v is not None}


def _plain(value: Any) -> Any:
    return [_plain(v) for v in value] if isinstance(value, tuple) else value


def _merge(
    table: MutableMapping[str, Any],
    before: Mapping[str, Any],
    values: Mapping[str, Any],
    wanted: Mapping[str, Any],
) -> None:
    """Change a table where its plain values differ from ``values``.

    A key that the table has not got yet is added only if it is wanted, being off its default.
    """
    for key in before:
        if key not in values:
            del table[key]
    for key, value in values.items():
        if key in ROWS:
            _merge_rows(table, key, before.get(key, []), value, wanted.get(key, []))
        elif isinstance(value, dict) and isinstance(before.get(key), dict):
            _merge(table[key], before[key], value, wanted.get(key, {}))
        elif key in before and not _same(before[key], value):
            _put(table, key, value)
        elif key not in before and key in wanted:
            table[key] = wanted[key]


def _same(before: Any, value: Any) -> bool:
    # Colours are read in either case and kept in small letters.
    is_colour = isinstance(before, str) and before.startswith("#")
    return bool((before.lower() if is_colour else before) == value)


def _put(table: MutableMapping[str, Any], key: str, value: Any) -> None:
    """Set a value, and leave the comment that stands behind it."""
    item = tomlkit.item(value)
    if not isinstance(item, (Table, AoT)):
        item.trivia.comment_ws = table[key].trivia.comment_ws
        item.trivia.comment = table[key].trivia.comment
    table[key] = item


def _merge_rows(
    document: MutableMapping[str, Any],
    key: str,
    before: list[dict[str, Any]],
    values: list[dict[str, Any]],
    wanted: list[dict[str, Any]],
) -> None:
    """Edit the tables of a list in place; where some came, went or moved, each under its name."""
    rows = list(document.get(key, []))
    name = ROWS[key]
    if len(before) == len(values) and not _moved(before, values, name):
        for four in zip(rows, before, values, wanted, strict=True):
            _merge(*four)
        return
    if not values:
        del document[key]
        return
    tables = tomlkit.aot()
    known = {old.get(name): (row, old) for row, old in zip(rows, before, strict=True)}
    for new, needed in zip(values, wanted, strict=True):
        row, old = known.pop(new.get(name), (tomlkit.table(), {}))
        _merge(row, old, new, needed)
        tables.append(row)
    document[key] = tables


def _moved(before: list[dict[str, Any]], values: list[dict[str, Any]], name: str) -> bool:
    """Return whether a row stands in another place than it did; a new name is no move."""
    old, new = ([row.get(name) for row in rows] for rows in (before, values))
    return any(a != b and a in new for a, b in zip(old, new, strict=True))
