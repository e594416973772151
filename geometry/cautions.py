"""Cautions: what can hurt while sheets are made and used, in words that stand beside every export.

They say what to look out for and whom to follow: local codes, the makers' data sheets and licensed
practice. They are no instruction for a machine that this program has never seen.
"""

from __future__ import annotations

from dataclasses import dataclass

#: What people do on the way from a file to a painted wall.
WORKS = ("knife", "laser", "printer", "paint", "wall")


@dataclass(frozen=True)
class Caution:
    """One caution.

    Parameters
    ----------
    key : str
        Short stable name.
    title : str
    text : str
        Two or three sentences.
    works : tuple of str
        The kinds of work that it belongs to, of ``WORKS``.
    """

    key: str
    title: str
    text: str
    works: tuple[str, ...]


CAUTIONS: tuple[Caution, ...] = (
    Caution(
        "defer",
        "Local rules come first",
        "Local codes, the makers' data sheets of machine, sheet and paint, and licensed practice "
        "come before anything written here. Where they differ from this page, follow them.",
        WORKS,
    ),
    Caution(
        "blades",
        "Blades",
        "Cut away from your body on a cutting mat, along a steel rule with a guard, with a fresh "
        "blade: a blunt one slips. Keep the other hand out of the blade's way and put worn blades "
        "into a closed box.",
        ("knife",),
    ),
    Caution(
        "laser-fire",
        "Laser: fire",
        "Sheets can catch fire under a laser. Never leave it alone while it runs, keep the bed "
        "free of scraps and have the extinguisher that the maker names within reach. Never defeat "
        "the lid's interlock; the beam and its reflections blind.",
        ("laser",),
    ),
    Caution(
        "laser-fumes",
        "Laser: fumes",
        "Run the extraction and know your sheet's chemistry from its data sheet before cutting. "
        "PVC (vinyl) and every other sheet that holds chlorine give off hydrogen chloride, which "
        "harms lungs and machine: they must not go under a laser. A sheet that you cannot name "
        "stays out too.",
        ("laser",),
    ),
    Caution(
        "dust",
        "Dust",
        "Sawing, drilling and sanding of wood, plastic and dried paint makes fine dust. Extract it "
        "where it arises, wear a dust mask of the class that local rules ask for, and safety "
        "glasses. Old paint on a wall may hold lead: have it tested before you sand it.",
        ("knife", "laser", "printer", "wall"),
    ),
    Caution(
        "printing",
        "Printing",
        "Nozzle and bed burn skin, and hot plastic gives off fumes and fine particles. Air the "
        "room, and follow the maker on leaving a printer alone.",
        ("printer",),
    ),
    Caution(
        "spray-paint",
        "Spray paint",
        "Spray outside or with extraction. Wear the respirator, gloves and glasses that the "
        "paint's safety data sheet names; a dust mask holds back no solvent. Paint mist burns: no "
        "flame, spark or cigarette near it, and no heated cans.",
        ("paint",),
    ),
    Caution(
        "heights",
        "Heights",
        "Above the ground, use scaffold or platform put up by people licensed for it, in weather "
        "that allows it. A big sheet is a sail: tie it, and keep people out from below.",
        ("wall",),
    ),
    Caution(
        "owner",
        "The wall's owner",
        "Have the owner's permission in writing before anything is drilled or painted, and ask "
        "the authority where the place is listed or public. Look for cables and pipes before you "
        "drill.",
        ("wall",),
    ),
)


def cautions_for(*works: str) -> tuple[Caution, ...]:
    """Return the cautions that belong to some kinds of work, each once, in table order.

    Parameters
    ----------
    *works : str
        Of ``WORKS``.

    Raises
    ------
    ValueError
        A work that is not in ``WORKS``.

    Examples
    --------
    >>> [c.key for c in cautions_for("laser")]
    ['defer', 'laser-fire', 'laser-fumes', 'dust']
    """
    unknown = sorted(set(works) - set(WORKS))
    if unknown:
        raise ValueError(f"Unknown work {', '.join(unknown)}; expected {', '.join(WORKS)}.")
    return tuple(c for c in CAUTIONS if set(c.works) & set(works))


def cautions_text(*works: str) -> str:
    """Return cautions as plain text, one paragraph each; all of them without ``works``.

    >>> print(cautions_text("knife").splitlines()[0])
    Local rules come first. Local codes, the makers' data sheets of machine, sheet and paint, and \
licensed practice come before anything written here. Where they differ from this page, follow them.
    """
    chosen = cautions_for(*works) if works else CAUTIONS
    return "\n\n".join(f"{c.title}. {c.text}" for c in chosen) + "\n"
