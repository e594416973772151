"""The command line: ``sheetstack build JOB`` and ``sheetstack check JOB``."""

from __future__ import annotations

import argparse
import os
import signal
import sys
import textwrap
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from types import FrameType
from typing import TextIO

import shapely

from ..build import Build, build
from ..errors import Cancelled, SheetstackError
from ..finding import Severity
from ..job.load import load_job
from ..progress import Progress
from ..report.build_files import write_outputs
from .export import add_export_commands
from .keys import add_keys_command
from .layers import add_layers_command
from .proof import add_proof_command
from .render import add_render_command

CLEAN, SPOILT, UNUSABLE, INTERRUPTED = 0, 1, 2, 130

_MARKS = {Severity.NOTE: "note", Severity.WARNING: "look", Severity.SPOILS: "SPOILS"}
#: Findings printed a job; the report has them all.
_MOST_SHOWN = 40


class Meter:
    """Shows progress on a terminal as one line that is written over; on a file nothing.

    Parameters
    ----------
    stream : text stream
        As a rule standard error.
    quiet : bool
        Show nothing.
    """

    def __init__(self, stream: TextIO, quiet: bool = False) -> None:
        self._stream = stream
        self._live = stream.isatty() and not quiet
        self._shown = 0.0
        self._stop = False

    def stop(self, number: int, frame: FrameType | None) -> None:
        """Ask the work to stop at its next step: the handler of Ctrl-C."""
        if self._stop:  # asked twice: at once
            raise KeyboardInterrupt
        self._stop = True

    def __call__(self, share: float, what: str) -> None:
        """Show the share done (0 to 1); raises ``Cancelled`` after Ctrl-C."""
        if self._stop:
            raise Cancelled("Stopped; nothing was written.")
        now = time.monotonic()
        if self._live and now - self._shown > 0.1:
            self._shown = now
            self._stream.write(f"\r\x1b[K{share:4.0%} {what[:70]}")
            self._stream.flush()

    def clear(self) -> None:
        """Take the line away."""
        if self._live:
            self._stream.write("\r\x1b[K")
            self._stream.flush()


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit code.

    Parameters
    ----------
    arguments : sequence of str, optional
        Words after the program's name; the process's own when None.

    Returns
    -------
    int
        0 clean, 1 findings that spoil a stencil, 2 unusable input, 130 stopped by Ctrl-C.
    """
    parser = _parser()
    chosen = parser.parse_args(arguments)
    meter = Meter(sys.stderr, getattr(chosen, "quiet", False))
    before = _handle_interrupt(meter)
    try:
        run: Callable[[argparse.Namespace, Meter], int] = chosen.run
        code = run(chosen, meter)
        sys.stdout.flush()
        return code
    except (Cancelled, KeyboardInterrupt):
        meter.clear()
        print("sheetstack: stopped; nothing was written.", file=sys.stderr)
        return INTERRUPTED
    except SheetstackError as error:
        meter.clear()
        print(f"sheetstack: {error}", file=sys.stderr)
        return UNUSABLE
    except MemoryError:
        meter.clear()
        print("sheetstack: the job needs more memory than this machine has.", file=sys.stderr)
        return UNUSABLE
    except BrokenPipeError:
        # The reader of our output has gone (as `| head` does); leave quietly.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return UNUSABLE
    finally:
        if before is not None:
            signal.signal(signal.SIGINT, before)


def _handle_interrupt(meter: Meter) -> Callable[[int, FrameType | None], object] | int | None:
    try:
        return signal.signal(signal.SIGINT, meter.stop)
    except ValueError:  # not in the main thread, where Python takes no handlers
        return None


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="sheetstack",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        description="Turn layered artwork into rigid stencil sheets that hold together.",
        epilog=textwrap.dedent(
            """\
            A job is a TOML file: the sheet (size, margin, material, thickness) and the layers in
            spray order, each with a colour and the artwork that is cut out of it. A small one:

                title = "Leaf"
                ground = "#efe6d2"
                [sheet]
                width_mm = 200
                height_mm = 200
                material = "card"
                [[layers]]
                name = "Mid-tone"
                colour = "#4f7f3a"
                artwork = "leaf.svg"
                group = "mid-tone"

            'sheetstack keys' lists every key that a job may have.

            exit codes: 0 clean; 1 a finding spoils a stencil; 2 the input cannot be used.
            Knives, lasers and spray paint can hurt: read the cautions in the report.
            """
        ),
    )
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    job = argparse.ArgumentParser(add_help=False)
    job.add_argument("job", metavar="JOB", type=Path, help="job file (TOML)")
    job.add_argument("-q", "--quiet", action="store_true", help="no progress, no table")

    making = commands.add_parser(
        "build",
        parents=[job],
        help="build the sheets and write everything",
        description=(
            "Build every sheet of a job: cut, find islands, bridge them, make the sheet solid, "
            "check it; then write an STL and a cut file for each layer, the pictures and the "
            "report. All files appear together at the end, or none."
        ),
    )
    making.add_argument(
        "--out",
        metavar="DIR",
        type=Path,
        help="folder for the results; 'out' beside the job file when absent",
    )
    making.set_defaults(run=_run_build)
    checking = commands.add_parser(
        "check",
        parents=[job],
        help="build in memory and tell the findings; write nothing",
        description="Build every sheet of a job in memory and tell the findings; write nothing.",
    )
    checking.set_defaults(run=_run_check)
    add_layers_command(commands)
    add_proof_command(commands)
    add_render_command(commands)
    add_export_commands(commands)
    add_keys_command(commands)
    return parser


def _run_build(chosen: argparse.Namespace, meter: Meter) -> int:
    job = load_job(chosen.job)
    folder = chosen.out if chosen.out is not None else chosen.job.parent / "out"
    progress = Progress(meter)
    built = build(job, progress.part(0.0, 0.7))
    written = write_outputs(built, folder, progress.part(0.7, 1.0))
    meter.clear()
    if not chosen.quiet:
        _print_table(built)
        print(f"\n{len(written)} files written to {folder}")
    return SPOILT if built.spoilt else CLEAN


def _run_check(chosen: argparse.Namespace, meter: Meter) -> int:
    built = build(load_job(chosen.job), Progress(meter))
    meter.clear()
    if not chosen.quiet:
        _print_table(built)
    return SPOILT if built.spoilt else CLEAN


def _print_table(built: Build) -> None:
    findings = sorted(built.findings, key=lambda f: -f.severity)
    for finding in findings[:_MOST_SHOWN]:
        print(f"{_MARKS[finding.severity]:>6}  {finding.sentence()}")
    if len(findings) > _MOST_SHOWN:
        print(f"        and {len(findings) - _MOST_SHOWN} more findings")
    if findings:
        print()
    width = max(5, *(len(layer.settings.name) for layer in built.layers))
    print(f"{'layer':<{width}}  openings  islands  bridges  left  sheet cm2  mass g  solid")
    for layer in built.layers:
        sound = layer.soundness.watertight and layer.soundness.oriented
        print(
            f"{layer.settings.name:<{width}}"
            f"{len(layer.sheet.openings.geoms):>10}"
            f"{len(layer.islands):>9}"
            f"{len(layer.bridges):>9}"
            f"{len(layer.islands_left):>6}"
            f"{shapely.area(layer.sheet.shape) / 100:>11.1f}"
            f"{layer.mass_g:>8.1f}"
            f"  {'closed' if sound else 'LEAKS'}"
        )


if __name__ == "__main__":
    sys.exit(main())
