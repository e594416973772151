"""The wall file: a photo of a wall, what is known of its size, and where pictures go on it."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from ..errors import GeometryError, JobError
from ..job.fields import field, read_section
from ..job.text_file import read_toml

GROUNDS = ("painted", "bare")
#: What a photo may be, by its ending; anything else is read as a wall file.
PHOTOS = (".jpg", ".jpeg", ".png", ".tif", ".tiff")

Point = tuple[float, float]


@dataclass(frozen=True)
class WallSettings:
    """A wall file: keys at its top."""

    photo: str = field(about="photo of the wall (JPEG, PNG, TIFF), relative to this file")
    corners_px: tuple[Point, ...] = field(
        (),
        about="four corners of a rectangle on the wall, in pixels of the upright photo: upper "
        "left, upper right, lower right, lower left",
        kind="points",
    )
    rectangle_mm: tuple[float, ...] = field(
        (),
        about="width and height of that rectangle; when absent it is the picture's own place",
        kind="numbers",
    )
    level_px: tuple[tuple[Point, ...], ...] = field(
        (),
        about="instead of corners: lines that run level on the wall, each by two points",
        kind="lines",
    )
    upright_px: tuple[tuple[Point, ...], ...] = field(
        (), about="lines that run upright on the wall, each by two points", kind="lines"
    )
    length_px: tuple[Point, ...] = field(
        (), about="two points on the wall whose distance is known", kind="points"
    )
    length_mm: float | None = field(None, about="their distance", least=1, most=1e6)
    second_px: tuple[Point, ...] = field(
        (),
        about="another known distance, across the first: needed where the photo was cropped",
        kind="points",
    )
    second_mm: float | None = field(None, about="that distance", least=1, most=1e6)
    focal_mm35: float | None = field(
        None,
        about="focal length as on 35 mm film; the photo's own when absent",
        least=4,
        most=2000,
    )
    middle_px: tuple[float, ...] = field(
        (), about="where the picture's middle goes, in pixels", kind="numbers"
    )
    corner_mm: tuple[float, ...] = field(
        (),
        about="or where its lower left corner goes, right and up from the rectangle's",
        kind="numbers",
    )
    before: str = field(
        "", about="picture of the photo's size: white where something stands before the wall"
    )
    ground: str = field(
        "painted",
        about="whether the job's ground is painted first, or the wall stays bare",
        choices=GROUNDS,
    )
    reflectance: float | None = field(
        None,
        about="share of light that the bare wall throws back; 0.35 or by its lightest places when "
        "absent",
        least=0.02,
        most=0.95,
    )
    white_px: tuple[float, ...] = field(
        (), about="a place in the photo that is white, in the wall's light", kind="numbers"
    )
    relief: float = field(
        0.75, about="share of the wall's relief that shows through paint", least=0, most=1
    )
    shadows: bool = field(
        True, about="false on a wall that bears old paint: its dark edges are no shadows"
    )


@dataclass(frozen=True)
class MorePicture:
    """``[[picture]]`` of a wall file: another job on the same wall."""

    job: str = field(about="its job file, relative to the wall file")
    middle_px: tuple[float, ...] = field(
        (), about="where its middle goes, in pixels", kind="numbers"
    )
    corner_mm: tuple[float, ...] = field(
        (), about="or where its lower left corner goes, in mm", kind="numbers"
    )
    ground: str = field("painted", about="as for the first picture", choices=GROUNDS)


@dataclass(frozen=True)
class WallFile:
    """A wall as told by its file.

    Parameters
    ----------
    settings : WallSettings
    more : tuple of MorePicture
    path : Path
        Of the file, or of the photo alone.
    """

    settings: WallSettings
    more: tuple[MorePicture, ...]
    path: Path

    @property
    def photo(self) -> Path:
        """Path of the photo."""
        return self.path.parent / self.settings.photo

    @property
    def before(self) -> Path | None:
        """Path of the mask of what stands before the wall."""
        return self.path.parent / self.settings.before if self.settings.before else None


def load_wall(path: str | os.PathLike[str], **told: Any) -> WallFile:
    """Read a wall file, or take a photo by itself.

    Parameters
    ----------
    path : path
        A TOML file with the keys of ``WallSettings``, or a photo.
    **told
        Values that come before those of the file.

    Raises
    ------
    JobError
        One sentence that names file, key and what was expected.

    Examples
    --------
    >>> corners = ((10.0, 10.0), (90.0, 10.0), (90.0, 70.0), (10.0, 70.0))
    >>> load_wall("yard.jpg", corners_px=corners).settings.photo
    'yard.jpg'
    """
    path = Path(path)
    given = {key: value for key, value in told.items() if value is not None}
    if path.suffix.lower() in PHOTOS:
        wall = WallFile(WallSettings(photo=path.name, **given), (), path)
    else:
        table = read_toml(path, "a photo or a wall file")
        rows = table.pop("picture", [])
        if not isinstance(rows, list):
            raise JobError(f"{path}: picture: expected [[picture]] tables.")
        settings = replace(read_section(WallSettings, table, str(path)), **given)
        more = tuple(
            read_section(MorePicture, row, f"{path}: [[picture]] number {k}")
            for k, row in enumerate(rows, 1)
        )
        wall = WallFile(settings, more, path)
    _check(wall)
    return wall


def _check(wall: WallFile) -> None:
    """Check what spans several keys."""
    given, path = wall.settings, wall.path
    by_lines = bool(
        given.level_px
        or given.upright_px
        or given.length_px
        or given.length_mm
        or given.second_px
        or given.second_mm
    )
    if bool(given.corners_px) == by_lines:
        raise JobError(
            f"{path}: expected either four corners (corners_px, --corners), or level_px, "
            "upright_px, length_px and length_mm, found "
            f"{'both' if by_lines else 'neither'}."
        )
    if given.corners_px and len(given.corners_px) != 4:
        raise JobError(f"{path}: corners_px: expected four corners, found {len(given.corners_px)}.")
    if by_lines:
        for key, count in (("level_px", 2), ("upright_px", 2), ("length_px", 2)):
            if len(getattr(given, key)) < count:
                raise JobError(f"{path}: {key}: expected {count} or more, found fewer.")
        if len(given.length_px) != 2 or given.length_mm is None:
            raise JobError(f"{path}: length_px, length_mm: expected two points and their distance.")
        if (len(given.second_px) not in (0, 2)) or bool(given.second_px) != bool(given.second_mm):
            raise JobError(f"{path}: second_px, second_mm: expected two points and their distance.")
        for key in ("level_px", "upright_px"):
            if any(len(line) != 2 for line in getattr(given, key)):
                raise JobError(f"{path}: {key}: expected two points a line.")
    if given.rectangle_mm and (len(given.rectangle_mm) != 2 or min(given.rectangle_mm) <= 0):
        raise JobError(f"{path}: rectangle_mm: expected a width and a height over 0.")
    if given.rectangle_mm and by_lines:
        raise JobError(f"{path}: rectangle_mm: goes with corners_px only.")
    pairs = [(given, str(path))]
    pairs += [(m, f"{path}: [[picture]]") for m in wall.more]  # type: ignore[misc]
    for one, where in pairs:
        for key in ("middle_px", "corner_mm", "white_px"):
            if len(getattr(one, key, ())) not in (0, 2):
                raise JobError(f"{where}: {key}: expected two numbers.")
        if one.middle_px and one.corner_mm:
            raise JobError(f"{where}: middle_px, corner_mm: expected one of the two, found both.")


def in_words(wall: WallFile, error: GeometryError) -> GeometryError:
    """Return an error of the geometry with the wall's file named."""
    return GeometryError(f"{wall.path}: {error}")
