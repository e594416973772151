from dataclasses import replace

import numpy as np
import pytest
import shapely
from PIL import Image, ImageDraw
from shapely.affinity import scale as scaled

from sheetstack.geometry.build import build
from sheetstack.geometry.colour import ciede2000, lab_from_srgb
from sheetstack.geometry.job.load import load_job
from sheetstack.geometry.progress import Progress
from sheetstack.geometry.tracing import find_faces
from sheetstack.geometry.tracing.faces import SIDES, Subject
from sheetstack.geometry.tracing.features import care_of, features_of
from sheetstack.geometry.tracing.portrait import tones_of, weights_of
from sheetstack.geometry.tracing.settings import TracingSettings
from sheetstack.geometry.tracing.trace import read_and_trace
from sheetstack.geometry.tracing.write import write_tracing
from tests.drawn_face import SIZE, marks, picture, subject

PIXELS = 480


@pytest.fixture(scope="module")
def photo(tmp_path_factory):
    path = tmp_path_factory.mktemp("face") / "drawn.png"
    picture().save(path)
    return path


@pytest.fixture(scope="module")
def traced(photo):
    return read_and_trace(photo, TracingSettings(), most_pixels=PIXELS, subject=subject())


def layer(traced, name):
    return next(a.curves.flattened() for a in traced.layers if a.role.name == name)


def on_page(traced, points):
    """Return points of the picture as mm on the page."""
    mm = traced.extent.page[0] / traced.picture.full[0]
    return np.column_stack([points[:, 0] * mm, traced.extent.page[1] - points[:, 1] * mm])


def iris(traced, side):
    face = marks()
    mm = traced.extent.page[0] / traced.picture.full[0]
    x, y = on_page(traced, face[f"{side}_iris"][:1])[0]
    circle = shapely.Point(x, y).buffer(face.iris_radius(side) * mm)
    return circle & shapely.Polygon(on_page(traced, face.eye(side)))


def test_a_portrait_has_a_base_coat_a_form_shadow_and_no_backdrop(traced):
    assert [a.role.name for a in traced.layers] == ["Base coat", "Mid-tone", "Shadow", "Highlight"]
    assert any(f.code == "tracing.backdrop-left-out" for f in traced.findings)
    corner = shapely.box(0, traced.extent.page[1] - 20, 20, traced.extent.page[1])
    assert not any(layer(traced, a.role.name).intersects(corner) for a in traced.layers)


@pytest.mark.parametrize("side", SIDES)
def test_pupil_and_iris_are_one_whole_shape_of_the_shadow(traced, side):
    ink, eye = layer(traced, "Shadow"), iris(traced, side)
    assert ink.intersection(eye).area > 0.85 * eye.area
    at = [p for p in ink.geoms if p.intersects(eye)]
    assert len(at) == 1
    assert not [r for r in at[0].interiors if shapely.Polygon(r).intersects(eye)]


@pytest.mark.parametrize("side", SIDES)
def test_the_glint_in_an_eye_goes_to_the_highlight(traced, side):
    glint = layer(traced, "Highlight").intersection(iris(traced, side))
    assert 0 < glint.area < 0.4 * iris(traced, side).area


def test_no_line_of_the_shadow_joins_two_features(traced):
    face = marks()
    features = {
        "right eye": shapely.Polygon(on_page(traced, face.eye("right"))),
        "left eye": shapely.Polygon(on_page(traced, face.eye("left"))),
        "nose": shapely.LineString(on_page(traced, face["nose_base"][2:7])),
        "mouth": shapely.LineString(on_page(traced, face["upper_lip_line"])),
    }
    for part in layer(traced, "Shadow").geoms:
        met = [name for name, shape in features.items() if part.intersects(shape)]
        assert len(met) <= 1, met


def test_brows_and_mouth_are_drawn(traced):
    ink, face = layer(traced, "Shadow"), marks()
    for name in ("right_brow", "left_brow"):
        assert ink.intersects(shapely.Polygon(on_page(traced, face[name])))


def test_the_line_of_the_lips_is_whole_from_corner_to_corner(traced):
    face = marks()
    middle = (face["upper_lip_line"] + face["lower_lip_line"]) / 2
    corners = [shapely.Point(p) for p in on_page(traced, middle[[1, -2]])]
    near = 0.06 * face.eye_distance * traced.extent.page[0] / traced.picture.full[0]
    at = [
        {k for k, p in enumerate(layer(traced, "Shadow").geoms) if p.distance(corner) < near}
        for corner in corners
    ]
    assert at[0] & at[1]


def test_lips_are_form_in_the_mid_tone(traced):
    face = marks()
    lip = np.concatenate([face["upper_lip"], face["upper_lip_line"][::-1]])
    shape = shapely.Polygon(on_page(traced, lip)).buffer(0)
    painted = layer(traced, "Mid-tone") | layer(traced, "Shadow")
    assert painted.intersection(shape).area > 0.4 * shape.area


def test_of_two_tones_of_skin_the_base_is_the_one_that_leaves_fewer_islands():
    # A dark patch all round light ones: four islands, were the dark sprayed over the light.
    lab = np.zeros((120, 160, 3), np.float32)
    lab[..., 0] = 40.0
    for x in (20, 60, 100, 140):
        lab[40:80, x - 15 : x + 15, 0] = 70.0
    lab[:10, :, 0] = 10.0
    skin = np.ones((120, 160), bool)
    weights = weights_of(skin, np.zeros((120, 160), np.float32))
    tones = tones_of(lab, weights, skin, 3)
    assert tones.centres[:, 0].round().tolist() == [10.0, 40.0, 70.0]
    assert tones.base == 1


def test_a_base_that_nothing_is_lighter_than_is_taken_only_for_fewer_islands():
    # Lit skin beside skin in half-light, neither enclosed: the glints decide.
    lab = np.zeros((120, 160, 3), np.float32)
    lab[:, :60, 0], lab[:, 60:, 0], lab[:10, :, 0] = 55.0, 75.0, 10.0
    skin = np.ones((120, 160), bool)
    tones = tones_of(lab, weights_of(skin, np.zeros((120, 160), np.float32)), skin, 3)
    assert tones.centres[:, 0].round().tolist() == [10.0, 55.0, 75.0]
    assert tones.base == 1


def test_lines_are_looked_for_round_an_eye_as_far_as_glasses_reach():
    face = marks()
    sockets = features_of([face], SIZE[::-1]).sockets
    for side in SIDES:
        x, y = face[f"{side}_iris"][0]
        below = int(y + 0.4 * face.eye_distance)
        assert sockets[below, int(x)] > 0.9
    x, y = face["upper_lip_line"][5].astype(int)
    assert sockets[y, x] < 0.01


def test_a_tracing_is_heard_between_its_steps(photo, tmp_path):
    """So that it can be stopped: fitting, the longest of them, reports each layer twice."""
    told = []
    progress = Progress(lambda share, what: told.append(what))
    read_and_trace(photo, TracingSettings(), progress, most_pixels=PIXELS, subject=subject())
    assert told.count("fitting layers under each other") >= 7
    assert told.count("finding tones") >= 4


def test_without_marks_the_same_picture_is_traced_by_tones_alone(photo):
    traced = read_and_trace(photo, TracingSettings(people="no"), most_pixels=PIXELS)
    assert [a.role.name for a in traced.layers] == ["Mid-tone", "Shadow", "Highlight"]


def test_an_outline_without_a_face_will_do(photo):
    thing = Subject((), subject().outline, (), "by hand")
    traced = read_and_trace(photo, TracingSettings(), most_pixels=PIXELS, subject=thing)
    assert traced.layers[0].role.name == "Base coat"
    assert len(traced.layers) >= 3


def test_a_wall_like_skin_needs_no_base_coat(photo, traced):
    skin = traced.layers[0].colour
    other = read_and_trace(
        photo, TracingSettings(ground=skin), most_pixels=PIXELS, subject=subject()
    )
    assert [a.role.name for a in other.layers] == ["Mid-tone", "Shadow", "Highlight"]


def test_a_flood_that_eats_the_subject_is_told_of(photo):
    settings = TracingSettings(background="flood")
    traced = read_and_trace(photo, settings, most_pixels=PIXELS, subject=subject())
    told = [f.sentence() for f in traced.findings if f.code == "tracing.subject-flooded"]
    assert told
    assert "% of the subject" in told[0]


def test_a_tracing_is_made_again_from_its_own_marks(photo, traced, tmp_path, monkeypatch):
    out = tmp_path / "first"
    written = write_tracing(traced, out, "Drawn")
    assert {"marks.toml", "care.png", "layers.svg"} <= set(written)
    # As on a machine without the library.
    monkeypatch.setattr(find_faces, "faces_can_be_found", lambda: False)
    settings = TracingSettings(marks=str(out / "marks.toml"))
    again = read_and_trace(photo, settings, most_pixels=PIXELS)
    for one, other in zip(traced.layers, again.layers, strict=True):
        a, b = one.curves.flattened(), other.curves.flattened()
        assert a.symmetric_difference(b).area < 0.01 * a.area


def test_no_bridge_lies_in_an_iris(traced, tmp_path):
    write_tracing(traced, tmp_path / "out", "Drawn")
    built = build(load_job(tmp_path / "out" / "job.toml"))
    sheet, page = traced.extent.sheet, traced.extent.page
    for side in SIDES:
        eye = shapely.affinity.translate(
            iris(traced, side), (sheet[0] - page[0]) / 2, (sheet[1] - page[1]) / 2
        )
        eye = scaled(eye, 0.98, 0.98)
        for made in built.layers:
            assert not any(b.shape.intersects(eye) for b in made.bridges)


def test_care_is_greatest_in_the_eyes_and_none_beyond_the_face():
    care = care_of([marks()], SIZE[::-1])
    x, y = marks()["left_iris"][0].astype(int)
    assert care[y, x] == pytest.approx(8.0)
    assert care[5, 5] == 1.0
    x, y = marks()["upper_lip_line"][5].astype(int)
    assert 5 < care[y, x] < 8


def test_the_photo_lies_under_the_layers_and_is_not_read(traced, tmp_path):
    write_tracing(traced, tmp_path / "out", "Drawn")
    text = (tmp_path / "out" / "layers.svg").read_text()
    assert text.index('id="photo"') < text.index('id="base-coat"')
    assert 'sodipodi:insensitive="true"' in text
    built = build(load_job(tmp_path / "out" / "job.toml"))
    assert not any("image" in f.code for f in built.findings)


def test_only_the_layer_asked_for_is_traced_anew(traced, photo, tmp_path):
    out = tmp_path / "out"
    write_tracing(traced, out, "Drawn")
    text = (out / "layers.svg").read_text()
    job = (out / "job.toml").read_text()
    cut = text.index('id="mid-tone"')
    edited = text[:cut] + text[cut:].replace("<path ", '<path transform="scale(1.01)" ', 1)
    (out / "layers.svg").write_text(edited)
    finer = read_and_trace(
        photo, TracingSettings(detail=0.7), most_pixels=PIXELS, subject=subject()
    )
    write_tracing(replace(finer, extent=traced.extent), out, "Drawn", only=["shadow"])
    now = (out / "layers.svg").read_text()
    assert 'transform="scale(1.01)"' in now
    assert now != edited
    assert (out / "job.toml").read_text() == job


def test_detail_in_faces_is_set_apart_from_the_rest(photo, tmp_path):
    cheek, coat = (140, 262), (110, 418)
    with Image.open(photo) as image:
        pen = ImageDraw.Draw(image)
        for (x, y), r, colour in ((cheek, 3, "#1c1210"), (coat, 9, "#e8ddd0")):
            pen.ellipse([x - r, y - r, x + r, y + r], fill=colour)
        image.save(tmp_path / "spots.png")

    def seen(**detail):
        drawn = read_and_trace(
            tmp_path / "spots.png",
            TracingSettings(**detail),
            most_pixels=PIXELS,
            subject=subject(),
            preview=True,
        ).painted
        scale = drawn.shape[0] / SIZE[1]
        lightness = lab_from_srgb(drawn)[..., 0]
        at = [lightness[int(y * scale), int(x * scale)] for x, y in (cheek, coat)]
        beside = [lightness[int(y * scale), int((x - 14) * scale)] for x, y in (cheek, coat)]
        return [abs(b - a) > 10 for a, b in zip(at, beside, strict=True)]

    assert seen(detail=0.5) == [True, True]
    assert seen(detail=0.5, face_detail=0.0) == [False, True]
    assert seen(detail=0.0, face_detail=0.5) == [True, False]


def test_a_preview_paints_nearly_what_the_tracing_does(photo, traced):
    quick = read_and_trace(
        photo, TracingSettings(), most_pixels=PIXELS, subject=subject(), preview=True
    )
    assert quick.painted.shape == traced.painted.shape
    apart = ciede2000(lab_from_srgb(quick.painted), lab_from_srgb(traced.painted))
    assert apart.mean() < 1.5
    assert (apart > 10).mean() < 0.03
