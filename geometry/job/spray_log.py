"""The job's log: what was sprayed when, with which sheet; a plain file beside the job.

One line an event, tab-separated: day, sheet, what, where or which patch, a note. It can be read and
mended with any editor or spreadsheet; nothing else is kept.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from ..errors import JobError
from .text_file import read_text

#: What may happen to a sheet.
EVENTS = ("made", "sprayed", "cleaned", "repaired", "worn out")
HEAD = "day\tsheet\tevent\tplace or patch\tnote"
#: Sprayings between two cleanings from which cleaning is due: common practice, no source.
CLEAN_AFTER = 5
#: Number of a patch, as the sheet of patches bears it: sheet and bridge, or one number.
_PATCH = re.compile(r"[0-9]+(\.[0-9]+)*")


@dataclass(frozen=True)
class LogEntry:
    """One event.

    Parameters
    ----------
    day : date
    sheet : str
    event : str
        Of ``EVENTS``.
    where : str
        The wall, or the number of the patch.
    note : str
    """

    day: date
    sheet: str
    event: str
    where: str = ""
    note: str = ""

    def line(self) -> str:
        r"""Return the entry as a line of the file.

        >>> LogEntry(date(2031, 5, 17), "Shadow", "sprayed", "yard").line()
        '2031-05-17\tShadow\tsprayed\tyard\t'
        """
        cells = (self.day.isoformat(), self.sheet, self.event, self.where, self.note)
        return "\t".join(" ".join(cell.split()) for cell in cells)


@dataclass(frozen=True)
class SheetRecord:
    """What a log tells of one sheet.

    Parameters
    ----------
    sheet : str
    sprayed, since_cleaned : int
        Times in all, and since it was made or cleaned last.
    last : date or None
        Of the last event.
    patches : tuple of str
        Repairs, by number where one was told.
    usable : bool
        Whether it has not worn out since it was made last.
    """

    sheet: str
    sprayed: int
    since_cleaned: int
    last: date | None
    patches: tuple[str, ...]
    usable: bool

    def sentence(self) -> str:
        """Return the record in words."""
        if self.last is None:
            return f"{self.sheet}: nothing logged."
        said = f"{self.sheet}: sprayed {times(self.sprayed)}, last entry {self.last.isoformat()}"
        if self.patches:
            said += f"; repaired: {', '.join(self.patches)}"
        if not self.usable:
            return f"{said}. WORN OUT: cut it anew."
        if self.since_cleaned >= CLEAN_AFTER:
            return f"{said}. Sprayed {times(self.since_cleaned)} since it was cleaned: clean it."
        return f"{said}. Ready to be used again."

    def remark(self) -> str:
        """Return what is to be known before the sheet is used again, in few words.

        >>> SheetRecord("Shadow", 6, 6, date(2031, 5, 17), ("patch 2.3",), True).remark()
        'sprayed 6 times, patch 2.3; clean it first'
        """
        if self.last is None:
            return ""
        said = ", ".join((f"sprayed {times(self.sprayed)}", *self.patches))
        if not self.usable:
            return f"{said}; WORN OUT, cut it anew"
        return f"{said}; clean it first" if self.since_cleaned >= CLEAN_AFTER else said


def times(count: int) -> str:
    """Return how often in words.

    >>> times(1), times(3)
    ('once', '3 times')
    """
    return "once" if count == 1 else f"{count} times"


def log_beside(job: Path) -> Path:
    """Return the path of a job's log.

    >>> log_beside(Path("leaf.toml")).name
    'leaf.log.txt'
    """
    return job.with_name(f"{job.stem}.log.txt")


def read_log(path: str | os.PathLike[str]) -> tuple[LogEntry, ...]:
    """Read a log; one that does not exist yet is empty.

    Raises
    ------
    JobError
        One sentence that names file, line and what was expected.
    """
    path = Path(path)
    if not path.exists():
        return ()
    lines = enumerate(read_text(path, "a log").splitlines(), 1)
    return tuple(
        _entry(line, f"{path}: line {number}")
        for number, line in lines
        if line.strip() and line.strip() != HEAD
    )


def _entry(line: str, where: str) -> LogEntry:
    cells = [cell.strip() for cell in line.split("\t")]
    cells += [""] * (5 - len(cells))
    if len(cells) > 5 or not cells[1]:
        raise JobError(f"{where}: expected day, sheet, event, place and note between tabs.")
    try:
        day = date.fromisoformat(cells[0])
    except ValueError:
        raise JobError(f"{where}: '{cells[0]}': expected a day like 2031-05-17.") from None
    if cells[2] not in EVENTS:
        raise JobError(f"{where}: '{cells[2]}': expected one of {', '.join(EVENTS)}.")
    return LogEntry(day, *cells[1:])


def with_entries(text: str, entries: Iterable[LogEntry]) -> str:
    """Return a log's text with entries added at its end; what stands in it stays as it is."""
    head = text if text.strip() else HEAD + "\n"
    if not head.endswith("\n"):
        head += "\n"
    return head + "".join(entry.line() + "\n" for entry in entries)


def records(entries: Sequence[LogEntry], sheets: Sequence[str]) -> tuple[SheetRecord, ...]:
    """Return what a log tells of each sheet, entries in the order in which they stand.

    Examples
    --------
    >>> day = date(2031, 5, 17)
    >>> log = [LogEntry(day, "Shadow", "sprayed"), LogEntry(day, "Shadow", "repaired", "3")]
    >>> records(log, ["Shadow"])[0].patches
    ('patch 3',)
    """
    found = []
    for sheet in sheets:
        sprayed = since = 0
        patches: list[str] = []
        usable, last = True, None
        for entry in (e for e in entries if e.sheet == sheet):
            last = entry.day
            if entry.event == "made":
                sprayed, since, patches, usable = 0, 0, [], True
            elif entry.event == "sprayed":
                sprayed, since = sprayed + 1, since + 1
            elif entry.event == "cleaned":
                since = 0
            elif entry.event == "repaired":
                told = entry.where
                patches.append(f"patch {told}" if _PATCH.fullmatch(told) else told or "no number")
            else:
                usable = False
        found.append(SheetRecord(sheet, sprayed, since, last, tuple(patches), usable))
    return tuple(found)
