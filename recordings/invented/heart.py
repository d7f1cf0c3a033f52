"""An invented heart: beat times with breathing, slow waves, chance and premature beats, and the pulse wave they send.

Each beat sends a gaussian inflow into a vessel that drains exponentially (the two-element windkessel of
Frank 1899, Z Biol 37:483-526), so that its volume is a gaussian convolved with an exponential, which has a
closed form. Three such waves make a beat: the systolic wave, the dicrotic wave that follows it, and a
broad, slow run-off. The systolic wave is the same for every beat. The dicrotic wave comes later and the
run-off lasts longer after a longer interval (by its square root, as the ejection time does roughly), and a
beat after a short filling time is weaker.

The beat time is, by definition, the steepest moment of the upstroke of the finished wave, tails of earlier
beats included: the beats are placed so that it falls there to within 0.02 ms (0.2 ms above 150 bpm).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr

from dawnbeat.shared.checked_fields import check_fields, number
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.trace import BoolArray, FloatArray

# When the depth of breathing is left open, this share of RMSSD squared is breathing and the rest is chance.
_BREATHING_SHARE = 0.7
_SLOWEST_HZ, _SLOW_WAVES_PER_OCTAVE, _SLOW_OCTAVES = 0.003, 2, 5
_SHORTEST_S, _LONGEST_S = 0.28, 2.5
_SYSTOLIC_DRAIN_S = 0.13
_DICROTIC_DELAY_S = 0.30
_DICROTIC_WIDTH_S = 0.060
_DICROTIC_DRAIN_S = 0.13
_RUNOFF_HEIGHT = 0.35
_RUNOFF_DELAY_S = 0.14
_RUNOFF_WIDTH_S = 0.11
_RUNOFF_DRAIN_S = 0.34
# How many earlier and later beats still add to the volume at an instant; the rest is below 0.0001 of a beat.
_EARLIER_BEATS, _LATER_BEATS = 7, 2
_SHORTEST_FILLING_S, _LONGEST_FILLING_S = 0.25, 2.5


@dataclass(frozen=True)
class Rhythm:
    """What the heart does.

    Where a given breathing_depth already exceeds rmssd_ms, RMSSD is larger. The slow wander goes from 0.003 to 0.1 Hz
    with equal power in each octave, as in 1/f noise. Raises DawnbeatError when a value lies outside its range.
    """

    mean_hr_bpm: float = number(55.0, 35, 180, "bpm", "mean pulse")
    rmssd_ms: float = number(45.0, 0, 250, "ms", "RMSSD without premature beats")
    breathing_per_min: float = number(13.0, 4, 40, "a minute", "breaths")
    breathing_depth: float | None = number(
        None, 0, 0.2, "", "relative swing of the interval with breathing; None lets it carry 70 % of RMSSD squared"
    )
    slow_depth: float = number(0.02, 0, 0.1, "", "standard deviation of the slow wander of the interval, relative")
    premature_share: float = number(
        0.0, 0, 0.2, "", "share of beats that come early, at 60 to 80 % of the interval, with a pause after"
    )
    seed: int = 1

    def __post_init__(self) -> None:
        check_fields(self, "the rhythm's ")


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


@dataclass(frozen=True)
class Wave:
    """The shape of the pulse wave. Raises DawnbeatError when a value lies outside its range."""

    upstroke_ms: float = number(130.0, 90, 190, "ms", "10 to 90 % of the rise of a lone beat to its systolic crest")
    dicrotic: float = number(0.35, 0, 1.2, "", "height of the dicrotic wave relative to the systolic one")
    filling: float = number(1.2, 0, 2, "", "how much a beat weakens per shortening of the interval before it, relative")

    def __post_init__(self) -> None:
        check_fields(self, "the pulse wave's ")


def blood_volume(beats_s: FloatArray, wave: Wave, time_s: FloatArray) -> FloatArray:
    """Blood volume at each instant, about 0 before a beat and about 1 at the crest of a full one.

    beats_s: (k,) beat times, strictly increasing. Before the first and after the last, the rhythm goes on
    evenly, so that a wave has no edge there. time_s: any shape, in seconds on the clock of the beats. No
    beats give zeros. Raises DawnbeatError when the beats are not finite or do not increase.
    """
    beats_s = checked_beats(beats_s)
    time_s = np.asarray(time_s, dtype=np.float64)
    if beats_s.size == 0 or time_s.size == 0:
        return np.zeros(time_s.shape)
    train = _placed(_continued(beats_s, float(time_s.min()), float(time_s.max())), wave)
    return _volume(train, wave, time_s)


def checked_beats(beats_s: FloatArray) -> FloatArray:
    """The beats as a flat array; raises DawnbeatError when they are not finite or do not increase."""
    beats_s = np.asarray(beats_s, dtype=np.float64)
    if beats_s.ndim != 1 or not np.isfinite(beats_s).all():
        raise DawnbeatError("the beat times are not a plain list of numbers: give seconds, one for each beat")
    if beats_s.size > 1 and np.diff(beats_s).min() < 0.2:
        raise DawnbeatError("two beats lie less than 0.2 s apart or out of order: give increasing beat times")
    return beats_s


@dataclass(frozen=True)
class _Train:
    """Beats ready to be summed: where each systolic wave is centred, its strength, the interval before it."""

    centre_s: FloatArray
    strength: FloatArray
    filling_s: FloatArray


def _continued(beats_s: FloatArray, from_s: float, to_s: float) -> FloatArray:
    """The beats, carried on evenly far enough on both sides to fill the wave from from_s to to_s."""
    steps = np.diff(beats_s)
    first = float(np.mean(steps[:4])) if steps.size else 1.0
    last = float(np.mean(steps[-4:])) if steps.size else 1.0
    before = int(np.ceil(max(0.0, beats_s[0] - from_s) / first)) + _EARLIER_BEATS + 1
    after = int(np.ceil(max(0.0, to_s - beats_s[-1]) / last)) + _LATER_BEATS + 1
    return np.concatenate(
        [
            beats_s[0] - first * np.arange(before, 0, -1),
            beats_s,
            beats_s[-1] + last * np.arange(1, after + 1),
        ]
    )


def _placed(beats_s: FloatArray, wave: Wave) -> _Train:
    """Place the systolic waves so that the steepest moment of the summed wave is the beat time."""
    steps = np.diff(beats_s)
    before = np.concatenate([steps[:1], steps])
    usual = np.array([np.median(before[max(0, k - 5) : k + 6]) for k in range(before.size)])
    strength = np.clip(1.0 + wave.filling * (before / usual - 1.0), 0.2, 1.3)
    filling_s = np.clip(before, _SHORTEST_FILLING_S, _LONGEST_FILLING_S)
    shift_s = np.full(beats_s.size, -_steepest_s(wave))
    probe_s = 0.001 * np.arange(-2.0, 3.0)
    for _ in range(4):
        train = _Train(beats_s + shift_s, strength, filling_s)
        values = _volume(train, wave, beats_s[:, None] + probe_s)
        # Second and third derivative at the beat by central differences; one Newton step on the second.
        second = values[:, 3] - 2 * values[:, 2] + values[:, 1]
        third = (values[:, 4] - 2 * values[:, 3] + 2 * values[:, 1] - values[:, 0]) / 2
        step_s = np.where(third < 0, 0.001 * second / np.where(third < 0, third, -1.0), 0.0)
        shift_s = shift_s + np.clip(step_s, -0.005, 0.005)
    return _Train(beats_s + shift_s, strength, filling_s)


def _volume(train: _Train, wave: Wave, time_s: FloatArray) -> FloatArray:
    """Sum the waves of the beats around each instant."""
    total = np.zeros(time_s.shape)
    latest = np.searchsorted(train.centre_s, time_s) - 1
    for lag in range(-_EARLIER_BEATS, _LATER_BEATS + 1):
        beat = latest + lag
        there = (beat >= 0) & (beat < train.centre_s.size)
        beat = np.clip(beat, 0, train.centre_s.size - 1)
        since_s = time_s - train.centre_s[beat]
        total += np.where(there, train.strength[beat], 0.0) * _beat(since_s, train.filling_s[beat], wave)
    return total


def _beat(since_s: FloatArray, filling_s: FloatArray, wave: Wave) -> FloatArray:
    """One beat of full strength; since_s counts from the middle of its systolic inflow."""
    stretch = np.sqrt(filling_s)
    value = _drained(since_s, _systolic_width_s(wave.upstroke_ms), _SYSTOLIC_DRAIN_S)
    value += _RUNOFF_HEIGHT * _drained(since_s - _RUNOFF_DELAY_S, _RUNOFF_WIDTH_S, _RUNOFF_DRAIN_S * stretch)
    if wave.dicrotic > 0:
        value += wave.dicrotic * _drained(
            since_s - _DICROTIC_DELAY_S * stretch, _DICROTIC_WIDTH_S, _DICROTIC_DRAIN_S * stretch
        )
    return value


def _drained(since_s: FloatArray, width_s: float, drain_s: FloatArray | float) -> FloatArray:
    """A gaussian inflow drained exponentially, scaled to about 1 at its crest; 0 far before it."""
    late = np.maximum(since_s, -8.0 * width_s)
    ratio = width_s / np.asarray(drain_s)
    value = np.exp(ratio**2 / 2 - late / drain_s) * ndtr(late / width_s - ratio)
    # The crest falls slowly with the ratio; a fit good to 2 % is enough for a scale.
    return np.asarray(value * (1.0 + 2.2 * ratio))


@lru_cache(maxsize=256)
def _systolic_width_s(upstroke_ms: float) -> float:
    """Width of the systolic inflow that gives the wanted rise, with run-off and without a dicrotic wave."""
    time_s = np.arange(-0.5, 0.8, 0.001)

    def rise_ms(width_s: float) -> float:
        value = _drained(time_s, width_s, _SYSTOLIC_DRAIN_S)
        value += _RUNOFF_HEIGHT * _drained(time_s - _RUNOFF_DELAY_S, _RUNOFF_WIDTH_S, _RUNOFF_DRAIN_S)
        rising = value[: int(np.argmax(value)) + 1]
        ten, ninety = np.interp([0.1 * rising[-1], 0.9 * rising[-1]], rising, time_s[: rising.size])
        return float(ninety - ten) * 1000.0

    return float(brentq(lambda width_s: rise_ms(width_s) - upstroke_ms, 0.015, 0.12, xtol=1e-5))


@lru_cache(maxsize=256)
def _steepest_s(wave: Wave) -> float:
    """Steepest moment of a lone beat's upstroke, from the middle of its systolic inflow."""
    time_s = np.arange(-0.2, 0.1, 0.0005)
    value = _beat(time_s, np.ones(time_s.size), wave)
    return float(time_s[int(np.argmax(np.gradient(value)))])
