import numpy as np
import pytest

from sheetstack.geometry.errors import JobError
from sheetstack.geometry.tracing.bend_face import CLICKS, mean_face
from sheetstack.geometry.tracing.faces import MARKS, FaceMarks, Subject
from sheetstack.geometry.tracing.marks_file import (
    completed,
    drawn_out,
    marks_text,
    read_marks_file,
)
from sheetstack.geometry.tracing.picture import Picture


def placed(turn=0.1, scale=80.0, shift=(150.0, 120.0)):
    """Return the mean face turned, scaled and moved."""
    factor = scale * np.exp(1j * turn)
    points = {}
    for name, own in mean_face().items():
        moved = own @ (1, 1j) * factor + complex(*shift)
        points[name] = np.column_stack([moved.real, moved.imag])
    return FaceMarks(points)


def clicks_of(face):
    return {name: [face[mark][k].tolist() for mark, k in points] for name, points in CLICKS.items()}


def test_marks_written_are_marks_read(tmp_path):
    subject = Subject((placed(),), (np.array([[1.0, 2.0], [90.0, 3.0], [50.0, 80.0]]),))
    path = tmp_path / "marks.toml"
    path.write_text(marks_text(subject, (400, 300), "marks.toml"))
    again = read_marks_file(path, (400, 300))
    np.testing.assert_allclose(again.faces[0].all_points(), placed().all_points(), atol=0.051)
    np.testing.assert_allclose(again.outline[0], subject.outline[0])
    # What was read and written again is the same text: a tracing can be made again.
    assert marks_text(again, (400, 300), "marks.toml") == path.read_text()


def test_two_eyes_turn_and_scale_the_mean_face():
    face = placed(turn=-0.2)
    few = {name: clicks_of(face)[name] for name in ("right_eye", "left_eye")}
    found = completed(few, "marks")
    off = np.hypot(*(found.all_points() - face.all_points()).T)
    assert off.max() < 0.05 * face.eye_distance


def test_a_dozen_clicks_bend_the_rest_and_are_met_themselves():
    face = placed()
    clicks = clicks_of(face)
    clicks["chin_tip"] = [[clicks["chin_tip"][0][0], clicks["chin_tip"][0][1] + 12]]  # a long chin
    found = completed(clicks, "marks")
    assert found["chin"][2][1] == pytest.approx(clicks["chin_tip"][0][1], abs=0.1)
    assert found["right_upper_lid"][0] == pytest.approx(clicks["right_eye"][0], abs=0.1)
    assert found["lower_lip"][5][1] > face["lower_lip"][5][1]  # drawn along, but less
    assert found["lower_lip"][5][1] - face["lower_lip"][5][1] < 12


def test_a_whole_mark_stays_as_it_was_given():
    face = placed()
    brow = face["left_brow"] + 3
    found = completed({**clicks_of(face), "left_brow": brow.tolist()}, "marks")
    np.testing.assert_array_equal(found["left_brow"], brow)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("size = [10, 10]\n", "for another picture; expected 400 x 300"),
        ("[[faces]]\nnose_tip = [[3, 4]]\n", "expected right_eye and left_eye"),
        ("[[faces]]\nnoze = [[3, 4]]\n", "noze: expected one of"),
        ("[[faces]]\nright_eye = [[3, 4]]\n", "expected 2 points"),
        ("[[faces]]\nright_eye = [[3, 'x'], [4, 5]]\n", "expected 2 points"),
        ("subject = [[[1, 1], [2, 2]]]\n", "at least 3 points"),
        ("people = 3\n", "people: expected one of"),
        ("size = [\n", "is not valid TOML"),
    ],
)
def test_wrong_files_are_told_of_in_a_sentence(tmp_path, text, told):
    path = tmp_path / "marks.toml"
    path.write_text(text)
    with pytest.raises(JobError, match=told):
        read_marks_file(path, (400, 300))


def test_a_missing_file_is_told_of(tmp_path):
    with pytest.raises(JobError, match="found nothing of that name"):
        read_marks_file(tmp_path / "none.toml", (4, 3))


def test_a_rough_outline_is_drawn_to_the_subject():
    srgb = np.full((90, 120, 3), 0.2, np.float32)
    srgb[20:70, 30:90] = 0.8
    picture = Picture(srgb, np.ones((90, 120), np.float32), (240, 180), "a.png")
    rough = np.array([[56.0, 37.0], [184.0, 36.0], [183.0, 144.0], [57.0, 143.0]])
    sharp = drawn_out(Subject((), (), (rough,), "marks.toml"), picture)
    assert not sharp.rough
    low, high = sharp.outline[0].min(axis=0), sharp.outline[0].max(axis=0)
    np.testing.assert_allclose([low, high], [[60, 40], [180, 140]], atol=2)


def test_the_mean_face_has_every_mark():
    assert {name: len(points) for name, points in mean_face().items()} == dict(MARKS)
