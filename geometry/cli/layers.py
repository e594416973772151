"""The command ``sheetstack layers IMAGE``: from a picture to an editable drawing and its job."""

from __future__ import annotations

import argparse
import dataclasses
import typing
from pathlib import Path
from typing import Any

from ..errors import JobError
from ..job.fields import read_section
from ..progress import Progress
from ..tracing.settings import TracingSettings
from .command import add_command, add_quiet
from .meter import Meter

#: Options that may be given several times, and what one of them looks like.
_REPEATED = {"focus": "X,Y,W,H", "cans": "COLOUR"}
_NUMBER_LISTS = {"thresholds": "L,L,..."}


def add_layers_command(commands: Any) -> None:
    """Add the command to the program's subcommands.

    Every option is a field of ``TracingSettings``, so that its meaning is said in one place.
    """
    parser = add_command(
        commands,
        "layers",
        _run_layers,
        summary="turn a picture into layers: an editable drawing and a job file",
        description=(
            "Turn a photograph or painting (PNG, JPEG, TIFF) into layers as a stencil artist would "
            "draw them. Writes layers.svg (one group a layer, to be edited on), job.toml (builds "
            "as it is), preview.png, histogram.png and score.json. All files appear together at "
            "the end, or none."
        ),
        example=(
            "sheetstack layers portrait.jpg --layers 4 --sheet-width-mm 400\n"
            "sheetstack build portrait-layers/job.toml"
        ),
    )
    parser.add_argument("image", metavar="IMAGE", type=Path, help="the picture")
    parser.add_argument(
        "--out",
        metavar="DIR",
        type=Path,
        help="folder for the results; the picture's name with '-layers' beside it when absent",
    )
    parser.add_argument("--title", help="title of the job; the picture's name when absent")
    parser.add_argument(
        "--only",
        metavar="LAYER",
        action="append",
        default=[],
        help="trace only this layer anew, like 'shadow', and keep the others as they lie in the "
        "folder with all changes made by hand; may be repeated",
    )
    parser.add_argument(
        "--sweep",
        action="store_true",
        help="also write sweep.png: detail against cutting time",
    )
    add_quiet(parser)
    hints = typing.get_type_hints(TracingSettings)
    for field in dataclasses.fields(TracingSettings):
        meta = field.metadata
        option = "--" + field.name.replace("_", "-")
        about = str(meta["about"])
        if field.default not in (None, "", ()):
            about += f" (default {field.default})"
        about = about.replace("%", "%%")
        if field.name in _REPEATED:
            parser.add_argument(
                option,
                metavar=_REPEATED[field.name],
                action="append",
                help=about + "; may be repeated",
            )
        elif field.name in _NUMBER_LISTS:
            parser.add_argument(option, metavar=_NUMBER_LISTS[field.name], help=about)
        elif meta["choices"]:
            parser.add_argument(option, choices=meta["choices"], help=about)
        else:
            kinds = typing.get_args(hints[field.name]) or (hints[field.name],)
            kind = next(k for k in (int, float, str) if k in kinds)
            parser.add_argument(
                option,
                metavar={int: "N", float: "NUMBER", str: "TEXT"}[kind],
                type=kind,
                help=about,
            )


def _settings(chosen: argparse.Namespace) -> TracingSettings:
    table: dict[str, Any] = {}
    for field in dataclasses.fields(TracingSettings):
        value = getattr(chosen, field.name)
        if value is None:
            continue
        if field.name == "focus":
            value = [_numbers(box, "--focus") for box in value]
        elif field.name == "cans":
            value = [colour for text in value for colour in text.split(",")]
        elif field.name in _NUMBER_LISTS:
            value = _numbers(value, "--" + field.name)
        table[field.name] = value
    return read_section(TracingSettings, table, "options")


def _numbers(text: str, option: str) -> list[float]:
    try:
        return [float(part) for part in text.split(",")]
    except ValueError:
        raise JobError(f"{option} {text}: expected numbers parted by commas.") from None


def _run_layers(chosen: argparse.Namespace, meter: Meter) -> int:
    # Imported late: the other commands need no image work.
    from ..tracing.hand_edits import check_untouched
    from ..tracing.job import DRAWING
    from ..tracing.trace import read_and_trace
    from ..tracing.trials import sweep
    from ..tracing.write import JOB, MARKS, write_tracing

    settings = _settings(chosen)
    folder = chosen.out or chosen.image.with_name(chosen.image.stem + "-layers")
    only = tuple(name for text in chosen.only for name in text.split(","))
    # Before the long work, too: an edit that stands in the way is told at once.
    check_untouched(folder, DRAWING, JOB, only)
    if not settings.marks and (folder / MARKS).is_file():
        settings = dataclasses.replace(settings, marks=str(folder / MARKS))
    progress = Progress(meter)
    share = 0.4 if chosen.sweep else 0.9
    traced = read_and_trace(chosen.image, settings, progress.part(0.0, share))
    tried = sweep(chosen.image, settings, progress.part(share, 0.9)) if chosen.sweep else ()
    title = chosen.title or chosen.image.stem
    written = write_tracing(traced, folder, title, tried, progress.part(0.9, 1.0), only)
    meter.clear()
    if not chosen.quiet:
        for finding in traced.findings:
            print(f"  look  {finding.sentence()}")
        score = traced.score
        width = max(5, *(len(layer.name) for layer in score.layers))
        print(f"{'layer':<{width}}  colour   openings  islands   cut m  nodes  paint cm2")
        for layer in score.layers:
            print(
                f"{layer.name:<{width}}  {layer.colour}{layer.openings:>10}{layer.islands:>9}"
                f"{layer.cut_mm / 1000:>8.2f}{layer.nodes:>7}{layer.paint_mm2 / 100:>11.1f}"
            )
        print(
            f"\nwall {traced.ground}; difference {score.difference:.1f} (CIEDE2000), structure "
            f"{score.structure:.2f}, about {score.minutes:.0f} min to cut"
        )
        print(
            f"{len(written)} files written to {folder}; next: sheetstack build "
            f"{folder / 'job.toml'}"
        )
    return 0
