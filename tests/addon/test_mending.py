"""Mending a finding's place by a click: into the layer's mend_mm, out again, undone, built."""

import json

import pytest

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")

from sheetstack.addon.core.job_words import in_words  # noqa: E402
from sheetstack.addon.job.scene_job import job_of  # noqa: E402
from sheetstack.addon.sheets.viewport_marks import signs_of  # noqa: E402
from sheetstack.geometry.job.load import load_job  # noqa: E402

#: Two square openings that a strip of sheet 0.5 mm wide parts, from x = 40 to 40.5.
NECK = '<path d="M20 20h20v40h-20zM40.5 20h20v40h-20z"/>'


@pytest.fixture
def narrow(blender, job_path):
    drawing = job_path.parent / "Light.svg"
    drawing.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="80mm" height="80mm" '
        f'viewBox="0 0 80 80">{NECK}</svg>\n',
        encoding="utf-8",
    )
    blender.ops.sheetstack.open_job(filepath=str(job_path))
    blender.ops.sheetstack.build()
    return blender.context.scene


def neck_of(scene):
    rows = scene.sheetstack.findings
    return next(n for n, row in enumerate(rows) if row.code == "support.neck")


def test_a_click_puts_the_place_into_the_layers_list_and_another_takes_it_out(narrow):
    number = neck_of(narrow)
    place = tuple(narrow.sheetstack.findings[number].place_mm)
    assert bpy.ops.sheetstack.mend_place(index=number) == {"FINISHED"}
    assert job_of(narrow).layers[1].mend_mm == (pytest.approx(place, abs=1e-3),)
    assert job_of(narrow).layers[0].mend_mm == ()
    assert narrow.sheetstack.is_stale
    assert bpy.ops.sheetstack.mend_place(index=number) == {"FINISHED"}
    assert job_of(narrow).layers[1].mend_mm == ()


def test_the_next_build_has_the_place_mended(narrow):
    narrow.sheetstack.active_finding = neck_of(narrow)
    bpy.ops.sheetstack.mend_place()
    bpy.ops.sheetstack.build()
    codes = [row.code for row in narrow.sheetstack.findings]
    assert "support.neck" not in codes
    assert "support.nothing-to-mend" not in codes
    narrow.sheetstack.active_layer = 1
    bpy.context.view_layer.update()
    assert "mend" in [kind for kind, _, _ in signs_of(narrow)], "it is marked in the view"


def test_mending_is_undone_and_redone(narrow):
    number = neck_of(narrow)
    bpy.ops.ed.undo_push(message="before")
    bpy.ops.sheetstack.mend_place(index=number)
    bpy.ops.ed.undo_push(message="mend")
    mended = bpy.context.scene.sheetstack.layers[1].mend_mm
    assert len(json.loads(mended)) == 1
    bpy.ops.ed.undo()
    assert bpy.context.scene.sheetstack.layers[1].mend_mm == "[]"
    bpy.ops.ed.redo()
    assert bpy.context.scene.sheetstack.layers[1].mend_mm == mended


def test_a_finding_says_what_to_click_and_names_no_key_of_the_job(narrow):
    finding = narrow.sheetstack.findings[neck_of(narrow)]
    assert "Tick the finding's box to have it thickened." in finding.message
    for said, here in (
        (
            "x. To hold it, name its place in the layer's keep_mm, or set let_go = false under "
            "[bridges].",
            "x. To hold it, add its place to the layer's 'Islands to be held', or untick "
            "'Let small islands go'.",
        ),
        (
            "mend_mm of the layer names this place, but no.",
            "This place is ticked to be mended, but no.",
        ),
        ("change inset_mm or hole_diameter_mm.", "change 'Inset' or 'Hole diameter'."),
        ("A well_known word stays.", "A well_known word stays."),
    ):
        assert in_words(said) == here


def test_an_accepted_place_is_saved_in_the_job_file(narrow, tmp_path):
    bpy.ops.sheetstack.mend_place(index=neck_of(narrow))
    path = tmp_path / "saved.toml"
    bpy.ops.sheetstack.save_job(filepath=str(path))
    assert load_job(path).layers[1].mend_mm == job_of(narrow).layers[1].mend_mm


def test_findings_without_a_remedy_are_refused_in_one_sentence(narrow):
    rows = narrow.sheetstack.findings
    other = rows.add()
    other.code, other.message, other.layer = "support.island-left", "An island is left.", "Light"
    other.has_place, other.place_mm = True, (70.0, 70.0)
    with pytest.raises(RuntimeError, match="Expected the finding of a narrow place"):
        bpy.ops.sheetstack.mend_place(index=len(rows) - 1)
    with pytest.raises(RuntimeError, match="Expected the finding of a narrow place"):
        bpy.ops.sheetstack.mend_place(index=99)
