"""What the live view costs and loses, counted while it runs; Bench shows it."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

_REMEMBERED = 600


@dataclass(frozen=True)
class Delay:
    """Time from a frame's arrival in the program to the end of the painting that shows it, in ms."""

    median_ms: float
    p95_ms: float
    longest_ms: float


class LiveFigures:
    """Counts of the present or last live view. The capture thread and the window each write their own part.

    frames: taken from the source. dropped: lost by the source or by the full queue. painted: pictures shown.
    skipped: pictures replaced by a newer one before the window came to them, which loses nothing of the
    reading. rate_hz: frames a second on the source's own clock over the last frames.
    """

    def __init__(self, monotonic: Callable[[], float] = time.monotonic) -> None:
        self._monotonic = monotonic
        self.reset()

    def reset(self) -> None:
        """Begin to count anew."""
        self.frames = 0
        self.dropped = 0
        self.painted = 0
        self.skipped = 0
        self._times_s: deque[float] = deque(maxlen=_REMEMBERED)
        self._delays_ms: deque[float] = deque(maxlen=_REMEMBERED)

    def frame_came(self, time_s: float, dropped_before: int) -> None:
        """A frame was taken from the queue; `time_s` is on the source's clock."""
        self.frames += 1
        self.dropped += dropped_before
        self._times_s.append(time_s)

    def was_painted(self, arrived_s: float) -> None:
        """The picture of the frame that arrived then (monotonic clock) has just been painted."""
        self.painted += 1
        self._delays_ms.append(1000.0 * (self._monotonic() - arrived_s))

    @property
    def rate_hz(self) -> float | None:
        """Frames a second; None before there are two."""
        times_s = list(self._times_s)
        span_s = times_s[-1] - times_s[0] if len(times_s) > 1 else 0.0
        return (len(times_s) - 1) / span_s if span_s > 0 else None

    @property
    def delay(self) -> Delay | None:
        """Delays of the last pictures; None before the first."""
        if not self._delays_ms:
            return None
        delays_ms = np.array(self._delays_ms)
        return Delay(float(np.median(delays_ms)), float(np.percentile(delays_ms, 95)), float(delays_ms.max()))

    def words(self) -> str:
        """One sentence for people."""
        if not self.frames:
            return "No live view has run yet."
        delay = self.delay
        seen = "none painted yet"
        if delay is not None:
            seen = (
                f"frame to paint {delay.median_ms:.0f} ms (95 % under {delay.p95_ms:.0f} ms, "
                f"longest {delay.longest_ms:.0f} ms)"
            )
        rate = "" if self.rate_hz is None else f" at {self.rate_hz:.1f} a second"
        return f"{self.frames} frames{rate}, {self.dropped} dropped; {seen}."
