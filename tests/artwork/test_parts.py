"""Which groups of an SVG, and which layers of a DXF, are an artist's layers."""

from pathlib import Path

import ezdxf
import pytest

from sheetstack.geometry.artwork.parts import Part, Parts, job_of_drawing, layers_of, read_parts
from sheetstack.geometry.artwork.read import read_artwork
from sheetstack.geometry.artwork.source import source_of
from sheetstack.geometry.errors import ArtworkError, JobError

HEAD = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="80mm" height="60mm" viewBox="0 0 80 60" '
    'xmlns:inkscape="http://www.inkscape.org/namespaces/inkscape">'
)
BOX = '<rect width="40" height="30"/>'


def parts_of(tmp_path, body):
    path = tmp_path / "drawing.svg"
    path.write_text(f"{HEAD}{body}</svg>", encoding="utf-8")
    return read_parts(path)


def test_groups_come_from_back_to_front_with_the_colour_that_fills_most(tmp_path):
    parts = parts_of(
        tmp_path,
        f'<g id="low"><rect width="9" height="2" fill="#00f"/><g fill="#a30">{BOX}</g></g>'
        '<g id="g2" inkscape:label="Light parts" style="display:none">'
        '<path d="M0 0h9v9" fill="none" stroke="white"/></g>',
    )
    assert parts == Parts(
        (
            Part("low", "low", "#aa3300"),
            Part("Light parts", "Light parts", "#ffffff", hidden=True),
        ),
        (80.0, 60.0),
    )


def test_a_style_sheet_gives_colours_and_a_gradient_gives_none(tmp_path):
    parts = parts_of(
        tmp_path,
        f'<style>.warm {{ fill: rgb(255, 128, 0) }}</style><g id="a" class="warm">{BOX}</g>'
        f'<g id="b" fill="url(#x)">{BOX}</g>',
    )
    assert [part.colour for part in parts.parts] == ["#ff8000", ""]


def test_one_group_round_all_is_opened(tmp_path):
    parts = parts_of(tmp_path, f'<g id="all"><g id="a">{BOX}</g><g id="b">{BOX}</g></g>')
    assert [part.key for part in parts.parts] == ["a", "b"]
    parts = parts_of(tmp_path, f'<g id="all">{BOX}{BOX}</g>')
    assert [part.key for part in parts.parts] == ["all"]


def test_what_paints_nothing_is_no_layer_and_what_is_in_no_group_is_counted(tmp_path):
    parts = parts_of(
        tmp_path,
        f'<defs><g id="symbol">{BOX}</g></defs><g id="notes"><text>cut here</text></g>'
        f'<g id="a">{BOX}</g><g>{BOX}</g>{BOX}',
    )
    assert [part.key for part in parts.parts] == ["a"]
    assert parts.loose == 2


def test_a_name_that_two_groups_have_gives_way_to_the_id(tmp_path):
    parts = parts_of(
        tmp_path,
        f'<g id="g1" inkscape:label="Layer">{BOX}</g><g id="g2" inkscape:label="Layer">{BOX}</g>',
    )
    assert [(part.name, part.key) for part in parts.parts] == [("Layer", "g1"), ("Layer", "g2")]
    layers = layers_of(Path("drawing.svg"), parts, taken=("layer 2",))
    assert [layer.name for layer in layers] == ["Layer", "Layer 3"]


def test_layers_of_a_dxf_have_the_colours_of_its_table(tmp_path):
    # Numbers of colours after the DXF reference: 1 is red, 5 blue, 7 black on white paper.
    document = ezdxf.new(units=5)
    document.layers.add("Low", color=1)
    document.layers.add("Off", color=5).off()
    document.layers.add("Empty", color=3)
    model = document.modelspace()
    model.add_circle((10, 10), 5, dxfattribs={"layer": "Low"})
    model.add_lwpolyline([(0, 0), (2, 0), (2, 2)], close=True, dxfattribs={"layer": "Off"})
    model.add_line((0, 0), (1, 1), dxfattribs={"layer": "Lines"})
    document.blocks.new("dot").add_circle((0, 0), 1)
    model.add_blockref("dot", (3, 3))
    path = tmp_path / "drawing.dxf"
    document.saveas(path)
    parts = read_parts(path)
    assert parts.parts == (
        Part("Low", "Low", "#ff0000"),
        Part("Off", "Off", "#0000ff", hidden=True),
        Part("0", "0", "#000000"),
    )
    assert parts.page == pytest.approx((150, 150), rel=1e-3)  # cm, from 0 to 15


def test_the_job_of_a_drawing_reads_each_part_at_its_size(tmp_path):
    path = tmp_path / "drawing.svg"
    body = f'<g id="a" fill="#a30">{BOX}</g><g id="b"><rect width="10" height="10"/></g>'
    path.write_text(f"{HEAD}{body}</svg>", encoding="utf-8")
    job = job_of_drawing(path, read_parts(path))
    assert (job.sheet.width_mm, job.sheet.height_mm) == (120, 100)
    areas = [read_artwork(source_of(job, layer)).shape.area for layer in job.layers]
    assert areas == pytest.approx([1200, 100])


def test_a_drawing_without_groups_is_one_layer(tmp_path):
    path = tmp_path / "leaf.svg"
    path.write_text(f"{HEAD}{BOX}</svg>", encoding="utf-8")
    (layer,) = job_of_drawing(path, read_parts(path)).layers
    assert (layer.name, layer.group) == ("leaf", "")


def test_errors_name_the_file(tmp_path):
    with pytest.raises(ArtworkError, match=r"leaf\.png: expected a drawing ending in .svg or .dxf"):
        read_parts(tmp_path / "leaf.png")
    with pytest.raises(ArtworkError, match=r"leaf\.svg: the drawing does not exist"):
        read_parts(tmp_path / "leaf.svg")
    path = tmp_path / "vast.svg"
    path.write_text(HEAD.replace("80mm", "80m").replace("80m", "80000mm", 1) + BOX + "</svg>")
    with pytest.raises(JobError, match=r"vast\.svg: width_mm"):
        job_of_drawing(path, read_parts(path))
