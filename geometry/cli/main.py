"""The command line's door: from words to exit code."""

from __future__ import annotations

import argparse
import os
import signal
import sys
from collections.abc import Callable, Sequence
from types import FrameType

from ..errors import Cancelled, SheetstackError
from .meter import Meter
from .parser import parser

UNUSABLE, INTERRUPTED = 2, 130


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
    chosen = parser().parse_args(arguments)
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
