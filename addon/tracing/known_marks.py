"""What a scene knows of its pictures: the marks of faces and the subject's outline, each as text.

The text is that of a marks file, so that a tracing can be made again from the scene alone. Each
picture keeps its own: choosing another one loses nothing.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any

import bpy
from bpy.props import StringProperty

from ...geometry.tracing.faces import Subject
from ...geometry.tracing.marks_file import marks_text, size_in_text, subject_from_text

#: Name that the text calls itself by.
NAME = "marks.toml"


class SHEETSTACK_PG_marked(bpy.types.PropertyGroup):
    """A picture and what is known of it"""

    picture: StringProperty(name="Picture", description="Path of the picture")
    text: StringProperty(name="Marks", description="Marks of its faces, and its outline")


def picture_of(scene: bpy.types.Scene) -> Path:
    """Return the path of the scene's picture."""
    return Path(bpy.path.abspath(scene.sheetstack_tracing.picture))


def marks_row(scene: Any) -> Any:
    """Return the row of the scene's picture, None where nothing is known of it."""
    path = str(picture_of(scene))
    return next((row for row in scene.sheetstack_tracing.marked if row.picture == path), None)


def known_of(scene: Any) -> Subject | None:
    """Return what is known of the scene's picture; None where nobody has looked yet.

    Raises
    ------
    JobError
        The text was changed by something else and cannot be read.
    """
    row = marks_row(scene)
    return None if row is None else _read(row.text)


def put_known(scene: Any, subject: Subject, full: tuple[int, int]) -> None:
    """Keep what is known of the scene's picture, which has so many pixels.

    Parameters
    ----------
    scene : Scene
    subject : Subject
    full : tuple of int
        Width and height of the picture in its file, in pixels.
    """
    row = marks_row(scene)
    if row is None:
        row = scene.sheetstack_tracing.marked.add()
        row.picture = str(picture_of(scene))
    row.text = marks_text(subject, full, NAME)


def renew_known(scene: Any, subject: Subject) -> None:
    """Keep what is now known of the scene's picture, of which something was known before."""
    put_known(scene, subject, size_in_text(marks_row(scene).text))


def forget_known(scene: Any) -> None:
    """Forget what is known of the scene's picture."""
    path, marked = str(picture_of(scene)), scene.sheetstack_tracing.marked
    for number in reversed(range(len(marked))):
        if marked[number].picture == path:
            marked.remove(number)


@lru_cache(maxsize=4)
def _read(text: str) -> Subject:
    return subject_from_text(text, size_in_text(text))


CLASSES = (SHEETSTACK_PG_marked,)
