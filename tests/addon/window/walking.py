"""What the walks through a real window share: the mouse and keys that xdotool sends, and the way.

Blender runs the walks as scripts and no modules of a package: each puts this folder on its path.
"""

import subprocess
import traceback
from contextlib import ExitStack

import bpy

#: Seconds between two steps, and steps to wait for long work.
PAUSE, PATIENCE = 0.3, 1500


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
