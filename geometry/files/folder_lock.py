"""Locks on folders, which end with the process that holds them, however it ends."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

#: Where folders cannot be locked, one untouched for so long (s) counts as given up.
_GIVEN_UP = 86_400.0

if sys.platform == "win32":

    def hold(folder: Path, wait: bool) -> int | None:
        """Windows locks no folders: whether one is given up is told by its age."""
        with suppress(OSError):
            if not wait and time.time() - folder.stat().st_mtime < _GIVEN_UP:
                return None
        return -1

    def let_go(held: int | None) -> None:
        """Give a lock back."""

else:
    import fcntl

    def hold(folder: Path, wait: bool) -> int | None:
        """Lock a folder for this process; return None where another one holds it.

        Parameters
        ----------
        folder : Path
        wait : bool
            Wait until another process lets it go.

        Raises
        ------
        OSError
            The folder cannot be opened.
        """
        held = os.open(folder, os.O_RDONLY)
        try:
            fcntl.flock(held, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
        except BlockingIOError:
            os.close(held)
            return None
        except OSError:  # a file system without locks
            old = time.time() - os.fstat(held).st_mtime > _GIVEN_UP
            if not wait and not old:
                os.close(held)
                return None
        return held

    def let_go(held: int | None) -> None:
        """Give a lock back."""
        if held is not None:
            os.close(held)


@contextmanager
def alone_in(folder: Path) -> Iterator[None]:
    """Keep other processes of ours waiting at the same folder while the block runs."""
    held = hold(folder, wait=True)
    try:
        yield
    finally:
        let_go(held)
