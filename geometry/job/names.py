"""Names of the files that are written for a job."""

from __future__ import annotations

from .job import Job

PREVIEW = "preview.png"
STACK = "stack.png"
#: Only within the report: the picture with plain shortest bridges.
PLAIN = "plain-bridges.png"
REPORT_DATA = "report.json"
REPORT = "report.html"


def file_stem(name: str) -> str:
    """Return a layer's name as a plain file name.

    >>> file_stem("Mid-tone (base)")
    'mid-tone-base'
    """
    kept = "".join(c if c.isalnum() else "-" for c in name.lower())
    return "-".join(part for part in kept.split("-") if part) or "layer"


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
