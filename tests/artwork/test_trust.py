"""What a job may read: its artwork, and nothing that a drawing points to."""

from __future__ import annotations

import json
import subprocess
import sys
from html.parser import HTMLParser

import ezdxf
import pytest

#: Notes every file opened and every connection made while a job is built.
WATCHED = """
import json, sys
opened = []
def note(event, args):
    if event == "open" and isinstance(args[0], (str, bytes)):
        opened.append(args[0] if isinstance(args[0], str) else args[0].decode())
    elif event in ("socket.connect", "socket.getaddrinfo", "urllib.Request"):
        opened.append(event)
sys.addaudithook(note)
from sheetstack.geometry.cli.main import main
try:
    main(["build", sys.argv[1], "--out", sys.argv[2]])
except SystemExit:
    pass
json.dump(opened, open(sys.argv[3], "w"))
"""
JOB = """
title = "{title}"
[sheet]
width_mm = 120
height_mm = 120
material = "card"
thickness_mm = 0.4
[[layers]]
name = "{name}"
colour = "#204060"
artwork = "{artwork}"
"""
SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="80mm" height="80mm" viewBox="0 0 80 80" {more}>'
)
RECT = '<rect x="20" y="20" width="30" height="30"/></svg>'
DRAWINGS = {
    "entity": '<!DOCTYPE svg [<!ENTITY x SYSTEM "secret.txt">]>'
    + SVG.format(more="")
    + "<title>&x;</title>"
    + RECT,
    "doctype": '<!DOCTYPE svg SYSTEM "secret.txt">' + SVG.format(more="") + RECT,
    "xinclude": SVG.format(more='xmlns:xi="http://www.w3.org/2001/XInclude"')
    + '<xi:include href="secret.txt" parse="text"/>'
    + RECT,
    "import": SVG.format(more="")
    + '<style>@import "secret.txt"; rect { fill: red }</style>'
    + RECT,
    "style sheet": '<?xml-stylesheet href="secret.txt"?>' + SVG.format(more="") + RECT,
    "use": SVG.format(more="") + '<use href="secret.txt#a"/>' + RECT,
    "image": SVG.format(more="") + '<image href="secret.txt" width="9" height="9"/>' + RECT,
    "fetched": SVG.format(more="")
    + '<image href="http://localhost:9/a" width="9" height="9"/>'
    + RECT,
}


def files_opened(tmp_path, drawing, name="drawing.svg"):
    (tmp_path / "secret.txt").write_text("<g id='a'/>", encoding="utf-8")
    (tmp_path / name).write_text(drawing, encoding="utf-8")
    job = JOB.format(title="Trust", name="Layer", artwork=name)
    (tmp_path / "job.toml").write_text(job, encoding="utf-8")
    told = tmp_path / "told.json"
    command = [sys.executable, "-c", WATCHED, tmp_path / "job.toml", tmp_path / "out", told]
    ended = subprocess.run(command, capture_output=True, text=True, check=False, cwd=tmp_path)
    assert "Traceback" not in ended.stderr
    return json.loads(told.read_text(encoding="utf-8"))


@pytest.mark.parametrize("drawing", DRAWINGS.values(), ids=DRAWINGS)
def test_a_drawing_reads_nothing_that_it_points_to(tmp_path, drawing):
    opened = files_opened(tmp_path, drawing)
    assert any(name.endswith("drawing.svg") for name in opened)
    assert not any(
        name.endswith("secret.txt") or name.startswith(("socket", "urllib")) for name in opened
    )


def test_a_dxf_reads_no_drawing_that_it_refers_to(tmp_path):
    drawing = ezdxf.new()
    drawing.modelspace().add_lwpolyline([(0, 0), (30, 0), (30, 30), (0, 30)], close=True)
    drawing.add_xref_def("secret.txt", "other")
    drawing.modelspace().add_blockref("other", (0, 0))
    drawing.saveas(tmp_path / "in.dxf")
    text = (tmp_path / "in.dxf").read_text(encoding="utf-8")
    opened = files_opened(tmp_path, text, "drawing.dxf")
    assert any(name.endswith("drawing.dxf") for name in opened)
    assert not any(name.endswith("secret.txt") for name in opened)


class Tags(HTMLParser):
    def __init__(self):
        super().__init__()
        self.found = []

    def handle_starttag(self, tag, attrs):
        self.found.append((tag, tuple(name for name, _ in attrs)))


def test_a_name_that_is_a_script_is_text_in_the_report(tmp_path):
    """Read by Python's HTML parser, not by a browser: the same tags whatever the names are."""
    found = []
    for number, name in enumerate(
        ["Plain", "<script>alert(1)</script><img src=x onerror=alert(1)>"]
    ):
        folder = tmp_path / str(number)
        folder.mkdir()
        (folder / "a.svg").write_text(SVG.format(more="") + RECT, encoding="utf-8")
        job = JOB.format(title=name, name=name, artwork="a.svg")
        (folder / "job.toml").write_text(job, encoding="utf-8")
        command = [sys.executable, "-m", "sheetstack.geometry.cli", "build", folder / "job.toml"]
        subprocess.run([*command, "--out", folder / "out"], check=True, capture_output=True)
        tags = Tags()
        tags.feed((folder / "out" / "report.html").read_text(encoding="utf-8"))
        found.append(tags.found)
        assert not any(a.startswith("on") for _, names in tags.found for a in names)
    assert found[0] == found[1]
