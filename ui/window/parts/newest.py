"""Newest wins: of many wishes in a row only the one that runs and the last one are ever worked on."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from PySide6.QtCore import QObject

from dawnbeat.ui.window.parts.work import Background, Task, Work


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
