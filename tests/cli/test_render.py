"""The command render: what it refuses, and what it does without Blender."""

from __future__ import annotations

import subprocess
import sys

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
        "from sheetstack.geometry.cli.main import main\n"
        f"sys.exit(main(['render', {SIGN!r}, '--out', {str(tmp_path / 'out')!r}]))\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "pip install 'sheetstack[bpy]'" in done.stderr
    assert not (tmp_path / "out").exists()
