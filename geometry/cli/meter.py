"""The meter: progress of long work on the terminal, and Ctrl-C."""

from __future__ import annotations

import time
from types import FrameType
from typing import TextIO

from ..errors import Cancelled

#: Seconds between two updates of the line, and characters shown of what is being done.
_PAUSE, _ROOM = 0.1, 70


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
        #: Number of the signal that asked to stop; 0 while none has.
        self.stopped_by = 0

    def stop(self, number: int, frame: FrameType | None) -> None:
        """Ask the work to stop at its next step: the handler of Ctrl-C and of like signals.

        Raises
        ------
        KeyboardInterrupt
            Asked for the second time.
        """
        if self.stopped_by:  # asked twice: at once
            raise KeyboardInterrupt
        self.stopped_by = number

    def __call__(self, share: float, what: str) -> None:
        """Show the share done (0 to 1); raises ``Cancelled`` after Ctrl-C."""
        if self.stopped_by:
            raise Cancelled("Stopped; nothing was written.")
        now = time.monotonic()
        if self._live and now - self._shown > _PAUSE:
            self._shown = now
            self._stream.write(f"\r\x1b[K{share:4.0%} {what[:_ROOM]}")
            self._stream.flush()

    def clear(self) -> None:
        """Take the line away."""
        if self._live:
            self._stream.write("\r\x1b[K")
            self._stream.flush()
