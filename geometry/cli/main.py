"""The command line's door: from words to exit code, whatever happens on the way."""

from __future__ import annotations

import contextlib
import io
import os
import signal
import sys
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any, NoReturn

if TYPE_CHECKING:
    import argparse

    from .meter import Meter

UNUSABLE, UNFORESEEN = 2, 70
#: A signal that ends the program adds its number to this, as shells do: 130 is Ctrl-C.
STOPPED = 128
#: Signals that ask the work to stop; the last one is Windows' console being closed.
_STOPPING = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit code.

    Parameters
    ----------
    arguments : sequence of str, optional
        Words after the program's name; the process's own when None.

    Returns
    -------
    int
        0 clean, 1 findings that spoil a stencil, 2 unusable input, 70 an error that nobody foresaw,
        128 and the number of the signal when stopped: 130 by Ctrl-C.
    """
    _open_closed_streams()
    work_on_one_thread()
    # Until the work begins, and from its end on, a signal ends the program at once.
    leave = _Leaving()
    with _on_signals(leave):
        # Imported here, so that a signal that comes meanwhile is heard.
        from .meter import Meter
        from .parser import parser

        said = io.StringIO()
        try:
            # Collected, so that a reader that goes early, as '| true' does, changes no exit code.
            with contextlib.redirect_stdout(said):
                chosen = parser().parse_args(arguments)
                meter = Meter(sys.stderr, getattr(chosen, "quiet", False))
                with _on_signals(meter.stop):
                    code = _run(chosen, meter)
                    leave.done = True
        except SystemExit:  # --help, --version, a wrong option
            _deliver(said.getvalue())
            raise
        return code if _deliver(said.getvalue()) else UNUSABLE


def run(arguments: Sequence[str] | None = None) -> NoReturn:
    """Run the command line and end the program: its entry.

    Stopped, it ends at once: Python would wait for threads whose work has been left.
    """
    code = main(arguments)
    if code > STOPPED:
        for stream in (sys.stdout, sys.stderr):
            with contextlib.suppress(OSError, ValueError):
                stream.flush()
        os._exit(code)
    sys.exit(code)


def work_on_one_thread() -> None:
    """Let NumPy's linear algebra do without threads of its own, where it is not loaded yet.

    The matrices here are small. Threads that wait for each other over them take up to a hundred
    times the processor time of the work itself while other programs run.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


def _run(chosen: argparse.Namespace, meter: Meter) -> int:
    """Run the chosen command; every error becomes one sentence and a code."""
    from ..errors import Cancelled, SheetstackError
    from ..geos_fault import geos_told

    # Most errors of GEOS are told by the step they befall, with layer and place.
    told_of = getattr(chosen, "job", None) or getattr(chosen, "image", None) or "This command"
    try:
        with geos_told(str(told_of)):
            code: int = chosen.run(chosen, meter)
        return code
    except (Cancelled, KeyboardInterrupt):
        meter.clear()
        _tell("stopped; nothing was written.")
        return STOPPED + (meter.stopped_by or signal.SIGINT)
    except SheetstackError as error:
        meter.clear()
        _tell(str(error))
        return UNUSABLE
    except MemoryError:
        meter.clear()
        _tell("the job needs more memory than this machine has.")
        return UNUSABLE
    # The one place that catches everything: what nobody foresaw is told, kept and has its own code.
    except Exception as error:
        meter.clear()
        _tell(_unforeseen(error))
        return UNFORESEEN


def _unforeseen(error: Exception) -> str:
    """Keep the traceback in a file, and return a sentence that says what to do with it."""
    import tempfile
    import traceback

    from .. import __version__

    about = f"{type(error).__name__}: {error}"[:100]
    kept = ""
    with contextlib.suppress(OSError):
        with tempfile.NamedTemporaryFile(
            "w", prefix="sheetstack-fault-", suffix=".txt", delete=False, encoding="utf-8"
        ) as file:
            file.write(f"Sheetstack {__version__}, Python {sys.version}\n{sys.argv}\n")
            file.write("".join(traceback.format_exception(error)))
        kept = f" with {file.name}"
    return (
        f"a fault of Sheetstack, not of your job ({about}); nothing was written. Please report "
        f"it{kept} and, if you may, the job and its artwork."
    )


def _tell(sentence: str) -> None:
    from ..errors import PROGRAM, one_line

    print(one_line(PROGRAM + sentence), file=sys.stderr)


def _deliver(text: str) -> bool:
    """Write what a command said to standard output; return whether that was possible."""
    stream = sys.stdout
    try:
        encoding = getattr(stream, "encoding", None) or "utf-8"
        # What a narrow code page lacks is shown by its number, rather than refused.
        stream.write(text.encode(encoding, "backslashreplace").decode(encoding))
        stream.flush()
    except BrokenPipeError:
        _turn_to_nothing(stream)
    except OSError as error:
        _turn_to_nothing(stream)
        _tell(f"standard output cannot be written: {error.strerror or error}.")
        return False
    return True


def _turn_to_nothing(stream: Any) -> None:
    """Lead a broken stream to nowhere, so that Python's own flush at the end is quiet."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, stream.fileno())
    os.close(nowhere)


def _open_closed_streams() -> None:
    """Open standard streams that are closed: else the next file opened would get their number."""
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)
    if sys.stdout is None:
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115 - for good
    if sys.stderr is None:
        sys.stderr = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115


class _Leaving:
    """Ends the program at a signal, and says whether the work had been done by then."""

    done = False

    def __call__(self, number: int, frame: object) -> NoReturn:
        what = b"the work was done" if self.done else b"nothing was written"
        os.write(2, b"sheetstack: stopped; " + what + b".\n")
        os._exit(STOPPED + number)


@contextlib.contextmanager
def _on_signals(handler: Any) -> Iterator[None]:
    """Let signals that ask to stop call a handler while the block runs."""
    before = {}
    for name in _STOPPING:
        number = getattr(signal, name, None)
        # One that was ignored on purpose, as by nohup, stays ignored.
        ignored = number is not None and signal.getsignal(number) is signal.SIG_IGN
        if number is None or (ignored and name != "SIGINT"):
            continue
        # Only the main thread may set handlers.
        with contextlib.suppress(ValueError):
            before[number] = signal.signal(number, handler)
    try:
        yield
    finally:
        for number, former in before.items():
            signal.signal(number, former)
