"""Styles that give places, sizes and variables.

Values are by hand, from SVG 2 (chapter 7, geometry properties) and CSS Custom Properties for
Cascading Variables, Level 1; ``tests/reference`` has a browser read the same kinds of drawing.
"""

import math

import pytest

from sheetstack.geometry.artwork.source import ArtworkSource
from sheetstack.geometry.artwork.svg.css_geometry import fault, path_data
from sheetstack.geometry.artwork.svg.read import read_svg
from sheetstack.geometry.artwork.svg.variables import put_in
from sheetstack.geometry.errors import ArtworkError
from sheetstack.geometry.finding import Severity

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="100mm" viewBox="0 0 100 100">'
DISC = pytest.approx(math.pi * 30**2, rel=2e-3)


def read(tmp_path, body, head=HEAD):
    path = tmp_path / "drawing.svg"
    path.write_text(f"{head}{body}</svg>", encoding="utf-8")
    return read_svg(ArtworkSource(path))


def messages(artwork):
    return [f.message for f in artwork.findings]


@pytest.mark.parametrize(
    "body",
    [
        '<circle cx="50" cy="50" style="r:30px"/>',
        '<circle cx="50" cy="50" r="5" style="r:30%"/>',  # of the diagonal, sqrt(2) / sqrt(2)
        '<style>circle{r:30px;cx:50px} #a{cy:50px}</style><circle id="a" r="5"/>',
        '<style>circle{r:30px!important}</style><circle cx="50" cy="50" style="r:9px"/>',
        '<circle cx="50" cy="50" style="font-size:20px;r:1.5em"/>',
        '<ellipse cx="50" cy="50" style="rx:30px"/>',  # ry: auto
        '<rect style="x:20px;y:20px;width:60px;height:60px;rx:30px"/>',
        '<g style="--r:30px"><circle cx="50" cy="50" r="5" style="r:var(--r)"/></g>',
        '<g style="--r:30px"><circle cx="50" cy="50" r="var(--r)"/></g>',
        '<g style="--a:VAR(--b);--b:30px"><circle cx="50" cy="50" style="r:var(--a)"/></g>',
        # What a variable stands for is settled where it is declared.
        '<g style="--a:var(--b);--b:30px"><g style="--b:9px"><circle cx="50" cy="50" '
        'style="r:var(--a)"/></g></g>',
        '<style>:root{--r:30px} circle{r:var(--r)}</style><circle cx="50" cy="50"/>',
        # What is used takes over from the element that uses it.
        '<defs><circle id="c" cx="50" cy="50" style="r:var(--r,5px)"/></defs>'
        '<use href="#c" style="--r:30px"/>',
        '<clipPath id="k"><circle cx="50" cy="50" style="r:30px"/></clipPath>'
        '<rect width="100" height="100" clip-path="url(#k)"/>',
    ],
)
def test_a_style_gives_a_disc_its_size(tmp_path, body):
    artwork = read(tmp_path, body)
    assert artwork.shape.area == DISC
    assert messages(artwork) == []


@pytest.mark.parametrize(
    ("body", "area"),
    [
        ('<path d="M0 0h1v1z" style="d:path(\'M10 10H90V50H10Z\')"/>', 3200),
        ('<g style="--d:path(\'M10 10H90V50H10Z\')"><path style="d:var(--d)"/></g>', 3200),
        ('<rect width="9" height="9"/><path d="M10 10H90V50H10Z" style="d:none"/>', 81),
        ('<rect x="10" width="60" height="40" rx="20" style="rx:auto"/>', 2400),
        ('<defs><rect id="a" width="30" height="9"/></defs><use href="#a" style="y:80px"/>', 270),
        # A variable that makes no sense leaves what holds where nothing is given: r = 0.
        ('<rect width="9" height="9"/><circle r="9" style="r:var(--none)"/>', 81),
        ('<rect width="9" height="9"/><circle r="9" style="r:initial"/>', 81),
        # Fill: a variable hides, its fallback does not count, one in a ring has no value.
        ('<rect width="9" height="9"/><g style="--i:none"><rect width="50" height="9" '
         'style="fill:var(--i)"/></g>', 81),
        ('<g style="--i:black"><rect width="9" height="9" fill="var(--i, none)"/></g>', 81),
        ('<g style="--i:none"><rect width="9" height="9" '
         'style="--i:initial;fill:var(--i, black)"/></g>', 81),
        ('<g style="--a:var(--b);--b:var(--a)"><rect width="9" height="9" '
         'style="fill:var(--a, #111)"/></g>', 81),
        ('<g style="--I:black;--i:none"><rect width="9" height="9" style="fill:var(--I)"/></g>',
         81),
        ('<g style="--t:20px"><rect width="9" height="9" style="transform:translate(var(--t), '
         'var(--t)) scale(2)"/></g>', 324),
        ('<rect width="9" height="9"/><g style="--d:NONE"><rect width="50" height="9" '
         'style="display:var(--d)"/></g>', 81),
        ('<mask id="m"><rect width="9" height="9"/></mask><style>mask{mask-type:alpha}</style>'
         '<rect width="50" height="50" mask="url(#m)"/>', 81),
    ],
)  # fmt: skip
def test_a_style_or_variable_counts(tmp_path, body, area):
    artwork = read(tmp_path, body)
    assert artwork.shape.area == pytest.approx(area)
    assert messages(artwork) == []


@pytest.mark.parametrize(
    ("body", "word"),
    [
        ('<circle cx="50" cy="50" r="30" style="r:-5px"/>', "no negative length"),
        ('<circle cx="50" cy="50" r="30" style="r:bogus"/>', "'bogus'"),
        ('<circle cx="50" cy="50" r="30" style="r:calc(1px + 2px)"/>', "calc(1px + 2px)"),
        ('<circle cx="50" cy="50" r="30" style="r:9vw"/>', "unit 'vw'"),
        ('<circle cx="50" cy="50" style="r:30px;r:inherit"/>', "'inherit'"),
        ('<circle cx="50" cy="50" style="r:30"/>', "without a unit"),
        ('<circle cx="50" cy="50" r="30" style="rotate:9deg"/>', "rotate"),
        ('<circle cx="50" cy="50" r="30" style="all:unset"/>', "all"),
        ('<circle cx="50" cy="50" r="30" style="animation:a 9s"/>', "animation"),
        ('<circle cx="50" cy="50" r="30"><animate attributeName="r" to="9"/></circle>', "time"),
        ('<style>@supports (r:1px){circle{r:9px}}</style><circle cx="50" cy="50" r="30"/>',
         "@supports"),
        ('<style>@layer a{circle{r:9px}}</style><circle cx="50" cy="50" r="30"/>', "@layer"),
        ('<circle cx="50" cy="50" r="30" style="clip-path:circle(9px)"/>', "clip-path"),
        ('<svg style="width:9px"><circle cx="50" cy="50" r="30"/></svg>', "width in its style"),
    ],
)  # fmt: skip
def test_what_is_not_read_of_a_style_is_told(tmp_path, body, word):
    artwork = read(tmp_path, body)
    assert artwork.shape.area == DISC
    assert len(artwork.findings) == 1
    assert word in messages(artwork)[0]
    assert artwork.findings[0].severity is not Severity.NOTE


def test_the_root_has_the_size_that_its_style_gives(tmp_path):
    head = '<svg xmlns="http://www.w3.org/2000/svg" {} viewBox="0 0 100 100">'
    body = '<rect width="50" height="50"/>'
    styled = read(tmp_path, body, head.format('style="width:20mm;height:20mm"'))
    assert styled.page == pytest.approx((20, 20))
    assert styled.shape.area == pytest.approx(100)
    assert messages(styled) == []
    responsive = head.format('width="20mm" height="20mm" style="width:100%;height:auto"')
    assert read(tmp_path, body, responsive).shape.area == pytest.approx(100)
    both = read(tmp_path, body, head.format('width="20mm" height="20mm" style="width:90mm"'))
    assert both.page == pytest.approx((20, 20))
    assert ["programs differ" in m for m in messages(both)] == [True]


def test_variables_that_would_grow_without_end_are_refused(tmp_path):
    doubled = ";".join(f"--v{k}:var(--v{k + 1}) var(--v{k + 1})" for k in range(30))
    body = f'<g style="{doubled};--v30:aaaaaaaaaa"><rect width="9" style="fill:var(--v0)"/></g>'
    with pytest.raises(ArtworkError, match="more than 100,000 characters"):
        read(tmp_path, body)
    chained = ";".join(f"--v{k}:var(--v{k + 1})" for k in range(300))
    with pytest.raises(ArtworkError, match="more than 40 deep"):
        read(tmp_path, f'<g style="{chained}"><rect width="9" height="9"/></g>')
    nested = "var(--x," * 3000 + "red" + ")" * 3000
    with pytest.raises(ArtworkError, match="more than 40 deep"):
        read(tmp_path, f'<rect width="9" height="9" style="fill:{nested}"/>')


def test_values_of_variables_are_put_in_once():
    assert put_in({"fill": "red"}, {"--a": "b"}) == {"fill": "red"}
    inside = put_in({"--b": "var(--a) 2", "fill": "var(--c)", "stroke": "var(--b)"}, {"--a": "1"})
    assert inside["stroke"] == "1 2"
    assert "fill" not in inside
    assert inside["--a"] == "1"


def test_path_data_of_a_style_is_a_string():
    assert path_data("path( 'M0 0' )") == "M0 0"
    assert path_data("none") == ""
    assert path_data("M0 0") is None
    assert fault("d", "path('M0 0 5 5')") == ""
    assert fault("d", "path('x')")
