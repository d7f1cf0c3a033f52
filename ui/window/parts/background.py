"""Work off the window's thread: functions that run in a pool and answer in the window's thread."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from typing import Any, Protocol

from PySide6.QtCore import QObject, Qt, QThreadPool, Signal

from dawnbeat.shared.errors import DawnbeatError, one_line

_log = logging.getLogger(__name__)


class Cancelled(Exception):  # noqa: N818  not an error: somebody asked for it
    """Raised inside the work once nobody wants its result any more."""


class Task(Protocol):
    """What a function that runs in the background is given."""

    def progress(self, done: int, of: int) -> None:
        """Tell how far it is; raises Cancelled where the work is no longer wanted."""
        ...

    @property
    def cancelled(self) -> bool:
        """Whether the result is no longer wanted."""
        ...


class Work(QObject):
    """One running piece of work, and the Task that its function is given. Its signals arrive in the window's thread.

    progressed: how many done, of how many. done: the result. failed: one line that says what is wrong; neither comes
    after `cancel`. ended: always last.
    """

    progressed = Signal(int, int)
    done = Signal(object)
    failed = Signal(str)
    ended = Signal()

    _told = Signal(int, int)
    _over = Signal(bool, object)

    def __init__(self, function: Callable[[Task], Any], parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._function = function
        self._stop = threading.Event()
        # Bound methods of an object of the window's thread, so that the queue crosses over to it.
        self._told.connect(self._pass_on, Qt.ConnectionType.QueuedConnection)
        self._over.connect(self._finish, Qt.ConnectionType.QueuedConnection)

    def cancel(self) -> None:
        """Ask the work to stop; it ends at its next report of progress, and a late result is thrown away."""
        self._stop.set()

    @property
    def cancelled(self) -> bool:
        """Whether `cancel` was called."""
        return self._stop.is_set()

    def progress(self, done: int, of: int) -> None:
        """Tell how far it is; raises Cancelled once `cancel` was called."""
        if self.cancelled:
            raise Cancelled
        self._told.emit(done, of)

    def _pass_on(self, done: int, of: int) -> None:
        if not self.cancelled:
            self.progressed.emit(done, of)

    def _finish(self, failed: bool, what: object) -> None:
        if not self.cancelled:
            (self.failed if failed else self.done).emit(what)
        self.ended.emit()

    def run_here(self) -> None:
        """Run the function in the calling thread; only the pool calls this."""
        failed, what = True, None
        try:
            if not self.cancelled:
                what = self._function(self)
            failed = False
        except Cancelled:
            pass
        except DawnbeatError as error:
            what = str(error)
        except Exception as error:  # a fault of ours must not vanish in a thread
            _log.exception("work in the background failed")
            what = f"something went wrong here: {type(error).__name__}: {one_line(error)}"
        self._over.emit(failed, what)


class Background(QObject):
    """Runs work in a pool of its own and keeps hold of it until it has ended."""

    def __init__(self, parent: QObject | None = None, threads: int = 2) -> None:
        super().__init__(parent)
        self._pool = QThreadPool(self)
        self._pool.setMaxThreadCount(threads)
        self._running: set[Work] = set()

    def run(
        self,
        function: Callable[[Task], Any],
        done: Callable[[Any], object] | None = None,
        failed: Callable[[str], object] | None = None,
        progressed: Callable[[int, int], object] | None = None,
        ended: Callable[[], object] | None = None,
    ) -> Work:
        """Run `function(task)` off the window's thread; the callbacks are called in the window's thread.

        The function must touch no widget and no Journal object of another thread: open its own.
        """
        work = Work(function)
        for signal, callback in (
            (work.done, done),
            (work.failed, failed),
            (work.progressed, progressed),
            (work.ended, ended),
        ):
            if callback is not None:
                signal.connect(callback)
        self._running.add(work)
        work.ended.connect(lambda: self._running.discard(work))
        self._pool.start(work.run_here)
        return work

    @property
    def busy(self) -> bool:
        """Whether anything is running."""
        return bool(self._running)

    def stop(self, wait_ms: int = 3000) -> None:
        """Cancel everything and give it a moment to end; for closing."""
        for work in self._running:
            work.cancel()
        self._pool.waitForDone(wait_ms)


class Newest(QObject):
    """Runs one function at a time off the window's thread; a newer wish replaces the one that waits.

    A result that was overtaken is still given to `done`, since dragging a value should move the picture at once;
    after `drop` nothing of what was wished before arrives.
    """

    def __init__(
        self, background: Background, done: Callable[[Any], object], failed: Callable[[str], object], parent: QObject
    ) -> None:
        super().__init__(parent)
        self._background = background
        self._done, self._failed = done, failed
        self._running: Work | None = None
        self._waiting: Callable[[Task], Any] | None = None

    def want(self, function: Callable[[Task], Any]) -> None:
        """Run this as soon as what is running has ended, unless something newer comes first."""
        self._waiting = function
        if self._running is None:
            self._next()

    def drop(self) -> None:
        """Forget what waits, and throw away what is running."""
        self._waiting = None
        if self._running is not None:
            self._running.cancel()

    @property
    def busy(self) -> bool:
        """Whether anything runs or waits."""
        return self._running is not None

    def _next(self) -> None:
        function, self._waiting = self._waiting, None
        if function is None:
            self._running = None
            return
        self._running = self._background.run(function, self._done, self._failed, ended=self._next)
