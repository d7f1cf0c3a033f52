"""Frames from a device or stream that sends at its own pace, with times and what was lost between."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from dawnbeat.capture.clock import DropCounter, FrameClock, Tick
from dawnbeat.capture.frames import Frame, Image
from dawnbeat.capture.opencv import Capture
from dawnbeat.shared.errors import DawnbeatError

_POS_MSEC = 0  # cv::CAP_PROP_POS_MSEC
_FAILURES_ALLOWED = 5
_SILENCE_ALLOWED_S = 2.0
_FIRST_DISCARDED = 5
_JUDGED = 30
_JUDGED_S = 2.0


@dataclass(frozen=True)
class Pace:
    """How frames really come: rate from the median step, jitter as the standard deviation of the steps."""

    rate_hz: float
    jitter_ms: float


class LiveReader:
    """Reads one capture. Not for two readers at once; `close` may come from another thread.

    what: the source in words that can stand in an error, such as "camera 0".
    monotonic, sleep: the clock and the waiting, for tests without either.
    """

    def __init__(
        self,
        capture: Capture,
        what: str,
        monotonic: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self._capture = capture
        self._what = what
        self._monotonic = monotonic
        self._sleep = sleep
        self._reading = threading.Lock()
        self._closing = False
        self._released = False
        self._first_s: float | None = None
        self._drops = DropCounter()
        self.clock = FrameClock()
        self.last_image: Image | None = None

    def warm_up(self) -> Pace:
        """Read first frames that nobody keeps: they prove the source, show its pace and choose the clock.

        Raises DawnbeatError when no frames come.
        """
        ticks: list[Tick] = []
        for seen in range(_FIRST_DISCARDED + _JUDGED):
            tick, self.last_image = self._read()
            if seen >= _FIRST_DISCARDED:  # what lay in the driver's buffers comes in one burst
                ticks.append(tick)
            if len(ticks) > 2 and ticks[-1].monotonic_s - ticks[0].monotonic_s > _JUDGED_S:
                break
        self.clock = FrameClock(ticks)
        driver_s = [tick.driver_s for tick in ticks if tick.driver_s is not None]
        clock_s = driver_s if self.clock.doubt is None else [tick.monotonic_s for tick in ticks]
        steps_s = np.diff(clock_s)
        usual_s = max(float(np.median(steps_s)), 1e-6)
        self._drops = DropCounter()
        return Pace(1.0 / usual_s, 1000.0 * float(np.std(steps_s)))

    def frames(self, between: Callable[[Image], None] | None = None) -> Iterator[Frame]:
        """Yield frames until `close`; `between` is called after each, while nothing is being read.

        Raises DawnbeatError when the source stops sending.
        """
        try:
            while not self._closing:
                tick, image = self._read()
                self.last_image = image
                now_s = self.clock.time_s(tick)
                if self._first_s is None:
                    self._first_s = now_s
                yield Frame(now_s - self._first_s, self._drops.lost_before(now_s), image)
                if between is not None:
                    between(image)
        except DawnbeatError:
            if not self._closing:
                raise
        finally:
            if self._closing:
                with self._reading:
                    self._release()

    def close(self) -> None:
        """Release the capture, or have the reader release it if it is held up in the driver right now."""
        self._closing = True
        if self._reading.acquire(timeout=1.0):
            try:
                self._release()
            finally:
                self._reading.release()

    def _release(self) -> None:
        if not self._released:
            self._released = True
            self._capture.release()

    def _read(self) -> tuple[Tick, Image]:
        failures = 0
        began_s = self._monotonic()
        while True:
            with self._reading:
                if self._closing:
                    raise DawnbeatError(f"{self._what} was closed")
                if self._capture.grab():
                    at_s = self._monotonic()
                    driver_s = self._capture.get(_POS_MSEC) / 1000.0
                    taken, image = self._capture.retrieve()
                    if taken and image is not None and image.size:
                        return Tick(at_s, driver_s if driver_s > 0 else None), three_channels(image)
            failures += 1
            if failures >= _FAILURES_ALLOWED or self._monotonic() - began_s > _SILENCE_ALLOWED_S:
                raise DawnbeatError(
                    f"{self._what} stopped sending frames: check that it is connected and that no other program uses it"
                )
            self._sleep(0.02)


def three_channels(image: Image) -> Image:
    """The picture with three channels, whatever the decoder gave."""
    if image.ndim == 2:
        image = image[:, :, np.newaxis]
    return image if image.shape[2] == 3 else np.repeat(image[:, :, :1], 3, axis=2)
