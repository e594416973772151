"""Modal operators: long work in a thread of its own, with progress in the window and Esc to stop.

The work is a plain function of geometry that touches no Blender data. The scene is changed only
at the end, in the main thread, so that stopped work leaves it as it was; what would block the
window there goes in parts, between which Blender draws.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

import bpy

from ...geometry.errors import Cancelled, SheetstackError
from ...geometry.geos_fault import geos_told
from ...geometry.progress import Progress
from .viewport import redraw_panels

Work = Callable[[Progress], Any]
#: Seconds between looks at the thread.
INTERVAL = 0.1
#: Seconds between two parts of putting a result into the scene.
REST = 0.005
UNDER_WAY = "Other work is under way; Esc stops it"


@dataclass
class Running:
    """A piece of work in its thread."""

    title: str
    work: Work
    share: float = 0.0
    what: str = ""
    result: Any = None
    failure: BaseException | None = None
    stop: threading.Event = field(default_factory=threading.Event)
    #: Held while the thread takes a step, and while it is asked to stop: none falls between.
    stepping: threading.Lock = field(default_factory=threading.Lock)
    thread: threading.Thread | None = None
    #: What is still to be put into the scene before the end, once the thread is through.
    parts: Iterator[None] | None = None

    def start(self) -> None:
        """Begin in a new thread."""
        self.thread = threading.Thread(target=self.run, name=self.title, daemon=True)
        self.thread.start()

    def report(self, share: float, what: str) -> None:
        """Take note of progress; called in the thread.

        Raises
        ------
        Cancelled
            The user asked it to stop.
        """
        with self.stepping:
            if self.stop.is_set():
                raise Cancelled(f"{self.title} was stopped; nothing has been changed.")
            self.share, self.what = share, what

    def ask_to_stop(self) -> float:
        """Return the share beyond which the thread will not come."""
        with self.stepping:
            self.stop.set()
            return self.share

    @property
    def ended(self) -> bool:
        """Whether the thread is through."""
        return self.thread is not None and not self.thread.is_alive()

    def run(self) -> None:
        """Do the work here; what it raises is kept for whoever asks for the result."""
        try:
            with geos_told(self.title):
                self.result = self.work(Progress(self.report))
        except BaseException as error:  # handed to the main thread, which raises it
            self.failure = error


#: The work that is under way, of which there is one at most.
_running: list[Running] = []


def running() -> Running | None:
    """Return the work that is under way."""
    return _running[0] if _running else None


def may_begin(operator: Any) -> bool:
    """Return whether no work is under way; else the operator's poll says so."""
    if running():
        operator.poll_message_set(UNDER_WAY)
        return False
    return True


#: Of work whose thread changes nothing outside of itself.
THROUGHOUT = math.inf


class LongWork:
    """What an operator with long work inherits beside ``bpy.types.Operator``.

    It defines ``work(context)``, which reads all that is needed from Blender and returns the
    function to run, and ``done(context, result)``, which changes the scene. Where that takes long,
    ``parts(result)`` does some of it before, bit by bit.
    """

    #: Share (or ``THROUGHOUT``) to which the thread changes nothing outside of itself. So far Esc
    #: ends the work at once and waits for no step of the thread: what it still does, nobody sees.
    harmless_until = 0.0
    #: Of Blender, from the beginning of this operator's own work to its end.
    _timer: Any = None

    def work(self, context: Any) -> Work:
        """Return the work as a function of a ``Progress``."""
        raise NotImplementedError

    def parts(self, result: Any) -> Iterator[None]:
        """Prepare the scene for ``done``, a part before each yield.

        The window draws and hears its user between two parts: each looks up anew what it changes,
        which may be gone, and leaves nothing that ``done`` could not do alone.
        """
        return iter(())

    def done(self, context: Any, result: Any) -> set[str]:
        """Put the result into the scene and return the operator's result."""
        raise NotImplementedError

    def execute(self: Any, context: Any) -> set[str]:
        """Do all at once: for scripts and where there is no window."""
        try:
            with geos_told(self.bl_label):
                result = self.work(context)(Progress())
                for _ in self.parts(result):
                    pass
                return self.done(context, result)  # type: ignore[no-any-return]
        except SheetstackError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}

    def invoke(self: Any, context: Any, event: Any) -> set[str]:
        """Begin in a thread and go modal."""
        if bpy.app.background:
            return self.execute(context)  # type: ignore[no-any-return]
        if running():  # whatever the operator's poll looks at: two would share one place
            self.report({"ERROR"}, f"{UNDER_WAY}.")
            return {"CANCELLED"}
        try:
            job = Running(self.bl_label, self.work(context))
        except SheetstackError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        _running[:] = [job]
        job.start()
        self._timer = context.window_manager.event_timer_add(INTERVAL, window=context.window)
        context.window_manager.progress_begin(0, 100)
        context.window_manager.modal_handler_add(self)
        return {"RUNNING_MODAL"}

    def modal(self: Any, context: Any, event: Any) -> set[str]:
        """Look at the thread now and then; raise only what nobody foresaw."""
        job = running()
        if job is None:  # ended by unregistering
            self._put_away(context)
            return {"CANCELLED"}
        if job.parts is None and event.type == "ESC" and event.value == "PRESS":
            share = job.ask_to_stop()
            if share < self.harmless_until and not job.ended:
                self._put_away(context)
                self.report({"WARNING"}, f"{self.bl_label}: stopped; nothing has been changed.")
                return {"CANCELLED"}
            return {"RUNNING_MODAL"}
        if event.type != "TIMER":
            return {"PASS_THROUGH"}
        if not job.ended:
            context.window_manager.progress_update(int(100 * job.share))
            context.workspace.status_text_set(f"{job.what}  {job.share:.0%}   Esc: stop")
            redraw_panels()
            return {"PASS_THROUGH"}
        if job.failure is None and self._has_part(context, job):
            return {"PASS_THROUGH"}
        self._put_away(context)
        if isinstance(job.failure, Cancelled):
            self.report({"WARNING"}, str(job.failure))
            return {"CANCELLED"}
        if isinstance(job.failure, SheetstackError):
            self.report({"ERROR"}, str(job.failure))
            return {"CANCELLED"}
        if job.failure is not None:
            raise job.failure
        try:
            with geos_told(self.bl_label):
                return self.done(context, job.result)  # type: ignore[no-any-return]
        except SheetstackError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}

    def _has_part(self: Any, context: Any, job: Running) -> bool:
        """Do the next part of putting the result into the scene; return whether there was one.

        A failure is kept with the job, as those of the thread are.
        """
        if job.parts is None:
            job.parts = iter(self.parts(job.result))
            manager = context.window_manager
            manager.event_timer_remove(self._timer)
            self._timer = manager.event_timer_add(REST, window=context.window)
        try:
            with geos_told(self.bl_label):
                return next(job.parts, job) is None
        except BaseException as error:  # raised again by whoever looks at the job
            job.failure = error
            return False

    def cancel(self: Any, context: Any) -> None:
        """Stop: Blender closes the window or loads another file, or the dialogue was cancelled."""
        if self._timer is None:  # its own work has not begun; that of others goes on
            return
        job = running()
        if job is not None:
            job.stop.set()
        self._put_away(context)

    def _put_away(self: Any, context: Any) -> None:
        _running.clear()
        if self._timer is not None:
            context.window_manager.event_timer_remove(self._timer)
            self._timer = None
        context.window_manager.progress_end()
        if context.workspace:
            context.workspace.status_text_set(None)
        redraw_panels()


CLASSES = ()


def register() -> None:
    """Begin with no work under way."""
    _running.clear()


def unregister() -> None:
    """Stop what is under way."""
    for job in _running:
        job.stop.set()
    _running.clear()
