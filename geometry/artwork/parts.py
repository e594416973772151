"""The parts that an artist has drawn in a file: groups of an SVG, layers of a DXF; each may be a \
layer of a job."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path

from ..errors import ArtworkError
from ..job.check import check_job
from ..job.fields import read_section
from ..job.job import Job
from ..job.sections import LayerSettings, SheetSettings

#: Colours of parts that say none, from the back to the front.
COLOURS = ("#b08d57", "#3b3a36", "#f3e9d2", "#7a9e9f", "#c8553d")
#: Decimals of the size of a sheet in mm that a drawing fills.
_DECIMALS = 3


@dataclass(frozen=True)
class Part:
    """A named part of a drawing.

    Parameters
    ----------
    name : str
        What the artist calls it.
    key : str
        What a layer's ``group`` names it by.
    colour : str
        What most of it is painted in, like '#a0522d'; empty where that is no plain colour.
    hidden : bool
        The drawing does not show it; a layer that names it reads it all the same.
    """

    name: str
    key: str
    colour: str = ""
    hidden: bool = False


@dataclass(frozen=True)
class Parts:
    """What a drawing consists of.

    Parameters
    ----------
    parts : tuple of Part
        Those that paint something, from the back to the front.
    page : tuple of float
        Width and height in mm of the page, or of all that is drawn where the format has no page.
    loose : int
        Shapes that stand in none of the parts.
    """

    parts: tuple[Part, ...]
    page: tuple[float, float]
    loose: int = 0


#: Reader of each ending, as module and function.
_READERS = {".svg": (".svg.groups", "read_groups"), ".dxf": (".dxf.layers", "read_layers")}
#: Endings of drawings that have parts.
ENDINGS = tuple(_READERS)


def read_parts(path: Path) -> Parts:
    """Read which parts a drawing has.

    Parameters
    ----------
    path : Path
        An SVG or a DXF file.

    Raises
    ------
    ArtworkError
        The file is missing, unreadable, or neither SVG nor DXF.
    """
    if path.suffix.lower() not in _READERS:
        raise ArtworkError(f"{path}: expected a drawing ending in {' or '.join(_READERS)}.")
    if not path.is_file():
        raise ArtworkError(f"{path}: the drawing does not exist.")
    module, function = _READERS[path.suffix.lower()]
    reader: Callable[[Path], Parts] = getattr(import_module(module, __package__), function)
    return reader(path)


def layers_of(path: Path, parts: Parts, taken: tuple[str, ...] = ()) -> tuple[LayerSettings, ...]:
    """Return one layer for each part of a drawing, or one of all of it where it has no parts.

    Parameters
    ----------
    path : Path
        The drawing, as a layer is to name it.
    parts : Parts
    taken : tuple of str
        Names that other layers have.
    """
    names = {name.casefold() for name in taken}
    rows = parts.parts or (Part(path.stem, ""),)
    layers = []
    for number, part in enumerate(rows):
        name, again = part.name, 1
        while name.casefold() in names:
            again += 1
            name = f"{part.name} {again}"
        names.add(name.casefold())
        colour = part.colour or COLOURS[(len(taken) + number) % len(COLOURS)]
        layers.append(LayerSettings(name, colour, str(path), group=part.key))
    return tuple(layers)


def job_of_drawing(path: Path, parts: Parts) -> Job:
    """Return the job that cuts a drawing at its own size: a layer a part, a margin all round.

    Parameters
    ----------
    path : Path
    parts : Parts
        Of the same file.

    Raises
    ------
    JobError
        No sheet can be as small or as large as the drawing.
    """
    margin = SheetSettings(100.0, 100.0).margin_mm
    width, height = (round(side + 2 * margin, _DECIMALS) for side in parts.page)
    sheet = read_section(SheetSettings, {"width_mm": width, "height_mm": height}, str(path))
    job = Job(
        title=path.stem,
        sheet=sheet,
        layers=layers_of(Path(path.name), parts),
        folder=path.parent,
    )
    check_job(job, str(path))
    return job
