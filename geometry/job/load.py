"""The job file, read and written: one TOML document, units in the key names."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import tomlkit

from ..errors import JobError
from .check import check_job
from .fields import field, read_section, unknown_key, write_section
from .job import Job
from .materials import read_materials
from .sections import SECTIONS, BridgeArea, BridgeByHand, LayerSettings, SettledSheet, StockSheet
from .text_file import parse_toml, read_text

_Row = TypeVar("_Row")


@dataclass(frozen=True)
class _Head:
    title: str = field(about="title of the job")
    ground: str = field("#ffffff", about="colour of the wall below the paint", kind="colour")


def load_job(path: str | os.PathLike[str]) -> Job:
    """Read and check a job file.

    Parameters
    ----------
    path : path
        A TOML document, UTF-8.

    Raises
    ------
    JobError
        One sentence that names file, key, value and what was expected.
    """
    path = Path(path)
    return parse_job(read_text(path, "a job file"), str(path), path.parent)


def parse_job(text: str, name: str = "job", folder: Path = Path()) -> Job:
    """Read and check a job from TOML text.

    Parameters
    ----------
    text : str
    name : str
        What to call the job in errors, as a rule the file's name.
    folder : Path
        What relative artwork paths are relative to.

    Raises
    ------
    JobError

    Examples
    --------
    >>> parse_job('title = 3', 'cat.toml')
    Traceback (most recent call last):
    ...
    sheetstack.geometry.errors.JobError: cat.toml: title = 3: expected a text in quotes.
    """
    table = parse_toml(text, name)
    head_keys = {"title", "ground"}
    rows_of = {"layers", "bridge", "settled", "area", "stock"}
    known = head_keys | set(SECTIONS) | rows_of | {"materials"}
    for key in table:
        if key not in known:
            raise JobError(f"{name}: {unknown_key(key, known)}")
    head = read_section(_Head, {k: v for k, v in table.items() if k in head_keys}, name)
    sections: dict[str, Any] = {
        key: read_section(section, table.get(key, {}), f"{name}: [{key}]")
        for key, section in SECTIONS.items()
        if key in table or key == "sheet"
    }
    rows = table.get("layers", [])
    if not isinstance(rows, list) or not rows:
        raise JobError(f"{name}: expected at least one [[layers]] table, found none.")
    layers = tuple(
        read_section(LayerSettings, row, f"{name}: [[layers]] number {i}")
        for i, row in enumerate(rows, 1)
    )
    bridges_by_hand = _rows(BridgeByHand, table, "bridge", name)
    settled = _rows(SettledSheet, table, "settled", name)
    areas = _rows(BridgeArea, table, "area", name)
    stock = _rows(StockSheet, table, "stock", name)
    own = table.get("materials", {})
    if not isinstance(own, dict):
        raise JobError(f"{name}: [materials]: expected a table for each material.")
    job = Job(
        title=head.title,
        ground=head.ground,
        layers=layers,
        bridges_by_hand=bridges_by_hand,
        settled=settled,
        areas=areas,
        stock=stock,
        own_materials=read_materials(own, f"{name}: materials"),
        folder=folder,
        **sections,
    )
    check_job(job, name)
    return job


def _rows(section: type[_Row], table: dict[str, Any], key: str, name: str) -> tuple[_Row, ...]:
    """Return a job's tables of one kind, none when there is no such key."""
    rows = table.get(key, [])
    if not isinstance(rows, list):
        raise JobError(f"{name}: {key}: expected [[{key}]] tables.")
    return tuple(
        read_section(section, row, f"{name}: [[{key}]] number {i}") for i, row in enumerate(rows, 1)
    )


def job_text(job: Job) -> str:
    """Return a job as TOML text; ``parse_job`` gives an equal job back."""
    document = tomlkit.document()
    for key, value in write_section(_Head(job.title, job.ground)).items():
        document[key] = value
    for key in SECTIONS:
        values = write_section(getattr(job, key))
        if values:
            document[key] = values
    tables: dict[str, Sequence[object]] = {
        "layers": job.layers,
        "bridge": job.bridges_by_hand,
        "settled": job.settled,
        "area": job.areas,
        "stock": job.stock,
    }
    for key, rows in tables.items():
        if rows:
            document[key] = tomlkit.aot()
            for row in rows:
                document[key].append(tomlkit.item(write_section(row)))
    if job.own_materials:
        document["materials"] = {k: write_section(m) for k, m in job.own_materials.items()}
    return tomlkit.dumps(document)
