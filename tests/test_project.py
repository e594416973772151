"""The project's own rules: doctests run, geometry stays free of Blender, the tree is as planned."""

from __future__ import annotations

import ast
import doctest
import importlib
import pkgutil
import re
import subprocess
import sys
from pathlib import Path

import pytest
import tomlkit

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


def test_the_readmes_example_runs(monkeypatch):
    text = (TOP / "README.md").read_text(encoding="utf-8")
    (example,) = re.findall(r"```python\n(.*?)```", text, flags=re.DOTALL)
    monkeypatch.chdir(TOP)
    done = subprocess.run([sys.executable, "-c", example], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert len(done.stdout.splitlines()) == 3  # the portrait's layers


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
        tomlkit.parse((TOP / "pyproject.toml").read_text())["tool"]["setuptools"]["packages"]
    )
    on_disk = {
        "sheetstack." + ".".join(init.parent.relative_to(TOP).parts)
        for folder in ("geometry", "addon")
        for init in (TOP / folder).rglob("__init__.py")
    }
    assert packages == on_disk


#: Packages in the order in which data flows: each imports only from those before it.
ORDER = [
    "root",
    "planar",
    "mesh",
    "job",
    "artwork",
    "sheet",
    "support",
    "build",
    "paint",
    "fabricate",
    "files",
    "tracing",
    "separation",
    "photo",
    "scene",
    "report",
    "export",
    "cli",
    "addon",
]
#: The one place that knows a later package: it starts Blender in a process of its own, by name.
BY_NAME = {("geometry/cli/render.py", "sheetstack.addon.mockup.render_job")}


def _package_of(module: tuple[str, ...]) -> str:
    """The package of a module, given as its path: single modules of geometry/ are the root's."""
    if module[0] == "addon":
        return "addon"
    if len(module) == 1:
        return "root"
    if (TOP.joinpath(*module[:2])).is_dir() or module[1] in ("build", "export"):
        return module[1]
    return "root"


def _imports(path: Path) -> list[tuple[str, ...]]:
    """What a module imports of ours, each as a path, whether at load time or later."""
    here = path.relative_to(TOP).with_suffix("").parts
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.level:
            base = here[: len(here) - node.level]
            if node.module:
                found.append((*base, *node.module.split(".")))
            else:
                found += [(*base, alias.name) for alias in node.names]
    return found


def test_packages_import_only_from_those_before_them():
    wrong, looked_at = [], 0
    for path in sorted((TOP / "geometry").rglob("*.py")):
        if path == TOP / "geometry" / "__init__.py":
            continue  # the door, which hands out names of all packages
        own = _package_of(path.relative_to(TOP).with_suffix("").parts)
        for other in _imports(path):
            looked_at += 1
            if ORDER.index(_package_of(other)) > ORDER.index(own):
                wrong.append(f"{path.relative_to(TOP)} imports {'.'.join(other)}")
    assert not wrong
    assert looked_at > 500


def test_features_of_the_addon_import_only_from_those_before_them():
    from sheetstack.addon import FEATURES

    # Modules beside the folders put all features together.
    order = [*FEATURES, "packaging", "whole"]
    wrong, looked_at = [], 0

    def feature(module: tuple[str, ...]) -> int:
        return order.index(module[1] if TOP.joinpath(*module[:2]).is_dir() else "whole")

    for path in sorted((TOP / "addon").rglob("*.py")):
        for other in _imports(path):
            if other[0] == "addon" and (len(other) > 2 or other[1:] == ("scene_property",)):
                looked_at += 1
                if feature(other) > feature(path.relative_to(TOP).with_suffix("").parts):
                    wrong.append(f"{path.relative_to(TOP)} imports {'.'.join(other)}")
    assert not wrong
    assert looked_at > 100


def test_only_relative_imports_inside_and_one_later_module_by_name():
    named = set()
    for path in sorted([*(TOP / "geometry").rglob("*.py"), *(TOP / "addon").rglob("*.py")]):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for node in ast.walk(tree):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            if isinstance(node, ast.ImportFrom) and not node.level:
                names = [node.module or ""]
            assert not any(n.split(".")[0] == "sheetstack" for n in names), path
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                text = node.value
                if "addon" in text.split(".")[:2] and path.is_relative_to(TOP / "geometry"):
                    named.add((path.relative_to(TOP).as_posix(), text))
    assert named == BY_NAME


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


def test_the_version_stands_in_one_place():
    version = sheetstack.geometry.__version__
    project = tomlkit.parse((TOP / "pyproject.toml").read_text())
    assert "version" not in project["project"]
    assert project["tool"]["setuptools"]["dynamic"]["version"]["attr"] == "geometry.__version__"
    command = ["git", "ls-files", "*.py", "*.toml", "*.md"]
    listed = subprocess.run(command, cwd=TOP, capture_output=True, text=True, check=False)
    if listed.returncode:
        pytest.skip("not a git checkout")
    stated = [
        name
        for name in listed.stdout.split()
        if re.search(rf"version.{{0,12}}{re.escape(version)}", (TOP / name).read_text())
    ]
    assert stated == ["geometry/__init__.py"]


def test_the_public_names_are_loaded_when_asked_for():
    code = (
        "import sys, sheetstack.geometry as g\n"
        "assert 'numpy' not in sys.modules\n"
        "for name in g.__all__: getattr(g, name)\n"
        "from sheetstack.geometry import load_job, build_job, export_build, JobError\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        _ = sheetstack.geometry.nothing
