"""95 % intervals hold the value, widen with less to go by, and are right about as often as they say."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dawnbeat.recordings.invented.heart import beat_times
from dawnbeat.signal.figures import intervals_95, metrics_of
from tests.drawn_mornings import draw_scenario
from tests.signal.fingers import as_intervals

NAMES = ("mean_hr_bpm", "sdnn_ms", "rmssd_ms", "ln_rmssd")


def hearts(count: int):
    """Half an hour of each of some invented hearts, as interval lengths in ms."""
    for seed in range(900, 900 + count):
        yield np.diff(beat_times(draw_scenario(seed, clean=True).rhythm, 1500.0)) * 1000.0


@pytest.fixture(scope="module")
def half_hours():
    return list(hearts(60))


def two_minutes(nn_ms, from_s: float = 300.0):
    at_s = np.cumsum(nn_ms) / 1000.0
    return as_intervals(nn_ms[(at_s > from_s) & (at_s < from_s + 120.0)])


def test_two_minutes_know_the_half_hour_about_as_often_as_they_say(half_hours):
    hits = {name: [] for name in NAMES}
    for nn_ms in half_hours:
        truth = metrics_of(as_intervals(nn_ms))
        # Four stretches of each heart, far enough apart to be hardly alike.
        for from_s in (100.0, 450.0, 800.0, 1150.0):
            for name, (low, high) in intervals_95(two_minutes(nn_ms, from_s), 0.5).items():
                hits[name].append(low <= getattr(truth, name) <= high)
    for name, hit in hits.items():
        assert len(hit) == 240
        # 95 % with a standard error of 1.4 %: three of them below; never sure above what can be known.
        assert 0.90 <= np.mean(hit) <= 0.995, name


def test_an_interval_holds_its_value(half_hours):
    for nn_ms in half_hours:
        intervals = two_minutes(nn_ms)
        metrics = metrics_of(intervals)
        for name, (low, high) in intervals_95(intervals, 1.5).items():
            assert low <= getattr(metrics, name) <= high, name


def test_fewer_beats_give_wider_intervals(half_hours):
    widths = {name: [] for name in NAMES}
    for nn_ms in half_hours:
        long, short = intervals_95(as_intervals(nn_ms[:480]), 1.0), intervals_95(as_intervals(nn_ms[:60]), 1.0)
        for name in NAMES:
            widths[name].append(np.ptp(short[name]) / np.ptp(long[name]))
    for name, ratio in widths.items():
        # Eight times the beats should shrink an interval by nearly three; slow waves make it less for a mean.
        assert np.median(ratio) > 1.3, name


def test_a_worse_clock_reaches_further_down(half_hours):
    for nn_ms in half_hours[:10]:
        intervals = two_minutes(nn_ms)
        good, bad = intervals_95(intervals, 0.5, way_ms=0.0), intervals_95(intervals, 8.0, way_ms=0.0)
        assert bad["rmssd_ms"][0] < good["rmssd_ms"][0]
        assert bad["sdnn_ms"][0] < good["sdnn_ms"][0]
        assert bad["rmssd_ms"][0] > 0.0


def test_timing_errors_are_taken_off_as_six_times_their_variance():
    """An interval is the difference of two beat times, and a difference of intervals of three with weights 1, -2, 1.

    Independent errors of variance s^2 therefore add (1 + 4 + 1) s^2 to RMSSD^2. A heart of known RMSSD, read with
    errors, must have its true RMSSD within reach.
    """
    rng = np.random.default_rng(1)
    hit = []
    for _ in range(300):
        nn_ms = 1000.0 + 12.0 * rng.standard_normal(120)
        beat_ms = np.concatenate([[0.0], np.cumsum(nn_ms)]) + 5.0 * rng.standard_normal(121)
        low, high = intervals_95(as_intervals(np.diff(beat_ms)), 5.0, way_ms=0.0)["rmssd_ms"]
        hit.append(low <= np.sqrt(2.0) * 12.0 <= high)
    assert 0.90 <= np.mean(hit) <= 0.999


@pytest.mark.parametrize("leaning", [-0.1, 0.0, 0.1])
@pytest.mark.parametrize("heart_ms", [30.0, 40.0, 80.0])
def test_the_way_to_the_finger_leaves_the_heart_within_reach(leaning, heart_ms):
    """Differences of the way of 14 ms, whether they lean on the heart's own or not."""
    rng = np.random.default_rng(2)
    hit = []
    for _ in range(200):
        nn_ms = 950.0 + heart_ms / np.sqrt(2.0) * rng.standard_normal(120)
        # A way whose own successive differences have this root mean square and this correlation with the heart's.
        own_ms = 14.0 / np.sqrt(2.0) * rng.standard_normal(120)
        lean_ms = 14.0 * (leaning * (nn_ms - 950.0) / heart_ms + np.sqrt(1.0 - leaning**2) * own_ms / 14.0)
        low, high = intervals_95(as_intervals(nn_ms + lean_ms), 1.0)["rmssd_ms"]
        hit.append(low <= heart_ms <= high)
    assert 0.85 <= np.mean(hit) <= 1.0


def test_the_figure_itself_is_not_corrected_and_its_upper_end_not_moved():
    nn_ms = 950.0 + 25.0 * np.random.default_rng(3).standard_normal(120)
    plain, with_way = (intervals_95(as_intervals(nn_ms), 1.0, way_ms=each)["rmssd_ms"] for each in (0.0, 15.0))
    assert with_way[1] == plain[1]
    assert with_way[0] < plain[0]


def test_light_cannot_tell_how_low_a_heart_is_below_what_the_way_adds():
    rng = np.random.default_rng(4)
    for rmssd_ms in (4.0, 8.0, 13.0):
        low, high = intervals_95(as_intervals(950.0 + rmssd_ms / np.sqrt(2) * rng.standard_normal(120)), 0.7)[
            "rmssd_ms"
        ]
        assert 0.0 < low < 0.2 * rmssd_ms
        assert rmssd_ms < high < 1.5 * rmssd_ms


def test_intervals_of_lnrmssd_are_the_logarithms_of_those_of_rmssd(half_hours):
    found = intervals_95(two_minutes(half_hours[0]), 1.0)
    assert found["ln_rmssd"] == pytest.approx(tuple(np.log(found["rmssd_ms"])))


@pytest.mark.parametrize("count", [0, 1, 2, 10])
def test_too_few_intervals_claim_nothing(count):
    assert intervals_95(as_intervals([1000.0 + k for k in range(count)]), 1.0) == {}


@settings(max_examples=100, deadline=None)
@given(
    nn_ms=st.lists(st.floats(250.0, 2500.0), min_size=0, max_size=120),
    error_ms=st.none() | st.floats(0.0, 50.0),
    holes=st.sets(st.integers(0, 119)),
)
def test_no_list_of_intervals_gives_a_number_that_is_not_finite(nn_ms, error_ms, holes):
    intervals = as_intervals(nn_ms, dict.fromkeys(holes, "movement"))
    metrics = metrics_of(intervals)
    for name, (low, high) in intervals_95(intervals, error_ms).items():
        assert np.isfinite([low, high]).all()
        assert low - 1e-9 <= getattr(metrics, name) <= high + 1e-9


def test_a_heart_like_a_clock_has_intervals_without_width():
    found = intervals_95(as_intervals([1000.0] * 120), 0.0)
    assert found["mean_hr_bpm"] == pytest.approx((60.0, 60.0))
    assert all(np.isfinite(pair).all() for pair in found.values())
