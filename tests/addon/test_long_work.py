"""Esc ends long work: at once where nothing outside can be half done, else at the next step."""

import threading
from types import SimpleNamespace

import pytest

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")

from sheetstack.addon.core import long_work  # noqa: E402
from sheetstack.addon.core.long_work import THROUGHOUT, LongWork, Running, running  # noqa: E402
from sheetstack.addon.job.scene_job import job_of  # noqa: E402
from sheetstack.geometry.errors import Cancelled, SheetstackError  # noqa: E402

ESC = SimpleNamespace(type="ESC", value="PRESS")
TIMER = SimpleNamespace(type="TIMER", value="NOTHING")
MANAGER = SimpleNamespace(
    event_timer_remove=lambda _: None,
    event_timer_add=lambda *_, **__: "timer",
    progress_end=lambda: None,
)
CONTEXT = SimpleNamespace(window_manager=MANAGER, workspace=None, window=None)


class Deaf(LongWork):
    """Work whose thread hears nothing for as long as a step takes."""

    bl_label = "Deaf"

    def __init__(self, harmless_until):
        self.harmless_until, self.told = harmless_until, []

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
    operator = Deaf(0.9)
    assert operator.modal(CONTEXT, ESC) == {"CANCELLED"}
    assert not job.ended
    assert running() is None
    assert operator.told == ["Deaf: stopped; nothing has been changed."]


def test_esc_waits_for_work_that_may_be_writing(step):
    _, job = step
    operator = Deaf(0.0)
    assert operator.modal(CONTEXT, ESC) == {"RUNNING_MODAL"}
    assert running() is job
    assert job.stop.is_set()
    assert not operator.told


def test_esc_waits_once_the_work_has_begun_to_write(blender):
    writes, goes_on = threading.Event(), threading.Event()

    def work(progress):
        progress(0.9, "writing")
        writes.set()
        goes_on.wait(20)
        return "written"

    job = Running("Deaf", work)
    long_work._running[:] = [job]
    job.start()
    assert writes.wait(20)
    operator = Deaf(0.9)
    assert operator.modal(CONTEXT, ESC) == {"RUNNING_MODAL"}
    goes_on.set()
    job.thread.join()
    long_work._running.clear()
    assert job.result == "written"


class InParts(Deaf):
    """Work whose result goes into the scene in parts, the last of which may fail."""

    def __init__(self, fails=False):
        super().__init__(THROUGHOUT)
        self.fails, self.put = fails, []

    def parts(self, result):
        for part in result:
            self.put.append(part)
            yield
        if self.fails:
            raise SheetstackError("The last part has failed.")

    def done(self, context, result):
        self.put.append("done")
        return {"FINISHED"}


@pytest.fixture
def through(blender):
    """Work whose thread is through."""
    job = Running("In parts", lambda progress: ["one", "two"])
    long_work._running[:] = [job]
    job.start()
    job.thread.join()
    yield job
    long_work._running.clear()


def test_the_window_draws_between_the_parts_of_a_result(through):
    operator = InParts()
    assert operator.modal(CONTEXT, TIMER) == {"PASS_THROUGH"}
    assert operator.put == ["one"]
    # It is too late to stop: half of it stands in the scene.
    assert operator.modal(CONTEXT, ESC) == {"PASS_THROUGH"}
    assert running() is through
    assert operator.modal(CONTEXT, TIMER) == {"PASS_THROUGH"}
    assert operator.modal(CONTEXT, TIMER) == {"FINISHED"}
    assert operator.put == ["one", "two", "done"]
    assert running() is None


def test_a_part_that_fails_ends_the_work_with_its_sentence(through):
    operator = InParts(fails=True)
    results = [operator.modal(CONTEXT, TIMER) for _ in range(3)]
    assert results[-1] == {"CANCELLED"}
    assert operator.put == ["one", "two"]
    assert operator.told == ["The last part has failed."]
    assert running() is None


def test_a_build_interrupted_between_its_sheets_is_made_whole_by_the_next(blender, opened):
    from sheetstack.addon.sheets.ready_layer import ready_layer
    from sheetstack.addon.sheets.sheet_object import fill_sheet, sheets_of
    from sheetstack.geometry.build import build

    first, *_ = build(job_of(opened)).layers
    fill_sheet(opened, ready_layer(first))
    (sheet,) = sheets_of(opened).values()
    assert sheet.hide_viewport  # seen with the others only
    assert blender.ops.sheetstack.build() == {"FINISHED"}
    assert [s.hide_viewport for s in sheets_of(opened).values()] == [False, False]
    assert sheets_of(opened)[first.sheet.layer] == sheet
