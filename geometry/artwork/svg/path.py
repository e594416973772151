"""SVG path data to segments, and segments to polylines; both on arrays, for large drawings.

The reader of path data is our own because it has to keep arcs as arcs (so that the tolerance is
kept after any transform), to render up to an error (SVG 1.1, appendix F.2), and to take millions of
numbers in seconds; the tests hold it against fontTools' reader.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import filterfalse

import numpy as np
from numpy.typing import NDArray

from ...arrays import Bools, Floats, Indices, ramp
from ...planar.curves import arcs_from_ends, flatten_arcs, flatten_cubics
from .units import BLANKS, NUMBER, holds_only, pieces

MOVE, LINE, CUBIC, ARC, CLOSE = range(5)

#: What a row of :class:`PathData` holds, by the kind of its segment.
ROW = {
    MOVE: "- - - - x y",
    LINE: "- - - - x y",
    CUBIC: "x1 y1 x2 y2 x y",
    ARC: "rx ry rotation flags x y",  # flags: 1 large, 2 sweep, 3 both
    CLOSE: "- - - - x y",  # x y: where the subpath started
}

_ARITY = {"M": 2, "Z": 0, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "A": 7}
_LETTERS = "".join(_ARITY) + "".join(_ARITY).lower()
_TOKEN = re.compile(rf"[{_LETTERS}]|{NUMBER}")
_BAD_COMMA = re.compile(r",\s*(?:[,A-DF-Za-df-z]|$)|[A-DF-Za-df-z]\s*,")
_ARC_RUN = re.compile(r"([Aa])([^A-DF-Za-df-z]*)")
_SEP = r"[\s,]*"
# A look-ahead takes each number whole: without it a long row of digits could be parted in
# endless ways.
_ARC = re.compile(
    "".join(rf"{_SEP}(?=({NUMBER}))\{k}" for k in (1, 2, 3))
    + rf"{_SEP}([01]){_SEP}([01])"
    + "".join(rf"{_SEP}(?=({NUMBER}))\{k}" for k in (6, 7))
)

#: Runs of one command at least this long are worth the cost of starting numpy.
_LONG = 12
#: Tokens that are turned into numbers in one go.
_AT_ONCE = 20_000


@dataclass(frozen=True, eq=False)
class PathData:
    """Segments of a path in absolute coordinates; every subpath starts with a MOVE.

    Parameters
    ----------
    kind : ndarray of int8, shape (n,)
    rows : ndarray of float64, shape (n, 6)
        As in ``ROW``; the last two numbers are always where the segment ends.
    """

    kind: NDArray[np.int8]
    rows: Floats

    def __len__(self) -> int:
        return len(self.kind)


@dataclass(frozen=True, eq=False)
class Polylines:
    """Subpaths of many paths as polylines.

    Parameters
    ----------
    points : ndarray, shape (n, 2)
    smooth : ndarray of bool, shape (n,)
        Points that stand for the bend of a curve, not for the end of a segment.
    first : ndarray of int, shape (k + 1,)
        Where each subpath starts in ``points``, and the number of points.
    closed : ndarray of bool, shape (k,)
    owner : ndarray of int, shape (k,)
        The path that each subpath belongs to.
    """

    points: Floats
    smooth: Bools
    first: Indices
    closed: Bools
    owner: Indices


def parse_path(text: str) -> tuple[PathData, str]:
    """Read path data (SVG 1.1, section 8.3).

    Parameters
    ----------
    text : str
        Value of the attribute ``d``.

    Returns
    -------
    path : PathData
        Up to the first error.
    error : str
        What was wrong there; empty when all is well.

    Examples
    --------
    >>> path, error = parse_path("M0 0h10v10z")
    >>> path.rows[:, 4:].tolist(), error
    ([[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 0.0]], '')
    """
    if "a" in text or "A" in text:
        text = _ARC_RUN.sub(_spread_flags, text)
    tokens, error = _tokens(text)
    if not tokens:
        return _Builder().path(), error
    places, values = _parted(tokens)
    if len(places) == 0 or places[0] != 0 or tokens[0] not in "Mm":
        return _Builder().path(), f"path data must start with M, found '{tokens[0]}'"
    letters = [tokens[i] for i in places]
    counts = np.diff(np.append(places, len(tokens))) - 1
    arity = np.array([_ARITY[c.upper()] for c in letters])
    whole = counts // np.maximum(arity, 1)
    wrong = np.where(arity == 0, counts > 0, (counts % np.maximum(arity, 1) > 0) | (counts == 0))
    stop = len(letters)
    if wrong.any():
        stop = int(np.flatnonzero(wrong)[0])
        if not error or stop < len(letters) - 1:
            error = (
                f"{letters[stop]} takes {arity[stop] or 'no'} numbers at a time, "
                f"found {counts[stop]} in all"
            )
        stop += 1

    builder = _Builder()
    numbers = np.array(values)
    begin = [0, *np.cumsum(counts).tolist()]
    last = begin[stop - 1] + int(whole[stop - 1] * arity[stop - 1])  # whole segments only
    for low, high in _runs(letters, stop):
        take = slice(begin[low], begin[high] if high < stop else last)
        problem = builder.add(letters[low], values, numbers, take)
        if problem:
            return builder.path(), problem
    return builder.path(), error


def _spread_flags(found: re.Match[str]) -> str:
    """Part the numbers of arcs, whose flags may be written without a gap (``a1 1 0 0110 10``)."""
    parts = [found[1]]
    place = 0
    while arc := _ARC.match(found[2], place):
        parts.append(" ".join(arc.groups()))
        place = arc.end()
    return f"{' '.join(parts)} {found[2][place:].lstrip()}"


def _tokens(text: str) -> tuple[list[str], str]:
    tokens: list[str] = []
    for start, end in pieces(text):
        error = ""
        if bad := _BAD_COMMA.search(text, start, end):
            end, error = bad.end() - 1, "a comma stands where no number is"
        piece = text[start:end].rstrip(BLANKS) if error else text[start:end]
        found = _TOKEN.findall(piece)
        if not holds_only(piece, found):
            leading, good = _up_to_mistake(piece)
            rest = text[start + good :].lstrip(BLANKS)
            return tokens + leading, f"'{rest[:12]}' is neither a command nor a number"
        tokens += found
        if error:
            return tokens, error
    return tokens, ""


def _up_to_mistake(text: str) -> tuple[list[str], int]:
    """Return the tokens before a mistake, and where it begins."""
    place = 0
    tokens = []
    for found in _TOKEN.finditer(text):
        if text[place : found.start()].strip(BLANKS):
            break
        tokens.append(found[0])
        place = found.end()
    return tokens, place


def _parted(tokens: list[str]) -> tuple[Indices, list[float]]:
    """Return where the letters are among tokens, and the numbers.

    Some at a time: nothing else runs, nor is anything stopped, while one call into C does.
    """
    places: list[Indices] = []
    values: list[float] = []
    for start in range(0, len(tokens), _AT_ONCE):
        some = tokens[start : start + _AT_ONCE]
        places.append(start + np.flatnonzero(list(map(str.isalpha, some))))
        values += map(float, filterfalse(str.isalpha, some))
    return np.concatenate(places), values


def _runs(letters: Sequence[str], stop: int) -> list[tuple[int, int]]:
    """Runs of the same command; M stands alone, for each starts a subpath."""
    runs = []
    low = 0
    for high in range(1, stop + 1):
        if high == stop or letters[high] != letters[low] or letters[low] in "MmZz":
            runs.append((low, high))
            low = high
    return runs


class _Builder:
    """Collects segments; a run of many of them goes through numpy, a short one through lists."""

    def __init__(self) -> None:
        self._done: list[tuple[NDArray[np.int8], Floats]] = []
        self._kinds: list[int] = []
        self._rows: list[float] = []
        self._x = self._y = 0.0
        self._start = (0.0, 0.0)
        self._control = (0.0, 0.0)  # the last control point, for S and T
        self._before = ""  # kind of the last segment, for S and T
        self._is_open = False

    def path(self) -> PathData:
        self._flush()
        if not self._done:
            return PathData(np.empty(0, np.int8), np.empty((0, 6)))
        kinds, rows = zip(*self._done, strict=True)
        return PathData(np.concatenate(kinds), np.concatenate(rows))

    def add(self, letter: str, values: list[float], numbers: Floats, take: slice) -> str:
        """Add a run of one command; return what is wrong with it, if anything is."""
        command, relative = letter.upper(), letter.islower()
        if command == "Z":
            if self._is_open:
                self._put(CLOSE, *self._start)
                self._is_open = False
            self._x, self._y = self._start
            self._before = ""
            return ""
        n = (take.stop - take.start) // _ARITY[command]
        if command == "M":
            if n == 0:
                return ""
            x, y = values[take.start : take.start + 2]
            if relative:
                x, y = self._x + x, self._y + y
            self._move(x, y)
            self._before = ""
            take, command, n = slice(take.start + 2, take.stop), "L", n - 1
        if n == 0:
            return ""
        if not self._is_open:  # segments after Z go on from where the subpath started
            self._move(self._x, self._y)
        if n >= _LONG and command in "LHVCSQ":
            self._add_long(command, relative, numbers[take].reshape(n, -1))
            return ""
        return self._add_short(command, relative, values[take])

    def _move(self, x: float, y: float) -> None:
        self._put(MOVE, x, y)
        self._start = (x, y)
        self._is_open = True

    def _put(self, kind: int, x: float, y: float) -> None:
        self._kinds.append(kind)
        self._rows += (0.0, 0.0, 0.0, 0.0, x, y)
        self._x, self._y = x, y

    def _flush(self) -> None:
        if self._kinds:
            self._done.append((np.array(self._kinds, np.int8), np.array(self._rows).reshape(-1, 6)))
            self._kinds, self._rows = [], []

    def _add_short(self, command: str, relative: bool, values: list[float]) -> str:
        for i in range(0, len(values), _ARITY[command]):
            x0, y0 = self._x, self._y
            dx, dy = (x0, y0) if relative else (0.0, 0.0)
            if command == "L":
                self._put(LINE, dx + values[i], dy + values[i + 1])
            elif command == "H":
                self._put(LINE, dx + values[i], y0)
            elif command == "V":
                self._put(LINE, x0, dy + values[i])
            elif command == "A":
                if values[i + 3] not in (0, 1) or values[i + 4] not in (0, 1):
                    return f"the flags of an arc are 0 or 1, found {values[i + 3]:g}"
                self._kinds.append(ARC)
                self._x, self._y = dx + values[i + 5], dy + values[i + 6]
                flags = values[i + 3] + 2 * values[i + 4]
                self._rows += (*values[i : i + 3], flags, self._x, self._y)
            else:
                self._curve(command, dx, dy, values[i : i + _ARITY[command]])
            self._before = command
        return ""

    def _curve(self, command: str, dx: float, dy: float, v: list[float]) -> None:
        x0, y0 = self._x, self._y
        x, y = dx + v[-2], dy + v[-1]
        if command in "CS":
            if command == "C":
                x1, y1, x2, y2 = dx + v[0], dy + v[1], dx + v[2], dy + v[3]
            else:
                x1, y1 = self._reflected("CS")
                x2, y2 = dx + v[0], dy + v[1]
            self._control = (x2, y2)
        else:
            cx, cy = (dx + v[0], dy + v[1]) if command == "Q" else self._reflected("QT")
            self._control = (cx, cy)
            x1, y1 = x0 + (cx - x0) * 2 / 3, y0 + (cy - y0) * 2 / 3
            x2, y2 = x + (cx - x) * 2 / 3, y + (cy - y) * 2 / 3
        self._kinds.append(CUBIC)
        self._rows += (x1, y1, x2, y2, x, y)
        self._x, self._y = x, y

    def _reflected(self, kind: str) -> tuple[float, float]:
        if self._before and self._before in kind:
            return 2 * self._x - self._control[0], 2 * self._y - self._control[1]
        return self._x, self._y

    def _add_long(self, command: str, relative: bool, values: Floats) -> None:
        here = np.array([self._x, self._y])
        n = len(values)
        if command in "HV":
            axis = "HV".index(command)
            full = np.zeros((n, 2)) if relative else np.tile(here, (n, 1))
            full[:, axis] = values[:, 0]
            values = full
        pairs = values.reshape(n, -1, 2)
        end = here + np.cumsum(pairs[:, -1], axis=0) if relative else pairs[:, -1]
        start = np.vstack([here, end[:-1]])
        rows = np.zeros((n, 6))
        rows[:, 4:] = end
        if command in "CSQ":
            control = pairs[:, :-1] + (start[:, None] if relative else 0.0)
            if command == "C":
                rows[:, :4] = control.reshape(n, 4)
            elif command == "S":
                last = np.vstack([[2 * here - self._reflected("CS")], control[:-1, 0]])
                rows[:, :2] = 2 * start - last
                rows[:, 2:4] = control[:, 0]
            else:
                rows[:, :2] = start + (control[:, 0] - start) * (2 / 3)
                rows[:, 2:4] = end + (control[:, 0] - end) * (2 / 3)
            self._control = (float(control[-1, -1, 0]), float(control[-1, -1, 1]))
        self._flush()
        kind = CUBIC if command in "CSQ" else LINE
        self._done.append((np.full(n, kind, np.int8), rows))
        self._x, self._y = float(end[-1, 0]), float(end[-1, 1])
        self._before = command


def flatten_paths(
    paths: Sequence[PathData], linear: Floats, shift: Floats, tolerance: Floats
) -> Polylines:
    """Flatten paths under affine maps, each within its tolerance after the map.

    Parameters
    ----------
    paths : sequence of PathData
    linear, shift : ndarray, shapes (n, 2, 2) and (n, 2)
        The map of each path.
    tolerance : ndarray, shape (n,)
        Largest distance of each path's curves from their chords.

    Returns
    -------
    Polylines
        Subpaths without any segment are left out.
    """
    paths = list(paths)
    if sum(map(len, paths)) == 0:
        none = np.empty(0, np.int64)
        return Polylines(
            np.empty((0, 2)), np.empty(0, bool), np.zeros(1, np.int64), np.empty(0, bool), none
        )
    kind = np.concatenate([p.kind for p in paths])
    rows = np.concatenate([p.rows for p in paths])
    owner = np.repeat(np.arange(len(paths)), [len(p) for p in paths])
    end = np.einsum("nij,nj->ni", linear[owner], rows[:, 4:]) + shift[owner]
    before = np.roll(end, 1, axis=0)

    count = np.where(kind == CLOSE, 0, 1)
    cubic = np.flatnonzero(kind == CUBIC)
    maps = linear[owner[cubic]]
    control = np.stack(
        [
            before[cubic],
            np.einsum("nij,nj->ni", maps, rows[cubic, 0:2]) + shift[owner[cubic]],
            np.einsum("nij,nj->ni", maps, rows[cubic, 2:4]) + shift[owner[cubic]],
            end[cubic],
        ],
        axis=1,
    )
    cubic_points, count[cubic] = flatten_cubics(control, tolerance[owner[cubic]])
    arc, arc_points, count_arc = _flatten_arc_rows(kind, rows, owner, linear, shift, tolerance)
    count[arc] = count_arc

    first = np.cumsum(count) - count
    points = np.empty((int(count.sum()), 2))
    smooth = np.zeros(len(points), bool)
    for which, curve_points in ((cubic, cubic_points), (arc, arc_points)):
        place = np.repeat(first[which], count[which]) + ramp(count[which])
        points[place] = curve_points
        smooth[place] = True
    straight = count > 0
    points[(first + count - 1)[straight]] = end[straight]
    smooth[(first + count - 1)[straight]] = False

    is_move = kind == MOVE
    subpath = np.cumsum(is_move) - 1
    moves = np.flatnonzero(is_move)
    closed = np.zeros(len(moves), bool)
    closed[subpath[kind == CLOSE]] = True
    drawn = np.bincount(subpath) > 1
    keep = np.repeat(drawn, np.bincount(subpath, weights=count).astype(np.int64))
    lengths = np.bincount(subpath, weights=count).astype(np.int64)[drawn]
    return Polylines(
        points[keep],
        smooth[keep],
        np.concatenate(([0], np.cumsum(lengths))),
        closed[drawn],
        owner[moves][drawn],
    )


def reach(paths: Sequence[PathData], linear: Floats, shift: Floats) -> Floats:
    """Return the greatest coordinate (without sign) of each path's points after its map.

    Control points and radii count too, so that curves of a finite reach have a finite number of
    chords. Parameters are those of :func:`flatten_paths`; what is not a number counts as infinite.
    """
    greatest = np.zeros(len(paths))
    full = [i for i, path in enumerate(paths) if len(path)]
    if not full:
        return greatest
    kind = np.concatenate([paths[i].kind for i in full])
    rows = np.concatenate([paths[i].rows for i in full])
    count = np.array([len(paths[i]) for i in full])
    owner = np.repeat(np.array(full), count)
    uses = np.ones((len(kind), 3), bool)
    uses[kind != CUBIC, :2] = False
    arc = kind == ARC
    with np.errstate(over="ignore", invalid="ignore"):
        points = rows.reshape(-1, 3, 2)
        mapped = np.einsum("nij,nkj->nki", linear[owner], points) + shift[owner, None]
        far = np.where(uses, np.abs(mapped).max(axis=2), 0.0)
        stretch = np.abs(linear[owner[arc]]).max(axis=(1, 2))
        radii = np.abs(rows[arc, :2]).sum(axis=1) * stretch
        far[arc, 0] = np.where(np.isfinite(rows[arc, 2]), radii, np.inf)
    far = np.where(np.isnan(far), np.inf, far).max(axis=1)
    greatest[full] = np.maximum.reduceat(far, np.cumsum(count) - count)
    return greatest


def _flatten_arc_rows(
    kind: NDArray[np.int8],
    rows: Floats,
    owner: Indices,
    linear: Floats,
    shift: Floats,
    tolerance: Floats,
) -> tuple[Indices, Floats, Indices]:
    """Rows that are true arcs, with their points; F.6.2: without radius they are lines."""
    arc = np.flatnonzero(kind == ARC)
    start, end = rows[arc - 1, 4:], rows[arc, 4:]
    # Radii next to nothing count as nothing too, lest scaling them up overflows.
    real = (np.abs(rows[arc, :2]) > 1e-150).all(axis=1) & (start != end).any(axis=1)
    arc, start, end = arc[real], start[real], end[real]
    flags = rows[arc, 3].astype(np.int64)
    arcs = arcs_from_ends(start, end, rows[arc, :2], rows[arc, 2], flags % 2 > 0, flags > 1)
    mapped = arcs.mapped(linear[owner[arc]], shift[owner[arc]])
    points, counts = flatten_arcs(mapped, tolerance[owner[arc]])
    return arc, points, counts
