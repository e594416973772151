"""The command render: what it refuses, and what it does without Blender."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time

import pytest

from sheetstack.geometry.cli.main import main

from ..demo_builds import SCENES

SIGN = str(SCENES / "sign" / "sign.toml")


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--size", "640"], "width x height"),
        (["--size", "4x3"], "width x height"),
        (["--size", "99999x100"], "at most 16384"),
        (["--samples", "0"], "from 1 to 4096"),
        (["--turntable", "-3"], "up to 2000"),
        (["--scene", "wall.blend"], "--scene and --face go together"),
        (["--scene", "none.blend", "--face", "Wall"], "expected a .blend file"),
    ],
)
def test_options_that_cannot_be_are_one_sentence(options, said, capsys, tmp_path):
    assert main(["render", SIGN, "--out", str(tmp_path / "out"), *options]) == 2
    error = capsys.readouterr().err
    assert said in error
    assert "Traceback" not in error
    assert not (tmp_path / "out").exists()


def test_without_blender_the_command_says_what_to_install(tmp_path):
    code = (
        "import importlib.util, sys\n"
        "find = importlib.util.find_spec\n"
        "import sheetstack.geometry.cli.render as command\n"
        "command.find_spec = lambda name: None if name == 'bpy' else find(name)\n"
        "from sheetstack.geometry.cli.main import run\n"
        f"run(['render', {SIGN!r}, '--out', {str(tmp_path / 'out')!r}])\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "pip install 'sheetstack[bpy]'" in done.stderr
    assert not (tmp_path / "out").exists()


@pytest.mark.skipif(os.name != "posix", reason="sends POSIX signals")
@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM"])
def test_the_first_signal_is_heard_while_blender_is_silent_and_ends_it(name, tmp_path):
    # Stands for Blender in the middle of a long render, which says nothing meanwhile.
    (tmp_path / "silent_renderer.py").write_text(
        "import os, time\n"
        f"open({str(tmp_path / 'pid')!r}, 'w').write(str(os.getpid()))\n"
        "print('progress 0.1 rendering', flush=True)\n"
        "time.sleep(600)\n"
    )
    code = (
        "import sys\n"
        "import sheetstack.geometry.cli.render as command\n"
        "command.RENDERER = 'silent_renderer'\n"
        "command.find_spec = lambda name: True\n"
        "from sheetstack.geometry.cli.main import run\n"
        f"run(['render', {SIGN!r}, '--out', {str(tmp_path / 'out')!r}])\n"
    )
    path = os.pathsep.join([str(tmp_path), os.environ.get("PYTHONPATH", "")])
    running = subprocess.Popen(
        [sys.executable, "-c", code],
        env={**os.environ, "PYTHONPATH": path},
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        while not (tmp_path / "pid").exists() or not (tmp_path / "pid").read_text():
            assert running.poll() is None
            time.sleep(0.05)
        number = getattr(signal, name)
        running.send_signal(number)
        _, told = running.communicate(timeout=60)
    finally:
        running.kill()
    assert running.returncode == 128 + number
    assert told == "sheetstack: stopped; nothing was written.\n"
    with pytest.raises(ProcessLookupError):
        os.kill(int((tmp_path / "pid").read_text()), 0)
    assert not (tmp_path / "out").exists()
