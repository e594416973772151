"""Sizes near a job's as a picture: a bar of tiles for each, and its stock."""

from __future__ import annotations

from collections.abc import Sequence
from xml.sax.saxutils import escape

from ..fabricate.near_sizes import STEP, NearSize

_WIDE, _HIGH, _LEFT, _TOP = 34.0, 240.0, 70.0, 60.0


def near_sizes_svg(title: str, sizes: Sequence[NearSize]) -> str:
    """Return the picture as the text of an SVG file, sizes from small to big."""
    order = sorted(sizes, key=lambda s: s.scale)
    most = max(s.tiles for s in order)
    width = _LEFT + _WIDE * len(order) + 30
    height = _TOP + _HIGH + 90
    best = sizes[0]
    key = "green: the cheapest; dark: as asked for"
    if abs(best.scale - 1) < STEP / 2:
        key = "green: the size asked for, no other is cheaper"
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}" height="{height:g}" '
        f'viewBox="0 0 {width:g} {height:g}" font-family="sans-serif" font-size="11">',
        f'<rect width="{width:g}" height="{height:g}" fill="#ffffff"/>',
        f'<text x="20" y="26" font-size="16">{escape(title)}: tiles at sizes near the one asked '
        "for</text>",
        '<text x="20" y="44" fill="#555555">below: size, stock sheets, openings too narrow; '
        f"{key}</text>",
    ]
    for k, s in enumerate(order):
        tall = _HIGH * s.tiles / most
        x, base = _LEFT + _WIDE * k, _TOP + _HIGH + 14
        now = abs(s.scale - 1) < STEP / 2
        colour = "#3d8b4f" if s is best else "#333a45" if now else "#9fb3c8"
        middle = x + (_WIDE - 8) / 2
        lines += [
            f'<rect x="{x:g}" y="{base - tall:.1f}" width="{_WIDE - 8:g}" height="{tall:.1f}" '
            f'fill="{colour}"/>',
            _text(middle, base - tall - 4, str(s.tiles)),
            _text(middle, base + 16, f"{s.scale:.0%}"),
            _text(middle, base + 34, str(s.stock)),
            _text(middle, base + 52, str(len(s.narrow_openings)) if s.narrow_openings else "-"),
        ]
    for y, word in ((16, "size"), (34, "stock"), (52, "narrow")):
        lines.append(f'<text x="14" y="{_TOP + _HIGH + 14 + y:g}">{word}</text>')
    return "\n".join([*lines, "</svg>", ""])


def _text(x: float, y: float, text: str) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="middle">{text}</text>'
