"""What the walks through a real window share: the mouse and keys that xdotool sends, and the way.

Blender runs the walks as scripts and no modules of a package: each puts this folder on its path.
"""

import subprocess
import time
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


class Gaps:
    """How long the window did nothing else: the longest time between two looks of a timer."""

    LOOK = 0.01

    def __init__(self):
        self.longest, self.last = 0.0, time.monotonic()
        bpy.app.timers.register(self.look, first_interval=self.LOOK, persistent=True)

    def look(self):
        now = time.monotonic()
        self.longest, self.last = max(self.longest, now - self.last), now
        return self.LOOK

    def told(self, what):
        """Print the longest gap since the last call; how long it is hangs on the machine."""
        print(f"GAP {what}: {self.longest:.3f} s", flush=True)
        self.longest = 0.0


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
