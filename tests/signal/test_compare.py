"""Two series of beats of one heart: the lag is found, and each figure is what a hand would compute."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dawnbeat.recordings.invented.heart import Rhythm, beat_times
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.signal.compare import Comparison, Series, compare, match


def heart(seed: int, duration_s: float = 120.0, **rhythm: float):
    return beat_times(Rhythm(seed=seed, **rhythm), duration_s)


@pytest.mark.parametrize("lag_s", [-59.0, -31.4, -0.9, 0.0, 0.4, 12.345, 59.5])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_lag_up_to_a_minute_is_found_either_way(lag_s, seed):
    rng = np.random.default_rng(seed)
    beats_s = heart(seed, mean_hr_bpm=50.0 + 10 * seed)
    a = Series.of_beats(beats_s + 0.003 * rng.standard_normal(beats_s.size))
    b = Series.of_beats(beats_s + lag_s + 0.003 * rng.standard_normal(beats_s.size))
    found = compare(a, b)
    assert found.lag_s == pytest.approx(lag_s, abs=0.005)
    assert found.matched_a == found.matched_b == 1.0
    # Two errors of 3 ms at each end: 6 ms in an interval's difference, of which the mean absolute is 0.8.
    assert found.mean_absolute_ms == pytest.approx(6.0 * np.sqrt(2 / np.pi), rel=0.25)


@pytest.mark.parametrize("seed", [4, 5, 6])
def test_the_lag_is_found_where_the_series_only_overlap_and_each_misses_beats(seed):
    rng = np.random.default_rng(seed)
    beats_s = heart(seed, 180.0, rmssd_ms=30.0)
    first = beats_s[(beats_s < 130.0) & (rng.uniform(size=beats_s.size) > 0.03)]
    second = beats_s[(beats_s > 40.0) & (rng.uniform(size=beats_s.size) > 0.03)]
    found = compare(Series.of_beats(first), Series.of_beats(second - 33.0))
    assert found.lag_s == pytest.approx(-33.0, abs=0.003)
    assert found.matched_a > 0.9


def test_a_steady_heart_is_not_taken_one_beat_further_on():
    beats_s = heart(7, rmssd_ms=8.0, slow_depth=0.004, mean_hr_bpm=60.0)
    found = compare(Series.of_beats(beats_s), Series.of_beats(beats_s + 7.25))
    assert found.lag_s == pytest.approx(7.25, abs=0.001)


def test_a_known_lag_is_taken_as_it_is():
    beats_s = heart(8)
    found = compare(Series.of_beats(beats_s), Series.of_beats(beats_s), lag_s=0.1)
    assert found.lag_s == 0.1
    assert found.mean_absolute_ms == pytest.approx(0.0, abs=1e-9)


def test_every_figure_is_that_of_a_worked_example():
    """Intervals in ms: A 1000, 1000, 1100, 900, 1000 and B 1010, 980, 1100, 920, 1000.

    Differences A - B: -10, 20, 0, -20, 0. Mean absolute 50 / 5 = 10; mean -2; squares about it 64, 484, 4, 324, 4 make
    880, over 4 gives 220, whose root is 14.832. Limits of agreement (Bland and Altman 1986): -2 -+ 1.96 x 14.832.
    95th percentile of 0, 0, 10, 20, 20 (linear): 20. Mean intervals 1000 and 1002.
    RMSSD of A: differences 0, 100, -200, 100 make sqrt(60000 / 4) = 122.474; of B: -30, 120, -180, 80 make
    sqrt((900 + 14400 + 32400 + 6400) / 4) = sqrt(13525) = 116.297.
    """
    a = Series.of_beats(np.cumsum([5.0, 1.000, 1.000, 1.100, 0.900, 1.000]))
    b = Series.of_beats(np.cumsum([5.01, 1.010, 0.980, 1.100, 0.920, 1.000]))
    found = Comparison(a, b, 0.0)
    np.testing.assert_allclose(found.difference_ms, [-10, 20, 0, -20, 0], atol=1e-9)
    assert found.mean_absolute_ms == pytest.approx(10.0)
    assert found.spread_ms == pytest.approx(14.832, abs=0.001)
    assert found.p95_ms == pytest.approx(20.0)
    assert found.mean_hr_bpm == pytest.approx((60.0, 60000.0 / 1002.0))
    assert found.rmssd_ms == pytest.approx((122.474, 116.297), abs=0.001)
    bias, low, high = found.limits_of_agreement_ms
    assert (bias, low, high) == pytest.approx((-2.0, -2.0 - 29.071, -2.0 + 29.071), abs=0.001)
    assert (found.matched_a, found.matched_b) == (1.0, 1.0)


def test_only_intervals_that_both_keep_are_held_against_each_other():
    times = np.arange(8) * 1.0
    a = Series(times, np.array([1, 1, 0, 1, 1, 1, 1], dtype=bool))
    b = Series(times, np.array([1, 1, 1, 1, 0, 1, 1], dtype=bool))
    assert Comparison(a, b, 0.0).difference_ms.size == 5


def test_no_difference_is_taken_across_an_interval_that_one_left_out():
    """A: 1000, 1000, 1500, 1000, 1000 with the third left out: two differences of 0, and none of 500."""
    a = Series(np.cumsum([0, 1.0, 1.0, 1.5, 1.0, 1.0]), np.array([1, 1, 0, 1, 1], dtype=bool))
    assert Comparison(a, Series.of_beats(a.time_s), 0.0).rmssd_ms == pytest.approx((0.0, 0.0), abs=1e-9)


def test_a_missing_and_an_extra_beat_lower_one_share_each():
    truth_s = np.arange(20) * 1.0
    missing = Series.of_beats(np.delete(truth_s, 10))
    found = Comparison(missing, Series.of_beats(truth_s), 0.0)
    assert (found.matched_a, found.matched_b) == (1.0, pytest.approx(19 / 20))
    extra = Series.of_beats(np.insert(truth_s, 11, 10.5))
    found = Comparison(extra, Series.of_beats(truth_s), 0.0)
    assert (found.matched_a, found.matched_b) == (pytest.approx(20 / 21), 1.0)
    # The intervals beside the trouble are not compared; the others are all alike.
    assert found.difference_ms.size == 18
    assert np.abs(found.difference_ms).max() < 1e-9


@pytest.mark.parametrize(("apart_s", "pairs"), [(0.149, 3), (0.151, 0)])
def test_beats_match_within_150_milliseconds(apart_s, pairs):
    # ANSI/AAMI EC57 (Testing and reporting performance results of cardiac rhythm and ST segment measurement
    # algorithms): a beat matches within 150 ms. From memory.
    assert match(np.array([1.0, 2.0, 3.0]), np.array([1.0, 2.0, 3.0]) + apart_s).shape == (pairs, 2)


@pytest.mark.parametrize(
    ("times", "says"),
    [
        ([], "0 beats"),
        ([1.0, 2.0], "2 beats"),
        ([1.0, 3.0, 2.0], "increase"),
        ([1.0, 1.0, 2.0], "increase"),
        ([1.0, np.nan, 2.0], "finite"),
    ],
)
def test_a_series_that_cannot_be_compared_is_refused(times, says):
    with pytest.raises(DawnbeatError, match=says):
        Series.of_beats(np.array(times))


def test_lengths_that_do_not_fit_are_refused():
    with pytest.raises(DawnbeatError, match="intervals"):
        Series(np.arange(5.0), np.ones(5, dtype=bool))


def test_series_with_nothing_in_common_are_refused():
    with pytest.raises(DawnbeatError, match="apart"):
        compare(Series.of_beats(np.arange(10.0)), Series.of_beats(np.arange(10.0) + 500.0))
    with pytest.raises(DawnbeatError, match="in common"):
        compare(Series.of_beats(np.arange(10.0)), Series.of_beats(np.arange(10.0) + 0.5), lag_s=0.0)


@settings(max_examples=60, deadline=None)
@given(
    first=st.lists(st.floats(0.05, 3.0), min_size=3, max_size=40),
    second=st.lists(st.floats(0.05, 3.0), min_size=3, max_size=40),
    shift_s=st.floats(-80.0, 80.0),
)
def test_any_two_series_give_finite_figures_or_the_projects_own_error(first, second, shift_s):
    try:
        found = compare(Series.of_beats(np.cumsum(first)), Series.of_beats(np.cumsum(second) + shift_s))
    except DawnbeatError:
        return
    assert abs(found.lag_s) <= 60.2
    assert 0.0 <= found.matched_a <= 1.0
    assert 0.0 <= found.matched_b <= 1.0
    for figure in (found.mean_absolute_ms, found.spread_ms, found.p95_ms):
        assert figure is None or np.isfinite(figure)
    for pair in (found.rmssd_ms, found.mean_hr_bpm, found.limits_of_agreement_ms):
        assert pair is None or np.isfinite(pair).all()
