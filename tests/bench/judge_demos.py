"""Judge the files that the demos give as they lie on disk, by readers from elsewhere.

Run on demand: ``python tests/bench/judge_demos.py [JOB.toml ...]``, all of ``demo_scenes`` when
none are named. Each job is built and exported in every format by the command line, into a folder
of its own, and every file is read back:

* STL by trimesh and admesh, 3MF by lib3mf, as written and welded as other programs weld: closed and
  one sense of winding; a build's solids have as many bodies and holes and as much volume as the cut
  paths of the same sheet say;
* SVG by resvg and by Cairo: both paint something, and the same;
* DXF by ezdxf: in mm, no error found by its audit, the area within the cut lines that of the SVG.

Exit code 1 where a fault was found.
"""

from __future__ import annotations

import argparse
import io
import re
import sys
import tempfile
from pathlib import Path
from xml.etree import ElementTree

import cairosvg
import ezdxf
import lib3mf
import numpy as np
import product
import resvg_py
import trimesh
from judge_plate import pieces_of, read_cut_file, within_odd
from judge_solid import WELD_DECIMALS, judge_solid
from PIL import Image

SCENES = Path(__file__).parents[2] / "demo_scenes"
FORMATS = "svg,dxf,pdf,stl,3mf"
#: Pixels of the longer side on which two renderers are compared.
PIXELS = 1800
#: Grey that counts as ink, and as a trace of it: lines a tenth of a millimetre wide are faint.
INK, TRACE = 220, 250
#: Pixels along the edge of the page that are not compared.
EDGE = 3
#: Share of all ink that may lie where the other renderer has none within two pixels.
INK_APART = 0.005
#: Share by which two files' areas may differ: coordinates have four or five decimals.
AREA_SHARE = 1e-4
MILLIMETRES = 4  # $INSUNITS, DXF reference


def judge_svg(path: Path) -> list[str]:
    """Return what is wrong with a drawing: two renderers have to paint the same."""
    text = path.read_text(encoding="utf-8")
    root = ElementTree.fromstring(text)
    size = {side: float(re.sub("[a-z]+$", "", root.attrib[side])) for side in SIDES}
    for side in SIDES:
        # In pixels: a page of few millimetres would be rounded to those of 96 an inch, then scaled.
        root.set(side, f"{size[side] * PIXELS / max(size.values())}")
    large = ElementTree.tostring(root, "unicode")
    greys = []
    for png in (
        bytes(resvg_py.svg_to_bytes(svg_string=large)),
        cairosvg.svg2png(bytestring=large.encode()),
    ):
        image = Image.open(io.BytesIO(png)).convert("RGBA")
        page = Image.new("RGBA", image.size, "white")
        page.alpha_composite(image)
        greys.append(np.asarray(page.convert("L")))
    high, across = np.min([grey.shape for grey in greys], axis=0)
    # A line on the page's very edge is half there, or not at all.
    one, other = (grey[EDGE : high - EDGE, EDGE : across - EDGE] for grey in greys)
    if not (one < INK).any() or not (other < INK).any():
        return ["blank"]
    if "<text" in text:  # letters are of other fonts
        return []
    apart = ((one < INK) & ~_grown(other < TRACE)).sum()
    apart += ((other < INK) & ~_grown(one < TRACE)).sum()
    share = apart / ((one < INK) | (other < INK)).sum()
    return [f"resvg and Cairo differ on {share:.1%} of the ink"] if share > INK_APART else []


SIDES = ("width", "height")


def _grown(ink: np.ndarray) -> np.ndarray:
    wide = np.pad(ink, 2)
    high, across = ink.shape
    found = np.zeros_like(ink)
    for dy in range(5):
        for dx in range(5):
            found |= wide[dy : dy + high, dx : dx + across]
    return found


def judge_dxf(path: Path) -> list[str]:
    """Return what is wrong with a DXF file, beside the SVG of the same name."""
    document = ezdxf.readfile(path)
    faults = [f"audit: {error.message}" for error in document.audit().errors]
    if document.header["$INSUNITS"] != MILLIMETRES:
        faults.append("not in mm")
    rings, ways = [], 0
    for entity in document.modelspace():
        ways += 1
        if entity.dxf.layer == "CUT" and entity.dxftype() == "LWPOLYLINE" and entity.closed:
            rings.append(np.array(entity.get_points("xy")))
    if not ways:
        return [*faults, "empty"]
    drawing = path.with_suffix(".svg")
    if drawing.exists() and path.stem.endswith("-cut"):
        area, wanted = within_odd(rings).area, read_cut_file(drawing)[0].area
        if abs(area - wanted) > AREA_SHARE * wanted:
            faults.append(f"encloses {area:.3f} mm2, the SVG {wanted:.3f}")
    return faults


def judge_mesh(path: Path) -> list[str]:
    """Return what is wrong with the solids in an STL or 3MF file, each by itself."""
    if path.suffix == ".3mf":
        solids = solids_of_3mf(path)
    else:
        mesh = trimesh.load_mesh(path, process=False)
        solids = [np.asarray(mesh.vertices, np.float64)[np.asarray(mesh.faces)].reshape(-1, 3)]
    faults = [] if solids else ["no solid"]
    for number, corners in enumerate(solids, 1):
        for name, points in (("as written", corners), ("welded", corners.round(WELD_DECIMALS))):
            unique, index = np.unique(points, axis=0, return_inverse=True)
            faces = index.reshape(-1, 3)
            # Who merges corners leaves out the facets that lose a side by it.
            faces = faces[(faces != np.roll(faces, 1, axis=1)).all(axis=1)]
            one = trimesh.Trimesh(unique, faces, process=False)
            if not (one.is_watertight and one.is_winding_consistent and one.volume > 0):
                faults.append(f"solid {number} {name}: not closed, turned or empty")
    return faults


def solids_of_3mf(path: Path) -> list[np.ndarray]:
    """Return the corners of the facets of each mesh, three rows a facet, as lib3mf reads them."""
    model = lib3mf.get_wrapper().CreateModel()
    model.QueryReader("3mf").ReadFromFile(str(path))
    meshes = model.GetMeshObjects()
    solids = []
    while meshes.MoveNext():
        mesh = meshes.GetCurrentMeshObject()
        points = np.array([list(v.Coordinates) for v in mesh.GetVertices()])
        faces = np.array([list(t.Indices) for t in mesh.GetTriangleIndices()])
        solids.append(points[faces].reshape(-1, 3))
    return solids


def judge_build(folder: Path) -> list[tuple[str, str]]:
    """Return the faults of a build's files: solids against the cut paths of the same layer."""
    faults = []
    report = product.report_of(folder)
    for layer in report["layers"]:
        solid, cut = folder / layer["files"]["stl"], folder / layer["files"]["cut"]
        sheet, _ = read_cut_file(cut)
        pieces = pieces_of(sheet)
        if len(pieces) != 1:
            faults.append((cut.name, f"{len(pieces)} pieces"))
        openings = sum(len(piece.interiors) for piece in pieces)
        thick = layer["volume_mm3"] / layer["sheet_mm2"]
        found = judge_solid(solid, sheet.area, thick, len(pieces), openings).faults
        faults += [(solid.name, fault) for fault in found]
    return faults


def judge_folder(folder: Path) -> tuple[list[tuple[str, str]], dict[str, int]]:
    """Return the faults of all files of a folder, each with its name, and how many were read."""
    faults: list[tuple[str, str]] = []
    read: dict[str, int] = {}
    judges = {".svg": judge_svg, ".dxf": judge_dxf, ".stl": judge_mesh, ".3mf": judge_mesh}
    for path in sorted(folder.iterdir()):
        judge = judges.get(path.suffix)
        if judge is None:
            continue
        read[path.suffix] = read.get(path.suffix, 0) + 1
        faults += [(path.name, fault) for fault in judge(path)]
    return faults, read


def judge_job(job: Path, folder: Path) -> tuple[list[tuple[str, str]], dict[str, int]]:
    """Build and export a job by the command line; return faults, and how many files were read."""
    built, made = folder / "build", folder / "export"
    words = ["export", str(job), "--format", FORMATS, "--out", str(made)]
    faults = []
    for done in (product.build_by_command(job, built), product.command(*words)):
        if done.returncode not in (product.CLEAN, product.SPOILT):
            return [(job.name, done.stderr[-500:])], {}
    faults += judge_build(built)
    read: dict[str, int] = {}
    for out in (built, made):
        found, count = judge_folder(out)
        faults += found
        for suffix, number in count.items():
            read[suffix] = read.get(suffix, 0) + number
    return faults, read


def main() -> int:
    """Judge the jobs, and print one line a job and one a fault."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("jobs", type=Path, nargs="*")
    chosen = parser.parse_args()
    wrong = 0
    for job in chosen.jobs or sorted(SCENES.glob("*/*.toml")):
        with tempfile.TemporaryDirectory(prefix="judged-") as name:
            faults, read = judge_job(job, Path(name))
        wrong += len(faults)
        counts = ", ".join(f"{number} {suffix[1:]}" for suffix, number in sorted(read.items()))
        print(f"{job.stem}: {counts or 'nothing'} read, {len(faults)} faults", flush=True)
        for file, fault in faults:
            print(f"  {file}: {fault}", flush=True)
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main())
