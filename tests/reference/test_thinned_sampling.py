"""The published limit of coarse sampling: RMSSD stays within 5 % at steps of 20 ms, and at 50 ms with interpolation.

Source: Béres and Hejjel (2021), The minimal sampling frequency of the photoplethysmogram for accurate pulse rate
variability parameters in healthy volunteers, Biomed Signal Process Control 68:102589. The limits are as the
project's issue states them.
"""

from __future__ import annotations

import numpy as np
import pytest

from dawnbeat.recordings.invented.heart import Rhythm, Wave, beat_times, blood_volume
from dawnbeat.signal.analysis import analyse
from tests.signal.fingers import grey_trace

HEARTS = [(45.0, 70.0, 0.9, 1), (52.0, 48.0, 0.5, 2), (60.0, 36.0, 0.35, 3), (68.0, 26.0, 0.6, 4), (76.0, 20.0, 0.2, 5)]


def dense(bpm: float, rmssd_ms: float, dicrotic: float, seed: int):
    """Two minutes of a pulse wave at 1 kHz with a little noise, and its beats."""
    beats_s = beat_times(Rhythm(mean_hr_bpm=bpm, rmssd_ms=rmssd_ms, seed=seed), 126.0, start_s=-3.0)
    time_s = np.arange(120_000) / 1000.0
    noise = 0.01 * np.random.default_rng(seed).standard_normal(time_s.size)
    return beats_s, time_s, 128.0 - 3.0 * blood_volume(beats_s, Wave(130.0, dicrotic), time_s) + noise


@pytest.mark.parametrize(("bpm", "rmssd_ms", "dicrotic", "seed"), HEARTS)
@pytest.mark.parametrize("step_ms", [20, 50])
def test_rmssd_of_a_thinned_wave_is_within_five_percent_of_the_truth(bpm, rmssd_ms, dicrotic, seed, step_ms):
    beats_s, time_s, grey = dense(bpm, rmssd_ms, dicrotic, seed)
    analysis = analyse(grey_trace(time_s[::step_ms], grey[::step_ms]))
    first_s, last_s = analysis.beats.time_s[[0, -1]]
    truth_ms = 1000.0 * np.diff(beats_s[(beats_s > first_s - 0.1) & (beats_s < last_s + 0.1)])
    assert analysis.metrics.rmssd_ms == pytest.approx(np.sqrt(np.mean(np.diff(truth_ms) ** 2)), rel=0.05)
    assert analysis.metrics.mean_nn_ms == pytest.approx(truth_ms.mean(), rel=0.005)
    assert analysis.metrics.kept_share > 0.9


def test_thinning_loses_nothing_against_the_wave_at_1_khz():
    _, time_s, grey = dense(*HEARTS[2])
    whole = analyse(grey_trace(time_s, grey)).metrics.rmssd_ms
    for step_ms in (20, 50):
        assert analyse(grey_trace(time_s[::step_ms], grey[::step_ms])).metrics.rmssd_ms == pytest.approx(
            whole, rel=0.05
        )
