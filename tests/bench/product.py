"""What the sweep and the fuzzer try: the only module of theirs that knows names of Sheetstack.

Command line, library calls, names of result files, keys of the report and codes of findings.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import re
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

# As the command line does, and before NumPy is loaded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import shapely

#: How a user starts it.
COMMAND = (sys.executable, "-m", "sheetstack.geometry.cli")
#: Exit codes that are a verdict; any other is a fault.
CLEAN, SPOILT, UNUSABLE = 0, 1, 2
#: Findings that tell that the sheet as a whole, or a part of it, is not strong enough.
WEAKNESS = ("support.gives-way", "support.may-tear", "support.not-held", "support.island-left")
WEAKNESS_WORDS = ("chain", "weak", "whole")
#: Findings that tell that sheet is narrower than the least width.
NARROWNESS = ("support.not-held", "support.island-left", "narrow", "neck", "tongue")
#: Beginnings of codes, and words in them, that tell that another picture is painted; and codes
#: of the same groups that tell of something else.
PICTURE = ("artwork.", "sheet.over-edge", "sheet.in-margin")
PICTURE_WORDS = ("let-go", "eaten", "swallowed", "crumb", "closed", "gone", "lost")
NO_PICTURE = ("artwork.no-unit", "artwork.duplicate")
#: The list that a folder of results keeps.
LIST = ".sheetstack-files.json"
#: Where the plain sheet is laid for the judges, beside the results.
PLAIN = "plain.wkb"


@dataclass(frozen=True)
class Demands:
    """What a sheet's islands have to bear, as its job asks: N, mm, MPa, g/mm3."""

    thickness: float
    width: float
    modulus: float
    density: float
    push: float
    deflection: float
    stress: float


def write_job(
    path: Path, artwork: str, sheet: tuple[float, float], material: str, thick: float, scale: float
) -> Path:
    """Write a job of one layer; return its path."""
    path.write_text(
        f'title = "swept"\n[sheet]\nwidth_mm = {sheet[0]:.6f}\nheight_mm = {sheet[1]:.6f}\n'
        f'material = "{material}"\nthickness_mm = {thick}\n[[layers]]\nname = "Layer"\n'
        f'colour = "#203040"\nartwork = {json.dumps(artwork)}\nscale = {scale:.12g}\n',
        encoding="utf-8",
    )
    return path


def preload() -> None:
    """Import all that a build needs, so that forked workers start at once."""
    import sheetstack.geometry.cli.main
    import sheetstack.geometry.export  # noqa: F401


def build_and_tell(job_path: Path, out: Path) -> dict[str, Any]:
    """Build a job in this process and write solids, cut paths and data, without pictures.

    The plain sheet of the first layer is laid beside them.

    Returns
    -------
    dict
        "exit", the exit code of the command line, and "sentences", all that it would say.
    """
    from sheetstack.geometry import SheetstackError, build_job, load_job
    from sheetstack.geometry.files.cut_svg import cut_svg
    from sheetstack.geometry.files.stl import write_stl
    from sheetstack.geometry.report.build_files import drawn_sheet
    from sheetstack.geometry.report.data import report_data

    out.mkdir()
    try:
        built = build_job(load_job(job_path))
        report = report_data(built)
        for layer, row in zip(built.layers, report["layers"], strict=True):
            files = row["files"]
            write_stl(out / files["stl"], layer.mesh.vertices, layer.mesh.faces, "fuzzed")
            (out / files["cut"]).write_text(cut_svg(drawn_sheet(built, layer)), encoding="utf-8")
    except SheetstackError as error:
        return {"exit": UNUSABLE, "sentences": [str(error)]}
    (out / "report.json").write_text(json.dumps(report))
    (out / PLAIN).write_bytes(shapely.to_wkb(built.layers[0].plain_sheet.shape))
    sentences = [finding.sentence() for finding in built.findings]
    return {"exit": SPOILT if built.spoilt else CLEAN, "sentences": sentences}


def run_command_here(words: list[str]) -> dict[str, Any]:
    """Run the command line's entry in this process; return "exit" and "sentences".

    Raises
    ------
    RuntimeError
        The exit code is none of those that are a verdict.
    """
    from sheetstack.geometry.cli.main import main

    said, told = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(told):
        try:
            code = main(words)
        except SystemExit as stopped:  # argparse, which prints how it is used
            return {"exit": stopped.code, "sentences": []}
    if code not in (CLEAN, SPOILT, UNUSABLE):
        raise RuntimeError(f"exit {code}: {told.getvalue()}")
    refusal = told.getvalue().strip()
    if code == UNUSABLE:
        return {"exit": code, "sentences": [refusal]}
    lines = re.findall(r"^ *(?:note|look|SPOILS)  (.*)$", said.getvalue(), re.MULTILINE)
    return {"exit": code, "sentences": [*lines, *([refusal] if refusal else [])]}


def open_folder(out: Path) -> None:
    """Open a folder of results as any later run does, and write nothing."""
    from sheetstack.geometry.files.batch import output_batch

    with contextlib.suppress(KeyboardInterrupt), output_batch(out, kind="later"):
        raise KeyboardInterrupt


def report_of(out: Path) -> dict[str, Any]:
    """Return the data of a build's report."""
    return json.loads((out / "report.json").read_text(encoding="utf-8"))


def build_by_command(job_path: Path, out: Path, *more: str) -> subprocess.CompletedProcess[str]:
    """Build as a user does."""
    return command("build", str(job_path), "--out", str(out), *more)


def command(*words: str) -> subprocess.CompletedProcess[str]:
    """Run the command line."""
    return subprocess.run(
        [*COMMAND, *words], capture_output=True, text=True, check=False, errors="backslashreplace"
    )


def lay_plain_sheet(job_path: Path, out: Path) -> None:
    """Read the job's artwork again and lay the plain sheet beside the results."""
    from sheetstack.geometry import load_job
    from sheetstack.geometry.artwork.read import read_all
    from sheetstack.geometry.sheet.sheet import make_sheet, place_artworks

    job = load_job(job_path)
    drawings = read_all(job)
    named = [(s.name, d.artwork) for s, d in zip(job.layers, drawings, strict=True)]
    (placed,) = place_artworks(named, job.sheet)
    plain, _ = make_sheet(placed, job.sheet, shapely.MultiPolygon())
    (out / PLAIN).write_bytes(shapely.to_wkb(plain.shape))


def demands(job_path: Path) -> Demands:
    """Return what the job asks of its sheets."""
    from sheetstack.geometry import load_job

    job = load_job(job_path)
    material, thick, bridges = job.material, job.sheet.thickness_mm, job.bridges
    push = bridges.handling_load_n
    return Demands(
        thickness=thick,
        width=job.bridge_width,
        modulus=material.modulus_mpa,
        density=material.mass_g(1.0),
        push=material.handling_n if push is None else push,
        deflection=bridges.deflection_mm or material.deflection_mm,
        stress=material.strength_mpa / (bridges.safety or material.safety),
    )


def results(out: Path) -> tuple[Path, Path, dict[str, Any]]:
    """Return solid, cut paths and report of the only layer of a build."""
    report = report_of(out)
    files = report["layers"][0]["files"]
    return out / files["stl"], out / files["cut"], report


def findings(report: dict[str, Any]) -> list[dict[str, Any]]:
    """Return all findings, those of the job and those of its layers."""
    return [*report["findings"], *(f for layer in report["layers"] for f in layer["findings"])]


def tells_weakness(found: dict[str, Any]) -> bool:
    """Whether a finding tells that something is not held firmly."""
    code = found["code"]
    return found["severity"] != "note" and (
        code in WEAKNESS
        or (code.startswith("support.") and any(word in code for word in WEAKNESS_WORDS))
    )


def tells_narrowness(found: dict[str, Any]) -> bool:
    """Whether a finding tells that sheet is narrower than it should be."""
    return found["severity"] != "note" and any(word in found["code"] for word in NARROWNESS)


def tells_other_picture(found: dict[str, Any]) -> bool:
    """Whether a finding tells that something else is painted than was drawn."""
    code = found["code"]
    return (
        found["severity"] != "note"
        and code not in NO_PICTURE
        and (code.startswith(PICTURE) or any(word in code for word in PICTURE_WORDS))
    )
