"""What the walks through a real window share: the mouse and keys that xdotool sends, and the way.

Blender runs the walks as scripts and no modules of a package: each puts this folder on its path.
"""

import subprocess
import time
import traceback
from contextlib import ExitStack

import bpy
import numpy as np

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


def watch():
    """Begin to look how often the window answers; what is returned ends it and gives the gaps."""
    ticks = [time.perf_counter()]

    def tick():
        ticks.append(time.perf_counter())
        return 0.005

    def silences():
        ticks.append(time.perf_counter())
        bpy.app.timers.unregister(tick)
        return sorted(np.diff(ticks).round(3).tolist())[-5:]

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
