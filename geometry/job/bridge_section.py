"""Settings of bridges: what the artist says about them in the job file."""

from __future__ import annotations

from dataclasses import dataclass

from .fields import setting


@dataclass(frozen=True)
class BridgeSettings:
    """``[bridges]``: the strips that hold islands."""

    width_mm: float | None = setting(
        None, about="width of bridges; the material's least width when absent", least=0.05, most=500
    )
    choice: str = setting(
        "least-visible",
        about="which bridges are laid: those that spoil the picture least, or the shortest",
        choices=("least-visible", "shortest"),
    )
    direction: str = setting(
        "any",
        about="way bridges run: any, or rather along the drawing (an island's long axis)",
        choices=("any", "drawing"),
    )
    style: str = setting(
        "straight",
        about="sides of bridges: straight, or filleted where they meet the sheet",
        choices=("straight", "filleted"),
    )
    fillet_mm: float = setting(1.0, about="radius of fillets", least=0.05, most=100)
    handling_load_n: float | None = setting(
        None,
        about="push on an island's edge that its bridges bear, in N; the material's when absent",
        least=0,
        most=1000,
    )
    deflection_mm: float | None = setting(
        None,
        about="most that an island may give way; the material's limit when absent",
        least=0.01,
        most=1000,
    )
    safety: float | None = setting(
        None, about="times that bridges must be stronger than needed", least=1, most=100
    )
    most_per_island: int = setting(6, about="most bridges that one island gets", least=1, most=40)
    seam_overlap_mm: float = setting(
        1.0, about="overlap of paint where a layer is split into two sheets", least=0, most=50
    )
    keep_free_mm: tuple[tuple[float, float, float, float], ...] = setting(
        (), about="boxes on the sheet that bridges keep out of", kind="boxes"
    )
    keep_free_areas_mm: tuple[tuple[tuple[float, float], ...], ...] = setting(
        (), about="areas on the sheet that bridges keep out of, each by its corners", kind="lines"
    )


@dataclass(frozen=True)
class BridgeByHand:
    """``[[bridge]]``: one bridge that the artist has set; places are on the sheet."""

    layer: str = setting(about="name of its layer")
    line_mm: tuple[tuple[float, float], ...] = setting(
        about="its middle line from sheet to sheet", kind="points"
    )
    id: str = setting("", about="its lasting name")
    width_mm: float | None = setting(
        None, about="its width; the job's bridge width when absent", least=0.05, most=500
    )
    state: str = setting(
        "locked",
        about="locked: stays where it is; forbidden: no bridge is laid across this line",
        choices=("locked", "forbidden"),
    )
