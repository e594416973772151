"""``sheetstack render JOB --photo``: the picture on photos of the client's own walls."""

from __future__ import annotations

import argparse
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from PIL import Image

from ..errors import JobError, one_line
from ..files.batch import output_batch
from ..files.png import png_bytes
from ..job.load import load_job
from ..job.names import file_stem
from ..photo.wall_file import WallFile, load_wall
from ..photo.wall_mockup import WallMockup, wall_mockup
from ..progress import Progress
from ..report.client_html import client_html
from .command import build_heard, out_folder, sized_job
from .meter import Meter

_NUMBER = r"-?[0-9]+(?:\.[0-9]+)?"
_PAIR = re.compile(rf"({_NUMBER}),({_NUMBER})")


def add_photo_arguments(parser: argparse.ArgumentParser) -> None:
    """Let a command take photos of walls."""
    group = parser.add_argument_group(
        "on a photo of the wall",
        "Needs no Blender. Writes on-PHOTO.png for each photo, client.html, and wall.txt with how "
        "each wall was measured. All of it can stand in a wall file instead: 'sheetstack keys'.",
    )
    group.add_argument(
        "--photo",
        metavar="FILE",
        type=Path,
        action="append",
        default=[],
        help="photo of the wall, or a wall file (TOML); once for each wall",
    )
    group.add_argument(
        "--corners",
        metavar="X,Y",
        nargs=4,
        help="pixels of a rectangle's upper left, upper right, lower right and lower left corner",
    )
    group.add_argument(
        "--rectangle",
        metavar="WxH",
        help="its width and height in mm; the picture's own place when absent",
    )
    group.add_argument("--middle", metavar="X,Y", help="pixel where the picture's middle goes")
    group.add_argument(
        "--before", metavar="PNG", help="white where something stands before the wall"
    )
    group.add_argument(
        "--bare", action="store_true", help="leave the wall bare round the paint: no ground"
    )


def render_on_photos(chosen: argparse.Namespace, meter: Meter) -> int:
    """Paint a job onto the photos that were named.

    Raises
    ------
    JobError
        Corners are given and several photos that they could be of, or a wall file is wrong.
    ArtworkError, WriteError, Cancelled
    """
    told = _told(chosen)
    plain = [path for path in chosen.photo if path.suffix.lower() != ".toml"]
    if told.get("corners_px") and len(plain) > 1:
        raise JobError(
            f"--corners: expected one photo that they are of, found {len(plain)}; give the others "
            "as wall files ('sheetstack keys')."
        )
    # Beside a photo, wall files stand for themselves.
    walls = [
        load_wall(path, **({} if plain and path not in plain else told)) for path in chosen.photo
    ]
    folder = out_folder(chosen, "render")
    progress = Progress(meter)
    job = sized_job(chosen, progress.part(0.0, 0.02))
    built = build_heard(job, progress.part(0.02, 0.3))
    share = 0.65 / len(walls)
    made: list[tuple[str, WallMockup]] = []
    for number, wall in enumerate(walls):
        part = progress.part(0.3 + number * share, 0.3 + (number + 1) * share)
        others = [
            build_heard(load_job(wall.path.parent / m.job), part.part(0, 0.3)) for m in wall.more
        ]
        mockup = wall_mockup(wall, built, others, part.part(0.3, 1.0))
        made.append((_name(wall, {name for name, _ in made}), mockup))
    with output_batch(folder, kind="render", job=job.title) as batch:
        pictures = []
        for name, mockup in made:
            pictures.append(png_bytes(Image.fromarray(mockup.picture)))
            batch.path(f"{name}.png").write_bytes(pictures[-1])
        said = "\n".join(_text(made)) + "\n"
        batch.path("wall.txt").write_text(said, encoding="utf-8")
        page = client_html(built, pictures)
        batch.path("client.html").write_text(page, encoding="utf-8")
        names = batch.names
    meter.clear()
    if not chosen.quiet:
        print(said)
        print(f"{len(names)} files written to {one_line(str(folder))}: {', '.join(names[:6])}")
    return 0


def _text(made: list[tuple[str, WallMockup]]) -> Iterator[str]:
    for name, mockup in made:
        yield f"{name}.png"
        yield from (f"  {sentence}" for sentence in mockup.sentences())


def _name(wall: WallFile, taken: set[str]) -> str:
    stem = f"on-{file_stem(wall.photo.stem)}"
    names = [stem, *(f"{stem}-{k}" for k in range(2, len(taken) + 3))]
    return next(name for name in names if name not in taken)


def _told(chosen: argparse.Namespace) -> dict[str, Any]:
    """Return the keys of a wall file that stand on the command line."""
    return {
        "corners_px": tuple(_pair(c, "--corners") for c in chosen.corners)
        if chosen.corners
        else None,
        "rectangle_mm": _size(chosen.rectangle) if chosen.rectangle else None,
        "middle_px": _pair(chosen.middle, "--middle") if chosen.middle else None,
        # Named from where the command runs, not from where the photo lies.
        "before": str(Path(chosen.before).absolute()) if chosen.before else None,
        "ground": "bare" if chosen.bare else None,
    }


def _pair(text: str, option: str) -> tuple[float, float]:
    match = _PAIR.fullmatch(text.replace(" ", ""))
    if match is None:
        raise JobError(f"{option} {text}: expected pixels like 412,318.")
    return float(match[1]), float(match[2])


def _size(text: str) -> tuple[float, float]:
    match = re.fullmatch(rf"({_NUMBER})x({_NUMBER})", text.lower().replace(" ", ""))
    if match is None or float(match[1]) <= 0 or float(match[2]) <= 0:
        raise JobError(f"--rectangle {text}: expected width x height in mm, like 2400x1800.")
    return float(match[1]), float(match[2])
