"""Faces: who is in the picture and where the marks of each face lie, as one value.

The marks come from a library (``find_faces``) or from a hand (``marks_file``), and nothing that
follows can tell which: all coordinates are pixels of the picture's file after its turn, x to the
right, y down. Right and left are the person's own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ..arrays import Floats
from ..errors import JobError

#: Every mark of a face and the number of its points: closed outlines, lines from the outer end to
#: the inner or from right to left, and each iris as its centre and four points of its rim.
MARKS: Mapping[str, int] = {
    "oval": 36,
    "right_brow": 10,
    "left_brow": 10,
    "right_upper_lid": 9,
    "right_lower_lid": 9,
    "left_upper_lid": 9,
    "left_lower_lid": 9,
    "right_iris": 5,
    "left_iris": 5,
    "nose_line": 6,
    "nose_base": 9,
    "upper_lip": 11,
    "lower_lip": 11,
    "upper_lip_line": 11,
    "lower_lip_line": 11,
    "chin": 5,
}
SIDES = ("right", "left")


@dataclass(frozen=True, eq=False)
class FaceMarks:
    """The marks of one face.

    Parameters
    ----------
    points : mapping from str to float64 array (n, 2)
        One entry for each name in ``MARKS``, with that many points.

    Raises
    ------
    JobError
        A mark is missing or has another number of points.
    """

    points: Mapping[str, Floats]

    def __post_init__(self) -> None:
        for name, count in MARKS.items():
            found = self.points.get(name)
            if found is None or found.shape != (count, 2):
                have = "nothing" if found is None else f"{len(found)} points"
                raise JobError(f"marks of a face: {name}: expected {count} points, found {have}.")

    def __getitem__(self, name: str) -> Floats:
        return self.points[name]

    @property
    def eye_distance(self) -> float:
        """Distance between the middles of the irises, in the picture's pixels."""
        return float(np.hypot(*(self["right_iris"][0] - self["left_iris"][0])))

    def eye(self, side: str) -> Floats:
        """Return the opening between the lids of the ``right`` or ``left`` eye, closed."""
        upper, lower = self[f"{side}_upper_lid"], self[f"{side}_lower_lid"]
        return np.concatenate([upper, lower[::-1]])

    def iris_radius(self, side: str) -> float:
        """Return the radius of an iris in the picture's pixels."""
        iris = self[f"{side}_iris"]
        return float(np.hypot(*(iris[1:] - iris[0]).T).mean())

    def scaled(self, factor: float) -> FaceMarks:
        """Return the marks on the same picture at another size."""
        return FaceMarks({name: points * factor for name, points in self.points.items()})

    def all_points(self) -> Floats:
        """Return all marks as one array, in the order of ``MARKS``."""
        return np.concatenate([self.points[name] for name in MARKS])


@dataclass(frozen=True, eq=False)
class Subject:
    """What the picture is of.

    Parameters
    ----------
    faces : tuple of FaceMarks
        Largest first; none for an animal or a thing.
    outline : tuple of float64 array (n, 2)
        Closed outlines of the whole subject, person or thing; what lies within an odd number of
        them belongs to it. Empty when unknown.
    rough : tuple of float64 array (n, 2)
        Outlines drawn by hand beside the edge, still to be drawn to it.
    source : str
        Who said so, for the findings: ``library`` or the name of a file.
    """

    faces: tuple[FaceMarks, ...] = ()
    outline: tuple[Floats, ...] = ()
    rough: tuple[Floats, ...] = ()
    source: str = ""

    @property
    def known(self) -> bool:
        """Whether anything is known at all."""
        return bool(self.faces or self.outline or self.rough)
