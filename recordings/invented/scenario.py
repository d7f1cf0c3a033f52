"""A whole invented morning: rhythm, finger and faults in one object."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from dawnbeat.recordings.invented.faults import NO_FAULTS, Faults
from dawnbeat.recordings.invented.finger_trace import (
    LAMP_FINGER,
    Finger,
    Light,
    light,
    render_trace,
)
from dawnbeat.recordings.invented.heart import HeartBeats, Rhythm, heart_beats
from dawnbeat.shared.trace import BoolArray, FloatArray, Trace

# The heart beats before the recording begins and after it ends.
_LEAD_S, _TRAIL_S = 4.0, 2.0


@dataclass(frozen=True)
class Scenario:
    """An invented recording, with its truth. The same scenario gives the same frames, bit for bit.

    duration_s: 0 to 86400. rate_hz: nominal frames a second, 5 to 240. Raises DawnbeatError, when it is
    rendered, for values out of range.
    """

    rhythm: Rhythm = field(default_factory=Rhythm)
    finger: Finger = LAMP_FINGER
    faults: Faults = NO_FAULTS
    duration_s: float = 120.0
    rate_hz: float = 30.0
    seed: int = 1
    description: str = "an invented finger"

    @cached_property
    def heart(self) -> HeartBeats:
        """All beats that shape the frames, those shortly before and after the recording included."""
        if not any(part > 0 for part in self.finger.pulse_pct):
            return HeartBeats(np.empty(0), np.empty(0, dtype=np.bool_))
        return heart_beats(self.rhythm, self.duration_s + _LEAD_S + _TRAIL_S, start_s=-_LEAD_S)

    @property
    def beats_s(self) -> FloatArray:
        """True beat times within the recording, seconds on its clock; empty where no channel has a pulse."""
        return self.heart.time_s[self._recorded]

    @property
    def premature(self) -> BoolArray:
        """For each of beats_s, whether it came early."""
        return self.heart.premature[self._recorded]

    @property
    def _recorded(self) -> BoolArray:
        return np.asarray((self.heart.time_s >= 0) & (self.heart.time_s <= self.duration_s))

    def trace(self, gauge: bool = True) -> Trace:
        """The frames as a trace."""
        return render_trace(
            self.heart.time_s, self.finger, self.faults, self.duration_s, self.rate_hz, self.seed, gauge
        )

    def light(self) -> Light:
        """The frames before the sensor, for drawing them."""
        return light(self.heart.time_s, self.finger, self.faults, self.duration_s, self.rate_hz, self.seed)


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
