"""Metrics and beats against neurokit2 (Makowski et al. 2021, Behav Res Methods 53:1689-1696), a general library.

Definitions that differ: neurokit2 counts pNN50 over the number of differences plus one, which is the number of
intervals when none is missing, as the Task Force does.
"""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from dawnbeat.recordings.invented.heart import Rhythm, beat_times
from dawnbeat.shared.reading import Intervals
from dawnbeat.shared.trace import Trace
from dawnbeat.signal.analysis import analyse
from dawnbeat.signal.compare import Series, compare
from dawnbeat.signal.figures import metrics_of

nk = pytest.importorskip("neurokit2")
# neurokit2 takes beats as whole samples; at this rate a sample is 0.01 ms.
SAMPLES_A_SECOND = 100_000


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_time_domain_figures_are_those_of_hrv_time(seed):
    rhythm = Rhythm(mean_hr_bpm=45.0 + 12 * seed, rmssd_ms=60.0 / seed, seed=seed)
    sample = np.round(beat_times(rhythm, 300.0) * SAMPLES_A_SECOND).astype(int)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = nk.hrv_time({"RRI": np.diff(sample) / SAMPLES_A_SECOND * 1000.0}).iloc[0]
    nn_ms = np.diff(sample) / SAMPLES_A_SECOND * 1000.0
    ours = metrics_of(Intervals(sample[:-1] / SAMPLES_A_SECOND, nn_ms, (None,) * nn_ms.size))
    for field, name in (
        ("mean_nn_ms", "HRV_MeanNN"),
        ("sdnn_ms", "HRV_SDNN"),
        ("rmssd_ms", "HRV_RMSSD"),
        ("sdsd_ms", "HRV_SDSD"),
        ("min_nn_ms", "HRV_MinNN"),
        ("max_nn_ms", "HRV_MaxNN"),
    ):
        assert getattr(ours, field) == pytest.approx(theirs[name], rel=1e-6), name
    assert ours.cv_nn_pct == pytest.approx(100.0 * theirs["HRV_CVNN"], rel=1e-6)
    assert ours.pnn50_pct == pytest.approx(theirs["HRV_pNN50"], rel=1e-6)


def steepest_s(wave: np.ndarray, crest_s: np.ndarray, rate_hz: float) -> np.ndarray:
    """The steepest moment in the 0.3 s before each crest, found on the dense wave."""
    slope = np.gradient(wave)
    found = []
    for crest in (crest_s * rate_hz).astype(int):
        first = max(0, crest - int(0.3 * rate_hz))
        found.append(first + int(np.argmax(slope[first : crest + 1])))
    return np.array(found) / rate_hz


@pytest.mark.parametrize("bpm", [48, 60, 72, 84])
def test_beats_of_a_second_generator_are_found_in_frames(bpm):
    """neurokit2's ppg_simulate draws another pulse wave (piecewise between onset, crest and notch) than ours.

    It is drawn at 1 kHz and neurokit2 finds its crests there; we see 30 frames a second, rounded as a camera does.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        wave = nk.ppg_simulate(
            duration=100,
            sampling_rate=1000,
            heart_rate=bpm,
            frequency_modulation=0.2,
            ibi_randomness=0.1,
            drift=0,
            motion_amplitude=0,
            powerline_amplitude=0,
            burst_number=0,
            random_state=bpm,
        )
        crest_s = nk.ppg_findpeaks(nk.ppg_clean(wave, sampling_rate=1000), sampling_rate=1000)["PPG_Peaks"] / 1000.0
    time_s = np.arange(0.0, 100.0, 1.0 / 30.0)
    height = np.interp(time_s, np.arange(wave.size) / 1000.0, (wave - wave.min()) / np.ptp(wave))
    noise = 0.015 * np.random.default_rng(bpm).standard_normal((time_s.size, 3))
    # Blood moves green most.
    analysis = analyse(Trace(time_s, 130.0 - height[:, None] * np.array([1.8, 3.0, 2.1]) + noise))
    ours = Series(analysis.beats.time_s, analysis.intervals.kept)

    crests = compare(ours, Series.of_beats(crest_s))
    assert crests.matched_a == 1.0
    assert crests.matched_b >= 0.98
    assert crests.mean_hr_bpm[0] == pytest.approx(crests.mean_hr_bpm[1], abs=0.3)
    assert analysis.verdict.usable
    # The same mark in both: what is left is our error of timing on 30 frames a second.
    edges = compare(ours, Series.of_beats(steepest_s(wave, crest_s, 1000.0)))
    assert edges.mean_absolute_ms < 3.0
    assert edges.rmssd_ms[0] == pytest.approx(edges.rmssd_ms[1], rel=0.03)
