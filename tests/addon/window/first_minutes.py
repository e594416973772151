"""Run inside a Blender with a window: a user's first ten minutes, by mouse and keyboard only.

    blender --factory-startup --python first_minutes.py -- ZIP DRAWING FOLDER

From Blender's own first scene: a drawing is imported, the sheets are built, a bridge is moved, the
painted picture is seen, files are written and a mock-up is rendered. Every action is a click, a
drag or a key that xdotool sends; no text is typed, no operator is called and no property is set but
for the size of the render, which spares the machine. A screenshot of each step goes to FOLDER; the
actions are counted and may be 25 at most. Places are those of Blender 3.4 at a scale of 1.
"""

import shutil
import sys
from pathlib import Path

import bpy

sys.path.insert(0, str(Path(__file__).parent))
from walking import (
    ACCEPT,
    FIRST_FILE,
    click,
    enable,
    follow,
    point_at,
    screenshot,
    view,
    wait,
    wait_for,
    window,
    xdotool,
)

ZIP, DRAWING, FOLDER = (Path(a).resolve() for a in sys.argv[sys.argv.index("--") + 1 :][:3])
MOST_ACTIONS = 25
#: Pixels from the sidebar's top: the fourth tab, the first button, the third layer in the list.
TAB, IMPORT, THIRD_LAYER = 165, 52, 172
#: From the upper left corner of the 3D view: the icon of the bridge tool.
BRIDGE_TOOL = (26, 424)

actions = []


def do(what, x, y, of=0):
    """Click a place, and count it."""
    actions.append(what)
    yield from click(x, y, of)


def drag(what, x0, y0, x1, y1, watched):
    """Drag the mouse; ``watched`` is called before the button is let go."""
    point_at(x0, y0)
    yield from wait(2)
    xdotool("mousedown", 1)
    yield from wait(1)
    point_at((x0 + x1) / 2, (y0 + y1) / 2)
    yield from wait(3)  # what stands still is worked out
    for share in range(11, 21):
        point_at(x0 + (x1 - x0) * share / 20, y0 + (y1 - y0) * share / 20)
        yield from wait(1)
    yield from wait(2)
    picture("dragging")
    watched()
    xdotool("mouseup", 1)
    actions.append(what)
    yield from wait(3)


def press(what, key):
    area, _, _ = view()
    point_at(area.x + 0.4 * area.width, area.y + 0.8 * area.height)
    yield from wait(2)
    xdotool("key", key)
    actions.append(what)
    yield from wait(4)


def picture(name, of=0):
    screenshot(FOLDER / f"first-{len(actions):02}-{name}.png", of)


def state():
    return bpy.context.scene.sheetstack


def is_built():
    return state().collection is not None and not state().is_stale


def accept(what):
    """Click the button of the file dialogue, which is a window of its own."""
    dialogue = window(-1)
    return do(what, dialogue.width + ACCEPT[0], -ACCEPT[1], -1)


def open_drawing():
    _, sidebar, _ = view()
    yield from press("N: sidebar", "n")
    _, sidebar, _ = view()
    top = sidebar.y + sidebar.height
    yield from do("tab Stencil", sidebar.x + sidebar.width - 13, top - TAB)
    picture("tab")
    yield from do("Import Drawing", sidebar.x + 120, top - IMPORT)
    yield from wait(8)
    dialogue = window(-1)
    yield from do("the drawing", FIRST_FILE[0], dialogue.height - FIRST_FILE[1], -1)
    picture("dialogue", -1)
    yield from accept("Import")
    yield from wait_for(is_built)
    yield from wait(4)
    assert [row.name for row in state().layers] == ["mid-tone", "shadow", "highlight"]
    picture("built")


def move_a_bridge():
    from sheetstack.addon.bridges import place_on_sheet

    area, sidebar, _ = view()
    yield from do("the layer", sidebar.x + 60, sidebar.y + sidebar.height - THIRD_LAYER)
    assert state().active_layer == 2
    yield from press("Numpad 7: from above", "KP_7")
    yield from do("bridge tool", area.x + BRIDGE_TOOL[0], area.y + area.height - BRIDGE_TOOL[1])
    picture("tool")
    region = next(r for r in area.regions if r.type == "WINDOW")
    with bpy.context.temp_override(window=window(), area=area, region=region):
        found = place_on_sheet.editable_bridges(bpy.context)
    seen = [(on_view((b.line_mm[0], b.line_mm[-1])), b) for b in found]
    free = (area.x + 80, sidebar.x - 100)
    (x, y), bridge = next(s for s in seen if free[0] < s[0][0] < free[1])
    yield from do("a bridge", x, y)
    assert state().picked_bridge == bridge.id
    picture("picked")
    yield from drag("the bridge", x, y, x + 12, y + 6, follows)
    (row,) = state().bridges_by_hand
    assert row.id == bridge.id
    assert state().is_stale
    yield from press("Ctrl Alt M: build", "ctrl+alt+m")
    yield from wait_for(is_built)
    yield from wait(4)
    picture("moved")


def follows():
    """The sheet stands there without the bridge, and the mouse's last place has been looked at."""
    from sheetstack.addon.bridges.live_drag import dragging

    drag = dragging()
    assert drag.stand_in is not None
    assert drag.sheet.data == drag.stand_in
    assert drag.latest is None
    assert drag.shown is not None


def on_view(line):
    """Return the pixel of the window at which the middle of a bridge is seen."""
    from bpy_extras.view3d_utils import location_3d_to_region_2d

    from sheetstack.addon.bridges.place_on_sheet import edited_sheet, scene_place

    area, _, _ = view()
    region = next(r for r in area.regions if r.type == "WINDOW")
    with bpy.context.temp_override(window=window(), area=area, region=region):
        middle = [(a + b) / 2 for a, b in zip(*line, strict=True)]
        place = scene_place(edited_sheet(bpy.context), middle)
        seen = location_3d_to_region_2d(region, area.spaces.active.region_3d, place)
    return region.x + seen.x, region.y + seen.y


def see_the_paint():
    yield from press("Ctrl Alt P: painted picture", "ctrl+alt+p")
    yield from wait_for(lambda: "Painted picture" in bpy.data.objects)
    yield from wait(6)
    picture("painted")


def write_files():
    yield from press("Ctrl Alt X: export", "ctrl+alt+x")
    yield from wait(8)
    picture("export", -1)
    yield from accept("Export")
    folder = Path.home()
    yield from wait_for(lambda: (folder / "cautions.txt").exists())
    yield from wait(4)
    assert len(list(folder.glob("*-cut.svg"))) == 3


def render_a_mock_up():
    yield from press("Ctrl Alt W: mock-up", "ctrl+alt+w")
    yield from wait_for(lambda: bpy.context.window_manager.windows[0].scene.name == "Mock-up")
    yield from wait(12)
    picture("mock-up")
    scene = window().scene
    scene.render.resolution_percentage, scene.cycles.samples = 25, 4
    yield from press("F12: render", "F12")
    yield from wait_for(lambda: not bpy.app.is_job_running("RENDER"))
    yield from wait(8)
    picture("rendered", -1)
    result = bpy.data.images["Render Result"]
    result.save_render(str(FOLDER / "first-render.png"))


def install():
    enable(ZIP)
    shutil.copy(DRAWING, Path.home())
    yield from wait()


def count():
    print(len(actions), "actions:", "; ".join(actions), flush=True)
    assert len(actions) <= MOST_ACTIONS
    yield from wait()


follow(
    install,
    open_drawing,
    move_a_bridge,
    see_the_paint,
    write_files,
    render_a_mock_up,
    count,
)
