"""The invented heart: rate, variability and premature beats as asked; its pulse wave, steepest where it should be."""

from __future__ import annotations

import neurokit2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dawnbeat.recordings.invented.heart import Rhythm, Wave, beat_times, blood_volume, heart_beats
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


def crests(volume):
    """Indices of the local maxima."""
    rising = np.diff(volume) > 0
    return np.flatnonzero(rising[:-1] & ~rising[1:]) + 1


@pytest.mark.parametrize(
    ("mean_hr_bpm", "dicrotic", "tolerance_ms"),
    [
        (35, 0.0, 0.03),
        (35, 1.2, 0.03),
        (55, 0.5, 0.03),
        (55, 1.2, 0.03),
        (90, 0.8, 0.03),
        (140, 0.4, 0.05),
        (180, 0.0, 0.3),
        (180, 0.4, 0.3),
    ],
)
def test_the_beat_time_is_the_steepest_moment_of_the_upstroke(mean_hr_bpm, dicrotic, tolerance_ms):
    beats_s = beat_times(Rhythm(mean_hr_bpm=mean_hr_bpm, rmssd_ms=1500 / mean_hr_bpm, seed=3), 20.0)
    around_s = np.arange(-0.03, 0.03, 0.00002)
    volume = blood_volume(beats_s, Wave(dicrotic=dicrotic), beats_s[:, None] + around_s)
    steepest_s = around_s[np.argmax(np.gradient(volume, axis=1), axis=1)]
    assert np.abs(steepest_s).max() * 1000 <= tolerance_ms


@pytest.mark.parametrize("upstroke_ms", [95.0, 130.0, 180.0])
def test_the_upstroke_lasts_as_long_as_asked_where_the_beat_before_has_died_away(upstroke_ms):
    beats_s = np.arange(0.0, 20.0, 2.0)
    time_s = np.arange(9.3, 11.0, 0.001)
    volume = blood_volume(beats_s, Wave(upstroke_ms=upstroke_ms, dicrotic=0.0), time_s)
    top = int(np.argmax(volume))
    foot = int(np.argmin(volume[:top]))
    rising = (volume[foot:top] - volume[foot]) / (volume[top] - volume[foot])
    ten, ninety = np.interp([0.1, 0.9], rising, time_s[foot:top])
    assert 1000 * (ninety - ten) == pytest.approx(upstroke_ms, abs=6)


def test_a_strong_dicrotic_wave_gives_two_crests_a_beat_and_none_gives_one():
    beats_s = np.arange(0.0, 30.0, 60 / 45)
    time_s = np.arange(5.0, 25.0, 0.002)
    assert crests(blood_volume(beats_s, Wave(dicrotic=0.0), time_s)).size == 15
    double = blood_volume(beats_s, Wave(dicrotic=1.0), time_s)
    tops = double[crests(double)]
    assert tops.size == 30
    assert min(tops[0::2].min(), tops[1::2].min()) > 0.5
    assert abs(tops[0::2].mean() - tops[1::2].mean()) > 0.2


def test_nothing_jumps_where_intervals_differ():
    rng = np.random.default_rng(1)
    beats_s = np.cumsum(rng.uniform(0.5, 1.3, 40))
    time_s = np.arange(0.0, beats_s[-1], 0.0005)
    for dicrotic in (0.0, 1.2):
        volume = blood_volume(beats_s, Wave(dicrotic=dicrotic), time_s)
        slope = np.diff(volume) / 0.0005
        assert np.abs(slope).max() < 20
        assert np.abs(np.diff(slope)).max() < 0.25


def test_an_early_beat_is_weaker_and_the_one_after_the_pause_is_not():
    beats_s = np.array([0, 1, 2, 3, 4, 4.65, 6, 7, 8, 9.0])
    time_s = np.arange(0.0, 9.0, 0.001)
    volume = blood_volume(beats_s, Wave(dicrotic=0.0), time_s)
    rise = [np.ptp(volume[(time_s > beat - 0.12) & (time_s < beat + 0.25)]) for beat in beats_s[1:8]]
    assert rise[4] < 0.7 * rise[1]
    assert rise[5] > rise[1]


def test_the_volume_at_an_instant_does_not_depend_on_what_else_is_asked():
    beats_s = beat_times(Rhythm(seed=4), 20.0)
    time_s = np.linspace(3.0, 15.0, 500)
    together = blood_volume(beats_s, Wave(), time_s)
    alone = np.array([blood_volume(beats_s, Wave(), np.array([at_s]))[0] for at_s in time_s[::50]])
    np.testing.assert_allclose(together[::50], alone, atol=1e-12)


def test_no_beats_give_a_still_finger():
    assert not blood_volume(np.empty(0), Wave(), np.linspace(0, 5, 50)).any()


@pytest.mark.parametrize("beats_s", [[0.0, 2.0, 1.0], [0.0, np.nan], [0.0, 0.05], [[0.0, 1.0]]])
def test_beats_that_make_no_sense_are_refused(beats_s):
    with pytest.raises(DawnbeatError):
        blood_volume(np.array(beats_s), Wave(), np.linspace(0, 5, 50))


@pytest.mark.parametrize("changes", [{"upstroke_ms": 20}, {"dicrotic": -0.1}, {"filling": np.nan}])
def test_a_shape_out_of_range_is_refused(changes):
    with pytest.raises(DawnbeatError, match=next(iter(changes))):
        Wave(**changes)


@settings(max_examples=40, deadline=None)
@given(
    steps_s=st.lists(st.floats(0.2, 3.0), min_size=0, max_size=30),
    dicrotic=st.floats(0, 1.2),
    upstroke_ms=st.floats(90, 190),
)
def test_any_rhythm_gives_a_finite_volume(steps_s, dicrotic, upstroke_ms):
    beats_s = np.cumsum([0.0, *steps_s]) + 1e-9 * np.arange(len(steps_s) + 1)
    volume = blood_volume(beats_s, Wave(upstroke_ms, dicrotic), np.linspace(-2.0, 20.0, 400))
    assert np.isfinite(volume).all()
    assert volume.min() >= 0.0
    assert volume.max() < 6.0


# neurokit2's own detector after Elgendi et al. 2013 (PLoS ONE 8:e76585), on our wave and on its own.
@pytest.mark.parametrize("mean_hr_bpm", [50, 65, 90])
def test_neurokit_finds_as_many_beats_in_our_wave_as_there_are(mean_hr_bpm):
    rhythm = Rhythm(mean_hr_bpm=mean_hr_bpm, rmssd_ms=25, seed=5)
    beats_s = beat_times(rhythm, 64.0, start_s=-2.0)
    time_s = np.arange(0.0, 60.0, 0.001)
    found = neurokit2.ppg_findpeaks(
        neurokit2.ppg_clean(blood_volume(beats_s, Wave(dicrotic=0.1), time_s), sampling_rate=1000),
        sampling_rate=1000,
    )["PPG_Peaks"]
    inside = beats_s[(beats_s > 0.2) & (beats_s < 59.5)]
    assert abs(found.size - inside.size) <= 1
    crest_s = time_s[found]
    after_s = crest_s[1:-1] - beats_s[np.searchsorted(beats_s, crest_s[1:-1]) - 1]
    assert after_s.min() > 0.02
    assert after_s.max() < 0.3
    assert 60 / np.diff(crest_s).mean() == pytest.approx(60 / np.diff(inside).mean(), abs=0.5)


def test_neurokit_reads_the_same_rate_from_its_own_wave_and_from_ours():
    theirs = neurokit2.ppg_simulate(
        duration=60,
        sampling_rate=250,
        heart_rate=62,
        random_state=3,
        motion_amplitude=0,
        powerline_amplitude=0,
    )
    ours = blood_volume(np.arange(-2.0, 64.0, 60 / 62), Wave(dicrotic=0.3), np.arange(0.0, 60.0, 0.004))
    rates = []
    for wave in (theirs, ours):
        cleaned = neurokit2.ppg_clean(wave, sampling_rate=250)
        peaks = neurokit2.ppg_findpeaks(cleaned, sampling_rate=250)["PPG_Peaks"]
        rates.append(60 * 250 / np.diff(peaks).mean())
    assert rates[0] == pytest.approx(62, abs=1.0)
    assert rates[1] == pytest.approx(62, abs=0.3)
