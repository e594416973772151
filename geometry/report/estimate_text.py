"""The estimate reported: a table of layers and totals in words, the same as plain values."""

from __future__ import annotations

import dataclasses
from typing import Any

from ..fabricate.estimate import Estimate, LayerEstimate, Range, duration_text

#: Decimals kept of estimated numbers.
_DECIMALS = 4


def estimate_rows(found: Estimate) -> tuple[tuple[str, ...], ...]:
    """Return the estimate as rows of text: a heading, the layers, the total.

    Ranges are rounded to two figures: no number claims more than the estimate knows.
    """
    heading = (
        *("", "mass", "pieces", "cut", "cuts", "engraved", "print"),
        *("making", "paint", "paint area", "cost"),
    )
    return (heading, *(_row(e, found.currency) for e in (*found.layers, found.total)))


def _row(e: LayerEstimate, currency: str) -> tuple[str, ...]:
    return (
        e.name,
        Range(e.mass_g, e.mass_g).text("g"),
        str(e.pieces),
        f"{e.cut_mm / 1000:.1f} m" if e.cut_mm else "-",
        str(e.pierces) if e.pierces else "-",
        f"{e.engraved_mm / 1000:.1f} m" if e.engraved_mm else "-",
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
    lines += ["", *estimate_notes(found)]
    lines += ["", "Assumptions, each to be changed in the job file:"]
    lines += [f"  {a.key} = {a.value}: {a.about} ({a.source})" for a in found.assumptions]
    return "\n".join([*lines, ""])


def estimate_notes(found: Estimate) -> list[str]:
    """Return in sentences what the table has no column for: ways, run-ins, seams, blades."""
    total = found.total
    notes = []
    if total.cut_mm:
        notes.append(
            f"Lengths are those of the exported files. Between cuts the tool travels "
            f"{total.travel_mm / 1000:.1f} m; run-ins over waste are "
            f"{total.run_in_mm / 1000:.1f} m of the cuts."
        )
    if total.seam_mm:
        notes.append(
            f"Pieces are joined along {total.seam_mm / 1000:.1f} m of seams, which cross openings "
            f"{total.crossings} times."
        )
    if found.stock:
        sheets = "stock sheet" if found.stock == 1 else "stock sheets"
        how = "as nested"
        if not found.nested:
            how = "packed by boxes; export with nesting may find fewer"
        notes.append(
            f"In the cost: {found.stock} {sheets} for {total.sheet_cost.high:g} {found.currency}, "
            f"whole ones, {how}."
        )
    if found.blades:
        blades = "blade" if found.blades == 1 else "blades"
        notes.append(f"The cuts wear out {found.blades} {blades}.")
    return notes


def estimate_data(found: Estimate) -> dict[str, Any]:
    """Return an estimate ready for ``json.dumps``.

    Returns
    -------
    dict
        ``currency``; ``layers`` and ``total``, each with the fields of ``LayerEstimate`` (ranges
        as [low, high]); ``rows``, the same as a table of words with a heading; ``notes``,
        sentences; ``blades``; ``stock``, sheets paid for; ``assumptions`` with key, value, about
        and source.
    """
    return {
        "currency": found.currency,
        "layers": [_values(e) for e in found.layers],
        "total": _values(found.total),
        "blades": found.blades,
        "stock": found.stock,
        "notes": estimate_notes(found),
        "rows": [list(row) for row in estimate_rows(found)],
        "assumptions": [dataclasses.asdict(a) for a in found.assumptions],
    }


def _values(e: LayerEstimate) -> dict[str, Any]:
    values: dict[str, Any] = {}
    for field in dataclasses.fields(e):
        value = getattr(e, field.name)
        if isinstance(value, Range):
            value = [round(value.low, _DECIMALS), round(value.high, _DECIMALS)]
        elif isinstance(value, float):
            value = round(value, _DECIMALS)
        values[field.name] = value
    return values
