"""How often layers are told wrongly to be shifted or at another scale, and how often rightly.

Run on demand: ``python tests/bench/bench_register.py FOLDER [--drawings 200] [--faults]``. Every
drawing (SVG) of the folder in two to eight colours becomes two jobs, one layer a colour: as drawn,
one shape over the other, and as seen, each cut by what lies over it. They are in register, so that
each finding is a false alarm. Nothing but their edges can tell: pages are held back. With
``--faults`` a layer of each is moved by 1, 3 and 10 mm and scaled to 0.5 and 25.4/96 times its
size; a fault is found, told as not checkable, or missed: passed over without a word.
"""

from __future__ import annotations

import argparse
import random
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import shapely
from shapely import MultiPolygon
from shapely.affinity import scale, translate

from sheetstack.geometry.artwork.source import ArtworkSource
from sheetstack.geometry.artwork.svg.coloured import read_svg_colours
from sheetstack.geometry.errors import SheetstackError
from sheetstack.geometry.planar.polygons import as_multipolygon
from sheetstack.geometry.sheet.alignment import alignment

#: Longer side of the page in mm, and corners of a drawing at most.
SIDE, CORNERS = 300.0, 20_000
FAULTS = {"1 mm": 1.0, "3 mm": 3.0, "10 mm": 10.0, "x 0.5": 0.5, "x 25.4/96": 25.4 / 96}
NOT_CHECKABLE = "registration.not-checkable"


def jobs(path: Path) -> Iterator[tuple[str, list[MultiPolygon], tuple[float, float]]]:
    """Yield a drawing's two jobs: how they are cut, the layers' areas and the page."""
    try:
        drawing = read_svg_colours(ArtworkSource(path), lambda page: SIDE / max(page))
    except SheetstackError:
        return
    shapes = [s for s in drawing.shapes if s.alpha >= 0.5]
    colours = list(dict.fromkeys(tuple(np.round(s.rgb, 2)) for s in shapes))
    corners = sum(int(shapely.get_num_coordinates(s.shape)) for s in shapes)
    if not 2 <= len(colours) <= 8 or corners > CORNERS:
        return
    page = shapely.box(0, 0, *drawing.page)
    drawn: list[list[shapely.Geometry]] = [[] for _ in colours]
    seen: list[list[shapely.Geometry]] = [[] for _ in colours]
    covered = shapely.Polygon()
    for shape in reversed(shapes):
        number = colours.index(tuple(np.round(shape.rgb, 2)))
        on_page = shape.shape.intersection(page)
        drawn[number].append(on_page)
        seen[number].append(on_page.difference(covered))
        covered = covered.union(on_page)
    for name, layers in (("as drawn", drawn), ("as seen", seen)):
        areas = [as_multipolygon(shapely.union_all(layer)) for layer in layers]
        areas = [area for area in areas if area.area > 1]
        if len(areas) > 1:
            yield name, areas, drawing.page


def with_fault(
    area: MultiPolygon, fault: str, page: tuple[float, float], turn: float
) -> MultiPolygon:
    """Return a layer moved, in the direction ``turn``, or scaled about its page's corner."""
    size = FAULTS[fault]
    if fault.endswith("mm"):
        return translate(area, size * np.cos(turn), size * np.sin(turn))
    return scale(area, size, size, origin=(0, page[1]))


def main() -> None:
    """Judge, and print false alarms one by one and counts at the end."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--drawings", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--faults", action="store_true")
    chosen = parser.parse_args()
    rng, turns = random.Random(chosen.seed), np.random.default_rng(chosen.seed)
    paths = sorted(chosen.folder.rglob("*.svg"))
    rng.shuffle(paths)
    counts: Counter[tuple[str, str, str]] = Counter()
    taken = 0
    for path in paths:
        if taken == chosen.drawings:
            break
        taken_before = sum(counts.values())
        for how, areas, page in jobs(path):
            names = [str(number) for number in range(len(areas))]
            right = alignment(areas, names, page)
            wrong = [f for f in right.findings if f.code != NOT_CHECKABLE]
            counts[how, "in register", "false alarm" if wrong else "right"] += 1
            for finding in wrong:
                print(f"{path} {how}: {finding.sentence()}", flush=True)
            for fault in FAULTS if chosen.faults else ():
                number = rng.randrange(len(areas))
                moved = [*areas]
                moved[number] = with_fault(areas[number], fault, page, turns.uniform(0, 2 * np.pi))
                told = alignment(moved, names, page)
                found = any(f.code != NOT_CHECKABLE for f in told.findings)
                checkable = "" if right.witnesses[number] else ", as before"
                said = f"not checkable{checkable}" if not told.witnesses[number] else "missed"
                counts[how, fault, "found" if found else said] += 1
        taken += sum(counts.values()) > taken_before
    for (how, fault, said), count in sorted(counts.items()):
        print(f"{how:9} {fault:12} {said:26} {count}")


if __name__ == "__main__":
    main()
