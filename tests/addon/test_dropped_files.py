"""Files dropped on a view: Blender calls a FileHandler's import operator with the path."""

import io

import pytest
from PIL import Image

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")

if not hasattr(bpy.types, "FileHandler"):
    pytest.skip("files are dropped in Blender 4.1 and newer", allow_module_level=True)


#: A picture may be a mask or a photo of the wall: Blender asks which.
PHOTO = "SHEETSTACK_FH_wall_photo"


def jpeg() -> bytes:
    file = io.BytesIO()
    Image.new("RGB", (64, 48), "#808080").save(file, "JPEG")
    return file.getvalue()


def handlers():
    return [
        cls
        for cls in bpy.types.FileHandler.__subclasses__()
        if cls.bl_idname.startswith("SHEETSTACK_FH_") and hasattr(cls, "bl_rna")
    ]


def drop(handler, path):
    """Do as Blender does: the operator's filepath is set, then it is invoked.

    From Blender's manual of its Python interface (bpy.types.FileHandler): operators need the
    property ``filepath`` for one file, and are invoked when a file is dropped.
    """
    group, name = handler.bl_import_operator.split(".")
    operator = getattr(getattr(bpy.ops, group), name)
    assert "filepath" in operator.get_rna_type().properties
    return operator("INVOKE_DEFAULT", filepath=str(path))


def handler_for(ending):
    return next(
        cls for cls in {c.bl_idname: c for c in handlers()}.values()
        if ending in cls.bl_file_extensions.split(";") and cls.bl_idname != PHOTO
    )  # fmt: skip


def test_a_dropped_job_is_opened(blender, job_path):
    assert drop(handler_for(".toml"), job_path) == {"FINISHED"}
    assert [row.name for row in blender.context.scene.sheetstack.layers] == ["Base", "Light"]


@pytest.mark.parametrize("ending", [".png", ".jpg", ".jpeg"])
def test_a_dropped_mask_becomes_a_layer(opened, tmp_path, ending):
    path = tmp_path / f"leaf{ending}"
    path.write_bytes(b"")  # read only when the sheets are built
    assert drop(handler_for(ending), path) == {"FINISHED"}
    row = opened.sheetstack.layers[-1]
    assert (row.name, row.artwork) == ("leaf", str(path))


def test_a_dropped_drawing_becomes_a_layer_for_each_of_its_groups(blender, tmp_path):
    path = tmp_path / "leaf.svg"
    path.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="80mm" height="80mm" viewBox="0 0 80 80">'
        '<g id="a"><path d="M9 9h9v9z"/></g><g id="b"><path d="M5 5h9v9z"/></g></svg>'
    )
    assert drop(handler_for(".svg"), path) == {"FINISHED"}
    assert [row.name for row in blender.context.scene.sheetstack.layers] == ["a", "b"]
    assert handler_for(".dxf") is handler_for(".svg")


def test_a_dropped_photo_becomes_a_scene_on_it(opened, tmp_path):
    path = tmp_path / "wall.jpg"
    path.write_bytes(jpeg())
    handler = next(c for c in handlers() if c.bl_idname == PHOTO)
    assert drop(handler, path) == {"FINISHED"}
    scene = next(s for s in bpy.data.scenes if s.name.startswith("Photo of the wall"))
    assert scene.sheetstack.home is opened
    assert (scene.render.resolution_x, scene.render.resolution_y) == (64, 48)
    assert len(opened.sheetstack.layers) == 2  # none was added


def test_a_path_is_not_kept_for_the_next_call(opened, job_path, tmp_path):
    drop(handler_for(".png"), tmp_path / "leaf.png")
    bpy.ops.sheetstack.add_layer()
    assert opened.sheetstack.layers[-1].artwork == ""


def test_a_dropped_file_that_is_no_job_is_one_sentence(blender, tmp_path):
    path = tmp_path / "bad.toml"
    path.write_text("title = ", encoding="utf-8")
    with pytest.raises(RuntimeError, match=r"bad\.toml: is not valid TOML"):
        drop(handler_for(".toml"), path)


def test_handlers_take_files_on_3d_views_only(opened):
    for handler in handlers():
        area = type("Area", (), {"type": "CONSOLE"})
        assert not handler.poll_drop(type("Context", (), {"area": area}))
        area.type = "VIEW_3D"
        assert handler.poll_drop(type("Context", (), {"area": area}))
        assert not handler.poll_drop(type("Context", (), {"area": None}))
