"""What goes wrong on a real morning: pressure, movement, lifting, exposure, frames that come late or
never."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dawnbeat.shared.checked_fields import check_fields, number
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.trace import BoolArray, FloatArray, IntArray

# Random movement lives on this grid, so that it is the same whichever frames look at it.
_GRID_HZ = 100.0


@dataclass(frozen=True)
class Stretch:
    """A stretch of time with a strength; its meaning belongs to the fault.

    Raises DawnbeatError when the start is negative, or duration or strength is.
    """

    start_s: float
    duration_s: float
    strength: float = 1.0

    def __post_init__(self) -> None:
        if not (0 <= self.start_s < 1e6 and 0 <= self.duration_s < 1e6 and 0 <= self.strength <= 10):
            raise DawnbeatError(
                f"a fault from {self.start_s} s for {self.duration_s} s with strength {self.strength} "
                "can't be made: give seconds from 0 and a strength of 0 to 10"
            )

    def holds(self, time_s: FloatArray) -> BoolArray:
        """Whether each instant lies in the stretch."""
        return np.asarray((time_s >= self.start_s) & (time_s < self.start_s + self.duration_s))

    def blend(self, time_s: FloatArray, edge_s: float) -> FloatArray:
        """0 outside, 1 inside, with smooth edges of edge_s that lie inside the stretch."""
        rising = np.clip((time_s - self.start_s) / edge_s, 0.0, 1.0)
        falling = np.clip((self.start_s + self.duration_s - time_s) / edge_s, 0.0, 1.0)
        share = np.minimum(rising, falling)
        return np.asarray(share * share * (3.0 - 2.0 * share))


@dataclass(frozen=True)
class ExposureStep:
    """Automatic exposure changes: brightness times factor (0.2 to 5) within ramp_s (0.05 to 2 s)."""

    time_s: float
    factor: float
    ramp_s: float = 0.2

    def __post_init__(self) -> None:
        if not (0 <= self.time_s < 1e6 and 0.2 <= self.factor <= 5 and 0.05 <= self.ramp_s <= 2):
            raise DawnbeatError(
                f"an exposure step at {self.time_s} s by {self.factor} within {self.ramp_s} s can't be made: "
                "give a time from 0 s, a factor of 0.2 to 5 and a ramp of 0.05 to 2 s"
            )


@dataclass(frozen=True)
class RateChange:
    """From this time on, frames come at this rate (5 to 240 Hz)."""

    time_s: float
    rate_hz: float

    def __post_init__(self) -> None:
        if not (0 <= self.time_s < 1e6 and 5 <= self.rate_hz <= 240):
            raise DawnbeatError(
                f"a change to {self.rate_hz} frames a second at {self.time_s} s can't be made: "
                "give a time from 0 s and a rate of 5 to 240"
            )


@dataclass(frozen=True)
class Faults:
    """Everything that goes wrong in one recording; the default is a quiet finger and a perfect clock.

    movement: stretches in which the finger moves; strength is the relative swing of brightness (0.02 a
        twitch, 0.3 rubbing). Each leaves the finger lying slightly differently.
    lifted: stretches in which the finger is off the lens and the camera sees the room.
    weak: stretches in which the pulse is multiplied by strength (0 is none: pressed too hard, or cold).
    exposure: steps of automatic exposure. rate: changes of the frame rate. dropped: stretches in which no frame comes.

    Raises DawnbeatError when a value lies outside its range.
    """

    drift: float = number(0.0, 0, 0.5, "", "relative slow wander of brightness with pressure, standard deviation")
    movement: tuple[Stretch, ...] = ()
    lifted: tuple[Stretch, ...] = ()
    weak: tuple[Stretch, ...] = ()
    exposure: tuple[ExposureStep, ...] = ()
    rate: tuple[RateChange, ...] = ()
    jitter_ms: float = number(
        0.0, 0, 15, "ms", "standard deviation of when each frame is really exposed; its time tells the truth"
    )
    stamp_error_ms: float = number(0.0, 0, 15, "ms", "standard deviation of the error of the time of each frame")
    late_share: float = number(0.0, 0, 0.5, "", "share of frames that come up to a whole frame late")
    dropped_share: float = number(0.0, 0, 0.8, "", "share of frames that never come")
    dropped: tuple[Stretch, ...] = ()

    def __post_init__(self) -> None:
        check_fields(self, "the faults' ")


NO_FAULTS = Faults()


@dataclass(frozen=True)
class FrameTimes:
    """When frames are exposed and what their clock says, both in seconds, (n,) each, strictly increasing.

    exposed_s is the middle of the exposure; period_s the nominal distance of frames there; dropped_before how
    many frames are missing before each.
    """

    exposed_s: FloatArray
    stamp_s: FloatArray
    period_s: FloatArray
    dropped_before: IntArray


def frame_times(faults: Faults, duration_s: float, rate_hz: float, seed: int) -> FrameTimes:
    """The frames of a recording of duration_s at rate_hz, with jitter, late and missing frames."""
    rng = np.random.default_rng([seed, 11])
    nominal_s, period_s = _nominal(faults, duration_s, rate_hz)
    count = nominal_s.size
    wobble_s = rng.standard_normal(count) * faults.jitter_ms / 1000.0
    late = rng.uniform(size=count) < faults.late_share
    lateness_s = np.where(late, rng.uniform(0.2, 1.0, count), 0.0) * period_s
    exposed_s = nominal_s + np.clip(wobble_s, -0.3 * period_s, 0.3 * period_s) + lateness_s
    error_s = rng.standard_normal(count) * faults.stamp_error_ms / 1000.0
    stamp_s = exposed_s + np.clip(error_s, -0.3 * period_s, 0.3 * period_s)
    # The first frame sets the clock, so it is exactly on time.
    exposed_s[:1] = stamp_s[:1] = 0.0
    lost = rng.uniform(size=count) < faults.dropped_share
    for stretch in faults.dropped:
        lost |= stretch.holds(nominal_s)
    lost[:1] = False
    # A late frame may meet the next one: a driver hands frames over in order, so the times keep theirs.
    kept = np.flatnonzero(~lost)
    return FrameTimes(
        _in_order(exposed_s[kept]), _in_order(stamp_s[kept]), period_s[kept], np.diff(kept, prepend=-1) - 1
    )


def _in_order(time_s: FloatArray) -> FloatArray:
    step_s = 0.001 * np.arange(time_s.size)
    return np.asarray(np.maximum.accumulate(time_s - step_s) + step_s)


def _nominal(faults: Faults, duration_s: float, rate_hz: float) -> tuple[FloatArray, FloatArray]:
    changes = [RateChange(0.0, rate_hz), *sorted(faults.rate, key=lambda change: change.time_s)]
    times: list[FloatArray] = []
    periods: list[FloatArray] = []
    start_s = 0.0
    for index, change in enumerate(changes):
        end_s = min(changes[index + 1].time_s if index + 1 < len(changes) else duration_s, duration_s)
        count = max(0, int(np.ceil((end_s - start_s) * change.rate_hz - 1e-9)))
        times.append(start_s + np.arange(count) / change.rate_hz)
        periods.append(np.full(count, 1.0 / change.rate_hz))
        start_s += count / change.rate_hz
    return np.concatenate(times), np.concatenate(periods)


@dataclass(frozen=True)
class Disturbance:
    """What the faults do to the light at given instants.

    brightness: factor on each channel, shape of the instants and 3. covered: 0 where the finger is off, 1
    where it lies on the lens. pulse: factor on the pulse.
    """

    brightness: FloatArray
    covered: FloatArray
    pulse: FloatArray


def disturbance(faults: Faults, duration_s: float, time_s: FloatArray, seed: int) -> Disturbance:
    """What the faults do at each instant of time_s (any shape) of a recording of duration_s."""
    grid_s = np.arange(-1.0, duration_s + 2.0, 1.0 / _GRID_HZ)
    log_grid = _pressure(faults, grid_s, seed)[:, None] + _movement(faults, grid_s, seed)
    log_level = np.stack([np.interp(time_s, grid_s, log_grid[:, channel]) for channel in range(3)], axis=-1)
    for step in faults.exposure:
        share = np.clip((time_s - step.time_s) / step.ramp_s, 0.0, 1.0)
        log_level = log_level + (share * np.log(step.factor))[..., None]
    covered = np.ones(time_s.shape)
    for stretch in faults.lifted:
        covered = np.minimum(covered, 1.0 - stretch.blend(time_s, 0.15))
    pulse = np.ones(time_s.shape)
    for stretch in faults.weak:
        pulse = pulse * (1.0 + (stretch.strength - 1.0) * stretch.blend(time_s, 1.0))
    return Disturbance(np.exp(np.clip(log_level, -3.0, 3.0)), covered, pulse)


def _pressure(faults: Faults, grid_s: FloatArray, seed: int) -> FloatArray:
    """Slow wander of log brightness: a sum of slow tones, 0.004 to 0.12 Hz, weaker where faster."""
    rng = np.random.default_rng([seed, 12])
    tone_hz = 0.004 * 2.0 ** np.arange(0, 5.5, 0.5)
    depth = rng.uniform(0.5, 1.5, tone_hz.size) * (0.004 / tone_hz) ** 0.5
    depth *= faults.drift / np.sqrt(np.sum(depth**2) / 2)
    phase = rng.uniform(0, 2 * np.pi, tone_hz.size)
    return np.asarray(np.sin(2 * np.pi * tone_hz * grid_s[:, None] + phase) @ depth)


def _movement(faults: Faults, grid_s: FloatArray, seed: int) -> FloatArray:
    """Movement of log brightness, (n, 3): a wandering of 0.3 to 4 Hz, jolts, and a lasting shift after
    each."""
    log_level = np.zeros((grid_s.size, 3))
    for index, stretch in enumerate(faults.movement):
        rng = np.random.default_rng([seed, 13, index])
        gain = stretch.strength * rng.uniform(0.7, 1.3, 3)
        tone_hz = rng.uniform(0.3, 4.0, 12)
        phase = rng.uniform(0, 2 * np.pi, 12)
        depth = rng.uniform(0.3, 1.0, 12) / tone_hz**0.5
        wander = np.sin(2 * np.pi * tone_hz * grid_s[:, None] + phase) @ depth / np.sqrt(np.sum(depth**2) / 2)
        jolts = np.zeros(grid_s.size)
        for _ in range(1 + int(stretch.duration_s / 2.0)):
            at_s = stretch.start_s + rng.uniform(0.0, 1.0) * stretch.duration_s
            width_s = rng.uniform(0.05, 0.25)
            jolts += rng.normal(0.0, 2.0) * np.exp(-0.5 * ((grid_s - at_s) / width_s) ** 2)
        edge_s = min(0.5, max(0.02, stretch.duration_s / 4))
        burst = (wander + jolts) * stretch.blend(grid_s, edge_s)
        after = np.clip((grid_s - stretch.start_s) / max(stretch.duration_s, 0.02), 0.0, 1.0)
        log_level += (burst + rng.normal(0.0, 0.5) * after)[:, None] * gain
    return log_level
