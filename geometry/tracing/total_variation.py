"""Edge-preserving smoothing by total variation: shapes whose outlines cost what they are long.

The picture u that minimises

    sum g |grad u|  +  sum w (u - f)^2 / 2

keeps strong edges, melts texture together and rounds what is small. Each of its level sets
{u > t} is by itself the best compromise between a short outline and the picture (Chambolle, "An
algorithm for total variation minimization and applications", J. Math. Imaging Vis. 20, 2004):
just what an artist does who draws the boundary of a shadow in one stroke. A disc of radius r that
stands out by c loses 2 / (w r) of c, so that w says in plain lengths what is too small to draw.

Solved by the accelerated primal-dual method of Chambolle and Pock ("A first-order primal-dual
algorithm for convex problems with applications to imaging", J. Math. Imaging Vis. 40, 2011,
algorithm 2), from coarse to fine.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ..arrays import Plane

# Steps from a cold start, and from the solution at half the size.
_COLD, _WARM = 100, 40
_LEAST_SIDE = 12


def flatten(
    picture: Plane,
    weight: Plane,
    outline: Plane | None = None,
    step: Callable[[], None] = lambda: None,
) -> Plane:
    """Return the picture with small and faint things melted into their surroundings.

    Parameters
    ----------
    picture : float32 array (rows, columns)
    weight : float32 array (rows, columns)
        How much faith each pixel deserves, the w above; a disc of radius r pixels keeps
        something of its contrast c where weight > 2 / (r c).
    outline : float32 array (rows, columns), optional
        What outline costs a pixel of length, the g above, 0 to 1; 1 when None. Less along edges
        makes outlines settle there and spares corners.
    step : callable
        Called now and then; may raise ``Cancelled``.

    Examples
    --------
    >>> spot = np.zeros((32, 32), np.float32)
    >>> spot[14:18, 14:18] = 1
    >>> weight = np.full_like(spot, 0.5)
    >>> bool(flatten(spot, weight).max() < 0.2)
    True
    """
    cost = np.ones_like(picture) if outline is None else outline
    return _solved(picture, weight, cost, step)[0]


def _solved(
    picture: Plane, weight: Plane, cost: Plane, step: Callable[[], None]
) -> tuple[Plane, Plane, Plane]:
    """Return the solution and its dual, the flow along rows and columns."""
    if min(picture.shape) < 2 * _LEAST_SIDE:
        nothing = np.zeros_like(picture)
        return _descend(picture, weight, cost, (picture, nothing, nothing), _COLD, step)
    # A pixel of the half size is twice as long: there, outlines cost half per area.
    coarse = _solved(_halved(picture), 2 * _halved(weight), _halved(cost), step)
    start = (_doubled(coarse[0], cost), _doubled(coarse[1], cost), _doubled(coarse[2], cost))
    return _descend(picture, weight, cost, start, _WARM, step)


def _descend(
    f: Plane,
    weight: Plane,
    cost: Plane,
    start: tuple[Plane, Plane, Plane],
    steps: int,
    step: Callable[[], None],
) -> tuple[Plane, Plane, Plane]:
    u, px, py = (plane.copy() for plane in start)
    px[:, -1] = 0
    py[-1] = 0
    ahead = u.copy()
    length = np.empty_like(f)
    out = np.empty_like(f)
    # ||grad||^2 <= 8; the problem is as strongly convex as its least weight.
    convex = float(weight.min())
    tau = min(0.25 / max(convex, 1e-6), 4.0)
    for number in range(steps):
        if number % 8 == 0:
            step()
        sigma = np.float32(1 / (8 * tau))
        # Dual: p <- project(p + sigma grad ahead)
        np.subtract(ahead[:, 1:], ahead[:, :-1], out=out[:, 1:])
        px[:, :-1] += sigma * out[:, 1:]
        np.subtract(ahead[1:], ahead[:-1], out=out[1:])
        py[:-1] += sigma * out[1:]
        np.multiply(px, px, out=length)
        np.multiply(py, py, out=out)
        length += out
        np.sqrt(length, out=length)
        np.maximum(length, cost, out=length)
        np.divide(cost, length, out=length)
        px *= length
        py *= length
        # Primal: u <- (u + tau (div p + w f)) / (1 + tau w)
        np.copyto(out, px)
        out[:, 1:] -= px[:, :-1]
        out += py
        out[1:] -= py[:-1]
        np.multiply(weight, f, out=length)
        out += length
        out *= np.float32(tau)
        out += u
        np.multiply(weight, np.float32(tau), out=length)
        length += np.float32(1)
        out /= length
        theta = np.float32(1 / np.sqrt(1 + 2 * convex * tau))
        np.subtract(out, u, out=ahead)
        ahead *= theta
        ahead += out
        u, out = out, u
        tau *= float(theta)
    return u, px, py


def _halved(plane: Plane) -> Plane:
    rows, columns = plane.shape
    even = np.pad(plane, ((0, rows % 2), (0, columns % 2)), mode="edge")
    quarter: Plane = (
        even[::2, ::2] + even[1::2, ::2] + even[::2, 1::2] + even[1::2, 1::2]
    ) * np.float32(0.25)
    return quarter


def _doubled(plane: Plane, like: Plane) -> Plane:
    rows, columns = like.shape
    big: Plane = np.repeat(np.repeat(plane, 2, axis=0), 2, axis=1)[:rows, :columns]
    return np.ascontiguousarray(big)
