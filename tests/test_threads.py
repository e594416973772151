"""Work on other threads: watched work is told of while silent, and can be left at any time."""

import threading
import time

import pytest

from sheetstack.geometry.errors import Cancelled
from sheetstack.geometry.progress import Progress
from sheetstack.geometry.threads import map_batches, watched


def test_watched_work_that_is_silent_can_be_left():
    go_on = threading.Event()
    calls = []

    def report(share, what):
        calls.append((share, what))
        if len(calls) == 3:
            raise Cancelled("Stopped.")

    def work(own):
        own(0.5, "digging")
        go_on.wait(10)

    started = time.monotonic()
    with pytest.raises(Cancelled, match=r"Stopped\."):
        watched(Progress(report), work)
    go_on.set()
    # Three looks of 0.2 s, far from the 10 s that the work takes.
    assert time.monotonic() - started < 5
    assert calls[-1] == (0.5, "digging")


def test_work_that_was_left_ends_at_its_next_call_of_progress():
    go_on, ended = threading.Event(), []

    def report(share, what):
        raise Cancelled("Stopped.")

    def work(own):
        go_on.wait(10)
        try:
            own(0.9, "on and on")
        except Cancelled:
            ended.append(True)
            raise

    with pytest.raises(Cancelled):
        watched(Progress(report), work)
    go_on.set()
    for _ in range(100):
        if ended:
            break
        time.sleep(0.02)
    assert ended == [True]


def test_what_work_raises_is_raised():
    def work(own):
        raise ValueError("no")

    with pytest.raises(ValueError, match="no"):
        watched(Progress(), work)


def test_batches_come_back_in_order_on_any_number_of_cores(monkeypatch):
    found = []
    for cores in (1, 2, 5):
        monkeypatch.setattr("os.cpu_count", lambda cores=cores: cores)
        # The first is the slowest.
        found.append(map_batches(lambda n: (time.sleep(0.02 / (n + 1)), n * n)[1], range(9)))
    assert found == [[n * n for n in range(9)]] * 3


def test_no_batch_is_begun_after_progress_says_stop(monkeypatch):
    monkeypatch.setattr("os.cpu_count", lambda: 2)
    begun = []

    def work(number):
        begun.append(number)
        time.sleep(0.01)

    def report(share, what):
        raise Cancelled("Stopped.")

    with pytest.raises(Cancelled):
        map_batches(work, range(100), Progress(report))
    assert 1 <= len(begun) < 10
