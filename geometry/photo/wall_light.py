"""Light and reflectance: what of a photo's wall is light, and stays when the wall is painted.

A pixel shows reflectance times light, I = R S. Paint changes R; S it leaves as it is. One photo
does not tell the two apart, so that this is a model, made of these rules:

1. What changes over more than a brick's length, and sharp edges of strong shadows, is light: an
   edge-preserving mean of log luminance (after the guided filter; He, Sun and Tang, 2010, from
   memory). What is narrower than two joints and lighter than the wall on both sides is a lighter
   stuff, mortar or lime, and raises no light: the mean is taken again with it cut off.
2. On a wall that bears old paint, edges tell nothing: light is what changes slowly over the whole
   picture, a quadratic surface through log luminance by least absolute deviations.
3. Of the detail that is left, what goes with a change of hue is colour of the wall (a red brick, a
   grey joint), by linear regression on log R/G and log B/G; the rest is relief: the shadows of
   joints and pores, and the photo's grain. Where it is lighter it is bounded, as little of a wall
   shines more than the wall; where it is wider than two joints it is mostly a stain, which paint
   covers. Under old paint only grain is left, and none where the old paint has an edge.
4. How bright the light is where the wall is lit follows from a place in the photo that is known to
   be white, from the reflectance of the wall as told, or from an assumed one; then at least so
   bright that the wall's lightest places are no whiter than such stuff can be.

Paint keeps the light in full and relief by a share, as a film of paint levels the finest of it.
Where relief is darkest lie pores and the bottoms of joints: paint reaches them in part only.
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
#: By how much, in log light, what is left of lighter stuff may raise the mean of light.
_ABOVE = 0.08
#: Contrast in log light of which half is taken for a shadow's edge: a factor of 1.65.
_EDGE = 0.5
#: Contrast in log light between shade and sun near by: perhaps, and surely; and how alike two
#: places in the sun are.
_SHADE, _ALIKE = (0.3, 0.7), 0.3
#: And one that none reaches: a plain mean.
_NO_EDGE = 50.0
#: Rounds of the mean with lighter stuff cut off, and of the fit by least absolute deviations.
_ROUNDS, _FIT_ROUNDS = 3, 8
#: Bound, in log light, that relief lighter than the wall comes near to.
_SHINE = 0.15
#: Share of detail wider than two joints that is relief.
_WIDE = 0.4
#: Pixels along the long side at which the mean of light is taken: it is smooth.
_COARSE = 500
_DARKEST = 1e-4
#: How near, in log light, a place is to the median of those about it that counts in full.
_USUAL = 0.05
#: Relief, in log light, from which paint begins to miss a pore, and that which it hardly reaches.
_PORE = (0.55, 1.6)
#: Share of a deep pore's paint that is missing: by common practice, no source.
_MISSED = 0.8
#: Reflectance that is assumed of a bare wall.
_ASSUMED = 0.35
#: Reflectance of the lightest mortar or concrete, and of old white paint (common practice, no
#: source), and the share of the wall that may be lighter: what shines in the sun.
_LIGHTEST, _WHITE, _SHINING = 0.6, 0.85, 0.005
#: Light on the wall in which white paint (reflectance 0.9) is as bright as a photo can be.
_MOST_LIGHT = 1.1
#: Luminance of linear sRGB.
_GREY = np.asarray([0.2126, 0.7152, 0.0722], np.float32)


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
    before: Plane | None = None,
    reflectance: float | None = None,
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
    before : float32 array (rows, columns), optional
        1 where something stands before the wall: it tells nothing of the wall's light.
    reflectance : float, optional
        Of the bare wall, where no white place is known; assumed when absent.
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
    if before is not None:
        photo = _filled(photo, 1 - before, pixels_per_mm)
        on = on * (1 - before)
    luminance = photo @ _GREY
    bright = np.log(np.maximum(luminance, _DARKEST))
    seen = on > 0.5
    if not seen.any():
        seen = np.ones(on.shape, bool)
    smooth = _smooth_light(bright, pixels_per_mm) if shadows else _slow_light(bright, seen)
    detail = bright - smooth
    rough = detail - _of_hue(photo, detail, pixels_per_mm, seen)
    kept = _relief(rough, pixels_per_mm) if shadows else _grain(rough, seen)
    # The lit part of the wall, not its mean: shade is darker than what was told.
    lit = float(np.exp(np.quantile(smooth[seen], 0.75)))
    colour = np.ones(3)
    if white is not None:
        level = float(white @ _GREY) / 0.9
        colour = np.asarray(white) / max(float(white @ _GREY), _DARKEST)
    elif reflectance is not None:
        # White where the photo ends would be the same for every brighter light.
        level = min(lit / reflectance, _MOST_LIGHT)
    else:
        lightest = float(np.quantile(_boxed(luminance, 1)[seen], 1 - _SHINING))
        least = lightest / (_LIGHTEST if shadows else _WHITE)
        level = min(max(lit / _ASSUMED, least), _MOST_LIGHT)
    own = lit / level
    light = np.exp(smooth + np.float32(relief) * kept) / np.float32(own)
    whole = light[..., None] * colour.astype(np.float32)
    low, high = _PORE
    deep = np.clip((-(rough if shadows else kept) - low) / (high - low), 0, 1)
    reached = 1 - np.float32(_MISSED) * deep * deep * (3 - 2 * deep)
    wall = np.mean(photo[seen] / np.maximum(whole[seen], _DARKEST), axis=0, dtype=np.float64)
    return WallLight(whole.astype(np.float32), reached.astype(np.float32), wall)


def _smooth_light(bright: Plane, pixels_per_mm: float) -> Plane:
    """Return log light on a bare wall: rule 1."""
    cap = _without_joints(bright, pixels_per_mm) + np.float32(_ABOVE)
    smooth = cap
    for _ in range(_ROUNDS):
        smooth = _smooth(np.minimum(bright, np.maximum(smooth, cap)), pixels_per_mm, _EDGE)
    return smooth


def _slow_light(bright: Plane, seen: NDArray[np.bool_]) -> Plane:
    """Return log light on a wall with old paint: rule 2."""
    rows, columns = bright.shape
    y, x = np.mgrid[-1 : 1 : rows * 1j, -1 : 1 : columns * 1j].astype(np.float32)
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=2)
    step = max(1, int(np.sqrt(seen.sum() / 20_000)))
    some = seen[::step, ::step]
    table = terms[::step, ::step][some].astype(np.float64)
    values = bright[::step, ::step][some].astype(np.float64)
    weight = np.ones(len(values))
    slopes = np.zeros(6)
    for _ in range(_FIT_ROUNDS):
        pulled = table * weight[:, None]
        slopes = np.linalg.lstsq(pulled, values * weight, rcond=None)[0]
        # Square roots, as both sides of the equation are weighted.
        weight = 1 / np.sqrt(np.maximum(np.abs(values - table @ slopes), 0.02))
    found: Plane = (terms @ slopes.astype(np.float32)).astype(np.float32)
    return found


def _relief(rough: Plane, pixels_per_mm: float) -> Plane:
    """Return the relief of a bare wall in its detail: rule 3."""
    bounded = np.where(rough > 0, _SHINE * np.tanh(rough / _SHINE), rough).astype(np.float32)
    radius = max(1, round(_JOINTS * pixels_per_mm / 4))
    # Twice, so that squares do not show.
    wide = _boxed(_boxed(bounded, radius), radius)
    found: Plane = bounded - np.float32(1 - _WIDE) * wide
    return found


def _grain(rough: Plane, seen: NDArray[np.bool_]) -> Plane:
    """Return the grain of a wall with old paint in its detail: rule 3."""
    fine = rough - _boxed(rough, 1)
    power = _boxed(fine * fine, 3)
    usual = float(np.quantile(power[seen], 0.25))
    # Lively places are edges of old paint: the more they exceed grain, the less of them is left.
    found: Plane = fine * np.minimum(np.float32(1), usual / np.maximum(power, np.float32(1e-12)))
    return found


def _without_joints(bright: Plane, pixels_per_mm: float) -> Plane:
    """Return log luminance without what is lighter and narrower than two joints: its opening.

    A strip of sun between two shadows stays: it is as light as the wall near by in the sun.
    """
    step = max(1, max(bright.shape) // _COARSE)
    small = _shrunk(bright, step)
    width = max(3, round(_JOINTS * pixels_per_mm / step))
    if width > min(small.shape) // 2:  # a joint as wide as the picture is no joint
        return bright
    a, b = _guide(small, max(1, width // 6), _EDGE)
    even = a * small + b
    opened = _most(_least(even, width), width)
    brick = min(max(width, round(BRICK * pixels_per_mm / step)), min(small.shape) - 1)
    lit = _most(opened, 2 * brick)
    low, high = _SHADE
    shaded = np.clip((lit - opened - low) / (high - low), 0, 1)
    sun = shaded * np.exp(-(((even - lit) / _ALIKE) ** 2))
    opened = np.maximum(opened, np.asarray(opened + sun * (even - opened), np.float32))
    # The edges of its squares go, those of shadows stay.
    a, b = _guide(opened, max(1, width // 2), _EDGE)
    return _grown(a * opened + b, bright.shape, step)


def _filled(photo: Plane, weight: Plane, pixels_per_mm: float) -> Plane:
    """Return a photo with what the wall round about mostly is where something stands before it."""
    step = max(1, max(weight.shape) // _COARSE)
    sure = _shrunk(np.asarray(weight >= 0.99, np.float32), step)
    sure = (sure >= 0.99).astype(np.float32)
    shown = np.stack([_shrunk(photo[..., c], step) for c in range(3)], axis=2)
    mean = shown.copy()
    known: NDArray[np.bool_] = sure > 0
    if not known.any():
        return photo
    # Bricks, not the mean of bricks and joints, which would pass for a lighter place in the sun.
    bright = np.log(np.maximum(shown @ _GREY, _DARKEST))
    brick = max(2, round(BRICK * pixels_per_mm / step / 2))
    plain = sure
    for _ in range(_ROUNDS):
        usual = _boxed(plain * bright, brick) / np.maximum(_boxed(plain, brick), 1e-6)
        plain = (sure / np.maximum(np.abs(bright - usual), _USUAL)).astype(np.float32)
    sure = plain * np.float32(_USUAL)
    radius = max(2, brick // 2)
    while not known.all():
        count = _boxed(sure, radius)
        near = (count > 1e-4) & ~known
        for c in range(3):
            total = _boxed(shown[..., c] * sure, radius)
            mean[near, c] = total[near] / count[near]
        known = known | near
        radius *= 2
    grown = np.stack([_grown(mean[..., c], weight.shape, step) for c in range(3)], axis=2)
    part = weight[..., None]
    return np.asarray(photo * part + grown * (1 - part), np.float32)


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


def _most(values: Plane, width: int) -> Plane:
    """Return the most of each square of ``width`` pixels, edges repeated."""
    return -_least(-values, width)


def _least(values: Plane, width: int) -> Plane:
    """Return the least of each square of ``width`` pixels, edges repeated."""
    before = width // 2
    least = np.pad(values, (before, width - 1 - before), "edge")
    for axis in (0, 1):
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
    radius = max(2, round(BRICK * pixels_per_mm / step / 2))
    a, b = _guide(_shrunk(values, step), radius, edge)
    # The guide at full size keeps a shadow's edge where it is.
    a, b = _grown(a, values.shape, step), _grown(b, values.shape, step)
    return (a * _boxed(values, step // 2) + b).astype(np.float32)


def _guide(values: Plane, radius: int, edge: float) -> tuple[Plane, Plane]:
    """Return by what to multiply values, and what to add, for their edge-preserving mean."""
    mean = _boxed(values, radius)
    spread = np.maximum(_boxed(values * values, radius) - mean * mean, np.float32(0))
    # Squares, so that weak edges are left out and strong ones kept whole.
    half = np.float32(edge * edge / 4) ** 2
    slope = np.asarray(spread * spread / (spread * spread + half), np.float32)
    return _boxed(slope, radius), _boxed(mean * (np.float32(1) - slope), radius)


def _shrunk(values: Plane, step: int) -> Plane:
    if step == 1:
        return values
    rows, columns = (-(-n // step) * step for n in values.shape)
    even = np.pad(values, ((0, rows - values.shape[0]), (0, columns - values.shape[1])), "edge")
    found: Plane = even.reshape(rows // step, step, columns // step, step).mean(axis=(1, 3))
    return found


def _grown(values: Plane, shape: tuple[int, ...], step: int) -> Plane:
    """Return a shrunk plane at full size again, straight lines between its pixels' middles."""
    if step == 1:
        return values
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
    if radius < 1:
        return values
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
