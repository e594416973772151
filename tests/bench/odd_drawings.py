"""Drawings whose structure hurts: much nested, crossing, near, thin, repeated or referred to."""

from __future__ import annotations

import math
import random

import numpy as np
from fuzz_seeds import SVG_HEAD


def _document(body: str) -> str:
    return f'{SVG_HEAD}viewBox="0 0 100 100">{body}</svg>'


def _path(points: np.ndarray, closed: bool = True) -> str:
    return "M" + "L".join(f"{x:.6g} {y:.6g}" for x, y in points) + ("Z" if closed else "")


def _rings_in_rings(rng: random.Random) -> str:
    count = rng.randint(2, 500)
    radii = np.linspace(49, 1, count)
    rings = "".join(
        f"M{50 - r:.4f} 50a{r:.4f} {r:.4f} 0 1 0 {2 * r:.4f} 0a{r:.4f} {r:.4f} 0 1 0 "
        f"{-2 * r:.4f} 0Z"
        for r in radii
    )
    return _document(f'<path fill-rule="evenodd" d="{rings}"/>')


def _crossing_ring(rng: random.Random) -> str:
    points = np.array(
        [[rng.uniform(0, 100), rng.uniform(0, 100)] for _ in range(int(10 ** rng.uniform(1, 3.2)))]
    )
    rule = rng.choice(["evenodd", "nonzero"])
    return _document(f'<path fill-rule="{rule}" d="{_path(points)}"/>')


def _crossing_strokes(rng: random.Random) -> str:
    count = int(10 ** rng.uniform(1, 3.4))
    lines = "".join(
        f'<path d="M{rng.uniform(0, 100):.3f} {rng.uniform(0, 100):.3f}L{rng.uniform(0, 100):.3f} '
        f'{rng.uniform(0, 100):.3f}"/>'
        for _ in range(count)
    )
    width = 10 ** rng.uniform(-2, 0.3)
    return _document(f'<g stroke="#000" stroke-width="{width:.3g}">{lines}</g>')


def _near_edges(rng: random.Random) -> str:
    gap = 10 ** rng.uniform(-12, -1) * rng.choice([-1, 1])
    boxes, x = [], 2.0
    for _ in range(rng.randint(2, 8)):
        wide = rng.uniform(3, 10)
        boxes.append(
            f'<path d="M{x!r} {rng.uniform(5, 30):.3f}V{rng.uniform(60, 95):.3f}H{x + wide!r}'
            f'V{rng.uniform(5, 30):.3f}Z"/>'
        )
        x += wide + gap
    turn = rng.choice(["", f' transform="rotate({rng.uniform(-20, 20)!r} 50 50)"'])
    return _document(f"<g{turn}>{''.join(boxes)}</g>")


def _hilbert(rng: random.Random) -> str:
    order = rng.randint(2, 6)
    points = [(0, 0)]
    for level in range(order):
        side = 2**level
        points = [
            *((y, x) for x, y in points),
            *((x, y + side) for x, y in points),
            *((x + side, y + side) for x, y in points),
            *((2 * side - 1 - y, side - 1 - x) for x, y in points),
        ]
    size = 96 / 2**order
    path = _path(np.array(points) * size + 2 + size / 2, closed=False)
    width = size * rng.uniform(0.1, 1.05)
    return _document(f'<path d="{path}" fill="none" stroke="#000" stroke-width="{width:.4g}"/>')


def _comb(rng: random.Random) -> str:
    count = rng.randint(5, 300)
    step = 90 / count
    share = rng.uniform(0.05, 0.95)
    points = [(5.0, 95.0), (5.0, 5.0)]
    for k in range(count):
        x = 5 + k * step
        points += [(x, 80.0), (x + step * share, 80.0), (x + step * share, 5.0), (x + step, 5.0)]
    points += [(95.0, 95.0)]
    return _document(f'<path d="{_path(np.array(points))}"/>')


def _use_tree(rng: random.Random) -> str:
    depth, fan = rng.randint(2, 14), rng.randint(2, 6)
    levels = ['<g id="l0"><rect width="1" height="1"/></g>']
    for k in range(1, depth):
        uses = "".join(f'<use href="#l{k - 1}" x="{j * 90 / fan**k:.4g}"/>' for j in range(fan))
        levels.append(f'<g id="l{k}">{uses}</g>')
    return _document(f'<defs>{"".join(levels)}</defs><use href="#l{depth - 1}"/>')


def _deep(rng: random.Random) -> str:
    depth = int(10 ** rng.uniform(1, 3.6))
    tag = rng.choice(["g", "svg", "a", "switch"])
    return _document(f"<{tag}>" * depth + '<circle cx="50" cy="50" r="30"/>' + f"</{tag}>" * depth)


def _selectors(rng: random.Random) -> str:
    count = int(10 ** rng.uniform(0.5, 3))
    kind = rng.choice(
        [
            "g " * count + "rect",
            "g>" * count + "rect",
            ",".join(["rect"] * count),
            "rect" + ":not(.x)" * count,
            ":not(" * count + "rect" + ")" * count,
            "*" + "[x]" * count,
        ]
    )
    return _document(f"<style>{kind}{{fill:red}}</style><g><rect width='50' height='50'/></g>")


def stars(rng: random.Random) -> str:
    parts = []
    for _ in range(rng.randint(1, 14)):
        corners = rng.randint(3, 24)
        turn = np.linspace(0, 2 * math.pi, corners, endpoint=False) + rng.uniform(0, 1)
        size = np.array([rng.uniform(2, 30) for _ in range(corners)])
        middle = np.array([rng.uniform(10, 90), rng.uniform(10, 90)])
        ring = middle + size[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
        parts.append(_path(ring.round(rng.choice([0, 1, 4]))))
    return _document(
        f'<path fill-rule="{rng.choice(["evenodd", "nonzero"])}" d="{"".join(parts)}"/>'
    )


def _dots(rng: random.Random) -> str:
    step = rng.uniform(1.5, 12)
    radius = step * rng.uniform(0.1, 0.75)
    side = int(90 / step)
    circles = "".join(
        f'<circle cx="{5 + step * (k % side):.3f}" cy="{5 + step * (k // side):.3f}" '
        f'r="{radius:.3f}"/>'
        for k in range(side * side)
    )
    return _document(circles)


def _clips(rng: random.Random) -> str:
    count = rng.randint(1, 60)
    clips = "".join(
        f'<clipPath id="c{k}" clip-path="url(#c{rng.randrange(count)})">'
        f'<circle cx="{rng.uniform(20, 80):.2f}" cy="50" r="{rng.uniform(10, 60):.2f}"/></clipPath>'
        for k in range(count)
    )
    return _document(f'<defs>{clips}</defs><rect width="100" height="100" clip-path="url(#c0)"/>')


def _entities(rng: random.Random) -> str:
    depth = rng.randint(1, 30)
    rows = "".join(f'<!ENTITY e{k} "{f"&e{k - 1};" * 4 if k else "ha"}">' for k in range(depth))
    outside = rng.choice(["", '<!ENTITY x SYSTEM "job.toml">'])
    body = _document(f"<title>&e{depth - 1};</title>" + '<rect width="9" height="9"/>')
    return f"<!DOCTYPE svg [{rows}{outside}]>{body}"


STRUCTURES = (
    *(
        _rings_in_rings,
        _crossing_ring,
        _crossing_strokes,
        _near_edges,
        _near_edges,
        _hilbert,
        _comb,
    ),
    *(_use_tree, _deep, _selectors, stars, stars, stars, _dots, _clips, _entities),
)
