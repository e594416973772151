"""What sheets a drawing or a picture is made into: size, margin, material, least widths.

Tracing and separation both write a job; what both ask of its sheets is described once, here.
"""

from __future__ import annotations

from dataclasses import dataclass

from ..errors import JobError
from .fields import field
from .materials import Material, load_materials
from .processes import Process, ProcessSettings, process_of
from .sections import LEAST_SIDE, MOST_SIDE


@dataclass(frozen=True)
class NewSheets:
    """Sheets of a job that is yet to be written."""

    sheet_width_mm: float | None = field(
        None,
        about="width of the sheets; follows the picture when absent",
        least=LEAST_SIDE,
        most=MOST_SIDE,
    )
    sheet_height_mm: float | None = field(
        None,
        about="height of the sheets; follows the picture when absent",
        least=LEAST_SIDE,
        most=MOST_SIDE,
    )
    margin_mm: float = field(20.0, about="uncut edge round the picture", least=0, most=5000)
    material: str = field("card", about="key of the material")
    process: str = field(
        "material",
        about="knife, laser or printer; 'material' takes the material's usual one",
        choices=("material", "knife", "laser", "printer"),
    )
    least_mm: float | None = field(
        None,
        about="least width of an opening; the material's for its process when absent",
        least=0.05,
        most=500,
    )
    least_bridge_mm: float | None = field(
        None,
        about="least width of sheet that holds; the material's for its process when absent",
        least=0.05,
        most=500,
    )
    trap_mm: float = field(
        1.0, about="how far a layer runs under the ones sprayed over it", least=0, most=50
    )

    @property
    def sheet_material(self) -> Material:
        """The material's row of the table.

        Raises
        ------
        JobError
            There is none.
        """
        materials = load_materials()
        if self.material not in materials:
            raise JobError(
                f"material = '{self.material}': expected one of {', '.join(sorted(materials))}."
            )
        return materials[self.material]

    @property
    def made_by(self) -> Process:
        """The process's row of the table."""
        return process_of(ProcessSettings(kind=self.process), self.sheet_material)

    @property
    def least(self) -> float:
        """Least width of an opening in mm."""
        return self.least_mm or self.sheet_material.least_opening(self.made_by.kind)

    @property
    def least_bridge(self) -> float:
        """Least width in mm of sheet that holds."""
        return self.least_bridge_mm or self.sheet_material.least_bridge(self.made_by.kind)
