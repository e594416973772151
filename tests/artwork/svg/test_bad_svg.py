"""Broken and hostile SVG files: one sentence that names the file, or a reading with findings."""

import os
import socket
from pathlib import Path

import pytest

from sheetstack.geometry.artwork.read import read_all
from sheetstack.geometry.artwork.source import ArtworkSource
from sheetstack.geometry.artwork.svg import document as svg_xml
from sheetstack.geometry.artwork.svg import path as path_module
from sheetstack.geometry.artwork.svg import units, walk
from sheetstack.geometry.artwork.svg.path import parse_path
from sheetstack.geometry.artwork.svg.read import read_svg
from sheetstack.geometry.errors import ArtworkError, Cancelled
from sheetstack.geometry.job.load import load_job
from sheetstack.geometry.progress import Progress

NS = 'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
HEAD = f'<svg {NS} width="100" height="100">'
RECT = '<rect width="10" height="10"/>'


def svg(body: str) -> bytes:
    return f"{HEAD}{body}</svg>".encode()


def entity_file(declarations: str, body: str) -> bytes:
    return (f"<!DOCTYPE svg [{declarations}]><svg {NS} width='9' height='9'>{body}</svg>").encode()


LAUGHS = '<!ENTITY a0 "ha">' + "".join(
    f'<!ENTITY a{i} "{f"&a{i - 1};" * 10}">' for i in range(1, 12)
)
DEEP = "<g>" * 10_000 + RECT + "</g>" * 10_000
USE_BOMB = "".join(
    f'<g id="u{i}">' + f'<use href="#u{i - 1}"/>' * 10 + "</g>" for i in range(1, 12)
)

ERRORS = {
    "empty": (b"", "is empty"),
    "blank": (b"  \n \n", "is empty"),
    "truncated": (svg(RECT * 50)[:400], "line 1"),
    "not XML": (b"I am a cat, not a drawing.", "not well-formed"),
    "null bytes": (b"\0" * 400, "not well-formed"),
    "null byte within": (svg("<path d='M0 0\0h9'/>"), "not well-formed"),
    "random bytes": (bytes(range(128, 256)) * 9, "not well-formed"),
    "PNG": (b"\x89PNG\r\n\x1a\n" + b"\0" * 60, "a PNG image"),
    "JPEG": (b"\xff\xd8\xff\xe0" + b"\0" * 60, "a JPEG image"),
    "PDF": (b"%PDF-1.4\n", "a PDF document"),
    "compressed": (b"\x1f\x8b\x08\0", "compressed"),
    "other root": (b"<html><body/></html>", "found the element <html>"),
    "other namespace": (b'<svg xmlns="urn:x"/>', "found the element <{urn:x}svg>"),
    "invalid UTF-8": (svg("<title>\xe9</title>").replace(b"\xc3\xa9", b"\xe9"), "not well-formed"),
    "unknown encoding": (b'<?xml version="1.0" encoding="klingon"?>' + svg(RECT), "encoding"),
    "multi-byte encoding": (b'<?xml version="1.0" encoding="shift_jis"?>' + svg(RECT), "decoded"),
    "unclosed element": (f"{HEAD}\n<g>{RECT}</svg>".encode(), "line 2"),
    "two roots": (svg(RECT) * 2, "not well-formed"),
    "billion laughs": (entity_file(LAUGHS, "<title>&a11;</title>"), "entity bomb"),
    "quadratic blow-up": (
        entity_file(f'<!ENTITY a "{"x" * 900}">', f"<title>{'&a;' * 200_000}</title>"),
        "entity bomb",
    ),
    "long entity": (entity_file(f'<!ENTITY a "{"x" * 50_000}">', "<title>&a;</title>"), "bomb"),
    "external entity": (
        entity_file('<!ENTITY a SYSTEM "file:///etc/hostname">', "<title>&a;</title>"),
        "outside the file",
    ),
    "external parameter entity": (
        entity_file('<!ENTITY % a SYSTEM "http://127.0.0.1:9/a.dtd"> %a;', RECT),
        "outside the file",
    ),
    "undefined entity": (svg("<title>&nowhere;</title>"), "undefined entity"),
    "deep nesting": (svg(DEEP), "nested more than 1000 deep"),
    "no size": (f"<svg {NS}>{RECT}</svg>".encode(), "its size is unknown"),
    "zero size": (f'<svg {NS} width="0" height="9">{RECT}</svg>'.encode(), "above 0"),
    "negative size": (f'<svg {NS} width="-9" height="9">{RECT}</svg>'.encode(), "above 0"),
    "empty view box": (f'<svg {NS} viewBox="0 0 0 0">{RECT}</svg>'.encode(), "zero size"),
    "short view box": (f'<svg {NS} viewBox="0 0 9">{RECT}</svg>'.encode(), "expected 4"),
    "view box of words": (f'<svg {NS} viewBox="a b c d">{RECT}</svg>'.encode(), "list of numbers"),
    "percentage of nothing": (
        f'<svg {NS} width="50%" height="50%"/>'.encode(),
        "its size is unknown",
    ),
    "page in light years": (f'<svg {NS} width="9ly" height="9"/>'.encode(), "unit 'ly'"),
    "page is not a number": (f'<svg {NS} width="NaN" height="9"/>'.encode(), "'NaN'"),
    "unknown unit": (svg('<rect id="a" width="9furlong" height="9"/>'), "rect 'a' (line 1)"),
    "length of words": (svg('<circle r="big"/>'), "expected a length"),
    "NaN length": (svg('<rect x="NaN" width="9" height="9"/>'), "'NaN'"),
    "huge length": (svg('<rect x="1e300" width="9" height="9"/>'), "rect (line 1)"),
    "infinite length": (svg('<rect x="1e999" width="9" height="9"/>'), "finite"),
    "huge coordinate": (svg('<path id="far" d="M0 0L1e300 0L9 9z"/>'), "path 'far'"),
    "infinite coordinate": (svg('<path d="M0 0L1e999 0L9 9z"/>'), "finite number"),
    "infinite stroke": (
        svg('<path fill="none" stroke="red" d="M0 0L1e999 0L9 9z"/>'),
        "finite number",
    ),
    "far too large": (svg('<rect width="9e9" height="9"/>'), "expected less than"),
    "absurd stroke": (svg('<path stroke="red" stroke-width="1e8" d="M0 0h90"/>'), "a stroke width"),
    "bad transform": (svg(f'<g transform="spin(30)">{RECT}</g>'), "'spin'"),
    "short transform": (svg(f'<g transform="matrix(1 2 3)">{RECT}</g>'), "matrix with 3 values"),
    "transform of words": (svg(f'<g transform="rotate(x)">{RECT}</g>'), "list of numbers"),
    "half a transform": (svg(f'<g transform="rotate(30">{RECT}</g>'), "transform functions"),
    "transform origin": (
        svg('<rect width="9" height="9" transform="rotate(9)" style="transform-origin:center"/>'),
        "transform-origin",
    ),
    "bad aspect ratio": (
        f'<svg {NS} viewBox="0 0 9 9" preserveAspectRatio="middle">{RECT}</svg>'.encode(),
        "'middle'",
    ),
    "use of itself": (svg('<g id="loop"><use xlink:href="#loop"/></g>'), "'loop'"),
    "circular use": (
        svg('<g id="a"><use href="#b"/></g><g id="b"><use href="#a"/></g>'),
        "that would never end",
    ),
    "use of the root": (
        f'<svg id="top" {NS} width="9" height="9"><use href="#top"/></svg>'.encode(),
        "'top'",
    ),
    "circular clip": (
        svg(
            '<clipPath id="a"><rect width="9" height="9" clip-path="url(#a)"/></clipPath>'
            '<rect width="9" height="9" clip-path="url(#a)"/>'
        ),
        "clipPath 'a'",
    ),
    "absurd dash": (
        svg('<path stroke="red" stroke-dasharray="1e300" d="M0 0h90"/>'),
        "a dash of",
    ),
    "infinite arc": (svg('<path d="M0 0A5 5 1e999 0 1 9 9z"/>'), "finite number"),
    "dashes without end": (
        svg('<path d="M0 0h90" stroke="red" stroke-dasharray="1e-6"/>'),
        "dashes",
    ),
}


@pytest.mark.parametrize("name", ERRORS)
def test_broken_file_gives_one_sentence_that_names_it(tmp_path, name):
    data, said = ERRORS[name]
    path = tmp_path / "broken.svg"
    path.write_bytes(data)
    with pytest.raises(ArtworkError) as caught:
        read_svg(ArtworkSource(path))
    text = str(caught.value)
    assert text.startswith(str(path))
    assert said in text
    assert text.endswith(".")
    assert "\n" not in text
    assert len(text) < 400 + len(str(path))


READ = {
    "bad path data": (svg('<path d="M0 0h10v10h-10z M5 huh"/>'), 100, "artwork.path-data"),
    "path that starts wrong": (svg(f'<path d="L9 9"/>{RECT}'), 100, "artwork.path-data"),
    "NaN in path data": (svg(f'<path d="M0 0LNaN 5"/>{RECT}'), 100, "artwork.path-data"),
    "odd points": (svg('<polygon points="0,0 10,0 10,10 5"/>'), 50, "artwork.path-data"),
    "words for points": (svg('<polygon points="0,0 10,0 10,10 x"/>'), 50, "artwork.path-data"),
    "unknown colour": (svg('<rect width="10" height="10" fill="#12"/>'), 100, "artwork.style"),
    "invalid CSS": (
        svg(f"<style>rect{{fill none}} p{{g{{x:y}}}} @@ ;;</style>{RECT}"),
        100,
        "artwork.style",
    ),
    "unknown selector": (
        svg(f"<style>rect &gt;&gt; g{{fill:none}}</style>{RECT}"),
        100,
        "artwork.style",
    ),
    "imported style sheet": (
        b'<?xml-stylesheet href="http://127.0.0.1:9/a.css"?>' + svg(RECT),
        100,
        "artwork.style",
    ),
    "negative radius": (svg(f'<circle r="-5"/>{RECT}'), 100, "artwork.shape"),
    "negative stroke width": (
        svg('<rect x="5" y="5" width="10" height="10" stroke="red" stroke-width="-3"/>'),
        121,  # the width that is not understood leaves the initial value of 1
        "artwork.style",
    ),
    "missing reference": (svg(f'<use href="#gone"/>{RECT}'), 100, "artwork.reference"),
    "reference into the network": (
        svg(f'<use href="http://127.0.0.1:9/cat.svg#cat"/>{RECT}'),
        100,
        "artwork.reference",
    ),
    "image from the network": (
        svg(f'<image href="http://127.0.0.1:9/a.png" width="9" height="9"/>{RECT}'),
        100,
        "artwork.image",
    ),
    "shape without area": (svg(f'<path d="M0 0h50h-20"/>{RECT}'), 100, "artwork.no-area"),
    "everything flattened": (
        svg(f'{RECT}<g transform="scale(0)"><circle r="9"/></g>'),
        100,
        "artwork.no-area",
    ),
}


@pytest.mark.parametrize("name", READ)
def test_file_whose_meaning_is_clear_is_read_with_a_finding(tmp_path, name):
    data, area, code = READ[name]
    path = tmp_path / "odd.svg"
    path.write_bytes(data)
    artwork = read_svg(ArtworkSource(path))
    assert artwork.shape.area == pytest.approx(area * (25.4 / 96) ** 2, rel=1e-6)
    assert {f.code for f in artwork.findings} == {code}
    assert all("\n" not in f.message for f in artwork.findings)


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "iso-8859-1", "cp1252"])
def test_other_encodings_are_read(tmp_path, encoding):
    declared = {"utf-8-sig": "utf-8", "cp1252": "windows-1252"}.get(encoding, encoding)
    text = f'<?xml version="1.0" encoding="{declared}"?>{HEAD}<g id="Fell über">{RECT}</g></svg>'
    path = tmp_path / "drawing.svg"
    path.write_bytes(text.encode(encoding))
    artwork = read_svg(ArtworkSource(path, group="Fell über"))
    assert artwork.shape.area == pytest.approx(100 * (25.4 / 96) ** 2)


def test_utf_16_entity_bomb_is_counted_in_its_encoding(tmp_path):
    text = entity_file(f'<!ENTITY a "{"x" * 900}">', f"<title>{'&a;' * 20_000}</title>").decode()
    path = tmp_path / "bomb.svg"
    path.write_bytes(text.encode("utf-16"))
    with pytest.raises(ArtworkError, match="entity bomb"):
        read_svg(ArtworkSource(path))


def test_tree_of_uses_is_refused_before_it_fills_the_memory(tmp_path, monkeypatch):
    monkeypatch.setattr(walk, "MOST_REPEATED", 500)
    tree = f'<g id="u0">{RECT}</g>' + "".join(
        f'<g id="u{i}"><use href="#u{i - 1}"/><use href="#u{i - 1}" x="1"/></g>'
        for i in range(1, 40)
    )
    path = tmp_path / "tree.svg"
    path.write_bytes(svg(f'<defs>{tree}</defs><use href="#u39"/>'))
    with pytest.raises(ArtworkError, match=r"tree\.svg: .*more than 500 elements that 'use'"):
        read_svg(ArtworkSource(path))


def test_uses_of_a_long_path_are_counted_by_its_pieces(tmp_path, monkeypatch):
    monkeypatch.setattr(walk, "MOST_REPEATED_PIECES", 1000)
    body = f'<defs><path id="p" d="M0 0{"l1 1" * 200}v9z"/></defs>' + '<use href="#p"/>' * 9
    path = tmp_path / "long.svg"
    path.write_bytes(svg(body))
    with pytest.raises(ArtworkError, match="more than 1,000 lines and curves"):
        read_svg(ArtworkSource(path))


@pytest.mark.parametrize("selector", ["g " * 200 + "rect", ":not(" * 60 + "g" + ")" * 60])
def test_selector_nested_too_deep_is_passed_over_and_told(tmp_path, selector):
    path = tmp_path / "nested.svg"
    style = f"<style>{selector}{{fill:none}} g rect{{fill:red}}</style>"
    path.write_bytes(svg(f"{style}<g>{RECT}</g>"))
    artwork = read_svg(ArtworkSource(path))
    assert artwork.shape.area == pytest.approx(100 * (25.4 / 96) ** 2)
    (told,) = artwork.findings
    assert told.code == "artwork.style"
    assert "parts within each other" in told.sentence()


@pytest.mark.parametrize("text", ["{0} {{fill:none}}", "@media {0} {{}}", "rect {{fill: {0}}}"])
def test_brackets_deeper_than_the_interpreter_goes_are_told(tmp_path, text):
    path = tmp_path / "deep.svg"
    deep = ":not(" * 3000 + "g" + ")" * 3000
    path.write_bytes(svg(f"<style>{text.format(deep)}</style>{RECT}"))
    artwork = read_svg(ArtworkSource(path))
    assert artwork.shape.area == pytest.approx(100 * (25.4 / 96) ** 2)
    assert artwork.findings
    assert all(len(told.sentence()) <= 300 for told in artwork.findings)


def test_use_that_multiplies_without_end_is_stopped(tmp_path, monkeypatch):
    monkeypatch.setattr("sheetstack.geometry.artwork.svg.walk.MOST_ELEMENTS", 20_000)
    path = tmp_path / "bomb.svg"
    path.write_bytes(svg(f'<rect id="u0" width="1" height="1"/>{USE_BOMB}'))
    with pytest.raises(ArtworkError, match="more than 20,000 elements"):
        read_svg(ArtworkSource(path))


def test_nesting_just_within_the_limit_is_read(tmp_path):
    path = tmp_path / "deep.svg"
    path.write_bytes(svg("<g>" * 990 + RECT + "</g>" * 990))
    assert not read_svg(ArtworkSource(path)).shape.is_empty


def test_missing_file_and_folder_are_named(tmp_path):
    for path in (tmp_path / "gone.svg", tmp_path):
        with pytest.raises(ArtworkError, match="cannot be read") as caught:
            read_svg(ArtworkSource(path))
        assert str(path) in str(caught.value)


def test_unreadable_file_is_named(tmp_path, monkeypatch):
    path = tmp_path / "locked.svg"
    path.write_bytes(svg(RECT))
    path.chmod(0)
    if os.access(path, os.R_OK):  # root may read everything: refuse in its stead

        def refuse(self: Path) -> bytes:
            raise PermissionError(13, "Permission denied", str(self))

        monkeypatch.setattr(Path, "read_bytes", refuse)
    with pytest.raises(ArtworkError, match=r"locked.svg: cannot be read \(Permission denied\)"):
        read_svg(ArtworkSource(path))


def test_file_beyond_the_largest_is_refused_before_it_is_read(tmp_path, monkeypatch):
    monkeypatch.setattr(svg_xml, "LARGEST_FILE", 100)
    path = tmp_path / "large.svg"
    path.write_bytes(svg(RECT) + b" " * 200)
    with pytest.raises(ArtworkError, match="too large"):
        read_svg(ArtworkSource(path))


def test_nothing_is_fetched_for_an_external_document_type(tmp_path, monkeypatch):
    path = tmp_path / "drawing.svg"
    data = svg(RECT)
    path.write_bytes(b'<!DOCTYPE svg SYSTEM "http://192.0.2.1:9/svg.dtd">' + data)

    def refuse(*_: object) -> None:
        raise AssertionError("the reader tried to open a connection")

    monkeypatch.setattr(socket.socket, "connect", refuse)
    assert not read_svg(ArtworkSource(path)).shape.is_empty


def test_a_long_drawing_can_be_cancelled_while_it_is_walked(tmp_path):
    shapes = '<rect width="9" height="9"/>' * 1000
    svg = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9">{shapes}</svg>'
    (tmp_path / "long.svg").write_text(svg)
    (tmp_path / "job.toml").write_text(
        'title = "Long"\n[sheet]\nwidth_mm = 99\nheight_mm = 99\n[[layers]]\nname = "A"\n'
        'colour = "#000000"\nartwork = "long.svg"\n'
    )
    heard = []

    def report(share, what):
        heard.append(what)
        if len(heard) == 3:
            raise Cancelled("Stopped.")

    with pytest.raises(Cancelled):
        read_all(load_job(tmp_path / "job.toml"), Progress(report))
    assert heard == ["A: reading long.svg"] * 3


@pytest.mark.parametrize(
    "text",
    [
        "M1 2L3 , 4-5.5.5e3 6z m7,8 9 10",
        "M1 2L3,,4 5",
        "M1 2, L3 4 5 6",
        "M1 2L3 4, 5 6 7x8 9",
        "M1 2 L ,3 4",
        "M1 2 3 4,",
        "M0 0a1 1 0 0110 10 1 1 0 1 1 5 5",
    ],
)
def test_long_path_data_is_read_in_pieces_as_in_one(monkeypatch, text):
    whole = parse_path(text), _numbers_of(text)
    for at_once in range(1, 9):
        monkeypatch.setattr(units, "_AT_ONCE", at_once)
        monkeypatch.setattr(path_module, "_AT_ONCE", at_once)
        pieces = parse_path(text), _numbers_of(text)
        assert pieces[0][0].rows.tolist() == whole[0][0].rows.tolist()
        assert pieces[0][0].kind.tolist() == whole[0][0].kind.tolist()
        assert (pieces[0][1], pieces[1]) == (whole[0][1], whole[1])


def _numbers_of(text):
    try:
        return units.number_list(text[1:])
    except ValueError as error:
        return str(error)
