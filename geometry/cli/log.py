"""The command ``sheetstack log JOB``: what was sprayed when, and which sheets can be used again."""

from __future__ import annotations

import argparse
from datetime import date
from pathlib import Path
from typing import Any

from ..errors import JobError
from ..files.atomic import atomic
from ..job.load import load_job
from ..job.spray_log import EVENTS, LogEntry, log_beside, read_log, records, with_entries
from .command import add_command, add_quiet
from .meter import Meter


def add_log_command(commands: Any) -> None:
    """Add the command to the program's subcommands."""
    parser = add_command(
        commands,
        "log",
        _run,
        summary="keep what was sprayed when, and see which sheets can be used again",
        description=(
            "Add to the log of a job, a plain text file beside it (JOB.log.txt), or show what it "
            "tells of each sheet: how often it was sprayed, repairs by patch number, whether it is "
            "to be cleaned or has worn out. The file is yours: entries are only added at its end."
        ),
        example='sheetstack log leaf.toml --event sprayed --sheet all --where "yard wall"\n'
        'sheetstack log leaf.toml --event repaired --sheet Shadow --where 2.3 --note "torn"\n'
        "sheetstack log leaf.toml",
    )
    parser.add_argument("job", metavar="JOB", type=Path, help="job file (TOML)")
    parser.add_argument("--event", choices=EVENTS, help="what happened; nothing is added without")
    parser.add_argument(
        "--sheet",
        metavar="NAME",
        action="append",
        default=[],
        help="to which sheet, or 'all'; once for each",
    )
    parser.add_argument("--where", default="", help="the wall, or the number of the patch")
    parser.add_argument("--note", default="", help="a few words")
    parser.add_argument("--date", metavar="YYYY-MM-DD", help="the day; today when absent")
    add_quiet(parser, "no list")


def _run(chosen: argparse.Namespace, meter: Meter) -> int:
    job = load_job(chosen.job)
    sheets = [name for layer in job.layers for name in layer.sheet_names]
    path = log_beside(chosen.job)
    entries = read_log(path)
    if chosen.event is not None:
        added = [
            LogEntry(_day(chosen.date), sheet, chosen.event, chosen.where, chosen.note)
            for sheet in _sheets(chosen.sheet, sheets)
        ]
        text = path.read_text(encoding="utf-8-sig") if path.exists() else ""
        with atomic(path, "w") as file:
            file.write(with_entries(text, added))
        entries = (*entries, *added)
    elif chosen.sheet or chosen.where or chosen.note:
        raise JobError(f"--event: expected one of {', '.join(EVENTS)} with these options.")
    meter.clear()
    if not chosen.quiet:
        for record in records(entries, sheets):
            print(record.sentence())
    return 0


def _sheets(named: list[str], sheets: list[str]) -> list[str]:
    if named == ["all"]:
        return sheets
    for name in named:
        if name not in sheets:
            raise JobError(f"--sheet {name}: expected 'all' or one of {', '.join(sheets)}.")
    if not named:
        raise JobError(f"--sheet: expected 'all' or one of {', '.join(sheets)}.")
    return named


def _day(told: str | None) -> date:
    try:
        return date.today() if told is None else date.fromisoformat(told)
    except ValueError:
        raise JobError(f"--date {told}: expected a day like 2031-05-17.") from None
