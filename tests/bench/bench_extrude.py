"""How fast sheets become solid, against trimesh and against Blender's own filled 2D curve.

Run on demand: ``python tests/bench/bench_extrude.py [--openings 4900] [--growth]``. Ratios are
taken within one run on one machine; Blender is left out where bpy is not installed.
"""

from __future__ import annotations

import argparse
import importlib.util
import time
from collections.abc import Callable

import numpy as np
import shapely
import trimesh

from sheetstack.geometry.mesh.check import soundness, volume
from sheetstack.geometry.mesh.solid import extrude

THICKNESS = 0.35
VERTICES = 100  # a ring


def round_plate(count: int) -> shapely.Polygon:
    """A square plate with ``count`` round-ish openings of 100 vertices each, in rows."""
    rng = np.random.default_rng(7)
    side = round(count**0.5)
    turn = np.linspace(0, 2 * np.pi, VERTICES, endpoint=False)
    circle = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    holes = [
        (10 * i + 5, 10 * j + 5) + circle * 3.5 * (1 + 0.03 * rng.standard_normal((VERTICES, 1)))
        for i in range(side)
        for j in range(side)
    ]
    return shapely.Polygon(shapely.box(0, 0, side * 10, side * 10).exterior.coords, holes)


def seconds(work: Callable[[], object], repeats: int = 1) -> float:
    """Return the best time of a few runs."""
    best = float("inf")
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return best


def blender_extrude(plate: shapely.Polygon) -> int:
    """Fill and extrude the plate as a 2D curve, convert it to a mesh; return its face count."""
    import bpy

    curve = bpy.data.curves.new("plate", "CURVE")
    curve.dimensions = "2D"
    curve.fill_mode = "BOTH"
    curve.extrude = THICKNESS / 2
    for ring in shapely.get_rings(plate):
        points = np.asarray(ring.coords)[:-1]
        spline = curve.splines.new("POLY")
        spline.points.add(len(points) - 1)
        flat = np.zeros((len(points), 4), np.float32)
        flat[:, :2], flat[:, 3] = points, 1
        spline.points.foreach_set("co", flat.ravel())
        spline.use_cyclic_u = True
    thing = bpy.data.objects.new("plate", curve)
    bpy.context.scene.collection.objects.link(thing)
    graph = bpy.context.evaluated_depsgraph_get()
    mesh = bpy.data.meshes.new_from_object(thing.evaluated_get(graph))
    faces = len(mesh.polygons)
    bpy.data.objects.remove(thing)
    bpy.data.meshes.remove(mesh)
    return faces


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--openings", type=int, default=4900, help="a square number")
    parser.add_argument("--growth", action="store_true", help="24,000 to 2,000,000 vertices")
    chosen = parser.parse_args()
    if chosen.growth:
        print("vertices  seconds  microseconds a vertex")
        for side in (16, 31, 70, 100, 141):
            plate = round_plate(side * side)
            taken = seconds(lambda plate=plate: extrude(plate, THICKNESS), 3)
            count = side * side * VERTICES
            print(f"{count:8d}  {taken:7.3f}  {taken / count * 1e6:.3f}")
        return
    plate = round_plate(chosen.openings)
    own = seconds(lambda: extrude(plate, THICKNESS), 3)
    mesh = extrude(plate, THICKNESS)
    error = volume(mesh) / (plate.area * THICKNESS) - 1
    print(f"{chosen.openings} openings, {chosen.openings * VERTICES} vertices")
    print(f"sheetstack: {own:.3f} s, {soundness(mesh)}, volume off by {error:.1e}")
    earcut = seconds(lambda: trimesh.creation.extrude_polygon(plate, THICKNESS, engine="earcut"))
    print(f"trimesh earcut: {earcut:.2f} s, ratio {earcut / own:.0f}")
    if importlib.util.find_spec("bpy"):
        blender = seconds(lambda: blender_extrude(plate))
        print(f"Blender filled curve: {blender:.2f} s, ratio {blender / own:.0f}")


if __name__ == "__main__":
    main()
