"""Text files that users write: each fault is one sentence."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

from sheetstack.geometry.errors import JobError
from sheetstack.geometry.job import text_file
from sheetstack.geometry.job.text_file import read_text, read_toml


def test_a_byte_order_mark_is_no_part_of_the_text(tmp_path: Path) -> None:
    path = tmp_path / "leaf.toml"
    path.write_bytes(b"\xef\xbb\xbftitle = 'Leaf'\n")
    assert read_toml(path, "a job file") == {"title": "Leaf"}


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"title = \n", "is not valid TOML"),
        (b"title = '\xff'\n", "is not UTF-8 text (byte 9)"),
        (b"a = " + b"[" * 20 * sys.getrecursionlimit(), "is not valid TOML"),
    ],
)
def test_a_fault_names_the_file_in_one_sentence(tmp_path: Path, content: bytes, said: str) -> None:
    path = tmp_path / "leaf.toml"
    path.write_bytes(content)
    with pytest.raises(JobError) as caught:
        read_toml(path, "a job file")
    sentence = str(caught.value)
    assert sentence.startswith(f"{path}: {said}")
    assert sentence.endswith(".")
    assert not sentence.endswith("..")
    assert "\n" not in sentence


def test_what_is_expected_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(JobError, match="expected a table of cans, found a folder"):
        read_text(tmp_path, "a table of cans")
    with pytest.raises(JobError, match="expected a log, found nothing of that name"):
        read_text(tmp_path / "none", "a log")
    (tmp_path / "file").touch()
    with pytest.raises(JobError, match="expected a log, found nothing of that name"):
        read_text(tmp_path / "file" / "within", "a log")
    with pytest.raises(JobError, match="expected a log, found nothing of that name"):
        read_text(tmp_path / "file\0", "a log")
    (tmp_path / "ring").symlink_to("ring")
    with pytest.raises(JobError, match="cannot be read: Too many levels of symbolic links"):
        read_text(tmp_path / "ring", "a log")
    # A pipe that nobody writes into would be waited for, if it were opened.
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(JobError, match="expected a log, found a device or a pipe"):
        read_text(tmp_path / "pipe", "a log")
    (tmp_path / "long").write_text("four")
    monkeypatch.setattr(text_file, "MOST_BYTES", 3)
    with pytest.raises(JobError, match="4 bytes are too many for a log"):
        read_text(tmp_path / "long", "a log")
