"""The program's words: all commands and what ``--help`` says."""

from __future__ import annotations

import argparse
import textwrap

from .. import __version__
from .bridges import add_bridges_command
from .build import add_build_commands
from .export import add_export_commands
from .fit import add_fit_command
from .keys import add_keys_command
from .layers import add_layers_command
from .log import add_log_command
from .offer import add_offer_command
from .plan import add_plan_command
from .proof import add_proof_command
from .render import add_render_command


def parser() -> argparse.ArgumentParser:
    """Return the parser of the whole command line."""
    program = argparse.ArgumentParser(
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

            'sheetstack COMMAND --help' explains a command and shows an example.

            exit codes: 0 clean; 1 a finding spoils a stencil; 2 the input cannot be used;
            70 a fault of Sheetstack's own; 130 stopped by Ctrl-C.
            Knives, lasers and spray paint can hurt: read the cautions in the report.
            """
        ),
    )
    program.add_argument("--version", action="version", version=f"%(prog)s {__version__}")
    commands = program.add_subparsers(title="commands", required=True, metavar="COMMAND")
    add_build_commands(commands)
    add_layers_command(commands)
    add_proof_command(commands)
    add_render_command(commands)
    add_offer_command(commands)
    add_plan_command(commands)
    add_log_command(commands)
    add_bridges_command(commands)
    add_export_commands(commands)
    add_fit_command(commands)
    add_keys_command(commands)
    return program
