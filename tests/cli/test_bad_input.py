"""Broken input: one sentence, exit code 2, no traceback, nothing written."""

from __future__ import annotations

import io
import os
import resource
import struct
import subprocess
import sys
import zlib
from collections.abc import Callable
from pathlib import Path

import pytest
from PIL import Image

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="60mm" viewBox="0 0 60 60">'
GOOD_SVG = f'{HEAD}<rect x="10" y="10" width="40" height="40"/></svg>'


def job_text(artwork: str, extra: str = "", sheet: str = "") -> str:
    return (
        'title = "Bad"\n[sheet]\nwidth_mm = 100\nheight_mm = 100\nmargin_mm = 10\n'
        f'{sheet}\n[[layers]]\nname = "Only"\ncolour = "#102030"\nartwork = "{artwork}"\n{extra}\n'
    )


def png(width: int, height: int) -> bytes:
    """A PNG that claims a size and has no pixels."""
    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    chunk = b"IHDR" + head
    return (
        b"\x89PNG\r\n\x1a\n"
        + struct.pack(">I", len(head))
        + chunk
        + struct.pack(">I", zlib.crc32(chunk))
    )


def real_png() -> bytes:
    stream = io.BytesIO()
    Image.effect_noise((64, 64), 80).save(stream, "PNG")
    return stream.getvalue()


ENTITIES = "".join(f'<!ENTITY e{k} "{f"&e{k - 1};" * 10}">' for k in range(1, 12))
BOMB = f'<!DOCTYPE svg [<!ENTITY e0 "boom">{ENTITIES}]>{HEAD}<desc>&e11;</desc></svg>'
OUTSIDE = f'<!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/hostname">]>{HEAD}<desc>&x;</desc></svg>'

#: Name: (artwork's file name, its content, lines added to the layer).
ARTWORKS: dict[str, tuple[str, bytes, str]] = {
    "svg empty": ("a.svg", b"", ""),
    "svg blank": ("a.svg", b"   \n", ""),
    "svg truncated": ("a.svg", GOOD_SVG[:-20].encode(), ""),
    "svg is a picture": ("a.svg", real_png(), ""),
    "svg is text": ("a.svg", b"hello there", ""),
    "svg is html": ("a.svg", b"<html><body>hi</body></html>", ""),
    "svg with null bytes": ("a.svg", GOOD_SVG.replace("rect", "re\0ct").encode(), ""),
    "svg in broken utf-8": (
        "a.svg",
        GOOD_SVG.replace("rect", "r\udcffct").encode("utf-8", "surrogateescape"),
        "",
    ),
    "svg entity bomb": ("a.svg", BOMB.encode(), ""),
    "svg outside entity": ("a.svg", OUTSIDE.encode(), ""),
    "svg zero page": ("a.svg", GOOD_SVG.replace('width="60mm"', 'width="0"').encode(), ""),
    "svg negative page": ("a.svg", GOOD_SVG.replace('width="60mm"', 'width="-6mm"').encode(), ""),
    "svg nan page": ("a.svg", GOOD_SVG.replace('width="60mm"', 'width="NaN"').encode(), ""),
    "svg huge numbers": ("a.svg", GOOD_SVG.replace('width="40"', 'width="1e300"').encode(), ""),
    "svg infinite number": ("a.svg", GOOD_SVG.replace('width="40"', 'width="1e999"').encode(), ""),
    "svg circular use": (
        "a.svg",
        f'{HEAD}<g id="a"><use href="#b"/></g><g id="b"><use href="#a"/></g></svg>'.encode(),
        "",
    ),
    "svg deep nesting": ("a.svg", (HEAD + "<g>" * 20000 + "</g>" * 20000 + "</svg>").encode(), ""),
    "svg nothing drawn": ("a.svg", f"{HEAD}</svg>".encode(), ""),
    "svg only text": ("a.svg", f'{HEAD}<text x="5" y="5">A</text></svg>'.encode(), ""),
    "svg no such group": ("a.svg", GOOD_SVG.encode(), 'group = "nowhere"'),
    "png empty": ("a.png", b"", "pixel_mm = 1"),
    "png truncated": ("a.png", real_png()[:900], "pixel_mm = 1"),
    "png is svg": ("a.png", GOOD_SVG.encode(), "pixel_mm = 1"),
    "png of zero size": ("a.png", png(0, 0), "pixel_mm = 1"),
    "png bomb": ("a.png", png(60000, 60000), "pixel_mm = 1"),
    "png without size": ("a.png", real_png(), ""),
    "jpg is png head": ("a.jpg", png(5, 5), "pixel_mm = 1"),
    "dxf empty": ("a.dxf", b"", ""),
    "dxf is svg": ("a.dxf", GOOD_SVG.encode(), ""),
    "dxf binary rubbish": ("a.dxf", bytes(range(256)) * 20, ""),
    "dxf truncated": ("a.dxf", b"0\nSECTION\n2\nENTITIES\n0\nLWPOLYLINE\n8\n0\n90\n4\n10\n1.0", ""),
    "unknown ending": ("a.pict", b"abc", ""),
    "no ending": ("art", b"abc", ""),
}

#: Name: the job file's whole content.
JOBS: dict[str, bytes] = {
    "job empty": b"",
    "job truncated": job_text("a.svg")[:70].encode(),
    "job binary": bytes(range(256)),
    "job wrong type": job_text("a.svg", sheet='thickness_mm = "thick"').encode(),
    "job unknown key": job_text("a.svg", sheet="depth_mm = 3").encode(),
    "job nan": job_text("a.svg", sheet="thickness_mm = nan").encode(),
    "job huge": job_text("a.svg", sheet="thickness_mm = 1e12").encode(),
    "job missing artwork": job_text("none.svg").encode(),
    "job artwork is a folder": job_text("folder.svg").encode(),
    "job no layers": b'title = "x"\n[sheet]\nwidth_mm = 100\nheight_mm = 100\n',
}


def run(job: Path, out: Path, before: Callable[[], None] | None = None):
    return subprocess.run(
        [sys.executable, "-m", "sheetstack.geometry.cli", "build", str(job), "--out", str(out)],
        capture_output=True,
        text=True,
        timeout=120,
        preexec_fn=before,
        check=False,
    )


def check_refused(done, out: Path) -> None:
    assert done.returncode == 2, done.stdout + done.stderr
    assert "Traceback" not in done.stderr
    told = done.stderr.strip()
    assert told.startswith("sheetstack: "), told
    assert "\n" not in told, told
    assert told.endswith("."), told
    assert len(told) < 600, told
    assert not out.exists()


@pytest.mark.parametrize("case", ARTWORKS)
def test_broken_artwork_is_refused_in_one_sentence(tmp_path, case):
    name, content, extra = ARTWORKS[case]
    (tmp_path / name).write_bytes(content)
    job = tmp_path / "job.toml"
    job.write_text(job_text(name, extra), encoding="utf-8")
    done = run(job, tmp_path / "out")
    check_refused(done, tmp_path / "out")
    assert name in done.stderr


@pytest.mark.parametrize("case", JOBS)
def test_broken_job_is_refused_in_one_sentence(tmp_path, case):
    (tmp_path / "a.svg").write_text(GOOD_SVG, encoding="utf-8")
    (tmp_path / "folder.svg").mkdir()
    job = tmp_path / "job.toml"
    job.write_bytes(JOBS[case])
    check_refused(run(job, tmp_path / "out"), tmp_path / "out")


@pytest.fixture
def good_job(tmp_path):
    (tmp_path / "a.svg").write_text(GOOD_SVG, encoding="utf-8")
    job = tmp_path / "job.toml"
    job.write_text(job_text("a.svg"), encoding="utf-8")
    return job


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_unreadable_artwork_is_refused(tmp_path, good_job):
    (tmp_path / "a.svg").chmod(0)
    check_refused(run(good_job, tmp_path / "out"), tmp_path / "out")


def test_a_file_where_the_folder_should_be_is_refused(tmp_path, good_job):
    (tmp_path / "out").write_text("mine", encoding="utf-8")
    done = run(good_job, tmp_path / "out")
    assert done.returncode == 2
    assert "found a file" in done.stderr
    assert (tmp_path / "out").read_text(encoding="utf-8") == "mine"


def test_a_folder_that_cannot_be_made_is_refused(tmp_path, good_job):
    done = run(good_job, Path("/proc/nowhere/out"))
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert "/proc/nowhere" in done.stderr


def test_a_full_disk_leaves_nothing(tmp_path, good_job):
    def small_files_only() -> None:
        # A limit on file size fails in write() as a full disk does.
        resource.setrlimit(resource.RLIMIT_FSIZE, (2000, 2000))
        import signal

        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)

    done = run(good_job, tmp_path / "out", small_files_only)
    check_refused(done, tmp_path / "out")


def test_a_full_disk_keeps_the_older_results(tmp_path, good_job):
    def small_files_only() -> None:
        import signal

        resource.setrlimit(resource.RLIMIT_FSIZE, (2000, 2000))
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)

    out = tmp_path / "out"
    assert run(good_job, out).returncode == 0
    before = {p.name: p.read_bytes() for p in out.iterdir()}
    assert run(good_job, out, small_files_only).returncode == 2
    assert {p.name: p.read_bytes() for p in out.iterdir()} == before
