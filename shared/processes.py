"""Work spread over processes of their own: started clean, and ended at once when told or when the program is gone."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
import time
from collections import deque
from collections.abc import Callable, Generator, Iterable
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from itertools import islice
from typing import Any, Generic, TypeVar

from dawnbeat.shared.errors import DawnbeatError

Item = TypeVar("Item")
Result = TypeVar("Result")

_LOOK_S = 0.1
# So many pieces are handed out ahead for each process: enough to keep it busy, few enough to stop soon.
_AHEAD = 4


class Processes(Generic[Item, Result]):
    """Calls one function with many items, for use once.

    function: at the top level of a module, since a process started afresh must import it. what, remedy: complete what
    is said where a process ends by itself, such as for lack of memory.
    """

    def __init__(self, function: Callable[[Item], Result], workers: int, what: str, remedy: str) -> None:
        # A forked copy of a program with threads and a window can hang; a process that starts clean can't.
        self._start = multiprocessing.get_context("spawn")
        self._stop = threading.Event()
        # No event of multiprocessing: whoever sets one waits for all that wait for it, also for those that died.
        self._told = self._start.RawValue("b", 0)
        self._function, self._workers = function, max(1, workers)
        self._what, self._remedy = what, remedy

    def stop(self) -> None:
        """End the processes, whatever they are at; from any thread."""
        self._stop.set()
        self._told.value = 1

    def in_order(self, items: Iterable[Item]) -> Generator[Result, None, None]:
        """Each result in the order of the items. Closing the generator ends the processes.

        Ends early after `stop`. Raises DawnbeatError when the processes can't be started or one dies.
        """
        for result in self._results(items, in_order=True):
            if not isinstance(result, _Nothing):
                yield result

    def as_ready(self, items: Iterable[Item]) -> Generator[Result | None, None, None]:
        """Each result as soon as it is there, and None now and then while nothing is, so that a cancel is seen.

        Ends and raises as `in_order` does.
        """
        for result in self._results(items, in_order=False):
            yield None if isinstance(result, _Nothing) else result

    def _results(self, items: Iterable[Item], in_order: bool) -> Generator[Result | _Nothing, None, None]:
        waiting: deque[Future[Result]] = deque()
        pool: ProcessPoolExecutor | None = None
        try:
            pool = ProcessPoolExecutor(self._workers, self._start, initializer=_end_when_told, initargs=(self._told,))
            coming = iter(items)
            while not self._stop.is_set():
                for item in islice(coming, _AHEAD * self._workers - len(waiting)):
                    waiting.append(pool.submit(_call, self._function, item))
                if not waiting:
                    return
                watched = [waiting[0]] if in_order else list(waiting)
                done = wait(watched, timeout=_LOOK_S, return_when=FIRST_COMPLETED).done
                if not done:
                    yield _Nothing()
                for future in done:
                    waiting.remove(future)
                    yield future.result()
        except (OSError, RuntimeError) as error:  # a broken pool is a RuntimeError
            if not self._stop.is_set():
                raise DawnbeatError(
                    f"{self._what} was stopped from outside, perhaps for lack of memory: {self._remedy}"
                ) from error
        finally:
            self.stop()
            if pool is not None:
                pool.shutdown(wait=False, cancel_futures=True)


class _Nothing:
    """Nothing is ready yet."""


# In each process: whether it is at an item, and what it must hold to begin or to end one.
_at_work = False
_turn = threading.Lock()


def _call(function: Callable[[Item], Result], item: Item) -> Result:
    global _at_work
    with _turn:
        _at_work = True
    try:
        return function(item)
    finally:
        with _turn:
            _at_work = False


def _end_when_told(told: Any) -> None:
    """In each process: end at once when told, or when the program that began it is gone.

    Only what is at an item ends by itself. Half a result would leave the program waiting for its other half; whoever
    sends one, or waits for an item, ends when the pool says so.
    """
    # Ctrl+C reaches the whole group; the program alone decides what it means.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()

    def watch() -> None:
        while parent is None or parent.is_alive():
            if told.value:
                with _turn:
                    if _at_work:
                        os._exit(0)
            time.sleep(_LOOK_S)
        os._exit(0)

    threading.Thread(target=watch, daemon=True).start()
