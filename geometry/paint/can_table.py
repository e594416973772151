"""The artist's own cans: a table in a file, and which of them is nearest to a colour."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from ..colour import ciede2000, lab_from_srgb, srgb_from_hex
from ..errors import JobError
from ..job.fields import field, read_section
from ..job.text_file import parse_toml, read_text

#: CIEDE2000 up to which a can is told to match, and from which it is told to be another colour:
#: 1 is just seen side by side, 5 by anybody (common practice, no source).
MATCHES, OTHER = 2.0, 5.0


@dataclass(frozen=True)
class OwnCan:
    """``[[cans]]``, or a line of a CSV file with these names in its first line."""

    name: str = field(about="name on the can")
    colour: str = field(about="colour it dries to, like '#a0522d'", kind="colour")
    code: str = field("", about="its number with its maker")
    opacity: float = field(
        1.0, about="1 hides in one coat, 0.6 lets 40 % show through", least=0.05, most=1
    )
    price: float = field(0.0, about="price of one can", least=0, most=10000)
    ml: float = field(400.0, about="paint in one can", least=1, most=100000)
    have: int = field(0, about="how many full cans are in the store", least=0, most=100000)


@dataclass(frozen=True)
class CanMatch:
    """The can that is nearest to a colour.

    Parameters
    ----------
    colour : str
        That was asked for.
    can : OwnCan or None
        None where the table is empty.
    difference : float
        CIEDE2000 between the two.
    """

    colour: str
    can: OwnCan | None
    difference: float

    @property
    def missing(self) -> bool:
        """Whether no can has this colour."""
        return self.can is None or self.difference > OTHER

    @property
    def words(self) -> str:
        """How near it is, in words."""
        if self.can is None:
            return "no can told: buy or mix this colour"
        if self.difference <= MATCHES:
            return f"matches (difference {self.difference:.1f})"
        if self.difference <= OTHER:
            return f"near (difference {self.difference:.1f}): look at it beside the drawing"
        return f"missing: the nearest is {self.difference:.1f} off and looks like another colour"


def nearest_can(colour: str, cans: Sequence[OwnCan]) -> CanMatch:
    """Return the can whose colour looks most like one asked for.

    Parameters
    ----------
    colour : str
    cans : sequence of OwnCan

    Examples
    --------
    >>> cans = [OwnCan("Brick", "#a0522d"), OwnCan("Sky", "#87ceeb")]
    >>> nearest_can("#a5502c", cans).can.name
    'Brick'
    """
    if not cans:
        return CanMatch(colour, None, 0.0)
    own = lab_from_srgb([srgb_from_hex(can.colour) for can in cans])
    away = ciede2000(own, lab_from_srgb(srgb_from_hex(colour)))
    at = int(away.argmin())
    return CanMatch(colour, cans[at], float(away[at]))


def load_cans(path: str | os.PathLike[str]) -> tuple[OwnCan, ...]:
    """Read a table of cans: CSV with a line of names first, or TOML with ``[[cans]]`` tables.

    Raises
    ------
    JobError
        One sentence that names file, line or table, key and what was expected.
    """
    path = Path(path)
    text = read_text(path, "a table of cans")
    if path.suffix.lower() == ".toml":
        rows = parse_toml(text, str(path)).get("cans", [])
        return cans_of_rows(rows, f"{path}: [[cans]] number")
    return cans_of_rows(_csv_rows(text, path), f"{path}: can", numbers_as_text=True)


def cans_of_rows(rows: object, where: str, *, numbers_as_text: bool = False) -> tuple[OwnCan, ...]:
    """Read cans from plain tables; ``numbers_as_text`` for those of a CSV file.

    Parameters
    ----------
    rows : object
        As read from TOML or CSV: a list of tables is wanted.
    where : str
        File and section, as an error names them.
    numbers_as_text : bool
        True for those of a CSV file.

    Raises
    ------
    JobError
        A row is no table, or has a key or a value that no can has.
    """
    if not isinstance(rows, list):
        raise JobError(f"{where}: expected [[cans]] tables.")
    found = []
    for number, row in enumerate(rows, 1):
        if numbers_as_text:
            row = _numbers_read(row, f"{where} {number}")
        found.append(read_section(OwnCan, row, f"{where} {number}"))
    return tuple(found)


def _csv_rows(text: str, path: Path) -> list[dict[str, str]]:
    # Where numbers have a decimal comma, spreadsheets part cells by semicolons.
    first = text.split("\n", 1)[0]
    parted = ";" if first.count(";") > first.count(",") else ","
    try:
        reader = csv.DictReader(io.StringIO(text), delimiter=parted, strict=True)
        names = [(name or "").strip() for name in reader.fieldnames or []]
        known = [f.name for f in fields(OwnCan)]
        for name in names:
            if name not in known:
                raise JobError(
                    f"{path}: unknown column '{name}'; expected some of {', '.join(known)}."
                )
        rows = []
        for row in reader:
            if None in row:
                raise JobError(f"{path}: line {reader.line_num} has more cells than the first.")
            cells = {str(k).strip(): (v or "").strip() for k, v in row.items()}
            rows.append({k: v for k, v in cells.items() if v})
    except csv.Error as error:
        raise JobError(f"{path}: is no CSV table: {error}.") from None
    return [row for row in rows if row]


def _numbers_read(row: Mapping[str, str], where: str) -> dict[str, Any]:
    read: dict[str, Any] = dict(row)
    for name, kind in (("opacity", float), ("price", float), ("ml", float), ("have", int)):
        if name in row:
            try:
                read[name] = kind(row[name].replace(",", "."))
            except ValueError:
                raise JobError(f"{where}: {name} = '{row[name]}': expected a number.") from None
    return read
