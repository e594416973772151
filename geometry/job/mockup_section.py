"""``[mockup]``: on what, and in which light, a client sees the picture."""

from __future__ import annotations

from dataclasses import dataclass

from .fields import setting

SURFACES = ("brick", "plaster", "concrete", "board", "canvas")
LIGHTS = ("daylight", "evening")
SCALES = ("auto", "rule", "figure", "none")
#: Pictures higher than this, in mm, are shown with a figure beside them, smaller with a rule.
FIGURE_FROM = 900.0


@dataclass(frozen=True)
class MockupSettings:
    """``[mockup]``: the scene that the painted picture is shown in."""

    surface: str = setting("brick", about="what the picture is painted on", choices=SURFACES)
    light: str = setting("daylight", about="light that it is seen in", choices=LIGHTS)
    scale: str = setting(
        "auto", about="what stands beside it for its size: a rule or a figure", choices=SCALES
    )

    def scale_for(self, height_mm: float) -> str:
        """Return what stands beside a picture of some height: rule, figure or none.

        >>> MockupSettings().scale_for(500), MockupSettings().scale_for(2000)
        ('rule', 'figure')
        """
        if self.scale != "auto":
            return self.scale
        return "figure" if height_mm > FIGURE_FROM else "rule"
