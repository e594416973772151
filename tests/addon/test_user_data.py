"""The user's own things outlive every operator, whatever they are called, and disabling."""

import numpy as np
import pytest

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")

from sheetstack import addon  # noqa: E402
from sheetstack.addon.core.ownership import TAG, is_made, is_own  # noqa: E402
from sheetstack.addon.sheets.sheet_object import sheets_of  # noqa: E402

STORES = [
    "actions",
    "cameras",
    "collections",
    "curves",
    "images",
    "lights",
    "materials",
    "meshes",
    "objects",
    "scenes",
    "texts",
    "worlds",
]
#: Names that the add-on gives to what it makes.
NAMES = [
    "Sheets",
    "Stack",
    "Sheet Base",
    "Sheet Light",
    "Painted picture",
    "Sheet labels",
    "Label Base",
    "Sheet section",
    "Section cut",
    "Mock-up",
    "Mock-up brick",
    "Exploded stack",
    "Wall",
    "Camera",
    "Tracing preview",
    "Picture on wall",
    "Base.svg",
]


@pytest.fixture
def full(opened):
    """A scene full of the user's own things, most of them used by nothing."""
    for name in NAMES:
        mesh = bpy.data.meshes.new(name)
        mesh.from_pydata([(0, 0, 0), (1, 0, 0), (0, 1, 0)], [], [(0, 1, 2)])
        lamp = bpy.data.objects.new(f"{name} lamp", bpy.data.lights.new(name, "SUN"))
        thing = bpy.data.objects.new(name, mesh)
        held = bpy.data.collections.new(name)
        opened.collection.children.link(held)
        held.objects.link(thing)
        held.objects.link(lamp)
        loose = bpy.data.objects.new(f"{name} loose", bpy.data.cameras.new(name))
        loose.location = (1, 2, 3)
        mesh.materials.append(bpy.data.materials.new(name))
        bpy.data.materials.new(f"{name} unused").diffuse_color = (0.1, 0.2, 0.3, 1)
        image = bpy.data.images.new(name, 4, 4)
        image.pixels[:] = np.linspace(0, 1, 64)
        bpy.data.actions.new(name)
        bpy.data.worlds.new(name)
        bpy.data.texts.new(name).write("mine")
        scene = bpy.data.scenes.new(name)
        scene.collection.objects.link(thing)
        scene.world = bpy.data.worlds[name]
        thing.keyframe_insert("location", frame=3)
    wall = bpy.data.objects["Wall"]
    bpy.context.view_layer.objects.active = wall
    return opened


def values_of(block):
    """Plain values and names of what a block points at, down one level of collections."""
    found = {"tag": TAG in block}
    for prop in block.bl_rna.properties:
        name = prop.identifier
        if name.startswith("sheetstack") or name in UNSTABLE:
            continue
        value = getattr(block, name)
        if prop.type == "POINTER":
            found[name] = getattr(value, "name_full", type(value).__name__)
        elif prop.type == "COLLECTION":
            # Flags of selection are attributes of a mesh that come and go.
            names = [getattr(item, "name", str(type(item))) for item in value]
            found[name] = sorted(n for n in names if not n.startswith(".select"))
        elif getattr(prop, "is_array", False):
            found[name] = np.array(value, float).round(5).tolist()
        else:
            found[name] = value
    if isinstance(block, bpy.types.Image):
        found["pixels"] = list(block.pixels)
    return found


#: What Blender itself changes while it evaluates or that is not the user's.
UNSTABLE = {
    "is_updated",
    "is_updated_data",
    "is_evaluated",
    "select",
    "rna_type",
    "users",
    "session_uid",
    "bindcode",
    "is_dirty",
    "is_modified",
    "current_character",
    "animation_data",
}


def snapshot():
    """All data-blocks that are not the add-on's, as plain values, by the address of each."""
    own = {
        block.as_pointer() for scene in bpy.data.scenes for block in bpy.data.objects
        if is_made(scene, block)
    }  # fmt: skip
    found = {}
    for store in STORES:
        for block in getattr(bpy.data, store):
            if not is_own(block) and block.as_pointer() not in own:
                found[store, block.name_full] = values_of(block)
    return found


def compared(before, asked_for=frozenset()):
    """Assert that all that was there is there, and the same but for what was asked for."""
    after = snapshot()
    gone = set(before) - set(after)
    assert not gone
    for key, values in before.items():
        new = after[key]
        changed = {name: (values[name], new[name]) for name in values if values[name] != new[name]}
        if key == ("scenes", bpy.context.scene.name) or key[1] == "Scene":
            # The job's own collection is linked into the job's scene.
            changed = {
                k: v for k, v in changed.items() if k not in {"objects", "collection", *asked_for}
            }
        if key[0] in ("objects", "scenes"):
            changed.pop("children", None)
            changed.pop("children_recursive", None)
        assert not changed, key


OPERATORS = [
    ("build", {}),
    ("show_painted", {"pixels": 64}),
    ("label_sheets", {}),
    ("section", {}),
    ("animate_drift", {"frames": 300}),
    ("end_inspection", {}),
    ("mockup", {"kind": "PICTURE", "go_there": False}),
    ("picture_on_face", {}),
    ("find_islands", {"enter_edit_mode": False}),
    ("add_layer", {}),
    ("duplicate_layer", {}),
    ("move_layer", {"direction": "UP"}),
    ("remove_layer", {}),
    ("remove_layer", {}),
    ("own_material", {}),
    ("remove_own_material", {}),
    ("artwork_from_objects", {}),
    ("places_from_selected", {"target": "KEEP_FREE"}),
]


def test_the_users_things_outlive_every_operator_twice_and_disabling(full, tmp_path):
    bpy.data.objects["Wall"].select_set(True)
    before = snapshot()
    assert len(before) > 10 * len(NAMES)
    for _ in range(2):
        for name, options in OPERATORS:
            operator = getattr(bpy.ops.sheetstack, name)
            assert operator.poll(), name
            assert operator(**options) == {"FINISHED"}, name
            # The animation of 300 frames is seen whole until inspection ends.
            compared(before, {"frame_end"} if name == "animate_drift" else set())
        assert bpy.ops.sheetstack.mockup(kind="STACK", frames=12, go_there=False) == {"FINISHED"}
        assert bpy.ops.sheetstack.save_job(filepath=str(tmp_path / "again.toml")) == {"FINISHED"}
        assert bpy.ops.sheetstack.export_stl(directory=str(tmp_path)) == {"FINISHED"}
        compared(before)
    addon.unregister()
    missing = set(before) - {
        (store, block.name_full) for store in STORES for block in getattr(bpy.data, store)
    }
    addon.register()
    assert not missing


def test_a_second_mock_up_takes_the_place_of_the_first_and_leaves_what_the_user_added(built):
    for _ in range(2):
        assert bpy.ops.sheetstack.mockup(kind="PICTURE", go_there=False) == {"FINISHED"}
        scene = built.sheetstack.picture_scene
        if "My pot" not in bpy.data.objects:
            scene.collection.objects.link(bpy.data.objects.new("My pot", None))
            scene.camera = bpy.data.objects.new("My view", bpy.data.cameras.new("My view"))
            scene.world = bpy.data.worlds.new("My sky")
    assert len(bpy.data.scenes) == 2
    assert "My pot" in scene.objects
    assert scene.camera.name == "My view"
    assert scene.world.name == "My sky"
    assert len([t for t in scene.objects if t.name.startswith("Wall")]) == 1
    assert not [m for m in bpy.data.materials if m.users == 0]
    assert not [m for m in bpy.data.meshes if m.users == 0]
    # The first sky, which the user's took the place of, is not saved; there is no second.
    assert len([w for w in bpy.data.worlds if is_own(w)]) == 1


def test_a_copy_of_a_sheet_is_the_users_own(built):
    sheet = sheets_of(built)["Base"]
    copy = sheet.copy()
    copy.data = sheet.data.copy()
    copy.location = (7, 8, 9)
    copy.name = "A Base of mine"
    built.sheetstack.collection.objects.link(copy)
    corners = len(copy.data.vertices)
    built.sheetstack.sheet.thickness_mm = 1.0
    assert bpy.ops.sheetstack.build() == {"FINISHED"}
    assert sheets_of(built)["Base"] == sheet
    assert len(copy.data.vertices) == corners
    assert tuple(copy.location) == (7, 8, 9)
    assert copy.dimensions.z == pytest.approx(0.0033)


def test_deleted_sheets_and_a_deleted_stack_come_back_once(built):
    state = built.sheetstack
    bpy.ops.object.select_all(action="DESELECT")
    sheets_of(built)["Light"].select_set(True)
    next(t for t in built.objects if t.name == "Stack").select_set(True)
    bpy.ops.object.delete()
    assert list(sheets_of(built)) == ["Base"]
    assert bpy.ops.sheetstack.build() == {"FINISHED"}
    assert list(sheets_of(built)) == ["Base", "Light"]
    assert {t.parent.name for t in sheets_of(built).values()} == {"Stack"}
    assert sorted(t.name for t in bpy.data.objects) == ["Sheet Base", "Sheet Light", "Stack"]
    assert len(state.made) == 3


def test_ending_inspection_gives_back_what_it_found(built):
    base, light = sheets_of(built).values()
    base.keyframe_insert("location", frame=5)
    action = base.animation_data.action
    base.delta_location = (0.5, 0, 0)
    light.hide_viewport = True
    base.color[3] = 0.9
    built.frame_end = 50
    inspection = built.sheetstack_inspection
    inspection.overlay = True
    inspection.drift = 0.7
    for name in ("animate_drift", "animate_drift", "label_sheets", "section"):
        assert getattr(bpy.ops.sheetstack, name)() == {"FINISHED"}
    assert built.frame_end == 96
    assert base.hide_viewport
    assert base.animation_data.action != action
    assert bpy.ops.sheetstack.end_inspection() == {"FINISHED"}
    assert base.animation_data.action == action
    assert light.animation_data is None
    assert not base.hide_viewport
    assert light.hide_viewport
    assert tuple(base.delta_location) == (0.5, 0, 0)
    assert tuple(light.delta_location) == (0, 0, 0)
    assert base.color[3] == pytest.approx(0.9)
    assert built.frame_end == 50
    assert [a.name for a in bpy.data.actions] == [action.name]
    assert not [t for t in bpy.data.objects if t.type in ("FONT", "CURVE")]


def test_a_kept_copy_does_not_take_the_place_of_another_files(built, tmp_path):
    """Two layers of one drawing share a copy; one that goes to another drawing gets its own."""
    rows = built.sheetstack.layers
    first = rows[0].artwork
    rows[1].artwork = first
    rows[1].kept = rows[0].kept
    other = tmp_path / "other.svg"
    text = (tmp_path / "job" / "Light.svg").read_text()
    other.write_text(text)
    rows[0].artwork = str(other)
    assert bpy.ops.sheetstack.build() == {"FINISHED"}
    assert rows[0].kept != rows[1].kept
    assert rows[0].kept.as_string() == text
    assert "evenodd" in rows[1].kept.as_string()
