"""SVG drawings read as artwork: groups, findings, frames; pictures are compared in reference/."""

import random
import re

import numpy as np
import pytest
import shapely
from fontTools.misc import bezierTools
from fontTools.pens.recordingPen import RecordingPen
from fontTools.svgLib.path import parse_path as fonttools_parse
from hypothesis import given, settings
from hypothesis import strategies as st

from sheetstack.geometry.artwork.read import read_artwork
from sheetstack.geometry.artwork.source import ArtworkSource
from sheetstack.geometry.artwork.svg.path import flatten_paths, parse_path
from sheetstack.geometry.artwork.svg.read import read_svg
from sheetstack.geometry.errors import ArtworkError
from sheetstack.geometry.finding import Severity
from sheetstack.geometry.tolerance import Tolerances

HEAD = (
    '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
    'xmlns:inkscape="http://www.inkscape.org/namespaces/inkscape" '
    'width="100mm" height="80mm" viewBox="0 0 100 80">'
)


def read(tmp_path, body, group=None, tolerances=None, head=HEAD):
    path = tmp_path / "drawing.svg"
    path.write_text(f"{head}{body}</svg>", encoding="utf-8")
    source = ArtworkSource(path, group=group)
    return read_svg(source, tolerances) if tolerances else read_svg(source)


def codes(artwork):
    return [f.code for f in artwork.findings]


def only(artwork):
    (finding,) = artwork.findings
    return finding


# --- frame and page ---


def test_y_is_up_and_the_origin_is_the_lower_left_corner(tmp_path):
    artwork = read(tmp_path, '<rect x="10" y="5" width="20" height="10"/>')
    assert artwork.page == (100, 80)
    assert artwork.shape.bounds == pytest.approx((10, 65, 30, 75))
    assert artwork.findings == ()


def test_view_box_alone_gives_the_page_in_pixels(tmp_path):
    head = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="-96 -96 192 96">'
    artwork = read(tmp_path, '<rect x="-96" y="-96" width="96" height="96"/>', head=head)
    assert artwork.page == pytest.approx((50.8, 25.4))
    assert artwork.shape.bounds == pytest.approx((0, 0, 25.4, 25.4))


@pytest.mark.parametrize("size", ['width="50mm"', 'height="40mm"', 'width="50%" height="50%"'])
def test_missing_or_relative_size_follows_the_view_box(tmp_path, size):
    box = "0 0 100 80" if "%" not in size else f"0 0 {100 * 96 / 25.4} {80 * 96 / 25.4}"
    head = f'<svg xmlns="http://www.w3.org/2000/svg" {size} viewBox="{box}">'
    assert read(tmp_path, "<rect width='9' height='9'/>", head=head).page == pytest.approx((50, 40))


def test_full_percentage_is_the_view_box(tmp_path):
    head = '<svg xmlns="http://www.w3.org/2000/svg" width="100%" height="100%" viewBox="0 0 96 96">'
    assert read(tmp_path, "<path d='M0 0h9v9z'/>", head=head).page == pytest.approx((25.4, 25.4))


def test_artwork_beyond_the_page_is_kept_and_told(tmp_path):
    artwork = read(tmp_path, '<rect x="90" width="20" height="10"/>')
    assert artwork.shape.area == pytest.approx(200)
    finding = only(artwork)
    assert finding.code == "artwork.outside-page"
    assert finding.severity is Severity.WARNING
    assert finding.size_mm == pytest.approx(10)


def test_nothing_painted_spoils_the_stencil(tmp_path):
    artwork = read(tmp_path, '<rect width="10" height="10" fill="none"/>')
    assert artwork.shape.is_empty
    assert only(artwork).severity is Severity.SPOILS


def test_scale_of_the_source_keeps_the_chord_tolerance(tmp_path):
    path = tmp_path / "drawing.svg"
    path.write_text(f'{HEAD}<circle cx="50" cy="40" r="30"/></svg>', encoding="utf-8")
    artwork = read_artwork(ArtworkSource(path, scale=20.0))
    circle = shapely.Point(1000, 800).buffer(600, quad_segs=2000)
    assert artwork.page == (2000, 1600)
    assert shapely.hausdorff_distance(artwork.shape.boundary, circle.boundary) <= 0.05 + 1e-3


def test_chord_tolerance_holds_after_transforms(tmp_path):
    artwork = read(tmp_path, '<circle transform="translate(50 40) scale(3000)" r="0.01"/>')
    circle = shapely.Point(50, 40).buffer(30, quad_segs=2000)
    distance = shapely.hausdorff_distance(artwork.shape.boundary, circle.boundary)
    assert 0.01 < distance <= 0.05 + 1e-4


def test_stroke_of_a_curve_keeps_the_chord_tolerance(tmp_path):
    artwork = read(
        tmp_path, '<circle cx="50" cy="40" r="20" fill="none" stroke="red" stroke-width="30"/>'
    )
    ring = shapely.Point(50, 40).buffer(35, quad_segs=2000)
    ring = ring.difference(shapely.Point(50, 40).buffer(5, quad_segs=2000))
    assert shapely.hausdorff_distance(artwork.shape.boundary, ring.boundary) <= 0.05 + 1e-3


# --- what counts as painted ---


def test_white_counts_as_painted(tmp_path):
    artwork = read(tmp_path, '<rect width="10" height="10" fill="#ffffff"/>')
    assert artwork.shape.area == pytest.approx(100)


def test_overlapping_elements_become_one_area(tmp_path):
    artwork = read(
        tmp_path, '<rect width="10" height="10"/><rect x="5" width="10" height="10" fill="red"/>'
    )
    assert artwork.shape.area == pytest.approx(150)
    assert len(artwork.shape.geoms) == 1


def test_gradient_counts_as_painted_all_over_and_is_told(tmp_path):
    artwork = read(
        tmp_path,
        '<linearGradient id="a"/><rect x="1" y="2" width="10" height="10" fill="url(#a)"/>',
    )
    assert artwork.shape.area == pytest.approx(100)
    finding = only(artwork)
    assert (finding.code, finding.severity) == ("artwork.gradient", Severity.NOTE)
    assert finding.place == pytest.approx((1, 78))


def test_a_pattern_counts_as_painted_all_over_and_is_a_warning(tmp_path):
    """Its gaps are painted, too: both resvg and Cairo leave them bare."""
    artwork = read(
        tmp_path,
        '<pattern id="a" width="2" height="2"><rect width="1" height="1"/></pattern>'
        '<rect x="1" y="2" width="10" height="10" fill="url(#a)"/>',
    )
    (finding,) = artwork.findings
    assert artwork.shape.area == pytest.approx(100)
    assert (finding.code, finding.severity) == ("artwork.pattern", Severity.WARNING)


def test_missing_paint_falls_back_or_is_told(tmp_path):
    artwork = read(
        tmp_path,
        '<rect width="10" height="10" fill="url(#no) red"/>'
        '<rect x="20" width="10" height="10" fill="url(#no) none"/>'
        '<rect x="40" width="10" height="10" fill="url(#no)"/>',
    )
    assert artwork.shape.area == pytest.approx(100)
    assert codes(artwork) == ["artwork.reference"]


def test_non_scaling_stroke_keeps_its_width(tmp_path):
    artwork = read(
        tmp_path,
        '<line transform="scale(10 2)" x1="1" y1="20" x2="5" y2="20" stroke="red" '
        'stroke-width="96" vector-effect="non-scaling-stroke"/>',
    )
    assert artwork.shape.bounds == pytest.approx((10, 40 - 12.7, 50, 40 + 12.7))


def test_open_filled_path_closes_by_itself_without_a_word(tmp_path):
    # SVG 1.1, section 11.3: fill closes open subpaths by a line.
    artwork = read(tmp_path, '<path id="ear" d="M10 10h20v20h-20"/>')
    assert artwork.shape.area == pytest.approx(400)
    assert artwork.findings == ()


def test_lost_text_spoils_the_picture(tmp_path):
    artwork = read(tmp_path, '<rect width="9" height="9"/><text x="30" y="20">Cat</text>')
    assert only(artwork).severity is Severity.SPOILS


def test_a_variable_is_read_by_its_fallback(tmp_path):
    # CSS Custom Properties 1, section 3: var(--name, fallback).
    body = '<rect width="9" height="9" fill="var(--ink, #123)"/>'
    assert read(tmp_path, body).findings == ()
    hidden = '<rect width="9" height="9" fill="var(--ink, none)"/><circle cx="9" cy="9" r="2"/>'
    assert read(tmp_path, hidden).shape.area < 13


def test_stroked_line_with_the_default_fill_is_no_mistake(tmp_path):
    artwork = read(tmp_path, '<path d="M10 10h20" stroke="red" stroke-width="2"/>')
    assert artwork.shape.area == pytest.approx(40)
    assert artwork.findings == ()


def test_stroke_that_crosses_itself_is_no_finding(tmp_path):
    artwork = read(
        tmp_path, '<path d="M10 10L50 50V10L10 50" fill="none" stroke="red" stroke-width="2"/>'
    )
    assert artwork.findings == ()
    assert len(artwork.shape.geoms) == 1


# --- groups ---

LAYERS = """
<g id="layer1" inkscape:label="Mid tone" transform="translate(10 0)"><rect width="10" height="10"/>
  <g id="inner"><rect y="20" width="5" height="5"/></g></g>
<g id="layer2" inkscape:label="Shadow" style="display:none"><rect width="20" height="10"/></g>
<g id="High_x0020_light"><rect width="30" height="10"/></g>
<g data-name="Eye &amp; nose"><rect width="40" height="10"/></g>
<g><title>Whiskers</title><rect width="50" height="10"/></g>
<g inkscape:label="Twin"/><g inkscape:label="Twin"/>
"""


@pytest.mark.parametrize(
    ("group", "area"),
    [
        ("layer1", 125),
        ("Mid tone", 125),
        ("inner", 25),
        ("High light", 300),
        ("High_x0020_light", 300),
        ("Eye & nose", 400),
        ("Whiskers", 500),
    ],
)
def test_group_is_found_by_id_label_name_and_title(tmp_path, group, area):
    artwork = read(tmp_path, LAYERS, group)
    assert artwork.shape.area == pytest.approx(area)
    assert artwork.findings == ()


def test_inner_group_keeps_the_frame_of_those_round_it(tmp_path):
    assert read(tmp_path, LAYERS, "inner").shape.bounds == pytest.approx((10, 55, 15, 60))


def test_hidden_layer_is_skipped_unless_the_job_names_it(tmp_path):
    assert read(tmp_path, LAYERS).shape.bounds[2] == pytest.approx(50)
    named = read(tmp_path, LAYERS, "Shadow")
    assert named.shape.area == pytest.approx(200)
    assert only(named).code == "artwork.hidden"


def test_unknown_group_lists_those_there_are(tmp_path):
    with pytest.raises(ArtworkError) as caught:
        read(tmp_path, LAYERS, "Fur")
    text = str(caught.value)
    assert "drawing.svg: no group is called 'Fur'" in text
    assert "'Mid tone', 'inner', 'Shadow'" in text


def test_ambiguous_label_is_an_error_that_names_the_lines(tmp_path):
    with pytest.raises(ArtworkError, match="2 groups are called 'Twin'"):
        read(tmp_path, LAYERS, "Twin")


# --- what is not read is told ---


@pytest.mark.parametrize(
    ("body", "code", "place"),
    [
        ('<text x="30" y="20">Cat</text>', "artwork.text", (30, 60)),
        ('<text><tspan x="30" y="20">Cat</tspan></text>', "artwork.text", (30, 60)),
        ('<image x="5" y="6" width="9" height="9" href="cat.png"/>', "artwork.image", (5, 74)),
        ('<foreignObject x="5" y="6"><p>Hi</p></foreignObject>', "artwork.foreignobject", (5, 74)),
        ('<rect x="3" y="4" width="1" height="1" mask="url(#m)"/>', "artwork.mask", (3, 76)),
        ('<g filter="url(#blur)"><rect width="1" height="1"/></g>', "artwork.filter", (0, 80)),
        ('<path d="M7 8h9" stroke="red" marker-end="url(#a)"/>', "artwork.reference", (0, 80)),
        ("<flowRoot><flowPara/></flowRoot>", "artwork.unknown", (0, 80)),
        ('<use href="other.svg#cat"/>', "artwork.reference", (0, 80)),
        ('<use href="#nowhere"/>', "artwork.reference", (0, 80)),
        ('<rect width="-5" height="5" x="2" y="3"/>', "artwork.shape", (2, 77)),
        ('<style>@import "http://example.org/a.css";</style>', "artwork.style", None),
        ('<style type="text/less">a{}</style>', "artwork.style", None),
    ],
)
def test_what_is_not_read_is_a_finding_with_its_place(tmp_path, body, code, place):
    artwork = read(tmp_path, f'{body}<rect x="50" y="50" width="9" height="9"/>')
    finding = only(artwork)
    assert finding.code == code
    # What is drawn and not painted, or painted and hidden by a mask, is another picture.
    lost = code.split(".")[1] in ("text", "image", "foreignobject", "mask")
    assert finding.severity is (Severity.SPOILS if lost else Severity.WARNING)
    assert finding.place == (None if place is None else pytest.approx(place))
    assert artwork.shape.area >= 81


@pytest.mark.parametrize(
    "body",
    [
        "<text/>",
        "<text> <tspan/> </text>",
        '<text display="none">Cat</text>',
        '<g visibility="hidden"><image width="9" height="9" href="cat.png"/></g>',
        "<title>Cat</title><desc>A cat</desc><metadata><x/></metadata>",
        "<defs><text>Cat</text></defs>",
        '<sodipodi:namedview xmlns:sodipodi="http://sodipodi.example/x"><x/></sodipodi:namedview>',
    ],
)
def test_what_shows_nothing_is_no_finding(tmp_path, body):
    assert read(tmp_path, f'{body}<rect width="9" height="9"/>').findings == ()


def test_finding_about_an_element_that_is_used_often_is_told_once(tmp_path):
    body = '<defs><g id="a"><text>Hi</text><rect width="2" height="2"/></g></defs>'
    body += "".join(f'<use href="#a" x="{5 * i}"/>' for i in range(9))
    assert codes(read(tmp_path, body)) == ["artwork.text"]


def test_path_data_is_drawn_up_to_its_mistake(tmp_path):
    artwork = read(tmp_path, '<path id="fur" d="M0 0h10v10h-10z M20 0h10v10z L oops"/>')
    assert artwork.shape.area == pytest.approx(150)
    finding = only(artwork)
    assert finding.code == "artwork.path-data"
    assert "Path 'fur' (line 1)" in finding.message
    assert "'oops'" in finding.message


def test_style_that_is_not_understood_is_passed_over_and_told(tmp_path):
    artwork = read(tmp_path, '<rect width="9" height="9" style="fill:blurple;stroke-width:x"/>')
    assert artwork.shape.area == pytest.approx(81)
    assert codes(artwork) == ["artwork.style"] * 2


def test_style_sheet_mistakes_are_told_and_the_rest_is_used(tmp_path):
    body = "<style>.a{fill:none} p:nonsense(3){fill:none} }{ .b{fill:none}</style>"
    artwork = read(tmp_path, body + '<rect class="a" width="9" height="9"/><path d="M0 0h9v9z"/>')
    assert artwork.shape.area == pytest.approx(40.5)
    assert set(codes(artwork)) == {"artwork.style"}


# --- references ---


def test_shapes_in_clips_count_once_each_frame(tmp_path):
    body = (
        '<clipPath id="c"><rect width="5" height="5"/></clipPath>'
        '<rect width="9" height="9" clip-path="url(#c)"/>'
        '<g transform="translate(50 0)"><rect width="9" height="9" clip-path="url(#c)"/></g>'
    )
    artwork = read(tmp_path, body)
    assert artwork.shape.area == pytest.approx(50)
    assert artwork.shape.bounds == pytest.approx((0, 75, 55, 80))


def test_clip_of_a_group_by_its_bounding_box(tmp_path):
    body = (
        '<clipPath id="c" clipPathUnits="objectBoundingBox"><path d="M0 0H.5V1H0"/></clipPath>'
        '<g clip-path="url(#c)"><rect x="10" y="10" width="10" height="10"/>'
        '<use href="#r"/></g><defs><rect id="r" x="40" y="10" width="10" height="10"/></defs>'
    )
    assert read(tmp_path, body).shape.bounds == pytest.approx((10, 60, 20, 70))


def test_empty_clip_path_hides_all(tmp_path):
    body = '<clipPath id="c"/><rect width="9" height="9" clip-path="url(#c)"/>'
    assert read(tmp_path, body).shape.is_empty


def test_missing_clip_path_clips_nothing_and_is_told(tmp_path):
    artwork = read(tmp_path, '<rect width="9" height="9" clip-path="url(#c)"/>')
    assert artwork.shape.area == pytest.approx(81)
    assert codes(artwork) == ["artwork.reference"]


def test_text_in_a_clip_path_is_told(tmp_path):
    body = (
        '<clipPath id="c"><text x="1" y="2">A</text><rect width="5" height="5"/></clipPath>'
        '<rect width="9" height="9" clip-path="url(#c)"/>'
    )
    assert codes(read(tmp_path, body)) == ["artwork.text"]


def test_used_shape_takes_its_style_from_the_use(tmp_path):
    body = (
        '<defs><rect id="r" width="9" height="9"/></defs><use href="#r" fill="none"/>'
        '<use href="#r" x="20"/>'
    )
    assert read(tmp_path, body).shape.bounds == pytest.approx((20, 71, 29, 80))


def test_transform_may_stand_in_a_style(tmp_path):
    body = '<rect width="9" height="9" style="transform:translate(10px, 20px) rotate(90deg)"/>'
    assert read(tmp_path, body).shape.bounds == pytest.approx((1, 51, 10, 60))


def test_namespace_entities_of_drawing_programs_are_read(tmp_path):
    path = tmp_path / "drawing.svg"
    path.write_text(
        '<?xml version="1.0" encoding="utf-8"?>\n'
        '<!DOCTYPE svg PUBLIC "-//W3C//DTD SVG 1.1//EN" '
        '"http://www.w3.org/Graphics/SVG/1.1/DTD/svg11.dtd" [\n'
        '<!ENTITY ns_svg "http://www.w3.org/2000/svg">\n'
        '<!ENTITY ns_ai "http://ns.example.com/program/10.0/">\n]>\n'
        '<svg xmlns="&ns_svg;" xmlns:i="&ns_ai;" width="10mm" height="10mm">'
        '<switch><foreignObject requiredExtensions="&ns_ai;" width="1" height="1"/>'
        '<g i:extraneous="self"><rect width="100%" height="100%"/></g></switch></svg>'
    )
    artwork = read_svg(ArtworkSource(path))
    assert artwork.shape.area == pytest.approx(100)
    assert artwork.findings == ()


def test_drawing_without_namespace_is_read(tmp_path):
    artwork = read(
        tmp_path, '<rect width="1in" height="1in"/>', head='<svg width="1in" height="1in">'
    )
    assert artwork.shape.area == pytest.approx(25.4**2)


# --- path data against fontTools ---


def random_path(rng: random.Random, arcs: bool) -> str:
    def n():
        value = rng.choice([rng.randint(-99, 99), rng.uniform(-99, 99)])
        return rng.choice([f"{value}", f"{value:.3f}", f"{value:.2e}"])

    arity = {"L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "M": 2, "Z": 0}
    parts = [f"M{n()},{n()}"]
    for _ in range(rng.randint(1, 12)):
        command = rng.choice([*arity, *("A" if arcs else "")])
        times = rng.choice([1, 1, 2, 3, 15])
        letter = rng.choice([command, command.lower()])
        if command == "A":
            flags = f"{rng.randint(0, 1)}{rng.choice([' ', ','])}{rng.randint(0, 1)}"
            parts.append(
                f"{letter}{rng.randint(20, 99)} {rng.randint(20, 99)} {n()} {flags} {n()} {n()}"
            )
        else:
            numbers = [n() for _ in range(arity[command] * (times if command != "Z" else 1))]
            parts.append(letter + rng.choice([" ", ",", "\n"]).join(numbers))
    return rng.choice(["", " "]).join(parts)


def fonttools_polyline(text: str) -> list[np.ndarray]:
    """Every subpath of fontTools' reading, curves cut into many chords."""
    pen = RecordingPen()
    fonttools_parse(text, pen)
    lines: list[list] = []
    for operator, points in pen.value:
        if operator == "moveTo":
            lines.append([points[0]])
        elif operator == "lineTo":
            lines[-1].append(points[0])
        elif operator in ("curveTo", "qCurveTo"):
            at = bezierTools.cubicPointAtT if len(points) == 3 else bezierTools.quadraticPointAtT
            start = lines[-1][-1]
            lines[-1] += [at(start, *points, t) for t in np.linspace(0, 1, 60)[1:]]
    return [np.array(line) for line in lines if len(line) > 1]


@settings(max_examples=150, deadline=None)
@given(st.integers(0, 10**9), st.booleans())
def test_path_data_is_read_as_fonttools_reads_it(seed, arcs):
    text = random_path(random.Random(seed), arcs)
    path, error = parse_path(text)
    assert error == ""
    lines = flatten_paths([path], np.eye(2)[None], np.zeros((1, 2)), np.array([0.01]))
    ours = [lines.points[a:b] for a, b in zip(lines.first, lines.first[1:], strict=False)]
    ours = [o for o in ours if len(o) > 1]
    theirs = fonttools_polyline(text)
    assert len(ours) == len(theirs)
    for mine, other in zip(ours, theirs, strict=True):
        assert mine[0] == pytest.approx(other[0], abs=1e-6)
        reach = np.abs(other).max() + 1
        distance = shapely.distance(shapely.points(other), shapely.linestrings(mine)).max()
        assert distance < 0.02 + 2e-3 * reach * arcs + 1e-4 * reach


@pytest.mark.parametrize(
    ("text", "kept", "said"),
    [
        ("L0 0 5 5", 0, "must start with M"),
        ("M0 0L5 5 6", 2, "L takes 2 numbers"),
        ("M0 0C1 2 3 4 5 6 7 8L9 9", 2, "C takes 6 numbers"),
        ("M0 0L5 5X6 6", 2, "'X6 6'"),
        ("M0 0L5 5,,6 6", 2, "comma"),
        ("M0 0L5 5,L6 6", 2, "comma"),
        ("M0 0A5 5 0 2 0 9 9L1 1", 1, "flags"),
        ("M0 0L5 5Z3", 3, "Z takes no numbers"),
        ("M0 0 L", 1, "L takes 2 numbers"),
        ("M", 0, "M takes 2 numbers"),
        ("", 0, ""),
        ("   ", 0, ""),
        ("none", 0, "neither"),
        ("M0 0L1e 5", 1, "'e 5'"),
    ],
)
def test_path_data_with_a_mistake_keeps_what_comes_before_it(text, kept, said):
    path, error = parse_path(text)
    assert len(path) == kept
    assert said in error
    assert bool(said) == bool(error)


def test_compact_numbers_and_flags_are_parted():
    path, error = parse_path("M.5.5-1-1+2e0.5a1 1 0 0110-.5z")
    assert error == ""
    assert path.rows[:, 4:].tolist() == [[0.5, 0.5], [-1, -1], [2, 0.5], [12, 0], [0.5, 0.5]]


def test_segments_after_a_close_go_on_from_the_start():
    path, _ = parse_path("m10 10 h5 v5 z h-5 v-5 z m1 1 h2 v2")
    assert path.rows[:, 4:].tolist() == [
        *[[10, 10], [15, 10], [15, 15], [10, 10]],
        *[[10, 10], [5, 10], [5, 5], [10, 10]],
        *[[11, 11], [13, 11], [13, 13]],
    ]


def test_finer_tolerance_gives_more_vertices(tmp_path):
    body = '<circle cx="50" cy="40" r="30"/>'
    coarse = read(tmp_path, body, tolerances=Tolerances(chord=0.5))
    fine = read(tmp_path, body, tolerances=Tolerances(chord=0.005))
    assert shapely.get_num_coordinates(fine.shape) > 5 * shapely.get_num_coordinates(coarse.shape)
    assert fine.shape.area == pytest.approx(np.pi * 900, rel=5e-4)


def test_a_marker_where_a_closed_line_starts_halves_the_angle_there(tmp_path):
    # SVG 1.1, section 11.6.2: at the start of a closed subpath the last line counts, too.
    artwork = read(
        tmp_path,
        '<marker id="a" markerUnits="userSpaceOnUse" orient="auto" markerWidth="9" '
        'markerHeight="9" overflow="visible"><rect width="8" height=".2"/></marker>'
        '<path fill="none" marker-start="url(#a)" d="M20 20H60V60H20Z"/>',
    )
    middle = artwork.shape.centroid
    # Coming upwards and going right: the mean of the two leads up and right by 45 degrees.
    assert (middle.x - 20) == pytest.approx(middle.y - 60, abs=0.2)
    assert artwork.shape.area == pytest.approx(1.6)


def test_a_marker_on_a_line_within_itself_ends(tmp_path):
    artwork = read(
        tmp_path,
        '<marker id="a" markerUnits="userSpaceOnUse" markerWidth="9" markerHeight="9">'
        '<path stroke="red" marker-end="url(#a)" d="M0 1h4"/></marker>'
        '<path fill="none" marker-end="url(#a)" d="M20 20h30"/>',
    )
    assert artwork.shape.area == pytest.approx(4.0)


def test_a_stroke_wider_than_its_circle_is_filled_and_what_others_show_is_told(tmp_path):
    # Filled by SVG 2, "Computing the shape of the stroke"; resvg, librsvg, Cairo, Skia and
    # Chromium leave a disc open whose radius is half the width less the circle's.
    ring = '<circle cx="50" cy="40" r="4" fill="none" stroke="#000" stroke-width="16"/>'
    artwork = read(tmp_path, ring)
    assert artwork.shape.area == pytest.approx(np.pi * 12**2, rel=2e-3)
    told = only(artwork)
    assert (told.code, told.severity) == ("artwork.wide-stroke", Severity.WARNING)
    assert told.place == pytest.approx((50, 40), abs=0.01)
    (hole,) = re.findall(r"hole of ([\d.]+) mm2", told.message)
    assert float(hole) == pytest.approx(np.pi * 4**2, rel=0.02)
    oval = '<ellipse cx="50" cy="40" rx="20" ry="3" fill="none" stroke="#000" stroke-width="8"/>'
    assert codes(read(tmp_path, oval)) == ["artwork.wide-stroke"]


@pytest.mark.parametrize(
    "body",
    [
        '<circle cx="50" cy="40" r="8" fill="none" stroke="#000" stroke-width="15"/>',
        '<circle cx="50" cy="40" r="4" stroke="#000" stroke-width="16"/>',
        '<rect x="40" y="40" width="8" height="8" fill="none" stroke="#000" stroke-width="16"/>',
        '<path d="M40 40a4 4 0 0 1 8 0" fill="none" stroke="#000" stroke-width="16"/>',
    ],
    ids=["wide enough", "filled", "with corners", "open"],
)
def test_strokes_that_all_programs_show_alike_are_not_told(tmp_path, body):
    assert "artwork.wide-stroke" not in codes(read(tmp_path, body))
