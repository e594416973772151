"""Run inside a Blender with a window: a flat drawing comes in by File > Import, by mouse and keys.

    blender --factory-startup --python import_menu.py -- ZIP DRAWING FOLDER

The menu is opened by the mouse and walked through by keys, the file is clicked on in the dialogue,
and its colours become layers and sheets. A screenshot of each step goes to FOLDER. Places are those
of Blender 3.4 at a scale of 1. (Dropping a file needs Blender 4.1; it has no window here.)
"""

import shutil
import sys
from pathlib import Path

import bpy

sys.path.insert(0, str(Path(__file__).parent))
from walking import wait, wait_for, walk, xdotool

ZIP, DRAWING, FOLDER = (Path(a).resolve() for a in sys.argv[sys.argv.index("--") + 1 :][:3])
SCREEN = 1000
#: The word File in the top bar, from the screen's upper left corner.
FILE = (43, 12)
#: From the upper left corner of a file dialogue: its first file, its button at the lower right.
FIRST_FILE, ACCEPT = (350, 78), (-75, -22)


def window(number=0):
    return bpy.context.window_manager.windows[number]


def point_at(x, y, of=0):
    """Move the mouse to a place of a window, from its lower left corner."""
    xdotool("mousemove", "--sync", int(window(of).x + x), int(SCREEN - window(of).y - y))


def click(x, y, of=0):
    point_at(x, y, of)
    yield from wait(2)
    xdotool("click", 1)
    yield from wait(4)


def press(*keys):
    for key in keys:
        xdotool("key", key)
        yield from wait(3)


def picture(name, of=0):
    with bpy.context.temp_override(window=window(of)):
        bpy.ops.screen.screenshot(filepath=str(FOLDER / f"import-{name}.png"))


def state():
    return bpy.context.scene.sheetstack


def install():
    assert bpy.ops.preferences.addon_install(filepath=str(ZIP), overwrite=True) == {"FINISHED"}
    assert bpy.ops.preferences.addon_enable(module="sheetstack") == {"FINISHED"}
    shutil.copy(DRAWING, Path.home())
    yield from wait()


def choose_in_the_menu():
    yield from click(FILE[0], window().height - FILE[1])
    # The letter that is underlined opens the entry; ours stands last in it.
    yield from press("i")
    picture("menu")
    yield from press("Up")
    picture("entry")
    yield from press("Return")
    yield from wait(8)
    assert len(bpy.context.window_manager.windows) == 2


def choose_the_file():
    dialogue = window(-1)
    yield from click(FIRST_FILE[0], dialogue.height - FIRST_FILE[1], -1)
    picture("dialogue", -1)
    yield from click(dialogue.width + ACCEPT[0], -ACCEPT[1], -1)
    yield from wait_for(lambda: state().collection is not None and not state().is_stale)
    yield from wait(6)
    picture("built")
    print("LAYERS", *(row.name for row in state().layers), sep="; ", flush=True)
    # Drawn in flat colours without groups: a layer for each colour.
    assert len(state().layers) >= 3
    assert len({tuple(row.colour) for row in state().layers}) >= 3


def steps():
    for part in (install, choose_in_the_menu, choose_the_file):
        print("STEP", part.__name__, flush=True)
        yield from part()


def main():
    bpy.context.preferences.view.show_splash = False
    walk(steps)


main()
