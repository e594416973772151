"""The command ``sheetstack render JOB``: pictures for the client, rendered by Blender.

The rendering runs in a process of its own: this package never imports Blender, and a render that is
stopped or runs out of memory takes nothing with it.
"""

from __future__ import annotations

import argparse
import json
import pickle
import queue
import re
import shutil
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import ExitStack
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from ..errors import JobError, SheetstackError, WriteError, one_line
from ..files.batch import output_batch
from ..job.sections import LIGHTS, SCALES, SURFACES
from ..progress import Progress
from ..report.client_html import client_html
from .command import add_command, add_job, add_out, add_quiet, build_heard, out_folder, sized_job
from .meter import Meter
from .photo import add_photo_arguments, render_on_photos

#: Run in the other process; a name, so that nothing of it is imported here.
RENDERER = "sheetstack.addon.mockup.render_job"
#: Seconds between two looks whether the user asked to stop, and that Blender gets to end by itself.
_SILENCE, _PATIENCE = 0.2, 5.0
# Pixels of a side, samples of a pixel, frames of a turn: more is a slip of the finger.
_FEWEST, _MOST, _MOST_SAMPLES, _MOST_FRAMES = 16, 16_384, 4096, 2000


def add_render_command(commands: Any) -> None:
    """Add the command to the program's subcommands."""
    parser = add_command(
        commands,
        "render",
        _run,
        summary="render pictures for the client, and a client sheet",
        description=(
            "Show what a client wants to see. With --photo: the picture on a photo of the client's "
            "own wall. Else, rendered by Blender's Cycles: mockup.png, the painted picture at true "
            "size on its wall, board or canvas; exploded.png, the sheets in their material. Both "
            "with client.html, one page with pictures, size, colours, sheets, estimate and "
            "cautions. All files appear together at the end, or none. Without --photo it needs the "
            "Python module bpy."
        ),
        example="sheetstack render leaf.toml --surface plaster --size 1920x1080\n"
        "sheetstack render leaf.toml --photo yard.jpg --rectangle 2400x1800 --corners 412,318 "
        "1630,402\n    1598,1310 398,1275",
    )
    add_job(parser)
    add_out(parser, "render")
    parser.add_argument("--surface", choices=SURFACES, help="what it is painted on; else the job's")
    parser.add_argument("--light", choices=LIGHTS, help="light it is seen in; else the job's")
    parser.add_argument("--scale", choices=SCALES, help="what tells its size; else the job's")
    parser.add_argument(
        "--size", metavar="WxH", default="1280x960", help="pixels of the pictures (1280x960)"
    )
    parser.add_argument("--samples", type=int, default=32, help="samples of each pixel (32)")
    parser.add_argument("--no-stack", action="store_true", help="leave exploded.png out")
    parser.add_argument(
        "--turntable",
        metavar="FRAMES",
        type=int,
        default=0,
        help="render the stack turning once round: turntable/0001.png and so on",
    )
    parser.add_argument("--video", action="store_true", help="turntable.mp4 instead of frames")
    parser.add_argument("--scene", metavar="BLEND", type=Path, help="a scene of your own")
    parser.add_argument(
        "--face", metavar="WALL[:N]", help="mesh object in that scene, and number of its face"
    )
    add_photo_arguments(parser)
    add_quiet(parser, "no progress, no list")


def _run(chosen: argparse.Namespace, meter: Meter) -> int:
    if chosen.photo:
        return render_on_photos(chosen, meter)
    pixels = _checked(chosen)
    if find_spec("bpy") is None:
        raise JobError(
            "Rendering needs Blender's Python module 'bpy', which is not installed here: "
            "python -m pip install 'sheetstack[bpy]'. Inside Blender, use Build Mock-Up Scene."
        )
    folder = out_folder(chosen, "render")
    progress = Progress(meter)
    job = sized_job(chosen, progress.part(0.0, 0.02))
    built = build_heard(job, progress.part(0.02, 0.1))
    order = {
        "job": str(chosen.job.absolute()),
        "pixels": pixels,
        "samples": chosen.samples,
        "surface": chosen.surface,
        "light": chosen.light,
        "scale": chosen.scale,
        "stack": not chosen.no_stack,
        "frames": chosen.turntable or (120 if chosen.video else 0),
        "video": chosen.video,
        "scene": str(chosen.scene.absolute()) if chosen.scene else "",
        "face": chosen.face or "",
    }
    with tempfile.TemporaryDirectory() as working:
        rendered = Path(working) / "rendered"
        rendered.mkdir()
        # The other process reads what has been built here, rather than building it again.
        kept = Path(working) / "build.pickle"
        kept.write_bytes(pickle.dumps(built))
        files_of_order = {"out": str(rendered), "build": str(kept)}
        _render(order | files_of_order, Path(working), progress.part(0.1, 0.95))
        with output_batch(folder, kind="render", job=job.title) as batch:
            files = sorted(p for p in rendered.rglob("*") if p.is_file())
            for file in files:
                shutil.copyfile(file, batch.path(file.relative_to(rendered).as_posix()))
            images = {f.name: f.read_bytes() for f in files if f.parent == rendered}
            mockups = [images["mockup.png"]] if "mockup.png" in images else []
            page = client_html(built, mockups, images.get("exploded.png"))
            batch.path("client.html").write_text(page, encoding="utf-8")
            names = batch.names
    meter.clear()
    if not chosen.quiet:
        print(f"{len(names)} files written to {one_line(str(folder))}: {', '.join(names[:6])}")
    return 0


def _checked(chosen: argparse.Namespace) -> tuple[int, int]:
    """Return the pixels asked for; refuse options that do not go together."""
    match = re.fullmatch(r"([0-9]{1,9})x([0-9]{1,9})", chosen.size.lower())
    width, height = map(int, match.groups()) if match else (0, 0)
    if min(width, height) < _FEWEST:
        raise JobError(f"--size {chosen.size}: expected width x height in pixels, like 1280x960.")
    if max(width, height) > _MOST:
        raise JobError(f"--size {chosen.size}: expected at most {_MOST} pixels.")
    if not 1 <= chosen.samples <= _MOST_SAMPLES:
        raise JobError(f"--samples {chosen.samples}: expected a number from 1 to {_MOST_SAMPLES}.")
    if not 0 <= chosen.turntable <= _MOST_FRAMES:
        raise JobError(
            f"--turntable {chosen.turntable}: expected a number of frames up to {_MOST_FRAMES}."
        )
    if bool(chosen.scene) != bool(chosen.face):
        raise JobError("--scene and --face go together: a .blend file and the wall in it.")
    if chosen.scene and not chosen.scene.is_file():
        raise JobError(f"{chosen.scene}: expected a .blend file, found none.")
    return width, height


def _render(order: dict[str, Any], working: Path, progress: Progress) -> None:
    """Run the renderer, passing on its progress; it is stopped when this is."""
    file = working / "order.json"
    file.write_text(json.dumps(order), encoding="utf-8")
    log: list[str] = []
    what, share = "starting Blender", 0.0
    with (
        subprocess.Popen(
            [sys.executable, "-m", RENDERER, str(file)],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            errors="replace",
            encoding="utf-8",
        ) as process,
        ExitStack() as ending,
    ):
        # Whatever ends the loop before Blender has said all, ends Blender.
        ending.callback(_end, process)
        for line in _lines_of(process):
            kind, _, rest = line.partition(" ")
            if kind == "progress":
                number, _, what = rest.partition(" ")
                share = float(number)
            elif kind == "error":
                raise SheetstackError(rest)
            elif line:
                log = [*log[-20:], line]
            # Also where nothing was said for a while: raises when the user asked to stop.
            progress(share, what)
        ending.pop_all()
    if process.returncode:
        said = log[-1] if log else "nothing"
        raise WriteError(
            f"Blender ended with code {process.returncode} before the pictures were done; it last "
            f"said: {said[:200]}"
        )


def _lines_of(process: subprocess.Popen[str]) -> Iterator[str]:
    """Yield the lines that a process says, and an empty one whenever it has been silent a while."""
    said: queue.Queue[str | None] = queue.Queue()

    def read() -> None:
        assert process.stdout is not None  # asked for when it was started
        for line in process.stdout:
            said.put(line.strip())
        said.put(None)

    threading.Thread(target=read, daemon=True).start()
    while True:
        try:
            line = said.get(timeout=_SILENCE)
        except queue.Empty:
            yield ""
            continue
        if line is None:
            return
        yield line


def _end(process: subprocess.Popen[str]) -> None:
    """End a process: asked first, then forced."""
    process.terminate()
    try:
        process.wait(timeout=_PATIENCE)
    except subprocess.TimeoutExpired:
        process.kill()
