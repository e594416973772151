"""Faults of the machine at random moments: afterwards all is as it was, or all is new.

Run on demand, as root (it mounts small disks and works as another user), with strace:
``python tests/bench/fault_moments.py --times 200 --seed 1 --out rows.jsonl``. In each trial a
folder holds the whole result of one job. The job's drawing is replaced by another, the command runs
again, and something happens to it at a random moment. Then a later run opens the folder, as any
later run does, and all that lies there, beside it and in the temporary folder is compared with the
old and the new result, byte by byte. One line of JSON a trial; exit code 1 where one failed.

| fault | what happens |
|---|---|
| kill, term, hup, interrupt | a signal, at a random time or at a random change of the file system |
| error | the system refuses one call that changes files: no space, no quota, input/output error |
| disk | the results lie on a disk of a random size |
| two | two builds, of two drawings, into one folder |
| artwork | the drawing is written over, in pieces, while it is being read |
| user | a user who is not root: folders that may not be written, no temporary folder, no home |
| odd | names with spaces, line breaks, 255 bytes; closed streams; the C locale |

A trial fails where the state is neither old nor new, where it is not the one that the exit code
tells, where something is left beside, or where what is said is not one sentence.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import json
import os
import random
import re
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import product

State = dict[str, str]
SIGNALS = {
    "kill": signal.SIGKILL,
    "term": signal.SIGTERM,
    "hup": signal.SIGHUP,
    "interrupt": signal.SIGINT,
}
#: Calls that change the file system, by the names that strace knows.
CALLS = ("rename", "link", "unlink", "mkdir", "rmdir", "fsync")
ERRORS = ("ENOSPC", "EDQUOT", "EIO")
NOBODY = 65534
#: Longer than any run takes, in seconds.
PATIENCE = 240.0
HEAD = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 60 60">'
OLD_DRAWING = (
    f'{HEAD}<g id="a"><path fill-rule="evenodd" d="M5 5h30v30h-30zM12 12h9v9h-9z"/></g>'
    '<g id="b"><circle cx="45" cy="45" r="9"/></g></svg>'
)
NEW_DRAWING = OLD_DRAWING.replace("M12 12h9v9h-9z", "M14 15h9v9h-9z").replace('r="9"', 'r="11"')
JOB = """\
title = "Fault"
[sheet]
width_mm = 80
height_mm = 80
material = "card"
thickness_mm = 0.4
[[layers]]
name = "One"
colour = "#304050"
artwork = "drawing.svg"
group = "a"
[[layers]]
name = "{second}"
colour = "#a04050"
artwork = "drawing.svg"
group = "b"
"""
COMMANDS = {"build": [], "export": ["--format", "svg,dxf,stl", "--nest"], "proof": []}


@dataclass
class Trial:
    """One trial: where it is, which command runs there, and how long it takes undisturbed.

    Parameters
    ----------
    folder : Path
        The trial's own; nothing is to be left beside its job, its drawing and ``out``.
    name : str
        Of the command.
    seconds : float
    rng : random.Random
    calls : Counter
        How often it changes the file system, undisturbed, by names of calls.
    """

    folder: Path
    name: str
    seconds: float
    rng: random.Random
    calls: Counter[str] = field(default_factory=Counter)
    out: Path = field(init=False)
    job: Path = field(init=False)
    #: What is put before the command: strace, another user.
    before: list[str] = field(default_factory=list)
    environment: dict[str, str] = field(default_factory=dict)
    more: dict[str, Any] = field(default_factory=dict)
    #: A Python that another user may run.
    open_python: str = sys.executable
    how: str = ""

    def __post_init__(self) -> None:
        self.out, self.job = self.folder / "out", self.folder / "job.toml"
        self.temporary = self.folder.with_name(self.folder.name[:100] + "-tmp")
        self.temporary.mkdir(exist_ok=True)

    def start(self) -> subprocess.Popen[str]:
        """Start the command."""
        python = self.open_python if "user" in self.more else product.COMMAND[0]
        words = [python, *product.COMMAND[1:], self.name, str(self.job), *COMMANDS[self.name]]
        around = {**os.environ, "TMPDIR": str(self.temporary), "PYTHONDONTWRITEBYTECODE": "1"}
        around |= self.environment
        return subprocess.Popen(
            [*self.before, *words, "--quiet", "--out", str(self.out)],
            env=around,
            text=True,
            errors="backslashreplace",
            start_new_session=True,
            **{
                "stdout": subprocess.DEVNULL,
                "stderr": subprocess.PIPE,
                "stdin": subprocess.DEVNULL,
                **self.more,
            },
        )

    def moment(self) -> float:
        """Return seconds from the start: half of them where files are written, at the end."""
        early = self.rng.random() < 0.5
        return self.seconds * (self.rng.uniform(0, 1.05) if early else self.rng.uniform(0.7, 1.05))


@dataclass(frozen=True)
class Ended:
    """How a command ended: exit code (negative: killed), and what it said."""

    code: int
    said: str


def ended(process: subprocess.Popen[str]) -> Ended:
    """Wait for a command."""
    _, said = process.communicate(timeout=PATIENCE)
    return Ended(process.returncode, said or "")


def by_signal(trial: Trial, kind: str) -> Ended:
    """Send a signal at a random time or, by strace, at a random change of files."""
    if trial.rng.random() < 0.5:
        call, at = _some_call(trial)
        trial.how = f"{call} {at}"
        name = SIGNALS[kind].name.removeprefix("SIG")
        return _injected(trial, f"{_both(call)}:signal={name}:when={at}", call)
    wait = trial.moment()
    trial.how = f"after {wait:.2f} s"
    process = trial.start()
    time.sleep(wait)
    if process.poll() is None:
        process.send_signal(SIGNALS[kind])
    return ended(process)


def by_error(trial: Trial, kind: str) -> Ended:
    """Let the system refuse one or all further calls of a kind."""
    call, at = _some_call(trial)
    every = trial.rng.choice(["", "+"])
    trial.how = f"{call} {at}{every} {(error := trial.rng.choice(ERRORS))}"
    return _injected(trial, f"{_both(call)}:error={error}:when={at}{every}", call)


def _some_call(trial: Trial) -> tuple[str, int]:
    """Return one of the calls by which the command changes the file system."""
    calls = sorted(trial.calls.elements())
    call = trial.rng.choice(calls)
    return call, trial.rng.randint(1, trial.calls[call])


def _both(call: str) -> str:
    """Return both forms of a system call: the plain one and the one relative to a folder."""
    others = {"rename": "rename,renameat,renameat2", "link": "link,linkat"}
    others |= {"unlink": "unlink,unlinkat", "mkdir": "mkdir,mkdirat"}
    return others.get(call, call)


def _injected(trial: Trial, inject: str, call: str) -> Ended:
    log = trial.temporary / "calls"
    trial.before = [*_TRACED, "-o", str(log), "-e", f"trace={_both(call)}"]
    trial.before += ["-e", f"inject={inject}"]
    end = ended(trial.start())
    trial.how += (
        "" if re.search(r"\(INJECTED|SIG[A-Z]+ \{|killed by", log.read_text()) else " missed"
    )
    log.unlink()
    return end


#: Not with --seccomp-bpf: strace 6.1 then tells of no signal that it was asked to send.
_TRACED = ("strace", "-qq", "-f")


def calls_of(trial: Trial) -> Counter[str]:
    """Run a trial undisturbed and count its calls that change the file system."""
    log = trial.temporary / "calls"
    trace = ",".join(map(_both, CALLS))
    trial.before = [*_TRACED, "-o", str(log), "-e", f"trace={trace}", "-e", "signal=none"]
    ended(trial.start())
    names = [line.split("(")[0].split()[-1] for line in log.read_text().splitlines()]
    log.unlink()
    return Counter(call for call in CALLS for name in names if name in _both(call).split(","))


def by_disk(trial: Trial, kind: str) -> Ended:
    """Let the results lie on a disk that has little room left."""
    taken = sum(p.stat().st_size for p in trial.out.rglob("*") if p.is_file())
    room = int(taken * trial.rng.uniform(0.0, 1.3)) + 4096
    trial.how = f"{taken} bytes there, {room} left"
    with _mounted(trial.out, taken + room):
        return ended(trial.start())


@contextlib.contextmanager
def _mounted(folder: Path, size: int) -> Iterator[None]:
    """Let a folder be a disk of its own while the block runs; what is in it goes there and back."""
    aside = folder.with_name("aside")
    shutil.copytree(folder, aside)
    subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={size + 65536}", "none", str(folder)], check=True
    )
    try:
        shutil.copytree(aside, folder, dirs_exist_ok=True)
        yield
    finally:
        shutil.rmtree(aside)
        shutil.copytree(folder, aside)
        subprocess.run(["umount", str(folder)], check=True)
        shutil.rmtree(folder)
        aside.rename(folder)


def by_two(trial: Trial, kind: str) -> Ended:
    """Run the same command twice at once, from two drawings, into one folder."""
    wait = trial.rng.uniform(0, trial.seconds)
    trial.how = f"second after {wait:.2f} s"
    first = trial.start()
    other = trial.folder.with_name(trial.folder.name + "-other")
    shutil.copytree(trial.folder, other, ignore=shutil.ignore_patterns("out"))
    write_job(other, NEW_DRAWING if trial.rng.random() < 0.5 else OLD_DRAWING, "Three")
    time.sleep(wait)
    job, trial.job = trial.job, other / "job.toml"
    second = trial.start()
    trial.job = job
    ends = [ended(first), ended(second)]
    shutil.rmtree(other)
    # Each by itself must have ended well or with a sentence.
    return max(ends, key=lambda end: (end.code not in (0, 1), end.code))


def by_artwork(trial: Trial, kind: str) -> Ended:
    """Write the drawing over, as an editor does that writes in place, while it may be read."""
    write_job(trial.folder, OLD_DRAWING, "Three")
    # Where the process has just begun to read: most of its time goes to loading.
    wait = trial.seconds * trial.rng.uniform(0.3, 0.9)
    trial.how = f"after {wait:.2f} s"
    process = trial.start()
    time.sleep(wait)
    at = trial.rng.randrange(len(NEW_DRAWING))
    with (trial.folder / "drawing.svg").open("w") as file:
        file.write(NEW_DRAWING[:at])
        file.flush()
        time.sleep(trial.rng.uniform(0, 0.3))
        file.write(NEW_DRAWING[at:])
    return ended(process)


def by_user(trial: Trial, kind: str) -> Ended:
    """Run as a user who is not root and may not write somewhere."""
    what = trial.rng.choice(["out", "parent", "file", "temporary", "home", "drawing", "list"])
    trial.how = what
    for path in (trial.folder, *trial.folder.rglob("*"), trial.temporary):
        os.chown(path, NOBODY, NOBODY)
    if what == "out":
        trial.out.chmod(0o555)
    elif what == "parent":
        shutil.rmtree(trial.out)
        trial.folder.chmod(0o555)
    elif what == "file":
        trial.rng.choice([p for p in trial.out.iterdir() if p.is_file()]).chmod(0o444)
    elif what == "temporary":
        trial.temporary.chmod(0o555)
    elif what == "home":
        trial.environment["HOME"] = trial.rng.choice(["/nonexistent", "/root"])
    elif what == "drawing":
        (trial.folder / "drawing.svg").chmod(0)
    else:
        (trial.out / product.LIST).chmod(0)
    trial.more = {"user": NOBODY, "group": NOBODY, "extra_groups": []}
    trial.environment["PYTHONPATH"] = os.pathsep.join(filter(None, sys.path[1:]))
    trial.environment.setdefault("HOME", "/nonexistent")
    return ended(trial.start())


def by_odd(trial: Trial, kind: str) -> Ended:
    """Run with odd names, closed streams, a narrow locale."""
    what = trial.rng.choice(["closed", "locale", "job", "closed", "out"])
    trial.how = what
    if what == "closed":
        closed = trial.rng.choice(["<&-", ">&-", "2>&-", "<&- >&-", "<&- >&- 2>&-"])
        trial.how = closed
        trial.before = ["bash", "-c", f'exec "$@" {closed}', "bash"]
    elif what == "locale":
        trial.environment = {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
    elif what == "job":
        name = trial.rng.choice(
            [" a b.toml", "a\nb.toml", "x" * 250 + ".toml", "ü" * 125 + ".toml"]
        )
        trial.job = trial.job.rename(trial.folder / name)
    else:
        name = trial.rng.choice(["a b", "a\nb", "x" * 255, "ü" * 127])
        trial.out = trial.out.rename(trial.folder / name)
        if trial.rng.random() < 0.5:
            trial.environment = {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
    return ended(trial.start())


FAULTS: dict[str, tuple[Callable[[Trial, str], Ended], int]] = {
    **{kind: (by_signal, 14) for kind in SIGNALS},
    "error": (by_error, 14),
    "disk": (by_disk, 8),
    "two": (by_two, 8),
    "artwork": (by_artwork, 8),
    "user": (by_user, 8),
    "odd": (by_odd, 8),
}


def write_job(folder: Path, drawing: str, second: str) -> None:
    """Write job and drawing."""
    (folder / "drawing.svg").write_text(drawing)
    (folder / "job.toml").write_text(JOB.format(second=second))


def state_of(folder: Path) -> State:
    """Return digests of all files below a folder; folders are named, too."""
    found = {}
    for path in folder.rglob("*"):
        inner = path.relative_to(folder).as_posix()
        found[inner] = hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else "folder"
    return found


@dataclass(frozen=True)
class Whole:
    """What a command makes of the old and the new job, and how long it takes."""

    old: Path
    #: States that may be found afterwards: of the old job, and of jobs that may have been built.
    was: State
    new: State
    others: tuple[State, ...]
    seconds: float
    calls: Counter[str]


def wholes(top: Path, commands: list[str]) -> dict[str, Whole]:
    """Make the results of each command, undisturbed."""
    found = {}
    for name in commands:
        states = []
        for number, (drawing, second) in enumerate(
            [(OLD_DRAWING, "Two"), (NEW_DRAWING, "Three"), (OLD_DRAWING, "Three")]
        ):
            folder = top / f"{name}-{number}"
            folder.mkdir(parents=True)
            write_job(folder, drawing, second)
            started = time.monotonic()
            end = ended(Trial(folder, name, 0.0, random.Random(0)).start())
            seconds = time.monotonic() - started
            if end.code not in (0, 1):
                raise RuntimeError(f"{name}: {end}")
            states.append(state_of(folder / "out"))
        old = top / f"{name}-0" / "out"
        again = top / f"{name}-again"
        again.mkdir()
        write_job(again, NEW_DRAWING, "Three")
        shutil.copytree(old, again / "out")
        calls = calls_of(Trial(again, name, 0.0, random.Random(0)))
        found[name] = Whole(old, states[0], states[1], (states[2],), seconds, calls)
    return found


def trial_row(
    seed: int, number: int, whole: dict[str, Whole], top: Path, open_python: str
) -> dict[str, Any]:
    """Make one trial; return its row."""
    rng = random.Random(f"{seed}/{number}")
    kind = rng.choices(list(FAULTS), [often for _, often in FAULTS.values()])[0]
    name = rng.choice(list(whole))
    here = top / f"trial-{number}"
    here.mkdir()
    folder = here / "work"
    folder.mkdir()
    write_job(folder, NEW_DRAWING, "Three")
    shutil.copytree(whole[name].old, folder / "out")
    of = whole[name]
    trial = Trial(folder, name, of.seconds, rng, of.calls, open_python=open_python)
    try:
        end = FAULTS[kind][0](trial, kind)
    except subprocess.TimeoutExpired:
        end = Ended(0, "does not end")
    for path in (here, *here.rglob("*")):
        if not path.is_symlink():
            path.chmod(0o755 if path.is_dir() else 0o644)
    faults = list(_said_wrong(end))
    begun = trial.out.is_dir() and not _known(state_of(trial.out), whole[name])
    if trial.out.is_dir():
        product.open_folder(trial.out)
    faults += _state_wrong(trial, kind, whole[name], end)
    faults += [f"left beside: {p.name}" for p in trial.temporary.iterdir() if p.is_file()]
    beside = {p.name for p in folder.iterdir()} - {trial.out.name, trial.job.name, "drawing.svg"}
    faults += [f"left beside: {name}" for name in beside]
    shutil.rmtree(here)
    row = {"seed": seed, "number": number, "fault": kind, "how": trial.how, "command": name}
    return row | {"exit": end.code, "said": end.said[:400], "ended later": begun, "faults": faults}


def _known(state: State, whole: Whole) -> bool:
    return state in (whole.was, whole.new, *whole.others)


def _said_wrong(end: Ended) -> Iterator[str]:
    lines = end.said.strip().splitlines()
    if len(lines) > 1 or "Traceback" in end.said or "a fault of Sheetstack" in end.said:
        yield f"said: {end.said[-300:]}"
    verdicts = (product.CLEAN, product.SPOILT, product.UNUSABLE)
    if end.code not in verdicts and not (end.code < 0 or end.code > 128):
        yield f"exit {end.code}"


def _state_wrong(trial: Trial, kind: str, whole: Whole, end: Ended) -> Iterator[str]:
    state = state_of(trial.out) if trial.out.is_dir() else {}
    news = (whole.new, *whole.others) if kind in ("two", "artwork") else (whole.new,)
    if not trial.out.is_dir() and trial.how == "parent":
        return
    if state != whole.was and state not in news:
        differing = sorted(n for n in {*state, *whole.was} if state.get(n) != whole.was.get(n))
        yield f"neither old nor new: {', '.join(differing[:12])}"
    elif end.code in (product.CLEAN, product.SPOILT) and state == whole.was:
        yield "told as done, but old"
    elif kind != "two" and state != whole.was and _tells_nothing_written(end):
        yield "told as not written, but new"


def _tells_nothing_written(end: Ended) -> bool:
    if "the next run into this folder ends it" in end.said:
        return False
    return end.code == product.UNUSABLE or "nothing was written" in end.said


def main() -> int:
    """Make all trials."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--times", type=int, default=200)
    parser.add_argument("--first", type=int, default=0, help="number of the first trial")
    parser.add_argument("--commands", default=",".join(COMMANDS))
    parser.add_argument("--only", type=int, help="only the trial of this number")
    parser.add_argument("--out", type=Path, help="JSON lines; appended to")
    parser.add_argument(
        "--open-python",
        default=sys.executable,
        help="a Python that any user may run, where this one lies in a folder of root's",
    )
    chosen = parser.parse_args()
    if os.geteuid() != 0:
        parser.error("needs root: it mounts small disks and works as another user")
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    rows = []
    with tempfile.TemporaryDirectory(prefix="faults-") as name:
        top = Path(name)
        top.chmod(0o755)  # another user works in it, too
        whole = wholes(top / "whole", chosen.commands.split(","))
        for each, of in whole.items():
            print(f"{each}: {of.seconds:.1f} s, {dict(of.calls)}", flush=True)
        wanted = range(chosen.first, chosen.first + chosen.times)
        for number in [chosen.only] if chosen.only is not None else wanted:
            row = trial_row(chosen.seed, number, whole, top, chosen.open_python)
            rows.append(row)
            if chosen.out is not None:
                with chosen.out.open("a") as file:
                    file.write(json.dumps(row) + "\n")
            if row["faults"] or chosen.only is not None:
                print(json.dumps(row), flush=True)
    counts = Counter(row["fault"] for row in rows)
    bad = Counter(row["fault"] for row in rows if row["faults"])
    for kind, count in sorted(counts.items()):
        mine = [row for row in rows if row["fault"] == kind]
        ends = Counter(row["exit"] for row in mine)
        later = sum(row["ended later"] for row in mine)
        print(f"{kind:10} {count:4} trials, {bad[kind]:3} failed, exits {dict(ends)}, ", end="")
        print(f"{later} ended by the later run")
    print(f"{len(rows)} trials, {sum(bad.values())} failed")
    return int(bool(bad))


if __name__ == "__main__":
    sys.exit(main())
