"""The zip: built by its command, installed and enabled in a Blender that has nothing but NumPy."""

import os
import re
import subprocess
import sys
import zipfile
from pathlib import Path

import numpy as np
import pytest

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")

from sheetstack.addon.packaging import package  # noqa: E402
from sheetstack.addon.packaging.legacy_wheels import fits  # noqa: E402

TOP = Path(__file__).parents[2]
PLATFORM = {"linux": "linux-x64", "win32": "windows-x64", "darwin": "macos-arm64"}[sys.platform]
PYTHON = f"{sys.version_info[0]}.{sys.version_info[1]}"

INSTALL = """
import sys
import bpy
zip_path, job, home = sys.argv[1:4]
print(bpy.ops.extensions.package_install_files(
    filepath=zip_path, repo="user_default", enable_on_install=True))
import shapely, numpy
assert shapely.__file__.startswith(home), shapely.__file__
assert not numpy.__file__.startswith(home), numpy.__file__
assert [a.module for a in bpy.context.preferences.addons if "sheetstack" in a.module] == [
    "bl_ext.user_default.sheetstack"]
assert bpy.ops.sheetstack.open_job(filepath=job) == {"FINISHED"}
assert bpy.ops.sheetstack.build() == {"FINISHED"}
import addon_utils
for _ in range(2):
    addon_utils.disable("bl_ext.user_default.sheetstack")
    assert not hasattr(bpy.types.Scene, "sheetstack")
    addon_utils.enable("bl_ext.user_default.sheetstack")
    assert len(bpy.context.scene.sheetstack.layers) == 2
assert "sheetstack" not in sys.modules
print("INSTALLED")
"""


@pytest.fixture(scope="module")
def zip_path(tmp_path_factory):
    if PYTHON not in package.PYTHONS:
        pytest.skip(f"no Blender that takes extensions runs on Python {PYTHON}")
    out = tmp_path_factory.mktemp("zip")
    arguments = ["--out", str(out), "--platform", PLATFORM, "--python", PYTHON]
    if package.main(arguments) != 0:
        pytest.skip("the wheels could not be fetched: no package index is in reach")
    return next(out.glob("*.zip"))


def test_zip_installs_and_works_with_its_own_wheels_only(zip_path, job_path, tmp_path):
    """A Python with bpy and NumPy only, and a home of its own."""
    site = Path(np.__file__).parents[1]
    bare = tmp_path / "bare"
    bare.mkdir()
    for name in ("bpy", "numpy", "numpy.libs"):
        if (site / name).exists():
            (bare / name).symlink_to(site / name)
    home = tmp_path / "home"
    home.mkdir()
    environment = {**os.environ, "PYTHONPATH": str(bare), "BLENDER_USER_RESOURCES": str(home)}
    done = subprocess.run(
        [sys.executable, "-S", "-c", INSTALL, str(zip_path), str(job_path), str(home)],
        env=environment,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert "INSTALLED" in done.stdout, done.stdout + done.stderr


def test_what_the_zip_imports_by_itself_is_in_it():
    """Its own first file is text here: no checker looks into it."""
    files = package.tree()
    modules = re.findall(r"from \.([\w.]+) import", package.INIT)
    assert len(modules) == 2
    for module in modules:
        path = module.replace(".", "/")
        assert f"{path}.py" in files or f"{path}/__init__.py" in files, module


def test_zip_holds_add_on_geometry_and_unmodified_wheels_but_no_numpy(zip_path):
    with zipfile.ZipFile(zip_path) as archive:
        names = archive.namelist()
        for name in names:
            if name.endswith(".whl"):
                with archive.open(name) as file, zipfile.ZipFile(file) as wheel:
                    assert wheel.testzip() is None
        text = archive.read("sheetstack/blender_manifest.toml").decode()
    assert {"sheetstack/__init__.py", "sheetstack/LICENSE"} <= set(names)
    assert "sheetstack/geometry/job/materials.toml" in names
    assert not [n for n in names if "numpy" in n or "__pycache__" in n or "tests/" in n]
    import tomlkit

    manifest = tomlkit.parse(text).unwrap()
    wheels = sorted(n for n in names if n.endswith(".whl"))
    assert sorted("sheetstack/" + w.removeprefix("./") for w in manifest["wheels"]) == wheels
    assert manifest["platforms"] == [PLATFORM]
    bare = {w.split("/")[-1].split("-")[0].lower().replace("_", "-") for w in wheels}
    assert bare == set(package.requirements())


def test_root_module_says_what_a_legacy_add_on_must():
    """Blender 3.4 to 4.1 read ``bl_info`` from the text, without running it."""
    import ast

    from sheetstack.addon import bl_info

    text = package.INIT.format(bl_info=bl_info)
    assigned = {
        node.targets[0].id: node.value
        for node in ast.parse(text).body
        if isinstance(node, ast.Assign)
    }
    assert ast.literal_eval(assigned["bl_info"]) == bl_info
    assert bl_info["blender"] == (3, 4, 0)


def test_wheels_of_other_pythons_and_systems_do_not_fit():
    # Names as PEP 427 makes them.
    here = f"cp{PYTHON.replace('.', '')}"
    linux = "manylinux_2_28_x86_64"
    assert fits("a-1-py3-none-any.whl")
    assert fits("a-1-py2.py3-none-any.whl")
    assert not fits(f"a-1-cp39-cp39-{linux}.whl")
    assert not fits(f"a-1-{here}-{here}-win32.whl")
    if PLATFORM == "linux-x64":
        assert fits(f"a-1-{here}-{here}-{linux}.whl")
        assert fits(f"a-1-cp37-abi3-{linux}.whl")
        assert not fits(f"a-1-{here}-{here}-manylinux_2_28_aarch64.whl")


def test_old_blenders_get_a_zip_of_their_own_without_a_manifest(tmp_path, monkeypatch):
    """Blender 3.4 to 4.0 has Python 3.10, and knows no extensions."""
    asked = []

    def downloaded(folder, needed, platforms, pythons):
        asked.append(tuple(pythons))
        folder.mkdir(parents=True)
        wheel = folder / f"a-1-cp{pythons[0].replace('.', '')}-none-any.whl"
        wheel.write_bytes(b"")
        return [wheel]

    monkeypatch.setattr(package, "download", downloaded)
    assert package.main(["--out", str(tmp_path)]) == 0
    assert asked == [("3.11", "3.13"), ("3.10",)]
    newer, older = sorted(tmp_path.glob("*.zip"), key=lambda path: "3.4" in path.name)
    contents = [set(zipfile.ZipFile(path).namelist()) for path in (newer, older)]
    trees = [{n for n in names if "/wheels/" not in n} for names in contents]
    assert trees[0] - trees[1] == {"sheetstack/blender_manifest.toml"}
    assert not trees[1] - trees[0]
    assert "sheetstack/wheels/a-1-cp310-none-any.whl" in contents[1]


def test_a_package_that_gave_up_an_old_python_is_taken_in_its_last_version_for_it(
    tmp_path, monkeypatch
):
    """The exact version first, then what the project asks for, which pip resolves."""
    tried = []

    def downloaded(folder, what, tags):
        tried.append(what)
        return what == "shapely>=2.1"

    monkeypatch.setattr(package, "_download", downloaded)
    monkeypatch.setattr(package, "limits", lambda: {"shapely": "shapely>=2.1"})
    package.download(tmp_path, {"shapely": "2.2.0"}, ["linux-x64"], ["3.10"])
    assert tried[0] == "shapely==2.2.0"
    assert tried[-1] == "shapely>=2.1"
    with pytest.raises(package.PackageError, match=r"No wheels of shapely==2\.2\.0"):
        package.download(tmp_path, {"shapely": "2.2.0"}, ["linux-x64"], ["3.11"])


def test_limits_are_those_of_the_project():
    assert set(package.limits()) - {"numpy"} <= set(package.requirements())
    assert package.limits()["shapely"].startswith("shapely>=")
