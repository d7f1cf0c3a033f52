"""A fingertip on a camera as a trace with known beats: the mean colour of each frame, and what spoils it.

Light through the finger falls with blood volume after Beer and Lambert, level * exp(-depth * volume), is
averaged over the exposure of a frame, clipped where pixels reach the top of the scale, and read with noise.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from scipy.special import ndtr

from dawnbeat.recordings.invented.faults import NO_FAULTS, Faults, disturbance, frame_times
from dawnbeat.recordings.invented.heart import Wave, blood_volume, checked_beats
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.trace import FloatArray, IntArray, Trace

Three = tuple[float, float, float]
_TOP = 255.0
_MAINS_HZ = 100.0
# Three Gauss-Legendre points average a pulse wave over one exposure to far below the noise.
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(3)


@dataclass(frozen=True)
class Finger:
    """A fingertip before a camera; three values each are red, green and blue.

    level: mean brightness of an unclipped frame, 0.5 to 400 grey levels (above 255 most pixels clip).
    pulse_pct: fall of brightness from one unit of blood volume, 0 to 20 % of the level.
    noise: standard deviation of a frame mean, white, 0 to 20 grey levels.
    flicker: standard deviation of noise that all channels share, relative to the level, 0 to 0.1.
    shading: spread of the pixels of one frame around their mean, 0.5 to 80 grey levels; with the level it
        decides how many pixels clip. Clipping bends the wave: the steepest fall of a half clipped channel
        comes up to about 8 ms after the beat, by the same time in each beat.
    exposure_share: share of the frame's period in which light is taken, 0.01 to 1.
    rounding: "mean" rounds each frame mean to whole grey levels, as the worst of sources does; the pixels
        of a frame are rounded too, but noise and shading spread the rounding so that their mean keeps its
        fraction.
    mains: relative depth of the 100 Hz flicker of a lamp on the mains, 0 to 0.5.
    room: what the camera sees with the finger off, 0 to 255.

    Raises DawnbeatError when a value lies outside its range.
    """

    level: Three = (260.0, 42.0, 32.0)
    pulse_pct: Three = (1.5, 2.0, 1.5)
    noise: Three = (0.02, 0.012, 0.015)
    flicker: float = 0.0
    shading: Three = (12.0, 12.0, 12.0)
    exposure_share: float = 0.7
    rounding: Literal["none", "mean"] = "none"
    mains: float = 0.0
    room: Three = (120.0, 112.0, 100.0)
    wave: Wave = field(default_factory=Wave)

    def __post_init__(self) -> None:
        ranges = (
            ("level", 0.5, 400),
            ("pulse_pct", 0, 20),
            ("noise", 0, 20),
            ("flicker", 0, 0.1),
            ("shading", 0.5, 80),
            ("exposure_share", 0.01, 1),
            ("mains", 0, 0.5),
            ("room", 0, 255),
        )
        for name, low, high in ranges:
            value = getattr(self, name)
            for part in value if isinstance(value, tuple) else (value,):
                if not low <= part <= high:
                    raise DawnbeatError(f"{name} of the finger holds {part}: it goes from {low} to {high}")
        if self.rounding not in ("none", "mean"):
            raise DawnbeatError(f"rounding {self.rounding!r} of the finger is unknown: say none or mean")


# Deep red under a lamp, the red channel at the top of its scale; and brownish and dim by the light of a room.
LAMP_FINGER = Finger()
ROOM_FINGER = Finger(
    level=(90.0, 45.0, 40.0), pulse_pct=(0.8, 0.4, 0.2), noise=(0.02, 0.02, 0.02), shading=(15.0, 9.0, 8.0)
)


@dataclass(frozen=True)
class Light:
    """The frames of one recording before the sensor clips them.

    stamp_s: (n,) time that each frame carries. level: (n, 3) mean brightness of the finger, unclipped.
    noise: (n, 3) what the sensor adds to each frame mean. covered: (n,) share of the exposure with the
    finger on the lens. dropped_before: (n,) frames missing before each.
    """

    stamp_s: FloatArray
    level: FloatArray
    noise: FloatArray
    covered: FloatArray
    dropped_before: IntArray


def light(beats_s: FloatArray, finger: Finger, faults: Faults, duration_s: float, rate_hz: float, seed: int) -> Light:
    """What falls on the sensor in each frame; raises as render_trace does."""
    if not (0 <= duration_s <= 86_400 and 5 <= rate_hz <= 240):
        raise DawnbeatError(
            f"{duration_s} s at {rate_hz} frames a second can't be made: give 0 to 86400 s and 5 to 240 a second"
        )
    frames = frame_times(faults, duration_s, rate_hz, seed)
    instants_s = frames.exposed_s[:, None] + 0.5 * finger.exposure_share * frames.period_s[:, None] * _NODES
    fault = disturbance(faults, duration_s, instants_s, seed)
    volume = blood_volume(beats_s, finger.wave, instants_s) * fault.pulse
    depth = -np.log1p(-np.array(finger.pulse_pct) / 100.0)
    level = np.array(finger.level) * fault.brightness * np.exp(-depth * volume[..., None])
    weights = _WEIGHTS / 2.0
    mean = np.einsum("nkc,k->nc", level, weights)
    if finger.mains > 0:
        # The mean of a tone over the exposure is the tone at its middle times a sinc.
        seen = np.sinc(_MAINS_HZ * finger.exposure_share * frames.period_s)
        mean = mean * (1.0 + finger.mains * seen * np.sin(2 * np.pi * _MAINS_HZ * frames.exposed_s))[:, None]
    rng = np.random.default_rng([seed, 21])
    mean = mean * (1.0 + finger.flicker * rng.standard_normal((mean.shape[0], 1)))
    noise = rng.standard_normal(mean.shape) * np.array(finger.noise)
    covered = np.minimum(fault.covered @ weights, 1.0)
    return Light(frames.stamp_s, mean, noise, covered, frames.dropped_before)


def render_trace(
    beats_s: FloatArray,
    finger: Finger = LAMP_FINGER,
    faults: Faults = NO_FAULTS,
    duration_s: float = 120.0,
    rate_hz: float = 30.0,
    seed: int = 1,
    gauge: bool = True,
) -> Trace:
    """The trace of a finger whose heart beats at beats_s; the same arguments give the same trace.

    beats_s: (k,) seconds, increasing; each is the steepest fall of brightness of its beat.
    duration_s: 0 to 86400. rate_hz: 5 to 240 frames a second. gauge: also fill covered and clipped, as the
    contact gauge would. The first frame has time 0 and the beats are on the same clock.
    Raises DawnbeatError for arguments out of range.
    """
    beats_s = checked_beats(beats_s)
    scene = light(beats_s, finger, faults, duration_s, rate_hz, seed)
    count = scene.stamp_s.size
    rng = np.random.default_rng([seed, 22])
    colour, clipped = _clipped(scene.level, np.array(finger.shading))
    colour = colour + scene.noise
    off = 1.0 - scene.covered[:, None]
    colour = (1.0 - off) * colour + off * _room(finger, scene.stamp_s, rng)
    if finger.rounding == "mean":
        colour = np.round(colour)
    colour = np.clip(colour, 0.0, _TOP)
    if not gauge:
        return Trace(scene.stamp_s, colour)
    covered = np.clip(scene.covered * rng.normal(0.985, 0.005, count), 0.0, 1.0)
    return Trace(scene.stamp_s, colour, covered, clipped.max(axis=1, initial=0.0) * scene.covered)


def pulse_levels(finger: Finger) -> FloatArray:
    """(3,) fall of each channel's frame mean from one unit of blood volume, in grey levels, clipping
    included."""
    level = np.array(finger.level)
    shading = np.array(finger.shading)
    full = level * (1.0 - np.array(finger.pulse_pct) / 100.0)
    return np.asarray(_clipped(level, shading)[0] - _clipped(full, shading)[0])


def _clipped(level: FloatArray, shading: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean of pixels normally spread around level when those over the top are cut, and the share that is
    cut."""
    room = (_TOP - level) / shading
    share = ndtr(-room)
    density = np.exp(-0.5 * np.minimum(room**2, 1000.0)) / np.sqrt(2 * np.pi)
    return _TOP - (_TOP - level) * (1.0 - share) - shading * density, share


def _room(finger: Finger, time_s: FloatArray, rng: np.random.Generator) -> FloatArray:
    """The room with the finger off: its level, wandering with the hand that moves, and some noise."""
    tone_hz = rng.uniform(0.1, 1.5, 6)
    phase = rng.uniform(0, 2 * np.pi, 6)
    wander = np.sin(2 * np.pi * tone_hz * time_s[:, None] + phase).sum(axis=1)
    return np.asarray(np.array(finger.room) * (1.0 + 0.03 * wander[:, None]) + rng.normal(0.0, 0.3, (time_s.size, 3)))
