"""What the frames' clock adds to RMSSD is seen in the intervals, where they follow the stamps that were left."""

from __future__ import annotations

import numpy as np
import pytest

from dawnbeat.shared.reading import Intervals
from dawnbeat.shared.trace import FloatArray
from dawnbeat.signal.clock import FrameTimes
from dawnbeat.signal.clock_error import clock_error_ms

HEART_MS = 40.0


def on_a_grid(own_ms: FloatArray, late_ms: FloatArray, seed: int) -> tuple[FloatArray, Intervals, FrameTimes]:
    """Beats of a heart found on a grid that the camera strayed from by own at each, with stamps later still by late."""
    true_s = np.cumsum(
        1.0 + HEART_MS / 1000.0 / np.sqrt(2.0) * np.random.default_rng(seed).standard_normal(own_ms.size)
    )
    beat_s = true_s - own_ms / 1000.0
    nothing = np.zeros(beat_s.size)
    # A frame at each beat is all that is asked.
    times = FrameTimes(np.arange(beat_s.size), beat_s, nothing, (own_ms + late_ms) / 1000.0, 0.01, True, 0.0, 0.0)
    return beat_s, Intervals(beat_s[:-1], 1000.0 * np.diff(beat_s), (None,) * (beat_s.size - 1)), times


@pytest.mark.parametrize("late_ms", [0.0, 10.0])
@pytest.mark.parametrize("own_ms", [12.0, 20.0])
def test_a_camera_that_left_the_grid_shows_in_the_intervals(own_ms: float, late_ms: float) -> None:
    found = []
    for seed in range(40):
        rng = np.random.default_rng([seed, 1])
        own, late = own_ms * rng.standard_normal(150), late_ms * rng.standard_normal(150)
        found.append(clock_error_ms(*on_a_grid(own, late, seed)))
    assert np.median(found) == pytest.approx(own_ms, rel=0.1)


@pytest.mark.parametrize("late_ms", [3.0, 15.0, 40.0])
def test_a_delay_that_the_camera_had_no_part_in_shows_in_none(late_ms: float) -> None:
    found = []
    for seed in range(200):
        late = late_ms * np.random.default_rng([seed, 2]).standard_normal(150)
        found.append(clock_error_ms(*on_a_grid(np.zeros(150), late, seed)))
    assert np.mean(np.array(found) > 0.0) < 0.04


def test_what_is_shown_is_no_more_than_the_stamps_strayed() -> None:
    for seed in range(40):
        own = 3.0 * np.random.default_rng([seed, 3]).standard_normal(150)
        beats = on_a_grid(own, np.zeros(150), seed)
        most_ms = np.sqrt(np.mean(np.diff(own, 2) ** 2) / 6.0)
        assert clock_error_ms(*beats) <= most_ms + 1e-9


def test_what_could_be_counts_where_nothing_is_shown() -> None:
    beat_s, intervals, times = on_a_grid(np.zeros(150), np.zeros(150), 1)
    unsure_ms = 8.0 * np.random.default_rng(4).standard_normal(150)
    unsure = FrameTimes(times.rows, times.time_s, unsure_ms / 1000.0, times.behind_s, 0.01, True, 0.0, 0.0)
    assert clock_error_ms(beat_s, intervals, unsure) == pytest.approx(
        np.sqrt(np.mean(np.diff(unsure_ms, 2) ** 2) / 6.0)
    )
    assert clock_error_ms(beat_s, intervals, times) == 0.0


@pytest.mark.parametrize("count", [1, 2, 3, 30])
def test_a_few_beats_show_nothing(count: int) -> None:
    own = 20.0 * np.random.default_rng(5).standard_normal(count)
    assert clock_error_ms(*on_a_grid(own, np.zeros(count), 1)) == 0.0
