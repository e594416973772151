"""The list that an output folder keeps of what was written into it, so that only that is replaced.

A hidden file names each output with the command and the job that it came from and a digest of its
bytes. What the list does not name, or what has other bytes now, is the user's.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path

#: Name of the list in its folder.
LIST = ".sheetstack-files.json"
#: A list longer than this (bytes) was not written by us.
_MOST_BYTES = 50_000_000
_BLOCK = 1 << 20


@dataclass(frozen=True)
class Written:
    """One file that was written.

    Parameters
    ----------
    kind : str
        The command that wrote it: ``build``, ``export`` and so on.
    job : str
        Title of its job; empty where there is none.
    sha256 : str
        Of its bytes, in hexadecimal digits.
    """

    kind: str
    job: str
    sha256: str


def read_list(folder: Path) -> dict[str, Written]:
    """Return what a folder's list names; nothing where there is no list that can be read."""
    path = folder / LIST
    try:
        if path.stat().st_size > _MOST_BYTES:
            return {}
        table = json.loads(path.read_text(encoding="utf-8"))
        return {str(name): Written(**entry) for name, entry in table["files"].items()}
    except (OSError, ValueError, TypeError, KeyError, AttributeError, RecursionError):
        # A list that somebody broke names nothing: all files count as the user's.
        return {}


def list_text(files: Mapping[str, Written]) -> str:
    """Return the text of a list; the same files give the same text."""
    about = "Files that Sheetstack wrote here and may replace; all others it leaves alone."
    entries = {name: asdict(files[name]) for name in sorted(files)}
    return json.dumps({"about": about, "files": entries}, indent=1, ensure_ascii=False) + "\n"


def sha256_of(path: Path) -> str:
    """Return the digest of a file's bytes.

    Raises
    ------
    OSError
    """
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while block := file.read(_BLOCK):
            digest.update(block)
    return digest.hexdigest()


def is_as_written(path: Path, entry: Written | None) -> bool:
    """Return whether a file is just what was written there."""
    return (
        entry is not None
        and path.is_file()
        and not path.is_symlink()
        and sha256_of(path) == entry.sha256
    )
