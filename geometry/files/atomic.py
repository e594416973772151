"""Atomic writing: a file appears whole or not at all, and a batch of files appears together."""

from __future__ import annotations

import os
import secrets
import shutil
import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path, PurePath
from types import FrameType
from typing import IO, Any, Literal

from ..errors import WriteError

Mode = Literal["wb", "w"]


@contextmanager
def atomic(path: Path | str, mode: Mode = "wb") -> Iterator[IO[Any]]:
    """Open a file that takes its place only when it has been written whole.

    The bytes go to a hidden file beside the target, are forced to the disk and then take the
    target's name in one step. When anything fails before that step the hidden file is removed and
    an older file of that name stays as it was.

    Parameters
    ----------
    path : Path or str
        The file to write; its folder must exist. A symbolic link is followed.
    mode : {'wb', 'w'}
        Bytes, or text as UTF-8 with ``\\n`` line ends.

    Yields
    ------
    file object
        Open for writing.

    Raises
    ------
    WriteError
        The operating system refuses: no such folder, no permission, disk full. Any other
        exception of the body, KeyboardInterrupt included, passes through unchanged.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with atomic(Path(folder) / "a.txt", "w") as file:
    ...         _ = file.write("whole")
    ...     Path(folder, "a.txt").read_text()
    'whole'
    """
    target = Path(os.path.realpath(path))
    _refuse_if_not_replaceable(target, path)
    part = target.with_name(f".{target.name[:80]}.{secrets.token_hex(6)}.part")
    done = False
    try:
        # Not tempfile.mkstemp: its files are private to the user whatever the umask says.
        descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | _O_BINARY, 0o666)
        with (
            os.fdopen(descriptor, "wb")
            if mode == "wb"
            else os.fdopen(descriptor, "w", encoding="utf-8", newline="\n")
        ) as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, target)
        done = True
    except OSError as error:
        raise WriteError(f"{path}: cannot be written: {_reason(error)}.") from error
    finally:
        if not done:
            with suppress(FileNotFoundError):
                part.unlink()


class Batch:
    """Files that are to appear together; made by :func:`output_batch`."""

    def __init__(self, folder: Path, staging: Path) -> None:
        self.folder = folder
        self.staging = staging
        self._names: list[PurePath] = []

    @property
    def names(self) -> tuple[str, ...]:
        """Names asked for so far, relative to the folder, in that order."""
        return tuple(name.as_posix() for name in self._names)

    def path(self, name: str) -> Path:
        """Return where the file ``name`` is to be written for now.

        Parameters
        ----------
        name : str
            Name in the output folder; may contain sub-folders, never ``..``.

        Raises
        ------
        WriteError
            The name leads out of the folder, or was asked for before.
        """
        pure = PurePath(name)
        if pure.is_absolute() or ".." in pure.parts or not pure.parts:
            raise WriteError(f"{name!r}: expected a name inside the output folder {self.folder}.")
        # Compared without case: on Windows and macOS 'A.stl' and 'a.stl' are one file.
        if pure.as_posix().lower() in {known.as_posix().lower() for known in self._names}:
            raise WriteError(f"{self.folder / pure}: two outputs would have this same name.")
        staged = self.staging / pure
        staged.parent.mkdir(parents=True, exist_ok=True)
        self._names.append(pure)
        return staged

    def _commit(self) -> None:
        """Put every file in its place; on a failure put everything back as it was."""
        kept_aside = self.staging / f".before-{secrets.token_hex(6)}"
        moved: list[tuple[Path, Path | None]] = []
        made: list[Path] = []
        try:
            for name in self._names:
                staged, target = self.staging / name, self.folder / name
                if not staged.is_file():
                    raise WriteError(f"{target}: was announced but never written.")
                made += _make_folders(target.parent)
                _refuse_if_not_replaceable(target, target)
                before: Path | None = None
                if target.exists() or target.is_symlink():
                    before = kept_aside / name
                    before.parent.mkdir(parents=True, exist_ok=True)
                    os.replace(target, before)
                moved.append((target, before))
                os.replace(staged, target)
        except BaseException:
            for target, before in reversed(moved):
                if before is not None:
                    os.replace(before, target)
                elif target.exists():
                    target.unlink()
            _remove_empty(made)
            raise


@contextmanager
def output_batch(folder: Path | str) -> Iterator[Batch]:
    """Write several files that appear together at the end, or not at all.

    Files go to a hidden staging folder inside ``folder`` (the same file system, so that they can
    be moved in one step each). When the body ends, they replace older files of the same names;
    should that fail half-way the older files are put back. When the body raises, Ctrl-C included,
    nothing in the folder has changed, and the folder itself is removed if it was made here.
    While files are moved or cleaned away a Ctrl-C is kept waiting until that is finished.

    Parameters
    ----------
    folder : Path or str
        Made when missing, with its parents.

    Yields
    ------
    Batch
        ``batch.path("name.stl")`` gives the path to write to.

    Raises
    ------
    WriteError
        The folder cannot be made or is a file, or a file cannot be written or moved into place.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as top:
    ...     with output_batch(Path(top) / "out") as batch:
    ...         _ = batch.path("a.txt").write_text("a")
    ...         _ = batch.path("b.txt").write_text("b")
    ...     sorted(p.name for p in (Path(top) / "out").iterdir())
    ['a.txt', 'b.txt']
    """
    folder = Path(folder)
    if folder.exists() and not folder.is_dir():
        raise WriteError(f"{folder}: expected a folder for the results here, found a file.")
    made = _make_folders(folder)
    staging = folder / f".sheetstack-{secrets.token_hex(6)}.part"
    done = False
    try:
        staging.mkdir()
        batch = Batch(folder, staging)
        yield batch
        with _interrupt_waits():
            batch._commit()
            done = True
    except OSError as error:
        named = Path(_in_place(str(error.filename2 or error.filename or folder), staging, folder))
        if not Path(os.path.abspath(named)).is_relative_to(os.path.abspath(folder)):
            raise  # about some other file that the body read
        raise WriteError(f"{named}: cannot be written: {_reason(error)}.") from error
    except WriteError as error:
        # The user knows the output folder, not the staging folder in it.
        raise WriteError(_in_place(str(error), staging, folder)) from error
    finally:
        with _interrupt_waits():
            # A hidden folder that another program holds open is no reason to lose the results.
            shutil.rmtree(staging, ignore_errors=True)
            if not done:
                _remove_empty(made)


_O_BINARY: int = getattr(os, "O_BINARY", 0)  # Windows only


def _reason(error: OSError) -> str:
    return error.strerror or str(error) or type(error).__name__


def _in_place(text: str, staging: Path, folder: Path) -> str:
    return text.replace(str(staging), str(folder)).replace(os.path.realpath(staging), str(folder))


def _refuse_if_not_replaceable(target: Path, named: Path | str) -> None:
    # os.replace asks for the folder's permission only, and would replace a device by a file.
    if target.is_dir():
        raise WriteError(f"{named}: expected a file to write here, found a folder.")
    if target.exists() and not target.is_file():
        raise WriteError(f"{named}: expected a file to write here, found a device.")
    if target.exists() and not os.access(target, os.W_OK):
        raise WriteError(f"{named}: is write-protected.")


def _make_folders(folder: Path) -> list[Path]:
    """Make a folder and its parents; return those that were missing, outermost first."""
    missing = [p for p in (folder, *folder.parents) if not p.exists()][::-1]
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        _remove_empty([p for p in missing if p.is_dir()])
        raise WriteError(f"{folder}: the folder cannot be made: {_reason(error)}.") from error
    return missing


def _remove_empty(folders: list[Path]) -> None:
    for folder in reversed(folders):
        with suppress(OSError):  # somebody else has put something there meanwhile: it stays
            folder.rmdir()


@contextmanager
def _interrupt_waits() -> Iterator[None]:
    """Keep a Ctrl-C waiting until the block is done.

    Only the main thread may set handlers, and only it receives KeyboardInterrupt.
    """
    former = signal.getsignal(signal.SIGINT)
    if threading.current_thread() is not threading.main_thread() or not callable(former):
        yield
        return
    waiting: list[tuple[int, FrameType | None]] = []
    signal.signal(signal.SIGINT, lambda number, frame: waiting.append((number, frame)))
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, former)
        if waiting:
            former(*waiting[0])
