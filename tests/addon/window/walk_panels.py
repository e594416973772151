"""Run inside a Blender with a window: install the zip, open a demo, walk through every panel.

    blender --factory-startup --python walk_panels.py -- ZIP JOB FOLDER

Real clicks (xdotool) open each panel of the sidebar's tab; a screenshot of each goes to FOLDER. The
steps run in Blender's timer, one after the other, so that Blender draws between them. The last line
printed is WALKED, or FAILED with a traceback before it. Places of tabs and headers are those of
Blender 3.4 at a scale of 1.
"""

import json
import sys
from pathlib import Path

import bpy
import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
from walking import wait, wait_for, walk, xdotool

ZIP, JOB, FOLDER = (Path(a).resolve() for a in sys.argv[sys.argv.index("--") + 1 :])
#: Names of the panels that were drawn to their end.
drawn = set()
#: From the sidebar's top: the fourth tab's middle, the first header's middle, header to header.
TAB, FIRST, PITCH = 165, 16, 28
#: In the findings: from the header to the first row; from the sidebar's left to its check box.
ROW, LIST_PITCH, MEND = 36, 21, 163


def view():
    """Return window, 3D view and its sidebar."""
    window = bpy.context.window_manager.windows[0]
    area = next(a for a in window.screen.areas if a.type == "VIEW_3D")
    sidebar = next(r for r in area.regions if r.type == "UI")
    return window, area, sidebar


def in_view():
    window, area, _ = view()
    region = next(r for r in area.regions if r.type == "WINDOW")
    return bpy.context.temp_override(window=window, area=area, region=region)


def move_to(x, y):
    """Move the mouse to a place of the window, from its lower left corner."""
    xdotool("mousemove", "--sync", int(x), int(view()[0].height - y))


def click(x, y):
    move_to(x, y)
    xdotool("click", 1)


def picture(name):
    with in_view():
        bpy.ops.screen.screenshot(filepath=str(FOLDER / f"{name}.png"))
    assert (FOLDER / f"{name}.png").stat().st_size > 10_000, name


def install():
    assert bpy.ops.preferences.addon_install(filepath=str(ZIP), overwrite=True) == {"FINISHED"}
    assert bpy.ops.preferences.addon_enable(module="sheetstack") == {"FINISHED"}
    # The panels start closed and what hangs below them open: a click shows all of one.
    for cls in reversed(our_panels()):
        bpy.utils.unregister_class(cls)
    for cls in our_panels():
        cls.bl_options = set() if hasattr(cls, "bl_parent_id") else {"DEFAULT_CLOSED"}
        cls.draw = recording(cls)
        bpy.utils.register_class(cls)
    yield


def our_panels():
    """Return the add-on's panels in the order of the tab."""
    from sheetstack import addon

    return [
        cls
        for module in addon.modules()
        for cls in module.CLASSES
        if issubclass(cls, bpy.types.Panel)
    ]


def recording(cls):
    draw = cls.draw

    def recorded(self, context):
        draw(self, context)
        drawn.add(cls.__name__)

    return recorded


def open_and_build():
    # Blender's first scene is left as it is, its cube in the way of the sheets.
    assert bpy.ops.sheetstack.open_job(filepath=str(JOB)) == {"FINISHED"}
    state = bpy.context.scene.sheetstack
    _, area, _ = view()
    space = area.spaces.active
    space.show_region_ui = True
    space.overlay.show_relationship_lines = False
    yield from wait()
    with in_view():
        assert bpy.ops.sheetstack.build("INVOKE_DEFAULT") == {"RUNNING_MODAL"}
    yield from wait_for(lambda: not state.is_stale)
    assert len(state.collection.objects) == 1 + len(state.layers)
    yield from wait(4)
    picture("built")
    state.spacing_mm = 60
    _, _, sidebar = view()
    click(sidebar.x + sidebar.width - 13, sidebar.y + sidebar.height - TAB)
    yield from wait()
    assert view()[2].width < 260, "the panels are looked at in the width that Blender gives"


def walk_panels():
    roots = [cls for cls in our_panels() if not hasattr(cls, "bl_parent_id")]
    roots = [cls for cls in roots if not hasattr(cls, "poll") or cls.poll(bpy.context)]
    _, _, sidebar = view()
    x, top = sidebar.x + 100, sidebar.y + sidebar.height
    picture("0-all-closed")
    for number, cls in enumerate(roots):
        header = top - FIRST - PITCH * number
        click(x, header)
        yield from wait()
        move_to(sidebar.x - 300, 300)
        yield from wait(1)
        picture(f"{number + 1}-{cls.bl_label.lower()}")
        move_to(x, header - 100)
        for _ in range(25):
            xdotool("click", 5)
        yield from wait()
        picture(f"{number + 1}-{cls.bl_label.lower()}-end")
        for _ in range(40):
            xdotool("click", 4)
        yield from wait()
        click(x, header)
        yield from wait()
    missing = {
        cls.__name__ for cls in our_panels() if not hasattr(cls, "poll") or cls.poll(bpy.context)
    } - drawn
    assert not missing, f"never drawn: {sorted(missing)}"


def click_header(label):
    """Open or close a panel, all others being closed."""
    labels = [
        cls.bl_label
        for cls in our_panels()
        if not hasattr(cls, "bl_parent_id") and (not hasattr(cls, "poll") or cls.poll(bpy.context))
    ]
    _, _, sidebar = view()
    top = sidebar.y + sidebar.height
    click(sidebar.x + 100, top - FIRST - PITCH * labels.index(label))
    yield from wait()
    move_to(sidebar.x - 300, 300)
    yield from wait(2)


def look_at_stack():
    state = bpy.context.scene.sheetstack
    keys = [p.identifier for p in state.bl_rna.properties]
    shown = [key for key in keys if key.startswith("show_")]
    before = {key: getattr(state, key) for key in shown}
    for key in shown:
        setattr(state, key, False)
    state.spacing_mm = 110
    yield from click_header("Artwork")
    with in_view():
        bpy.ops.view3d.view_all()
        bpy.ops.view3d.zoom(delta=1)
    yield from wait(6)
    picture("stack")
    yield from click_header("Artwork")
    state.spacing_mm = 60
    for key, value in before.items():
        setattr(state, key, value)


def look_at_marks():
    state = bpy.context.scene.sheetstack
    with in_view():
        bpy.ops.view3d.view_axis(type="TOP")
    yield from wait(6)
    yield from click_header("Support")
    for number, row in enumerate(state.layers):
        state.active_layer = number
        state.layers[number].is_shown = True
        for other, shown in enumerate(state.layers):
            shown.is_shown = other == number
        with in_view():
            bpy.ops.view3d.view_all()
        yield from wait(4)
        picture(f"marks-{row.name.lower()}")
    yield from click_header("Support")
    for row in state.layers:
        row.is_shown = True
    state.show_labels = True
    state.show_all_layers = True
    yield from click_header("Findings")
    state.active_finding = 0
    yield from wait(6)
    picture("flown-to-finding")
    yield from click_header("Findings")
    state.show_labels = state.show_all_layers = False
    state.show_overlay = True
    state.overlay_first, state.overlay_second = state.layers[0].name, state.layers[1].name
    yield from click_header("Register")
    with in_view():
        bpy.ops.view3d.view_all()
    yield from wait(4)
    picture("overlay")
    yield from click_header("Register")
    state.show_overlay = False
    assert bpy.ops.sheetstack.show_painted(pixels=800) == {"FINISHED"}
    yield from click_header("Paint")
    state.active_finding = -1
    yield from wait(4)
    picture("painted")
    yield from click_header("Paint")
    state.aside = 1
    with in_view():
        bpy.ops.view3d.view_all()
    yield from wait(4)
    picture("side-by-side")
    state.aside = 0
    yield


def accept_mending():
    """A click beside a finding has its place mended, by itself where changes are followed."""
    state = bpy.context.scene.sheetstack
    yield from click_header("Findings")
    with in_view():
        bpy.ops.view3d.view_all()
    yield from wait()
    picture("findings")
    _, _, sidebar = view()
    labels = [cls.bl_label for cls in our_panels() if not hasattr(cls, "bl_parent_id")]
    y = sidebar.y + sidebar.height - FIRST - PITCH * labels.index("Findings") - ROW
    # The first that can be mended: an island let go has no box to click.
    row = next(k for k, r in enumerate(state.findings) if "neck" in r.code or "tongue" in r.code)
    y -= LIST_PITCH * row
    before = [(row.layer, tuple(row.place_mm)) for row in state.findings if "neck" in row.code
              or "tongue" in row.code]  # fmt: skip
    layer = next(row for row in state.layers if row.name == before[0][0])
    assert layer.mend_mm == "[]"
    bpy.ops.ed.undo_push(message="before mending")
    state.follow = True
    click(sidebar.x + MEND, y)
    yield from wait()
    picture("mended")
    state = bpy.context.scene.sheetstack
    layer = next(row for row in state.layers if row.name == before[0][0])
    assert layer.mend_mm != "[]", "the click put the place into the layer's list"
    yield from wait_for(lambda: not bpy.context.scene.sheetstack.is_stale)
    state = bpy.context.scene.sheetstack
    places = [(row.layer, tuple(row.place_mm)) for row in state.findings]
    assert before[0] not in places, "the place is mended"
    state.follow = False
    with in_view():
        bpy.ops.sheetstack.build("INVOKE_DEFAULT") if state.is_stale else None
    yield from click_header("Findings")


def inspect():
    """See-through sheets, labels, drift and a section."""
    state = bpy.context.scene.sheetstack
    inspection = bpy.context.scene.sheetstack_inspection
    state.show_all_layers = state.show_labels = False
    with in_view():
        assert bpy.ops.sheetstack.hide_painted() == {"FINISHED"}
    assert view()[1].spaces.active.shading.color_type == "MATERIAL"
    for row in state.layers:
        row.is_shown = True
    state.spacing_mm = 110
    with in_view():
        bpy.ops.view3d.view_axis(type="FRONT")
        bpy.ops.view3d.view_orbit(angle=0.6, type="ORBITUP")
        bpy.ops.view3d.view_orbit(angle=0.5, type="ORBITRIGHT")
        bpy.ops.view3d.view_all()
    yield from click_header("Inspection")
    assert bpy.ops.sheetstack.label_sheets() == {"FINISHED"}
    with in_view():
        bpy.ops.view3d.view_all()
    yield from wait(6)
    picture("inspection-labels")
    inspection.overlay = True
    inspection.drift, inspection.times = 1.0, 20.0
    yield from wait(6)
    picture("inspection-see-through-drift")
    inspection.overlay, inspection.drift = False, 0.0
    inspection.section_mm = 250.0
    with in_view():
        assert bpy.ops.sheetstack.section("INVOKE_DEFAULT") == {"RUNNING_MODAL"}
    yield from wait_for(lambda: any(t.name.startswith("Cut ") for t in bpy.data.objects))
    yield from wait(6)
    picture("inspection-section")
    assert bpy.ops.sheetstack.end_inspection() == {"FINISHED"}
    yield from wait(4)
    picture("inspection-ended")
    yield from click_header("Inspection")


def mock_up():
    """The client's scene, seen through its camera, and the exploded stack."""
    window = view()[0]
    mine = window.scene
    for kind, name in (("PICTURE", "Mock-up"), ("STACK", "Exploded stack")):
        with in_view():
            done = bpy.ops.sheetstack.mockup("INVOKE_DEFAULT", kind=kind)
        assert done == {"RUNNING_MODAL"}
        yield from wait_for(lambda name=name: view()[0].scene.name == name)
        yield from wait(12)
        assert view()[1].spaces.active.region_3d.view_perspective == "CAMERA"
        picture("scene-" + kind.lower())
        if kind == "PICTURE":
            scene = view()[0].scene
            scene.render.resolution_percentage, scene.cycles.samples = 20, 4
            scene.render.filepath = str(FOLDER / "rendered.png")
            assert bpy.ops.render.render(write_still=True, scene=scene.name) == {"FINISHED"}
        with in_view():
            assert bpy.ops.sheetstack.back_to_job() == {"FINISHED"}
        yield from wait(4)
        assert view()[0].scene == mine
        assert view()[1].spaces.active.shading.type == "SOLID"


def trace():
    """A live preview of a picture while a slider moves."""
    from sheetstack.addon.tracing.preview import IMAGE, live

    group = bpy.context.scene.sheetstack_tracing
    group.live = True
    group.picture = str(FOLDER / "rendered.png")
    yield from click_header("Trace a Picture")
    yield from wait_for(lambda: live.icons and IMAGE in live.icons)
    yield from wait_for(lambda: live.work is None and live.changed is None)
    yield from wait(6)
    picture("trace-live")
    told = live.told
    group.layers = 2
    yield from wait_for(lambda: live.told != told)
    yield from wait(6)
    picture("trace-live-two-layers")
    yield from click_header("Trace a Picture")
    group.live = False
    group.picture = ""


def export():
    """The folder is asked for in Blender's own dialogue; the files follow."""
    bpy.context.preferences.view.filebrowser_display_type = "SCREEN"
    folder = FOLDER / "machine"
    with in_view():
        bpy.ops.sheetstack.export_for_machine("INVOKE_DEFAULT")
    yield from wait(8)
    window = bpy.context.window_manager.windows[0]
    area = next(a for a in window.screen.areas if a.type == "FILE_BROWSER")
    with bpy.context.temp_override(window=window, area=area):
        bpy.ops.screen.screenshot(filepath=str(FOLDER / "export-dialogue.png"))
    region = next(r for r in area.regions if r.type == "WINDOW")
    with bpy.context.temp_override(window=window, area=area, region=region):
        bpy.ops.file.cancel()
    yield from wait(6)
    with in_view():
        done = bpy.ops.sheetstack.export_for_machine(
            "EXEC_DEFAULT", directory=str(folder), formats={"svg", "dxf"}
        )
    assert done == {"RUNNING_MODAL"}
    yield from wait_for(lambda: (folder / "cautions.txt").exists())
    yield from wait(4)
    assert len(list(folder.glob("*.dxf"))) >= 3
    for path in folder.iterdir():
        path.unlink()
    folder.rmdir()


def find_islands():
    sheet = bpy.data.objects["Sheet " + bpy.context.scene.sheetstack.layers[0].name]
    bpy.context.view_layer.objects.active = sheet
    sheet.select_set(True)
    with in_view():
        assert bpy.ops.sheetstack.find_islands() == {"FINISHED"}
    yield


def edit_bridges():
    """Draw a bridge with the tool, pull each handle, use the keys, undo, leave and come back."""
    from sheetstack.addon.bridges import bridge_tool, place_on_sheet

    def rows():
        return bpy.context.scene.sheetstack.bridges_by_hand

    def line():
        return json.loads(rows()[0].line_mm)

    def picked():
        return bpy.context.scene.sheetstack.picked_bridge

    state = bpy.context.scene.sheetstack
    state.active_layer = 0
    for number, row in enumerate(state.layers):
        row.is_shown = number == 0
    with in_view():
        bpy.ops.view3d.view_axis(type="TOP")
        bpy.ops.view3d.view_all()
    yield from wait(6)
    yield from click_header("Support")
    bpy.ops.ed.undo_push(message="before the tool")
    with in_view():
        assert bpy.ops.sheetstack.edit_bridges() == {"FINISHED"}
    yield from wait()
    yield from drag(*on_sheet(20, 20), *on_sheet(70, 20))
    assert len(rows()) == 1, len(rows())
    drawn = line()
    x, y = handle("end")
    yield from drag(x, y, x + 60, y + 30)
    pulled = line()
    assert len(rows()) == 1
    assert pulled[0] == drawn[0]
    assert pulled[1] != drawn[1]
    x, y = handle("middle")
    yield from drag(x, y, x, y + 40)
    assert line()[0] != pulled[0]
    x, y = handle("width")
    yield from drag(x, y, x, y + 20)
    assert rows()[0].use_width_mm, "the handle widens"
    wide = rows()[0].width_mm
    picture("bridge-tool")
    move_to(*on_sheet(100, 60))
    xdotool("key", "minus")
    yield from wait()
    assert abs(rows()[0].width_mm - (wide - bridge_tool.STEP)) < 1e-4
    xdotool("key", "x")
    yield from wait()
    assert rows()[0].state == "forbidden"
    xdotool("key", "ctrl+z")
    yield from wait()
    assert rows()[0].state == "locked"
    with in_view():
        found = place_on_sheet.editable_bridges(bpy.context)
    automatic = next(bridge for bridge in found if not bridge.state)
    ends = automatic.line_mm
    click(*on_sheet((ends[0][0] + ends[-1][0]) / 2, (ends[0][1] + ends[-1][1]) / 2))
    yield from wait()
    assert picked() == automatic.id
    # Another workspace, and the view alone on the screen: the tool neither fails nor sticks.
    window = view()[0]
    here = window.workspace
    window.workspace = bpy.data.workspaces["Scripting"]
    yield from wait(6)
    window.workspace = here
    yield from wait(6)
    move_to(*on_sheet(60, 60))
    xdotool("key", "ctrl+space")
    yield from wait(6)
    picture("bridge-tool-maximised")
    xdotool("key", "ctrl+space")
    yield from wait(6)
    yield from drag(*on_sheet(20, 40), *on_sheet(60, 40))
    assert len(rows()) == 2
    for left in (1, 0):
        xdotool("key", "Delete")
        yield from wait()
        assert len(rows()) == left
        click(*on_sheet(*([sum(c) / 2 for c in zip(*line(), strict=True)] if left else (90, 90))))
        yield from wait()
    yield from pull_places()
    with in_view():
        assert bpy.ops.sheetstack.edit_bridges() == {"FINISHED"}
        assert not bridge_tool.tool_is_on(bpy.context)
    yield from click_header("Support")


def pull_places():
    """Pull the handles of a box that bridges keep out of, and of a hole; undo the last pull."""
    from sheetstack.addon.core.list_rows import list_value, put_list

    state = bpy.context.scene.sheetstack

    def box():
        return list_value(state.bridges, "keep_free_mm")[0]

    def holes():
        return list_value(state.registration, "holes_mm")

    before = list_value(state.bridges, "keep_free_mm"), holes()
    put_list(state.bridges, "keep_free_mm", [[20.0, 20.0, 30.0, 25.0]])
    put_list(state.registration, "holes_mm", [[90.0, 30.0], [90.0, 120.0]])
    bpy.ops.ed.undo_push(message="before the places are pulled")
    yield from wait(4)
    picture("places")
    yield from drag(*on_sheet(50, 45), *on_sheet(60, 52))
    assert np.allclose(box(), (20, 20, 40, 32), atol=2), box()
    yield from drag(*on_sheet(20, 20), *on_sheet(26, 24))
    assert np.allclose(box(), (26, 24, 34, 28), atol=2), box()
    yield from drag(*on_sheet(43, 38), *on_sheet(53, 58))
    assert np.allclose(box(), (36, 44, 34, 28), atol=2), box()
    yield from drag(*on_sheet(90, 30), *on_sheet(80, 40))
    assert np.allclose(holes(), [(80, 40), (90, 120)], atol=2), holes()
    picture("places-pulled")
    xdotool("key", "ctrl+z")
    yield from wait()
    state = bpy.context.scene.sheetstack
    assert np.allclose(holes(), [(90, 30), (90, 120)], atol=0.01), holes()
    assert len(state.bridges_by_hand) == 0, "no bridge was drawn by pulling a place"
    put_list(state.bridges, "keep_free_mm", before[0])
    put_list(state.registration, "holes_mm", before[1])
    yield from wait()


def on_sheet(x_mm, y_mm):
    """Return the pixel of the window at which a place of the edited sheet is seen."""
    from bpy_extras.view3d_utils import location_3d_to_region_2d

    from sheetstack.addon.bridges.place_on_sheet import edited_sheet, scene_place

    with in_view():
        context = bpy.context
        place = scene_place(edited_sheet(context), (x_mm, y_mm))
        seen = location_3d_to_region_2d(context.region, context.region_data, place)
        return context.region.x + seen.x, context.region.y + seen.y


def handle(part):
    """Return the pixel of the window at which a handle of the picked bridge is seen."""
    from sheetstack.addon.bridges import handles
    from sheetstack.addon.bridges.place_on_sheet import edited_sheet, picked_bridge

    with in_view():
        context = bpy.context
        places = handles.handle_places(context, edited_sheet(context), picked_bridge(context))
        return on_sheet(*places[part])


def drag(x0, y0, x1, y1):
    move_to(x0, y0)
    yield from wait(2)
    xdotool("mousedown", 1)
    yield from wait(1)
    move_to((x0 + x1) / 2, (y0 + y1) / 2)
    yield from wait(1)
    move_to(x1, y1)
    yield from wait(2)
    xdotool("mouseup", 1)
    yield from wait(2)


def stop_a_build():
    """Esc during a build leaves the scene as it was."""
    from sheetstack.addon.core import long_work

    state = bpy.context.scene.sheetstack
    before = [(o.name, tuple(o.location)) for o in bpy.context.scene.objects]
    state.sheet.margin_mm += 0.5
    state.bridges.choice = "least-visible"
    with in_view():
        assert bpy.ops.sheetstack.build("INVOKE_DEFAULT") == {"RUNNING_MODAL"}
    move_to(600, 500)
    xdotool("key", "Escape")
    yield from wait_for(lambda: long_work.running() is None)
    assert [(o.name, tuple(o.location)) for o in bpy.context.scene.objects] == before
    assert bpy.context.scene.sheetstack.is_stale


def follow_a_change():
    """With "Follow changes" a new thickness is built by itself."""
    state = bpy.context.scene.sheetstack
    state.follow = True
    state.sheet.thickness_mm = 2.0
    name = "Sheet " + state.layers[0].name
    yield from wait_for(lambda: abs(bpy.data.objects[name].dimensions.z - 0.002) < 1e-6)
    bpy.context.scene.sheetstack.follow = False
    yield


def enable_again():
    assert bpy.ops.preferences.addon_disable(module="sheetstack") == {"FINISHED"}
    assert not [n for n in dir(bpy.types) if "SHEETSTACK" in n]
    yield from wait()
    assert bpy.ops.preferences.addon_enable(module="sheetstack") == {"FINISHED"}
    assert len(bpy.context.scene.sheetstack.layers) > 0, "the job outlives a new enabling"
    bpy.ops.wm.save_as_mainfile(filepath=str(FOLDER / "walked.blend"))
    bpy.ops.wm.read_factory_settings()
    yield from wait()
    bpy.ops.preferences.addon_enable(module="sheetstack")
    bpy.ops.wm.open_mainfile(filepath=str(FOLDER / "walked.blend"))
    yield from wait()
    assert len(bpy.context.scene.sheetstack.layers) > 0, "the job is saved in the .blend"
    (FOLDER / "walked.blend").unlink()


def steps():
    """Do one thing after the other; each yield lets Blender draw."""
    for part in (
        install,
        open_and_build,
        walk_panels,
        look_at_stack,
        look_at_marks,
        accept_mending,
        inspect,
        mock_up,
        trace,
        export,
        find_islands,
        edit_bridges,
        stop_a_build,
        follow_a_change,
        enable_again,
    ):
        print("STEP", part.__name__, flush=True)
        yield from part()


def main():
    FOLDER.mkdir(parents=True, exist_ok=True)
    bpy.context.preferences.view.show_splash = False
    bpy.context.preferences.view.smooth_view = 0
    walk(steps)


main()
