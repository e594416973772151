"""The scene's properties as a job of geometry, and a job as the scene's properties."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import bpy

from ...geometry.errors import JobError
from ...geometry.job.check import check_job
from ...geometry.job.fields import read_section, write_section
from ...geometry.job.job import Job
from ...geometry.job.materials import Material
from ...geometry.job.sections import (
    SECTIONS,
    BridgeArea,
    BridgeByHand,
    LayerSettings,
    SettledSheet,
    StockSheet,
)
from ..core.conversion import display_colour, hexadecimal
from ..core.setting_property import put_values, table_of
from .job_property import FORMAT


def section_of(scene: bpy.types.Scene, key: str) -> Any:
    """Return one section of the job that a scene's properties say, like ``"sheet"``.

    Raises
    ------
    JobError
        A value is beyond its limits.
    """
    where = f"Scene '{scene.name}': [{key}]"
    section = SECTIONS[key]
    table = table_of(getattr(scene.sheetstack, key), section)
    if key == "bridges":
        _make_whole(table, "care")
    return read_section(section, table, where)


def _make_whole(table: dict[str, Any], *files: str) -> None:
    """Put whole paths for those that start from the .blend."""
    for file in files:
        if table.get(file, "").startswith("//"):
            table[file] = bpy.path.abspath(table[file])


def job_of(scene: bpy.types.Scene) -> Job:
    """Return the job that a scene's properties say.

    Raises
    ------
    JobError
        One sentence that names the scene, the key and what was expected.
    """
    state = scene.sheetstack
    name = f"Scene '{scene.name}'"
    if not state.layers:
        raise JobError(f"{name}: expected at least one layer, found none; add one or open a job.")
    sections: dict[str, Any] = {key: section_of(scene, key) for key in SECTIONS}
    layers = []
    for number, row in enumerate(state.layers, 1):
        where = f"{name}: layer {number} '{row.name}'"
        table = table_of(row, LayerSettings)
        _make_whole(table, "artwork", "font")
        layers.append(read_section(LayerSettings, table, where))
    by_hand = []
    for number, row in enumerate(state.bridges_by_hand, 1):
        where = f"{name}: bridge {number} set by hand"
        by_hand.append(read_section(BridgeByHand, table_of(row, BridgeByHand), where))
    areas = []
    for number, row in enumerate(state.areas, 1):
        where = f"{name}: area {number}"
        table = table_of(row, BridgeArea)
        _make_whole(table, "drawing")
        areas.append(read_section(BridgeArea, table, where))
    own = {}
    for row in state.own_materials:
        where = f"{name}: material '{row.name}'"
        own[row.name] = read_section(Material, table_of(row, Material), where)
    job = Job(
        title=state.title or "Untitled",
        ground=hexadecimal(state.ground),
        layers=tuple(layers),
        bridges_by_hand=tuple(by_hand),
        settled=_settled_of(scene, name),
        areas=tuple(areas),
        stock=tuple(
            read_section(
                StockSheet,
                table_of(row, StockSheet),
                f"{name}: stock {number}",
            )
            for number, row in enumerate(state.stock, 1)
        ),
        own_materials=own,
        folder=folder_of(scene),
        **sections,
    )
    check_job(job, name)
    return job


def put_settled(scene: bpy.types.Scene, settled: tuple[SettledSheet, ...]) -> None:
    """Let a scene keep the bridges that were chosen: they stay while they hold."""
    rows = [write_section(row) for row in settled]
    scene.sheetstack.settled = json.dumps(rows) if rows else ""


def _settled_of(scene: bpy.types.Scene, name: str) -> tuple[SettledSheet, ...]:
    text = scene.sheetstack.settled
    rows = json.loads(text) if text else []
    return tuple(read_section(SettledSheet, row, f"{name}: settled bridges") for row in rows)


def folder_of(scene: bpy.types.Scene) -> Path:
    """Return the folder that relative artwork paths start from: the job's, else the .blend's."""
    folder = scene.sheetstack.folder
    if folder:
        return Path(bpy.path.abspath(folder))
    return Path(bpy.path.abspath("//")) if bpy.data.filepath else Path()


def put_job(scene: bpy.types.Scene, job: Job, *, file: str = "", text: str = "") -> None:
    """Set a scene's properties from a job.

    Parameters
    ----------
    scene : bpy.types.Scene
    job : Job
    file : str
        The job file, kept as the place to save to.
    text : str
        Its text, so that saving keeps comments.
    """
    state = scene.sheetstack
    with being_filled(state):
        state.format = FORMAT
        state.title, state.ground = job.title, display_colour(job.ground)
        state.folder = os.path.abspath(job.folder)
        state.file, state.text = file, text
        for key in SECTIONS:
            put_values(getattr(state, key), getattr(job, key))
        state.layers.clear()
        for layer in job.layers:
            put_values(state.layers.add(), layer)
        state.active_layer = 0
        state.bridges_by_hand.clear()
        for bridge in job.bridges_by_hand:
            put_values(state.bridges_by_hand.add(), bridge)
        state.active_bridge = 0
        put_settled(scene, job.settled)
        state.stock.clear()
        for sheet in job.stock:
            put_values(state.stock.add(), sheet)
        state.areas.clear()
        for area in job.areas:
            put_values(state.areas.add(), area)
        state.own_materials.clear()
        for key, material in job.own_materials.items():
            row = state.own_materials.add()
            row.name = key
            put_values(row, material)
        state.active_material = 0
        state.findings.clear()
        state.active_finding = -1
    state.is_stale = True
    state.changes += 1


@contextmanager
def being_filled(state: Any) -> Iterator[None]:
    """Set many properties as one change."""
    state.being_filled = True
    try:
        yield
    finally:
        state.being_filled = False
