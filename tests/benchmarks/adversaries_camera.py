"""Adversaries between light and trace: clocks that stray, frames that are lost or repeated, sensors, files."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from dawnbeat.shared.trace import Trace
from tests.benchmarks.adversaries_drawing import DURATION_S, Reading, camera, finger, frame_times_s, rising, slow

# The clock.


def wandering_stamps(rng: np.random.Generator) -> Reading:
    """A delay that comes and goes by 3 to 40 ms over a second or so."""
    size_s = np.exp(rng.uniform(np.log(0.003), np.log(0.040)))
    late_s = size_s * slow(rng, frame_times_s(), float(rng.uniform(0.2, 3.0)))
    return camera(rng, finger(rng), stamp_s=rising(frame_times_s() + late_s))


def delayed_stamps(rng: np.random.Generator) -> Reading:
    """Each frame late by its own delay, mostly a little and at times much."""
    late_s = rng.exponential(np.exp(rng.uniform(np.log(0.002), np.log(0.02))), frame_times_s().size)
    return camera(rng, finger(rng), stamp_s=rising(frame_times_s() + late_s))


def bursts(rng: np.random.Generator) -> Reading:
    """Frames that come two to five at a time."""
    time_s = frame_times_s()
    count = int(rng.integers(2, 6))
    stamp_s = time_s[np.minimum((np.arange(time_s.size) // count + 1) * count - 1, time_s.size - 1)]
    return camera(rng, finger(rng), stamp_s=rising(stamp_s + rng.uniform(0, 0.002, time_s.size)))


def lost_and_late(rng: np.random.Generator) -> Reading:
    """Three to a hundred of a thousand frames lost, while a delay comes and goes by 3 to 30 ms."""
    time_s = frame_times_s(float(rng.uniform(24.0, 60.0)))
    size_s = np.exp(rng.uniform(np.log(0.003), np.log(0.030)))
    late_s = size_s * slow(rng, time_s, float(rng.uniform(0.2, 3.0)))
    kept = rng.uniform(size=time_s.size) >= np.exp(rng.uniform(np.log(0.003), np.log(0.1)))
    return camera(rng, finger(rng), time_s=time_s[kept], stamp_s=rising(time_s + late_s)[kept])


def _unsteady_times_s(rng: np.random.Generator) -> np.ndarray:
    """When a camera took its frames whose own steps stray by 1 to 5 ms for a tenth of a second to some seconds."""
    time_s = frame_times_s()
    own_s = np.exp(rng.uniform(np.log(0.001), np.log(0.005)))
    below_hz = float(np.exp(rng.uniform(np.log(0.1), np.log(3.0))))
    return np.asarray(np.cumsum(np.maximum(1.0 / 30.0 + own_s * slow(rng, time_s, below_hz), 0.005)))


def unsteady(rng: np.random.Generator) -> Reading:
    """An unsteady camera, and stamps that say so truly."""
    taken_s = _unsteady_times_s(rng)
    return camera(rng, finger(rng), time_s=taken_s[taken_s < DURATION_S])


def unsteady_and_late(rng: np.random.Generator) -> Reading:
    """An unsteady camera, and stamps that are late."""
    taken_s = _unsteady_times_s(rng)
    late_s = rng.exponential(np.exp(rng.uniform(np.log(0.002), np.log(0.015))), taken_s.size)
    inside = taken_s < DURATION_S
    return camera(rng, finger(rng), time_s=taken_s[inside], stamp_s=rising(taken_s + late_s)[inside])


def coarse_stamps(rng: np.random.Generator) -> Reading:
    """A clock that ticks every 10 to 16 ms."""
    tick_s = float(rng.uniform(0.010, 0.016))
    return camera(rng, finger(rng), stamp_s=rising(np.floor(frame_times_s() / tick_s) * tick_s))


def _repeated(reading: Reading, keep: np.ndarray) -> Reading:
    """Every frame that is not kept shows the one before."""
    rows = np.maximum.accumulate(np.where(keep, np.arange(keep.size), 0))
    return replace(reading, trace=Trace(reading.trace.time_s, reading.trace.colour[rows]))


def repeated_frames(rng: np.random.Generator) -> Reading:
    """Five to sixty of a hundred frames are the one before once more."""
    share = rng.uniform(0.05, 0.6)
    return _repeated(camera(rng, finger(rng)), rng.uniform(size=frame_times_s().size) >= share)


def ten_as_thirty(rng: np.random.Generator) -> Reading:
    """Six to fifteen frames a second, sent as thirty: every second to fifth frame is one."""
    every = int(rng.integers(2, 6))
    return _repeated(camera(rng, finger(rng)), np.arange(frame_times_s().size) % every == 0)


def moved_grid(rng: np.random.Generator) -> Reading:
    """A camera of 20 to 28 frames a second, sent on as thirty: the shown frame is up to a step old."""
    rate_hz = float(rng.uniform(20, 28))
    taken_s = np.floor(frame_times_s() * rate_hz) / rate_hz
    unique_s, rows = np.unique(taken_s, return_inverse=True)
    found = camera(rng, finger(rng), time_s=unique_s)
    return replace(found, trace=Trace(frame_times_s(), found.trace.colour[rows]))


def evened_file(rng: np.random.Generator) -> Reading:
    """A delay that comes and goes, in a file written anew at thirty even frames a second: each is the latest there was.

    The delay is then in the pictures. That frames are repeated shows; when others were left out, hardly.
    """
    time_s = frame_times_s()
    size_s = np.exp(rng.uniform(np.log(0.003), np.log(0.040)))
    arrived_s = rising(time_s + size_s * slow(rng, time_s, float(rng.uniform(0.2, 3.0))))
    found = camera(rng, finger(rng))
    rows = np.maximum(np.searchsorted(arrived_s, time_s, "right") - 1, 0)
    return replace(found, trace=Trace(time_s, found.trace.colour[rows]))


def wrong_rate(rng: np.random.Generator) -> Reading:
    """25 frames a second, written as 30: nothing in the trace tells."""
    return camera(rng, finger(rng), time_s=frame_times_s(25.0), stamp_s=frame_times_s(25.0) * 25.0 / 30.0)


def unnoticed_losses(rng: np.random.Generator) -> Reading:
    """One to ten of a hundred frames lost, and the stamps go on as if none were."""
    time_s = frame_times_s()[rng.uniform(size=frame_times_s().size) >= rng.uniform(0.01, 0.10)]
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
