"""The command ``sheetstack layers PICTURE``: a photo or drawing becomes layers and their job."""

from __future__ import annotations

import argparse
import dataclasses
import typing
from collections.abc import Collection, Sequence
from pathlib import Path
from typing import Any, TypeVar

from ..errors import JobError, one_line
from ..job.fields import read_section
from ..job.load import load_job
from ..job.new_sheets import NewSheets
from ..paint.can_table import load_cans
from ..progress import Progress
from ..separation.settings import SeparationSettings
from ..tracing.settings import TracingSettings
from .command import add_command, add_quiet
from .findings import print_each_kind
from .meter import Meter

#: Options that may be given several times, and what one of them looks like.
_REPEATED = {"focus": "X,Y,W,H", "cans": "COLOUR or FILE"}
#: Endings of drawings; everything else is a photograph.
_DRAWINGS = (".svg", ".dxf")
#: Endings of tables of cans.
_TABLES = (".csv", ".toml")
_NUMBER_LISTS = {"thresholds": "L,L,..."}


def add_layers_command(commands: Any) -> None:
    """Add the command to the program's subcommands.

    Every option is a field of ``TracingSettings`` or ``SeparationSettings``, so that its meaning is
    said in one place.
    """
    parser = add_command(
        commands,
        "layers",
        _run_layers,
        summary="turn a picture into layers: an editable drawing and a job file",
        description=(
            "Turn a photograph or painting (PNG, JPEG, TIFF) into layers as a stencil artist would "
            "draw them, or a drawing in flat colours (SVG, DXF by layer, or with --flat a picture) "
            "into one layer a colour, in the spray order with the fewest islands. Writes "
            "layers.svg (one group a layer, to be edited on), job.toml (builds as it is), "
            "preview.png, and "
            "histogram.png and score.json of a photograph or orders.json of a drawing. All files "
            "appear together at the end, or none."
        ),
        example=(
            "sheetstack layers portrait.jpg --layers 4 --sheet-width-mm 400\n"
            "sheetstack layers poster.svg --layers 5 --sheet-width-mm 600\n"
            "sheetstack layers logo.png --flat --sheet-width-mm 300\n"
            "sheetstack layers leaf.toml --reorder --out leaf-reordered\n"
            "sheetstack build portrait-layers/job.toml"
        ),
    )
    parser.add_argument("image", metavar="PICTURE", type=Path, help="the photograph or drawing")
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
    parser.add_argument(
        "--reorder",
        action="store_true",
        help="PICTURE is a job file: write a copy of it, with its layers in the spray order and "
        "with the extents that cost least, painting the same picture",
    )
    parser.add_argument(
        "--flat",
        action="store_true",
        help="the picture has few flat colours (a poster, a logo, pixel art): one layer a colour, "
        "as of a drawing",
    )
    add_quiet(parser)
    _add_fields(parser, TracingSettings, ())
    known = {field.name for field in dataclasses.fields(TracingSettings)}
    _add_fields(parser, SeparationSettings, known)


def _add_fields(parser: argparse.ArgumentParser, table: type, known: Collection[str]) -> None:
    """Add an option for each field of a table of settings that is not known yet; sheets' last."""
    hints = typing.get_type_hints(table)
    sheets = {field.name for field in dataclasses.fields(NewSheets)}
    for field in sorted(dataclasses.fields(table), key=lambda field: field.name in sheets):
        if field.name in known:
            continue
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


_Settings = TypeVar("_Settings", TracingSettings, SeparationSettings)


def _settings(chosen: argparse.Namespace, kind: type[_Settings], of_what: str) -> _Settings:
    """Return the settings of one kind; an option of the other kind is refused."""
    own = {field.name for field in dataclasses.fields(kind)}
    table: dict[str, Any] = {}
    for other in (TracingSettings, SeparationSettings):
        for field in dataclasses.fields(other):
            value = getattr(chosen, field.name)
            if value is None or field.name in table:
                continue
            if field.name not in own:
                option = "--" + field.name.replace("_", "-")
                raise JobError(f"{option}: does not apply to {of_what}, as {chosen.image.name} is.")
            if field.name == "focus":
                value = [_numbers(box, "--focus") for box in value]
            elif field.name == "cans":
                value = list(_cans(value))
            elif field.name in _NUMBER_LISTS:
                value = _numbers(value, "--" + field.name)
            table[field.name] = value
    return read_section(kind, table, "options")


def _cans(texts: Sequence[str]) -> dict[str, str]:
    """Return the colours of ``--cans``, each with what the artist calls it, where a table says."""
    from ..report.studio import load_studio

    found: dict[str, str] = {}
    for text in texts:
        kind = Path(text).suffix.lower()
        if kind in _TABLES:
            cans = load_studio(text).cans if kind == ".toml" else load_cans(text)
            if not cans:
                raise JobError(f"--cans {text}: holds no can.")
            for can in cans:
                found.setdefault(can.colour, can.name)
        else:
            found |= dict.fromkeys(text.split(","), "")
    return found


def _numbers(text: str, option: str) -> list[float]:
    try:
        return [float(part) for part in text.split(",")]
    except ValueError:
        raise JobError(f"{option} {text}: expected numbers parted by commas.") from None


def _run_layers(chosen: argparse.Namespace, meter: Meter) -> int:
    if chosen.reorder or chosen.image.suffix.lower() == ".toml":
        return _reorder(chosen, meter)
    if chosen.flat or chosen.image.suffix.lower() in _DRAWINGS:
        return _separate(chosen, meter)
    return _trace(chosen, meter)


def _separate(chosen: argparse.Namespace, meter: Meter) -> int:
    # Imported late: the other commands need none of it.
    from ..separation.report import separation_lines
    from ..separation.separate import read_and_separate
    from ..separation.write import write_separation
    from ..tracing.hand_edits import check_untouched
    from ..tracing.job import DRAWING
    from ..tracing.write import JOB

    settings = _settings(chosen, SeparationSettings, "a drawing")
    if chosen.sweep:
        raise JobError(f"--sweep: does not apply to a drawing, as {chosen.image.name} is.")
    folder = chosen.out or chosen.image.with_name(chosen.image.stem + "-layers")
    only = tuple(name for text in chosen.only for name in text.split(","))
    check_untouched(folder, DRAWING, JOB, only)
    progress = Progress(meter)
    named = _cans(chosen.cans or ())
    separated = read_and_separate(chosen.image, settings, progress.part(0.0, 0.8), named)
    title = chosen.title or chosen.image.stem
    written = write_separation(separated, folder, title, progress.part(0.8, 1.0), only)
    meter.clear()
    if not chosen.quiet:
        print_each_kind(separated.findings)
        for line in separation_lines(separated):
            print(line)
        print(
            f"{len(written)} files written to {one_line(str(folder))}; next: sheetstack build "
            f"{folder / 'job.toml'}"
        )
    return 0


def _reorder(chosen: argparse.Namespace, meter: Meter) -> int:
    from ..separation.reorder import reordered
    from ..separation.report import reorder_lines
    from ..separation.write import write_separation
    from ..tracing.hand_edits import check_untouched
    from ..tracing.job import DRAWING
    from ..tracing.write import JOB

    if chosen.image.suffix.lower() != ".toml":
        raise JobError(f"--reorder: expected a job file (TOML), found {chosen.image.name}.")
    if not chosen.reorder:
        raise JobError(
            f"{chosen.image}: is a job; give --reorder for a copy of it in the spray order that "
            "costs least."
        )
    _refuse_options(chosen)
    folder = chosen.out or chosen.image.with_name(chosen.image.stem + "-reordered")
    check_untouched(folder, DRAWING, JOB)
    progress = Progress(meter)
    found = reordered(load_job(chosen.image), folder, progress.part(0.0, 0.8))
    part = progress.part(0.8, 1.0)
    written = write_separation(found.separation, folder, found.job.title, part, (), found.job)
    meter.clear()
    if not chosen.quiet:
        print_each_kind(found.separation.findings)
        for line in reorder_lines(found):
            print(line)
        print(
            f"{len(written)} files written to {one_line(str(folder))}; {chosen.image} is as it "
            f"was; next: sheetstack build {folder / 'job.toml'}"
        )
    return 0


def _refuse_options(chosen: argparse.Namespace) -> None:
    """Refuse options that a job's own keys give."""
    for table in (TracingSettings, SeparationSettings):
        for field in dataclasses.fields(table):
            if getattr(chosen, field.name) is not None:
                option = "--" + field.name.replace("_", "-")
                raise JobError(f"{option}: does not apply to a job, whose own keys say it.")
    if chosen.only or chosen.sweep:
        raise JobError("--only and --sweep do not apply to a job.")


def _trace(chosen: argparse.Namespace, meter: Meter) -> int:
    # Imported late: the other commands need no image work.
    from ..separation.flat_picture import looks_flat
    from ..tracing.hand_edits import check_untouched
    from ..tracing.job import DRAWING
    from ..tracing.trace import read_and_trace
    from ..tracing.trials import sweep
    from ..tracing.write import JOB, MARKS, write_tracing

    settings = _settings(chosen, TracingSettings, "a photograph")
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
        if looks_flat(chosen.image):
            print("  look  The picture has few flat colours: --flat makes one layer of each.")
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
            f"{len(written)} files written to {one_line(str(folder))}; next: sheetstack build "
            f"{folder / 'job.toml'}"
        )
    return 0
