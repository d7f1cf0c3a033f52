"""Tries a source of frames for a few seconds: whether it will do, what it sees, and the figures behind that."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np
from PySide6.QtCore import QObject, Signal

from dawnbeat.capture.camera import NoCameraError
from dawnbeat.capture.frames import FrameSource, Image
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.settings import Settings
from dawnbeat.ui.window.parts.background import Task, Work
from dawnbeat.ui.window.parts.context import AppContext

SECONDS = 4.0
_PICTURE_WIDTH = 320
# Fewer frames a second than common cameras give in good light; more are lost than a reading should lose.
_SLOW_HZ = 25.0
_MANY_LOST = 0.05
_TELL_EVERY_S = 0.5


@dataclass(frozen=True)
class Measured:
    """A source as it really is. jitter_ms: standard deviation of the steps. locks: by name of the control.

    picture: what it saw last, small, in BGR bytes; None where it sends no pictures.
    """

    camera: str
    width: int
    height: int
    frames: int
    dropped: int
    rate_hz: float | None
    jitter_ms: float | None
    locks: Mapping[str, str] = field(default_factory=dict)
    picture: Image | None = None

    def answer(self) -> str:
        """Whether it will do, in one sentence."""
        if self.rate_hz is None:
            return "Waiting for frames…"
        least_hz = Settings().min_frame_rate_hz
        if self.rate_hz < least_hz:
            return (
                f"This won't do: {self.rate_hz:.0f} frames a second, and {least_hz:.0f} are needed. Give it more light."
            )
        if self.dropped > _MANY_LOST * (self.frames + self.dropped):
            return "This will do, but frames are lost: close other programs, or come nearer to the network's antenna."
        if self.rate_hz < _SLOW_HZ:
            return "This will do, but it is slow: give it more light, since many cameras slow down in the dark."
        return "This will do."

    def words(self) -> str:
        """The figures in plain lines."""
        if self.rate_hz is None:
            return self.camera
        size = f", {self.width} x {self.height} pixels" if self.width else ""
        lines = [
            f"{self.camera}{size}: {self.rate_hz:.1f} frames a second, jitter {self.jitter_ms:.1f} ms "
            f"({self.frames} frames, {self.dropped} lost)."
        ]
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
        try:
            source = self._open(words)
        except NoCameraError as error:  # the window has its own ways out
            raise DawnbeatError(
                f"{error.plain}: press List cameras, use a phone on the page Read, or rehearse with the invented finger"
            ) from error
        try:
            times_s: list[float] = []
            dropped, told_s, image = 0, 0.0, None
            for frame in source.frames():
                times_s.append(frame.time_s)
                dropped += frame.dropped_before
                image = frame.image
                if task.cancelled or times_s[-1] - times_s[0] >= SECONDS:
                    break
                if times_s[-1] - told_s >= _TELL_EVERY_S:
                    told_s = times_s[-1]
                    self.measured.emit(_measured(source, times_s, dropped, {}, image))
            locks = source.try_locks() if hasattr(source, "try_locks") else {}
            return _measured(source, times_s, dropped, {**locks, **_clock(source)}, image)
        finally:
            source.close()


def _measured(
    source: FrameSource, times_s: list[float], dropped: int, locks: Mapping[str, str], image: Image | None
) -> Measured:
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
        None if image is None else image[:: (step := max(1, image.shape[1] // _PICTURE_WIDTH)), ::step].copy(),
    )


def _clock(source: FrameSource) -> dict[str, str]:
    return {name: words for name, words in source.about.controls.items() if name == "frame times"}


def _open(words: str) -> FrameSource:
    from dawnbeat.morning.sources import open_source

    return open_source(words, realtime=True)
