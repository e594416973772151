import os
import stat
import time

import pytest

from sheetstack.geometry.errors import WriteError
from sheetstack.geometry.files import atomic as atomic_module
from sheetstack.geometry.files.atomic import atomic


def names(folder):
    return sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*"))


def write(target, content, problem=None):
    with atomic(target) as file:
        for start in range(0, len(content), 4096):
            file.write(content[start : start + 4096])
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


def test_what_a_killed_program_left_is_cleared_after_a_while(tmp_path):
    old, young, other = (
        tmp_path / name
        for name in (
            ".a.txt.0123456789ab.part",
            ".a.txt.ba9876543210.part",
            ".b.txt.0123456789ab.part",
        )
    )
    for path in (old, young, other):
        path.write_text("half")
    for path in (old, other):
        os.utime(path, (time.time() - 2 * atomic_module.LEFT_FOR,) * 2)
    write(tmp_path / "a.txt", b"whole")
    # The young one may belong to a program that still writes, the other is another file's.
    assert names(tmp_path) == sorted(["a.txt", young.name, other.name])


@pytest.mark.parametrize("letter", ["x", "ü", "字"])
def test_a_name_as_long_as_the_file_system_allows_is_written(tmp_path, letter):
    name = letter * (255 // len(letter.encode()))
    write(tmp_path / name, b"whole")
    assert names(tmp_path) == [name]
