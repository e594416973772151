"""The file of operators that are given one: in a dialogue, from a script, or dropped on a view."""

from __future__ import annotations

from typing import Any

from bpy.props import StringProperty


def file_given(name: str, description: str) -> Any:
    """Return the property ``filepath`` of such an operator.

    It is not kept from call to call: it is given when a file is dropped, and empty otherwise.

    Parameters
    ----------
    name, description : str
        As the dialogue shows them.
    """
    return StringProperty(
        name=name,
        description=description,
        subtype="FILE_PATH",
        options={"HIDDEN", "SKIP_SAVE"},
    )
