"""Text files that users write: read whole, as text or as TOML, with one sentence for each fault."""

from __future__ import annotations

import stat
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from ..errors import JobError

#: Such a file is read whole; one this big is a mistake.
MOST_BYTES = 4_000_000


def read_text(path: Path, what: str) -> str:
    """Read a text file.

    Parameters
    ----------
    path : Path
        UTF-8, with or without a byte order mark.
    what : str
        What it should be, like ``"a job file"``.

    Raises
    ------
    JobError
        There is none, it is too big, cannot be read, or is no text.
    """
    try:
        # Looked at once, before it is opened: a pipe that nobody writes into would be waited for.
        found = path.stat()
        if not stat.S_ISREG(found.st_mode):
            kind = "a folder" if stat.S_ISDIR(found.st_mode) else "a device or a pipe"
            raise JobError(f"{path}: expected {what}, found {kind}.")
        if found.st_size > MOST_BYTES:
            raise JobError(f"{path}: {found.st_size} bytes are too many for {what}.")
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise JobError(f"{path}: is not UTF-8 text (byte {error.start}).") from None
    except (FileNotFoundError, NotADirectoryError, ValueError):  # no name holds U+0000
        raise JobError(f"{path}: expected {what}, found nothing of that name.") from None
    except OSError as error:
        raise JobError(f"{path}: cannot be read: {error.strerror or error}.") from None


def parse_toml(text: str, name: str) -> dict[str, Any]:
    """Return the tables of a TOML text as plain values.

    Parameters
    ----------
    text : str
    name : str
        What to call it in errors, as a rule the file's path.

    Raises
    ------
    JobError

    Examples
    --------
    >>> parse_toml("title = 'Leaf'", "leaf.toml")
    {'title': 'Leaf'}
    """
    try:
        return dict(tomlkit.parse(text).unwrap())
    except (TOMLKitError, RecursionError, ValueError) as error:
        # Some of the parser's sentences end in a full stop, a RecursionError may say nothing.
        reason = str(error).rstrip(".") or "nested too deeply"
        raise JobError(f"{name}: is not valid TOML: {reason}.") from None


def read_toml(path: Path, what: str) -> dict[str, Any]:
    """Read the tables of a TOML file; see ``read_text`` and ``parse_toml``."""
    return parse_toml(read_text(path, what), str(path))
