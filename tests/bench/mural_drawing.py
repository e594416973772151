"""A mural of our own invention for benches and tests: tide, reeds, birds under a sun.

``mural_svg(3000, 2000)`` is a drawing in three groups (``tide``, ``reeds``, ``birds``) at true
size, the same at each call.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

Ring = np.ndarray


def mural_svg(width: float, height: float, *, fineness: int = 16, scale: float = 1.0) -> str:
    """Return the drawing as SVG text, lengths in mm.

    Parameters
    ----------
    width, height : float
    fineness : int
        Corners of a quarter of a curve.
    scale : float
        Size of the figures: 1 for a wave of 150 mm.
    """
    rng = np.random.default_rng(1000)
    groups = {
        "tide": _tide(width, height, scale, fineness),
        "reeds": _reeds(width, height, scale, fineness, rng),
        "birds": _birds(width, height, scale, fineness, rng),
    }
    body = []
    for name, shapes in groups.items():
        paths = "\n".join(f'<path d="{_path(rings, height)}"/>' for rings in shapes)
        body.append(f'<g id="{name}" fill-rule="evenodd">\n{paths}\n</g>')
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}mm" height="{height:g}mm" '
        f'viewBox="0 0 {width:g} {height:g}">\n' + "\n".join(body) + "\n</svg>\n"
    )


def mural_job(
    width: float,
    height: float,
    *,
    margin: float = 40.0,
    more: str = "",
    layers: Iterable[str] = ("tide", "reeds", "birds"),
) -> str:
    """Return a job for ``mural.svg``, sheets of ``width`` x ``height`` mm in 3 mm ply."""
    colours = {"tide": "#2f7f93", "reeds": "#7c8f3c", "birds": "#22252b"}
    text = (
        f'title = "Tide"\nground = "#efe3c8"\n'
        f"[sheet]\nwidth_mm = {width:g}\nheight_mm = {height:g}\n"
        f'margin_mm = {margin:g}\nmaterial = "birch-ply"\nthickness_mm = 3\n{more}\n'
    )
    for name in layers:
        text += (
            f'[[layers]]\nname = "{name.title()}"\ncolour = "{colours[name]}"\n'
            f'artwork = "mural.svg"\ngroup = "{name}"\n'
        )
    return text


def _path(rings: Iterable[Ring], height: float) -> str:
    return "".join(
        "M" + " ".join(f"{x:.2f},{height - y:.2f}" for x, y in ring.tolist()) + "Z"
        for ring in rings
    )


def _arc(centre: tuple[float, float], radius: float, first: float, last: float, count: int) -> Ring:
    turn = np.radians(np.linspace(first, last, count))
    return np.array(centre) + radius * np.stack([np.cos(turn), np.sin(turn)], axis=1)


def _tide(width: float, height: float, scale: float, fine: int) -> list[list[Ring]]:
    """Rows of waves like scales, each two arcs and an eye; above a sun of broken rings."""
    found = []
    radius, gap = 75.0 * scale, 9.0 * scale
    top = 0.45 * height
    row, y = 0, gap
    while y + radius < top:
        x = radius + gap + (row % 2) * (radius + gap / 2)
        while x + radius + gap < width:
            for outer, inner in ((radius, 0.78 * radius), (0.64 * radius, 0.44 * radius)):
                ring = np.concatenate(
                    [
                        _arc((x, y), outer, 12, 168, 4 * fine),
                        _arc((x, y), inner, 168, 12, 3 * fine),
                    ]
                )
                found.append([ring])
            eye = [_arc((x, y + 0.18 * radius), 0.16 * radius, 0, 352, 2 * fine)]
            if (row + round(x)) % 3 == 0:
                eye.append(_arc((x, y + 0.18 * radius), 0.06 * radius, 0, 350, fine))
            found.append(eye)
            x += 2 * radius + gap
        row += 1
        y += 1.08 * radius
    sun = (0.72 * width, 0.76 * height)
    for k in range(1, 6):
        outer, inner = 0.036 * height * k, 0.036 * height * (k - 0.55)
        pieces = 3 + k
        for part in range(pieces):
            first = 360 / pieces * part + 23 * k
            last = first + 360 / pieces - 60 / (k + 1)
            count = max(6, fine * 2)
            found.append(
                [
                    np.concatenate(
                        [_arc(sun, outer, first, last, count), _arc(sun, inner, last, first, count)]
                    )
                ]
            )
    return found


def _reeds(
    width: float, height: float, scale: float, fine: int, rng: np.random.Generator
) -> list[list[Ring]]:
    """Leaves that bend with the wind, one rooted beside the other."""
    found = []
    x = 40.0 * scale
    while x < width - 120 * scale:
        low = height * rng.uniform(0.01, 0.1)
        long = height * rng.uniform(0.3, 0.6)
        bend = rng.uniform(0.1, 0.6) * 130 * scale
        half = rng.uniform(10, 20) * scale
        t = np.linspace(0, 1, 6 * fine)
        middle = np.stack([x + bend * t**2, low + long * t], axis=1)
        wide = half * np.sin(np.pi * np.clip(t * 0.97 + 0.02, 0, 1)) ** 0.7
        side = np.stack([wide, -0.2 * wide], axis=1)
        found.append([np.concatenate([middle + side, (middle - side)[::-1]])])
        x += rng.uniform(45, 75) * scale
    return found


def _birds(
    width: float, height: float, scale: float, fine: int, rng: np.random.Generator
) -> list[list[Ring]]:
    """Birds on the wing: a body with an eye, two fans of feathers, each feather an opening."""
    found = []
    span = 260.0 * scale
    for y in np.arange(0.55 * height, height - 0.4 * span, 0.85 * span):
        for x in np.arange(0.7 * span, width - 0.7 * span, 1.5 * span):
            at = np.array([x + rng.uniform(-0.1, 0.1) * span, y + rng.uniform(-0.05, 0.05) * span])
            tilt = np.radians(rng.uniform(-15, 25))
            turn = np.array([[np.cos(tilt), np.sin(tilt)], [-np.sin(tilt), np.cos(tilt)]])
            t = np.linspace(0, 2 * np.pi, 8 * fine, endpoint=False)
            body = np.stack([0.32 * np.cos(t), 0.075 * np.sin(t) * (1 + 0.5 * np.cos(t))], axis=1)
            eye = _arc((0.25, 0.02), 0.022, 0, 350, 2 * fine)
            found.append([span * body @ turn + at, span * eye @ turn + at])
            for side in (1, -1):
                for k in range(9):
                    angle = side * (62 + 11 * k)
                    way = np.array([np.cos(np.radians(angle)), np.sin(np.radians(angle))])
                    root = np.array([0.14 - 0.03 * k, side * (0.115 + 0.006 * k)])
                    long = 0.3 - 0.012 * k
                    s = np.linspace(0, 1, 2 * fine)
                    middle = root + s[:, None] * long * way
                    wide = (0.02 * np.sin(np.pi * (0.04 + 0.93 * s)) ** 0.6)[:, None]
                    normal = np.array([-way[1], way[0]])
                    ring = np.concatenate([middle + wide * normal, (middle - wide * normal)[::-1]])
                    found.append([span * ring @ turn + at])
    return found
