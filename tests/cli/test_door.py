"""The door of the command line: standard streams, signals and errors that nobody foresaw."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys

import pytest

from sheetstack.geometry.cli import build as build_command
from sheetstack.geometry.cli.main import main

from .test_main import JOB, SVG

PROGRAM = f'"{sys.executable}" -m sheetstack.geometry.cli'
pytestmark = pytest.mark.skipif(os.name != "posix", reason="POSIX streams and signals")


@pytest.fixture
def job(tmp_path):
    (tmp_path / "art.svg").write_text(SVG, encoding="utf-8")
    path = tmp_path / "job.toml"
    path.write_text(JOB.replace('"Top"', '"Größe ✂"'), encoding="utf-8")
    return path


def shell(command, **environment):
    return subprocess.run(
        ["bash", "-c", command],
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        check=False,
    )


def test_a_reader_that_goes_early_is_no_error(job):
    ended = shell(f'{PROGRAM} check {job} | true; echo "${{PIPESTATUS[0]}}"')
    assert (ended.stdout, ended.stderr) == ("0\n", "")


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="needs /dev/full")
def test_a_full_standard_output_is_one_sentence(job):
    for words in (f"check {job}", "--help"):
        ended = shell(f"{PROGRAM} {words} > /dev/full")
        assert "standard output cannot be written: No space left on device" in ended.stderr
        assert ended.stderr.count("\n") == 1
        assert ended.returncode in (0, 2)
    assert shell(f"{PROGRAM} check {job} > /dev/full").returncode == 2


def test_closed_standard_streams_are_no_error_and_no_file_is_written_into(job, tmp_path):
    ended = shell(f"{PROGRAM} build {job} --out {tmp_path / 'out'} <&- >&- 2>&-")
    assert (ended.returncode, ended.stdout, ended.stderr) == (0, "", "")
    assert (tmp_path / "out" / "preview.png").read_bytes().startswith(b"\x89PNG")


def test_a_narrow_code_page_shows_what_it_lacks_by_number(job):
    ended = shell(f"{PROGRAM} check {job}", PYTHONIOENCODING="ascii", LC_ALL="C")
    assert ended.returncode == 0, ended.stderr
    assert r"Gr\xf6\xdfe \u2702" in ended.stdout


def test_what_nobody_foresaw_has_a_code_of_its_own_and_one_sentence(
    job, monkeypatch, capsys, tmp_path
):
    def broken(*_):
        raise RuntimeError("of a kind\nthat nobody foresaw")

    monkeypatch.setattr(build_command, "sized_job", broken)
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    assert main(["check", str(job)]) == 70
    told = capsys.readouterr().err
    assert told.count("\n") == 1
    assert "a fault of Sheetstack" in told
    assert "Please report it" in told
    (kept,) = tmp_path.glob("sheetstack-fault-*.txt")
    assert "nobody foresaw" in kept.read_text()
    # Where nothing can be kept, the sentence is told all the same.
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "none"))
    assert main(["check", str(job)]) == 70
    assert "Please report it and" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM", "SIGHUP"])
@pytest.mark.parametrize("module", ["numpy", "shapely", "sheetstack.geometry.cli.parser"])
def test_a_signal_while_modules_are_loaded_ends_without_a_traceback(job, module, name):
    number = getattr(signal, name)
    program = f"""
import os, signal, sys
signal.signal({int(number)}, signal.SIG_DFL)  # tests may run where it is ignored, as by nohup
class Signalling:
    def find_spec(self, name, path, target=None):
        if name == {module!r}:
            os.kill(os.getpid(), {int(number)})
sys.meta_path.insert(0, Signalling())
from sheetstack.geometry.cli.main import run
run(["check", {str(job)!r}])
"""
    ended = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=False
    )
    assert ended.returncode == 128 + number
    assert ended.stderr == "sheetstack: stopped; nothing was written.\n"


def test_being_ended_while_working_leaves_nothing(job, tmp_path):
    before = sorted(tmp_path.iterdir())
    program = f"""
import os, signal, sys
from sheetstack.geometry.cli import build
real = build.sized_job
def load(*given):
    os.kill(os.getpid(), signal.SIGTERM)
    return real(*given)
build.sized_job = load
from sheetstack.geometry.cli.main import run
run(["build", {str(job)!r}])
"""
    ended = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=False
    )
    assert ended.returncode == 143
    assert ended.stderr == "sheetstack: stopped; nothing was written.\n"
    assert sorted(tmp_path.iterdir()) == before


@pytest.mark.parametrize("name", ["a\nb\u202e\x1b[31m.toml", "x" * 5000, "ü" * 200 + ".toml"])
def test_odd_names_are_told_on_one_printable_line(name, capsys):
    assert main(["check", name]) == 2
    told = capsys.readouterr().err
    assert told.endswith("\n")
    assert told[:-1].isprintable()
    assert len(told) <= 320


def test_the_folder_of_results_is_told_on_one_printable_line(job, tmp_path, capsys):
    assert main(["build", str(job), "--out", str(tmp_path / "a\nb\u202ec")]) == 0
    last = capsys.readouterr().out.splitlines()[-1]
    assert last.isprintable()
    assert "files written to" in last
    assert "a\\nb\\u202ec" in last


@pytest.mark.parametrize("size", ["9" * 5000 + "x1", "²x²", "1280", "-5x20", "0x0"])
def test_an_odd_picture_size_is_one_sentence(size, capsys):
    assert main(["render", "job.toml", f"--size={size}"]) == 2
    assert "expected" in capsys.readouterr().err


def test_a_home_folder_that_cannot_be_looked_into_is_no_error(job, tmp_path):
    # A name too long for a file system fails like a folder that may not be read, for root as well.
    home = f"/{'a' * 300}"
    ended = shell(f"{PROGRAM} export {job} --format dxf --out {tmp_path / 'out'}", HOME=home)
    assert (ended.returncode, ended.stderr) == (0, "")
    drawing = tmp_path / "out" / "01-base-cut.dxf"
    words = f'artwork = "{drawing.name}"\ngroup = "CUT"'
    job.write_text(JOB.replace('artwork = "art.svg"\ngroup = "base"', words), encoding="utf-8")
    shutil.copy(drawing, tmp_path)
    assert shell(f"{PROGRAM} check {job}", HOME=home).stderr == ""


def test_nothing_is_written_into_the_home_folder_or_said_where_there_is_none(job, tmp_path):
    # A folder below a file can be made by nobody, not even by root.
    for number, home in enumerate((tmp_path / "home", job / "home")):
        around = {"HOME": str(home), "XDG_CACHE_HOME": ""}
        out = tmp_path / str(number)
        ended = shell(f"{PROGRAM} export {job} -q --format dxf --out {out}", **around)
        assert (ended.returncode, ended.stdout, ended.stderr) == (0, "", "")
        assert (out / "01-base-cut.dxf").is_file()
        assert not home.exists()


def test_no_temporary_folder_is_no_error_of_drawings(job, tmp_path):
    program = f"""
import tempfile
def none(*given, **more):
    raise FileNotFoundError("no usable temporary folder")
tempfile.mkdtemp = none
from sheetstack.geometry.cli.main import main
raise SystemExit(main(["export", {str(job)!r}, "-q", "--format", "dxf"]))
"""
    around = {**os.environ, "HOME": str(job / "home"), "XDG_CACHE_HOME": ""}
    ended = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=False, env=around
    )
    assert (ended.returncode, ended.stderr) == (0, "")


def test_a_temporary_list_that_is_not_removed_at_once_is_no_error(tmp_path):
    program = f"""
import errno, os, tempfile
tempfile.tempdir = {str(tmp_path)!r}
unlink, refused = os.unlink, []
def once(path, **more):
    if not refused:
        refused.append(path)
        raise OSError(errno.EDQUOT, "Disk quota exceeded", str(path))
    unlink(path, **more)
os.unlink = once
from sheetstack.geometry.ezdxf_library import ezdxf
print(len(refused), os.listdir({str(tmp_path)!r}))
"""
    ended = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=False
    )
    assert (ended.returncode, ended.stdout, ended.stderr) == (0, "1 []\n", "")


def test_the_same_job_gives_the_same_bytes_whatever_the_surroundings(job, tmp_path):
    outs = []
    for seed, place, language in (("1", "UTC", "C"), ("4242", "Asia/Kathmandu", "C.UTF-8")):
        out = tmp_path / seed
        around = {"PYTHONHASHSEED": seed, "TZ": place, "LC_ALL": language}
        for words in (f"build {job} -q --out {out}/b", f"proof {job} -q --out {out}/p"):
            ended = shell(f"{PROGRAM} {words}", **around)
            assert (ended.returncode, ended.stderr) == (0, "")
        formats = "svg,dxf,pdf,stl,3mf"
        ended = shell(
            f"{PROGRAM} export {job} -q --nest --format {formats} --out {out}/e", **around
        )
        assert (ended.returncode, ended.stderr) == (0, "")
        files = sorted(p for p in out.rglob("*") if p.is_file())
        outs.append({p.relative_to(out).as_posix(): p.read_bytes() for p in files})
    assert outs[0].keys() == outs[1].keys()
    assert [name for name in outs[0] if outs[0][name] != outs[1][name]] == []
    assert len(outs[0]) > 25


def test_linear_algebra_has_no_threads_of_its_own_unless_asked_for():
    program = (
        "import os, sys; from sheetstack.geometry.cli.main import main\n"
        "early = 'numpy' in sys.modules\n"
        "try: main(['--version'])\n"
        "except SystemExit: print(early, os.environ['OPENBLAS_NUM_THREADS'])"
    )
    for asked, threads in ((None, "1"), ("3", "3")):
        environment = {k: v for k, v in os.environ.items() if k != "OPENBLAS_NUM_THREADS"}
        if asked is not None:
            environment["OPENBLAS_NUM_THREADS"] = asked
        run = subprocess.run(
            [sys.executable, "-c", program], env=environment, capture_output=True, text=True
        )
        assert run.stdout.splitlines()[-1] == f"False {threads}", run.stderr


#: A build that is silent for ten minutes, also in threads that Python would wait for at its end.
SILENT = """
import os, sys, time
from concurrent.futures import ThreadPoolExecutor
from sheetstack.geometry.cli import command, main

def build(job, progress):
    pool = ThreadPoolExecutor(2)
    slow = [pool.submit(time.sleep, 600) for _ in range(9)]
    os.write(1, b"up")
    return slow[0].result()

command.build = build
main.run()
"""


@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM"])
def test_a_silent_build_is_left_at_the_first_signal_with_all_its_threads(job, tmp_path, name):
    out = tmp_path / "out"
    words = [sys.executable, "-c", SILENT, "export", str(job), "--out", str(out)]
    program = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    assert program.stdout.read(2) == b"up"
    program.send_signal(getattr(signal, name))
    # A hang ends the test; how long it takes is measured by hand.
    _, told = program.communicate(timeout=120)
    assert program.returncode == 128 + getattr(signal, name)
    assert told == b"sheetstack: stopped; nothing was written.\n"
    assert not out.exists()


def test_a_signal_while_results_are_told_says_that_the_work_was_done(job, tmp_path):
    # A reader that does not read holds the program up once the pipe is full.
    out = tmp_path / "out"
    full = "main._deliver = lambda text: os.write(1, b'up') and time.sleep(600)\nmain.run()"
    words = [
        sys.executable,
        "-c",
        f"import os, time\nfrom sheetstack.geometry.cli import main\n{full}",
    ]
    program = subprocess.Popen(
        [*words, "build", str(job), "--out", str(out)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert program.stdout.read(2) == b"up"
    program.send_signal(signal.SIGINT)
    _, told = program.communicate(timeout=120)
    assert program.returncode == 128 + signal.SIGINT
    assert told == b"sheetstack: stopped; the work was done.\n"
    assert (out / "report.json").exists()
