"""The invented heart: rate, variability, breathing and premature beats as asked."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dawnbeat.recordings.invented.rhythm import Rhythm, beat_times, heart_beats
from dawnbeat.shared.errors import DawnbeatError


def rmssd_ms(beats_s):
    return 1000 * np.sqrt(np.mean(np.diff(beats_s, 2) ** 2))


@pytest.mark.parametrize(("mean_hr_bpm", "wanted_ms"), [(42, 80), (55, 45), (66, 17), (90, 12), (170, 5)])
def test_rate_and_rmssd_come_out_as_asked(mean_hr_bpm, wanted_ms):
    runs = [
        beat_times(Rhythm(mean_hr_bpm=mean_hr_bpm, rmssd_ms=wanted_ms, slow_depth=0.01, seed=seed), 600.0)
        for seed in range(4)
    ]
    assert np.mean([60 / np.diff(beats_s).mean() for beats_s in runs]) == pytest.approx(mean_hr_bpm, rel=0.02)
    assert np.mean([rmssd_ms(beats_s) for beats_s in runs]) == pytest.approx(wanted_ms, rel=0.08)


def test_breathing_shows_in_the_intervals_at_its_own_rate():
    rhythm = Rhythm(mean_hr_bpm=60, rmssd_ms=60, breathing_per_min=12, breathing_depth=0.1, seed=2)
    beats_s = beat_times(rhythm, 600.0)
    grid_s = np.arange(1.0, 598.0, 0.25)
    tachogram = np.interp(grid_s, beats_s[1:], np.diff(beats_s))
    power = np.abs(np.fft.rfft((tachogram - tachogram.mean()) * np.hanning(grid_s.size))) ** 2
    hz = np.fft.rfftfreq(grid_s.size, 0.25)
    band = hz > 0.1
    assert hz[band][np.argmax(power[band])] * 60 == pytest.approx(12, abs=1.0)
    assert np.ptp(np.diff(beats_s)) > 0.15


def test_breathing_may_swing_the_interval_by_a_fifth():
    beats_s = beat_times(Rhythm(mean_hr_bpm=50, breathing_depth=0.2, rmssd_ms=0, slow_depth=0, seed=1), 300.0)
    steps = np.diff(beats_s)
    assert steps.max() / 1.2 == pytest.approx(1.2, rel=0.02)
    assert steps.min() / 1.2 == pytest.approx(0.8, rel=0.02)


def test_premature_beats_come_early_with_a_pause_after():
    beats = heart_beats(Rhythm(premature_share=0.05, rmssd_ms=10, slow_depth=0.0, seed=7), 1200.0)
    early = np.flatnonzero(beats.premature)
    assert early.size / beats.time_s.size == pytest.approx(0.05, abs=0.015)
    early = early[(early > 0) & (early < beats.time_s.size - 1)]
    steps = np.diff(beats.time_s) * 55 / 60
    assert np.all((steps[early - 1] > 0.55) & (steps[early - 1] < 0.85))
    assert np.all(steps[early] > 1.1)
    normal = np.ones(steps.size, dtype=bool)
    normal[early] = normal[early - 1] = False
    assert np.all(np.abs(steps[normal] - 1.0) < 0.1)


def test_a_longer_run_begins_with_the_same_beats():
    short, long = (beat_times(Rhythm(premature_share=0.03, seed=9), duration_s) for duration_s in (60, 90))
    np.testing.assert_array_equal(short, long[: short.size])
    assert not np.array_equal(short, beat_times(Rhythm(premature_share=0.03, seed=10), 60.0)[: short.size])


@settings(max_examples=60, deadline=None)
@given(
    mean_hr_bpm=st.floats(35, 180),
    rmssd=st.floats(0, 250),
    depth=st.none() | st.floats(0, 0.2),
    premature=st.floats(0, 0.2),
    seed=st.integers(0, 2**31),
)
def test_any_rhythm_gives_increasing_beats_in_its_span(mean_hr_bpm, rmssd, depth, premature, seed):
    rhythm = Rhythm(mean_hr_bpm, rmssd, breathing_depth=depth, premature_share=premature, seed=seed)
    beats_s = beat_times(rhythm, 30.0, start_s=-4.0)
    assert beats_s[0] >= -4.0
    assert beats_s[-1] < 26.0
    assert np.diff(beats_s).min() >= 0.27
    assert np.diff(beats_s).max() <= 2.51


@pytest.mark.parametrize(
    "changes",
    [
        {"mean_hr_bpm": 20},
        {"mean_hr_bpm": float("nan")},
        {"rmssd_ms": -1},
        {"breathing_depth": 0.4},
        {"premature_share": 1},
    ],
)
def test_a_rhythm_out_of_range_is_refused(changes):
    with pytest.raises(DawnbeatError, match=next(iter(changes))):
        Rhythm(**changes)


@pytest.mark.parametrize("duration_s", [-1.0, 1e9, float("nan")])
def test_a_duration_that_makes_no_sense_is_refused(duration_s):
    with pytest.raises(DawnbeatError):
        beat_times(Rhythm(), duration_s)
