"""Frames that come late, in bursts, twice or not at all are laid on the clock of the camera that took them; what that
adds to RMSSD is seen in the intervals, where they follow the stamps that were left.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d

from dawnbeat.shared.reading import Intervals
from dawnbeat.shared.trace import FloatArray, Trace
from dawnbeat.signal.analysis import analyse
from dawnbeat.signal.arrivals import frame_numbers, numbers_of_all
from dawnbeat.signal.clock import FrameTimes, clock_error_ms, frame_times, steady_grid, with_own_steps
from dawnbeat.signal.timing import WarpedBeats
from tests.signal.fingers import finger, true_figures

COUNT = 3600
HEART_MS = 40.0


def taken_s(rate_hz: float = 30.0) -> np.ndarray:
    return np.arange(COUNT) / rate_hz


def lost_frames(stamp_s: np.ndarray) -> int:
    return int(numbers_of_all(stamp_s)[-1]) + 1 - stamp_s.size


def rising(stamp_s: np.ndarray) -> np.ndarray:
    step = 1e-4 * np.arange(stamp_s.size)
    return np.maximum.accumulate(stamp_s - step) + step


def apart_ms(grid_s: np.ndarray, true_s: np.ndarray) -> float:
    """Error of the times from second to second, in ms; a constant lateness is none."""
    error_s = grid_s - true_s
    return 1000.0 * float(np.std(error_s[30:] - error_s[:-30]))


@pytest.mark.parametrize("late_ms", [3.0, 10.0, 20.0])
def test_frames_that_come_late_by_chance_are_laid_on_the_steady_clock(late_ms: float) -> None:
    late_s = np.random.default_rng(1).exponential(late_ms / 1000.0, COUNT)
    assert apart_ms(steady_grid(rising(taken_s() + late_s)), taken_s()) < 0.3


@pytest.mark.parametrize("size_ms", [5.0, 20.0, 40.0])
def test_a_delay_that_comes_and_goes_is_taken_off(size_ms: float) -> None:
    late_s = size_ms / 1000.0 * (np.sin(2 * np.pi * 0.23 * taken_s()) + 0.5 * np.sin(2 * np.pi * 0.71 * taken_s()))
    assert apart_ms(steady_grid(rising(taken_s() + late_s)), taken_s()) < 0.5


@pytest.mark.parametrize("size", [2, 3, 5])
def test_frames_in_bursts_are_laid_apart(size: int) -> None:
    last = np.minimum((np.arange(COUNT) // size + 1) * size - 1, COUNT - 1)
    assert apart_ms(steady_grid(rising(taken_s()[last])), taken_s()) < 1.5


def test_a_rate_that_changes_keeps_its_times() -> None:
    true_s = np.cumsum(np.repeat([1 / 30, 1 / 15, 1 / 24, 1 / 30], 500))
    late_s = np.random.default_rng(2).exponential(0.004, true_s.size)
    error_s = steady_grid(rising(true_s + late_s)) - true_s
    assert np.percentile(np.abs(error_s - np.median(error_s)), 80) < 0.005
    assert np.abs(error_s).max() < 0.05


def test_stamps_of_a_camera_that_takes_unevenly_are_believed_where_the_light_bears_them_out() -> None:
    rng = np.random.default_rng(3)
    true_s = rising(taken_s() + rng.uniform(0.0, 0.012, COUNT))
    wave = 100.0 - 3.0 * np.sin(2 * np.pi * 1.1 * true_s)[:, None] + 0.01 * rng.standard_normal((COUNT, 3))
    times = frame_times(true_s, wave)
    assert not times.fitted
    np.testing.assert_array_equal(times.time_s, true_s)


@pytest.mark.parametrize("late_ms", [0.0, 5.0, 10.0])
def test_lost_frames_are_told_from_late_ones(late_ms: float) -> None:
    rng = np.random.default_rng(4)
    kept = rng.uniform(size=COUNT) >= 0.04
    stamp_s = rising((taken_s() + rng.exponential(max(late_ms, 1e-6) / 1000.0, COUNT))[kept])
    assert lost_frames(stamp_s) == pytest.approx(COUNT - kept.sum(), abs=2)
    assert lost_frames(rising(taken_s() + rng.exponential(0.02, COUNT))) <= 2


def test_three_frames_on_one_line_but_for_rounding_are_numbered_all_the_same() -> None:
    # By rounding each of two of these lies below the line through the other two, which once was searched for ever.
    on_time_s = {0: 1.3343333653333331, 173: 8.542666871666665, 194: 9.417666892666665}
    stamp_s = on_time_s[0] + np.arange(337) / 24.0 + 0.02
    stamp_s[list(on_time_s)] = list(on_time_s.values())
    np.testing.assert_array_equal(frame_numbers(stamp_s), np.arange(337))


@pytest.mark.parametrize("rate_hz", [24.0, 30.0, 60.0])
def test_the_few_frames_that_are_lost_are_counted_under_a_delay_that_comes_and_goes(rate_hz: float) -> None:
    rng = np.random.default_rng(6)
    late_s = 0.02 * (1.0 + np.sin(2 * np.pi * 0.41 * taken_s(rate_hz)) * np.sin(2 * np.pi * 0.17 * taken_s(rate_hz)))
    kept = rng.uniform(size=COUNT) >= 0.01
    stamp_s = rising((taken_s(rate_hz) + late_s)[kept])
    assert np.abs(numbers_of_all(stamp_s) - np.flatnonzero(kept) + np.flatnonzero(kept)[0]).max() <= 1


def test_frames_that_repeat_the_one_before_are_no_frames() -> None:
    trace = finger(seed=81).trace()
    keep = np.random.default_rng(5).uniform(size=len(trace)) >= 0.3
    keep[0] = True
    shown = trace.colour[np.maximum.accumulate(np.where(keep, np.arange(keep.size), 0))]
    times = frame_times(trace.time_s, shown)
    np.testing.assert_array_equal(times.rows, np.flatnonzero(keep))


@pytest.mark.parametrize("coded_again", [1e-6, 5e-6, 1e-5])
def test_a_picture_that_was_coded_twice_is_one_frame(coded_again: float) -> None:
    trace = finger(seed=81).trace()
    rng = np.random.default_rng(5)
    keep = rng.uniform(size=len(trace)) >= 0.3
    keep[0] = True
    shown = trace.colour[np.maximum.accumulate(np.where(keep, np.arange(keep.size), 0))]
    shown = shown * (1.0 + coded_again * rng.standard_normal(shown.shape))
    assert abs(frame_times(trace.time_s, shown).repeated_share - 0.3) < 0.02


@pytest.mark.parametrize("seed", range(4))
def test_no_frame_of_a_finger_is_a_repeated_one(seed: int) -> None:
    trace = finger(seed=seed).trace()
    assert frame_times(trace.time_s, trace.colour).rows.size == len(trace)


def test_a_still_picture_and_whole_grey_levels_are_not_called_repeats() -> None:
    colour = np.random.default_rng(6).integers(99, 102, (COUNT, 3)).astype(float)
    assert frame_times(taken_s(), colour).rows.size == COUNT
    assert frame_times(taken_s(), np.full((COUNT, 3), 80.0)).rows.size == COUNT


@pytest.mark.parametrize("kind", ["late", "wandering", "bursts"])
def test_a_reading_over_a_bad_network_is_right_or_refused_for_its_clock(kind: str) -> None:
    scenario = finger(seed=82, rmssd_ms=40.0)
    trace = scenario.trace()
    time_s = trace.time_s
    late_s = {
        "late": np.random.default_rng(7).exponential(0.010, time_s.size),
        "wandering": 0.020 * np.sin(2 * np.pi * 0.37 * time_s),
        "bursts": (2 - np.arange(time_s.size) % 3) / 30.0,
    }[kind]
    analysis = analyse(Trace(rising(time_s + late_s), trace.colour))
    if analysis.verdict.usable:
        assert analysis.metrics.rmssd_ms == pytest.approx(true_figures(scenario.beats_s)[1], rel=0.1)
    else:
        assert [finding.code for finding in analysis.verdict.findings] == ["irregular_frames"]


@pytest.mark.parametrize("step_s", [1e-6, 1e-5, 1e-4])
def test_an_absurd_rate_is_one_clear_finding(step_s: float) -> None:
    count = 50_000
    colour = 100.0 + np.random.default_rng(8).standard_normal((count, 3))
    (finding,) = analyse(Trace(np.arange(count) * step_s, colour)).verdict.findings
    assert finding.code == "absurd_rate"
    assert finding.values["frame_rate_hz"] == pytest.approx(1.0 / step_s)


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


def wandering_s(rng: np.random.Generator, size_s: float, over_frames: int) -> FloatArray:
    wander_s = gaussian_filter1d(rng.standard_normal(COUNT), over_frames, mode="wrap")
    return np.asarray(size_s * wander_s / wander_s.std())


def beats_taken(times: FrameTimes, strayed_s: FloatArray, seed: int, count: int = 110) -> WarpedBeats:
    """What beats leave on a clock from which the camera strayed, with noise of a hundredth of their height."""
    offset_s = np.arange(-0.15, 0.4, 1.0 / 60.0)
    slope = np.exp(-0.5 * (offset_s / 0.04) ** 2) / 0.1 - 0.8 * np.exp(-0.5 * ((offset_s - 0.25) / 0.1) ** 2) / 0.1
    basis = np.column_stack([np.cumsum(slope), slope, np.ones_like(offset_s), offset_s])
    rest = np.eye(offset_s.size) - basis @ np.linalg.pinv(basis)
    at_s = 1.0 + np.arange(count)[:, None] * (117.0 / count) + offset_s
    noise = 0.01 * np.random.default_rng(seed).standard_normal(at_s.shape)
    return WarpedBeats(at_s, (slope * np.interp(at_s, times.time_s, strayed_s) + noise) @ rest, slope, rest)


def on_the_grid(stray_s: FloatArray) -> FrameTimes:
    nothing = np.zeros(COUNT)
    return FrameTimes(np.arange(COUNT), taken_s(), nothing, stray_s, float(stray_s.std()), True, 0.0, 0.0)


def from_beat_to_beat_ms(error_s: FloatArray) -> float:
    return 1000.0 * float(np.std(error_s[30:] - error_s[:-30]))


@pytest.mark.parametrize(("late_s", "most"), [(0.0, 0.25), (0.010, 0.55)])
def test_beats_show_what_the_camera_itself_strayed_and_the_clock_follows(late_s: float, most: float) -> None:
    for seed in range(10):
        rng = np.random.default_rng([seed, 6])
        # The camera strays for seconds, the delay comes and goes within a quarter of one.
        own_s, delay_s = wandering_s(rng, 0.020, 40), wandering_s(rng, late_s, 3)
        times = on_the_grid(own_s + delay_s)
        found = with_own_steps(times, [beats_taken(times, own_s, seed)])
        left_s = found.time_s - taken_s() - own_s
        assert from_beat_to_beat_ms(left_s) < most * from_beat_to_beat_ms(own_s)
        assert from_beat_to_beat_ms(left_s) < 2.0 * from_beat_to_beat_ms(found.unsure_s) + 1.0


@pytest.mark.parametrize("over_frames", [3, 15, 60])
def test_beats_show_nothing_of_a_plain_delay(over_frames: int) -> None:
    followed = 0
    for seed in range(30):
        times = on_the_grid(wandering_s(np.random.default_rng([seed, 7]), 0.020, over_frames))
        followed += with_own_steps(times, [beats_taken(times, np.zeros(COUNT), seed)]) is not times
    assert followed <= 1


def test_stamps_that_beats_bear_out_are_hardly_left_open() -> None:
    own_s = wandering_s(np.random.default_rng(8), 0.020, 15)
    nothing = np.zeros(COUNT)
    # Here the clock is the stamps, from which the camera did not stray, and what was open is all that they did.
    times = FrameTimes(np.arange(COUNT), taken_s() + own_s, own_s, nothing, 0.02, False, 0.0, 0.0)
    found = with_own_steps(times, [beats_taken(times, nothing, 9)])
    assert from_beat_to_beat_ms(found.time_s - times.time_s) < 0.1 * from_beat_to_beat_ms(own_s)
    assert from_beat_to_beat_ms(found.unsure_s) < 0.35 * from_beat_to_beat_ms(own_s)


def test_a_few_beats_show_nothing_of_the_clock() -> None:
    times = on_the_grid(wandering_s(np.random.default_rng(10), 0.020, 15))
    for warps in ([], [beats_taken(times, times.behind_s, 1, count=15)]):
        assert with_own_steps(times, warps) is times
