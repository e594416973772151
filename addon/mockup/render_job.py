"""Rendering a job in a process of its own, which the command ``sheetstack render`` starts.

``python -m sheetstack.addon.mockup.render_job ORDER`` reads an order, a JSON file, and
writes the pictures into the folder that it names. Progress goes to standard output as lines
``progress SHARE WHAT``.
"""

from __future__ import annotations

import json
import os
import pickle
import sys
from pathlib import Path
from typing import Any

import bpy

from ...geometry.build import Build, build
from ...geometry.errors import GeometryError, JobError, SheetstackError
from ...geometry.job.load import load_job
from ...geometry.job.sections import MockupSettings
from ...geometry.paint.compositing import painted_picture
from ...geometry.progress import Progress
from .. import register
from ..core.blender_versions import show_scene, write_video
from .mockup import PICTURE_PIXELS, make_scene
from .mockup_scene import render_settings
from .picture_on_face import put_picture

#: Samples of a turntable's frames, which pass by, as a share of a still's.
FRAME_SAMPLES = 0.4
FRAMES_A_SECOND = 24


def tell(share: float, what: str) -> None:
    """Tell the command how far the work is."""
    print(f"progress {share:.3f} {what}", flush=True)


def render_order(order: dict[str, Any]) -> None:
    """Render what an order asks for.

    Parameters
    ----------
    order : dict
        ``job`` path, or ``build`` path of a build pickled by the process that gives the order;
        ``out`` folder, which exists; ``pixels`` width, height; ``samples``;
        ``surface``, ``light``, ``scale`` or None for the job's own; ``stack`` whether to render the
        exploded stack; ``frames`` of the turntable; ``video`` whether it is one; ``scene`` path of
        a .blend and ``face`` name of the wall in it, with ``:`` and the face's number after it.
    """
    progress = Progress(tell)
    out = Path(order["out"])
    if order.get("build"):
        built: Build = pickle.loads(Path(order["build"]).read_bytes())
    else:
        built = build(load_job(order["job"]), progress.part(0.0, 0.1))
    job = built.job
    picture = painted_picture(built, PICTURE_PIXELS)
    own = job.mockup
    settings = MockupSettings(
        order["surface"] or own.surface, order["light"] or own.light, order["scale"] or own.scale
    )
    pixels = (int(order["pixels"][0]), int(order["pixels"][1]))
    samples, frames = int(order["samples"]), int(order["frames"])
    bpy.ops.wm.read_factory_settings(use_empty=True)
    tell(0.12, "rendering the mock-up")
    if order["scene"]:
        scene = own_scene(Path(order["scene"]), order["face"], picture, job.sheet)
        scene.render.resolution_x, scene.render.resolution_y = pixels
    else:
        scene = make_scene("PICTURE", built, picture, settings, pixels)
        render_settings(scene, samples)
    _render(scene, out / "mockup.png")
    if order["stack"]:
        tell(0.4, "rendering the exploded stack")
        scene = make_scene("STACK", built, picture, settings, pixels)
        render_settings(scene, samples)
        _render(scene, out / "exploded.png")
    if frames:
        tell(0.55, f"rendering {frames} frames of the turntable")
        scene = make_scene("STACK", built, picture, settings, pixels, frames)
        # Blender moves nothing from frame to frame in a scene that no window shows.
        show_scene(bpy.context, scene)
        render_settings(scene, max(4, round(FRAME_SAMPLES * samples)))
        _turn(scene, out, frames, bool(order["video"]))
    tell(1.0, "rendered")


def own_scene(path: Path, face: str, picture: Any, sheet: Any) -> Any:
    """Open the user's scene and put the picture on the face that was named.

    Parameters
    ----------
    path : Path
        Of the Blender file.
    face : str
        Name of a mesh object, and ``:`` with the number of a face.
    picture : Image
    sheet : SheetSettings
        Gives the picture's size.

    Raises
    ------
    JobError
        The file cannot be opened, has no such face, or no camera.
    """
    try:
        bpy.ops.wm.open_mainfile(filepath=str(path))
    except RuntimeError as error:
        raise JobError(f"{path}: cannot be opened as a Blender file: {error}") from None
    scene = bpy.context.scene
    name, _, number = face.rpartition(":") if ":" in face else (face, "", "0")
    wall = scene.objects.get(name)
    meshes = sorted(thing.name for thing in scene.objects if thing.type == "MESH")
    if wall is None or wall.type != "MESH" or not number.isdigit():
        raise JobError(
            f"{path}: '{face}': expected a mesh object of the scene, with ':' and the number of a "
            f"face where it has several; meshes are {', '.join(meshes) or 'none'}."
        )
    if scene.camera is None:
        raise JobError(f"{path}: the scene '{scene.name}' has no camera to render from.")
    put_picture(scene, wall, int(number), picture, (sheet.width_mm, sheet.height_mm))
    return scene


def _render(scene: Any, path: Path) -> None:
    scene.render.image_settings.file_format = "PNG"
    scene.render.filepath = str(path)
    bpy.ops.render.render(write_still=True, scene=scene.name)
    if not path.is_file():
        raise GeometryError(f"Blender rendered nothing into {path.name}.")


def _turn(scene: Any, out: Path, frames: int, video: bool) -> None:
    if video:
        scene.render.fps = FRAMES_A_SECOND
        write_video(scene.render.image_settings)
        scene.render.ffmpeg.format, scene.render.ffmpeg.codec = "MPEG4", "H264"
        scene.render.ffmpeg.constant_rate_factor = "HIGH"
        scene.render.filepath = str(out / "turntable.mp4")
        scene.render.use_file_extension = False
        bpy.ops.render.render(animation=True, scene=scene.name)
        return
    folder = out / "turntable"
    folder.mkdir()
    for frame in range(1, frames + 1):
        scene.frame_set(frame)
        _render(scene, folder / f"{frame:04d}.png")
        tell(0.55 + 0.45 * frame / frames, f"turntable, frame {frame} of {frames}")


def main() -> int:
    """Read the order that the command line names and render it."""
    register()  # what is made is marked by the add-on's own properties
    try:
        render_order(json.loads(Path(sys.argv[1]).read_text(encoding="utf-8")))
    except SheetstackError as error:
        print(f"error {error}", flush=True)
        return 2
    return 0


if __name__ == "__main__":
    code = main()
    # Blender 4.2 and 4.5 as modules crash as Python ends, once a file was opened. All is written.
    sys.stdout.flush()
    os._exit(code)
