"""Bridge styles: the same job with bridges of several kinds, built each in full and compared."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from ..artwork.care import read_care
from ..artwork.read import read_all
from ..build import Build, build_sheets
from ..job.job import Job
from ..job.sections import AS_JOB
from ..progress import Progress
from ..step_cache import StepCache
from ..support.held_islands import HeldIsland
from ..tolerance import TOLERANCES, Tolerances

#: Styles by name, with the keys of ``[bridges]`` that make them.
STYLES: dict[str, dict[str, str]] = {
    "least visible, any way": {"choice": "least-visible", "direction": "any"},
    "along the drawing": {"choice": "least-visible", "direction": "drawing"},
    "vertical": {"choice": "least-visible", "direction": "vertical"},
    "horizontal": {"choice": "least-visible", "direction": "horizontal"},
    "shortest": {"choice": "shortest", "direction": "any"},
    "curved": {"choice": "least-visible", "direction": "any", "style": "curved"},
    "tapered": {"choice": "least-visible", "direction": "any", "style": "tapered"},
}
#: Styles of sides that follow the drawing.
FLOWING = ("curved", "tapered")
#: Name of the style that the job has, where it is none of these.
OWN = "as the job says"


@dataclass(frozen=True)
class StyledBuild:
    """A job built with bridges of one style.

    Parameters
    ----------
    name : str
    keys : tuple of (str, str)
        Of ``[bridges]``, which make it; empty for the job's own.
    built : Build
    """

    name: str
    keys: tuple[tuple[str, str], ...]
    built: Build

    @property
    def damage(self) -> float:
        """Visible damage of all bridges, in mm2 x Delta E (CIEDE2000)."""
        return sum(layer.damage for layer in self.built.layers)

    @property
    def bridges(self) -> int:
        """How many bridges all sheets have."""
        return sum(b.kind == "bridge" for layer in self.built.layers for b in layer.bridges)

    @property
    def islands(self) -> tuple[HeldIsland, ...]:
        """How all islands are held, each sheet solved as one whole."""
        return tuple(island for layer in self.built.layers for island in layer.held_islands)

    @property
    def weak(self) -> int:
        """How many islands give way, or strain their bridges, beyond the limits."""
        return sum(not island.enough for island in self.islands)

    @property
    def fallen(self) -> int:
        """How many islands nothing holds."""
        return sum(len(layer.islands_left) for layer in self.built.layers)

    @property
    def let_go(self) -> int:
        """How many islands are painted over, not being worth their bridges."""
        return sum(len(layer.let_go) for layer in self.built.layers)

    @property
    def weakest(self) -> HeldIsland | None:
        """The island that gives way most; None where there is none."""
        return max(self.islands, key=lambda island: island.hold.deflection_mm, default=None)

    @property
    def leaning(self) -> int:
        """How many bridges could not run in the direction of the style."""
        return sum(f.code == "support.bridge-leans" for f in self.built.findings)

    def lines(self) -> Iterator[str]:
        """Yield what is told beside its picture."""
        yield self.name
        yield f"visible damage {self.damage:.0f}, {self.bridges} bridges"
        weakest = self.weakest
        if weakest is None:
            yield "no island"
            return
        strain = max(island.hold.stress_mpa for island in self.islands)
        yield (
            f"weakest island gives way {weakest.hold.deflection_mm:.1f} mm, most strained bridge "
            f"{strain:.1f} MPa"
        )
        told = [
            (self.fallen, "fall out"),
            (self.let_go, "let go, which would cost more to hold"),
            (self.weak, "held too weakly"),
            (self.leaning, "bridges another way"),
        ]
        yield "; ".join(f"{count} {what}" for count, what in told if count) or "all held"


def styled_builds(
    job: Job, progress: Progress | None = None, tolerances: Tolerances = TOLERANCES
) -> tuple[StyledBuild, ...]:
    """Build a job in each style, its own first where it is none of them.

    Directions of layers give way to the style's; areas, drawn bridges and all else stay.

    Parameters
    ----------
    job : Job
    progress : Progress, optional
        Told what is being done; may raise ``Cancelled``.
    tolerances : Tolerances

    Raises
    ------
    ArtworkError
        An artwork file cannot be read; the sentence names the layer.
    GeometryError
        A layer's shape cannot be built.
    """
    progress = progress or Progress()
    drawings = read_all(job, progress.part(0.0, 0.1), tolerances)
    pages = [d.artwork.page for d in drawings if d.artwork.page is not None]
    scale = drawings[0].source.scale
    care = read_care(job, pages[0] if pages else None, tolerances, None, scale)
    # Of a job whose bridges are curved, the others are shown straight.
    plain = {"style": "straight"} if job.bridges.style in FLOWING else {}
    every = {name: {**plain, **keys} for name, keys in STYLES.items()}
    jobs: list[tuple[str, dict[str, str], Job]] = [
        (name, keys, styled(job, keys)) for name, keys in every.items()
    ]
    if all(other != job for _, _, other in jobs):
        jobs.insert(0, (OWN, {}, job))
    # What the style has no say in, the sheets as drawn for example, is done once.
    made, cache = [], StepCache()
    for number, (name, keys, one) in enumerate(jobs):
        part = progress.part(0.1 + 0.9 * number / len(jobs), 0.1 + 0.9 * (number + 1) / len(jobs))
        built = build_sheets(one, drawings, part, tolerances, care, cache)
        made.append(StyledBuild(name, tuple(keys.items()), built))
    return tuple(made)


def styled(job: Job, keys: dict[str, str]) -> Job:
    """Return a job with bridges of one style."""
    values: dict[str, object] = dict(keys)
    layers = tuple(replace(layer, bridge_direction=AS_JOB) for layer in job.layers)
    bridges = replace(job.bridges, **values)  # type: ignore[arg-type]
    return replace(job, bridges=bridges, layers=layers)
