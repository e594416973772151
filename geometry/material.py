"""Materials: what a sheet is made of, and the least widths that it allows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import tomlkit

from .setting import read_section, setting


@dataclass(frozen=True)
class Material:
    """One row of the material table.

    ``least_bridge_mm`` is the least width of any strip of sheet that must hold;
    ``least_opening_mm`` the least width of an opening that can be cut and passes paint.
    """

    title: str = setting(about="name that people read")
    thicknesses_mm: tuple[float, ...] = setting(about="thicknesses it is sold in", kind="numbers")
    density_g_cm3: float = setting(about="density in g/cm3", least=0.01, most=25)
    modulus_mpa: float = setting(about="bending modulus in MPa", least=1, most=1e6)
    strength_mpa: float = setting(about="bending strength in MPa", least=0.1, most=1e4)
    least_bridge_mm: float = setting(about="least width of a bridge", least=0.1, most=100)
    least_opening_mm: float = setting(about="least width of an opening", least=0.05, most=100)
    colour: str = setting(about="colour of the raw sheet in pictures", kind="colour")
    source: str = setting(about="where the values come from")

    def mass_g(self, volume_mm3: float) -> float:
        """Return the mass in grams of a volume in mm3.

        >>> round(load_materials()["acrylic"].mass_g(1000.0), 3)
        1.19
        """
        return volume_mm3 * self.density_g_cm3 / 1000.0


def read_materials(table: Mapping[str, Any], where: str) -> dict[str, Material]:
    """Return the materials of a TOML document, by key.

    Raises
    ------
    JobError
        A row is not as it should be; the sentence names ``where`` and the key.
    """
    return {key: read_section(Material, row, f"{where}: [{key}]") for key, row in table.items()}


@cache
def load_materials() -> Mapping[str, Material]:
    """Return the table that comes with Sheetstack, by key."""
    text = files(__package__).joinpath("materials.toml").read_text(encoding="utf-8")
    return read_materials(tomlkit.parse(text).unwrap(), "materials.toml")
