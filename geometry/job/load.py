"""The job file, read and written: one TOML document, units in the key names."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import tomlkit

from ..errors import JobError
from .check import check_job
from .fields import field, read_section, write_section
from .job import Job
from .materials import read_materials
from .sections import SECTIONS, BridgeArea, BridgeByHand, LayerSettings, StockSheet
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
    known = head_keys | set(SECTIONS) | {"layers", "bridge", "area", "stock", "materials"}
    for key in table:
        if key not in known:
            raise JobError(
                f"{name}: unknown key '{key}'; expected one of {', '.join(sorted(known))}."
            )
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
    layers = tomlkit.aot()
    for layer in job.layers:
        layers.append(tomlkit.item(write_section(layer)))
    document["layers"] = layers
    if job.bridges_by_hand:
        by_hand = tomlkit.aot()
        for bridge in job.bridges_by_hand:
            by_hand.append(tomlkit.item(write_section(bridge)))
        document["bridge"] = by_hand
    if job.areas:
        rows_of_areas = tomlkit.aot()
        for area in job.areas:
            rows_of_areas.append(tomlkit.item(write_section(area)))
        document["area"] = rows_of_areas
    if job.stock:
        stock = tomlkit.aot()
        for sheet in job.stock:
            stock.append(tomlkit.item(write_section(sheet)))
        document["stock"] = stock
    if job.own_materials:
        document["materials"] = {k: write_section(m) for k, m in job.own_materials.items()}
    return tomlkit.dumps(document)
