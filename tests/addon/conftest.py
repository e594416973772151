"""Blender for the tests: reset before each one, with the add-on registered in it."""

import pytest

#: The name of a job's layers, and the drawing of each: a plate with a square opening in which an
#: island stands, and a plain round opening.
DRAWINGS = {
    "Base": '<path fill-rule="evenodd" d="M10 10h60v60h-60zM25 25h30v30h-30z"/>',
    "Light": '<circle cx="40" cy="40" r="12"/>',
}


@pytest.fixture(autouse=True)
def blender():
    """Blender with factory settings, nothing in the scene, and the add-on registered."""
    bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")
    from sheetstack import addon

    bpy.ops.wm.read_factory_settings(use_empty=True)
    addon.register()
    yield bpy
    addon.unregister()


@pytest.fixture
def job_path(tmp_path):
    """A small job of two layers on disk, with comments in its file."""
    folder = tmp_path / "job"
    folder.mkdir()
    rows = []
    for name, drawing in DRAWINGS.items():
        (folder / f"{name}.svg").write_text(
            '<svg xmlns="http://www.w3.org/2000/svg" width="80mm" height="80mm" '
            f'viewBox="0 0 80 80">{drawing}</svg>\n',
            encoding="utf-8",
        )
        rows.append(f'[[layers]]\nname = "{name}"\ncolour = "#a0522d"\nartwork = "{name}.svg"\n')
    path = folder / "small.toml"
    path.write_text(
        '# written by hand\ntitle = "Small"\n[sheet]\nwidth_mm = 100  # wide\nheight_mm = 120.125\n'
        'margin_mm = 5\nmaterial = "birch-ply"\nthickness_mm = 3.3\n' + "".join(rows),
        encoding="utf-8",
    )
    return path


@pytest.fixture
def opened(blender, job_path):
    """The small job, open in the scene."""
    assert blender.ops.sheetstack.open_job(filepath=str(job_path)) == {"FINISHED"}
    return blender.context.scene


@pytest.fixture
def built(blender, opened):
    """The small job, built."""
    assert blender.ops.sheetstack.build() == {"FINISHED"}
    return opened
