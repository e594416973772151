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
from walking import (
    choose_first_file,
    click,
    enable,
    follow,
    screenshot,
    wait,
    wait_for,
    window,
    xdotool,
)

ZIP, DRAWING, FOLDER = (Path(a).resolve() for a in sys.argv[sys.argv.index("--") + 1 :][:3])
#: The word File in the top bar, from the screen's upper left corner.
FILE = (43, 12)


def press(*keys):
    for key in keys:
        xdotool("key", key)
        yield from wait(3)


def picture(name, of=0):
    screenshot(FOLDER / f"import-{name}.png", of)


def state():
    return bpy.context.scene.sheetstack


def install():
    enable(ZIP)
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
    yield from choose_first_file(lambda: picture("dialogue", -1))
    yield from wait_for(lambda: state().collection is not None and not state().is_stale)
    yield from wait(6)
    picture("built")
    print("LAYERS", *(row.name for row in state().layers), sep="; ", flush=True)
    # Drawn in flat colours without groups: a layer for each colour.
    assert len(state().layers) >= 3
    assert len({tuple(row.colour) for row in state().layers}) >= 3


follow(install, choose_in_the_menu, choose_the_file)
