"""Batches: files appear together, nothing of the user's is touched, a killed run leaves no mess."""

import os
import shutil
import signal
import subprocess
import sys
import threading

import pytest

from sheetstack.geometry.errors import WriteError
from sheetstack.geometry.files.atomic import atomic
from sheetstack.geometry.files.batch import output_batch
from sheetstack.geometry.files.written_list import LIST, read_list


def names(folder):
    """All that lies in a folder, but for the list that it keeps."""
    found = (p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.name != LIST)
    return sorted(found)


def a_build(folder):
    return output_batch(folder, kind="build")


def write(target, content):
    with atomic(target) as file:
        file.write(content)


def write_batch(folder, files, problem=None, *, kind="build", job="Leaf", content="new"):
    with output_batch(folder, kind=kind, job=job) as batch:
        for name in files:
            batch.path(name).write_text(content)
        if problem is not None:
            raise problem


def test_a_batch_appears_together(tmp_path):
    out = tmp_path / "deep" / "out"
    with output_batch(out, kind="build") as batch:
        batch.path("a.stl").write_text("a")
        batch.path("pictures/b.png").write_text("b")
        assert not (out / "a.stl").exists()
    assert names(out) == ["a.stl", "pictures", "pictures/b.png"]
    assert batch.names == ("a.stl", "pictures/b.png")


def test_a_batch_replaces_its_own_files_and_leaves_others(tmp_path):
    write_batch(tmp_path, ["a"], content="old")
    (tmp_path / "mine").write_text("mine")
    write_batch(tmp_path, ["a"])
    assert (tmp_path / "a").read_text() == "new"
    assert names(tmp_path) == ["a", "mine"]


def test_what_an_earlier_run_wrote_beyond_is_taken_away_in_the_same_step(tmp_path):
    write_batch(tmp_path, ["01-leaf", "02-stem", "tiles/A1"])
    write_batch(tmp_path, ["cautions"], kind="export")
    (tmp_path / "03-mine").write_text("mine")
    write_batch(tmp_path, ["01-leaf"])
    assert names(tmp_path) == ["01-leaf", "03-mine", "cautions"]
    # A run that fails takes nothing away.
    write_batch(tmp_path, ["01-leaf", "02-stem"])
    with pytest.raises(ValueError, match="body"):
        write_batch(tmp_path, ["01-leaf"], ValueError("body"))
    assert names(tmp_path) == ["01-leaf", "02-stem", "03-mine", "cautions"]


def test_what_a_run_keeps_stays(tmp_path):
    write_batch(tmp_path, ["drawing", "job"])
    for _ in range(2):
        with output_batch(tmp_path, kind="build", job="Leaf") as batch:
            batch.path("drawing").write_text("new")
            batch.keep("job")
        assert names(tmp_path) == ["drawing", "job"]


@pytest.mark.parametrize("known", [False, True])
def test_a_file_of_the_users_is_never_written_over(tmp_path, known):
    if known:
        write_batch(tmp_path, ["a", "b"])
    (tmp_path / "b").write_text("by hand")
    what = "changed since it was written" if known else "not written by Sheetstack"
    with pytest.raises(WriteError, match=f"b: is in the way and was {what}"):
        write_batch(tmp_path, ["a", "b"], content="newer")
    assert (tmp_path / "b").read_text() == "by hand"
    assert not known or (tmp_path / "a").read_text() == "new"
    with output_batch(tmp_path, kind="build") as batch:
        batch.path("b", checked=True).write_text("asked for")
        batch.keep("a")
    assert (tmp_path / "b").read_text() == "asked for"


def test_a_changed_file_that_would_lie_among_the_new_ones_is_told(tmp_path):
    write_batch(tmp_path, ["a", "b"])
    (tmp_path / "b").write_text("by hand")
    with pytest.raises(WriteError, match=r"b: belongs to what was written here before"):
        write_batch(tmp_path, ["a"], content="newer")
    assert (tmp_path / "a").read_text() == "new"
    assert (tmp_path / "b").read_text() == "by hand"


def test_a_folder_that_holds_another_job_is_told(tmp_path):
    write_batch(tmp_path, ["a"], job="Leaf")
    with pytest.raises(WriteError, match="holds the files of another job, 'Leaf'"):
        write_batch(tmp_path, ["a"], job="Fern", content="newer")
    assert (tmp_path / "a").read_text() == "new"
    write_batch(tmp_path, ["b"], kind="export", job="Fern")


@pytest.mark.parametrize("text", ["", "{", "[]", '{"files": 3}', '{"files": {"a": {"x": 1}}}'])
def test_a_broken_list_makes_all_files_the_users(tmp_path, text):
    write_batch(tmp_path, ["a"])
    (tmp_path / LIST).write_text(text)
    with pytest.raises(WriteError, match="not written by Sheetstack"):
        write_batch(tmp_path, ["a"])


def test_the_same_files_give_the_same_list(tmp_path):
    for name in ("x", "y"):
        write_batch(tmp_path / name, ["b", "a"])
    assert (tmp_path / "x" / LIST).read_bytes() == (tmp_path / "y" / LIST).read_bytes()


#: Kills its own process at one of the steps in which the file system is changed.
KILLED = """
import os, signal, sys
from pathlib import Path
from sheetstack.geometry.files import atomic, batch
step, last = 0, int(sys.argv[2])
def counted(real):
    def call(*given, **more):
        global step
        step += 1
        if step == last:
            os.kill(os.getpid(), signal.SIGKILL)
        return real(*given, **more)
    return call
for name in ("replace", "link", "unlink", "mkdir", "rmdir"):
    setattr(os, name, counted(getattr(os, name)))
with batch.output_batch(Path(sys.argv[1]), kind="build", job="Leaf") as files:
    for name in ("a", "b", "deep/d"):
        files.path(name).write_text("new " + name)
print(step)
"""
OLD = {"a": "old a", "c": "old c", "deep/e": "old deep/e"}
NEW = {"a": "new a", "b": "new b", "deep/d": "new deep/d"}


def state(folder):
    return {name: (folder / name).read_text() for name in names(folder) if name != "deep"}


def killed_at(folder, step):
    command = [sys.executable, "-c", KILLED, str(folder), str(step)]
    return subprocess.run(command, capture_output=True, text=True, check=False)


@pytest.mark.skipif(os.name != "posix", reason="sends a POSIX signal")
def test_killed_at_any_step_the_next_run_finds_the_old_state_or_the_new_one(tmp_path):
    found = set()
    for step in range(1, 200):
        folder = tmp_path / str(step)
        with output_batch(folder, kind="build", job="Leaf") as batch:
            for name, text in OLD.items():
                batch.path(name).write_text(text)
        (folder / "mine").write_text("mine")
        ended = killed_at(folder, step)
        # Any later run ends what was begun, also one that then gives up itself.
        with pytest.raises(KeyboardInterrupt), output_batch(folder, kind="proof"):
            raise KeyboardInterrupt
        after = state(folder)
        assert after.pop("mine") == "mine"
        assert after in (OLD, NEW), step
        assert not [p for p in folder.iterdir() if p.name.endswith(".part")]
        # The list is that of the state: the next run of the same kind has nothing in its way.
        write_batch(folder, ["x"])
        assert state(folder) == {"x": "new", "mine": "mine"}
        found.add(after == NEW)
        if ended.returncode == 0:
            break
    assert ended.returncode == 0
    assert step > 15
    assert found == {True, False}


@pytest.mark.skipif(os.name != "posix", reason="locks folders")
def test_a_run_that_still_goes_is_left_alone_by_another(tmp_path):
    with output_batch(tmp_path, kind="build") as first:
        first.path("a").write_text("first")
        with output_batch(tmp_path, kind="export") as second:
            second.path("b").write_text("second")
        assert names(tmp_path) != ["b"]  # the first one's staging folder is still there
    assert names(tmp_path) == ["a", "b"]
    assert set(read_list(tmp_path)) == {"a", "b"}


@pytest.mark.skipif(os.name != "posix", reason="locks folders")
def test_files_that_another_run_moves_meanwhile_are_not_taken_for_the_users(tmp_path, monkeypatch):
    write_batch(tmp_path, ["a", "b"], content="old")
    real, moving, asked = os.replace, threading.Event(), threading.Event()

    def replace(source, target):
        real(source, target)
        if os.fspath(target) == os.fspath(tmp_path / "a") and not moving.is_set():
            # 'a' is new already, the list is not: the other run asks now.
            moving.set()
            asked.wait(0.5)

    monkeypatch.setattr(os, "replace", replace)
    first = threading.Thread(target=write_batch, args=(tmp_path, ["a", "b"]))
    with output_batch(tmp_path, kind="build", job="Leaf") as second:
        first.start()
        assert moving.wait(10)
        second.path("a").write_text("newer")
        asked.set()
        first.join()
        second.path("b").write_text("newer")
    assert [(tmp_path / name).read_text() for name in "ab"] == ["newer", "newer"]


@pytest.mark.parametrize("problem", [ValueError("body"), KeyboardInterrupt(), MemoryError()])
def test_a_batch_that_fails_leaves_no_trace(tmp_path, problem):
    with pytest.raises(type(problem)):
        write_batch(tmp_path / "deep" / "out", ["a", "sub/b"], problem)
    assert names(tmp_path) == []


def test_a_batch_that_fails_keeps_a_folder_it_did_not_make(tmp_path):
    write_batch(tmp_path, ["a"], content="old")
    with pytest.raises(ValueError, match="body"):
        write_batch(tmp_path, ["a"], ValueError("body"))
    assert names(tmp_path) == ["a"]
    assert (tmp_path / "a").read_text() == "old"


def test_a_failure_names_the_final_file_not_the_staging_folder(tmp_path, small_disk):
    with pytest.raises(WriteError) as caught, output_batch(tmp_path, kind="build") as batch:
        write(batch.path("a.stl"), bytes(200_000))
    assert str(caught.value) == f"{tmp_path / 'a.stl'}: cannot be written: File too large."
    assert names(tmp_path) == []


def test_when_the_second_move_fails_the_first_is_undone(tmp_path, monkeypatch):
    write_batch(tmp_path, ["a", "b"], content="old")
    real = os.replace

    def replace(source, target):
        if os.fspath(target) == os.fspath(tmp_path / "c"):
            raise OSError(5, "Input/output error", os.fspath(source), None, os.fspath(target))
        real(source, target)

    monkeypatch.setattr(os, "replace", replace)
    with pytest.raises(WriteError, match="Input/output") as caught:
        write_batch(tmp_path, ["a", "new", "sub/x", "b", "c"])
    assert str(tmp_path / "c") in str(caught.value)
    assert names(tmp_path) == ["a", "b"]
    assert (tmp_path / "a").read_text() == "old"
    assert (tmp_path / "b").read_text() == "old"


def test_an_announced_file_that_was_not_written_is_an_error(tmp_path):
    with (
        pytest.raises(WriteError, match="never written"),
        output_batch(tmp_path, kind="build") as batch,
    ):
        batch.path("a")
    assert names(tmp_path) == []


@pytest.mark.parametrize("name", ["../a", "/a", "x/../../a", ""])
def test_a_name_outside_the_folder_is_refused(tmp_path, name):
    with (
        pytest.raises(WriteError, match="inside the output folder"),
        output_batch(tmp_path, kind="build") as b,
    ):
        b.path(name)


def test_two_files_of_one_name_are_refused(tmp_path):
    with pytest.raises(WriteError, match="same name"):
        write_batch(tmp_path, ["Shadow.stl", "shadow.stl"])
    assert names(tmp_path) == []


def test_a_file_where_the_folder_should_be(tmp_path):
    (tmp_path / "out").write_text("x")
    with (
        pytest.raises(WriteError, match="found a file"),
        output_batch(tmp_path / "out", kind="build"),
    ):
        pass
    with (
        pytest.raises(WriteError, match="folder cannot be made"),
        a_build(tmp_path / "out/b"),
    ):
        pass


def test_an_error_about_some_other_file_passes(tmp_path):
    with pytest.raises(FileNotFoundError), output_batch(tmp_path / "out", kind="build"):
        (tmp_path / "elsewhere").read_text()
    assert names(tmp_path) == []


def test_a_batch_works_beside_the_main_thread(tmp_path):
    def work():
        with output_batch(tmp_path, kind="build") as batch:
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
from sheetstack.geometry.files import batch
real = os.replace
def replace(a, b):
    real(a, b)
    if {moment == "moving"}:
        os.kill(os.getpid(), signal.SIGINT)
os.replace = replace
with batch.output_batch({str(tmp_path / "out")!r}, kind="build") as files:
    for name in "abc":
        files.path(name).write_text("new")
    if {moment == "writing"}:
        os.kill(os.getpid(), signal.SIGINT)
        signal.pause()
"""
    run = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True)
    assert "KeyboardInterrupt" in run.stderr
    assert names(tmp_path) == ([] if moment == "writing" else ["out", "out/a", "out/b", "out/c"])


def test_what_could_neither_be_ended_nor_undone_is_ended_by_the_next_run(tmp_path, monkeypatch):
    write_batch(tmp_path, ["a", "b", "c"], content="old")
    rename, moved = os.replace, []

    def failing(source, target):
        moved.append(target)
        if len(moved) > 4:  # the list, the journal, two files; from then on nothing moves
            raise OSError(5, "Input/output error", str(source))
        rename(source, target)

    with monkeypatch.context() as patch:
        patch.setattr(os, "replace", failing)
        with pytest.raises(WriteError, match="next run into this"):
            write_batch(tmp_path, ["a", "b", "c"])
    assert {(tmp_path / name).read_text() for name in "abc"} == {"old", "new"}
    write_batch(tmp_path, ["d"], kind="export")
    assert names(tmp_path) == ["a", "b", "c", "d"]
    assert {(tmp_path / name).read_text() for name in "abcd"} == {"new"}


@pytest.mark.skipif(os.name != "posix", reason="signals as POSIX has them")
def test_a_request_to_stop_waits_until_the_files_are_in_their_places(tmp_path, monkeypatch):
    heard, rename, clear = [], os.replace, shutil.rmtree
    before = signal.signal(signal.SIGTERM, lambda number, frame: heard.append(names(tmp_path)))

    def asked(source, target):
        rename(source, target)
        os.kill(os.getpid(), signal.SIGTERM)

    def asked_again(*given, **options):
        clear(*given, **options)
        os.kill(os.getpid(), signal.SIGTERM)

    try:
        monkeypatch.setattr(os, "replace", asked)
        monkeypatch.setattr(shutil, "rmtree", asked_again)
        write_batch(tmp_path, ["a", "b"])
    finally:
        signal.signal(signal.SIGTERM, before)
    assert heard[0] == ["a", "b"]  # once for all that was asked until they were
