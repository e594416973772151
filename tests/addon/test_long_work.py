"""Esc ends long work: at once where nothing outside can be half done, else at the next step."""

import threading
from types import SimpleNamespace

import pytest

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")

from sheetstack.addon.core import long_work  # noqa: E402
from sheetstack.addon.core.long_work import LongWork, Running, running  # noqa: E402
from sheetstack.geometry.errors import Cancelled  # noqa: E402

ESC = SimpleNamespace(type="ESC", value="PRESS")
MANAGER = SimpleNamespace(event_timer_remove=lambda _: None, progress_end=lambda: None)
CONTEXT = SimpleNamespace(window_manager=MANAGER, workspace=None)


class Deaf(LongWork):
    """Work whose thread hears nothing for as long as a step takes."""

    bl_label = "Deaf"

    def __init__(self, at_once):
        self.leaves_at_once, self.told = at_once, []

    def report(self, kind, text):
        self.told.append(text)


@pytest.fixture
def step(blender):
    """A step under way in the thread; setting it lets the step end."""
    goes_on = threading.Event()

    def work(progress):
        goes_on.wait(20)
        progress(0.5, "the next step")

    job = Running("Deaf", work)
    long_work._running[:] = [job]
    job.start()
    yield goes_on, job
    goes_on.set()
    job.thread.join()
    assert isinstance(job.failure, Cancelled)


def test_esc_does_not_wait_for_a_step_that_changes_nothing(step):
    _, job = step
    operator = Deaf(True)
    assert operator.modal(CONTEXT, ESC) == {"CANCELLED"}
    assert not job.ended
    assert running() is None
    assert operator.told == ["Deaf: stopped; nothing has been changed."]


def test_esc_waits_for_work_that_may_be_writing(step):
    _, job = step
    operator = Deaf(False)
    assert operator.modal(CONTEXT, ESC) == {"RUNNING_MODAL"}
    assert running() is job
    assert job.stop.is_set()
    assert not operator.told
