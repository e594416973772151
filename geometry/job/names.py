"""Names of the files that are written for a job."""

from __future__ import annotations

from .job import Job

PREVIEW = "preview.png"
STACK = "stack.png"
#: Only within the report: the picture with plain shortest bridges.
PLAIN = "plain-bridges.png"
DRIFT = "drift.png"
#: Only within the report: where damage counts more than once.
CARE_SHOWN = "care-shown.png"
REPORT_DATA = "report.json"
REPORT = "report.html"


#: Bytes of a name taken into file names: with number and ending well under the 255 that file
#: systems allow.
LONGEST_STEM = 100


def file_stem(name: str) -> str:
    """Return a layer's name as a plain file name.

    >>> file_stem("Mid-tone (base)")
    'mid-tone-base'
    """
    kept = "".join(c if c.isalnum() else "-" for c in name.lower())
    stem = "-".join(part for part in kept.split("-") if part)
    return stem.encode()[:LONGEST_STEM].decode(errors="ignore").strip("-") or "layer"


def sheet_stems(job: Job) -> tuple[str, ...]:
    """Return the file name, without ending, of each layer's sheet: spray order, then name.

    >>> from sheetstack.geometry.job.load import parse_job
    >>> layer = '[[layers]]\\nname = "Deep shadow"\\ncolour = "#000000"\\nartwork = "a.svg"\\n'
    >>> sheet_stems(parse_job('title = "T"\\n[sheet]\\nwidth_mm = 90\\nheight_mm = 90\\n' + layer))
    ('01-deep-shadow',)
    """
    digits = max(2, len(str(len(job.layers))))
    return tuple(
        f"{number:0{digits}d}-{file_stem(layer.name)}" for number, layer in enumerate(job.layers, 1)
    )


def drawn_name(stem: str) -> str:
    """Return the name of a sheet's cut file with its edges as drawn, no kerf taken off.

    >>> drawn_name("01-shadow")
    '01-shadow-as-drawn.svg'
    """
    return f"{stem}-as-drawn.svg"


def cut_stem(stem: str, tile: str = "") -> str:
    """Return the name, without ending, of a cutter's file: kerf taken off, one piece.

    >>> cut_stem("01-shadow"), cut_stem("01-shadow", "B2")
    ('01-shadow-cut', '01-shadow-B2-cut')
    """
    return "-".join(part for part in (stem, tile, "cut") if part)


def print_stem(stem: str, tile: str = "") -> str:
    """Return the name, without ending, of a printer's file: one piece with all that is added.

    >>> print_stem("01-shadow", "B2")
    '01-shadow-B2-print'
    """
    return "-".join(part for part in (stem, tile, "print") if part)
