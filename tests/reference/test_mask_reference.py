"""Masks against scikit-image and against pixel counts that do not come from us."""

import numpy as np
import pytest
import scipy.ndimage
import skimage.data
import skimage.measure
from PIL import Image
from shapely import Polygon

from sheetstack.geometry.artwork.mask import read_mask
from sheetstack.geometry.artwork.source import ArtworkSource
from sheetstack.geometry.planar.contours import level_curves


@pytest.fixture(scope="module")
def horse(tmp_path_factory):
    """skimage.data.horse() (CC0), 328 x 400, its dark horse on light ground."""
    path = tmp_path_factory.mktemp("horse") / "horse.png"
    Image.fromarray(skimage.data.horse().astype(np.uint8) * 255).save(path)
    return path


@pytest.mark.parametrize("simplify_mm", [0, 0.05, 0.2])
def test_horse_has_its_area_and_pieces(horse, simplify_mm):
    # Counted with scikit-image: foreground 43,412 px in one 4-connected piece; the background is
    # two 8-connected pieces, so the piece has one hole.
    artwork = read_mask(ArtworkSource(horse, pixel_mm=0.5, simplify_mm=simplify_mm))
    assert artwork.shape.is_valid
    assert artwork.page == (200, 164)
    assert artwork.shape.area == pytest.approx(43_412 * 0.25, rel=0.005)
    (polygon,) = artwork.shape.geoms
    assert len(polygon.interiors) == 1


def test_smoothed_horse_keeps_its_area(horse):
    artwork = read_mask(ArtworkSource(horse, pixel_mm=0.5, smooth_mm=0.5))
    assert artwork.shape.area == pytest.approx(43_412 * 0.25, rel=0.005)
    assert artwork.shape.is_valid


def test_horse_lies_where_scipy_finds_its_pixels(horse):
    artwork = read_mask(ArtworkSource(horse, pixel_mm=1, simplify_mm=0))
    row, column = scipy.ndimage.center_of_mass(~skimage.data.horse())
    assert artwork.shape.centroid.x == pytest.approx(column + 0.5, abs=0.01)
    assert artwork.shape.centroid.y == pytest.approx(328 - (row + 0.5), abs=0.01)


def pieces(seed):
    """A random pattern of hard-edged pixels with a frame that is not painted."""
    pattern = np.random.default_rng(seed).random((60, 80)) > 0.55
    pattern[[0, -1]] = pattern[:, [0, -1]] = False
    return pattern


@pytest.mark.parametrize("seed", range(5))
def test_random_pixels_give_scipys_pieces(seed, tmp_path):
    # scipy.ndimage.label: painted pixels joined by sides, unpainted ones by sides and corners.
    pattern = pieces(seed)
    Image.fromarray(np.where(pattern, 0, 255).astype(np.uint8)).save(tmp_path / "a.png")
    curves = level_curves(pattern.astype(np.float32), 0.5)
    painted = scipy.ndimage.label(pattern)[1]
    ground = scipy.ndimage.label(~pattern, np.ones((3, 3)))[1]
    assert len(curves) == painted + ground - 1

    # Single pixels (contours of half a pixel's area) are specks; the others must all be there.
    sizes = np.bincount(scipy.ndimage.label(pattern)[0].ravel())[1:]
    artwork = read_mask(ArtworkSource(tmp_path / "a.png", pixel_mm=1, simplify_mm=0))
    assert len(artwork.shape.geoms) == (sizes > 1).sum()


def canonical(curves):
    """Curves as a sorted list, each from its smallest point."""
    result = []
    for curve in curves:
        points = [tuple(p) for p in np.round(curve, 5).tolist()]
        start = points.index(min(points))
        result.append(points[start:] + points[:start])
    return sorted(result)


def skimage_curves(image, level, connected):
    found = skimage.measure.find_contours(image, level, fully_connected=connected)
    return [curve[:-1, ::-1] for curve in found]  # x, y; the last point repeats the first


@pytest.mark.parametrize("seed", range(5))
def test_curves_equal_scikit_images_on_hard_edges(seed):
    # At ties painted corners stay apart: find_contours with the low values fully connected.
    image = pieces(seed).astype(np.float32)
    ours = canonical(level_curves(image, 0.5))
    theirs = canonical([c[::-1] for c in skimage_curves(image, 0.5, "low")])
    assert ours == theirs


def test_curves_equal_scikit_images_on_a_smooth_image_without_saddles():
    row, column = np.indices((90, 120))
    image = (np.exp(-((row - 40) ** 2 + (column - 60) ** 2) / 500)).astype(np.float32)
    image[[0, -1]] = image[:, [0, -1]] = 0
    (ours,) = level_curves(image, 0.3)
    (theirs,) = skimage_curves(image, 0.3, "low")
    assert Polygon(ours).symmetric_difference(Polygon(theirs)).area < 1e-3
