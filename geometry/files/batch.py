"""A batch of files that appear together in a folder, whatever ends the program on the way.

Files are written into a hidden staging folder first. When all are there, a journal in it says what
will be moved and what removed; from then on the new state counts. A program that is killed before
leaves the old files, and one that is killed while it moves leaves the journal, by which the next
run ends the work before it begins its own. What earlier runs of the same kind wrote and this one
does not is removed in the same step; the folder's list (``written_list``) tells what that is.
"""

from __future__ import annotations

import json
import os
import secrets
import shutil
import signal
import threading
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path, PurePath
from types import FrameType
from typing import Any

from ..errors import WriteError
from .atomic import atomic, reason, refuse_if_not_replaceable
from .folder_lock import alone_in, hold, let_go
from .written_list import LIST, Written, is_as_written, list_text, read_list, sha256_of

_STAGING, _END = ".sheetstack-", ".part"
_JOURNAL = ".journal.json"
_MOVED, _REMOVED = "moved", "removed"
#: Signals that ask a program to stop, where the system has them.
_STOPPING = ("SIGINT", "SIGTERM", "SIGHUP")
#: Files that are forced to the disk at the same time.
_AT_ONCE = 8


class Batch:
    """Files that are to appear together; made by :func:`output_batch`."""

    def __init__(self, folder: Path, staging: Path, kind: str, job: str) -> None:
        self.folder = folder
        self.staging = staging
        self._kind = kind
        self._job = job
        self._names: list[PurePath] = []
        # Kept beside: a wall of tiles has thousands of names, and each is compared with all.
        self._lower: set[str] = set()
        self._listed: dict[str, Written] | None = None
        self._checked: set[str] = set()
        self._kept: set[str] = set()

    @property
    def names(self) -> tuple[str, ...]:
        """Names asked for so far, relative to the folder, in that order."""
        return tuple(name.as_posix() for name in self._names)

    def path(self, name: str, *, checked: bool = False) -> Path:
        """Return where the file ``name`` is to be written for now.

        Parameters
        ----------
        name : str
            Name in the output folder; may contain sub-folders, never ``..``.
        checked : bool
            The caller has made sure that a file of this name holds nothing of the user's.

        Raises
        ------
        WriteError
            The name leads out of the folder or was asked for before; or a file of this name is
            there that we did not write, or that was changed since.
        """
        pure = PurePath(name)
        if pure.is_absolute() or ".." in pure.parts or not pure.parts:
            raise WriteError(f"{name!r}: expected a name inside the output folder {self.folder}.")
        # Compared without case: on Windows and macOS 'A.stl' and 'a.stl' are one file.
        if pure.as_posix().lower() in self._lower:
            raise WriteError(f"{self.folder / pure}: two outputs would have this same name.")
        if checked:
            self._checked.add(pure.as_posix())
        # Asked before the work of writing begins, and once more before it is moved.
        if self._listed is None:
            self._listed = read_list(self.folder)
        try:
            self._refuse_in_the_way(pure.as_posix(), self._listed)
        except WriteError:
            # Another run may have ended since, or be moving its files now, and its list comes last.
            with alone_in(self.folder):
                self._listed = read_list(self.folder)
                self._refuse_in_the_way(pure.as_posix(), self._listed)
        staged = self.staging / pure
        staged.parent.mkdir(parents=True, exist_ok=True)
        self._names.append(pure)
        self._lower.add(pure.as_posix().lower())
        return staged

    def keep(self, name: str) -> None:
        """Let a file of an earlier run stay, although this one does not write it."""
        self._kept.add(PurePath(name).as_posix())

    def _refuse_in_the_way(self, name: str, listed: dict[str, Written]) -> None:
        target = self.folder / name
        refuse_if_not_replaceable(target, target)
        there = target.exists() or target.is_symlink()
        if there and name not in self._checked and not is_as_written(target, listed.get(name)):
            what = "changed since it was written" if name in listed else "not written by Sheetstack"
            raise WriteError(
                f"{target}: is in the way and was {what}; move it, or choose another folder."
            )

    def _stale(self, listed: dict[str, Written]) -> list[str]:
        """Return what earlier runs of this kind wrote and this one does not."""
        stays = {*self.names, *self._kept}
        stale = [n for n, entry in listed.items() if entry.kind == self._kind and n not in stays]
        stale = [name for name in stale if (self.folder / name).exists()]
        for name in stale:
            # It would lie among the new files and be taken for one of them.
            if not is_as_written(self.folder / name, listed[name]):
                raise WriteError(
                    f"{self.folder / name}: belongs to what was written here before and was "
                    "changed since; move it, or choose another folder."
                )
        return stale

    def _commit(self) -> None:
        """Put every file in its place; on a failure put everything back as it was."""
        listed = read_list(self.folder)
        for name in self.names:
            staged = self.staging / name
            if not staged.is_file():
                raise WriteError(f"{self.folder / name}: was announced but never written.")
            self._refuse_in_the_way(name, listed)
        # A disk that is asked for many files at once forces them out together.
        with ThreadPoolExecutor(_AT_ONCE) as pool:
            digests = list(pool.map(_forced_out, (self.staging / name for name in self.names)))
        stale = self._stale(listed)
        files = {name: entry for name, entry in listed.items() if name not in stale}
        for name, digest in zip(self.names, digests, strict=True):
            files[name] = Written(self._kind, self._job, digest)
        with atomic(self.staging / LIST, "w") as file:
            file.write(list_text(files))
        names = [*self.names, LIST]
        made: list[Path] = []
        moved: list[str] = []
        aside = self.staging / f".before-{secrets.token_hex(6)}"
        with ExitStack() as undoing:
            undoing.callback(self._undo, aside, moved, stale, made)
            for name in names:
                made += make_folders((self.folder / name).parent)
            with atomic(self.staging / _JOURNAL, "w") as file:
                json.dump({_MOVED: names, _REMOVED: stale}, file)
            for name in names:
                _set_aside(self.folder / name, aside / name)
                moved.append(name)
                os.replace(self.staging / name, self.folder / name)
            for name in stale:
                _set_aside(self.folder / name, aside / name)
                (self.folder / name).unlink()
            undoing.pop_all()
        remove_empty(_folders_of(self.folder, stale))

    def _undo(
        self, aside: Path, moved: Sequence[str], stale: Sequence[str], made: Sequence[Path]
    ) -> None:
        """Put back what a commit has moved so far, whatever has ended it."""
        for name in [*moved, *stale]:
            target, staged, before = self.folder / name, self.staging / name, aside / name
            # Each is at every moment either staged or in its place, as the journal has it.
            if name in moved and target.exists() and not staged.exists():
                os.replace(target, staged)
            if before.exists():
                os.replace(before, target)
        with suppress(FileNotFoundError):
            (self.staging / _JOURNAL).unlink()
        remove_empty(made)


def _forced_out(path: Path) -> str:
    """Force a file to the disk; return the digest of its bytes."""
    with path.open("rb+") as file:
        os.fsync(file.fileno())
    return sha256_of(path)


def _set_aside(target: Path, aside: Path) -> None:
    """Keep a second name of a file that will be replaced or removed, if there is one."""
    if not target.exists():
        return
    aside.parent.mkdir(parents=True, exist_ok=True)
    try:
        os.link(target, aside)
    except OSError:  # a file system without hard links
        shutil.copy2(target, aside)


def _folders_of(folder: Path, names: list[str]) -> list[Path]:
    """Return the sub-folders that files lay in, outer ones first."""
    inner = {folder / parent for name in names for parent in PurePath(name).parents}
    return sorted(inner - {folder})


@contextmanager
def output_batch(folder: Path | str, *, kind: str, job: str = "") -> Iterator[Batch]:
    """Write several files that appear together at the end, or not at all.

    Files go to a hidden staging folder inside ``folder`` (the same file system, so that they can
    be moved in one step each). When the body ends, they replace what we wrote there before, and
    what an earlier run of the same kind wrote beyond them is removed. Should that fail half-way
    all is put back; should the program be killed half-way the next run ends it. When the body
    raises, Ctrl-C included, nothing in the folder has changed, and the folder itself is removed if
    it was made here. While files are moved or cleaned away a Ctrl-C is kept waiting.

    Parameters
    ----------
    folder : Path or str
        Made when missing, with its parents.
    kind : str
        What writes: ``build``, ``export`` and so on.
    job : str
        Title of the job; a folder that holds the same kind of files of another job is refused.

    Yields
    ------
    Batch
        ``batch.path("name.stl")`` gives the path to write to.

    Raises
    ------
    WriteError
        The folder cannot be made, is a file or holds another job; a file cannot be written or
        moved into place; or a file of the user's is in the way.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as top:
    ...     with output_batch(Path(top) / "out", kind="build") as batch:
    ...         _ = batch.path("a.txt").write_text("a")
    ...         _ = batch.path("b.txt").write_text("b")
    ...     sorted(p.name for p in (Path(top) / "out").iterdir())
    ['.sheetstack-files.json', 'a.txt', 'b.txt']
    """
    folder = Path(folder)
    made = make_folders(folder)
    staging = folder / f"{_STAGING}{secrets.token_hex(6)}{_END}"
    held: int | None = None
    done = False
    try:
        with alone_in(folder):
            _end_what_was_begun(folder)
            _refuse_another_job(folder, kind, job)
            staging.mkdir()
            held = hold(staging, wait=False)
        batch = Batch(folder, staging, kind, job)
        yield batch
        with _interrupt_waits(), alone_in(folder):
            batch._commit()
            done = True
            # Before a second request to stop can be heard: all is written.
            shutil.rmtree(staging, ignore_errors=True)
    except OSError as error:
        named = Path(_in_place(str(error.filename2 or error.filename or folder), staging, folder))
        if not Path(os.path.abspath(named)).is_relative_to(os.path.abspath(folder)):
            raise  # about some other file that the body read
        told = f"{named}: cannot be written: {reason(error)}."
        if _is_half_way(staging, done):
            told += " Some files are new and some old; the next run into this folder ends it."
        raise WriteError(told) from error
    except WriteError as error:
        # The user knows the output folder, not the staging folder in it.
        raise WriteError(_in_place(str(error), staging, folder)) from error
    finally:
        with _interrupt_waits():
            # What could neither be ended nor undone stays, with its journal, for the next run.
            if not _is_half_way(staging, done):
                # A hidden folder that another program holds open is no reason to lose the results.
                shutil.rmtree(staging, ignore_errors=True)
            let_go(held)
            if not done:
                remove_empty(made)


def _is_half_way(staging: Path, done: bool) -> bool:
    """Return whether a commit has begun to move files and was neither ended nor undone."""
    return not done and (staging / _JOURNAL).exists()


def _end_what_was_begun(folder: Path) -> None:
    """End or clear away what runs left that were killed; those that still run are left alone."""
    for staging in sorted(folder.glob(f"{_STAGING}*{_END}")):
        if not staging.is_dir() or staging.is_symlink():
            continue
        held = hold(staging, wait=False)
        if held is None:
            continue
        try:
            _end(folder, staging)
            shutil.rmtree(staging, ignore_errors=True)
        finally:
            let_go(held)


def _end(folder: Path, staging: Path) -> None:
    """Do what a journal says and has not been done yet; without one nothing had begun."""
    try:
        journal = json.loads((staging / _JOURNAL).read_text(encoding="utf-8"))
        moved, removed = [list(map(_inside, journal[key])) for key in (_MOVED, _REMOVED)]
    except FileNotFoundError:
        return
    except (ValueError, TypeError, KeyError):
        return  # not ours: a journal is written whole
    for name in moved:
        if (staging / name).is_file():
            os.replace(staging / name, folder / name)
    for name in removed:
        with suppress(FileNotFoundError):
            (folder / name).unlink()
    remove_empty(_folders_of(folder, removed))


def _inside(name: str) -> str:
    pure = PurePath(name)
    if pure.is_absolute() or ".." in pure.parts:
        raise ValueError(name)
    return name


def _refuse_another_job(folder: Path, kind: str, job: str) -> None:
    others = {entry.job for entry in read_list(folder).values() if entry.kind == kind}
    others -= {job}
    if job and others:
        raise WriteError(
            f"{folder}: holds the files of another job, '{min(others)}'; empty it, or choose "
            "another folder."
        )


def _in_place(text: str, staging: Path, folder: Path) -> str:
    return text.replace(str(staging), str(folder)).replace(os.path.realpath(staging), str(folder))


def make_folders(folder: Path) -> list[Path]:
    """Make a folder and its parents; return those that were missing, outermost first.

    Raises
    ------
    WriteError
        It cannot be made, or is a file.
    """
    missing: list[Path] = []
    try:
        if folder.exists() and not folder.is_dir():
            raise WriteError(f"{folder}: expected a folder for the results here, found a file.")
        missing = [p for p in (folder, *folder.parents) if not p.exists()][::-1]
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        remove_empty([p for p in missing if p.is_dir()])
        raise WriteError(f"{folder}: the folder cannot be made: {reason(error)}.") from error
    return missing


def remove_empty(folders: Sequence[Path]) -> None:
    """Remove folders that are empty, inner ones first."""
    for folder in reversed(folders):
        with suppress(OSError):  # somebody else has put something there meanwhile: it stays
            folder.rmdir()


@contextmanager
def _interrupt_waits() -> Iterator[None]:
    """Keep a Ctrl-C, and other signals to stop that the program hears, waiting until the end.

    Only the main thread may set handlers, and only it receives KeyboardInterrupt.
    """
    former: dict[int, Any] = {}
    if threading.current_thread() is threading.main_thread():
        heard = [getattr(signal, name) for name in _STOPPING if hasattr(signal, name)]
        former = {number: signal.getsignal(number) for number in heard}
        former = {number: handler for number, handler in former.items() if callable(handler)}
    waiting: list[tuple[int, FrameType | None]] = []
    for number in former:
        signal.signal(number, lambda number, frame: waiting.append((number, frame)))
    try:
        yield
    finally:
        for number, handler in former.items():
            signal.signal(number, handler)
        if waiting:  # once: a second would be taken for impatience
            former[waiting[0][0]](*waiting[0])
