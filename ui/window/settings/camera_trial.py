"""Tries a source of frames for a few seconds: how fast they really come, how evenly, and what it locks."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np
from PySide6.QtCore import QObject, Signal

from dawnbeat.capture.frames import FrameSource
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.work import Task, Work

SECONDS = 4.0
_TELL_EVERY_S = 0.5


@dataclass(frozen=True)
class Measured:
    """A source as it really is. jitter_ms: standard deviation of the steps. locks: by name of the control."""

    camera: str
    width: int
    height: int
    frames: int
    dropped: int
    rate_hz: float | None
    jitter_ms: float | None
    locks: Mapping[str, str] = field(default_factory=dict)

    def words(self) -> str:
        """All of it in plain lines."""
        if self.rate_hz is None:
            return f"{self.camera}: waiting for frames…"
        size = f", {self.width} x {self.height} pixels" if self.width else ""
        lines = [
            f"{self.camera}{size}: {self.rate_hz:.1f} frames a second, jitter {self.jitter_ms:.1f} ms "
            f"({self.frames} frames, {self.dropped} lost)."
        ]
        if self.rate_hz < 25:
            lines.append("That is slow: give it more light, since many cameras slow down in the dark.")
        lines += [f"{name}: {answer}" for name, answer in self.locks.items()]
        return "\n".join(lines)


class CameraTest(QObject):
    """Runs one test in the background. measured: again and again while it runs. failed, ended: as in Work."""

    measured = Signal(object)
    failed = Signal(str)
    ended = Signal()

    def __init__(self, context: AppContext, open_source: Callable[[str], FrameSource] | None = None) -> None:
        super().__init__()
        self._context = context
        self._open = open_source or _open
        self._work: Work | None = None

    @property
    def running(self) -> bool:
        """Whether a test is going on."""
        return self._work is not None

    def start(self, words: str) -> None:
        """Test the source that `words` name."""
        if self._work is None:
            self._work = self._context.background.run(
                lambda task: self._measure(words, task),
                done=self.measured.emit,
                failed=self.failed.emit,
                ended=self._over,
            )

    def stop(self) -> None:
        """End the test at the next frame."""
        if self._work is not None:
            self._work.cancel()

    def _over(self) -> None:
        self._work = None
        self.ended.emit()

    def _measure(self, words: str, task: Task) -> Measured:
        source = self._open(words)
        try:
            times_s: list[float] = []
            dropped, told_s = 0, 0.0
            for frame in source.frames():
                times_s.append(frame.time_s)
                dropped += frame.dropped_before
                if task.cancelled or times_s[-1] - times_s[0] >= SECONDS:
                    break
                if times_s[-1] - told_s >= _TELL_EVERY_S:
                    told_s = times_s[-1]
                    self.measured.emit(_measured(source, times_s, dropped, {}))
            locks = source.try_locks() if hasattr(source, "try_locks") else {}
            return _measured(source, times_s, dropped, {**locks, **_clock(source)})
        finally:
            source.close()


def _measured(source: FrameSource, times_s: list[float], dropped: int, locks: Mapping[str, str]) -> Measured:
    about, steps_s = source.about, np.diff(times_s)
    enough = steps_s.size > 1
    return Measured(
        about.camera,
        about.width,
        about.height,
        len(times_s),
        dropped,
        float(1.0 / np.median(steps_s)) if enough else None,
        float(1000.0 * steps_s.std()) if enough else None,
        locks,
    )


def _clock(source: FrameSource) -> dict[str, str]:
    return {name: words for name, words in source.about.controls.items() if name == "frame times"}


def _open(words: str) -> FrameSource:
    from dawnbeat.morning.sources import open_source

    return open_source(words, realtime=True)
