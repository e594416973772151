"""Text data-blocks: copies of the artwork files in the .blend, for when the files are missing."""

from __future__ import annotations

import base64
import binascii
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import bpy

from ...geometry.artwork.source import source_of
from ...geometry.errors import ArtworkError
from ...geometry.job.job import Job
from ..core.ownership import own

#: Custom property of a copy: the file that it is of.
PATH = "sheetstack_path"
#: What a copy begins with that could not be kept as plain text.
CODED = "data:application/octet-stream;base64,"
#: Files larger than this stay outside.
MOST_BYTES = 64_000_000
#: Letters in the first line or the last one, which Blender writes one by one, each at the price of
#: all before: 0.1 s for 90,000.
MOST_LETTERS = 20_000


def text_from_bytes(content: bytes) -> str:
    """Return a file's content as text.

    What is not UTF-8 with plain line ends is coded, and what begins or ends with a very long line.
    """
    try:
        text = content.decode("utf-8")
    except UnicodeDecodeError:
        text = ""
    ends = max(len(text.partition("\n")[0]), len(text.rpartition("\n")[2]))
    plain = "\r" not in text and "\0" not in text and ends <= MOST_LETTERS
    if text and plain and not text.startswith(CODED):
        return text
    return CODED + base64.encodebytes(content).decode("ascii")


def bytes_from_text(text: str, name: str) -> bytes:
    """Return the content that ``text_from_bytes`` made a text of.

    Raises
    ------
    ArtworkError
        The text was edited and can no longer be decoded.
    """
    if not text.startswith(CODED):
        return text.encode("utf-8")
    try:
        return base64.decodebytes(text[len(CODED) :].encode("ascii"))
    except (binascii.Error, UnicodeEncodeError):
        raise ArtworkError(f"The kept copy '{name}' was edited and is no file any more.") from None


def keep(scene: bpy.types.Scene, job: Job) -> None:
    """Copy the artwork files of a job into the .blend, one copy for layers that share a file."""
    copies: dict[Path, bpy.types.Text] = {}
    for row, layer in zip(scene.sheetstack.layers, job.layers, strict=True):
        path = source_of(job, layer).path
        if not path.is_file() or path.stat().st_size > MOST_BYTES:
            continue
        if path not in copies:
            # A copy of another file may serve another layer.
            same = row.kept is not None and row.kept.get(PATH) in (None, str(path))
            copies[path] = row.kept if same else own(bpy.data.texts.new(path.name))
            copies[path][PATH] = str(path)
            text = text_from_bytes(path.read_bytes())
            if copies[path].as_string() != text:
                copies[path].from_string(text)
        row.kept = copies[path]


@contextmanager
def restored(copies: dict[str, tuple[str, str]], job: Job) -> Iterator[Job]:
    """Yield the job with kept copies in place of missing files, in a folder for the while.

    Parameters
    ----------
    copies : dict
        From ``copies_of``.
    job : Job
    """
    with tempfile.TemporaryDirectory(prefix="sheetstack-") as folder:
        layers = []
        for number, layer in enumerate(job.layers):
            if layer.name in copies and not source_of(job, layer).path.exists():
                name, text = copies[layer.name]
                file = "font" if layer.text else "artwork"
                path = Path(folder, str(number), Path(getattr(layer, file)).name)
                path.parent.mkdir()
                path.write_bytes(bytes_from_text(text, name))
                changed: dict[str, Any] = {file: str(path)}
                layer = replace(layer, **changed)
            layers.append(layer)
        yield replace(job, layers=tuple(layers))


def copies_of(scene: bpy.types.Scene) -> dict[str, tuple[str, str]]:
    """Return name and text of each layer's kept copy, by layer name."""
    return {
        row.name: (row.kept.name, row.kept.as_string())
        for row in scene.sheetstack.layers
        if row.kept
    }
