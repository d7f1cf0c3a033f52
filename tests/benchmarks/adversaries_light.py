"""Adversaries that move the light: lamps, shadows and exposure, and hands that move, alone and over a pulse."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.signal import butter, sosfiltfilt

from dawnbeat.recordings.invented.heart import Wave, blood_volume
from dawnbeat.shared.trace import FloatArray
from tests.benchmarks.adversaries_drawing import Body, Reading, camera, finger, frame_times_s, heart, slow, still

# What else moves light: each gives a wobble of about one unit from crest to trough.


def _phase(rng: np.random.Generator, time_s: FloatArray, per_min: float, wander: float) -> FloatArray:
    """Turns of an oscillation whose rate wanders by a share, slowly and from turn to turn."""
    step_s = np.diff(time_s, prepend=time_s[0])
    drift = slow(rng, time_s, 0.15)
    return np.asarray(np.cumsum(per_min / 60.0 * step_s * (1.0 + wander * drift)) + rng.uniform())


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


def lamp_alone(wobble: Callable[[np.random.Generator, FloatArray], FloatArray]) -> Callable[..., Reading]:
    def draw(rng: np.random.Generator) -> Reading:
        body = finger(rng)
        size = np.exp(rng.uniform(np.log(0.005), np.log(0.2)))
        return camera(rng, still(body), size * wobble(rng, frame_times_s())[:, None])

    return draw


def lamp_over(wobble: Callable[[np.random.Generator, FloatArray], FloatArray]) -> Callable[..., Reading]:
    def draw(rng: np.random.Generator) -> Reading:
        body = finger(rng)
        size = body.depth[1] * np.exp(rng.uniform(np.log(0.3), np.log(10.0)))
        return camera(rng, body, size * wobble(rng, frame_times_s())[:, None])

    return draw


def _moving_colours(rng: np.random.Generator, body: Body) -> FloatArray:
    """How a movement changes each colour: like blood, like light, or neither."""
    how = rng.integers(3)
    if how == 0:
        return body.depth / body.depth[1] * rng.uniform(0.95, 1.05, 3)
    return np.ones(3) if how == 1 else rng.uniform(0.2, 1.2, 3)


def move_alone(wobble: Callable[[np.random.Generator, FloatArray], FloatArray]) -> Callable[..., Reading]:
    def draw(rng: np.random.Generator) -> Reading:
        body = finger(rng)
        size = np.exp(rng.uniform(np.log(0.005), np.log(0.1)))
        return camera(rng, still(body), size * wobble(rng, frame_times_s())[:, None] * _moving_colours(rng, body))

    return draw


def move_over(wobble: Callable[[np.random.Generator, FloatArray], FloatArray]) -> Callable[..., Reading]:
    def draw(rng: np.random.Generator) -> Reading:
        body = finger(rng)
        size = body.depth[1] * np.exp(rng.uniform(np.log(0.3), np.log(10.0)))
        return camera(rng, body, size * wobble(rng, frame_times_s())[:, None] * _moving_colours(rng, body))

    return draw


def second_pulse(rng: np.random.Generator) -> Reading:
    """Two people's fingers on one lens, the other's 0.3 to 3 times as deep; which one is meant can't be known."""
    body, other = finger(rng), finger(rng)
    share = float(np.exp(rng.uniform(np.log(0.3), np.log(3.0))))
    extra = other.absorbed(frame_times_s()) * share * body.depth[1] / other.depth[1]
    return camera(rng, body, extra)


def coloured_lamp(rng: np.random.Generator) -> Reading:
    """A coloured lamp that pulses in white daylight: each colour moves by its own share."""
    body = finger(rng)
    share = rng.uniform(0.3, 1.0, 3)
    size = np.exp(rng.uniform(np.log(0.005), np.log(0.1)))
    wobble = rng.choice([pulsing_lamp, blinking, swinging_lamp, hunting_exposure])
    return camera(rng, still(body), size * wobble(rng, frame_times_s())[:, None] * share)


def amber_lamp(rng: np.random.Generator) -> Reading:
    """A lamp of its own colour, from red over amber to orange, that fades up and down: red moves most, blue hardly."""
    share = np.array([rng.uniform(1.1, 1.8), 1.0, rng.uniform(0.0, 0.4)])
    size = np.exp(rng.uniform(np.log(0.005), np.log(0.1)))
    return camera(rng, still(finger(rng)), size * fading_lamp(rng, frame_times_s())[:, None] * share)


def glowing_wire(rng: np.random.Generator) -> Reading:
    """A dimmed filament: by Wien's law colours move as one over their wavelength."""
    share = np.array([540 / rng.uniform(590, 620), 1.0, 540 / rng.uniform(450, 475)])
    size = np.exp(rng.uniform(np.log(0.005), np.log(0.1)))
    return camera(rng, still(finger(rng)), size * fading_lamp(rng, frame_times_s())[:, None] * share)


def noise_only(rng: np.random.Generator) -> Reading:
    """A still wall: noise, white or in the band of a pulse."""
    body = finger(rng)
    size = np.exp(rng.uniform(np.log(0.001), np.log(0.05)))
    sos = butter(2, [0.7, 3.0], "bandpass", fs=30.0, output="sos")
    value = sosfiltfilt(sos, rng.standard_normal((frame_times_s().size, 3)), axis=0)
    return camera(rng, still(body), size * value * rng.integers(2))
