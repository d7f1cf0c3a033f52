"""Adversaries of the heart: beats early, weak, irregular or missing; and fingers that are hard to read but sane."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from dawnbeat.recordings.invented.heart import Wave, blood_volume
from dawnbeat.shared.trace import FloatArray, Trace
from tests.benchmarks.adversaries_drawing import (
    DURATION_S,
    LEAD_S,
    Reading,
    camera,
    finger,
    frame_times_s,
    heart,
    in_one_colour,
    rising,
)

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
    beats_s = np.cumsum(step_s) - LEAD_S
    return camera(rng, finger(rng, beats_s[beats_s < DURATION_S + LEAD_S]))


def flutter(rng: np.random.Generator) -> Reading:
    """Two to five waves of a fluttering atrium to each beat, by chance; 0.18 to 0.24 s apart."""
    step_s = rng.uniform(0.18, 0.24) * rng.choice([3, 4, 5, 6], 600)
    beats_s = np.cumsum(step_s) - LEAD_S
    return camera(rng, finger(rng, beats_s[beats_s < DURATION_S + LEAD_S]))


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
    keep = rng.uniform(size=frame_times_s().size) >= rng.uniform(0.0, 0.1)
    for at_s in rng.uniform(0, DURATION_S, int(rng.integers(2, 7))):
        keep &= np.abs(frame_times_s() - at_s) > rng.uniform(0.05, 0.5)
    return replace(found, trace=Trace(found.trace.time_s[keep], found.trace.colour[keep]))


def one_colour(rng: np.random.Generator) -> Reading:
    """Only green lives; the others are clipped or black."""
    return in_one_colour(clean)(rng)


def red_clipped(rng: np.random.Generator) -> Reading:
    """Red at its top, as lamps make it."""
    found = clean(rng)
    colour = found.trace.colour.copy()
    colour[:, 0] = 255.0
    return replace(found, trace=Trace(found.trace.time_s, colour))


def true_jitter(rng: np.random.Generator) -> Reading:
    """A camera that takes its frames unevenly and says so."""
    time_s = rising(frame_times_s() + rng.uniform(0.0, rng.uniform(0.001, 0.012), frame_times_s().size))
    return camera(rng, finger(rng), time_s=time_s)


def changing_rate(rng: np.random.Generator) -> Reading:
    """A camera that goes from 30 to 24 or 15 frames a second and back as the light changes."""
    rates = rng.choice([30.0, 24.0, 20.0, 15.0], 8)
    steps_s = np.repeat(1.0 / rates, 600)
    time_s = np.cumsum(steps_s)
    return camera(rng, finger(rng), time_s=time_s[time_s < DURATION_S])


def sixty(rng: np.random.Generator) -> Reading:
    """Sixty frames a second."""
    return camera(rng, finger(rng), time_s=frame_times_s(60.0))


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
    turn = np.sin(2 * np.pi * frame_times_s() * rng.uniform(0.1, 0.3))
    return camera(rng, body, 0.5 * body.depth * turn[:, None])


def few_premature(rng: np.random.Generator) -> Reading:
    """One beat in fifty comes early; RMSSD is that of the others, so only the pulse is held against the truth."""
    beats_s = heart(rng, premature_share=0.02)
    return replace(camera(rng, finger(rng, beats_s)), rmssd_ms=None)
