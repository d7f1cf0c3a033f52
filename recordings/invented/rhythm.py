"""The rhythm of an invented heart: beat times with breathing, slow waves, chance and premature beats."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.trace import BoolArray, FloatArray

# When the depth of breathing is left open, this share of RMSSD squared is breathing and the rest is chance.
_BREATHING_SHARE = 0.7
_SLOWEST_HZ, _SLOW_WAVES_PER_OCTAVE, _SLOW_OCTAVES = 0.003, 2, 5
_SHORTEST_S, _LONGEST_S = 0.28, 2.5


@dataclass(frozen=True)
class Rhythm:
    """What the heart does.

    mean_hr_bpm: 35 to 180. rmssd_ms: root mean square of successive differences without premature beats, 0
        to 250.
    breathing_per_min: 4 to 40. breathing_depth: relative swing of the interval with breathing, 0 to 0.2, or
        None to let breathing carry 70 % of RMSSD squared. Where a given depth already exceeds rmssd_ms,
        RMSSD is larger.
    slow_depth: standard deviation of the slow wander of the interval (0.003 to 0.1 Hz, equal power in each
        octave as in 1/f noise), relative, 0 to 0.1.
    premature_share: share of beats that come early, at 60 to 80 % of the interval, with a pause after, 0 to
        0.2.

    Raises DawnbeatError when a value lies outside its range.
    """

    mean_hr_bpm: float = 55.0
    rmssd_ms: float = 45.0
    breathing_per_min: float = 13.0
    breathing_depth: float | None = None
    slow_depth: float = 0.02
    premature_share: float = 0.0
    seed: int = 1

    def __post_init__(self) -> None:
        ranges = (
            ("mean_hr_bpm", 35, 180),
            ("rmssd_ms", 0, 250),
            ("breathing_per_min", 4, 40),
            ("breathing_depth", 0, 0.2),
            ("slow_depth", 0, 0.1),
            ("premature_share", 0, 0.2),
        )
        for name, low, high in ranges:
            value = getattr(self, name)
            if value is None and name == "breathing_depth":
                continue
            if not low <= value <= high:
                raise DawnbeatError(f"{name} of the rhythm is {value}: it goes from {low} to {high}")


@dataclass(frozen=True)
class HeartBeats:
    """Beats with which of them came early.

    time_s: (k,) seconds, increasing. premature: (k,) True for a premature beat; the interval before it is
    short and the one after it long, and neither is a normal interval.
    """

    time_s: FloatArray
    premature: BoolArray


def beat_times(rhythm: Rhythm, duration_s: float, start_s: float = 0.0) -> FloatArray:
    """Beat times in seconds from start_s (included) to start_s + duration_s (excluded), increasing.

    The same rhythm and start give the same beats, whatever the duration. Raises DawnbeatError for a duration
    that is negative or over a day.
    """
    return heart_beats(rhythm, duration_s, start_s).time_s


def heart_beats(rhythm: Rhythm, duration_s: float, start_s: float = 0.0) -> HeartBeats:
    """The beats of beat_times, with which of them are premature; raises as it does."""
    if not 0 <= duration_s <= 86_400:
        raise DawnbeatError(f"a rhythm of {duration_s} s can't be made: give 0 to 86400 s")
    tones = np.random.default_rng([rhythm.seed, 1])
    chance = np.random.default_rng([rhythm.seed, 2])
    usual_s = 60.0 / rhythm.mean_hr_bpm
    breathing_depth, chance_s = _shares(rhythm, usual_s)
    breathing_hz = rhythm.breathing_per_min / 60.0
    breath_phase = tones.uniform(0, 2 * np.pi)
    slow_hz = _SLOWEST_HZ * 2.0 ** (np.arange(_SLOW_OCTAVES * _SLOW_WAVES_PER_OCTAVE) / _SLOW_WAVES_PER_OCTAVE)
    slow_phase = tones.uniform(0, 2 * np.pi, slow_hz.size)
    slow_depth = rhythm.slow_depth * np.sqrt(2.0 / slow_hz.size)

    beats: list[float] = []
    premature: list[bool] = []
    now_s = start_s + float(tones.uniform(0.0, usual_s))
    rest_s = 0.0
    previous_s = usual_s
    while now_s < start_s + duration_s:
        beats.append(now_s)
        premature.append(rest_s > 0)
        since_s = now_s - start_s
        # Breaths are not all alike: the phase does a slow random walk.
        breath_phase += 0.12 * float(chance.standard_normal()) * np.sqrt(previous_s)
        sway = breathing_depth * np.sin(2 * np.pi * breathing_hz * since_s + breath_phase)
        slow = slow_depth * float(np.sum(np.sin(2 * np.pi * slow_hz * since_s + slow_phase)))
        interval_s = usual_s * (1.0 + sway + slow) + chance_s * float(chance.standard_normal())
        early = float(chance.uniform()) < rhythm.premature_share
        early_share = float(chance.uniform(0.6, 0.8))
        if rest_s > 0:
            # The pause makes up for what the early beat took, fully or nearly.
            interval_s += 0.9 * rest_s
            rest_s = 0.0
        elif early and len(beats) > 3:
            rest_s = (1.0 - early_share) * interval_s
            interval_s *= early_share
        previous_s = float(np.clip(interval_s, _SHORTEST_S, _LONGEST_S))
        now_s += previous_s
    return HeartBeats(np.array(beats), np.array(premature, dtype=np.bool_))


def _shares(rhythm: Rhythm, usual_s: float) -> tuple[float, float]:
    """The relative swing by breathing, and the standard deviation of chance in seconds."""
    wanted_s = rhythm.rmssd_ms / 1000.0
    # A swing A sin(2 pi f t) sampled every T changes by an rms of sqrt(2) A |sin(pi f T)| from beat to beat.
    step = np.sqrt(2.0) * usual_s * abs(np.sin(np.pi * rhythm.breathing_per_min / 60.0 * usual_s))
    if rhythm.breathing_depth is not None:
        depth = rhythm.breathing_depth
    else:
        depth = min(0.2, float(np.sqrt(_BREATHING_SHARE) * wanted_s / max(float(step), 0.05)))
    left_s2 = max(0.0, wanted_s**2 - (depth * float(step)) ** 2)
    return depth, float(np.sqrt(left_s2 / 2.0))
