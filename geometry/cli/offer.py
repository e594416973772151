"""The command ``sheetstack offer JOB``: what is asked, for the client, as a page and a PDF."""

from __future__ import annotations

import argparse
import sys
from datetime import date
from pathlib import Path
from typing import Any

from PIL import Image, UnidentifiedImageError

from ..errors import PROGRAM, JobError, one_line
from ..files.a4_pdf import Paper, checked_font
from ..files.batch import output_batch
from ..job.load import load_job
from ..progress import Progress
from ..report.offer import offer_of, own_text
from ..report.offer_pages import offer_html, offer_pdf
from ..report.studio import load_studio
from .command import add_command, add_job, add_out, add_quiet, build_heard, out_folder, sized_job
from .meter import Meter


def add_offer_command(commands: Any) -> None:
    """Add the command to the program's subcommands."""
    parser = add_command(
        commands,
        "offer",
        _run,
        summary="an offer for the client, as a page and an A4 PDF",
        description=(
            "Write an offer: offer.html and offer.pdf for the client, with the picture on the "
            "wall, its true size beside a person, colours by can, what is done and not, the price, "
            "whose permission is needed and cautions; own.txt for yourself only, with cost, hours "
            "and cans to buy. Rates, mark-up, tax, contact, logo and cans stand in your own studio "
            "file: see 'sheetstack keys'. All files appear together at the end, or none."
        ),
        example="sheetstack offer leaf.toml --studio studio.toml --mockup render/on-yard.png\n"
        "sheetstack offer leaf.toml --studio studio.toml --option-width-mm 800",
    )
    add_job(parser)
    add_studio(parser)
    parser.add_argument(
        "--option",
        metavar="JOB",
        type=Path,
        action="append",
        default=[],
        help="another size or surface, shown beside the first; once for each",
    )
    parser.add_argument(
        "--option-width-mm",
        metavar="MM",
        type=float,
        action="append",
        default=[],
        help="the same job on sheets of this width, beside the first; once for each",
    )
    parser.add_argument(
        "--mockup",
        metavar="PICTURE",
        type=Path,
        action="append",
        default=[],
        help="picture of the wall, as 'sheetstack render' writes it; once for each",
    )
    parser.add_argument("--date", metavar="YYYY-MM-DD", help="day of the offer; today when absent")
    add_out(parser, "offer")
    add_quiet(parser, "no progress, no list")


def add_studio(parser: argparse.ArgumentParser) -> None:
    """Let a command take the artist's own files."""
    parser.add_argument("--studio", metavar="FILE", type=Path, help="your studio file (TOML)")
    parser.add_argument(
        "--cans", metavar="FILE", type=Path, help="your cans (CSV or TOML); else the studio file's"
    )


def _run(chosen: argparse.Namespace, meter: Meter) -> int:
    studio = load_studio(chosen.studio, chosen.cans)
    day = _day(chosen.date)
    mockups = [picture_bytes(path) for path in chosen.mockup]
    if studio.font is not None:
        checked_font(studio.font)
    logo = picture_bytes(studio.logo) if studio.logo is not None else None
    folder = out_folder(chosen, "offer")
    progress = Progress(meter)
    jobs = [sized_job(chosen, progress.part(0.0, 0.02)), *(load_job(p) for p in chosen.option)]
    for width in chosen.option_width_mm:
        same = argparse.Namespace(job=chosen.job, sheet_width_mm=width, sheet_height_mm=None)
        jobs.append(sized_job(same, progress))
    builds = []
    for number, job in enumerate(jobs):
        share = 0.8 / len(jobs)
        builds.append(
            build_heard(job, progress.part(0.02 + number * share, 0.02 + (number + 1) * share))
        )
    progress(0.85, "reckoning")
    offer = offer_of(builds, studio, day)
    with output_batch(folder, kind="offer", job=jobs[0].title) as batch:
        progress(0.9, "writing the offer")
        batch.path("offer.html").write_text(offer_html(offer, mockups, logo), encoding="utf-8")
        paper = offer_pdf(offer, mockups, logo)
        batch.path("offer.pdf").write_bytes(paper.pdf)
        own = own_text(offer)
        batch.path("own.txt").write_text(own, encoding="utf-8")
        names = batch.names
    meter.clear()
    if not chosen.quiet:
        print(own)
        print(f"{len(names)} files written to {one_line(str(folder))}: {', '.join(names)}")
    tell_not_shown(paper, "offer.pdf")
    return 0


def tell_not_shown(paper: Paper, name: str) -> None:
    """Say on standard error which words a PDF cannot show."""
    for words in paper.not_shown:
        print(
            f"{PROGRAM}{name} has no letters for '{one_line(words)}': name a font file that has "
            "them, [artist] font in the studio file.",
            file=sys.stderr,
        )


def _day(told: str | None) -> date:
    if told is None:
        return date.today()
    try:
        return date.fromisoformat(told)
    except ValueError:
        raise JobError(f"--date {told}: expected a day like 2031-05-17.") from None


def picture_bytes(path: Path) -> bytes:
    """Return the bytes of a picture file that Pillow can open.

    Raises
    ------
    JobError
        There is none, or it is no picture.
    """
    try:
        with Image.open(path, formats=("PNG", "JPEG", "TIFF")) as image:
            image.load()
        return path.read_bytes()
    except (UnidentifiedImageError, Image.DecompressionBombError):
        raise JobError(f"{path}: expected a PNG, JPEG or TIFF picture.") from None
    except OSError as error:
        raise JobError(f"{path}: the picture cannot be read: {error.strerror or error}.") from None
