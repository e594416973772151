"""What is told of a separation: its layers, the order chosen, and what others would cost."""

from __future__ import annotations

from .reorder import Reordered
from .separate import Separation


def separation_lines(separation: Separation) -> list[str]:
    """Return lines of plain text.

    Parameters
    ----------
    separation : Separation
    """
    width = max(5, *(len(layer.name) for layer in separation.layers))
    lines = [f"{'layer':<{width}}  colour   seen cm2  sprayed cm2  islands   cut m  nodes"]
    for layer in separation.layers:
        lines.append(
            f"{layer.name:<{width}}  {layer.colour}{layer.seen.area / 100:>11.1f}"
            f"{layer.shape.area / 100:>13.1f}{layer.islands:>9}{layer.cut / 1000:>8.2f}"
            f"{layer.curves.nodes:>7}"
        )
    lines += ["", order_sentence(separation)]
    for what, plan in separation.others:
        names = ", ".join(separation.drawn_names[k] for k in plan.order)
        lines.append(
            f"  {what}: {_counted(plan.islands, 'island')}, bridges leave about "
            f"{plan.spoiled / 100:.1f} cm2 unpainted, {plan.cut / 1000:.2f} m to cut ({names})"
        )
    return lines


def reorder_lines(found: Reordered) -> list[str]:
    """Return what another order changes of a job, as lines of plain text."""
    separation = found.separation
    before, after = found.before, found.after
    return [
        f"as it is: {_counted(before.islands, 'island')}, {before.cut / 1000:.2f} m to cut "
        f"({', '.join(separation.drawn_names)})",
        f"reordered: {_counted(after.islands, 'island')}, {after.cut / 1000:.2f} m to cut "
        f"({', '.join(layer.name for layer in separation.layers)})",
        "",
        *separation_lines(separation),
    ]


def order_sentence(separation: Separation) -> str:
    """Return which spray order was chosen, and what it costs, as a sentence."""
    plan = separation.plan
    best = (
        "no order costs less"
        if separation.exact
        else "the best found; there are too many layers or regions to try all orders"
    )
    twice = len(plan.order) - len({layer.can for layer in separation.layers})
    returns = "1 of the sheets returns" if twice == 1 else f"{twice} of the sheets return"
    again = f" {returns} to a colour: that costs less than its islands." * (twice > 0)
    return (
        f"On a wall of {separation.ground}, {_counted(len(plan.order), 'sheet')} in this order: "
        f"{_counted(plan.islands, 'island')}, bridges leave about "
        f"{plan.spoiled / 100:.1f} cm2 unpainted, "
        f"{plan.cut / 1000:.2f} m to cut ({best}).{again}"
    )


def _counted(count: int, what: str) -> str:
    return f"{count} {what}" + "s" * (count != 1)
