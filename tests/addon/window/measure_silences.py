"""Run inside a Blender with a window: how long it does not answer while Sheetstack works.

    blender --factory-startup --python measure_silences.py -- ZIP JOB FOLDER

Run on demand by ``.ci/window FOLDER silences JOB``; nothing is asserted but that each step ends. A
timer of Blender's notes when the window's own thread gets to it. Printed are the longest gaps, in
seconds, of a build, of dragging a bridge, of the painted picture, and after Esc the time until the
work is over, each with the processor time of that thread within it; beside them, for comparison,
those while the same view is only drawn anew, and of a first picture that Blender draws.
"""

import sys
import time
from pathlib import Path

import bpy
import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
from walking import (
    enable,
    follow,
    point_at,
    screenshot,
    view,
    wait,
    wait_for,
    watch,
    window,
    xdotool,
)

ZIP, JOB, FOLDER = (Path(a).resolve() for a in sys.argv[sys.argv.index("--") + 1 :][:3])
BRIDGE_TOOL = "sheetstack.bridges"


def picture(name):
    screenshot(FOLDER / f"silences-{name}.png")


def state():
    return bpy.context.scene.sheetstack


def is_built():
    return state().collection is not None and not state().is_stale


def running():
    from sheetstack.addon.core.long_work import running

    return running()


def press(key):
    area, _, _ = view()
    point_at(area.x + 0.4 * area.width, area.y + 0.8 * area.height)
    yield from wait(2)
    xdotool("key", key)


def install():
    enable(ZIP)
    yield from wait()


def open_the_job():
    area, _, region = view()
    with bpy.context.temp_override(window=window(), area=area, region=region):
        done = bpy.ops.sheetstack.open_job("EXEC_DEFAULT", filepath=str(JOB), build=False)
    assert done == {"FINISHED"}
    yield from wait(3)


def first_build():
    silences = watch()
    yield from press("ctrl+alt+m")
    yield from wait_for(is_built)
    yield from wait(3)
    print("SILENCES of a first build:", silences(), flush=True)
    picture("built")


def only_drawn():
    area, _, _ = view()
    silences = watch()
    for _ in range(20):
        area.tag_redraw()
        yield from wait(1)
    print("SILENCES while it is only drawn anew:", silences(), flush=True)


def first_texture():
    """For comparison with the painted picture: Blender prepares its shader for pictures once."""
    image, material = bpy.data.images.new("Small", 8, 8), bpy.data.materials.new("Small")
    material.use_nodes = True
    node = material.node_tree.nodes.new("ShaderNodeTexImage")
    node.image = image
    material.node_tree.nodes.active = node
    mesh = bpy.data.meshes.new("Small")
    mesh.from_pydata([(0, 0, 0), (1, 0, 0), (0, 1, 0)], [], [(0, 1, 2)])
    mesh.uv_layers.new()
    mesh.materials.append(material)
    thing = bpy.data.objects.new("Small", mesh)
    shading = view()[0].spaces.active.shading
    found = shading.color_type
    silences = watch()
    bpy.context.scene.collection.objects.link(thing)
    shading.color_type = "TEXTURE"
    yield from wait(6)
    print("SILENCES of a first picture without us:", silences(), flush=True)
    bpy.data.objects.remove(thing)
    shading.color_type = found
    yield from wait(3)


def esc():
    state().sheet.margin_mm += 1
    for seconds in (0.5, 1.5, 3.0):
        yield from press("ctrl+alt+m")
        for _ in range(10):
            if running():
                break
            yield
        if not running():
            continue
        yield from wait(round(seconds / 0.3))
        silences = watch()
        began = time.perf_counter()
        ended = []

        def over(began=began, ended=ended):
            if running() is None or running().ended or running().stop.is_set():
                ended.append(time.perf_counter() - began)
                return None
            return 0.005

        bpy.app.timers.register(over)
        xdotool("key", "Escape")
        yield from wait_for(lambda ended=ended: ended)
        print(
            f"ESC {seconds} s into a build: heard after {ended[0]:.3f} s,", silences(), flush=True
        )
        yield from wait_for(lambda: running() is None)
        yield from wait(10)
    state().sheet.margin_mm -= 1
    yield from press("ctrl+alt+m")
    yield from wait_for(is_built)
    yield from wait(3)


def drag_a_bridge():
    from bpy_extras.view3d_utils import location_3d_to_region_2d

    from sheetstack.addon.bridges import place_on_sheet

    area, _, region = view()
    yield from press("KP_7")
    yield from wait(4)
    with bpy.context.temp_override(window=window(), area=area, region=region):
        bpy.ops.wm.tool_set_by_id(name=BRIDGE_TOOL)
        found = place_on_sheet.editable_bridges(bpy.context)
        bridge = found[len(found) // 2]
        middle = np.mean((bridge.line_mm[0], bridge.line_mm[-1]), axis=0)
        place = place_on_sheet.scene_place(place_on_sheet.edited_sheet(bpy.context), middle)
        seen = location_3d_to_region_2d(region, area.spaces.active.region_3d, place)
    x, y = region.x + seen.x, region.y + seen.y
    point_at(x, y)
    yield from wait(2)
    silences = watch()
    xdotool("mousedown", 1)
    for step in range(40):
        point_at(x + step, y + step % 7)
        yield from wait(1)
    print("SILENCES of dragging a bridge:", silences(), flush=True)
    picture("dragged")
    silences = watch()
    xdotool("mouseup", 1)
    yield from wait(5)
    yield from press("ctrl+alt+m")
    yield from wait_for(is_built)
    yield from wait(3)
    print("SILENCES of dropping it, and the build after:", silences(), flush=True)


def painted_picture():
    silences = watch()
    yield from press("ctrl+alt+p")
    yield from wait_for(lambda: "Painted picture" in bpy.data.objects)
    yield from wait(5)
    print("SILENCES of the painted picture:", silences(), flush=True)
    picture("painted")


def drag_beside_the_picture():
    yield from press("Home")
    yield from wait(4)
    yield from drag_a_bridge()


follow(
    install,
    open_the_job,
    first_build,
    only_drawn,
    first_texture,
    esc,
    drag_a_bridge,
    painted_picture,
    drag_beside_the_picture,
)
