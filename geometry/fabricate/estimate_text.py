"""The estimate in words: one table of layers and totals, then every assumption."""

from __future__ import annotations

from .estimate import Estimate, LayerEstimate, Range, duration_text


def estimate_rows(found: Estimate) -> tuple[tuple[str, ...], ...]:
    """Return the estimate as rows of text: a heading, the layers, the total.

    Ranges are rounded to two figures: no number claims more than the estimate knows.
    """
    heading = ("", "mass", "cut", "cuts", "print", "making", "paint", "paint area", "cost")
    return (heading, *(_row(e, found.currency) for e in (*found.layers, found.total)))


def _row(e: LayerEstimate, currency: str) -> tuple[str, ...]:
    return (
        e.name,
        Range(e.mass_g, e.mass_g).text("g"),
        f"{e.cut_mm / 1000:.1f} m" if e.cut_mm else "-",
        str(e.pierces) if e.pierces else "-",
        Range(e.print_cm3, e.print_cm3).text("cm3") if e.print_cm3 else "-",
        duration_text(e.making_s),
        e.paint_ml.text("ml"),
        f"{e.paint_m2 * 1e4:.0f} cm2",
        e.cost.text(currency),
    )


def estimate_text(found: Estimate) -> str:
    """Return the estimate as plain text with its assumptions and where to change them."""
    rows = estimate_rows(found)
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    lines = ["Estimate (ranges, not promises)", ""]
    lines += [
        "  ".join(
            cell.ljust(w) if k == 0 else cell.rjust(w)
            for k, (cell, w) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]
    lines += ["", "Assumptions, each to be changed in the job file:"]
    lines += [f"  {a.key} = {a.value}: {a.about} ({a.source})" for a in found.assumptions]
    return "\n".join([*lines, ""])
