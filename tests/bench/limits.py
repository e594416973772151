"""A piece of work in a process of its own, with limits on time and memory.

Whatever happens there (an exception, a crash of the interpreter, an endless loop, a lack of
memory) is told by an ``Outcome`` here. Linux and macOS only: it forks.
"""

from __future__ import annotations

import faulthandler
import json
import multiprocessing
import os
import re
import resource
import signal
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing import connection
from pathlib import Path
from typing import Any

_FORK = multiprocessing.get_context("fork")
#: How much of what a process says is kept, in characters.
_KEPT = 20_000


@dataclass(frozen=True)
class Limits:
    """Limits of one process: seconds of processor time, seconds by the clock, GiB of addresses."""

    processor_s: float = 60.0
    clock_s: float = 240.0
    memory_gib: float = 4.0


@dataclass(frozen=True)
class Outcome:
    """How a piece of work ended.

    Parameters
    ----------
    end : str
        "done", "raised" (an exception went through), "crash" (killed by a signal), "time" or
        "memory".
    value : object
        What the work returned, as it comes out of JSON; None unless done.
    said : str
        End of what it wrote on standard output and error, with the traceback if there is one.
    seconds : float
        By the clock.
    processor_s, peak_mib : float, optional
        Of the process and its children; None where it was killed.
    """

    end: str
    value: Any
    said: str
    seconds: float
    processor_s: float | None = None
    peak_mib: float | None = None

    def why(self) -> str:
        """Return the end of what was said; where time ran out, the places where it was."""
        frames = re.findall(r'^  File "(.*)", line (\d+) in (\S+)$', self.said, re.MULTILINE)
        ours = [
            f"{'/'.join(Path(path).parts[-2:])}:{line} in {name}"
            for path, line, name in frames
            if "multiprocessing" not in path and "/bench/" not in path and "concurrent" not in path
        ]
        if self.end == "time":
            return f"after {self.seconds:.0f} s by the clock, in\n" + " < ".join(ours[:12])
        return self.said[-2500:]


def run_limited(work: Callable[..., Any], *arguments: Any, limits: Limits = Limits()) -> Outcome:
    """Run ``work(*arguments)`` in a forked process and tell how it ended.

    Parameters
    ----------
    work : callable
        Returns something that JSON can hold.
    *arguments
        Handed on.
    limits : Limits

    Returns
    -------
    Outcome
    """
    with tempfile.TemporaryDirectory(prefix="limited-") as name:
        folder = Path(name)
        process = _FORK.Process(target=_child, args=(work, arguments, limits, folder))
        started = time.monotonic()
        process.start()
        # Not joined yet: until then its number, which names its group too, is nobody else's.
        late = not connection.wait([process.sentinel], limits.clock_s)
        _end_group(process.pid)
        process.join()
        seconds = time.monotonic() - started
        said = (folder / "said").read_bytes()[-_KEPT:].decode("utf-8", "backslashreplace")
        if process.exitcode is not None and process.exitcode < 0:
            said += f"\nkilled by signal {-process.exitcode}"
        left = folder / "left"
        what = json.loads(left.read_text()) if left.exists() else {}
        return Outcome(
            _end(process.exitcode, late, said),
            what.get("value"),
            said,
            seconds,
            what.get("processor_s"),
            what.get("peak_mib"),
        )


def _end(code: int | None, late: bool, said: str) -> str:
    if late or code in (-signal.SIGXCPU, -signal.SIGKILL):
        return "time"
    if code == 0:
        return "done"
    if "MemoryError" in said or "bad_alloc" in said:
        return "memory"
    return "raised" if code is not None and code > 0 else "crash"


def _end_group(leader: int | None) -> None:
    """Kill what the process has started and left behind; the process leads a group of its own."""
    if leader is not None and leader != os.getpgrp():
        try:
            os.killpg(leader, signal.SIGKILL)
        except ProcessLookupError:
            return


def _child(work: Callable[..., Any], arguments: tuple[Any, ...], limits: Limits, at: Path) -> None:
    os.setpgid(0, 0)
    said = os.open(at / "said", os.O_CREAT | os.O_WRONLY | os.O_APPEND)
    os.dup2(said, 1)
    os.dup2(said, 2)
    # Whoever started this may have put other streams in the place of Python's own.
    sys.stdout = open(1, "w", buffering=1, errors="backslashreplace", closefd=False)  # noqa: SIM115
    sys.stderr = open(2, "w", buffering=1, errors="backslashreplace", closefd=False)  # noqa: SIM115
    nothing = os.open(os.devnull, os.O_RDONLY)
    os.dup2(nothing, 0)
    # Where it was when its time ran out is said before it is killed.
    faulthandler.register(signal.SIGXCPU, all_threads=True, chain=True)
    processor = int(limits.processor_s)
    resource.setrlimit(resource.RLIMIT_CPU, (processor, processor + 5))
    most = int(limits.memory_gib * 2**30)
    resource.setrlimit(resource.RLIMIT_AS, (most, most))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    value = work(*arguments)
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    what = {
        "value": value,
        "processor_s": sum(u.ru_utime + u.ru_stime for u in used),
        "peak_mib": max(u.ru_maxrss for u in used) / 1024,
    }
    (at / "left").write_text(json.dumps(what))
