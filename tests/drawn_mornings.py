"""Mornings drawn by chance from a seed, to try the analysis on many."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from dawnbeat.recordings.invented.faults import ExposureStep, Faults, RateChange, Stretch
from dawnbeat.recordings.invented.finger_trace import ROOM_FINGER, Finger, Three, pulse_levels
from dawnbeat.recordings.invented.heart import Rhythm, Wave
from dawnbeat.recordings.invented.scenario import Scenario
from dawnbeat.shared.trace import FloatArray


def draw_scenario(seed: int, clean: bool, duration_s: float = 120.0) -> Scenario:
    """Draw a morning by chance.

    clean: a still finger with the noise of common cameras, at 30 frames a second. The pulse of the best
    channel is 60 to 250 times the noise of a frame mean under a lamp, 40 to 120 times by a webcam: phone
    recordings by lamp that are publicly available (Hoffman et al. 2022, npj Digit Med 5:146) show about 60
    to 150. Otherwise the same with one to three faults, at 24, 30 or 60 frames a second.
    """
    rng = np.random.default_rng([seed, int(clean), 31])
    rhythm = _rhythm(rng, seed, exercise_share=0.05 if clean else 0.15)
    finger, what = _finger(rng, rhythm)
    faults = Faults(
        drift=float(rng.uniform(0.001, 0.01)),
        jitter_ms=float(rng.choice([0.0, 1.0, 2.0])),
        stamp_error_ms=float(rng.uniform(0.0, 0.4)),
    )
    scenario = Scenario(rhythm, finger, faults, duration_s, 30.0, seed, what)
    if clean:
        return scenario
    scenario = replace(scenario, rate_hz=float(rng.choice([24.0, 30.0, 30.0, 60.0])))
    names = list(_SPOILERS)
    for name in rng.choice(names, size=int(rng.integers(1, 4)), replace=False, p=_CHANCES):
        scenario = _SPOILERS[str(name)](scenario, rng)
        scenario = replace(scenario, description=f"{scenario.description}, {name}")
    return scenario


def _log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _rhythm(rng: np.random.Generator, seed: int, exercise_share: float) -> Rhythm:
    exercise = rng.uniform() < exercise_share
    mean_hr_bpm = float(rng.uniform(95, 175) if exercise else rng.uniform(38, 95))
    usual_ms = 42.0 * (60.0 / mean_hr_bpm) ** (3.0 if exercise else 1.2)
    return Rhythm(
        mean_hr_bpm=mean_hr_bpm,
        rmssd_ms=float(np.clip(usual_ms * np.exp(rng.normal(0.0, 0.45)), 6.0, 150.0)),
        breathing_per_min=float(rng.uniform(22, 35) if exercise else rng.uniform(7, 19)),
        slow_depth=float(rng.uniform(0.005, 0.03)),
        seed=seed,
    )


def _finger(rng: np.random.Generator, rhythm: Rhythm) -> tuple[Finger, str]:
    slow = rhythm.mean_hr_bpm < 55
    highest = 1.2 if slow else 0.9 if rhythm.mean_hr_bpm < 95 else 0.4
    wave = Wave(float(rng.uniform(105, 170)), float(rng.uniform(0.0, highest)), float(rng.uniform(0.5, 1.5)))
    lamp = rng.uniform() < 0.7
    if lamp:
        level: Three = (float(rng.uniform(50, 275)), float(rng.uniform(30, 90)), float(rng.uniform(25, 60)))
        pulse = np.array([0.6, 1.0, 0.75]) * _log_uniform(rng, 1.0, 4.0) * rng.uniform(0.8, 1.2, 3)
        ratio = _log_uniform(rng, 60.0, 250.0)
        shading = 12.0
    else:
        level = (float(rng.uniform(60, 130)), float(rng.uniform(30, 70)), float(rng.uniform(25, 60)))
        pulse = np.array([1.0, 0.5, 0.3]) * _log_uniform(rng, 0.5, 1.2) * rng.uniform(0.8, 1.2, 3)
        ratio = _log_uniform(rng, 40.0, 120.0)
        shading = 9.0
    finger = Finger(
        level=level,
        pulse_pct=_three(pulse),
        shading=(shading, shading, shading),
        exposure_share=float(rng.uniform(0.3, 0.95)),
        wave=wave,
    )
    finger = _with_noise(finger, ratio, rng.uniform(1.0, 1.4, 3))
    what = "lamp" if lamp else "webcam"
    return finger, f"{what}, {rhythm.mean_hr_bpm:.0f} bpm, pulse {ratio:.0f} times the noise"


def _with_noise(finger: Finger, ratio: float, spread: FloatArray) -> Finger:
    """The finger with noise so that the pulse of its best channel is `ratio` times the noise of a frame mean.

    spread: (3,) factors of at least 1 by which the noise of each channel is larger still.
    """
    levels = pulse_levels(finger)
    noise = levels.max() / ratio * spread
    noise[np.argmax(levels)] = levels.max() / ratio
    return replace(finger, noise=_three(np.minimum(noise, 20.0)))


def _three(values: FloatArray) -> Three:
    return float(values[0]), float(values[1]), float(values[2])


def _place(scenario: Scenario, rng: np.random.Generator, duration_s: float, strength: float = 1.0) -> Stretch:
    return Stretch(float(rng.uniform(0.0, max(0.0, scenario.duration_s - duration_s))), duration_s, strength)


def _with_faults(scenario: Scenario, **changes: object) -> Scenario:
    return replace(scenario, faults=replace(scenario.faults, **changes))  # type: ignore[arg-type]


def _movement(scenario: Scenario, rng: np.random.Generator) -> Scenario:
    left_s = float(rng.uniform(0.05, 0.5)) * scenario.duration_s
    bursts = []
    while left_s > 0.5:
        length_s = min(left_s, float(rng.uniform(1.0, 15.0)))
        bursts.append(_place(scenario, rng, length_s, _log_uniform(rng, 0.005, 0.25)))
        left_s -= length_s
    return _with_faults(scenario, movement=tuple(bursts))


def _lifted(scenario: Scenario, rng: np.random.Generator) -> Scenario:
    lifts = [_place(scenario, rng, float(rng.uniform(0.5, 20.0))) for _ in range(int(rng.integers(1, 4)))]
    return _with_faults(scenario, lifted=tuple(lifts))


def _premature(scenario: Scenario, rng: np.random.Generator) -> Scenario:
    return replace(scenario, rhythm=replace(scenario.rhythm, premature_share=float(rng.uniform(0.01, 0.08))))


def _weak(scenario: Scenario, rng: np.random.Generator) -> Scenario:
    stretch = _place(scenario, rng, float(rng.uniform(10.0, 60.0)), float(rng.uniform(0.0, 0.25)))
    return _with_faults(scenario, weak=(stretch,))


def _exposure(scenario: Scenario, rng: np.random.Generator) -> Scenario:
    steps = [
        ExposureStep(
            float(rng.uniform(2.0, max(2.0, scenario.duration_s - 2.0))),
            float(np.exp(rng.normal(0.0, 0.25))),
            float(rng.uniform(0.1, 0.4)),
        )
        for _ in range(int(rng.integers(1, 6)))
    ]
    return _with_faults(scenario, exposure=tuple(steps))


def _dropped(scenario: Scenario, rng: np.random.Generator) -> Scenario:
    holes = [_place(scenario, rng, float(rng.uniform(0.1, 3.0))) for _ in range(int(rng.integers(1, 6)))]
    return _with_faults(scenario, dropped_share=float(rng.uniform(0.005, 0.15)), dropped=tuple(holes))


def _clock(scenario: Scenario, rng: np.random.Generator) -> Scenario:
    return _with_faults(
        scenario,
        jitter_ms=float(rng.uniform(1.0, 6.0)),
        stamp_error_ms=float(rng.uniform(0.5, 5.0)),
        late_share=float(rng.uniform(0.0, 0.1)),
    )


def _noised(scenario: Scenario, rng: np.random.Generator, low: float, high: float) -> Scenario:
    ratio = _log_uniform(rng, low, high)
    return replace(scenario, finger=_with_noise(scenario.finger, ratio, rng.uniform(1.0, 1.4, 3)))


def _noisy(scenario: Scenario, rng: np.random.Generator) -> Scenario:
    return _noised(scenario, rng, 3.0, 25.0)


def _drowned(scenario: Scenario, rng: np.random.Generator) -> Scenario:
    return _noised(scenario, rng, 0.3, 2.5)


def _dim(scenario: Scenario, rng: np.random.Generator) -> Scenario:
    """A dim room: a webcam's finger, noisier, and a camera that halves its rate to get more light."""
    scale = float(rng.uniform(0.2, 0.6))
    dim = replace(
        ROOM_FINGER,
        level=_three(scale * np.array(ROOM_FINGER.level)),
        wave=scenario.finger.wave,
        mains=float(rng.choice([0.0, 0.02])),
    )
    halved = RateChange(float(rng.choice([0.0, 30.0, 60.0])), scenario.rate_hz / 2)
    changed = replace(scenario, finger=dim, faults=replace(scenario.faults, rate=(halved,)))
    return _noised(changed, rng, 6.0, 40.0)


def _pressed(scenario: Scenario, rng: np.random.Generator) -> Scenario:
    return _with_faults(scenario, drift=float(rng.uniform(0.02, 0.1)))


def _rounded(scenario: Scenario, rng: np.random.Generator) -> Scenario:
    return replace(scenario, finger=replace(scenario.finger, rounding="mean"))


def _lifeless(scenario: Scenario, rng: np.random.Generator) -> Scenario:
    return replace(scenario, finger=replace(scenario.finger, pulse_pct=(0.0, 0.0, 0.0)))


_SPOILERS = {
    "movement": _movement,
    "finger lifted": _lifted,
    "premature beats": _premature,
    "weak pulse": _weak,
    "exposure steps": _exposure,
    "dropped frames": _dropped,
    "bad clock": _clock,
    "noise": _noisy,
    "pulse drowned in noise": _drowned,
    "dim light": _dim,
    "drift of pressure": _pressed,
    "whole grey levels": _rounded,
    "no pulse": _lifeless,
}
_CHANCES = np.array([0.18, 0.1, 0.13, 0.08, 0.09, 0.1, 0.07, 0.07, 0.05, 0.04, 0.04, 0.02, 0.03])
