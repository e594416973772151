"""How fast big SVG drawings are read, and in how much memory, beside svgelements.

Run on demand: ``python tests/bench/bench_svg_read.py [--shapes 5000]``; needs ``pip install
svgelements``. Ours is the whole reading: parsing, flattening, filling, repairs, union. The peer's
is parsing and placing alone. Each runs in a process of its own, so that the peak memory is its own.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

VERTICES = 98


def drawing(kind: str, shapes: int) -> str:
    """Wavy discs in rows: straight sides, cubic curves, one compound path, or strokes."""
    rng = np.random.default_rng(0)
    turn = np.linspace(0, 2 * np.pi, VERTICES, endpoint=False)
    side = int(np.ceil(shapes**0.5))
    parts = []
    for i in range(shapes):
        radius = 4 * (1 + 0.1 * np.sin(7 * turn + 6 * rng.random()))
        centre = 10 * np.array([i % side, i // side]) + 5
        ring = np.column_stack([radius * np.cos(turn), radius * np.sin(turn)]) + centre
        words = [f"{x:.3f},{y:.3f}" for x, y in ring]
        if kind == "cubics":
            triples = [" ".join(words[k : k + 3]) for k in range(1, VERTICES - 2, 3)]
            parts.append(f"M{words[0]}C{'C'.join(triples)}Z")
        else:
            parts.append(f"M{'L'.join(words)}Z")
    size = 10 * side
    paint = ' fill="none" stroke="red" stroke-width="0.5"' if kind == "strokes" else ""
    if kind == "compound":
        body = f'<path fill-rule="evenodd" d="{" ".join(parts)}"/>'
    else:
        body = "\n".join(f'<path class="a" d="{d}"/>' for d in parts)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{size}mm" height="{size}mm" '
        f'viewBox="0 0 {size} {size}"><g{paint}>{body}</g></svg>'
    )


def read_ours(path: Path) -> int:
    """Read the drawing wholly; return the number of vertices."""
    import shapely

    from sheetstack.geometry.artwork.source import ArtworkSource
    from sheetstack.geometry.artwork.svg.read import read_svg

    return int(shapely.get_num_coordinates(read_svg(ArtworkSource(path)).shape))


def read_peer(path: Path) -> int:
    """Parse the drawing with svgelements; return the number of segment ends."""
    from svgelements import SVG
    from svgelements import Path as Outline

    drawing = SVG.parse(str(path), reify=True)
    return sum(
        len([segment.end for segment in element])
        for element in drawing.elements()
        if isinstance(element, Outline)
    )


def measured(reader: str, path: Path) -> tuple[float, float, int]:
    """Seconds, peak MB and vertices of a reader in a process of its own."""
    done = subprocess.run(
        [sys.executable, __file__, "--one", reader, str(path)],
        check=True,
        capture_output=True,
        text=True,
    )
    seconds, peak, vertices = json.loads(done.stdout)
    return seconds, peak, vertices


def main() -> None:
    """Print a row per kind of drawing."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--shapes", type=int, default=5000)
    parser.add_argument("--one", nargs=2, help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.one:
        reader, path = arguments.one
        started = time.perf_counter()
        vertices = {"ours": read_ours, "peer": read_peer}[reader](Path(path))
        seconds = time.perf_counter() - started
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(json.dumps([seconds, peak, vertices]))
        return
    print(f"{'drawing':<10}{'MB':>6}{'vertices':>10}{'ours s':>8}{'MB':>6}", end="")
    print(f"{'peer s':>8}{'MB':>6}{'ratio':>8}")
    with tempfile.TemporaryDirectory() as folder:
        for kind in ("lines", "cubics", "compound", "strokes"):
            path = Path(folder) / f"{kind}.svg"
            path.write_text(drawing(kind, arguments.shapes))
            ours, our_peak, vertices = measured("ours", path)
            peer, peer_peak, _ = measured("peer", path)
            size = path.stat().st_size / 1e6
            print(f"{kind:<10}{size:>6.1f}{vertices:>10}{ours:>8.2f}{our_peak:>6.0f}", end="")
            print(f"{peer:>8.2f}{peer_peak:>6.0f}{peer / ours:>8.1f}", flush=True)


if __name__ == "__main__":
    main()
