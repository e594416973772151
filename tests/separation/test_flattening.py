"""What cannot be made flat is told in a sentence; what is too fine becomes one colour."""

from __future__ import annotations

import base64
import io

import numpy as np
import pytest
from PIL import Image

from sheetstack.geometry.finding import Severity
from sheetstack.geometry.separation.separate import read_and_separate
from sheetstack.geometry.separation.settings import SeparationSettings
from tests.separation.drawings import written

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 80">'
SQUARE = '<rect x="60" y="20" width="30" height="30" fill="#206080"/>'


def photo():
    """Smooth shades all over: nothing in it is flat."""
    y, x = np.mgrid[0:64, 0:96] / 96
    shades = np.stack([x, y, 0.5 + 0.5 * np.sin(9 * x * y)], axis=2)
    data = io.BytesIO()
    Image.fromarray((255 * shades).astype(np.uint8)).save(data, "PNG")
    return "data:image/png;base64," + base64.b64encode(data.getvalue()).decode()


@pytest.mark.parametrize(
    ("reference", "told"),
    [
        (photo(), "holds a photograph or shades"),
        ("data:image/png;base64,AAAA", "is no PNG, JPEG or TIFF picture"),
        ("data:image/svg+xml;utf8,<svg/>", "is no PNG, JPEG or TIFF picture"),
        ("photo.png", "is not in the drawing itself"),
        ("http://127.0.0.1:9/photo.png", "is not in the drawing itself"),
    ],
)
def test_a_picture_that_cannot_be_made_flat_is_told(reference, told, tmp_path):
    body = f"<image id='cat' x='5' y='6' width='30' height='20' href='{reference}'/>"
    path = written(tmp_path, "drawing.svg", HEAD + SQUARE + body.replace("<svg/>", "") + "</svg>")
    separation = read_and_separate(path, SeparationSettings())
    (finding,) = separation.findings
    assert finding.severity is Severity.SPOILS
    assert "Image 'cat' (line 1)" in finding.message
    assert told in finding.message
    assert len(separation.layers) == 1


def test_a_pattern_too_fine_to_be_drawn_becomes_the_mean_of_its_tile(tmp_path):
    fine = (
        '<pattern id="p" width=".2" height=".2" patternUnits="userSpaceOnUse">'
        '<rect width=".1" height=".2" fill="#fff"/>'
        '<rect x=".1" width=".1" height=".2" fill="#000"/></pattern>'
        '<rect width="50" height="80" fill="url(#p)"/>'
    )
    path = written(tmp_path, "drawing.svg", f"{HEAD}{SQUARE}{fine}</svg>")
    separation = read_and_separate(path, SeparationSettings(ground="#ffe0a0"))
    assert [f.code for f in separation.findings] == ["artwork.fine-pattern"]
    assert {layer.colour for layer in separation.layers} == {"#206080", "#808080"}


def test_a_pattern_within_itself_ends(tmp_path):
    own = (
        '<pattern id="p" width="10" height="10" patternUnits="userSpaceOnUse">'
        '<rect width="5" height="10" fill="#c03"/><rect width="9" height="9" fill="url(#p)"/>'
        '</pattern><rect x="10" y="20" width="30" height="30" fill="url(#p)"/>'
    )
    path = written(tmp_path, "drawing.svg", f"{HEAD}{own}</svg>")
    (layer,) = read_and_separate(path, SeparationSettings()).layers
    assert layer.colour == "#cc0033"


def test_a_mask_in_shades_leaves_a_lighter_colour_and_is_not_told(tmp_path):
    masked = (
        '<mask id="m"><rect width="100" height="80" fill="#808080"/></mask>'
        '<g mask="url(#m)"><rect x="10" y="20" width="30" height="30" fill="#000"/></g>'
    )
    path = written(tmp_path, "drawing.svg", f"{HEAD}{SQUARE}{masked}</svg>")
    separation = read_and_separate(path, SeparationSettings())
    assert not separation.findings
    assert {layer.colour for layer in separation.layers} == {"#206080", "#808080"}
