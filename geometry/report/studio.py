"""The studio file: who offers, at what price, with which paint and which cans; the artist's own."""

from __future__ import annotations

import os
from dataclasses import dataclass
from dataclasses import field as plain_field
from pathlib import Path
from typing import Any

from ..errors import JobError
from ..job.fields import field, read_section, unknown_key
from ..job.text_file import read_toml
from ..paint.can_table import OwnCan, cans_of_rows, load_cans


@dataclass(frozen=True)
class ArtistSettings:
    """``[artist]``: who offers."""

    name: str = field("", about="name on the offer")
    contact: str = field("", about="address, telephone, mail: as it is to be printed, line by line")
    logo: str = field("", about="picture file of a logo, relative to the studio file")
    tax_number: str = field("", about="tax number, where an offer must bear one")
    font: str = field(
        "",
        about="font file for words in other than western European letters in the PDF, relative to "
        "the studio file",
    )


@dataclass(frozen=True)
class OfferSettings:
    """``[offer]``: what is asked."""

    hours_design: float = field(0.0, about="hours for the drawing", least=0, most=10000)
    hours_sheets: float = field(0.0, about="hours for the sheets", least=0, most=10000)
    hours_set_up: float = field(0.0, about="hours to set up and clear away", least=0, most=10000)
    hours_per_m2: float = field(
        0.0, about="hours of spraying for a square metre of picture", least=0, most=1000
    )
    rate_h: float = field(0.0, about="price of an hour", least=0, most=100000)
    extra_cost: float = field(0.0, about="own cost beside the estimate: platform, travel", least=0)
    markup_percent: float = field(0.0, about="put on material and extra cost", least=0, most=1000)
    tax_percent: float = field(0.0, about="tax on the price", least=0, most=100)
    round_to: float = field(1.0, about="net prices are rounded to this", least=0.01, most=10000)
    valid_days: int = field(30, about="days that the offer holds", least=1, most=1000)
    client: str = field("", about="for whom, line by line")
    place: str = field("", about="the wall")
    permission: str = field(
        "the owner of the wall, in writing, and the authority where the place is listed or public",
        about="whose permission is needed",
    )
    done: str = field(
        "Stencils cut for this picture\nPainting on the wall in the colours named",
        about="what is done, one thing a line",
    )
    not_done: str = field(
        "Repair and priming of the wall\nPlatform or scaffold\nPermissions and fees\n"
        "A coat against weather or later paint",
        about="what is not, one thing a line",
    )


@dataclass(frozen=True)
class PaintSettings:
    """``[paint]``: what the paint's data sheet says, for the spray plan."""

    touch_dry_min: float = field(0.0, about="minutes to touch dry; 0 for not told", least=0)
    recoat_min: float = field(0.0, about="minutes to the next coat; 0 for not told", least=0)
    least_c: float | None = field(None, about="least temperature", least=-50, most=100)
    most_c: float | None = field(None, about="most temperature", least=-50, most=100)
    most_humidity: float | None = field(None, about="most humidity in %", least=1, most=100)
    most_wind_ms: float | None = field(None, about="most wind in m/s", least=0, most=50)
    mask_reach_mm: float | None = field(
        None, about="how far to mask past the sheet; from the spray cone when absent", least=0
    )
    wear: str = field(
        "respirator, gloves and glasses as the paint's safety data sheet names them",
        about="protective wear",
    )
    tools: str = field(
        "tape\nmasking paper\nspirit level\ntape measure\npins or nails for the register\n"
        "hammer\nrags\nspare caps\na piece of card for trials",
        about="tools to bring, one a line",
    )


@dataclass(frozen=True)
class Studio:
    """A studio file.

    Parameters
    ----------
    artist : ArtistSettings
    offer : OfferSettings
    paint : PaintSettings
    cans : tuple of OwnCan
    folder : Path
        What paths in it are relative to.
    """

    artist: ArtistSettings = plain_field(default_factory=ArtistSettings)
    offer: OfferSettings = plain_field(default_factory=OfferSettings)
    paint: PaintSettings = plain_field(default_factory=PaintSettings)
    cans: tuple[OwnCan, ...] = ()
    folder: Path = Path()

    @property
    def logo(self) -> Path | None:
        """Path of the logo."""
        return self.folder / self.artist.logo if self.artist.logo else None

    @property
    def font(self) -> Path | None:
        """Path of the font for words that PDF's standard fonts cannot show."""
        return self.folder / self.artist.font if self.artist.font else None


#: Tables of a studio file.
STUDIO_SECTIONS: dict[str, type] = {
    "artist": ArtistSettings,
    "offer": OfferSettings,
    "paint": PaintSettings,
}


def load_studio(
    path: str | os.PathLike[str] | None, cans: str | os.PathLike[str] | None = None
) -> Studio:
    """Read a studio file.

    Parameters
    ----------
    path : path or None
        A TOML file with the tables ``[artist]``, ``[offer]`` and ``[paint]``, ``[[cans]]`` or
        ``cans = "cans.csv"``; None for nothing told.
    cans : path, optional
        A table of cans that comes before the file's.

    Raises
    ------
    JobError
        One sentence that names file, key and what was expected.
    """
    table: dict[str, Any] = {}
    folder = Path()
    if path is not None:
        table, folder = read_toml(Path(path), "a studio file"), Path(path).parent
        known = {*STUDIO_SECTIONS, "cans"}
        for key in table:
            if key not in known:
                raise JobError(f"{path}: {unknown_key(key, known)}")
    read: dict[str, Any] = {
        key: read_section(section, table.get(key, {}), f"{path}: [{key}]")
        for key, section in STUDIO_SECTIONS.items()
    }
    if cans is not None:
        own = load_cans(cans)
    elif isinstance(table.get("cans"), str):
        own = load_cans(folder / table["cans"])
    else:
        own = cans_of_rows(table.get("cans", []), f"{path}: [[cans]] number")
    return Studio(cans=own, folder=folder, **read)
