"""Work off the window’s thread: functions run in a pool and answer in the window’s thread."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from typing import Any, Protocol

from PySide6.QtCore import QObject, QRunnable, Qt, QThreadPool, Signal

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
    """One running piece of work. All its signals arrive in the window's thread.

    progressed: how many done, of how many. done: the result. failed: one line that says what is wrong.
    cancelled: it ended because of `cancel`. ended: always last, whichever of the three came before.
    """

    progressed = Signal(int, int)
    done = Signal(object)
    failed = Signal(str)
    cancelled = Signal()
    ended = Signal()

    _told = Signal(int, int)
    _over = Signal(str, object)

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
    def wanted(self) -> bool:
        """False once `cancel` was called."""
        return not self._stop.is_set()

    def _pass_on(self, done: int, of: int) -> None:
        if self.wanted:
            self.progressed.emit(done, of)

    def _finish(self, how: str, what: object) -> None:
        if how == "cancelled" or not self.wanted:
            self.cancelled.emit()
        elif how == "failed":
            self.failed.emit(str(what))
        else:
            self.done.emit(what)
        self.ended.emit()

    def run_here(self) -> None:
        """Run the function in the calling thread; only the pool calls this."""
        how, what = "done", None
        try:
            if self._stop.is_set():
                raise Cancelled
            what = self._function(_Handle(self))
        except Cancelled:
            how = "cancelled"
        except DawnbeatError as error:
            how, what = "failed", str(error)
        except Exception as error:  # a fault of ours must not vanish in a thread
            _log.exception("work in the background failed")
            how, what = "failed", f"something went wrong here: {type(error).__name__}: {one_line(error)}"
        self._over.emit(how, what)


class _Handle:
    def __init__(self, work: Work) -> None:
        self._work = work

    def progress(self, done: int, of: int) -> None:
        if not self._work.wanted:
            raise Cancelled
        self._work._told.emit(done, of)

    @property
    def cancelled(self) -> bool:
        return not self._work.wanted


class _Runnable(QRunnable):
    def __init__(self, work: Work) -> None:
        super().__init__()
        self._work = work

    def run(self) -> None:
        self._work.run_here()


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
        self._pool.start(_Runnable(work))
        return work

    @property
    def busy(self) -> bool:
        """Whether anything is running."""
        return bool(self._running)

    def stop(self, wait_ms: int = 3000) -> None:
        """Cancel everything and give it a moment to end; for closing."""
        for work in list(self._running):
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
