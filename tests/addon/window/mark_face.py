"""Run inside a Blender with a window: a portrait's marks, by mouse and keyboard only.

    blender --factory-startup --python mark_face.py -- ZIP PICTURE FOLDER

The picture is typed in, shown with its marks, given a face by two clicks, one mark of which is
dragged, and a rough outline; the preview follows a slider; then it is traced at full size, once
stopped by Esc and once to the end, and the sheets are built over the picture. Nothing but clicks,
drags and keys that xdotool sends changes anything; a screenshot of each step goes to FOLDER. How
long the window does not answer while a preview or the picture is drawn is measured by a timer, and
printed. Places are those of Blender 3.4, scale 1.
"""

import shutil
import sys
import time
from pathlib import Path

import bpy
import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
from walking import (
    click,
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

ZIP, PICTURE, FOLDER = (Path(a).resolve() for a in sys.argv[sys.argv.index("--") + 1 :][:3])
#: Pixels from the sidebar's top: the fourth tab, the headers of the panels.
TAB, PATH, SHOW, DETAIL, PREVIEW, TRACE, FACES = 165, 70, 97, 146, 523, 552, 590
#: In the picture's pixels: its pupils, and a way round the person.
PUPILS = np.array([(134.0, 190.0), (226.0, 190.0)])
ROUND = ((60, 80), (180, 20), (300, 80), (300, 280), (310, 380), (356, 436), (4, 436), (50, 380))


def from_top(x, down):
    """Return a place of the sidebar, from its upper left corner."""
    _, sidebar, _ = view()
    return sidebar.x + x, sidebar.y + sidebar.height - down


def picture(name):
    screenshot(FOLDER / f"face-{name}.png")


def install():
    enable(ZIP)
    shutil.copy(PICTURE, Path.home())
    yield from wait()


def open_panel():
    _, _, region = view()
    point_at(region.x + 0.4 * region.width, region.y + 0.8 * region.height)
    yield from wait(2)
    xdotool("key", "n")
    yield from wait(4)
    _, sidebar, _ = view()
    yield from click(sidebar.x + sidebar.width - 13, sidebar.y + sidebar.height - TAB)
    yield from click(*from_top(50, 16))  # shuts what is above
    yield from click(*from_top(50, 44))
    picture("1-tab")


def type_picture():
    point_at(*from_top(125, PATH))
    yield from wait(2)
    xdotool("click", "--repeat", 2, "--delay", 60, 1)
    yield from wait(3)
    xdotool("type", "--delay", 15, str(Path.home() / PICTURE.name))
    xdotool("key", "Return")
    yield from wait(8)
    picture("2-typed")


def show_picture():
    yield from click(*from_top(90, SHOW))
    yield from wait_for(lambda: scene().sheetstack_tracing.show_marks)
    yield from wait(4)
    yield from click(*from_top(50, FACES))
    yield from wait(4)
    picture("3-shown")


def add_face():
    """Two clicks, a little off: the marks are dragged into place after."""
    yield from click(*from_top(90, FACES + 52))
    for place in (PUPILS[0] + (3, 2), PUPILS[1]):
        yield from click(*seen(place))
    yield from wait(4)
    (face,) = known().faces
    assert np.hypot(*(face["left_iris"][0] - PUPILS[1])) < 2
    picture("4-face")


def drag_marks():
    """A pupil by its handle, and the chin, as far as it was too short."""
    (face,) = known().faces
    yield from drag(seen(face["right_iris"][0]), seen(PUPILS[0]))
    assert np.hypot(*(known().faces[0]["right_iris"][0] - PUPILS[0])) < 1.5
    chin = known().faces[0]["chin"][2]
    yield from drag(seen(chin), seen(chin + (0, 12)), "5-dragging")
    assert abs(known().faces[0]["chin"][2][1] - chin[1] - 12) < 1.5
    point_at(*seen((300, 20)))
    yield from wait(4)
    xdotool("key", "ctrl+z")
    yield from wait(4)
    assert abs(known().faces[0]["chin"][2][1] - chin[1]) < 0.5
    picture("5-dragged")


def draw_outline():
    yield from click(*from_top(70, FACES + 75 + 24))
    ring = [seen(place) for place in ROUND]
    point_at(*ring[0])
    yield from wait(2)
    xdotool("mousedown", 1)
    yield from wait(2)
    for place in ring[1:]:
        point_at(*place)
        yield from wait(1)
    xdotool("mouseup", 1)
    yield from wait(4)
    assert len(known().rough) == 1
    assert len(known().rough[0]) >= len(ROUND)
    picture("6-outline")


def follow_a_slider():
    """The preview is drawn anew, and the window answers meanwhile."""
    from sheetstack.addon.tracing.preview import live

    yield from wait_for(lambda: live.work is None and live.changed is None)
    before = live.cache.done
    x, y = from_top(100, DETAIL)
    yield from drag((x, y), (x + 18, y))
    yield from wait_for(lambda: live.cache.done > before and live.work is None)
    yield from wait(4)
    # All of it once more; this walk does nothing meanwhile that could be taken for it.
    live.cache.clear()
    before = live.cache.done
    point_at(*from_top(130, PREVIEW))
    yield from wait(3)
    xdotool("click", 1)
    silences = watch()
    yield from wait_for(lambda: live.cache.done > before and live.work is None)
    print("PREVIEW the longest silences of the window in s:", silences(), flush=True)
    silences = watch()
    for _ in range(10):
        view()[0].tag_redraw()
        yield from wait(1)
    print("PREVIEW the same while it is only drawn anew:", silences(), flush=True)
    picture("7-slider")


def stop_tracing():
    """Esc ends a tracing before it has written anything."""
    from sheetstack.addon.core.long_work import running

    yield from click(*from_top(90, TRACE))
    yield from wait_for(running)
    yield from wait(3)
    picture("8-tracing")
    began = time.perf_counter()
    ended = []

    def over():
        if running() is not None:
            return 0.005
        ended.append(time.perf_counter() - began)
        return None

    bpy.app.timers.register(over)
    xdotool("key", "Escape")
    yield from wait_for(lambda: ended)
    print(f"TRACING was left {ended[0]:.3f} s after Esc", flush=True)
    point_at(*seen((300, 20)))  # a button stays grey, whatever it may do, until the mouse leaves it
    yield from wait(20)  # what the thread still does
    assert not scene().sheetstack.layers
    assert not (Path.home() / f"{PICTURE.stem}-layers").exists()
    picture("8-stopped")


def trace():
    silences = watch()
    yield from click(*from_top(90, TRACE))
    yield from wait_for(lambda: len(scene().sheetstack.layers) > 1)
    yield from wait(6)
    print("TRACING the longest silences of the window in s:", silences(), flush=True)
    picture("9-traced")
    assert (Path.home() / f"{PICTURE.stem}-layers" / "marks.toml").exists()
    _, _, region = view()
    point_at(region.x + 0.2 * region.width, region.y + 0.8 * region.height)
    yield from wait(2)
    xdotool("key", "ctrl+alt+m")
    yield from wait_for(lambda: scene().sheetstack.collection is not None)
    yield from wait_for(lambda: not scene().sheetstack.is_stale)
    yield from wait(6)
    picture("9-built")


def scene():
    return bpy.context.scene


def known():
    from sheetstack.addon.tracing.known_marks import known_of

    return known_of(scene())


def seen(place):
    """Return the pixel of the window at which a point of the picture is seen."""
    from sheetstack.addon.tracing.picture_under import picture_object, places_seen

    area, _, region = view()
    with bpy.context.temp_override(window=window(), area=area, region=region):
        (at,) = places_seen(bpy.context, picture_object(scene()), np.array([place], float))
    return region.x + at[0], region.y + at[1]


def drag(start, end, name=""):
    start, end = np.array(start), np.array(end)
    point_at(*start)
    yield from wait(3)
    xdotool("mousedown", 1)
    yield from wait(1)
    for share in (0.2, 0.4, 0.6, 0.8, 1.0):
        point_at(*(start + share * (end - start)))
        yield from wait(1)
    if name:
        picture(name)
    xdotool("mouseup", 1)
    yield from wait(3)


follow(
    install,
    open_panel,
    type_picture,
    show_picture,
    add_face,
    drag_marks,
    draw_outline,
    follow_a_slider,
    stop_tracing,
    trace,
)
