"""Pictures with few flat colours (posters, logos, pixel art) as coloured shapes.

The colours are found where the picture is calm, away from edges; each pixel then takes one of the
colours that are calm near it, so that the mixed pixels of a soft edge make no fringe of a third
colour. Soft edges are enlarged before that, which puts the border where they are half mixed, to a
quarter of a pixel. Pixel art, whose pixels are meant to be seen, keeps its corners.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageFilter
from shapely import MultiPolygon

from ..arrays import Bools, Floats, Geometries, Indices
from ..artwork.coloured import ColouredDrawing, ColouredShape, ScaleOf
from ..artwork.svg.flattening import FlatPicture
from ..colour import ciede2000, lab_from_srgb
from ..errors import ArtworkError
from ..finding import Finding, Severity
from ..planar.polygons import as_multipolygon
from ..tolerance import TOLERANCES
from ..tracing.picture import Picture, Size, read_picture

#: Label of pixels that are not painted: transparent ones.
_NOTHING = 0
#: Pictures are worked on with about so many pixels along the longer side, and enlarged to this at
#: most so many times.
_PIXELS, _MOST_ENLARGED = 1600, 4
#: A picture with at most so many colours, and no larger than this, is pixel art; unless more than a
#: share of the pixels between two others are mixed from these, as those of a soft edge are.
_ART_COLOURS, _ART_SIDE, _MIXED = 64, 512, 0.5
#: Pictures this small are pixels in any case.
_SMALL_ART = 48
#: Neighbours that differ by less than this (CIEDE2000) are calm.
_CALM = 3.0
# A picture of so many flat colours at most, mostly calm, hardly any of which is far from them, has
# few flat colours; it is looked at with so many pixels a side.
_FEW, _MOSTLY, _HARDLY, _LOOK = 16, 0.6, 0.02, 400
# Under this opacity nothing is there; over 1 less this all is.
_CLEAR = 0.02
#: Colours nearer than this are one flat colour with noise in it.
_APART = 6.0
#: A flat colour covers at least this share of the calm pixels.
_LEAST_SHARE = 0.0005
_MOST_COLOURS = 48
#: Lines too thin to be calm anywhere have colours of their own when so much (share) of the picture
#: is farther than this (CIELAB) from all that two flat colours mix to; so many such colours are
#: looked for, among mixtures of so many of the flat ones.
_THIN_SHARE, _UNMIXED, _MOST_THIN, _MOST_MIXED = 0.002, 16.0, 8, 12
#: Pixels that are looked at for them.
_SAMPLE = 60_000
#: How far (pixels) an edge pixel may lie from calm ones.
_EDGE = 6
#: Two colours that change into each other over more than so many pixels of the file, at so many
#: places, are one in uneven light: within that way less than a share of their difference shows.
_STEP, _LEAST_PLACES, _GRADUAL = 4, 40, 0.5
#: ... and no farther off each other than this (CIELAB): light falls off by steps between.
_FAR_LIT = 30.0
#: ... where both go on for so many pixels, and for so many to the sides: specks of noise tell
#: nothing, nor does a border that is met at a slant.
_ON, _BESIDE = 6, 4
#: In a photograph, or where a file was packed with losses, a colour so near another (CIEDE2000),
#: nowhere wider than twice so many pixels, is the halo of an edge.
_HALO, _HALO_WIDTH = 8.0, 5
#: A pixel farther off its flat colour than this is a shade; more of them than a share, outside
#: edges, and the picture is not flat.
_SHADE, _SHADED = 10.0, 0.05
#: Steps of single pixels are smoothed by a bell of this width (standard deviation, in pixels as
#: worked on), and points that matter less than a share of a pixel left out.
_SMOOTH = 3.0
_BELL = np.exp(-0.5 * (np.arange(-9, 10) / _SMOOTH) ** 2)
_BELL /= _BELL.sum()
_THINNED = 0.1
#: Shorter borders, in pixels, stay as they are.
_LEAST_CHAIN = 20


@dataclass(frozen=True, eq=False)
class Flat:
    """A picture as labels of flat colours.

    Parameters
    ----------
    label : int32 array (rows, columns)
        Number of each pixel's colour, from 1; 0 where nothing is painted.
    colours : float64 array (n, 3)
        sRGB, 0 to 1; the first is that of label 1.
    full : tuple of int
        Width and height in pixels of the picture in the file.
    shaded : float
        Share of what is painted that is calm and far off its flat colour.
    hard : bool
        Whether pixels are meant to be seen: pixel art.
    """

    label: Indices
    colours: Floats
    full: Size
    shaded: float
    hard: bool


def read_flat(path: Path) -> Flat:
    """Read a picture as labels of flat colours.

    Raises
    ------
    ArtworkError
        As of ``read_picture``, or nothing in the picture is calm.
    """
    plain = read_picture(path, lambda full: full if max(full) <= _PIXELS else _sized(full))
    if _is_art(plain):
        codes = np.rint(plain.srgb * 255).astype(np.int64)
        distinct, which = np.unique(codes.reshape(-1, 3), axis=0, return_inverse=True)
        opaque = plain.opacity >= 0.5
        label = np.where(opaque, which.reshape(opaque.shape) + 1, _NOTHING).astype(np.int64)
        return Flat(label, distinct / 255.0, plain.full, 0.0, hard=True)
    picture = read_picture(path, _sized)
    colours = _flat_colours(plain)
    if not len(colours):
        raise ArtworkError(f"{path}: no flat colours were found; the picture is all shades.")
    if _is_lossy(path):
        colours = _joined_noise(colours)
    calm = len(colours)
    colours = _with_thin_colours(plain, colours)
    label, shaded = _labelled(picture, colours, calm)
    label, colours, joined = _evenly_lit(label, plain, colours, _is_lossy(path))
    return Flat(label, colours, plain.full, shaded + joined, hard=False)


def read_flat_colours(path: Path, scale_of: ScaleOf) -> ColouredDrawing:
    """Read a picture with few flat colours as coloured shapes.

    Parameters
    ----------
    path : Path
        PNG, JPEG or TIFF.
    scale_of : callable
        From the picture's size in pixels to mm a pixel.

    Returns
    -------
    ColouredDrawing
        Its first shape is the whole page where one colour goes nearly all round its edge.

    Raises
    ------
    ArtworkError
        As of ``read_flat``.
    """
    flat = read_flat(path)
    width, height = flat.full
    mm = scale_of((float(width), float(height)))
    page = (width * mm, height * mm)
    areas = {
        number: shapely.transform(shape, lambda xy: (xy * [1, -1] + [0, height]) * mm)
        for number, shape in _areas(flat).items()
    }
    shapes = []
    backdrop = _backdrop(flat)
    if backdrop != _NOTHING:
        whole = MultiPolygon([shapely.box(0, 0, *page)])
        shapes.append(ColouredShape(whole, _rgb(flat, backdrop), name="the backdrop"))
    for number in range(1, len(flat.colours) + 1):
        if number != backdrop and number in areas:
            name = f"colour {number}"
            shapes.append(ColouredShape(areas[number], _rgb(flat, number), name=name))
    findings = []
    if flat.shaded > _SHADED:
        findings.append(
            Finding(
                "separation.shaded",
                Severity.WARNING,
                f"{100 * flat.shaded:.0f} % of the picture are shades between its flat colours, "
                "which are lost; without --flat it is traced by its tones.",
            )
        )
    rows, columns = flat.label.shape
    grain = 0.0 if flat.hard else max(page[0] / columns, page[1] / rows)
    return ColouredDrawing(tuple(shapes), page, mm, tuple(findings), grain=grain)


def embedded_picture(data: bytes) -> FlatPicture:
    """Read a picture that a drawing holds as areas of flat colour.

    Parameters
    ----------
    data : bytes
        Of a PNG, JPEG or TIFF file.

    Raises
    ------
    ValueError
        It is none, or not flat; the message goes on from what holds it.
    """
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "picture"
        path.write_bytes(data)
        try:
            if not looks_flat(path):
                raise ValueError("holds a photograph or shades, not a few flat colours")
            flat = read_flat(path)
        except ArtworkError as error:
            why = str(error).removeprefix(f"{path}: ").rstrip(".")
            raise ValueError(f"holds what cannot be read ({why})") from None
    width, height = flat.full
    areas = _areas(flat)
    return FlatPicture(
        (float(width), float(height)),
        tuple((shape, _rgb(flat, number)) for number, shape in areas.items()),
    )


def looks_flat(path: Path) -> bool:
    """Return whether a picture has few flat colours and hardly anything between them.

    Raises
    ------
    ArtworkError
        As of ``read_picture``.
    """
    small = read_picture(path, lambda full: full if max(full) <= _LOOK else _sized(full, _LOOK))
    if _is_art(small):
        return True
    calm = _calm(lab_from_srgb(small.srgb))
    colours = _flat_colours(small)
    calm_share, calm = calm.mean(), calm & (small.opacity >= 0.5)
    if calm_share < _MOSTLY or not 0 < len(colours) <= _FEW:
        return False
    lab = lab_from_srgb(small.srgb[calm].astype(np.float64))
    near = ciede2000(lab[:, None], lab_from_srgb(colours)[None]).min(axis=1)
    return bool((near > _CALM).mean() < _HARDLY)


def _areas(flat: Flat) -> dict[int, MultiPolygon]:
    """Return the area of each label that is painted, in pixels of the whole picture, y down."""
    rows, columns = flat.label.shape
    faces, of = _faces(flat.label, smooth=not flat.hard)
    scaled = shapely.transform(faces, lambda xy: xy * [flat.full[0] / columns, flat.full[1] / rows])
    return {
        number: as_multipolygon(shapely.coverage_union_all(scaled[of == number]))
        for number in np.unique(of).tolist()
        if number != _NOTHING
    }


def _is_art(picture: Picture) -> bool:
    """Return whether a picture is pixel art: small, of few colours, with no soft edge."""
    if max(picture.full) > _ART_SIDE:
        return False
    codes = np.rint(picture.srgb * 255).astype(np.int64) @ np.array([1, 256, 65536])
    hard = ((picture.opacity < _CLEAR) | (picture.opacity > 1 - _CLEAR)).all()
    if not hard or len(np.unique(codes)) > _ART_COLOURS:
        return False
    return max(picture.full) <= _SMALL_ART or _mixed_share(picture, codes) < _MIXED


def _mixed_share(picture: Picture, codes: Indices) -> float:
    """Return how many of the pixels that differ from both neighbours are mixed from these."""
    lab = lab_from_srgb(picture.srgb)
    mixed, between = 0, 0
    for turned in (False, True):
        code = codes.T if turned else codes
        own = np.swapaxes(lab, 0, 1) if turned else lab
        lone = (code[:, 1:-1] != code[:, :-2]) & (code[:, 1:-1] != code[:, 2:])
        lone &= code[:, :-2] != code[:, 2:]
        off = _from_mixture(own[:, 1:-1][lone], own[:, :-2][lone], own[:, 2:][lone])
        mixed += int((off < _CALM).sum())
        between += int(lone.sum())
    return mixed / max(between, 1)


def _from_mixture(lab: NDArray[Any], one: NDArray[Any], other: NDArray[Any]) -> NDArray[Any]:
    """Return how far colours (n, 3) are from all that two others mix to, in CIELAB."""
    way = other - one
    square = np.maximum((way**2).sum(axis=-1), 1e-12)
    share = np.clip(((lab - one) * way).sum(axis=-1) / square, 0, 1)
    off: NDArray[Any] = np.sqrt(((lab - one - share[..., None] * way) ** 2).sum(axis=-1))
    return off


def _rgb(flat: Flat, number: int) -> tuple[float, float, float]:
    red, green, blue = flat.colours[number - 1].tolist()
    return red, green, blue


def _sized(full: Size, pixels: int = _PIXELS) -> Size:
    """Return the size that a picture is worked on at."""
    factor = min(pixels / max(full), float(_MOST_ENLARGED))
    if factor > 1:
        factor = float(int(factor))
    return max(1, round(full[0] * factor)), max(1, round(full[1] * factor))


def _calm(lab: NDArray[Any]) -> Bools:
    """Return which pixels hardly differ from their four neighbours."""
    padded = np.pad(lab, ((1, 1), (1, 1), (0, 0)), mode="edge")
    middle = padded[1:-1, 1:-1]
    # CIELAB's own distance is near enough for small steps, and much quicker.
    worst = np.zeros(lab.shape[:2])
    for part in (padded[:-2, 1:-1], padded[2:, 1:-1], padded[1:-1, :-2], padded[1:-1, 2:]):
        worst = np.maximum(worst, np.sqrt(((part - middle) ** 2).sum(axis=2)))
    found: Bools = worst < _CALM
    return found


def _flat_colours(picture: Picture) -> Floats:
    """Return the flat colours of a picture, the most seen first."""
    calm = _calm(lab_from_srgb(picture.srgb.astype(np.float64))) & (picture.opacity >= 0.5)
    pixels = picture.srgb[calm].astype(np.float64)
    if not len(pixels):
        return np.empty((0, 3))
    boxes = np.rint(pixels * 255).astype(np.int64) >> 2
    _, which, count = np.unique(boxes, axis=0, return_inverse=True, return_counts=True)
    which = which.reshape(-1)
    mean = np.stack([np.bincount(which, p) / count for p in pixels.T], axis=1)
    lab = lab_from_srgb(mean)
    left = np.ones(len(mean), bool)
    chosen: list[Floats] = []
    for k in np.argsort(-count, kind="stable").tolist():
        if not left[k] or len(chosen) == _MOST_COLOURS:
            continue
        near = left & (ciede2000(lab[k][None], lab) < _APART)
        left &= ~near
        if count[near].sum() >= max(_LEAST_SHARE * len(pixels), 4):
            chosen.append(np.average(mean[near], axis=0, weights=count[near]))
    return np.array(chosen).reshape(-1, 3)


def _joined_noise(colours: Floats) -> Floats:
    """Return colours, the most seen first, without those that are so near another as its noise."""
    lab = lab_from_srgb(colours)
    kept: list[int] = []
    for k in range(len(colours)):
        if not kept or ciede2000(lab[k][None], lab[kept]).min() >= _HALO:
            kept.append(k)
    return colours[kept]


def _with_thin_colours(picture: Picture, colours: Floats) -> Floats:
    """Return the flat colours with those of lines that are too thin to be calm anywhere.

    Soft edges are mixed from the colours on both sides; an outline is not.
    """
    srgb = picture.srgb[picture.opacity >= 1 - _CLEAR].astype(np.float64)
    if not len(srgb):
        return colours
    srgb = srgb[:: -(-len(srgb) // _SAMPLE)]
    lab = lab_from_srgb(srgb)
    for _ in range(_MOST_THIN):
        known = lab_from_srgb(colours[:_MOST_MIXED])
        off = np.sqrt(((lab[:, None] - lab_from_srgb(colours)[None]) ** 2).sum(axis=2)).min(axis=1)
        for k, one in enumerate(known):
            for other in known[k + 1 :]:
                off = np.minimum(off, _from_mixture(lab, one, other))
        left = off > _UNMIXED
        if left.mean() < _THIN_SHARE:
            break
        # The most seen of what is left; mixtures with it are explained by it.
        boxes = np.rint(srgb[left] * 15).astype(np.int64) @ np.array([1, 16, 256])
        most = np.bincount(boxes).argmax()
        colours = np.concatenate([colours, srgb[left][boxes == most].mean(axis=0)[None]])
    return colours


def _is_lossy(path: Path) -> bool:
    """Return whether a picture was packed as JPEG, which leaves halos along edges."""
    with Image.open(path) as image:
        return image.format == "JPEG"


def _labelled(picture: Picture, colours: Floats, calm_ones: int) -> tuple[Indices, float]:
    """Return each pixel's label, and the share of what is painted that are shades.

    So many of the colours, the first ones, are calm somewhere; the others are those of thin lines.
    """
    lab = lab_from_srgb(picture.srgb).astype(np.float32)
    flat_lab = lab_from_srgb(colours).astype(np.float32)
    opaque = picture.opacity >= 0.5
    # What a file holds where nothing is seen is no colour of the picture.
    calm = _calm(lab) & opaque
    distance = np.stack([np.sqrt(((lab - own) ** 2).sum(axis=2)) for own in flat_lab])
    nearest = distance.argmin(axis=0)
    off = distance.min(axis=0)
    settled = (calm | (nearest >= calm_ones)) & opaque & (off < _SHADE)
    shaded = float((calm & (off >= _SHADE)).sum() / max(int(opaque.sum()), 1))
    # An edge pixel takes the nearest in colour of those that are settled round it.
    label = np.where(settled, nearest, -1)
    around = np.stack([_near(settled & (nearest == k), _EDGE) for k in range(len(colours))])
    allowed = np.where(around, distance, np.inf)
    best = allowed.argmin(axis=0)
    reached = np.isfinite(allowed.min(axis=0))
    label = np.where(settled, label, np.where(reached, best, nearest)) + 1
    label[~opaque] = _NOTHING
    if len(colours) < 255:
        # Single pixels go with the most of those round them.
        image = Image.fromarray(label.astype(np.uint8)).filter(ImageFilter.ModeFilter(3))
        label = np.asarray(image).astype(np.int64)
    return label.astype(np.int64), shaded


def _nearest(small: Size, large: Size) -> tuple[Indices, Indices]:
    """Return the row and the column of a small picture for each of a large one."""
    rows, columns = (np.arange(m) * n // m for n, m in zip(small, large, strict=True))
    return rows[:, None], columns[None, :]


def _evenly_lit(
    label: Indices, plain: Picture, colours: Floats, lossy: bool
) -> tuple[Indices, Floats, float]:
    """Join colours that are one in uneven light, as on a photograph of a poster.

    Where two flat colours meet, nearly all of their difference shows within a few pixels. The mean
    over all such places takes the noise away. Also returned is the share of the picture that looks
    plainly different for it.
    """
    rows, columns = _nearest((label.shape[0], label.shape[1]), plain.shape)
    own = label[rows, columns]
    lab = lab_from_srgb(plain.srgb)
    flat_lab = lab_from_srgb(colours)
    count = len(colours) + 1
    places = np.zeros(count * count)
    change = np.zeros((count * count, 3))
    for across in (False, True):
        labels, seen = (own.T, np.swapaxes(lab, 0, 1)) if across else (own, lab)
        last = labels.shape[1] - _STEP - 2 * _ON
        if last <= 0 or len(labels) <= 2 * _BESIDE:
            continue
        before, a = labels[:, :last], labels[:, _ON : _ON + last]
        b, after = (labels[:, k : k + last] for k in (_ON + _STEP, 2 * _ON + _STEP))
        low, high = (seen[:, k : k + last] for k in (_ON, _ON + _STEP))
        differ = (a != b) & (a != _NOTHING) & (b != _NOTHING) & (a == before) & (b == after)
        # Straight across the border only: along one that is nearly level, all changes slowly.
        differ[:_BESIDE] = differ[-_BESIDE:] = False
        for own_side, far in ((a, before), (b, after)):
            differ[_BESIDE:-_BESIDE] &= far[2 * _BESIDE :] == own_side[_BESIDE:-_BESIDE]
            differ[_BESIDE:-_BESIDE] &= far[: -2 * _BESIDE] == own_side[_BESIDE:-_BESIDE]
        first, second = a[differ], b[differ]
        step = (high - low)[differ] * np.where(first < second, 1, -1)[:, None]
        pair = np.minimum(first, second) * count + np.maximum(first, second)
        places += np.bincount(pair, minlength=count * count)
        change += np.stack([np.bincount(pair, w, count * count) for w in step.T], axis=1)
    home = np.arange(count)
    for pair in np.flatnonzero(places >= _LEAST_PLACES).tolist():
        more, less = divmod(pair, count)
        whole = np.linalg.norm(flat_lab[less - 1] - flat_lab[more - 1])
        if whole > _FAR_LIT:
            continue
        # The colours come most seen first: the one seen less joins the other.
        if np.linalg.norm(change[pair] / places[pair]) < _GRADUAL * whole:
            home[home == home[less]] = home[more]
    if lossy or _is_noisy(plain):
        apart = ciede2000(flat_lab[:, None], flat_lab[None])
        for k in range(count - 1, 0, -1):
            wide = ~_near(own != k, _HALO_WIDTH)
            near = [m for m in range(1, count) if m != k and home[m] == m]
            if home[k] == k and near and not wide.any():
                other = min(near, key=lambda m: float(apart[k - 1, m - 1]))
                if apart[k - 1, other - 1] < _HALO:
                    home[home == k] = other
    left = np.unique(home[1:])
    number = np.zeros(count, np.int64)
    number[left] = np.arange(1, len(left) + 1)
    # What is far from the colour that it joins is a shade that is lost.
    lost = np.append(0.0, np.linalg.norm(flat_lab - flat_lab[home[1:] - 1], axis=1)) >= _SHADE
    return number[home[label]], colours[left - 1], float(lost[own].mean())


def _is_noisy(picture: Picture) -> bool:
    """Return whether most neighbours differ a little, as a camera's do and a drawing's do not."""
    return bool((picture.srgb[:, 1:] != picture.srgb[:, :-1]).any(axis=2).mean() > 0.5)


def _near(marked: Bools, reach: int) -> Bools:
    """Return what lies within a square of marked pixels."""
    near = marked.copy()
    for axis in (0, 1):
        # Each step doubles how far a mark has gone; the last goes what is left.
        gone = 0
        while gone < reach:
            step = min(max(gone, 1), reach - gone)
            wide = near.copy()
            ahead, behind = _shifts(step, axis)
            wide[ahead] |= near[behind]
            wide[behind] |= near[ahead]
            near, gone = wide, gone + step
    return near


def _shifts(step: int, axis: int) -> tuple[tuple[slice, ...], tuple[slice, ...]]:
    whole = slice(None)
    ahead, behind = slice(step, None), slice(None, -step)
    return ((ahead, whole), (behind, whole)) if axis == 0 else ((whole, ahead), (whole, behind))


def _backdrop(flat: Flat) -> int:
    """Return the label that goes nearly all round the picture's edge; 0 for none."""
    label = flat.label
    rim = np.concatenate([label[0], label[-1], label[:, 0], label[:, -1]])
    counts = np.bincount(rim)
    most = int(counts.argmax())
    whole = not (label == _NOTHING).any()
    return most if whole and counts[most] > 0.8 * len(rim) else _NOTHING


def _without_steps(chain: shapely.LineString, size: tuple[int, int]) -> shapely.LineString:
    """Return a border between two regions with its steps of single pixels smoothed away.

    Its ends, where more than two regions meet, stay, and so does what lies on the picture's edge;
    what the regions on both sides share they go on sharing.
    """
    xy = shapely.get_coordinates(shapely.segmentize(chain, 1.0))
    closed = bool((xy[0] == xy[-1]).all())
    if len(xy) < _LEAST_CHAIN:
        return chain
    pad = len(_BELL) // 2
    if closed:
        ring = xy[:-1]
        around = np.take(ring, np.arange(-pad, len(ring) + pad + 1), axis=0, mode="wrap")
    else:
        # Mirrored in its ends, which so stay where they are.
        around = np.concatenate([2 * xy[0] - xy[pad:0:-1], xy, 2 * xy[-1] - xy[-2 : -pad - 2 : -1]])
    smooth = np.stack([np.convolve(v, _BELL, mode="valid") for v in around.T], axis=1)
    fixed = (xy == 0).any(axis=1) | (xy == size).any(axis=1)
    smooth[fixed] = xy[fixed]
    if closed:
        smooth[-1] = smooth[0]
    else:
        smooth[[0, -1]] = xy[[0, -1]]
    return shapely.simplify(shapely.LineString(smooth), _THINNED)


def _faces(label: Indices, smooth: bool) -> tuple[Geometries, Indices]:
    """Return the regions of equal label as polygons in pixels, y down, and each one's label."""
    rows, columns = label.shape
    lines = [shapely.box(0, 0, columns, rows).exterior]
    for across in (False, True):
        grid = label.T if across else label
        changes = grid[:, 1:] != grid[:, :-1]
        # Runs of the same column, one above the other, are one line.
        edge = np.pad(changes, ((1, 1), (0, 0)))
        begin = np.argwhere((edge[1:] & ~edge[:-1]).T)
        end = np.argwhere((~edge[1:] & edge[:-1]).T)
        x = begin[:, 0] + 1
        ends = np.stack(
            [np.stack([x, begin[:, 1]], axis=1), np.stack([x, end[:, 1]], axis=1)], axis=1
        ).astype(np.float64)
        if across:
            ends = ends[..., ::-1]
        if len(ends):
            lines += list(shapely.linestrings(ends))
    noded = shapely.union_all(np.array(lines, object))
    if smooth:
        chains = [
            _without_steps(chain, (columns, rows))
            for chain in shapely.get_parts(shapely.line_merge(noded))
        ]
        noded = shapely.union_all(np.array(chains, object), grid_size=TOLERANCES.grid)
    faces: Geometries = shapely.get_parts(shapely.polygonize(shapely.get_parts(noded)))
    at = shapely.get_coordinates(shapely.point_on_surface(faces)).astype(int)
    own = label[np.clip(at[:, 1], 0, rows - 1), np.clip(at[:, 0], 0, columns - 1)]
    return faces, own
