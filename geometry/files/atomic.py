"""Atomic writing: a file appears whole or not at all."""

from __future__ import annotations

import os
import re
import secrets
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO, Any, Literal

from ..errors import WriteError

Mode = Literal["wb", "w"]
#: A hidden part that nobody has written to for so long (s) was left by a killed program.
LEFT_FOR = 3600.0


@contextmanager
def atomic(path: Path | str, mode: Mode = "wb") -> Iterator[IO[Any]]:
    """Open a file that takes its place only when it has been written whole.

    The bytes go to a hidden file beside the target, are forced to the disk and then take the
    target's name in one step. When anything fails before that step the hidden file is removed and
    an older file of that name stays as it was.

    Parameters
    ----------
    path : Path or str
        The file to write; its folder must exist. A symbolic link is followed.
    mode : {'wb', 'w'}
        Bytes, or text as UTF-8 with ``\\n`` line ends.

    Yields
    ------
    file object
        Open for writing.

    Raises
    ------
    WriteError
        The operating system refuses: no such folder, no permission, disk full. Any other
        exception of the body, KeyboardInterrupt included, passes through unchanged.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with atomic(Path(folder) / "a.txt", "w") as file:
    ...         _ = file.write("whole")
    ...     Path(folder, "a.txt").read_text()
    'whole'
    """
    target = Path(os.path.realpath(path))
    refuse_if_not_replaceable(target, path)
    # Cut by bytes: a file name holds 255.
    beginning = os.fsencode(target.name)[:80].decode("utf-8", "ignore")
    part = target.with_name(f".{beginning}.{secrets.token_hex(6)}.part")
    _clear_leftovers(target.parent, beginning)
    done = False
    try:
        # Not tempfile.mkstemp: its files are private to the user whatever the umask says.
        descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | _O_BINARY, 0o666)
        with (
            os.fdopen(descriptor, "wb")
            if mode == "wb"
            else os.fdopen(descriptor, "w", encoding="utf-8", newline="\n")
        ) as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, target)
        done = True
    except OSError as error:
        raise WriteError(f"{path}: cannot be written: {reason(error)}.") from error
    finally:
        if not done:
            with suppress(FileNotFoundError):
                part.unlink()


_O_BINARY: int = getattr(os, "O_BINARY", 0)  # Windows only


def reason(error: OSError) -> str:
    """Return what the operating system says of an error, in words."""
    return error.strerror or str(error) or type(error).__name__


def refuse_if_not_replaceable(target: Path, named: Path | str) -> None:
    """Refuse to write over a folder, a device or a protected file.

    Parameters
    ----------
    target : Path
    named : Path or str
        What the user calls it.

    Raises
    ------
    WriteError
    """
    # os.replace asks for the folder's permission only, and would replace a device by a file.
    if target.is_dir():
        raise WriteError(f"{named}: expected a file to write here, found a folder.")
    if target.exists() and not target.is_file():
        raise WriteError(f"{named}: expected a file to write here, found a device.")
    if target.exists() and not os.access(target, os.W_OK):
        raise WriteError(f"{named}: is write-protected.")


def _clear_leftovers(folder: Path, beginning: str) -> None:
    """Remove hidden parts of the same file that a killed program left long ago."""
    wanted = re.compile(rf"\.{re.escape(beginning)}\.[0-9a-f]{{12}}\.part")
    with suppress(OSError):
        old = time.time() - LEFT_FOR
        for entry in os.scandir(folder):
            if wanted.fullmatch(entry.name) and entry.stat().st_mtime < old:
                os.unlink(entry.path)
