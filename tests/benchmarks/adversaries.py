"""What fools the verdict: readings of light that no steady finger made, and of fingers that are hard but sane.

    python tests/benchmarks/adversaries.py [--readings 15] [--seed 1] [--only WORD]

Each family draws its readings by chance from a seed, two minutes each, and prints how many were called usable and how
many of these were wrong: usable with a pulse more than 3 bpm or an RMSSD more than 20 % off, or pulse_usable with a
pulse more than 3 bpm off. Where nothing pulses, every figure is wrong. Nothing here is taken from a recording; the
sizes are those of ordinary rooms, lamps, cameras and networks (from memory, no source), drawn wide.
"""

from __future__ import annotations

import argparse
import os
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from rich.box import SIMPLE
from rich.console import Console
from rich.table import Table
from scipy.signal import butter, sosfiltfilt

from dawnbeat.recordings.invented.heart import Rhythm, Wave, beat_times, blood_volume
from dawnbeat.shared.reading import Analysis
from dawnbeat.shared.trace import FloatArray, Trace
from dawnbeat.signal.analysis import analyse

DURATION_S = 120.0
MOST_BPM_OFF = 3.0
MOST_RMSSD_OFF = 0.20
_LEAD_S = 4.0

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


@dataclass(frozen=True)
class Family:
    """A kind of light with how to draw it. kind: "sane", "disturbed", or "untold" where no bare trace can tell."""

    name: str
    kind: str
    draw: Callable[[np.random.Generator], Reading]


# Hearts and fingers.


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
    return beat_times(rhythm, (DURATION_S + 2 * _LEAD_S) / stretch, -_LEAD_S / stretch) * stretch


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
    drift = 0.01 * _slow(rng, time_s, 0.15) + wander * np.cumsum(rng.standard_normal(time_s.size)) / np.sqrt(
        time_s.size
    )
    mean = body.level * np.exp(absorbed + drift[:, None] + extra)
    colour = np.clip(mean + rng.standard_normal(mean.shape) * body.noise, 0.0, 255.0)
    pulse_bpm, rmssd_ms = truth(body.beats_s) if body.depth.any() else (None, None)
    return Reading(Trace(time_s if stamp_s is None else stamp_s, colour), pulse_bpm, rmssd_ms)


def still(body: Body) -> Body:
    """The same finger, or wall, without a pulse."""
    return replace(body, depth=np.zeros(3))


# What else moves light: each gives a wobble of about one unit from crest to trough.


def _phase(rng: np.random.Generator, time_s: FloatArray, per_min: float, wander: float) -> FloatArray:
    """Turns of an oscillation whose rate wanders by a share, slowly and from turn to turn."""
    step_s = np.diff(time_s, prepend=time_s[0])
    slow = _slow(rng, time_s, 0.15)
    return np.asarray(np.cumsum(per_min / 60.0 * step_s * (1.0 + wander * slow)) + rng.uniform())


def _slow(rng: np.random.Generator, time_s: FloatArray, below_hz: float) -> FloatArray:
    """Smooth chance of unit spread below a frequency."""
    sos = butter(2, below_hz, "lowpass", fs=1.0 / float(np.median(np.diff(time_s))), output="sos")
    value = sosfiltfilt(sos, rng.standard_normal(time_s.size + 2000))[1000 : 1000 + time_s.size]
    return np.asarray(value / value.std())


def _rate(rng: np.random.Generator) -> float:
    return float(np.exp(rng.uniform(np.log(40), np.log(130))))


def blinking(rng: np.random.Generator, time_s: FloatArray) -> FloatArray:
    """A light that goes on and off, evenly or nearly."""
    turn = _phase(rng, time_s, _rate(rng), float(rng.choice([0.0, 0.03, 0.08])))
    return np.where(turn % 1.0 < rng.uniform(0.2, 0.8), 0.5, -0.5)


def pulsing_lamp(rng: np.random.Generator, time_s: FloatArray) -> FloatArray:
    """A lamp that swells and fades, or mains flicker folded down by the camera."""
    turn = _phase(rng, time_s, _rate(rng), float(rng.uniform(0.0, 0.08)))
    return 0.5 * np.sin(2 * np.pi * turn) + rng.uniform(0, 0.2) * np.sin(4 * np.pi * turn + rng.uniform(0, 6))


def swinging_lamp(rng: np.random.Generator, time_s: FloatArray) -> FloatArray:
    """A lamp on a cord: near, far, near, with its swing dying away and pushed again."""
    turn = _phase(rng, time_s, float(rng.uniform(35, 75)), 0.01)
    size = 0.7 + 0.3 * np.sin(2 * np.pi * time_s / rng.uniform(25, 60))
    return np.asarray(size * 0.5 * (np.cos(2 * np.pi * turn) + 0.3 * np.cos(4 * np.pi * turn)))


def hunting_exposure(rng: np.random.Generator, time_s: FloatArray) -> FloatArray:
    """A camera that overshoots its exposure, steps back, and begins again."""
    turn = _phase(rng, time_s, _rate(rng), float(rng.uniform(0.0, 0.1)))
    rise = rng.uniform(0.1, 0.5)
    part = turn % 1.0
    saw = np.where(part < rise, part / rise, (1.0 - part) / (1.0 - rise)) - 0.5
    steps = rng.integers(3, 30)
    return np.asarray(rng.choice([-1, 1]) * np.round(saw * steps) / steps)


def beat_like_lamp(rng: np.random.Generator, time_s: FloatArray) -> FloatArray:
    """A light that brightens and dims with the very shape of a pulse, as a screen that shows one would."""
    beats_s = heart(rng)
    return -blood_volume(beats_s, Wave(130.0, 0.4), time_s)


def fading_lamp(rng: np.random.Generator, time_s: FloatArray) -> FloatArray:
    """A lamp that is switched at intervals that wander, and nears each level at its own pace, up and down."""
    at_s = _events(rng, time_s, _rate(rng), float(np.exp(rng.uniform(np.log(0.01), np.log(0.1)))))
    on_s = at_s[-1] - at_s[-2]
    on_s *= rng.uniform(0.15, 0.6)
    up_s, down_s = np.exp(rng.uniform(np.log(0.03), np.log(0.3), 2))
    step_s = float(np.median(np.diff(time_s)))
    lit = np.searchsorted(at_s, time_s) > np.searchsorted(at_s + on_s, time_s)
    value = np.zeros(time_s.size)
    for row in range(1, time_s.size):
        pace_s = up_s if lit[row] else down_s
        value[row] = value[row - 1] + (lit[row] - value[row - 1]) * (1.0 - np.exp(-step_s / pace_s))
    return np.asarray(rng.choice([-1, 1]) * value)


def passing_shadows(rng: np.random.Generator, time_s: FloatArray) -> FloatArray:
    """A fan's blade, a curtain, leaves before the window: dips of their own width."""
    return -_bumps(rng, time_s, _rate(rng), rng.uniform(0.02, 0.25), rng.uniform(0.05, 0.15))


def tapping(rng: np.random.Generator, time_s: FloatArray) -> FloatArray:
    """A finger that taps or a cable that is tapped: short pushes, each swinging back."""
    at_s = _events(rng, time_s, _rate(rng), rng.uniform(0.02, 0.12))
    ring_hz, decay_s = rng.uniform(3, 9), rng.uniform(0.05, 0.2)
    total = np.zeros(time_s.size)
    for each in at_s:
        since = np.maximum(time_s - each, 0.0)
        total += rng.uniform(0.6, 1.0) * np.sin(2 * np.pi * ring_hz * since) * np.exp(-since / decay_s)
    return total


def pressing(rng: np.random.Generator, time_s: FloatArray) -> FloatArray:
    """A finger that presses and eases, blood pushed out and let in again."""
    return _bumps(rng, time_s, _rate(rng), rng.uniform(0.08, 0.25), rng.uniform(0.02, 0.12))


def footsteps(rng: np.random.Generator, time_s: FloatArray) -> FloatArray:
    """Steps on a springy floor."""
    turn = _phase(rng, time_s, float(rng.uniform(95, 125)), 0.04)
    value = sum(np.sin(2 * np.pi * turn * k + rng.uniform(0, 6)) / k for k in (1, 2, 3))
    return np.asarray(0.35 * value)


def rubbing(rng: np.random.Generator, time_s: FloatArray) -> FloatArray:
    """A finger that rubs to and fro, never twice alike."""
    sos = butter(1, [0.6, 3.0], "bandpass", fs=30.0, output="sos")
    value = sosfiltfilt(sos, rng.standard_normal(time_s.size))
    return np.asarray(0.35 * value / value.std())


def fast_breathing(rng: np.random.Generator, time_s: FloatArray) -> FloatArray:
    """Breath, which moves the finger, or its blood, thirty to forty-five times a minute."""
    turn = _phase(rng, time_s, float(rng.uniform(28, 45)), 0.05)
    return 0.5 * np.sin(2 * np.pi * turn) + 0.1 * np.sin(4 * np.pi * turn + rng.uniform(0, 6))


def screen(rng: np.random.Generator, time_s: FloatArray) -> FloatArray:
    """A film on a screen nearby: cuts at every length."""
    at_s = np.cumsum(np.maximum(rng.gamma(4.0, rng.uniform(0.15, 0.3), 2000), 0.15))
    return np.asarray(rng.uniform(-0.5, 0.5, 2001)[np.searchsorted(at_s, time_s)])


def _events(rng: np.random.Generator, time_s: FloatArray, per_min: float, spread: float) -> FloatArray:
    step_s = 60.0 / per_min * np.maximum(1.0 + spread * rng.standard_normal(600), 0.4)
    at_s = np.cumsum(step_s) - 2.0
    return np.asarray(at_s[at_s < time_s[-1] + 1.0])


def _bumps(rng: np.random.Generator, time_s: FloatArray, per_min: float, spread: float, width_s: float) -> FloatArray:
    at_s = _events(rng, time_s, per_min, spread)
    apart_s = time_s[:, None] - at_s
    return np.asarray((rng.uniform(0.7, 1.0, at_s.size) * np.exp(-0.5 * (apart_s / width_s) ** 2)).sum(axis=1))


LAMPS = {
    "blinking light": blinking,
    "pulsing lamp": pulsing_lamp,
    "swinging lamp": swinging_lamp,
    "hunting exposure": hunting_exposure,
    "light shaped like a pulse": beat_like_lamp,
    "fading lamp": fading_lamp,
    "passing shadows": passing_shadows,
    "film on a screen": screen,
}
MOVES = {
    "tapping": tapping,
    "pressing": pressing,
    "footsteps": footsteps,
    "rubbing": rubbing,
    "fast breathing": fast_breathing,
}


def _lamp_alone(wobble: Callable[[np.random.Generator, FloatArray], FloatArray]) -> Callable[..., Reading]:
    def draw(rng: np.random.Generator) -> Reading:
        body = finger(rng)
        size = np.exp(rng.uniform(np.log(0.005), np.log(0.2)))
        return camera(rng, still(body), size * wobble(rng, _times())[:, None])

    return draw


def _lamp_over(wobble: Callable[[np.random.Generator, FloatArray], FloatArray]) -> Callable[..., Reading]:
    def draw(rng: np.random.Generator) -> Reading:
        body = finger(rng)
        size = body.depth[1] * np.exp(rng.uniform(np.log(0.3), np.log(10.0)))
        return camera(rng, body, size * wobble(rng, _times())[:, None])

    return draw


def _moving_colours(rng: np.random.Generator, body: Body) -> FloatArray:
    """How a movement changes each colour: like blood, like light, or neither."""
    how = rng.integers(3)
    if how == 0:
        return body.depth / body.depth[1] * rng.uniform(0.95, 1.05, 3)
    return np.ones(3) if how == 1 else rng.uniform(0.2, 1.2, 3)


def _move_alone(wobble: Callable[[np.random.Generator, FloatArray], FloatArray]) -> Callable[..., Reading]:
    def draw(rng: np.random.Generator) -> Reading:
        body = finger(rng)
        size = np.exp(rng.uniform(np.log(0.005), np.log(0.1)))
        return camera(rng, still(body), size * wobble(rng, _times())[:, None] * _moving_colours(rng, body))

    return draw


def _move_over(wobble: Callable[[np.random.Generator, FloatArray], FloatArray]) -> Callable[..., Reading]:
    def draw(rng: np.random.Generator) -> Reading:
        body = finger(rng)
        size = body.depth[1] * np.exp(rng.uniform(np.log(0.3), np.log(10.0)))
        return camera(rng, body, size * wobble(rng, _times())[:, None] * _moving_colours(rng, body))

    return draw


def _grey(draw: Callable[..., Reading]) -> Callable[..., Reading]:
    """The same where only one colour lives: the others are clipped or black."""

    def drawn(rng: np.random.Generator) -> Reading:
        found = draw(rng)
        colour = found.trace.colour.copy()
        colour[:, [0, 2]] = rng.choice([0.0, 255.0], 2)
        return replace(found, trace=Trace(found.trace.time_s, colour))

    return drawn


def second_pulse(rng: np.random.Generator) -> Reading:
    """Two people's fingers on one lens, the other's 0.3 to 3 times as deep; which one is meant can't be known."""
    body, other = finger(rng), finger(rng)
    share = float(np.exp(rng.uniform(np.log(0.3), np.log(3.0))))
    extra = other.absorbed(_times()) * share * body.depth[1] / other.depth[1]
    return camera(rng, body, extra)


def coloured_lamp(rng: np.random.Generator) -> Reading:
    """A coloured lamp that pulses in white daylight: each colour moves by its own share."""
    body = finger(rng)
    share = rng.uniform(0.3, 1.0, 3)
    size = np.exp(rng.uniform(np.log(0.005), np.log(0.1)))
    wobble = rng.choice([pulsing_lamp, blinking, swinging_lamp, hunting_exposure])
    return camera(rng, still(body), size * wobble(rng, _times())[:, None] * share)


def amber_lamp(rng: np.random.Generator) -> Reading:
    """A lamp of its own colour, from red over amber to orange, that fades up and down: red moves most, blue hardly."""
    share = np.array([rng.uniform(1.1, 1.8), 1.0, rng.uniform(0.0, 0.4)])
    size = np.exp(rng.uniform(np.log(0.005), np.log(0.1)))
    return camera(rng, still(finger(rng)), size * fading_lamp(rng, _times())[:, None] * share)


def glowing_wire(rng: np.random.Generator) -> Reading:
    """A dimmed filament: by Wien's law colours move as one over their wavelength."""
    share = np.array([540 / rng.uniform(590, 620), 1.0, 540 / rng.uniform(450, 475)])
    size = np.exp(rng.uniform(np.log(0.005), np.log(0.1)))
    return camera(rng, still(finger(rng)), size * fading_lamp(rng, _times())[:, None] * share)


def noise_only(rng: np.random.Generator) -> Reading:
    """A still wall: noise, white or in the band of a pulse."""
    body = finger(rng)
    size = np.exp(rng.uniform(np.log(0.001), np.log(0.05)))
    sos = butter(2, [0.7, 3.0], "bandpass", fs=30.0, output="sos")
    value = sosfiltfilt(sos, rng.standard_normal((_times().size, 3)), axis=0)
    return camera(rng, still(body), size * value * rng.integers(2))


# The clock.


def _times(rate_hz: float = 30.0) -> FloatArray:
    return np.arange(int(DURATION_S * rate_hz)) / rate_hz


def _rising(stamp_s: FloatArray) -> FloatArray:
    """Times that rise by at least a tenth of a millisecond, as a recorder makes sure."""
    stamp_s = stamp_s - stamp_s[0]
    step = 1e-4 * np.arange(stamp_s.size)
    return np.asarray(np.maximum.accumulate(stamp_s - step) + step)


def wandering_stamps(rng: np.random.Generator) -> Reading:
    """A delay that comes and goes by 3 to 40 ms over a second or so."""
    size_s = np.exp(rng.uniform(np.log(0.003), np.log(0.040)))
    late_s = size_s * _slow(rng, _times(), float(rng.uniform(0.2, 3.0)))
    return camera(rng, finger(rng), stamp_s=_rising(_times() + late_s))


def delayed_stamps(rng: np.random.Generator) -> Reading:
    """Each frame late by its own delay, mostly a little and at times much."""
    late_s = rng.exponential(np.exp(rng.uniform(np.log(0.002), np.log(0.02))), _times().size)
    return camera(rng, finger(rng), stamp_s=_rising(_times() + late_s))


def bursts(rng: np.random.Generator) -> Reading:
    """Frames that come two to five at a time."""
    time_s = _times()
    count = int(rng.integers(2, 6))
    stamp_s = time_s[np.minimum((np.arange(time_s.size) // count + 1) * count - 1, time_s.size - 1)]
    return camera(rng, finger(rng), stamp_s=_rising(stamp_s + rng.uniform(0, 0.002, time_s.size)))


def coarse_stamps(rng: np.random.Generator) -> Reading:
    """A clock that ticks every 10 to 16 ms."""
    tick_s = float(rng.uniform(0.010, 0.016))
    return camera(rng, finger(rng), stamp_s=_rising(np.floor(_times() / tick_s) * tick_s))


def _repeated(reading: Reading, keep: np.ndarray) -> Reading:
    """Every frame that is not kept shows the one before."""
    rows = np.maximum.accumulate(np.where(keep, np.arange(keep.size), 0))
    return replace(reading, trace=Trace(reading.trace.time_s, reading.trace.colour[rows]))


def repeated_frames(rng: np.random.Generator) -> Reading:
    """Five to sixty of a hundred frames are the one before once more."""
    share = rng.uniform(0.05, 0.6)
    return _repeated(camera(rng, finger(rng)), rng.uniform(size=_times().size) >= share)


def ten_as_thirty(rng: np.random.Generator) -> Reading:
    """Six to fifteen frames a second, sent as thirty: every second to fifth frame is one."""
    every = int(rng.integers(2, 6))
    return _repeated(camera(rng, finger(rng)), np.arange(_times().size) % every == 0)


def moved_grid(rng: np.random.Generator) -> Reading:
    """A camera of 20 to 28 frames a second, sent on as thirty: the shown frame is up to a step old."""
    rate_hz = float(rng.uniform(20, 28))
    taken_s = np.floor(_times() * rate_hz) / rate_hz
    unique_s, rows = np.unique(taken_s, return_inverse=True)
    found = camera(rng, finger(rng), time_s=unique_s)
    return replace(found, trace=Trace(_times(), found.trace.colour[rows]))


def wrong_rate(rng: np.random.Generator) -> Reading:
    """25 frames a second, written as 30: nothing in the trace tells."""
    return camera(rng, finger(rng), time_s=_times(25.0), stamp_s=_times(25.0) * 25.0 / 30.0)


def unnoticed_losses(rng: np.random.Generator) -> Reading:
    """One to ten of a hundred frames lost, and the stamps go on as if none were."""
    time_s = _times()[rng.uniform(size=_times().size) >= rng.uniform(0.01, 0.10)]
    return camera(rng, finger(rng), time_s=time_s, stamp_s=np.arange(time_s.size) / 30.0)


# The sensor, the file.


def clipped(rng: np.random.Generator) -> Reading:
    """Too bright in every colour: the frame means stop at the top for a part of each beat."""
    body = finger(rng)
    body = replace(body, level=255.0 * (1.0 + body.depth * rng.uniform(-0.1, 0.9)))
    return camera(rng, body)


def soft_clipped(rng: np.random.Generator) -> Reading:
    """Too bright in every colour for a part of the pixels, so that the means bend."""
    found = camera(rng, replace(finger(rng), level=rng.uniform(225, 285, 3)))
    top, room = 255.0, rng.uniform(4, 15)
    colour = top - room * np.log1p(np.exp((top - found.trace.colour) / room))
    return replace(found, trace=Trace(found.trace.time_s, np.clip(colour, 0, 255)))


def whole_levels(rng: np.random.Generator) -> Reading:
    """Frame means rounded to whole grey levels."""
    found = camera(rng, finger(rng))
    return replace(found, trace=Trace(found.trace.time_s, np.round(found.trace.colour)))


def half_levels(rng: np.random.Generator) -> Reading:
    """Frame means rounded to a half or a quarter of a grey level."""
    found = camera(rng, finger(rng))
    step = rng.choice([0.5, 0.25])
    return replace(found, trace=Trace(found.trace.time_s, np.round(found.trace.colour / step) * step))


def held_blocks(rng: np.random.Generator) -> Reading:
    """Strong compression: each block of the picture holds its colour until it is wrong by a quantum."""
    found = camera(rng, finger(rng))
    colour = found.trace.colour
    quantum = float(np.exp(rng.uniform(np.log(0.3), np.log(4.0))))
    offset = rng.uniform(-0.5, 0.5, (24, 3)) * quantum
    shown = np.empty((colour.shape[0], 24, 3))
    held = colour[0] + offset
    for row, now in enumerate(colour):
        target = now + offset
        held = np.where(np.abs(target - held) > 0.5 * quantum, np.round(target / quantum) * quantum, held)
        if row % 12 == 0:
            held = np.round(target / (0.5 * quantum)) * 0.5 * quantum
        shown[row] = held
    return replace(found, trace=Trace(found.trace.time_s, np.clip(shown.mean(axis=1), 0, 255)))


def tone_curve(rng: np.random.Generator) -> Reading:
    """A camera that bends its brightness, as all do: a power of 0.4 to 1 and a black level."""
    found = camera(rng, finger(rng))
    colour = 255.0 * (found.trace.colour / 255.0) ** rng.uniform(0.4, 1.0) + rng.uniform(0, 6)
    return replace(found, trace=Trace(found.trace.time_s, np.clip(colour, 0, 255)))


def wandering_light(rng: np.random.Generator) -> Reading:
    """Light that wanders in small steps by chance, two to ten of a hundred in two minutes."""
    return camera(rng, finger(rng), wander=float(rng.uniform(0.02, 0.1)))


def faint(rng: np.random.Generator) -> Reading:
    """A pulse hardly over the noise."""
    return camera(rng, finger(rng, ratio=float(np.exp(rng.uniform(np.log(1.0), np.log(15.0))))))


# The rhythm.


def _with(rng: np.random.Generator, beats_s: FloatArray, strength: FloatArray | None = None) -> Reading:
    """A finger whose beats have their own strengths."""
    body = finger(rng, beats_s)
    if strength is not None:
        wave = Wave(float(rng.uniform(95, 180)), float(rng.uniform(0.0, 0.7)), 0.0)
        groups = [(level, beats_s[strength == level]) for level in np.unique(strength)]

        def volume(time_s: FloatArray) -> FloatArray:
            total = np.zeros(time_s.shape)
            for level, part_s in groups:
                total += level * _alone(part_s, wave, time_s)
            return total

        body = replace(body, volume=volume)
    return camera(rng, body)


def _alone(beats_s: FloatArray, wave: Wave, time_s: FloatArray) -> FloatArray:
    """The wave of beats, not continued beyond the first and the last."""
    inside = (time_s > beats_s[0] - 0.2) & (time_s < beats_s[-1] + 1.0)
    return np.where(inside, blood_volume(beats_s, wave, time_s), 0.0)


def bigeminy(rng: np.random.Generator) -> Reading:
    """Every second beat early and weaker; every beat is a beat."""
    pair_s = heart(rng, mean_hr_bpm=float(rng.uniform(35, 48)), rmssd_ms=float(rng.uniform(12, 60)))
    early_s = pair_s[:-1] + np.diff(pair_s) * rng.uniform(0.36, 0.46)
    beats_s = np.sort(np.concatenate([pair_s, early_s]))
    strength = np.where(np.isin(beats_s, early_s), rng.choice([0.15, 0.25, 0.4, 0.6]), 1.0)
    return _with(rng, beats_s, strength)


def _hardly_felt(rng: np.random.Generator, after_s: tuple[float, float], strength: tuple[float, float]) -> Reading:
    """Every second beat early and too weak for most fingers; bounds of how long after the beat before, and of how weak.

    Its place wanders by three hundredths of a second.
    """
    pair_s = heart(rng, mean_hr_bpm=float(rng.uniform(28, 42)), rmssd_ms=float(rng.uniform(20, 80)))
    early_s = pair_s + rng.uniform(*after_s) + 0.03 * rng.standard_normal(pair_s.size)
    weak = float(np.exp(rng.uniform(*np.log(strength))))
    beats_s = np.concatenate([pair_s, early_s])
    order = np.argsort(beats_s)
    return _with(rng, beats_s[order], np.where(order < pair_s.size, 1.0, weak))


def bigeminy_hardly_felt(rng: np.random.Generator) -> Reading:
    """Beats of 8 to 30 % after each beat, in the quiet part of the wave."""
    return _hardly_felt(rng, (0.62, 0.9), (0.08, 0.3))


def bigeminy_hidden(rng: np.random.Generator) -> Reading:
    """Beats of 6 to 20 % on the steep fall of the dicrotic wave, which can hide them."""
    return _hardly_felt(rng, (0.4, 0.6), (0.06, 0.2))


def alternating_hardly_felt(rng: np.random.Generator) -> Reading:
    """Every second beat too weak for most fingers, in time."""
    beats_s = heart(rng, mean_hr_bpm=float(rng.uniform(72, 100)), rmssd_ms=float(rng.uniform(8, 30)))
    strength = float(np.exp(rng.uniform(np.log(0.1), np.log(0.25))))
    return _with(rng, beats_s, np.where(np.arange(beats_s.size) % 2 == 1, strength, 1.0))


def trigeminy(rng: np.random.Generator) -> Reading:
    """Every third beat early and weaker."""
    beats_s = heart(rng, mean_hr_bpm=float(rng.uniform(55, 80)))
    moved = np.arange(beats_s.size) % 3 == 2
    step_s = np.diff(beats_s, prepend=beats_s[0] - 1.0)
    beats_s = np.where(moved, beats_s - rng.uniform(0.2, 0.4) * step_s, beats_s)
    return _with(rng, beats_s, np.where(moved, rng.choice([0.3, 0.5, 0.7]), 1.0))


def alternating(rng: np.random.Generator) -> Reading:
    """Every second beat weak, in time."""
    beats_s = heart(rng, mean_hr_bpm=float(rng.uniform(60, 100)))
    strength = np.where(np.arange(beats_s.size) % 2 == 1, rng.choice([0.2, 0.35, 0.5, 0.7]), 1.0)
    return _with(rng, beats_s, strength)


def fibrillation(rng: np.random.Generator) -> Reading:
    """Intervals without any order, beats weaker after short ones."""
    mean_s = 60.0 / rng.uniform(60, 130)
    step_s = np.maximum(mean_s * (1.0 + rng.uniform(0.15, 0.28) * rng.standard_normal(600)), 0.33)
    beats_s = np.cumsum(step_s) - _LEAD_S
    return camera(rng, finger(rng, beats_s[beats_s < DURATION_S + _LEAD_S]))


def flutter(rng: np.random.Generator) -> Reading:
    """Two to five waves of a fluttering atrium to each beat, by chance; 0.18 to 0.24 s apart."""
    step_s = rng.uniform(0.18, 0.24) * rng.choice([3, 4, 5, 6], 600)
    beats_s = np.cumsum(step_s) - _LEAD_S
    return camera(rng, finger(rng, beats_s[beats_s < DURATION_S + _LEAD_S]))


def many_premature(rng: np.random.Generator) -> Reading:
    """One beat in five to eight comes early, at random; no RMSSD is asked of it."""
    beats_s = heart(rng, mean_hr_bpm=float(rng.uniform(55, 85)))
    early = rng.uniform(size=beats_s.size) < rng.uniform(0.12, 0.2)
    step_s = np.diff(beats_s, prepend=beats_s[0] - 1.0)
    beats_s = np.where(early, beats_s - rng.uniform(0.25, 0.4) * step_s, beats_s)
    return replace(_with(rng, beats_s, np.where(early, rng.choice([0.4, 0.6, 0.8]), 1.0)), rmssd_ms=None)


def dropped_beats(rng: np.random.Generator) -> Reading:
    """Every third to fifth beat doesn't come."""
    beats_s = heart(rng, mean_hr_bpm=float(rng.uniform(60, 90)))
    every = int(rng.integers(3, 6))
    return camera(rng, finger(rng, beats_s[np.arange(beats_s.size) % every != 0]))


# Sane, and to be read.


def clean(rng: np.random.Generator) -> Reading:
    """A still finger under a lamp."""
    return camera(rng, finger(rng))


def strongly_dicrotic(rng: np.random.Generator) -> Reading:
    """A slow heart whose second wave is nearly as high as the first."""
    beats_s = heart(rng, mean_hr_bpm=float(rng.uniform(40, 58)))
    return camera(rng, finger(rng, beats_s, Wave(float(rng.uniform(100, 160)), float(rng.uniform(0.8, 1.2)))))


def _of_parts(rng: np.random.Generator, beats_s: FloatArray, dicrotic: tuple[float, float], soft: float) -> Reading:
    """A wave of parts that end at once, where an inflow that drains ends slowly: so the fall bends at the end of each.

    A rising half wave and its fall, a bell for what is reflected, one for the dicrotic wave, and a straight run-off.
    dicrotic: bounds of its height. soft: how many times as long all parts are.
    """
    usual_s = float(np.median(np.diff(beats_s)))
    rise_s, fall_s = soft * rng.uniform(0.14, 0.18), soft * rng.uniform(0.09, 0.13)
    late_s = 0.413 - 0.0017 * 60.0 / usual_s + rng.uniform(0.08, 0.14)
    bells = (
        (rng.uniform(0.1, 0.4), rise_s + rng.uniform(0.08, 0.14), soft * 0.09),
        (rng.uniform(*dicrotic), late_s, rng.uniform(0.06, 0.1)),
    )
    off, off_s = rng.uniform(0.3, 0.8), rng.uniform(0.8, 1.4) * usual_s
    filling = rng.uniform(0.3, 0.9) * (np.diff(beats_s, prepend=beats_s[0] - usual_s) / usual_s - 1.0)
    strength = (1.0 + filling) * (1.0 + 0.05 * np.sin(2 * np.pi * rng.uniform(0.15, 0.3) * beats_s))

    def volume(time_s: FloatArray) -> FloatArray:
        total = np.zeros(time_s.size)
        for at_s, high in zip(beats_s, strength, strict=True):
            first, last = np.searchsorted(time_s, [at_s, at_s + off_s + rise_s])
            since_s = time_s[first:last] - at_s
            up = 0.5 - 0.5 * np.cos(np.pi * np.minimum(since_s / rise_s, 1.0))
            one = up * np.exp(-0.5 * (np.maximum(since_s - rise_s, 0.0) / fall_s) ** 2)
            for size, centre_s, width_s in bells:
                one += size * up * np.exp(-0.5 * ((since_s - centre_s) / width_s) ** 2)
            one += off * up * (1.0 - np.maximum(since_s - rise_s, 0.0) / off_s)
            total[first:last] += high * one
        return total

    return camera(rng, replace(finger(rng, beats_s), volume=volume))


def dicrotic_of_parts(rng: np.random.Generator) -> Reading:
    """A slow heart with a strong dicrotic wave, in another model of the wave."""
    return _of_parts(rng, heart(rng, mean_hr_bpm=float(rng.uniform(40, 52))), (0.4, 0.8), 1.0)


def stiff_vessels(rng: np.random.Generator) -> Reading:
    """An old pulse: long edges, hardly a second wave."""
    beats_s = heart(rng, mean_hr_bpm=float(rng.uniform(50, 76)), rmssd_ms=float(rng.uniform(12, 35)))
    return _of_parts(rng, beats_s, (0.05, 0.25), 1.25)


def gaps(rng: np.random.Generator) -> Reading:
    """Frames lost singly and in holes of up to a second, with true stamps."""
    found = camera(rng, finger(rng))
    keep = rng.uniform(size=_times().size) >= rng.uniform(0.0, 0.1)
    for at_s in rng.uniform(0, DURATION_S, int(rng.integers(2, 7))):
        keep &= np.abs(_times() - at_s) > rng.uniform(0.05, 0.5)
    return replace(found, trace=Trace(found.trace.time_s[keep], found.trace.colour[keep]))


def one_colour(rng: np.random.Generator) -> Reading:
    """Only green lives; the others are clipped or black."""
    return _grey(clean)(rng)


def red_clipped(rng: np.random.Generator) -> Reading:
    """Red at its top, as lamps make it."""
    found = clean(rng)
    colour = found.trace.colour.copy()
    colour[:, 0] = 255.0
    return replace(found, trace=Trace(found.trace.time_s, colour))


def true_jitter(rng: np.random.Generator) -> Reading:
    """A camera that takes its frames unevenly and says so."""
    time_s = _rising(_times() + rng.uniform(0.0, rng.uniform(0.001, 0.012), _times().size))
    return camera(rng, finger(rng), time_s=time_s)


def changing_rate(rng: np.random.Generator) -> Reading:
    """A camera that goes from 30 to 24 or 15 frames a second and back as the light changes."""
    rates = rng.choice([30.0, 24.0, 20.0, 15.0], 8)
    steps_s = np.repeat(1.0 / rates, 600)
    time_s = np.cumsum(steps_s)
    return camera(rng, finger(rng), time_s=time_s[time_s < DURATION_S])


def sixty(rng: np.random.Generator) -> Reading:
    """Sixty frames a second."""
    return camera(rng, finger(rng), time_s=_times(60.0))


def slow_heart(rng: np.random.Generator) -> Reading:
    """28 to 38 beats a minute."""
    beats_s = heart(rng, mean_hr_bpm=float(rng.uniform(28.5, 38)))
    return camera(rng, finger(rng, beats_s))


def after_exertion(rng: np.random.Generator) -> Reading:
    """After exertion, with a wave that such a heart can make.

    Blood comes in no longer than the heart ejects, which takes 0.413 s less 1.7 ms for each beat a minute (Weissler et
    al. 1968, Circulation 37:149-159), and from 10 to 90 % takes about two thirds of it; where vessels are wide, the
    second wave is small.
    """
    bpm = float(rng.uniform(100, 160))
    longest_ms = max(100.0, 0.65 * (413.0 - 1.7 * bpm))
    wave = Wave(float(rng.uniform(90, longest_ms)), float(rng.uniform(0.0, 0.4)), float(rng.uniform(0.5, 1.5)))
    return camera(rng, finger(rng, heart(rng, mean_hr_bpm=bpm, rmssd_ms=float(rng.uniform(8, 20))), wave))


def fast_heart(rng: np.random.Generator) -> Reading:
    """As fast, with any wave of a resting finger, even one that rises for longer than the heart ejects."""
    bpm = float(rng.uniform(100, 160))
    return camera(rng, finger(rng, heart(rng, mean_hr_bpm=bpm, rmssd_ms=float(rng.uniform(8, 20)))))


def deep_breathing(rng: np.random.Generator) -> Reading:
    """A young heart that swings by up to a fifth with each breath, and a wave that swings with it."""
    beats_s = heart(rng, rmssd_ms=float(rng.uniform(20, 60)), breathing_depth=float(rng.uniform(0.08, 0.2)))
    body = finger(rng, beats_s)
    turn = np.sin(2 * np.pi * _times() * rng.uniform(0.1, 0.3))
    return camera(rng, body, 0.5 * body.depth * turn[:, None])


def few_premature(rng: np.random.Generator) -> Reading:
    """One beat in fifty comes early; RMSSD is that of the others, so only the pulse is held against the truth."""
    beats_s = heart(rng, premature_share=0.02)
    return replace(camera(rng, finger(rng, beats_s)), rmssd_ms=None)


FAMILIES: tuple[Family, ...] = (
    *(Family(f"{name}, no pulse", "disturbed", _lamp_alone(wobble)) for name, wobble in LAMPS.items()),
    *(Family(f"{name}, no pulse", "disturbed", _move_alone(wobble)) for name, wobble in MOVES.items()),
    *(Family(f"{name} over a pulse", "disturbed", _lamp_over(wobble)) for name, wobble in LAMPS.items()),
    *(Family(f"{name} over a pulse", "disturbed", _move_over(wobble)) for name, wobble in MOVES.items()),
    Family("one colour: a lamp, no pulse", "disturbed", _grey(_lamp_alone(pulsing_lamp))),
    Family("one colour: a lamp over a pulse", "disturbed", _grey(_lamp_over(pulsing_lamp))),
    Family("one colour: a fading lamp, no pulse", "disturbed", _grey(_lamp_alone(fading_lamp))),
    Family("coloured lamp, no pulse", "disturbed", coloured_lamp),
    Family("amber lamp, no pulse", "disturbed", amber_lamp),
    Family("glowing wire, no pulse", "disturbed", glowing_wire),
    Family("noise", "disturbed", noise_only),
    Family("a second person's pulse", "disturbed", second_pulse),
    Family("stamps that wander", "disturbed", wandering_stamps),
    Family("stamps that are late", "disturbed", delayed_stamps),
    Family("frames in bursts", "disturbed", bursts),
    Family("stamps of a coarse clock", "disturbed", coarse_stamps),
    Family("repeated frames", "disturbed", repeated_frames),
    Family("10 frames sent as 30", "disturbed", ten_as_thirty),
    Family("24 frames sent as 30", "disturbed", moved_grid),
    Family("a constant wrong rate", "untold", wrong_rate),
    Family("unnoticed losses", "untold", unnoticed_losses),
    Family("clipped in every colour", "disturbed", clipped),
    Family("bent by clipping", "disturbed", soft_clipped),
    Family("whole grey levels", "disturbed", whole_levels),
    Family("half grey levels", "disturbed", half_levels),
    Family("held blocks", "disturbed", held_blocks),
    Family("faint", "disturbed", faint),
    Family("light that wanders", "disturbed", wandering_light),
    Family("bigeminy", "disturbed", bigeminy),
    Family("bigeminy, hardly felt", "disturbed", bigeminy_hardly_felt),
    Family("bigeminy behind a dicrotic wave", "untold", bigeminy_hidden),
    Family("every second beat hardly felt", "disturbed", alternating_hardly_felt),
    Family("trigeminy", "disturbed", trigeminy),
    Family("every second beat weak", "disturbed", alternating),
    Family("fibrillation", "disturbed", fibrillation),
    Family("flutter", "disturbed", flutter),
    Family("many premature beats", "disturbed", many_premature),
    Family("beats that don't come", "disturbed", dropped_beats),
    Family("clean", "sane", clean),
    Family("tone curve", "sane", tone_curve),
    Family("strongly dicrotic", "sane", strongly_dicrotic),
    Family("dicrotic, of parts", "sane", dicrotic_of_parts),
    Family("stiff vessels", "sane", stiff_vessels),
    Family("gaps", "sane", gaps),
    Family("one colour", "sane", one_colour),
    Family("red clipped", "sane", red_clipped),
    Family("true jitter", "sane", true_jitter),
    Family("changing rate", "sane", changing_rate),
    Family("60 frames a second", "sane", sixty),
    Family("slow heart", "sane", slow_heart),
    Family("after exertion", "sane", after_exertion),
    Family("fast heart, any wave", "sane", fast_heart),
    Family("deep breathing", "sane", deep_breathing),
    Family("few premature beats", "sane", few_premature),
)


@dataclass(frozen=True)
class Outcome:
    """What the verdict said of one reading, and whether that was wrong."""

    usable: bool
    pulse_usable: bool
    irregular: bool
    wrong: bool
    said: str


def draw(family: Family, seed: int, number: int) -> Reading:
    """One reading of a family; the same seed and number give the same one."""
    return family.draw(np.random.default_rng([seed, number, *family.name.encode()]))


def outcome(reading: Reading, found: Analysis) -> Outcome:
    """The verdict held against the truth."""
    verdict, metrics = found.verdict, found.metrics
    pulse_off = (
        reading.pulse_bpm is None
        or metrics.mean_hr_bpm is None
        or abs(metrics.mean_hr_bpm - reading.pulse_bpm) > MOST_BPM_OFF
    )
    rmssd_off = reading.rmssd_ms is not None and (
        metrics.rmssd_ms is None or abs(metrics.rmssd_ms / reading.rmssd_ms - 1.0) > MOST_RMSSD_OFF
    )
    wrong = (verdict.usable and (pulse_off or rmssd_off)) or (verdict.pulse_usable and pulse_off)
    code = "" if verdict.usable else verdict.findings[0].code
    return Outcome(verdict.usable, verdict.pulse_usable, verdict.irregular, wrong, code)


def outcomes_of(name: str, seed: int, readings: int) -> list[Outcome]:
    """All outcomes of the family of that name."""
    (family,) = (each for each in FAMILIES if each.name == name)
    found = []
    for number in range(readings):
        reading = draw(family, seed, number)
        found.append(outcome(reading, analyse(reading.trace)))
    return found


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--readings", type=int, default=15)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="")
    given = parser.parse_args()
    began_s = time.perf_counter()
    chosen = [family for family in FAMILIES if given.only in family.name]
    with ProcessPoolExecutor(max_workers=os.cpu_count()) as pool:
        found = list(
            pool.map(
                outcomes_of,
                [family.name for family in chosen],
                [given.seed] * len(chosen),
                [given.readings] * len(chosen),
            )
        )
    table = Table(title=f"{given.readings} readings of each family", box=SIMPLE, padding=(0, 1, 0, 0))
    for title in ("family", "kind", "usable", "pulse", "irreg.", "wrong", "why not, mostly"):
        left = title in ("family", "kind", "why not, mostly")
        table.add_column(title, justify="left" if left else "right", no_wrap=True)
    for family, each in zip(chosen, found, strict=True):
        codes = [one.said for one in each if one.said]
        table.add_row(
            family.name,
            family.kind,
            str(sum(one.usable for one in each)),
            str(sum(one.pulse_usable for one in each)),
            str(sum(one.irregular for one in each)),
            str(sum(one.wrong for one in each)),
            max(set(codes), key=codes.count) if codes else "",
        )
    screen_out = Console(width=110)
    screen_out.print(table)
    told = [one for family, each in zip(chosen, found, strict=True) if family.kind != "untold" for one in each]
    sane = [one for family, each in zip(chosen, found, strict=True) if family.kind == "sane" for one in each]
    if told:
        screen_out.print(f"wrong: {100 * np.mean([one.wrong for one in told]):.1f} % of {len(told)} readings")
    if sane:
        screen_out.print(f"sane and usable: {100 * np.mean([one.usable for one in sane]):.1f} % of {len(sane)}")
    screen_out.print(f"{time.perf_counter() - began_s:.0f} s")


if __name__ == "__main__":
    main()
