"""Building the zip that Blender installs: ``python -m sheetstack.addon.packaging --out dist``.

One zip serves as an extension (Blender 4.2 and newer) and as a legacy add-on (4.1): a folder with a
manifest, the add-on and geometry as subpackages, and the wheels that geometry needs, unmodified. A
second zip is the same tree with wheels for the older Python of Blender 3.4 to 4.0. NumPy is left
out, since Blender brings its own. Runs without Blender.
"""

from __future__ import annotations

import argparse
import re
import subprocess
import sys
import zipfile
from collections.abc import Iterable, Sequence
from importlib import metadata
from pathlib import Path

import tomlkit

from .. import bl_info

ROOT = Path(__file__).resolve().parents[2]
NAME = "sheetstack"
#: What builds the zip, and is not in it.
OWN = {Path(__file__).resolve(), Path(__file__).resolve().with_name("__main__.py")}
#: Blender brings these.
LEFT_OUT = {"numpy"}
#: For each of Blender's platforms the platform tags of wheels that it can load.
PLATFORMS = {
    "linux-x64": ("manylinux_2_28_x86_64", "manylinux_2_17_x86_64", "manylinux2014_x86_64"),
    "windows-x64": ("win_amd64",),
    "macos-x64": ("macosx_11_0_x86_64", "macosx_10_15_x86_64", "macosx_10_13_x86_64"),
    "macos-arm64": ("macosx_11_0_arm64", "macosx_12_0_arm64"),
}
#: Python of Blender 4.1 to 5.0, and of 5.1 and newer.
PYTHONS = ("3.11", "3.13")
#: Python of Blender 3.4 to 4.0, which gets a zip of its own. Packages that have given it up are
#: taken in their last version that has not.
OLD_PYTHON = "3.10"
#: All entries carry one time, so that the same tree makes the same zip.
TIME = (2024, 1, 1, 0, 0, 0)

INIT = '''"""Sheetstack: layered artwork in, rigid stencil sheets out."""

bl_info = {bl_info}


def register():
    """Make the add-on known to Blender, or tell in a box why it cannot run."""
    from .addon.packaging.start import begin

    begin(__package__)


def unregister():
    """Undo ``register``."""
    from .addon.packaging.start import end

    end()
'''

MANIFEST = """schema_version = "1.0.0"
id = "{name}"
version = "{version}"
name = "Sheetstack"
tagline = "{tagline}"
maintainer = "{maintainer}"
type = "add-on"
blender_version_min = "4.2.0"
license = ["SPDX:GPL-3.0-or-later"]
platforms = [{platforms}]
tags = ["Import-Export", "Modeling"]
wheels = [
{wheels}
]

[permissions]
files = "Read artwork and jobs, write sheets"
"""


class PackageError(Exception):
    """The zip cannot be built; the text says why."""


def requirements(root: Path = ROOT) -> dict[str, str]:
    """Return what Sheetstack needs, with all that this needs, and the installed versions.

    Optional extras and what Blender brings are left out.

    Raises
    ------
    PackageError
        One of them is not installed.
    """
    project = tomlkit.parse((root / "pyproject.toml").read_text(encoding="utf-8")).unwrap()
    found: dict[str, str] = {}
    waiting: list[list[str]] = [project["project"]["dependencies"]]
    while waiting:
        for text in waiting.pop():
            match = re.match(r"[A-Za-z0-9._-]+", text)
            if match is None or "extra ==" in text:
                continue
            needed = _plain_name(match.group())
            if needed in LEFT_OUT or needed in found:
                continue
            try:
                found[needed] = metadata.version(needed)
            except metadata.PackageNotFoundError:
                # A marker leaves it out here; what is needed everywhere is installed.
                if ";" in text:
                    continue
                raise PackageError(f"{needed} is not installed; install {NAME} first.") from None
            waiting.append(metadata.requires(needed) or [])
    return found


def limits(root: Path = ROOT) -> dict[str, str]:
    """Return what the project itself asks of each package: name and least version."""
    project = tomlkit.parse((root / "pyproject.toml").read_text(encoding="utf-8")).unwrap()
    texts = [text.partition(";")[0].strip() for text in project["project"]["dependencies"]]
    return {_plain_name(re.split(r"[^A-Za-z0-9._-]", text)[0]): text for text in texts}


def _plain_name(name: str) -> str:
    """Return a package's name in the one form that PEP 503 gives it."""
    return re.sub(r"[-_.]+", "-", name).lower()


def download(
    folder: Path, needed: dict[str, str], platforms: Sequence[str], pythons: Sequence[str]
) -> list[Path]:
    """Download wheels for all platforms and Pythons, one for all where there is a pure one.

    Parameters
    ----------
    folder : Path
    needed : dict of str to str
        Versions by name.
    platforms, pythons : sequence of str
        As pip names them.

    Raises
    ------
    PackageError
        A wheel does not exist or cannot be fetched.
    """
    folder.mkdir(parents=True, exist_ok=True)
    least = limits() if OLD_PYTHON in pythons else {}
    for name, version in needed.items():
        exact = f"{name}=={version}"
        choices = [exact, least.get(name, name)] if OLD_PYTHON in pythons else [exact]
        if not any(_download_for_all(folder, what, platforms, pythons) for what in choices):
            where = f"{', '.join(platforms)} and Python {', '.join(pythons)}"
            raise PackageError(f"No wheels of {choices[-1]} for {where}.")
    return sorted(folder.glob("*.whl"))


def _download_for_all(
    folder: Path, what: str, platforms: Sequence[str], pythons: Sequence[str]
) -> bool:
    pure = ["--platform", "any", "--abi", "none", "--python-version", pythons[0]]
    if _download(folder, what, pure):
        return True
    for platform in platforms:
        for python in pythons:
            tags = [a for tag in PLATFORMS[platform] for a in ("--platform", tag)]
            abi = "cp" + python.replace(".", "")
            tags += ["--python-version", python, "--abi", abi, "--abi", "abi3", "--abi", "none"]
            tags += ["--implementation", "cp"]
            if not _download(folder, what, tags):
                return False
    return True


def _download(folder: Path, what: str, tags: list[str]) -> bool:
    command = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps"]
    command += ["--disable-pip-version-check", "--only-binary=:all:", "--dest", str(folder)]
    done = subprocess.run([*command, *tags, what], capture_output=True, text=True, check=False)
    if done.returncode and "No matching distribution" not in done.stderr:
        raise PackageError(f"pip could not fetch {what}: {done.stderr.strip().splitlines()[-1]}")
    return done.returncode == 0


def tree(root: Path = ROOT) -> dict[str, bytes]:
    """Return the files of add-on and geometry by their path in the zip."""
    files = {}
    for part in ("addon", "geometry"):
        for path in sorted((root / part).rglob("*")):
            inside = path.relative_to(root)
            if path.is_file() and "__pycache__" not in inside.parts and path not in OWN:
                files[inside.as_posix()] = path.read_bytes()
    files["LICENSE"] = (root / "LICENSE").read_bytes()
    return files


def manifest(wheels: Iterable[str], platforms: Sequence[str]) -> str:
    """Return the text of ``blender_manifest.toml``."""
    return MANIFEST.format(
        name=NAME,
        version=".".join(map(str, bl_info["version"])),  # type: ignore[call-overload]
        tagline=bl_info["description"],
        maintainer=bl_info["author"],
        platforms=", ".join(f'"{p}"' for p in platforms),
        wheels="\n".join(f'    "./wheels/{name}",' for name in wheels),
    )


def build_zip(
    target: Path, wheels: Sequence[Path], platforms: Sequence[str], *, extension: bool = True
) -> Path:
    """Write the zip.

    Parameters
    ----------
    target : Path
    wheels : sequence of Path
    platforms : sequence of str
        Blender's names of the platforms that the wheels are for.
    extension : bool
        With the manifest that Blender 4.2 and newer reads.
    """
    files = tree()
    files["__init__.py"] = INIT.format(bl_info=bl_info).encode()
    if extension:
        files["blender_manifest.toml"] = manifest((w.name for w in wheels), platforms).encode()
    files.update({f"wheels/{wheel.name}": wheel.read_bytes() for wheel in wheels})
    target.parent.mkdir(parents=True, exist_ok=True)
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in sorted(files.items()):
            archive.writestr(zipfile.ZipInfo(f"{NAME}/{name}", TIME), content, zipfile.ZIP_DEFLATED)
    return target


def main(arguments: Sequence[str] | None = None) -> int:
    """Build the zip from the command line."""
    parser = argparse.ArgumentParser(prog="sheetstack.addon.packaging", description=__doc__)
    parser.add_argument("--out", type=Path, default=Path("dist"), help="folder for the zip")
    parser.add_argument("--wheels", type=Path, help="folder for the wheels; kept for the next time")
    parser.add_argument("--platform", choices=PLATFORMS, action="append", help="only this platform")
    parser.add_argument(
        "--python", choices=(*PYTHONS, OLD_PYTHON), action="append", help="only for it"
    )
    given = parser.parse_args(arguments)
    platforms = given.platform or list(PLATFORMS)
    pythons = given.python or [*PYTHONS, OLD_PYTHON]
    folder = given.wheels or given.out / "wheels"
    version = ".".join(map(str, bl_info["version"]))  # type: ignore[call-overload]
    kind = "" if given.platform is None else "-" + "-".join(platforms)
    for old in (False, True):
        chosen = [python for python in pythons if (python == OLD_PYTHON) == old]
        if not chosen:
            continue
        try:
            where = folder / "old" if old else folder
            wheels = download(where, requirements(), platforms, chosen)
        except PackageError as error:
            print(error, file=sys.stderr)
            return 2
        suffix = "-blender-3.4-to-4.0" if old else ""
        target = given.out / f"{NAME}-{version}{kind}{suffix}.zip"
        build_zip(target, wheels, platforms, extension=not old)
        size = target.stat().st_size / 1e6
        print(f"{target}: {len(wheels)} wheels, {size:.1f} MB")
    return 0
