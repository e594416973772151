"""The wall plan as a picture: rectangle, diagonals, chalk lines, holes with their numbers."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from xml.sax.saxutils import escape

import shapely
from shapely import MultiPolygon

from ..fabricate.wall_plan import WallPlan

#: Holes told in the picture's table; all are in the file of comma-separated values.
_MOST_ROWS = 120
# Height of a hole's name, in units; width of a letter, in heights; sides of the hole and levels, in
# units, at which it is tried.
_NAME, _LETTER = 0.9, 0.62
_BESIDE = tuple((side, level) for level in (-0.3, 1.1, -1.4, 2.2, -2.5) for side in (1, -1))


def wall_plan_svg(plan: WallPlan, title: str, seams: Sequence[MultiPolygon] = ()) -> str:
    """Return the plan as the text of an SVG file at true size.

    Parameters
    ----------
    plan : WallPlan
    title : str
    seams : sequence of MultiPolygon
        Tiles of the first layer, drawn faintly.
    """
    w, h = plan.size
    unit = max(w, h) / 100
    pad = 6 * unit
    columns = 4
    rows = -(-min(len(plan.holes), _MOST_ROWS) // columns)
    foot = (rows + 7) * 1.5 * unit
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{w + 2 * pad:g}mm" '
        f'height="{h + 2 * pad + foot:g}mm" '
        f'viewBox="{-pad:g} {-pad:g} {w + 2 * pad:g} {h + 2 * pad + foot:g}" '
        f'font-family="sans-serif" font-size="{1.1 * unit:g}" fill="none">',
        f"<title>{escape(title)}</title>",
        f'<rect x="{-pad:g}" y="{-pad:g}" width="{w + 2 * pad:g}" '
        f'height="{h + 2 * pad + foot:g}" fill="#ffffff"/>',
        _words(0, -3.6 * unit, f"{title}: lengths in mm from the datum, lower left", 1.8 * unit),
    ]
    for shape in seams:
        # Finer than the picture shows.
        rings = shapely.simplify(shapely.get_rings(shapely.get_parts(shape)), unit / 60)
        for ring in rings:
            points = " ".join(f"{x:.1f},{h - y:.1f}" for x, y in ring.coords[:-1])
            lines.append(
                f'<polygon points="{points}" stroke="#c4c4c4" stroke-width="{unit / 12:g}"/>'
            )
    for line in plan.lines:
        (x0, y0), (x1, y1) = line.start, line.end
        diagonal = line.name.startswith("diagonal")
        grid = line.name.startswith(("upright", "lying"))
        colour = "#b03a2e" if diagonal else "#2e6da4" if grid else "#111111"
        dash = f' stroke-dasharray="{unit:g} {unit / 2:g}"' if diagonal else ""
        lines.append(
            f'<line x1="{x0:g}" y1="{h - y0:g}" x2="{x1:g}" y2="{h - y1:g}" stroke="{colour}" '
            f'stroke-width="{unit / (6 if grid or diagonal else 3):g}"{dash}/>'
        )
        if grid and line.name.startswith("upright"):
            lines.append(_words(x0, -0.6 * unit, f"{x0:g}", unit, colour, "middle"))
        elif grid:
            lines.append(_words(-0.6 * unit, h - y0 + 0.4 * unit, f"{y0:g}", unit, colour, "end"))
    lines.append(
        f'<circle cx="0" cy="{h:g}" r="{unit:g}" stroke="#111111" stroke-width="{unit / 5:g}"/>'
    )
    lines.append(_words(0, h + 2.6 * unit, "datum 0, 0", unit, "#111111", "middle"))
    lines.append(_words(w, h + 1.6 * unit, f"{w:g}", unit, "#111111", "middle"))
    lines.append(_words(-0.6 * unit, 0.4 * unit, f"{h:g}", unit, "#111111", "end"))
    # Names lie over no circle and no other name; one that finds no room stands in the table.
    taken = [
        (x - unit / 2, h - y - unit / 2, x + unit / 2, h - y + unit / 2)
        for _, (x, y), *_ in plan.holes
    ]
    for name, (x, y), diameter, note in plan.holes:
        colour = "#8a5a00" if note else "#111111"
        lines.append(
            f'<circle cx="{x:.2f}" cy="{h - y:.2f}" r="{diameter / 2:g}" fill="{colour}"/>'
            f'<circle cx="{x:.2f}" cy="{h - y:.2f}" r="{0.5 * unit:g}" stroke="{colour}" '
            f'stroke-width="{unit / 10:g}"/>'
        )
        at = _free_place(taken, (x, h - y), name, unit)
        if at is not None:
            lines.append(_words(*at, name, _NAME * unit, colour))
    below = h + 5 * unit
    told = [
        f"1  Snap the base line with a level; mark {w:g} on it from the datum.",
        f"2  Raise both sides to {h:g}. Both diagonals must measure {plan.diagonal:.1f}; move the "
        "upper corners until they do.",
        "3  Snap the grid; hang the tiles to it.",
    ]
    if plan.holes:
        told[2:] = [
            "3  Snap the grid; measure each hole from the datum, not from the hole before it.",
            "4  Drill only where the wall's owner agreed in writing; look for cables and pipes "
            "before.",
        ]
    for k, text in enumerate(told):
        lines.append(_words(0, below + 1.5 * unit * k, text, 1.1 * unit))
    start = below + 1.5 * unit * (len(told) + 0.7)
    for k, (name, (x, y), diameter, note) in enumerate(plan.holes[:_MOST_ROWS]):
        text = f"{name}  {x:.1f}, {y:.1f}  hole {diameter:g} {note}".rstrip()
        at = (w / columns * (k // rows), start + 1.4 * unit * (k % rows))
        lines.append(_words(*at, text, unit))
    if len(plan.holes) > _MOST_ROWS:
        text = f"and {len(plan.holes) - _MOST_ROWS} more, in wall-plan.csv"
        lines.append(_words(0, start + 1.4 * unit * rows, text, unit))
    return "\n".join([*lines, "</svg>", ""])


def _free_place(
    taken: list[tuple[float, float, float, float]], at: tuple[float, float], name: str, unit: float
) -> tuple[float, float] | None:
    """Return where a hole's name stands beside it, and take its box; None where no room is."""
    wide, tall = _LETTER * _NAME * unit * len(name), _NAME * unit
    for side, level in _BESIDE:
        left = at[0] + (0.6 * unit if side > 0 else -0.6 * unit - wide)
        foot = at[1] + level * unit
        box = (left, foot - tall, left + wide, foot)
        if not any(
            box[0] < b[2] and b[0] < box[2] and box[1] < b[3] and b[1] < box[3] for b in taken
        ):
            taken.append(box)
            return left, foot
    return None


def wall_plan_csv(plan: WallPlan) -> str:
    """Return lines and holes as comma-separated values (RFC 4180)."""
    text = io.StringIO()
    rows = csv.writer(text)
    rows.writerow(("what", "x_mm", "y_mm", "to_x_mm", "to_y_mm", "length_or_diameter_mm", "note"))
    for line in plan.lines:
        rows.writerow((line.name, *line.start, *line.end, f"{line.length:.1f}", ""))
    for name, (x, y), diameter, note in plan.holes:
        rows.writerow((name, f"{x:.2f}", f"{y:.2f}", "", "", f"{diameter:g}", note))
    return text.getvalue()


def _words(
    x: float, y: float, text: str, size: float, colour: str = "#111111", anchor: str = "start"
) -> str:
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size:g}" fill="{colour}" '
        f'text-anchor="{anchor}">{escape(text)}</text>'
    )
