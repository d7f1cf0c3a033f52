"""Sources by script and clocks that only move when told: a whole reading in no time, with every fault of a camera."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from dawnbeat.capture.frames import SOURCE_ENDED, End, Frame, FrameSource, Sample, SourceAbout
from dawnbeat.recordings.invented.heart import Rhythm
from dawnbeat.recordings.invented.scenario import Scenario
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.trace import Trace


@cache
def finger(duration_s: float) -> Trace:
    """An invented finger of 55 bpm; the same again and again."""
    return Scenario(rhythm=Rhythm(mean_hr_bpm=55.0, rmssd_ms=40.0), duration_s=duration_s).trace()


@dataclass
class Scripted:
    """Colours of an invented finger.

    away: stretches (from, to) in seconds without a finger. partly: the same with half of one. breaks_at_s: raises
    there, as a camera that is unplugged does. jumps_at_s: the frame times jump by a minute, as after a sleep.
    silent_at_s: sends nothing more. at: called once each when its time has come. lost_every: this frame of so many
    never comes. as_recording: gives the times of a recording, which wait for nobody.
    """

    away: tuple[tuple[float, float], ...] = ()
    partly: tuple[tuple[float, float], ...] = ()
    breaks_at_s: float | None = None
    jumps_at_s: float | None = None
    silent_at_s: float | None = None
    at: dict[float, Callable[[], object]] = field(default_factory=dict)
    lost_every: int = 0
    duration_s: float = 200.0
    as_recording: bool = False

    def __post_init__(self) -> None:
        self._trace = finger(self.duration_s)
        self.settled = 0
        self.closed = 0
        self.about = SourceAbout("scripted finger", nominal_rate_hz=30.0, live=not self.as_recording)

    def frames(self) -> Iterator[Frame]:
        waiting = dict(self.at)
        lost = 0
        rows = zip(self._trace.time_s.tolist(), self._trace.colour.tolist(), strict=True)
        for number, (time_s, colour) in enumerate(rows, start=1):
            for when_s in [when_s for when_s in waiting if time_s >= when_s]:
                waiting.pop(when_s)()
            if self.breaks_at_s is not None and time_s >= self.breaks_at_s:
                raise DawnbeatError("camera 0 stopped sending frames: check that it is connected")
            if self.silent_at_s is not None and time_s >= self.silent_at_s:
                return
            if self.lost_every and number % self.lost_every == 0:
                lost += 1
                continue
            later_s = 60.0 if self.jumps_at_s is not None and time_s >= self.jumps_at_s else 0.0
            covered = 1.0
            if any(start <= time_s < end for start, end in self.away):
                covered = 0.1
            elif any(start <= time_s < end for start, end in self.partly):
                covered = 0.5
            yield Frame(time_s + later_s, lost, sample=Sample(time_s, *colour, covered=covered))
            lost = 0

    def settle(self) -> None:
        self.settled += 1

    def close(self) -> None:
        self.closed += 1


class Clocks:
    """Wall and monotonic clock; both move with the frames, and the wall alone where the computer sleeps."""

    def __init__(self) -> None:
        self.now_s = 1000.0
        self.ahead_s = 0.0

    def monotonic(self) -> float:
        return self.now_s

    def wall(self) -> float:
        return 1.7e9 + self.now_s + self.ahead_s

    def feed(self, source: FrameSource) -> InLine:
        return InLine(source, self)

    @property
    def all(self) -> dict[str, Any]:
        """As `Taking` takes them."""
        return {"feed": self.feed, "wall": self.wall, "monotonic": self.monotonic}


class InLine:
    """Frames one after another in the caller's own thread; a silent source lets the clock go on."""

    def __init__(self, source: FrameSource, clocks: Clocks) -> None:
        self._frames = source.frames()
        self._clocks = clocks
        self._silent = getattr(source, "silent_at_s", None) or getattr(
            getattr(source, "_source", None), "silent_at_s", None
        )
        self._last_s: float | None = None
        self.stopped = False

    def take(self, timeout_s: float) -> Frame | End | None:
        try:
            frame = next(self._frames)
        except StopIteration:
            if self._silent is None:
                return End(SOURCE_ENDED, False)
            self._clocks.now_s += timeout_s
            return None
        except DawnbeatError as error:
            return End(str(error), True)
        if self._last_s is not None and frame.time_s - self._last_s < 3.0:
            self._clocks.now_s += frame.time_s - self._last_s
        self._last_s = frame.time_s
        return frame

    def stop(self) -> None:
        self.stopped = True
