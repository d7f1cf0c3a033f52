"""How the adversaries draw light: hearts, fingers and walls, and a camera that sees them for two minutes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.signal import butter, sosfiltfilt

from dawnbeat.recordings.invented.heart import Rhythm, Wave, beat_times, blood_volume
from dawnbeat.shared.trace import FloatArray, Trace

DURATION_S = 120.0
LEAD_S = 4.0

Wobble = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True)
class Reading:
    """One drawn reading with its true figures: no pulse where nothing pulses, no RMSSD where it isn't held to one."""

    trace: Trace
    pulse_bpm: float | None = None
    rmssd_ms: float | None = None


@dataclass(frozen=True)
class Body:
    """A finger: beats, the shape of its wave, how deep each colour pulses, and how bright and noisy each is.

    beats_s: (k,). volume: blood over time for given times. depth: (3,) shares of brightness. level, noise: (3,) in grey
    levels of a frame mean.
    """

    beats_s: FloatArray
    volume: Wobble
    depth: FloatArray
    level: FloatArray
    noise: FloatArray

    def absorbed(self, time_s: FloatArray) -> FloatArray:
        """(n, 3) logarithm of brightness that the blood takes away."""
        return -self.volume(time_s)[:, None] * self.depth


def heart(rng: np.random.Generator, **fixed: float) -> FloatArray:
    """Beats of a heart at rest, drawn wide; fixed: of Rhythm."""
    bpm = fixed.pop("mean_hr_bpm", float(rng.uniform(42, 90)))
    rmssd_ms = fixed.pop("rmssd_ms", float(np.clip(42.0 * (60.0 / bpm) ** 1.2 * np.exp(rng.normal(0, 0.45)), 12, 150)))
    rhythm = Rhythm(
        mean_hr_bpm=max(bpm, 35.0),
        rmssd_ms=rmssd_ms,
        breathing_per_min=float(rng.uniform(7, 19)),
        slow_depth=float(rng.uniform(0.005, 0.03)),
        seed=int(rng.integers(1 << 30)),
    )
    if fixed:
        rhythm = replace(rhythm, **fixed)
    stretch = max(bpm, 35.0) / bpm
    return beat_times(rhythm, (DURATION_S + 2 * LEAD_S) / stretch, -LEAD_S / stretch) * stretch


def finger(
    rng: np.random.Generator, beats_s: FloatArray | None = None, wave: Wave | None = None, ratio: float | None = None
) -> Body:
    """A finger under a lamp: green moves most, red and blue 0.45 to 0.9 of it.

    ratio: height of the green pulse over the noise of a frame mean.
    """
    beats_s = heart(rng) if beats_s is None else beats_s
    wave = wave or Wave(float(rng.uniform(95, 180)), float(rng.uniform(0.0, 0.9)), float(rng.uniform(0.5, 1.5)))
    depth = np.array([rng.uniform(0.45, 0.75), 1.0, rng.uniform(0.55, 0.9)]) * rng.uniform(0.008, 0.04)
    level = np.array([rng.uniform(100, 235), rng.uniform(30, 120), rng.uniform(25, 90)])
    ratio = float(np.exp(rng.uniform(np.log(60), np.log(250)))) if ratio is None else ratio
    noise = depth[1] * level[1] / ratio * np.array([rng.uniform(0.8, 1.6), 1.0, rng.uniform(0.8, 1.6)])
    return Body(beats_s, lambda time_s: blood_volume(beats_s, wave, time_s), depth, level, noise)


def truth(beats_s: FloatArray) -> tuple[float, float]:
    """Mean pulse in bpm and RMSSD in ms of the beats inside the reading."""
    nn_ms = 1000.0 * np.diff(beats_s[(beats_s >= 0) & (beats_s <= DURATION_S)])
    return 60000.0 / float(nn_ms.mean()), float(np.sqrt(np.mean(np.diff(nn_ms) ** 2)))


def camera(
    rng: np.random.Generator,
    body: Body,
    extra: FloatArray | float = 0.0,
    time_s: FloatArray | None = None,
    stamp_s: FloatArray | None = None,
    exposure: float = 0.5,
    wander: float = 0.002,
) -> Reading:
    """What a camera makes of it.

    extra: (n, 3) or (n, 1) logarithm of brightness added by whatever else moves the light. time_s: when the frames
    were taken, 30 a second if not given; stamp_s: when they say they were. exposure: of the frame's time. wander: how
    far the light gets in two minutes of small steps by chance; what else drifts does so within seconds.
    """
    time_s = np.arange(int(DURATION_S * 30)) / 30.0 if time_s is None else time_s
    # The light is added up over the exposure; three points of it are near enough for what a pulse does.
    span_s = exposure * float(np.median(np.diff(time_s)))
    absorbed = np.mean([body.absorbed(time_s + part * span_s) for part in (-0.33, 0.0, 0.33)], axis=0)
    drift = 0.01 * slow(rng, time_s, 0.15) + wander * np.cumsum(rng.standard_normal(time_s.size)) / np.sqrt(time_s.size)
    mean = body.level * np.exp(absorbed + drift[:, None] + extra)
    colour = np.clip(mean + rng.standard_normal(mean.shape) * body.noise, 0.0, 255.0)
    pulse_bpm, rmssd_ms = truth(body.beats_s) if body.depth.any() else (None, None)
    return Reading(Trace(time_s if stamp_s is None else stamp_s, colour), pulse_bpm, rmssd_ms)


def still(body: Body) -> Body:
    """The same finger, or wall, without a pulse."""
    return replace(body, depth=np.zeros(3))


def slow(rng: np.random.Generator, time_s: FloatArray, below_hz: float) -> FloatArray:
    """Smooth chance of unit spread below a frequency."""
    sos = butter(2, below_hz, "lowpass", fs=1.0 / float(np.median(np.diff(time_s))), output="sos")
    value = sosfiltfilt(sos, rng.standard_normal(time_s.size + 2000))[1000 : 1000 + time_s.size]
    return np.asarray(value / value.std())


def frame_times_s(rate_hz: float = 30.0) -> FloatArray:
    return np.arange(int(DURATION_S * rate_hz)) / rate_hz


def rising(stamp_s: FloatArray) -> FloatArray:
    """Times that rise by at least a tenth of a millisecond, as a recorder makes sure."""
    stamp_s = stamp_s - stamp_s[0]
    step = 1e-4 * np.arange(stamp_s.size)
    return np.asarray(np.maximum.accumulate(stamp_s - step) + step)


def in_one_colour(draw: Callable[..., Reading]) -> Callable[..., Reading]:
    """The same where only one colour lives: the others are clipped or black."""

    def drawn(rng: np.random.Generator) -> Reading:
        found = draw(rng)
        colour = found.trace.colour.copy()
        colour[:, [0, 2]] = rng.choice([0.0, 255.0], 2)
        return replace(found, trace=Trace(found.trace.time_s, colour))

    return drawn
