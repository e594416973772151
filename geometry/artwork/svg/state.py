"""What an element of a drawing takes over from those round it, and why it is walked through."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum

from shapely import MultiPolygon

from .style import Paint, Style
from .transforms import Matrix


class Purpose(Enum):
    """Why elements are walked through."""

    PAINT = "paint"  #: fills and strokes as styled
    CLIP = "clip"  #: the shapes of a clip path, whatever their paint
    BOX = "box"  #: the outlines, for a bounding box


@dataclass(frozen=True, eq=False)
class Group:
    """An element that is laid down as one, with what is in it.

    Parameters
    ----------
    number : int
        Tells it from others of the drawing.
    alpha : float
        Its opacity.
    levels : tuple of (MultiPolygon, float), optional
        A mask in shades: areas in mm, disjoint, and how much shows in each; nothing shows beyond.
    """

    number: int
    alpha: float
    levels: tuple[tuple[MultiPolygon, float], ...] | None = None


@dataclass(frozen=True)
class State:
    """What an element takes over from those round it.

    Parameters
    ----------
    matrix : Matrix
        From the current user space to mm, y up.
    viewport : tuple of float
        Width and height in user units, for percentages.
    style : Style
    clips : tuple of MultiPolygon
    within : tuple of str
        Ids of the ``use`` references being followed.
    sheer : bool
        An opacity between nothing and all applies.
    groups : tuple of Group
        Elements round it that are laid down as one.
    context : tuple of Paint, optional
        Inside a marker: fill and stroke of the line that has it.
    """

    matrix: Matrix
    viewport: tuple[float, float]
    style: Style = field(default_factory=Style)
    clips: tuple[MultiPolygon, ...] = ()
    within: tuple[str, ...] = ()
    sheer: bool = False
    groups: tuple[Group, ...] = ()
    context: tuple[Paint, Paint] | None = None
