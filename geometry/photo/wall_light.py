"""Light and reflectance: what of a photo's wall is light, and stays when the wall is painted.

A pixel shows reflectance times light, I = R S. Paint changes R; S it leaves as it is. One photo
does not tell the two apart, so that this is a model, made of four rules:

1. What is lighter than the wall on both sides and narrower than two joints is a lighter stuff:
   mortar, lime, a scratch. (White top-hat: a picture less its opening, in the sense of mathematical
   morphology.)
2. What changes over more than a brick's length, and sharp edges of strong shadows, is light: an
   edge-preserving mean of log luminance (guided filter; He, Sun and Tang, 2010, from memory).
3. Of the detail that is left, what goes with a change of hue is colour of the wall (a red brick, a
   grey joint), by linear regression on log R/G and log B/G; the rest is relief: the shadows of
   joints and pores, and the photo's grain.
4. How bright the light is where the wall is lit follows from the reflectance of the wall, told or
   assumed, or from a place in the photo that is known to be white.

Paint keeps rule 2 in full and relief by a share, as a film of paint levels the finest of it. Where
relief is darkest lie pores and the bottoms of joints: paint reaches them in part only.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats

Plane = NDArray[np.float32]

#: Length on the wall, in mm, that light changes over: about a brick (215 mm).
BRICK = 200.0
#: Width on the wall, in mm, under which what is lighter than both sides is mortar: two joints.
_JOINTS = 26.0
#: Share of it that paint covers: a joint stands a little out in the light too.
_MORTAR = 0.75
#: By how much, in log light, it must be lighter not to be grain: perhaps, and surely.
_GRAIN = (0.08, 0.2)
#: Contrast in log light from which an edge is a shadow's rather than a joint's: a factor of 1.6.
_EDGE = 0.47
#: And one that none reaches: a plain mean.
_NO_EDGE = 10.0
#: Pixels along the long side at which the mean of light is taken: it is smooth.
_COARSE = 500
_DARKEST = 1e-4
#: Relief, in log light, from which paint begins to miss a pore, and that which it hardly reaches.
_PORE = (0.55, 1.6)
#: Share of a deep pore's paint that is missing: by common practice, no source.
_MISSED = 0.8
#: Light on the wall in which white paint (reflectance 0.9) is as bright as a photo can be.
_MOST_LIGHT = 1.1


@dataclass(frozen=True, eq=False)
class WallLight:
    """The light on a photo's wall, pixel by pixel.

    Parameters
    ----------
    light : float32 array (rows, columns, 3)
        S: what a perfectly white surface would show there, in linear light, relief's share in it.
    reached : float32 array (rows, columns)
        Share of the paint sprayed there that stays: under 1 in pores.
    wall : float64 array (3,)
        Reflectance of the wall, its mean, linear.
    """

    light: Plane
    reached: Plane
    wall: Floats


def wall_light(
    photo: Plane,
    pixels_per_mm: float,
    on: Plane,
    *,
    reflectance: float = 0.35,
    white: Floats | None = None,
    relief: float = 0.75,
    shadows: bool = True,
) -> WallLight:
    """Separate the light on a wall from what it falls on.

    Parameters
    ----------
    photo : float32 array (rows, columns, 3)
        Linear light; the wall and what stands before it.
    pixels_per_mm : float
        Of the wall, about.
    on : float32 array (rows, columns)
        1 where the wall is to be painted: only this part is measured.
    reflectance : float
        Of the bare wall, where no white place is known.
    white : float64 array (3,), optional
        Linear light of a white place in the wall's light.
    relief : float
        Share of relief that the paint keeps.
    shadows : bool
        False on a wall that bears old paint: its sharp edges are colours, no shadows.

    Returns
    -------
    WallLight
        Where nothing is painted, reflectance times light is the photo again.
    """
    grey = np.asarray([0.2126, 0.7152, 0.0722], np.float32)  # luminance of linear sRGB
    bright = np.log(np.maximum(photo @ grey, _DARKEST))
    bright = bright - np.float32(_MORTAR) * _lighter(bright, pixels_per_mm)
    seen = on > 0.5
    if not seen.any():
        seen = np.ones(on.shape, bool)
    smooth = _smooth(bright, pixels_per_mm, _EDGE if shadows else _NO_EDGE)
    detail = bright - smooth
    rough = detail - _of_hue(photo, detail, pixels_per_mm, seen)
    if not shadows:
        # Old pictures are wider than grain, and grain is all that is left to tell relief by.
        rough = rough - _boxed(rough, max(2, round(_JOINTS * pixels_per_mm / 4)))
    # The lit part of the wall, not its mean: shade is darker than what was told.
    lit = float(np.exp(np.quantile(smooth[seen], 0.75)))
    if white is None:
        # White where the photo ends would be the same for every brighter light.
        level = min(lit / reflectance, _MOST_LIGHT)
        colour = np.ones(3)
    else:
        level = float(white @ grey) / 0.9
        colour = np.asarray(white) / max(float(white @ grey), _DARKEST)
    own = lit / level
    light = np.exp(smooth + np.float32(relief) * rough) / np.float32(own)
    whole = light[..., None] * colour.astype(np.float32)
    low, high = _PORE
    deep = np.clip((-rough - low) / (high - low), 0, 1)
    reached = 1 - np.float32(_MISSED) * deep * deep * (3 - 2 * deep)
    wall = np.mean(photo[seen] / np.maximum(whole[seen], _DARKEST), axis=0, dtype=np.float64)
    return WallLight(whole.astype(np.float32), reached.astype(np.float32), wall)


def _of_hue(photo: Plane, detail: Plane, pixels_per_mm: float, seen: NDArray[np.bool_]) -> Plane:
    """Return the detail that goes with a change of hue: the wall's colours."""
    safe = np.log(np.maximum(photo, _DARKEST))
    hues = []
    for ratio in (safe[..., 0] - safe[..., 1], safe[..., 2] - safe[..., 1]):
        # Over a few pixels: the grain of single ones is no hue.
        fine = _boxed(ratio, 2)
        hues.append(fine - _smooth(ratio, pixels_per_mm, _NO_EDGE))
    table = np.stack([h[seen] for h in hues], axis=1).astype(np.float64)
    steadying = len(table) * 0.02**2  # hues that hardly vary explain nothing
    slopes = np.linalg.solve(
        table.T @ table + steadying * np.eye(2), table.T @ detail[seen].astype(np.float64)
    )
    explained = hues[0] * np.float32(slopes[0]) + hues[1] * np.float32(slopes[1])
    return np.clip(explained, -1.0, 1.0).astype(np.float32)


def _lighter(values: Plane, pixels_per_mm: float) -> Plane:
    """Return by how much narrow places are lighter than what lies on both sides."""
    width = max(3, round(_JOINTS * pixels_per_mm))
    if width > min(values.shape) // 2:  # a joint as wide as the picture is no joint
        return np.zeros_like(values)
    fine = _boxed(values, 1)
    worn = fine
    for axis in (0, 1):
        worn = _least(worn, width, axis)
    opened = -worn
    for axis in (0, 1):
        opened = _least(opened, width, axis)
    low, high = _GRAIN
    sure = np.clip((fine + opened - low) / (high - low), 0, 1)
    # Of the photo as it is, not of its mean: a mean would darken what lies beside a joint.
    found: Plane = sure * np.maximum(values + opened, 0)
    return found


def _least(values: Plane, width: int, axis: int) -> Plane:
    """Return the least of ``width`` neighbours along an axis, edges repeated."""
    before = width // 2
    pad = [(0, 0), (0, 0)]
    pad[axis] = (before, width - 1 - before)
    least = np.pad(values, pad, "edge")
    done = 1
    # The least of 2, 4, 8 ... neighbours, then of the two such runs that make up the width.
    while done < width:
        step = min(done, width - done)
        count = least.shape[axis] - step
        least = np.minimum(
            np.take(least, range(count), axis), np.take(least, range(step, step + count), axis)
        )
        done += step
    return least


def _smooth(values: Plane, pixels_per_mm: float, edge: float) -> Plane:
    """Return an edge-preserving mean over a brick's length, by a guided filter of itself."""
    step = max(1, max(values.shape) // _COARSE)
    small = _shrunk(values, step)
    radius = max(2, round(BRICK * pixels_per_mm / step / 2))
    mean = _boxed(small, radius)
    spread = np.maximum(_boxed(small * small, radius) - mean * mean, np.float32(0))
    slope = np.asarray(spread / (spread + edge * edge), np.float32)
    a, b = _boxed(slope, radius), _boxed(mean * (np.float32(1) - slope), radius)
    # The guide at full size keeps a shadow's edge where it is.
    if step == 1:
        found: Plane = a * values + b
        return found
    a, b = _grown(a, values.shape, step), _grown(b, values.shape, step)
    own = _boxed(values, step)
    return (a * own + b).astype(np.float32)


def _shrunk(values: Plane, step: int) -> Plane:
    if step == 1:
        return values
    rows, columns = (-(-n // step) * step for n in values.shape)
    even = np.pad(values, ((0, rows - values.shape[0]), (0, columns - values.shape[1])), "edge")
    found: Plane = even.reshape(rows // step, step, columns // step, step).mean(axis=(1, 3))
    return found


def _grown(values: Plane, shape: tuple[int, ...], step: int) -> Plane:
    """Return a shrunk plane at full size again, straight lines between its pixels' middles."""
    grown = values
    for axis in (0, 1):
        place = (np.arange(shape[axis]) + 0.5) / step - 0.5
        place = np.clip(place, 0, max(values.shape[axis] - 1, 0))
        low = np.minimum(np.floor(place).astype(np.int64), max(values.shape[axis] - 2, 0))
        high = np.minimum(low + 1, values.shape[axis] - 1)
        share = (place - low).astype(np.float32)
        share = share[:, None] if axis == 0 else share[None, :]
        grown = np.take(grown, low, axis) * (1 - share) + np.take(grown, high, axis) * share
    return grown


def _boxed(values: Plane, radius: int) -> Plane:
    """Return the mean over squares of pixels, edges repeated."""
    found: Floats = values.astype(np.float64)
    size = 2 * radius + 1
    for axis in (0, 1):
        wide = [(0, 0), (0, 0)]
        wide[axis] = (radius + 1, radius)
        total = np.cumsum(np.pad(found, wide, "edge"), axis=axis)
        count = found.shape[axis]
        found = (
            np.take(total, range(size, size + count), axis) - np.take(total, range(count), axis)
        ) / size
    return found.astype(np.float32)
