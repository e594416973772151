"""Blanks: what a job's stock is cut to for the bed, and what pieces on them have to keep."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..job.job import Job
from ..job.sections import StockSheet
from .guillotine import GuillotinePlan, guillotine


@dataclass(frozen=True)
class BlankRules:
    """Stock of a job, cut for its bed.

    Parameters
    ----------
    rows : tuple of StockSheet
        Offcuts first.
    plans : tuple of GuillotinePlan
        How each kind of stock is cut first.
    gap, edge : float
        Least distance between pieces, and from a piece to its blank's edge, in mm.
    turns : tuple of int
        Quarters that pieces may be turned by; (0, 2) keeps the grain.
    """

    rows: tuple[StockSheet, ...]
    plans: tuple[GuillotinePlan, ...]
    gap: float
    edge: float
    turns: tuple[int, ...]

    @property
    def turned(self) -> bool:
        """Whether pieces may be turned by a quarter."""
        return any(turn % 2 for turn in self.turns)

    @property
    def largest(self) -> tuple[StockSheet, tuple[float, float], int] | None:
        """The biggest whole kind of stock, the size of its largest blank, and how many it gives."""
        whole = [
            (row, plan)
            for row, plan in zip(self.rows, self.plans, strict=True)
            if plan.blanks and not row.outline_mm
        ]
        if not whole:
            return None
        row, plan = max(whole, key=lambda one: one[0].width_mm * one[0].height_mm)
        _, _, w, h = max(plan.blanks, key=lambda b: b[2] * b[3])
        same = ((w, h), (h, w)) if self.turned else ((w, h),)
        return row, (w, h), sum(b[2:] in same for b in plan.blanks)


def stock_rows(job: Job) -> tuple[StockSheet, ...]:
    """Return the job's stock, offcuts first; without any, sheets of the bed's size."""
    rows = job.stock or (StockSheet(*job.made_by.bed, name="sheet of the bed's size"),)
    return tuple(sorted(rows, key=lambda row: not row.outline_mm))


def blank_rules(job: Job) -> BlankRules:
    """Return the blanks of a job's stock and the distances that pieces keep on them."""
    process, settings = job.made_by, job.tiles
    rows = stock_rows(job)
    bed = process.bed if job.process.bed == "machine" else (math.inf, math.inf)
    keep = job.material.grain and settings.grain == "kept"
    return BlankRules(
        rows,
        tuple(guillotine((r.width_mm, r.height_mm), bed, settings.saw_mm) for r in rows),
        settings.spacing_mm + process.kerf_mm + 2 * job.process.lead_in_mm,
        max(settings.bed_margin_mm, job.process.lead_in_mm + process.kerf_mm),
        (0, 2) if keep else (0, 1, 2, 3),
    )
