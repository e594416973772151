"""Materials: what a sheet is made of, and the least widths that it allows."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import tomlkit

from .fields import field, read_section

#: Names of sheet plastics and rubbers that hold chlorine; chemistry's own names, no trade marks.
CHLORINE_WORDS = frozenset(
    ("pvc", "upvc", "cpvc", "pvdc", "vinyl", "polyvinyl", "chloride", "chlorinated")
    + ("chloroprene", "neoprene")
)


@dataclass(frozen=True)
class Material:
    """One row of the material table.

    ``least_bridge_mm`` is the least width of any strip of sheet that must hold;
    ``least_opening_mm`` the least width of an opening that can be cut and passes paint. A process
    that asks for more, or does with less, has a key of its own; where that is absent the two
    hold for it too.
    """

    title: str = field(about="name that people read")
    thicknesses_mm: tuple[float, ...] = field(about="thicknesses it is sold in", kind="numbers")
    density_g_cm3: float = field(about="density in g/cm3", least=0.01, most=25)
    modulus_mpa: float = field(about="bending modulus in MPa", least=1, most=1e6)
    strength_mpa: float = field(about="bending strength in MPa", least=0.1, most=1e4)
    least_bridge_mm: float = field(about="least width of a bridge", least=0.1, most=100)
    least_opening_mm: float = field(about="least width of an opening", least=0.05, most=100)
    colour: str = field(about="colour of the raw sheet in pictures", kind="colour")
    source: str = field(about="where the values come from")
    process: str = field(
        "knife",
        about="how it is usually made into a sheet",
        choices={
            "knife": "cut by hand or by a plotter",
            "laser": "cut by a laser",
            "printer": "printed in layers",
        },
    )
    least_bridge_knife_mm: float | None = field(
        None, about="least width of a bridge cut by hand or plotter", least=0.1, most=100
    )
    least_bridge_laser_mm: float | None = field(
        None, about="least width of a bridge cut by laser", least=0.1, most=100
    )
    least_bridge_printer_mm: float | None = field(
        None, about="least width of a printed bridge", least=0.1, most=100
    )
    least_opening_knife_mm: float | None = field(
        None, about="least width of an opening cut by hand or plotter", least=0.05, most=100
    )
    least_opening_laser_mm: float | None = field(
        None, about="least width of an opening cut by laser", least=0.05, most=100
    )
    least_opening_printer_mm: float | None = field(
        None, about="least width of a printed opening", least=0.05, most=100
    )
    handling_n: float = field(
        0.02,
        about="push of hand or spray on an island, in N: common practice, no source",
        least=0,
        most=1000,
    )
    deflection_mm: float = field(
        5.0,
        about="most that an island may give way, the sheet held in the hand by its frame: common "
        "practice, no source",
        least=0.01,
        most=1000,
    )
    safety: float = field(
        2.0,
        about="times that bridges must be stronger than needed, the sheet held in the hand: common "
        "practice, no source",
        least=1,
        most=100,
    )
    laser: str = field(
        "unknown",
        about="whether it may go under a laser: fit, poor (melts or chars), never, unknown",
        choices={
            "fit": "its maker sells it for lasers",
            "poor": "it melts or chars under a laser",
            "never": "it must not go under a laser",
            "unknown": "ask its maker before it goes under a laser",
        },
    )
    laser_note: str = field("", about="what to know before it goes under a laser")
    care: str = field("", about="cleaning, storing and what spoils it")
    grain: bool = field(False, about="it has a grain that pieces keep when they are nested")
    price_m2: tuple[float, ...] = field(
        (), about="low and high price of a square metre, for the estimate", kind="numbers"
    )

    def least_bridge(self, process: str) -> float:
        """Return the least width of a bridge in mm when made by ``process``.

        >>> load_materials()["card"].least_bridge("laser")
        1.5
        """
        own: float | None = getattr(self, f"least_bridge_{process}_mm")
        return self.least_bridge_mm if own is None else own

    def least_opening(self, process: str) -> float:
        """Return the least width of an opening in mm when made by ``process``."""
        own: float | None = getattr(self, f"least_opening_{process}_mm")
        return self.least_opening_mm if own is None else own

    def grammage_g_m2(self, thickness_mm: float) -> float:
        """Return grams per square metre of a sheet, as in ISO 536 (mass = area x grammage).

        >>> round(load_materials()["card"].grammage_g_m2(0.4), 6)
        320.0
        """
        return self.density_g_cm3 * thickness_mm * 1000.0

    @property
    def bears_chlorine(self) -> bool:
        """Whether the row says so: marked ``never``, or titled as a plastic known to hold chlorine.

        Such sheet gives off hydrogen chloride under a laser.
        """
        words = set(re.findall(r"[a-z]+", self.title.lower()))
        return self.laser == "never" or bool(words & CHLORINE_WORDS)

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
