"""Settings of a separation: the one description that command line and add-on share."""

from __future__ import annotations

from dataclasses import dataclass

from ..errors import JobError
from ..job.fields import field
from ..job.materials import Material, load_materials
from ..job.processes import Process, ProcessSettings, process_of

#: Cans where the settings ask for no number.
USUAL_CANS = 12
MOST_CANS = 40
#: Curves may stray by this share of the longer side, and by so much at least, in mm.
_TOLERANCE, _LEAST_TOLERANCE = 0.0005, 0.02


@dataclass(frozen=True)
class SeparationSettings:
    """How a drawing in flat colours becomes layers."""

    layers: int | None = field(
        None,
        about=f"most cans of paint; as many as the drawing has colours, up to {USUAL_CANS}, when "
        "absent",
        least=1,
        most=MOST_CANS,
    )
    ground: str | None = field(
        None,
        about="colour of the wall; the drawing's own backdrop, else white, when absent",
        kind="colour",
    )
    cans: tuple[str, ...] = field(
        (), about="colours that you own; each colour takes the nearest", kind="colours"
    )
    gradient_steps: int = field(
        3, about="most flat steps that stand for a gradient", least=1, most=12
    )
    sheet_width_mm: float | None = field(
        None, about="width of the sheets; follows the drawing when absent", least=5, most=20000
    )
    sheet_height_mm: float | None = field(
        None, about="height of the sheets; follows the drawing when absent", least=5, most=20000
    )
    margin_mm: float = field(20.0, about="uncut edge round the drawing", least=0, most=5000)
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
    tolerance_mm: float | None = field(
        None,
        about="how far fitted curves may stray from the outline; a share of the drawing's size "
        "when absent",
        least=0.01,
        most=10,
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

    def tolerance(self, page: tuple[float, float]) -> float:
        """Return how far curves may stray from the outline, in mm, on a page in mm."""
        usual = max(_LEAST_TOLERANCE, _TOLERANCE * max(page))
        return self.tolerance_mm or min(usual, self.least / 4)
