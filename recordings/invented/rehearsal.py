"""A rehearsal finger as a source of frames: everything can be tried without a camera."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator

from dawnbeat.capture.frames import Frame, SourceAbout
from dawnbeat.recordings.invented.faults import Faults
from dawnbeat.recordings.invented.finger_video import FingerVideo
from dawnbeat.recordings.invented.rhythm import Rhythm
from dawnbeat.recordings.invented.scenario import Scenario
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.trace import FloatArray

REHEARSAL_CAMERA = "rehearsal finger (invented)"
# A camera keeps a few frames for a program that is busy; what is older is lost.
_BUFFERED_FRAMES = 4


class RehearsalSource:
    """Frames of an invented finger, drawn as they are asked for.

    seed: another seed is another morning. rate_hz, duration_s: as in Scenario. realtime: frames come at their
    own pace, `speed` times as fast as their times say (0.1 to 1000), and are lost when nobody takes them;
    else as fast as they are taken, none lost. scenario: a whole morning to use instead of seed, rate and
    duration.

    beats_s: true beat times on the clock of the frames. Raises DawnbeatError for arguments out of range.
    """

    def __init__(
        self,
        seed: int = 1,
        rate_hz: float = 30.0,
        duration_s: float = 120.0,
        realtime: bool = False,
        speed: float = 1.0,
        width: int = 160,
        height: int = 120,
        scenario: Scenario | None = None,
        covered_share: float = 1.0,
    ) -> None:
        if not 0.1 <= speed <= 1000:
            raise DawnbeatError(f"a rehearsal at {speed} times the speed can't be played: give 0.1 to 1000")
        self.scenario = scenario or quiet_morning(seed, rate_hz, duration_s)
        self._video = FingerVideo(self.scenario, width, height, covered_share)
        self._realtime = realtime
        self._speed = speed
        self._closed = threading.Event()
        self._about = SourceAbout(
            camera=REHEARSAL_CAMERA,
            width=width,
            height=height,
            nominal_rate_hz=self.scenario.rate_hz,
            live=realtime,
            invented=True,
        )

    @property
    def about(self) -> SourceAbout:
        """Size and rate; an invented camera has no controls."""
        return self._about

    @property
    def beats_s(self) -> FloatArray:
        """True beat times within the duration, seconds from the first frame."""
        return self.scenario.beats_s

    @property
    def frame_count(self) -> int:
        """How many frames there are."""
        return len(self._video)

    def frames(self) -> Iterator[Frame]:
        """Yield the frames once, until the duration is over or the source is closed."""
        time_s = self._video.time_s
        patience_s = _BUFFERED_FRAMES / self.scenario.rate_hz / self._speed
        began_s = time.monotonic()
        lost = 0
        for index in range(len(self._video)):
            if self._realtime:
                wait_s = began_s + float(time_s[index]) / self._speed - time.monotonic()
                if wait_s > 0:
                    self._closed.wait(wait_s)
                elif wait_s < -patience_s:
                    lost += 1 + int(self._video.dropped_before[index])
                    continue
            if self._closed.is_set():
                return
            dropped = lost + int(self._video.dropped_before[index])
            lost = 0
            yield Frame(float(time_s[index]), dropped, self._video.image(index))

    def settle(self) -> None:
        """An invented camera has nothing to lock."""

    def close(self) -> None:
        """End the frames, also while somebody waits for the next one."""
        self._closed.set()


def quiet_morning(seed: int, rate_hz: float = 30.0, duration_s: float = 120.0) -> Scenario:
    """A calm finger under a lamp, on a camera with common jitter."""
    return Scenario(
        rhythm=Rhythm(mean_hr_bpm=50.0 + seed * 7 % 13, rmssd_ms=38.0 + seed * 11 % 23, seed=seed),
        faults=Faults(drift=0.004, jitter_ms=1.0, stamp_error_ms=0.2),
        duration_s=duration_s,
        rate_hz=rate_hz,
        seed=seed,
        description="a quiet morning",
    )
