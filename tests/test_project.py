"""The project's own rules: doctests run, geometry stays free of Blender, the tree is as planned."""

from __future__ import annotations

import doctest
import importlib
import pkgutil
import subprocess
import sys
from pathlib import Path

import pytest
import tomllib

import sheetstack.geometry

TOP = Path(__file__).parents[1]
MODULES = sorted(
    m.name
    for m in pkgutil.walk_packages(sheetstack.geometry.__path__, "sheetstack.geometry.")
    if not m.name.endswith("__main__")
)


@pytest.mark.parametrize("name", MODULES)
def test_examples_in_docstrings_are_true(name):
    module = importlib.import_module(name)
    assert doctest.testmod(module, optionflags=doctest.NORMALIZE_WHITESPACE).failed == 0


def test_geometry_imports_where_blender_is_absent():
    code = (
        "import sys\n"
        "for name in ('bpy', 'bmesh', 'mathutils'): sys.modules[name] = None\n"
        f"import {', '.join(MODULES)}\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_the_core_needs_no_test_library():
    heavy = ("scipy", "skimage", "matplotlib", "trimesh", "networkx", "bpy")
    code = (
        "import sys\n"
        f"for name in {heavy!r}: sys.modules[name] = None\n"
        f"import {', '.join(MODULES)}\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_every_package_is_installed():
    packages = set(
        tomllib.loads((TOP / "pyproject.toml").read_text())["tool"]["setuptools"]["packages"]
    )
    on_disk = {
        "sheetstack." + ".".join(init.parent.relative_to(TOP).parts)
        for folder in ("geometry", "addon")
        for init in (TOP / folder).rglob("__init__.py")
    }
    assert packages == on_disk


def test_no_module_is_a_room_without_a_name():
    nameless = {"utils", "util", "helpers", "helper", "common", "manager", "misc"}
    names = {p.stem for folder in ("geometry", "addon") for p in (TOP / folder).rglob("*.py")}
    assert not names & nameless


def test_the_top_level_is_as_the_design_card_says():
    allowed = {
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "LICENSE",
        "addon",
        "geometry",
        "tests",
        "demo_scenes",
    }
    command = ["git", "ls-tree", "--name-only", "HEAD"]
    listed = subprocess.run(command, cwd=TOP, capture_output=True, text=True, check=False)
    if listed.returncode:
        pytest.skip("not a git checkout")
    assert {n for n in listed.stdout.split() if not n.startswith(".")} <= allowed
