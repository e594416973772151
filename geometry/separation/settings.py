"""Settings of a separation: the one description that command line and add-on share."""

from __future__ import annotations

from dataclasses import dataclass

from ..job.fields import field
from ..job.new_sheets import NewSheets

#: Cans where the settings ask for no number.
USUAL_CANS = 12
MOST_CANS = 40
#: Curves may stray by this share of the longer side, and by so much at least, in mm.
_TOLERANCE, _LEAST_TOLERANCE = 0.0005, 0.02


@dataclass(frozen=True)
class SeparationSettings(NewSheets):
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
        (),
        about="colours that you own, or a table of your cans (CSV, TOML); each colour takes the "
        "nearest",
        kind="colours",
    )
    gradient_steps: int = field(
        3, about="most flat steps that stand for a gradient", least=1, most=12
    )
    tolerance_mm: float | None = field(
        None,
        about="how far fitted curves may stray from the outline; a share of the drawing's size "
        "when absent",
        least=0.01,
        most=10,
    )

    def tolerance(self, page: tuple[float, float]) -> float:
        """Return how far curves may stray from the outline, in mm, on a page in mm."""
        usual = max(_LEAST_TOLERANCE, _TOLERANCE * max(page))
        return self.tolerance_mm or min(usual, self.least / 4)
