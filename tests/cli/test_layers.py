import dataclasses
import json
import os
import signal
import subprocess
import sys
import time

import numpy as np
import pytest
from PIL import Image
from skimage import data

from sheetstack.geometry.cli.main import main
from sheetstack.geometry.files.written_list import LIST
from sheetstack.geometry.tracing.settings import TracingSettings


@pytest.fixture
def picture(tmp_path, monkeypatch):
    # Worked on at half the usual size, to be quick.
    monkeypatch.setattr("sheetstack.geometry.tracing.trace._LEAST_PIXELS", 240)
    monkeypatch.setattr("sheetstack.geometry.tracing.trace._PIXELS_A_STROKE", 3.0)
    path = tmp_path / "cat.png"
    Image.fromarray(data.chelsea()).resize((240, 160)).save(path)
    return path


def test_the_files_appear_and_the_job_builds(picture, tmp_path, capsys):
    out = tmp_path / "out"
    assert main(["layers", str(picture), "--out", str(out), "--detail", "0.2"]) == 0
    assert sorted({p.name for p in out.iterdir()} - {LIST}) == [
        ".layers-as-made.svg",
        "histogram.png",
        "job.toml",
        "layers.svg",
        "preview.png",
        "score.json",
    ]
    shown = capsys.readouterr().out
    assert "Highlight" in shown
    assert "CIEDE2000" in shown
    score = json.loads((out / "score.json").read_text())
    assert [layer["name"] for layer in score["layers"]] == ["Mid-tone", "Shadow", "Highlight"]
    assert len(score["cuts"]) == 3
    assert main(["build", str(out / "job.toml"), "-q"]) == 0


def test_a_picture_named_like_an_output_is_never_written_over(picture, capsys):
    own = picture.rename(picture.with_name("preview.png"))
    before = own.read_bytes()
    assert main(["layers", str(own), "--out", str(own.parent), "-q", "--detail", "0"]) == 2
    assert "is in the way and was not written by Sheetstack" in capsys.readouterr().err
    assert own.read_bytes() == before
    assert [p.name for p in own.parent.iterdir()] == ["preview.png"]


def test_without_a_folder_the_files_lie_beside_the_picture(picture):
    assert main(["layers", str(picture), "-q", "--detail", "0"]) == 0
    assert (picture.parent / "cat-layers" / "job.toml").is_file()


def test_a_sweep_is_drawn_on_request(picture, tmp_path, monkeypatch):
    monkeypatch.setattr("sheetstack.geometry.tracing.trials._PIXELS", 200)
    out = tmp_path / "out"
    words = ["--sweep", "-q", "--sheet-width-mm", "140", "--detail", "0"]
    assert main(["layers", str(picture), "--out", str(out), *words]) == 0
    with Image.open(out / "sweep.png") as sheet:
        assert min(sheet.size) > 300
    assert len(json.loads((out / "score.json").read_text())["sweep"]) == 5


def test_every_setting_is_an_option(capsys):
    with pytest.raises(SystemExit) as ended:
        main(["layers", "--help"])
    assert ended.value.code == 0
    shown = capsys.readouterr().out
    for field in dataclasses.fields(TracingSettings):
        assert "--" + field.name.replace("_", "-") in shown


def test_options_reach_the_job(picture, tmp_path):
    out = tmp_path / "out"
    words = ["layers", str(picture), "--out", str(out), "-q", "--title", "My cat"]
    words += ["--layers", "2", "--ground", "#fefefe", "--cans", "#112233,#445566"]
    words += ["--cans", "#aabbcc", "--thresholds", "30,60", "--focus", "100,40,60,60"]
    words += ["--material", "polyester", "--sheet-width-mm", "300", "--margin-mm", "10"]
    assert main(words) == 0
    text = (out / "job.toml").read_text()
    for part in ('title = "My cat"', 'ground = "#fefefe"', 'material = "polyester"', "= 300.0"):
        assert part in text
    assert json.loads((out / "score.json").read_text())["cuts"] == [30, 60]
    colours = {layer["colour"] for layer in json.loads((out / "score.json").read_text())["layers"]}
    assert colours <= {"#112233", "#445566", "#aabbcc"}


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--layers", "9"], "layers = 9: expected a whole number from 1 to 6"),
        (["--detail", "3"], "detail = 3.0: expected a number from 0 to 1"),
        (["--ground", "red"], "expected a colour like"),
        (["--cans", "#12345"], "expected a list of colours"),
        (["--thresholds", "a,b"], "expected numbers parted by commas"),
        (["--focus", "1,2,3"], "expected [x, y, width, height]"),
        (["--focus-mask", "no-such.png"], "does not exist"),
    ],
)
def test_a_bad_option_gets_one_sentence(picture, tmp_path, capsys, words, sentence):
    out = tmp_path / "out"
    assert main(["layers", str(picture), "--out", str(out), *words]) == 2
    told = capsys.readouterr()
    assert sentence in told.err
    assert told.err.count("\n") == 1
    assert not out.exists()


@pytest.mark.parametrize("content", [b"", b"no picture", b"\x89PNG\r\n\x1a\n" + b"\0" * 30])
def test_a_bad_picture_leaves_nothing_behind(tmp_path, capsys, content):
    path = tmp_path / "bad.png"
    path.write_bytes(content)
    assert main(["layers", str(path), "--out", str(tmp_path / "out")]) == 2
    told = capsys.readouterr().err
    assert told.startswith(f"sheetstack: {path}: ")
    assert told.count("\n") == 1
    assert sorted(p.name for p in tmp_path.iterdir()) == ["bad.png"]


@pytest.mark.skipif(os.name == "nt", reason="signals of Unix")
def test_ctrl_c_stops_and_leaves_nothing(tmp_path):
    random = np.random.default_rng(1)
    Image.fromarray(random.integers(0, 255, (900, 1200, 3), np.uint8)).save(tmp_path / "a.png")
    words = ["layers", str(tmp_path / "a.png"), "--out", str(tmp_path / "out"), "--detail", "1"]
    program = (
        "import sys; from sheetstack.geometry.cli.main import run; print('up', flush=True);"
        "run(sys.argv[1:])"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", program, *words, "--sweep"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "up\n"
    time.sleep(1.0)
    process.send_signal(signal.SIGINT)
    _, told = process.communicate(timeout=60)
    assert process.returncode == 130
    assert told == "sheetstack: stopped; nothing was written.\n"
    assert not (tmp_path / "out").exists()
