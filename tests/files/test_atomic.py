import os
import signal
import stat
import subprocess
import sys
import threading

import pytest

from sheetstack.geometry.errors import WriteError
from sheetstack.geometry.files import atomic as atomic_module
from sheetstack.geometry.files.atomic import atomic, output_batch


def names(folder):
    return sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*"))


def write(target, content, problem=None):
    with atomic(target) as file:
        for start in range(0, len(content), 4096):
            file.write(content[start : start + 4096])
        if problem is not None:
            raise problem


def write_batch(folder, files, problem=None):
    with output_batch(folder) as batch:
        for name in files:
            write(batch.path(name), b"new")
        if problem is not None:
            raise problem


def test_bytes_and_text_arrive(tmp_path):
    with atomic(tmp_path / "a.bin") as file:
        file.write(b"\x00\r\n")
    with atomic(tmp_path / "a.txt", "w") as file:
        file.write("Höhe\n")
    assert (tmp_path / "a.bin").read_bytes() == b"\x00\r\n"
    assert (tmp_path / "a.txt").read_bytes() == "Höhe\n".encode()
    assert names(tmp_path) == ["a.bin", "a.txt"]


def test_nothing_is_at_the_target_until_the_end(tmp_path):
    with atomic(tmp_path / "a") as file:
        file.write(b"half")
        file.flush()
        assert not (tmp_path / "a").exists()
    assert (tmp_path / "a").exists()


@pytest.mark.skipif(os.name != "posix", reason="file modes are POSIX")
def test_the_umask_decides_the_mode(tmp_path):
    before = os.umask(0o027)
    try:
        with atomic(tmp_path / "a") as file:
            file.write(b"x")
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "a").stat().st_mode) == 0o640


@pytest.mark.parametrize("problem", [ValueError("body"), KeyboardInterrupt(), MemoryError()])
def test_an_exception_of_the_body_passes_and_the_old_file_stays(tmp_path, problem):
    target = tmp_path / "a"
    target.write_bytes(b"old")
    with pytest.raises(type(problem)):
        write(target, b"new", problem)
    assert target.read_bytes() == b"old"
    assert names(tmp_path) == ["a"]


def test_missing_folder_is_one_sentence(tmp_path):
    target = tmp_path / "none" / "a.stl"
    with pytest.raises(WriteError, match="No such file") as caught, atomic(target):
        pass
    assert str(caught.value).startswith(f"{target}: ")
    assert names(tmp_path) == []


def test_a_folder_in_the_way_is_refused(tmp_path):
    (tmp_path / "a").mkdir()
    with pytest.raises(WriteError, match="found a folder"), atomic(tmp_path / "a"):
        pass


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="no such device here")
def test_a_device_is_never_replaced_by_a_file():
    with pytest.raises(WriteError, match="found a device"), atomic("/dev/full"):
        pass
    assert stat.S_ISCHR(os.stat("/dev/full").st_mode)


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root may write anywhere")
def test_a_write_protected_folder_is_one_sentence(tmp_path):
    tmp_path.chmod(0o500)
    with pytest.raises(WriteError, match="Permission denied"), atomic(tmp_path / "a"):
        pass


def test_a_write_protected_file_is_kept(tmp_path, monkeypatch):
    target = tmp_path / "a"
    target.write_bytes(b"old")
    monkeypatch.setattr(atomic_module.os, "access", lambda *_: False)  # root passes the real one
    with pytest.raises(WriteError, match="write-protected"), atomic(target):
        pass
    assert target.read_bytes() == b"old"


def test_a_symbolic_link_is_followed(tmp_path):
    (tmp_path / "real").write_bytes(b"old")
    (tmp_path / "link").symlink_to(tmp_path / "real")
    with atomic(tmp_path / "link") as file:
        file.write(b"new")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real").read_bytes() == b"new"


@pytest.fixture
def small_disk():
    """Let the kernel refuse to write past 64 KiB of any file, as a full disk would."""
    resource = pytest.importorskip("resource")  # POSIX only
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    handler = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (65536, limits[1]))
    yield
    resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    signal.signal(signal.SIGXFSZ, handler)


def test_when_the_kernel_refuses_more_bytes_the_old_file_stays(tmp_path, small_disk):
    target = tmp_path / "a"
    target.write_bytes(b"old")
    with pytest.raises(WriteError, match="File too large"):
        write(target, bytes(400_000))
    assert target.read_bytes() == b"old"
    assert names(tmp_path) == ["a"]


def test_a_disk_full_at_the_last_moment_leaves_nothing(tmp_path, monkeypatch):
    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(atomic_module.os, "fsync", full)
    with pytest.raises(WriteError, match="No space left") as caught, atomic(tmp_path / "a") as file:
        file.write(b"new")
    assert str(tmp_path / "a") in str(caught.value)
    assert names(tmp_path) == []


# A batch


def test_a_batch_appears_together(tmp_path):
    out = tmp_path / "deep" / "out"
    with output_batch(out) as batch:
        batch.path("a.stl").write_text("a")
        batch.path("pictures/b.png").write_text("b")
        assert not (out / "a.stl").exists()
    assert names(out) == ["a.stl", "pictures", "pictures/b.png"]
    assert batch.names == ("a.stl", "pictures/b.png")


def test_a_batch_replaces_its_own_files_and_leaves_others(tmp_path):
    (tmp_path / "a").write_text("old")
    (tmp_path / "mine").write_text("mine")
    with output_batch(tmp_path) as batch:
        batch.path("a").write_text("new")
    assert (tmp_path / "a").read_text() == "new"
    assert names(tmp_path) == ["a", "mine"]


@pytest.mark.parametrize("problem", [ValueError("body"), KeyboardInterrupt(), MemoryError()])
def test_a_batch_that_fails_leaves_no_trace(tmp_path, problem):
    with pytest.raises(type(problem)):
        write_batch(tmp_path / "deep" / "out", ["a", "sub/b"], problem)
    assert names(tmp_path) == []


def test_a_batch_that_fails_keeps_a_folder_it_did_not_make(tmp_path):
    (tmp_path / "a").write_text("old")
    with pytest.raises(ValueError, match="body"):
        write_batch(tmp_path, ["a"], ValueError("body"))
    assert names(tmp_path) == ["a"]
    assert (tmp_path / "a").read_text() == "old"


def test_a_failure_names_the_final_file_not_the_staging_folder(tmp_path, small_disk):
    with pytest.raises(WriteError) as caught, output_batch(tmp_path) as batch:
        write(batch.path("a.stl"), bytes(200_000))
    assert str(caught.value) == f"{tmp_path / 'a.stl'}: cannot be written: File too large."
    assert names(tmp_path) == []


def test_when_the_second_move_fails_the_first_is_undone(tmp_path, monkeypatch):
    (tmp_path / "a").write_text("old a")
    (tmp_path / "b").write_text("old b")
    real = os.replace

    def replace(source, target):
        if os.fspath(target) == os.fspath(tmp_path / "c"):
            raise OSError(5, "Input/output error", os.fspath(source), None, os.fspath(target))
        real(source, target)

    monkeypatch.setattr(atomic_module.os, "replace", replace)
    with pytest.raises(WriteError, match="Input/output") as caught:
        write_batch(tmp_path, ["a", "new", "sub/x", "b", "c"])
    assert str(tmp_path / "c") in str(caught.value)
    assert names(tmp_path) == ["a", "b"]
    assert (tmp_path / "a").read_text() == "old a"
    assert (tmp_path / "b").read_text() == "old b"


def test_an_announced_file_that_was_not_written_is_an_error(tmp_path):
    with pytest.raises(WriteError, match="never written"), output_batch(tmp_path) as batch:
        batch.path("a")
    assert names(tmp_path) == []


@pytest.mark.parametrize("name", ["../a", "/a", "x/../../a", ""])
def test_a_name_outside_the_folder_is_refused(tmp_path, name):
    with pytest.raises(WriteError, match="inside the output folder"), output_batch(tmp_path) as b:
        b.path(name)


def test_two_files_of_one_name_are_refused(tmp_path):
    with pytest.raises(WriteError, match="same name"):
        write_batch(tmp_path, ["Shadow.stl", "shadow.stl"])
    assert names(tmp_path) == []


def test_a_file_where_the_folder_should_be(tmp_path):
    (tmp_path / "out").write_text("x")
    with pytest.raises(WriteError, match="found a file"), output_batch(tmp_path / "out"):
        pass
    with pytest.raises(WriteError, match="folder cannot be made"), output_batch(tmp_path / "out/b"):
        pass


def test_an_error_about_some_other_file_passes(tmp_path):
    with pytest.raises(FileNotFoundError), output_batch(tmp_path / "out"):
        (tmp_path / "elsewhere").read_text()
    assert names(tmp_path) == []


def test_a_batch_works_beside_the_main_thread(tmp_path):
    def work():
        with output_batch(tmp_path) as batch:
            batch.path("a").write_text("a")

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert names(tmp_path) == ["a"]


@pytest.mark.skipif(os.name != "posix", reason="sends a POSIX signal")
@pytest.mark.parametrize("moment", ["writing", "moving"])
def test_ctrl_c_leaves_all_or_nothing(tmp_path, moment):
    # A real SIGINT to a real process, while it writes or between two of the moves at the end.
    program = f"""
import os, signal, sys
from sheetstack.geometry.files import atomic
real = os.replace
def replace(a, b):
    real(a, b)
    if {moment == "moving"}:
        os.kill(os.getpid(), signal.SIGINT)
atomic.os.replace = replace
with atomic.output_batch({str(tmp_path / "out")!r}) as batch:
    for name in "abc":
        batch.path(name).write_text("new")
    if {moment == "writing"}:
        os.kill(os.getpid(), signal.SIGINT)
        signal.pause()
"""
    run = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True)
    assert "KeyboardInterrupt" in run.stderr
    assert names(tmp_path) == ([] if moment == "writing" else ["out", "out/a", "out/b", "out/c"])
