"""Bundled wheels on Blender 3.4 to 4.1, which does not unpack them by itself."""

from __future__ import annotations

import platform
import sys
import zipfile
from pathlib import Path

#: What each zip is called after its version; see ``package``.
OTHER_ZIP = {True: "sheetstack-VERSION-blender-3.4-to-4.0.zip", False: "sheetstack-VERSION.zip"}
#: The Python of the zip for older Blenders.
OLD_PYTHON = (3, 10)


class CannotStartError(Exception):
    """The bundled libraries cannot be loaded in this Blender.

    Parameters
    ----------
    what : str
        What is wrong and what to do, in whole sentences.
    command : str
        To be typed into a terminal; empty where none helps.
    """

    def __init__(self, what: str, command: str = "") -> None:
        super().__init__(f"{what} {command}".strip())
        self.what, self.command = what, command


ROOT = Path(__file__).resolve().parents[2]


def make_importable(root: Path = ROOT) -> None:
    """Unpack the wheels that fit this Python beside the add-on, once, and add them to the path.

    They come last on the path: what Blender brings itself is found first.

    Raises
    ------
    CannotStartError
        No wheel of a library fits this Python, or Blender is linked with another GEOS.
    """
    _refuse_other_python(root)
    target = _target(root)
    target.mkdir(exist_ok=True)
    for wheel in sorted((root / "wheels").glob("*.whl")):
        done = target / f".{wheel.stem}"
        if fits(wheel.name) and not done.exists():
            with zipfile.ZipFile(wheel) as archive:
                archive.extractall(target)
            done.touch()
    refuse_foreign_geos(target)
    if str(target) not in sys.path:
        sys.path.append(str(target))


def forget(root: Path = ROOT) -> None:
    """Take the wheels off the path."""
    if str(_target(root)) in sys.path:
        sys.path.remove(str(_target(root)))


def fits(name: str) -> bool:
    """Return whether a wheel's tags (PEP 425) fit this Python and machine.

    >>> fits("tomlkit-0.13.0-py3-none-any.whl")
    True
    >>> fits("shapely-2.1.0-cp27-cp27m-win32.whl")
    False
    """
    python, abi, machine = name[: -len(".whl")].split("-")[-3:]
    mine = f"cp{sys.version_info[0]}{sys.version_info[1]}"
    stable = abi == "abi3" and python.startswith("cp3") and int(python[3:]) <= sys.version_info[1]
    if machine == "any":
        return "py3" in python.split(".")
    if not (stable or (python == mine and abi in (mine, "none"))):
        return False
    system = {"linux": "linux", "win32": "win", "darwin": "macosx"}[sys.platform]
    arch = {"AMD64": "amd64"}.get(platform.machine(), platform.machine())
    return any(system in tag and tag.endswith((arch, "universal2")) for tag in machine.split("."))


def _refuse_other_python(root: Path) -> None:
    """Stop where the zip has a library's wheels for other Pythons or machines only."""
    names = [wheel.name for wheel in sorted((root / "wheels").glob("*.whl"))]
    libraries = {name.split("-")[0] for name in names}
    missing = libraries - {name.split("-")[0] for name in names if fits(name)}
    if missing:
        python = f"{sys.version_info[0]}.{sys.version_info[1]}"
        other = OTHER_ZIP[sys.version_info[:2] == OLD_PYTHON]
        raise CannotStartError(
            f"This Blender runs on Python {python}, and this zip has no library "
            f"'{min(missing)}' for it on this machine. Remove the add-on and install the other "
            f"zip, {other}."
        )


def refuse_foreign_geos(target: Path) -> None:
    """Stop where Blender was linked with a GEOS of its own, as Debian's is.

    Two versions of that C++ library in one process mix up their symbols, and the first call ends
    Blender. Loaded first, the one of the wheel serves both.

    Parameters
    ----------
    target : Path
        Folder that the wheel of Shapely was unpacked into.

    Raises
    ------
    CannotStartError
        It was; the command starts Blender so that both get on.
    """
    maps = Path("/proc/self/maps")
    if not maps.exists():
        return
    loaded = maps.read_text()
    ours = sorted((target / "shapely.libs").glob("libgeos*"), reverse=True)
    if "/libgeos_c.so" in loaded and ours and not any(path.name in loaded for path in ours):
        raise CannotStartError(
            "This Blender is linked with a GEOS library of its own, which cannot be mixed with "
            "the one that Sheetstack brings. Close Blender and start it from a terminal by this "
            "command:",
            f"LD_PRELOAD={':'.join(map(str, ours))} blender",
        )


def _target(root: Path) -> Path:
    return root / f"unpacked-{sys.version_info[0]}{sys.version_info[1]}"
