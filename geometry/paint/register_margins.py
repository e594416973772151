"""Drift: how far a sheet may lie off its place before the picture shows it.

Two layers' edges that run side by side leave a strip between them. What the strip is tells what
goes wrong when one sheet drifts farther than the strip is wide:

=====================  ==================================================================
the strip lies in      beyond its width
=====================  ==================================================================
both                   a gap: the lower layer no longer runs under the upper one
the lower only         the upper colour gets outside its place: it reaches the lower's edge
the upper only         the lower colour peeks out from under the upper one
neither                two colours that should stay apart run together
=====================  ==================================================================

Rings that nowhere meet have an exact margin, their distance. Rings that cross are looked at along
their edges: a crossing just moves with a sheet and shows nothing, but where the edges run nearly
side by side the strip between them counts. What drifts of all sheets together do to small details
is sampled, with a fixed seed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np
import shapely
from shapely import MultiPolygon

from ..arrays import Bools, Floats, Geometries, Indices
from ..build import Build
from ..colour import ciede2000, hides, lab_from_srgb
from ..finding import Finding, Severity
from ..planar.polygons import as_multipolygon
from ..progress import Progress
from .spray_order import SEEN
from .wall import Can, cans_of, composite_colours

#: Step of the points that edges are looked at by, in mm.
STEP = 0.4
#: A strip counts as running side by side from this many times its width on, and this length in mm.
LONG = 4.0
LEAST_RUN = 2.0
#: Sampled drifts of all sheets together.
SAMPLES = 48
SEED = 20250
#: A detail of which less than this share is left counts as lost.
LEFT = 0.5
#: Patches under this area in mm2 are specks that nobody misses.
LEAST_DETAIL = 2.0


class Trouble(Enum):
    """What shows when a sheet drifts too far."""

    GAP = "gap"
    OUTSIDE = "colour outside its place"
    PEEK = "lower colour peeks out"
    TOUCH = "colours run together"


@dataclass(frozen=True)
class Margin:
    """A place where two layers' edges run side by side.

    Parameters
    ----------
    lower, upper : int
        Positions of the layers in spray order.
    trouble : Trouble
        What shows beyond the margin.
    drift_mm : float
        Width of the strip: how far one of the sheets may drift from the other there.
    turn_deg : float
        How far it may turn about the sheet's centre: a safe bound.
    place, other : tuple of float
        x, y in mm of the nearest points, on the upper layer's edge and on the lower's.
    difference : float
        CIEDE2000 between what would show and what should.
    exact : bool
        Whether it is the distance of rings that nowhere meet; else found along their edges.
    """

    lower: int
    upper: int
    trouble: Trouble
    drift_mm: float
    turn_deg: float
    place: tuple[float, float]
    other: tuple[float, float]
    difference: float
    exact: bool


@dataclass(frozen=True)
class Detail:
    """A small patch of one colour that drifting sheets may cover.

    Parameters
    ----------
    layer : int
        Position of its layer; -1 for the bare wall.
    place : tuple of float
    area_mm2 : float
    lost_share : float
        Share of the sampled drifts in which more than half of it was gone.
    """

    layer: int
    place: tuple[float, float]
    area_mm2: float
    lost_share: float


@dataclass(frozen=True)
class Drift:
    """How well a job stands drifting sheets.

    Parameters
    ----------
    names : tuple of str
    margins : tuple of Margin
        The tightest first.
    details : tuple of Detail
        Those that were lost in any sample, the most often lost first.
    allowed_mm, allowed_deg : float
        The drift and turn that the job reckons with.
    """

    names: tuple[str, ...]
    margins: tuple[Margin, ...]
    details: tuple[Detail, ...]
    allowed_mm: float
    allowed_deg: float

    def pair(self, lower: int, upper: int) -> tuple[Margin, ...]:
        """Return the margins of one pair, the tightest first."""
        return tuple(m for m in self.margins if (m.lower, m.upper) == (lower, upper))

    def layer_mm(self, layer: int) -> float | None:
        """Return how far one sheet alone may drift, None where nothing within reach limits it."""
        return min((m.drift_mm for m in self.margins if layer in (m.lower, m.upper)), default=None)

    def layer_deg(self, layer: int) -> float | None:
        """Return how far one sheet alone may turn about its centre, None where unlimited."""
        return min((m.turn_deg for m in self.margins if layer in (m.lower, m.upper)), default=None)


def drift_of(build: Build, progress: Progress | None = None) -> Drift:
    """Measure how far each sheet of a built job may drift.

    Parameters
    ----------
    build : Build
    progress : Progress, optional

    Returns
    -------
    Drift
    """
    registration, sheet = build.job.registration, build.job.sheet
    # The two sheets of a layer that is split share its artwork.
    layers = list({layer.settings.name: layer for layer in build.layers}.values())
    return drift_between(
        [layer.artwork.shape for layer in layers],
        cans_of(layer.settings for layer in layers),
        build.job.ground,
        tuple(layer.settings.name for layer in layers),
        (sheet.width_mm / 2, sheet.height_mm / 2),
        registration.drift_mm,
        registration.turn_deg,
        progress,
    )


def drift_between(
    shapes: Sequence[MultiPolygon],
    paints: Sequence[Can],
    ground: str,
    names: tuple[str, ...],
    centre: tuple[float, float],
    allowed_mm: float = 1.0,
    allowed_deg: float = 0.1,
    progress: Progress | None = None,
) -> Drift:
    """Measure how far layers may drift against each other.

    Parameters
    ----------
    shapes : sequence of MultiPolygon
        What each layer paints, in spray order, in mm.
    paints : sequence of Can
    ground : str
    names : tuple of str
    centre : tuple of float
        That sheets turn about.
    allowed_mm, allowed_deg : float
        Drift and turn to reckon with; margins are looked for up to five times that drift.
    progress : Progress, optional

    Returns
    -------
    Drift

    Examples
    --------
    >>> from shapely import box
    >>> squares = [MultiPolygon([box(0, 0, 20, 20)]), MultiPolygon([box(5, 5, 15, 15)])]
    >>> paints = [Can("#ffffff"), Can("#000000")]
    >>> drift = drift_between(squares, paints, "#808080", ("A", "B"), (10, 10))
    >>> drift.margins[0].drift_mm, drift.margins[0].trouble.value
    (5.0, 'colour outside its place')
    """
    progress = progress or Progress()
    reach = max(5 * allowed_mm, 5.0)
    count = len(shapes)
    margins: list[Margin] = []
    pairs = [(i, j) for j in range(count) for i in range(j)]
    for number, (i, j) in enumerate(pairs):
        progress(0.7 * number / len(pairs), f"{names[j]} on {names[i]}: measuring margins")
        hidden = _hidden(shapes, paints, j)
        colours = _TroubleColours(shapes, paints, ground, i, j)
        strips = _Strips(shapes[i], shapes[j], hidden, reach)
        margins += [
            Margin(i, j, trouble, width, turn, place, other, seen, exact)
            for trouble, width, turn, place, other, exact in strips.found(centre)
            if (seen := colours.difference(trouble, place, other)) > SEEN
        ]
    progress(0.7, "letting sheets drift")
    details = _details(shapes, paints, ground, centre, allowed_mm, allowed_deg)
    progress(1.0, "drift measured")
    margins.sort(key=lambda m: (m.drift_mm, m.lower, m.upper, m.place))
    return Drift(names, tuple(margins), details, allowed_mm, allowed_deg)


def _hidden(shapes: Sequence[MultiPolygon], paints: Sequence[Can], upper: int) -> shapely.Geometry:
    """Return what opaque layers after ``upper`` hide."""
    later = [s for k, s in enumerate(shapes) if k > upper and hides(paints[k].opacity)]
    return shapely.union_all(later) if later else MultiPolygon()


class _TroubleColours:
    """How different the colour that shows in a trouble is from the one that should."""

    def __init__(
        self,
        shapes: Sequence[MultiPolygon],
        paints: Sequence[Can],
        ground: str,
        lower: int,
        upper: int,
    ) -> None:
        self._below = [(k, shapes[k]) for k in range(upper) if k != lower]
        self._paints, self._ground = paints, ground
        self._lower, self._upper = lower, upper
        for _, shape in self._below:
            shapely.prepare(shape)

    def difference(
        self, trouble: Trouble, place: tuple[float, float], other: tuple[float, float]
    ) -> float:
        x, y = (place[0] + other[0]) / 2, (place[1] + other[1]) / 2
        bare = np.zeros((1, len(self._paints)), bool)
        for k, shape in self._below:
            bare[0, k] = shapely.intersects_xy(shape, x, y)
        lower, upper = bare.copy(), bare.copy()
        lower[0, self._lower] = True
        upper[0, self._upper] = True
        # What should be there, and what is there once the sheet has gone too far.
        should, shows = {
            Trouble.GAP: (upper, bare),
            Trouble.OUTSIDE: (bare, upper),
            Trouble.PEEK: (bare, lower),
            Trouble.TOUCH: (bare, upper),
        }[trouble]
        two = composite_colours(np.concatenate([should, shows]), self._paints, self._ground)[-1]
        return float(ciede2000(*lab_from_srgb(two)))


Strip = tuple[Trouble, float, float, tuple[float, float], tuple[float, float], bool]


class _Strips:
    """The strips between the edges of two layers."""

    def __init__(
        self, lower: MultiPolygon, upper: MultiPolygon, hidden: shapely.Geometry, reach: float
    ) -> None:
        self._lower, self._upper, self._hidden, self._reach = lower, upper, hidden, reach
        self._rings = [shapely.get_rings(shapely.get_parts(s)) for s in (lower, upper)]
        for shape in (lower, upper, hidden):
            shapely.prepare(shape)

    def found(self, centre: tuple[float, float]) -> Iterator[Strip]:
        low, up = self._rings
        if not len(low) or not len(up):
            return
        near_up, near_low = shapely.STRtree(low).query(
            up, predicate="dwithin", distance=self._reach
        )
        crossing = shapely.intersects(up[near_up], low[near_low])
        lines = [shapely.difference(rings, self._hidden) for rings in self._rings]
        for u, w in zip(near_up[~crossing].tolist(), near_low[~crossing].tolist(), strict=True):
            yield from self._apart(lines[1][u], lines[0][w], centre)
        for u in np.unique(near_up[crossing]).tolist():
            met = shapely.union_all(low[near_low[crossing & (near_up == u)]])
            yield from self._along(up[u], met, centre)

    def _apart(
        self, upper: shapely.Geometry, lower: shapely.Geometry, centre: tuple[float, float]
    ) -> Iterator[Strip]:
        """Yield the exact margin of two rings that nowhere meet."""
        if upper.is_empty or lower.is_empty:
            return
        line = shapely.shortest_line(upper, lower)
        width = float(line.length)
        if width > self._reach:
            return
        place, other = shapely.get_coordinates(line)
        points = shapely.points(shapely.get_coordinates(shapely.segmentize(upper, 4 * STEP)))
        widths = shapely.distance(points, lower)
        turn = _turns(shapely.get_coordinates(points), widths, centre)
        trouble = self._trouble(*((place + other) / 2))
        yield trouble, width, turn, _pair(place), _pair(other), True

    def _trouble(self, x: float, y: float) -> Trouble:
        in_lower = bool(shapely.intersects_xy(self._lower, x, y))
        in_upper = bool(shapely.intersects_xy(self._upper, x, y))
        if in_lower and in_upper:
            return Trouble.GAP
        if in_lower:
            return Trouble.OUTSIDE
        return Trouble.PEEK if in_upper else Trouble.TOUCH

    def _along(
        self, ring: shapely.Geometry, met: shapely.Geometry, centre: tuple[float, float]
    ) -> Iterator[Strip]:
        """Yield margins where an edge runs side by side with edges that its ring crosses."""
        steps = max(8, round(ring.length / STEP))
        along = np.arange(steps) * ring.length / steps
        here = shapely.line_interpolate_point(ring, along)
        there = shapely.get_point(shapely.shortest_line(here, met), 1)
        points, others = shapely.get_coordinates(here), shapely.get_coordinates(there)
        widths = np.hypot(*(others - points).T)
        tangent = np.roll(points, -1, axis=0) - np.roll(points, 1, axis=0)
        tangent /= np.maximum(np.hypot(*tangent.T), 1e-12)[:, None]
        slanted = np.abs(np.einsum("ni,ni->n", others - points, tangent)) > 0.35 * widths
        butting = widths < 1e-3
        shown = ~shapely.intersects_xy(self._hidden, *points.T)
        usable = (butting | ~slanted) & (widths <= self._reach) & shown
        kinds = self._kinds(points, others, tangent, butting, ring)
        step = ring.length / steps
        for kind, trouble in enumerate(Trouble):
            width = np.where(usable & (kinds == kind), widths, np.inf)
            yield from self._runs(trouble, width, step, points, others, centre)

    def _kinds(
        self,
        points: Floats,
        others: Floats,
        tangent: Floats,
        butting: Bools,
        ring: shapely.Geometry,
    ) -> Indices:
        middle = (points + others) / 2
        # Edges that coincide: looked at just inside the upper layer.
        normal = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1) * 0.02
        left = shapely.intersects_xy(self._upper, *(points + normal).T)
        inside = np.where(left[:, None], points + normal, points - normal)
        in_lower = shapely.intersects_xy(self._lower, *np.where(butting[:, None], inside, middle).T)
        in_upper = shapely.intersects_xy(self._upper, *middle.T) & ~butting
        gap, outside, peek, touch = range(4)
        kinds = np.select(
            [in_lower & in_upper, in_lower, in_upper], [gap, outside, peek], default=touch
        )
        # Butting: lower on the same side would peek out, lower on the other side leaves a gap.
        result: Indices = np.where(butting, np.where(in_lower, peek, gap), kinds)
        return result

    def _runs(
        self,
        trouble: Trouble,
        width: Floats,
        step: float,
        points: Floats,
        others: Floats,
        centre: tuple[float, float],
    ) -> Iterator[Strip]:
        """Yield one margin for each run of edge, by windows long for the strip's width."""
        count = len(width)
        taken = np.zeros(count, bool)
        length = LEAST_RUN
        while length <= 2 * LONG * self._reach:
            size = max(2, round(length / step))
            if size > count:
                return
            ring = np.concatenate([width, width[: size - 1]])
            windows = np.lib.stride_tricks.sliding_window_view(ring, size)
            widest = windows.max(axis=1)
            good = np.flatnonzero((widest <= length / LONG) & np.isfinite(widest))
            for first in good[np.argsort(widest[good], kind="stable")].tolist():
                places = (first + np.arange(size)) % count
                if taken[places].any():
                    continue
                # One margin a run: all that hangs together with it at this width.
                grown = _grown(np.isfinite(width), places)
                taken[grown] = True
                at = int(places[size // 2])
                turn = _turns(points[places], np.maximum(width[places], widest[first]), centre)
                yield (
                    trouble,
                    float(widest[first]),
                    turn,
                    _pair(points[at]),
                    _pair(others[at]),
                    False,
                )
            length *= 2


def _grown(held: Bools, places: Indices) -> Indices:
    """Return the stretch of held places round a closed ring that contains ``places``."""
    count = len(held)
    if held.all():
        return np.arange(count)
    gaps = np.flatnonzero(~held)
    before = gaps[np.searchsorted(gaps, places[0]) - 1]
    following = gaps[np.searchsorted(gaps, places[-1]) % len(gaps)]
    length = (following - before - 1) % count
    return (before + 1 + np.arange(length)) % count


def _pair(point: Floats) -> tuple[float, float]:
    return float(point[0]), float(point[1])


def _turns(points: Floats, widths: Floats, centre: tuple[float, float]) -> float:
    """Return the turn about ``centre`` under which no point moves farther than its width."""
    lever = np.hypot(*(points - centre).T)
    share = widths / np.maximum(2 * lever, 1e-12)
    return float(np.degrees(2 * np.arcsin(np.clip(share, 0, 1)).min()))


def sample_drifts(
    count: int, layers: int, allowed_mm: float, allowed_deg: float, seed: int = SEED
) -> tuple[Floats, Floats]:
    """Return drifts of all sheets, the same in every run.

    Parameters
    ----------
    count, layers : int
    allowed_mm, allowed_deg : float
        Shifts fill the disc of that radius evenly, turns the range to both sides.
    seed : int

    Returns
    -------
    shifts : float64 array (count, layers, 2)
    turns : float64 array (count, layers)
        In degrees.
    """
    rng = np.random.default_rng(seed)
    radius = allowed_mm * np.sqrt(rng.random((count, layers)))
    way = rng.uniform(0, 2 * np.pi, (count, layers))
    shifts = radius[..., None] * np.stack([np.cos(way), np.sin(way)], axis=-1)
    return shifts, rng.uniform(-allowed_deg, allowed_deg, (count, layers))


def _details(
    shapes: Sequence[MultiPolygon],
    paints: Sequence[Can],
    ground: str,
    centre: tuple[float, float],
    allowed_mm: float,
    allowed_deg: float,
) -> tuple[Detail, ...]:
    """Let all sheets drift and tell which small patches of colour get lost."""
    if allowed_mm == 0 and allowed_deg == 0:
        return ()
    count = len(shapes)
    patches: list[shapely.Geometry] = []
    owners: list[int] = []
    whole = shapely.union_all(list(shapes))
    hull = shapely.box(*whole.bounds) if not whole.is_empty else MultiPolygon()
    covered = MultiPolygon()
    for layer in range(count - 1, -2, -1):
        shape = shapes[layer] if layer >= 0 else hull
        for patch in as_multipolygon(shapely.difference(shape, covered)).geoms:
            # A patch wider than this all over cannot vanish.
            if LEAST_DETAIL <= patch.area < (2 * allowed_mm + 0.5) * patch.length:
                patches.append(patch)
                owners.append(layer)
        if layer >= 0 and hides(paints[layer].opacity):
            covered = shapely.union(covered, shape)
    if not patches:
        return ()
    cells, owner = np.array(patches, object), np.array(owners)
    areas = shapely.area(cells)
    bounds = shapely.bounds(cells)
    lever = float(np.hypot(*(bounds.reshape(-1, 2) - centre).T).max())
    reach = allowed_mm + lever * np.radians(allowed_deg)
    windows = shapely.box(*(bounds[:, :2] - 3 * reach).T, *(bounds[:, 2:] + 3 * reach).T)
    clips = [_clipped(shape, windows) for shape in shapes]
    around = shapely.buffer(cells, reach)
    lost = np.zeros(len(cells))
    shifts, turns = sample_drifts(SAMPLES, count, allowed_mm, allowed_deg)
    for shift, turn in zip(shifts, turns, strict=True):
        left = around
        for layer in range(count - 1, -1, -1):
            moved = _drifted(clips[layer], shift[layer], turn[layer], centre)
            own = owner == layer
            left = np.where(own, shapely.intersection(left, moved), left)
            left = np.where(owner < layer, shapely.difference(left, moved), left)
        lost += shapely.area(left) < LEFT * areas
    gone = np.flatnonzero(lost)
    gone = gone[np.lexsort((-areas[gone], -lost[gone]))]
    points = shapely.get_coordinates(shapely.point_on_surface(cells[gone]))
    return tuple(
        Detail(int(owner[k]), _pair(at), float(areas[k]), float(lost[k] / SAMPLES))
        for k, at in zip(gone.tolist(), points, strict=True)
    )


def _clipped(shape: MultiPolygon, windows: Geometries) -> Geometries:
    """Return the part of a shape in each window, from its parts near by only."""
    parts = shapely.get_parts(shape)
    result = np.full(len(windows), MultiPolygon(), object)
    if not len(parts):
        return result
    window, part = shapely.STRtree(parts).query(windows, predicate="intersects")
    pieces = shapely.intersection(parts[part], windows[window])
    for number in np.unique(window).tolist():
        result[number] = shapely.union_all(pieces[window == number])
    return result


def _drifted(
    shapes: Geometries, shift: Floats, turn_deg: float, centre: tuple[float, float]
) -> Geometries:
    angle = np.radians(turn_deg)
    matrix = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    moved: Geometries = shapely.transform(
        shapes, lambda xy: (xy - centre) @ matrix + centre + shift
    )
    return moved


def drift_findings(drift: Drift) -> tuple[Finding, ...]:
    """Tell where the drift that the job reckons with would show.

    One finding a pair and trouble, at its tightest place, and one for the details of each layer.
    """
    names = drift.names
    found = []
    for lower in range(len(names)):
        for upper in range(lower + 1, len(names)):
            for trouble in Trouble:
                tight = [
                    m
                    for m in drift.pair(lower, upper)
                    if m.trouble is trouble and m.drift_mm < drift.allowed_mm
                ]
                if tight:
                    found.append(_margin_finding(tight, names, drift.allowed_mm))
    for layer in sorted({d.layer for d in drift.details}):
        mine = [d for d in drift.details if d.layer == layer and d.lost_share >= 0.1]
        if mine:
            what = names[layer] if layer >= 0 else "the bare wall"
            found.append(
                Finding(
                    "registration.detail-lost",
                    Severity.WARNING,
                    f"{len(mine)} small patches of {what} may be lost when sheets drift by up to "
                    f"{drift.allowed_mm:g} mm; this one was in {100 * mine[0].lost_share:.0f} % of "
                    f"{SAMPLES} sampled drifts.",
                    names[layer] if layer >= 0 else "",
                    mine[0].place,
                )
            )
    return tuple(found)


def _margin_finding(tight: Sequence[Margin], names: Sequence[str], allowed: float) -> Finding:
    worst = tight[0]
    lower, upper = names[worst.lower], names[worst.upper]
    advice = {
        Trouble.GAP: f"let {lower} run {allowed:g} mm under {upper} there (trap_mm)",
        Trouble.OUTSIDE: f"keep {upper} {allowed:g} mm inside {lower}'s edge, or register closely",
        Trouble.PEEK: f"keep {lower} {allowed:g} mm inside {upper}'s edge",
        Trouble.TOUCH: "part them more, or register closely",
    }[worst.trouble]
    return Finding(
        f"registration.{worst.trouble.name.lower()}",
        Severity.WARNING if worst.trouble is Trouble.GAP else Severity.NOTE,
        f"{worst.trouble.value.capitalize()} between {lower} and {upper} from a drift of "
        f"{worst.drift_mm:.2f} mm on, here and at {len(tight) - 1} more places: {advice}.",
        upper,
        worst.place,
        worst.drift_mm,
    )


def drifted_corner(
    size: tuple[float, float], shift: tuple[float, float], turn_deg: float
) -> tuple[float, float]:
    """Return where the lower left corner of a sheet comes to lie when the sheet drifts.

    Parameters
    ----------
    size : tuple of float
        Width and height in mm; the sheet turns about its centre.
    shift : tuple of float
        In mm.
    turn_deg : float
        Counter-clockwise.

    Examples
    --------
    >>> x, y = drifted_corner((20, 10), (1, 0), 90)
    >>> round(x, 9), round(y, 9)
    (16.0, -5.0)
    """
    centre = np.array(size) / 2
    angle = np.radians(turn_deg)
    turned = np.array(
        [
            [np.cos(angle), -np.sin(angle)],
            [np.sin(angle), np.cos(angle)],
        ]
    )
    x, y = (centre + shift - turned @ centre).tolist()
    return x, y
