"""What the walks through a real window share: the mouse and keys that xdotool sends, and the way.

Blender runs the walks as scripts and no modules of a package: each puts this folder on its path.
"""

import subprocess
import time
import traceback
from contextlib import ExitStack, nullcontext

import bpy
import numpy as np

#: Seconds between two steps, and steps to wait for long work.
PAUSE, PATIENCE = 0.3, 1500
#: Height of the screen in pixels.
SCREEN = 1000
#: From the upper left corner of a file dialogue: its first file; from its lower right: its button.
FIRST_FILE, ACCEPT = (350, 78), (-75, -22)


def xdotool(*words):
    subprocess.run(["xdotool", *map(str, words)], check=True, timeout=20)


def wait(steps=3):
    for _ in range(steps):
        yield


def wait_for(condition):
    for _ in range(PATIENCE):
        yield
        if condition():
            return
    raise AssertionError("waited in vain")


def window(number=0):
    return bpy.context.window_manager.windows[number]


def view():
    """Return the main window's 3D view, its sidebar and its own region."""
    area = next(a for a in window().screen.areas if a.type == "VIEW_3D")
    by_type = {r.type: r for r in area.regions}
    return area, by_type["UI"], by_type["WINDOW"]


def point_at(x, y, of=0):
    """Move the mouse to a place of a window, from its lower left corner."""
    xdotool("mousemove", round(window(of).x + x), round(SCREEN - window(of).y - y))


def click(x, y, of=0):
    point_at(x, y, of)
    yield from wait(2)
    xdotool("click", 1)
    yield from wait(3)


def choose_first_file(seen=lambda: None):
    """Click the first file of the dialogue, a window of its own, and its button; look between."""
    dialogue = window(-1)
    yield from click(FIRST_FILE[0], dialogue.height - FIRST_FILE[1], -1)
    seen()
    yield from click(dialogue.width + ACCEPT[0], -ACCEPT[1], -1)


def screenshot(path, of=0):
    # No override for a window by itself: Blender 3.4 looks an override up without Python's lock,
    # and crashes now and then where our thread is at work.
    several = len(bpy.context.window_manager.windows) > 1
    with bpy.context.temp_override(window=window(of)) if several else nullcontext():
        bpy.ops.screen.screenshot(filepath=str(path))


def enable(archive):
    """Install the add-on from its zip and switch it on."""
    assert bpy.ops.preferences.addon_install(filepath=str(archive), overwrite=True) == {"FINISHED"}
    assert bpy.ops.preferences.addon_enable(module="sheetstack") == {"FINISHED"}


def follow(*parts):
    """Walk through parts, one after the other, from Blender's first scene."""

    def steps():
        for part in parts:
            print("STEP", part.__name__, flush=True)
            yield from part()

    bpy.context.preferences.view.show_splash = False
    walk(steps)


def watch():
    """Begin to look how often the window answers; what is returned ends it and gives the gaps.

    Of the longest ones, in seconds, and of each the processor time of the window's own thread: the
    rest of a gap was waited for, for the drawing in software or on a machine that is busy.
    """
    ticks = [(time.perf_counter(), time.thread_time())]

    def tick():
        ticks.append((time.perf_counter(), time.thread_time()))
        return 0.005

    def silences():
        ticks.append((time.perf_counter(), time.thread_time()))
        bpy.app.timers.unregister(tick)
        gaps = sorted(np.diff(ticks, axis=0).tolist())[-5:]
        return ", ".join(f"{gap:.3f} ({own:.3f})" for gap, own in gaps)

    bpy.app.timers.register(tick)
    return silences


def walk(steps):
    """Do one step after the other, each yield letting Blender draw; then end Blender.

    The last line printed is WALKED, or FAILED with a traceback before it.
    """
    going = steps()

    def failed(kind, error, trace):
        """Tell what has ended the walk, and Blender, which would wait for ever otherwise."""
        if kind is not None:
            traceback.print_exception(kind, error, trace)
            print("FAILED", flush=True)
            bpy.ops.wm.quit_blender()

    def step():
        with ExitStack() as ending:
            ending.push(failed)
            if next(going, going) is not going:
                return PAUSE
        print("WALKED", flush=True)
        bpy.ops.wm.quit_blender()
        return None

    bpy.app.timers.register(step, first_interval=1.0, persistent=True)
