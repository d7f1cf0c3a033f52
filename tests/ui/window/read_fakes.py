"""Sources by script for the Read page: the whole protocol, and every fault that a camera can have."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace

from dawnbeat.capture.frames import Frame, Sample, SourceAbout
from dawnbeat.recordings.invented.rehearsal import RehearsalSource
from dawnbeat.recordings.invented.rhythm import Rhythm
from dawnbeat.recordings.invented.scenario import Scenario
from dawnbeat.shared.errors import DawnbeatError


class Paced:
    """The rehearsal finger at many times its speed, without losing a frame on a busy machine.

    lost_every: this frame of so many never comes.
    """

    def __init__(self, speed: float = 20.0, duration_s: float = 200.0, seed: int = 1, lost_every: int = 0) -> None:
        self._source = RehearsalSource(seed=seed, duration_s=duration_s, width=64, height=48)
        self._speed = speed
        self._lost_every = lost_every
        self.settled = 0

    @property
    def about(self) -> SourceAbout:
        return self._source.about

    def frames(self) -> Iterator[Frame]:
        began_s = time.monotonic()
        for number, frame in enumerate(self._source.frames(), start=1):
            if self._lost_every and number % self._lost_every == 0:
                continue
            if self._lost_every and number % self._lost_every == 1 and number > 1:
                frame = replace(frame, dropped_before=1)
            wait_s = began_s + frame.time_s / self._speed - time.monotonic()
            if wait_s > 0:
                time.sleep(wait_s)
            yield frame

    def settle(self) -> None:
        self.settled += 1

    def close(self) -> None:
        self._source.close()


@dataclass
class Scripted:
    """Colours of an invented finger as fast as they are taken.

    away: stretches (from, to) in seconds without a finger. breaks_at_s: raises there, as a camera that is
    unplugged does. jumps_at_s: the frame times jump by a minute, as after a sleep. silent_at_s: sends
    nothing more. at: called once with each name when its time has come. speed: None for as fast as can be.
    """

    away: tuple[tuple[float, float], ...] = ()
    breaks_at_s: float | None = None
    jumps_at_s: float | None = None
    silent_at_s: float | None = None
    at: dict[float, Callable[[], None]] = field(default_factory=dict)
    duration_s: float = 200.0
    speed: float | None = None

    def __post_init__(self) -> None:
        scenario = Scenario(rhythm=Rhythm(mean_hr_bpm=55.0, rmssd_ms=40.0), duration_s=self.duration_s)
        self._trace = scenario.trace()
        self._closed = threading.Event()
        self.settled = 0
        self.was_closed = False
        self.about = SourceAbout(camera="scripted finger (invented)", nominal_rate_hz=30.0)

    def frames(self) -> Iterator[Frame]:
        waiting = dict(self.at)
        began_s = time.monotonic()
        for time_s, colour in zip(self._trace.time_s.tolist(), self._trace.colour.tolist(), strict=True):
            for when_s in [when_s for when_s in waiting if time_s >= when_s]:
                waiting.pop(when_s)()
            if self._closed.is_set():
                return
            if self.breaks_at_s is not None and time_s >= self.breaks_at_s:
                raise DawnbeatError("camera 0 stopped sending frames: check that it is connected")
            if self.silent_at_s is not None and time_s >= self.silent_at_s:
                self._closed.wait(30.0)
                return
            if self.speed is not None:
                time.sleep(max(0.0, began_s + time_s / self.speed - time.monotonic()))
            later_s = 60.0 if self.jumps_at_s is not None and time_s >= self.jumps_at_s else 0.0
            gone = any(start <= time_s < end for start, end in self.away)
            yield Frame(time_s + later_s, sample=Sample(time_s, *colour, covered=0.1 if gone else 1.0))

    def settle(self) -> None:
        self.settled += 1

    def close(self) -> None:
        self.was_closed = True
        self._closed.set()
