"""Tones: where the lightness of a picture is cut, and which colour stands for each tone."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats, Indices
from ..colour import ciede2000
from ..errors import JobError

BINS = 256


def otsu_cuts(values: ArrayLike, classes: int, bins: int = BINS) -> Floats:
    """Return the cuts that part values into classes which differ most from each other.

    Parameters
    ----------
    values : array_like
        Any shape, at least ``classes`` different values.
    classes : int
        At least 2; one cut less is returned.
    bins : int
        Bins of the histogram from the least value to the greatest.

    Returns
    -------
    float64 array (classes - 1,)
        Ascending; a value equal to a cut belongs to the lower class.

    Raises
    ------
    JobError
        The values have too few different tones.

    Notes
    -----
    Maximises the variance between classes (Otsu 1979; for several classes Liao, Chen and Chung,
    "A fast algorithm for multilevel thresholding", J. Inf. Sci. Eng. 17, 2001). Here by dynamic
    programming over the bins, which is exact and takes classes x bins^2 steps where trying all
    cuts takes bins^(classes - 1). Among equally good cuts the lowest are taken.

    Examples
    --------
    >>> otsu_cuts([0, 0, 1, 1, 9, 9, 10, 10], 2, bins=10)
    array([1.5])
    """
    flat = np.asarray(values, np.float64).ravel()
    counts, edges = np.histogram(flat, bins)
    if np.count_nonzero(counts) < classes:
        raise JobError(
            f"The picture has {np.count_nonzero(counts)} different tones; expected at least "
            f"{classes}, one for each tone wanted. Ask for fewer layers."
        )
    centres = (edges[:-1] + edges[1:]) / 2
    share = counts / counts.sum()
    # Sums from bin i (row) to bin j (column) of probability and first moment.
    number = np.arange(1, bins + 1)
    mass = np.concatenate([[0.0], np.cumsum(share)])
    moment = np.concatenate([[0.0], np.cumsum(share * number)])
    m0 = mass[None, 1:] - mass[:-1, None]
    m1 = moment[None, 1:] - moment[:-1, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        gain = np.where(m0 > 1e-15, m1**2 / m0, 0.0)
    gain[np.tril_indices(bins, -1)] = -np.inf
    best = gain[:, -1].copy()  # of the bins from i on, in one class
    last: list[Indices] = []
    for _ in range(classes - 1):
        # First class i..j, the rest from j + 1 on.
        total = gain[:, :-1] + best[None, 1:]
        # Rounding must not decide between equals: the first within it is taken.
        top = total.max(axis=1, keepdims=True)
        choice = np.argmax(total >= top - 1e-12 * np.abs(top), axis=1)
        last.append(choice)
        best = total[np.arange(bins), choice]
    at = 0
    cuts = []
    for choice in reversed(last):
        cuts.append(int(choice[at]))
        at = cuts[-1] + 1
    return np.asarray(centres[cuts], np.float64)


def assign_cans(wanted: ArrayLike, cans: ArrayLike) -> tuple[int, ...]:
    """Return which can sprays each colour: the nearest by CIEDE2000, no can twice.

    Where two colours have the same nearest can, the choice of least total difference is taken. With
    fewer cans than colours a can may serve twice.

    Parameters
    ----------
    wanted : array_like (n, 3)
        CIELAB.
    cans : array_like (m, 3)
        CIELAB.

    Examples
    --------
    >>> assign_cans([[20, 0, 0], [70, 0, 0]], [[90, 0, 0], [0, 0, 0], [60, 0, 0]])
    (1, 2)
    """
    difference = ciede2000(np.asarray(wanted)[:, None], np.asarray(cans)[None])
    count, owned = difference.shape
    nearest = np.argsort(difference, axis=1, kind="stable")
    if owned < count or len(set(nearest[:, 0].tolist())) == count:
        return tuple(nearest[:, 0].tolist())
    # No colour ever needs more than its n nearest: the other n - 1 colours take n - 1 cans.
    choices: Sequence[list[int]] = nearest[:, :count].tolist()
    distinct = (c for c in product(*choices) if len(set(c)) == count)
    return min(distinct, key=lambda c: float(difference[np.arange(count), c].sum()))
