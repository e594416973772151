"""The values that optional settings have while they are not given, as text for the panels."""

from __future__ import annotations

from typing import Any

from ...geometry.errors import SheetstackError
from ...geometry.job.materials import Material
from ...geometry.job.processes import Process, process_of
from ..core.setting_property import InForce
from .material_preset import material_of
from .scene_job import section_of

#: Fields in whose place one of the material's stands: its name there.
OF_MATERIAL = {
    "handling_load_n": "handling_n",
    "deflection_mm": "deflection_mm",
    "safety": "safety",
}
#: Beginnings of a material's fields for one process, which give way to its general one.
BY_PROCESS = ("least_bridge", "least_opening")


def values_in_force(scene: Any) -> InForce:
    """Return what tells the value of an optional field of the job, by the field's name."""
    material = material_of(scene)
    process = None if material is None else _process(scene, material)

    def tell(name: str) -> str:
        value = None if material is None else _value(name, material, process)
        return "as usual" if value is None else f"{_shown(value, name)} (usual)"

    return tell


def _process(scene: Any, material: Material) -> Process | None:
    try:
        return process_of(section_of(scene, "process"), material)
    except SheetstackError:  # being edited; the build says what is wrong
        return None


def _value(name: str, material: Material, process: Process | None) -> Any:
    if name == "width_mm":  # of a bridge
        return None if process is None else material.least_bridge(process.kind)
    if name in OF_MATERIAL:
        return getattr(material, OF_MATERIAL[name])
    if name == "sheet_price_m2":
        return material.price_m2 or None
    for general in BY_PROCESS:
        if name.startswith(general):
            return getattr(material, f"{general}_mm")
    return getattr(process, name, None)


def _shown(value: Any, name: str) -> str:
    if isinstance(value, tuple):
        return " to ".join(f"{v:g}" for v in value)
    return f"{value:g} mm" if name.endswith("_mm") else f"{value:g}"
