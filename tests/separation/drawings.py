"""Drawings of our own for the tests of separation."""

from __future__ import annotations

from pathlib import Path

#: A sun over a sea, a boat with a striped sail; dark lines return on top.
BOAT = """<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 120 90">
<rect width="120" height="90" fill="#bfe3f2"/>
<circle cx="92" cy="24" r="14" fill="#f4b21b"/>
<path d="M0 62Q15 56 30 62T60 62T90 62T120 62V90H0Z" fill="#1f6f9f"/>
<path d="M24 58H88L78 74H34Z" fill="#16222e"/>
<path d="M54 10V54H28Z" fill="#d6402b"/>
<path d="M54 30V42H36Z" fill="#ffffff"/>
<circle cx="48" cy="37" r="2.2" fill="#16222e"/>
<path d="M60 14L82 54H60Z" fill="#ffffff"/>
<rect x="56" y="8" width="2.4" height="52" fill="#16222e"/>
</svg>"""

#: What lies under what is told by opacities, groups, a clip, a mask and a gradient.
VEILED = """<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100">
<defs><clipPath id="c"><circle cx="70" cy="30" r="18"/></clipPath>
<mask id="m"><rect x="0" y="50" width="50" height="50" fill="#fff"/>
<circle cx="25" cy="75" r="10" fill="#000"/></mask>
<linearGradient id="g"><stop offset="0" stop-color="#204060"/><stop offset="1"
stop-color="#214161"/></linearGradient></defs>
<style>.half{fill:#00aa00;fill-opacity:.5}</style>
<rect x="10" y="10" width="40" height="40" fill="red"/>
<rect class="half" x="30" y="20" width="40" height="30"/>
<g opacity="0.5"><rect x="55" y="5" width="30" height="50" fill="blue"/>
<rect x="60" y="10" width="30" height="30" fill="yellow"/></g>
<rect x="50" y="10" width="40" height="40" fill="#333" clip-path="url(#c)"/>
<rect width="100" height="100" fill="#ff8800" mask="url(#m)"/>
<rect x="60" y="70" width="30" height="20" fill="url(#g)"/>
<g color="#663399"><circle cx="85" cy="60" r="6" fill="currentColor"/></g>
</svg>"""


def written(folder: Path, name: str, text: str) -> Path:
    """Write a drawing and return its path."""
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path
