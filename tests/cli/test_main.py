from __future__ import annotations

import io
import json
import os
import pty
import shlex
import signal
import subprocess
import sys
from contextlib import suppress

import pytest
import shapely

from sheetstack.geometry import __version__
from sheetstack.geometry.cli.main import main
from sheetstack.geometry.cli.meter import Meter
from sheetstack.geometry.cli.parser import parser
from sheetstack.geometry.errors import Cancelled
from sheetstack.geometry.files.written_list import LIST

SVG = """<svg xmlns="http://www.w3.org/2000/svg" width="80mm" height="60mm" viewBox="0 0 80 60">
<g id="base"><path fill-rule="evenodd"
  d="M10 10H70V50H10Z M25 20H40V40H25Z"/></g>
<g id="top"><circle cx="55" cy="30" r="8"/></g></svg>"""

JOB = """title = "Test"
[sheet]
width_mm = 120
height_mm = 100
margin_mm = 15
material = "card"
thickness_mm = 0.4
[registration]
hole_diameter_mm = 4
inset_mm = 7
[[layers]]
name = "Base"
colour = "#c08040"
artwork = "art.svg"
group = "base"
[[layers]]
name = "Top"
colour = "#201010"
artwork = "art.svg"
group = "top"
"""


@pytest.fixture
def job(tmp_path):
    (tmp_path / "art.svg").write_text(SVG, encoding="utf-8")
    path = tmp_path / "job.toml"
    path.write_text(JOB, encoding="utf-8")
    return path


def files(folder):
    return sorted(p.name for p in folder.iterdir()) if folder.exists() else []


def test_build_writes_everything_and_ends_clean(job, tmp_path, capsys):
    out = tmp_path / "results"
    assert main(["build", str(job), "--out", str(out)]) == 0
    names = files(out)
    for name in ("01-base.stl", "01-base-as-drawn.svg", "02-top.stl", "02-top-as-drawn.svg"):
        assert name in names
    for name in ("preview.png", "stack.png", "report.json", "report.html"):
        assert name in names
    assert [n for n in names if n.startswith(".")] == [LIST]
    told = capsys.readouterr().out
    assert "Base" in told
    assert "closed" in told
    report = json.loads((out / "report.json").read_text(encoding="utf-8"))
    assert len(report["layers"]) == 2


def test_build_writes_beside_the_job_when_no_folder_is_named(job):
    assert main(["build", str(job), "--quiet"]) == 0
    assert "preview.png" in files(job.parent / "out")


def test_artwork_named_like_an_output_is_never_written_over(job, capsys):
    own = (job.parent / "art.svg").rename(job.parent / "01-base-as-drawn.svg")
    job.write_text(JOB.replace("art.svg", own.name), encoding="utf-8")
    before = {p.name: p.read_bytes() for p in job.parent.iterdir()}
    assert main(["build", str(job), "--out", str(job.parent)]) == 2
    assert f"{own.name}: is in the way" in capsys.readouterr().err
    assert {p.name: p.read_bytes() for p in job.parent.iterdir()} == before


def test_sheets_of_a_layer_that_was_renamed_do_not_stay_among_the_new_ones(job, tmp_path, capsys):
    out = tmp_path / "results"
    assert main(["build", str(job), "--out", str(out), "-q"]) == 0
    assert main(["export", str(job), "--out", str(out), "-q"]) == 0
    (out / "notes.txt").write_text("mine")
    job.write_text(JOB.replace('"Top"', '"Light"'), encoding="utf-8")
    assert main(["build", str(job), "--out", str(out), "-q"]) == 0
    names = files(out)
    assert "02-top.stl" not in names
    assert {"02-light.stl", "02-top-cut.svg", "notes.txt"} <= set(names)
    # Another job's folder is not taken over.
    job.write_text(JOB.replace('"Test"', '"Other"'), encoding="utf-8")
    assert main(["build", str(job), "--out", str(out)]) == 2
    assert "holds the files of another job, 'Test'" in capsys.readouterr().err
    assert files(out) == names


def test_check_writes_nothing(job, capsys):
    before = files(job.parent)
    assert main(["check", str(job)]) == 0
    assert files(job.parent) == before
    assert "islands" in capsys.readouterr().out


def test_a_finding_that_spoils_gives_exit_code_1(job, capsys):
    job.write_text(JOB.replace("width_mm = 120", "width_mm = 60"), encoding="utf-8")
    assert main(["check", str(job)]) == 1
    assert "SPOILS" in capsys.readouterr().out


def test_unusable_input_gives_exit_code_2_and_one_sentence(job, capsys):
    job.write_text(JOB.replace("width_mm = 120", "width_mm = -1"), encoding="utf-8")
    assert main(["build", str(job)]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.count("\n") == 1
    assert "width_mm = -1" in told.err
    assert not (job.parent / "out").exists()


def test_help_teaches(capsys):
    with pytest.raises(SystemExit) as end:
        main(["--help"])
    assert end.value.code == 0
    told = capsys.readouterr().out
    for word in ("build", "check", "exit codes", "[[layers]]", "artwork"):
        assert word in told


@pytest.mark.parametrize(
    "command", ["build", "check", "layers", "proof", "render", "export", "kerf-strip", "keys"]
)
def test_help_of_each_command_shows_an_example(command, capsys):
    with pytest.raises(SystemExit) as end:
        main([command, "--help"])
    assert end.value.code == 0
    told = capsys.readouterr().out
    example = told.split("example:")[1]
    # What is shown can be typed: the words of the example are taken as they stand.
    words = shlex.split(example.strip().split("\n")[0].split("|")[0])
    assert words[:2] == ["sheetstack", command]
    assert parser().parse_args(words[1:]).run is not None


def test_the_version_is_told(capsys):
    with pytest.raises(SystemExit) as end:
        main(["--version"])
    assert end.value.code == 0
    assert capsys.readouterr().out == f"sheetstack {__version__}\n"


def test_no_command_is_refused_by_usage(capsys):
    with pytest.raises(SystemExit) as end:
        main([])
    assert end.value.code == 2
    assert "usage" in capsys.readouterr().err


def test_a_file_gets_no_progress_and_a_terminal_does():
    plain = io.StringIO()
    Meter(plain)(0.5, "cutting")
    assert plain.getvalue() == ""
    leader, follower = pty.openpty()
    with os.fdopen(follower, "w") as terminal:
        Meter(terminal)(0.5, "cutting")
        assert b" 50% cutting" in os.read(leader, 100)
    os.close(leader)


def test_a_meter_stops_the_work_at_its_next_step():
    meter = Meter(io.StringIO())
    meter.stop(signal.SIGINT, None)
    with pytest.raises(Cancelled):
        meter(0.1, "cutting")
    with pytest.raises(KeyboardInterrupt):
        meter.stop(signal.SIGINT, None)


def test_ctrl_c_leaves_no_output(tmp_path):
    rows = "".join(
        f'<circle cx="{10 + 10 * i}" cy="{10 + 10 * j}" r="4"/>'
        for i in range(90)
        for j in range(90)
    )
    (tmp_path / "art.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="910mm" height="910mm" '
        f'viewBox="0 0 910 910">{rows}</svg>',
        encoding="utf-8",
    )
    job = tmp_path / "job.toml"
    job.write_text(
        'title = "Long"\n[sheet]\nwidth_mm = 1000\nheight_mm = 1000\n'
        '[[layers]]\nname = "Dots"\ncolour = "#000000"\nartwork = "art.svg"\n',
        encoding="utf-8",
    )
    before = files(tmp_path)
    leader, follower = pty.openpty()
    running = subprocess.Popen(
        [sys.executable, "-m", "sheetstack.geometry.cli", "build", str(job)],
        stderr=follower,
        stdout=subprocess.DEVNULL,
    )
    os.close(follower)
    told = b""
    while b"%" not in told:  # the work has begun
        told += os.read(leader, 1000)
    running.send_signal(signal.SIGINT)
    assert running.wait(timeout=120) == 130
    with suppress(OSError):  # a closed terminal
        while more := os.read(leader, 1000):
            told += more
    os.close(leader)
    assert b"sheetstack: stopped; nothing was written." in told
    assert b"Traceback" not in told
    assert files(tmp_path) == before


def test_the_written_solid_is_the_sheet_that_is_reported(job):
    out = job.parent / "out"
    assert main(["build", str(job), "-q"]) == 0
    report = json.loads((out / "report.json").read_text(encoding="utf-8"))
    from sheetstack.geometry.files.stl import read_stl
    from sheetstack.geometry.mesh.check import volume
    from sheetstack.geometry.mesh.solid import Mesh

    vertices, faces = read_stl(out / "01-base.stl")
    assert volume(Mesh(vertices, faces)) == pytest.approx(
        report["layers"][0]["volume_mm3"], rel=1e-6
    )
    # The opening is the square ring of the drawing minus its bridge.
    ring = shapely.box(10, 10, 70, 50).area - 15 * 20
    assert report["layers"][0]["volume_mm3"] / 0.4 > 120 * 100 - ring - 3 * 3.2 * 4


def test_the_shell_completes_commands_and_options():
    shtab = pytest.importorskip("shtab")
    script = shtab.complete(parser(), shell="bash")
    for word in ("kerf-strip", "--nest", "--turntable"):
        assert word in script
    words = "_shtab_sheetstack sheetstack ex sheetstack; echo ${COMPREPLY[@]}"
    setting = "COMP_WORDS=(sheetstack ex); COMP_CWORD=1"
    done = subprocess.run(
        ["bash", "-c", f"{script}\n{setting}; {words}"], capture_output=True, text=True, check=False
    )
    assert done.stdout.split() == ["export"]
