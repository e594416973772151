"""Bridges for many islands: time for 250 to 4,000 of them, and how it grows, in each style.

Run on demand: ``python tests/bench/bench_bridges.py [STYLE ...]``, every style by default. Every
step that a job takes is in it: damage under later layers, candidates, the tree, loads on every
island, laying, necks. Two kinds of sheet: islands each in an opening of their own, and all of them
in one big opening. The peer of the ratio is GEOS, in the same run: the layer's shape grown by a
bridge's width and back, and the artwork's triangles. Processor time, so that what else the machine
does counts little.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import replace
from itertools import product

import numpy as np
import shapely
from shapely import MultiPolygon

from sheetstack.geometry.job.sections import SheetSettings
from sheetstack.geometry.planar.polygons import as_multipolygon
from sheetstack.geometry.sheet.sheet import PlacedArtwork, make_sheet
from sheetstack.geometry.support.bridges import hold_islands
from sheetstack.geometry.support.constraints import FLARE, Loads, Rules
from sheetstack.geometry.support.directions import direction_of
from sheetstack.geometry.support.statics import Stiffness
from sheetstack.geometry.support.visible_damage import Coat, DamageMap

PITCH = 12.0
WIDTH = 1.5
#: Polyester of 0.35 mm.
FILM = Loads(Stiffness(4500, 0.35), 0.35 * 1.39e-3, 0.02, 5.0, 50.0)
_ANY = Rules(WIDTH, loads=FILM)
STYLES = {
    "any": _ANY,
    "drawing": replace(_ANY, direction=direction_of("drawing", 0, 0)),
    "vertical": replace(_ANY, direction=direction_of("vertical", 0, 0)),
    "horizontal": replace(_ANY, direction=direction_of("horizontal", 0, 0)),
    "angle": replace(_ANY, direction=direction_of("angle", 30, 5)),
    "filleted": replace(_ANY, fillet=1.0),
    "curved": replace(_ANY, curved=True),
    "tapered": replace(_ANY, curved=True, flare=FLARE),
    "alike": replace(_ANY, alike="shifted"),
    "turned": replace(_ANY, alike="turned"),
}


def islands(count: int) -> tuple[np.ndarray, float]:
    """Return round islands of 24 vertices, a little irregular, and the side of their field."""
    rng = np.random.default_rng(3)
    columns = int(np.ceil(count**0.5))
    index = np.arange(count)
    x = (index % columns) * PITCH + 20 + rng.uniform(-0.6, 0.6, count)
    y = (index // columns) * PITCH + 20 + rng.uniform(-0.6, 0.6, count)
    discs = shapely.buffer(shapely.points(x, y), rng.uniform(1.6, 2.6, count), quad_segs=6)
    return discs, columns * PITCH + 28


def artwork(kind: str, count: int) -> tuple[MultiPolygon, float]:
    """Return the layer's shape and the sheet's side."""
    discs, side = islands(count)
    if kind == "one opening":
        return as_multipolygon(
            shapely.box(10, 10, side - 10, side - 10).difference(MultiPolygon(list(discs)))
        ), side
    holes = shapely.buffer(shapely.centroid(discs), 0.38 * PITCH, quad_segs=8)
    return MultiPolygon(list(shapely.difference(holes, discs))), side


def measure(kind: str, count: int, style: str = "any") -> float:
    """Bridge a sheet of ``count`` islands, print the figures, return the seconds."""
    shape, side = artwork(kind, count)
    settings = SheetSettings(width_mm=side, height_mm=side, margin_mm=0.0)
    sheet, _ = make_sheet(PlacedArtwork("Bench", shape, ()), settings, MultiPolygon())
    stripes = np.arange(0, side, 20.0)
    cover = MultiPolygon(list(shapely.box(stripes, 0, stripes + 6, side)))
    start = time.process_time()
    damage = DamageMap(
        Coat(shape, "#203040"), (), (Coat(as_multipolygon(cover), "#ffeedd"),), "#ffffff"
    )
    held = hold_islands(sheet, WIDTH, rules=STYLES[style], damage=damage)
    seconds = time.process_time() - start
    assert len(held.sheet.shape.geoms) == 1
    start = time.process_time()
    shape.buffer(WIDTH / 2).buffer(-WIDTH / 2)
    shapely.constrained_delaunay_triangles(shape)
    peer = time.process_time() - start
    weakest = max(island.hold.deflection_mm for island in held.islands)
    print(
        f"{kind:<13} {style:<9} {count:>6} islands {len(held.bridges):>6} strips {seconds:>7.2f} s "
        f"{1000 * seconds / count:>6.2f} ms each {seconds / peer:>6.1f} x   "
        f"damage {held.damage:.4g}, "
        f"{held.damage / held.plain.damage:.2f} of plain shortest, softest {weakest:.3g} mm",
        flush=True,
    )
    return seconds


def main() -> None:
    """Print a table and the exponent of growth."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--most", type=int, default=4000, help="largest number of islands")
    parser.add_argument("--least", type=int, default=250, help="smallest number of islands")
    parser.add_argument("styles", nargs="*", default=list(STYLES), help=", ".join(STYLES))
    asked = parser.parse_args()
    counts = [n for n in (250, 500, 1000, 2000, 4000, 8000) if asked.least <= n <= asked.most]
    for kind, style in product(("own openings", "one opening"), asked.styles):
        seconds = [measure(kind, n, style) for n in counts]
        if len(counts) > 1:
            power = np.polyfit(np.log(counts[-3:]), np.log(seconds[-3:]), 1)[0]
            print(f"{kind:<13} {style:<9} grows as n to the power {power:.2f} over the largest 3")


if __name__ == "__main__":
    main()
